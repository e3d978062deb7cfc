"""The checks on USDA SR26 itself, compared with sums made line by line from the ASCII files.

Source: USDA National Nutrient Database for Standard Reference, Release 26 (2013), files
FOOD_DES and NUT_DATA. What is expected of the sums (95 to 105 g, fatty acids within fat) is from
the FAO/INFOODS guidelines for checking food composition data (2012, from memory).
"""

from __future__ import annotations

import time
import zipfile
from collections import defaultdict
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from pipeline import sources
from pipeline.composition import check_kept, usda_sr
from pipeline.composition.check import check, read_thresholds
from pipeline.composition.check_table import Rules
from pipeline.composition.load import load_table
from pipeline.root import ROOT

pytestmark = [pytest.mark.outside_data, pytest.mark.slow]

RULES = read_thresholds()
# The components that the planted faults below are about, and those that decide on them.
CORE = (
    "WATER", "PROCNT", "FAT", "CHOCDF", "ASH", "ALC", "ENERC", "FIBTG", "SUGAR", "STARCH", "FASAT", "FAMS", "FAPU",
    "K", "NA", "P", "CA", "MG", "FE", "ZN",
)


@pytest.fixture(scope="module")
def archive(outside_data) -> Path:
    path = outside_data / "usda-sr26-ascii.zip"
    if not path.is_file():
        pytest.skip(f"{path.name} is not in the folder of published tables")
    return path


@pytest.fixture(scope="module")
def raw(archive) -> dict[str, dict[str, float]]:
    """Food -> nutrient number -> value, read without the project's importer."""
    values: dict[str, dict[str, float]] = defaultdict(dict)
    with zipfile.ZipFile(archive) as opened:
        name = next(name for name in opened.namelist() if name.upper().endswith("NUT_DATA.TXT"))
        for line in opened.read(name).decode("iso-8859-1").splitlines():
            food, nutrient, value = line.split("^")[:3]
            values[food.strip("~")][nutrient.strip("~")] = float(value)
    return values


@pytest.fixture(scope="module")
def release(archive):
    components = pd.read_csv(ROOT / "reference" / "components.csv", dtype="str", keep_default_na=False)
    unit_words = pd.read_csv(ROOT / "mappings" / "unit_words.csv", dtype="str", keep_default_na=False)
    return usda_sr.read(archive, components, unit_words, "usda-sr26")


@pytest.fixture(scope="module")
def found(release) -> pd.DataFrame:
    started = time.process_time()
    found = check(release.entries, release.values, RULES, release.measures)
    # About 5 s of one core; the limit only catches a check that goes through the values one by one.
    assert time.process_time() - started < 30
    return found


def _ids(found: pd.DataFrame, check_id: str, severity: str = "") -> set[str]:
    rows = found[(found["check"] == check_id) & ((found["severity"] == severity) | (severity == ""))]
    return set(rows["entry_id"])


def test_all_values_of_the_release_are_checked(release):
    assert len(release.entries) == 8463
    assert int(release.values["value"].notna().sum()) == 632_894


def test_the_sum_of_proximates_is_that_of_the_raw_lines(raw, found):
    # 203 protein, 204 fat, 205 carbohydrate, 207 ash, 221 alcohol, 255 water (NUTR_DEF)
    sums = {food: sum(values[key] for key in ("203", "204", "205", "207", "255")) + values.get("221", 0.0)
            for food, values in raw.items() if all(key in values for key in ("203", "204", "205", "207", "255"))}
    outside = {food for food, total in sums.items() if not 95 <= round(total, 6) <= 105}
    assert _ids(found, "proximates", "error") == outside
    assert len(outside) == 19
    reported = found[found["check"] == "proximates"].set_index("entry_id")["value"]
    for food in outside:
        assert reported[food] == pytest.approx(sums[food])


def test_fatty_acids_over_fat_are_those_of_the_raw_lines(raw, found):
    rule = RULES.set_index("rule_id").loc["fatty-acids-error"]
    # 606, 645, 646: saturated, monounsaturated, polyunsaturated
    over = {food for food, values in raw.items()
            if sum(values.get(key, 0.0) for key in ("606", "645", "646")) > values["204"] * (1 + rule["relative"]) + rule["absolute"]}
    assert _ids(found, "fatty-acids", "error") == over
    assert len(over) == 17


def test_kj_against_kcal_is_that_of_the_raw_lines(raw, found):
    rule = RULES.set_index("rule_id").loc["energy-kj-per-kcal"]
    wrong = {food for food, values in raw.items() if "268" in values
             and abs(values["268"] - 4.184 * values["208"]) > rule["relative"] * 4.184 * values["208"] + rule["absolute"]}
    assert _ids(found, "energy-kj-kcal") == wrong == {"43343"}


def test_known_oddities_of_the_release_are_named(raw, found):
    # Clams: 46 mg potassium raw, 628 mg cooked by moist heat; no cooking does that.
    assert (raw["15157"]["306"], raw["15159"]["306"]) == (46.0, 628.0)
    assert ("15159", "K") in set(zip(*found.loc[found["check"] == "raw-against-cooked", ["entry_id", "component"]].to_numpy().T))
    # Wild blueberries, frozen: protein 0, while every other fruit has some.
    assert raw["09053"]["203"] == 0
    assert "09053" in _ids(found, "zero-for-missing")
    # Rutabagas boiled with salt have the very values of those boiled without.
    assert raw["11851"] == raw["11436"]
    assert "11851" in _ids(found, "duplicate")
    # Baking soda: 37 g of ash and next to nothing else is given; a doubtful zero must not hide that.
    assert "18372" in _ids(found, "proximates", "error") & _ids(found, "zero-for-missing")
    # Snacks with a fat substitute, which is no fat by definition: the sum lacks it.
    assert {"19423", "19444", "19445"} <= _ids(found, "proximates", "error")


