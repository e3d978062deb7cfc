"""Several composition tables as one, in an order of preference ("core,usda-sr26").

- A food that several tables have is one entry: that of the first table which has it, with
  its id, name and group. What is the same food, :mod:`~pipeline.composition.combine_same` says.
- Its value of a component is that of the first table which has one. Where that is not the
  table of the entry, the value is ``borrowed``: the row keeps value, spread, source and
  row as the other table has them, and ``derivation`` says from which entry and why it is
  the same food. A borrowed trace or value below detection keeps that type: its range
  says more. Energy is not borrowed: it is computed.
- What the other tables have for the same food and component, and differs, is a row of the
  disagreements; half the difference is a standard uncertainty of the value (two values
  that are equally believable: the standard deviation of two points is half their
  distance; with several, that of the farthest), added to its spread in squares. The
  value stays that of the preferred table.
- An entry of a later table keeps its id, but where an earlier table uses that id too: then
  it is written with its table before it ("other-table:0042").

Lines are matched on the first table; a line that it does not settle is asked of the next.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
import pandera.pandas as pa
from pandera.typing import Series

from pipeline import decisions, tables
from pipeline.composition.combine_same import same_foods
from pipeline.composition.common import WITH_LIMIT
from pipeline.composition.load import ERROR_COLUMNS, CompositionTable
from pipeline.problems import ERROR, InputError, Problem

SEPARATOR = ","
COMPUTED = "ENERC"
KEY = ["entry_id", "component", "unit"]
# Differences below this part of the value are rounding in the computer.
SAME_VALUE = 1e-9


class Disagreements(tables.Table):
    """One row per value of the combined table and other table that has another value for the same food."""

    entry_id: Series[str] = pa.Field(str_length={"min_value": 1})
    component: Series[str] = pa.Field(str_length={"min_value": 1})
    unit: Series[str] = pa.Field(str_length={"min_value": 1})
    value_a: Series[float] = pa.Field(ge=0)
    table_b: Series[str] = pa.Field(str_length={"min_value": 1})
    entry_b: Series[str] = pa.Field(str_length={"min_value": 1})
    name_b: Series[str] = pa.Field(str_length={"min_value": 1})
    value_b: Series[float] = pa.Field(ge=0)
    value_type_b: Series[str] = pa.Field(isin=tables.VALUE_TYPES)
    source_id: Series[str] = pa.Field(str_length={"min_value": 1})
    source_row: Series[str] = pa.Field(str_length={"min_value": 1})
    why: Series[str] = pa.Field(str_length={"min_value": 1})
    decision_id: Series[str] = pa.Field()


@dataclass(frozen=True)
class Later:
    """What a later table adds to matching: its entries that no earlier table has, and the
    decisions in ``mappings/foods.csv`` that hold for them."""

    name: str
    entries: pd.DataFrame
    foods: pd.DataFrame


@dataclass(frozen=True)
class Several:
    """Several tables combined.

    ``table`` has every food once, ``first`` is the preferred table as it is, ``later`` the
    others for matching. ``members`` has one row per table and entry: table, own_id (there),
    entry_id (in ``table``), leads (whether the entry itself is in ``table``), why, decision_id.
    """

    table: CompositionTable
    first: CompositionTable
    later: tuple[Later, ...]
    disagreements: pd.DataFrame
    members: pd.DataFrame
    decision_ids: frozenset[str]
    problems: tuple[Problem, ...]


def table_names(text: str) -> list[str]:
    """The names in "core, usda-sr26", in their order. Raises InputError for an empty or repeated one."""
    names = [name.strip() for name in text.split(SEPARATOR)]
    if "" in names or len(set(names)) < len(names):
        raise InputError(Problem(f"--table {text}", "names a table twice, or leaves one out",
                                 "Write each table once, the preferred one first: --table core,usda-sr26", "table-order", ERROR, "tables"))
    return names


def combine(loaded: Sequence[CompositionTable], same: pd.DataFrame, foods: pd.DataFrame) -> Several:
    """Combines two or more tables; ``loaded`` the preferred one first.

    ``same``: ``mappings/same_foods.csv``; ``foods``: ``mappings/foods.csv``. Decisions that
    have expired are in ``problems``.
    """
    pairs, problems = same_foods(loaded, same)
    members = members_of(loaded, pairs)
    entries = pd.concat([_entries(table, members) for table in loaded], ignore_index=True)
    values, lent, disagreements = _values(loaded, members)
    later = []
    for table in loaded[1:]:
        # what is decided for every table and names an entry means an entry of the first
        asked = foods[np.array([row.entry_id == "" or table.name in row.table.split(";") for row in foods.itertuples()], dtype=bool)]
        standing, found = decisions.standing_decisions(asked, table.name, table.entries)
        later.append(Later(table.name, _entries(table, members), _restated(standing, table.name, members)))
        problems.extend(found)
    whole = CompositionTable(  # its rows were checked when the tables were loaded
        SEPARATOR.join(table.name for table in loaded), entries, values, {path: digest for table in loaded for path, digest in table.hashes.items()},
        pd.concat([_errors(table, members, lent) for table in loaded], ignore_index=True))
    return Several(whole, loaded[0], tuple(later), disagreements, members, frozenset(pairs["decision_id"]) - {""}, tuple(problems))


def members_of(loaded: Sequence[CompositionTable], pairs: pd.DataFrame) -> pd.DataFrame:
    """One row per table and entry (see :class:`Several`); an entry leads when no earlier table has its food."""
    order = {table.name: place for place, table in enumerate(loaded)}
    earlier: dict[tuple[str, str], tuple[str, str, str, str]] = {}
    for pair in sorted(pairs.itertuples(), key=lambda row: order[row.table_a]):
        earlier.setdefault((pair.table_b, pair.entry_b), (pair.table_a, pair.entry_a, pair.why, pair.decision_id))
    rows: dict[tuple[str, str], tuple] = {}
    taken: set[str] = set()
    for table in loaded:
        ids = table.entries["entry_id"].tolist()
        for own in ids:
            if (table.name, own) not in earlier:
                rows[table.name, own] = (own if own not in taken else f"{table.name}:{own}", True, "", "")
                continue
            table_a, entry_a, why, decision_id = earlier[table.name, own]
            entry_id, _, further, behind = rows[table_a, entry_a]
            rows[table.name, own] = (entry_id, False, "; ".join(filter(None, (why, further))),
                                     "; ".join(filter(None, (decision_id, behind))))
        taken.update(ids)
    frame = pd.DataFrame([(*key, *row) for key, row in rows.items()],
                         columns=["table", "own_id", "entry_id", "leads", "why", "decision_id"])
    return frame.astype({name: "str" for name in frame.columns if name != "leads"} | {"leads": "bool"})


def _of(table: CompositionTable, members: pd.DataFrame) -> pd.DataFrame:
    return members[members["table"] == table.name].set_index("own_id")


def _entries(table: CompositionTable, members: pd.DataFrame) -> pd.DataFrame:
    """The entries of one table that are in the combined one, under their ids there."""
    own = _of(table, members)
    leads = table.entries["entry_id"].map(own["leads"]).astype("bool")
    kept = table.entries[leads]
    return kept.assign(entry_id=kept["entry_id"].map(own["entry_id"])).reset_index(drop=True)


def _errors(table: CompositionTable, members: pd.DataFrame, lent: pd.DataFrame) -> pd.DataFrame:
    """The errors of one table's check under the ids of the combined one (columns ``ERROR_COLUMNS``).

    An entry whose food an earlier table leads has its errors here for the components alone that it lends.
    """
    own = _of(table, members)
    found = table.errors.assign(own_id=table.errors["entry_id"], entry_id=table.errors["entry_id"].map(own["entry_id"]))
    leads = found["own_id"].map(own["leads"]).astype("bool")
    lends = lent.loc[lent["table"] == table.name, ["own_id", "component"]].rename(columns={"component": "only"})
    lending = found[~leads].drop(columns="only").merge(lends, on="own_id")
    return pd.concat([found[leads], lending], ignore_index=True)[list(ERROR_COLUMNS)]


def _restated(standing: pd.DataFrame, table: str, members: pd.DataFrame) -> pd.DataFrame:
    """Decisions of a later table under the ids of the combined one, without those on a food
    that an earlier table has: for that food the earlier table's own decisions hold."""
    own = members[(members["table"] == table) & members["leads"]].set_index("own_id")["entry_id"]
    held = standing[(standing["entry_id"] == "") | standing["entry_id"].isin(own.index)]
    return held.assign(entry_id=held["entry_id"].map(own).fillna("")).reset_index(drop=True)


