"""The share of each input in the width of a figure, by brute force and by simulation; and figures that share an input.

A share is what of the variance is gone when that input is known exactly (JCGM 100:2008, 5.2); the simulations draw
every input (Monte Carlo method of JCGM 101:2008) and recompute each figure by hand, apart from the code under test.
"""

from __future__ import annotations

import kitchen
import numpy as np
import pandas as pd
import pytest
from test_intervals import figure, simulated

from pipeline import lineage
from pipeline.combinations import combinations
from pipeline.stages import total as total_stage
from pipeline.stages import total_inputs, total_shares, total_sums

DRAWS = 400_000
BY = ["figure"]


def uses(*rows) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["figure", "input_id", "effect"])


# ---------------------------------------------------------------- the function

def test_shares_by_hand():
    found = lineage.width_shares(uses(("K", "quantity:a/base/1", 3.0), ("K", "yield:b", 4.0), ("P", "yield:b", -2.0)), BY)
    assert found.to_dict("list") == {"figure": ["K", "K", "P"], "source": ["yield:b", "quantity:a/base/1", "yield:b"],
                                     "kind": ["yield", "quantity", "yield"], "share": [pytest.approx(0.64), pytest.approx(0.36), 1.0]}


def test_an_entry_on_two_lines_is_one_input_whose_effects_add_before_they_are_squared():
    twice = uses(("K", "composition:core:11282:K", 3.0), ("K", "composition:core:11282:K", 3.0), ("K", "quantity:a/base/1", 6.0))
    assert lineage.width_shares(twice, BY)["share"].tolist() == [0.5, 0.5]
    against = uses(("K", "yield:b", 3.0), ("K", "yield:b", -3.0), ("K", "quantity:a/base/1", 1.0))
    assert lineage.width_shares(against, BY)["source"].tolist() == ["quantity:a/base/1"]  # what cancels makes nothing wide


def test_what_stands_per_component_is_one_source_to_a_reader():
    energy = uses(("ENERC", "composition:core:1:FAT", 3.0), ("ENERC", "composition:core:1:PROCNT", 4.0), ("ENERC", "quantity:a/base/1", 5.0))
    found = lineage.width_shares(energy, BY).set_index("source")["share"]
    assert found.to_dict() == {"composition:core:1": pytest.approx(0.5), "quantity:a/base/1": pytest.approx(0.5)}
    assert lineage.source_of("retention:3005+0123:K") == "retention:3005+0123"
    assert lineage.source_of("measure:unit:uk_tablespoon:soup") == "measure:unit:uk_tablespoon:soup"


def test_a_figure_without_uncertainty_has_no_shares():
    assert lineage.width_shares(uses(("K", "yield:b", 0.0)), BY).empty


# ---------------------------------------------------------------- figures of the small kitchen

LINEAR = combinations(kitchen.COMPONENTS, kitchen.ENERGY)


def parts_of(finished_mass_g=None) -> dict[str, pd.DataFrame]:
    """The small kitchen's tables as a release names them."""
    lines = kitchen.lines()
    columns = [name for name in lines.columns if name not in ("recipe_id", "variant_id", "line_no", "text", "entry_id", "yield_id")]
    return {**kitchen.totals(finished_mass_g=finished_mass_g), "lines": lines, "weighed": lines[columns],
            "cooked": lines[["line_id", "yield_id", "yield_fraction"]], "recipes": kitchen.recipes(finished_mass_g)}


def variance_without(found: dict[str, pd.DataFrame], source: str, component: str, unit: str, basis: str) -> float:
    """The variance of a figure with the spread of every input of one source set to zero, through the real sums."""
    inputs = found["inputs"].copy()
    inputs.loc[inputs["input_id"].map(lineage.source_of) == source, "standard_uncertainty"] = 0.0
    every = total_sums.uses(found["contributions"], found["lines"], found["weighed"], found["cooked"], found["recipes"], inputs)
    sums = total_sums.sums(found["contributions"], found["lines"], found["cooked"], found["recipes"], kitchen.variants())
    linear = LINEAR[(LINEAR["figure"] == component) & (LINEAR["unit"] == unit)]
    spread = every.merge(linear, on="component").assign(effect=lambda rows: rows["effect"] * rows["factor"])
    if basis == "100g":
        mass = sums["mass_g"].iloc[0]
        value = (sums.merge(linear, on="component").eval("value * factor")).sum()
        weights = every[every["component"] == "MASS"].assign(figure=component, effect=lambda rows: -100 * value / mass ** 2 * rows["effect"])
        spread = pd.concat([spread.assign(effect=100 / mass * spread["effect"]), weights])
    combined = lineage.combine(spread, ["figure"])
    return float(combined["uncertainty"].iloc[0] ** 2) if len(combined) else 0.0


@pytest.mark.parametrize("finished", [None, 240.0])
@pytest.mark.parametrize(("component", "unit"), [("K", "mg"), ("NA", "mg"), ("PROCNT", "g"), ("WATER", "g"), ("ENERC", "kJ")])
@pytest.mark.parametrize("basis", ["recipe", "100g"])
def test_a_share_is_what_goes_when_the_input_is_known(component, unit, basis, finished):
    found = parts_of(finished)
    shares = total_shares.figure_shares(found, LINEAR)
    mine = shares[(shares["component"] == component) & (shares["unit"] == unit) & (shares["basis"] == basis)]
    assert mine["share"].sum() == pytest.approx(1) and mine["share"].is_monotonic_decreasing and len(mine) >= 4
    whole = variance_without(found, "", component, unit, basis)
    for row in mine.itertuples():
        assert row.share == pytest.approx(1 - variance_without(found, row.source, component, unit, basis) / whole, abs=1e-9), row.source


