"""A sparse index of a composition table's names: the words of every name, where they stand and of what kind they are.

Every entry has its published name, that name with regional words replaced (so that "Courgette"
and "zucchini" can meet in a table of any country), and the names that cooks use for it. All
of them are rows of the same arrays, so that thousands of phrases are compared at once.
"""

from __future__ import annotations

import math
import re
from collections import defaultdict
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import combinations
from typing import NamedTuple

import numpy as np
import pandas as pd
from scipy import sparse

from pipeline.remembered import remembered
from pipeline.stages import match_naming as naming
from pipeline.stages import match_state
from pipeline.stages import match_named_state as naming_state
from pipeline.stages import match_words as words
from pipeline.stages.match_named_state import STATE_WORDS, states_said

# Where a word of a name stands, as bits: in its first part, last there, in the part after a mere category.
FIRST, HEAD, AFTER_CATEGORY = 1, 2, 4
# A long name fits a phrase by chance: what each rare word that nobody asked for costs a name when candidates are chosen.
LENGTH_COST, SPECIAL_COST = 0.12, 1.5
# What a phrase is about stands before these.
MAIN_PART = re.compile(r"[,;(]|\b(?:with|in|without)\b")
# The group of facet words about salt, the bit in it of "without salt" (and with less), and the states that tell of a tin.
SALT, UNSALTED = list(naming.FACETS).index("salt"), 1 << naming.FACETS["salt"].index("unsalted")
TINNED = frozenset({"canned"})
MOST_WORDS = 5  # a longer name has no plainer one that is worth the search
_WORD = re.compile(r"[a-z0-9%]+|[(),;]")


class Word(NamedTuple):
    """One word of a name: its place (which part between commas), kind, and bits of where it stands."""

    text: str
    place: int
    kind: str


@dataclass(frozen=True)
class Index:
    """Names as arrays (one row per name), and their words (one row per word, names in order)."""

    entry: np.ndarray  # position of the entry that the name belongs to
    curated: np.ndarray  # whether cooks use the name
    taken: np.ndarray  # a cook's name that says more than the published one, where another entry is published by it (sweet onion)
    translated: np.ndarray
    sorted_only: np.ndarray  # the first part of the name only sorts it
    special: np.ndarray
    mass: np.ndarray  # rarity of the words that are about the food
    first_mass: np.ndarray  # of those, in its first part
    kinds: np.ndarray  # names x kinds: words of each kind
    facets: np.ndarray  # names x groups: bits of the facet words
    key: np.ndarray  # number of the set of words that tells the food, pieces left out
    whole: np.ndarray  # number of the set of all its words
    saying: np.ndarray  # number of what name and entry say: state and class of the entry, states in the words, ways of cooking in the published name
    sayings: list[tuple[str, str, frozenset[str], frozenset[str]]]
    cooked: np.ndarray  # of sayings, those of cooked entries
    tinned_unsalted: np.ndarray  # of entries, those canned without salt or with less of it: the ordinary tin is another food
    starts: np.ndarray  # name -> first of its words
    word: np.ndarray
    bits: np.ndarray
    kind: np.ndarray
    place: np.ndarray
    counted: np.ndarray  # whether the word is part of what the name is about
    sought: np.ndarray  # name * words + word, ascending
    sought_at: np.ndarray
    names: sparse.csr_matrix  # words x names
    prior: np.ndarray
    numbers: dict[str, int]
    rarity: np.ndarray
    unknown_rarity: float
    keys: dict[frozenset[str], int]
    stateless: dict[int, np.ndarray]  # key -> the sayings of curated names without a state, of what may be bought so
    written: dict[frozenset[str], tuple[str, ...]]
    written_of: dict[frozenset[str], int]  # the entry of such a name
    known: dict[str, list[str]]
    cuts: frozenset[str]
    not_slips: frozenset[str]
    listed: np.ndarray  # entries that cooks have a name for
    repairs: dict[str, tuple[tuple[str, ...], str]] = field(default_factory=dict)  # what was found for unknown words

    @property
    def width(self) -> int:
        """How many words the table knows."""
        return len(self.rarity)

    def together(self, texts: tuple[str, ...]) -> bool:
        """Whether one name has all of these words."""
        found: set[int] | None = None
        for number in (self.numbers.get(text, -1) for text in texts):
            if number < 0:
                return False
            names = set(self.names.indices[self.names.indptr[number]:self.names.indptr[number + 1]].tolist())
            found = names if found is None else found & names
            if not found:
                return False
        return bool(found)

    def plainer(self, texts: tuple[str, ...]) -> list[frozenset[str]]:
        """The names that cooks use for the entry of such a name with fewer of its words ("eating apple": apple)."""
        of = self.written_of.get(frozenset(texts))
        if of is None or len(texts) > MOST_WORDS:
            return []
        fewer = (frozenset(some) for count in range(len(texts) - 1, 0, -1) for some in combinations(texts, count))
        return [name for name in fewer if self.written_of.get(name) == of]


