"""One condition of a claim, judged on an interval; and conditions together.

A condition compares a quantity with a limit. The quantity is a figure, a sum of figures
or a ratio of figures. Figures share inputs that this module does not see, so a sum or a
ratio gets the widest interval that its parts allow: low over high, high over low. That can
turn "holds" into "uncertain", never the reverse.

Beside the interval shown, a quantity has a ``floor`` and a ``ceiling``: how low and how
high it can be once the parts that no table covers are allowed for. A sum with a gap can
only grow, so its ceiling is infinite.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import NamedTuple

import pandas as pd

HOLDS, FAILS, UNCERTAIN, NOT_ASSESSABLE = "holds", "fails", "uncertain", "not-assessable"
COMPARATORS = {"<=": "at most", "<": "less than", ">=": "at least", ">": "more than"}
UPPER = ("<=", "<")
BASIS_WORDS = {
    "100g": "per 100 g", "portion": "per portion", "100kcal": "per 100 kcal", "100kJ": "per 100 kJ",
    "energy": "of the energy", "fatty-acids": "of the fatty acids", "ingredients": "among the ingredients",
}
# How many of the ingredients bring something of their own, such as salt (see ``judge_ingredients``).
INGREDIENTS = "ingredients"
ENERGY_BASES = {"100kcal": "kcal", "100kJ": "kJ", "energy": "kJ"}
FATTY_ACIDS = ("FASAT", "FAMS", "FAPU")
TRANS = "FATRN"
# Two numbers this close differ by rounding in the computer only.
ROUNDING = 1e-9
# A coverage this close to 1 is the whole: shares of mass add up with rounding.
WHOLE_WITHIN = 1e-9
# Reasons to check a figure that its interval does not cover: such a figure keeps no limit for certain.
NOT_IN_THE_INTERVAL = ("low confidence", "the audit doubts it", "portions read from a vague text")
# Fibre that no table covers was counted as carbohydrate: 17 kJ/g for 8 (Annex XIV of EU
# 1169/2011). So energy with a gap is the one figure that can also be too big, by that much.
ENERGY_IF_ALL_FIBRE = 8 / 17


class Figure(NamedTuple):
    """The part of a row of ``tables.Figures`` that a condition needs."""

    value: float
    low: float
    high: float
    coverage: float
    status: str
    reason: str


@dataclass(frozen=True)
class Quantity:
    """A number with its interval, in ``unit``. ``missing`` says why there is none."""

    component: str
    basis: str
    unit: str
    value: float = math.nan
    low: float = math.nan
    high: float = math.nan
    floor: float = math.nan
    ceiling: float = math.nan
    missing: str = ""
    notes: tuple[str, ...] = ()
    doubted: bool = False
    to_check: bool = False


@dataclass(frozen=True)
class Condition:
    """``component`` (a tagname, or tagnames joined by "+") against a limit."""

    component: str
    basis: str
    comparator: str
    limit: float
    unit: str
    source_id: str
    any_of: str = ""


@dataclass(frozen=True)
class Outcome:
    """What one condition came to; ``margin`` as in ``tables.Verdicts``."""

    condition: Condition
    quantity: Quantity
    verdict: str
    margin: float


Index = dict[tuple[str, str, str, str, str], Figure]


def index_figures(figures: pd.DataFrame) -> Index:
    """Figures by (recipe_id, variant_id, basis, component, unit)."""
    # Lists of plain values: a column of text gives its cells one by one at ten times the price.
    keys = zip(*(figures[name].to_numpy(dtype=object) for name in ("recipe_id", "variant_id", "basis", "component", "unit")))
    numbers = (figures[name].astype("float64").tolist() for name in ("value", "low", "high", "coverage"))
    rows = zip(*numbers, *(figures[name].to_numpy(dtype=object) for name in ("status", "reason")))
    return {key: Figure(*row) for key, row in zip(keys, rows)}


def quantity(index: Index, recipe_id: str, variant_id: str, condition: Condition, energy_kj_per_g: dict[str, float]) -> Quantity:
    """The quantity that ``condition`` speaks of, for one variant.

    ``energy_kj_per_g`` by component (EU 1169/2011 Annex XIV) serves shares of energy.
    """
    if condition.basis in ("100g", "portion", INGREDIENTS):
        return _amount(index, recipe_id, variant_id, condition.component, condition.basis, condition.unit)
    if condition.basis == "fatty-acids":
        return _share_of_fatty_acids(index, recipe_id, variant_id, condition)
    unit = "g" if condition.basis == "energy" else condition.unit
    amount = _amount(index, recipe_id, variant_id, condition.component, "100g", unit)
    energy = _amount(index, recipe_id, variant_id, "ENERC", "100g", ENERGY_BASES[condition.basis])
    factor = 100.0
    if condition.basis == "energy":
        first = condition.component.split("+")[0]
        factor *= energy_kj_per_g["FAT" if first in (*FATTY_ACIDS, TRANS) else first]
    return _ratio(amount, energy, factor, condition)


def _amount(index: Index, recipe_id: str, variant_id: str, expression: str, basis: str, unit: str) -> Quantity:
    terms = expression.split("+")
    trans_unknown = TRANS in terms and (recipe_id, variant_id, basis, TRANS, unit) not in index
    parts = [_figure(index, recipe_id, variant_id, term, basis, unit) for term in terms
             if not (term == TRANS and trans_unknown)]
    total = _sum(parts, expression, basis, unit)
    if not trans_unknown or total.missing:
        return total
    # No table gives trans fatty acids: they are part of the fat, so fat bounds the sum.
    fat = _figure(index, recipe_id, variant_id, "FAT", basis, unit)
    if fat.missing:
        return replace(total, missing=f"trans fatty acids are unknown and cannot be bounded: {fat.missing}")
    note = "trans fatty acids are in no table used here: between none and all the fat that is not saturated"
    return replace(total, high=max(total.high, fat.high), ceiling=max(total.ceiling, fat.ceiling),
                   notes=(*total.notes, note))


def _figure(index: Index, recipe_id: str, variant_id: str, component: str, basis: str, unit: str) -> Quantity:
    found = index.get((recipe_id, variant_id, basis, component, unit))
    named = Quantity(component, basis, unit)
    if found is None and basis == INGREDIENTS:
        return replace(named, missing=f"needs to know what each ingredient holds ({component}), which figures alone do not show")
    if found is None:
        return replace(named, missing=f"there is no figure for {component} in {unit} {BASIS_WORDS[basis]}")
    if found.status == "withheld" or math.isnan(found.value):
        return replace(named, missing=f"{component} is withheld: {found.reason or 'no reason given'}")
    if math.isnan(found.low) or math.isnan(found.high):
        return replace(named, missing=f"{component} has no interval")
    floor, ceiling, notes = found.low, found.high, []
    if found.coverage < 1 - WHOLE_WITHIN:
        ceiling = math.inf
        floor = found.low * ENERGY_IF_ALL_FIBRE if component == "ENERC" else found.low
        doubt = "so the true figure can be higher" if component != "ENERC" else "so the true figure can differ either way"
        notes.append(f"{component} is known for {share_in_words(found.coverage)} of the whole only, {doubt}")
    if found.status == "check":
        notes.append(f"{component} is still to be checked: {found.reason}")
    return replace(named, value=found.value, low=found.low, high=found.high, floor=floor, ceiling=ceiling, notes=tuple(notes),
                   doubted=is_doubted(found), to_check=found.status == "check")


def is_doubted(figure: Figure) -> bool:
    """Whether somebody doubts the figure for a reason that its interval does not cover."""
    return figure.status == "check" and any(reason in figure.reason for reason in NOT_IN_THE_INTERVAL)


def _sum(parts: list[Quantity], expression: str, basis: str, unit: str) -> Quantity:
    missing = "; ".join(dict.fromkeys(part.missing for part in parts if part.missing))
    if missing:
        return Quantity(expression, basis, unit, missing=missing)
    ends = {name: sum(getattr(part, name) for part in parts) for name in ("value", "low", "high", "floor", "ceiling")}
    return Quantity(expression, basis, unit, **ends, notes=tuple(note for part in parts for note in part.notes),
                    doubted=any(part.doubted for part in parts), to_check=any(part.to_check for part in parts))


def _ratio(amount: Quantity, energy: Quantity, factor: float, condition: Condition) -> Quantity:
    named = Quantity(condition.component, condition.basis, condition.unit)
    missing = "; ".join(part.missing for part in (amount, energy) if part.missing)
    if missing:
        return replace(named, missing=missing)
    if energy.value <= 0:
        return replace(named, missing="the dish gives no energy to take a share of")
    return replace(
        named, value=factor * amount.value / energy.value,
        low=_over(factor * amount.low, energy.high), high=_over(factor * amount.high, energy.low),
        floor=_over(factor * amount.floor, energy.ceiling), ceiling=_over(factor * amount.ceiling, energy.floor),
        notes=(*amount.notes, *energy.notes), doubted=amount.doubted or energy.doubted,
        to_check=amount.to_check or energy.to_check,
    )


def _over(above: float, below: float) -> float:
    if below == 0:
        return math.inf
    return 0.0 if math.isinf(below) else above / below


def _share_of_fatty_acids(index: Index, recipe_id: str, variant_id: str, condition: Condition) -> Quantity:
    """Percent of the fatty acids. What else is among them (trans, minor acids) is unknown,
    but all of them are fat: the low end divides by the whole fat, the high end by the three
    classes that the tables give."""
    terms = condition.component.split("+")
    part = _amount(index, recipe_id, variant_id, condition.component, "100g", "g")
    rest = _amount(index, recipe_id, variant_id, "+".join(f for f in FATTY_ACIDS if f not in terms), "100g", "g")
    fat = _amount(index, recipe_id, variant_id, "FAT", "100g", "g")
    named = Quantity(condition.component, condition.basis, condition.unit)
    missing = "; ".join(dict.fromkeys(one.missing for one in (part, rest, fat) if one.missing))
    if missing:
        return replace(named, missing=missing)
    if part.value + rest.value <= 0:
        return replace(named, missing="the dish has no fat to take a share of")
    value = 100 * part.value / (part.value + rest.value)
    return replace(
        named, value=value,
        low=min(value, _over(100 * part.low, fat.high)), high=_share(part.high, rest.low),
        floor=min(100.0, _over(100 * part.floor, fat.ceiling)), ceiling=_share(part.ceiling, rest.floor),
        notes=(*part.notes, *rest.notes, *fat.notes), doubted=part.doubted or rest.doubted or fat.doubted,
        to_check=part.to_check or rest.to_check or fat.to_check,
    )


def _share(part: float, rest: float) -> float:
    return 100.0 if math.isinf(part) or part + rest == 0 else 100 * part / (part + rest)


def judge_condition(condition: Condition, found: Quantity) -> Outcome:
    """``holds`` when all that is possible lies within the limit, ``fails`` when none of it does.

    A figure that somebody doubts for a reason outside its interval never ``holds``. A wide interval is no such reason: it is judged
    as it is, so that a dish with more sodium, whose figure may be surer, never gets a better verdict for it.

    ``margin`` = headroom from the near end of the interval to the limit over the limit;
    null where that end is unknown.
    """
    if found.missing:
        return Outcome(condition, found, NOT_ASSESSABLE, math.nan)
    upper = condition.comparator in UPPER
    near, far = (found.ceiling, found.floor) if upper else (found.floor, found.ceiling)
    margin = (condition.limit - near if upper else near - condition.limit) / condition.limit
    if satisfies(near, condition.comparator, condition.limit):
        verdict = UNCERTAIN if found.doubted else HOLDS
    elif not satisfies(far, condition.comparator, condition.limit):
        verdict = FAILS
    else:
        verdict = UNCERTAIN
    return Outcome(condition, found, verdict, margin if math.isfinite(margin) else math.nan)


def satisfies(number: float, comparator: str, limit: float) -> bool:
    """Whether ``number comparator limit``, equal up to rounding in the computer."""
    equal = math.isclose(number, limit, rel_tol=ROUNDING)
    if comparator in ("<=", ">="):
        return equal or (number < limit if comparator == "<=" else number > limit)
    return not equal and (number < limit if comparator == "<" else number > limit)


def all_of(outcomes: list[Outcome]) -> Outcome:
    """Conditions that must all hold; the one returned decides. A condition whose ``any_of``
    letter others share needs only one of them to hold."""
    chosen = [_one_of(group) for group in needed(outcomes)]
    for verdict in (FAILS, NOT_ASSESSABLE, UNCERTAIN, HOLDS):
        alike = [outcome for outcome in chosen if outcome.verdict == verdict]
        if alike:
            return min(alike, key=_tightness)
    raise ValueError("no conditions to judge")


def standing(outcomes: list[Outcome], decides: Outcome) -> str:
    """The worst status of the figures that a verdict rests on: of every condition that had to hold where the claim holds, else
    of the one that decides."""
    rests_on = [_one_of(group) for group in needed(outcomes)] if decides.verdict == HOLDS else [decides]
    if any(outcome.quantity.missing for outcome in rests_on):
        return "withheld"
    return "check" if any(outcome.quantity.to_check for outcome in rests_on) else "ready"


def needed(outcomes: list[Outcome]) -> list[list[Outcome]]:
    """Groups of outcomes of which one must hold each: those without a letter alone, those that share one together."""
    letters = dict.fromkeys(outcome.condition.any_of for outcome in outcomes if outcome.condition.any_of)
    alone = [[outcome] for outcome in outcomes if not outcome.condition.any_of]
    return alone + [[outcome for outcome in outcomes if outcome.condition.any_of == letter] for letter in letters]


def _one_of(outcomes: list[Outcome]) -> Outcome:
    for verdict in (HOLDS, UNCERTAIN, NOT_ASSESSABLE, FAILS):
        alike = [outcome for outcome in outcomes if outcome.verdict == verdict]
        if alike:
            return max(alike, key=_tightness)
    raise ValueError("no conditions to judge")


def _tightness(outcome: Outcome) -> float:
    return -math.inf if math.isnan(outcome.margin) else outcome.margin


def explain(outcome: Outcome) -> str:
    """One sentence a dietitian can read: the number, its interval, the limit, the doubts."""
    condition, found = outcome.condition, outcome.quantity
    limit = f"{COMPARATORS[condition.comparator]} {plain(condition.limit)} {condition.unit} {BASIS_WORDS[condition.basis]}"
    if found.missing:
        return f"{found.missing} (limit: {limit})"
    judged = {HOLDS: "the whole interval keeps", FAILS: "the whole interval breaks",
              UNCERTAIN: "it cannot be told whether this keeps"}[outcome.verdict]
    if outcome.verdict == UNCERTAIN and outcome.margin > 0:
        judged = "the figure is doubted, so that it cannot be told whether this keeps"
    high = "any amount" if math.isinf(found.high) else plain(found.high)
    shown = f"{found.component} {plain(found.value)} {found.unit} (90 % interval {plain(found.low)} to {high})"
    return "; ".join(dict.fromkeys((f"{shown}: {judged} the limit, {limit}", *found.notes)))


def plain(number: float) -> str:
    """A number to four significant digits, never in powers of ten."""
    if number == 0 or not math.isfinite(number):
        return "0" if number == 0 else "unknown"
    decimals = max(0, 3 - math.floor(math.log10(abs(number))))
    text = f"{number:.{decimals}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def share_in_words(fraction: float) -> str:
    """A fraction in per cent, to one decimal place."""
    # Never rounded up to the whole: 99.96 % is not all of it.
    return f"{plain(math.floor(fraction * 1000) / 10)} %"
