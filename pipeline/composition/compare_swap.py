"""Two runs on two composition tables beside each other: decisions, lines, figures, verdicts; what can harm most first."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline import decisions
from pipeline.composition.compare_values import harm, relative, size
from pipeline.composition.load import CompositionTable
from pipeline.harm import SAME_CLAIM

# A figure that leaves its interval or changes by more than this is said to move (common practice, no source).
MOVED_ABOVE = 0.05
NOISE = 1e-9
EFFECTS = ("withheld", "moved", "settled", "status", "slight")
HOLDING = ("holds", "own", "carried")
BROKEN = ("gone", "renamed", "renumbered", "conflict")
DECISION_COLUMNS = ["state", "file", "row", "decision_id", "kind", "phrase", "food_state", "table", "entry_id", "entry_name",
                    "now_entry_id", "now_name", "lines", "remedy"]
LINE_COLUMNS = ["effect", "line_id", "text", "entry_id_a", "entry_name_a", "outcome_a", "reason_a", "edible_g_a", "yield_fraction_a",
                "entry_id_b", "entry_name_b", "outcome_b", "reason_b", "edible_g_b", "yield_fraction_b"]
FIGURE_COLUMNS = ["effect", "figure_id", "recipe_id", "variant_id", "component", "basis", "unit", "value_a", "low_a", "high_a", "status_a",
                  "value_b", "low_b", "high_b", "status_b", "relative_change", "outside_interval", "in_print", "reason_b"]
VERDICT_COLUMNS = ["recipe_id", "variant_id", "audience", "claim", "kind", "verdict_a", "verdict_b", "component_a", "value_a", "margin_a",
                   "component_b", "value_b", "margin_b", "limit", "unit", "in_print", "reason_b"]
# What :func:`verdicts` lacks and :mod:`compare_why` adds.
BECAUSE = "because"
# How bad a flip is, the worst first: a yes in print that is none any more, then a new yes.
FLIPS = (("holds", "fails"), ("holds", "uncertain"), ("holds", "not-assessable"), ("*", "holds"), ("uncertain", "fails"))
LINE_EFFECTS = ("lost", "other-entry", "gained", "outcome", "renamed", "weight")
REMEDIES = {
    "gone": "Decide again: the table has no such entry", "renamed": "Decide again on the entry under its new name",
    "renumbered": "Decide again on the entry under its new number", "conflict": "Keep one of the conflicting decisions",
    "carried": "Add the new table in its column `table`", "holds": "", "own": "", "superseded": "",
    "expired-before": "Decide again, or remove the row", "unused": "",
}


@dataclass(frozen=True)
class InPrint:
    """Figures and claims in print, as the release's tables ``published`` and ``printed_claims``."""

    published: pd.DataFrame
    claims: pd.DataFrame

    def figures(self) -> set[tuple]:
        """(recipe_id, variant_id, component, basis) of each printed figure."""
        return set(self.published[["recipe_id", "variant_id", "component", "basis"]].itertuples(index=False, name=None))

    def claimed(self) -> set[tuple]:
        """(recipe_id, variant_id, claim) of each printed claim."""
        rows = self.claims.assign(claim=self.claims["claim"].replace(SAME_CLAIM))
        return set(rows[["recipe_id", "variant_id", "claim"]].itertuples(index=False, name=None))


# ---------------------------------------------------------------- decisions

