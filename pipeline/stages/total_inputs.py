"""The leaves of the propagation: every uncertain input of a figure, with its source.

Each input has a value, a 90 % interval and a standard uncertainty in the value's unit.
Its id says what is shared: the composition of an entry is one input wherever that
entry is used, a retention factor is one wherever that factor is used.

How a composition value enters a sum and its interval, by its value type (u: standard
uncertainty; the kinds themselves are explained in :mod:`pipeline.composition.common`):

====================  ===============  ==================================================
value type            adds             u of one sample of the food
====================  ===============  ==================================================
analysed, calculated  the value        of the n samples: standard error x sqrt(n), and the spread
                                       of the component in its food group as GROUP_COUNTS further
                                       samples; without a standard error the group's alone
imputed, borrowed     the value        the same, but at least 1.5 x the spread of the group
zero                  exactly 0        0
trace,                half the limit   limit / sqrt(12): evenly spread between 0 and the
below-detection                        limit (JCGM 100:2008, 4.3.7)
missing               nothing          none; the figure's coverage is the lower for it
====================  ===============  ==================================================

Where another composition table has another value b for the same food than the value a in
use, half the difference is a further uncertainty: u2 = u(spread)2 + ((a - b) / 2)2, with the
b that is farthest from a. Two values that are equally believable have the standard
deviation (a - b) / 2 about their middle.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline import lineage, tables
from pipeline.composition.common import DOUBT_FACTOR, WITH_LIMIT
from pipeline.stages import two_routes

COLUMNS = tables.columns(tables.Inputs)
# For so many samples the spread of the food group stands beside a food's own. Chosen on the tuning half of the benchmark
# measured_foods: with it the interval score falls, most for potatoes, whose entries of three samples seemed surer than they are.
GROUP_COUNTS = 2
# Values that another food gave, or an estimate: the food's own spread says too little.
DOUBTFUL = ("imputed", "borrowed")
# The ends of the central 90 % of an even spread between 0 and the limit, in parts of its middle.
EVEN_90 = (0.1, 1.9)
EVENLY = "even over its range"
OF_SAMPLES = f"standard error x sqrt(n), and as {GROUP_COUNTS} samples more the "


def inputs(parts, counted, weighed, cooked, retentions, candidates, recipes, values, reference, spread, routes=None) -> pd.DataFrame:
    """All inputs (model Inputs), sorted by id; arguments as in :func:`pipeline.stages.total.total`.

    ``spread`` is what :func:`composition_spread` gives, ``routes`` what :func:`pipeline.stages.two_routes.compared` does.
    """
    frames = [
        mass_inputs(counted, weighed, reference),
        composition_inputs(parts, counted, spread),
        match_inputs(parts, counted, candidates, values),
        retention_inputs(parts, retentions, reference.retention),
        yield_inputs(counted, cooked, reference.yields),
        finished_inputs(recipes, reference),
        tables.empty(tables.Inputs) if routes is None else two_routes.inputs(routes),
    ]
    filled = [part for part in frames if len(part)]
    if not filled:
        return tables.empty(tables.Inputs)
    frame = pd.concat(filled, ignore_index=True)[COLUMNS]
    return frame.drop_duplicates("input_id").sort_values("input_id", ignore_index=True)


def composition_spread(
    values: pd.DataFrame, entries: pd.DataFrame, spreads: pd.DataFrame, disagreements: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Values with the spread of a single sample: ``uncertainty`` and ``basis``.

    With n >= 2 and a standard error: standard error x sqrt(n), because the cook buys one
    sample, not the mean of all, and the coefficient of variation of the component in the
    food group (of a substance such as salt, by its standard), else in any group, as
    GROUP_COUNTS further samples. Otherwise that coefficient alone. The rules by value type, and what ``disagreements`` add, stand at
    the head of this module.
    """
    frame = values[values["component"] != "ENERC"].merge(entries[["entry_id", "food_group", "cooking_class"]], on="entry_id", how="left")
    of_substance, of_group = (_coefficients(spreads, frame, column) for column in ("cooking_class", "food_group"))
    anywhere = spreads[(spreads["food_group"] == "") & (spreads["cooking_class"] == "")].set_index("component")["coefficient_of_variation"]
    coefficient = of_substance.fillna(of_group).fillna(frame["component"].map(anywhere)).fillna(anywhere.max())
    sampled = (frame["n"] > 1) & (frame["standard_error"] > 0)
    ranged = frame["value_type"].isin(WITH_LIMIT)
    doubtful = frame["value_type"].isin(DOUBTFUL)
    known, further = coefficient * frame["value"], frame["n"] - 1
    variance = frame["standard_error"] ** 2 * frame["n"]
    of_samples = np.sqrt((GROUP_COUNTS * known ** 2 + further * variance) / (GROUP_COUNTS + further))
    widened = doubtful & (~sampled | (of_samples < DOUBT_FACTOR * known))
    frame["uncertainty"] = np.select(
        [ranged, widened, sampled], [frame["value"] / np.sqrt(3), DOUBT_FACTOR * known, of_samples], known)
    group = np.select([of_substance.notna(), of_group.notna()], ["spread of the substance", "spread of the food group"], "spread of the component")
    frame["basis"] = np.select(
        [ranged, widened, sampled], [EVENLY, pd.Series(group).radd(f"{DOUBT_FACTOR:g} x the "), pd.Series(group).radd(OF_SAMPLES)], group)
    if disagreements is not None and len(disagreements):
        _widen(frame, disagreements)
    return frame


