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

from pipeline.composition_form import Entries, Values  # noqa: F401 - part of the map
from pipeline.cooking_form import TwoRoutes  # noqa: F401 - part of the map
from pipeline.schema import (
    AGREEMENTS, AMOUNT_RULES, BASES, INPUT_KINDS, LINE_ID, LINE_KINDS, LINE_REASONS, LIQUIDS, METHODS, OUTCOMES, RECIPE_ID, STATES, STATUSES,
    VALUE_TYPES, VERDICTS, Table, checked, columns, empty, number_field, text_field, violations,  # noqa: F401 - found here
)
from pipeline.swaps_form import ProteinAdditions, Swaps  # noqa: F401 - part of the map
from pipeline.versions_form import PrintChanges, VersionFigures, Versions  # noqa: F401 - part of the map


# ---------------------------------------------------------------- ingest

class Recipes(Table):
    """One row per recipe as written."""

    recipe_id: Series[str] = text_field(str_matches=RECIPE_ID, unique=True)
    name: Series[str] = text_field(str_length={"min_value": 1})
    portions: Series[float] = pa.Field(gt=0, le=1000)
    units_system: Series[str] = text_field(isin=("uk", "us", "metric"))
    food_form: Series[str] = text_field(isin=("solid", "liquid"))
    finished_mass_g: Series[float] = number_field(gt=0)
    course: Series[str] = text_field()
    source_file: Series[str] = text_field()
    source_line: Series[int] = pa.Field(ge=0)


class Variants(Table):
    """One row per recipe and variant; every recipe has ``base``, the recipe as written
    without the lines it calls optional. A ``version`` is the recipe as made or as printed."""

    recipe_id: Series[str] = text_field(str_matches=RECIPE_ID)
    variant_id: Series[str] = text_field(str_matches=RECIPE_ID)
    name: Series[str] = text_field()
    kind: Series[str] = text_field(isin=("base", "written", "optional", "version"))
    portions: Series[float] = pa.Field(gt=0, le=1000)


class Lines(Table):
    """One row per ingredient line of every variant, the words as written."""

    recipe_id: Series[str] = text_field(str_matches=RECIPE_ID)
    variant_id: Series[str] = text_field(str_matches=RECIPE_ID)
    line_no: Series[int] = pa.Field(ge=1)
    line_id: Series[str] = text_field(str_matches=LINE_ID, unique=True)
    text: Series[str] = text_field()
    section: Series[str] = text_field()
    origin: Series[str] = text_field(isin=("base", "added", "replaced", "changed"))
    source_file: Series[str] = text_field()
    source_line: Series[int] = pa.Field(ge=0)


class Steps(Table):
    """One row per method step of every variant, the words as written."""

    recipe_id: Series[str] = text_field(str_matches=RECIPE_ID)
    variant_id: Series[str] = text_field(str_matches=RECIPE_ID)
    step_no: Series[int] = pa.Field(ge=1)
    text: Series[str] = text_field()


class Published(Table):
    """Figures that are in print for a recipe (one row per component, unit and basis)."""

    recipe_id: Series[str] = text_field(str_matches=RECIPE_ID)
    variant_id: Series[str] = text_field(str_matches=RECIPE_ID)
    component: Series[str] = text_field()
    basis: Series[str] = text_field(isin=BASES)
    value: Series[float] = pa.Field(ge=0)
    unit: Series[str] = text_field()
    printed_in: Series[str] = text_field()


# ---------------------------------------------------------------- parse

class Parsed(Table):
    """One row per line: what the words say. ``quantity_low`` = ``quantity_high`` when one
    number is written; both null when none is. ``each_*`` is the size of one unit
    ("2 x 400 g tins": quantity 2, unit ``tin``, each_quantity 400, each_unit ``g``)."""

    line_id: Series[str] = text_field(str_matches=LINE_ID, unique=True)
    text: Series[str] = text_field()
    kind: Series[str] = text_field(isin=LINE_KINDS)
    quantity_low: Series[float] = number_field(ge=0)
    quantity_high: Series[float] = number_field(ge=0)
    unit: Series[str] = text_field()
    each_quantity: Series[float] = number_field(gt=0)
    each_unit: Series[str] = text_field()
    size: Series[str] = text_field(isin=("", "baby", "small", "medium", "large"))
    phrase: Series[str] = text_field()
    state: Series[str] = text_field(isin=STATES)
    preparation: Series[str] = text_field()
    optional: Series[bool] = pa.Field()
    amount_rule: Series[str] = text_field(isin=AMOUNT_RULES)
    alternative: Series[str] = text_field()
    note: Series[str] = text_field()
    leftover: Series[str] = text_field()
    parse_confidence: Series[float] = pa.Field(ge=0, le=1)
    parse_reason: Series[str] = text_field()

    @pa.dataframe_check(error="quantity_low is above quantity_high")
    def range_is_ordered(cls, table: pd.DataFrame) -> Series[bool]:
        return ~(table["quantity_low"] > table["quantity_high"])