def test_a_release_without_slips_gives_no_errors_by_distribution(found):
    assert set(found.loc[found["severity"] == "error", "check"]) == {"proximates", "fatty-acids", "energy", "energy-kj-kcal"}
    assert int((found["severity"] == "error").sum()) == 47
    assert "swapped-columns" not in set(found["check"]) and "swapped-in-row" not in set(found["check"])


def test_the_orders_of_minerals_hold_in_raw_foods_of_the_release(raw, release):
    numbers = {"K": "306", "NA": "307", "P": "305", "CA": "301", "MG": "304", "FE": "303", "ZN": "309"}
    foods = release.entries.loc[release.entries["state"] == "raw", "entry_id"]
    for relation in RULES[RULES["check"] == "order-in-raw-foods"].itertuples():
        one, other = numbers[relation.components], numbers[relation.whole]
        pairs = [(raw[food][one], raw[food][other]) for food in foods if one in raw[food] and other in raw[food]]
        assert len(pairs) > 1000
        assert sum(a >= b for a, b in pairs) / len(pairs) > 0.9, relation.rule_id


def test_orders_and_amounts_that_hold_in_all_foods(raw):
    numbers = {"K": "306", "NA": "307", "P": "305", "CA": "301", "MG": "304", "FE": "303", "PROCNT": "203"}
    for relation in RULES[RULES["check"] == "order-in-all-foods"].itertuples():
        one, other = numbers[relation.components], numbers[relation.whole]
        pairs = [(food[one], food[other]) for food in raw.values() if one in food and other in food]
        assert sum(a >= b for a, b in pairs) / len(pairs) > 0.9, relation.rule_id
    for rule in RULES[RULES["check"] == "zero-never"].itertuples():
        known = [food[numbers[rule.components]] for food in raw.values()
                 if numbers[rule.components] in food and food[numbers[rule.whole]] >= rule.low]
        assert len(known) > 4000 and sum(value == 0 for value in known) / len(known) < 0.003, rule.rule_id


@pytest.fixture(scope="module")
def core(release) -> pd.DataFrame:
    return release.values[release.values["component"].isin(CORE)].reset_index(drop=True)


@pytest.mark.parametrize(("component", "factor", "least"), [("K", 1000, 50), ("K", 0.001, 50), ("P", 1000, 46), ("PROCNT", 0.001, 30)])
def test_slips_planted_in_the_release_are_found(release, core, component, factor, least):
    smallest = 0.5 if component == "PROCNT" else 10
    rows = core.index[(core["component"] == component) & (core["value"] > smallest)]
    planted = np.random.default_rng(5).choice(rows, 60, replace=False)
    values = core.copy()
    values.loc[planted, "value"] *= factor
    found = check(release.entries, values, RULES)
    slips = found[(found["check"] == "unit-slip") & (found["component"] == component)]
    hit = set(slips["entry_id"]) & set(core.loc[planted, "entry_id"])
    assert len(hit) >= least, len(hit)


@pytest.mark.parametrize(("one", "other"), [("K", "NA"), ("K", "P"), ("MG", "P"), ("PROCNT", "FAT"), ("PROCNT", "CHOCDF"), ("CHOCDF", "WATER")])
def test_columns_exchanged_in_the_whole_release_are_found(release, core, one, other):
    values = core.assign(component=core["component"].replace({one: other, other: one}))
    found = check(release.entries, values, RULES)
    swapped = found[found["check"] == "swapped-columns"]
    assert [set(component.split(" + ")) for component in swapped["component"]] == [{one, other}]


def test_what_of_the_release_marks_figures_in_a_run_is_few_and_known(release):
    """Of 8,463 entries: the foods of the core are the same here, so only the release's own oddities count."""
    known = load_table("core", sources.load().sources)
    found = check(release.entries, release.values, RULES, release.measures, (known.entries, known.values))
    counting = check_kept.counting(found, Rules(RULES))
    assert (counting["severity"] == "error").sum() == 29
    doubts = counting[counting["severity"] == "warning"]
    assert doubts["check"].value_counts().to_dict() == {"zero-for-missing": 12, "unit-slip": 4}
    assert set(doubts["component"]) <= {"K", "P", "PROCNT"} and not set(doubts["entry_id"]) & set(known.entries["entry_id"])


def test_a_column_of_the_release_moved_down_by_one_row_is_named(release):
    known = load_table("core", sources.load().sources)
    rows = release.values.index[(release.values["component"] == "K") & release.values["value"].notna()]
    values = release.values.copy()
    values.loc[rows, "value"] = values.loc[rows, "value"].shift(1, fill_value=100.0)
    found = check(release.entries, values, RULES, known=(known.entries, known.values))
    assert list(found.loc[found["check"] == "column-order", "component"]) == ["K"]
