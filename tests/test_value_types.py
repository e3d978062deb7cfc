"""Each value type enters a sum and its interval by its own rule.

Against JCGM 100:2008: 4.3.7 (an even spread of width a has the standard uncertainty a / sqrt(12)) and
5.1.2 (uncertainties of a sum of independent terms add in squares). The factor 1.5 for imputed and
borrowed values is common practice, no source.
"""

from __future__ import annotations

import functools
import math
import shutil

import kitchen
import numpy as np
import pandas as pd
import pytest
import tampering
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline import tables
from pipeline.lineage import Z90
from pipeline.root import ROOT
from pipeline.stages.total_inputs import composition_spread
from pipeline.tables import VALUE_TYPES
from pipeline.verify import verify

SPREADS = pd.DataFrame([("K", "greens", "", 0.2), ("K", "", "", 0.4), ("K", "", "salt", 0.01)],
                       columns=["component", "food_group", "cooking_class", "coefficient_of_variation"])
amounts = st.floats(0.001, 5000, allow_nan=False)


def spread_of(kind: str, value: float, group: str = "greens", n: float = np.nan, error: float = np.nan, cooking_class: str = "") -> pd.Series:
    values = pd.DataFrame([{"entry_id": "x", "component": "K", "value": value, "unit": "mg", "value_type": kind, "n": n,
                            "standard_error": error}])
    return composition_spread(values, pd.DataFrame({"entry_id": ["x"], "food_group": [group], "cooking_class": [cooking_class]}), SPREADS).iloc[0]


# ---------------------------------------------------------------- the rules, one by one

@pytest.mark.parametrize("kind", ["analysed", "calculated"])
def test_a_value_has_the_spread_of_its_samples_or_of_its_group(kind):
    # 9 samples with the standard deviation 4 x sqrt(9) = 12, and the group's 20 as two more: sqrt((2 x 20^2 + 8 x 12^2) / 10)
    sampled = spread_of(kind, 100.0, n=9.0, error=4.0)
    assert sampled["uncertainty"] == pytest.approx(math.sqrt(195.2))
    assert sampled["basis"] == "standard error x sqrt(n), and as 2 samples more the spread of the food group"
    grouped = spread_of(kind, 100.0)
    assert (grouped["uncertainty"], grouped["basis"]) == (20.0, "spread of the food group")
    elsewhere = spread_of(kind, 100.0, group="roots")
    assert (elsewhere["uncertainty"], elsewhere["basis"]) == (40.0, "spread of the component")
    substance = spread_of(kind, 100.0, cooking_class="salt")
    assert (substance["uncertainty"], substance["basis"]) == (1.0, "spread of the substance")
    assert spread_of(kind, 100.0, n=1.0, error=1.0)["uncertainty"] == 20.0  # one sample shows no spread
    # Many samples speak for themselves, three that agree may do so by chance.
    assert spread_of(kind, 100.0, n=400.0, error=0.2)["uncertainty"] == pytest.approx(4.0, rel=0.1)
    assert spread_of(kind, 100.0, n=3.0, error=0.5)["uncertainty"] > 14


@pytest.mark.parametrize("kind", ["imputed", "borrowed"])
def test_another_foods_value_is_at_least_half_as_wide_again(kind):
    assert spread_of(kind, 100.0)["uncertainty"] == pytest.approx(30.0)
    assert spread_of(kind, 100.0)["basis"] == "1.5 x the spread of the food group"
    assert spread_of(kind, 100.0, group="roots")["basis"] == "1.5 x the spread of the component"
    narrow = spread_of(kind, 100.0, n=9.0, error=4.0)
    assert narrow["uncertainty"] == pytest.approx(30.0) and narrow["basis"].startswith("1.5 x")
    wide = spread_of(kind, 100.0, n=9.0, error=15.0)
    assert wide["uncertainty"] == pytest.approx(math.sqrt((2 * 20 ** 2 + 8 * 45 ** 2) / 10))
    assert wide["basis"] == "standard error x sqrt(n), and as 2 samples more the spread of the food group"


@pytest.mark.parametrize("kind", ["trace", "below-detection"])
@given(limit=amounts)
def test_a_limited_value_is_evenly_spread_below_its_limit(kind, limit):
    row = spread_of(kind, limit / 2, n=9.0, error=4.0)  # whatever else is printed beside it
    assert row["uncertainty"] == pytest.approx(limit / math.sqrt(12))


@pytest.mark.parametrize("kind", ["zero", "analysed", "calculated", "imputed", "borrowed"])
def test_nothing_has_no_spread(kind):
    assert spread_of(kind, 0.0)["uncertainty"] == 0


@pytest.mark.parametrize("kind", [kind for kind in VALUE_TYPES if kind not in ("missing", "zero")])
@given(value=amounts)
def test_no_value_that_is_not_zero_is_exact(kind, value):
    row = spread_of(kind, value)
    assert 0 < row["uncertainty"] < math.inf
    if kind in ("imputed", "borrowed"):
        assert row["uncertainty"] >= 1.5 * spread_of("analysed", value)["uncertainty"] * (1 - 1e-12)


# ---------------------------------------------------------------- in a sum

def dish(kind: str, value: float, n: float = np.nan, error: float = np.nan) -> dict[str, pd.DataFrame]:
    """The small kitchen with this potassium value for oil (9.2 g, nothing lost), beside two leeks."""
    values = kitchen.values()
    at = (values["entry_id"] == "oil") & (values["component"] == "K")
    limit = 2 * value if kind in ("trace", "below-detection") else np.nan
    values.loc[at, ["value", "value_type", "n", "standard_error", "maximum"]] = [value, kind, n, error, limit]
    return kitchen.totals(value_table=tables.checked(tables.Values, values, "test"))


