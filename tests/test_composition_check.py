"""The checks of a composition table: each planted fault is found, and nothing else, on an invented table without faults."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.composition.check import FINDING_COLUMNS, check, exit_code, read_thresholds, summary
from pipeline.composition.check_report import write_report
from pipeline.composition.check_table import THRESHOLDS
from pipeline.problems import InputError
from pipeline.root import ROOT
from pipeline.tables import Entries, Values, checked

RULES = read_thresholds()
GROUPS = {  # g per 100 g: protein, fat, carbohydrate; mg per 100 g: K, NA, P, CA, MG, FE, ZN
    "Roots": (1.5, 0.6, 14.0, 330, 18, 55, 24, 20, 0.9, 0.4),
    "Pulses": (22.0, 2.4, 48.0, 1100, 15, 400, 90, 130, 6.0, 3.0),
    "Cakes": (6.0, 15.0, 50.0, 140, 90, 120, 60, 25, 1.8, 0.7),
}
MINERALS = ("K", "NA", "P", "CA", "MG", "FE", "ZN")
PAIRED = 6  # of each group of raw foods are there cooked as well
SIZE = 30
KEYS = ["check", "entry_id", "component"]


def made_up(seed: int = 1, spread: float = 0.1) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Entries and values without a fault; ``spread`` is the standard deviation of the logarithms."""
    random = np.random.default_rng(seed)
    entries, values = [], []
    for group, (protein, fat, carbohydrate, *minerals) in GROUPS.items():
        for number in range(SIZE):
            # Protein, fat and carbohydrate must leave room for water; minerals need not.
            factor = np.exp(np.concatenate([random.normal(0, min(spread, 0.08), 3), random.normal(0, spread, 7)]))
            amounts = dict(zip(("PROCNT", "FAT", "CHOCDF", *MINERALS), np.multiply((protein, fat, carbohydrate, *minerals), factor)))
            entry_id = f"{group[:2].upper()}{number:03d}"
            state = "" if group == "Cakes" else "raw"
            name = f"{group[:-1]} of bed {number}" + (", raw" if state else "")
            entries.append((entry_id, name, group, state))
            values += _rows(entry_id, amounts)
            if state and number < PAIRED:
                # Boiled: a third of the dry matter's minerals leached, and water taken up.
                thinner = 0.8 if group == "Roots" else 0.4
                cooked = {key: amount * thinner * (0.7 if key in MINERALS else 1) for key, amount in amounts.items()}
                entries.append((entry_id + "C", name.replace(", raw", ", cooked, boiled, drained"), group, "cooked"))
                values += _rows(entry_id + "C", cooked)
    frame = pd.DataFrame(entries, columns=["entry_id", "name", "food_group", "state"]).assign(
        common_names="", cooking_class="other", refuse_fraction=0.0, refuse_description="", source_id="tern-bay", source_row="invented")
    numbers = pd.DataFrame(values, columns=["entry_id", "component", "value", "unit", "value_type"]).assign(
        n=3.0, standard_error=np.nan, minimum=np.nan, maximum=np.nan, derivation="", source_id="tern-bay", source_row="invented")
    return checked(Entries, frame, "test"), checked(Values, numbers, "test")


def _rows(entry_id: str, amounts: dict[str, float]) -> list[tuple]:
    protein, fat, carbohydrate = (round(amounts[key], 2) for key in ("PROCNT", "FAT", "CHOCDF"))
    ash = round(0.3 + 1.9 * sum(amounts[key] for key in MINERALS) / 1000, 2)
    kcal = 4 * protein + 9 * fat + 4 * carbohydrate
    grams = {
        "PROCNT": protein, "FAT": fat, "CHOCDF": carbohydrate, "ASH": ash, "WATER": round(100 - protein - fat - carbohydrate - ash, 2),
        "FIBTG": round(0.2 * carbohydrate, 2), "SUGAR": round(0.3 * carbohydrate, 2), "STARCH": round(0.3 * carbohydrate, 2),
        "FASAT": round(0.3 * fat, 3), "FAMS": round(0.35 * fat, 3), "FAPU": round(0.25 * fat, 3),
    }
    rows = [(entry_id, key, value, "g", "analysed") for key, value in grams.items()]
    rows += [(entry_id, key, round(amounts[key], 2), "mg", "analysed") for key in MINERALS]
    rows.append((entry_id, "ALC", 0.0, "g", "zero"))
    return [*rows, (entry_id, "ENERC", round(kcal), "kcal", "calculated"), (entry_id, "ENERC", round(kcal * 4.184), "kJ", "calculated")]


