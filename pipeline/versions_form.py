"""The tables on versions of a recipe and on what is in print: one model each (part of the map in ``pipeline.tables``)."""

from __future__ import annotations

import pandera.pandas as pa
from pandera.typing import Series

from pipeline.schema import BASES, RECIPE_ID, Table, number_field, text_field

# A line that only one of the two has, one that both have and that differs, the number of portions, the words of the method.
KINDS = ("dropped", "added", "changed", "portions", "method")
# What differs, in the order in which it is said; several are joined by "; ".
CHANGES = ("food", "state", "preparation", "amount", "optional", "cooking", "salted-water", "fat-at-the-end")
# The effects that are told of each difference: column -> component and unit.
EFFECTS = {"potassium_mg": ("K", "mg"), "phosphorus_mg": ("P", "mg"), "sodium_mg": ("NA", "mg"), "protein_g": ("PROCNT", "g")}
# What is wrong in print, the most harmful first. ``understated-slightly`` is within the tolerance, and by less than the amounts
# of rules.csv that matter in a portion.
HARMS = ("understated", "claim-fails", "claim-uncertain", "outside-tolerance", "understated-slightly", "not-confirmed")


class Versions(Table):
    """One row per difference between two versions of a recipe (``from_variant`` is the recipe as analysed). The effects are on one
    portion of ``variant_id``; of all rows together they are the difference of the two figures per portion. Null: unknown."""

    recipe_id: Series[str] = text_field(str_matches=RECIPE_ID)
    variant_id: Series[str] = text_field(str_matches=RECIPE_ID)
    from_variant: Series[str] = text_field(str_matches=RECIPE_ID)
    difference_no: Series[int] = pa.Field(ge=1)
    kind: Series[str] = text_field(isin=KINDS)
    changed: Series[str] = text_field()
    line_no: Series[int] = pa.Field(ge=0)
    from_line_no: Series[int] = pa.Field(ge=0)
    text: Series[str] = text_field()
    from_text: Series[str] = text_field()
    mass_g: Series[float] = number_field(ge=0)
    from_mass_g: Series[float] = number_field(ge=0)
    potassium_mg: Series[float] = number_field()
    phosphorus_mg: Series[float] = number_field()
    sodium_mg: Series[float] = number_field()
    protein_g: Series[float] = number_field()
    what: Series[str] = text_field(str_length={"min_value": 1})


class VersionFigures(Table):
    """One row per figure of a version, beside that of ``from_variant``. ``beyond_intervals``: the two intervals have no value in
    common. ``verdicts``: the verdicts on it that are not the same; those on a number that is no figure have a row without numbers."""

    recipe_id: Series[str] = text_field(str_matches=RECIPE_ID)
    variant_id: Series[str] = text_field(str_matches=RECIPE_ID)
    from_variant: Series[str] = text_field(str_matches=RECIPE_ID)
    component: Series[str] = text_field()
    basis: Series[str] = text_field(isin=BASES)
    unit: Series[str] = text_field()
    from_value: Series[float] = number_field(ge=0)
    from_low: Series[float] = number_field(ge=0)
    from_high: Series[float] = number_field(ge=0)
    value: Series[float] = number_field(ge=0)
    low: Series[float] = number_field(ge=0)
    high: Series[float] = number_field(ge=0)
    difference: Series[float] = number_field()
    beyond_intervals: Series[bool] = pa.Field()
    verdicts: Series[str] = text_field()


class PrintChanges(Table):
    """What in print must change, the most harmful first: one row per printed figure or claim. ``variant_id`` is what the printed
    words describe; ``band_low`` to ``band_high`` is the tolerance around a printed figure, in ``unit``."""

    rank: Series[int] = pa.Field(ge=1, unique=True)
    recipe_id: Series[str] = text_field(str_matches=RECIPE_ID)
    variant_id: Series[str] = text_field(str_matches=RECIPE_ID)
    harm: Series[str] = text_field(isin=HARMS)
    printed_in: Series[str] = text_field()
    component: Series[str] = text_field()
    basis: Series[str] = text_field()
    unit: Series[str] = text_field()
    printed_value: Series[float] = number_field(ge=0)
    claim: Series[str] = text_field()
    audience: Series[str] = text_field()
    value: Series[float] = number_field(ge=0)
    low: Series[float] = number_field(ge=0)
    high: Series[float] = number_field(ge=0)
    band_low: Series[float] = number_field(ge=0)
    band_high: Series[float] = number_field(ge=0)
    says: Series[str] = text_field(str_length={"min_value": 1})
    today: Series[str] = text_field(str_length={"min_value": 1})
    correction: Series[str] = text_field(str_length={"min_value": 1})
    why: Series[str] = text_field(str_length={"min_value": 1})
    source_id: Series[str] = text_field()
