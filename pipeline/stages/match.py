"""Match: food phrases to entries of a composition table, with a probability.

Fuzzy matching proposes; rules and people decide. Candidates are ranked by a logistic
score over named features (weights in ``reference/match_weights.csv``); the scores of
one phrase compete with each other and with "none of these", which gives each a
probability. A line is accepted only above a threshold and only when every word of the
phrase that names a food is accounted for: "vegetable stock" never becomes "vegetable".
"""

from __future__ import annotations

import math
from typing import NamedTuple

import pandas as pd

from pipeline import decisions, tables
from pipeline.problems import Problem
from pipeline.stages import match_index, match_state, match_words

KEPT_CANDIDATES = 5
# A runner-up below this probability is noise of the ranking, not a doubt worth carrying into an interval.
KEPT_ABOVE = 0.01
# The chance that a phrase which cooks use for different foods means the one that its words fit best.
AMBIGUOUS_SHARE = 0.5
# At or below this agreement an entry is the food in another state than the line asks for.
REFUSED_STATE = -0.8


class Asked(NamedTuple):
    """What a line asks: the phrase, its state, and what the words around it say.

    ``hint``: ``fresh``, ``dry`` or "" (the measure of a herb); ``beside``: words of the
    line that may complete a name; ``leftover``: words nobody has read; ``amount``:
    ``counted``, ``spooned`` or ``uncounted``; ``alternative``: the food after "or";
    ``remarks``: preparation and note, where a word may still change the food.
    """

    phrase: str
    state: str = ""
    hint: str = ""
    beside: tuple[str, ...] = ()
    leftover: str = ""
    amount: str = ""
    alternative: str = ""
    remarks: str = ""


class Ranked(NamedTuple):
    """One candidate: its position in the table, its score as a probability on its own, its
    probability beside the others and "none of these", and the features behind it."""

    position: int
    score: float
    probability: float
    features: dict[str, float]


def match(
    parsed: pd.DataFrame, entries: pd.DataFrame, table: str, words: pd.DataFrame, weights: pd.DataFrame,
    foods: pd.DataFrame, accept_above: float, review_above: float,
) -> tuple[pd.DataFrame, pd.DataFrame, list[Problem]]:
    """Matches every parsed line.

    ``parsed``: model Parsed; ``entries``: model Entries of ``table``; ``words``:
    ``mappings/words.csv``; ``weights``: feature, weight; ``foods``: ``mappings/foods.csv``.
    ``accept_above`` and ``review_above``: probabilities (``reference/rules.csv``).
    Returns Matched (one row per line), Candidates (up to five per line), problems
    (expired and conflicting decisions).
    """
    standing, problems = decisions.standing_decisions(foods, table, entries)
    matcher = Matcher(entries, table, words, weights, standing, accept_above, review_above)
    answers: dict[Asked, tuple[dict, list[dict]]] = {}
    rows, candidate_rows = [], []
    for line in parsed.itertuples(index=False):
        row, found = _line_answer(line, answers, matcher)
        rows.append({"line_id": line.line_id, **row})
        candidate_rows.extend({"line_id": line.line_id, **candidate} for candidate in found)
    matched = pd.DataFrame(rows, columns=tables.columns(tables.Matched))
    candidates = pd.DataFrame(candidate_rows, columns=tables.columns(tables.Candidates))
    return tables.checked(tables.Matched, matched, "match"), tables.checked(tables.Candidates, candidates, "match"), problems


def asked_by(line) -> Asked:
    """What a parsed line asks for."""
    parts = [part.strip() for part in line.preparation.split(",")]
    beside = tuple(dict.fromkeys(part for part in (*parts, line.unit, line.leftover) if part))
    if line.unit in match_state.DRIED_UNITS:
        amount = "spooned"
    else:
        amount = "counted" if line.quantity_low > 0 and line.unit in ("", "piece") else "uncounted"
    return Asked(line.phrase, line.state, match_state.hint(line.unit, line.preparation), beside, line.leftover, amount,
                 line.alternative, f"{line.preparation} {line.note}".strip())


