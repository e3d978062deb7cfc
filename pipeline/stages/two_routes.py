"""Two routes to one amount: the raw entry through cooking factors, and the cooked entry by the cooked weight.

Where the composition table has a food both raw and cooked in the manner of a line, what a
line keeps can be computed twice, per 100 g of the raw food:

    by retention      raw value x retention
    by cooked entry   cooked value x yield

Each has the interval of its factor and of the table's mean (the standard error: the spread from
one potato to the next is the same for both). The figures use the first route, because it knows
the line's own method, minutes and pieces. The second is used for the interval: where it lies
beyond the reach of the first, a further uncertainty takes the interval just as far (JCGM
100:2008, 4.3.4: half of a 90 % interval over 1.6449; first order), so that it covers both. Within
that reach nothing is added: factor and value have been counted already. A measure that another
one contradicts is treated in the same way (:mod:`pipeline.stages.weigh_lookup`).

The value itself never moves, least of all to the lower route: neither route is known to be
right, and potassium that comes out too low is what can hurt. It widens both ways; where the
cooked entry says more, the high end reaches what it says.

A line that was boiled and drained, then browned, is compared at the draining: what follows is
dry and keeps minerals. There, and where a dry food took up a liquid that has a line of its
own, the yield comes from the solids of the pair, of which water poured off takes a part.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline import lineage, tables
from pipeline.stages.cook_factors import MINERALS

# Water is a balance of its own, and energy is computed from the others.
WITHOUT_FACTOR = ("WATER", "ENERC")
# After the step that is compared, these take no mineral away.
DRY = ("bake", "grill", "fry", "stir-fry", "reheat", "microwave", "steam", "raw")
# What tap water has a good deal of: the cooked entry has it from its water, which in the recipe has a line of its own.
OF_WATER = ("CA", "MG", "NA")
SOLIDS_LEFT = 0.75  # boiling water dissolves up to a quarter of the solids (sweet roots; from memory)
ALREADY_COOKED, ABSORBED = "already-cooked", "absorbed"
FROM_SOLIDS = "solids"
# How the two routes stand to each other.
WITHIN, WIDENED, APART = tables.AGREEMENTS
RETENTION = ["retention_id", "retention_fraction", "retention_low", "retention_high"]
YIELD = ["yield_id", "yield_fraction", "yield_low", "yield_high"]
LINE = ["recipe_id", "variant_id", "line_no", "line_id", "entry_id"]
ROUNDING = 1e-9


def compared(settled: pd.DataFrame, cooked: pd.DataFrame, retentions: pd.DataFrame, values: pd.DataFrame,
             raw_cooked_pairs: pd.DataFrame) -> pd.DataFrame:
    """Both routes of every counted line that has a pair, by component (model TwoRoutes).

    ``settled``, ``cooked``, ``retentions``, ``values``: the models of those names; values may
    have the ``uncertainty`` of one sample (:func:`pipeline.stages.total_inputs.composition_spread`),
    else they count as exact. ``raw_cooked_pairs``: the reference file. Amounts are per 100 g of the raw edible portion,
    in the component's unit; ``added_uncertainty`` is what the disagreement adds to the
    standard uncertainty. A component that either entry has no value of has no row. Raises nothing.
    """
    lines = settled.loc[settled["counted"] & (settled["outcome"] == "accepted"), LINE].merge(_first_step(cooked), on="line_id")
    pairs = raw_cooked_pairs.assign(method=_in_water(raw_cooked_pairs["method"]))
    lines = lines.merge(pairs, left_on=["entry_id", "method", "liquid"], right_on=["raw_entry_id", "method", "liquid"])
    known = _means(values)
    both = lines.merge(known.add_prefix("raw_"), on="raw_entry_id").rename(columns={"raw_component": "component", "raw_unit": "unit"})
    both = both.merge(known.add_prefix("cooked_"), left_on=["cooked_entry_id", "component", "unit"],
                      right_on=["cooked_entry_id", "cooked_component", "cooked_unit"])
    both = both.merge(retentions[["line_id", "component", *RETENTION]], on=["line_id", "component"], how="left")
    both["retention_id"] = both["retention_id"].fillna("")
    both[RETENTION[1:]] = both[RETENTION[1:]].fillna(1.0)  # no factor: all of it stays on the plate
    _yield_from_solids(both, values)
    of_others = both["later"] & ~both["component"].isin(MINERALS) | (both["cook_reason"] == ABSORBED) & both["component"].isin(OF_WATER)
    both = both[both["yield_fraction"].notna() & ~of_others].copy()
    _routes(both)
    _agreement(both)
    both = both.sort_values(["recipe_id", "variant_id", "line_no", "component", "cooked_entry_id"], ignore_index=True)
    return tables.checked(tables.TwoRoutes, both[tables.columns(tables.TwoRoutes)], "total")


def inputs(routes: pd.DataFrame) -> pd.DataFrame:
    """What the disagreements add, as rows of model Inputs: one per pair, factors and component, shared by all lines that use them."""
    used = routes[routes["added_uncertainty"] > 0].drop_duplicates("routes_input")
    low, high = lineage.figure_interval(used["by_retention"], used["added_uncertainty"])
    return pd.DataFrame({
        "input_id": used["routes_input"], "kind": "routes", "value": used["by_retention"], "low": low, "high": high,
        "standard_uncertainty": used["added_uncertainty"], "unit": used["unit"] + "/100 g", "source_id": used["source_id"],
        "source_row": used["source_row"], "basis": "as far as the cooked entry " + used["cooked_entry_id"]})


def _first_step(cooked: pd.DataFrame) -> pd.DataFrame:
    """The method and liquid to compare; ``later``: dry steps followed a draining. Other chains are left out."""
    steps = [chain.split(" > ") for chain in cooked["chain"]]
    later = pd.Series([len(chain) > 1 for chain in steps], index=cooked.index, dtype=bool)
    dry = pd.Series([chain[0].endswith(":drained") and all(step in DRY for step in chain[1:]) for chain in steps],
                    index=cooked.index, dtype=bool)
    first = pd.Series([chain[0].partition(":")[0] for chain in steps], index=cooked.index, dtype="str")
    frame = cooked[["line_id", "cook_reason", *YIELD]].assign(
        later=later, method=_in_water(cooked["method"].where(~later, first)), liquid=cooked["liquid"].where(~later, "drained"))
    return frame[(~later | dry) & (cooked["cook_reason"] != ALREADY_COOKED)]


def _in_water(method: pd.Series) -> pd.Series:
    """Simmering is boiling to a food: tables have one entry for both."""
    return method.replace({"simmer": "boil"})


def _yield_from_solids(both: pd.DataFrame, values: pd.DataFrame) -> None:
    """Where the line's own yield is not that of the step: solids are conserved but for what poured-off water dissolves."""
    water = values[(values["component"] == "WATER") & values["value"].notna()].set_index("entry_id")["value"]
    raw, ready = (both[name].map(water).astype("float64") for name in ("raw_entry_id", "cooked_entry_id"))
    ratio = (100 - raw) / (100 - ready).where(ready < 100)
    absorbed = both["cook_reason"] == ABSORBED
    conserved = absorbed | both["later"].astype(bool)
    least = pd.Series(np.where(absorbed, 1.0, SOLIDS_LEFT), index=both.index)
    for column, share in (("yield_fraction", 1.0), ("yield_low", least), ("yield_high", 1.0)):
        both[column] = both[column].where(~conserved, ratio * share)
    both["yield_id"] = both["yield_id"].where(~conserved, FROM_SOLIDS)


