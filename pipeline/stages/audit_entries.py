"""Audit of the entries in use: is their energy, and their protein, what follows from their parts?"""

from __future__ import annotations

import pandas as pd

from pipeline import tables
from pipeline.composition.recomputed import ENERGY
from pipeline.sources import Reference
from pipeline.problems import NOTE
from pipeline.stages.audit_findings import finding


def entries(recomputed: pd.DataFrame, lines: pd.DataFrame, reference: Reference) -> pd.DataFrame:
    """A note per recipe and entry whose energy or protein in the table is not what follows from its parts
    (rules ``entry_*`` of ``reference/rules.csv``), on the first line that uses it (model Findings).

    Tables as the models Recomputed and Settled. Notes alone: such a difference is mostly one of factors, and no figure rests on
    the table's energy."""
    rows = recomputed
    least = rows["component"].map({ENERGY: reference.rule("entry_energy_floor_kj")}).fillna(reference.rule("entry_protein_floor_g"))
    share = rows["component"].map({ENERGY: reference.rule("entry_energy_differs_above")}).fillna(
        reference.rule("entry_protein_differs_above"))
    apart = (rows["difference"].abs() > least) & (rows["difference"].abs() > share * rows["value"]) & (rows["unit"] != "kcal")
    first = lines[lines["outcome"] == "accepted"].drop_duplicates(["recipe_id", "entry_id"])
    found = first[["recipe_id", "variant_id", "line_no", "entry_id", "entry_name"]].merge(rows[apart], on="entry_id")
    if found.empty:
        return tables.empty(tables.Findings)
    notes = pd.DataFrame([_apart(row, share) for row, share in zip(found.itertuples(), found["relative_difference"], strict=True)])
    return tables.checked(tables.Findings, notes[tables.columns(tables.Findings)], "audit")


def _apart(row, relative: float) -> dict:
    by = "" if relative != relative else f" ({100 * relative:+.0f} %)"
    return finding(
        f"entry-{'energy' if row.component == ENERGY else 'protein'}", row.recipe_id, row.variant_id, (row.entry_id,), NOTE,
        f"{row.entry_id} {row.entry_name}: the table gives {row.value:.4g} {row.unit} per 100 g, recomputed {row.recomputed:.4g}{by}, "
        f"by {row.rests_on}", "Nothing, where the table's own factors explain it; else look at the entry with `potash tables check`",
        component=row.component, line_no=int(row.line_no), value=row.value, expected=(row.recomputed, row.recomputed), unit=row.unit,
        source_id=row.source_id)
