"""Sums, their intervals and their standing: from contributions and inputs to figures."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline import lineage, tables
from pipeline.combinations import combinations

# The cooked weight of the dish, summed and propagated beside the components.
MASS = "MASS"
WATER = "WATER"
KEY = ["recipe_id", "variant_id"]
SHARES_KEPT = 6
# Measures that a rule of reference/amount_rules.csv supplied, because the line gives no amount.
RULED = "rule:"
NAMED_LINES = 3


def uses(parts, counted, weighed, cooked, recipes, leaves, routes=None) -> pd.DataFrame:
    """How each summand depends on each input; ``routes`` is a table of model TwoRoutes.

    Columns recipe_id, variant_id, component (or ``MASS``), input_id, effect: the change
    of the summand for one standard uncertainty of the input, in the summand's unit.
    """
    uncertainty = leaves.set_index("input_id")["standard_uncertainty"]
    value = leaves.set_index("input_id")["value"]
    weight = cooked_weight(counted, cooked)
    mass = _mass_inputs_by_line(counted, weighed)
    summands = pd.concat([
        parts.dropna(subset=["amount"])[[*KEY, "line_id", "component", "amount"]],
        weight.assign(component=MASS, amount=weight["cooked_g"])[[*KEY, "line_id", "component", "amount"]],
    ], ignore_index=True)
    by_mass = summands.merge(mass, on="line_id")
    relative = (uncertainty / value.where(value > 0)).fillna(0.0)
    by_mass["effect"] = by_mass["amount"] * _of(relative, by_mass["input_id"])
    known = parts.dropna(subset=["amount"])
    is_water = known["component"] == WATER
    # Water is a balance, edible_g x (value / 100 + yield - 1): the yield is no factor of the food's own water,
    # and water that the balance takes to nothing (or that is not there) hangs from neither.
    balanced = is_water & (known["amount"] > 0)
    per_unit = known["edible_g"] / 100 * known["retention_fraction"].where(~is_water, balanced.astype("float64"))
    by_composition = known[[*KEY, "component"]].assign(
        input_id=known["composition_input"], effect=per_unit * _of(uncertainty, known["composition_input"]))
    by_match = known[[*KEY, "component"]].assign(
        input_id=known["match_input"], effect=per_unit * _of(uncertainty, known["match_input"]))
    per_factor = np.where(is_water, known["edible_g"].where(balanced, 0.0), known["edible_g"] * known["value_per_100g"] / 100)
    by_retention = known[[*KEY, "component"]].assign(
        input_id=known["retention_input"], effect=per_factor * _of(uncertainty, known["retention_input"]))
    by_yield = weight[KEY].assign(
        component=MASS, input_id=weight["yield_input"], effect=weight["edible_g"] * _of(uncertainty, weight["yield_input"]))
    frame = pd.concat([by_mass[[*KEY, "component", "input_id", "effect"]], by_composition, by_match, by_retention, by_yield,
                       _by_routes(known, routes)], ignore_index=True)
    frame = frame[frame["effect"].fillna(0) != 0]
    return _with_finished_weight(frame, recipes, uncertainty)


def _by_routes(known: pd.DataFrame, routes: pd.DataFrame | None) -> pd.DataFrame:
    """What the two routes to an amount leave open between them."""
    if routes is None or routes.empty:
        return pd.DataFrame(columns=[*KEY, "component", "input_id", "effect"]).astype({"effect": "float64"})
    open_ = routes.loc[routes["added_uncertainty"] > 0, ["line_id", "component", "routes_input", "added_uncertainty"]]
    frame = known.merge(open_, on=["line_id", "component"])
    return frame[[*KEY, "component"]].assign(input_id=frame["routes_input"], effect=frame["edible_g"] / 100 * frame["added_uncertainty"])


def _of(numbers: pd.Series, ids: pd.Series) -> pd.Series:
    """The number of each id; a number column even where there is no row at all."""
    return ids.map(numbers).astype("float64")


def cooked_weight(counted: pd.DataFrame, cooked: pd.DataFrame) -> pd.DataFrame:
    """Cooked mass and yield input of every counted line."""
    frame = counted[[*KEY, "line_id", "edible_g", "cooked_g"]].merge(cooked[["line_id", "yield_id"]], on="line_id")
    frame["yield_input"] = np.where(frame["yield_id"] == "", "", "yield:" + frame["yield_id"])
    return frame


def _mass_inputs_by_line(counted: pd.DataFrame, weighed: pd.DataFrame) -> pd.DataFrame:
    from pipeline.stages.total_inputs import edible_input_id, measure_input_id

    here = weighed.assign(measure_input=measure_input_id(weighed)).merge(counted[["line_id", "entry_id"]], on="line_id")
    ids = [("quantity:" + here["line_id"], here["quantity"].notna()),
           (here["measure_input"], here["measure_value"].notna()),
           ("density:" + here["density_id"], here["density_id"] != ""),
           (edible_input_id(here), here["edible_id"] != "")]
    return pd.concat([pd.DataFrame({"line_id": here["line_id"], "input_id": names})[applies] for names, applies in ids],
                     ignore_index=True)


def _with_finished_weight(frame: pd.DataFrame, recipes: pd.DataFrame, uncertainty: pd.Series) -> pd.DataFrame:
    """Where the kitchen weighed the finished dish, that weight replaces the predicted one (base only).

    What it is lighter than predicted is water that left, and the other way round: the
    uncertainty of WATER changes by that of the finished less the predicted weight.
    """
    written = recipes[recipes["finished_mass_g"].notna()]
    replaced = (frame["component"] == MASS) & (frame["variant_id"] == "base") & frame["recipe_id"].isin(written["recipe_id"])
    ids = "finished-mass:" + written["recipe_id"]
    rows = pd.DataFrame({"recipe_id": written["recipe_id"], "variant_id": "base", "component": MASS, "input_id": ids,
                         "effect": ids.map(uncertainty).astype("float64")})
    balance = [frame[replaced].assign(component=WATER, effect=-frame.loc[replaced, "effect"]), rows.assign(component=WATER)]
    return pd.concat([frame[~replaced], rows, *balance], ignore_index=True)


def sums(parts, counted, cooked, recipes, variants) -> pd.DataFrame:
    """Totals per variant and component: ``value``, ``coverage`` (share of the edible mass
    whose value is known) and ``confidence`` (of the lines, weighted by what they add)."""
    frame = parts.merge(counted[["line_id", "confidence"]], on="line_id")
    frame["known_g"] = frame["edible_g"].where(frame["amount"].notna(), 0.0)
    frame["sure_amount"] = frame["amount"].fillna(0.0) * frame["confidence"]
    frame["sure_g"] = frame["edible_g"] * frame["confidence"]
    total = frame.groupby([*KEY, "component"], sort=True).agg(
        value=("amount", "sum"), edible_g=("edible_g", "sum"), known_g=("known_g", "sum"),
        sure_amount=("sure_amount", "sum"), sure_g=("sure_g", "sum")).reset_index()
    total["coverage"] = np.where(total["edible_g"] > 0, total["known_g"] / total["edible_g"].where(total["edible_g"] > 0), 0.0)
    by_amount = total["sure_amount"] / total["value"].where(total["value"] > 0)
    by_mass = total["sure_g"] / total["edible_g"].where(total["edible_g"] > 0)
    total["confidence"] = by_amount.fillna(by_mass).fillna(0.0) * total["coverage"]
    mass = cooked_weight(counted, cooked).groupby(KEY, sort=True)["cooked_g"].sum().reset_index()
    mass = mass.merge(recipes[["recipe_id", "finished_mass_g"]], on="recipe_id")
    weighed = (mass["variant_id"] == "base") & mass["finished_mass_g"].notna()
    mass["mass_g"] = mass["finished_mass_g"].where(weighed, mass["cooked_g"])
    total = total.merge(mass[[*KEY, "mass_g", "cooked_g"]], on=KEY, how="left")
    water = total["component"] == WATER
    total.loc[water, "value"] += total.loc[water, "mass_g"] - total.loc[water, "cooked_g"]
    return total[[*KEY, "component", "value", "coverage", "confidence", "mass_g"]]


def figures(sums, uses, settled, parts, weighed, variants, reference) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The figures (model Figures) and the largest shares of inputs in their variance."""
    linear = combinations(reference.components, reference.energy_factors)
    whole = _combined(sums, linear)
    spread = uses.merge(linear, on="component")
    spread["effect"] *= spread["factor"]
    by = [*KEY, "figure", "unit"]
    total_spread = lineage.combine(spread, by)
    recipe = whole.merge(total_spread, on=by, how="left").fillna({"uncertainty": 0.0}).merge(
        variants[[*KEY, "portions"]], on=KEY, how="left")
    recipe["basis"] = "recipe"
    portion = recipe.assign(basis="portion", value=recipe["value"] / recipe["portions"],
                            uncertainty=recipe["uncertainty"] / recipe["portions"])
    frame = pd.concat([recipe, portion, _per_100g(recipe, spread, uses)], ignore_index=True)
    frame["value"] = frame["value"].clip(lower=0)
    frame["low"], frame["high"] = lineage.figure_interval(frame["value"], frame["uncertainty"])
    frame = _all_variants(frame, linear, variants)
    _judge_standing(frame, settled, parts, weighed, reference)
    frame["figure_id"] = [lineage.figure_id(*key) for key in zip(
        frame["recipe_id"], frame["variant_id"], frame["figure"], frame["unit"], frame["basis"], strict=True)]
    frame = frame.drop(columns="component", errors="ignore").rename(columns={"figure": "component"})
    ordered = frame[tables.columns(tables.Figures)].sort_values("figure_id", ignore_index=True)
    return ordered, _largest_shares(spread, by)


