"""Second judgement of every claim and limit, on the recomputed figures.

A claim holds when all that is possible lies within its limits, fails when none of it
does. What is possible is the 90 % interval, widened where a table does not cover the
whole dish: what is missing can only add, so the upper end is then open.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from pipeline import verify_ingredients
from pipeline.verify_figures import Figure, Figures
from pipeline.verify_files import Rows, number, path_of, place, policy_of
from pipeline.verify_limits import Condition, conditions_of
from pipeline.verify_report import Ledger
from pipeline.verify_sources import Project

FATTY_ACIDS = ("FASAT", "FAMS", "FAPU")
TRANS = "FATRN"
# Regulation (EU) No 1169/2011, Annex XIV: fibre gives 8 kJ/g where carbohydrate gives 17. Fibre that no
# table covers was counted as carbohydrate, so energy with a gap can be too big by that much.
IF_ALL_FIBRE = 8 / 17
WHOLE = 1 - 1e-9
EQUAL = 1e-9
SURE = 0.95
# 95th percentile of the standard normal distribution.
Z95 = 1.6448536269514722
ORDER_ALL, ORDER_ANY = ("fails", "not-assessable", "uncertain", "holds"), ("holds", "uncertain", "not-assessable", "fails")


class Quantity(NamedTuple):
    """A number with its interval, and how low and how high it can be; ``known`` is False when it cannot be told."""

    value: float = math.nan
    low: float = math.nan
    high: float = math.nan
    floor: float = math.nan
    ceiling: float = math.nan
    known: bool = False
    doubted: bool = False
    to_check: bool = False


class Outcome(NamedTuple):
    """One condition with its quantity, verdict and margin."""

    condition: Condition
    quantity: Quantity
    verdict: str
    margin: float


def compare(figures: Figures, tables: dict[str, Rows], project: Project, manifest: dict, ledger: Ledger) -> None:
    """Judges every variant again and compares verdicts.csv."""
    claims = conditions_of(tables, project, policy_of(manifest))
    figures = figures | verify_ingredients.counted(tables, project, manifest)
    written = tables["verdicts"]
    ledger.keys("verdicts", path_of("verdicts"), written, [" ".join(key) for key in claims], "reference/claims.csv and the policy")
    energy = {row_id: number(row["kj_per_g"]) for row_id, row in project.reference("energy_factors").items()}
    for (recipe_id, variant_id, audience, claim), (kind, conditions, source_id) in claims.items():
        ledger.counts["verdicts"] += 1
        row = written.get(f"{recipe_id} {variant_id} {audience} {claim}")
        if row is None:
            continue
        where = place("verdicts", "verdicts", f"{recipe_id} {variant_id} {audience} {claim}")
        ledger.same(where, "kind", row["kind"], kind, "claim and policy")
        if row["reason"] == "":
            ledger.differs(*where, "reason", "", "a reason")
        outcomes = [_judged(one, _quantity(figures, recipe_id, variant_id, one, energy)) for one in conditions]
        _compare_row(where, row, outcomes, source_id, ledger)


def judged(figures: Figures, variant: tuple[str, str], conditions: list[Condition]) -> tuple[Outcome | None, float]:
    """The outcome that decides a local limit of a variant and the probability that it is kept; None where it has no conditions."""
    outcomes = [_judged(one, _amount(figures, variant, one.component, one.basis, one.unit)) for one in conditions]
    if not outcomes:
        return None, math.nan
    decides = _all_of(outcomes)
    return decides, _probability(outcomes, decides.verdict)


def _compare_row(where, row: dict, outcomes: list[Outcome], source_id: str, ledger: Ledger) -> None:
    outcome = _all_of(outcomes) if outcomes else None
    condition, found = (outcome.condition, outcome.quantity) if outcome else (None, Quantity())
    origin = path_of("figures")
    texts = {"verdict": outcome.verdict if outcome else "not-assessable", "component": condition.component if condition else "",
             "unit": condition.unit if condition else "", "basis": condition.basis if condition else "",
             "comparator": condition.comparator if condition else "", "status": _status(outcomes, outcome) if outcome else "",
             "source_id": condition.source_id if condition else source_id}
    for column, expected in texts.items():
        ledger.same(where, column, row[column], expected, origin if column == "verdict" else "claim and policy")
    numbers = {"value": found.value, "low": found.low, "high": math.nan if math.isinf(found.high) else found.high,
               "limit": condition.limit if condition else math.nan, "margin": outcome.margin if outcome else math.nan,
               "probability": _probability(outcomes, outcome.verdict) if outcome else math.nan}
    for column, expected in numbers.items():
        rests_on = "claim and policy" if column == "limit" else origin
        ledger.number(where, column, row[column], expected, rests_on, scale=1.0 if column in ("margin", "probability") else 0.0)


# ---------------------------------------------------------------- quantities

def _quantity(figures: Figures, recipe_id: str, variant_id: str, condition: Condition, energy_kj_per_g: dict[str, float]) -> Quantity:
    def amount(expression: str, basis: str, unit: str) -> Quantity:
        return _amount(figures, (recipe_id, variant_id), expression, basis, unit)

    if condition.basis in ("100g", "portion", verify_ingredients.INGREDIENTS):
        return amount(condition.component, condition.basis, condition.unit)
    terms = condition.component.split("+")
    if condition.basis == "fatty-acids":
        rest = "+".join(name for name in FATTY_ACIDS if name not in terms)
        return _of_fatty_acids(amount(condition.component, "100g", "g"), amount(rest, "100g", "g"), amount("FAT", "100g", "g"))
    if condition.basis == "energy":  # per cent of the energy
        fat = terms[0] in (*FATTY_ACIDS, TRANS)
        factor = 100 * energy_kj_per_g["FAT" if fat else terms[0]]
        return _ratio(amount(condition.component, "100g", "g"), amount("ENERC", "100g", "kJ"), factor)
    unit = {"100kcal": "kcal", "100kJ": "kJ"}[condition.basis]
    return _ratio(amount(condition.component, "100g", condition.unit), amount("ENERC", "100g", unit), 100.0)


def _amount(figures: Figures, variant: tuple[str, str], expression: str, basis: str, unit: str) -> Quantity:
    terms = expression.split("+")
    without_trans = TRANS in terms and (*variant, TRANS, unit, basis) not in figures
    parts = [quantity_of(figures.get((*variant, name, unit, basis)), name) for name in terms if not (without_trans and name == TRANS)]
    if not all(part.known for part in parts):
        return Quantity()
    total = Quantity(*(math.fsum(ends) if all(map(math.isfinite, ends)) else math.inf
                       for ends in zip(*(part[:5] for part in parts), strict=True)), known=True, doubted=any(part.doubted for part in parts),
                     to_check=any(part.to_check for part in parts))
    if not without_trans:
        return total
    # trans fatty acids are part of the fat, which bounds the sum
    fat = quantity_of(figures.get((*variant, "FAT", unit, basis)), "FAT")
    if not fat.known:
        return total._replace(known=False)
    return total._replace(high=max(total.high, fat.high), ceiling=max(total.ceiling, fat.ceiling))


def quantity_of(figure: Figure | None, component: str) -> Quantity:
    """A figure with what is possible beyond its interval."""
    if figure is None or figure.status == "withheld":
        return Quantity()
    floor, ceiling = figure.low, figure.high
    if figure.coverage < WHOLE:
        ceiling = math.inf
        floor *= IF_ALL_FIBRE if component == "ENERC" else 1.0
    return Quantity(figure.value, figure.low, figure.high, floor, ceiling, True, figure.doubted, figure.status == "check")


def _over(above: float, below: float) -> float:
    if below == 0:
        return math.inf
    return 0.0 if math.isinf(below) else above / below


def _ratio(amount: Quantity, energy: Quantity, factor: float) -> Quantity:
    """The widest interval that the two allow: low over high, high over low."""
    if not (amount.known and energy.known) or energy.value <= 0:
        return Quantity()
    return Quantity(factor * amount.value / energy.value, _over(factor * amount.low, energy.high), _over(factor * amount.high, energy.low),
                    _over(factor * amount.floor, energy.ceiling), _over(factor * amount.ceiling, energy.floor), True,
                    amount.doubted or energy.doubted, amount.to_check or energy.to_check)


def _of_fatty_acids(part: Quantity, rest: Quantity, fat: Quantity) -> Quantity:
    """Per cent of the fatty acids: of all the fat at the low end, of the three classes at the high end."""
    if not (part.known and rest.known and fat.known) or part.value + rest.value <= 0:
        return Quantity()

    def most(upper: float, others: float) -> float:
        return 100.0 if math.isinf(upper) or upper + others == 0 else 100 * upper / (upper + others)

    value = 100 * part.value / (part.value + rest.value)
    return Quantity(value, min(value, _over(100 * part.low, fat.high)), most(part.high, rest.low),
                    min(100.0, _over(100 * part.floor, fat.ceiling)), most(part.ceiling, rest.floor), True,
                    part.doubted or rest.doubted or fat.doubted, part.to_check or rest.to_check or fat.to_check)


# ---------------------------------------------------------------- judgement

def _judged(condition: Condition, found: Quantity) -> Outcome:
    if not found.known:
        return Outcome(condition, found, "not-assessable", math.nan)
    at_most = condition.comparator.startswith("<")
    near, far = (found.ceiling, found.floor) if at_most else (found.floor, found.ceiling)
    margin = (condition.limit - near if at_most else near - condition.limit) / condition.limit
    kept = "uncertain" if found.doubted else "holds"
    verdict = kept if _within(near, condition) else "uncertain" if _within(far, condition) else "fails"
    return Outcome(condition, found, verdict, margin if math.isfinite(margin) else math.nan)


def _within(end: float, condition: Condition) -> bool:
    if math.isclose(end, condition.limit, rel_tol=EQUAL):
        return condition.comparator in ("<=", ">=")
    return end < condition.limit if condition.comparator.startswith("<") else end > condition.limit


def _status(outcomes: list[Outcome], decides: Outcome) -> str:
    """The worst status of the figures behind a verdict: all that had to hold, or the one that decides."""
    behind = [one.quantity for one in (_needed(outcomes) if decides.verdict == "holds" else [decides])]
    return "withheld" if not all(one.known for one in behind) else "check" if any(one.to_check for one in behind) else "ready"


def _needed(outcomes: list[Outcome]) -> list[Outcome]:
    """Of conditions that share a letter the one that is nearest to holding, and all others."""
    needed = []
    for same in _alternatives(outcomes):
        best = min(ORDER_ANY.index(one.verdict) for one in same)
        needed.append(max((one for one in same if ORDER_ANY.index(one.verdict) == best), key=_headroom))
    return needed


def _all_of(outcomes: list[Outcome]) -> Outcome:
    """Every condition must hold, of those that share a letter one; the one that decides."""
    needed = _needed(outcomes)
    worst = min(ORDER_ALL.index(one.verdict) for one in needed)
    return min((one for one in needed if ORDER_ALL.index(one.verdict) == worst), key=_headroom)


def _alternatives(outcomes: list[Outcome]) -> list[list[Outcome]]:
    groups: dict[object, list[Outcome]] = {}
    for place_no, one in enumerate(outcomes):
        groups.setdefault(one.condition.any_of or place_no, []).append(one)
    return list(groups.values())


def _headroom(outcome: Outcome) -> float:
    return -math.inf if math.isnan(outcome.margin) else outcome.margin


# ---------------------------------------------------------------- probability

def _probability(outcomes: list[Outcome], verdict: str) -> float:
    """The least probability that the conditions allow together, at most 0.95: what a 90 % interval leaves beyond
    its ends is not claimed. Of alternatives the most probable one counts (pipeline/stages/judge_probability.py says why)."""
    if verdict == "not-assessable":
        return math.nan
    each = []
    for group in _alternatives(outcomes):
        told = [chance for chance in (_chance(one) for one in group) if chance is not None]
        each.append(max(told) if told else None)
    if None in each:
        rest = [chance for chance in each if chance is not None]
        return min(rest) if verdict == "fails" and rest else math.nan
    lacking = math.fsum(1 - chance for chance in each)
    return max(0.0, min(SURE, 1 - lacking))


def _chance(outcome: Outcome) -> float | None:
    """Of one condition; None where it cannot be told."""
    found, verdict = outcome.quantity, outcome.verdict
    decided = {"holds": 1.0, "fails": 0.0}.get(verdict)
    if outcome.condition.basis == verify_ingredients.INGREDIENTS:
        return decided
    gap = math.isinf(found.ceiling)
    if verdict == "not-assessable" or found.doubted and verdict != "fails" or gap and verdict == "uncertain":
        return None
    low, high = found.floor, found.high if gap else found.ceiling
    if low == high and not gap:
        return decided
    if low == high:
        below = 1.0 if low <= outcome.condition.limit else 0.0
    elif low <= 0 or math.isinf(high):
        return None if decided is None else SURE if decided else 1 - SURE
    else:
        # 95 % of a lognormal lie below its upper end, 5 % below its lower one.
        middle, spread = math.log(low * high) / 2, math.log(high / low) / 2
        below = 0.5 * math.erfc(-Z95 * (math.log(outcome.condition.limit) - middle) / spread / math.sqrt(2))
    return below if outcome.condition.comparator.startswith("<") else 1 - below
