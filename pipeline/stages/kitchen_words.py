"""Amounts as a cook says them: "1 1/2 medium leeks", "2 tbsp", "40 g"."""

from __future__ import annotations

import pandas as pd

from pipeline.stages.conditions import plain

FINE = ("g", "ml")
UNIT_WORDS = {"teaspoon": "tsp", "tablespoon": "tbsp", "dessertspoon": "dsp"}
QUARTERS = {1: "1/4", 2: "1/2", 3: "3/4"}


def written_amounts(lines: pd.DataFrame, parsed: pd.DataFrame) -> dict[str, dict]:
    """By line_id: what the line's amount is written in, its grams, and what a cook calls the food. ``lines``: model Settled."""
    found = {}
    for row in lines.merge(parsed[["line_id", "size"]], on="line_id", how="left").to_dict("records"):
        size = row["size"] if isinstance(row["size"], str) else ""
        food = row["phrase"] if size in row["phrase"].split() else f"{size} {row['phrase']}".strip()
        found[row["line_id"]] = {"quantity": (row["quantity_low"] + row["quantity_high"]) / 2, "unit": row["unit"],
                                 "mass_g": row["mass_g"], "food": food, "text": row["text"]}
    return found


def amount_in_words(amount: float, unit: str) -> str:
    """An amount in grams or millilitres, or in quarters of a spoon or piece."""
    if unit in FINE:
        return f"{plain(amount)} {unit}"
    whole, part = divmod(round(4 * amount), 4)
    number = " ".join(word for word in (str(whole) if whole else "", QUARTERS.get(part, "")) if word)
    return f"{number} {unit_word(unit, amount)}".strip()


def unit_word(unit: str, amount: float) -> str:
    """The unit beside a number."""
    if unit in UNIT_WORDS or amount <= 1:
        return UNIT_WORDS.get(unit, unit)
    if unit.endswith("f"):
        return f"{unit[:-1]}ves"
    return f"{unit}es" if unit.endswith(("ch", "s")) else f"{unit}s" if unit else ""
