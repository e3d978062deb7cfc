"""Second reading of the composition tables of a release, and second combination where it names several.

Tables are read from where they are: CSV in ``reference/composition/`` or Parquet in
``composition/``. Combined, every food is one entry, that of the first table which has it;
its value of a component is that of the first table which has one; what further tables have
otherwise is a disagreement.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable, Iterator
from itertools import zip_longest
from pathlib import Path
from typing import NamedTuple

from pipeline.problems import InputError, Problem

ENERGY = "ENERC"
RANGED = ("trace", "below-detection")
ROUNDING = 1e-9
ORIGIN, CURATED_WORDS = ("source_id", "source_row", "name"), ("common_names", "state", "cooking_class")
Row = dict[str, str]


class Member(NamedTuple):
    """An entry of one table, and why it is the same food as the entry that stands for it."""

    table: str
    own_id: str
    why: str
    decision_id: str


class Tables:
    """The tables of a release as one; ``names`` in their order of preference."""

    def __init__(self, root: Path, names: list[str], same_foods: list[Row], components: set[str]):
        self.root, self.names, self._components = root, names, components
        self._entries = {name: self._named(name) for name in names}
        self.members: dict[str, list[Member]] = {}
        self._combine(self._pairs(same_foods))
        self._values: dict[str, dict[tuple[str, str, str], Row]] = {}

    # ------------------------------------------------------------ reading

    def path(self, name: str, file: str) -> str:
        """Where a table's file is, from the project."""
        curated = f"reference/composition/{name}/{file}.csv"
        return curated if (self.root / curated).is_file() else f"composition/{name}/{file}.parquet"

    def measures(self) -> list[Row]:
        """The household measures of the imported tables."""
        return [row for name in self.names if self.path(name, "entries").endswith(".parquet") for row in self._rows(self.path(name, "measures"))]

    def _named(self, name: str) -> dict[str, Row]:
        """Entries by id. An imported one that a curated table has too, the same source row under the same
        name, is called and classed as there."""
        path = self.path(name, "entries")
        rows = self._rows(path)
        if path.endswith(".parquet"):
            curated: dict[tuple[str, ...], Row] = {}
            for file in sorted((self.root / "reference" / "composition").glob("*/entries.csv")):
                for row in self._rows(file.relative_to(self.root).as_posix()):
                    curated.setdefault(tuple(row[part] for part in ORIGIN), row)
            for row in rows:
                known = curated.get(tuple(row[part] for part in ORIGIN), {})
                row.update({word: known[word] for word in CURATED_WORDS if word in known})
        return {row["entry_id"]: row for row in rows}

    def _rows(self, path: str, wanted: set[str] | None = None) -> list[Row]:
        try:
            if path.endswith(".csv"):
                with open(self.root / path, encoding="utf-8", newline="") as file:
                    return list(rows_of(file, wanted))
            return self._parquet(self.root / path, wanted)
        except (OSError, UnicodeDecodeError, csv.Error, KeyError, ValueError) as error:
            raise InputError(Problem(str(self.root / path), f"cannot be read ({type(error).__name__}: {error})",
                                     "Restore it, or import the table again: a release is verified against it", "missing-file",
                                     stage="verify")) from None

    def _parquet(self, path: Path, wanted: set[str] | None) -> list[Row]:
        import pyarrow.compute as pc
        import pyarrow.parquet as pq

        chosen = None
        if wanted is not None:
            chosen = pc.field("entry_id").isin(sorted(wanted)) & pc.field("component").isin(sorted(self._components))
        columns = {name: [_text(cell) for cell in cells] for name, cells in pq.read_table(path, filters=chosen).to_pydict().items()}
        return [dict(zip(columns, cells, strict=True)) for cells in zip(*columns.values(), strict=True)]

    # ------------------------------------------------------------ the same foods

    def _pairs(self, same_foods: list[Row]) -> list[tuple[str, str, str, str, str, str]]:
        """(earlier table, its entry, later table, its entry, why, decision)."""
        decided = []
        for row in same_foods:
            ends = [(row[f"table_{side}"], row[f"entry_{side}"], row[f"name_{side}"]) for side in "ab"]
            if all(table in self.names and self._entries[table].get(entry, {}).get("name") == name for table, entry, name in ends):
                ends.sort(key=lambda end: self.names.index(end[0]))
                decided.append((*ends[0][:2], *ends[1][:2], row["why"], row["decision_id"]))
        clear = [one for one in decided if not any(
            other is not one and (other[0], other[2]) == (one[0], one[2]) and (other[1] == one[1] or other[3] == one[3]) for other in decided)]
        derived = []
        for place, first in enumerate(self.names):
            for second in self.names[place + 1:]:
                sides = [self._by_origin(first), self._by_origin(second)]
                settled_a = {pair[1] for pair in clear if (pair[0], pair[2]) == (first, second)}
                settled_b = {pair[3] for pair in clear if (pair[0], pair[2]) == (first, second)}
                for origin in sides[0].keys() & sides[1].keys():
                    a, b = sides[0][origin], sides[1][origin]
                    if a not in settled_a and b not in settled_b:
                        derived.append((first, a, second, b, f"the same row of the same source, {origin[1]}", ""))
        return clear + derived

    def _by_origin(self, table: str) -> dict[tuple[str, str], str]:
        cited: dict[tuple[str, str], list[str]] = {}
        for entry_id, row in self._entries[table].items():
            if row["source_row"]:
                cited.setdefault((row["source_id"], row["source_row"]), []).append(entry_id)
        return {origin: ids[0] for origin, ids in cited.items() if len(ids) == 1}

    def _combine(self, pairs: list[tuple[str, str, str, str, str, str]]) -> None:
        partner: dict[tuple[str, str], tuple[str, str, str, str]] = {}
        for first, a, second, b, why, decision_id in sorted(pairs, key=lambda pair: self.names.index(pair[0])):
            partner.setdefault((second, b), (first, a, why, decision_id))
        place: dict[tuple[str, str], tuple[str, str, str]] = {}
        for number, table in enumerate(self.names):
            for own_id in self._entries[table]:
                if (table, own_id) in partner:
                    first, a, why, decision_id = partner[table, own_id]
                    entry_id, whys, decision_ids = place[first, a]
                    whys, decision_ids = "; ".join(filter(None, (why, whys))), "; ".join(filter(None, (decision_id, decision_ids)))
                else:
                    clash = any(own_id in self._entries[other] for other in self.names[:number])
                    entry_id, whys, decision_ids = f"{table}:{own_id}" if clash else own_id, "", ""
                place[table, own_id] = (entry_id, whys, decision_ids)
                self.members.setdefault(entry_id, []).append(Member(table, own_id, whys, decision_ids))
        for members in self.members.values():
            members.sort(key=lambda one: (self.names.index(one.table), one.own_id))

    # ------------------------------------------------------------ what the release should hold

    def table_of(self, entry_id: str) -> str:
        """The table that an entry of the release is from; "" when none has it."""
        return self.members[entry_id][0].table if entry_id in self.members else ""

    def entry(self, entry_id: str) -> Row | None:
        """The entry as its table has it, under its id in the release."""
        if entry_id not in self.members:
            return None
        first = self.members[entry_id][0]
        return {**self._entries[first.table][first.own_id], "entry_id": entry_id}

    def load_values(self, entry_ids: set[str]) -> None:
        """Reads the values of these entries of the release, in every table that has the food."""
        for name in self.names:
            own = {member.own_id for entry_id in entry_ids for member in self.members.get(entry_id, ()) if member.table == name}
            self._values[name] = {(row["entry_id"], row["component"], row["unit"]): row for row in self._rows(self.path(name, "values"), own)}

    def value(self, entry_id: str, component: str, unit: str) -> Row | None:
        """The value that stands for an entry: its table's own, else borrowed."""
        rows = self._known(entry_id, component, unit)
        own = self.members[entry_id][0] if entry_id in self.members else None
        if own is None:
            return None
        if not rows or rows[0][0] == own:
            row = self._values[own.table].get((own.own_id, component, unit))
            return {**row, "entry_id": entry_id} if row else None
        lender, row = rows[0]
        decided = f", decision {lender.decision_id}" if lender.decision_id else ""
        there = f"{row['value_type']} {row['derivation']}".strip()
        name = self._entries[lender.table][lender.own_id]["name"]
        return {**row, "entry_id": entry_id, "value_type": row["value_type"] if row["value_type"] in RANGED else "borrowed",
                "derivation": f"borrowed from {lender.table} {lender.own_id} {name} (the same food: {lender.why}{decided}); there {there}"}

    def disagreements(self, entry_ids: set[str]) -> dict[str, Row]:
        """What tables have otherwise for these entries, by the key of evidence/disagreements.csv."""
        found = {}
        for entry_id in entry_ids:
            keys = {key[1:] for member in self.members.get(entry_id, ()) for key in self._of_entry(member)}
            for component, unit in keys:
                rows = self._known(entry_id, component, unit)
                for member, row in rows[1:]:
                    a, b = float(rows[0][1]["value"]), float(row["value"])
                    if math.isclose(a, b, rel_tol=ROUNDING):
                        continue
                    found[f"{entry_id} {component} {unit} {member.table} {member.own_id}"] = {
                        "entry_id": entry_id, "component": component, "unit": unit, "value_a": rows[0][1]["value"],
                        "table_b": member.table, "entry_b": member.own_id, "name_b": self._entries[member.table][member.own_id]["name"],
                        "value_b": row["value"], "value_type_b": row["value_type"], "source_id": row["source_id"],
                        "source_row": row["source_row"], "why": member.why, "decision_id": member.decision_id}
        return found

    def _of_entry(self, member: Member) -> list[tuple[str, str, str]]:
        if not hasattr(self, "_keys"):
            self._keys: dict[tuple[str, str], list[tuple[str, str, str]]] = {}
            for name, rows in self._values.items():
                for key in rows:
                    self._keys.setdefault((name, key[0]), []).append(key)
        return self._keys.get((member.table, member.own_id), [])

    def _known(self, entry_id: str, component: str, unit: str) -> list[tuple[Member, Row]]:
        """The members that have a value, in their order; of energy the entry's own alone."""
        members = self.members.get(entry_id, [])
        rows = [(member, self._values[member.table].get((member.own_id, component, unit))) for member in members]
        known = [(member, row) for member, row in rows if row is not None and row["value"] != ""]
        return known[:1] if component == ENERGY and known and known[0][0] == members[0] else [] if component == ENERGY else known


def rows_of(file: Iterable[str], wanted: set[str] | None = None) -> Iterator[Row]:
    """The rows of a CSV file by column, all or those of the ``wanted`` entries: as csv.DictReader, in a third of its time."""
    reader = csv.reader(file)
    header = next(reader, [])
    place = header.index("entry_id") if wanted is not None else 0
    for cells in reader:
        if not cells or wanted is not None and (len(cells) <= place or cells[place] not in wanted):
            continue
        yield dict(zip(header, cells) if len(cells) == len(header) else zip_longest(header, cells[:len(header)]))


def _text(cell) -> str:
    if cell is None or (isinstance(cell, float) and math.isnan(cell)):
        return ""
    return repr(cell) if isinstance(cell, float) else str(cell)
