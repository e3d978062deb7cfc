"""From features to probabilities: a weighted sum per candidate, a contest among them, and a calibration.

The candidates of one phrase compete with each other and with "none of these" (a softmax of
their scores; "none" scores 0). How often a winner of such a contest was right on labelled lines
then gives the chance that an expert would accept it: a logistic of the contest's odds
and of a few features (rows ``certainty: ...`` of ``reference/match_weights.csv``). Both sets
of weights come from ``reference/build/train_match.py``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import pandas as pd

from pipeline.stages.match_features import FEATURES, NUMBER, Pairs

CERTAINTY = "certainty: "
# What the calibration looks at: the odds of the winner against all else, its lead over the runner-up, and these features of it.
CERTAINTY_FEATURES = ("intercept", "odds", "lead", "exact", "exact_curated", "asked_missing", "head_agrees", "state_agrees", "offered_unasked", "repaired")
MOST_ODDS, MOST_LEAD = 6.0, 4.0


class Contest(NamedTuple):
    """Candidates of many phrases, one row each, by phrase and best first: the phrase, the position of the
    entry, its score, its share of the contest, and the row of its features in the pairs."""

    phrase: np.ndarray
    entry: np.ndarray
    score: np.ndarray
    share: np.ndarray
    pair: np.ndarray
    starts: np.ndarray  # phrase -> its first row; one more at the end


@dataclass(frozen=True)
class Model:
    """The two sets of weights, in the order of FEATURES and of CERTAINTY_FEATURES."""

    ranking: np.ndarray
    certainty: np.ndarray


def model(weights: pd.DataFrame) -> Model:
    """The model of ``reference/match_weights.csv`` (columns feature, weight). KeyError for a missing feature."""
    found = dict(zip(weights["feature"], weights["weight"], strict=True))
    return Model(np.array([found[feature] for feature in FEATURES]),
                 np.array([found[CERTAINTY + feature] for feature in CERTAINTY_FEATURES]))


def contest(pairs: Pairs, phrase_of_form: np.ndarray, entry_of_name: np.ndarray, tie: np.ndarray, count: int, ranking: np.ndarray,
            refused: np.ndarray | None = None) -> Contest:
    """Ranks the entries of each of ``count`` phrases; ``tie``: per entry, what decides between equals;
    ``refused``: numbers phrase * entries + entry that a person ruled out."""
    phrase, entry = phrase_of_form[pairs.form], entry_of_name[pairs.name]
    pair = np.arange(len(phrase))
    if refused is not None and len(refused):
        pair = pair[~np.isin(phrase * len(tie) + entry, refused)]
    score = np.round(pairs.features[pair].astype(np.float64) @ ranking, 6)
    phrase, entry = phrase[pair], entry[pair]
    order = np.lexsort((pair, -score, entry, phrase))
    first = np.ones(len(order), dtype=bool)
    first[1:] = (np.diff(phrase[order]) != 0) | (np.diff(entry[order]) != 0)
    best = order[first]
    best = best[np.lexsort((tie[entry[best]], -score[best], phrase[best]))]
    phrase, entry, score, pair = phrase[best], entry[best], score[best], pair[best]
    starts = np.searchsorted(phrase, np.arange(count + 1))
    highest = np.maximum(_per_phrase(np.maximum, score, starts, count), 0.0)
    odds = np.exp(score - highest[phrase])
    whole = np.exp(-highest) + _per_phrase(np.add, odds, starts, count)
    return Contest(phrase, entry, score, odds / whole[phrase], pair, starts)


def _per_phrase(operation, values: np.ndarray, starts: np.ndarray, count: int) -> np.ndarray:
    result = np.zeros(count)
    there = np.flatnonzero(np.diff(starts) > 0)
    if len(there):
        result[there] = operation.reduceat(values, starts[there])
    return result


def certainty_features(found: Contest, pairs: Pairs) -> tuple[np.ndarray, np.ndarray]:
    """The phrases that have a candidate, and the certainty features of their winners."""
    there = np.flatnonzero(np.diff(found.starts) > 0)
    best = found.starts[there]
    share = np.clip(found.share[best], 1e-6, 1 - 1e-6)
    odds = np.clip(np.log(share / (1 - share)), -MOST_ODDS, MOST_ODDS)
    second = np.minimum(best + 1, max(len(found.score) - 1, 0))
    alone = (second == best) | (found.phrase[second] != found.phrase[best])
    lead = np.where(alone, MOST_LEAD, np.minimum(found.score[best] - found.score[second], MOST_LEAD))
    features = pairs.features[found.pair[best]]
    columns = {"odds": odds, "lead": lead}
    table = np.column_stack([columns[name] if name in columns else features[:, NUMBER[name]] for name in CERTAINTY_FEATURES])
    return there, table.astype(np.float64)


def probabilities(found: Contest, pairs: Pairs, certainty: np.ndarray) -> np.ndarray:
    """Per candidate the calibrated chance that it is the entry: the winner's by the calibration, the
    others' by the contest, less where the winner is surer than its share. What the calibration takes from the
    winner goes to "none of these": that a match is wrong does not make the next one right. Those of one
    phrase sum to at most 1."""
    there, table = certainty_features(found, pairs)
    result = found.share.copy()
    if not len(there):
        return result
    best = found.starts[there]
    sure = 1 / (1 + np.exp(-(table @ certainty)))
    left = (1 - sure) / np.maximum(1 - found.share[best], 1e-9)
    scale = np.ones(len(found.starts) - 1)
    scale[there] = np.minimum(left, 1.0)
    result *= scale[found.phrase]
    result[best] = sure
    # No runner-up is likelier than the winner: where the calibration doubts the winner, it doubts them all.
    return np.minimum(result, result[found.starts[found.phrase]])


def explained(features: dict[str, float], weights: dict[str, float]) -> list[tuple[str, float, float, float]]:
    """Why a candidate has its score: (feature, value, weight, value * weight), what counts most first.

    ``features``: of :class:`pipeline.stages.match.Ranked`; ``weights``: ``Matcher.weights``.
    The contributions sum to the logarithm of the odds against "none of these".
    """
    rows = [(feature, value, weights[feature], value * weights[feature]) for feature, value in features.items() if value and weights[feature]]
    return sorted(rows, key=lambda row: (-abs(row[3]), row[0]))
