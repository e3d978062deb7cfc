"""Totals: hand-computed sums, what is withheld, and that nothing missing turns into zero."""

import pandas as pd
import pytest

import kitchen
from pipeline import sources
from pipeline.composition.recomputed import recomputed
from pipeline.stages.audit_entries import entries
from test_intervals import figure


def test_potassium_by_hand():
    # 2 x 150 g x 0.44 = 132 g leek boiled (x 0.85), 100 g leek raw, 9.2 g oil with 1 mg/100 g
    by_hand = 132 * 1.80 * 0.85 + 100 * 1.80 + 9.2 * 0.01
    result = kitchen.totals()
    assert figure(result, "K")["value"] == pytest.approx(by_hand)
    assert figure(result, "K", "portion")["value"] == pytest.approx(by_hand / 4)
    cooked_g = 132 * 0.92 + 100 + 9.2
    assert figure(result, "K", "100g")["value"] == pytest.approx(100 * by_hand / cooked_g)


def test_water_is_a_balance():
    result = kitchen.totals()
    raw_water = (132 + 100) * 0.83
    assert figure(result, "WATER")["value"] == pytest.approx(raw_water - 132 * 0.08)


def test_energy_is_computed_from_annex_xiv():
    result = kitchen.totals()
    leek, oil = 232, 9.2
    protein, fat, carbohydrate, fibre = leek * 0.015, leek * 0.003 + oil, leek * 0.14, leek * 0.018
    kilojoules = 17 * protein + 37 * fat + 17 * (carbohydrate - fibre) + 8 * fibre
    kilocalories = 4 * protein + 9 * fat + 4 * (carbohydrate - fibre) + 2 * fibre
    assert figure(result, "ENERC", unit="kJ")["value"] == pytest.approx(kilojoules)
    assert figure(result, "ENERC", unit="kcal")["value"] == pytest.approx(kilocalories)


def test_an_unsettled_line_withholds_every_figure_and_is_named():
    lines = kitchen.lines()
    lines.loc[2, ["outcome", "reason", "text"]] = ["review", "close-call", "a glug of that oil"]
    figures = kitchen.totals(lines)["figures"]
    assert set(figures["status"]) == {"withheld"}
    assert figures["value"].isna().all() and figures["high"].isna().all()
    assert figures["reason"].str.contains("line 3 \\(close-call: a glug of that oil\\)").all()


def test_an_unsettled_line_that_is_not_counted_withholds_nothing():
    lines = kitchen.lines()
    lines.loc[2, "outcome"] = "review"
    lines.loc[2, "counted"] = False
    assert "withheld" not in set(kitchen.totals(lines)["figures"]["status"])


def test_a_missing_value_is_never_zero():
    values = kitchen.values()
    gone = (values["entry_id"] == "oil") & (values["component"] == "K")
    values.loc[gone, "value"] = float("nan")
    values.loc[gone, "value_type"] = "missing"
    row = figure(kitchen.totals(value_table=values), "K")
    assert row["status"] == "check"
    assert row["coverage"] == pytest.approx(232 / 241.2)
    assert "K of line 3" in row["reason"]


def test_too_little_coverage_withholds():
    values = kitchen.values()
    gone = (values["entry_id"] == "leek") & (values["component"] == "K")
    values.loc[gone, "value"] = float("nan")
    values.loc[gone, "value_type"] = "missing"
    result = kitchen.totals(value_table=values)
    assert figure(result, "K")["status"] == "withheld"
    assert pd.isna(figure(result, "K")["value"])
    assert figure(result, "NA")["status"] != "withheld"


def test_an_assumed_amount_that_matters_is_to_be_checked():
    lines = kitchen.lines()
    lines.loc[2, "measure_id"] = "rule:fats-oils-for-cooking"
    result = kitchen.totals(lines)
    assert "assumed amount" in figure(result, "FAT")["reason"]
    assert "assumed amount" not in figure(result, "K")["reason"]


def test_a_finished_weight_sets_the_figures_per_100_g():
    result = kitchen.totals(finished_mass_g=240.0)
    assert figure(result, "K", "100g")["value"] == pytest.approx(figure(result, "K")["value"] / 2.4)


def test_what_a_finished_weight_lacks_is_water():
    predicted, weighed = kitchen.totals(), kitchen.totals(finished_mass_g=210.0)
    lighter = 132 * 0.92 + 100 + 9.2 - 210.0
    assert figure(weighed, "WATER")["value"] == pytest.approx(figure(predicted, "WATER")["value"] - lighter)
    solids = [figure(predicted, "WATER")["value"] - (132 * 0.92 + 100 + 9.2), figure(weighed, "WATER")["value"] - 210.0]
    assert solids[0] == pytest.approx(solids[1])


# ---------------------------------------------------------------- the table's own energy and protein, beside the recomputed ones

COMPONENTS = pd.DataFrame([("ENERC", "kJ"), ("ENERC", "kcal"), *((name, "g") for name in ("PROCNT", "FAT", "CHOCDF", "FIBTG", "ALC"))],
                          columns=["component", "unit"])
ANNEX_XIV = pd.DataFrame(  # EU 1169/2011 Annex XIV
    [("ALC", 29.0, 7.0), ("CHOAVLDF", 17.0, 4.0), ("FAT", 37.0, 9.0), ("FIBTG", 8.0, 2.0), ("PROCNT", 17.0, 4.0)],
    columns=["component", "kj_per_g", "kcal_per_g"])


