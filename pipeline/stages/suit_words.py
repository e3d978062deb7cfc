"""Foods named in words: the longest name wins, so that coconut milk is no milk and butter beans no butter.

A lexicon is the ``food`` column of a reference file. Words are compared in the singular, without
accents and marks. A name that is read takes its words with it: in "peanut butter" nothing is left to be butter.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

from pipeline.phrases import phrase_key
from pipeline.stages.match_words import singular

_MARKS = re.compile(r"[,;:()\[\]/]|\s[-–—]\s")
# A label word does not reach past these: "vegan cheese and chicken", "honey, or syrup for vegans".
BREAKS = frozenset("or and with for if in on plus".split())
NEGATIONS = frozenset("without no minus not".split())
# Before a label word these take its meaning away: "not vegan", "for vegans use".
NO_LABEL_AFTER = frozenset("for if not non unless".split())

Words = tuple[str, ...]


@dataclass(frozen=True)
class Lexicon:
    """Names of foods by their first word, the longest first."""

    names: dict[str, tuple[tuple[Words, str], ...]]

    @classmethod
    def of(cls, foods: Iterable[str]) -> Lexicon:
        """The lexicon of these names."""
        by_first: dict[str, list[tuple[Words, str]]] = {}
        for food in sorted(set(foods)):
            words = kitchen_words(food)
            by_first.setdefault(words[0], []).append((words, food))
        return cls({first: tuple(sorted(names, key=lambda one: (-len(one[0]), one))) for first, names in by_first.items()})


@dataclass(frozen=True)
class Hit:
    """A food that words name. ``label``: a word such as "vegan" said of it; ``negated``: "without" stands before it."""

    food: str
    label: str = ""
    negated: bool = False


@lru_cache(maxsize=65536)
def kitchen_words(text: str) -> Words:
    """The words of a text in order, singular, in the form in which phrases are compared."""
    return tuple(singular(word) for word in phrase_key(text).split())


def named(text: str, lexicon: Lexicon) -> list[str]:
    """The foods that a text names, marks aside: for the names of entries, which say "Noodles, egg"."""
    return [food for food, _, _ in _places(kitchen_words(text), lexicon)]


def said(text: str, lexicon: Lexicon, labels: Lexicon) -> list[Hit]:
    """The foods that an ingredient line names, each with the label word said of it.

    A label word is said of what follows it in the same part of the line, and of the whole line
    where it stands between marks alone ("grated cheese (vegan)").
    """
    parts = [kitchen_words(part) for part in _MARKS.split(text)]
    alone = [_label_alone(words, labels) for words in parts]
    whole = next((label for label in alone if label), "")
    return [hit for words, label in zip(parts, alone, strict=True) if not label for hit in _hits(words, lexicon, labels, whole)]


def headed(text: str, lexicon: Lexicon) -> bool:
    """Whether a part of a text is a food with its last word known: orange juice is a juice, and salsa con queso no salsa."""
    parts = [kitchen_words(part) for part in _MARKS.split(text)]
    return any(end == len(words) for words in parts for _, _, end in _places(words, lexicon))


def led(entry_name: str, lexicon: Lexicon) -> bool:
    """Whether the first part of an entry's name is known to its end: "Sauce, plum" and "Apple juice, canned", not "Pasta mix, ..."."""
    first = len(kitchen_words(_MARKS.split(entry_name)[0]))
    return any(start < first <= end for _, start, end in _places(kitchen_words(entry_name), lexicon))


def _hits(words: Words, lexicon: Lexicon, labels: Lexicon, whole: str) -> list[Hit]:
    spoken = [(label, start, end) for label, start, end in _places(words, labels)
              if start == 0 or words[start - 1] not in NO_LABEL_AFTER]
    found = []
    for food, start, end in _places(words, lexicon):
        before = [label for label, _, stop in spoken if stop <= start and not BREAKS & set(words[stop:start])]
        negated = start > 0 and words[start - 1] in NEGATIONS
        found.append(Hit(food, before[-1] if before else whole, negated))
    return found


def _label_alone(words: Words, labels: Lexicon) -> str:
    places = _places(words, labels)
    covered = sum(end - start for _, start, end in places)
    return places[0][0] if places and covered == len(words) else ""


def _places(words: Words, lexicon: Lexicon) -> list[tuple[str, int, int]]:
    """Names with the places where they begin and end, from left to right, the longest first."""
    found, place = [], 0
    while place < len(words):
        known = lexicon.names.get(words[place], ())
        match = next(((food, len(name)) for name, food in known if words[place:place + len(name)] == name), None)
        if match is None:
            place += 1
            continue
        found.append((match[0], place, place + match[1]))
        place += match[1]
    return found


def without(text: str, other: str) -> str:
    """A line's text without the other choice that it offers; unchanged where that does not stand in it word for word."""
    if not other:
        return text
    place = text.casefold().rfind(other.casefold())
    return text if place < 0 else text[:place] + " , " + text[place + len(other):]
