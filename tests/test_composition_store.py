"""The store of imported tables and the import of a whole Standard Reference release: what is kept, and what faults and kills leave."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

import sr_release
from pipeline import sources
from pipeline.composition import store, usda_sr
from pipeline.composition.common import Imported, checked, source_hash
from pipeline.composition.household import words_of
from pipeline.composition.importing import import_table
from pipeline.composition.load import load_table, table_names
from pipeline.problems import InputError
from pipeline.root import ROOT

FORMAT = "usda-sr-ascii"
UNITS = {row.word: (row.unit, row.kind) for row in sr_release.UNIT_WORDS.itertuples()}


@pytest.fixture
def root(tmp_path) -> Path:
    return sr_release.project(tmp_path / "project")


@pytest.fixture
def release(tmp_path) -> Path:
    return sr_release.write(tmp_path / "release")


def _read(path: Path) -> Imported:
    return checked(usda_sr.read(path, sr_release.COMPONENTS, sr_release.UNIT_WORDS, "usda-sr26"))


def _import(path: Path, root: Path, name: str = "leeks"):
    return import_table(FORMAT, path, name, source_id="usda-sr26", root=root)


def _files(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


# ---------------------------------------------------------------- what a whole release gives

def test_counts_are_the_rows_as_published(release):
    imported = _read(release)
    assert imported.counts == {"foods": 3, "values": 11, "weights": 6, "footnotes": 2, "data_sources": 1, "data_source_links": 1}
    assert (imported.values["value_type"] != "missing").sum() == 11 and len(imported.measures) == 6


def test_every_food_has_every_component_and_others_where_published(release):
    values = _read(release).values
    wanted = set(sr_release.COMPONENTS[["component", "unit"]].itertuples(index=False, name=None))
    for _, rows in values.groupby("entry_id"):
        assert wanted <= set(rows[["component", "unit"]].itertuples(index=False, name=None))
    missing = values[(values["entry_id"] == "00003") & (values["component"] == "CHOCDF")].iloc[0]
    assert (missing["value_type"], missing["original"], missing["source_row"]) == ("missing", "", "USDA SR26, 00003, nutrient 205")
    assert pd.isna(missing["value"])


@pytest.mark.parametrize(("nutrient", "component"), [("209", "STARCH"), ("573", "SR:573"), ("299", "SR:299")])
def test_a_nutrient_of_its_own_keeps_its_tagname_or_its_number(release, nutrient, component):
    imported = _read(release)
    (row,) = imported.values[imported.values["source_row"] == f"USDA SR26, 00003, nutrient {nutrient}"].to_dict("records")
    assert row["component"] == component
    named = imported.extra["nutrients"].set_index("Nutr_No")
    assert named.at[nutrient, "component"] == component


def test_the_value_as_printed_stays(release):
    values = _read(release).values
    sodium = values[(values["entry_id"] == "00001") & (values["component"] == "NA")].iloc[0]
    assert (sodium["value"], sodium["original"], sodium["original_unit"]) == (0.5, ".5", "mg")
    folate = values[(values["entry_id"] == "00002") & (values["component"] == "FOL")].iloc[0]
    assert (folate["unit"], folate["original_unit"]) == ("ug", "\xb5g")


def test_what_has_no_column_is_kept_as_published(release, root):
    _import(release, root)
    extra = root / "composition" / "leeks" / "extra"
    assert pd.read_parquet(extra / "footnotes.parquet")["Footnt_Txt"].tolist() == ["Grown under glass", "Two methods"]
    assert pd.read_parquet(extra / "foods_as_published.parquet")["Pro_Factor"].tolist() == ["2.44", "", ""]
    details = pd.read_parquet(extra / "value_details.parquet")
    assert details.loc[0, ["DF", "Low_EB", "Up_EB", "Stat_cmt"]].tolist() == ["4", "-3", "190.5", "2, 3"]
    assert details.loc[6, "Ref_NDB_No"] == "00001" and details.loc[9, "Add_Nutr_Mark"] == "Y"
    assert len(pd.read_parquet(extra / "data_source_links.parquet")) == 1
    assert {f"extra/{file.name}" for file in extra.iterdir()} == {file for file in store.facts("leeks", root)["files"] if file.startswith("extra/")}


# ---------------------------------------------------------------- household measures

def test_household_weights(release):
    measures = _read(release).measures.set_index("measure_id")
    leek = measures.loc["usda-sr26:00001:01"]
    assert (leek["measure"], leek["middle"], leek["basis"], leek["scope_key"]) == ("piece", 89, "edible", "00001")
    assert (leek["low"], leek["high"]) == (pytest.approx(89 - 1.645 * 20), pytest.approx(89 + 1.645 * 20))
    chopped = measures.loc["usda-sr26:00001:02"]
    assert (chopped["measure"], chopped["preparation"], chopped["middle"]) == ("cup", "chopped", 89)
    assert "published as: .5 cup, chopped" in chopped["note"] and chopped["low"] < 89 < chopped["high"]
    assert measures.loc["usda-sr26:00003:02", "measure"] == "package (10 oz) yields"


@pytest.mark.parametrize(("description", "food", "expected"), [
    ("cup", "Lentils, raw", ("cup", "", "")),
    ("cup (8 fl oz)", "Milk, whole", ("cup", "", "")),
    ("cup, chopped or diced", "Leeks, raw", ("cup", "", "chopped")),
    ("cup slices", "Carrots, raw", ("cup", "", "sliced")),
    ('cup (1" cubes)', "Squash, winter", ("cup", "", "cubed")),
    ("tbsp", "Butter, salted", ("tablespoon", "", "")),
    ('medium (2-1/2" dia)', "Onions, raw", ("piece", "medium", "")),
    ("potato large (3\" to 4-1/4\" dia)", "Potatoes, raw", ("piece", "large", "")),
    ("stalk, large (11\"-12\" long)", "Celery, raw", ("stalk", "large", "")),
    ("slice, thin", "Onions, raw", ("thin slice", "", "")),
    ("fruit", "Apricots, raw", ("piece", "", "")),
    ("can (303 x 406)", "Beans, canned", ("tin", "", "")),
])
def test_a_description_that_is_understood(description, food, expected):
    assert words_of(description, food, UNITS)[:3] == expected


@given(st.text(max_size=40), st.text(max_size=20))
def test_any_description_gives_a_measure_or_itself(description, food):
    found = words_of(description, food, UNITS)
    whole = " ".join(description.casefold().split())
    assert found.kind or found == (whole, "", "", "")
    assert not found.kind or found.measure in {*(unit for unit, _ in UNITS.values()), "piece", "thin slice", "thick slice"}


@pytest.mark.parametrize(("description", "food"), [
    ("piece", "Cake, chocolate"),  # an eighth of it, perhaps
    ('piece (1/8 of 9" dia)', "Cake, chocolate"),
    ("package (10 oz) yields", "Spinach, frozen"),
    ("cup (1 NLEA serving)", "Cereals, oats"),
    ("extra large", "Eggs, raw"),
    ("fruit without refuse", "Pears, raw"),
    ("serving 1/2 cup", "Beans, baked"),
])
def test_a_description_that_is_not_understood_is_no_measure_a_cook_writes(description, food):
    found = words_of(description, food, UNITS)
    assert found[:3] == (" ".join(description.lower().split()), "", "") and found.kind == ""
    assert found.measure not in {unit for unit, _ in UNITS.values()} or found.measure == "piece"


def test_two_weights_for_the_same_words_are_not_told_apart_by_chance(tmp_path):
    lines = ["~00001~^~1~^1^~slice (1 oz)~^28^^", '~00001~^~2~^1^~slice (1" thick)~^20^^', '~00001~^~3~^1^~slice (2" thick)~^40^^',
             "~00001~^~4~^1^~cup (8 fl oz)~^240^^", "~00001~^~5~^1^~cup~^240^^"]
    measures = _read(sr_release.write(tmp_path / "sr", WEIGHT=sr_release.encoded(lines))).measures
    assert not measures.duplicated(["scope_key", "measure", "size", "preparation"]).any()
    assert "slice" not in set(measures["measure"]) and (measures["measure"] == "cup").sum() == 1 and len(measures) == 5


# ---------------------------------------------------------------- storing and loading

def test_what_is_loaded_is_what_was_imported(release, root):
    _import(release, root)
    imported, stored = _read(release), store.load("leeks", root=root)
    keys = ["entry_id", "component", "unit"]
    pd.testing.assert_frame_equal(stored.values.sort_values(keys, ignore_index=True), imported.values.sort_values(keys, ignore_index=True))
    pd.testing.assert_frame_equal(stored.entries, imported.entries)
    pd.testing.assert_frame_equal(stored.measures, imported.measures)
    assert stored.facts["counts"] == imported.counts and stored.facts["source_ids"] == ["usda-sr26"]
    assert stored.facts["source"] == {"file": "release", "sha256": source_hash(release)}


def test_only_the_components_that_are_asked_for(release, root):
    _import(release, root)
    stored = store.load("leeks", ["K", "ENERC"], root)
    assert set(stored.values["component"]) == {"K", "ENERC"} and len(stored.values) == 3 * 3
    every = store.load("leeks", None, root).values
    expected = every[every["component"].isin(["K", "ENERC"])].reset_index(drop=True)
    pd.testing.assert_frame_equal(stored.values, expected)
    assert store.load("leeks", [], root).values.empty and store.load("leeks", ["no such tagname"], root).values.empty


def test_a_run_finds_it_like_a_curated_table(release, root):
    _import(release, root)
    reference = sources.load(root)
    assert table_names(root) == ["core", "leeks"]
    table = load_table("leeks", reference.sources, root)
    assert set(table.values["component"]) == set(reference.components["component"])
    assert list(table.values.columns) == list(load_table("core", reference.sources, root).values.columns)
    assert list(table.hashes) == ["composition/leeks/entries.parquet", "composition/leeks/measures.parquet", "composition/leeks/values.parquet",
                                  "reference/composition/core/entries.csv"]  # whose words its entries may carry
    for path, digest in table.hashes.items():
        assert sources.file_sha256(root / path) == digest


def test_a_source_that_is_not_listed_stops_a_run_not_the_import(release, root):
    outcome = import_table(FORMAT, release, "leeks", root=root)
    assert any("add leeks to reference/sources.csv" in note for note in outcome.notes)
    with pytest.raises(InputError, match="cites a source that is not listed: leeks"):
        load_table("leeks", sources.load(root).sources, root)


def test_a_file_is_not_taken_for_another_of_the_same_name(tmp_path, root):
    with pytest.raises(InputError, match="is a source in reference/sources.csv with the SHA-256"):
        import_table(FORMAT, sr_release.zipped(tmp_path / "sr.zip"), "usda-sr26", root=root)


def test_a_folder_that_cannot_be_compared_with_the_cited_file_is_said(release, root):
    assert any("cannot be compared with the file that reference/sources.csv cites as usda-sr26" in note for note in _import(release, root).notes)


def test_importing_twice_does_nothing_and_says_so(release, root):
    assert _import(release, root).state == "imported"
    before = {path: path.stat().st_mtime_ns for path in (root / "composition" / "leeks").rglob("*")}
    assert _import(release, root).state == "current"
    assert before == {path: path.stat().st_mtime_ns for path in (root / "composition" / "leeks").rglob("*")}


def test_a_changed_source_replaces_the_table(release, root):
    _import(release, root)
    sr_release.write(release, NUT_DATA=sr_release.with_line("NUT_DATA", 1, sr_release.FILES["NUT_DATA"][0].replace("^180^", "^181^")))
    assert _import(release, root).state == "replaced"
    values = store.load("leeks", ["K"], root).values
    assert values.loc[values["entry_id"] == "00001", "value"].tolist() == [181]


def test_the_same_source_gives_the_same_bytes(release, root, tmp_path):
    other = sr_release.project(tmp_path / "elsewhere")
    _import(release, root)
    _import(release, other)
    assert _files(root / "composition" / "leeks") == _files(other / "composition" / "leeks")


def test_one_row_group_per_component_and_unit(release, root):
    import pyarrow.parquet as parquet

    _import(release, root)
    file = parquet.ParquetFile(root / "composition" / "leeks" / store.VALUES)
    pairs = [tuple(file.read_row_group(group, ["component", "unit"]).to_pandas().drop_duplicates().itertuples(index=False, name=None))
             for group in range(file.num_row_groups)]
    assert all(len(found) == 1 for found in pairs) and len(set(pairs)) == len(pairs) == len(sr_release.COMPONENTS) + 3


@pytest.mark.parametrize("file", ["values.parquet", "entries.parquet", "measures.parquet"])
def test_a_damaged_file_is_not_read_and_is_imported_again(release, root, file):
    _import(release, root)
    path = root / "composition" / "leeks" / file
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 1
    path.write_bytes(bytes(content))
    with pytest.raises(InputError, match=f"{file}: is not the file that was stored"):
        store.load("leeks", root=root)
    assert _import(release, root).state == "replaced"
    assert len(store.load("leeks", root=root).entries) == 3


@pytest.mark.parametrize("content", ["{", "[]", json.dumps({"layout": 0})])
def test_a_damaged_table_json(release, root, content):
    _import(release, root)
    (root / "composition" / "leeks" / "table.json").write_text(content)
    with pytest.raises(InputError, match="Import the table again"):
        store.load("leeks", root=root)


@pytest.mark.parametrize("name", ["Leeks", "../leeks", "", "core", ".leeks", "a" * 61])
def test_a_name_that_no_import_may_have(release, root, name):
    with pytest.raises(InputError, match="--name"):
        _import(release, root, name)
    assert not (root / "composition").exists()


def test_a_table_that_is_not_there(root):
    with pytest.raises(InputError, match="is not among the imported tables"):
        store.load("leeks", root=root)
    assert store.names(root) == []


def test_git_does_not_see_the_store(release, root):
    _import(release, root)
    assert (root / "composition" / ".gitignore").read_text() == "*\n"


# ---------------------------------------------------------------- rows that break the common form

@pytest.mark.parametrize(("column", "value", "rule"), [
    ("value", -1.0, "value"), ("value_type", "guessed", "value_type"), ("unit", "", "unit"), ("entry_id", "99999", "not there"),
    ("value_type", "zero", "zero is not zero"), ("value_type", "missing", "missing value carries"), ("value_type", "trace", "half its limit"),
])
def test_the_store_refuses_what_is_not_the_common_form(release, root, column, value, rule):
    imported = _read(release)
    at = imported.values.index[imported.values["value"] > 100][0]
    values = imported.values.copy()
    values.loc[at, column] = value
    broken = Imported(imported.entries, values, imported.measures, imported.counts)
    with pytest.raises(InputError, match=rule):
        store.save("leeks", broken, FORMAT, "1", {"file": "x", "sha256": "y"}, root)
    assert store.names(root) == []


# ---------------------------------------------------------------- faults: told where and what to do, the old table untouched

LINE = {name: lines[0] for name, lines in sr_release.FILES.items()}


@pytest.mark.parametrize(("changed", "where", "what"), [
    ({"WEIGHT": None}, "WEIGHT.txt", "is missing from the release"),
    ({"FOOTNOTE": b""}, "FOOTNOTE.txt", "is empty"),
    ({"NUT_DATA": sr_release.encoded(sr_release.FILES["NUT_DATA"])[:-30]}, "NUT_DATA.txt", "ends in the middle of line 11"),
    ({"NUT_DATA": sr_release.encoded([line.replace("^", ";") for line in sr_release.FILES["NUT_DATA"]])}, "NUT_DATA.txt", "has no line whose fields are divided by ^"),
    ({"FOOD_DES": b"\xef\xbb\xbf" + sr_release.encoded(sr_release.FILES["FOOD_DES"])}, "FOOD_DES.txt", "byte order mark"),
    ({"NUTR_DEF": "".join(line + "\r\n" for line in sr_release.FILES["NUTR_DEF"]).encode("utf-8")}, "NUTR_DEF.txt", "UTF-8"),
    ({"FOOD_DES": sr_release.with_line("FOOD_DES", 1, LINE["FOOD_DES"].replace("~Leeks, raw~", "~ ~"))}, "FOOD_DES.txt line 1, column Long_Desc",
     "is not text"),
    ({"FOOTNOTE": b"~00001~^~01~^~D~^~~^~cut\rhere~\r\n"}, "FOOTNOTE.txt", "carriage return inside line 1"),
    ({"FOOD_DES": sr_release.with_line("FOOD_DES", 2, LINE["FOOD_DES"])}, "FOOD_DES.txt line 2, column NDB_No", "'00001' occurs a second time"),
    ({"NUT_DATA": sr_release.with_line("NUT_DATA", 1, LINE["NUT_DATA"].replace("^180^", "^lots^"))}, "NUT_DATA.txt line 1, column Nutr_Val", "'lots'"),
    ({"NUT_DATA": sr_release.with_line("NUT_DATA", 1, LINE["NUT_DATA"].replace("~A~", "~QQ~"))}, "NUT_DATA.txt line 1, column Deriv_Cd", "not a code"),
    ({"NUT_DATA": sr_release.with_line("NUT_DATA", 1, LINE["NUT_DATA"].replace("~00001~", "~09999~"))}, "NUT_DATA.txt line 1, column NDB_No", "not a food"),
    ({"NUT_DATA": sr_release.with_line("NUT_DATA", 1, LINE["NUT_DATA"].replace("^120^240^", "^240^120^"))}, "NUT_DATA.txt line 1, column Min", "above the Max"),
    ({"WEIGHT": sr_release.with_line("WEIGHT", 1, "~09999~^~1~^1^~leek~^89^^")}, "WEIGHT.txt line 1, column NDB_No", "not a food"),
    ({"WEIGHT": sr_release.with_line("WEIGHT", 2, LINE["WEIGHT"])}, "WEIGHT.txt line 2, column Seq", "occurs a second time"),
    ({"WEIGHT": sr_release.with_line("WEIGHT", 1, "~00001~^~1~^1^~leek~^0^^")}, "WEIGHT.txt line 1, column Gm_Wgt", "is not above 0"),
    ({"WEIGHT": sr_release.with_line("WEIGHT", 1, "~00001~^~1~^one^~leek~^89^^")}, "WEIGHT.txt line 1, column Amount", "'one' is not a number"),
    ({"FOOTNOTE": sr_release.with_line("FOOTNOTE", 2, "~00001~^~02~^~N~^~999~^~words~")}, "FOOTNOTE.txt line 2, column Nutr_No", "not a nutrient"),
    ({"DATSRCLN": sr_release.encoded(["~00001~^~306~^~S9~"])}, "DATSRCLN.txt line 1, column DataSrc_ID", "not a source"),
    ({"DATA_SRC": sr_release.encoded([LINE["DATA_SRC"]] * 2)}, "DATA_SRC.txt line 2, column DataSrc_ID", "occurs a second time"),
])
def test_a_fault_is_told_and_the_old_table_stays(release, root, tmp_path, changed, where, what):
    _import(release, root)
    before = _files(root / "composition")
    with pytest.raises(InputError) as caught:
        _import(sr_release.write(tmp_path / "faulty", **changed), root)
    assert any(problem.where == where and what in problem.what and problem.remedy for problem in caught.value.problems), str(caught.value)
    assert _files(root / "composition") == before


def test_a_truncated_zip_leaves_the_old_table(release, root, tmp_path):
    _import(release, root)
    before = _files(root / "composition")
    path = sr_release.zipped(tmp_path / "sr.zip")
    path.write_bytes(path.read_bytes()[:-300])
    with pytest.raises(InputError, match="is not a whole zip file"):
        _import(path, root)
    assert _files(root / "composition") == before


def test_latin_1_letters_come_through(root, tmp_path):
    food = LINE["FOOD_DES"].replace("Leeks, raw", "Leeks, pur\xe9e")
    _import(sr_release.write(tmp_path / "sr", FOOD_DES=sr_release.with_line("FOOD_DES", 1, food)), root)
    assert store.load("leeks", root=root).entries.loc[0, "name"] == "Leeks, pur\xe9e"


def test_nothing_there(root, tmp_path):
    with pytest.raises(InputError, match="cannot be read"):
        _import(tmp_path / "nowhere.zip", root)


@pytest.mark.parametrize(("arguments", "what"), [
    (("fortran-cards",), "is not known"), ((FORMAT, "", "some.toml"), "--profile"), (("spreadsheet",), "is needed by"),
    (("spreadsheet", "usda-sr26", "some.toml"), "--source"),
])
def test_a_call_that_makes_no_sense(release, root, arguments, what):
    format_name, *rest = arguments
    with pytest.raises(InputError, match=what):
        import_table(format_name, release, "leeks", *rest, root=root)


# ---------------------------------------------------------------- killed in the middle

KILLED = """
import os, signal, sys
from pathlib import Path
sys.path.insert(0, sys.argv[1])
from pipeline.composition import store
from pipeline.composition.importing import import_table
real, moment = Path.rename, sys.argv[4]
renames = []
def die(*_, **__): os.kill(os.getpid(), signal.SIGKILL)
def rename(self, target):
    if moment == f"before rename {len(renames) + 1}": die()
    renames.append(target)
    return real(self, target)
