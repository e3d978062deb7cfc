"""The Standard Reference importer, and the core's build, on tiny releases that the tests write, whole and with planted faults."""

from __future__ import annotations

import zipfile
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path

import pandas as pd
import pytest

from pipeline.composition import common
from pipeline.composition.household import COUNTED, MEASURED, SPREAD
from pipeline.composition.usda_sr import BY_DERIVATION, BY_SOURCE, SHOWN, read_release
from pipeline.composition.usda_sr_foods import states_of
from pipeline.problems import InputError
from pipeline.root import ROOT
from pipeline.tables import VALUE_TYPES

COMPONENTS = pd.DataFrame(
    [("K", "mg", "306"), ("ENERC", "kJ", "268"), ("ENERC", "kcal", "208"), ("FOL", "ug", "417"), ("CHOCDF", "g", "205")],
    columns=["component", "unit", "source_nutrient"],
)
FILES = {
    "FOOD_DES": [
        "~00001~^~1100~^~Leeks, raw~^~LEEKS,RAW~^~porret~^~~^~Y~^~Tops~^56^~~^6.25^2.44^8.37^3.57",
        "~00002~^~1100~^~Leeks, cooked, boiled, drained~^~LEEKS,CKD~^~~^~~^~~^~~^0^~~^^^^",
        "~00003~^~1600~^~Lentils, raw~^~LENTILS~^~~^~~^~~^~~^^~~^^^^",
    ],
    "FD_GROUP": ["~1100~^~Vegetables and Vegetable Products~", "~1600~^~Legumes and Legume Products~"],
    "NUTR_DEF": [
        "~306~^~mg~^~K~^~Potassium, K~^~0~^5700", "~268~^~kJ~^~ENERC_KJ~^~Energy~^~0~^400", "~208~^~kcal~^~ENERC_KCAL~^~Energy~^~0~^300",
        "~417~^~\xb5g~^~FOL~^~Folate, total~^~0~^6900", "~205~^~g~^~CHOCDF~^~Carbohydrate, by difference~^~2~^1100",
        "~307~^~mg~^~NA~^~Sodium, Na~^~0~^5800",
    ],
    "SRC_CD": [f"~{code}~^~words~" for code in (1, 4, 5, 6, 7, 8, 9, 11, 12, 13)],
    "DERIV_CD": [f"~{code}~^~words~" for code in BY_DERIVATION],
    "NUT_DATA": [
        "~00001~^~306~^180^16^2.5^~1~^~A~^~~^~~^3^120^240^4^170^190.5^~2, 3~^~03/2006~^~~",
        "~00001~^~268~^255^0^^~4~^~NC~^~~^~~^^^^^^^~~^~03/2006~^~~",
        "~00001~^~208~^61^0^^~4~^~~^~~^~~^^^^^^^~~^~03/2006~^~~",
        "~00001~^~417~^0^0^^~7~^~Z~^~~^~~^^^^^^^~~^~03/2006~^~~",
        "~00001~^~307~^20^4^.5^~1~^~A~^~~^~~^^^^^^^~~^~03/2006~^~~",
        "~00002~^~306~^87^0^^~1~^~~^~~^~~^^^^^^^~~^~03/2006~^~~",
        "~00002~^~417~^24^0^^~4~^~BFZN~^~11246~^~~^^^^^^^~~^~03/2006~^~~",
        "~00003~^~306~^677^1^^~4~^~T~^~~^~~^^^^^^^~~^~03/2006~^~~",
    ],
}


def _encoded(lines: list[str]) -> bytes:
    return "".join(line + "\r\n" for line in lines).encode("iso-8859-1")


def _folder(path: Path, **changed: bytes | None) -> Path:
    path.mkdir(exist_ok=True)
    for name, lines in FILES.items():
        content = changed.get(name, _encoded(lines)) if name in changed else _encoded(lines)
        if content is not None:
            (path / f"{name}.txt").write_bytes(content)
    return path


def _with(name: str, number: int, line: str) -> bytes:
    lines = list(FILES[name])
    lines[number - 1] = line
    return _encoded(lines)


def _problems(path: Path, components: pd.DataFrame = COMPONENTS) -> list:
    with pytest.raises(InputError) as caught:
        read_release(path, components)
    for problem in caught.value.problems:
        assert problem.remedy and problem.code == "table-file"
    return caught.value.problems


def _value(values: pd.DataFrame, entry_id: str, component: str, unit: str = "mg") -> dict:
    (row,) = values[(values["entry_id"] == entry_id) & (values["component"] == component) & (values["unit"] == unit)].to_dict("records")
    return row


