"""Matching by letters alone, to measure against: three general-purpose ways that know nothing about food.

Each compares the phrase of a line with every name of every entry (published and common names) and takes the best.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
from rapidfuzz import fuzz, process
from scipy.sparse import csr_matrix

TOP = 5
# Runs of this many letters, with the edges of the text as letters; phrases handled at a time.
RUNS, CHUNK = (2, 3, 4), 500


def baselines(phrases: list[str], entries: pd.DataFrame) -> dict[str, list[list[str]]]:
    """By name of the method, the five best entry ids of each phrase. ``entries``: model Entries."""
    owners, names = _names(entries)
    scorers: dict[str, Callable[[list[str]], np.ndarray]] = {
        "WRatio": lambda asked: process.cdist(asked, names, scorer=fuzz.WRatio, workers=-1),
        "token_set_ratio": lambda asked: process.cdist(asked, names, scorer=fuzz.token_set_ratio, workers=-1),
        "character TF-IDF": _tfidf(names),
    }
    lower = [phrase.lower() for phrase in phrases]
    return {name: [best for start in range(0, len(lower), CHUNK) for best in _best(score(lower[start:start + CHUNK]), owners)]
            for name, score in scorers.items()}


def _names(entries: pd.DataFrame) -> tuple[list[str], list[str]]:
    owners, names = [], []
    for entry_id, name, common in zip(entries["entry_id"], entries["name"], entries["common_names"], strict=True):
        for one in (name, *filter(None, (part.strip() for part in common.split(";")))):
            owners.append(entry_id)
            names.append(one.lower())
    return owners, names


def _best(scores: np.ndarray, owners: list[str]) -> list[list[str]]:
    found = []
    for row in scores:
        order = np.argsort(-row, kind="stable")
        best: dict[str, None] = {}
        for place in order:
            best.setdefault(owners[place])
            if len(best) == TOP:
                break
        found.append(list(best))
    return found


def _tfidf(names: list[str]) -> Callable[[list[str]], np.ndarray]:
    """Cosine of the vectors of letter runs, each weighted by how rare it is among the names."""
    column: dict[str, int] = {}
    for name in names:
        for run in _runs(name):
            column.setdefault(run, len(column))
    counts = _counted(names, column)
    seen = np.asarray((counts > 0).sum(axis=0)).ravel()
    rarity = np.log((1 + len(names)) / (1 + seen)) + 1
    known = _weighted(counts, rarity)

    def score(asked: list[str]) -> np.ndarray:
        return (_weighted(_counted(asked, column), rarity) @ known.T).toarray()

    return score


def _runs(text: str) -> list[str]:
    padded = f" {text} "
    return [padded[start:start + length] for length in RUNS for start in range(len(padded) - length + 1)]


def _counted(texts: list[str], column: dict[str, int]) -> csr_matrix:
    pairs = [(row, column[run]) for row, text in enumerate(texts) for run in _runs(text) if run in column]
    rows, columns = zip(*pairs, strict=True) if pairs else ((), ())
    return csr_matrix((np.ones(len(rows)), (rows, columns)), shape=(len(texts), len(column)))


def _weighted(counts: csr_matrix, rarity: np.ndarray) -> csr_matrix:
    weighted = counts.multiply(rarity).tocsr()
    length = np.sqrt(np.asarray(weighted.multiply(weighted).sum(axis=1)).ravel())
    return weighted.multiply(1 / np.where(length > 0, length, 1.0)[:, None]).tocsr()