# The columns of Entries that an index is made of.
INDEXED = ["name", "common_names", "food_group", "state", "cooking_class"]


@remembered(most=3)
def indexed(entries: pd.DataFrame, word_rows: pd.DataFrame) -> Index:
    """The index of ``entries`` (columns ``INDEXED``) by the words of ``mappings/words.csv``; made once in a process."""
    return build(entries, words.vocabulary(word_rows))


def build(entries: pd.DataFrame, vocabulary: words.Vocabulary) -> Index:
    """Indexes ``entries`` (model Entries) by published and common names."""
    rows: list[tuple[int, bool, bool, tuple[Word, ...], frozenset[str]]] = []
    for position, (name, common) in enumerate(zip(entries["name"], entries["common_names"], strict=True)):
        rows += [(position, *row) for row in _names(name, common, vocabulary)]
    postings: dict[str, set[int]] = defaultdict(set)
    for position, _, _, found, _ in rows:
        for word in found:
            postings[word.text].add(position)
    count = max(len(entries), 1)
    texts = sorted(postings)
    numbers = {text: number for number, text in enumerate(texts)}
    rarity = np.array([math.log(1 + count / len(postings[text])) for text in texts] or [0.0])
    known: dict[str, list[str]] = defaultdict(list)
    for text in texts:
        known[text[0]].append(text)
    not_slips = vocabulary.known | vocabulary.cuts | set(vocabulary.replacements)
    return _arrays(entries, rows, numbers, rarity, math.log(1 + count), dict(known), vocabulary.cuts, not_slips)


