"""Which foods of a table the curated core has too: by the words of their names, or because somebody decided so.

Foods are paired by the words of their names (the core also by its common names) where their states do not
contradict each other. A table in another language shares no words with the core; its pairs are decisions: a row of
``mappings/same_foods.csv``, or a phrase that ``mappings/foods.csv`` gives to an entry of each table, or to an entry of
this one and the core has a food of such a name.

The method is the project's own; its numbers stand in ``reference/table_checks.csv``.
"""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
from scipy import sparse

from pipeline.composition.check_pairs import name_words
from pipeline.composition.check_table import Rules, parts

COLUMNS = ["entry_id", "known_id", "exact"]
# What a person decided: the entries of a table that are one food of the core (entry_id, known_id), and the phrases that
# stand for an entry (entry_id, phrase, state).
DECIDED = {"same": ["entry_id", "known_id"], "called": ["entry_id", "phrase", "state"]}
_ENDING = re.compile(r"(?:ies|e?s|e|y)$")
_SHORTEST = 4  # letters; of a shorter word the ending is a part of it ("pea", "rye")


def pairs_of(entries: pd.DataFrame, known: pd.DataFrame, decided: dict[str, pd.DataFrame] | None, rules: Rules) -> pd.DataFrame:
    """The foods that both have (columns COLUMNS): what was decided, else what is decided by a phrase, else what the names say.

    ``exact``: it is the same food, not only one that is called alike.
    """
    by_name = counterparts(entries, known, rules)
    if decided is None:
        return by_name
    pairs = decided["same"].assign(exact=True)
    for later in (_by_phrase(entries, known, decided["called"], rules), by_name):
        pairs = pd.concat([pairs, later[~later["entry_id"].isin(pairs["entry_id"])]], ignore_index=True)
    return pairs[COLUMNS].drop_duplicates(ignore_index=True).astype({"exact": "bool"})


def _by_phrase(entries: pd.DataFrame, known: pd.DataFrame, called: pd.DataFrame, rules: Rules) -> pd.DataFrame:
    """The foods of the core that are most like a phrase that was decided to be an entry."""
    called = called.reset_index(drop=True)
    state = called["state"].where(called["state"] != "", called["entry_id"].map(entries["state"]))
    found = counterparts(pd.DataFrame({"name": called["phrase"], "state": state}), known, rules)
    return found.assign(entry_id=called["entry_id"].reindex(found["entry_id"]).to_numpy())


def counterparts(entries: pd.DataFrame, known: pd.DataFrame, rules: Rules) -> pd.DataFrame:
    """The foods of the core that are most like each entry by name: columns entry_id, known_id, exact.

    Both frames have name, common_names and state, with the index entry_id. Rare words weigh most; the
    core knows nothing of a word that none of its names has, and ``exact`` says that there is none and that
    all the others agree. An entry may have several that are as like.
    """
    ignored = frozenset(parts(rules["known-names"].words, ";"))
    names = _called(known)
    keys = _stems(names["called"], ignored)
    vocabulary = {word: place for place, word in enumerate(sorted(frozenset().union(*keys)))}
    own = _stems(entries["name"], ignored)
    of_keys, of_own = _occurrences(keys, vocabulary), _occurrences(own, vocabulary)
    weight = np.log1p(len(names) / of_keys.sum(axis=0).A1) if len(names) else np.zeros(0)
    shared = (of_own.multiply(weight).tocsr() @ of_keys.T).tocoo()
    together = (of_own @ weight)[shared.row] + (of_keys @ weight)[shared.col] - shared.data
    here, there = _states(entries, rules)[shared.row], names["state"].to_numpy()[shared.col]
    likeness = np.where((here == there) | (here == "") | (there == ""), shared.data / together, 0.0)
    unheard = np.array([any(word not in vocabulary for word in words) for words in own], dtype=bool)
    pairs = pd.DataFrame({
        "entry_id": entries.index.to_numpy()[shared.row], "known_id": names["entry_id"].to_numpy()[shared.col], "likeness": likeness,
        "exact": (likeness > 1 - 1e-9) & ~unheard[shared.row] & (here == there)})
    pairs = pairs[pairs["likeness"] >= rules["known-names"].low]
    best = pairs["likeness"] >= pairs.groupby("entry_id")["likeness"].transform("max") - 1e-9
    return pairs.loc[best, ["entry_id", "known_id", "exact"]].drop_duplicates(["entry_id", "known_id"], ignore_index=True)


def _states(entries: pd.DataFrame, rules: Rules) -> np.ndarray:
    """The state of each entry; that which its name tells, where the table says none."""
    words, state = name_words(entries["name"]), entries["state"].copy()
    for rule in rules.of("known-state"):
        tells = frozenset(parts(rule.words, ";"))
        state = state.mask((state == "") & words.map(lambda name, tells=tells: bool(name & tells)).astype("bool"), rule.whole)
    return state.to_numpy()


def _called(known: pd.DataFrame) -> pd.DataFrame:
    """One row per name and common name: entry_id, state, called."""
    every = known["name"] + ";" + known["common_names"]
    rows = known[["entry_id", "state"]].assign(called=every.map(lambda names: parts(names, ";"))).explode("called")
    return rows.reset_index(drop=True)


def _stems(names: pd.Series, ignored: frozenset[str]) -> list[frozenset[str]]:
    return [frozenset(_stem(word) for word in words - ignored) for words in name_words(names)]


def _stem(word: str) -> str:
    """A word without its ending, so that singular and plural are one."""
    return _ENDING.sub("", word) if len(word) >= _SHORTEST else word


def _occurrences(names: list[frozenset[str]], vocabulary: dict[str, int]) -> sparse.csr_matrix:
    """Which name (row) has which word of the vocabulary (column)."""
    cells = [(row, vocabulary[word]) for row, words in enumerate(names) for word in words if word in vocabulary]
    rows, columns = zip(*cells, strict=True) if cells else ((), ())
    return sparse.csr_matrix((np.ones(len(cells)), (rows, columns)), shape=(len(names), len(vocabulary)))
