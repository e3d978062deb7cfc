"""Match, with several tables: which lines the next table is asked, and which of its answers count.

A line that the preferred table accepts stays there. The next one is asked about the others.
Its answer counts

- where a person decided it;
- where it accepts an entry and the preferred table has nothing like the food: no candidate,
  or a best one with another head word, another state or without words of the line. Where
  the preferred table has the food and only leaves open which entry it is, or words were
  read in doubt, or a person decided that no entry stands, another table cannot help;
- for review, where the preferred table has no candidate at all.
"""

from __future__ import annotations

import pandas as pd

OPEN = ("review", "none")
NOT_THERE = ("no-candidate", "words-not-covered", "head-differs", "state-differs")
UNREAD = "unreadable"


def unsettled(matched: pd.DataFrame) -> pd.Series:
    """Which rows of ``matched`` (model Matched) another table may settle."""
    return matched["match_outcome"].isin(OPEN) & (matched["match_reason"] != UNREAD)


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
