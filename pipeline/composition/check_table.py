"""A composition table laid out for checking, its thresholds, and the findings as rows."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.problems import InputError, Problem
from pipeline.root import ROOT
from pipeline.sources import read_csv

SEVERITIES = ("error", "warning", "note")
FINDING_COLUMNS = (
    "severity", "check", "entry_id", "entry_name", "component", "value", "expected_low", "expected_high", "unit",
    "what", "remedy", "source_id",
)
NUMBERS = ("value", "expected_low", "expected_high")
THRESHOLD_TEXT = ("rule_id", "check", "severity", "components", "whole", "words", "unit", "source_id", "note")
THRESHOLD_NUMBERS = ("low", "high", "relative", "absolute", "at_least_n")
THRESHOLDS = Path("reference") / "table_checks.csv"
PRINTED_ZERO = "printed-zero"
# How many of a unit make one gram: the names of units, not thresholds.
PER_GRAM = {"g": 1.0, "mg": 1e3, "ug": 1e6}


def read_thresholds(path: Path | None = None) -> pd.DataFrame:
    """The thresholds of the checks, one row per rule, by default those of ``reference/table_checks.csv``.

    Columns: ``rule_id`` (unique), ``check``, ``severity`` ("" where the rule only holds a number
    for another one), ``components`` (tagnames joined by "+"), ``whole`` (the component that the
    first ones are part of), ``words`` (joined by "; "), ``low``, ``high``, ``relative``,
    ``absolute``, ``at_least_n``, ``unit``, ``source_id``, ``note``.

    Raises :class:`~pipeline.problems.InputError` that names the row and column that is wrong.
    """
    path = path or ROOT / THRESHOLDS
    frame = read_csv(path, THRESHOLD_TEXT, THRESHOLD_NUMBERS)
    problems = []
    for wrong, what, remedy in (
        (frame["rule_id"].duplicated(), "rule_id occurs a second time", "Keep one of the rows"),
        (~frame["severity"].isin(("", *SEVERITIES)), "severity is not known", f"Use one of: {', '.join(SEVERITIES)}"),
        (frame["source_id"] == "", "cites no source", "Add the source_id of reference/sources.csv"),
        (frame["low"] > frame["high"], "low is above high", "Exchange or correct them"),
    ):
        problems += [Problem(f"{path}:{row + 2}", what, remedy, "table-checks") for row in frame.index[wrong]]
    if problems:
        raise InputError(problems)
    return frame


class Rules:
    """The thresholds by rule and by check."""

    def __init__(self, thresholds: pd.DataFrame):
        self._rows = {row.rule_id: row for row in thresholds.itertuples(index=False)}

    def __getitem__(self, rule_id: str):
        """One row; InputError that names a rule the file lacks."""
        if rule_id not in self._rows:
            raise InputError(Problem(str(THRESHOLDS), f"has no rule {rule_id!r}",
                                     "Restore the row from version control", "table-checks"))
        return self._rows[rule_id]

    def of(self, check: str) -> list:
        """The rows of one check, in the order of the file: the more severe rule stands first."""
        return [row for row in self._rows.values() if row.check == check]


@dataclass(frozen=True)
class Table:
    """One composition table, a row per entry and a column per component.

    ``entries`` has the index entry_id; ``wide`` holds the values per 100 g (NaN: no value) and
    ``types`` the value types ("" where there is no row; "printed-zero" for a 0 that no code or word calls
    assumed), both with the index of ``entries``. A
    column is the tagname, with its unit after a blank where the table has the component in more
    than one unit ("ENERC kJ"). ``units`` and ``tagnames`` are by column.
    """

    entries: pd.DataFrame
    wide: pd.DataFrame
    types: pd.DataFrame
    units: dict[str, str]
    tagnames: dict[str, str]

    def has(self, *columns: str) -> bool:
        """Whether the table has all of these columns, and not every value of one is missing."""
        return all(column in self.wide.columns and self.wide[column].notna().any() for column in columns)

    def with_values(self, wide: pd.DataFrame) -> Table:
        """The same table with other numbers."""
        return replace(self, wide=wide)

    def grams(self, column: str) -> pd.Series:
        """A column in g per 100 g; all NaN where the table lacks it or its unit is not a mass."""
        if column not in self.wide.columns or self.units[column] not in PER_GRAM:
            return pd.Series(np.nan, index=self.wide.index)
        return self.wide[column] / PER_GRAM[self.units[column]]

    def energy_kcal(self, kj_per_kcal: float) -> pd.Series:
        """Energy in kcal per 100 g, from kJ where the table has no kcal."""
        kcal = self.wide[name] if (name := self._energy("kcal")) else pd.Series(np.nan, index=self.wide.index)
        kj = self.wide[name] if (name := self._energy("kJ")) else pd.Series(np.nan, index=self.wide.index)
        return kcal.fillna(kj / kj_per_kcal)

    def energy_kj(self) -> pd.Series | None:
        """Energy in kJ per 100 g as the table gives it, or None."""
        return self.wide[name] if (name := self._energy("kJ")) else None

    def _energy(self, unit: str) -> str | None:
        return next((column for column, tag in self.tagnames.items() if tag == "ENERC" and self.units[column] == unit), None)


def lay_out(entries: pd.DataFrame, values: pd.DataFrame) -> Table:
    """The table of entries and values in the common form; of a value given twice the first counts."""
    entries = entries.drop_duplicates("entry_id").set_index("entry_id", drop=False).rename_axis(None)
    kinds = values[["component", "unit"]].drop_duplicates()
    several = set(kinds.loc[kinds["component"].duplicated(), "component"])
    names = {
        (component, unit): f"{component} {unit}" if component in several else component
        for component, unit in sorted(zip(kinds["component"], kinds["unit"], strict=True))
    }
    columns = pd.Index(names.values())
    numbers = np.full((len(entries), len(columns)), np.nan)
    types = np.full(numbers.shape, "", dtype=object)
    pairs = pd.MultiIndex.from_arrays([values["component"], values["unit"]])
    row = entries.index.get_indexer(values["entry_id"])
    column = pd.MultiIndex.from_tuples(list(names), names=["component", "unit"]).get_indexer(pairs) if names else row
    # From the last to the first, so that the first of several stands.
    known = np.flatnonzero(row >= 0)[::-1]
    numbers[row[known], column[known]] = values["value"].to_numpy(dtype="float64")[known]
    printed = (values["value_type"] == "zero") & (values["derivation"] == "")
    types[row[known], column[known]] = values["value_type"].mask(printed, PRINTED_ZERO).to_numpy(dtype=object)[known]
    return Table(
        entries, pd.DataFrame(numbers, entries.index, columns), pd.DataFrame(types, entries.index, columns, dtype=object),
        {name: unit for (_, unit), name in names.items()}, {name: tag for (tag, _), name in names.items()},
    )


def parts(text: str, between: str = "+") -> list[str]:
    """The members of a joined field."""
    return [part.strip() for part in text.split(between) if part.strip()]


def together(names: Iterable[str]) -> str:
    """The component field of a finding about several; a tagname may hold a "+" but no blank."""
    return " + ".join(names)


def members(component: str) -> list[str]:
    """The tagnames in the component field of a finding."""
    return parts(component, " + ")


def findings(
    table: Table, rule, wrong: pd.Series, *, component: str = "", value: pd.Series | None = None,
    low: pd.Series | float = np.nan, high: pd.Series | float = np.nan, unit: str = "", what: str | Iterable[str],
    remedy: str, check: str = "",
) -> pd.DataFrame:
    """One finding per entry where ``wrong`` is True; ``what`` is one text or one per such entry."""
    index = wrong.index[wrong.fillna(False).astype(bool)]
    if index.empty:
        return finding_rows({})

    def at(numbers):
        return numbers.loc[index].to_numpy() if isinstance(numbers, pd.Series) else np.nan if numbers is None else numbers

    return finding_rows({
        "severity": rule.severity, "check": check or rule.check, "entry_id": index.to_numpy(),
        "entry_name": table.entries["name"].loc[index].to_numpy(),
        "component": table.tagnames.get(component, component), "value": at(value),
        "expected_low": at(low), "expected_high": at(high), "unit": unit,
        "what": what if isinstance(what, str) else list(what), "remedy": remedy, "source_id": rule.source_id,
    })


def finding_rows(columns: dict) -> pd.DataFrame:
    """Findings with their columns in order; :func:`joined` gives them their types."""
    return pd.DataFrame(columns, columns=list(FINDING_COLUMNS))


def joined(frames: Iterable[pd.DataFrame]) -> pd.DataFrame:
    """All findings in one frame, typed: text, and float for the three numbers."""
    filled = [frame for frame in frames if len(frame)]
    frame = pd.concat([frame.astype(object) for frame in filled], ignore_index=True) if filled else finding_rows({})
    return frame.astype({name: "float64" if name in NUMBERS else "str" for name in FINDING_COLUMNS})


def most_severe(found: pd.DataFrame, keys: list[str]) -> pd.DataFrame:
    """Of the findings that agree in ``keys`` the most severe one."""
    order = found["severity"].map({severity: place for place, severity in enumerate(SEVERITIES)})
    kept = order.sort_values(kind="stable").index
    return found.loc[kept].drop_duplicates(keys).sort_index()