# ---------------------------------------------------------------- what a whole release gives

def test_entries(tmp_path):
    entries, _ = read_release(_folder(tmp_path / "sr"), COMPONENTS)
    leek, boiled, lentils = entries.to_dict("records")
    assert (leek["entry_id"], leek["name"], leek["common_names"], leek["state"]) == ("00001", "Leeks, raw", "porret", "raw")
    assert (leek["refuse_fraction"], leek["refuse_description"], leek["source_row"]) == (0.56, "Tops", "USDA SR26, 00001")
    assert (boiled["state"], boiled["refuse_fraction"]) == ("cooked", 0)
    assert lentils["state"] == "dried" and lentils["cooking_class"] == "legumes-dried" and pd.isna(lentils["refuse_fraction"])


def test_values_and_their_types(tmp_path):
    _, values = read_release(_folder(tmp_path / "sr"), COMPONENTS)
    assert len(values) == 3 * len(COMPONENTS)
    potassium = _value(values, "00001", "K")
    assert (potassium["value"], potassium["n"], potassium["standard_error"], potassium["minimum"], potassium["maximum"]) == (180, 16, 2.5, 120, 240)
    assert (potassium["value_type"], potassium["derivation"], potassium["source_row"]) == ("analysed", "1/A", "USDA SR26, 00001, nutrient 306")
    assert _value(values, "00001", "ENERC", "kJ")["value_type"] == "calculated"
    assert _value(values, "00001", "ENERC", "kcal")["value_type"] == "calculated"  # source 4 alone, but energy is always computed
    assert _value(values, "00001", "FOL", "ug")["value_type"] == "zero"
    assert _value(values, "00002", "K")["value_type"] == "calculated"  # an analytical code without data points
    assert _value(values, "00002", "FOL", "ug")["value_type"] == "imputed"
    assert _value(values, "00003", "K")["value_type"] == "borrowed"
    missing = _value(values, "00003", "CHOCDF", "g")
    assert missing["value_type"] == "missing" and pd.isna(missing["value"]) and missing["derivation"] == ""


def test_every_code_has_a_type_of_the_common_form():
    assert set(BY_DERIVATION.values()) | set(BY_SOURCE.values()) <= set(VALUE_TYPES)


def test_a_measured_zero_is_not_an_assumed_one(tmp_path):
    line = "~00001~^~306~^0^16^0^~1~^~A~^~~^~~^^^^^^^~~^~03/2006~^~~"
    _, values = read_release(_folder(tmp_path / "sr", NUT_DATA=_with("NUT_DATA", 1, line)), COMPONENTS)
    assert _value(values, "00001", "K")["value_type"] == "analysed"


def test_a_zip_with_or_without_a_folder_gives_the_same(tmp_path):
    expected = read_release(_folder(tmp_path / "sr"), COMPONENTS)
    for prefix in ("", "sr26/"):
        path = tmp_path / f"{prefix.strip('/') or 'flat'}.zip"
        with zipfile.ZipFile(path, "w") as archive:
            for name, lines in FILES.items():
                archive.writestr(f"{prefix}{name}.txt", _encoded(lines))
        for ours, theirs in zip(read_release(path, COMPONENTS), expected, strict=True):
            pd.testing.assert_frame_equal(ours, theirs)


# ---------------------------------------------------------------- planted faults

GOOD = FILES["NUT_DATA"][0]


