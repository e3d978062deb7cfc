"""Features of a phrase against the names of a table, for thousands of phrases at once.

Everything a candidate is judged by is a named number that a steward can read: how much of
the phrase the name has, whether both are about the same thing, what the name adds that nobody
asked for (by kind), whether states and levels of salt, fat and sugar agree.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy import sparse

from pipeline.stages import match_naming as naming
from pipeline.stages import match_state
from pipeline.stages.match_forms import GUESS, Form
from pipeline.stages.match_index import AFTER_CATEGORY, FIRST, HEAD, SALT, Index, facet_bits, sharing_key
from pipeline.stages.match_words import Way

CANDIDATES = 24
CHUNK = 1000
# At or below this agreement an entry is the food in another state than the line asks for.
REFUSED_STATE = -0.8
# What a word counts for in choosing candidates: the head more, a mere manner of cooking less.
HEAD_COUNTS, MINOR_COUNTS = 1.6, 0.4
MOST_UNASKED = 4
LATE_PLACE = 2
# At or below this a published name is no exact one: "Salmon, smoked" is not what "salmon" says.
OTHER_STATE = -0.72
MADE_STATE = 0.5  # "roasted peanuts" beside a cooked entry
SALTED = 1  # the bit of "salted" in the first group of facet words

PLAIN_FEATURES = (
    "intercept", "exact", "exact_curated", "curated", "listed", "translated", "completed", "repaired", "guessed", "classed", "asked_covered", "asked_missing",
    "main_missing", "minor_missing", "head_agrees", "head_missing", "head_differs", "head_unnamed", "head_late", "category_unasked",
    "offered_unasked", "first_unasked", "facet_agrees", "facet_differs", "salted_cooked", "unsalted_tin", "state_same", "state_agrees", "state_refused", "special_group")
FEATURES = (*PLAIN_FEATURES, *(f"unasked_{kind}" for kind in naming.KINDS))
NUMBER = {feature: number for number, feature in enumerate(FEATURES)}


class Pairs(NamedTuple):
    """Forms beside names: numbers of the form and of the name, and features (pairs x FEATURES)."""

    form: np.ndarray
    name: np.ndarray
    features: np.ndarray


class Asked(NamedTuple):
    """The words of many forms, one row per word, forms in order."""

    starts: np.ndarray
    form: np.ndarray
    word: np.ndarray  # -1: no name has it
    rarity: np.ndarray
    head: np.ndarray
    main: np.ndarray
    minor: np.ndarray
    cut: np.ndarray


def compared(forms: list[Form], hints: list[str], index: Index) -> Pairs:
    """The likeliest names for each form, with their features; ``hints``: what the measure says, per form."""
    if not forms or not len(index.entry):
        return Pairs(np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64), np.zeros((0, len(FEATURES)), dtype=np.float32))
    asked = _asked(forms, index)
    form, name = _candidates(asked, len(forms), index)
    return Pairs(form, name, _features(forms, hints, asked, form, name, index))


def _asked(forms: list[Form], index: Index) -> Asked:
    rows = [(number, index.numbers.get(text, -1), text in form.heads, text in form.main,
             text in naming.MINOR, text in index.cuts)
            for number, form in enumerate(forms) for text in form.words]
    form, word, head, main, minor, cut = (np.array(column) for column in zip(*rows, strict=True))
    rarity = np.where(word >= 0, index.rarity[word], index.unknown_rarity)
    starts = np.concatenate([[0], np.cumsum(np.bincount(form, minlength=len(forms)))])
    return Asked(starts, form, word, rarity, head, main, minor & ~head, cut & ~head)


def _candidates(asked: Asked, count: int, index: Index) -> tuple[np.ndarray, np.ndarray]:
    """Per form the names that share most of its rare words and have least beside them."""
    known = asked.word >= 0
    counts = np.where(asked.head, HEAD_COUNTS, np.where(asked.minor | asked.cut, MINOR_COUNTS, 1.0))[known]
    wanted = sparse.csr_matrix((counts.astype(np.float32), (asked.form[known], asked.word[known])), shape=(count, index.width))
    chosen_forms, chosen_names = [], []
    for start in range(0, count, CHUNK):
        overlap = wanted[start:start + CHUNK] @ index.names
        worth = overlap.data - index.prior[overlap.indices]
        for row in range(overlap.shape[0]):
            low, high = overlap.indptr[row], overlap.indptr[row + 1]
            found = overlap.indices[low:high]
            if high - low > CANDIDATES:
                found = found[np.argpartition(-worth[low:high], CANDIDATES)[:CANDIDATES]]
            chosen_names.append(np.sort(found))
            chosen_forms.append(np.full(len(found), start + row))
    return np.concatenate(chosen_forms).astype(np.int64), np.concatenate(chosen_names).astype(np.int64)


def _features(forms: list[Form], hints: list[str], asked: Asked, form: np.ndarray, name: np.ndarray, index: Index) -> np.ndarray:
    features = np.zeros((len(form), len(FEATURES)), dtype=np.float32)
    if not len(form):
        return features

    def put(feature: str, values) -> None:
        features[:, NUMBER[feature]] = values

    lengths = np.diff(asked.starts)[form]
    pair_starts = np.concatenate([[0], np.cumsum(lengths)[:-1]])
    token = np.arange(lengths.sum()) - np.repeat(pair_starts - asked.starts[form], lengths)
    sought = np.repeat(name, lengths) * index.width + asked.word[token]
    at = np.minimum(np.searchsorted(index.sought, sought), len(index.sought) - 1)
    hit = (index.sought[at] == sought) & (asked.word[token] >= 0)
    at = index.sought_at[at]

    def total(values) -> np.ndarray:
        return np.add.reduceat(values, pair_starts)

    def anywhere(values) -> np.ndarray:
        return np.logical_or.reduceat(values, pair_starts)

    weight = asked.rarity * np.where(asked.cut, 0.0, np.where(asked.minor, MINOR_COUNTS, 1.0))
    whole = np.maximum(np.add.reduceat(weight, asked.starts[:-1]), 1e-9)[form]
    bits = np.where(hit, index.bits[at], 0)
    head, counted = asked.head[token], ~(asked.minor | asked.cut)[token]
    missing = anywhere(~hit & counted)
    head_first, head_named = anywhere(head & (bits & FIRST > 0)), anywhere(head & (bits & (HEAD | AFTER_CATEGORY) > 0))
    first_asked, name_head_asked = anywhere(bits & FIRST > 0), anywhere(bits & HEAD > 0)
    sorted_only, curated = index.sorted_only[name], index.curated[name]
    place = np.where(head & hit, index.place[at], 100)
    head_place = np.minimum.reduceat(place, pair_starts)
    head_found = head_place < 100
    head_agrees = np.where(curated, head_named, head_first | head_named | (head_found & first_asked))
    key = np.array([index.keys.get(sharing_key(one.words, index.cuts), -1) for one in forms])
    wholly = np.array([index.keys[frozenset(one.words)] if frozenset(one.words) in index.written else -1 for one in forms])[form]
    shared = np.where(hit & index.counted[at], index.rarity[index.word[at]], 0.0)
    common, first_common = total(shared), total(np.where(bits & FIRST > 0, shared, 0.0))
    unasked = np.clip(index.mass[name] - common, 0.0, None) / np.maximum(index.mass[name], 1e-9)
    # A phrase that is a name itself means that name: a stock cube is no stock in cubes.
    same = (key[form] == index.key[name]) & ((wholly < 0) | (wholly == index.whole[name]))
    state = _states(forms, hints, form, name, same, index)
    exact = (same | (~missing & (unasked < 1e-6))) & head_agrees & ~index.taken[name] & (curated | (state > OTHER_STATE))

    put("intercept", 1.0)
    put("exact", exact)
    put("exact_curated", exact & curated & same)
    put("curated", curated)
    put("listed", index.listed[index.entry[name]])
    put("translated", index.translated[name])
    put("completed", np.array([one.completed for one in forms])[form] & same & (state > 0))
    put("repaired", np.array([one.repaired != "" for one in forms])[form])
    put("guessed", np.array([one.repaired == GUESS for one in forms])[form])
    put("classed", np.array([one.classed for one in forms])[form])
    put("asked_covered", total(np.where(hit, weight[token], 0.0)) / whole)
    put("asked_missing", missing)
    put("main_missing", total((~hit & counted & asked.main[token]).astype(np.float32)))
    put("minor_missing", total((~hit & (asked.minor & ~asked.cut)[token]).astype(np.float32)))
    put("head_agrees", head_agrees)
    put("head_missing", ~first_asked & ~sorted_only)
    put("head_differs", first_asked & ~name_head_asked & ~sorted_only)
    put("head_unnamed", ~head_found)
    put("head_late", head_found & (head_place >= LATE_PLACE))
    put("category_unasked", sorted_only & ~first_asked)
    put("offered_unasked", unasked)
    first_mass = index.first_mass[name]
    put("first_unasked", np.where(curated | sorted_only, 0.0, np.clip(first_mass - first_common, 0.0, None) / np.maximum(first_mass, 1e-9)))
    wanted, offered = np.array([facet_bits(one.words) for one in forms])[form], index.facets[name]
    put("facet_agrees", (wanted & offered > 0).sum(axis=1))
    put("facet_differs", ((wanted > 0) & (offered > 0) & (wanted & offered == 0)).sum(axis=1))
    put("salted_cooked", index.cooked[index.saying[name]] & (offered[:, SALT] == SALTED) & (wanted[:, SALT] != SALTED))
    put("unsalted_tin", index.tinned_unsalted[index.entry[name]] & (wanted[:, SALT] == 0))
    put("state_agrees", state)
    put("state_same", state >= 1)
    put("state_refused", state <= REFUSED_STATE)
    meant = anywhere(hit & np.isin(index.kind[at], (naming.KIND_NUMBER["audience"], naming.KIND_NUMBER["brand"])))
    put("special_group", index.special[name] & ~meant)
    asked_kinds = np.bincount(np.repeat(np.arange(len(form)), lengths)[hit] * len(naming.KINDS) + index.kind[at][hit],
                              minlength=len(form) * len(naming.KINDS)).reshape(len(form), len(naming.KINDS))
    left = np.clip(index.kinds[name] - asked_kinds, 0, MOST_UNASKED)
    features[:, len(PLAIN_FEATURES):] = left * ~curated[:, None]
    return features


def _states(forms: list[Form], hints: list[str], form: np.ndarray, name: np.ndarray, same: np.ndarray, index: Index) -> np.ndarray:
    """The agreement of states; the only state in which a food of that name is sold needs no saying."""
    asked = [(one.state, hint, one.said, one.made) for one, hint in zip(forms, hints, strict=True)]
    numbers = {pair: number for number, pair in enumerate(dict.fromkeys(asked))}
    table = np.array([[_agreement(*pair, *saying) for saying in index.sayings] for pair in numbers])
    row = np.array([numbers[pair] for pair in asked])[form]
    own = table[row, index.saying[name]]
    silent = np.array([one.state == "" and not one.completed and not one.made for one in forms])[form]
    for pair in np.flatnonzero((own <= 0) & silent & same & index.curated[name]):
        others = index.stateless.get(index.key[name[pair]])
        saying = index.saying[name[pair]]
        fresh_herb = hints[form[pair]] == match_state.FRESH and index.sayings[saying][1] == "herbs-spices"
        if others is None or fresh_herb or index.sayings[saying][2]:
            continue
        best = table[row[pair], others].max()
        if best <= 0 and own[pair] == best:
            own[pair] = match_state.ONLY_STATE
    return own


def _agreement(asked: str, hint: str, also: frozenset[str], made: tuple[Way, ...], state: str, cooking_class: str, said: frozenset[str],
               ways: frozenset[str]) -> float:
    """The agreement of states, where the phrase says several ("dried, uncooked") or one in another word ("roasted"), or a way of
    cooking stands behind the food (``made``; ``ways``: those that the name says)."""
    if made:
        return match_state.made_agreement(asked, hint, made, state, cooking_class, said, ways)
    own = match_state.agreement(asked, hint, state, cooking_class, said - (also - {asked}))
    return max(own, MADE_STATE) if asked == "" and state == "cooked" and state in also else own
