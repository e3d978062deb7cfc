"""The common form of a composition table, whatever format it was published in."""

from __future__ import annotations

import pandas as pd
import pandera.pandas as pa
from pandera.typing import Series

from pipeline.schema import STATES, VALUE_TYPES, Table, number_field, text_field


class Entries(Table):
    """The foods of one composition table."""

    entry_id: Series[str] = text_field(unique=True, str_length={"min_value": 1})
    name: Series[str] = text_field(str_length={"min_value": 1})
    common_names: Series[str] = text_field()
    food_group: Series[str] = text_field()
    state: Series[str] = text_field(isin=STATES)
    cooking_class: Series[str] = text_field()
    refuse_fraction: Series[float] = number_field(ge=0, lt=1)
    refuse_description: Series[str] = text_field()
    source_id: Series[str] = text_field(str_length={"min_value": 1})
    source_row: Series[str] = text_field(str_length={"min_value": 1})


class Values(Table):
    """One row per entry, component and unit, per 100 g edible portion. A missing value has
    a row of type ``missing`` with a null value; a present zero has type ``zero``."""

    entry_id: Series[str] = text_field(str_length={"min_value": 1})
    component: Series[str] = text_field(str_length={"min_value": 1})
    value: Series[float] = number_field(ge=0)
    unit: Series[str] = text_field(str_length={"min_value": 1})
    value_type: Series[str] = text_field(isin=VALUE_TYPES)
    n: Series[float] = number_field(ge=0)
    standard_error: Series[float] = number_field(ge=0)
    minimum: Series[float] = number_field(ge=0)
    maximum: Series[float] = number_field(ge=0)
    derivation: Series[str] = text_field()
    source_id: Series[str] = text_field(str_length={"min_value": 1})
    source_row: Series[str] = text_field(str_length={"min_value": 1})

    @pa.dataframe_check(error="a missing value carries a number, or a present one carries none")
    def missing_is_null(cls, table: pd.DataFrame) -> Series[bool]:
        return (table["value_type"] == "missing") == table["value"].isna()

    @pa.dataframe_check(error="a value of type zero is not zero")
    def zero_is_zero(cls, table: pd.DataFrame) -> Series[bool]:
        return ~((table["value_type"] == "zero") & (table["value"] != 0))
