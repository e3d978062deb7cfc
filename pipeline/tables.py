"""The map of the data: one strict pandera model per table that passes between stages.

Text columns are never null: an empty string means "not said" or "does not apply".
Numbers are null (NaN) when unknown, never zero. Units stand in the names.
``low`` and ``high`` are the ends of a 90 % interval everywhere.

A key that occurs in several tables always means the same thing:
``recipe_id`` / ``variant_id`` / ``line_no`` name a line; ``line_id`` is the three
joined by "/"; ``component`` is an INFOODS tagname; ``entry_id`` is an entry of the
composition ``table``.
"""

from __future__ import annotations

import pandas as pd
import pandera.pandas as pa
from pandera.typing import Series

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
    "decided", "decided-none", "no-candidate", "words-not-covered", "head-differs", "state-differs", "close-call",
    "reading-in-doubt",
    "no-quantity", "no-measure", "no-density", "no-entry",
)
LINE_KINDS = ("food", "heading", "not-food", "unreadable")
METHODS = (
    "raw", "boil", "simmer", "steam", "fry", "stir-fry", "bake", "grill", "microwave", "soak", "reheat",
)
LIQUIDS = ("", "kept", "drained")
INPUT_KINDS = (
    "quantity", "measure", "density", "edible", "composition", "match", "retention", "yield", "finished-mass",
)


def _text(**checks) -> pa.Field:
    return pa.Field(nullable=False, **checks)


def _number(**checks) -> pa.Field:
    return pa.Field(nullable=True, **checks)


class _Table(pa.DataFrameModel):
    class Config:
        strict = True
        coerce = True


# ---------------------------------------------------------------- ingest

class Recipes(_Table):
    """One row per recipe as written."""

    recipe_id: Series[str] = _text(str_matches=RECIPE_ID, unique=True)
    name: Series[str] = _text(str_length={"min_value": 1})
    portions: Series[float] = pa.Field(gt=0, le=1000)
    units_system: Series[str] = _text(isin=("uk", "us", "metric"))
    food_form: Series[str] = _text(isin=("solid", "liquid"))
    finished_mass_g: Series[float] = _number(gt=0)
    course: Series[str] = _text()
    source_file: Series[str] = _text()
    source_line: Series[int] = pa.Field(ge=0)


class Variants(_Table):
    """One row per recipe and variant; every recipe has ``base``, the recipe as written
    without the lines it calls optional."""

    recipe_id: Series[str] = _text(str_matches=RECIPE_ID)
    variant_id: Series[str] = _text(str_matches=RECIPE_ID)
    name: Series[str] = _text()
    kind: Series[str] = _text(isin=("base", "written", "optional"))
    portions: Series[float] = pa.Field(gt=0, le=1000)


class Lines(_Table):
    """One row per ingredient line of every variant, the words as written."""

    recipe_id: Series[str] = _text(str_matches=RECIPE_ID)
    variant_id: Series[str] = _text(str_matches=RECIPE_ID)
    line_no: Series[int] = pa.Field(ge=1)
    line_id: Series[str] = _text(str_matches=LINE_ID, unique=True)
    text: Series[str] = _text()
    section: Series[str] = _text()
    origin: Series[str] = _text(isin=("base", "added", "replaced"))
    source_file: Series[str] = _text()
    source_line: Series[int] = pa.Field(ge=0)


class Steps(_Table):
    """One row per method step of every variant, the words as written."""

    recipe_id: Series[str] = _text(str_matches=RECIPE_ID)
    variant_id: Series[str] = _text(str_matches=RECIPE_ID)
    step_no: Series[int] = pa.Field(ge=1)
    text: Series[str] = _text()


class Published(_Table):
    """Figures that are in print for a recipe (one row per component, unit and basis)."""

    recipe_id: Series[str] = _text(str_matches=RECIPE_ID)
    variant_id: Series[str] = _text(str_matches=RECIPE_ID)
    component: Series[str] = _text()
    basis: Series[str] = _text(isin=BASES)
    value: Series[float] = pa.Field(ge=0)
    unit: Series[str] = _text()
    printed_in: Series[str] = _text()