def _coefficients(spreads: pd.DataFrame, frame: pd.DataFrame, column: str) -> pd.Series:
    """The coefficient of variation of each value's component in its ``column``; null where there is no row."""
    rows = spreads[spreads[column] != ""].set_index(["component", column])["coefficient_of_variation"]
    return pd.Series(rows.reindex(pd.MultiIndex.from_frame(frame[["component", column]])).to_numpy(), index=frame.index)


def _widen(frame: pd.DataFrame, disagreements: pd.DataFrame) -> None:
    """Adds half the difference from the farthest other value of the same food, in squares."""
    key = ["entry_id", "component", "unit"]
    apart = disagreements.assign(half=(disagreements["value_a"] - disagreements["value_b"]).abs() / 2)
    ordered = apart.sort_values([*key, "half", "table_b", "entry_b"], ascending=[True] * 3 + [False, True, True], kind="stable")
    farthest = ordered.drop_duplicates(key).set_index(key)
    at = pd.MultiIndex.from_frame(frame[key])
    half = pd.Series(farthest["half"].reindex(at).to_numpy(), index=frame.index)
    other = pd.Series((farthest["table_b"] + " " + farthest["entry_b"]).reindex(at).to_numpy(), index=frame.index)
    differs = half.notna()
    frame["uncertainty"] = np.sqrt(frame["uncertainty"] ** 2 + half.fillna(0.0) ** 2).where(differs, frame["uncertainty"])
    frame["basis"] = (frame["basis"] + ", and half the difference from " + other).where(differs, frame["basis"])


def _frame(rows: dict) -> pd.DataFrame:
    return pd.DataFrame(rows)[COLUMNS]


def mass_inputs(counted: pd.DataFrame, weighed: pd.DataFrame, reference) -> pd.DataFrame:
    """Quantity, measure, density and edible fraction of every counted line."""
    here = weighed.assign(measure_input=measure_input_id(weighed)).merge(counted[["line_id", "entry_id"]], on="line_id")
    quantity = _ranged(here, "quantity:" + here["line_id"], "quantity", ("quantity", "quantity_low", "quantity_high"), "1",
                       "common-practice", here["line_id"])
    measured = here[here["measure_value"].notna()]
    ruled = reference.amount_rules.assign(measure_id="rule:" + reference.amount_rules["rule_id"])
    sources = pd.concat([reference.measures, ruled]).set_index("measure_id")[["source_id", "spread_source_id"]]
    first = measured["measure_id"].str.split("+").str[0]
    measure = _ranged(measured, measured["measure_input"], "measure",
                      ("measure_value", "measure_low", "measure_high"), measured["measure_unit"],
                      first.map(sources["source_id"]).fillna(_unit_source(measured["measure_id"])), measured["measure_id"],
                      first.map(sources["spread_source_id"]))
    dense = here[here["density_id"] != ""]
    density_sources = reference.densities.set_index("density_id")["source_id"]
    density = _ranged(dense, "density:" + dense["density_id"], "density",
                      ("density_g_per_ml", "density_low", "density_high"), "g/ml",
                      dense["density_id"].map(density_sources).fillna("common-practice"), dense["density_id"])
    trimmed = here[here["edible_id"] != ""]
    edible_sources = reference.edible_portions.set_index("edible_id")["source_id"]
    edible = _ranged(trimmed, edible_input_id(trimmed), "edible",
                     ("edible_fraction", "edible_low", "edible_high"), "1",
                     trimmed["edible_id"].map(edible_sources).fillna("usda-sr26"), trimmed["edible_id"])
    return pd.concat([quantity, measure, density, edible], ignore_index=True)


