"""A small, fast index of a composition table's names, and the comparison of a phrase with one.

Candidates come from an inverted index of words weighted by their rarity; words the
table does not know are first brought to the nearest known ones (typing errors).
Comparison yields named features, so that a ranking can be explained.
"""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass
from functools import lru_cache

import pandas as pd
from rapidfuzz import fuzz, process
from rapidfuzz.distance import OSA

from pipeline.stages import match_words as words

CANDIDATES = 40
# Shorter words are never taken for typing errors; longer ones may differ by one slip, long ones by two.
REPAIRED_FROM, TWO_SLIPS_FROM = 5, 9
# Words of a name that say its state; the state is compared on its own.
STATE_OF_WORD = {
    "raw": "raw", "fresh": "fresh", "uncooked": "raw", "canned": "canned", "tinned": "canned", "tin": "canned", "can": "canned",
    "dried": "dried", "dry": "dried", "frozen": "frozen", "cooked": "cooked", "boiled": "cooked", "drained": "drained",
    "smoked": "smoked", "pickled": "pickled",
}
STATE_WORDS = frozenset(STATE_OF_WORD)
# "Cooked, boiled, drained" is cooked; "canned, drained" is drained.
MAIN_STATES = ("cooked", "smoked", "pickled", "drained", "canned", "dried", "frozen", "raw")


@dataclass(frozen=True)
class Name:
    """One name of one entry: its words, its head (what the food is), whether cooks use it, and
    the states that its own words say; ``key``: the words without pieces; ``text``: sorted."""

    words: tuple[str, ...]
    head: frozenset[str]
    curated: bool
    states: frozenset[str]
    key: frozenset[str]
    text: str


@dataclass(frozen=True)
class Form:
    """One reading of a phrase: its words, the state they ask for, and whether a word of the
    line from outside the phrase (a unit, a preparation) completes a name that cooks use."""

    words: tuple[str, ...]
    state: str
    completed: bool = False
    repaired: bool = False


@dataclass(frozen=True)
class Index:
    """Names by entry position, postings by word, the rarity of each word, and the entries
    that share a name which cooks use."""

    entries: pd.DataFrame
    names: list[list[Name]]
    postings: dict[str, frozenset[int]]
    rarity: dict[str, float]
    known: dict[str, list[str]]  # the words of all names by first letter
    sharing: dict[frozenset[str], tuple[int, ...]]
    stateless: dict[frozenset[str], tuple[int, ...]]  # of those, the ones whose name says no state
    written: dict[frozenset[str], tuple[str, ...]]
    cuts: frozenset[str]
    not_slips: frozenset[str]


def build(entries: pd.DataFrame, vocabulary: words.Vocabulary) -> Index:
    """Indexes ``entries`` (model Entries) by published and common names."""
    names = [_names(row, vocabulary) for row in entries[["name", "common_names"]].itertuples(index=False)]
    postings: dict[str, set[int]] = defaultdict(set)
    sharing: dict[frozenset[str], list[int]] = defaultdict(list)
    stateless: dict[frozenset[str], list[int]] = defaultdict(list)
    written: dict[frozenset[str], tuple[str, ...]] = {}
    for position, entry_names in enumerate(names):
        for name in entry_names:
            for word in name.words:
                postings[word].add(position)
            if name.curated:
                sharing[name.key].append(position)
                if not name.states:
                    stateless[name.key].append(position)
                written.setdefault(frozenset(name.words), name.words)
    count = max(len(names), 1)
    rarity = {word: math.log(1 + count / len(found)) for word, found in postings.items()}
    known: dict[str, list[str]] = defaultdict(list)
    for word in sorted(postings):
        known[word[0]].append(word)
    not_slips = vocabulary.known | vocabulary.cuts | {first for first in vocabulary.replacements}
    return Index(
        entries, names, {word: frozenset(found) for word, found in postings.items()}, rarity, dict(known),
        _positions(sharing), _positions(stateless), written, vocabulary.cuts, not_slips)


def _positions(found: dict[frozenset[str], list[int]]) -> dict[frozenset[str], tuple[int, ...]]:
    return {key: tuple(dict.fromkeys(positions)) for key, positions in found.items()}


def _names(row, vocabulary: words.Vocabulary) -> list[Name]:
    published = words.tokens(row.name)
    found = [_name(_stateless(published), frozenset(words.tokens(row.name.split(",")[0])), False, published, vocabulary)]
    for common in row.common_names.split(";"):
        said = words.tokens(common)
        written = _stateless(words.essential(said, vocabulary))
        if written:
            found.append(_name(written, frozenset({_last(written, vocabulary.cuts)}), True, said, vocabulary))
    return found


def _name(written: tuple[str, ...], head: frozenset[str], curated: bool, said: tuple[str, ...], vocabulary: words.Vocabulary) -> Name:
    return Name(written, head, curated, _states(said), sharing_key(written, vocabulary.cuts), " ".join(sorted(written)))


def _stateless(tokens: tuple[str, ...]) -> tuple[str, ...]:
    kept = tuple(dict.fromkeys(word for word in tokens if word not in STATE_WORDS))
    return kept or tokens


