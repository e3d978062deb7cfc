"""The curated core against the release it was built from, and against its own promises.

Source: USDA National Nutrient Database for Standard Reference, Release 26 (2013), ASCII files,
read here line by line without the project's importer. Spot values were read from that release.
"""

from __future__ import annotations

import hashlib
import io
import re
import subprocess
import sys
import zipfile
from pathlib import Path

import pandas as pd
import pytest

from pipeline.tables import METHODS, Entries, Values

ROOT = Path(__file__).resolve().parents[2]
REFERENCE = ROOT / "reference"
ZIP = "usda-sr26-ascii.zip"
CLASSES = set(
    "leafy-greens roots potatoes sweet-potatoes tomatoes other-vegetables mushrooms legumes-dried legumes-cooked pasta "
    "noodles rice grains flour bread beef lamb pork bacon-ham sausage chicken turkey liver lean-fish oily-fish shellfish "
    "eggs milk cheese cream-yogurt fruit citrus dried-fruit nuts-seeds fats-oils sugars alcohol stock-sauce herbs-spices "
    "salt drinks water other".split())
UNITS = {
    ("ENERC", "kJ"), ("ENERC", "kcal"), ("WATER", "g"), ("PROCNT", "g"), ("FAT", "g"), ("FASAT", "g"), ("FAMS", "g"), ("FAPU", "g"),
    ("CHOCDF", "g"), ("SUGAR", "g"), ("FIBTG", "g"), ("ALC", "g"), ("NA", "mg"), ("K", "mg"), ("P", "mg"), ("CA", "mg"), ("MG", "mg"),
    ("FE", "mg"), ("ZN", "mg"), ("VITC", "mg"), ("THIA", "mg"), ("RIBF", "mg"), ("NIA", "mg"), ("VITB6A", "mg"), ("FOL", "ug"),
    ("VITB12", "ug"), ("F18D3N3", "g"), ("F20D5N3", "g"), ("F22D6N3", "g"),
}


def _text(path: Path) -> pd.DataFrame:
    return pd.read_csv(path, dtype="str", keep_default_na=False)


@pytest.fixture(scope="module")
def entries() -> pd.DataFrame:
    return _text(REFERENCE / "composition" / "core" / "entries.csv")


@pytest.fixture(scope="module")
def values() -> pd.DataFrame:
    return _text(REFERENCE / "composition" / "core" / "values.csv")


@pytest.fixture(scope="module")
def components() -> pd.DataFrame:
    return _text(REFERENCE / "components.csv")


@pytest.fixture(scope="module")
def release(outside_data) -> dict[str, list[list[str]]]:
    """The fields of FOOD_DES and NUT_DATA, read as plainly as can be."""
    path = outside_data / ZIP
    if not path.is_file():
        pytest.skip(f"{ZIP} is not in the folder of published tables")
    with zipfile.ZipFile(path) as archive:
        return {
            name: [line.split("^") for line in io.TextIOWrapper(archive.open(f"{name}.txt"), "iso-8859-1", newline="\r\n").read().split("\r\n") if line]
            for name in ("FOOD_DES", "NUT_DATA")
        }


# ---------------------------------------------------------------- against the release

@pytest.mark.outside_data
def test_every_value_is_the_releases_own(values, components, release):
    published = {(row[0].strip("~"), row[1].strip("~")): row for row in release["NUT_DATA"]}
    nutrient = {(row.component, row.unit): row.source_nutrient for row in components.itertuples()}
    compared = missing = 0
    for row in values[values["source_id"] == "usda-sr26"].itertuples():
        key = (row.entry_id, nutrient[row.component, row.unit])
        assert row.source_row == f"USDA SR26, {key[0]}, nutrient {key[1]}"
        if row.value_type == "missing":
            assert key not in published, f"{key} is in the release"
            missing += 1
            continue
        fields = published[key]
        for ours, theirs in ((row.value, fields[2]), (row.n, fields[3]), (row.standard_error, fields[4]), (row.minimum, fields[10]), (row.maximum, fields[11])):
            assert (ours == "") == (theirs == "") and (ours == "" or float(ours) == float(theirs)), (key, ours, theirs)
        codes = [fields[5].strip("~"), fields[6].strip("~")]
        assert row.derivation == "/".join(code for code in codes if code)
        compared += 1
    assert compared > 20_000 and missing > 500