def _unit_source(measure_ids: pd.Series) -> pd.Series:
    """The source of a kitchen unit's own size: metric spoons and cups are a custom, the other units are defined."""
    custom = measure_ids.str.contains(r"^unit:(?:uk|metric)_\w*(?:spoon|cup)")
    return custom.map({True: "kitchen-spoons", False: "kitchen-units"})


def measure_input_id(weighed: pd.DataFrame) -> pd.Series:
    """A measure's error is one within a recipe: the same cook's spoon, and onions from the same bag.

    Another kitchen's handful is another error. ``weighed`` has all lines of its recipes: where a recipe
    uses one measure with different numbers (another trimming, a cup of another size), each line has its own.
    """
    recipe = lineage.recipe_of(weighed["line_id"])
    numbers = weighed.groupby([recipe, weighed["measure_id"]])[["measure_value", "measure_low", "measure_high"]].transform("nunique")
    one = (numbers <= 1).all(axis=1)
    return "measure:" + weighed["measure_id"] + ":" + recipe.where(one, weighed["line_id"])


def edible_input_id(frame: pd.DataFrame) -> pd.Series:
    """An edible fraction's error is shared by all lines of one entry."""
    return "edible:" + frame["edible_id"] + ":" + frame["entry_id"]


def _ranged(frame, ids, kind, names, unit, source_id, source_row, spread_source_id=None) -> pd.DataFrame:
    """Rows of inputs from columns of ``frame``; where another source than the value's gives the interval, ``basis`` names it."""
    value, low, high = (frame[name] for name in names)
    basis = pd.Series("90 % interval", index=frame.index)
    if spread_source_id is not None:
        elsewhere = spread_source_id.notna() & (spread_source_id != "") & (spread_source_id != source_id)
        basis = (basis + ", its width from " + spread_source_id.astype("str")).where(elsewhere, basis)
    return _frame({
        "input_id": ids, "kind": kind, "value": value, "low": low, "high": high,
        "standard_uncertainty": lineage.standard_uncertainty(low, high), "unit": unit, "source_id": source_id,
        "source_row": source_row, "basis": basis,
    })


def composition_input_id(frame: pd.DataFrame) -> pd.Series:
    """The composition of an entry is one input per component, wherever the entry is used."""
    return "composition:" + frame["table"] + ":" + frame["entry_id"] + ":" + frame["component"]


def composition_inputs(parts: pd.DataFrame, counted: pd.DataFrame, spread: pd.DataFrame) -> pd.DataFrame:
    """One input per composition value that a contribution uses."""
    used = spread.merge(counted[["table", "entry_id"]].drop_duplicates(), on="entry_id")
    used["input_id"] = composition_input_id(used)
    used = used[used["input_id"].isin(parts["composition_input"]) & used["value"].notna()]
    low, high = lineage.figure_interval(used["value"], used["uncertainty"])
    even = used["basis"] == EVENLY
    low, high = np.where(even, EVEN_90[0] * used["value"], low), np.where(even, EVEN_90[1] * used["value"], high)
    return _frame({
        "input_id": used["input_id"], "kind": "composition", "value": used["value"], "low": low, "high": high,
        "standard_uncertainty": used["uncertainty"], "unit": used["unit"] + "/100 g", "source_id": used["source_id"],
        "source_row": used["source_row"], "basis": used["basis"],
    })