def _combined(sums: pd.DataFrame, linear: pd.DataFrame) -> pd.DataFrame:
    frame = sums.merge(linear, on="component")
    frame["value"] *= frame["factor"]
    return frame.groupby([*KEY, "figure", "unit"], sort=True).agg(
        value=("value", "sum"), coverage=("coverage", "min"), confidence=("confidence", "min"),
        mass_g=("mass_g", "first")).reset_index()


def _per_100g(recipe: pd.DataFrame, spread: pd.DataFrame, uses: pd.DataFrame) -> pd.DataFrame:
    """Figures per 100 g cooked: a ratio, whose two parts share the inputs of the amounts."""
    by = [*KEY, "figure", "unit"]
    weighed = recipe[recipe["mass_g"] > 0]
    above = spread[[*by, "input_id", "effect"]].merge(weighed[[*by, "mass_g"]], on=by)
    above["effect"] *= 100 / above["mass_g"]
    below = uses.loc[uses["component"] == MASS, [*KEY, "input_id", "effect"]].merge(weighed[[*by, "value", "mass_g"]], on=KEY)
    below["effect"] *= -100 * below["value"] / below["mass_g"] ** 2
    ratio = lineage.combine(pd.concat([above[[*by, "input_id", "effect"]], below[[*by, "input_id", "effect"]]]), by)
    frame = weighed.drop(columns="uncertainty").merge(ratio, on=by, how="left").fillna({"uncertainty": 0.0})
    return frame.assign(basis="100g", value=100 * frame["value"] / frame["mass_g"])