@pytest.mark.outside_data
def test_every_entry_is_the_releases_own(entries, release):
    published = {row[0].strip("~"): row for row in release["FOOD_DES"]}
    for row in entries.itertuples():
        fields = published[row.entry_id]
        assert row.name == fields[2].strip("~")
        assert row.refuse_description == fields[7].strip("~")
        assert (float(row.refuse_fraction) if row.refuse_fraction else None) == (int(fields[8]) / 100 if fields[8] else None)
        assert fields[5] == "~~", f"{row.entry_id} is the product of a named maker"


@pytest.mark.outside_data
def test_assumed_zeros_fill_only_what_the_release_leaves_out(entries, values, components, release):
    published = {(row[0].strip("~"), row[1].strip("~")) for row in release["NUT_DATA"]}
    nutrient = dict(zip(components["component"], components["source_nutrient"], strict=True))
    classes = dict(zip(entries["entry_id"], entries["cooking_class"], strict=True))
    rules = set(_text(REFERENCE / "build" / "assumed_zeros.csv")[["component", "cooking_class"]].itertuples(index=False, name=None))
    filled = values[values["source_id"] != "usda-sr26"]
    assert len(filled) and set(filled["derivation"]) == {"assumed"}
    for row in filled.itertuples():
        assert (row.entry_id, nutrient[row.component]) not in published
        assert (row.component, classes[row.entry_id]) in rules and float(row.value) == 0 and row.value_type == "zero"


