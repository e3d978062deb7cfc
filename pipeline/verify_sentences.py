"""The numbers in the sentences of a release, read back: what people copy from a row has to say what its cells say.

Sentences of swaps and protein additions round outward to whole milligrams and tenths of a gram, those on print to four digits;
a correction is rounded for print, so it may be off by as much as that rounding takes.
"""

from __future__ import annotations

import math
import re
from decimal import Decimal

from pipeline.verify_files import Rows, number, path_of, place
from pipeline.verify_limits import MILLIGRAMS, MOLAR_MASS
from pipeline.verify_report import Ledger

CAUSE = "sentences"
AMOUNT = r"(\d[\d.]*) (\S+)"
CHANGED = re.compile(rf" is {AMOUNT} (?:a portion|per 100 g) \((\d[\d.]*) to (\d[\d.]*|any amount)\), "
                     r"(?:not surely )?(?:within|up to|above|below|at least) (\d[\d.]*)")
TODAY = re.compile(rf"{AMOUNT} \(90 % interval (\d[\d.]*) to (\d[\d.]*|any amount)\)")
PRINTED = re.compile(rf"(?<![<\d.]){AMOUNT} per (?:portion|100 g|recipe)")
# Where a sentence names what to do, by table: the cell that it has to quote.
QUOTED = {"swaps": "change", "protein_additions": "line"}
# Rounded outward in a changed dish, by unit; to four digits on print; for print to two digits at the least.
STEP = {"mg": 1.0, "kcal": 1.0, "kJ": 1.0, "g": 0.1}
FOUR_DIGITS, FOR_PRINT, ONE_STEP = 0.0006, 0.051, 1e-9


def compare(tables: dict[str, Rows], ledger: Ledger) -> None:
    """Compares the sentences of swaps, protein additions and print changes with the cells of their rows."""
    told = {(one.file, one.row) for one in ledger.found}
    for table, quoted in QUOTED.items():
        for key, row in tables.get(table, {}).items():
            if (path_of(table), key) not in told:
                _changed(place(CAUSE, table, key), row, row[quoted], ledger)
    for key, row in tables.get("print_changes", {}).items():
        if (path_of("print_changes"), key) not in told:
            _in_print(place(CAUSE, "print_changes", key), row, ledger)


def _changed(where: tuple[str, str, str], row: dict[str, str], quoted: str, ledger: Ledger) -> None:
    words = row["words"]
    if row["outcome"] != "not-searched" and quoted not in words:
        ledger.differs(*where, "words", words, quoted)
        return
    if not row["value"]:
        return
    found = CHANGED.search(words)
    step = STEP.get(row["unit"], 0.01)
    expected = [number(row[name]) for name in ("value", "low", "high", "limit")]
    if found is None or found[2] != row["unit"] or not all(
            _near(text, value, max(step, FOUR_DIGITS * abs(value))) for text, value in zip((found[1], *found.groups()[2:]), expected, strict=True)):
        ledger.differs(*where, "words", words, " ".join(f"{one:g}" for one in expected))


def _in_print(where: tuple[str, str, str], row: dict[str, str], ledger: Ledger) -> None:
    ends = [number(row[name]) for name in ("value", "low", "high")]
    if row["value"]:
        found = TODAY.search(row["today"])
        if found is None or found[2] != row["unit"] or not all(
                _near(text, value, FOUR_DIGITS * abs(value)) for text, value in zip((found[1], *found.groups()[2:]), ends, strict=True)):
            ledger.differs(*where, "today", row["today"], " ".join(f"{one:g}" for one in ends))
    for column, cell, share in (("says", "printed_value", FOUR_DIGITS), ("correction", "value", FOR_PRINT)):
        found = PRINTED.search(row[column]) if row["printed_value"] else None
        if found is None:
            continue
        value = number(row[cell]) / _per(row["component"], found[2], row["unit"])
        if not _near(found[1], value, max(share * value, _half_a_place(found[1]) if column == "correction" else 0.0)):
            ledger.differs(*where, column, row[column], row[cell])


def _per(component: str, unit: str, own: str) -> float:
    if unit == own:
        return 1.0
    if unit == "mmol" and component in MOLAR_MASS:
        return MOLAR_MASS[component] / MILLIGRAMS[own]
    return MILLIGRAMS[unit] / MILLIGRAMS[own] if unit in MILLIGRAMS and own in MILLIGRAMS else math.nan


def _half_a_place(text: str) -> float:
    """Half of the last place that a rounded number has: 5 of "10", 0.05 of "0.1"."""
    place = Decimal(text.rstrip(".")).normalize().as_tuple().exponent
    return float(Decimal(1).scaleb(place)) / 2


def _near(text: str, value: float, within: float) -> bool:
    """Whether a number in words is the value; an end that is not known is any amount."""
    if text == "any amount":
        return math.isnan(value)
    return abs(float(text.rstrip(".")) - value) <= within * (1 + ONE_STEP) + ONE_STEP
