"""Why the figures of two releases differ, by numbers: one group of inputs after the other is taken from B.

What a line adds to a figure is edible mass x value per 100 g x share kept, times the factor of a derived figure (energy,
salt). A then B, in the order of the stages:

    line        it is in one release alone
    amount      its words changed, and with them the edible mass
    weighing    the same words weigh otherwise
    entry       another food of the table was chosen
    composition the same entry has another value
    cooking     another share is kept
    portions    per portion: the recipe makes another number of them
    weight      per 100 g: the finished dish weighs otherwise
    rest        what no line tells: the water balance

The parts of a figure add up to its change. Lines are the same where their words are; of the others those with the same number.
"""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from pipeline.combinations import combinations

DISH = ["recipe_id", "variant_id"]
PLACE = [*DISH, "place"]
COLUMNS = ["figure_id", "cause", "text", "change", "unit", "before", "now"]
CAUSES = ("line", "amount", "weighing", "entry", "composition", "cooking", "portions", "weight", "rest")
# Below this share of a figure a part is rounding.
NOISE = 1e-9


def causes(before: Mapping[str, pd.DataFrame], after: Mapping[str, pd.DataFrame], components: pd.DataFrame,
           energy_factors: pd.DataFrame) -> pd.DataFrame:
    """One row per figure and cause, columns ``COLUMNS``, the largest change of a figure first.

    ``before`` and ``after`` hold a release's ``figures``, ``lines``, ``contributions``, ``cooked`` and ``recipes``. ``change`` is in the
    figure's unit, on its basis; ``before`` and ``now`` say what of the input changed. A figure that one release lacks or
    withholds has no row. Raises nothing.
    """
    figures = _changed(before["figures"], after["figures"])
    if figures.empty:
        return pd.DataFrame(columns=COLUMNS)
    linear = combinations(components, energy_factors)
    parts = _line_parts(before, after).merge(linear, on="component").rename(columns={"unit_y": "unit"})
    parts = parts.assign(change=parts["change"] * parts["factor"]).drop(columns=["component", "factor"])
    of_dish = figures.merge(parts, left_on=[*DISH, "component", "unit"], right_on=[*DISH, "figure", "unit"])
    of_dish = of_dish.assign(change=of_dish["change"] / of_dish["divisor_a"])
    rows = pd.concat([of_dish[COLUMNS], _scale(figures)], ignore_index=True)
    rows = rows.groupby(["figure_id", "cause", "text", "unit", "before", "now"], as_index=False, dropna=False)["change"].sum()
    rows = pd.concat([rows, _rest(figures, rows)], ignore_index=True)
    size = rows["figure_id"].map(figures.set_index("figure_id")[["value_a", "value_b"]].abs().max(axis="columns"))
    rows = rows[rows["change"].abs() > NOISE * size]
    order = rows.assign(size=-rows["change"].abs()).sort_values(["figure_id", "size", "cause", "text"]).index
    return rows.loc[order, COLUMNS].reset_index(drop=True)


def _changed(before: pd.DataFrame, after: pd.DataFrame) -> pd.DataFrame:
    """Figures with a value in both releases that differs, and by what the sum of the lines is divided for their basis."""
    key = ["figure_id", *DISH, "component", "basis", "unit"]
    both = before[[*key, "value"]].merge(after[[*key, "value"]], on=key, suffixes=("_a", "_b"))
    both = both[both["value_a"].notna() & both["value_b"].notna()]
    whole = both[both["basis"] == "recipe"].set_index([*DISH, "component", "unit"])[["value_a", "value_b"]]
    at = pd.MultiIndex.from_frame(both[[*DISH, "component", "unit"]])
    for side in "ab":
        of_recipe = whole[f"value_{side}"].reindex(at).to_numpy()
        both[f"whole_{side}"] = of_recipe
        both[f"divisor_{side}"] = of_recipe / both[f"value_{side}"].where(both[f"value_{side}"] != 0)
    divisors = both.groupby([*DISH, "basis"])[["divisor_a", "divisor_b"]].transform("median")
    both[["divisor_a", "divisor_b"]] = divisors.fillna(1.0)
    scale = both[["value_a", "value_b"]].abs().max(axis="columns")
    return both[(both["value_b"] - both["value_a"]).abs() > NOISE * scale]