def test_nothing_is_found_on_a_table_without_faults():
    entries, values = made_up()
    found = check(entries, values, RULES)
    assert found.empty, found.to_string()
    assert list(found.columns) == list(FINDING_COLUMNS)
    assert exit_code(found) == 0
    assert summary(found).to_dict("records") == [{"check": "all checks", "error": 0, "warning": 0, "note": 0, "total": 0}]


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(0, 2**31), st.floats(0.02, 0.22))
def test_tables_without_faults_are_quiet(seed, spread):
    found = check(*made_up(seed, spread), RULES)
    # By chance a few in a million values lie far out; that is a note and nothing graver.
    assert set(found["check"]) <= {"group-outlier"} and set(found["severity"]) <= {"note"}, found.to_string()
    assert len(found) <= 2


# ---------------------------------------------------------------- planted faults

def _at(values: pd.DataFrame, entry_id: str, component: str, unit: str | None = None) -> pd.Series:
    wanted = (values["entry_id"] == entry_id) & (values["component"] == component)
    return wanted & (values["unit"] == unit) if unit else wanted


def _set(entry_id: str, component: str, change: Callable[[float], float], unit: str | None = None):
    def plant(entries, values):
        rows = _at(values, entry_id, component, unit)
        assert rows.any()
        values.loc[rows, "value"] = values.loc[rows, "value"].map(change)
        return entries, values
    return plant


def _of(entry_id: str, component: str, part_of: str, share: float):
    def plant(entries, values):
        values.loc[_at(values, entry_id, component), "value"] = share * values.loc[_at(values, entry_id, part_of), "value"].iloc[0]
        return entries, values
    return plant


def _exchange(one: str, other: str, entry_id: str | None = None):
    def plant(entries, values):
        rows = values["entry_id"] == entry_id if entry_id else pd.Series(True, index=values.index)
        values.loc[rows, "component"] = values.loc[rows, "component"].replace({one: other, other: one})
        return entries, values
    return plant


def _copy(entry_id: str, new_id: str, name: str | None):
    def plant(entries, values):
        more = entries[entries["entry_id"] == entry_id].assign(entry_id=new_id)
        rows = values[values["entry_id"] == entry_id].assign(entry_id=new_id)
        if name:
            more = more.assign(name=name)
        if new_id == entry_id:
            rows = rows.iloc[:0]
        return pd.concat([entries, more], ignore_index=True), pd.concat([values, rows], ignore_index=True)
    return plant


def _renamed(entry_id: str, name: str):
    def plant(entries, values):
        entries.loc[entries["entry_id"] == entry_id, "name"] = name
        return entries, values
    return plant


def _without(entry_id: str, component: str | None = None):
    def plant(entries, values):
        gone = _at(values, entry_id, component) if component else values["entry_id"] == entry_id
        return entries, values[~gone].reset_index(drop=True)
    return plant


def _imputed(entry_id: str):
    def plant(entries, values):
        values.loc[values["entry_id"] == entry_id, "value_type"] = "imputed"
        return entries, values
    return plant


def _added(entry_id: str, component: str, value: float, unit: str, value_type: str = "analysed"):
    def plant(entries, values):
        row = values.iloc[:1].assign(entry_id=entry_id, component=component, value=value, unit=unit, value_type=value_type)
        return entries, pd.concat([values, row], ignore_index=True)
    return plant


