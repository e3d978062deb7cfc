"""The sentences of swaps and protein additions, as a renal dietitian would say them. Figures are rounded outward, never to the safe side."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from pipeline.stages.conditions import FAILS, HOLDS, NOT_ASSESSABLE, UNCERTAIN, UPPER, plain
from pipeline.stages.kitchen_words import FINE, amount_in_words, written_amounts
from pipeline.stages.trial import Kitchen
from pipeline.swaps_form import CANNOT, FALLS_SHORT, NOT_SEARCHED, REACHES, RESTORED

FRACTIONS = {0.25: "a quarter", 0.5: "half", 0.75: "three quarters"}


@dataclass(frozen=True)
class Speaker:
    """What the sentences need: names of variants, audiences and components, and the amounts as written by line_id."""

    variants: dict[tuple[str, str], str]
    audiences: dict[str, str]
    components: dict[str, str]
    amounts: dict[str, dict]

    @classmethod
    def of(cls, run: Mapping[str, pd.DataFrame], kitchen: Kitchen) -> Speaker:
        """``run`` has variants, settled and parsed."""
        variants, components = run["variants"], kitchen.reference.components
        return cls({(row.recipe_id, row.variant_id): row.name for row in variants.itertuples(index=False)},
                   {row.id: _lower(row.name) for row in kitchen.policy.audiences.itertuples(index=False)},
                   {row.component: _lower(row.name) for row in components.itertuples(index=False)},
                   written_amounts(run["settled"], run["parsed"]))

    def change(self, recipe_id: str, variant_id: str, times: tuple[tuple[int, float], ...]) -> str:
        """What to do, in a cook's words: "leave out the baby spinach (2 handfuls), and use half of the rice (50 g in place of 100 g)"."""
        return ", and ".join(_change(self.amounts[f"{recipe_id}/{variant_id}/{number}"], left) for number, left in times)

    def swap(
        self, key: tuple[str, str], audience: str, outcome: str, change: str, row: Mapping, written: Mapping, before: Mapping, sought: bool,
    ) -> str:
        """One sentence on one limit of a variant; ``row`` and ``written`` are its verdicts with and without the change, ``before`` that
        of the recipe as written, ``sought`` whether this limit was to be restored."""
        name, told = self.variants[key], self.figure(row, self.audiences[audience])
        doubt = in_doubt(written)
        in_words = f"; the figure is in doubt ({doubt}), and leaving out settles no doubt" if doubt else ""
        if outcome == NOT_SEARCHED:
            return f"{name}: {told}{in_words}"
        if not change:
            none = "; nothing that may be left out restores it" if sought and not doubt else ""
            return f"{name}: {told}{in_words}{none}"
        then = "then" if outcome == RESTORED else "and still not every limit is kept:"
        same = ", as without that" if not sought and row["verdict"] == written["verdict"] != HOLDS else ""
        again = f"; the recipe as written is uncertain too{_chance(before)}" if sought and row["verdict"] == before["verdict"] == UNCERTAIN else ""
        return f"{name}: {change}, {then} {told}{same}{again}"

    def addition(self, dish: str, audience: str, outcome: str, line: str, row: Mapping, phosphorus_to_protein: float) -> str:
        """One sentence on one limit of a dish to which ``line`` is added."""
        told = self.figure(row, self.audiences[audience])
        doubt = f"; the figure is in doubt ({in_doubt(row)})" if in_doubt(row) else ""
        if outcome == NOT_SEARCHED:
            return f"{dish}: no addition was looked for, since another limit does not hold as it is: {told}{doubt}"
        then = {REACHES: "then", FALLS_SHORT: "the most that the other limits or the list allow:", CANNOT: "and another limit no longer holds:"}[outcome]
        ratio = ""
        if row["component"] == "PROCNT" and not math.isnan(phosphorus_to_protein):
            ratio = f"; phosphorus {phosphorus_to_protein:.1f} mg for each g of protein"
        return f"{dish}: add {line}, {then} {told}{ratio}{doubt}"

    def figure(self, row: Mapping, who: str) -> str:
        """"potassium is 402 mg a portion (310 to 520), within 600 for adults not on dialysis"."""
        if row["verdict"] == NOT_ASSESSABLE:
            return f"{row['claim'].replace('-', ' ')} cannot be judged for {who}: {row['reason'].split(';')[0].split(': waits')[0]}"
        per = "a portion" if row["basis"] == "portion" else "per 100 g"
        high = "any amount" if math.isnan(row["high"]) else shown(row["high"], row["unit"], math.ceil)
        amount = f"{shown(row['value'], row['unit'], round)} {row['unit']} {per} ({shown(row['low'], row['unit'], math.floor)} to {high})"
        return f"{self.components.get(row['component'], row['component'])} is {amount}, {_against(row)} for {who}"


def in_doubt(row: Mapping) -> str:
    """Why a verdict's figure is still to be checked, or ""."""
    found = re.search(r"still to be checked: ([^;]*)", row["reason"])
    return found.group(1) if found else ""


def shown(number: float, unit: str, rounded) -> str:
    """Milligrams and energy whole, grams to a tenth; ``rounded`` is round, math.floor or math.ceil."""
    scale = 10 if unit == "g" else 1
    return plain(rounded(number * scale) / scale)


def _against(row: Mapping) -> str:
    limit, upper = plain(row["limit"]), row["comparator"] in UPPER
    if row["verdict"] == HOLDS:
        return f"within {limit}" if upper else f"at least {limit}"
    if row["verdict"] == FAILS:
        return f"above {limit}" if upper else f"below {limit}"
    return f"not surely {'within' if upper else 'up to'} {limit}{_chance(row)}"


def _chance(row: Mapping) -> str:
    return "" if math.isnan(row["probability"]) else f" (chance {row['probability']:.2f})"


def _change(line: Mapping, left: float) -> str:
    food, quantity, unit = line["food"], line["quantity"], line["unit"]
    told = not math.isnan(quantity) and _exact(quantity, unit)
    if left == 0:
        return f"leave out the {food}" + (f" ({amount_in_words(quantity, unit)})" if told and unit else f" ({line['text']})")
    fraction = FRACTIONS.get(left, f"{plain(100 * left)} %")
    if told and _exact(quantity * left, unit):
        return f"use {fraction} of the {food} ({amount_in_words(quantity * left, unit)} in place of {amount_in_words(quantity, unit)})"
    return f"use {fraction} of the {food} ({line['text']})"


def _exact(quantity: float, unit: str) -> bool:
    """Whether an amount can be said in quarters, or in grams."""
    return unit in FINE or abs(4 * quantity - round(4 * quantity)) < 1e-9


def _lower(name: str) -> str:
    return name[:1].lower() + name[1:]
