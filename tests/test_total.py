"""Totals: hand-computed sums, what is withheld, and that nothing missing turns into zero."""

import pandas as pd
import pytest

import kitchen
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
