"""How far today's figure may lie from the one in print: the European Commission's guidance of December 2012.

Recalled, not read. Its tolerances (``reference/tolerances.csv``) are per 100 g and chosen by the
declared value. Its rounding (``reference/rounding.csv``, rule eu-2012) is applied at the ends of a band:

1. a declared value stands for every value that rounds to it, written with one digit more: 30 g for 29.5 to 30.4 g,
   8.0 g for 7.95 to 8.04 g, "<0.5 g" (declared as 0) for 0 to 0.5 g;
2. the tolerance is taken from the lower end of these and added to the upper one;
3. both ends, and the figure that is compared with them, are rounded to the step of the declared value, halves up.

So 30 g protein per 100 g allows 24 g (29.5 - 20 % = 23.6) to 36 g (30.4 + 20 % = 36.48). The narrower
tolerances of the guidance beside a claim are not used: a claim is judged by its own verdict.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from typing import NamedTuple

import pandas as pd

from pipeline.policy import MASS_UNITS, in_mg
from pipeline.rounding import Rule, step_for

HALF, JUST_UNDER_HALF = Decimal("0.5"), Decimal("0.4")
# Components that the guidance does not round are rounded as they are printed; no figure is known to more digits.
DIGITS = 12


class Tolerance(NamedTuple):
    """One row of ``reference/tolerances.csv``: ``change`` below (negative) or above a declared value from ``from_value`` up to, and
    not with, ``to_value`` per 100 g; a part of it where ``relative``."""

    from_value: float
    to_value: float
    change: Decimal
    relative: bool
    source_id: str


# By component and unit.
Tolerances = dict[tuple[str, str], list[Tolerance]]


@dataclass(frozen=True)
class Band:
    """What the figure may be: ``low`` to ``high``, both of them allowed, in the unit in print and rounded to ``step``."""

    low: Decimal
    high: Decimal
    step: Decimal
    source_id: str

    def holds(self, value: float) -> bool:
        """Whether a figure, in the unit in print, is within the band once it is rounded as the band is."""
        return self.low <= _to_step(_exact(value), self.step) <= self.high


def tolerances_of(table: pd.DataFrame) -> Tolerances:
    """``reference/tolerances.csv`` as :func:`band` takes it."""
    found: Tolerances = {}
    for row in table.itertuples(index=False):
        relative = math.isnan(row.tolerance_absolute)
        found.setdefault((row.component, row.unit), []).append(Tolerance(
            0.0 if math.isnan(row.from_value) else row.from_value, math.inf if math.isnan(row.to_value) else row.to_value,
            _exact(row.tolerance_relative if relative else row.tolerance_absolute), relative, row.source_id))
    return found


def band(
    tolerances: Tolerances, rule: Rule, component: str, printed: float, unit: str, mass_g: float, figure_unit: str = "",
) -> Band | None:
    """The band of ``printed`` (in ``unit``, for ``mass_g`` of food); None where the guidance has no tolerance.

    ``figure_unit`` is the unit in which the tolerances are given, where print uses another.
    """
    figure_unit = figure_unit or unit
    factor = units_apart(component, unit, figure_unit)
    declared = float(_exact(100 * printed * factor / mass_g))
    rows = [row for row in tolerances.get((component, figure_unit), ()) if row.from_value <= declared < row.to_value]
    if not rows:
        return None
    lowest, highest, step = stands_for(component, printed, unit, rule)
    low, high = lowest, highest
    for row in rows:
        of = _exact(mass_g / 100 / factor) if not row.relative else lowest if row.change < 0 else highest
        change = row.change * of
        low, high = (lowest + change, high) if row.change < 0 else (low, highest + change)
    return Band(_to_step(max(Decimal(0), low), step), _to_step(high, step), step, rows[0].source_id)


def stands_for(component: str, printed: float, unit: str, rule: Rule) -> tuple[Decimal, Decimal, Decimal]:
    """The lowest and highest value that is printed as ``printed``, and the step in which it is: (low, high, step)."""
    exact = _exact(printed)
    step, up_to = step_for(component, printed, unit, rule)
    as_written = Decimal(1).scaleb(min(0, exact.normalize().as_tuple().exponent))
    if up_to is not None and exact == 0:
        return Decimal(0), up_to, step
    if not step or exact % step:  # more digits in print than the guidance asks for
        step = as_written
    return max(Decimal(0), exact - HALF * step), exact + JUST_UNDER_HALF * step, step


def units_apart(component: str, unit: str, other: str) -> float:
    """What a number in ``unit`` is multiplied with to be in ``other``: of mass, or mmol to mass."""
    if unit == other:
        return 1.0
    assert other in MASS_UNITS
    return in_mg(component, 1.0, unit) / in_mg(component, 1.0, other)


def _exact(number: float) -> Decimal:
    return Decimal(f"{float(number):.{DIGITS}g}")


def _to_step(value: Decimal, step: Decimal) -> Decimal:
    return (value / step).to_integral_value(ROUND_HALF_UP) * step
