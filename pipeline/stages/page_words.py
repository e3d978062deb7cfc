"""What every page of a release says in the same words: figures, verdicts, names, chances and limits."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from functools import cached_property
from typing import Any, NamedTuple

from pipeline.harm import HARM_ORDER
from pipeline.page_frame import Datum, shown
from pipeline.reason_words import in_words, lower
from pipeline.released import Evidence
from pipeline.stages.conditions import COMPARATORS, UPPER
from pipeline.stages.release_files import format_number

Record = dict[str, Any]
BASE = "base"
# What a portion table shows, in the order in which a renal dietitian looks; the rest is in figures.csv.
SHOWN = (
    ("K", "mg"), ("P", "mg"), ("NA", "mg"), ("NACL", "g"), ("PROCNT", "g"), ("ENERC", "kcal"), ("ENERC", "kJ"), ("FAT", "g"), ("FASAT", "g"),
    ("CHOAVLDF", "g"), ("SUGAR", "g"), ("FIBTG", "g"), ("CA", "mg"), ("WATER", "g"))
# What variants are compared by.
COMPARED = (("K", "mg"), ("P", "mg"), ("NA", "mg"), ("PROCNT", "g"), ("ENERC", "kcal"))
VERDICT_WORDS = {"holds": "holds", "uncertain": "uncertain", "fails": "fails", "not-assessable": "cannot be judged"}
STATUS_WORDS = {"ready": "ready", "check": "to check", "withheld": "withheld"}
BASIS_WORDS = {"portion": "per portion", "100g": "per 100 g", "100kcal": "per 100 kcal", "100kJ": "per 100 kJ", "energy": "of the energy",
               "fatty-acids": "of the fatty acids", "ingredients": "of the ingredients", "recipe": "in the whole dish", "": ""}
# The standards' short forms of units, as a reader knows them.
UNIT_WORDS = {"ug": "µg", "ingredients": ""}
# How it begins to say where a limit is from: the part of a main meal, and millimoles.
OF_LIMIT = "the limit is "
# The probability model ends here: a chance is never said to be more (``judge_probability``).
MOST_CHANCE, LEAST_CHANCE = 0.95, 0.01
# A changed verdict as the tables of versions have it.
FLIP = re.compile(r"(.+?) for (.+): (\S+) -> (\S+)")


class Figure(NamedTuple):
    """One figure as a page shows it; ``href`` leads to its trace, "" where it has none."""

    value: Datum | None
    low: Datum | None
    high: Datum | None
    unit: str
    status: Datum
    reason: str
    href: str

    @property
    def withheld(self) -> bool:
        """Whether there is no number to show."""
        return self.value is None


class Names:
    """The names of the ids of a release."""

    def __init__(self, evidence: Evidence):
        self._names = {(row["kind"], row["id"]): row["name"] for row in evidence.records("names")}

    def of(self, kind: str, name: str) -> str:
        """The name, or the id itself where it has none."""
        return self._names.get((kind, name), name.replace("-", " "))

    @cached_property
    def components(self) -> dict[str, str]:
        """The name of each component by its tagname."""
        return {name: words for (kind, name), words in self._names.items() if kind == "component"}

    def flips(self, verdicts: str) -> str:
        """Changed verdicts (``low-salt for general: holds -> uncertain; ...``) in words, those of all groups together where they are alike."""
        told: dict[tuple[str, str, str], list[str]] = {}
        for one in filter(None, verdicts.split("; ")):
            claim, audience, before, after = FLIP.fullmatch(one).groups()
            told.setdefault((claim, before, after), []).append(audience)
        return "; ".join(f"{lower(self.of('claim', claim))} for {' and '.join(lower(self.of('audience', one)) for one in people)}: "
                         f"{VERDICT_WORDS[before]}, then {VERDICT_WORDS[after]}" for (claim, before, after), people in told.items())

    @property
    def policy(self) -> str:
        """What every verdict on a local limit rests on."""
        return "; ".join(name for (kind, _), name in self._names.items() if kind == "policy")

    @property
    def audiences(self) -> list[str]:
        """The ids of the audiences of the policy, in its order."""
        return [one for kind, one in self._names if kind == "audience" and one != "general"]


class Dish:
    """One recipe of a release and its tables, read once."""

    def __init__(self, evidence: Evidence, recipe_id: str, names: Names):
        self.evidence, self.recipe_id, self.names = evidence, recipe_id, names
        self.recipe: Record = evidence.row("recipes", recipe_id=recipe_id) or {}
        self.variants = sorted(evidence.records("variants", recipe_id=recipe_id), key=lambda one: one["variant_id"] != BASE)

    @cached_property
    def _figures(self) -> dict[tuple[str, str, str], Record]:
        rows = self.evidence.records("figures", recipe_id=self.recipe_id, basis="portion")
        return {(row["variant_id"], row["component"], row["unit"]): row for row in rows}

    @cached_property
    def verdicts(self) -> dict[str, list[Record]]:
        """The verdicts by variant; what can do most harm first."""
        found: dict[str, list[Record]] = {one["variant_id"]: [] for one in self.variants}
        for row in sorted(self.evidence.records("verdicts", recipe_id=self.recipe_id), key=by_harm):
            found.setdefault(row["variant_id"], []).append(row)
        return found

    def local(self, variant_id: str, audience: str) -> list[Record]:
        """The verdicts on local limits of a variant for an audience."""
        return [row for row in self.verdicts[variant_id] if row["audience"] == audience and row["kind"] == "local-limit"]

    def figure(self, variant_id: str, component: str, unit: str) -> Figure | None:
        """The figure per portion, or None where the release has none."""
        row = self._figures.get((variant_id, component, unit))
        return None if row is None else figure(row, f"{self.recipe_id}-trace.html#" if is_traced(row) else "", self.names.components)

    def with_toppings(self, variant: Record) -> str:
        """The name of a variant; of the one with all optional lines also which these are."""
        lines = self.evidence.records("lines", recipe_id=self.recipe_id, variant_id=variant["variant_id"]) if variant["kind"] == "optional" else []
        toppings = listed(line["phrase"] for line in lines if line["optional"] and line["counted"])
        return f"{variant['name']}: {toppings}" if toppings else variant["name"]

    def variant_name(self, variant_id: str) -> str:
        """The name of a variant, in words."""
        return next((one["name"] for one in self.variants if one["variant_id"] == variant_id), variant_id)


def is_traced(row: Record) -> bool:
    """Whether the pages carry the trace of a figure: those that they show."""
    one = (row["component"], row["unit"])
    return row["basis"] == "portion" and one in (SHOWN if row["variant_id"] == BASE else COMPARED)


def anchor(row: Record) -> str:
    """The name of a figure within its recipe: ``base/K/portion``."""
    return row["figure_id"].partition("/")[2]


def figure(row: Record, traces: str = "", components: Mapping[str, str] | None = None) -> Figure:
    """A row of Figures as a page shows it; ``traces`` is the page of its trace, up to the ``#``, ``components`` as for :func:`in_words`."""
    named = anchor(row)
    status = Datum(STATUS_WORDS[row["status"]], row["status"], f"figures {named} status")
    numbers = [None] * 3 if row["status"] == "withheld" else [number(row[end], f"figures {named} {end}") for end in ("value", "low", "high")]
    return Figure(*numbers, row["unit"], status, in_words(row["reason"], components), f"{traces}{named}" if traces else "")


