"""What would put a verdict right: changes of a variant, and additions of protein. Computed in full, for a dietitian to judge."""

from __future__ import annotations

import pandas as pd
import pandera.pandas as pa
from pandera.typing import Series

from pipeline.schema import RECIPE_ID, VERDICTS, Table, number_field, text_field

RESTORED, NOT_RESTORED, NOT_SEARCHED = "restored", "not-restored", "not-searched"
REACHES, FALLS_SHORT, CANNOT = "reaches", "falls-short", "cannot"


# From the worst verdict to the best; one that cannot be given is no better than one that fails.
RANK = {"not-assessable": 0, "fails": 1, "uncertain": 2, "holds": 3}


def _one_side(table: pd.DataFrame) -> pd.Series:
    """Whether a verdict that holds has its whole interval on one side of its limit (an unknown upper end counts for a least amount)."""
    return (table["verdict"] != "holds") | (table["high"] <= table["limit"]) | (table["low"] >= table["limit"])


class Swaps(Table):
    """One row per variant whose verdict on a local limit is worse than that of the recipe as written, audience,
    and local limit of that audience: what the smallest change of the recipe's other lines makes of it.

    ``outcome`` is one for a variant and audience: ``restored`` (every broken limit has the verdict again that the recipe as
    written has, and no other limit is worse for it), ``not-restored`` (``change`` is what comes nearest), ``not-searched``
    (``words`` says why). ``lines``: what is left of each changed line, "9: 0" (left out) or "4: 0.75". The figures are those
    of the changed dish; ``from_parts`` says whether they follow from what each line adds to the variant as written, so
    that verify can recompute them."""

    recipe_id: Series[str] = text_field(str_matches=RECIPE_ID)
    variant_id: Series[str] = text_field(str_matches=RECIPE_ID)
    audience: Series[str] = text_field(str_length={"min_value": 1})
    claim: Series[str] = text_field(str_length={"min_value": 1})
    outcome: Series[str] = text_field(isin=(RESTORED, NOT_RESTORED, NOT_SEARCHED))
    change: Series[str] = text_field()
    lines: Series[str] = text_field()
    taken_g: Series[float] = number_field(ge=0)
    verdict_base: Series[str] = text_field(isin=VERDICTS)
    verdict_written: Series[str] = text_field(isin=VERDICTS)
    verdict: Series[str] = text_field(isin=VERDICTS)
    component: Series[str] = text_field()
    value: Series[float] = number_field(ge=0)
    low: Series[float] = number_field(ge=0)
    high: Series[float] = number_field(ge=0)
    limit: Series[float] = number_field(gt=0)
    unit: Series[str] = text_field()
    basis: Series[str] = text_field()
    comparator: Series[str] = text_field(isin=("", "<=", "<", ">=", ">"))
    probability: Series[float] = number_field(ge=0, le=1)
    from_parts: Series[bool] = pa.Field()
    words: Series[str] = text_field(str_length={"min_value": 1})

    @pa.dataframe_check(error="a limit is said to hold though the interval reaches over it")
    def holds_whole(cls, table: pd.DataFrame) -> Series[bool]:
        return _one_side(table)

    @pa.dataframe_check(error="a restored limit has a worse verdict than it had")
    def restored_is_no_worse(cls, table: pd.DataFrame) -> Series[bool]:
        had = table[["verdict_base", "verdict_written"]].apply(lambda column: column.map(RANK)).min(axis=1)
        return (table["outcome"] != RESTORED) | (table["verdict"].map(RANK) >= had)


class ProteinAdditions(Table):
    """One row per main meal that misses an audience's least amount of protein, addition that suits its course, and
    local limit of that audience.

    ``outcome`` is one for a recipe, audience and addition: ``reaches`` (the smallest amount with which the protein
    holds and so does every other limit of the audience), ``falls-short`` (the largest amount with which every other limit still holds),
    ``cannot`` (another limit does not hold with the least amount, which is shown), ``not-searched`` (another limit
    does not hold as written, or a figure is withheld: one row a limit for all additions, ``addition_id`` any). ``added_g`` is the edible mass,
    before cooking, of the added line in the whole recipe, ``value_per_100g`` and ``retention_fraction`` are those by which it adds to
    the component; ``from_parts`` as in :class:`Swaps`; ``phosphorus_to_protein`` is in mg per g, of the dish with the addition."""

    recipe_id: Series[str] = text_field(str_matches=RECIPE_ID)
    audience: Series[str] = text_field(str_length={"min_value": 1})
    addition_id: Series[str] = text_field(str_matches=RECIPE_ID)
    claim: Series[str] = text_field(str_length={"min_value": 1})
    outcome: Series[str] = text_field(isin=(REACHES, FALLS_SHORT, CANNOT, NOT_SEARCHED))
    line: Series[str] = text_field(str_length={"min_value": 1})
    entry_id: Series[str] = text_field()
    added_g: Series[float] = pa.Field(ge=0)
    steps: Series[int] = pa.Field(ge=0)
    value_per_100g: Series[float] = number_field(ge=0)
    retention_fraction: Series[float] = number_field(ge=0)
    from_parts: Series[bool] = pa.Field()
    verdict_base: Series[str] = text_field(isin=VERDICTS)
    verdict: Series[str] = text_field(isin=VERDICTS)
    component: Series[str] = text_field()
    value_base: Series[float] = number_field(ge=0)
    value: Series[float] = number_field(ge=0)
    low: Series[float] = number_field(ge=0)
    high: Series[float] = number_field(ge=0)
    limit: Series[float] = number_field(gt=0)
    unit: Series[str] = text_field()
    basis: Series[str] = text_field()
    comparator: Series[str] = text_field(isin=("", "<=", "<", ">=", ">"))
    probability: Series[float] = number_field(ge=0, le=1)
    phosphorus_to_protein: Series[float] = number_field(ge=0)
    source_id: Series[str] = text_field(str_length={"min_value": 1})
    words: Series[str] = text_field(str_length={"min_value": 1})

    @pa.dataframe_check(error="a limit is said to hold though the interval reaches over it")
    def holds_whole(cls, table: pd.DataFrame) -> Series[bool]:
        return _one_side(table)

    @pa.dataframe_check(error="an addition is said to reach the protein though a limit does not hold")
    def reached_holds(cls, table: pd.DataFrame) -> Series[bool]:
        return (table["outcome"] != REACHES) | (table["verdict"] == "holds")
