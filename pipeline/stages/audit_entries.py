"""Audit of the entries in use: what the check of their table found wrong with them, and whether their energy and
protein are what follows from their parts."""

from __future__ import annotations

import pandas as pd

from pipeline import tables
from pipeline.combinations import DERIVED
from pipeline.composition.recomputed import ENERGY
from pipeline.problems import NOTE, WARNING
from pipeline.sources import Reference
from pipeline.stages.audit_findings import finding

TABLE_ERROR = "table-error"
# Checks of a sum: an entry that fails one is off by a part of what it holds. Any other error may be off a thousandfold.
OF_A_SUM = ("proximates", "energy", "energy-kj-kcal", "fatty-acids", "carbohydrate", "fibre", "minerals-in-ash", "alcohol")
ERRORS_NAMED = 3
REMEDY = "Correct the table and import it again, or decide on another entry; `potash tables check` says more"


def entries(recomputed: pd.DataFrame, lines: pd.DataFrame, reference: Reference) -> pd.DataFrame:
    """A note per recipe and entry whose energy or protein in the table is not what follows from its parts
    (rules ``entry_*`` of ``reference/rules.csv``), on the first line that uses it (model Findings).

    Tables as the models Recomputed and Settled. Notes alone: such a difference is mostly one of factors, and no figure rests on
    the table's energy."""
    if recomputed.empty:  # no line has an entry
        return tables.empty(tables.Findings)
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


def table_errors(
    errors: pd.DataFrame, figures: pd.DataFrame, settled: pd.DataFrame, contributions: pd.DataFrame, share_above: float,
) -> list[dict]:
    """Findings on what rests on an entry with an error of its table's check.

    ``errors`` as :class:`pipeline.composition.load.CompositionTable` has them; the others as the models of these names. A
    warning per variant and component, so that its figures are to be checked: always where the error is of the whole
    table, names no component, or names this one and is not of a sum (``OF_A_SUM``); else where the entry gives more than
    ``share_above`` of the component. A doubt (of severity warning) touches the components that it names and no other. A note
    for an entry that is used and touches no figure so.
    """
    used = settled[(settled["outcome"] == "accepted") & settled["counted"]]
    lines = used[["recipe_id", "variant_id", "line_no", "entry_id", "entry_name"]].merge(errors, on="entry_id")
    if lines.empty:
        return []
    shares = _shares(contributions)
    shown = figures[figures["status"] != "withheld"].groupby(["recipe_id", "variant_id"])["component"].unique()
    rows = []
    for variant, found in lines.groupby(["recipe_id", "variant_id"], sort=True):
        touched: set[str] = set()
        for component in sorted(shown.get(variant, ())):
            doubted = [row for row in found.itertuples() if _doubts(row, component, shares, share_above)]
            if doubted:
                touched |= {row.entry_id for row in doubted}
                rows.append(_rests_on(variant, component, doubted, WARNING))
        for entry_id, rest in found[~found["entry_id"].isin(touched)].groupby("entry_id", sort=True):
            rows.append(_rests_on(variant, "", list(rest.itertuples()), NOTE))
    return rows


def _shares(contributions: pd.DataFrame) -> dict[tuple, float]:
    """The share of each line in its variant's sum, by (recipe_id, variant_id, component, line_no)."""
    whole = contributions.groupby(["recipe_id", "variant_id", "component"])["amount"].transform("sum")
    share = (contributions["amount"] / whole.where(whole > 0)).fillna(0.0)
    keys = contributions[["recipe_id", "variant_id", "component", "line_no"]].itertuples(index=False, name=None)
    return dict(zip(keys, share, strict=True))


def _doubts(row, component: str, shares: dict[tuple, float], share_above: float) -> bool:
    """Whether an error at an entry doubts the figures of a component."""
    parts = {name for name in DERIVED.get(component, (component,)) if row.only in ("", name)}
    if not parts:
        return False
    named = {name.strip() for name in row.component.split(" + ") if name.strip()}
    if row.severity == WARNING:
        return bool(named & parts)
    if row.whole or not named or (named & parts and row.check not in OF_A_SUM):
        return True
    return any(shares.get((row.recipe_id, row.variant_id, name, row.line_no), 0.0) > share_above for name in parts)


def _told(row) -> str:
    return f"table {row.table}: {row.what}" if row.whole else f"{row.entry_id} {row.entry_name} (table {row.table}): {row.what}"


def _rests_on(variant: tuple[str, str], component: str, rows: list, severity: str) -> dict:
    told = list(dict.fromkeys(_told(row) for row in rows))
    more = f"; and {len(told) - ERRORS_NAMED} more" if len(told) > ERRORS_NAMED else ""
    lines = sorted({int(row.line_no) for row in rows})
    rests = f"{component} rests" if component else "a small part of the figures rests"
    fails = "that fails the check of its table" if any(row.severity != WARNING for row in rows) else "that the check of its table doubts"
    return finding(
        TABLE_ERROR, *variant, (component or rows[0].entry_id,), severity,
        f"{rests} on an entry {fails}: {'; '.join(told[:ERRORS_NAMED])}{more}", REMEDY,
        component=component, line_no=lines[0] if len(lines) == 1 else 0, source_id=rows[0].source_id)