def _all_variants(frame: pd.DataFrame, linear: pd.DataFrame, variants: pd.DataFrame) -> pd.DataFrame:
    """A row for every figure of every variant, also of one without a single counted line."""
    wanted = variants[KEY].merge(linear[["figure", "unit"]].drop_duplicates(), how="cross").merge(
        pd.DataFrame({"basis": tables.BASES}), how="cross")
    return wanted.merge(frame, on=[*KEY, "figure", "unit", "basis"], how="left").fillna({"coverage": 0.0, "confidence": 0.0})


def _judge_standing(frame: pd.DataFrame, settled, parts, weighed, reference) -> None:
    """Fills status and reason; empties value, low and high of withheld figures."""
    unsettled = _unsettled_lines(settled)
    waits = pd.MultiIndex.from_frame(frame[KEY]).map(unsettled).fillna("") if len(unsettled) else pd.Index([""] * len(frame))
    waits = pd.Series(waits, index=frame.index).fillna("")
    thin = frame["coverage"] < reference.rule("coverage_withheld_below")
    weightless = frame["value"].isna()
    beyond = _implausible(frame, reference)
    withheld = (waits != "") | thin | weightless | (beyond != "")
    missing = _missing_lines(frame, parts, reference)
    why_withheld = np.select(
        [waits != "", beyond != "", frame["coverage"].eq(0) & weightless, thin],
        [waits, beyond, "no counted line has a weight", "values are missing for too much of the dish: " + missing],
        "no cooked weight")
    doubts = _doubts(frame, parts, settled, weighed, missing, reference)
    frame["status"] = np.select([withheld, doubts != ""], ["withheld", "check"], "ready")
    small_gaps = ((frame["coverage"] <= 1 - 1e-12) & (missing != "")).map({True: "a small part has no value for ", False: ""})
    noted = np.where((doubts == "") & (small_gaps != ""), small_gaps + missing, doubts)
    frame["reason"] = np.where(withheld, why_withheld, noted)
    frame.loc[withheld, ["value", "low", "high"]] = np.nan


