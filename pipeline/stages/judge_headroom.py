"""Headroom in kitchen terms, and what decides: words beside each verdict that a cook can act on.

"12 g more cheddar, or 1/2 tbsp more olive oil, before it no longer holds" where a claim holds;
"leave out 40 g of the potatoes, to hold" where it does not. One line changes at a time. ``judge_scaling`` gives the
interval of a figure when one line is scaled: the line's part of the figure, of its uncertainty
and of the dish's weight grow with it, first order, as the total stage adds them up. So a change
is stated on the end of the interval that has to keep the limit, and per 100 g with the mass that
comes with it. What is stated is rounded to the safe side: room down, what must change up.

What this leaves out: cooking that takes up or boils off by the pot (oil in frying, a reduced
sauce) does not follow one line in proportion, so a changed recipe has to be run again before
anything is said of it. Claims of several conditions, on sums, shares of energy and ingredients
get no words, nor do figures with a gap or a doubt of their own (settle those first), nor those
per 100 g of a dish whose finished weight was weighed, which says nothing about another dish.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from functools import partial

import numpy as np
import pandas as pd

from pipeline import tables, units
from pipeline.stages import conditions, total_shares
from pipeline.stages.conditions import FAILS, HOLDS, UNCERTAIN, UPPER
from pipeline.stages.judge_scaling import PORTION, Dish, dishes
from pipeline.stages.kitchen_words import FINE, amount_in_words, written_amounts

NAMED = 2
# A line is tried from nothing to four times its amount: beyond that it is another recipe.
MOST_TIMES = 4.0
LITRES = ("ml", "cl", "dl", "l")
# "juice of 1 lemon" is scaled in grams of juice.
OF_A_FRUIT = "-of"


def with_headroom(verdicts: pd.DataFrame, run: Mapping[str, pd.DataFrame], linear: pd.DataFrame) -> pd.DataFrame:
    """``verdicts`` (its model) with ``headroom`` and ``decisive`` filled in, on the figures as they stand in ``run``.

    ``run``: the tables of a release by name (figures, contributions, lines, parsed, weighed, cooked,
    recipes, variants, inputs, two_routes); ``linear`` as :func:`pipeline.combinations.combinations` gives it.
    """
    known = dishes(run, linear)
    index = conditions.index_figures(run["figures"])
    widest = _widest(run, linear)
    written = written_amounts(run["lines"], run["parsed"])
    frame = verdicts.copy()
    told = [_told(row, index, known, widest, written) for row in frame.to_dict("records")]
    frame["headroom"] = pd.Series([one[0] for one in told], index=frame.index, dtype="str")
    frame["decisive"] = pd.Series([one[1] for one in told], index=frame.index, dtype="str")
    return tables.checked(tables.Verdicts, frame, "judge")


def _told(row: dict, index: conditions.Index, known: dict[tuple[str, str], Dish], widest: dict, written: dict[str, dict]) -> tuple[str, str]:
    variant = (row["recipe_id"], row["variant_id"])
    figure = index.get((*variant, row["basis"], row["component"], row["unit"]))
    dish = known.get(variant)
    if figure is None or dish is None or row["verdict"] not in (HOLDS, FAILS, UNCERTAIN):
        return row["headroom"], ""
    asked = (row["component"], row["unit"], row["basis"])
    decided = "; ".join(part for part in (_largest(dish, asked, written), widest.get((*variant, *asked), "")) if part)
    if figure.coverage < 1 - conditions.WHOLE_WITHIN or conditions.is_doubted(figure) or not dish.can_scale(asked):
        return row["headroom"], decided
    return row["headroom"] or _headroom(row, dish, asked, written), decided


# ---------------------------------------------------------------- room, or what must change

def _headroom(row: dict, dish: Dish, asked: tuple[str, str, str], written: dict[str, dict]) -> str:
    holds = row["verdict"] == HOLDS
    upper = row["comparator"] in UPPER

    def keeps(ends: np.ndarray) -> np.ndarray:
        return ends <= row["limit"] if upper else ends >= row["limit"]

    def still_keeps(line: int, times: float) -> bool:
        return bool(keeps(dish.ends([line], asked, upper, np.array([times])))[0, 0])

    found = []
    for towards in (0.0, MOST_TIMES):
        for line, change in dish.first_changes(asked, upper, keeps, holds, towards).items():
            words = _change(written[dish.line_ids[line]], change, towards, holds, partial(still_keeps, line))
            found += [(change, words)] if words else []
    found.sort(key=lambda one: one[0])
    chosen = ", or ".join(dict.fromkeys(words for _, words in found[:NAMED]))
    if chosen:
        return f"{chosen}, before it no longer holds" if holds else f"{chosen}, to hold"
    return f"no line alone {'breaks it' if holds else 'makes it hold'}, left out or up to {conditions.plain(MOST_TIMES)} times as much"


def _change(line: dict, change: float, towards: float, holds: bool, keeps: Callable[[float], bool]) -> str:
    """One change in the line's own measure; "" where it cannot be rounded to the safe side.

    ``change`` is the part of the line's amount at which the verdict turns, ``keeps(times)`` whether the
    claim keeps its limit when the line is ``times`` as much.
    """
    for size, unit in _measures(line):
        amount = _rounded(change * size, up=not holds, quarters=unit not in FINE)
        if towards < 1 and amount >= size and not holds:
            return f"leave out all of the {line['food']}" if keeps(0.0) else ""
        times = 1 + amount / size * (1 if towards > 1 else -1)
        if amount > 0 and times >= 0 and keeps(times):
            return _in_words(line["food"], amount, unit, towards > 1, holds)
    return ""


def _measures(line: dict) -> list[tuple[float, str]]:
    """The line's amount in the measures that its change may be told in: its own first, grams after."""
    grams, own, quantity = (line["mass_g"], "g"), line["unit"], line["quantity"]
    if math.isnan(quantity) or quantity <= 0 or units.is_mass(own) or own.endswith(OF_A_FRUIT):
        return [grams]
    if own in LITRES:
        return [(quantity * units.millilitres_per(own).middle, "ml")]
    return [(quantity, own), grams]