@pytest.mark.parametrize(("file", "line", "text", "where", "what"), [
    ("NUT_DATA", 1, GOOD + "^~~", "NUT_DATA.txt line 1", "19 fields, not 18"),
    ("NUT_DATA", 2, "~00001~,~268~,255", "NUT_DATA.txt line 2", "1 fields, not 18"),
    ("NUT_DATA", 2, "", "NUT_DATA.txt line 2", "1 fields, not 18"),
    ("NUT_DATA", 1, GOOD.replace("^180^", "^1,80^"), "NUT_DATA.txt line 1, column Nutr_Val", "'1,80' is not a number"),
    ("NUT_DATA", 1, GOOD.replace("^180^", "^^"), "NUT_DATA.txt line 1, column Nutr_Val", "'' is not a number"),
    ("NUT_DATA", 1, GOOD.replace("^180^", "^-180^"), "NUT_DATA.txt line 1, column Nutr_Val", "'-180' is not a number"),
    ("NUT_DATA", 1, GOOD.replace("^180^", "^" + "9" * 400 + "^"), "NUT_DATA.txt line 1, column Nutr_Val", "is not a number from 0 up"),
    ("NUT_DATA", 1, GOOD.replace("^180^", "^nan^"), "NUT_DATA.txt line 1, column Nutr_Val", "'nan' is not a number"),
    ("NUT_DATA", 1, GOOD.replace("^16^", "^1.5^"), "NUT_DATA.txt line 1, column Num_Data_Pts", "not a whole number"),
    ("NUT_DATA", 1, GOOD.replace("~1~^~A~", "~3~^~A~"), "NUT_DATA.txt line 1, column Src_Cd", "'3' is not a code of SRC_CD.txt"),
    ("NUT_DATA", 1, GOOD.replace("~A~", "~QQ~"), "NUT_DATA.txt line 1, column Deriv_Cd", "'QQ' is not a code of DERIV_CD.txt"),
    ("NUT_DATA", 1, GOOD.replace("~00001~", "~00009~"), "NUT_DATA.txt line 1, column NDB_No", "not a food of FOOD_DES.txt"),
    ("NUT_DATA", 1, GOOD.replace("~306~", "~999~"), "NUT_DATA.txt line 1, column Nutr_No", "not a nutrient of NUTR_DEF.txt"),
    ("NUT_DATA", 2, GOOD, "NUT_DATA.txt line 2, column Nutr_No", "second time for its food"),
    ("NUT_DATA", 4, FILES["NUT_DATA"][3].replace("^0^0^", "^5^0^"), "NUT_DATA.txt line 4, column Nutr_Val", "codes say assumed zero"),
    ("NUT_DATA", 1, GOOD.replace("~306~", "306"), "NUT_DATA.txt line 1, column Nutr_No", "not text between ~ and ~"),
    ("FOOD_DES", 2, FILES["FOOD_DES"][0], "FOOD_DES.txt line 2, column NDB_No", "'00001' occurs a second time"),
    ("FOOD_DES", 1, FILES["FOOD_DES"][0].replace("~1100~", "~9900~"), "FOOD_DES.txt line 1, column FdGrp_Cd", "not a group"),
    ("FOOD_DES", 1, FILES["FOOD_DES"][0].replace("^56^", "^156^"), "FOOD_DES.txt line 1, column Refuse", "not a refuse below 100"),
    ("FOOD_DES", 1, FILES["FOOD_DES"][0].replace("~00001~", "~1~"), "FOOD_DES.txt line 1, column NDB_No", "not a five-digit NDB number"),
    ("NUTR_DEF", 1, FILES["NUTR_DEF"][0].replace("~mg~", "~gr~"), "NUTR_DEF.txt line 1, column Units", "not a unit"),
    ("NUTR_DEF", 1, FILES["NUTR_DEF"][0].replace("~mg~", "~g~"), "NUTR_DEF.txt", "in g, and K is wanted in mg"),
])
def test_a_planted_fault_is_found_where_it_is(tmp_path, file, line, text, where, what):
    found = _problems(_folder(tmp_path / "sr", **{file: _with(file, line, text)}))
    assert any(problem.where == where and what in problem.what for problem in found), [str(problem) for problem in found]


@pytest.mark.parametrize(("content", "what"), [
    (None, "is missing from the release"),
    (b"", "is empty"),
    (b"\xef\xbb\xbf" + _encoded(FILES["NUTR_DEF"]), "byte order mark"),
    (_encoded(FILES["NUTR_DEF"])[:-1 - 9], "ends in the middle of line 6"),
    ("".join(line + "\r\n" for line in FILES["NUTR_DEF"]).encode("utf-8"), "UTF-8"),
    (b"\x00" + _encoded(FILES["NUTR_DEF"]), "not text"),
    (_encoded(FILES["NUTR_DEF"]).replace(b"Folate", b"Fol\x07te"), "line 4 holds the control character 0x07"),
])
def test_a_file_that_is_not_as_published(tmp_path, content, what):
    (found,) = _problems(_folder(tmp_path / "sr", NUTR_DEF=content))
    assert found.where == "NUTR_DEF.txt" and what in found.what


def test_a_truncated_zip(tmp_path):
    path = tmp_path / "sr.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, lines in FILES.items():
            archive.writestr(f"{name}.txt", _encoded(lines))
    path.write_bytes(path.read_bytes()[:-200])
    (found,) = _problems(path)
    assert found.where == str(path) and "not a whole zip file" in found.what


def test_a_damaged_byte_inside_a_zip(tmp_path):
    path = tmp_path / "sr.zip"
    with zipfile.ZipFile(path, "w") as archive:
        for name, lines in FILES.items():
            archive.writestr(f"{name}.txt", _encoded(lines))
    path.write_bytes(path.read_bytes().replace(b"Leeks, raw", b"Leeks, rav"))
    (found,) = _problems(path)
    assert "not a whole zip file" in found.what