def _ranged(entry_id: str, component: str):
    def plant(entries, values):
        rows = _at(values, entry_id, component)
        values.loc[rows, ["minimum", "maximum"]] = (values.loc[rows, "value"].iloc[0] * 2, values.loc[rows, "value"].iloc[0] * 3)
        return entries, values
    return plant


PROXIMATES = "WATER + PROCNT + FAT + CHOCDF"
CARBOHYDRATE = "SUGAR + STARCH + FIBTG + CHOCDF"
FAULTS = {
    "potassium x 1000": (_set("RO020", "K", lambda v: v * 1000), {("error", "unit-slip", "RO020", "K")}),
    "phosphorus / 1000": (_set("PU021", "P", lambda v: v / 1000), {("error", "unit-slip", "PU021", "P")}),
    # The slip is a doubt, for sodium ranges widely; that it cannot be in the ash is certain, and not hidden by the doubt.
    "sodium x 1000": (_set("CA010", "NA", lambda v: v * 1000), {
        ("warning", "unit-slip", "CA010", "NA"), ("error", "minerals-in-ash", "CA010", "K + NA + CA + P + MG + ASH")}),
    "potassium x 100": (_set("CA011", "K", lambda v: v * 100), {
        ("warning", "unit-slip", "CA011", "K"), ("error", "minerals-in-ash", "CA011", "K + NA + CA + P + MG + ASH")}),
    "iron x 1000": (_set("RO020", "FE", lambda v: v * 1000), {("warning", "unit-slip", "RO020", "FE")}),
    "K and NA exchanged in one entry": (_exchange("K", "NA", "RO022"), {("warning", "swapped-in-row", "RO022", "K + NA")}),
    "FAT and PROCNT exchanged in one entry": (
        _exchange("FAT", "PROCNT", "PU023"), {("warning", "swapped-macronutrients", "PU023", "PROCNT + FAT")}),
    "K and NA exchanged in all": (_exchange("K", "NA"), {("error", "swapped-columns", "", "K + NA")}),
    "K and P exchanged in all": (_exchange("K", "P"), {("error", "swapped-columns", "", "K + P")}),
    "FAT and CHOCDF exchanged in all": (_exchange("FAT", "CHOCDF"), {("error", "swapped-columns", "", "FAT + CHOCDF")}),
    "missing potassium as zero": (_set("RO024", "K", lambda v: 0.0), {("warning", "zero-for-missing", "RO024", "K")}),
    "missing protein as zero": (
        # A sum of 78 g is an error whatever the reason; energy, a warning, is explained.
        _set("PU024", "PROCNT", lambda v: 0.0), {
            ("warning", "zero-for-missing", "PU024", "PROCNT"), ("error", "proximates", "PU024", PROXIMATES)}),
    "sum of proximates 120": (_set("PU025", "WATER", lambda v: v + 20), {("error", "proximates", "PU025", PROXIMATES)}),
    "sum of proximates 104": (_set("RO025", "WATER", lambda v: v + 4), {("note", "proximates", "RO025", PROXIMATES)}),
    "negative potassium": (_set("PU026", "K", lambda v: -5.0), {("error", "negative-value", "PU026", "K")}),
    "more than 100 g": (_added("CA012", "VITC", 150_000.0, "mg"), {("error", "value-above-100-g", "CA012", "VITC")}),
    "saturated fat over fat": (
        _of("CA013", "FASAT", "FAT", 1.5), {("error", "fatty-acids", "CA013", "FASAT + FAMS + FAPU + FAT")}),
    "sugars over carbohydrate": (_of("CA014", "SUGAR", "CHOCDF", 1.2), {("error", "carbohydrate", "CA014", CARBOHYDRATE)}),
    "fibre over carbohydrate": (_of("CA015", "FIBTG", "CHOCDF", 1.3), {
        ("error", "fibre", "CA015", "FIBTG + CHOCDF"), ("error", "carbohydrate", "CA015", CARBOHYDRATE)}),
    "energy halved": (_set("CA016", "ENERC", lambda v: v / 2), {("error", "energy", "CA016", "ENERC")}),
    "kJ and kcal disagree": (_set("CA017", "ENERC", lambda v: v * 1.1, "kJ"), {("error", "energy-kj-kcal", "CA017", "ENERC")}),
    "potassium rises in boiling": (_set("RO002C", "K", lambda v: v * 3), {("warning", "raw-against-cooked", "RO002C", "K")}),
    "minerals over ash": (_set("PU027", "ASH", lambda v: 0.9), {("warning", "minerals-in-ash", "PU027", "K + NA + CA + P + MG + ASH")}),
    "zinc far out": (_set("RO028", "ZN", lambda v: v * 30), {("warning", "group-outlier", "RO028", "ZN")}),
    "the same entry again": (_copy("RO029", "RO990", "Raw: root of bed 29"), {("error", "duplicate", "RO990", "")}),
    "the same values again": (_copy("RO029", "RO991", "Turnip tops"), {("note", "duplicate", "RO991", "")}),
    "the same name again": (_renamed("RO020", "Raw root of bed, 21"), {("warning", "duplicate", "RO021", "")}),
    "an id twice": (_copy("RO029", "RO029", None), {("error", "duplicate", "RO029", "")}),
    "a value twice": (_added("RO029", "K", 300.0, "mg"), {("error", "duplicate", "RO029", "K")}),
    "no potassium": (_without("RO028", "K"), {("note", "key-components", "RO028", "")}),
    "no values": (_without("RO028"), {("error", "key-components", "RO028", "")}),
    "an orphan": (_added("XX001", "K", 300.0, "mg"), {("error", "values-without-entry", "XX001", "")}),
    "all imputed": (_imputed("RO028"), {("note", "values-imputed", "RO028", "")}),
    "beer without alcohol": (_renamed("CA018", "Beer, pale"), {("warning", "alcohol", "CA018", "ALC")}),
    "alcohol and water over 100 g": (
        # Energy and the sum of proximates do not fit either, and each says so.
        _set("RO028", "ALC", lambda v: 30.0), {
            ("error", "alcohol", "RO028", "ALC + WATER"), ("error", "proximates", "RO028", PROXIMATES), ("error", "energy", "RO028", "ENERC")}),
    "outside its own range": (_ranged("RO028", "MG"), {("note", "outside-own-range", "RO028", "MG")}),
    "density in kg/m3": (_added("CA019", "DEN", 1030.0, "g/ml"), {("error", "density", "CA019", "DEN")}),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_planted_fault_is_found_and_nothing_else(fault):
    plant, expected = FAULTS[fault]
    found = check(*plant(*made_up()), RULES)
    assert {tuple(row) for row in found[["severity", *KEYS]].to_numpy()} == expected, found.T.to_string()
    assert exit_code(found) == int(any(severity == "error" for severity, *_ in expected))
    assert (found["what"] != "").all() and (found["remedy"] != "").all() and (found["source_id"] != "").all()


def test_all_faults_of_different_entries_together_are_all_found():
    names = ["potassium x 1000", "phosphorus / 1000", "missing potassium as zero", "sum of proximates 120", "negative potassium",
             "saturated fat over fat", "the same entry again", "energy halved", "potassium rises in boiling"]
    entries, values = made_up()
    for name in names:
        entries, values = FAULTS[name][0](entries, values)
    found = check(entries, values, RULES)
    expected = set().union(*(FAULTS[name][1] for name in names))
    assert {tuple(row) for row in found[["severity", *KEYS]].to_numpy()} == expected
    assert list(found["severity"]) == sorted(found["severity"], key=["error", "warning", "note"].index)


@pytest.mark.parametrize("value_type", ["zero", "trace", "below-detection"])
def test_a_zero_that_was_assumed_or_a_trace_is_no_missing_value(value_type):
    entries, values = made_up()
    rows = _at(values, "RO024", "ZN")
    values.loc[rows, ["value", "value_type", "derivation"]] = (0.0, value_type, "7")
    assert check(entries, values, RULES).empty


def test_a_zero_that_nobody_calls_assumed_may_hide_a_missing_value():
    """A printed 0 is of type zero, without a derivation."""
    entries, values = made_up()
    values.loc[_at(values, "RO024", "ZN"), ["value", "value_type"]] = (0.0, "zero")
    assert check(entries, values, RULES)[KEYS].to_numpy().tolist() == [["zero-for-missing", "RO024", "ZN"]]


def few(number: int = 9) -> tuple[pd.DataFrame, pd.DataFrame]:
    """A clean table too small for what is usual in its groups."""
    entries, values = made_up()
    chosen = entries[~entries["entry_id"].str.endswith("C")].groupby("food_group", sort=False).head(number // 3)
    return chosen.reset_index(drop=True), values[values["entry_id"].isin(chosen["entry_id"])].reset_index(drop=True)


@pytest.mark.parametrize("component", ["K", "P"])
@pytest.mark.parametrize("value_type", ["zero", "analysed"])
def test_a_missing_value_as_zero_is_found_in_a_small_table(component, value_type):
    entries, values = few()
    assert check(entries, values, RULES).empty
    values.loc[_at(values, "PU001", component), ["value", "value_type"]] = (0.0, value_type)
    assert check(entries, values, RULES)[["severity", *KEYS]].to_numpy().tolist() == [["warning", "zero-for-missing", "PU001", component]]


# Nine foods with too little sodium may as well have too much iron: that is found and cannot be decided.
@pytest.mark.parametrize(("make", "component", "factor"), [
    (make, component, factor) for make in (few, made_up) for component in ("K", "P", "NA") for factor in (1000, 1 / 1000)
    if (make, component, factor) != (few, "NA", 1 / 1000)])
def test_a_whole_column_in_another_unit_is_found(make, component, factor):
    entries, values = make()
    values.loc[values["component"] == component, "value"] *= factor
    found = check(entries, values, RULES)
    (slip,) = found[found["check"].isin(["unit-slip", "swapped-columns"])].to_dict("records")
    assert (slip["severity"], slip["entry_id"]) == ("error", "") and component in slip["component"].split(" + ")
    # A column that is too small may be another one exchanged with it: then both are said.
    assert f"{component} {'looks' if slip['check'] == 'unit-slip' else 'is'} 1000 times too {'small' if factor < 1 else 'large'}" in slip["what"]
    assert slip["check"] == "unit-slip" or (factor < 1 and component != "K")
    assert set(found["check"]) <= {slip["check"], "value-above-100-g"}


def test_missing_rows_say_what_absent_rows_say():
    entries, values = made_up()
    rows = _at(values, "RO024", "K")
    missing = values.copy()
    missing.loc[rows, "value"] = np.nan
    missing.loc[rows, "value_type"] = "missing"
    pd.testing.assert_frame_equal(check(entries, missing, RULES), check(entries, values[~rows], RULES))


def test_the_order_of_the_rows_does_not_matter():
    entries, values = FAULTS["sum of proximates 120"][0](*made_up())
    mixed = check(entries.sample(frac=1, random_state=3), values.sample(frac=1, random_state=3), RULES)
    pd.testing.assert_frame_equal(mixed, check(entries, values, RULES))


def test_without_ash_the_sum_takes_it_from_the_minerals_and_warns():
    entries, values = made_up()
    no_ash = values[values["component"] != "ASH"]
    assert check(entries, no_ash, RULES).empty
    found = check(*_set("PU025", "WATER", lambda v: v + 20)(entries, no_ash.reset_index(drop=True)), RULES)
    assert found[["severity", *KEYS]].to_numpy().tolist() == [["warning", "proximates", "PU025", PROXIMATES]]


def test_a_table_with_available_carbohydrate_counts_its_fibre():
    entries, values = made_up()
    carbohydrate, fibre = values["component"] == "CHOCDF", values["component"] == "FIBTG"
    values.loc[carbohydrate, "value"] = (values.loc[carbohydrate, "value"].to_numpy() - values.loc[fibre, "value"].to_numpy()).round(2)
    values.loc[carbohydrate, "component"] = "CHOAVL"
    found = check(entries, values, RULES)
    assert set(found["check"]) <= {"key-components"}, found.to_string()
    planted = check(*_set("PU025", "WATER", lambda v: v + 20)(entries, values), RULES)
    assert ("proximates", "PU025") in set(zip(planted["check"], planted["entry_id"]))


def test_household_measures_that_give_an_impossible_density():
    measures = pd.DataFrame({
        "scope_key": ["CA001", "CA002", "CA003"], "measure": ["cup", "cup", "piece"], "middle": [240.0, 2400.0, 2400.0], "unit": "g"})
    found = check(*made_up(), RULES, measures)
    assert found[["severity", *KEYS]].to_numpy().tolist() == [["warning", "density", "CA002", ""]]
    assert found["value"].iloc[0] == pytest.approx(2400 / 236.588, rel=1e-4)  # 1 US cup = 236.588 ml (NIST Handbook 44)


def test_an_empty_table_has_no_findings_and_does_not_fail():
    entries, values = made_up()
    assert check(entries.iloc[:0], values.iloc[:0], RULES).empty
    assert set(check(entries, values.iloc[:0], RULES)["check"]) == {"key-components"}


# ---------------------------------------------------------------- thresholds

def test_every_threshold_has_a_source_that_exists():
    known = set()
    for file in sorted((ROOT / "reference").glob("sources*.csv")):
        known |= set(pd.read_csv(file, dtype="str", keep_default_na=False)["source_id"])
    assert set(RULES["source_id"]) <= known


def test_eu_factors_are_those_of_the_project():
    factors = pd.read_csv(ROOT / "reference" / "energy_factors.csv").set_index("component")["kcal_per_g"]
    eu = RULES[RULES["rule_id"].str.startswith("energy-eu-")].set_index("components")
    assert eu["high"].to_dict() == factors.rename({"CHOAVLDF": "CHOCDF"})[eu.index].to_dict()
    assert (eu["low"] == eu["high"]).all()


def test_ash_factors_follow_from_atomic_weights():
    # IUPAC standard atomic weights, abridged, from memory.
    weight = {"H": 1.008, "C": 12.011, "O": 15.999, "NA": 22.990, "MG": 24.305, "P": 30.974, "CL": 35.45, "K": 39.098, "CA": 40.078}
    compound = {
        "K": (2 * weight["K"] + weight["C"] + 3 * weight["O"]) / (2 * weight["K"]), "NA": (weight["NA"] + weight["CL"]) / weight["NA"],
        "CA": (weight["CA"] + weight["C"] + 3 * weight["O"]) / weight["CA"], "P": (2 * weight["P"] + 5 * weight["O"]) / (2 * weight["P"]),
        "MG": (weight["MG"] + weight["O"]) / weight["MG"],
    }
    rows = RULES[RULES["check"] == "ash-estimate"].set_index("components")["high"]
    assert rows.to_dict() == pytest.approx(compound, abs=0.006)


@pytest.mark.parametrize(("change", "words"), [
    (lambda text: text + text.splitlines()[1] + "\n", "occurs a second time"),
    (lambda text: text.replace(",error,", ",grave,", 1), "severity is not known"),
    (lambda text: text.replace(",infoods-checking-2012,", ",,", 1), "cites no source"),
    (lambda text: text.replace(",95,105,", ",105,95,", 1), "low is above high"),
    (lambda text: text.replace(",95,105,", ",ninety,105,", 1), "ninety"),
])
def test_a_spoilt_threshold_file_is_named_with_its_row(tmp_path, change, words):
    path = tmp_path / "table_checks.csv"
    path.write_text(change((ROOT / THRESHOLDS).read_text(encoding="utf-8")), encoding="utf-8")
    with pytest.raises(InputError, match=words) as raised:
        read_thresholds(path)
    assert f"{path}:" in str(raised.value)


def test_a_missing_rule_is_named():
    with pytest.raises(InputError, match="no rule 'group-spread'"):
        check(*made_up(), RULES[RULES["rule_id"] != "group-spread"])


# ---------------------------------------------------------------- report

class _Page(HTMLParser):
    def __init__(self):
        super().__init__()
        self.tags, self.attributes = [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += [(tag, name, value or "") for name, value in attrs]


@pytest.fixture(scope="module")
def report(tmp_path_factory) -> tuple[pd.DataFrame, str, Path]:
    entries, values = made_up()
    for name in ("potassium x 1000", "saturated fat over fat", "sum of proximates 120"):
        entries, values = FAULTS[name][0](entries, values)
    entries.loc[entries["entry_id"] == "RO020", "name"] = 'Root "<b>&", raw'
    folder = tmp_path_factory.mktemp("report")
    found = check(entries, values, RULES)
    table, page = write_report(found, entries, values, folder / "once", "made-up")
    again = write_report(found, entries, values, folder / "again", "made-up")
    assert [path.read_bytes() for path in (table, page)] == [path.read_bytes() for path in again]
    return found, page.read_text(encoding="utf-8"), table


def test_the_csv_holds_every_finding(report):
    found, _, table = report
    read = pd.read_csv(table, dtype={"entry_id": "str"}, keep_default_na=False)
    assert list(read.columns) == list(FINDING_COLUMNS)
    assert read[["severity", *KEYS]].to_numpy().tolist() == found[["severity", *KEYS]].to_numpy().tolist()
    assert b"\r" not in table.read_bytes()


def test_the_page_is_whole_in_itself_and_accessible(report):
    found, page, _ = report
    parsed = _Page()
    parsed.feed(page)
    assert ("html", "lang", "en-GB") in parsed.attributes
    assert not {"script", "link", "img", "iframe"} & set(parsed.tags)
    fetched = [value for _, name, value in parsed.attributes if name in ("src", "href", "xlink:href") and not value.startswith("#")]
    assert fetched == []
    assert "@import" not in page and "url(http" not in page
    assert parsed.tags.count("caption") == parsed.tags.count("table") == 1 + found["check"].nunique()
    identifiers = [value for _, name, value in parsed.attributes if name == "id"]
    assert len(identifiers) == len(set(identifiers))
    for link in (value for tag, name, value in parsed.attributes if tag == "a" and name == "href"):
        assert link[1:] in identifiers
    assert "Root &quot;&lt;b&gt;&amp;&quot;, raw" in page and "<b>" not in page


def test_the_plots_are_drawn_and_name_what_was_found(report):
    _, page, _ = report
    plots = [ElementTree.fromstring(part.split("</svg>")[0].join(("<svg", "</svg>"))) for part in page.split("<svg")[1:]]
    assert len(plots) == 5  # K, P, NA, PROCNT, WATER
    labels = [plot.get("aria-label") for plot in plots]
    assert all(plot.get("role") == "img" and label for plot, label in zip(plots, labels))
    assert labels[0].startswith("K by food group") and "(RO020)" in labels[0]
    assert "No entry is named" in labels[1]
    words = "".join("".join(plot.itertext()) for plot in plots)
    assert all(f"{group} (" in words for group in GROUPS)


def test_checking_does_not_load_the_plotting_library():
    code = "import sys, pipeline.composition.check, pipeline.composition.check_report; sys.exit('matplotlib' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], cwd=ROOT).returncode == 0