def _rounded(amount: float, up: bool, quarters: bool) -> float:
    """To quarters of a spoon or piece, or to two digits of g or ml; up or down."""
    if amount <= 0:
        return 0.0
    step = 0.25 if quarters else 10.0 ** (math.floor(math.log10(amount)) - 1)
    count = amount / step
    return step * (math.ceil(count - conditions.ROUNDING) if up else math.floor(count + conditions.ROUNDING))


def _in_words(food: str, amount: float, unit: str, adding: bool, holds: bool) -> str:
    shown = amount_in_words(amount, unit)
    if adding:
        return f"{shown} more {food}"
    if holds:
        return f"{shown} less {food}"
    return f"leave out {shown} of the {food}" if unit else f"leave out {shown} {food}"


# ---------------------------------------------------------------- what decides

def _largest(dish: Dish, asked: tuple[str, str, str], written: dict[str, dict]) -> str:
    """The lines that give most of the figure, with their parts of it."""
    if not dish.has(asked):
        return ""
    parts = dish.of_figure(asked).amounts
    if parts.sum() <= 0:
        return ""
    order = sorted(range(len(parts)), key=lambda number: (-parts[number], dish.line_ids[number]))[:NAMED]
    told = [f'"{written[dish.line_ids[number]]["text"]}" {_per_cent(parts[number] / parts.sum())}' for number in order if parts[number] > 0]
    return f"the amount: {', '.join(told)}"


def _widest(run: Mapping[str, pd.DataFrame], linear: pd.DataFrame) -> dict[tuple[str, ...], str]:
    """By recipe, variant, component, unit and basis: the input that makes the figure widest, in words."""
    shares = total_shares.figure_shares(run, linear)
    first = shares.drop_duplicates(["recipe_id", "variant_id", "component", "unit", "basis"])
    texts = dict(zip(run["lines"]["line_id"], run["lines"]["text"]))
    names = dict(zip(run["lines"]["entry_id"], run["lines"]["entry_name"]))
    found = {}
    for row in first.itertuples(index=False):
        words = f"its width: {total_shares.in_words(row.source, texts, names)} {_per_cent(row.share)}"
        # A portion shares the whole dish's inputs.
        basis = PORTION if row.basis == total_shares.RECIPE else row.basis
        found[(row.recipe_id, row.variant_id, row.component, row.unit, basis)] = words
    return found


def _per_cent(share: float) -> str:
    return f"{100 * share:.0f} %"