def match_inputs(parts: pd.DataFrame, counted: pd.DataFrame, candidates: pd.DataFrame, values: pd.DataFrame) -> pd.DataFrame:
    """What the other candidates would change: u2 = sum of p_j (c_j - c_1)2 over the others.

    ``p_j`` is the probability of candidate j, ``c_j`` its value; a candidate whose value
    is missing says nothing. A decided match has no other candidates and no such input.
    """
    others = candidates.merge(counted[["line_id", "entry_id"]], on="line_id", suffixes=("", "_accepted"))
    others = others[(others["entry_id"] != others["entry_id_accepted"]) & (others["probability"] > 0)]
    if others.empty:
        return pd.DataFrame(columns=COLUMNS)
    known = values.loc[values["component"] != "ENERC", ["entry_id", "component", "value"]]
    others = others[["line_id", "entry_id", "probability"]].merge(known, on="entry_id")
    own = parts[["line_id", "component", "value_per_100g", "match_input", "unit"]].dropna(subset=["value_per_100g"])
    joined = others.merge(own, on=["line_id", "component"]).dropna(subset=["value"])
    joined["square"] = joined["probability"] * (joined["value"] - joined["value_per_100g"]) ** 2
    grouped = joined.groupby("match_input", sort=True).agg(
        square=("square", "sum"), value=("value_per_100g", "first"), unit=("unit", "first"), line_id=("line_id", "first"))
    grouped = grouped[grouped["square"] > 0].reset_index()
    uncertainty = np.sqrt(grouped["square"])
    low, high = lineage.figure_interval(grouped["value"], uncertainty)
    return _frame({
        "input_id": grouped["match_input"], "kind": "match", "value": grouped["value"], "low": low, "high": high,
        "standard_uncertainty": uncertainty, "unit": grouped["unit"] + "/100 g", "source_id": "potash-candidates",
        "source_row": grouped["line_id"], "basis": "spread of the other candidates",
    })


def retention_inputs(parts: pd.DataFrame, retentions: pd.DataFrame, factors: pd.DataFrame) -> pd.DataFrame:
    """One input per retention factor and component in use."""
    used = retentions.drop_duplicates(["retention_id", "component"])
    ids = "retention:" + used["retention_id"] + ":" + used["component"]
    used = used[(used["retention_id"] != "") & ids.isin(parts["retention_input"])]
    named = retentions.assign(named=retentions["retention_id"] + ":" + retentions["component"])
    _one_value_per_id(named[named["retention_id"] != ""], "named", "retention_fraction")
    sources = factors.set_index(factors["retention_code"] + ":" + factors["component"])[["source_id", "spread_source_id"]]
    first = _first_row(used["retention_id"]) + ":" + used["component"]
    return _ranged(used, "retention:" + used["retention_id"] + ":" + used["component"], "retention",
                   ("retention_fraction", "retention_low", "retention_high"), "1",
                   first.map(sources["source_id"]).fillna("mass-balance"), used["retention_id"], first.map(sources["spread_source_id"]))


def _first_row(ids: pd.Series) -> pd.Series:
    """The reference row of the first factor of a chain ("a@18min+b" -> "a", "a|at-least:0.9" -> "a"); its source stands for the chain."""
    return ids.str.extract(r"^([^+@|]*)", expand=False)


def _one_value_per_id(frame: pd.DataFrame, id_column: str, value_column: str) -> None:
    """One id must stand for one number: the propagation treats it as one error.

    Raises ValueError naming the id; that is a defect of the cook stage.
    """
    different = frame.groupby(id_column)[value_column].nunique()
    if (different > 1).any():
        raise ValueError(f"{id_column} {different[different > 1].index[0]!r} has several values of {value_column}")


def yield_inputs(counted: pd.DataFrame, cooked: pd.DataFrame, yields: pd.DataFrame) -> pd.DataFrame:
    """One input per yield factor in use."""
    used = cooked[cooked["line_id"].isin(counted["line_id"]) & (cooked["yield_id"] != "")].drop_duplicates("yield_id")
    _one_value_per_id(cooked[cooked["yield_id"] != ""], "yield_id", "yield_fraction")
    sources = yields.set_index("yield_id")["source_id"]
    return _ranged(used, "yield:" + used["yield_id"], "yield", ("yield_fraction", "yield_low", "yield_high"), "1",
                   _first_row(used["yield_id"]).map(sources).fillna("common-practice"), used["yield_id"])


def finished_inputs(recipes: pd.DataFrame, reference) -> pd.DataFrame:
    """The finished weight where the kitchen wrote one."""
    written = recipes[recipes["finished_mass_g"].notna()]
    half = reference.rule("finished_mass_relative")
    scaled = pd.DataFrame({"value": written["finished_mass_g"], "low": written["finished_mass_g"] * (1 - half),
                           "high": written["finished_mass_g"] * (1 + half)})
    return _ranged(scaled, finished_input_id(written), "finished-mass", ("value", "low", "high"), "g", "common-practice",
                   written["source_file"])


def finished_input_id(recipes: pd.DataFrame) -> pd.Series:
    """The finished weight is one input per recipe."""
    return "finished-mass:" + recipes["recipe_id"]
