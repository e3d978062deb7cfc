"""Why a verdict flips when the table is swapped: the line whose part of the figure moves most, and what of it moved."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from pipeline.combinations import DERIVED

LINE = ["recipe_id", "variant_id", "line_id"]
KEY = ["line_id", "component"]
NUMBERS = ("unit", "value_per_100g", "edible_g", "retention_fraction", "amount")
TEXT = ("entry_id", "entry_name", "outcome", "reason", "text")
SHOWN_TEXT = 40  # of a line's text, in a reason


def because(flips: pd.DataFrame, before: Mapping[str, pd.DataFrame], after: Mapping[str, pd.DataFrame]) -> list[str]:
    """One reason per flip (columns recipe_id, variant_id, component_a, component_b), in words.

    ``before`` and ``after`` hold ``settled`` and ``contributions`` (models of these names) of the runs on A and on B. A line
    that is lost or gained is named first, as it decides whether there is a figure at all; then the line
    whose amount differs most, with its value per 100 g in both tables. The components of a
    derived figure are looked at one by one.
    """
    lines = _both(*(run["settled"].loc[run["settled"]["counted"], [*LINE, *TEXT]] for run in (before, after)), LINE)
    text = [f"{name}_{side}" for name in TEXT for side in "ab"]
    lines[text] = lines[text].fillna("")
    amounts = _both(before["contributions"][[*KEY, *NUMBERS]], after["contributions"][[*KEY, *NUMBERS]], KEY).merge(lines, on="line_id")
    amounts = amounts.assign(apart=(amounts["amount_b"].fillna(0) - amounts["amount_a"].fillna(0)).abs())
    return [_reason(_of(lines, flip), _of(amounts, flip), flip.component_b or flip.component_a) for flip in flips.itertuples()]


def _both(one: pd.DataFrame, other: pd.DataFrame, key: list[str]) -> pd.DataFrame:
    """The rows of both runs side by side, their columns with _a and _b."""
    return one.merge(other, on=key, how="outer", suffixes=("_a", "_b"))


def _of(rows: pd.DataFrame, flip) -> pd.DataFrame:
    return rows[(rows["recipe_id"] == flip.recipe_id) & (rows["variant_id"] == flip.variant_id)]


def _reason(lines: pd.DataFrame, amounts: pd.DataFrame, component: str) -> str:
    accepted = {side: lines[f"outcome_{side}"] == "accepted" for side in "ab"}
    for row in lines[accepted["a"] & ~accepted["b"]].sort_values("line_id").itertuples():
        return f"{_line(row, 'a')} drops out ({row.reason_b or 'not there'})"
    for row in lines[accepted["b"] & ~accepted["a"]].sort_values("line_id").itertuples():
        return f"{_line(row, 'b')} is settled ({row.entry_id_b} {row.entry_name_b})"
    parts = amounts[amounts["component"].isin(DERIVED.get(component, (component,))) & (amounts["apart"] > 0)]
    for row in parts.sort_values(["apart", "line_id"], ascending=[False, True]).itertuples():
        return _moved(row)
    return "no line gives another amount: its interval, its coverage or what is judged beside it changed"


def _moved(row) -> str:
    values = f"{row.component} {_number(row.value_per_100g_a)} -> {_number(row.value_per_100g_b)} {row.unit_b} per 100 g"
    if (row.entry_id_a, row.entry_name_a) != (row.entry_id_b, row.entry_name_b):
        return f"{_line(row, 'b')} rests on another entry: {row.entry_id_a} {row.entry_name_a} -> {row.entry_id_b} {row.entry_name_b} ({values})"
    if row.value_per_100g_a != row.value_per_100g_b:
        return f"{row.entry_id_b} {row.entry_name_b}: {values}"
    if row.edible_g_a != row.edible_g_b:
        return f"{_line(row, 'b')} weighs otherwise: {_number(row.edible_g_a)} -> {_number(row.edible_g_b)} g edible"
    return (f"{_line(row, 'b')} keeps another share of its {row.component} in cooking: {_number(row.retention_fraction_a)} -> "
            f"{_number(row.retention_fraction_b)}")


def _line(row, side: str) -> str:
    text = getattr(row, f"text_{side}")
    return f'"{text[:SHOWN_TEXT]}{"..." if len(text) > SHOWN_TEXT else ""}"'


def _number(value: float) -> str:
    return "nothing" if value != value else f"{value:.4g}"
