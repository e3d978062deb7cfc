"""The FoodData Central importer on a small download that the tests write (layout from memory), whole and with planted faults."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

import fdc_download
import sr_release
from pipeline.composition import fdc, store
from pipeline.composition.common import SHOWN, checked
from pipeline.composition.fdc_nutrients import BY_CODE, TAGNAMES
from pipeline.composition.fdc_portions import count_of
from pipeline.composition.fdc_nutrients import types_of
from pipeline.composition.importing import import_table
from pipeline.problems import InputError
from pipeline.tables import VALUE_TYPES


def _read(path: Path):
    return checked(fdc.read(path, sr_release.COMPONENTS, sr_release.UNIT_WORDS, "fdc-test"))


@pytest.fixture
def imported(tmp_path):
    return _read(fdc_download.write(tmp_path / "fdc"))


def _value(imported, entry_id: str, component: str, unit: str) -> dict:
    values = imported.values
    (row,) = values[(values["entry_id"] == entry_id) & (values["component"] == component) & (values["unit"] == unit)].to_dict("records")
    return row


# ---------------------------------------------------------------- what a whole download gives

def test_foods_have_the_number_that_stays(imported):
    entries = imported.entries.set_index("entry_id")
    assert list(entries.index) == ["00001", "16070", "00001-foundation", "75649110"]
    assert entries.at["00001", "food_group"] == "Vegetables and Vegetable Products" and entries.at["75649110", "food_group"] == "Soups, vegetable"
    assert entries.at["16070", "state"] == "cooked" and entries.at["16070", "cooking_class"] == "legumes-cooked"
    assert entries.at["00001-foundation", "name"] == 'Leeks, "winter", raw'
    assert entries.at["00001-foundation", "source_row"] == "fdc-test, 00001-foundation, fdc_id 2001"


def test_refuse_is_the_sum_of_what_is_thrown_away(imported):
    entries = imported.entries.set_index("entry_id")
    assert entries.at["00001-foundation", "refuse_fraction"] == pytest.approx(0.56)
    assert entries.at["00001-foundation", "refuse_description"] == "Tops; Roots"
    assert pd.isna(entries.at["00001", "refuse_fraction"])


def test_counts_leave_the_samples_out_and_say_so(imported):
    assert imported.counts == {"foods": 4, "values": 15, "portions": 6}
    assert any(note.startswith("2 samples and acquisitions") for note in imported.notes)
    assert len(imported.extra["food_nutrient"]) == 16  # the samples' own values are kept as published


@pytest.mark.parametrize(("entry_id", "component", "unit", "value", "value_type", "n", "derivation"), [
    ("00001", "K", "mg", 180, "analysed", 16, "1/A"),
    ("00001", "ENERC", "kcal", 61, "calculated", 0, "4/NC"),
    ("00001", "ALC", "g", 0, "zero", 0, "7/Z"),
    ("00001", "FOL", "ug", 64, "imputed", 0, "4/BFZN"),
    ("00001", "PROCNT", "g", 1.5, "borrowed", 1, "4/T"),
    ("16070", "K", "mg", 369, "analysed", 2, ""),               # no code, but data points
    ("16070", "NA", "mg", 2, "calculated", None, "9/XNEW"),     # a new derivation goes by its source
    ("00001-foundation", "STARCH", "g", 0.125, "below-detection", 6, "1/A"),
    ("00001-foundation", "NA", "mg", None, "missing", None, "1/A"),
    ("00001-foundation", "CHOCDF", "g", 0, "calculated", None, "4/NC"),
    ("75649110", "K", "mg", 140, "calculated", None, ""),       # a survey food: made of recipes
    ("75649110", "PROCNT", "g", 0, "calculated", None, ""),     # a computed 0 is not an assumed one
    ("75649110", "NA", "mg", None, "missing", None, ""),
])
def test_value_types(imported, entry_id, component, unit, value, value_type, n, derivation):
    row = _value(imported, entry_id, component, unit)
    assert (row["value"] == value or (value is None and pd.isna(row["value"]))) and row["value_type"] == value_type
    assert (row["n"] == n or (n is None and pd.isna(row["n"]))) and row["derivation"] == derivation


def test_foundation_statistics(imported):
    potassium = _value(imported, "00001-foundation", "K", "mg")
    assert (potassium["value"], potassium["minimum"], potassium["maximum"]) == (201.5, 150, 260)
    kept = imported.extra["food_nutrient"].set_index("id")
    assert kept.at["7", "median"] == "199.0" and kept.at["7", "min_year_acquired"] == "2018"


def test_a_limit_of_quantification(imported):
    starch = _value(imported, "00001-foundation", "STARCH", "g")
    assert (starch["minimum"], starch["maximum"], starch["original"], starch["original_unit"]) == (0, 0.25, "< 0.25", "G")


def test_carbohydrate_below_0_is_said(imported):
    assert _value(imported, "00001-foundation", "CHOCDF", "g")["original"] == "-0.3"
    assert any(problem.code == "negative-by-difference" and "row 12" in problem.where for problem in imported.problems)


def test_nutrients_without_a_tagname_keep_their_number(imported):
    assert _value(imported, "00001-foundation", "FDC:957", "kcal")["value"] == 55.1
    odd = _value(imported, "00001-foundation", "FDC:id-2998", "SP_GR")
    assert odd["source_row"].endswith("nutrient id 2998")


def test_portions(imported):
    measures = imported.measures.set_index("measure_id")
    leek, chopped = measures.loc["fdc-test:00001:501"], measures.loc["fdc-test:00001:502"]
    assert (leek["measure"], leek["middle"], leek["basis"]) == ("piece", 89, "edible")
    assert (chopped["measure"], chopped["preparation"], chopped["middle"]) == ("cup", "chopped", 89)
    sliced = measures.loc["fdc-test:00001-foundation:503"]
    assert (sliced["measure"], sliced["preparation"], sliced["middle"]) == ("cup", "sliced", 80)
    soup = measures.loc["fdc-test:75649110:505"]
    assert (soup["measure"], soup["middle"]) == ("cup", 244)
    assert measures.loc["fdc-test:75649110:504", "measure"] == "cup, nfs" and measures.loc["fdc-test:75649110:504", "middle"] == 244
    assert "fdc-test:75649110:506" not in measures.index
    assert any(problem.code == "portion-without-weight" and "row 7" in problem.where for problem in imported.problems)


@pytest.mark.parametrize(("text", "expected"), [
    ("1 cup", ("1", "cup")), ("1/2 cup, cooked", ("0.5", "cup, cooked")), ("1 1/2 cups", ("1.5", "cups")), ("2.5 oz", ("2.5", "oz")),
    ("Quantity not specified", ("1", "Quantity not specified")), ("10", ("1", "10")),
])
def test_how_many_a_survey_portion_is(text, expected):
    assert count_of(text) == expected


def test_a_zip_gives_the_same_as_a_folder(imported, tmp_path):
    again = _read(fdc_download.zipped(tmp_path / "fdc.zip"))
    for name in ("entries", "values", "measures"):
        pd.testing.assert_frame_equal(getattr(again, name), getattr(imported, name))


def test_a_byte_order_mark_changes_nothing(imported, tmp_path):
    path = fdc_download.write(tmp_path / "bom", food=b"\xef\xbb\xbf" + fdc_download.text("food").encode())
    pd.testing.assert_frame_equal(_read(path).entries, imported.entries)


def test_a_column_of_later_years_is_kept_and_said(tmp_path):
    text = fdc_download.text("nutrient").replace('"rank"', '"rank","colour"').replace('"600"', '"600","blue"')
    content = "\r\n".join(line if line.count('","') == 5 or not line else line + ',""' for line in text.split("\r\n")).encode()
    read = _read(fdc_download.write(tmp_path / "fdc", nutrient=content))
    assert any("colour" in note for note in read.notes) and "blue" in set(read.extra["nutrient"]["colour"])


def test_only_one_kind_needs_only_its_files(tmp_path):
    rows = fdc_download.FILES
    foods = [rows["food"][0], rows["food"][1], rows["food"][2]]
    ids = {"1001", "1002"}
    kept = {name: [line for number, line in enumerate(lines) if number == 0 or line[1] in ids]
            for name, lines in rows.items() if name in ("food_nutrient", "food_portion")}

    def quoted(lines):
        return "".join(",".join(f'"{cell}"' for cell in line) + "\n" for line in lines).encode()

    absent = dict.fromkeys(("foundation_food", "survey_fndds_food", "wweia_food_category", "food_component"))
    path = fdc_download.write(tmp_path / "fdc", food=quoted(foods), **{name: quoted(lines) for name, lines in kept.items()}, **absent)
    assert _read(path).counts == {"foods": 2, "values": 7, "portions": 2}


def test_every_code_has_a_type_of_the_common_form_and_every_tagname_once_per_unit():
    assert set(BY_CODE.values()) <= set(VALUE_TYPES)
    assert TAGNAMES["306"] == "K" and TAGNAMES["851"] == "F18D3CN3" and len(TAGNAMES) == 145  # 144 of NUTR_DEF, and nitrogen


# ---------------------------------------------------------------- planted faults

def _cell(name, row, column, value):
    return {name: fdc_download.with_cell(name, row, column, value)}


FAULTS = [
    ({"nutrient": None}, "nutrient.csv", "is missing from the download"),
    ({"food_nutrient": b""}, "food_nutrient.csv", "is empty"),
    ({"food": fdc_download.text("food").replace(",", ";").encode()}, "food.csv", "row 1 has no column"),
    ({"food": fdc_download.text("food").encode("utf-16")}, "food.csv", "UTF-16"),
    ({"food": fdc_download.text("food").replace("Leeks, raw", "Leeks, pur\xe9e").encode("iso-8859-1")}, "food.csv",
     "is not UTF-8 in line 2, column description (byte 0xe9)"),
    ({"food_nutrient": fdc_download.text("food_nutrient").encode()[:-45]}, "food_nutrient.csv", ""),
    ({"food_portion": fdc_download.text("food_portion").replace('"89.0"', '"89","0"').encode()}, "food_portion.csv row 2", "12 fields, not 11"),
    ({"food_nutrient": fdc_download.text("food_nutrient").replace('"180.0",', "").encode()}, "food_nutrient.csv row 2", "11 fields, not 12"),
    (_cell("food", 3, "fdc_id", "1001"), "food.csv row 3, column fdc_id", "'1001' occurs a second time"),
    (_cell("sr_legacy_food", 3, "NDB_number", "1"), "sr_legacy_food.csv row 3, column NDB_number", "'1' occurs a second time"),
    (_cell("sr_legacy_food", 3, "fdc_id", "1009"), "food.csv row 3, column fdc_id", "is not in sr_legacy_food.csv"),
    (_cell("food", 2, "data_type", "branded_food"), "food.csv row 2, column data_type", "is not a kind of food"),
    (_cell("food", 2, "food_category_id", "99"), "food.csv row 2, column food_category_id", "is not a category"),
    (_cell("food", 2, "description", ""), "food.csv row 2, column description", "is empty"),
    (_cell("food_nutrient", 2, "amount", "lots"), "food_nutrient.csv row 2, column amount", "'lots' is not a number"),
    (_cell("food_nutrient", 2, "amount", "1,80"), "food_nutrient.csv row 2, column amount", "'1,80' is not a number"),
    (_cell("food_nutrient", 2, "amount", "-180"), "food_nutrient.csv row 2, column amount", "is below 0"),
    (_cell("food_nutrient", 2, "amount", "1e300"), "food_nutrient.csv row 2, column amount", "is more than any unit"),
    (_cell("nutrient", 12, "unit_name", ""), "nutrient.csv row 12, column unit_name", "is empty"),
    (_cell("food_nutrient", 2, "data_points", "-1"), "food_nutrient.csv row 2, column data_points", "is not a number from 0 up"),
    (_cell("food_nutrient", 2, "fdc_id", "9999"), "food_nutrient.csv row 2, column fdc_id", "is not a food of food.csv"),
    (_cell("food_nutrient", 2, "nutrient_id", "9999"), "food_nutrient.csv row 2, column nutrient_id", "is not a nutrient"),
    (_cell("food_nutrient", 2, "derivation_id", "77"), "food_nutrient.csv row 2, column derivation_id", "is not a derivation"),
    (_cell("food_nutrient", 3, "nutrient_id", "1092"), "food_nutrient.csv row 3, column nutrient_id", "occurs a second time for its food"),
    (_cell("food_nutrient", 4, "amount", "5"), "food_nutrient.csv row 4, column amount", "codes say assumed zero"),
    (_cell("food_nutrient", 8, "min", "300"), "food_nutrient.csv row 8, column min", "is above the max"),
    (_cell("food_nutrient_source", 5, "code", "99"), "food_nutrient.csv row 7, column derivation_id", "a code without a value type"),
    (_cell("food_nutrient_derivation", 2, "source_id", "88"), "food_nutrient_derivation.csv row 2, column source_id", "is not a source"),
    (_cell("nutrient", 6, "unit_name", "G"), "nutrient.csv row 6, column unit_name", "is not the unit of this component"),
    (_cell("food_portion", 2, "gram_weight", "heavy"), "food_portion.csv row 2, column gram_weight", "'heavy'"),
    (_cell("food_portion", 4, "measure_unit_id", "1234"), "food_portion.csv row 4, column measure_unit_id", "is not a unit"),
    (_cell("food_portion", 3, "id", "501"), "food_portion.csv row 3, column id", "occurs a second time"),
    (_cell("food_component", 2, "is_refuse", "maybe"), "food_component.csv row 2, column is_refuse", "is neither yes nor no"),
    (_cell("food_component", 2, "pct_weight", "95"), "food_component.csv row 2, column pct_weight", "the whole food refuse"),
]


@pytest.mark.parametrize(("changed", "where", "what"), FAULTS, ids=range(len(FAULTS)))
def test_a_planted_fault_is_found_where_it_is(tmp_path, changed, where, what):
    with pytest.raises(InputError) as caught:
        _read(fdc_download.write(tmp_path / "fdc", **changed))
    found = caught.value.problems
    assert all(problem.remedy and problem.code == "table-file" for problem in found)
    assert any(problem.where == where and what in problem.what for problem in found), str(caught.value)


def test_many_faults_of_one_kind_are_counted(tmp_path):
    lines = fdc_download.text("food_nutrient").rstrip().split("\r\n")
    many = "\r\n".join([lines[0], *(f'"{number}","4242","1092","1","1","1","","","","","",""' for number in range(SHOWN + 5))]) + "\r\n"
    with pytest.raises(InputError) as caught:
        _read(fdc_download.write(tmp_path / "fdc", food_nutrient=many.encode()))
    assert len(caught.value.problems) == SHOWN + 1 and "and 5 more places" in caught.value.problems[-1].what


def test_a_truncated_zip(tmp_path):
    path = fdc_download.zipped(tmp_path / "fdc.zip")
    path.write_bytes(path.read_bytes()[:-100])
    with pytest.raises(InputError, match="is not a whole zip file"):
        _read(path)


def test_imported_stored_and_left_alone_by_a_faulty_one(tmp_path):
    root = sr_release.project(tmp_path / "project")
    outcome = import_table("usda-fdc-csv", fdc_download.write(tmp_path / "fdc"), "leeks", root=root)
    assert outcome.state == "imported" and any("below 0" in note for note in outcome.notes)
    before = store.load("leeks", root=root)
    with pytest.raises(InputError):
        import_table("usda-fdc-csv", fdc_download.write(tmp_path / "faulty", nutrient=None), "leeks", root=root)
    after = store.load("leeks", root=root)
    assert after.hashes == before.hashes
    assert import_table("usda-fdc-csv", tmp_path / "fdc", "leeks", root=root).state == "current"


def test_an_assumed_zero_is_a_zero_whatever_its_derivation():
    """Source 7 is an assumed zero in the Standard Reference, and its codes are those of the download (SR26 documentation, from memory)."""
    data = pd.DataFrame({"derivation": ["BFZN", "", "A"], "source": ["7", "7", "1"], "n": [0.0, float("nan"), 3.0], "number": ["306"] * 3,
                         "survey": [False] * 3})
    assert types_of(data).tolist() == ["zero", "zero", "analysed"]