def decided(
    foods: pd.DataFrame, carried: pd.DataFrame, one: CompositionTable, other: CompositionTable, pairs: pd.DataFrame, matched: pd.DataFrame,
) -> pd.DataFrame:
    """One row per food decision that concerns table A (``one``) or B (``other``), columns ``DECISION_COLUMNS``.

    ``foods`` as on disk, ``carried`` with the decisions on A read as on B. ``row`` is the
    line of ``mappings/foods.csv``. ``state``: ``gone``, ``renamed``, ``renumbered`` or
    ``conflict`` (it holds on A and breaks on B), ``carried`` (holds on B too once it names B),
    ``holds`` (names both, or no table), ``own`` (made on B alone), ``superseded`` (B has its own
    on this phrase), ``expired-before`` (does not hold today either). ``lines`` is how many lines rest on it on A.
    """
    on_a = set(decisions.standing_decisions(foods, one.name, one.entries)[0].index)
    on_b = set(decisions.standing_decisions(carried, other.name, other.entries)[0].index)
    superseded = foods["decision_id"].isin(set(foods["replaces"]) - {""})
    names = foods["table"].str.split(";")
    concerned = foods[names.map(lambda listed: bool({"", one.name, other.name} & set(listed))) & ~superseded]
    names_b = other.entries.set_index("entry_id")["name"].to_dict()
    left = pairs[pairs["entry_id_a"] != ""].set_index("entry_id_a")["entry_id_b"].to_dict()
    resting = matched["decision_id"].value_counts()
    rows = []
    for index, row in concerned.iterrows():
        on = {side.name for side in (one, other) if side.name in names[index]} or {one.name, other.name}
        read_on_b = row["table"] == "" or other.name in carried.at[index, "table"].split(";")
        now_id = left.get(row["entry_id"], "") if one.name in on else row["entry_id"]
        if one.name not in on:
            state = "own" if index in on_b else "expired-before"
        elif not read_on_b:
            state = "superseded"
        elif index in on_b:
            state = "holds" if other.name in on else "carried"
        else:
            state = _broken(row, index in on_a, now_id, names_b)
        rows.append({
            "state": state, "file": "foods", "row": index + 2, "decision_id": row["decision_id"], "kind": row["kind"], "phrase": row["phrase"],
            "food_state": row["state"], "table": row["table"], "entry_id": row["entry_id"], "entry_name": row["entry_name"],
            "now_entry_id": now_id, "now_name": names_b.get(now_id, ""), "lines": int(resting.get(row["decision_id"], 0)),
            "remedy": REMEDIES[state]})
    return pd.DataFrame(rows, columns=DECISION_COLUMNS)


def breaks_first(rows: pd.DataFrame) -> pd.DataFrame:
    """Decisions (columns ``DECISION_COLUMNS``) with those that break first, then by the lines that rest on them."""
    order = pd.DataFrame({"broken": ~rows["state"].isin(BROKEN), "lines": -rows["lines"], "file": rows["file"], "row": rows["row"]})
    return rows.loc[order.sort_values(["broken", "lines", "file", "row"]).index].reset_index(drop=True)


def _broken(row: pd.Series, on_a: bool, now_id: str, names_b: dict[str, str]) -> str:
    """Why a decision does not hold on B."""
    if not on_a:
        return "expired-before"
    if row["entry_id"] == "" or names_b.get(row["entry_id"]) == row["entry_name"]:
        return "conflict"
    if not now_id:
        return "gone"
    return "renamed" if now_id == row["entry_id"] else "renumbered"


def how_to_adopt(rows: pd.DataFrame, table_a: str, table_b: str, spec: str) -> list[str]:
    """What to do to make the swap real, in order; ``spec`` is what a run is then given as its table."""
    broken = rows[rows["state"].isin(BROKEN)]
    carried = rows.loc[rows["state"] == "carried", "file"].value_counts()
    todo = []
    if len(broken):
        files = " and ".join(f"mappings/{name}.csv" for name in sorted(set(broken["file"])))
        todo.append(f"decide again on {len(broken)} {'row' if len(broken) == 1 else 'rows'} of {files} that would break")
    if "foods" in carried:
        todo.append(f"add {table_b} in the column `table` of the {carried['foods']} rows of mappings/foods.csv that hold on both "
                    f"(\"{table_a};{table_b}\"; without it they do not apply to {table_b}, and lines end otherwise than told here)")
    if "same_foods" in carried:
        todo.append(f"write {table_b} for {table_a} in the {carried['same_foods']} rows of mappings/same_foods.csv that hold on both, "
                    "or add them once more")
    return [*todo, f"potash run --table {spec}"]


# ---------------------------------------------------------------- lines

