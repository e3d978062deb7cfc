"""Front-of-pack bands in words: low, medium or high in fat, saturates, sugars and salt.

The criteria are those of the UK guidance of 2013 (``reference/bands.csv``): per 100 g or, for
drinks, per 100 ml; and a portion of more than 100 g (150 ml) is high whatever it has per 100 g
when the portion as a whole has more than an amount of its own. A band is stated only where
all that is possible lies in it; otherwise the words say between which bands. Words only: a
colour would say more than the interval does.
"""

from __future__ import annotations

import math

import pandas as pd
from pandera.typing import Series

from pipeline import tables
from pipeline.schema import RECIPE_ID, Table, number_field, text_field
from pipeline.stages import conditions
from pipeline.stages.conditions import Condition, Index, Quantity, plain
from pipeline.stages.judge import food_forms

LOW, MEDIUM, HIGH, NOT_STATED = "low", "medium", "high", "not stated"
WORDS = (LOW, MEDIUM, HIGH)
BANDS = (*WORDS, *(f"between {one} and {other}" for one, other in ((LOW, MEDIUM), (LOW, HIGH), (MEDIUM, HIGH))), NOT_STATED)


class Bands(Table):
    """One row per variant and component; value, low and high are per 100 g, portion_g is the weight of a portion."""

    recipe_id: Series[str] = text_field(str_matches=RECIPE_ID)
    variant_id: Series[str] = text_field(str_matches=RECIPE_ID)
    component: Series[str] = text_field()
    band: Series[str] = text_field(isin=BANDS)
    value: Series[float] = number_field(ge=0)
    low: Series[float] = number_field(ge=0)
    high: Series[float] = number_field(ge=0)
    unit: Series[str] = text_field()
    portion_g: Series[float] = number_field(gt=0)
    portion_high: Series[float] = number_field(ge=0)
    source_id: Series[str] = text_field(str_length={"min_value": 1})
    reason: Series[str] = text_field()


def bands(figures: pd.DataFrame, recipes: pd.DataFrame, variants: pd.DataFrame, criteria: pd.DataFrame) -> pd.DataFrame:
    """The band of every variant and component (model :class:`Bands`).

    ``figures``, ``recipes`` and ``variants`` are tables of those models; ``criteria`` is the
    reference file bands. A portion's weight is 100 x its figure over the figure per 100 g, so
    that it is the weight that the figures themselves rest on.
    """
    index = conditions.index_figures(figures)
    facts = recipes.set_index("recipe_id")[["food_form", "course"]].to_dict("index")
    rows = []
    for key in zip(variants["recipe_id"], variants["variant_id"]):
        forms = food_forms(facts[key[0]]["food_form"], facts[key[0]]["course"])
        rows += [_row(index, key, row, forms) for row in criteria.to_dict("records") if row["food_form"] in forms]
    if not rows:
        return tables.empty(Bands)
    frame = pd.DataFrame(rows, columns=tables.columns(Bands))
    return tables.checked(Bands, frame.sort_values(["recipe_id", "variant_id", "component"], kind="stable"), "bands")


def _row(index: Index, key: tuple[str, str], row: dict, forms: set[str]) -> dict:
    per_100g, portion = (_found(index, key, row, basis) for basis in ("100g", "portion"))
    weight_g = 100 * portion.value / per_100g.value if per_100g.value > 0 and not portion.missing else math.nan
    band, reason = _band(per_100g, portion, weight_g, row)
    notes = [reason, *per_100g.notes, *([row["note"]] if row["note"] else [])]
    return {"recipe_id": key[0], "variant_id": key[1], "component": row["component"], "band": band, "value": per_100g.value,
            "low": per_100g.low, "high": per_100g.high, "unit": row["unit"], "portion_g": weight_g, "portion_high": portion.high,
            "source_id": row["source_id"], "reason": "; ".join(dict.fromkeys(notes))}


def _found(index: Index, key: tuple[str, str], row: dict, basis: str) -> Quantity:
    asked = Condition(row["component"], basis, "<=", row["low_at_most"], row["unit"], row["source_id"])
    return conditions.quantity(index, *key, asked, {})


def _band(per_100g: Quantity, portion: Quantity, weight_g: float, row: dict) -> tuple[str, str]:
    missing = per_100g.missing or portion.missing
    if missing:
        return NOT_STATED, missing
    if per_100g.doubted or portion.doubted:
        return NOT_STATED, "the figure is doubted for a reason that its interval does not cover"
    big = weight_g > row["portion_above_g"]
    least = _place(per_100g.floor, row, big and portion.floor > row["portion_high_above"])
    most = _place(per_100g.ceiling, row, big and portion.ceiling > row["portion_high_above"])
    told = f"{plain(per_100g.low)} to {plain(per_100g.high)} {row['unit']} per 100 g"
    if big:
        told += f", {plain(portion.low)} to {plain(portion.high)} {row['unit']} in a portion of {plain(weight_g)} g"
    return (WORDS[least] if least == most else f"between {WORDS[least]} and {WORDS[most]}"), told


def _place(end: float, row: dict, high_by_portion: bool) -> int:
    """Where an end of the interval lies: 0 low, 1 medium, 2 high."""
    if high_by_portion or conditions.satisfies(end, ">", row["high_above"]):
        return 2
    return 0 if conditions.satisfies(end, "<=", row["low_at_most"]) else 1
