"""The mass balance of every line: what went in is on the plate, was poured away, stayed behind or evaporated.

Water, alcohol, fat and minerals only: vitamins are destroyed, so they keep no balance. What a
food gains is water from the pot; minerals and fat come from nothing and evaporate nowhere.
"""

from __future__ import annotations

import pandas as pd

from pipeline.stages.cook_factors import MINERALS, PART_CODES

WATER, ALCOHOL, FAT = "WATER", "ALC", "FAT"
ACCOUNTED = (WATER, ALCOHOL, FAT, *MINERALS)
EVAPORATES = (WATER, ALCOHOL)
# Steps that bring a food together with water that it may take up.
WET = ("boil", "simmer", "soak", "steam", "microwave")  # rice swells in the microwave too
# Sums and products of ten-digit numbers agree to this share of what went in.
ROUNDING = 1e-9
SIDES = ["on_plate", "poured_away", "left_behind", "evaporated"]
COLUMNS = ["recipe_id", "variant_id", "line_no", "line_id", "component", "unit", "chain", "went_in", "taken_up", *SIDES]


def balance(contributions: pd.DataFrame, cooked: pd.DataFrame) -> pd.DataFrame:
    """The account of every counted line and component, in the component's unit: ``COLUMNS``.

    ``contributions`` and ``cooked``: the models of those names. went_in + taken_up = on_plate +
    poured_away + left_behind + evaporated. Poured away: with a liquid that was drained, or as the
    part of frying fat that nobody eats. Left behind: in the tin or pan, where no liquid was poured off.
    Of a line that was drained and cooked on in dry heat all lost water counts as poured away: the
    yields do not tell the two apart. A component without a value has no row.
    """
    parts = contributions[contributions["component"].isin(ACCOUNTED) & contributions["amount"].notna()]
    frame = parts.merge(cooked[["line_id", "chain", "retention_code"]], on="line_id")
    frame["went_in"] = frame["edible_g"] * frame["value_per_100g"] / 100
    frame["on_plate"] = frame["amount"]
    change = frame["amount"] - frame["went_in"]
    change = change.where(change.abs() > ROUNDING * frame["went_in"], 0.0)
    frame["taken_up"], lost = change.clip(lower=0.0), (-change).clip(lower=0.0)
    poured = frame["chain"].str.contains(":drained", regex=False) | frame["retention_code"].str.split("+").str[0].isin(PART_CODES)
    flies = frame["component"].isin(EVAPORATES) & ~poured
    frame["poured_away"] = lost.where(poured, 0.0)
    frame["evaporated"] = lost.where(flies, 0.0)
    frame["left_behind"] = lost.where(~poured & ~flies, 0.0)
    return frame[COLUMNS].sort_values(["recipe_id", "variant_id", "line_no", "component"], ignore_index=True)


def impossible(account: pd.DataFrame) -> pd.DataFrame:
    """The rows of :func:`balance` that no cooking can bring about, with ``why``.

    A mineral or fat that comes from nothing; water that a food takes up where there is none;
    and what stays behind although all of the cooking was in a liquid that is eaten too.
    """
    steps = account["chain"].str.split(" > ")
    wet = pd.Series([any(step.split(":")[0] in WET for step in chain) for chain in steps], index=account.index, dtype=bool)
    kept = pd.Series([all(step.endswith(":kept") for step in chain) for chain in steps], index=account.index, dtype=bool)
    mineral = account["component"].isin(MINERALS)
    why = pd.Series("", index=account.index)
    why = why.where(~((account["taken_up"] > 0) & ~account["component"].isin(EVAPORATES)), "comes from nothing")
    why = why.where(~((account["taken_up"] > 0) & (account["component"] == WATER) & ~wet), "is taken up where there is no water")
    why = why.where(~((account["left_behind"] > 0) & mineral & kept), "stays behind although the liquid is eaten")
    return account.assign(why=why)[why != ""].reset_index(drop=True)
