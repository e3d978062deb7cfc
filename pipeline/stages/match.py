"""Match: food phrases to entries of a composition table, with a probability.

Fuzzy matching proposes; rules and people decide. Candidates are ranked by a logistic
score over named features (weights in ``reference/match_weights.csv``); the scores of
one phrase compete with each other and with "none of these", which gives each a
probability. A line is accepted only above a threshold and only when every word of the
phrase that names a food is accounted for: "vegetable stock" never becomes "vegetable".
"""

from __future__ import annotations

import math

import pandas as pd

from pipeline import decisions, tables
from pipeline.problems import Problem
from pipeline.stages import match_index, match_words

KEPT_CANDIDATES = 5

# How well an entry's state answers the state a line asks for (1 yes, 0 open, -1 no).
# A line that says nothing means raw for produce and dry for what is sold dry.
STATE_AGREEMENT: dict[str, dict[str, float]] = {
    "": {"": 1, "raw": 1, "dried": 0, "smoked": -0.5, "frozen": -0.5, "pickled": -0.5, "canned": -0.6, "drained": -0.6,
         "cooked": -1},
    "raw": {"raw": 1, "": 0.8, "frozen": -0.5},
    "dried": {"dried": 1, "": 0.2},
    "canned": {"canned": 1, "drained": 0.7, "": 0.2},
    "drained": {"drained": 1, "canned": 0, "cooked": -0.5, "": 0.2},
    "frozen": {"frozen": 1, "raw": 0.2, "": 0.4},
    "cooked": {"cooked": 1, "": 0},
    "smoked": {"smoked": 1, "": 0.2},
    "pickled": {"pickled": 1, "": 0.2, "canned": 0.2},
}


# What is sold dry, so that a line that says nothing means the dry food.
DRY_BY_DEFAULT = frozenset(
    "pasta noodles rice grains flour legumes-dried dried-fruit nuts-seeds sugars bread stock-sauce drinks".split())
# How a fresh herb is counted and cut, and how a dried one is measured (common practice).
FRESH_UNITS = frozenset("sprig bunch handful leaf stalk stem piece clove bulb".split())
DRIED_UNITS = frozenset("teaspoon pinch dash".split())
FRESH, DRY = "fresh", "dry"


def match(
    parsed: pd.DataFrame, entries: pd.DataFrame, table: str, words: pd.DataFrame, weights: pd.DataFrame,
    foods: pd.DataFrame, accept_above: float, review_above: float,
) -> tuple[pd.DataFrame, pd.DataFrame, list[Problem]]:
    """Matches every parsed line.

    ``parsed``: model Parsed; ``entries``: model Entries of ``table``; ``words``:
    ``mappings/words.csv``; ``weights``: feature, weight; ``foods``: ``mappings/foods.csv``.
    Returns Matched (one row per line), Candidates (up to five per line), problems
    (expired and conflicting decisions).
    """
    standing, problems = decisions.standing_decisions(foods, table, entries)
    matcher = Matcher(entries, table, words, weights, standing, accept_above, review_above)
    hints = [_hint(line) for line in parsed[["unit", "preparation"]].itertuples(index=False)]
    asked = parsed[["phrase", "state"]].assign(hint=hints)
    answers = {tuple(key): matcher.answer(*key) for key in asked.drop_duplicates().itertuples(index=False)}
    rows, candidate_rows = [], []
    for line, hint in zip(parsed.itertuples(index=False), hints, strict=True):
        row, found = _line_answer(line, hint, answers, table)
        rows.append({"line_id": line.line_id, **row})
        candidate_rows.extend({"line_id": line.line_id, **candidate} for candidate in found)
    matched = pd.DataFrame(rows, columns=tables.columns(tables.Matched))
    candidates = pd.DataFrame(candidate_rows, columns=tables.columns(tables.Candidates))
    return tables.checked(tables.Matched, matched, "match"), tables.checked(tables.Candidates, candidates, "match"), problems


def _hint(line) -> str:
    """What unit and cut say about a herb: a sprig or something to chop is fresh, a teaspoon is dried."""
    if line.unit in FRESH_UNITS or "chop" in line.preparation or "torn" in line.preparation:
        return FRESH
    return DRY if line.unit in DRIED_UNITS else ""


def _line_answer(line, hint: str, answers: dict, table: str) -> tuple[dict, list[dict]]:
    if line.kind in ("heading", "not-food"):
        return _no_entry("", "not-food", line.kind, 1.0), []
    if line.kind == "unreadable" or not line.phrase:
        return _no_entry(table, "none", "unreadable", 0.0), []
    return answers[(line.phrase, line.state, hint)]


def _no_entry(table: str, outcome: str, reason: str, confidence: float) -> dict:
    return {"table": table, "entry_id": "", "entry_name": "", "match_confidence": confidence, "match_outcome": outcome,
            "match_reason": reason, "decision_id": ""}