def potassium(result, basis: str = "recipe") -> pd.Series:
    return result["figures"].set_index("figure_id").loc[f"pot/base/K/{basis}"]


GRAMS = 9.2


@functools.cache
def without() -> float:
    return potassium(dish("zero", 0.0))["value"]


@pytest.mark.parametrize("kind", ["trace", "below-detection"])
@settings(max_examples=6, deadline=None)
@given(limit=amounts)
def test_a_sum_with_a_trace_lies_between_those_without_it_and_with_its_limit(kind, limit):
    found, most = potassium(dish(kind, limit / 2)), potassium(dish("calculated", limit))
    assert without() < found["value"] < most["value"]
    assert found["value"] - without() == pytest.approx(GRAMS / 100 * limit / 2, rel=1e-9, abs=1e-9)
    assert found["coverage"] == 1.0


@pytest.mark.parametrize("kind", ["trace", "below-detection"])
def test_the_input_of_a_trace_stays_within_its_range(kind):
    row = dish(kind, 25.0)["inputs"].set_index("input_id").loc["composition:test:oil:K"]
    assert (row["value"], row["low"], row["high"]) == (25.0, pytest.approx(2.5), pytest.approx(47.5))  # 5 % and 95 % of 50
    assert row["standard_uncertainty"] == pytest.approx(50 / math.sqrt(12)) and row["basis"] == "even over its range"


def test_missing_is_never_zero():
    zero, missing = dish("zero", 0.0), dish("missing", np.nan)
    assert potassium(zero)["coverage"] == 1.0 and potassium(missing)["coverage"] < 1.0
    assert potassium(zero)["reason"] == "" or "no value" not in potassium(zero)["reason"]
    assert "no value for K of line 3" in potassium(missing)["reason"] and potassium(missing)["status"] != "ready"
    contributions = missing["contributions"].set_index(["line_no", "component"])
    assert math.isnan(contributions.at[(3, "K"), "amount"]) and contributions.at[(3, "K"), "composition_input"] == ""
    assert zero["contributions"].set_index(["line_no", "component"]).at[(3, "K"), "amount"] == 0


def test_zero_adds_nothing_to_the_interval():
    zero, missing = potassium(dish("zero", 0.0)), potassium(dish("missing", np.nan))
    assert zero[["value", "low", "high"]].tolist() == missing[["value", "low", "high"]].tolist()


@pytest.mark.parametrize("kind", ["imputed", "borrowed"])
@settings(max_examples=6, deadline=None)
@given(value=st.floats(50, 5000))
def test_a_doubtful_value_adds_the_same_and_widens_more(kind, value):
    sure, doubtful = potassium(dish("calculated", value)), potassium(dish(kind, value))
    assert doubtful["value"] == sure["value"] and doubtful["coverage"] == sure["coverage"] == 1.0
    assert doubtful["low"] < sure["low"] and doubtful["high"] > sure["high"]


@settings(max_examples=6, deadline=None)
@given(a=st.floats(50, 3000), b=st.floats(0, 3000))
def test_a_disagreement_adds_half_the_difference_in_squares(a, b):
    values = kitchen.values()
    apart = pd.DataFrame([("oil", "K", "mg", a, "other", "o", b)],
                         columns=["entry_id", "component", "unit", "value_a", "table_b", "entry_b", "value_b"])
    values.loc[(values["entry_id"] == "oil") & (values["component"] == "K"), "value"] = a
    alone = composition_spread(values, kitchen.entries(), kitchen.reference().composition_spread)
    both = composition_spread(values, kitchen.entries(), kitchen.reference().composition_spread, apart)
    at = ((both["entry_id"] == "oil") & (both["component"] == "K")).to_numpy()
    assert both.loc[at, "uncertainty"].item() == pytest.approx(math.hypot(alone.loc[at, "uncertainty"].item(), (a - b) / 2))
    pd.testing.assert_frame_equal(both[~at], alone[~at])  # no other value is touched


def test_two_equally_believable_values_have_half_their_distance_as_standard_deviation():
    assert np.std([320.0, 280.0]) == 20.0


# ---------------------------------------------------------------- verify, which computes the same on its own

def test_verify_holds_imputed_values_to_the_same_rule(quay_release, tmp_path):
    folder = shutil.copytree(quay_release, tmp_path / "release")
    assert verify(folder, ROOT).agrees
    rows = tampering.read(folder / "evidence" / "inputs.csv")
    names = {name: rows[0].index(name) for name in ("input_id", "basis", "low", "high", "standard_uncertainty")}
    widened = [row for row in rows[1:] if row[names["basis"]].startswith("1.5 x the spread") and float(row[names["standard_uncertainty"]])]
    assert len(widened) > 10
    row = widened[0]
    row[names["standard_uncertainty"]] = repr(float(row[names["standard_uncertainty"]]) / 1.5)
    tampering.write(folder / "evidence" / "inputs.csv", rows)
    tampering.follow_in_parquet(folder / "evidence" / "inputs.csv")
    found = verify(folder, ROOT).disagreements
    assert any(one.file == "evidence/inputs.csv" and one.row == row[names["input_id"]] and one.column == "standard_uncertainty"
               for one in found)


def test_the_ends_of_an_even_spread_are_its_5th_and_95th_percentile():
    from pipeline.stages.total_inputs import EVEN_90

    sample = np.linspace(0, 2, 200_001)
    assert tuple(np.quantile(sample, [0.05, 0.95])) == pytest.approx(EVEN_90)
    assert Z90 / math.sqrt(3) > 0.9  # a normal spread of that uncertainty would pass the limit