def own(entry_id, kilojoules, kilocalories, protein, fat, carbohydrate, fibre, alcohol):
    """The values of one entry, as a table gives them."""
    numbers = [("ENERC", "kJ", kilojoules), ("ENERC", "kcal", kilocalories), ("PROCNT", "g", protein), ("FAT", "g", fat),
               ("CHOCDF", "g", carbohydrate), ("FIBTG", "g", fibre), ("ALC", "g", alcohol)]
    return pd.DataFrame(numbers, columns=["component", "unit", "value"]).assign(
        entry_id=entry_id, value_type=lambda rows: rows["value"].map(lambda value: "missing" if pd.isna(value) else "analysed"),
        source_id="usda-sr26", source_row=entry_id)


# As printed in USDA SR26, per 100 g: cider vinegar 02048 (its acetic acid is in no macronutrient), cheddar 01009.
VINEGAR = own("02048", 90.0, 21.0, 0.0, 0.0, 0.93, 0.0, 0.0)
CHEDDAR = own("01009", 1684.0, 403.0, 24.9, 33.14, 1.28, 0.0, 0.0)
NO_NITROGEN = pd.DataFrame({"entry_id": [], "component": [], "value": []}).astype({"entry_id": "str", "component": "str", "value": "float64"})


def beside(values, nitrogen=NO_NITROGEN):
    return recomputed(values, nitrogen, COMPONENTS, ANNEX_XIV).set_index(["entry_id", "component", "unit"])


def test_energy_of_an_entry_is_recomputed_beside_the_tables_own():
    rows = beside(pd.concat([VINEGAR, CHEDDAR], ignore_index=True))
    vinegar, cheddar = rows.loc[("02048", "ENERC", "kJ")], rows.loc[("01009", "ENERC", "kJ")]
    assert (vinegar["value"], vinegar["recomputed"]) == (90.0, pytest.approx(17 * 0.93))
    assert vinegar["relative_difference"] == pytest.approx(17 * 0.93 / 90 - 1)
    by_hand = 17 * 24.9 + 37 * 33.14 + 17 * 1.28
    assert cheddar["recomputed"] == pytest.approx(by_hand) and cheddar["difference"] == pytest.approx(by_hand - 1684)
    assert rows.at[("01009", "ENERC", "kcal"), "recomputed"] == pytest.approx(4 * 24.9 + 9 * 33.14 + 4 * 1.28)


def test_energy_with_a_part_missing_is_not_recomputed_and_says_so():
    row = beside(own("1", 500.0, 120.0, 10.0, 5.0, 12.0, None, 0.0)).loc[("1", "ENERC", "kJ")]
    assert pd.isna(row["recomputed"]) and pd.isna(row["difference"]) and row["rests_on"] == "no value for FIBTG"


def test_protein_is_recomputed_from_nitrogen_where_the_table_has_it():
    values = pd.concat([own(key, 1500.0, 360.0, 11.4, 1.0, 75.0, 3.0, 0.0) for key in ("flour", "loaf", "bun")], ignore_index=True)
    nitrogen = pd.DataFrame([("flour", "NT", 2.0), ("flour", "XN", 5.7), ("loaf", "NT", 2.0)], columns=["entry_id", "component", "value"])
    rows = beside(values, nitrogen)
    assert rows.at[("flour", "PROCNT", "g"), "recomputed"] == pytest.approx(2 * 5.7)
    assert rows.at[("flour", "PROCNT", "g"), "difference"] == pytest.approx(0, abs=1e-9)
    loaf = rows.loc[("loaf", "PROCNT", "g")]
    assert loaf["recomputed"] == 2 * 6.25 and "the table's protein is 5.7 x its nitrogen" in loaf["rests_on"]  # EU 1169/2011, Annex I, 10
    assert pd.isna(rows.at[("bun", "PROCNT", "g"), "recomputed"]) and rows.at[("bun", "PROCNT", "g"), "rests_on"] == "the table gives no nitrogen"


def test_an_entry_beyond_the_rules_is_noted_once_per_recipe_and_doubts_no_figure():
    table = beside(pd.concat([VINEGAR, CHEDDAR], ignore_index=True)).reset_index()
    lines = pd.DataFrame([("soup", "base", 2, "02048"), ("soup", "with-cod", 2, "02048"), ("pie", "base", 1, "01009"), ("pie", "base", 3, "02048")],
                         columns=["recipe_id", "variant_id", "line_no", "entry_id"]).assign(entry_name="an entry", outcome="accepted")
    reference = sources.load()
    found = entries(table, lines, reference)
    assert found["finding_id"].tolist() == ["entry-energy/soup/base/02048", "entry-energy/pie/base/02048"]
    assert set(found["severity"]) == {"note"} and found["line_no"].tolist() == [2, 3]
    # the rule decides, not the code
    loose = {"entry_energy_differs_above": 0.9}
    rules = reference.rules.assign(value=reference.rules["rule_id"].map(loose).fillna(reference.rules["value"]))
    assert entries(table, lines, sources.Reference({**reference.frames, "rules": rules}, {})).empty
