"""Rounding for print: a figure as text, by a rule of ``reference/rounding.csv``.

The published rule is the European Commission's guidance of December 2012 on tolerances and
rounding (from memory); a unit may add its own. Halves are rounded up (away from zero), on the
shortest decimal that stands for the number, so that 0.15 is 0.15 and not the binary number just beneath it.

A rounded figure never turns a failing claim into a passing one. Where plain rounding would carry a
figure over the limit in the claim's favour, it is shown with one more digit, and one more again
where that does not suffice. The figure itself is left alone: the unrounded value stays in the release.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_UP, Decimal

import pandas as pd

from pipeline.problems import InputError, Problem

WHERE = "reference/rounding.csv"
GUIDANCE = "eu-2012"  # the rule of the published guidance
EDGES = ("at-least", "above")
# Binary arithmetic leaves 0.30000000000000004; no figure of a dish is known to fifteen places.
PLACES_THAT_MEAN_SOMETHING = 12
# After this many more digits the figure is rounded away from the limit instead.
MORE_DIGITS = 6

Passes = Callable[[Decimal, Decimal], bool]
COMPARATORS: dict[str, Passes] = {
    "<": lambda value, limit: value < limit, "<=": lambda value, limit: value <= limit,
    ">": lambda value, limit: value > limit, ">=": lambda value, limit: value >= limit,
}


@dataclass(frozen=True)
class Band:
    """Values ``at-least`` (or ``above``) ``from_value`` are rounded to ``step``, or to ``significant_figures``;
    a band with step 0 prints ``text_below`` and counts as 0."""

    from_value: Decimal
    edge: str
    step: Decimal | None
    significant_figures: int | None
    text_below: str

    def holds(self, value: Decimal) -> bool:
        """Whether ``value`` is in this band or a higher one."""
        return value > self.from_value or (value == self.from_value and self.edge == "at-least")

    def step_at(self, value: Decimal) -> Decimal:
        """The step to which ``value`` is rounded here."""
        if self.step is not None:
            return self.step
        return Decimal(1).scaleb(value.adjusted() - self.significant_figures + 1) if value else Decimal(1)


@dataclass(frozen=True)
class Rule:
    """One rule by name: its bands by component and unit, the lowest first."""

    name: str
    bands: dict[tuple[str, str], tuple[Band, ...]]


@dataclass(frozen=True)
class Printed:
    """A figure for print: ``text`` with its unit, ``value`` as a reader takes it (0 for "<0.5 g"), what it was
    ``rounded_with``, and in ``note`` what was done so that it does not cross a limit ("" where nothing was)."""

    text: str
    value: float
    rounded_with: str
    note: str = ""


def rounding_rule(rounding: pd.DataFrame, name: str) -> Rule:
    """The rule ``name`` of ``reference/rounding.csv`` as :func:`pipeline.sources.load` reads it.

    Raises :class:`InputError` for an unknown rule and for bands that do not begin at 0, name an
    unknown edge, repeat a start, or give no step and no significant figures (or both).
    """
    rows = rounding[rounding["rule"] == name]
    if rows.empty:
        known = ", ".join(sorted(set(rounding["rule"])))
        raise InputError(Problem(WHERE, f"has no rule {name!r}", f"Use one of: {known}", "unknown-rounding-rule"))
    problems = [_faulty_band(row) for row in rows.itertuples() if not _sound(row)]
    bands = {}
    for key, group in rows.groupby(["component", "unit"], sort=True):
        found = [_band(row) for row in group.itertuples()]
        bands[key] = tuple(sorted(found, key=lambda band: (band.from_value, EDGES.index(band.edge) if band.edge in EDGES else 0)))
        starts = {(band.from_value, band.edge) for band in found}
        if (Decimal(0), "at-least") not in starts or len(starts) < len(found):
            problems.append(Problem(f"{WHERE}: {name} {key[0]} in {key[1]}", "the bands do not begin at 0, or begin twice at one value",
                                    "Give one band from 0 (at-least), and each other start once", "wrong-rounding-band"))
    if problems:
        raise InputError(problems)
    return Rule(name, bands)


def step_for(component: str, value: float, unit: str, rule: Rule) -> tuple[Decimal | None, Decimal | None]:
    """(step in which ``rule`` prints a value, None); of a value that is printed as "<0.5 g" the step of the band
    above, and up to what it is printed so. (None, None) for a component that the rule does not have in this unit."""
    bands = rule.bands.get((component, unit))
    if bands is None:
        return None, None
    here = _band_of(_exact(value), bands)
    above = bands[bands.index(here) + 1:]
    if here.step != 0 or not above:
        return here.step_at(_exact(value)), None
    return above[0].step_at(above[0].from_value), above[0].from_value


def _sound(row) -> bool:
    one_of = pd.isna(row.step) != pd.isna(row.significant_figures)
    whole = pd.isna(row.significant_figures) or (row.significant_figures >= 1 and float(row.significant_figures).is_integer())
    says_what = row.step != 0 or row.text_below != ""
    positive = pd.isna(row.step) or row.step >= 0
    return bool(row.edge in EDGES and one_of and whole and says_what and positive and row.from_value >= 0)


def _faulty_band(row) -> Problem:
    return Problem(f"{WHERE}:{row.Index + 2}", "is no band of a rounding rule",
                   "Give an edge (at-least, above), from_value from 0, and either a step from 0 (0 with text_below) or significant figures",
                   "wrong-rounding-band")


def _band(row) -> Band:
    step = None if pd.isna(row.step) else _exact(row.step)
    figures = None if pd.isna(row.significant_figures) else int(row.significant_figures)
    return Band(_exact(row.from_value), row.edge, step, figures, row.text_below)


def _exact(number: float) -> Decimal:
    """The shortest decimal that stands for a number."""
    return Decimal(f"{float(number):.{PLACES_THAT_MEAN_SOMETHING}g}")


def printed(component: str, value: float, unit: str, rule: Rule, limit: float | None = None, comparator: str | None = None) -> Printed:
    """``value`` (in ``unit``, per whatever it is printed for) as text, by ``rule``.

    ``limit`` (in ``unit``) and ``comparator`` (``<``, ``<=``, ``>``, ``>=``; "passes when value comparator limit")
    are of the claim that the figure stands beside. Raises as :func:`printed_beside`, and :class:`InputError` for a limit
    without a comparator.
    """
    if (limit is None) != (comparator is None) or comparator not in (None, *COMPARATORS):
        raise InputError(Problem(f"limit {limit}, comparator {comparator!r}", "do not go together",
                                 f"Give both or neither; the comparators are {' '.join(COMPARATORS)}", "wrong-limit"))
    return printed_beside(component, value, unit, rule, [] if limit is None else [(comparator, limit)])


def printed_beside(component: str, value: float, unit: str, rule: Rule, limits: Iterable[tuple[str, float]]) -> Printed:
    """``value`` as text, by ``rule``, beside all of ``limits`` (comparator, limit in ``unit``) that it is judged against.

    Raises :class:`InputError` for a component that the rule does not have in this unit, and for a value that is unknown or
    negative.
    """
    bands = rule.bands.get((component, unit))
    if bands is None:
        raise InputError(Problem(f"{component} in {unit}", f"the rounding rule {rule.name!r} does not have it",
                                 f"Add a row to {WHERE}, or print it by another rule", "no-rounding-band"))
    if not 0 <= value < float("inf"):  # also False for NaN
        raise InputError(Problem(f"{component} {value} {unit}", "is no figure that can be printed",
                                 "A withheld figure is not printed; print only figures with status ready", "not-printable"))
    exact = _exact(value)
    failed = [(comparator, _exact(limit)) for comparator, limit in limits if not COMPARATORS[comparator](exact, _exact(limit))]
    plain, step = _rounded(exact, bands)
    crossed = _crossed(plain, failed)
    if crossed is None:
        return _written(plain, step, exact, bands, rule, unit, "")
    for finer in _finer(step or _lowest_step(bands)):
        shown = _to_step(exact, finer, ROUND_HALF_UP)
        if _crossed(shown, failed) is None:
            return _plainly(shown, finer, rule, unit, _said(crossed[1], unit, "shown with more digits"))
    away = ROUND_CEILING if crossed[0] in ("<", "<=") else ROUND_FLOOR
    return _plainly(_to_step(exact, finer, away), finer, rule, unit, _said(crossed[1], unit, "rounded away from the limit"))


def _crossed(shown: Decimal, failed: list[tuple[str, Decimal]]) -> tuple[str, Decimal] | None:
    """The first claim that the figure itself fails and the shown value passes."""
    return next(((comparator, limit) for comparator, limit in failed if COMPARATORS[comparator](shown, limit)), None)


def _band_of(value: Decimal, bands: tuple[Band, ...]) -> Band:
    return [band for band in bands if band.holds(value)][-1]


def _rounded(exact: Decimal, bands: tuple[Band, ...]) -> tuple[Decimal, Decimal]:
    """The value by its band, and the step in which it is written: that of the band it was rounded up into."""
    step = _band_of(exact, bands).step_at(exact)
    if not step:
        return Decimal(0), step
    shown = _to_step(exact, step, ROUND_HALF_UP)
    reached = _band_of(shown, bands).step_at(shown)
    return shown, max(step, reached) if shown % max(step, reached) == 0 else step


def _to_step(value: Decimal, step: Decimal, rounding: str) -> Decimal:
    return (value / step).to_integral_value(rounding) * step


def _finer(step: Decimal) -> Iterator[Decimal]:
    """The next powers of ten below a step: 0.1 after 1, and 1 after 5."""
    power = step.normalize().adjusted()
    first = power - 1 if step == Decimal(1).scaleb(power) else power
    for place in range(MORE_DIGITS):
        yield Decimal(1).scaleb(first - place)


def _lowest_step(bands: tuple[Band, ...]) -> Decimal:
    """The step of the first band that has one: from there "<0.5 g" gets its digits."""
    return next((band.step for band in bands if band.step), Decimal(1))


def _written(shown: Decimal, step: Decimal, exact: Decimal, bands: tuple[Band, ...], rule: Rule, unit: str, note: str) -> Printed:
    if not step:
        return Printed(_band_of(exact, bands).text_below, 0.0, rule.name, note)
    return _plainly(shown, step, rule, unit, note)


def _plainly(shown: Decimal, step: Decimal, rule: Rule, unit: str, note: str) -> Printed:
    places = max(0, -step.normalize().as_tuple().exponent)
    return Printed(f"{shown:.{places}f} {unit}", float(shown), rule.name, note)


def _said(limit: Decimal, unit: str, what: str) -> str:
    return f"{what}: plain rounding would carry it over the limit of {float(limit):g} {unit} in the claim's favour"
