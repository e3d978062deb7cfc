"""Which line of one version of a recipe is which line of the other: by food entry and by words, never by position."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field

from pipeline.decisions import phrase_key
from pipeline.stages.match_words import singular

# Two amounts this close differ by rounding in the computer only.
ROUNDING = 1e-9


@dataclass(frozen=True)
class Line:
    """One line of a version with what the stages made of it; ``amounts`` by component, null where the table has no value."""

    line_no: int
    text: str
    phrase: str
    state: str
    preparation: str
    written: tuple  # the amount as read: numbers and units
    entry_id: str  # "" where the line is not settled
    entry_name: str
    counted: bool
    settled: bool
    mass_g: float
    edible_g: float
    cooking: tuple[str, str, str]  # method, liquid, chain
    amounts: dict[str, float] = field(default_factory=dict)

    @property
    def words(self) -> str:
        """The line without its capitals and outer blanks."""
        return " ".join(self.text.casefold().split())

    @property
    def food(self) -> frozenset[str]:
        """The words that name the food, in the singular, without their order."""
        return frozenset(singular(word) for word in phrase_key(self.phrase or self.text).split())


def pairs(before: list[Line], after: list[Line]) -> Iterator[tuple[Line | None, Line | None]]:
    """Every line of both once: (before, after), or None on the side that does not have it.

    The same entry goes before the same words for the food, and those before words that hold the others; among several, the
    line of the same words, then the one cooked alike and nearest in amount. The order of the lines does not matter.
    """
    ranked = []
    for one in before:
        for other in after:
            likeness = _likeness(one, other)
            if likeness is not None:
                unlike = (likeness, one.words != other.words, one.cooking != other.cooking, _apart(one.mass_g, other.mass_g))
                ranked.append(((*unlike, one.text, other.text, one.line_no, other.line_no), one, other))
    ranked.sort(key=lambda row: row[0])
    gone, come = set(), set()
    for _, one, other in ranked:
        if one.line_no not in gone and other.line_no not in come:
            gone.add(one.line_no)
            come.add(other.line_no)
            yield one, other
    yield from ((one, None) for one in before if one.line_no not in gone)
    yield from ((None, other) for other in after if other.line_no not in come)


def _likeness(one: Line, other: Line) -> int | None:
    """0 the same words for the same entry, 1 the same entry, 2 the same words, 3 words that hold the others; None: not the same."""
    same_entry = one.entry_id != "" and one.entry_id == other.entry_id
    if same_entry:
        return int(one.food != other.food)
    if one.food == other.food:
        return 2
    return 3 if one.food and other.food and (one.food < other.food or other.food < one.food) else None


def _apart(mass_g: float, other_g: float) -> float:
    if math.isnan(mass_g) or math.isnan(other_g):
        return math.inf
    if mass_g <= 0 or other_g <= 0:
        return abs(mass_g - other_g)
    return abs(math.log(mass_g / other_g))


def same(number: float, other: float) -> bool:
    """Whether two numbers are equal, or both unknown."""
    if math.isnan(number) or math.isnan(other):
        return math.isnan(number) and math.isnan(other)
    return math.isclose(number, other, rel_tol=ROUNDING, abs_tol=ROUNDING)