def lines(before: pd.DataFrame, after: pd.DataFrame, pairs: pd.DataFrame) -> pd.DataFrame:
    """Lines that end otherwise, columns ``LINE_COLUMNS``, those that drop out first. Tables: model Settled.

    ``effect``: ``lost`` (accepted no more), ``gained``, ``other-entry`` (another food),
    ``outcome`` (unsettled either way, otherwise), ``renamed`` (the same food under another
    name or number), ``weight`` (the same entry; another edible mass or yield).
    """
    kept = ["line_id", "text", "entry_id", "entry_name", "outcome", "reason", "edible_g", "yield_fraction", "counted"]
    rows = before[kept].merge(after[kept], on="line_id", how="outer", suffixes=("_a", "_b"))
    text = [f"{name}_{side}" for name in ("text", "entry_id", "entry_name", "outcome", "reason") for side in "ab"]
    rows[text] = rows[text].fillna("")
    same_food = pairs[(pairs["entry_id_a"] != "") & (pairs["entry_id_b"] != "")].set_index("entry_id_a")["entry_id_b"]
    of_a = rows["entry_id_a"].isin(pairs["entry_id_a"])  # an entry of a further table stays what it is
    expected = rows["entry_id_a"].map(same_food).fillna("").where(of_a, rows["entry_id_a"])
    accepted = {side: rows[f"outcome_{side}"] == "accepted" for side in "ab"}
    other = rows["entry_id_b"] != expected
    named = (rows["entry_id_a"] != rows["entry_id_b"]) | (rows["entry_name_a"] != rows["entry_name_b"])
    outcome = (rows["outcome_a"] != rows["outcome_b"]) | (rows["reason_a"] != rows["reason_b"])
    weight = apart(rows["edible_g_a"], rows["edible_g_b"]) | apart(rows["yield_fraction_a"], rows["yield_fraction_b"])
    effect = np.select(
        [accepted["a"] & ~accepted["b"], ~accepted["a"] & accepted["b"], accepted["a"] & other, outcome | (other & named), named, weight],
        ["lost", "gained", "other-entry", "outcome", "renamed", "weight"], "")
    rows = rows.assign(effect=effect, text=rows["text_a"].where(rows["text_a"] != "", rows["text_b"]))
    rows = rows[rows["effect"] != ""]
    place = rows["effect"].map({name: place for place, name in enumerate(LINE_EFFECTS)})
    order = pd.DataFrame({"place": place, "line_id": rows["line_id"]}).sort_values(["place", "line_id"])
    return rows.loc[order.index, LINE_COLUMNS].reset_index(drop=True)


def apart(one: pd.Series, other: pd.Series) -> pd.Series:
    """Whether two numbers differ; two unknown ones do not."""
    differ = (one - other).abs() > NOISE * np.fmax(one.abs(), other.abs())
    return differ | (one.isna() ^ other.isna())


# ---------------------------------------------------------------- figures

def figures(before: pd.DataFrame, after: pd.DataFrame, in_print: InPrint) -> pd.DataFrame:
    """Figures that change, columns ``FIGURE_COLUMNS``, the most harmful first. Tables: model Figures.

    ``effect``: ``withheld`` (has a value on A alone), ``settled`` (on B alone), ``moved``
    (outside A's interval, or by more than ``MOVED_ABOVE``), ``status`` (ready to check or
    back), ``slight`` (anything less). Rank: the component's harm, the effect (a harmful
    component that goes up before one that goes down), print, portions first, size.
    """
    key = ["figure_id", "recipe_id", "variant_id", "component", "basis", "unit"]
    kept = [*key, "value", "low", "high", "status", "reason"]
    rows = before[kept].merge(after[kept], on=key, how="outer", suffixes=("_a", "_b"))
    for side in "ab":  # a figure that one run lacks altogether is withheld there
        rows[f"status_{side}"] = rows[f"status_{side}"].fillna("withheld")
        rows[f"reason_{side}"] = rows[f"reason_{side}"].fillna("the recipe could not be run")
    has = {side: rows[f"status_{side}"] != "withheld" for side in "ab"}
    outside = (rows["value_b"] < rows["low_a"]) | (rows["value_b"] > rows["high_a"])
    by = relative(rows["value_a"], rows["value_b"])
    outside &= apart(rows["value_a"], rows["value_b"])
    changed = pd.concat([apart(rows[f"{name}_a"], rows[f"{name}_b"]) for name in ("value", "low", "high")], axis="columns").any(axis="columns")
    effect = np.select(
        [has["a"] & ~has["b"], ~has["a"] & has["b"], outside | (by.abs() > MOVED_ABOVE), rows["status_a"] != rows["status_b"], changed],
        ["withheld", "settled", "moved", "status", "slight"], "")
    rows = rows.assign(effect=effect, relative_change=by, outside_interval=outside)
    rows = rows[rows["effect"] != ""]
    printed = in_print.figures()
    keys = rows[["recipe_id", "variant_id", "component", "basis"]].itertuples(index=False, name=None)
    rows = rows.assign(in_print=[key in printed for key in keys])
    return rows.loc[_figure_order(rows), FIGURE_COLUMNS].reset_index(drop=True)