def _states(tokens: tuple[str, ...]) -> frozenset[str]:
    return frozenset(STATE_OF_WORD[word] for word in tokens if word in STATE_OF_WORD)


def _main(states: frozenset[str]) -> str:
    """The state that tells most about the food, of several that are said."""
    return next((state for state in MAIN_STATES if state in states), "")


def _last(tokens: tuple[str, ...], cuts: frozenset[str]) -> str:
    """What the words are about: the last one that does not merely name a piece of it."""
    return next((word for word in reversed(tokens) if word not in cuts), tokens[-1])


def query(phrase: str, state: str, index: Index, vocabulary: words.Vocabulary, beside: tuple[str, ...] = ()) -> list[Form]:
    """The readings of a phrase to look for.

    A phrase that is itself a name is taken as it stands; otherwise regional words are
    replaced too (a replacement may say the state: "rollmops" are pickled), and unknown
    words become the nearest known word, if one is near. ``beside`` are words of the line
    outside the phrase that may complete a name: the unit of "4 crab sticks", the
    preparation of "500 g lamb, diced".
    """
    essential = words.essential(words.tokens(phrase), vocabulary)
    written = _stateless(essential)
    state = state or _main(_states(essential))
    forms = [Form(written, state)] if written else []
    if written and (state or frozenset(written) not in index.written):
        replaced = words.translated(essential, vocabulary)
        forms.append(Form(_stateless(replaced), state or _main(_states(replaced))))
        forms += [Form(repaired, form.state, repaired=True) for form in list(forms)
                  if (repaired := tuple(_repaired(word, index) for word in form.words)) != form.words]
    forms += _completed(written, state, index, vocabulary, beside)
    return list(dict.fromkeys(form for form in forms if form.words))


def _completed(written: tuple[str, ...], state: str, index: Index, vocabulary: words.Vocabulary, beside: tuple[str, ...]) -> list[Form]:
    found = []
    for words_beside in beside:
        more = _stateless(words.essential(words.tokens(words_beside), vocabulary))
        name = index.written.get(frozenset((*written, *more)))
        if written and more and name is not None and set(more) - set(written):
            found.append(Form(name, state, completed=True))
    return found


def _repaired(word: str, index: Index) -> str:
    if word in index.postings or word in index.not_slips or len(word) < REPAIRED_FROM:
        return word
    slips = 2 if len(word) >= TWO_SLIPS_FROM else 1
    near = [choice for choice in index.known.get(word[0], ()) if abs(len(choice) - len(word)) <= slips]
    found = process.extractOne(word, near, scorer=OSA.distance, score_cutoff=slips)
    return found[0] if found else word


def candidates(forms: list[Form], index: Index) -> list[int]:
    """Positions of the entries that share most of the rarest words, best first."""
    weight: dict[int, float] = defaultdict(float)
    for word in sorted({word for form in forms for word in form.words}):
        for position in index.postings.get(word, ()):
            weight[position] += index.rarity[word]
    # Short names first among equals: a plain food before a dish that contains it.
    ranked = sorted(weight, key=lambda position: (-weight[position], len(index.names[position][0].words), position))
    named = {position for form in forms for position in index.sharing.get(sharing_key(form.words, index.cuts), ())}
    return list(dict.fromkeys([*sorted(named), *ranked[:CANDIDATES]]))


@lru_cache(maxsize=4096)
def sorted_text(form: Form) -> str:
    """The words of a reading in alphabetical order, for comparing letters."""
    return " ".join(sorted(form.words))


def form_key(form: Form, index: Index) -> frozenset[str]:
    """The words of a reading without those that name a piece."""
    return sharing_key(form.words, index.cuts)


def compare(form: Form, name: Name, index: Index) -> dict[str, float]:
    """Named features of a reading of a phrase against one name, each between 0 and 1."""
    asked, offered = form_key(form, index), name.key
    default = math.log(1 + max(len(index.names), 1))  # a word that no name has is as rare as can be
    rarity = index.rarity
    shared = asked & offered
    asked_mass = sum([rarity.get(word, default) for word in asked]) or 1.0
    offered_mass = sum([rarity.get(word, default) for word in offered]) or 1.0
    covered = 1.0 if shared == asked else sum([rarity.get(word, default) for word in shared]) / asked_mass
    unasked = sum([rarity.get(word, default) for word in offered - asked if name.curated or word not in words.PLAIN])
    head = _last(form.words, index.cuts)
    head_agrees = head in name.head or (not name.curated and head in offered and bool(name.head & asked))
    return {
        "exact": float(asked == offered and head_agrees),
        "asked_covered": covered,
        "asked_missing": float(shared != asked),
        "offered_unasked": unasked / offered_mass,
        "head_agrees": float(head_agrees),
        "head_missing": float(not (name.head & asked)),
        "similarity": fuzz.ratio(sorted_text(form), name.text) / 100,
        "curated": float(name.curated),
        "repaired": float(form.repaired),
    }


@lru_cache(maxsize=65536)
def sharing_key(tokens: tuple[str, ...], cuts: frozenset[str]) -> frozenset[str]:
    """The words that make two names the same name, whatever the piece ("pears", "pear halves")."""
    return frozenset(word for word in tokens if word not in cuts) or frozenset(tokens)