def number(value: float, cell: str) -> Datum:
    """A released number."""
    return Datum(shown(value), format_number(value), cell)


class Verdict(NamedTuple):
    """One verdict as a page shows it; ``lie`` is where its interval lies beside the limit (None: not drawn)."""

    claim: str
    word: Datum
    value: Datum | None
    low: Datum | None
    high: Datum | None
    limit: Datum | None
    comparator: str
    unit: str
    basis: str
    chance: Datum | None
    margin: Datum | None
    headroom: str
    decisive: str
    reason: str
    notes: str
    of_limit: str
    origin: str
    to_check: bool
    lie: Lie | None


class Lie(NamedTuple):
    """The drawing of an interval beside its limit: places from 0 to 100 with the limit at 50, and the same in words."""

    low: float
    high: float
    kept_from: float
    kept_to: float
    words: str


def word(row: Record) -> Datum:
    """The verdict of a row of Verdicts, in words."""
    return Datum(VERDICT_WORDS[row["verdict"]], row["verdict"], f"{_key(row)} verdict")


def verdict(row: Record, names: Names) -> Verdict:
    """A row of Verdicts as a page shows it."""
    def datum(column: str, text=shown) -> Datum | None:
        return None if math.isnan(row[column]) else Datum(text(row[column]), format_number(row[column]), f"{_key(row)} {column}")

    plain = _without_policy(row["reason"], names)
    reason, notes = in_words(plain, names.components), plain.split("; ")[1:]
    of_limit = [note.removeprefix(OF_LIMIT) for note in notes if note.startswith(OF_LIMIT)]
    # Of a local limit the rest is how it arose, but for what is said of the figure itself.
    others = [note for note in notes if not note.startswith(OF_LIMIT)]
    origin = [note for note in others if row["kind"] == "local-limit" and not note.startswith(f"{row['component']} is ")]
    doubts = [in_words(note, names.components) for note in others if note not in origin]
    drawn = row["basis"] != "ingredients" and not any(math.isnan(row[end]) for end in ("value", "low", "high", "limit")) and row["limit"] > 0
    return Verdict(
        names.of("claim", row["claim"]), word(row), datum("value"), datum("low"), datum("high"), datum("limit", format_number),
        COMPARATORS.get(row["comparator"], ""), UNIT_WORDS.get(row["unit"], row["unit"]), BASIS_WORDS.get(row["basis"], row["basis"]), datum("probability", chance),
        datum("margin", margin), row["headroom"], row["decisive"], reason,
        "; ".join(doubts), "; ".join(of_limit), "; ".join(in_words(note, names.components) for note in origin), is_to_check(row), _lie(row) if drawn else None)