def _figure_order(rows: pd.DataFrame) -> pd.Index:
    place = rows["effect"].map({name: place for place, name in enumerate(EFFECTS)})
    basis = rows["basis"].map({"portion": 0, "100g": 1, "recipe": 2})
    down = ~(rows["value_b"] > rows["value_a"]) & rows["component"].isin(["K", "P", "NA", "NACL"])
    order = pd.DataFrame({
        "harm": harm(rows["component"]), "place": place, "down": down, "printed": ~rows["in_print"], "basis": basis,
        "size": -size(rows["value_a"], rows["value_b"]), "figure_id": rows["figure_id"]})
    return order.sort_values(list(order.columns)).index


# ---------------------------------------------------------------- verdicts

def verdicts(before: pd.DataFrame, after: pd.DataFrame, in_print: InPrint) -> pd.DataFrame:
    """Verdicts that flip, columns ``VERDICT_COLUMNS``, the most harmful first. Tables: model Verdicts.

    Rank: potassium before phosphorus, sodium and the rest; a yes that is none any more before
    a new yes; local limits before regulated claims; claims in print first.
    """
    key = ["recipe_id", "variant_id", "audience", "claim", "kind"]
    kept = [*key, "verdict", "component", "value", "margin", "limit", "unit", "reason"]
    rows = before[kept].merge(after[kept], on=key, how="outer", suffixes=("_a", "_b"))
    for side in "ab":
        rows[f"verdict_{side}"] = rows[f"verdict_{side}"].fillna("not-assessable")
        for name in ("component", "unit"):
            rows[f"{name}_{side}"] = rows[f"{name}_{side}"].fillna("")
    rows["reason_b"] = rows["reason_b"].fillna("the recipe could not be run")
    rows = rows[rows["verdict_a"] != rows["verdict_b"]]
    printed = in_print.claimed()
    rows = rows.assign(
        limit=rows["limit_b"].fillna(rows["limit_a"]), unit=rows["unit_b"].where(rows["unit_b"] != "", rows["unit_a"]),
        in_print=[row in printed for row in rows[["recipe_id", "variant_id", "claim"]].itertuples(index=False, name=None)])
    order = pd.DataFrame({
        "harm": np.minimum(harm(rows["component_a"]), harm(rows["component_b"])),
        "flip": [_flip(*pair) for pair in zip(rows["verdict_a"], rows["verdict_b"], strict=True)],
        "regulated": rows["kind"] != "local-limit", "unprinted": ~rows["in_print"],
        **{name: rows[name] for name in ("recipe_id", "variant_id", "audience", "claim")}}, index=rows.index)
    return rows.loc[order.sort_values(list(order.columns)).index, VERDICT_COLUMNS].reset_index(drop=True)


def _flip(before: str, after: str) -> int:
    for place, (one, other) in enumerate(FLIPS):
        if one in ("*", before) and other == after:
            return place
    return len(FLIPS)
