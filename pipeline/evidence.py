"""What a release must carry so that its figures can be recomputed: rows used, nothing else."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from pipeline.composition import store
from pipeline.composition.load import CompositionTable
from pipeline.composition.recomputed import FACTOR, NITROGEN, recomputed
from pipeline.decisions import Mappings
from pipeline.sources import Reference

# File -> the column that names its rows. Small files go whole; the others by the ids in use.
WHOLE = {"energy_factors": "component", "rules": "rule_id", "amount_spread": "spread_id", "amount_rules": "rule_id"}
BY_USE = {
    "measures": ("measure_id", "weighed", "measure_id"),
    "densities": ("density_id", "weighed", "density_id"),
    "edible_portions": ("edible_id", "weighed", "edible_id"),
    "yields": ("yield_id", "cooked", "yield_id"),
}
UNREAD = {"source_id", "source_row", "spread_source_id", "note"}
FACTOR_COLUMNS = ["file", "row_id", "column", "value", "source_id", "source_row"]


def used_factors(reference: Reference, stage_tables: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """The reference rows that entered the figures, one row per number.

    Columns: file, row_id, column, value (as text, the shortest that reads back the
    same), source_id, source_row.
    """
    frames = []
    for name, key in WHOLE.items():
        frames.append(_numbers(name, getattr(reference, name), getattr(reference, name)[key]))
    for name, (key, stage, column) in BY_USE.items():
        used = {part for ids in stage_tables[stage][column].unique() for part in factor_ids(ids)}
        rows = getattr(reference, name)
        frames.append(_numbers(name, rows[rows[key].isin(used)], rows.loc[rows[key].isin(used), key]))
    frames.append(_retention(reference, stage_tables["retentions"]))
    frame = pd.concat([part for part in frames if len(part)], ignore_index=True)
    return frame.sort_values(["file", "row_id", "column"], ignore_index=True)


def factor_ids(joined: str) -> list[str]:
    """The rows behind a factor: a chain joins its ids with "+", "@" adds the minutes of a timed one, and "|" what it cannot go below."""
    return [part.split("@")[0] for part in joined.split("|")[0].split("+")]


def _retention(reference: Reference, retentions: pd.DataFrame) -> pd.DataFrame:
    codes = set(retentions["retention_id"].str.split("+").explode())
    rows = reference.retention[reference.retention["retention_code"].isin(codes)]
    return _numbers("retention", rows, rows["retention_code"] + "/" + rows["component"])


def _numbers(name: str, rows: pd.DataFrame, row_ids: pd.Series) -> pd.DataFrame:
    numbers = [column for column in rows.columns if rows[column].dtype.kind == "f"]
    source_row = rows["source_row"] if "source_row" in rows else row_ids
    parts = []
    for column in numbers:
        known = rows[column].notna()
        parts.append(pd.DataFrame({
            "file": name, "row_id": row_ids[known], "column": column, "value": rows.loc[known, column].map(repr),
            "source_id": rows.loc[known, "source_id"], "source_row": source_row[known]}))
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=FACTOR_COLUMNS)


def used_composition(composition: CompositionTable, stage_tables: dict[str, pd.DataFrame]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The entries and values behind accepted lines, their candidates, their second routes and the protein additions."""
    used = (set(stage_tables["lines"]["entry_id"]) | set(stage_tables["candidates"]["entry_id"])
            | set(stage_tables["two_routes"]["cooked_entry_id"]) | set(stage_tables["protein_additions"]["entry_id"]))
    entries = composition.entries[composition.entries["entry_id"].isin(used)].reset_index(drop=True)
    values = composition.values[composition.values["entry_id"].isin(used)].reset_index(drop=True)
    return entries, values


def nitrogen(loaded: list[CompositionTable], members: pd.DataFrame | None, root: Path | None = None) -> pd.DataFrame:
    """Nitrogen (g per 100 g) and its factor as the imported tables among ``loaded`` give them: entry_id, component, value.

    ``members`` says which entry of several tables is which in the run; a food has that of the first table which gives it.
    """
    imported, frames = set(store.names(root)), []
    for table in loaded:
        if table.name not in imported:
            continue
        rows = store.load(table.name, [NITROGEN, FACTOR], root, originals=False).values
        rows = rows.loc[rows["value"].notna(), ["entry_id", "component", "value"]]
        if members is not None:
            own = members[members["table"] == table.name].set_index("own_id")["entry_id"]
            rows = rows.assign(entry_id=rows["entry_id"].map(own))
        frames.append(rows)
    if not frames:
        return pd.DataFrame({"entry_id": pd.Series(dtype="str"), "component": pd.Series(dtype="str"), "value": pd.Series(dtype="float64")})
    return pd.concat(frames, ignore_index=True).drop_duplicates(["entry_id", "component"], ignore_index=True)


def used_recomputed(reference: Reference, nitrogen: pd.DataFrame | None, stage_tables: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """Energy and protein of the entries that lines were matched to: the table's beside the recomputed ones."""
    lines = stage_tables["lines"]
    used = set(lines.loc[lines["outcome"] == "accepted", "entry_id"])
    values = stage_tables["values"]
    given = nitrogen if nitrogen is not None else values.loc[[], ["entry_id", "component", "value"]]
    return recomputed(values[values["entry_id"].isin(used)], given, reference.components, reference.energy_factors)


def used_disagreements(disagreements: pd.DataFrame, stage_tables: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """What other tables have otherwise for the entries that are in the evidence."""
    return disagreements[disagreements["entry_id"].isin(stage_tables["entries"]["entry_id"])].reset_index(drop=True)


def used_decisions(mappings: Mappings, stage_tables: dict[str, pd.DataFrame], members: pd.DataFrame | None = None) -> pd.DataFrame:
    """The human decisions that lines and their values rest on: decision_id, file, what, decided_by, decided_on,
    reason. With ``members`` (of several tables) also those that make an entry of the evidence the same food as another."""
    used = set(stage_tables["matched"]["decision_id"]) | set(stage_tables["cooked"]["decision_id"])
    foods = mappings.foods.assign(
        file="foods", what=mappings.foods["phrase"] + " -> " + mappings.foods["entry_id"] + " " + mappings.foods["entry_name"])
    methods = mappings.methods.assign(
        file="methods", what=mappings.methods["line_text"] + " -> " + mappings.methods["method"] + " " + mappings.methods["liquid"])
    columns = ["decision_id", "file", "what", "decided_by", "decided_on", "reason"]
    same = mappings.same_foods.assign(file="same_foods", what=_same_food(mappings.same_foods), reason=mappings.same_foods["why"])
    if members is not None:
        here = members[members["entry_id"].isin(stage_tables["entries"]["entry_id"])]
        used |= {one for ids in here["decision_id"] for one in ids.split("; ")}
    both = pd.concat([foods[columns], methods[columns], same[columns]], ignore_index=True)
    return both[both["decision_id"].isin(used)].sort_values("decision_id", ignore_index=True)


def _same_food(rows: pd.DataFrame) -> pd.Series:
    sides = [rows[f"table_{side}"] + " " + rows[f"entry_{side}"] + " " + rows[f"name_{side}"] for side in ("a", "b")]
    return sides[0] + " = " + sides[1]


def used_sources(reference: Reference, *frames: pd.DataFrame) -> pd.DataFrame:
    """The rows of ``sources.csv`` that these tables cite."""
    cited = {source for frame in frames for source in frame["source_id"]}
    return reference.sources[reference.sources["source_id"].isin(cited)].reset_index(drop=True)