def _arrays(entries, rows, numbers, rarity, unknown_rarity, known, cuts, not_slips) -> Index:
    keys: dict[frozenset[str], int] = {}
    sayings: dict[tuple[str, str, frozenset[str], frozenset[str]], int] = {}
    stateless: dict[int, set[int]] = defaultdict(set)
    written: dict[frozenset[str], tuple[str, ...]] = {}
    written_of: dict[frozenset[str], int] = {}
    states = naming_state.states(entries)
    ways = [naming_state.ways_said(name) for name in entries["name"]]
    groups = entries["food_group"].str.lower().map(lambda group: any(word in group for word in naming.SPECIAL_GROUPS)).to_numpy(dtype=bool)
    names = len(rows)
    starts = np.concatenate([[0], np.cumsum([len(row[3]) for row in rows])]).astype(np.int64)
    word, bits, place = [], [], []
    sorted_only, key, saying = np.zeros(names, dtype=bool), np.zeros(names, dtype=np.int64), np.zeros(names, dtype=np.int64)
    whole = np.zeros(names, dtype=np.int64)
    facets = np.zeros((names, len(naming.FACETS)), dtype=np.int8)
    published: dict[int, np.ndarray] = {}
    own_words: dict[int, frozenset[str]] = {}
    named = _named(rows, keys, cuts)
    taken = np.zeros(names, dtype=bool)
    for number, (position, curated, _, found, said) in enumerate(rows):
        texts = tuple(item.text for item in found)
        first = tuple(item.text for item in found if item.place == 0)
        sorting = not curated and len(first) > 0 and naming.CATEGORIES.issuperset(first)
        head = _last(first, cuts) if first else ""
        sorted_only[number] = sorting
        for item in found:
            word.append(numbers[item.text])
            place.append(min(item.place, 100))
            bits.append(FIRST + HEAD * (item.text == head) if item.place == 0 else AFTER_CATEGORY * (sorting and item.place == 1))
        if not naming.FACET_WORDS.keys().isdisjoint(texts):
            facets[number] = facet_bits(texts)
        levels = published.setdefault(position, facets[number].copy())  # the published name comes first
        if curated:  # a cook's name for an entry does not hide what the published one says
            facets[number] = np.where(levels > 0, levels, facets[number])
        key[number] = keys.setdefault(sharing_key(texts, cuts), len(keys))
        if curated and not own_words[position].issuperset(texts):
            taken[number] = named.get(key[number], position) != position
        elif not curated:
            own_words.setdefault(position, frozenset(texts))
        whole[number] = keys.setdefault(frozenset(texts), len(keys))
        saying[number] = sayings.setdefault((*states[position], said, ways[position]), len(sayings))
        if curated:
            written.setdefault(frozenset(texts), texts)
            written_of.setdefault(frozenset(texts), position)
            if not said and not (states[position][0] == match_state.COOKED and states[position][1] in match_state.SOLD_RAW):
                stateless[key[number]].add(saying[number])
    word, bits, place = np.array(word, dtype=np.int64), np.array(bits, dtype=np.int8), np.array(place, dtype=np.int8)
    kind = np.array([naming.KIND_NUMBER[item.kind] for row in rows for item in row[3]], dtype=np.int8)
    owner = np.repeat(np.arange(names), np.diff(starts))
    kinds = np.bincount(owner * len(naming.KINDS) + kind, minlength=names * len(naming.KINDS)).reshape(names, -1)[:, :len(naming.KINDS)]
    entry = np.array([row[0] for row in rows], dtype=np.int64)
    curated = np.array([row[1] for row in rows], dtype=bool)
    counted = curated[owner] | ~(np.isin(kind, naming.COSTLESS) | ((place > 0) & np.isin(kind, naming.COSTLESS_LATER)))
    mass = np.bincount(owner, weights=np.where(counted, rarity[word], 0.0), minlength=names)
    first_mass = np.bincount(owner, weights=np.where(counted & (place == 0), rarity[word], 0.0), minlength=names)
    sought = owner * len(rarity) + word
    order = np.argsort(sought, kind="stable")
    listed = np.zeros(max(len(entries), 1), dtype=bool)
    listed[entry[curated]] = True
    special = groups[entry] if names else np.zeros(0, dtype=bool)
    branded = kinds[:, naming.KIND_NUMBER["brand"]] > 0
    matrix = sparse.csr_matrix((rarity[word].astype(np.float32), (word, owner)), shape=(len(rarity), names))
    return Index(
        entry, curated, taken, np.array([row[2] for row in rows], dtype=bool), sorted_only, special, mass, first_mass, kinds, facets, key, whole, saying, list(sayings),
        np.array([state == "cooked" for state, *_ in sayings], dtype=bool), _tinned_unsalted(entries), starts, word, bits, kind, place, counted, sought[order], order, matrix, LENGTH_COST * mass + SPECIAL_COST * (special | branded), numbers,
        rarity, unknown_rarity, keys, {number: np.array(sorted(found)) for number, found in stateless.items()}, written, written_of, known, cuts,
        frozenset(not_slips), listed)


def _tinned_unsalted(entries: pd.DataFrame) -> np.ndarray:
    said = [(naming_state.states_said(words.told_tokens(name)), facet_bits(words.told_tokens(name))[SALT]) for name in entries["name"]]
    return np.array([not TINNED.isdisjoint(states) and salt == UNSALTED for states, salt in said], dtype=bool)


def _named(rows, keys: dict[frozenset[str], int], cuts: frozenset[str]) -> dict[int, int]:
    """Which entry has a published name of just these words, by number of the words; -1 where several have."""
    named: dict[int, int] = {}
    for position, curated, _, found, _ in rows:
        if not curated:
            key = keys.setdefault(sharing_key(tuple(item.text for item in found), cuts), len(keys))
            named[key] = position if named.get(key, position) == position else -1
    return named


