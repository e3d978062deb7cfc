"""Match: food phrases to entries of a composition table, with a probability.

Names propose; rules and people decide. Candidates come from a sparse index of words, are ranked by
a weighted sum of named features (weights in ``reference/match_weights.csv``, learned from labelled
lines by ``reference/build/train_match.py``), and compete with each other and with "none of
these". The winner's probability is calibrated: the chance that an expert would accept it. A line is
accepted only above a threshold and only when every word of the phrase that names a food is
accounted for: "vegetable stock" never becomes "vegetable".
"""

from __future__ import annotations

import re
from collections import Counter
from typing import NamedTuple

import numpy as np
import pandas as pd

from pipeline import decisions, tables
from pipeline.problems import Problem
from pipeline.sources import Reference
from pipeline.stages import match_features, match_forms, match_index, match_model, match_outcome, match_state, match_words
from pipeline.stages.match_outcome import AMBIGUOUS_SHARE, DOUBT_FEATURES, Asked, Best, asked_by, doubt

KEPT_CANDIDATES = 5
# A runner-up below this probability is noise of the ranking.
KEPT_ABOVE = 0.01
# Phrases compared at once: enough to be fast, few enough to need little memory.
AT_ONCE = 2000

__all__ = ["Asked", "Matcher", "Ranked", "asked_by", "doubt", "line_answers", "matcher"]


class Ranked(NamedTuple):
    """One candidate: its position in the table, its score as a probability on its own, its
    probability beside the others and "none of these", and the features behind it."""

    position: int
    score: float
    probability: float
    features: dict[str, float]


def matcher(
    entries: pd.DataFrame, table: str, foods: pd.DataFrame, words: pd.DataFrame, reference: Reference, values: pd.DataFrame | None = None,
) -> tuple[Matcher, list[Problem]]:
    """The matcher of one table, and the decisions on it that have expired or contradict each other.

    ``entries``: model Entries of ``table``; ``foods``, ``words``: ``mappings/foods.csv`` and ``words.csv``;
    ``reference``: its ``match_weights`` and ``rules``. With ``values`` (entry_id, component, value) an accept needs more
    certainty where more is at stake.
    """
    standing, problems = decisions.standing_decisions(foods, table, entries, disputed=True)
    return Matcher(entries, table, words, reference.match_weights, standing, reference.rule("accept_above"), reference.rule("review_above"),
                   values=values, rules=reference.rules), problems