# ---------------------------------------------------------------- parse

class Parsed(_Table):
    """One row per line: what the words say. ``quantity_low`` = ``quantity_high`` when one
    number is written; both null when none is. ``each_*`` is the size of one unit
    ("2 x 400 g tins": quantity 2, unit ``tin``, each_quantity 400, each_unit ``g``)."""

    line_id: Series[str] = _text(str_matches=LINE_ID, unique=True)
    text: Series[str] = _text()
    kind: Series[str] = _text(isin=LINE_KINDS)
    quantity_low: Series[float] = _number(ge=0)
    quantity_high: Series[float] = _number(ge=0)
    unit: Series[str] = _text()
    each_quantity: Series[float] = _number(gt=0)
    each_unit: Series[str] = _text()
    size: Series[str] = _text(isin=("", "baby", "small", "medium", "large"))
    phrase: Series[str] = _text()
    state: Series[str] = _text(isin=STATES)
    preparation: Series[str] = _text()
    optional: Series[bool] = pa.Field()
    amount_rule: Series[str] = _text(isin=AMOUNT_RULES)
    alternative: Series[str] = _text()
    note: Series[str] = _text()
    leftover: Series[str] = _text()
    parse_confidence: Series[float] = pa.Field(ge=0, le=1)
    parse_reason: Series[str] = _text()

    @pa.dataframe_check(error="quantity_low is above quantity_high")
    def range_is_ordered(cls, table: pd.DataFrame) -> Series[bool]:
        return ~(table["quantity_low"] > table["quantity_high"])


# ---------------------------------------------------------------- match

class Matched(_Table):
    """One row per line: the entry it was matched to, and how sure that is."""

    line_id: Series[str] = _text(str_matches=LINE_ID, unique=True)
    table: Series[str] = _text()
    entry_id: Series[str] = _text()
    entry_name: Series[str] = _text()
    match_confidence: Series[float] = pa.Field(ge=0, le=1)
    match_outcome: Series[str] = _text(isin=OUTCOMES)
    match_reason: Series[str] = _text()
    decision_id: Series[str] = _text()

    @pa.dataframe_check(error="an accepted line names no entry")
    def accepted_has_entry(cls, table: pd.DataFrame) -> Series[bool]:
        return ~((table["match_outcome"] == "accepted") & (table["entry_id"] == ""))


class Candidates(_Table):
    """The ranked candidates behind each match; probabilities of one line sum to at most 1."""

    line_id: Series[str] = _text(str_matches=LINE_ID)
    rank: Series[int] = pa.Field(ge=1)
    entry_id: Series[str] = _text()
    entry_name: Series[str] = _text()
    score: Series[float] = pa.Field(ge=0)
    probability: Series[float] = pa.Field(ge=0, le=1)


# ---------------------------------------------------------------- weigh

class Weighed(_Table):
    """One row per line: the mass as purchased = quantity x measure (x density), and the
    edible portion of it. ``measure_value`` is in ``measure_unit`` (g or ml) per unit of
    quantity. All null when the line cannot be weighed; ``weigh_reason`` then says why."""

    line_id: Series[str] = _text(str_matches=LINE_ID, unique=True)
    quantity: Series[float] = _number(ge=0)
    quantity_low: Series[float] = _number(ge=0)
    quantity_high: Series[float] = _number(ge=0)
    measure_id: Series[str] = _text()
    measure_value: Series[float] = _number(ge=0)
    measure_low: Series[float] = _number(ge=0)
    measure_high: Series[float] = _number(ge=0)
    measure_unit: Series[str] = _text(isin=("", "g", "ml"))
    density_id: Series[str] = _text()
    density_g_per_ml: Series[float] = _number(gt=0)
    density_low: Series[float] = _number(gt=0)
    density_high: Series[float] = _number(gt=0)
    mass_g: Series[float] = _number(ge=0)
    mass_low_g: Series[float] = _number(ge=0)
    mass_high_g: Series[float] = _number(ge=0)
    edible_id: Series[str] = _text()
    edible_fraction: Series[float] = _number(ge=0, le=1)
    edible_low: Series[float] = _number(ge=0, le=1)
    edible_high: Series[float] = _number(ge=0, le=1)
    edible_g: Series[float] = _number(ge=0)
    assumption: Series[str] = _text()
    weigh_reason: Series[str] = _text()


