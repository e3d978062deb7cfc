"""Settle: one outcome with one reason for every line, from all the earlier stages."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline import tables

# Reasons a settled line can give; every line has exactly one.
REASONS = tables.LINE_REASONS
# What makes a line unreadable, the plainest first: where several hold, the first is the reason.
FATAL = ("too-long", "negative-quantity", "absurd-quantity", "no-food-words")



def settle(
    lines: pd.DataFrame, parsed: pd.DataFrame, matched: pd.DataFrame, weighed: pd.DataFrame, cooked: pd.DataFrame,
    variants: pd.DataFrame, read_above: float,
) -> pd.DataFrame:
    """The released ``lines`` table (model Settled): everything found, in one outcome.

    A line that matched but cannot be weighed is for review, and so is one whose reading is
    no surer than ``read_above`` (a second food in the line, words left over), unless a
    person decided on it or it writes the entry's name in full: what was not read must not be left out in silence. An optional line counts only
    in variants of kind ``optional``. ``confidence`` = reading x match x method.
    """
    frame = lines[["recipe_id", "variant_id", "line_no", "line_id", "text"]].merge(
        parsed.drop(columns="text"), on="line_id", validate="1:1")
    frame = frame.merge(matched, on="line_id", validate="1:1").merge(weighed.drop(
        columns=["quantity", "quantity_low", "quantity_high"]), on="line_id", validate="1:1")
    frame = frame.merge(cooked.drop(columns=["decision_id"]), on="line_id", validate="1:1")
    frame = frame.merge(variants[["recipe_id", "variant_id", "kind"]].rename(columns={"kind": "variant_kind"}),
                        on=["recipe_id", "variant_id"], validate="m:1")
    unweighed = (frame["match_outcome"] == "accepted") & frame["edible_g"].isna()
    doubtful = (frame["match_outcome"] == "accepted") & (frame["parse_confidence"] <= read_above) & (
        frame["match_reason"] != "decided") & ~_named_in_full(frame)
    frame["outcome"] = np.where(unweighed | doubtful, "review", frame["match_outcome"])
    is_food = frame["outcome"] != "not-food"
    left_out = frame["optional"] & (frame["variant_kind"] != "optional")
    frame["counted"] = is_food & ~left_out
    frame["reason"] = _reasons(frame, unweighed, doubtful, left_out)
    frame["cooked_g"] = frame["edible_g"] * frame["yield_fraction"]
    frame["confidence"] = (frame["parse_confidence"] * frame["match_confidence"] * frame["method_confidence"]).round(6)
    ordered = frame[tables.columns(tables.Settled)].sort_values(["recipe_id", "variant_id", "line_no"], ignore_index=True)
    return tables.checked(tables.Settled, ordered, "settle")


def _named_in_full(frame: pd.DataFrame) -> pd.Series:
    """Whether the line ends with the whole published name of its entry, of several parts: its commas and brackets hide no other food."""
    pairs = zip(frame["text"], frame["entry_name"], strict=True)
    return pd.Series(["," in name and text.casefold().endswith(name.casefold()) for text, name in pairs], index=frame.index, dtype=bool)


def _reasons(frame: pd.DataFrame, unweighed: pd.Series, doubtful: pd.Series, left_out: pd.Series) -> pd.Series:
    matched = frame["match_reason"].replace({"matched": "settled"})
    unreadable = frame["parse_reason"].where(frame["kind"] == "unreadable", "").map(_fatal)
    reason = matched.where(~((frame["match_outcome"] == "none") & (unreadable != "")), unreadable)
    reason = reason.where(~doubtful, "reading-in-doubt").where(~unweighed, frame["weigh_reason"])
    settled = frame["outcome"] == "accepted"
    return reason.where(~(settled & left_out), "optional-left-out")


def _fatal(parse_reasons: str) -> str:
    """The one reason of a line that could not be read, from the doubts that reading names."""
    if parse_reasons == "":
        return ""
    named = parse_reasons.split(";")
    return next((code for code in FATAL if code in named), "unreadable")
