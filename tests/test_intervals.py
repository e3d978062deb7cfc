"""The analytic intervals against a seeded simulation of the same inputs.

The propagation is that of JCGM 100:2008, 5.2; the check is the Monte Carlo method of
JCGM 101:2008: every input drawn, every figure recomputed from the draws.
"""

import numpy as np
import pandas as pd
import pytest

import kitchen

DRAWS = 200_000


def simulated(result: dict[str, pd.DataFrame], finished: bool = False) -> dict[str, np.ndarray]:
    """Draws of figures by component: recipe totals, and ``<component>/100g``.

    Written out line by line, apart from the code under test: it reads only the inputs'
    means and standard uncertainties.
    """
    generator = np.random.default_rng(20240229)
    inputs = result["inputs"].set_index("input_id")

    def draw(input_id):
        mean, deviation = inputs.at[input_id, "value"], inputs.at[input_id, "standard_uncertainty"]
        if deviation == 0 or mean == 0:
            return np.full(DRAWS, mean)
        log_variance = np.log1p((deviation / mean) ** 2)
        return generator.lognormal(np.log(mean) - log_variance / 2, np.sqrt(log_variance), DRAWS)

    drawn = {input_id: draw(input_id) for input_id in inputs.index if not input_id.startswith("match:")}
    shift = {}
    for input_id in inputs.index[inputs.index.str.startswith("match:")]:
        shift[input_id] = generator.normal(0, inputs.at[input_id, "standard_uncertainty"], DRAWS)
    grams = {
        1: drawn["quantity:pot/base/1"] * drawn["measure:leek-medium:pot"] * drawn["edible:leek:leek"],
        2: drawn["quantity:pot/base/2"] * 1.0,
        3: drawn["measure:glug:pot"] * drawn["density:oil"],
    }
    cooked = grams[1] * drawn["yield:boiled"] + grams[2] + grams[3]
    if finished:
        cooked = drawn["finished-mass:pot"]
    totals = {}
    for name in ("PROCNT", "FAT", "CHOCDF", "FIBTG", "NA", "K"):
        kept = drawn.get(f"retention:3005:{name}", 1.0)
        leek = drawn[f"composition:test:leek:{name}"]
        oil = drawn.get(f"composition:test:oil:{name}", 0.0)
        first = leek + shift.get(f"match:pot/base/1:{name}", 0.0)
        totals[name] = (grams[1] * first * kept + grams[2] * leek + grams[3] * oil) / 100
    water = drawn["composition:test:leek:WATER"]
    boiled = water + shift.get("match:pot/base/1:WATER", 0.0) + 100 * (drawn["yield:boiled"] - 1)
    totals["WATER"] = (grams[1] * boiled + grams[2] * water) / 100
    totals["NACL"] = totals["NA"] * 2.5 / 1000
    carbohydrate = totals["CHOCDF"] - totals["FIBTG"]
    totals["ENERC"] = 17 * totals["PROCNT"] + 37 * totals["FAT"] + 17 * carbohydrate + 8 * totals["FIBTG"]
    totals.update({f"{name}/100g": 100 * total / cooked for name, total in list(totals.items())})
    return totals


def figure(result, component, basis="recipe", unit=None):
    found = result["figures"].query("component == @component and basis == @basis")
    return (found if unit is None else found[found["unit"] == unit]).iloc[0]


@pytest.mark.parametrize("component", ["K", "NA", "PROCNT", "FAT", "FIBTG", "NACL"])
@pytest.mark.parametrize("finished", [None, 240.0])
def test_intervals_agree_with_simulation(component, finished):
    result = kitchen.totals(finished_mass_g=finished)
    draws = simulated(result, finished is not None)
    for basis, key in (("recipe", component), ("100g", f"{component}/100g")):
        row = figure(result, component, basis)
        low, high = np.quantile(draws[key], [0.05, 0.95])
        assert row["low"] == pytest.approx(low, rel=0.05)
        assert row["high"] == pytest.approx(high, rel=0.05)
        assert row["value"] == pytest.approx(draws[key].mean(), rel=0.03)


def test_energy_interval_agrees_with_simulation():
    result = kitchen.totals()
    row = figure(result, "ENERC", unit="kJ")
    low, high = np.quantile(simulated(result)["ENERC"], [0.05, 0.95])
    assert (row["low"], row["high"]) == pytest.approx((low, high), rel=0.05)


def test_the_water_balance_agrees_with_simulation():
    result = kitchen.totals()
    row = figure(result, "WATER")
    low, high = np.quantile(simulated(result)["WATER"], [0.05, 0.95])
    assert (row["low"], row["high"]) == pytest.approx((low, high), rel=0.05)


def test_water_taken_up_does_not_multiply_the_error_of_the_dry_food():
    """Dry pasta: its own water is uncertain by a few grams, however much it takes up."""
    lines = kitchen.lines()
    lines.loc[0, ["yield_fraction", "yield_low", "yield_high"]] = [3.0, 3.0, 3.0]
    lines.loc[0, "cooked_g"] = lines.loc[0, "edible_g"] * 3
    shares = kitchen.totals(lines)["shares"].query("component == 'WATER'").set_index("input_id")["share"]
    assert shares["measure:leek-medium:pot"] > 5 * shares["composition:test:leek:WATER"]


def test_the_same_entry_twice_is_one_error_not_two():
    """Leek stands on two lines: were its errors independent, the interval would be narrower."""
    result = kitchen.totals()
    apart = kitchen.lines()
    apart.loc[apart["line_no"] == 2, "entry_id"] = "other"
    twin = kitchen.values()
    twin = pd.concat([twin, twin[twin["entry_id"] == "leek"].assign(entry_id="other")], ignore_index=True)
    independent = kitchen.totals(apart, twin)
    shared_row, apart_row = figure(result, "K"), figure(independent, "K")
    assert shared_row["value"] == pytest.approx(apart_row["value"])
    assert shared_row["high"] - shared_row["low"] > 1.01 * (apart_row["high"] - apart_row["low"])


def test_shares_sum_to_at_most_one_and_name_the_glug_first():
    shares = kitchen.totals()["shares"].query("component == 'FAT'")
    assert shares["share"].sum() <= 1 + 1e-9
    assert shares.iloc[0]["input_id"] == "measure:glug:pot"