# ---------------------------------------------------------------- cook

class Cooked(_Table):
    """One row per line: what the method text did to it. ``evidence`` is the words that
    showed it; ``yield_fraction`` is cooked over raw edible mass; ``chain`` lists the
    cooking steps in order, for example ``boil:drained > bake``."""

    line_id: Series[str] = _text(str_matches=LINE_ID, unique=True)
    method: Series[str] = _text(isin=METHODS)
    liquid: Series[str] = _text(isin=LIQUIDS)
    chain: Series[str] = _text()
    minutes: Series[float] = _number(ge=0)
    evidence: Series[str] = _text()
    method_confidence: Series[float] = pa.Field(ge=0, le=1)
    decision_id: Series[str] = _text()
    cooking_class: Series[str] = _text()
    retention_code: Series[str] = _text()
    yield_id: Series[str] = _text()
    yield_fraction: Series[float] = _number(ge=0)
    yield_low: Series[float] = _number(ge=0)
    yield_high: Series[float] = _number(ge=0)
    cook_reason: Series[str] = _text()


class Retentions(_Table):
    """One row per line and component: the fraction that stays on the plate."""

    line_id: Series[str] = _text(str_matches=LINE_ID)
    component: Series[str] = _text()
    retention_id: Series[str] = _text()
    retention_fraction: Series[float] = pa.Field(ge=0, le=2)
    retention_low: Series[float] = pa.Field(ge=0, le=2)
    retention_high: Series[float] = pa.Field(ge=0, le=2)


# ---------------------------------------------------------------- total

class Settled(_Table):
    """One row per line: everything the earlier stages found, in one outcome with a reason.
    The released ``lines`` table; ``counted`` says whether the line is in its variant's sums."""

    recipe_id: Series[str] = _text(str_matches=RECIPE_ID)
    variant_id: Series[str] = _text(str_matches=RECIPE_ID)
    line_no: Series[int] = pa.Field(ge=1)
    text: Series[str] = _text()
    quantity_low: Series[float] = _number(ge=0)
    quantity_high: Series[float] = _number(ge=0)
    unit: Series[str] = _text()
    phrase: Series[str] = _text()
    state: Series[str] = _text(isin=STATES)
    optional: Series[bool] = pa.Field()
    table: Series[str] = _text()
    entry_id: Series[str] = _text()
    entry_name: Series[str] = _text()
    match_confidence: Series[float] = pa.Field(ge=0, le=1)
    outcome: Series[str] = _text(isin=OUTCOMES)
    mass_g: Series[float] = _number(ge=0)
    mass_low_g: Series[float] = _number(ge=0)
    mass_high_g: Series[float] = _number(ge=0)
    edible_g: Series[float] = _number(ge=0)
    method: Series[str] = _text()
    yield_fraction: Series[float] = _number(ge=0)
    cooked_g: Series[float] = _number(ge=0)
    reason: Series[str] = _text(isin=LINE_REASONS)
    counted: Series[bool] = pa.Field()
    confidence: Series[float] = pa.Field(ge=0, le=1)
    line_id: Series[str] = _text(str_matches=LINE_ID, unique=True)

    @pa.dataframe_check(error="a counted food line has no edible mass")
    def counted_has_mass(cls, table: pd.DataFrame) -> Series[bool]:
        counted = table["counted"] & (table["outcome"] == "accepted")
        return ~(counted & table["edible_g"].isna())


