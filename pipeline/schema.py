"""What every table's model is made of: closed word lists, field kinds, and validation into problems."""

from __future__ import annotations

import pandas as pd
import pandera.pandas as pa

from pipeline.problems import InputError, Problem

RECIPE_ID = r"^[a-z0-9][a-z0-9-]*$"
LINE_ID = r"^[a-z0-9][a-z0-9-]*/[a-z0-9][a-z0-9-]*/\d+$"

OUTCOMES = ("accepted", "review", "none", "not-food")
STATUSES = ("ready", "check", "withheld")
VERDICTS = ("holds", "fails", "uncertain", "not-assessable")
BASES = ("recipe", "portion", "100g")
VALUE_TYPES = (
    "analysed", "calculated", "imputed", "borrowed", "zero", "trace", "below-detection", "missing",
)
STATES = ("", "raw", "dried", "canned", "drained", "frozen", "cooked", "smoked", "pickled")
AMOUNT_RULES = ("stated", "to-taste", "to-serve", "for-cooking", "none")
# Why a settled line ended as it did. Reading gives too-long to no-food-words, matching the rows from
# decided to reading-in-doubt, weighing the last ones.
LINE_REASONS = (
    "settled", "optional-left-out", "heading", "not-food",
    "unreadable", "too-long", "negative-quantity", "absurd-quantity", "no-food-words",
    "decided", "decided-none", "no-candidate", "words-not-covered", "head-differs", "state-differs",
    "cooked-otherwise", "level-differs", "class-only", "word-guessed", "words-left-over", "ambiguous-words", "salt-in-doubt",
    "decisions-conflict", "alternative-refused", "much-at-stake", "close-call", "not-sure",
    "reading-in-doubt",
    "no-quantity", "no-measure", "no-density", "no-entry",
)
LINE_KINDS = ("food", "heading", "not-food", "unreadable")
METHODS = (
    "raw", "boil", "simmer", "steam", "fry", "stir-fry", "bake", "grill", "microwave", "soak", "reheat",
)
LIQUIDS = ("", "kept", "drained")
INPUT_KINDS = (
    "quantity", "measure", "density", "edible", "composition", "match", "retention", "yield", "routes", "finished-mass",
)
# How the cooked entry stands to the raw one and its factors: within their reach, beyond it, or with no interval in common.
AGREEMENTS = ("within", "widened", "apart")


def text_field(**checks) -> pa.Field:
    return pa.Field(nullable=False, **checks)


def number_field(**checks) -> pa.Field:
    return pa.Field(nullable=True, **checks)


class Table(pa.DataFrameModel):
    class Config:
        strict = True
        coerce = True


def columns(model: type[pa.DataFrameModel]) -> list[str]:
    """The column names of a model, in declared order."""
    return list(model.to_schema().columns)


def empty(model: type[pa.DataFrameModel]) -> pd.DataFrame:
    """A table without rows that has the model's columns and types."""
    return model.validate(pd.DataFrame({name: [] for name in columns(model)}))


def violations(model: type[pa.DataFrameModel], table: pd.DataFrame, stage: str, remedy: str) -> list[Problem]:
    """Every way in which ``table`` breaks ``model``, as problems that name the row.

    The row is named by ``line_id``, ``figure_id`` or ``recipe_id`` where the table has one.
    """
    try:
        model.validate(table, lazy=True)
    except pa.errors.SchemaErrors as error:
        found = [_violation(model, table, row, stage, remedy) for row in error.failure_cases.to_dict("records")]
        return list(dict.fromkeys(found))  # a whole-row rule is reported once per column: keep one
    return []


def _violation(model, table, row, stage, remedy) -> Problem:
    key = next((name for name in ("line_id", "figure_id", "recipe_id", "entry_id") if name in table.columns), None)
    index = row["index"]
    known = key is not None and index is not None and not pd.isna(index) and index in table.index
    named = str(table.at[index, key]) if known else "whole table"
    recipe_id = str(table.at[index, "recipe_id"]) if known and "recipe_id" in table.columns else named.split("/")[0]
    whole_row = row["schema_context"] == "DataFrameSchema"
    column = "" if whole_row else f" column {row['column']}"
    named_column = row["check"] in ("column_in_dataframe", "column_in_schema")
    shown = f" (found {row['failure_case']!r})" if named_column or not (whole_row or pd.isna(row["failure_case"])) else ""
    return Problem(
        where=f"{stage}: {model.__name__} row {named}{column}", what=f"breaks the rule {row['check']!r}{shown}",
        remedy=remedy, code="table-rule", stage=stage, recipe_id=recipe_id if known else "",
    )


def checked(model: type[pa.DataFrameModel], table: pd.DataFrame, stage: str) -> pd.DataFrame:
    """``table`` with the model's columns in order and its types.

    Raises :class:`pipeline.problems.InputError` naming every offending row.
    """
    ordered = table[columns(model)] if set(columns(model)) == set(table.columns) else table
    try:
        return model.validate(ordered, lazy=True).reset_index(drop=True)
    except pa.errors.SchemaErrors:
        raise InputError(violations(model, ordered, stage, "Correct the row, or report a defect in this stage")) from None
