"""A small, fast index of a composition table's names, and the comparison of a phrase with one.

Candidates come from an inverted index of words weighted by their rarity; words the
table does not know are first brought to the nearest known ones (typing errors).
Comparison yields named features, so that a ranking can be explained.
"""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass

import pandas as pd
from rapidfuzz import fuzz, process

from pipeline.stages import match_words as words

TYPING_ERROR_CUTOFF = 82.0
CANDIDATES = 40
# Words of a name that say its state; the state is compared on its own.
STATE_WORDS = frozenset("raw fresh canned tinned tin can dried dry frozen cooked boiled drained smoked pickled".split())


@dataclass(frozen=True)
class Name:
    """One name of one entry: its words, its head (what the food is) and whether cooks use it."""

    words: tuple[str, ...]
    head: frozenset[str]
    curated: bool


@dataclass(frozen=True)
class Index:
    """Names by entry position, postings by word, and the rarity of each word."""

    entries: pd.DataFrame
    names: list[list[Name]]
    postings: dict[str, frozenset[int]]
    rarity: dict[str, float]
    known: list[str]


def build(entries: pd.DataFrame, vocabulary: words.Vocabulary) -> Index:
    """Indexes ``entries`` (model Entries) by published and common names."""
    names = [_names(row, vocabulary) for row in entries[["name", "common_names"]].itertuples(index=False)]
    postings: dict[str, set[int]] = defaultdict(set)
    for position, entry_names in enumerate(names):
        for name in entry_names:
            for word in name.words:
                postings[word].add(position)
    count = max(len(names), 1)
    rarity = {word: math.log(1 + count / len(found)) for word, found in postings.items()}
    return Index(entries, names, {word: frozenset(found) for word, found in postings.items()}, rarity, sorted(postings))


def _names(row, vocabulary: words.Vocabulary) -> list[Name]:
    published_head = words.tokens(row.name.split(",")[0])
    published = words.tokens(row.name)
    found = [Name(_stateless(published), frozenset(published_head), False)]
    for common in row.common_names.split(";"):
        written = _stateless(words.essential(words.tokens(common), vocabulary))
        if written:
            found.append(Name(written, frozenset(written[-1:]), True))
    return found


def _stateless(tokens: tuple[str, ...]) -> tuple[str, ...]:
    kept = tuple(dict.fromkeys(word for word in tokens if word not in STATE_WORDS))
    return kept or tokens


def query(phrase: str, index: Index, vocabulary: words.Vocabulary) -> list[tuple[str, ...]]:
    """The forms of a phrase to look for: as written, and with regional words replaced.

    Unknown words of five letters or more become the nearest known word, if one is near.
    """
    written = _stateless(words.essential(words.tokens(phrase), vocabulary))
    forms = [written, _stateless(words.translated(written, vocabulary))]
    repaired = [tuple(_repaired(word, index) for word in form) for form in forms]
    return list(dict.fromkeys(form for form in [*forms[:1], *repaired] if form))


def _repaired(word: str, index: Index) -> str:
    if word in index.postings or len(word) < 5:
        return word
    nearest = process.extractOne(word, index.known, scorer=fuzz.ratio, score_cutoff=TYPING_ERROR_CUTOFF)
    return nearest[0] if nearest and nearest[0][0] == word[0] else word


def candidates(forms: list[tuple[str, ...]], index: Index) -> list[int]:
    """Positions of the entries that share most of the rarest words, best first."""
    weight: dict[int, float] = defaultdict(float)
    for word in {word for form in forms for word in form}:
        for position in index.postings.get(word, ()):
            weight[position] += index.rarity[word]
    # Short names first among equals: a plain food before a dish that contains it.
    ranked = sorted(weight, key=lambda position: (-weight[position], len(index.names[position][0].words), position))
    return ranked[:CANDIDATES]


def compare(form: tuple[str, ...], name: Name, index: Index) -> dict[str, float]:
    """Named features of a phrase form against one name, each between 0 and 1."""
    asked, offered = set(form), set(name.words)
    default = max(index.rarity.values(), default=1.0)
    mass = {word: index.rarity.get(word, default) for word in asked | offered}
    unasked = {word for word in offered - asked if name.curated or word not in words.PLAIN}
    asked_mass = sum(mass[word] for word in asked) or 1.0
    offered_mass = sum(mass[word] for word in offered) or 1.0
    return {
        "exact": float(asked == offered),
        "asked_covered": sum(mass[word] for word in asked & offered) / asked_mass,
        "offered_unasked": sum(mass[word] for word in unasked) / offered_mass,
        "head_agrees": float(form[-1] in name.head or (not name.curated and form[-1] in offered and bool(name.head & asked))),
        "head_missing": float(not (name.head & asked)),
        "similarity": fuzz.token_sort_ratio(" ".join(form), " ".join(name.words)) / 100,
        "curated": float(name.curated),
    }