# ---------------------------------------------------------------- match

class Matched(Table):
    """One row per line: the entry it was matched to, and how sure that is."""

    line_id: Series[str] = text_field(str_matches=LINE_ID, unique=True)
    table: Series[str] = text_field()
    entry_id: Series[str] = text_field()
    entry_name: Series[str] = text_field()
    match_confidence: Series[float] = pa.Field(ge=0, le=1)
    match_outcome: Series[str] = text_field(isin=OUTCOMES)
    match_reason: Series[str] = text_field()
    decision_id: Series[str] = text_field()

    @pa.dataframe_check(error="an accepted line names no entry")
    def accepted_has_entry(cls, table: pd.DataFrame) -> Series[bool]:
        return ~((table["match_outcome"] == "accepted") & (table["entry_id"] == ""))


class Candidates(Table):
    """The ranked candidates behind each match; probabilities of one line sum to at most 1."""

    line_id: Series[str] = text_field(str_matches=LINE_ID)
    rank: Series[int] = pa.Field(ge=1)
    entry_id: Series[str] = text_field()
    entry_name: Series[str] = text_field()
    score: Series[float] = pa.Field(ge=0)
    probability: Series[float] = pa.Field(ge=0, le=1)


# ---------------------------------------------------------------- weigh

class Weighed(Table):
    """One row per line: the mass as purchased = quantity x measure (x density), and the
    edible portion of it. ``measure_value`` is in ``measure_unit`` (g or ml) per unit of
    quantity. All null when the line cannot be weighed; ``weigh_reason`` then says why."""

    line_id: Series[str] = text_field(str_matches=LINE_ID, unique=True)
    quantity: Series[float] = number_field(ge=0)
    quantity_low: Series[float] = number_field(ge=0)
    quantity_high: Series[float] = number_field(ge=0)
    measure_id: Series[str] = text_field()
    measure_value: Series[float] = number_field(ge=0)
    measure_low: Series[float] = number_field(ge=0)
    measure_high: Series[float] = number_field(ge=0)
    measure_unit: Series[str] = text_field(isin=("", "g", "ml"))
    density_id: Series[str] = text_field()
    density_g_per_ml: Series[float] = number_field(gt=0)
    density_low: Series[float] = number_field(gt=0)
    density_high: Series[float] = number_field(gt=0)
    mass_g: Series[float] = number_field(ge=0)
    mass_low_g: Series[float] = number_field(ge=0)
    mass_high_g: Series[float] = number_field(ge=0)
    edible_id: Series[str] = text_field()
    edible_fraction: Series[float] = number_field(ge=0, le=1)
    edible_low: Series[float] = number_field(ge=0, le=1)
    edible_high: Series[float] = number_field(ge=0, le=1)
    edible_g: Series[float] = number_field(ge=0)
    assumption: Series[str] = text_field()
    weigh_reason: Series[str] = text_field()


# ---------------------------------------------------------------- cook

class Cooked(Table):
    """One row per line: what the method text did to it. ``evidence`` is the words that
    showed it; ``yield_fraction`` is cooked over raw edible mass; ``chain`` lists the
    cooking steps in order, for example ``boil:drained > bake``."""

    line_id: Series[str] = text_field(str_matches=LINE_ID, unique=True)
    method: Series[str] = text_field(isin=METHODS)
    liquid: Series[str] = text_field(isin=LIQUIDS)
    chain: Series[str] = text_field()
    minutes: Series[float] = number_field(ge=0)
    evidence: Series[str] = text_field()
    method_confidence: Series[float] = pa.Field(ge=0, le=1)
    decision_id: Series[str] = text_field()
    cooking_class: Series[str] = text_field()
    retention_code: Series[str] = text_field()
    yield_id: Series[str] = text_field()
    yield_fraction: Series[float] = number_field(ge=0)
    yield_low: Series[float] = number_field(ge=0)
    yield_high: Series[float] = number_field(ge=0)
    cook_reason: Series[str] = text_field()