def test_the_shares_agree_with_a_simulation():
    """Each input in turn is held at its mean: the variance of the draws falls by its share."""
    found = parts_of()
    shares = total_shares.figure_shares(found, LINEAR).query("component == 'K' and basis == 'recipe'").set_index("source")["share"]
    whole = simulated(found)["K"].var()
    for source, share in shares.items():
        known = found["inputs"].copy()
        known.loc[known["input_id"].map(lineage.source_of) == source, "standard_uncertainty"] = 0.0
        assert 1 - simulated({"inputs": known})["K"].var() / whole == pytest.approx(share, abs=0.03), source


# ---------------------------------------------------------------- inputs that two lines share

def two_lines(**second) -> pd.DataFrame:
    """Leek by the piece on two lines, boiled both; ``second`` makes the second line another in something."""
    lines = kitchen.lines().iloc[[0, 0]].reset_index(drop=True)
    lines["line_no"], lines["line_id"] = [1, 2], ["pot/base/1", "pot/base/2"]
    for name, value in second.items():
        lines.loc[1, name] = value
    return lines


def drawn(result: dict, first: tuple[str, ...], second: tuple[str, ...]) -> tuple[np.ndarray, np.ndarray]:
    """Draws of the potassium (mg) and cooked mass (g) of two lines; each names quantity, measure, edible, composition and yield."""
    generator = np.random.default_rng(20240301)
    inputs = result["inputs"].set_index("input_id")
    draws = {}
    for name in {*first, *second}:
        mean, deviation = inputs.at[name, "value"], inputs.at[name, "standard_uncertainty"]
        spread = np.log1p((deviation / mean) ** 2)
        draws[name] = generator.lognormal(np.log(mean) - spread / 2, np.sqrt(spread), DRAWS)
    grams = [draws[names[0]] * draws[names[1]] * draws[names[2]] for names in (first, second)]
    potassium = sum(amount * draws[names[3]] / 100 for amount, names in zip(grams, (first, second), strict=True))
    return potassium, sum(amount * draws[names[4]] for amount, names in zip(grams, (first, second), strict=True))


def total(lines: pd.DataFrame, values: pd.DataFrame | None = None) -> dict:
    """The small kitchen without the doubts that are not simulated here: other candidates and retention."""
    weighed = lines[[name for name in lines.columns if name not in ("recipe_id", "variant_id", "line_no", "text", "entry_id", "yield_id")]]
    cooked = lines[["line_id", "yield_id", "yield_fraction", "yield_low", "yield_high"]]
    none = kitchen.retentions().iloc[:0]
    return total_stage.total(lines, weighed, cooked, none, kitchen.candidates().iloc[:0], kitchen.variants(), kitchen.recipes(), kitchen.entries(),
                       kitchen.values() if values is None else values, kitchen.reference(), "test")


QUANTITY, MEASURE, EDIBLE, ENTRY, YIELD = "quantity:pot/base/{}", "measure:leek-medium:pot", "edible:leek:{}", "composition:test:{}:K", "yield:{}"


@pytest.mark.parametrize(("second", "names"), [
    ({}, (MEASURE, "leek", "boiled")),  # everything but the quantity is shared
    ({"entry_id": "shallot"}, (MEASURE, "shallot", "boiled")),  # measure and yield are shared
    ({"yield_id": "raw"}, (MEASURE, "leek", "raw")),  # entry and measure are shared
    ({"measure_id": "leek-large", "measure_value": 160.0}, ("measure:leek-large:pot", "leek", "boiled")),  # entry and yield are shared
])
def test_figures_that_share_an_input_have_the_right_width(second, names):
    lines = two_lines(**second)
    grams = lines["quantity"] * lines["measure_value"]
    lines["mass_g"], lines["edible_g"] = grams, grams * lines["edible_fraction"]
    lines["cooked_g"] = lines["edible_g"] * lines["yield_fraction"]
    result = total(lines)
    first = (QUANTITY.format(1), MEASURE, EDIBLE.format("leek"), ENTRY.format("leek"), YIELD.format("boiled"))
    other = (QUANTITY.format(2), names[0], EDIBLE.format(names[1]), ENTRY.format(names[1]), YIELD.format(names[2]))
    potassium, mass = drawn(result, first, other)
    for basis, draws in (("recipe", potassium), ("100g", 100 * potassium / mass)):
        row, (low, high) = figure(result, "K", basis), np.quantile(draws, [0.05, 0.95])
        assert (row["low"], row["high"]) == pytest.approx((low, high), rel=0.03)
        assert row["high"] - row["low"] == pytest.approx(high - low, rel=0.05)


def test_one_measure_is_one_error_within_a_recipe_and_another_in_the_next_kitchen():
    weighed = pd.DataFrame([("pot/base/1", "handful", 30.0), ("pot/base/2", "handful", 30.0), ("pan/base/1", "handful", 30.0),
                            ("pan/base/2", "cup", 250.0), ("pan/base/3", "cup", 240.0)], columns=["line_id", "measure_id", "measure_value"])
    weighed = weighed.assign(measure_low=weighed["measure_value"] * 0.8, measure_high=weighed["measure_value"] * 1.2)
    ids = total_inputs.measure_input_id(weighed).tolist()
    assert ids[0] == ids[1] and len(set(ids)) == 4
