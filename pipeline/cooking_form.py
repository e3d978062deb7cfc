"""What cooking is held against: the second route to what a line keeps."""

from __future__ import annotations

import pandera.pandas as pa
from pandera.typing import Series

from pipeline.schema import AGREEMENTS, LINE_ID, Table, text_field


class TwoRoutes(Table):
    """One row per counted line and component that the table has cooked in the line's manner too:
    what the line keeps, per 100 g of the raw food, by raw value x retention and by cooked value x yield.
    ``*_error``: the standard error of the table's mean. ``relative_difference`` is over the
    mean of both; ``routes_input`` names the row of Inputs that the disagreement adds."""

    line_id: Series[str] = text_field(str_matches=LINE_ID)
    component: Series[str] = text_field()
    unit: Series[str] = text_field()
    raw_entry_id: Series[str] = text_field()
    cooked_entry_id: Series[str] = text_field()
    raw_value: Series[float] = pa.Field(ge=0)
    raw_error: Series[float] = pa.Field(ge=0)
    retention_id: Series[str] = text_field()
    by_retention: Series[float] = pa.Field(ge=0)
    by_retention_low: Series[float] = pa.Field(ge=0)
    by_retention_high: Series[float] = pa.Field(ge=0)
    cooked_value: Series[float] = pa.Field(ge=0)
    cooked_error: Series[float] = pa.Field(ge=0)
    yield_id: Series[str] = text_field()
    yield_fraction: Series[float] = pa.Field(ge=0)
    yield_low: Series[float] = pa.Field(ge=0)
    yield_high: Series[float] = pa.Field(ge=0)
    by_cooked: Series[float] = pa.Field(ge=0)
    by_cooked_low: Series[float] = pa.Field(ge=0)
    by_cooked_high: Series[float] = pa.Field(ge=0)
    relative_difference: Series[float] = pa.Field(ge=0, le=2)
    agreement: Series[str] = text_field(isin=AGREEMENTS)
    added_uncertainty: Series[float] = pa.Field(ge=0)
    routes_input: Series[str] = text_field()
    source_id: Series[str] = text_field(str_length={"min_value": 1})
    source_row: Series[str] = text_field()
