"""The allergens of Annex II that a line brings, by its words, by the name of its entry, and by the entry's class.

Never "free from": a line shows what it contains, what it may contain through a made-up food, or nothing.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

import pandas as pd

from pipeline.problems import InputError, Problem
from pipeline.remembered import remembered
from pipeline.stages.suit_words import Hit, Lexicon, named, said
from pipeline.suitability_form import ALLERGEN_STATUSES, ALLERGENS

CONTAINS, MAY, NOT_ASSESSED = ALLERGEN_STATUSES
# What else a row can say of a food: that its name misleads (peanut butter, of milk), which casts doubt on an entry with
# the allergen; or that it plainly has none by itself (vinegar), which only takes it out of a mixed cooking class.
NOT, PLAIN = "not", "plain"
SILENT = (NOT, PLAIN)
WHERE = "reference/allergens.csv"


@dataclass(frozen=True)
class Line:
    """What is known of an ingredient line: its words without the other choice it offers, the food phrase in them ("" where
    none was read), that other choice, the entry's name and cooking class ("" where there is none), and whether the line is
    settled and counted."""

    words: str
    phrase: str
    other: str
    entry_name: str
    cooking_class: str
    settled: bool
    counted: bool


@dataclass(frozen=True)
class Evidence:
    """What a line says of one subject: the answer, through which words, found where, on which source."""

    subject: str
    answer: str
    through: str
    found_in: str
    source_id: str


@dataclass(frozen=True)
class Row:
    """A row of the reference file for one allergen."""

    level: str
    named: str
    source_id: str
    note: str


@dataclass(frozen=True)
class Allergens:
    """``reference/allergens.csv`` by allergen: its own lexicon (so that peanut butter hides butter from milk
    and not from peanuts), its rows by food, by cooking class and by label word."""

    lexicons: dict[str, Lexicon]
    foods: dict[tuple[str, str], tuple[Row, ...]]
    classes: dict[tuple[str, str], tuple[Row, ...]]
    labels: Lexicon
    denied: frozenset[tuple[str, str]]


@remembered(most=2)
def allergens(rows: pd.DataFrame) -> Allergens:
    """The file made ready. Raises :class:`InputError` for a row with an unknown scope, allergen or level."""
    known = rows["scope"].isin(("words", "class", "label")) & rows["allergen"].isin(ALLERGENS)
    known &= rows["level"].isin((CONTAINS, MAY, *SILENT))
    if not known.all():
        raise InputError([Problem(f"{WHERE}:{row + 2}", "has an unknown scope, allergen or level", f"Scope: words, class, label; level: "
                                  f"{CONTAINS}, {MAY}, {NOT}, {PLAIN}; allergens: {', '.join(ALLERGENS)}", "wrong-allergen-row")
                          for row in rows.index[~known]])
    words, labels = rows[rows["scope"] == "words"], rows[rows["scope"] == "label"]
    lexicons = {allergen: Lexicon.of(words.loc[words["allergen"] == allergen, "food"]) for allergen in ALLERGENS}
    return Allergens(lexicons, _by_food(words), _by_food(rows[rows["scope"] == "class"]), Lexicon.of(labels["food"]),
                     frozenset(zip(labels["food"], labels["allergen"], strict=True)))


def _by_food(rows: pd.DataFrame) -> dict[tuple[str, str], tuple[Row, ...]]:
    found = defaultdict(list)
    for row in rows.itertuples(index=False):
        found[(row.food, row.allergen)].append(Row(row.level, row.named, row.source_id, row.note))
    return {key: tuple(group) for key, group in found.items()}


def of_line(line: Line, known: Allergens) -> list[Evidence]:
    """Everything that a line says of the 14 allergens; the same line always says the same, whatever stands beside it."""
    return [one for allergen in ALLERGENS for one in _of_allergen(line, allergen, known)]


def _of_allergen(line: Line, allergen: str, known: Allergens) -> list[Evidence]:
    lexicon = known.lexicons[allergen]
    hits = said(line.words, lexicon, known.labels)
    written = [one for hit in hits for one in _by_words(hit, allergen, known)]
    other = [_softened(one, "other choice", "only in the other choice of the line") for hit in said(line.other, lexicon, known.labels)
             for one in _by_words(hit, allergen, known)]
    denied = any((hit.label, allergen) in known.denied or _denies(hit, allergen, known) for hit in hits)
    listed = _by_entry(line, allergen, known)
    if hits:  # what the words say of it is plainer than what the class may hold
        listed = [one for one in listed if one.answer == CONTAINS or one.found_in == "entry"]
    if denied:
        listed = [_softened(one, one.found_in, "the line's words name another food than its entry") for one in listed]
    elif not line.settled:
        listed = [_softened(one, one.found_in, "by the nearest entry; the line is not settled") for one in listed]
    found = [*written, *other, *listed]
    return found if line.counted else [_softened(one, one.found_in, "optional, and left out here") for one in found]


def _by_words(hit: Hit, allergen: str, known: Allergens) -> list[Evidence]:
    found = [_evidence(allergen, row, hit.food, "words") for row in known.foods[(hit.food, allergen)] if row.level not in SILENT]
    if not _doubted(hit, allergen, known):
        return found
    doubt = f'the line says "{hit.label}": read the label' if hit.label else 'the line says "without"'
    return [_softened(one, "words", doubt) for one in found]


def _doubted(hit: Hit, allergen: str, known: Allergens) -> bool:
    return hit.negated or (hit.label, allergen) in known.denied


def _denies(hit: Hit, allergen: str, known: Allergens) -> bool:
    return any(row.level == NOT for row in known.foods[(hit.food, allergen)])


def _by_entry(line: Line, allergen: str, known: Allergens) -> list[Evidence]:
    foods = named(line.entry_name, known.lexicons[allergen])
    rows = [(food, row) for food in foods for row in known.foods[(food, allergen)]]
    by_name = [_evidence(allergen, row, f"{food} (entry {line.entry_name})", "entry") for food, row in rows if row.level not in SILENT]
    by_class = known.classes.get((line.cooking_class, allergen), ())
    if foods:  # the name says more than the class, but not less than a class that contains it for certain
        by_class = tuple(row for row in by_class if row.level == CONTAINS and not any(row.level == NOT for _, row in rows))
    return by_name + [_evidence(allergen, row, f"{line.cooking_class} (class of {line.entry_name})", "class") for row in by_class]


def _evidence(allergen: str, row: Row, food: str, found_in: str) -> Evidence:
    named_in_law = f" = {row.named}" if row.named and row.named not in food else ""
    note = f": {row.note}" if row.note and row.level == MAY else ""
    return Evidence(allergen, row.level, f"{food}{named_in_law}{note}", found_in, row.source_id)


def _softened(one: Evidence, found_in: str, why: str) -> Evidence:
    return Evidence(one.subject, MAY, f"{one.through} ({why})", found_in, one.source_id)