class Contributions(_Table):
    """One row per counted line and component: ``amount`` = edible_g x value_per_100g / 100
    x retention_fraction, in the component's unit. ``amount`` is null where the table has
    no value. The ``*_input`` columns name rows of :class:`Inputs`."""

    recipe_id: Series[str] = _text(str_matches=RECIPE_ID)
    variant_id: Series[str] = _text(str_matches=RECIPE_ID)
    line_no: Series[int] = pa.Field(ge=1)
    line_id: Series[str] = _text(str_matches=LINE_ID)
    component: Series[str] = _text()
    unit: Series[str] = _text()
    edible_g: Series[float] = pa.Field(ge=0)
    value_per_100g: Series[float] = _number(ge=0)
    value_type: Series[str] = _text(isin=VALUE_TYPES)
    retention_fraction: Series[float] = pa.Field(ge=0)
    amount: Series[float] = _number(ge=0)
    composition_input: Series[str] = _text()
    match_input: Series[str] = _text()
    retention_input: Series[str] = _text()


class Inputs(_Table):
    """One row per uncertain input: the leaves of the propagation. Two contributions that
    name the same input share its error. ``standard_uncertainty`` is in the unit of the
    value: (high - low) / 3.29 where the interval is given, else as ``basis`` says."""

    input_id: Series[str] = _text(unique=True)
    kind: Series[str] = _text(isin=INPUT_KINDS)
    value: Series[float] = pa.Field(ge=0)
    low: Series[float] = pa.Field(ge=0)
    high: Series[float] = pa.Field(ge=0)
    standard_uncertainty: Series[float] = pa.Field(ge=0)
    unit: Series[str] = _text()
    source_id: Series[str] = _text(str_length={"min_value": 1})
    source_row: Series[str] = _text()
    basis: Series[str] = _text()


class Figures(_Table):
    """The released figures. ``value`` is null when ``status`` is ``withheld``."""

    figure_id: Series[str] = _text(unique=True)
    recipe_id: Series[str] = _text(str_matches=RECIPE_ID)
    variant_id: Series[str] = _text(str_matches=RECIPE_ID)
    component: Series[str] = _text()
    basis: Series[str] = _text(isin=BASES)
    value: Series[float] = _number(ge=0)
    low: Series[float] = _number(ge=0)
    high: Series[float] = _number(ge=0)
    unit: Series[str] = _text()
    coverage: Series[float] = pa.Field(ge=0, le=1)
    confidence: Series[float] = pa.Field(ge=0, le=1)
    status: Series[str] = _text(isin=STATUSES)
    reason: Series[str] = _text()

    @pa.dataframe_check(error="a withheld figure shows a value, or another figure shows none")
    def withheld_is_empty(cls, table: pd.DataFrame) -> Series[bool]:
        return (table["status"] == "withheld") == table["value"].isna()

    @pa.dataframe_check(error="the value is outside its own interval")
    def interval_is_ordered(cls, table: pd.DataFrame) -> Series[bool]:
        outside = (table["value"] < table["low"]) | (table["value"] > table["high"])
        return ~outside

    @pa.dataframe_check(error="a figure that is not ready gives no reason")
    def unready_has_reason(cls, table: pd.DataFrame) -> Series[bool]:
        return (table["status"] == "ready") | (table["reason"] != "")


# ---------------------------------------------------------------- judge and audit

class Verdicts(_Table):
    """One row per variant, audience and claim; the component, figure and limit are those
    of the condition that decides. ``margin`` is the headroom from the near end of the
    interval to the limit, as a fraction of the limit; negative when it does not hold."""

    recipe_id: Series[str] = _text(str_matches=RECIPE_ID)
    variant_id: Series[str] = _text(str_matches=RECIPE_ID)
    audience: Series[str] = _text()
    claim: Series[str] = _text()
    verdict: Series[str] = _text(isin=VERDICTS)
    component: Series[str] = _text()
    value: Series[float] = _number()
    low: Series[float] = _number()
    high: Series[float] = _number()
    limit: Series[float] = _number()
    unit: Series[str] = _text()
    margin: Series[float] = _number()
    source_id: Series[str] = _text(str_length={"min_value": 1})
    basis: Series[str] = _text()
    kind: Series[str] = _text(isin=("regulated-claim", "local-limit"))
    reason: Series[str] = _text()


