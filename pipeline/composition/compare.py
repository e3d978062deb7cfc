"""Two composition tables beside each other: what next year's table changes, entry by entry and value by value.

Entries are paired by identity and by name (``compare_entries.py``), values by pair, component
and unit (``compare_values.py``). A difference that the printed precision explains is counted
as rounding and is no difference. What a change would do to the figures and verdicts of a
release is answered in ``swap.py``. Nothing here writes to the project.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from pipeline import sources
from pipeline.composition import compare_entries, compare_values, store
from pipeline.composition.load import load_table, with_curated_words
from pipeline.root import ROOT


@dataclass(frozen=True)
class PrintedTable:
    """A whole table with its values as printed.

    ``entries``: model Entries. ``values``: entry_id, component, unit, value, value_type,
    original (the text as published), original_unit; every component the table has.
    """

    name: str
    entries: pd.DataFrame
    values: pd.DataFrame


@dataclass(frozen=True)
class Comparison:
    """What changes from table A to table B.

    ``entries``: one row per entry that is added, gone, renamed or renumbered
    (:func:`compare_entries.paired`). ``attributes``: one row per entry and field that is
    described otherwise. ``values``: one row per value that differs
    (:func:`compare_values.changes`), rounding included. ``components``: counts per
    component and unit (:func:`compare_values.counts`).
    """

    table_a: str
    table_b: str
    size_a: int
    size_b: int
    entries: pd.DataFrame
    attributes: pd.DataFrame
    values: pd.DataFrame
    components: pd.DataFrame

    @property
    def counts(self) -> dict[str, int]:
        """How many entries and values differ, by kind of change; kinds without a row count 0."""
        entries = self.entries["change"].value_counts()
        values = self.values["change"].value_counts()
        one_sided = self.components["only_in"].value_counts()
        return {
            **{f"entries {kind}": int(entries.get(kind, 0)) for kind in compare_entries.CHANGES},
            "attributes changed": len(self.attributes),
            "values changed": int(values.get("value", 0) + values.get("value-and-type", 0)),
            "value types changed": int(values.get("value-type", 0) + values.get("value-and-type", 0)),
            "values rounded otherwise": int(values.get("rounding", 0)),
            "components only in A": int(one_sided.get("A", 0)),
            "components only in B": int(one_sided.get("B", 0)),
        }

    @property
    def differs(self) -> bool:
        """Whether anything differs beyond rounding."""
        return any(count for kind, count in self.counts.items() if kind != "values rounded otherwise")


def load(name: str, root: Path | None = None) -> PrintedTable:
    """A table by name, curated or imported, with the text of each value.

    An imported entry is called and classed as a run would have it: by the curated words where
    a curated table has the same entry. A publisher's table says nothing of the words of a
    kitchen, and that is no change to tell a steward about.

    Raises :class:`pipeline.problems.InputError` for a name that does not exist (it lists
    those that do) and for a table that cannot be read.
    """
    folder = (root or ROOT) / "reference" / "composition" / name
    if not (folder / "values.csv").is_file() and name in store.names(root):
        stored = store.load(name, None, root)
        return PrintedTable(name, with_curated_words(stored.entries, root)[0], stored.values[compare_values.READ])
    reference = sources.read_csv((root or ROOT) / "reference" / "sources.csv", *sources.FILES["sources"])
    table = load_table(name, reference, root)
    texts = sources.read_csv(folder / "values.csv", tuple(table.values.columns), ())  # the same rows, unconverted
    values = table.values.assign(original=texts["value"], original_unit=table.values["unit"])
    return PrintedTable(name, table.entries, values[compare_values.READ])


def compare(table_a: PrintedTable, table_b: PrintedTable, components: pd.DataFrame) -> Comparison:
    """Everything that differs from A to B. ``components``: ``reference/components.csv``, for the order of rows."""
    pairs = compare_entries.paired(table_a.entries, table_b.entries)
    joined = compare_values.joined(table_a.values, table_b.values, pairs)
    return Comparison(
        table_a.name, table_b.name, len(table_a.entries), len(table_b.entries),
        pairs[pairs["change"] != ""].reset_index(drop=True),
        compare_entries.attributes(pairs, table_a.entries, table_b.entries),
        compare_values.changes(joined, pairs),
        compare_values.counts(joined, pairs, table_a.values, table_b.values, components))


def compare_named(name_a: str, name_b: str, root: Path | None = None) -> Comparison:
    """:func:`compare` of two tables by name. Raises :class:`pipeline.problems.InputError` as :func:`load`."""
    reference = (root or ROOT) / "reference" / "components.csv"
    components = sources.read_csv(reference, *sources.FILES["components"])
    return compare(load(name_a, root), load(name_b, root), components)
