"""Energy and protein as the table gives them, beside the same recomputed.

A release counts energy from the macronutrients of its lines (EU 1169/2011 Annex XIV), never
from the table's own energy, which rests on factors of its own (USDA: specific ones by food).
Protein enters as the table gives it; where the table also gives the nitrogen, nitrogen x its
factor says whether that protein is what it claims to be. Neither is changed here.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pandera.pandas as pa
from pandera.typing import Series

from pipeline import tables
from pipeline.combinations import combinations

ENERGY, PROTEIN, NITROGEN, FACTOR = "ENERC", "PROCNT", "NT", "XN"
# Protein is nitrogen x 6.25 where the table names no factor: EU 1169/2011, Annex I, 10.
GENERAL_FACTOR = 6.25


class Recomputed(tables.Table):
    """One row per entry, component and unit, per 100 g: the table's own value, and the recomputed one with what it rests on."""

    entry_id: Series[str] = pa.Field(str_length={"min_value": 1})
    component: Series[str] = pa.Field(isin=(ENERGY, PROTEIN))
    unit: Series[str] = pa.Field(isin=("kJ", "kcal", "g"))
    value: Series[float] = pa.Field(ge=0, nullable=True)
    value_type: Series[str] = pa.Field(isin=tables.VALUE_TYPES)
    recomputed: Series[float] = pa.Field(ge=0, nullable=True)
    difference: Series[float] = pa.Field(nullable=True)
    relative_difference: Series[float] = pa.Field(nullable=True)
    rests_on: Series[str] = pa.Field(str_length={"min_value": 1})
    source_id: Series[str] = pa.Field(str_length={"min_value": 1})
    source_row: Series[str] = pa.Field()


def recomputed(values: pd.DataFrame, nitrogen: pd.DataFrame, components: pd.DataFrame, energy_factors: pd.DataFrame) -> pd.DataFrame:
    """Table ``Recomputed`` for the entries of ``values`` (model Values), sorted.

    ``nitrogen`` has the rows of ``NT`` (g) and ``XN`` of these entries (entry_id, component, value); it may be empty.
    ``components`` and ``energy_factors`` are the reference files. ``difference`` is recomputed less the table's
    value; ``relative_difference`` is in parts of the table's value.
    """
    own = values[values["component"].isin((ENERGY, PROTEIN))]
    own = own[["entry_id", "component", "unit", "value", "value_type", "source_id", "source_row"]]
    found = pd.concat([_energy(values, components, energy_factors), _protein(own, nitrogen)], ignore_index=True)
    table = own.merge(found, on=["entry_id", "component", "unit"], how="left")
    table["difference"] = table["recomputed"] - table["value"]
    table["relative_difference"] = table["difference"] / table["value"].where(table["value"] > 0)
    table = table.sort_values(["entry_id", "component", "unit"], ignore_index=True)
    return tables.checked(Recomputed, table[tables.columns(Recomputed)], "evidence")


def _energy(values: pd.DataFrame, components: pd.DataFrame, energy_factors: pd.DataFrame) -> pd.DataFrame:
    """Energy from the entry's own macronutrients; none where one of them has no value."""
    linear = combinations(components, energy_factors)
    linear = linear[linear["figure"] == ENERGY]
    parts = sorted(set(linear["component"]))
    known = values[values["component"].isin(parts)].pivot(index="entry_id", columns="component", values="value").reindex(columns=parts)
    lacking = known.isna().apply(lambda row: ", ".join(row.index[row]), axis="columns") if len(known) else pd.Series(dtype="str")
    frames = []
    for unit, rows in linear.groupby("unit"):
        factor = rows.set_index("component")["factor"].reindex(parts)
        # less fibre than carbohydrate by difference is an impossible entry, which is told by `tables check`
        total = known.mul(factor, axis="columns").sum(axis="columns", min_count=len(parts)).clip(lower=0)
        says = "EU 1169/2011 Annex XIV factors on " + ", ".join(parts)
        frames.append(pd.DataFrame({
            "entry_id": known.index, "component": ENERGY, "unit": unit, "recomputed": total.to_numpy(),
            "rests_on": [f"no value for {names}" if names else says for names in lacking]}))
    return pd.concat(frames, ignore_index=True)


def _protein(own: pd.DataFrame, nitrogen: pd.DataFrame) -> pd.DataFrame:
    """Nitrogen x the table's factor for the food, or x 6.25; none where the table gives no nitrogen."""
    rows = own[own["component"] == PROTEIN]
    part = {tag: rows["entry_id"].map(nitrogen[nitrogen["component"] == tag].set_index("entry_id")["value"]).astype("float64")
            for tag in (NITROGEN, FACTOR)}
    factor = part[FACTOR].fillna(GENERAL_FACTOR)
    whose = np.where(part[FACTOR].notna(), "the table's factor", "EU 1169/2011 Annex I, 10")
    rests_on = [
        "the table gives no nitrogen" if amount != amount else f"nitrogen {amount:g} g x {by:g} ({words})" + (
            f"; the table's protein is {value / amount:.3g} x its nitrogen" if amount > 0 and value == value else "")
        for amount, by, words, value in zip(part[NITROGEN], factor, whose, rows["value"], strict=True)]
    return pd.DataFrame({"entry_id": rows["entry_id"], "component": PROTEIN, "unit": rows["unit"],
                         "recomputed": part[NITROGEN] * factor, "rests_on": rests_on})
