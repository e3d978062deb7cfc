"""Every published retention factor equals USDA Table of Nutrient Retention Factors, release 6 (2007)."""

from pathlib import Path

import pandas as pd
import pytest

ROOT = Path(__file__).resolve().parents[2]
OWN_CODES = {"mass-balance", "assumed", "poured-away", "salt-in-poured-water", "deep-fat-uptake"}


def read(name):
    return pd.read_csv(ROOT / "reference" / name, dtype=str, keep_default_na=False)


@pytest.mark.outside_data
def test_every_row_equals_release_6(outside_data):
    published = pd.read_csv(outside_data / "usda-retention-r6.csv", dtype=str, keep_default_na=False)
    published = published.set_index(["retention_code", "nutrient_no"])["retention_percent"].astype(float)
    nutrient = read("components.csv").set_index("component")["retention_nutrient"].to_dict()
    rows = read("retention.csv")
    rows = rows[rows["source_id"] == "usda-retention-r6"]
    assert len(rows) > 1500
    wrong = [(row.retention_code, row.component, row.retention_fraction) for row in rows.itertuples()
             if abs(published[(row.retention_code, nutrient[row.component])] / 100 - float(row.retention_fraction)) > 1e-9]
    assert wrong == []


@pytest.mark.outside_data
def test_no_component_of_a_code_in_use_is_left_out(outside_data):
    published = pd.read_csv(outside_data / "usda-retention-r6.csv", dtype=str, keep_default_na=False)
    components = read("components.csv")
    by_nutrient = {row.retention_nutrient: row.component for row in components.itertuples() if row.retention_nutrient}
    rows = read("retention.csv")
    ours = set(zip(rows["retention_code"], rows["component"], strict=True))
    used = set(read("retention_rules.csv")["retention_code"])
    theirs = {(row.retention_code, by_nutrient[row.nutrient_no]) for row in published.itertuples()
              if row.retention_code in used and row.nutrient_no in by_nutrient}
    left_out = {(code, component) for code, component in theirs - ours if not (component == "ALC" and not code.startswith("50"))}
    assert left_out == set()


def test_codes_that_are_not_published_say_so():
    rows = read("retention.csv")
    own = rows[rows["source_id"] != "usda-retention-r6"]
    assert all(code in OWN_CODES or code.startswith("leach-") for code in own["retention_code"])
    assert (own.loc[own["retention_code"].str.startswith("leach-"), "source_id"] == "leaching-from-memory").all()


def test_every_rule_names_a_code_and_intervals_are_ordered():
    rows = read("retention.csv")
    assert set(read("retention_rules.csv")["retention_code"]) <= set(rows["retention_code"])
    numbers = rows[["low", "retention_fraction", "high"]].astype(float)
    assert ((numbers["low"] <= numbers["retention_fraction"]) & (numbers["retention_fraction"] <= numbers["high"])).all()
    assert numbers.to_numpy().min() >= 0 and numbers.to_numpy().max() <= 1