def is_to_check(row: Record) -> bool:
    """Whether a person has to look at the figure behind a verdict before anything of it is printed."""
    return row["status"] == "check"


def chance(probability: float) -> str:
    """A probability in words that never say more than the model can."""
    if probability >= MOST_CHANCE:
        return f"{100 * MOST_CHANCE:.0f} % or more"
    return "below 1 %" if probability < LEAST_CHANCE else f"{100 * probability:.0f} %"


def margin(fraction: float) -> str:
    """The headroom as a part of the limit."""
    return f"{shown(abs(100 * fraction))} % {'to spare' if fraction >= 0 else 'beyond'}"


def listed(words: Iterable[str]) -> str:
    """Words as a sentence lists them: "a, b and c"."""
    several = list(words)
    return several[0] if len(several) == 1 else ", ".join(several[:-1]) + f" and {several[-1]}" if several else ""


def some(names: Sequence[str], most: int) -> str:
    """The first of many names, and how many more there are."""
    return ", ".join(names[:most]) + (f" and {len(names) - most} more" if len(names) > most else "")


def _key(row: Record) -> str:
    return f"verdicts {row['variant_id']} {row['audience']} {row['claim']}"


def by_harm(row: Record) -> tuple[int, str, str]:
    """The order of verdicts: of what can do most harm first."""
    place = HARM_ORDER.index(row["component"]) if row["component"] in HARM_ORDER else len(HARM_ORDER)
    return place, row["claim"], row["audience"]


def _without_policy(reason: str, names: Names) -> str:
    """The reason without what the page says once: on which policy every local verdict rests."""
    return reason.removesuffix(names.policy).removesuffix("; ") if names.policy else reason


def _lie(row: Record) -> Lie:
    ends = {end: min(100.0, 50 * max(0.0, row[end]) / row["limit"]) for end in ("low", "high")}
    per_cent = [shown(100 * row[end] / row["limit"]) for end in ("low", "high")]
    kept = (0.0, 50.0) if row["comparator"] in UPPER else (50.0, 100.0)
    side = "at most" if row["comparator"] in UPPER else "at least"
    # An interval too narrow to be seen is drawn as wide as a line is thick.
    return Lie(ends["low"], max(ends["high"], ends["low"] + 1), *kept, f"from {per_cent[0]} to {per_cent[1]} % of the limit; {side} 100 % is kept")
