"""Yields and retention factors for a chain of cooking steps.

The chain is cut into the longest runs that ``retention_rules`` (or ``yields``) has a row
for: "boil > bake" before "boil" and "bake" apart, so that nothing is counted twice; the
factors of the runs are multiplied. Intervals of a product add in quadrature (JCGM 100).
Where the cooking liquid is kept, minerals take the ``mass-balance`` row.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import pandas as pd

from pipeline.remembered import remembered

Step = tuple[str, str]
MINERALS = ("CA", "FE", "MG", "P", "K", "NA", "ZN")
MASS_BALANCE, ASSUMED = "mass-balance", "assumed"
EVAPORATION = "evaporation-"
REPEATED_BOILING, SMALL_PIECES = "leach-double-boil", "leach-small-"
# Small pieces lose more to water from here on, as each of two boilings must last (common practice, no source).
LEACHED_FROM_MINUTES = 8
# How long a step takes that gives no time (common practice); pulses and the rest.
UNSAID_MINUTES = {"legumes-dried": 60.0, "alcohol": 15.0}
UNSAID_MINUTES_ELSE = 20.0
# Dry foods that take up a liquid of the same pot; that liquid's own line brings the water.
TAKES_UP_LIQUID = ("pasta", "noodles", "rice", "grains", "legumes-dried")
NO_YIELD = (1.0, 0.6, 1.4)
# Classes that lose fat and juices beside water.
DRIPS = ("bacon-ham", "beef", "chicken", "duck", "lamb", "lean-fish", "liver", "oily-fish", "pork", "sausage", "shellfish", "turkey")
# Fat drips off fatty meat: from so much fat in 100 g of the raw food, the code that says what stays. Lean meat keeps its fat, and so does
# fish: see reference/build/measured_pairs.py. Bacon fried crisp loses more.
MEAT = ("bacon-ham", "beef", "chicken", "duck", "lamb", "pork", "sausage", "turkey")
FAT_DRIPS = ((18.0, "fat-drips-from-18"), (10.0, "fat-drips-from-10"))
BACON_FAT = "fat-drips-bacon"
IN_A_PAN = ("fry", "stir-fry", "grill")
DRY_OR_POURED = ("bake", "grill", "fry", "stir-fry", "microwave")
AT_LEAST = "|at-least:"
PART_CODES = ("poured-away", "salt-in-poured-water", "deep-fat-uptake")


class Factor(NamedTuple):
    """A factor with its 90 % interval and the ids of the rows behind it."""

    row_id: str
    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Rule:
    """One row of retention_rules or yields, ready to be compared with a run of steps."""

    cooking_class: str
    methods: tuple[str, ...]
    liquid: str
    minutes_from: float
    minutes_to: float
    target: str


class Rules:
    """The rows of one table by their methods; the most specific row wins."""

    def __init__(self, rows: list[Rule]):
        self.by_methods: dict[tuple[str, ...], list[Rule]] = {}
        for rule in rows:
            self.by_methods.setdefault(rule.methods, []).append(rule)

    def find(self, run: tuple[Step, ...], cooking_class: str, minutes: float) -> Rule | None:
        """The row for a run of steps, or None. A known class beats ``any``, a known liquid ``any``."""
        methods = tuple(method for method, _ in run)
        wet = [liquid for method, liquid in run if liquid and method != "bake"] or [liquid for _, liquid in run if liquid]
        rows = self.by_methods.get(methods, []) + (self.by_methods.get(("any",), []) if len(run) == 1 else [])
        fitting = [rule for rule in rows if rule.cooking_class in (cooking_class, "any") and _liquid_fits(rule.liquid, wet)
                   and rule.minutes_from <= minutes < rule.minutes_to]
        return min(fitting, key=lambda rule: (rule.cooking_class == "any", rule.liquid == "any", rule.methods == ("any",), rule.target),
                   default=None)

    def runs(self, steps: tuple[Step, ...], times: tuple[float, ...], cooking_class: str,
             small: bool = True) -> list[tuple[tuple[Step, ...], float, Rule | None]]:
        """The steps cut into the longest runs that have a row, each with its minutes and its row."""
        found, at = [], 0
        while at < len(steps):
            for end in range(len(steps), at, -1):
                minutes = minutes_or_usual(times[at:end], cooking_class)
                rule = self.find(steps[at:end], cooking_class, minutes)
                if rule is not None and not _leaches(rule, steps[at:end], times[at:end], small):
                    rule = None
                if rule is not None or end == at + 1:
                    found.append((steps[at:end], minutes, rule))
                    at = end
                    break
        return found


def _leaches(rule: Rule, run: tuple[Step, ...], times: tuple[float, ...], small: bool) -> bool:
    """Whether a row of repeated boiling applies: food in small pieces, each boiling as long as the row says; any other row does."""
    if not rule.target.startswith(REPEATED_BOILING):
        return True
    boilings = [minutes_or_usual((time,), rule.cooking_class) for (method, _), time in zip(run, times, strict=True) if method == "boil"]
    return small and min(boilings) >= rule.minutes_from


def _liquid_fits(liquid: str, wet: list[str]) -> bool:
    """One row for several waters holds only where all of them met the same end."""
    return liquid == "any" or set(wet or [""]) == {liquid}


@remembered(most=2)
def retention_rules(rules: pd.DataFrame) -> Rules:
    """``reference/retention_rules.csv`` for look-up; ``minutes_to`` is not included."""
    low, high = pd.to_numeric(rules["minutes_from"]).fillna(0.0), pd.to_numeric(rules["minutes_to"]).fillna(math.inf)
    return Rules([Rule(row.cooking_class, tuple(row.method.split(" > ")), row.liquid, low[row.Index], high[row.Index], row.retention_code)
                  for row in rules.itertuples()])


@remembered(most=2)
def yield_rules(yields: pd.DataFrame) -> Rules:
    """``reference/yields.csv`` for look-up."""
    return Rules([Rule(row.cooking_class, tuple(row.method.split(" > ")), row.liquid, 0.0, math.inf, row.yield_id)
                  for row in yields.itertuples()])


@remembered(most=2)
def yield_factors(yields: pd.DataFrame) -> dict[str, Factor]:
    """The factors of ``reference/yields.csv`` by id."""
    numbers = yields[["yield_fraction", "low", "high"]].astype("float64")
    return {key: Factor(key, *numbers.loc[row]) for row, key in yields["yield_id"].items()}


@remembered(most=2)
def retention_factors(retention: pd.DataFrame) -> dict[str, dict[str, Factor]]:
    """The factors of ``reference/retention.csv``: code -> component -> factor."""
    found: dict[str, dict[str, Factor]] = {}
    for row in retention.itertuples():
        found.setdefault(row.retention_code, {})[row.component] = Factor(
            row.retention_code, float(row.retention_fraction), float(row.low), float(row.high))
    return found


def product(factors: list[Factor]) -> Factor:
    """The product of factors; relative half-widths add in quadrature; ids joined by "+"."""
    if len(factors) == 1:
        return factors[0]
    value = math.prod(factor.value for factor in factors)
    row_id = "+".join(factor.row_id for factor in factors)
    if value == 0:
        return Factor(row_id, 0.0, 0.0, 0.0)
    below = math.sqrt(sum((1 - factor.low / factor.value) ** 2 for factor in factors))
    above = math.sqrt(sum((factor.high / factor.value - 1) ** 2 for factor in factors))
    return Factor(row_id, round(value, 6), round(max(0.0, value * (1 - below)), 6), round(value * (1 + above), 6))


def is_raw(steps: tuple[Step, ...]) -> bool:
    """Whether nothing was cooked."""
    return all(method == "raw" for method, _ in steps)


def minutes_or_usual(times: tuple[float, ...], cooking_class: str) -> float:
    """The minutes of a run as written, or how long such a step usually takes."""
    known = [time for time in times if not math.isnan(time)]
    return sum(known) if known else UNSAID_MINUTES.get(cooking_class, UNSAID_MINUTES_ELSE)


def _padded(steps, times) -> tuple[float, ...]:
    return times if len(times) == len(steps) else (math.nan,) * len(steps)


def _one_simmer(steps, times) -> tuple[tuple[Step, ...], tuple[float, ...]]:
    """Alcohol goes by the whole time it is hot: release 6 counts from stirring in, so the steps are one."""
    hot = [(step, time) for step, time in zip(steps, times, strict=True) if step[0] in ("boil", "simmer", "bake")]
    if len(hot) < 2:
        return steps, times
    return (hot[-1][0],), (minutes_or_usual(tuple(time for _, time in hot), "alcohol"),)


def yield_of(steps, times, cooking_class: str, with_liquid_line: bool, rules: Rules, factors: dict[str, Factor]) -> tuple[Factor, str]:
    """Cooked over raw edible mass of a chain, and a reason ("" when there is nothing to say).

    ``absorbed``: a dry food in a pot with a liquid line has yield 1, because that line
    brings the water it takes up. ``no-yield``: no row; 1 with a wide interval.
    """
    if is_raw(steps):
        return Factor("", 1.0, 1.0, 1.0), ""
    taken = []
    reason = ""
    for run, minutes, rule in rules.runs(steps, _padded(steps, times), cooking_class):
        if rule is None:
            taken.append(Factor("no-yield", *NO_YIELD))
            reason = "no-yield"
            continue
        kept = all(liquid == "kept" for _, liquid in run)
        if kept and with_liquid_line and cooking_class in TAKES_UP_LIQUID:
            rule = rules.find(run, "any", 0.0) or rule
            reason = reason or "absorbed"
        factor = factors[rule.target]
        if rule.target.startswith(EVAPORATION):
            factor = _evaporated(factor, minutes)
        taken.append(factor)
    return product(taken), reason


def keeping_solids(amount: Factor, water_per_100g: float, fat_per_100g: float, cooking_class: str, codes: str) -> Factor:
    """The yield, but never below the dry matter of the food: what it loses is water, and it has no more than that.

    A yield is measured on fresh food; dry food of the same class (breadcrumbs, dehydrated onions) cannot follow it, nor can
    meat that is cooked four times over. Meat and fish may lose fat too, so theirs is the dry matter without fat; what is
    poured away or is frying fat keeps only a part. Oil, which has no water, takes none up either. An unknown water (or fat
    of meat) changes nothing.
    """
    if water_per_100g == 0 and amount.value > 1:
        return Factor("", 1.0, 1.0, 1.0)
    dry = 1 - (water_per_100g + (fat_per_100g if cooking_class in DRIPS else 0.0)) / 100
    if codes.split("+")[0] in PART_CODES or not amount.value < dry:
        return amount
    dry = round(dry, 6)
    return Factor(f"{amount.row_id}{AT_LEAST}{dry:g}", *(max(end, dry) for end in amount[1:]))


def dripping(codes: str, kept: dict[str, Factor], steps: tuple[Step, ...], cooking_class: str, fat_per_100g: float, fat_poured: bool,
             factors) -> tuple[str, dict[str, Factor]]:
    """The codes and factors with those of the fat that drips off meat or is poured off; a liquid that is eaten keeps it in the dish.

    ``fat_per_100g`` of the raw entry (g; NaN changes nothing); ``fat_poured``: the words say that the fat went.
    """
    leaves = fat_poured or all(liquid == "drained" or not liquid and method in DRY_OR_POURED for method, liquid in steps)
    code = next((code for least, code in FAT_DRIPS if fat_per_100g >= least), "")
    if cooking_class not in MEAT or not code or not leaves:
        return codes, kept
    if cooking_class == "bacon-ham" and any(method in IN_A_PAN for method, _ in steps):
        code = BACON_FAT
    found = {component: factor for component, factor in factors.get(code, {}).items() if component not in kept}
    return (f"{codes}+{code}" if codes else code, dict(sorted({**kept, **found}.items()))) if found else (codes, kept)


def keeping_juices(codes: str, kept: dict[str, Factor], cooking_class: str, factors) -> tuple[str, dict[str, Factor]]:
    """The codes and factors where the juices of meat or fish are eaten with it: no mineral has left the dish."""
    whole = factors.get(MASS_BALANCE, {})
    if cooking_class not in DRIPS or not codes or set(codes.split("+")) & set(PART_CODES):
        return codes, kept
    changed = {component: whole[component] for component in MINERALS if component in kept and component in whole}
    return codes, dict(sorted({**kept, **changed}.items()))


# What cooks for longer has its lid on, or water is added (common practice, no source).
EVAPORATES_UP_TO_MINUTES = 180.0


def _evaporated(hourly: Factor, minutes: float) -> Factor:
    minutes = min(minutes, EVAPORATES_UP_TO_MINUTES)
    hours = minutes / 60
    value, low, high = (round(part ** hours, 6) for part in hourly[1:])
    return Factor(f"{hourly.row_id}@{minutes:g}min", value, low, high)


def retention_of(steps, times, cooking_class: str, rules: Rules, factors, small: bool = False) -> tuple[str, dict[str, Factor], str]:
    """The codes of a chain ("+" between runs), the factor per component, and a reason.

    ``small``: the food is in small pieces; a code that has a row for these takes it, once the water has had time.

    A component without a factor is not in the result: it stays whole. ``no-retention``:
    a run has no rule, and takes the ``assumed`` row.
    """
    if is_raw(steps):
        return "", {}, ""
    codes, per_component, reason = [], {}, ""
    times = _padded(steps, times)
    if cooking_class == "alcohol":
        steps, times = _one_simmer(steps, times)
    for run, minutes, rule in rules.runs(steps, times, cooking_class, small):
        if all(method == "raw" for method, _ in run):
            continue
        code = rule.target if rule else ASSUMED
        leached = small and SMALL_PIECES + code in factors and minutes >= LEACHED_FROM_MINUTES
        code = SMALL_PIECES + code if leached else code
        reason = reason if rule else "no-retention"
        if code != MASS_BALANCE or code not in codes:
            codes.append(code)
        found = dict(factors.get(code, {}))
        liquids = {liquid for _, liquid in run if liquid}
        if liquids == {"kept"} and code not in PART_CODES:
            found.update({component: factors[MASS_BALANCE][component] for component in MINERALS if component in factors.get(MASS_BALANCE, {})})
        for component, factor in found.items():
            per_component.setdefault(component, []).append(factor)
    return "+".join(codes), {component: _capped(product(_distinct(parts))) for component, parts in sorted(per_component.items())}, reason


def _distinct(parts: list[Factor]) -> list[Factor]:
    """Conservation of mass holds once, however many steps kept their liquid."""
    others = [part for part in parts if part.row_id != MASS_BALANCE]
    return others or parts[:1]


def _capped(factor: Factor) -> Factor:
    return factor._replace(high=min(factor.high, max(1.0, factor.value)))
