"""Second reading of the foods that words name, for `potash verify`: as reference files write them, the longest name first."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import NamedTuple

from pipeline.verify_ingredients import plain_words

# A comma, a bracket, a stroke or a dash between spaces ends a part of a line.
PARTED = re.compile(r"[,;:()\[\]/]|\s[-\u2013\u2014]\s")
# Behind these words a label says nothing any more ("vegan cheese and chicken"); after those it is none ("not vegan").
ENDS_A_LABEL = {"or", "and", "with", "for", "if", "in", "on", "plus"}
NO_LABEL = {"for", "if", "not", "non", "unless"}
TAKES_AWAY = {"without", "no", "minus", "not"}
OWN_VES = {"chives", "olives", "cloves", "endives"}
PLURALS = (("oes", "o"), ("ches", "ch"), ("shes", "sh"), ("sses", "ss"), ("xes", "x"), ("zes", "z"), ("s", ""))


class Said(NamedTuple):
    """A food named by a line: ``label`` is a word such as "vegan" said of it, ``denied`` that "without" stands before it."""

    food: str
    label: str
    denied: bool


def words(text: str) -> list[str]:
    """The words of a text, each in the singular."""
    return list(_words(text))


@lru_cache(maxsize=16384)
def _words(text: str) -> tuple[str, ...]:
    return tuple(_one(word) for word in plain_words(text))


def _one(word: str) -> str:
    if len(word) < 4 or word[-2:] in ("ss", "us", "is"):
        return word
    if word.endswith("ies") and len(word) > 4:
        return f"{word[:-3]}y"
    if word.endswith("ves") and word not in OWN_VES:
        return f"{word[:-3]}f"
    for many, single in PLURALS:
        if word.endswith(many):
            return word[:len(word) - len(many)] + single
    return word


class Names:
    """Names of foods as a file lists them; where two are the same words, the first by the alphabet stands for both."""

    def __init__(self, foods):
        self._known: dict[tuple[str, ...], str] = {}
        for food in sorted(set(foods)):
            self._known.setdefault(tuple(words(food)), food)
        self._longest = max(map(len, self._known), default=0)

    def places(self, told: list[str]) -> list[tuple[int, int, str]]:
        """(begin, end, food) of every name in these words; a word belongs to one name only."""
        found, begin = [], 0
        while begin < len(told):
            for end in range(min(len(told), begin + self._longest), begin, -1):
                food = self._known.get(tuple(told[begin:end]))
                if food is not None:
                    found.append((begin, end, food))
                    begin = end
                    break
            else:
                begin += 1
        return found

    def named(self, text: str) -> list[str]:
        """The foods that a text names, marks aside."""
        return [food for _, _, food in self.places(words(text))]

    def ends_a_part(self, text: str) -> bool:
        """Whether a part of the text has a name as its last words."""
        return any(end == len(told) for told in map(words, PARTED.split(text)) for _, end, _ in self.places(told))

    def covers_the_head(self, entry_name: str) -> bool:
        """Whether the last word of an entry name's first part lies in a name."""
        head = len(words(PARTED.split(entry_name)[0]))
        return any(begin < head <= end for begin, end, _ in self.places(words(entry_name)))

    def said(self, text: str, labels: Names) -> list[Said]:
        """The foods that a line names, with the labels and denials that stand before them."""
        parts = [words(part) for part in PARTED.split(text)]
        whole, plain = "", []
        for told in parts:
            marks = labels.places(told)
            if marks and sum(end - begin for begin, end, _ in marks) == len(told):
                whole = whole or marks[0][2]
            else:
                plain.append((told, [mark for mark in marks if mark[0] == 0 or told[mark[0] - 1] not in NO_LABEL]))
        found = []
        for told, marks in plain:
            for begin, _, food in self.places(told):
                label = whole
                for _, stop, mark in marks:
                    if stop <= begin and ENDS_A_LABEL.isdisjoint(told[stop:begin]):
                        label = mark
                found.append(Said(food, label, begin > 0 and told[begin - 1] in TAKES_AWAY))
        return found


def left_of(text: str, other: str) -> str:
    """A line without the other choice it offers, where that stands in it word for word."""
    at = text.casefold().rfind(other.casefold()) if other else -1
    return text if at < 0 else f"{text[:at]} , {text[at + len(other):]}"
