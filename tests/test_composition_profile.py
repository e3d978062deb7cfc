"""Profiles of composition sheets: the ready ones load, and every fault is named with file and key."""

from __future__ import annotations

import math
import shutil

import pytest

from pipeline.composition.profile import load_profile, profile_names
from pipeline.composition.profile_keys import CLASSES, TAGNAME
from pipeline.composition.sheet_units import factor, heading_unit, unit_word
from pipeline.composition.usda_sr_foods import GROUP_CLASS
from pipeline.problems import InputError
from pipeline.root import ROOT

SMALL = """
[table]
source_id = "invented"
source_name = "Invented table"
standing = "invented"

[file]
decimal = ","
thousands = "."

[values]
number = "analysed"
trace = ["Tr", "spur  von"]
missing = ["-", ""]
less_than = ["<"]
brackets = ["()"]

[trace_limits]
g = 0.05
FE = 0.02

[basis]
per = "100 g"

[[sheet]]
code = "Code"
name = ["Name", "Food"]
columns = [
  {heading = "Water (g)", component = "WATER", unit = "g"},
  {heading = "Iron (mg)", component = "FE", unit = "mg"},
  {heading = "Potassium (mg)", component = "K", unit = "mg", trace_limit = 0.4, value_type = "calculated"},
]
"""


def written(folder, text=SMALL, *changes):
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new)
    path = folder / "own.toml"
    path.write_text(text, encoding="utf-8")
    return path


def fault(folder, *changes):
    with pytest.raises(InputError) as caught:
        load_profile(written(folder, SMALL, *changes))
    assert all(item.where and item.what and item.remedy for item in caught.value.problems)
    return str(caught.value)


def test_a_profile_says_what_it_was_written_to_say(tmp_path):
    profile = load_profile(written(tmp_path))
    assert profile.words.trace == {"tr", "spur von"} and profile.words.missing == {"-", ""}
    assert (profile.words.decimal, profile.words.thousands, profile.words.estimate) == (",", ".", "imputed")
    water, iron, potassium = profile.sheets[0].columns
    assert (water.limits.trace, iron.limits.trace, potassium.limits.trace) == (0.05, 0.02, 0.4)
    assert math.isnan(water.limits.detection) and potassium.value_type == "calculated"
    assert profile.sheets[0].name == ("Name", "Food") and profile.sheets[0].names == ("",)


def test_the_ready_profiles_load_and_say_what_standing_they_have():
    assert {"french-table", "infoods", "uk-integrated"} <= set(profile_names())
    for name in ("french-table", "uk-integrated"):
        profile = load_profile(name)
        components = [column.component for sheet in profile.sheets for column in sheet.columns]
        assert profile.standing == "from-memory" and {"K", "NA", "P", "PROCNT", "ENERC"} <= set(components)
    assert load_profile("infoods", with_sheets=False).food_headings["code"]


def test_every_source_of_a_ready_profile_is_described():
    """Each profile's source has a row in reference/sources.csv or in the rows that wait to be merged there."""
    lines = [line for path in (ROOT / "reference").glob("sources*.csv") for line in path.read_text(encoding="utf-8").splitlines()]
    for name in profile_names():
        source_id = load_profile(name, with_sheets=name != "infoods").source_id
        assert any(line.startswith(f"{source_id},") for line in lines), source_id


def test_ready_profiles_are_found_below_another_root(tmp_path):
    shutil.copytree(ROOT / "reference" / "profiles", tmp_path / "reference" / "profiles")
    assert load_profile("uk-integrated", root=tmp_path).name == "uk-integrated"
    with pytest.raises(InputError, match="no such profile.*french-table"):
        load_profile("no-such", root=tmp_path)


def test_cooking_classes_are_those_of_the_other_tables():
    assert set(GROUP_CLASS.values()) <= set(CLASSES)


