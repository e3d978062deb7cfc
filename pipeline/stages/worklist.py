"""The worklist: unsettled and doubtful lines, the one that would settle most first."""

from __future__ import annotations

import pandas as pd

from pipeline import tables
from pipeline.decisions import ENTRY, command

# What to do by reason of the line; the command that settles it follows.
REMEDIES = {
    "no-candidate": "Name the entry, or --never in its place where none stands; or write the line so that it names a food",
    "words-not-covered": "Correct the line where it is mistyped; or name the entry that has all its words, or --never where none has",
    "words-left-over": "Write the line without words that are not about the food, or decide on this one line",
    "word-guessed": "Correct the spelling in the line, or name the entry",
    "class-only": "The table knows only the kind of food: name an entry, or --never where none is near enough",
    "head-differs": "Name the entry that is this food, or --never where none is",
    "state-differs": "Say raw, dried, canned, cooked or concentrated in the line, or name the entry",
    "cooked-otherwise": "Write the raw weight and leave the cooking to the method of the recipe, or name the entry that is cooked so",
    "level-differs": "Write another level of fat, salt or sugar in the line, or name the entry",
    "ambiguous-words": "Write in the line which food it is, or decide what the words mean in this collection",
    "salt-in-doubt": "Find out what the salt is made of: potassium chloride is no table salt",
    "decisions-conflict": "Keep one of the decisions in mappings/foods.csv and name the other in its `replaces` (problems.csv says which)",
    "alternative-refused": "Take the choice out of the line, or decide on this one line",
    "much-at-stake": "Confirm the entry, or name the other one",
    "close-call": "Choose between the candidates",
    "not-sure": "Confirm the entry, or name another one",
    "decided-none": "Rewrite the line in the recipe: it was decided that no entry stands for it",
    "no-quantity": "Write an amount in the line, or a local rule in reference/amount_rules.csv",
    "no-measure": "Write grams in the line, or add the measure to reference/measures.csv",
    "no-density": "Write grams in the line, or add the density to reference/densities.csv",
    "no-entry": "Name the entry, or write grams in the line",
    "reading-in-doubt": "Write the line so that it names one food with one amount, or decide on this one line",
    "absurd-quantity": "Correct the amount in the recipe",
    "negative-quantity": "Write the amount in the recipe without a minus sign",
    "too-long": "Split the line in the recipe: one ingredient per line",
    "no-food-words": "Name a food in the line, or take the line out of the recipe",
}
SETTLE_BY_READING = "Rewrite the line in the recipe so that it says how much of what"
DOUBTFUL = "Confirm the entry, or the method in mappings/methods.csv"
# Settled by a decision on the phrase, wherever it stands; where these doubts hold the nearest entry may be named in the command, for it is
# the likeliest one. Elsewhere nobody should paste an entry that is known to be wrong.
NEAREST = frozenset({"much-at-stake", "close-call", "not-sure"})
PHRASE = NEAREST | {"no-candidate", "words-not-covered", "word-guessed", "class-only", "head-differs", "state-differs", "ambiguous-words", "no-entry"}
# Settled by a decision on this one line: what it says beside the phrase is the doubt.
LINE = frozenset({"words-left-over", "cooked-otherwise", "level-differs", "alternative-refused", "reading-in-doubt"})
KEY = ["recipe_id", "variant_id"]