Path.rename = rename
if moment == "writing values": store._write_by_component = die
if moment == "writing facts": store._flushed = die
if moment == "sweeping": store.shutil.rmtree = die
import_table("usda-sr-ascii", Path(sys.argv[2]), "leeks", "usda-sr26", root=Path(sys.argv[3]))
"""


@pytest.mark.parametrize("moment", ["writing values", "writing facts", "before rename 1", "before rename 2", "sweeping"])
def test_a_killed_import_leaves_the_old_table_or_the_new_one_whole(release, root, tmp_path, moment):
    _import(release, root)
    food = LINE["FOOD_DES"].replace("Leeks, raw", "Leeks, new")
    changed = sr_release.write(tmp_path / "changed", FOOD_DES=sr_release.with_line("FOOD_DES", 1, food))
    done = subprocess.run([sys.executable, "-c", KILLED, str(ROOT), str(changed), str(root), moment], capture_output=True, text=True, timeout=120)
    assert done.returncode == -signal.SIGKILL, done.stderr
    assert store.names(root) == ["leeks"]
    expected = "Leeks, new" if moment == "sweeping" else "Leeks, raw"
    assert store.load("leeks", root=root).entries.loc[0, "name"] == expected
    _import(changed, root)
    assert store.load("leeks", root=root).entries.loc[0, "name"] == "Leeks, new"
    left = {path.name for path in (root / "composition").iterdir()}
    assert left == {".gitignore", ".lock", "leeks", "leeks.check.json"}


def test_a_disk_that_is_full_leaves_the_old_table(release, root, tmp_path, monkeypatch):
    _import(release, root)
    before = _files(root / "composition" / "leeks")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(store, "_write_by_component", full)
    food = LINE["FOOD_DES"].replace("Leeks, raw", "Leeks, new")
    with pytest.raises(InputError, match="No space left on device"):
        _import(sr_release.write(tmp_path / "changed", FOOD_DES=sr_release.with_line("FOOD_DES", 1, food)), root)
    assert _files(root / "composition" / "leeks") == before and store.names(root) == ["leeks"]
