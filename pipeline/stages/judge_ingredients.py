"""Which lines of a variant bring salt or sugars of their own, for claims that look at the ingredients.

"No added salt" is about what went in, not only about sodium: celery holds sodium, soy sauce
brings it. ``reference/added_substances.csv`` says of words in the names of entries whether
such a food brings the substance (``yes``), may (``may``) or has it by nature (``no``). Of
several rows that fit, the one with the most words counts; of equals the most cautious. A row
with an amount fits only entries that hold more than that; one without words fits all.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import pandas as pd

from pipeline.phrases import phrase_key
from pipeline.stages.conditions import INGREDIENTS, Figure

CAUTION = ("no", "may", "yes")
NAMED = 4


@dataclass(frozen=True)
class Ingredients:
    """``counts``: figures for ``conditions.quantity``, by (recipe_id, variant_id, "ingredients", substance,
    "ingredients"): value and low are the lines that bring it for certain, high those that may as well.
    ``words``: by (recipe_id, variant_id), the sentence on each substance."""

    counts: dict[tuple[str, str, str, str, str], Figure]
    words: dict[tuple[str, str], dict[str, str]]


def ingredients(settled: pd.DataFrame, contributions: pd.DataFrame, variants: pd.DataFrame, added_substances: pd.DataFrame) -> Ingredients:
    """What the lines of every variant bring.

    ``settled`` (model Settled), ``contributions`` and ``variants`` are tables of those models;
    ``added_substances`` the reference file. A line whose entry is not settled may bring
    anything; so may a line that is left out of the sums because it is optional, if its entry does.
    """
    holds = contributions.set_index(["line_id", "component"])["value_per_100g"].to_dict()
    counts, words = {}, {}
    by_variant = {key: rows.to_dict("records") for key, rows in settled[settled["outcome"] != "not-food"].groupby(["recipe_id", "variant_id"])}
    rules = {name: rows.to_dict("records") for name, rows in added_substances.groupby("substance", sort=True)}
    for key in zip(variants["recipe_id"], variants["variant_id"]):
        words[key] = {}
        for substance, rows in rules.items():
            told = [(_brings(line, rows, holds), line["text"]) for line in by_variant.get(key, [])]
            certain, possible = ([text for brings, text in told if brings == wanted] for wanted in ("yes", "may"))
            counts[(*key, INGREDIENTS, substance, INGREDIENTS)] = Figure(
                len(certain), len(certain), len(certain) + len(possible), 1.0, "ready", "")
            words[key][substance] = _sentence(substance, certain, possible)
    return Ingredients(counts, words)


def _brings(line: dict, rules: list[dict], holds: dict[tuple[str, str], float]) -> str:
    if line["outcome"] != "accepted":
        return "may" if line["counted"] else "no"
    brings = entry_brings(line["entry_name"], rules, lambda component: holds.get((line["line_id"], component), math.nan))
    return "may" if brings == "yes" and not line["counted"] else brings


def entry_brings(name: str, rules: list[dict], amount) -> str:
    """yes, may or no for an entry; ``amount(component)`` is what 100 g of it hold (null: unknown)."""
    key = f" {phrase_key(name)} "
    fitting = [(len(row["words"].split()), CAUTION.index(row["brings"])) for row in rules
               if (not row["words"] or f" {row['words']} " in key) and not amount(row["component"]) <= row["above_per_100g"]]
    return CAUTION[max(fitting)[1]] if fitting else "no"


def _sentence(substance: str, certain: list[str], possible: list[str]) -> str:
    parts = [f"{substance} by {_listed(texts)}" for texts in (certain,) if texts]
    parts += [f"possibly by {_listed(possible)}"] if possible else []
    return "; ".join(parts) or f"no line brings {substance.replace('-', ' ')}"


def _listed(texts: list[str]) -> str:
    more = len(texts) - NAMED
    return ", ".join(f'"{text}"' for text in texts[:NAMED]) + (f" and {more} more" if more > 0 else "")
