"""What one cell of a composition sheet says: a number, or a word that stands for one.

Zero, trace, below detection, missing and "present, amount unknown" are different things and stay
so: see :mod:`pipeline.composition.common` for how each enters a sum. A cell that is none of what
the profile names has a ``fault``; it is never guessed at.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

PAIRS = {"()": ("(", ")"), "[]": ("[", "]")}
SPACES = " \u00a0\u2009\u202f"
LARGEST = 1e9  # no unit in use makes a number of a composition table this large
PRESENT_UNKNOWN = "present in a significant amount, no reliable figure"
NO_LIMIT = "below a detection limit that is not stated"
IN_BRACKETS = "in brackets"
STATE_LIMIT = "State the limit under [trace_limits] in the profile, by component or by unit (for a table that prints 0.1 g: g = 0.05)"


@dataclass(frozen=True)
class Words:
    """How a table writes its values; words are folded to lower case.

    ``brackets`` are keys of ``PAIRS``; ``estimate`` is the value type of a number in brackets;
    ``number`` that of a plain one. ``thousands`` may be "".
    """

    trace: frozenset[str] = frozenset()
    missing: frozenset[str] = frozenset()
    present_unknown: frozenset[str] = frozenset()
    below_detection: frozenset[str] = frozenset()
    zero: frozenset[str] = frozenset()
    less_than: tuple[str, ...] = ()
    footnote_marks: tuple[str, ...] = ()
    brackets: tuple[str, ...] = ()
    estimate: str = "imputed"
    number: str = "analysed"
    decimal: str = "."
    thousands: str = ""


@dataclass(frozen=True)
class Limits:
    """For one column, in its unit: below what the table prints a trace, and the detection limit. NaN: not stated."""

    trace: float = math.nan
    detection: float = math.nan


@dataclass(frozen=True)
class Reading:
    """A cell as understood, in the unit of its column. ``fault`` and ``remedy`` are empty where it was."""

    value_type: str = "missing"
    value: float = math.nan
    maximum: float = math.nan
    derivation: str = ""
    bracketed: bool = False
    fault: str = ""
    remedy: str = ""


def plain(number: float) -> str:
    """The shortest plain decimal that reads as exactly this number: 0.1, 1500, 0.00001."""
    return "0" if number == 0 else np.format_float_positional(number, trim="-")


@lru_cache(maxsize=64)
def number_pattern(decimal: str, thousands: str) -> re.Pattern[str]:
    """A number written with this decimal mark and, if any, this mark between groups of three digits."""
    point = re.escape(decimal)
    whole = "[0-9]+"
    if thousands:
        mark = f"[{SPACES}]" if thousands == " " else re.escape(thousands)
        whole = rf"(?:[0-9]+|[1-9][0-9]{{0,2}}(?:{mark}[0-9]{{3}})+)"
    return re.compile(rf"(?:{whole}(?:{point}[0-9]+)?|{point}[0-9]+)")


def number_of(text: str, words: Words) -> float | None:
    """The number that ``text`` is, by the table's decimal and thousands marks; None where it is none."""
    if not number_pattern(words.decimal, words.thousands).fullmatch(text):
        return None
    marks = SPACES if words.thousands == " " else words.thousands
    digits = "".join(letter for letter in text if not marks or letter not in marks)
    number = float(digits.replace(words.decimal, "."))
    return number if number <= LARGEST else None


def read_cell(text: str, words: Words, limits: Limits = Limits(), is_number: bool = False) -> Reading:
    """What the cell says. ``is_number``: the workbook holds a number, and ``text`` is it in plain decimal.

    Never raises: a cell that is not understood gives a Reading with a ``fault``.
    """
    text = text.strip()
    if is_number:
        return _plain_number(text, replace(words, decimal=".", thousands=""))
    found = _word(text, words, limits)
    if found:
        return found
    text, marks = _without_marks(text, words)
    for pair in words.brackets:
        start, end = PAIRS[pair]
        if len(text) > 2 and text.startswith(start) and text.endswith(end):
            return _noted(_in_brackets(text[1:-1].strip(), words, limits), marks)
    return _noted(_unbracketed(text, words, limits), marks)


def _plain_number(text: str, words: Words) -> Reading:
    number = number_of(text, words)
    if number is not None:
        return Reading("zero", 0.0) if number == 0 else Reading(words.number, number)
    if text[:1] in ("-", "\u2212", "\u2013") and number_of(text[1:].strip(), words) is not None:
        return Reading(fault=f"{text!r} is a negative value")
    return Reading(fault=f"{_shown(text)} is neither a number (decimal mark {words.decimal!r}) nor a word of the profile")


def _word(text: str, words: Words, limits: Limits) -> Reading | None:
    word = " ".join(text.split()).casefold()
    if word in words.zero:
        return Reading("zero", 0.0, derivation=text)
    if word in words.trace:
        if not limits.trace > 0:
            return Reading(fault=f"{_shown(text)} is a trace, and no limit is known below which this column prints one", remedy=STATE_LIMIT)
        return Reading("trace", limits.trace / 2, limits.trace, f"trace: below {plain(limits.trace)}")
    if word in words.missing:
        return Reading()
    if word in words.present_unknown:
        return Reading(derivation=PRESENT_UNKNOWN)
    if word in words.below_detection:
        return _below(limits.detection)
    return None


def _below(limit: float) -> Reading:
    if not limit > 0:
        return Reading(derivation=NO_LIMIT)
    return Reading("below-detection", limit / 2, limit, f"below {plain(limit)}")


def _without_marks(text: str, words: Words) -> tuple[str, list[str]]:
    found = []
    marks = sorted(words.footnote_marks, key=len, reverse=True)
    while mark := next((mark for mark in marks if len(text) > len(mark) and text.endswith(mark)), ""):
        text = text[: -len(mark)].rstrip()
        found.insert(0, mark)
    return text, found


def _unbracketed(text: str, words: Words, limits: Limits) -> Reading:
    found = _word(text, words, limits)
    if found:
        return found
    mark = next((mark for mark in words.less_than if text.startswith(mark)), "")
    if not mark:
        return _plain_number(text, words)
    limit = number_of(text[len(mark):].strip(), words)
    if limit is None or limit == 0:
        return Reading(fault=f"{_shown(text)} is not a limit of detection above 0 (decimal mark {words.decimal!r})")
    return _below(limit)


def _in_brackets(text: str, words: Words, limits: Limits) -> Reading:
    inner = _unbracketed(text, words, limits)
    if inner.fault:
        return inner
    derivation = f"{inner.derivation}, {IN_BRACKETS}" if inner.derivation else IN_BRACKETS
    counted = inner.value_type in (words.number, "zero")
    return replace(inner, value_type=words.estimate if counted else inner.value_type, derivation=derivation, bracketed=True)


def _noted(reading: Reading, marks: list[str]) -> Reading:
    if reading.fault or not marks:
        return reading
    note = f"footnote {' '.join(marks)}"
    return replace(reading, derivation=f"{reading.derivation}, {note}" if reading.derivation else note)


def _shown(text: str) -> str:
    return "an empty cell" if not text else repr(text if len(text) <= 40 else text[:37] + "...")
