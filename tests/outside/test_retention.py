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
             if abs(published[(row.retention_code.removeprefix("measured-").split("-")[0], nutrient[row.component])] / 100 - float(row.retention_fraction)) > 1e-9]
    assert wrong == []


@pytest.mark.outside_data
def test_no_component_of_a_code_in_use_is_left_out(outside_data):
    published = pd.read_csv(outside_data / "usda-retention-r6.csv", dtype=str, keep_default_na=False)
    components = read("components.csv")
    by_nutrient = {row.retention_nutrient: row.component for row in components.itertuples() if row.retention_nutrient}
    rows = read("retention.csv")
    ours = set(zip(rows["retention_code"], rows["component"], strict=True))
    used = {code.split("-")[1] if code.startswith("measured-") else code for code in read("retention_rules.csv")["retention_code"]}
    theirs = {(row.retention_code, by_nutrient[row.nutrient_no]) for row in published.itertuples()
              if row.retention_code in used and row.nutrient_no in by_nutrient}
    left_out = {(code, component) for code, component in theirs - ours if not (component == "ALC" and not code.startswith("50"))}
    assert left_out == set()


def test_codes_that_are_not_published_say_so():
    rows = read("retention.csv")
    own = rows[rows["source_id"] != "usda-retention-r6"]
    assert all(code in OWN_CODES or code.startswith(("leach-", "measured-", "fat-drips-")) for code in own["retention_code"])
    assert (own.loc[own["retention_code"].str.startswith("leach-"), "source_id"] == "leaching-from-memory").all()


def test_every_rule_names_a_code_and_intervals_are_ordered():
    rows = read("retention.csv")
    assert set(read("retention_rules.csv")["retention_code"]) <= set(rows["retention_code"])
    numbers = rows[["low", "retention_fraction", "high"]].astype(float)
    assert ((numbers["low"] <= numbers["retention_fraction"]) & (numbers["retention_fraction"] <= numbers["high"])).all()
    assert numbers.to_numpy().min() >= 0 and numbers.to_numpy().max() <= 1


def measured():
    """The rows of measured codes that release 6 lists, with the published row beside them (``_r6``)."""
    rows = read("retention.csv")
    published = rows[rows["source_id"] == "usda-retention-r6"].set_index(["retention_code", "component"])
    here = rows[rows["retention_code"].str.startswith("measured-") & (rows["component"] != "PROCNT")].copy()
    here["base"] = here["retention_code"].str.split("-").str[1]
    return here.join(published, on=["base", "component"], suffixes=("", "_r6"))


def test_a_measured_code_keeps_the_published_value_or_says_why_not():
    rows = measured()
    assert len(rows) > 250
    kept = rows["retention_fraction"] == rows["retention_fraction_r6"]
    assert kept.mean() > 0.8
    assert (rows.loc[kept, "source_id"] == "usda-retention-r6").all() and (rows.loc[~kept, "source_id"] == "usda-sr26").all()
    for row in rows[~kept].itertuples():
        assert f": {row.retention_fraction_r6}, contradicted: the pairs allow " in row.source_row and "tuning half" in row.source_row
        low, high = (float(end) for end in row.source_row.split("the pairs allow ")[1].split(";")[0].split(" to "))
        assert not low < float(row.retention_fraction_r6) < high, row


def test_the_pairs_only_widen_the_published_interval_and_are_cited():
    rows = measured()
    numbers = rows[["low", "low_r6", "high", "high_r6"]].astype(float)
    assert ((numbers["low"] <= numbers["low_r6"]) & (numbers["high"] >= numbers["high_r6"])).all()
    few = rows["source_row"].str.endswith("; too few pairs")
    assert (rows.loc[few, "spread_source_id"] == "retention-spread-rule").all() and (rows.loc[~few, "spread_source_id"] == "usda-sr26").all()


def test_no_measured_code_says_less_potassium_phosphorus_or_sodium_than_release_6():
    """Understated is the error that hurts: where the pairs allow less, the row says so and keeps the published value."""
    rows = measured()
    rows = rows[rows["component"].isin(["K", "P", "NA"])]
    assert len(rows) >= 60
    assert (rows["retention_fraction"].astype(float) >= rows["retention_fraction_r6"].astype(float)).all()
    held = rows[rows["source_row"].str.contains("; kept though the pairs allow ", regex=False)]
    assert len(held) >= 3 and (held["source_id"] == "usda-retention-r6").all()
    for row in held.itertuples():
        highest = float(row.source_row.split("the pairs allow ")[1].split(",")[0].split(" to ")[1])
        assert highest < float(row.retention_fraction), row


def test_boiled_vegetables_keep_the_published_factor():
    """No mineral and no vitamin of boiled vegetables differs from release 6."""
    rows = measured()
    rows = rows[rows["retention_code"].isin([f"measured-{code}" for code in ("3005-leafy-greens", "3455-roots", "3775-other-vegetables", "3775-mushrooms")])]
    assert len(rows) >= 4 * 12
    changed = rows[rows["retention_fraction"] != rows["retention_fraction_r6"]]
    assert changed.empty, changed[["retention_code", "component", "retention_fraction", "retention_fraction_r6"]].to_string()


def test_meat_fried_in_a_pan_is_as_uneven_as_its_own_pairs_and_no_evener_than_grilled():
    """SR26, calcium of raw and pan-fried pork (10066 and 10181: 5 and 8 mg in 100 g) and sodium (49 and 87 mg) lie outside what grilled meat says."""
    rows = read("retention.csv").set_index(["retention_code", "component"])
    yields = read("yields.csv").set_index("yield_id")
    widths = rows["high"].astype(float) - rows["low"].astype(float)
    for grilled, fried, name in (("measured-0602-beef", "measured-0604-beef", "beef"), ("measured-1001-lamb", "measured-1001-lamb-fried", "lamb"),
                                 ("measured-1251-pork", "measured-1252-pork", "pork")):
        for component in ("CA", "NA"):
            assert widths[fried, component] > widths[grilled, component], (fried, component)
        assert " of fried meat" in rows.at[(fried, "NA"), "source_row"] and " of grilled meat" in rows.at[(grilled, "NA"), "source_row"]
        ends = {method: yields.loc[f"{name}-{method}-dry", ["yield_fraction", "low", "high"]].astype(float).tolist() for method in ("grill", "fry")}
        assert ends["fry"][0] == ends["grill"][0] and ends["fry"][1] < ends["grill"][1] and ends["fry"][2] > ends["grill"][2]


def test_protein_is_fitted_to_the_pairs():
    rows = read("retention.csv")
    protein = rows[rows["retention_code"].str.startswith("measured-") & (rows["component"] == "PROCNT")]
    assert len(protein) == rows.loc[rows["retention_code"].str.startswith("measured-"), "retention_code"].nunique()
    assert (protein["source_id"] == "retention-from-memory").all() and (protein["spread_source_id"] == "usda-sr26").all()
    assert protein["source_row"].str.contains("from memory; combined with").all()
    assert protein["retention_fraction"].astype(float).between(0.85, 1.0).all()