def _means(values: pd.DataFrame) -> pd.DataFrame:
    """The known values with the standard error of each as a mean: that of one sample over the root of how many there were."""
    known = values[values["value"].notna() & ~values["component"].isin(WITHOUT_FACTOR)]
    spread = known["uncertainty"] if "uncertainty" in known else 0.0
    error = spread / np.sqrt(known["n"].fillna(1.0).clip(lower=1.0))
    return known[["entry_id", "component", "unit", "value"]].assign(error=error)


def _routes(both: pd.DataFrame) -> None:
    """The amount by each route with its interval; half-widths of factor and mean add in quadrature (JCGM 100:2008, 5.1)."""
    for name, value, factor in (("by_retention", "raw", "retention"), ("by_cooked", "cooked", "yield")):
        amount = both[value + "_value"] * both[factor + "_fraction"]
        mean = lineage.Z90 * both[value + "_error"] * both[factor + "_fraction"]
        below, above = (both[value + "_value"] * (both[factor + end] - both[factor + "_fraction"]) for end in ("_low", "_high"))
        both[name] = amount
        both[name + "_low"] = (amount - np.hypot(below, mean)).clip(lower=0.0)
        both[name + "_high"] = amount + np.hypot(above, mean)


def _agreement(both: pd.DataFrame) -> None:
    """How far the routes are apart, and what that adds to the uncertainty of the first."""
    apart = (both["by_cooked"] - both["by_retention"]).abs()
    middle = (both["by_cooked"] + both["by_retention"]) / 2
    both["relative_difference"] = (apart / middle.where(middle > 0)).fillna(0.0)
    own = np.hypot(both["raw_value"] * lineage.standard_uncertainty(both["retention_low"], both["retention_high"]),
                   both["raw_error"] * both["retention_fraction"])
    beyond = apart > lineage.Z90 * own * (1 + ROUNDING)
    both["added_uncertainty"] = np.sqrt(((apart / lineage.Z90) ** 2 - own ** 2).clip(lower=0.0)).where(beyond, 0.0)
    disjoint = (both["by_retention_low"] > both["by_cooked_high"]) | (both["by_cooked_low"] > both["by_retention_high"])
    both["agreement"] = np.select([disjoint, beyond], [APART, WIDENED], WITHIN)
    named = ["routes:" + both["raw_entry_id"], both["cooked_entry_id"], both["yield_id"], both["retention_id"], both["component"]]
    both["routes_input"] = named[0].str.cat(named[1:], sep=":").where(both["added_uncertainty"] > 0, "")