@pytest.mark.slow
@pytest.mark.outside_data
def test_the_build_gives_the_same_bytes(outside_data, tmp_path):
    source = outside_data / ZIP
    if not source.is_file():
        pytest.skip(f"{ZIP} is not in the folder of published tables")
    done = subprocess.run([sys.executable, str(REFERENCE / "build" / "build_core.py"), str(source), str(tmp_path)], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    for file in ("entries.csv", "values.csv"):
        assert (tmp_path / file).read_bytes() == (REFERENCE / "composition" / "core" / file).read_bytes(), file
    spread = tmp_path / "spread.csv"
    done = subprocess.run([sys.executable, str(REFERENCE / "build" / "build_spread.py"), str(source), str(spread)], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert spread.read_bytes() == (REFERENCE / "composition_spread.csv").read_bytes()


@pytest.mark.outside_data
def test_the_zip_is_the_one_that_is_cited(outside_data):
    path = outside_data / ZIP
    if not path.is_file():
        pytest.skip(f"{ZIP} is not in the folder of published tables")
    cited = pd.concat([_text(file) for file in sorted(REFERENCE.glob("sources*.csv"))])
    hashes = set(cited.loc[cited["source_id"] == "usda-sr26", "sha256"])
    assert hashes == {hashlib.sha256(path.read_bytes()).hexdigest()}


# ---------------------------------------------------------------- spot values, one or more per value type

@pytest.mark.parametrize(("entry_id", "component", "unit", "value", "value_type", "n", "standard_error", "derivation"), [
    ("11457", "K", "mg", 558, "analysed", 10, 28.703, "1"),          # spinach, raw
    ("11282", "K", "mg", 146, "analysed", 89, 2.951, "6/JA"),        # onions, raw
    ("20444", "K", "mg", 115, "analysed", 17, 10.363, "1"),          # long-grain white rice, raw
    ("11352", "NA", "mg", 6, "analysed", 73, 0.76, "1"),             # potato, raw
    ("02047", "NA", "mg", 38758, "analysed", 1, None, "1"),          # table salt
    ("18372", "K", "mg", 0, "analysed", 1, None, "1"),               # baking soda: a measured 0 stays analysed
    ("11282", "ENERC", "kJ", 166, "calculated", 0, None, "4/NC"),
    ("11282", "ENERC", "kcal", 40, "calculated", 0, None, "4/NC"),
    ("11367", "K", "mg", 328, "calculated", 0, None, "1"),           # boiled potato: no data points of its own
    ("20082", "NA", "mg", 1193, "calculated", 0, None, "8/LC"),      # from the label
    ("11282", "ALC", "g", 0, "zero", 0, None, "7"),
    ("02047", "FIBTG", "g", 0, "imputed", 0, None, "4"),
])
def test_spot_values(values, entry_id, component, unit, value, value_type, n, standard_error, derivation):
    row = values[(values["entry_id"] == entry_id) & (values["component"] == component) & (values["unit"] == unit)]
    (found,) = row.to_dict("records")
    assert float(found["value"]) == value and found["value_type"] == value_type and float(found["n"]) == n
    assert (float(found["standard_error"]) if found["standard_error"] else None) == standard_error
    assert found["derivation"] == derivation


def test_a_component_without_a_row_is_missing_and_has_no_number(values):
    found = values[(values["entry_id"] == "02001") & (values["component"] == "SUGAR")].to_dict("records")
    assert [(row["value_type"], row["value"], row["n"], row["derivation"]) for row in found] == [("missing", "", "", "")]


def test_a_value_from_another_table_is_borrowed(values):
    borrowed = values[values["value_type"] == "borrowed"]
    assert len(borrowed) and borrowed["derivation"].str.endswith("/T").all()


# ---------------------------------------------------------------- promises of the core

def test_the_core_is_wide_enough_and_keeps_the_common_form(entries, values, components):
    assert len(entries) >= 320
    assert set(components[["component", "unit"]].itertuples(index=False, name=None)) == UNITS
    numbers = ["value", "n", "standard_error", "minimum", "maximum"]
    Entries.validate(entries.assign(refuse_fraction=pd.to_numeric(entries["refuse_fraction"])), lazy=True)
    Values.validate(values.assign(**{name: pd.to_numeric(values[name]) for name in numbers}), lazy=True)
    assert set(entries["cooking_class"]) <= CLASSES


def test_every_food_has_every_component_once(entries, values):
    keys = values[["entry_id", "component", "unit"]]
    assert not keys.duplicated().any()
    assert len(values) == len(entries) * len(UNITS)
    assert set(keys[["component", "unit"]].itertuples(index=False, name=None)) == UNITS
    assert set(values["entry_id"]) == set(entries["entry_id"])
    assert values["value_type"].isin(["missing"]).sum() == (values["value"] == "").sum()


def test_what_kidney_diets_turn_on_is_never_missing(values):
    vital = values[values["component"].isin(["K", "NA", "P", "PROCNT", "WATER"])]
    assert not (vital["value_type"] == "missing").any()


def test_no_two_foods_share_a_name_in_the_same_state(entries):
    names = entries.assign(name=entries["common_names"].str.split("; ")).explode("name")
    assert (names["name"] != "").all() and (names["name"] == names["name"].str.strip()).all()
    shared = names[names.duplicated(["state", "name"], keep=False)]
    assert shared.empty, shared[["entry_id", "state", "name"]].to_dict("records")


def test_ignored_words_never_tell_two_foods_apart(entries):
    words = _text(ROOT / "mappings" / "words.csv")
    ignored = {part for word in words.loc[words["kind"] == "ignore", "word"] for part in re.split(r"[^a-z0-9]+", word)}
    names = entries.assign(name=entries["common_names"].str.split("; ")).explode("name")
    left = names["name"].map(lambda name: " ".join(part for part in re.split(r"[^\w%]+", name) if part not in ignored))
    distinct = names.assign(left=left).drop_duplicates(["entry_id", "left"])
    shared = distinct[distinct.duplicated(["state", "left"], keep=False)]
    assert shared.empty, shared[["entry_id", "state", "name"]].to_dict("records")


def test_kilojoules_agree_with_kilocalories(values):
    """1 kcal = 4.184 kJ (the thermochemical calorie, as SR converts); both are published rounded."""
    energy = values[values["component"] == "ENERC"].pivot(index="entry_id", columns="unit", values="value").astype(float)
    assert ((energy["kJ"] - 4.184 * energy["kcal"]).abs() <= 4.184 / 2 + 1).mean() > 0.97


def test_the_tables_are_sorted(entries, values, components):
    for table, key in ((entries, ["entry_id"]), (values, ["entry_id", "component", "unit"]), (components, ["component", "unit"])):
        assert table[key].apply(tuple, axis=1).is_monotonic_increasing


def test_raw_and_cooked_pairs_name_foods_of_the_core(entries):
    pairs = _text(REFERENCE / "raw_cooked_pairs.csv")
    states = dict(zip(entries["entry_id"], entries["state"], strict=True))
    assert len(pairs) >= 60 and not pairs.duplicated().any()
    assert {states[row] for row in pairs["cooked_entry_id"]} == {"cooked"}
    assert "cooked" not in {states[row] for row in pairs["raw_entry_id"]}
    assert set(pairs["method"]) <= set(METHODS) and set(pairs["liquid"]) <= {"", "kept", "drained"}


def test_the_spread_covers_every_component(components):
    spread = _text(REFERENCE / "composition_spread.csv")
    substances = spread[spread["cooking_class"] != ""]
    assert set(substances["cooking_class"]) == {"salt"} and pd.to_numeric(substances["coefficient_of_variation"]).between(0.005, 0.03).all()
    spread = spread[spread["cooking_class"] == ""]
    anywhere = spread[spread["food_group"] == ""]
    assert set(anywhere["component"]) == set(components["component"])
    assert pd.to_numeric(spread["coefficient_of_variation"]).between(0.03, 0.60).all()
    assert not spread.duplicated(["component", "food_group"]).any()


def test_words_mean_one_thing_and_never_turn_a_salt_substitute_into_salt():
    words = _text(ROOT / "mappings" / "words.csv")
    assert len(words) >= 4_400 and not words.duplicated(["word", "kind", "means"]).any()
    # Of these kinds a word may have a row for each of several foods; of every other kind it has one.
    once = words[~words["kind"].isin(["telling", "made-of", "made-keeps", "state-open"])]
    assert not once.duplicated(["word", "kind"]).any(), once[once.duplicated(["word", "kind"], keep=False)]
    assert set(words["kind"]) == {"synonym", "plural", "misspelling", "region", "ignore", "cut", "known", "ambiguous", "telling", "class", "made", "made-of", "made-keeps", "state-open", "salt-plain"}
    assert (words.loc[words["kind"] == "ignore", "means"] == "").all()
    assert words["word"].is_monotonic_increasing
    words = words[words["kind"].isin(["synonym", "plural", "misspelling", "region"])]
    assert not words["word"].duplicated().any()
    means = dict(zip(words["word"], words["means"], strict=True))
    assert not [word for word, meaning in means.items() if meaning in means and meaning != word and means[meaning] == word]
    doubtful = set(once.loc[once["kind"] == "ambiguous", "word"])
    substitutes = {word for word, meaning in means.items() if meaning == "salt substitute potassium chloride"}
    assert substitutes >= {"low-sodium salt", "potassium salt", "reduced-sodium salt", "salt substitute"} and substitutes <= doubtful
    table_salt = {word for word, meaning in means.items() if meaning == "salt table"}
    assert table_salt >= {"sea salt", "table salt"} and not table_salt & doubtful
    telling = "potassium|kalium|substitut|replac|alternative|low|less|reduced|lite|light|diet|free|half|mineral|sodium"
    assert not [word for word in table_salt if re.search(telling, word)]