def _implausible(frame: pd.DataFrame, reference) -> pd.Series:
    """Why no figure of a variant can be trusted: one of them is beyond what any dish can hold.

    Such a figure shows a slip in an amount, a unit, a yield or the portions, which bends
    the others as well; so all of the variant's figures get the reason. "" for the rest.
    """
    potassium = (frame["figure"] == "K") & (frame["basis"] == "portion")
    energy = (frame["figure"] == "ENERC") & (frame["unit"] == "kJ") & (frame["basis"] == "100g")
    mass = (frame["unit"] == "g") & (frame["figure"] != "WATER") & (frame["basis"] == "100g")
    found: dict[tuple[str, str], str] = {}
    for rule_id, asked in (("implausible_potassium_mg_per_portion", potassium), ("implausible_energy_kj_per_100g", energy),
                           ("implausible_mass_g_per_100g", mass)):
        limit = reference.rule(rule_id)
        for row in frame[asked & (frame["value"] > limit)].itertuples():
            basis = "portion" if row.basis == "portion" else "100 g"
            found.setdefault((row.recipe_id, row.variant_id),
                             f"implausible: {row.figure} {row.value:,.0f} {row.unit} per {basis}, and no dish has more than "
                             f"{limit:,.0f}; an amount, a unit or the portions are wrong")
    keys = zip(frame["recipe_id"], frame["variant_id"], strict=True)
    return pd.Series([found.get(key, "") for key in keys], index=frame.index, dtype="str")


def _unsettled_lines(settled: pd.DataFrame) -> dict[tuple[str, str], str]:
    waiting = settled[settled["counted"] & (settled["outcome"] != "accepted")]
    return {key: "waits for " + _named(group) for key, group in waiting.groupby(KEY, sort=True)}


def _named(group: pd.DataFrame) -> str:
    named = [f"line {row.line_no} ({row.reason}: {row.text})" for row in group.head(NAMED_LINES).itertuples()]
    more = len(group) - len(named)
    return "; ".join(named) + (f"; and {more} more" if more else "")