def _line_answer(line, answers: dict, matcher: Matcher) -> tuple[dict, list[dict]]:
    if line.kind in ("heading", "not-food"):
        return _no_entry("", "not-food", line.kind, 1.0), []
    if line.kind == "unreadable" or not line.phrase:
        return _no_entry(matcher.table, "none", "unreadable", 0.0), []
    asked = asked_by(line)
    if asked not in answers:
        answers[asked] = matcher.answer(asked)
    return answers[asked]


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

    def answer(self, asked: Asked) -> tuple[dict, list[dict]]:
        """The row of Matched and the rows of Candidates for what one line asks."""
        decided = self._decision(asked)
        if decided is not None:
            row = {"table": self.table, "entry_id": decided.entry_id, "entry_name": decided.entry_name,
                   "match_confidence": 1.0, "match_outcome": "accepted", "match_reason": "decided",
                   "decision_id": decided.decision_id}
            return row, [{"rank": 1, "entry_id": decided.entry_id, "entry_name": decided.entry_name, "score": 1.0,
                          "probability": 1.0}]
        refused = self._refusals(asked)
        everything = next((decision for decision in refused if decision.entry_id == ""), None)
        if everything is not None:
            row = _no_entry(self.table, "none", "decided-none", 1.0)
            return {**row, "decision_id": everything.decision_id}, []
        ranked = self.ranked(asked, {decision.entry_id for decision in refused})
        kept = [found for found in ranked[:KEPT_CANDIDATES] if found.probability >= KEPT_ABOVE or found is ranked[0]]
        return self._outcome(asked, ranked), [
            {"rank": rank, "entry_id": self.entry_ids[found.position], "entry_name": self.entry_names[found.position],
             "score": round(found.score, 6), "probability": round(found.probability, 6)}
            for rank, found in enumerate(kept, start=1)
        ]

    def _decision(self, asked: Asked):
        """The decision that settles the line, unless other words of it leave a doubt."""
        if self._unread(asked) or self._alternative_refused(asked):
            return None
        keys = [(key, state) for state in dict.fromkeys((asked.state, "")) for key in self._keys(asked.phrase)]
        return next((self.yes[key] for key in keys if key in self.yes), None)

    def _refusals(self, asked: Asked) -> list:
        return [decision for state in dict.fromkeys((asked.state, "")) for key in self._keys(asked.phrase)
                for decision in self.no.get((key, state), ())]

    def _keys(self, phrase: str) -> tuple[str, ...]:
        """The forms in which a phrase is looked up: as written, and without words that say nothing."""
        written = decisions.phrase_key(phrase)
        kept = " ".join(word for word in written.split() if match_words.singular(word) not in self.vocabulary.ignored)
        return tuple(dict.fromkeys(key for key in (written, kept) if key))

    def ranked(self, asked: Asked, refused: set[str] | frozenset[str] = frozenset()) -> list[Ranked]:
        """Candidates best first; ``refused`` are entry ids that a person ruled out."""
        state = "fresh" if asked.state == "" and "fresh" in decisions.phrase_key(asked.phrase).split() else asked.state
        forms = match_index.query(asked.phrase, state, self.index, self.vocabulary, asked.beside)
        scored = []
        for position in match_index.candidates(forms, self.index):
            if self.entry_ids[position] not in refused:
                scored.append((position, *self._best(forms, position, asked.hint)))
        scored.sort(key=lambda found: (-found[1], self.entry_ids[found[0]]))
        odds = [math.exp(score) for _, score, _ in scored]
        whole = 1.0 + sum(odds)  # the 1 stands for "none of these"
        share = AMBIGUOUS_SHARE if scored and self._ambiguous(asked, scored[0][2]) else 1.0
        return [Ranked(position, 1 / (1 + math.exp(-score)), share * weight / whole, features)
                for (position, score, features), weight in zip(scored, odds, strict=True)]

    def _best(self, forms: list[match_index.Form], position: int, hint: str) -> tuple[float, dict]:
        best = None
        compared = [(form, name) for form in forms for name in self.index.names[position]]
        touching = [(form, name) for form, name in compared if not name.key.isdisjoint(form.words)]
        for form, name in touching or compared:  # a name without a word of the phrase is never the best of its entry
            features = match_index.compare(form, name, self.index)
            features["state_agrees"] = self._state_agreement(form, name, position, hint)
            features["state_refused"] = float(features["state_agrees"] <= REFUSED_STATE)
            features["completed"] = float(form.completed and features["exact"] > 0 and features["state_agrees"] > 0)
            features["intercept"] = 1.0
            score = sum(self.weights[feature] * value for feature, value in features.items())
            if best is None or score > best[0]:
                best = (score, features)
        return best

    def _state_agreement(self, form: match_index.Form, name: match_index.Name, position: int, hint: str) -> float:
        """The agreement of states; the only state in which a food of that name is sold needs no saying."""
        own = match_state.agreement(form.state, hint, *self.states[position], name.states)
        fresh_herb = hint == match_state.FRESH and self.states[position][1] == "herbs-spices"
        if own > 0 or form.state or form.completed or fresh_herb or name.states or not name.curated:
            return own
        if name.key != match_index.form_key(form, self.index):
            return own  # "bacon" is not the only state of "fried bacon"
        others = self.index.stateless[name.key]
        best = max(match_state.agreement("", hint, *self.states[other]) for other in others)
        return match_state.ONLY_STATE if best <= 0 and own == best else own

    def _ambiguous(self, asked: Asked, best: dict[str, float]) -> bool:
        """Whether cooks use the phrase, in such an amount and without a state, for different foods, or a
        word of it tells of another food; ``best`` are the features of the best candidate."""
        forms = {*self._keys(asked.phrase), *match_words.phrase_forms(asked.phrase, self.vocabulary)}
        said = f"{asked.state} {decisions.phrase_key(asked.phrase)}".strip()
        if self._told(asked, asked.phrase) or "ever" in {self.vocabulary.ambiguous.get(form) for form in (*forms, said)}:
            return True
        if asked.state or asked.hint == match_state.FRESH or best["completed"]:
            return False
        uncut = " ".join(word for word in decisions.phrase_key(asked.phrase).split()
                         if match_words.singular(word) not in self.vocabulary.cuts)
        whens = {self.vocabulary.ambiguous.get(form) for form in (*forms, uncut)}
        return "always" in whens or asked.amount in whens

    def _unread(self, asked: Asked) -> set[str]:
        """The words outside the phrase that may name a food or change it: those left over, and
        telling ones among the remarks and the unit."""
        said_nothing = self.vocabulary.ignored | self.vocabulary.cuts
        left = {word for word in match_words.tokens(asked.leftover) if not word.isdigit() and word not in said_nothing}
        told = self._told(asked, " ".join((*asked.beside, asked.remarks)))
        return left | told | (set(match_words.tokens(asked.remarks)) & self.vocabulary.telling)

    def _told(self, asked: Asked, text: str) -> set[str]:
        """The words of ``text`` that tell, of the food the phrase is about, that it is another one."""
        words = [word for word in match_words.tokens(asked.phrase) if word not in self.vocabulary.cuts]
        told = (match_words.told_of(word, text, self.vocabulary) for word in words)
        return set().union(*told)

    def _alternative_refused(self, asked: Asked) -> bool:
        """Whether the line leaves a choice for which it was decided that no entry stands."""
        return bool(asked.alternative) and any(
            decision.entry_id == "" for state in dict.fromkeys((asked.state, "")) for key in self._keys(asked.alternative)
            for decision in self.no.get((key, state), ()))

    def _outcome(self, asked: Asked, ranked: list[Ranked]) -> dict:
        if not ranked or ranked[0].probability < self.review_above:
            return _no_entry(self.table, "none", "no-candidate", round(ranked[0].probability, 6) if ranked else 0.0)
        best = ranked[0]
        row = {"table": self.table, "entry_id": self.entry_ids[best.position], "entry_name": self.entry_names[best.position],
               "match_confidence": round(best.probability, 6), "decision_id": ""}
        unread = bool(self._unread(asked)) and not best.features["completed"]
        ambiguous = self._ambiguous(asked, best.features) or self._alternative_refused(asked)
        doubt = _doubt(best, unread, ambiguous, self.accept_above)
        return {**row, "match_outcome": "review" if doubt else "accepted", "match_reason": doubt or "matched"}


def _doubt(best: Ranked, unread: bool, ambiguous: bool, accept_above: float) -> str:
    """Why the best candidate must be looked at by a person, or "" when it need not be."""
    features = best.features
    if unread or features["asked_missing"] > 0:
        return "words-not-covered"
    if features["head_agrees"] == 0 or features["head_missing"] > 0:
        return "head-differs"
    if features["state_refused"] > 0:
        return "state-differs"
    if ambiguous or best.probability < accept_above:
        return "close-call"
    return ""


def _by_phrase(standing: pd.DataFrame) -> tuple[dict, dict]:
    yes, no = {}, {}
    for row in standing.itertuples(index=False):
        key = (decisions.phrase_key(row.phrase), row.state)
        if row.kind == "match":
            yes[key] = row
        else:
            no.setdefault(key, []).append(row)
    return yes, no