def test_a_zip_that_holds_a_file_twice(tmp_path):
    path = tmp_path / "sr.zip"
    with zipfile.ZipFile(path, "w") as archive:
        for folder in ("a", "b"):
            archive.writestr(f"{folder}/FOOD_DES.txt", _encoded(FILES["FOOD_DES"]))
    (found,) = _problems(path)
    assert "FOOD_DES.txt more than once" in found.what


def _zipped(path: Path) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, lines in FILES.items():
            archive.writestr(f"{name}.txt", _encoded(lines))
    return path


def test_an_encrypted_zip_is_called_what_it_is(tmp_path):
    """Bit 0 of the general purpose flags says encrypted (ZIP application note 4.4.4, from memory)."""
    path = _zipped(tmp_path / "sr.zip")
    data = bytearray(path.read_bytes())
    for mark, flags in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        data[data.index(mark) + flags] |= 1
    path.write_bytes(data)
    (found,) = _problems(path)
    assert "is encrypted" in found.what and "password" in found.remedy


def test_a_zip_that_would_fill_the_memory_is_not_unpacked(tmp_path, monkeypatch):
    monkeypatch.setattr(common, "LARGEST_UNPACKED", 100)
    monkeypatch.setattr(zipfile.ZipFile, "read", lambda *_: pytest.fail("it was unpacked"))
    (found,) = _problems(_zipped(tmp_path / "sr.zip"))
    assert "unpacks to" in found.what and "more than 100" in found.what


def test_a_folder_with_one_file_in_two_spellings(tmp_path):
    folder = _folder(tmp_path / "sr")
    other = folder / "food_des.TXT"
    if other.exists():
        pytest.skip("this file system does not tell capitals from small letters")
    other.write_bytes(_encoded(FILES["FOOD_DES"][:1]))
    (found,) = _problems(folder)
    assert found.where == str(folder) and "more than once" in found.what


def test_the_folder_around_the_release_will_do(tmp_path):
    (tmp_path / "outer").mkdir()
    expected = read_release(_folder(tmp_path / "outer" / "sr26"), COMPONENTS)
    for ours, theirs in zip(read_release(tmp_path / "outer", COMPONENTS), expected, strict=True):
        pd.testing.assert_frame_equal(ours, theirs)


def test_nothing_there(tmp_path):
    (found,) = _problems(tmp_path / "nowhere.zip")
    assert "no such folder or file" in found.what


def test_a_component_that_the_release_does_not_have(tmp_path):
    wanted = pd.DataFrame([("IODINE", "ug", "314")], columns=COMPONENTS.columns)
    (found,) = _problems(_folder(tmp_path / "sr"), wanted)
    assert "has no nutrient 314" in found.what


def test_a_published_code_without_a_value_type_is_not_guessed(tmp_path):
    codes = _encoded([*FILES["DERIV_CD"], "~XX~^~a new one~"])
    line = GOOD.replace("~A~", "~XX~")
    (found,) = _problems(_folder(tmp_path / "sr", DERIV_CD=codes, NUT_DATA=_with("NUT_DATA", 1, line)))
    assert "without a value type" in found.what and "BY_DERIVATION" in found.remedy


def test_a_wrong_delimiter_throughout_is_told_once(tmp_path):
    lines = [line.replace("^", ";") for line in FILES["NUT_DATA"] * 20]
    (found,) = _problems(_folder(tmp_path / "sr", NUT_DATA=_encoded(lines)))
    assert "divided by ^" in found.what and "as downloaded" in found.remedy


def test_a_fault_of_many_lines_is_told_in_few_words(tmp_path):
    lines = [*FILES["NUT_DATA"][:1], *(line.replace("^", ";") for line in FILES["NUT_DATA"] * 20)]
    found = _problems(_folder(tmp_path / "sr", NUT_DATA=_encoded(lines)))
    assert len(found) == SHOWN + 1 and f"and {len(lines) - 1 - SHOWN} more places" in found[-1].what


def test_all_faulty_files_are_told_at_once(tmp_path):
    found = _problems(_folder(tmp_path / "sr", FD_GROUP=None, SRC_CD=b"", NUT_DATA=_with("NUT_DATA", 1, GOOD + "^")))
    assert {problem.where for problem in found} == {"FD_GROUP.txt", "SRC_CD.txt", "NUT_DATA.txt line 1"}


# ---------------------------------------------------------------- the core's build