class Matcher:
    """An indexed composition table that answers phrases; build once, ask often."""

    def __init__(self, entries, table, words, weights, standing, accept_above, review_above):
        self.table = table
        self.vocabulary = match_words.vocabulary(words)
        self.index = match_index.build(entries, self.vocabulary)
        self.weights = dict(zip(weights["feature"], weights["weight"], strict=True))
        self.entry_ids = entries["entry_id"].tolist()
        self.entry_names = entries["name"].tolist()
        self.states = list(zip(entries["state"], entries["cooking_class"], strict=True))
        self.accept_above, self.review_above = accept_above, review_above
        self.yes, self.no = _by_phrase(standing)

    def answer(self, phrase: str, state: str, hint: str = "") -> tuple[dict, list[dict]]:
        """The row of Matched and the rows of Candidates for one phrase and state.

        ``hint`` is ``fresh``, ``dry`` or "": what the measure says when the words do not.
        """
        key = match_words.plain(phrase)
        decided = self.yes.get((key, state)) or self.yes.get((key, ""))
        if decided is not None:
            row = {"table": self.table, "entry_id": decided.entry_id, "entry_name": decided.entry_name,
                   "match_confidence": 1.0, "match_outcome": "accepted", "match_reason": "decided",
                   "decision_id": decided.decision_id}
            return row, [{"rank": 1, "entry_id": decided.entry_id, "entry_name": decided.entry_name, "score": 1.0,
                          "probability": 1.0}]
        refused = [*self.no.get((key, state), ()), *self.no.get((key, ""), ())]
        if any(decision.entry_id == "" for decision in refused):
            row = _no_entry(self.table, "none", "decided-none", 1.0)
            return {**row, "decision_id": refused[0].decision_id}, []
        ranked = self.ranked(phrase, state, hint, {decision.entry_id for decision in refused})
        return self._outcome(ranked), [
            {"rank": rank, "entry_id": self.entry_ids[position], "entry_name": self.entry_names[position],
             "score": round(score, 6), "probability": round(probability, 6)}
            for rank, (position, score, probability, _) in enumerate(ranked[:KEPT_CANDIDATES], start=1)
        ]

    def ranked(self, phrase: str, state: str, hint: str = "", refused: set[str] = frozenset()) -> list[tuple[int, float, float, dict]]:
        """Candidates best first: (position, score, probability, features)."""
        forms = match_index.query(phrase, self.index, self.vocabulary)
        scored = []
        for position in match_index.candidates(forms, self.index):
            if self.entry_ids[position] not in refused:
                scored.append((position, *self._best(forms, position, state, hint)))
        scored.sort(key=lambda found: (-found[1], self.entry_ids[found[0]]))
        odds = [math.exp(score) for _, score, _ in scored]
        whole = 1.0 + sum(odds)  # the 1 stands for "none of these"
        return [(position, 1 / (1 + math.exp(-score)), weight / whole, features)
                for (position, score, features), weight in zip(scored, odds, strict=True)]

    def _best(self, forms: list[tuple[str, ...]], position: int, state: str, hint: str) -> tuple[float, dict]:
        agreement = state_agreement(state, hint, *self.states[position])
        best = None
        for form in forms:
            for name in self.index.names[position]:
                features = match_index.compare(form, name, self.index)
                features["state_agrees"] = agreement
                features["intercept"] = 1.0
                score = sum(self.weights[feature] * value for feature, value in features.items())
                if best is None or score > best[0]:
                    best = (score, features)
        return best

    def _outcome(self, ranked: list) -> dict:
        if not ranked or ranked[0][2] < self.review_above:
            return _no_entry(self.table, "none", "no-candidate", round(ranked[0][2], 6) if ranked else 0.0)
        position, _, probability, features = ranked[0]
        row = {"table": self.table, "entry_id": self.entry_ids[position], "entry_name": self.entry_names[position],
               "match_confidence": round(probability, 6), "decision_id": ""}
        doubt = _doubt(features, probability, self.accept_above)
        return {**row, "match_outcome": "review" if doubt else "accepted", "match_reason": doubt or "matched"}


def state_agreement(asked: str, hint: str, state: str, cooking_class: str) -> float:
    """How well an entry's state answers a line: 1 yes, 0 open, -1 no."""
    if asked == "" and state == "dried" and cooking_class in DRY_BY_DEFAULT:
        return 1.0
    if asked == "" and cooking_class == "herbs-spices":
        by_hint = {DRY: {"dried": 1.0, "raw": 0.0}, FRESH: {"dried": -0.5}}.get(hint, {})
        return by_hint.get(state, STATE_AGREEMENT[""].get(state, -1))
    if asked == "" and state == "dried":
        return -1.0  # nobody who writes "onion" means onion flakes
    return STATE_AGREEMENT[asked].get(state, -1)


def _doubt(features: dict, probability: float, accept_above: float) -> str:
    """Why the best candidate must be looked at by a person, or "" when it need not be."""
    if features["asked_covered"] < 0.999:
        return "words-not-covered"
    if features["head_missing"] > 0:
        return "head-differs"
    if features["state_agrees"] <= -1:
        return "state-differs"
    if probability < accept_above:
        return "close-call"
    return ""


def _by_phrase(standing: pd.DataFrame) -> tuple[dict, dict]:
    yes, no = {}, {}
    for row in standing.itertuples(index=False):
        key = (match_words.plain(row.phrase), row.state)
        if row.kind == "match":
            yes[key] = row
        else:
            no.setdefault(key, []).append(row)
    return yes, no
