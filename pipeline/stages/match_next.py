"""Match, with several tables: which lines the next table is asked, and which of its answers count.

A line that the preferred table accepts stays there. The next one is asked about the others.
Its answer counts

- where a person decided it (so it is also asked about accepted lines for which it has a decision);
- where it accepts an entry and the preferred table has nothing like the food: no candidate,
  or a best one with another head word, another state or without words of the line. Where
  the preferred table has the food and only leaves open which entry it is, or words were
  read in doubt, or a person decided that no entry stands, another table cannot help;
- for review, where the preferred table has no candidate at all.
"""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from pipeline.decisions import Standing
from pipeline.stages.match import Matcher, line_answers

OPEN = ("review", "none")
NOT_THERE = ("no-candidate", "words-not-covered", "words-left-over", "word-guessed", "class-only", "head-differs", "state-differs", "cooked-otherwise",
             "level-differs")
UNREAD = "unreadable"


def unsettled(matched: pd.DataFrame) -> pd.Series:
    """Which rows of ``matched`` (model Matched) another table may settle."""
    return matched["match_outcome"].isin(OPEN) & (matched["match_reason"] != UNREAD)


def answered(parsed: pd.DataFrame, matchers: Sequence[Matcher]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Matched and Candidates of parsed lines (model Parsed): by the matcher of the preferred table, the first, and by each
    next one what it may settle."""
    matched, candidates = line_answers(parsed, matchers[0])
    for matcher in matchers[1:]:
        still_open = to_ask(matched, parsed, matcher.standing).to_numpy()
        if still_open.any():
            again, others = line_answers(parsed[still_open].reset_index(drop=True), matcher)
            matched, candidates = settled_by(matched, candidates, again, others)
    return matched, candidates


def to_ask(matched: pd.DataFrame, parsed: pd.DataFrame, standing: Standing) -> pd.Series:
    """Which lines the next table is asked: the unsettled ones, and those that words settled where a person decided
    on an entry of that table. ``matched``, ``parsed``: models of these names, in one order; ``standing``: its decisions."""
    by_words = (matched["match_outcome"] == "accepted") & (matched["match_reason"] != "decided")
    lines = zip(parsed["phrase"], parsed["state"], parsed["line_id"], parsed["text"], by_words, strict=True)
    decided = [asked and _decided_match(standing, phrase, state, standing.line_key(line_id, text))
               for phrase, state, line_id, text, asked in lines]
    return unsettled(matched) | pd.Series(decided, index=matched.index, dtype=bool)


def _decided_match(standing: Standing, phrase: str, state: str, line: str) -> bool:
    decision = standing.ruling(phrase, state, line).decision
    return decision is not None and decision.kind == "match"


def settled_by(
    matched: pd.DataFrame, candidates: pd.DataFrame, again: pd.DataFrame, others: pd.DataFrame,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Matched and Candidates with those answers of the next table (``again``, ``others``) that count, lines in their order."""
    before = matched.set_index("line_id").loc[again["line_id"]]
    accepted = (again["match_outcome"] == "accepted").to_numpy()
    decided = (again["match_reason"] == "decided").to_numpy()
    not_there = before["match_reason"].isin(NOT_THERE).to_numpy()
    shown = ((again["match_outcome"] == "review").to_numpy()) & (before["match_reason"] == "no-candidate").to_numpy()
    taken = again[decided | (accepted & not_there) | shown]
    if taken.empty:
        return matched, candidates
    order = matched["line_id"]
    rows = pd.concat([matched[~order.isin(taken["line_id"])], taken]).set_index("line_id").loc[order].reset_index()
    kept = candidates[~candidates["line_id"].isin(taken["line_id"])]
    added = others[others["line_id"].isin(taken["line_id"])]
    place = pd.Series(range(len(order)), index=order)
    every = pd.concat([kept, added], ignore_index=True)
    every = every.assign(place=every["line_id"].map(place)).sort_values(["place", "rank"], kind="stable", ignore_index=True)
    return rows[list(matched.columns)], every[list(candidates.columns)]
