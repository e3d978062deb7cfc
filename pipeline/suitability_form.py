"""Whom a dish suits, and its phosphorus by kind: the tables of those two, and their closed word lists."""

from __future__ import annotations

import pandas as pd
import pandera.pandas as pa
from pandera.typing import Series

from pipeline.problems import SEVERITIES
from pipeline.schema import BASES, LINE_ID, RECIPE_ID, STATUSES, Table, number_field, text_field

DIETS = ("vegetarian", "vegan")
# The gravest first: the answer of a dish is the gravest of its lines.
DIET_ANSWERS = ("does-not-suit", "unknown", "suits")
# The substances of Regulation (EU) No 1169/2011, Annex II, in its order; from memory.
ALLERGENS = (
    "cereals-with-gluten", "crustaceans", "eggs", "fish", "peanuts", "soya", "milk", "nuts", "celery", "mustard", "sesame",
    "sulphites", "lupin", "molluscs",
)
# Nothing is ever declared free of an allergen: what was not found is not assessed.
ALLERGEN_STATUSES = ("contains", "may-contain-through", "not-assessed")
FOUND_IN = ("words", "other choice", "entry", "class", "line")
SINGLE_KINDS = ("plant", "animal", "additive")
PHOSPHORUS_KINDS = (*SINGLE_KINDS, "plant-or-animal", "plant-or-additive", "animal-or-additive", "not-told")
ELEMENTS = ("phosphate", "potassium", "phosphate-and-potassium", "phosphate-and-sodium")


class SuitabilityEvidence(Table):
    """One row per line and thing found in it: ``subject`` is a diet or an allergen, ``answer`` what the line says of it,
    ``through`` the words that showed it and ``found_in`` where they stand."""

    recipe_id: Series[str] = text_field(str_matches=RECIPE_ID)
    variant_id: Series[str] = text_field(str_matches=RECIPE_ID)
    line_no: Series[int] = pa.Field(ge=1)
    line_id: Series[str] = text_field(str_matches=LINE_ID)
    subject: Series[str] = text_field(isin=(*DIETS, *ALLERGENS))
    answer: Series[str] = text_field(isin=(*DIET_ANSWERS, *ALLERGEN_STATUSES[:2]))
    through: Series[str] = text_field(str_length={"min_value": 1})
    found_in: Series[str] = text_field(isin=FOUND_IN)
    source_id: Series[str] = text_field()


class DietVerdicts(Table):
    """One row per variant and diet. ``lines``: the numbers of the lines that decide, joined by ", "."""

    recipe_id: Series[str] = text_field(str_matches=RECIPE_ID)
    variant_id: Series[str] = text_field(str_matches=RECIPE_ID)
    diet: Series[str] = text_field(isin=DIETS)
    verdict: Series[str] = text_field(isin=DIET_ANSWERS)
    lines: Series[str] = text_field()
    reason: Series[str] = text_field()

    @pa.dataframe_check(error="a dish that does not suit, or may not, gives no reason")
    def other_than_suits_has_reason(cls, table: pd.DataFrame) -> Series[bool]:
        return (table["verdict"] == "suits") | (table["reason"] != "")


class AllergenStatements(Table):
    """One row per variant and allergen of Annex II. ``not-assessed`` does not mean that a dish is free of it."""

    recipe_id: Series[str] = text_field(str_matches=RECIPE_ID)
    variant_id: Series[str] = text_field(str_matches=RECIPE_ID)
    allergen: Series[str] = text_field(isin=ALLERGENS)
    status: Series[str] = text_field(isin=ALLERGEN_STATUSES)
    lines: Series[str] = text_field()
    reason: Series[str] = text_field(str_length={"min_value": 1})

    @pa.dataframe_check(error="a statement names no line, or one that was not made does")
    def stated_has_lines(cls, table: pd.DataFrame) -> Series[bool]:
        return (table["status"] == "not-assessed") == (table["lines"] == "")