class Retentions(Table):
    """One row per line and component: the fraction that stays on the plate."""

    line_id: Series[str] = text_field(str_matches=LINE_ID)
    component: Series[str] = text_field()
    retention_id: Series[str] = text_field()
    retention_fraction: Series[float] = pa.Field(ge=0, le=2)
    retention_low: Series[float] = pa.Field(ge=0, le=2)
    retention_high: Series[float] = pa.Field(ge=0, le=2)


# ---------------------------------------------------------------- total

class Settled(Table):
    """One row per line: everything the earlier stages found, in one outcome with a reason.
    The released ``lines`` table; ``counted`` says whether the line is in its variant's sums."""

    recipe_id: Series[str] = text_field(str_matches=RECIPE_ID)
    variant_id: Series[str] = text_field(str_matches=RECIPE_ID)
    line_no: Series[int] = pa.Field(ge=1)
    text: Series[str] = text_field()
    quantity_low: Series[float] = number_field(ge=0)
    quantity_high: Series[float] = number_field(ge=0)
    unit: Series[str] = text_field()
    phrase: Series[str] = text_field()
    state: Series[str] = text_field(isin=STATES)
    optional: Series[bool] = pa.Field()
    table: Series[str] = text_field()
    entry_id: Series[str] = text_field()
    entry_name: Series[str] = text_field()
    match_confidence: Series[float] = pa.Field(ge=0, le=1)
    outcome: Series[str] = text_field(isin=OUTCOMES)
    mass_g: Series[float] = number_field(ge=0)
    mass_low_g: Series[float] = number_field(ge=0)
    mass_high_g: Series[float] = number_field(ge=0)
    edible_g: Series[float] = number_field(ge=0)
    method: Series[str] = text_field()
    yield_fraction: Series[float] = number_field(ge=0)
    cooked_g: Series[float] = number_field(ge=0)
    reason: Series[str] = text_field(isin=LINE_REASONS)
    counted: Series[bool] = pa.Field()
    confidence: Series[float] = pa.Field(ge=0, le=1)
    line_id: Series[str] = text_field(str_matches=LINE_ID, unique=True)

    @pa.dataframe_check(error="a counted food line has no edible mass")
    def counted_has_mass(cls, table: pd.DataFrame) -> Series[bool]:
        counted = table["counted"] & (table["outcome"] == "accepted")
        return ~(counted & table["edible_g"].isna())


class Contributions(Table):
    """One row per counted line and component: ``amount`` = edible_g x value_per_100g / 100
    x retention_fraction, in the component's unit. ``amount`` is null where the table has
    no value. The ``*_input`` columns name rows of :class:`Inputs`."""

    recipe_id: Series[str] = text_field(str_matches=RECIPE_ID)
    variant_id: Series[str] = text_field(str_matches=RECIPE_ID)
    line_no: Series[int] = pa.Field(ge=1)
    line_id: Series[str] = text_field(str_matches=LINE_ID)
    component: Series[str] = text_field()
    unit: Series[str] = text_field()
    edible_g: Series[float] = pa.Field(ge=0)
    value_per_100g: Series[float] = number_field(ge=0)
    value_type: Series[str] = text_field(isin=VALUE_TYPES)
    retention_fraction: Series[float] = pa.Field(ge=0)
    amount: Series[float] = number_field(ge=0)
    composition_input: Series[str] = text_field()
    match_input: Series[str] = text_field()
    retention_input: Series[str] = text_field()


class Inputs(Table):
    """One row per uncertain input: the leaves of the propagation. Two contributions that
    name the same input share its error. ``standard_uncertainty`` is in the unit of the
    value: (high - low) / 3.29 where the interval is given, else as ``basis`` says."""

    input_id: Series[str] = text_field(unique=True)
    kind: Series[str] = text_field(isin=INPUT_KINDS)
    value: Series[float] = pa.Field(ge=0)
    low: Series[float] = pa.Field(ge=0)
    high: Series[float] = pa.Field(ge=0)
    standard_uncertainty: Series[float] = pa.Field(ge=0)
    unit: Series[str] = text_field()
    source_id: Series[str] = text_field(str_length={"min_value": 1})
    source_row: Series[str] = text_field()
    basis: Series[str] = text_field()