def line_answers(parsed: pd.DataFrame, matcher: Matcher) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Matched and Candidates of one table for parsed lines; a phrase that returns is answered once."""
    lines = list(parsed.itertuples(index=False))
    in_full = {place: answer for place, line in enumerate(lines) if _asks(line) and (answer := matcher.named_in_full(line))}
    asking = {place: matcher.asked(line) for place, line in enumerate(lines) if _asks(line) and place not in in_full}
    answers = in_full | dict(zip(asking, matcher.answers(list(asking.values())), strict=True))
    rows, candidate_rows = [], []
    for place, line in enumerate(lines):
        row, found = answers[place] if place in answers else _not_asked(line, matcher)
        rows.append({"line_id": line.line_id, **row})
        candidate_rows.extend({"line_id": line.line_id, **candidate} for candidate in found)
    matched = pd.DataFrame(rows, columns=tables.columns(tables.Matched))
    candidates = pd.DataFrame(candidate_rows, columns=tables.columns(tables.Candidates))
    return tables.checked(tables.Matched, matched, "match"), tables.checked(tables.Candidates, candidates, "match")


def _asks(line) -> bool:
    return line.kind not in ("heading", "not-food", "unreadable") and bool(line.phrase)


def _not_asked(line, matcher: Matcher) -> tuple[dict, list[dict]]:
    """The answer to a line that names no food; one that nobody can read may be settled by a decision on that line."""
    if line.kind in ("heading", "not-food"):
        return _no_entry("", "not-food", line.kind, 1.0), []
    return matcher.decided_line(line) or (_no_entry(matcher.table, "none", "unreadable", 0.0), [])


def _no_entry(table: str, outcome: str, reason: str, confidence: float) -> dict:
    return {"table": table, "entry_id": "", "entry_name": "", "match_confidence": confidence, "match_outcome": outcome,
            "match_reason": reason, "decision_id": ""}


# The amount in front of a name: "100 g ", "2 x 50 ml of ".
_AMOUNT = re.compile(r"^[\d\s.,/½¼¾⅓⅔x×-]*(?:(?:kg|g|grams?|mg|ml|l|oz|ounces?|lbs?|pounds?|cups?|tbsps?|tsps?)\b\.?)?\s*(?:of\s+)?")
# The chance that an entry is meant whose whole published name the line writes (common practice, no source).
IN_FULL = 0.99


def _full_names(names: list[str]) -> dict[str, int]:
    """The names of several parts that one entry alone has, with its place; a name of one word may be an ordinary word."""
    times = Counter(name.casefold() for name in names)
    return {name.casefold(): place for place, name in enumerate(names) if "," in name and times[name.casefold()] == 1}


class Matcher:
    """An indexed composition table that answers phrases; build once, ask often."""

    def __init__(self, entries, table, words, weights, standing, accept_above, review_above, *, values=None, rules=None):
        self.table = table
        self.vocabulary = match_words.vocabulary(words)
        self.index = match_index.indexed(entries[match_index.INDEXED], words)
        self.model = match_model.model(weights)
        self.weights = dict(zip(match_features.FEATURES, self.model.ranking.tolist(), strict=True))
        self.entry_ids = entries["entry_id"].tolist()
        self.entry_names = entries["name"].tolist()
        self._said = [frozenset(match_words.tokens(f"{name} {common}")) for name, common in zip(entries["name"], entries["common_names"], strict=True)]
        self.accept_above, self.review_above = accept_above, review_above
        self.stakes = match_outcome.stakes(entries, values, rules)
        self.standing = decisions.Standing(standing, lambda word: match_words.singular(word) in self.vocabulary.ignored)
        self.patterns = frozenset(standing.loc[(standing["scope"] == decisions.PATTERN) & (standing["kind"] == "match"), "decision_id"])
        self._tie = np.argsort(np.argsort(np.array(self.entry_ids, dtype=str), kind="stable"), kind="stable")
        self._full_names = _full_names(self.entry_names)
        self._position = {entry_id: position for position, entry_id in enumerate(self.entry_ids)}

    def named_in_full(self, line) -> tuple[dict, list[dict]] | None:
        """The entry whose published name, in full, is all that a line says beside its amount, where nobody decided otherwise."""
        position = self._full_names.get(_AMOUNT.sub("", line.text.casefold()).strip())
        if position is None:
            return None
        ruling = self.standing.ruling(line.phrase, line.state, self.standing.line_key(line.line_id, line.text))
        entry_id, name = self.entry_ids[position], self.entry_names[position]
        if ruling.decision is not None or ruling.disputed or entry_id in ruling.refused:
            return None
        row = {"table": self.table, "entry_id": entry_id, "entry_name": name, "match_confidence": IN_FULL, "match_outcome": "accepted",
               "match_reason": "matched", "decision_id": ""}
        return row, [{"rank": 1, "entry_id": entry_id, "entry_name": name, "score": 1.0, "probability": IN_FULL}]

    def asked(self, line) -> Asked:
        """What a parsed line asks, with the name of the line where a person decided on that one line."""
        asked = match_outcome.with_kind(asked_by(line), self.index, self.vocabulary, lambda phrase: self.standing.ruling(phrase, line.state).decision is not None)
        return asked._replace(line=self.standing.line_key(line.line_id, line.text))

    def decided_line(self, line) -> tuple[dict, list[dict]] | None:
        """What a person decided of one line that cannot be read: a note, or no entry. There is no amount to weigh, so never a match."""
        key = self.standing.line_key(line.line_id, line.text)
        ruling = self.standing.ruling("", "", key)
        if ruling.decision is None or ruling.decision.kind == "match":
            return None
        return self._settled(Asked("", line=key), ruling)

    def answer(self, asked: Asked) -> tuple[dict, list[dict]]:
        """The row of Matched and the rows of Candidates for what one line asks."""
        return self.answers([asked])[0]

    def answers(self, asked: list[Asked]) -> list[tuple[dict, list[dict]]]:
        """For each, the row of Matched and the rows of Candidates; what is asked twice is answered once."""
        found: dict[Asked, tuple[dict, list[dict]]] = {}
        open_questions: list[tuple[Asked, decisions.Ruling]] = []
        for one in dict.fromkeys(asked):
            ruling = self.standing.ruling(one.phrase, one.state, one.line)
            settled = self._settled(one, ruling)
            if settled is None:
                open_questions.append((one, ruling))
            else:
                found[one] = settled
        found.update(self._matched_by_parts(open_questions))
        found.update(self._against_patterns(found))
        return [found[one] for one in asked]

    def _matched_by_parts(self, questions: list[tuple[Asked, decisions.Ruling]]) -> dict[Asked, tuple[dict, list[dict]]]:
        found: dict[Asked, tuple[dict, list[dict]]] = {}
        for start in range(0, len(questions), AT_ONCE):
            part = questions[start:start + AT_ONCE]
            found.update(zip((one for one, _ in part), self._matched(part), strict=True))
        return found

    def _against_patterns(self, found: dict[Asked, tuple[dict, list[dict]]]) -> dict[Asked, tuple[dict, list[dict]]]:
        """The own answers to phrases that a pattern gave an entry and that are accepted for one far from it: "* butter" was not
        said of peanut butter."""
        given = {one: row["entry_id"] for one, (row, _) in found.items() if row["decision_id"] in self.patterns}
        own = self._matched_by_parts([(one, self.standing.ruling(one.phrase, one.state, one.line)) for one in given])
        return {one: answer for one, answer in own.items() if answer[0]["match_outcome"] == "accepted" and self.far_apart(answer[0]["entry_id"], given[one])}

    def far_apart(self, one: str, other: str) -> bool:
        """Whether 100 g of two entries differ by much in what is at stake; where no figure is known, whether they are two."""
        if self.stakes is None or one == other:
            return one != other
        return self.stakes.far_apart(self._position[one], self._position[other])

    def ranked(self, asked: Asked, refused: set[str] | frozenset[str] = frozenset()) -> list[Ranked]:
        """Candidates best first; ``refused`` are entry ids that a person ruled out."""
        contest, pairs, probability, _ = self._contest([(asked, frozenset(refused))])
        features = pairs.features[contest.pair].astype(float)
        scores = 1 / (1 + np.exp(-contest.score))
        return [Ranked(int(position), float(score), float(chance), dict(zip(match_features.FEATURES, row.tolist(), strict=True)))
                for position, score, chance, row in zip(contest.entry, scores, probability, features, strict=True)]

    def _settled(self, asked: Asked, ruling: decisions.Ruling) -> tuple[dict, list[dict]] | None:
        """The answer that people gave, unless other words of the line leave a doubt."""
        decided = ruling.decision
        if decided is None:
            return None
        if decided.kind == "no-match":
            return {**_no_entry(self.table, "none", "decided-none", 1.0), "decision_id": decided.decision_id}, []
        if decided.scope != decisions.LINE and (match_outcome.unread(asked, self.vocabulary) or self._alternative_refused(asked)):
            return None
        if decided.kind == "match" and decided.scope != decisions.LINE and self._made_otherwise(asked, decided):
            return None  # "carrots" was not decided of carrots that are roasted already
        if decided.scope == decisions.PATTERN and (match_outcome.ambiguous(asked, False, self.vocabulary) or self._other_salt(asked, decided)):
            return None  # "* salt" was not said of a salt that holds potassium: what is known to mislead needs a decision of its own
        if decided.kind == "use-as-note" and asked.alternative and decided.scope != decisions.LINE:
            return None  # what stands after "or" is no note
        if decided.kind == "use-as-note":
            return {**_no_entry("", "not-food", "decided", 1.0), "decision_id": decided.decision_id}, []
        row = {"table": self.table, "entry_id": decided.entry_id, "entry_name": decided.entry_name, "match_confidence": 1.0,
               "match_outcome": "accepted", "match_reason": "decided", "decision_id": decided.decision_id}
        return row, [{"rank": 1, "entry_id": decided.entry_id, "entry_name": decided.entry_name, "score": 1.0, "probability": 1.0}]

    def _made_otherwise(self, asked: Asked, decided) -> bool:
        """Whether the line says a way of cooking behind the food that is not that of the entry, and the decision says no cooked food."""
        made = match_outcome.ways(asked, self.vocabulary)
        if not made or decided.state == match_state.COOKED:
            return False
        return match_state.made_agreement(asked.state, asked.hint, made, *self._saying(decided.entry_id)) < 0

    def _saying(self, entry_id: str) -> tuple[str, str, frozenset[str], frozenset[str]]:
        """State, cooking class, states said and ways of cooking said of an entry."""
        return self.index.sayings[self.index.saying[np.flatnonzero(self.index.entry == self._position[entry_id])[0]]]

    def _other_salt(self, asked: Asked, decided) -> bool:
        """Whether the line may be about a salt (by its last word, or by the entry decided on) that not every word says is sodium chloride."""
        salt = match_words.tokens(asked.phrase)[-1:] == (match_outcome.SALT,) or (
            decided.kind == "match" and match_outcome.is_salt(decided.entry_name, self._saying(decided.entry_id)[1]))
        return salt and not match_outcome.plain_salt(asked, self.vocabulary)

    def _alternative_refused(self, asked: Asked) -> bool:
        """Whether the line leaves a choice for which it was decided that no entry stands."""
        if not asked.alternative:
            return False
        decided = self.standing.ruling(asked.alternative, asked.state).decision
        return decided is not None and decided.kind == "no-match"

    def _contest(self, questions: list[tuple[Asked, frozenset[str]]]):
        """The ranked candidates of many phrases, their features, probabilities, and which phrases are ambiguous."""
        forms, hints, phrase_of_form = [], [], []
        for number, (asked, _) in enumerate(questions):
            for form in match_outcome.forms(asked, self.index, self.vocabulary):
                forms.append(form)
                hints.append(asked.hint)
                phrase_of_form.append(number)
        pairs = match_features.compared(forms, hints, self.index)
        refused = np.array([number * len(self.entry_ids) + self._position[entry_id] for number, (_, ids) in enumerate(questions)
                            for entry_id in ids if entry_id in self._position], dtype=np.int64)
        contest = match_model.contest(pairs, np.array(phrase_of_form, dtype=np.int64), self.index.entry, self._tie, len(questions),
                                      self.model.ranking, refused)
        probability = match_model.probabilities(contest, pairs, self.model.certainty)
        completed = pairs.features[:, match_features.NUMBER["completed"]]
        ambiguous = np.array([match_outcome.ambiguous(asked, low < high and completed[contest.pair[low]] > 0, self.vocabulary)
                              for (asked, _), low, high in zip(questions, contest.starts, contest.starts[1:], strict=False)], dtype=bool)
        probability = probability * np.where(ambiguous, AMBIGUOUS_SHARE, 1.0)[contest.phrase]
        return contest, pairs, probability, ambiguous

    def _matched(self, questions: list[tuple[Asked, decisions.Ruling]]) -> list[tuple[dict, list[dict]]]:
        contest, pairs, probability, ambiguous = self._contest([(asked, ruling.refused) for asked, ruling in questions])
        numbers = [match_features.NUMBER[feature] for feature in DOUBT_FEATURES]
        scores = np.round(1 / (1 + np.exp(-contest.score)), 6).tolist()
        entry, chance = contest.entry.tolist(), np.round(probability, 6).tolist()
        starts = contest.starts.tolist()
        result = []
        for number, (asked, ruling) in enumerate(questions):
            low, high = starts[number], starts[number + 1]
            kept = [place for place in range(low, min(high, low + KEPT_CANDIDATES)) if place == low or chance[place] >= KEPT_ABOVE]
            candidates = [
                {"rank": rank, "entry_id": self.entry_ids[entry[place]], "entry_name": self.entry_names[entry[place]], "score": scores[place],
                 "probability": chance[place]} for rank, place in enumerate(kept, start=1)]
            if not kept or chance[low] < self.review_above:
                result.append((_no_entry(self.table, "none", "no-candidate", chance[low] if kept else 0.0), candidates))
                continue
            features = dict(zip(DOUBT_FEATURES, pairs.features[contest.pair[low], numbers].tolist(), strict=True))
            others = self._meant(kept[1:], contest, pairs)
            at_stake = self.stakes is not None and self.stakes.high(entry[low], [(entry[place], chance[place]) for place in others])
            different = match_outcome.name_differs(asked, candidates[0]["entry_name"], self.vocabulary)
            rivals = any(chance[place] >= match_outcome.MEANT_ABOVE for place in others)
            completing = self._said[entry[low]] if features["completed"] else frozenset()
            reason = self._doubt(asked, ruling, Best(chance[low], features, at_stake, rivals), bool(ambiguous[number]), completing) or different
            if not reason:
                counted = {low, *(place for place in others if chance[place] >= match_outcome.MEANT_ABOVE)}
                candidates = [{**one, "rank": rank} for rank, one in enumerate(
                    (one for one, place in zip(candidates, kept, strict=True) if place in counted), start=1)]
            result.append(({
                "table": self.table, "entry_id": candidates[0]["entry_id"], "entry_name": candidates[0]["entry_name"],
                "match_confidence": chance[low], "match_outcome": "review" if reason else "accepted", "match_reason": reason or "matched",
                "decision_id": ""}, candidates))
        return result

    def _meant(self, places: list[int], contest, pairs) -> list[int]:
        """The runners-up that could be meant; the others are no doubt about an accepted line."""
        numbers = [match_features.NUMBER[feature] for feature in match_outcome.MEANT_FEATURES]
        return [place for place in places if match_outcome.meant(
            dict(zip(match_outcome.MEANT_FEATURES, pairs.features[contest.pair[place], numbers].tolist(), strict=True)))]

    def _doubt(self, asked: Asked, ruling: decisions.Ruling, best: Best, ambiguous: bool, completing: frozenset[str]) -> str:
        """``completing``: the words of the names that the words beside the phrase complete."""
        unread = bool(match_outcome.unread(asked, self.vocabulary) - completing)
        choice = match_outcome.open_choice(asked, ambiguous, bool(ruling.disputed), self._alternative_refused(asked), self.vocabulary)
        made = bool(match_outcome.ways(asked, self.vocabulary))
        return doubt(best, unread, choice, self.accept_above, self.stakes.accept_above if self.stakes else None, made)