class PhosphorusByKind(Table):
    """One row per variant, basis (recipe, portion) and kind: phosphorus in mg with its 90 % interval, the published range of
    the fraction that is absorbed of this kind, and how much that makes. Kind ``all`` is the sum, which has no range of its own. Null
    where the figure of phosphorus is withheld; ``status`` and ``reason`` are that figure's, ``source_id`` the range's."""

    recipe_id: Series[str] = text_field(str_matches=RECIPE_ID)
    variant_id: Series[str] = text_field(str_matches=RECIPE_ID)
    basis: Series[str] = text_field(isin=BASES)
    kind: Series[str] = text_field(isin=(*PHOSPHORUS_KINDS, "all"))
    phosphorus_mg: Series[float] = number_field(ge=0)
    low_mg: Series[float] = number_field(ge=0)
    high_mg: Series[float] = number_field(ge=0)
    absorption_low_fraction: Series[float] = number_field(gt=0, le=1)
    absorption_high_fraction: Series[float] = number_field(gt=0, le=1)
    absorbed_mg: Series[float] = number_field(ge=0)
    absorbed_low_mg: Series[float] = number_field(ge=0)
    absorbed_high_mg: Series[float] = number_field(ge=0)
    lines: Series[str] = text_field()
    status: Series[str] = text_field(isin=STATUSES)
    reason: Series[str] = text_field()
    source_id: Series[str] = text_field(str_length={"min_value": 1})

    @pa.dataframe_check(error="a withheld figure shows a number, or another one shows none")
    def withheld_is_empty(cls, table: pd.DataFrame) -> Series[bool]:
        return (table["status"] == "withheld") == table["phosphorus_mg"].isna()

    @pa.dataframe_check(error="a number is outside its own interval")
    def interval_is_ordered(cls, table: pd.DataFrame) -> Series[bool]:
        inside = table["phosphorus_mg"].between(table["low_mg"], table["high_mg"])
        absorbed = table["absorbed_mg"].between(table["absorbed_low_mg"], table["absorbed_high_mg"])
        return table["phosphorus_mg"].isna() | (inside & absorbed)


class PhosphorusToProtein(Table):
    """One row per variant: mg of phosphorus per g of protein with its 90 % interval; null, with the reason, where either is not known."""

    recipe_id: Series[str] = text_field(str_matches=RECIPE_ID)
    variant_id: Series[str] = text_field(str_matches=RECIPE_ID)
    mg_per_g: Series[float] = number_field(ge=0)
    low_mg_per_g: Series[float] = number_field(ge=0)
    high_mg_per_g: Series[float] = number_field(ge=0)
    status: Series[str] = text_field(isin=STATUSES)
    reason: Series[str] = text_field()

    @pa.dataframe_check(error="a ratio without a number gives no reason")
    def empty_has_reason(cls, table: pd.DataFrame) -> Series[bool]:
        return table["mg_per_g"].notna() | (table["reason"] != "")


class AdditiveFlags(Table):
    """One row per line and sign of a phosphate or potassium additive; ``counted``: whether the line is in the sums of its variant."""

    recipe_id: Series[str] = text_field(str_matches=RECIPE_ID)
    variant_id: Series[str] = text_field(str_matches=RECIPE_ID)
    line_no: Series[int] = pa.Field(ge=1)
    line_id: Series[str] = text_field(str_matches=LINE_ID)
    counted: Series[bool]
    additive_id: Series[str] = text_field(str_length={"min_value": 1})
    element: Series[str] = text_field(isin=ELEMENTS)
    severity: Series[str] = text_field(isin=SEVERITIES)
    through: Series[str] = text_field(str_length={"min_value": 1})
    found_in: Series[str] = text_field(isin=FOUND_IN)
    what: Series[str] = text_field(str_length={"min_value": 1})
    remedy: Series[str] = text_field(str_length={"min_value": 1})
    source_id: Series[str] = text_field(str_length={"min_value": 1})
