"""Total: contributions, sums and intervals per recipe, portion and 100 g.

Top to bottom: settle every line in one outcome; write one contribution per counted
line and component; sum them; propagate the inputs' uncertainty to each sum; derive
energy, salt and available carbohydrate; withhold what rests on an unsettled line.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline import lineage, tables
from pipeline.stages import total_inputs, total_sums, two_routes
from pipeline.stages.total_settle import settle

__all__ = ["contributions", "settle", "total"]

WATER = "WATER"
LEAVES_TOO = ("ALC", "FAT")  # with the water, or off the meat
NO_WATER = 1e-9
MASS = total_sums.MASS


def total(
    settled: pd.DataFrame, weighed: pd.DataFrame, cooked: pd.DataFrame, retentions: pd.DataFrame,
    candidates: pd.DataFrame, variants: pd.DataFrame, recipes: pd.DataFrame, entries: pd.DataFrame,
    values: pd.DataFrame, reference, table: str, disagreements: pd.DataFrame | None = None,
    raw_cooked_pairs: pd.DataFrame | None = None,
) -> dict[str, pd.DataFrame]:
    """Figures with their contributions and inputs.

    ``settled`` comes from :func:`settle`; the other tables from the earlier stages;
    ``reference`` gives components, energy_factors, composition_spread and rules. ``table`` is
    the composition table of lines that do not name theirs; ``disagreements`` is what other
    tables have otherwise for the same foods (:mod:`pipeline.composition.combine`);
    ``raw_cooked_pairs`` names the foods that a second route leads to (:mod:`pipeline.stages.two_routes`).
    Returns ``contributions``, ``inputs``, ``two_routes``, ``figures`` and ``shares`` (the
    largest shares of inputs in a figure's variance). Units: g, mg, ug, kJ, kcal as ``components`` says.
    """
    counted = settled[settled["counted"] & (settled["outcome"] == "accepted")]
    if "table" not in counted:
        counted = counted.assign(table=table)
    parts = contributions(counted, cooked, retentions, values, reference.components)
    spread = total_inputs.composition_spread(values, entries, reference.composition_spread, disagreements)
    routes = two_routes.compared(settled, cooked, retentions, spread, raw_cooked_pairs) if raw_cooked_pairs is not None else None
    leaves = total_inputs.inputs(parts, counted, weighed, cooked, retentions, candidates, recipes, values, reference, spread, routes)
    _keep_known_inputs(parts, leaves)
    uses = total_sums.uses(parts, counted, weighed, cooked, recipes, leaves, routes)
    sums = total_sums.sums(parts, counted, cooked, recipes, variants)
    figures, shares = total_sums.figures(sums, uses, settled, parts, weighed, variants, reference)
    return {
        "contributions": tables.checked(tables.Contributions, parts, "total"),
        "inputs": tables.checked(tables.Inputs, leaves, "total"),
        "two_routes": tables.empty(tables.TwoRoutes) if routes is None else routes,
        "figures": tables.checked(tables.Figures, figures, "total"),
        "shares": shares,
    }


def contributions(
    counted: pd.DataFrame, cooked: pd.DataFrame, retentions: pd.DataFrame, values: pd.DataFrame,
    components: pd.DataFrame,
) -> pd.DataFrame:
    """One row per counted line and component (model Contributions).

    Water is a balance, not a retention: what a food gains or loses in cooking beyond its
    own water is water, but for the alcohol that flew off with it and the fat that dripped
    off, so WATER's factor is 1 + (100 (yield - 1) + alcohol and fat lost) / water, all per
    100 g, and never below 0 (mass balance).
    """
    summed = components[components["component"] != "ENERC"]
    frame = counted[["recipe_id", "variant_id", "line_no", "line_id", "table", "entry_id", "edible_g"]].merge(
        summed[["component", "unit"]], how="cross")
    known = values.loc[values["component"] != "ENERC", ["entry_id", "component", "value", "value_type"]]
    frame = frame.merge(known, on=["entry_id", "component"], how="left")
    frame = frame.rename(columns={"value": "value_per_100g"})
    frame["value_type"] = frame["value_type"].fillna("missing")
    frame = frame.merge(retentions[["line_id", "component", "retention_id", "retention_fraction"]],
                        on=["line_id", "component"], how="left")
    frame["retention_fraction"] = frame["retention_fraction"].fillna(1.0)
    frame["retention_id"] = frame["retention_id"].fillna("")
    frame = frame.merge(cooked[["line_id", "yield_id", "yield_fraction"]], on="line_id", how="left")
    _balance_water(frame)
    frame["amount"] = frame["edible_g"] * frame["value_per_100g"] / 100 * frame["retention_fraction"]
    frame["composition_input"] = total_inputs.composition_input_id(frame)
    frame["match_input"] = "match:" + frame["line_id"] + ":" + frame["component"]
    frame["retention_input"] = np.where(
        frame["retention_id"] == "", "", "retention:" + frame["retention_id"] + ":" + frame["component"])
    is_water = frame["component"] == WATER
    frame.loc[is_water, "retention_input"] = np.where(
        frame.loc[is_water, "yield_id"] == "", "", "yield:" + frame.loc[is_water, "yield_id"])
    ordered = frame[tables.columns(tables.Contributions)]
    return ordered.sort_values(["recipe_id", "variant_id", "line_no", "component"], ignore_index=True)


def _balance_water(frame: pd.DataFrame) -> None:
    """Sets the factor of WATER; less than a billionth of the food's water is rounding, and counts as none."""
    water = (frame["component"] == WATER) & (frame["value_per_100g"] > 0)
    others = frame[frame["component"].isin(LEAVES_TOO)]
    gone = (others["value_per_100g"] * (1 - others["retention_fraction"])).fillna(0.0).groupby(others["line_id"], sort=False).sum()
    here = frame[water]
    change = (here["yield_fraction"].fillna(1.0) - 1) * 100 + here["line_id"].map(gone).astype("float64").fillna(0.0)
    fraction = 1 + change / here["value_per_100g"]
    frame.loc[water, "retention_fraction"] = fraction.where(fraction > NO_WATER, 0.0)


def _keep_known_inputs(parts: pd.DataFrame, leaves: pd.DataFrame) -> None:
    """Empties the ids of inputs that do not exist: no other candidate, no value, no factor."""
    for column in ("composition_input", "match_input", "retention_input"):
        parts[column] = parts[column].where(parts[column].isin(leaves["input_id"]), "")
