"""The worklist: unsettled and doubtful lines, the one that would settle most first."""

from __future__ import annotations

import pandas as pd

from pipeline import tables

REMEDIES = {
    "no-candidate": "Name the entry in mappings/foods.csv, or write the line so that it names a food",
    "words-not-covered": "Confirm or correct the entry in mappings/foods.csv",
    "head-differs": "Confirm or correct the entry in mappings/foods.csv",
    "state-differs": "Say raw, dried, canned or cooked in the line, or decide in mappings/foods.csv",
    "close-call": "Choose between the candidates in mappings/foods.csv",
    "decided-none": "Rewrite the line in the recipe: it was decided that no entry stands for it",
    "no-quantity": "Write an amount in the line, or a local rule in reference/amount_rules.csv",
    "no-measure": "Write grams in the line, or add the measure to reference/measures.csv",
    "no-density": "Write grams in the line, or add the density to reference/densities.csv",
    "no-entry": "Name the entry in mappings/foods.csv, or write grams in the line",
    "reading-in-doubt": "Write the line so that it names one food with one amount, or decide on it in mappings/foods.csv",
    "absurd-quantity": "Correct the amount in the recipe",
    "negative-quantity": "Write the amount in the recipe without a minus sign",
    "too-long": "Split the line in the recipe: one ingredient per line",
    "no-food-words": "Name a food in the line, or take the line out of the recipe",
}
SETTLE_BY_READING = "Rewrite the line in the recipe so that it says how much of what"
DOUBTFUL = "Confirm the entry in mappings/foods.csv or the method in mappings/methods.csv"
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
    if rows.empty:
        return tables.empty(tables.Worklist)
    rows["candidates"] = rows["line_id"].map(_named_candidates(candidates)).fillna("")
    rows["remedy"] = [DOUBTFUL if accepted else REMEDIES.get(reason, SETTLE_BY_READING)
                      for reason, accepted in zip(rows["reason"], rows["outcome"] == "accepted", strict=True)]
    rows = rows.sort_values(["settles_alone", "figures_withheld", "verdicts_waiting", "figures_to_check", "recipe_id", "line_no"],
                            ascending=[False, False, False, False, True, True], ignore_index=True)
    rows["rank"] = range(1, len(rows) + 1)
    return tables.checked(tables.Worklist, rows[tables.columns(tables.Worklist)], "worklist")


def _counts(lines: pd.DataFrame, figures: pd.Series, verdicts: pd.Series, column: str) -> pd.DataFrame:
    """One row per recipe and text, the effects on all of its variants added up."""
    frame = lines.copy()
    keys = pd.MultiIndex.from_frame(frame[KEY])
    frame["figures_withheld"] = frame["figures_to_check"] = 0
    frame[column] = figures.reindex(keys).fillna(0).to_numpy().astype(int)
    frame["verdicts_waiting"] = verdicts.reindex(keys).fillna(0).to_numpy().astype(int)
    frame["settles_alone"] = frame["figures_withheld"].where(frame["alone"], 0)
    frame = frame.sort_values(["recipe_id", "line_no", "variant_id"])
    frame["base_first"] = (frame["variant_id"] != "base").astype(int)
    frame = frame.sort_values(["recipe_id", "line_no", "base_first", "variant_id"])
    grouped = frame.groupby(["recipe_id", "text"], sort=True)
    added = grouped[["figures_withheld", "figures_to_check", "verdicts_waiting", "settles_alone"]].sum()
    first = grouped[["variant_id", "line_no", "line_id", "reason", "outcome"]].first()
    return first.join(added).reset_index()


def _named_candidates(candidates: pd.DataFrame) -> dict[str, str]:
    top = candidates[candidates["rank"] <= 3]
    named = top["entry_id"] + " " + top["entry_name"] + " (" + top["probability"].map("{:.2f}".format) + ")"
    return named.groupby(top["line_id"]).agg("; ".join).to_dict() if len(top) else {}