def _line_parts(before: Mapping[str, pd.DataFrame], after: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """What each line adds otherwise, by component and cause, for the whole dish."""
    one, other = with_places(before, after)
    both = _contributed(before, one).merge(_contributed(after, other), on=[*PLACE, "component", "unit"], how="outer", suffixes=("_a", "_b"))
    numbers = [f"{name}_{side}" for name in ("edible_g", "value_per_100g", "retention_fraction", "amount") for side in "ab"]
    text = both["text_b"].fillna(both["text_a"])
    present = {side: both[f"line_id_{side}"].notna() for side in "ab"}
    there = present["a"] & present["b"]
    cell = both[numbers].fillna(0.0)
    mass = (cell["edible_g_b"] - cell["edible_g_a"]) * cell["value_per_100g_a"] / 100 * cell["retention_fraction_a"]
    value = cell["edible_g_b"] * (cell["value_per_100g_b"] - cell["value_per_100g_a"]) / 100 * cell["retention_fraction_a"]
    kept = cell["edible_g_b"] * cell["value_per_100g_b"] / 100 * (cell["retention_fraction_b"] - cell["retention_fraction_a"])
    rewritten = both["text_a"] != both["text_b"]
    another = both["entry_id_a"] != both["entry_id_b"]
    shown = [
        (~there, "line", cell["amount_b"] - cell["amount_a"], present["a"].map({True: "in it", False: "not in it"}),
         present["b"].map({True: "in it", False: "not in it"})),
        (there & rewritten, "amount", mass, both["text_a"], both["text_b"]),
        (there & ~rewritten, "weighing", mass, _numbers(both["edible_g_a"], "g edible"), _numbers(both["edible_g_b"], "g edible")),
        (there & another, "entry", value, _entry(both, "a"), _entry(both, "b")),
        (there & ~another, "composition", value, _per_100g(both, "a"), _per_100g(both, "b")),
        (there, "cooking", kept, _cooked(both, "a"), _cooked(both, "b")),
    ]
    found = [pd.DataFrame({**{name: both.loc[where, name] for name in (*DISH, "component", "unit")}, "cause": cause, "text": text[where],
                           "change": change[where], "before": was[where], "now": now[where]})
             for where, cause, change, was, now in shown]
    parts = pd.concat(found, ignore_index=True)
    return parts[parts["change"] != 0].rename(columns={"unit": "unit_x"})


def _contributed(release: Mapping[str, pd.DataFrame], lines: pd.DataFrame) -> pd.DataFrame:
    """The contributions with their line's words, entry and cooking, and its place in its dish."""
    needed = ["line_id", "component", "unit", "edible_g", "value_per_100g", "retention_fraction", "amount"]
    return release["contributions"][needed].merge(
        lines[["line_id", *DISH, "place", "text", "entry_id", "entry_name", "chain"]], on="line_id")


def with_places(before: Mapping[str, pd.DataFrame], after: Mapping[str, pd.DataFrame]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The lines of both releases with their cooking (``chain``) and their ``place``, which is the same for the same line.

    A line is the same where its words are; of the others in a dish, that with the same number.
    """
    one, other = _placed(before), _placed(after)
    known = {side: frame[[*PLACE, "line_no"]] for side, frame in (("a", one), ("b", other))}
    both = known["a"].merge(known["b"], on=PLACE, how="outer", suffixes=("_a", "_b"), indicator=True)
    gone, new = both[both["_merge"] == "left_only"], both[both["_merge"] == "right_only"]
    moved = gone.merge(new, left_on=[*DISH, "line_no_a"], right_on=[*DISH, "line_no_b"], suffixes=("_old", "_new"))
    taken = moved.set_index([*DISH, "place_new"])["place_old"]
    place = pd.Series(taken.reindex(pd.MultiIndex.from_frame(other[PLACE])).to_numpy(), index=other.index)
    return one, other.assign(place=place.fillna(other["place"]))


def _placed(release: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    lines = release["lines"].merge(release["cooked"][["line_id", "chain"]], on="line_id", how="left")
    return lines.assign(place=lines["text"] + "\n" + lines.groupby([*DISH, "text"]).cumcount().astype("str"))


def _scale(figures: pd.DataFrame) -> pd.DataFrame:
    """What another number of portions or another finished weight does to the figures of B's lines."""
    rows = figures[figures["basis"] != "recipe"]
    portions = rows["basis"] == "portion"
    was, now = ({True: rows[f"divisor_{side}"], False: 100 * rows[f"divisor_{side}"]} for side in "ab")
    unit = portions.map({True: "portions", False: "g when finished"})
    return pd.DataFrame({
        "figure_id": rows["figure_id"], "cause": portions.map({True: "portions", False: "weight"}), "text": "", "unit": rows["unit"],
        "change": rows["whole_b"] * (1 / rows["divisor_b"] - 1 / rows["divisor_a"]),
        "before": _numbers(was[True].where(portions, was[False]), "") + unit, "now": _numbers(now[True].where(portions, now[False]), "") + unit})


def _rest(figures: pd.DataFrame, rows: pd.DataFrame) -> pd.DataFrame:
    told = rows.groupby("figure_id")["change"].sum()
    left = figures["value_b"] - figures["value_a"] - figures["figure_id"].map(told).fillna(0.0)
    return pd.DataFrame({"figure_id": figures["figure_id"], "cause": "rest", "text": "", "change": left, "unit": figures["unit"], "before": "", "now": ""})


def _numbers(values: pd.Series, unit: str) -> pd.Series:
    return values.map(lambda value: "nothing " if value != value else f"{value:.4g} ") + unit


def _entry(both: pd.DataFrame, side: str) -> pd.Series:
    return both[f"entry_id_{side}"].fillna("") + " " + both[f"entry_name_{side}"].fillna("no entry")


def _per_100g(both: pd.DataFrame, side: str) -> pd.Series:
    return _entry(both, side) + ": " + _numbers(both[f"value_per_100g_{side}"], "") + both["unit"] + " per 100 g"


def _cooked(both: pd.DataFrame, side: str) -> pd.Series:
    return both[f"chain_{side}"].fillna("raw") + " keeps " + _numbers(both[f"retention_fraction_{side}"], "").str.strip()