class Figures(Table):
    """The released figures. ``value`` is null when ``status`` is ``withheld``."""

    figure_id: Series[str] = text_field(unique=True)
    recipe_id: Series[str] = text_field(str_matches=RECIPE_ID)
    variant_id: Series[str] = text_field(str_matches=RECIPE_ID)
    component: Series[str] = text_field()
    basis: Series[str] = text_field(isin=BASES)
    value: Series[float] = number_field(ge=0)
    low: Series[float] = number_field(ge=0)
    high: Series[float] = number_field(ge=0)
    unit: Series[str] = text_field()
    coverage: Series[float] = pa.Field(ge=0, le=1)
    confidence: Series[float] = pa.Field(ge=0, le=1)
    status: Series[str] = text_field(isin=STATUSES)
    reason: Series[str] = text_field()

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

class Verdicts(Table):
    """One row per variant, audience and claim; the component, figure and limit are those
    of the condition that decides. ``margin`` is the headroom from the near end of the
    interval to the limit, as a fraction of the limit; negative when it does not hold.
    ``probability`` (``judge_probability``) is null where it cannot be told; ``headroom`` and
    ``decisive`` (``judge_headroom``) are words, empty where there is nothing to say. ``status`` is the worst of the
    figures that the verdict rests on, "" where it rests on none: what holds on a figure to check waits for a person."""

    recipe_id: Series[str] = text_field(str_matches=RECIPE_ID)
    variant_id: Series[str] = text_field(str_matches=RECIPE_ID)
    audience: Series[str] = text_field()
    claim: Series[str] = text_field()
    verdict: Series[str] = text_field(isin=VERDICTS)
    component: Series[str] = text_field()
    value: Series[float] = number_field()
    low: Series[float] = number_field()
    high: Series[float] = number_field()
    limit: Series[float] = number_field()
    unit: Series[str] = text_field()
    margin: Series[float] = number_field()
    source_id: Series[str] = text_field(str_length={"min_value": 1})
    basis: Series[str] = text_field()
    kind: Series[str] = text_field(isin=("regulated-claim", "local-limit"))
    reason: Series[str] = text_field()
    probability: Series[float] = number_field(ge=0, le=1)
    headroom: Series[str] = text_field()
    decisive: Series[str] = text_field()
    comparator: Series[str] = text_field(isin=("", "<=", "<", ">=", ">"))
    status: Series[str] = text_field(isin=("", *STATUSES))


class Findings(Table):
    """What the audit noticed, one row each."""

    finding_id: Series[str] = text_field(unique=True)
    severity: Series[str] = text_field(isin=("error", "warning", "note"))
    check: Series[str] = text_field()
    recipe_id: Series[str] = text_field(str_matches=RECIPE_ID)
    variant_id: Series[str] = text_field(str_matches=RECIPE_ID)
    line_no: Series[int] = pa.Field(ge=0)
    component: Series[str] = text_field()
    what: Series[str] = text_field(str_length={"min_value": 1})
    value: Series[float] = number_field()
    expected_low: Series[float] = number_field()
    expected_high: Series[float] = number_field()
    unit: Series[str] = text_field()
    remedy: Series[str] = text_field(str_length={"min_value": 1})
    source_id: Series[str] = text_field()


class Worklist(Table):
    """Unsettled lines, the one that would settle most first."""

    rank: Series[int] = pa.Field(ge=1, unique=True)
    recipe_id: Series[str] = text_field(str_matches=RECIPE_ID)
    variant_id: Series[str] = text_field(str_matches=RECIPE_ID)
    line_no: Series[int] = pa.Field(ge=1)
    text: Series[str] = text_field()
    reason: Series[str] = text_field()
    figures_withheld: Series[int] = pa.Field(ge=0)
    figures_to_check: Series[int] = pa.Field(ge=0)
    verdicts_waiting: Series[int] = pa.Field(ge=0)
    candidates: Series[str] = text_field()
    remedy: Series[str] = text_field(str_length={"min_value": 1})