# ---------------------------------------------------------------- values

def _values(loaded: Sequence[CompositionTable], members: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """The values of the combined table (model Values), those of them that are borrowed (with table and own_id), and the
    disagreements (model Disagreements)."""
    frames = [_labelled(table, members, place) for place, table in enumerate(loaded)]
    everything = pd.concat(frames, ignore_index=True)
    base = everything[everything["leads"]]
    known = everything["value"].notna() & (everything["component"] != COMPUTED)
    others = everything[~everything["leads"] & known].sort_values([*KEY, "place", "own_id"], kind="stable")
    lent = _lent(base, others)
    present = pd.MultiIndex.from_frame(lent[KEY])
    base = base[~pd.MultiIndex.from_frame(base[KEY]).isin(present)]
    values = pd.concat([base, lent], ignore_index=True)
    unused = others[~others.index.isin(lent.index)]
    ordered = values.sort_values(KEY, kind="stable", ignore_index=True)
    return ordered[tables.columns(tables.Values)], lent, _disagreements(ordered, unused)


def _labelled(table: CompositionTable, members: pd.DataFrame, place: int) -> pd.DataFrame:
    own = _of(table, members)
    frame = table.values.assign(own_id=table.values["entry_id"], table=table.name, place=place)
    names = table.entries.set_index("entry_id")["name"]
    for column in ("leads", "why", "decision_id", "entry_id"):
        frame[column] = frame["own_id"].map(own[column])
    return frame.assign(name=frame["own_id"].map(names), leads=frame["leads"].astype("bool"))


def _lent(base: pd.DataFrame, others: pd.DataFrame) -> pd.DataFrame:
    """The values that entries take from the same food of a later table, one per entry and component."""
    has_one = pd.MultiIndex.from_frame(base.loc[base["value"].notna(), KEY])
    first = others.drop_duplicates(KEY)
    lent = first[~pd.MultiIndex.from_frame(first[KEY]).isin(has_one)].copy()
    lent["derivation"] = [borrowed_from(row.table, row.own_id, row.name, row.why, row.decision_id, row.value_type, row.derivation)
                          for row in lent[["table", "own_id", "name", "why", "decision_id", "value_type", "derivation"]].itertuples(index=False)]
    lent["value_type"] = lent["value_type"].where(lent["value_type"].isin(WITH_LIMIT), "borrowed")
    return lent


def borrowed_from(table: str, entry: str, name: str, why: str, decision_id: str, value_type: str, derivation: str) -> str:
    """How a borrowed value was obtained, in words."""
    decided = f", decision {decision_id}" if decision_id else ""
    return f"borrowed from {table} {entry} {name} (the same food: {why}{decided}); there {' '.join(filter(None, (value_type, derivation)))}"


def _disagreements(values: pd.DataFrame, others: pd.DataFrame) -> pd.DataFrame:
    """What later tables have otherwise, sorted by entry, component and order of the tables."""
    here = values.loc[values["value"].notna(), [*KEY, "value"]].rename(columns={"value": "value_a"})
    both = others.rename(columns={"value": "value_b", "table": "table_b", "own_id": "entry_b", "name": "name_b",
                                  "value_type": "value_type_b"}).merge(here, on=KEY)
    differ = ~np.isclose(both["value_a"], both["value_b"], rtol=SAME_VALUE, atol=0)
    ordered = both[differ].sort_values([*KEY, "place", "entry_b"], kind="stable", ignore_index=True)
    return tables.checked(Disagreements, ordered[tables.columns(Disagreements)], "tables")