def _missing_lines(frame: pd.DataFrame, parts: pd.DataFrame, reference) -> pd.Series:
    """For each figure the lines that have no value for one of its components."""
    linear = combinations(reference.components, reference.energy_factors)
    absent = parts[parts["amount"].isna()].merge(linear[["figure", "component"]].drop_duplicates(), on="component")
    absent = absent.drop_duplicates([*KEY, "figure", "component", "line_no"])
    said: dict[tuple, list[str]] = {}
    for *key, component, line_no in absent[[*KEY, "figure", "component", "line_no"]].itertuples(index=False, name=None):
        said.setdefault(tuple(key), []).append(f"{component} of line {line_no}")
    named = {key: ", ".join(texts[:NAMED_LINES]) for key, texts in said.items()}
    keys = zip(frame["recipe_id"], frame["variant_id"], frame["figure"], strict=True)
    return pd.Series([named.get(key, "") for key in keys], index=frame.index)


def _doubts(frame, parts, settled, weighed, missing, reference) -> pd.Series:
    incomplete = np.where(frame["coverage"] < reference.rule("check_coverage_below"), "no value for " + missing, "")
    unsure = np.where(frame["confidence"] < reference.rule("check_confidence_below"), "low confidence", "")
    wide = np.where(_is_wide(frame, reference), "wide interval", "")
    assumed = _assumed_share(frame, parts, weighed, reference)
    guess = np.where(assumed > reference.rule("check_assumed_share_above"), "rests on an assumed amount", "")
    joined = pd.DataFrame({"a": incomplete, "b": unsure, "c": wide, "d": guess}, index=frame.index)
    return joined.apply(lambda row: "; ".join(part for part in row if part), axis=1)


def _is_wide(frame: pd.DataFrame, reference) -> pd.Series:
    """Whether an interval is wide for its figure and wide enough to matter to somebody who eats a portion."""
    half_width = frame["high"] - frame["value"]
    relative = half_width / frame["value"].where(frame["value"] > 0)
    floors = reference.wide_floors.set_index(["component", "unit"])["floor"]
    floor = floors.reindex(pd.MultiIndex.from_frame(frame[["figure", "unit"]])).fillna(0.0).to_numpy()
    eaten = np.where(frame["basis"] == "recipe", frame["portions"], 1.0)
    return (relative > reference.rule("check_half_width_above")) & (half_width / eaten > floor)


def _assumed_share(frame: pd.DataFrame, parts: pd.DataFrame, weighed: pd.DataFrame, reference) -> pd.Series:
    """The share of each figure that comes from lines without an amount, which a rule supplied."""
    assumed = set(weighed.loc[weighed["measure_id"].str.startswith(RULED), "line_id"])
    linear = combinations(reference.components, reference.energy_factors)
    spread = parts.merge(linear, on="component", suffixes=("", "_figure"))
    spread["size"] = (spread["amount"].fillna(0) * spread["factor"]).abs()
    spread["guessed"] = spread["size"].where(spread["line_id"].isin(assumed), 0.0)
    by = [*KEY, "figure", "unit_figure"]
    total = spread.groupby(by)[["size", "guessed"]].sum()
    share = (total["guessed"] / total["size"].where(total["size"] > 0)).fillna(0.0)
    keys = pd.MultiIndex.from_frame(frame[[*KEY, "figure", "unit"]])
    return pd.Series(share.reindex(keys).fillna(0.0).to_numpy(), index=frame.index)


def _largest_shares(spread: pd.DataFrame, by: list[str]) -> pd.DataFrame:
    frame = lineage.shares(spread[[*by, "input_id", "effect"]], by)
    frame = frame.sort_values([*by, "share", "input_id"], ascending=[True] * len(by) + [False, True], kind="stable")
    kept = frame.groupby(by, sort=False).head(SHARES_KEPT)
    return kept.rename(columns={"figure": "component"})[[*KEY, "component", "unit", "input_id", "share"]].reset_index(drop=True)