def worklist(
    settled: pd.DataFrame, candidates: pd.DataFrame, figures: pd.DataFrame, verdicts: pd.DataFrame,
    doubtful_below: float,
) -> pd.DataFrame:
    """Model Worklist, one row per recipe and line text.

    A line that alone withholds figures comes before one that does so with others; then
    by how many figures and verdicts wait. Doubtful lines (accepted with a confidence
    below ``doubtful_below``) follow, by the number of figures they leave to check.
    """
    counted = settled[settled["counted"]]
    unsettled = counted[counted["outcome"] != "accepted"]
    doubtful = counted[(counted["outcome"] == "accepted") & (counted["confidence"] < doubtful_below)]
    withheld = figures[figures["status"] == "withheld"].groupby(KEY).size()
    unsure = figures[figures["reason"].str.contains("low confidence", regex=False)].groupby(KEY).size()
    waiting = verdicts[verdicts["verdict"] == "not-assessable"].groupby(KEY).size()
    alone = unsettled.groupby(KEY)["line_no"].transform("size") == 1
    open_rows = _counts(unsettled.assign(alone=alone), withheld, waiting, "figures_withheld")
    doubt_rows = _counts(doubtful.assign(alone=False), unsure, waiting * 0, "figures_to_check")
    rows = pd.concat([open_rows, doubt_rows], ignore_index=True)
    rows = rows[rows["figures_withheld"] + rows["figures_to_check"] > 0]  # nothing waits for the others
    if rows.empty:
        return tables.empty(tables.Worklist)
    named = _named_candidates(candidates)
    rows["candidates"] = [named.get(line, "") for line in rows["line_id"]]
    nearest = candidates[candidates["rank"] == 1].set_index("line_id")["entry_id"]
    rows["remedy"] = [_remedy(row, nearest.get(row.line_id, "")) for row in rows.itertuples(index=False)]
    rows = rows.sort_values(["settles_alone", "figures_withheld", "verdicts_waiting", "figures_to_check", "recipe_id", "line_no"],
                            ascending=[False, False, False, False, True, True], ignore_index=True)
    rows["rank"] = range(1, len(rows) + 1)
    return tables.checked(tables.Worklist, rows[tables.columns(tables.Worklist)], "worklist")


def _remedy(row, nearest: str) -> str:
    """What to do about one line, with the command that settles it where a decision can."""
    if row.outcome == "accepted":
        return f"{DOUBTFUL}: {command(row.phrase, row.entry_id, row.state, row.table)}"
    told = REMEDIES.get(row.reason, SETTLE_BY_READING)
    if row.reason == "salt-in-doubt":
        return f"{told}; {command(row.phrase, '', row.state, row.table)}"
    if row.reason in LINE:
        return f"{told}: {command(row.text, ENTRY, '', row.table, row.recipe_id)}"
    if row.reason in PHRASE and row.phrase:
        return f"{told}: {command(row.phrase, nearest if nearest and row.reason in NEAREST else ENTRY, row.state, row.table)}"
    return told


def _counts(lines: pd.DataFrame, figures: pd.Series, verdicts: pd.Series, column: str) -> pd.DataFrame:
    """One row per recipe and text, the effects on all of its variants added up."""
    frame = lines.copy()
    keys = pd.MultiIndex.from_frame(frame[KEY])
    frame["figures_withheld"] = frame["figures_to_check"] = 0
    frame[column] = figures.reindex(keys).fillna(0).to_numpy().astype(int)
    frame["verdicts_waiting"] = verdicts.reindex(keys).fillna(0).to_numpy().astype(int)
    frame["settles_alone"] = frame["figures_withheld"].where(frame["alone"], 0)
    # A version with ingredients of its own has its own numbers: the line of the recipe as written stands for both.
    frame["base_first"] = (frame["variant_id"] != "base").astype(int)
    frame = frame.sort_values(["recipe_id", "base_first", "line_no", "variant_id"])
    grouped = frame.groupby(["recipe_id", "text"], sort=True)
    added = grouped[["figures_withheld", "figures_to_check", "verdicts_waiting", "settles_alone"]].sum()
    first = grouped[["variant_id", "line_no", "line_id", "reason", "outcome", "phrase", "state", "table", "entry_id"]].first()
    return first.join(added).reset_index()


def _named_candidates(candidates: pd.DataFrame) -> dict[str, str]:
    top = candidates[candidates["rank"] <= 3]
    if top.empty:  # columns without rows have no kind of their own: text and numbers cannot be joined
        return {}
    named = top["entry_id"] + " " + top["entry_name"] + " (" + top["probability"].map("{:.2f}".format) + ")"
    return named.groupby(top["line_id"]).agg("; ".join).to_dict()
