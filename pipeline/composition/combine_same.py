"""Which entry of one composition table is the same food as which entry of another.

Two grounds, no third (names that look alike are none):

- a decision in ``mappings/same_foods.csv``. It carries the names it was decided on and has
  expired when one of the tables calls the entry otherwise or has it no longer: then it is
  set aside, and the run says which row;
- the same origin: both entries cite the same row of the same source, and in each table no
  other entry does. The curated core and an import of the release it was taken from share
  their foods so. A decision on one of the two entries goes before.

An entry is the same food as at most one entry of another table: decisions that give it two
are all set aside.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import pandas as pd

from pipeline.composition.load import CompositionTable
from pipeline.problems import WARNING, Problem

COLUMNS = ["table_a", "entry_a", "table_b", "entry_b", "why", "decision_id"]
FILE = "mappings/same_foods.csv"


def same_foods(loaded: Sequence[CompositionTable], decided: pd.DataFrame) -> tuple[pd.DataFrame, list[Problem]]:
    """The pairs of same foods among ``loaded`` (in order of preference), with why.

    ``decided`` has the columns of ``mappings/same_foods.csv``. Gives ``COLUMNS``, where
    ``table_a`` goes before ``table_b``, and a warning per decision that was set aside.
    """
    pairs, problems = _decided(loaded, decided)
    found = [pairs]
    for first, second in combinations(loaded, 2):
        own = pairs[(pairs["table_a"] == first.name) & (pairs["table_b"] == second.name)]
        derived = _same_origin(first, second)
        found.append(derived[~derived["entry_a"].isin(own["entry_a"]) & ~derived["entry_b"].isin(own["entry_b"])])
    return pd.concat(found, ignore_index=True), problems


def _decided(loaded: Sequence[CompositionTable], decided: pd.DataFrame) -> tuple[pd.DataFrame, list[Problem]]:
    names = {table.name: table.entries.set_index("entry_id")["name"].to_dict() for table in loaded}
    order = list(names)
    rows, problems = [], []
    for row in decided.itertuples():
        ends = [(row.table_a, row.entry_a, row.name_a), (row.table_b, row.entry_b, row.name_b)]
        if row.table_a not in names or row.table_b not in names:
            continue
        gone = [_expired(table, entry, name, names[table].get(entry)) for table, entry, name in ends]
        if any(gone):
            problems.append(_problem(row.Index, f"decision {row.decision_id} was made on {' and '.join(filter(None, gone))}",
                                     "Decide again on the entries as they are now, or remove the row", "expired-decision"))
            continue
        (table_a, entry_a, _), (table_b, entry_b, _) = sorted(ends, key=lambda end: order.index(end[0]))
        rows.append((table_a, entry_a, table_b, entry_b, row.why, row.decision_id, row.Index))
    pairs = pd.DataFrame(rows, columns=[*COLUMNS, "row"]).astype(dict.fromkeys(COLUMNS, "str"))
    twice = pairs.duplicated(["table_a", "entry_a", "table_b"], keep=False) | pairs.duplicated(["table_a", "table_b", "entry_b"], keep=False)
    for row in pairs[twice].itertuples():
        problems.append(_problem(row.row, f"decision {row.decision_id} and another one make one entry the same food as two of a table",
                                 "Keep the one that is the same food", "conflicting-decision"))
    return pairs.loc[~twice, COLUMNS].reset_index(drop=True), problems


def _expired(table: str, entry: str, name: str, now: str | None) -> str:
    if now == name:
        return ""
    return f"entry {entry} {name!r}, which table {table} " + ("does not have" if now is None else f"now calls {now!r}")


def _problem(row: int, what: str, remedy: str, code: str) -> Problem:
    return Problem(f"{FILE}:{row + 2}", what, remedy, code, WARNING, "tables")


def _same_origin(first: CompositionTable, second: CompositionTable) -> pd.DataFrame:
    """Entries that cite the same row of the same source, where no other entry of their table does."""
    key = ["source_id", "source_row"]
    sides = []
    for table in (first, second):
        cited = table.entries.loc[table.entries["source_row"] != "", ["entry_id", *key]]
        sides.append(cited[~cited.duplicated(key, keep=False)])
    both = sides[0].merge(sides[1], on=key, suffixes=("_a", "_b"))
    return pd.DataFrame({
        "table_a": first.name, "entry_a": both["entry_id_a"], "table_b": second.name, "entry_b": both["entry_id_b"],
        "why": "the same row of the same source, " + both["source_row"], "decision_id": "",
    }).astype("str")