def _names(name: str, common_names: str, vocabulary: words.Vocabulary) -> list[tuple[bool, bool, tuple[Word, ...], frozenset[str]]]:
    """(whether cooks use it, whether words were replaced, its words, the states it says) of every name of an entry."""
    brands = frozenset(words.singular(word) for word in naming.brand_words(name))
    parts = _parts(name)
    published = [words.singular(text) for part in parts for text, _ in part]
    rows = [(False, False, _placed(parts, brands), states_said(published))]
    replaced = [_translated_part(part, vocabulary) for part in parts]
    if replaced != [[(words.singular(text), bracketed) for text, bracketed in part] for part in parts]:
        rows.append((False, True, _placed(replaced, brands), states_said(published)))
    for common in common_names.split(";"):
        said = words.told_tokens(common)
        written = without_states(words.essential(said, vocabulary))
        if written:
            main = set(words.told_tokens(MAIN_PART.split(naming.one_wording(words.plain(common)), maxsplit=1)[0])) or set(written)
            rows.append((True, False, tuple(Word(text, int(text not in main), "head") for text in written), states_said(said)))
    return [row for row in rows if row[2]]


def _parts(name: str) -> list[list[tuple[str, bool]]]:
    """The words of a published name between its commas, and whether each stands in brackets."""
    parts: list[list[tuple[str, bool]]] = [[]]
    depth = 0
    for mark in _WORD.findall(naming.one_wording(words.plain(name))):
        if mark in "()":
            depth = max(depth + (1 if mark == "(" else -1), 0)
        elif mark in ",;":
            if depth == 0:
                parts.append([])
        elif mark not in words.STOP:
            parts[-1].append((mark, depth > 0))
    return [part for part in parts if part]


def _translated_part(part: list[tuple[str, bool]], vocabulary: words.Vocabulary) -> list[tuple[str, bool]]:
    outside = words.translated(tuple(words.singular(text) for text, bracketed in part if not bracketed), vocabulary)
    return [*((text, False) for text in outside), *((words.singular(text), True) for text, bracketed in part if bracketed)]


def _placed(parts: list[list[tuple[str, bool]]], brands: frozenset[str]) -> tuple[Word, ...]:
    found: dict[str, Word] = {}
    ground = not naming.MEATS.isdisjoint(words.singular(text) for part in parts for text, _ in part)
    for place, part in enumerate(parts):
        before = ""
        for text, bracketed in part:
            text = words.singular(text)
            text = "ground" if ground and text in naming.MINCED else text
            if text not in STATE_WORDS:
                found.setdefault(text, Word(text, place, naming.kind_of(text, place, bracketed, text in brands, before.endswith("%"))))
            before = text
    return tuple(found.values()) or tuple(Word(words.singular(text), 0, "head") for part in parts for text, _ in part)[:1]


def facet_bits(found: tuple[str, ...]) -> np.ndarray:
    """Per group of facet words, which of them are among ``found``, as bits."""
    bits = np.zeros(len(naming.FACETS), dtype=np.int8)
    for text in found:
        group = naming.FACET_WORDS.get(text)
        if group is not None:
            level = naming.SAME_LEVEL.get(text, text)
            bits[list(naming.FACETS).index(group)] |= 1 << naming.FACETS[group].index(level)
    return bits


def without_states(tokens: tuple[str, ...]) -> tuple[str, ...]:
    """``tokens`` without the words that say a state (unless nothing would be left)."""
    kept = tuple(dict.fromkeys(word for word in tokens if word not in STATE_WORDS))
    return kept or tokens


def _last(tokens: tuple[str, ...], cuts: frozenset[str]) -> str:
    return next((word for word in reversed(tokens) if word not in cuts), tokens[-1])


@lru_cache(maxsize=65536)
def sharing_key(tokens: tuple[str, ...], cuts: frozenset[str]) -> frozenset[str]:
    """The words that make two names the same name, whatever the piece ("pears", "pear halves")."""
    return frozenset(word for word in tokens if word not in cuts) or frozenset(tokens)