def _build():
    path = Path(__file__).resolve().parents[1] / "reference" / "build" / "build_core.py"
    module = module_from_spec(spec := spec_from_file_location("build_core", path))
    spec.loader.exec_module(module)
    return module


RULES = pd.DataFrame([("FOL", "other-vegetables", "common-practice", "for the test")], columns=["component", "cooking_class", "source_id", "reason"])


def _curated(*rows: tuple[str, str, str]) -> pd.DataFrame:
    foods = pd.DataFrame(rows, columns=["entry_id", "common_names", "state"])
    return foods.assign(cooking_class="other-vegetables", note="")


def test_the_core_takes_names_and_classes_from_the_curated_list(tmp_path):
    entries, values = _build().build(_folder(tmp_path / "sr"), _curated(("00001", "leek; leeks", "raw")), COMPONENTS, RULES)
    (leek,) = entries.to_dict("records")
    assert (leek["common_names"], leek["cooking_class"], leek["refuse_fraction"]) == ("leek; leeks", "other-vegetables", 0.56)
    assert len(values) == len(COMPONENTS)


def test_an_assumed_zero_fills_what_is_missing_and_nothing_else(tmp_path):
    foods = _curated(("00001", "leek", "raw"), ("00003", "lentils", "dried"))
    _, values = _build().build(_folder(tmp_path / "sr"), foods, COMPONENTS, RULES)
    filled = _value(values, "00003", "FOL", "ug")
    assert (filled["value"], filled["value_type"], filled["derivation"], filled["source_id"]) == (0, "zero", "assumed", "common-practice")
    assert _value(values, "00001", "FOL", "ug")["source_id"] == "usda-sr26"
    assert _value(values, "00003", "CHOCDF", "g")["value_type"] == "missing"


def test_a_curated_food_that_the_release_does_not_have(tmp_path):
    with pytest.raises(InputError, match="core_foods.csv 00099: is not in the release"):
        _build().build(_folder(tmp_path / "sr"), _curated(("00099", "leek", "raw")), COMPONENTS, RULES)


@pytest.mark.parametrize(("rows", "what"), [
    ("00001,leek,raw,roots,\n00001,leeks,raw,roots,\n", "is listed twice"),
    ("00001,leek; leeks,raw,roots,\n00002,onion; leek,raw,roots,\n", "shares the name 'leek'"),
    ("00001,,raw,roots,\n", "has no common name"),
])
def test_a_faulty_curated_list(tmp_path, rows, what):
    path = tmp_path / "core_foods.csv"
    path.write_text("entry_id,common_names,state,cooking_class,note\n" + rows)
    with pytest.raises(InputError, match=what):
        _build().read_list(path)


def test_two_foods_may_share_a_name_in_different_states(tmp_path):
    path = tmp_path / "core_foods.csv"
    path.write_text("entry_id,common_names,state,cooking_class,note\n00001,chickpeas,dried,legumes-dried,\n00002,chickpeas,drained,legumes-cooked,\n")
    assert len(_build().read_list(path)) == 2


def test_numbers_are_written_as_short_plain_decimals():
    table = pd.DataFrame({"number": [16.0, 0.074, 0.0, 1e-5, None], "text": list("abcde")})
    assert _build().plain(table)["number"].tolist() == ["16", "0.074", "0", "0.00001", ""]


@pytest.mark.parametrize("name, group, state", [  # names of USDA SR26 with their numbers; the state is what each says in plain words
    ("Soup, chicken broth or bouillon, dry, prepared with water", "Soups, Sauces, and Gravies", "cooked"),  # 06480
    ("Soup, chicken broth or bouillon, dry", "Soups, Sauces, and Gravies", "dried"),  # 06080
    ("Buckwheat groats, roasted, dry", "Cereal Grains and Pasta", "dried"),  # 20009
    ("Alcoholic beverage, wine, dessert, dry", "Beverages", ""),  # 14536: not sweet
    ("Beef, chuck, cooked, dry heat", "Beef Products", "cooked"),
])
def test_what_dry_means_in_a_name(name, group, state):
    assert states_of(pd.Series([name]), pd.Series([group])).tolist() == [state]


def test_the_ranges_of_published_measures_cite_their_source():
    ranges = pd.read_csv(SPREAD)
    known = pd.read_csv(ROOT / "reference" / "sources.csv")["source_id"]
    assert set(ranges["kind"]) == {*MEASURED, COUNTED} and set(ranges["source_id"]) <= set(known)
    assert ((ranges["low"] <= 1) & (ranges["high"] >= 1)).all()