@pytest.mark.parametrize(("changes", "said"), [
    ([('standing = "invented"', 'standing = "sure"')], "table.standing: 'sure' is not one of: published"),
    ([('source_id = "invented"\n', "")], "table.source_id: is not given"),
    ([("[basis]\nper = \"100 g\"\n", "")], "basis: is not given"),
    ([('per = "100 g"', 'per = "serving"')], "other denominators are not read"),
    ([('missing = ["-", ""]', 'missing = ["-", ""]\nmissed = ["x"]')], "values.missed: is not a key"),
    ([('missing = ["-", ""]', 'missing = ["-", "tr"]')], "'tr' is among trace too"),
    ([('missing = ["-", ""]', 'missing = ["-", "0"]')], "'0' reads as a number"),
    ([('missing = ["-", ""]', 'missing = ["-", "9,9"]')], "'9,9' reads as a number"),
    ([('missing = ["-", ""]', 'missing = "-"')], "values.missing: '-' is not a list of texts"),
    ([('trace = ["Tr"', 'trace = ["", "Tr"'), ('missing = ["-", ""]', 'missing = ["-"]')], "an empty cell is said to be something else"),
    ([('brackets = ["()"]', 'brackets = ["{}"]')], "'{}' is no pair of brackets"),
    ([('less_than = ["<"]', 'less_than = ["-"]')], "which numbers are written with"),
    ([('thousands = "."', 'thousands = ","')], "is the decimal mark ',' too"),
    ([('decimal = ","', 'decimal = ";"')], "file.decimal: ';' is not"),
    ([('thousands = "."', 'encoding = "latin-99"')], "'latin-99' is no encoding"),
    ([('unit = "g"}', 'unit = "spoons"}')], "'spoons' is no unit that is known"),
    ([('"WATER", unit = "g"', '"WATER", unit = "mg"')], "the unit is mg, and the heading says g"),
    ([('component = "FE"', 'component = "Iron!"')], "'Iron!' is not an INFOODS tagname"),
    ([('component = "FE"', 'component = "K"')], "gives K a second time (also sheet 1 column 2 (Iron (mg)))"),
    ([('heading = "Iron (mg)"', 'heading = "Potassium  (MG)"')], "names the heading 'potassium(mg)' twice"),
    ([("g = 0.05", "g = -1")], "trace_limits: g is -1"),
    ([("FE = 0.02", "FE = true")], "trace_limits: is not a table of numbers"),
    ([('code = "Code"\n', "")], "sheet 1.code: is not given"),
    ([('name = ["Name", "Food"]\n', "")], "names no column with the food's name"),
    ([('per = "100 g"', 'per = "100 ml"')], "cannot be brought to 100 g without a density"),
    ([('per = "100 g"', 'per = "100 ml"\ndensity_g_per_ml = 1.03')], "density_source: is not given"),
    ([('per = "100 g"', 'per = "100 ml"\ndensity_g_per_ml = 1030\ndensity_source = "label"')], "is not between 0.2 and 3"),
    ([('per = "100 g"', 'per = "100 g"\nas_purchased_names = ["with bone"]')], "needs the edible portion"),
    ([('per = "100 g"', 'per = "100 g"\nper_100_ml_words = ["ml"]\ndensity_g_per_ml = 1.0\ndensity_source = "x"')], "no sheet has a column `per`"),
    ([('per = "100 g"', 'per = "100 g"\n[[calculated]]\ncomponent = "X"\nunit = "g"\nterms = {ASH = 1}\nreason = "r"')], "is made of ASH, which has no column"),
    ([('per = "100 g"', 'per = "100 g"\n[[calculated]]\ncomponent = "K"\nunit = "mg"\nterms = {FE = 0}\nreason = "r"')], "FE has the weight 0"),
    ([('per = "100 g"', 'per = "100 g"\n[[state]]\nstate = "wet"\nwords = []')], "'wet' is not one of: raw"),
    ([('per = "100 g"', 'per = "100 g"\n[cooking_classes]\nA = "stew"')], "is not a table of cooking classes"),
    ([("[[sheet]]", "[sheet]")], "sheet: is not a list of tables"),
    ([("[table]", "[table")], "cannot be read as TOML"),
    ([("columns = [", "rows = [")], "sheet 1.rows: is not a key"),
    ([("[values]", "[valuse]")], "valuse: is not a table of a profile"),
])
def test_a_profile_with_a_fault_is_refused_with_the_place(tmp_path, changes, said):
    text = fault(tmp_path, *changes)
    assert said in text and "own.toml" in text


def test_a_profile_that_is_not_there_or_not_text(tmp_path):
    with pytest.raises(InputError, match="there is no such profile"):
        load_profile(tmp_path / "none.toml")
    (tmp_path / "binary.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="cannot be read as TOML"):
        load_profile(tmp_path / "binary.toml")
    with pytest.raises(InputError, match="cannot be read as TOML"):
        load_profile(tmp_path)


def test_tagnames_as_infoods_writes_them():
    """FAO/INFOODS tagnames, from memory: Klensin and others, "Identification of Food Components for INFOODS Data Interchange", 1989."""
    for tagname in ("ENERC", "PROCNT", "CHOAVLDF", "F18D2CN6", "VITB6-", "VITB6A", "FIB-", "K", "SR:573", "VITA_RAE"):
        assert TAGNAME.fullmatch(tagname), tagname
    for word in ("potassium", "K (mg)", "", "-", "1K"):
        assert not TAGNAME.fullmatch(word), word


def test_units_are_those_of_the_si_and_convert_as_it_says():
    """SI prefixes (BIPM SI Brochure, 9th edition, table 7); 1 kcal = 4.184 kJ (thermochemical calorie, FAO Food and Nutrition Paper 77, 2003)."""
    assert factor("g", "mg") == 1000 and factor("ug", "mg") == 0.001 and factor("mg", "g") == 0.001 and factor("kcal", "kJ") == 4.184
    assert factor("mg", "kJ") is None and factor("IU", "ug") is None and factor("IU", "IU") == 1 and factor("1", "g") is None
    assert [unit_word(text) for text in ("\u00b5g", "\u03bcg", "MCG", " KJ ", "Kcal", "cal", "%", "")] == ["ug", "ug", "ug", "kJ", "kcal", "", "", ""]


@pytest.mark.parametrize(("heading", "said"), [
    ("Potassium (mg)", ("mg", "")), ("Eau (g/100 g)", ("g", "100 g")), ("Energie\n(kJ\n/100 g)", ("kJ", "100 g")), ("K [mg]", ("mg", "")),
    ("Alcohol (g per 100 ml)", ("g", "100 ml")), ("Energy (kcal) (kcal)", ("kcal", "")), ("Water", ("", "")), ("Iron (total)", ("", "")),
])
def test_what_a_heading_says_of_its_unit(heading, said):
    assert heading_unit(heading) == said