class Findings(_Table):
    """What the audit noticed, one row each."""

    finding_id: Series[str] = _text(unique=True)
    severity: Series[str] = _text(isin=("error", "warning", "note"))
    check: Series[str] = _text()
    recipe_id: Series[str] = _text(str_matches=RECIPE_ID)
    variant_id: Series[str] = _text(str_matches=RECIPE_ID)
    line_no: Series[int] = pa.Field(ge=0)
    component: Series[str] = _text()
    what: Series[str] = _text(str_length={"min_value": 1})
    value: Series[float] = _number()
    expected_low: Series[float] = _number()
    expected_high: Series[float] = _number()
    unit: Series[str] = _text()
    remedy: Series[str] = _text(str_length={"min_value": 1})
    source_id: Series[str] = _text()


class Worklist(_Table):
    """Unsettled lines, the one that would settle most first."""

    rank: Series[int] = pa.Field(ge=1, unique=True)
    recipe_id: Series[str] = _text(str_matches=RECIPE_ID)
    variant_id: Series[str] = _text(str_matches=RECIPE_ID)
    line_no: Series[int] = pa.Field(ge=1)
    text: Series[str] = _text()
    reason: Series[str] = _text()
    figures_withheld: Series[int] = pa.Field(ge=0)
    figures_to_check: Series[int] = pa.Field(ge=0)
    verdicts_waiting: Series[int] = pa.Field(ge=0)
    candidates: Series[str] = _text()
    remedy: Series[str] = _text(str_length={"min_value": 1})


# ---------------------------------------------------------------- composition (common form)

class Entries(_Table):
    """The foods of one composition table."""

    entry_id: Series[str] = _text(unique=True, str_length={"min_value": 1})
    name: Series[str] = _text(str_length={"min_value": 1})
    common_names: Series[str] = _text()
    food_group: Series[str] = _text()
    state: Series[str] = _text(isin=STATES)
    cooking_class: Series[str] = _text()
    refuse_fraction: Series[float] = _number(ge=0, lt=1)
    refuse_description: Series[str] = _text()
    source_id: Series[str] = _text(str_length={"min_value": 1})
    source_row: Series[str] = _text(str_length={"min_value": 1})


class Values(_Table):
    """One row per entry, component and unit, per 100 g edible portion. A missing value has
    a row of type ``missing`` with a null value; a present zero has type ``zero``."""

    entry_id: Series[str] = _text(str_length={"min_value": 1})
    component: Series[str] = _text(str_length={"min_value": 1})
    value: Series[float] = _number(ge=0)
    unit: Series[str] = _text(str_length={"min_value": 1})
    value_type: Series[str] = _text(isin=VALUE_TYPES)
    n: Series[float] = _number(ge=0)
    standard_error: Series[float] = _number(ge=0)
    minimum: Series[float] = _number(ge=0)
    maximum: Series[float] = _number(ge=0)
    derivation: Series[str] = _text()
    source_id: Series[str] = _text(str_length={"min_value": 1})
    source_row: Series[str] = _text(str_length={"min_value": 1})

    @pa.dataframe_check(error="a missing value carries a number, or a present one carries none")
    def missing_is_null(cls, table: pd.DataFrame) -> Series[bool]:
        return (table["value_type"] == "missing") == table["value"].isna()

    @pa.dataframe_check(error="a value of type zero is not zero")
    def zero_is_zero(cls, table: pd.DataFrame) -> Series[bool]:
        return ~((table["value_type"] == "zero") & (table["value"] != 0))


# ---------------------------------------------------------------- validation

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
