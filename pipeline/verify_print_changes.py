"""Second ranking of what in print must change: the tolerances, their rounding, the harm and the order, on the recomputed figures.

The tolerances and the rounding at their ends are those of the guidance of December 2012 (pipeline/stages/tolerance.py says how).
The words of a row (says, today, correction, why) are not written again, but have to be there.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator
from decimal import ROUND_HALF_UP, Decimal
from typing import NamedTuple

from pipeline.verify_files import Rows, number, path_of, place
from pipeline.verify_limits import MILLIGRAMS, MOLAR_MASS
from pipeline.verify_report import Ledger
from pipeline.verify_sources import Project
from pipeline.verify_verdicts import EQUAL, Figures

CAUSE, FILE = "print changes", "reference/tolerances.csv"
GUIDANCE = "eu-2012"
HARMS = ("understated", "claim-fails", "claim-uncertain", "outside-tolerance", "understated-slightly", "not-confirmed")
COMPONENTS = ("K", "P", "NA", "NACL", "PROCNT")
TOO_MUCH_HARMS = ("K", "P", "NA", "NACL")
OF_VERDICT = {"fails": "claim-fails", "uncertain": "claim-uncertain", "not-assessable": "not-confirmed", "holds": "not-confirmed"}
GRAVE = {"holds": 0, "uncertain": 1, "not-assessable": 1, "fails": 2}
# The law names each of these as one claim (Regulation (EC) No 1924/2006, annex; from memory).
ONE_CLAIM = {"low-sodium": "low-salt", "very-low-sodium": "very-low-salt", "sodium-free": "salt-free",
             "no-added-sodium": "no-added-salt", "source-of-fiber": "source-of-fibre", "high-fiber": "high-fibre"}
WORDS, NUMBERS = ("says", "today", "correction", "why"), ("printed_value", "value", "low", "high", "band_low", "band_high")


class Change(NamedTuple):
    """One expected row, as far as it can be computed; ``row`` is what it is about."""

    row: tuple[str, ...]
    harm: str
    unit: str
    numbers: tuple[float, ...]
    source_id: str


def compare(figures: Figures, tables: dict[str, Rows], project: Project, ledger: Ledger) -> None:
    """Compares print_changes.csv."""
    expected = defaultdict(list)
    for change in (*_figures(figures, tables, project), *_claims(tables)):
        expected[change.row].append(change)
    written = defaultdict(list)
    for key, row in tables["print_changes"].items():
        ledger.counts["print changes"] += 1
        written[_about(row)].append((key, row))
        for column in WORDS:
            if not row[column]:
                ledger.differs(*place(CAUSE, "print_changes", key), column, "", "words")
    for about in sorted(expected.keys() | written.keys()):
        rows, changes = written[about], sorted(expected[about], key=lambda one: (one.unit, one.numbers[0]))
        rows = sorted(rows, key=lambda one: (one[1]["unit"], number(one[1]["printed_value"])))
        if len(rows) != len(changes):
            ledger.differs(CAUSE, path_of("print_changes"), " ".join(about), "", f"{len(rows)} rows", f"{len(changes)} rows", path_of("published"))
            continue
        for (key, row), change in zip(rows, changes, strict=True):
            where = place(CAUSE, "print_changes", key)
            for column in ("harm", "unit", "source_id"):
                ledger.same(where, column, row[column], getattr(change, column), FILE)
            for column, value in zip(NUMBERS, change.numbers, strict=True):
                ledger.number(where, column, row[column], value, path_of("figures"))
    _in_order(tables["print_changes"], ledger)


def _about(row: dict) -> tuple[str, ...]:
    return tuple(row[name] for name in ("recipe_id", "variant_id", "printed_in", "component", "basis", "claim", "audience"))


# ---------------------------------------------------------------- figures

def _figures(figures: Figures, tables: dict[str, Rows], project: Project) -> Iterator[Change]:
    units = defaultdict(list)
    for recipe_id, variant_id, component, unit, basis in figures:
        units[recipe_id, variant_id, component, basis].append(unit)
    masses = _masses(figures)
    for row in tables["published"].values():
        variant, component, basis, unit = (row["recipe_id"], row["variant_id"]), row["component"], row["basis"], row["unit"]
        known = units.get((*variant, component, basis), [])
        own = unit if unit in known else next((one for one in known if one in MILLIGRAMS), "")
        per = _per(component, unit, own)
        about, printed = (*variant, row["printed_in"], component, basis, "", ""), number(row["value"])
        figure = None if not own or math.isnan(per) else figures[*variant, component, own, basis]
        if figure is None or figure.status == "withheld":
            yield Change(about, "not-confirmed", unit, (printed, *[math.nan] * 5), "")
            continue
        mass_g = 100.0 if basis == "100g" else masses.get((*variant, basis), math.nan)
        band = None if math.isnan(mass_g) else _band(project, component, printed, unit, own, per, mass_g)
        today = (figure.value, figure.low, figure.high)
        if band is None:
            ends, source_id = (max(0.0, printed * per - (figure.high - figure.value)), printed * per + figure.value - figure.low), ""
            within = not _less(figure.value, ends[0]) and not _less(ends[1], figure.value)
        else:
            low, high, step, source_id = band
            ends, within = (float(low) * per, float(high) * per), low <= _stepped(_exact(figure.value / per), step) <= high
        short = component in TOO_MUCH_HARMS and _less(printed * per, figure.low)
        if short or not within:
            portions = number(tables["variants"][" ".join(variant)]["portions"]) if basis == "recipe" else 1.0
            little = within and (figure.value - printed * per) / portions <= _matters(project, component)
            harm = "outside-tolerance" if not short else "understated-slightly" if little else "understated"
            yield Change(about, harm, own, (printed * per, *today, *ends), source_id)


def _matters(project: Project, component: str) -> float:
    """How much in a portion matters, in the unit of the figure; salt is 2.5 times its sodium (EU 1169/2011, Annex I)."""
    salt = component == "NACL"
    return project.factor("rules", f"much_{'NA' if salt else component}", "value") * (2.5 / 1000 if salt else 1.0)


def _per(component: str, unit: str, own: str) -> float:
    """What a printed number is multiplied with to be in the unit of the figure; NaN where that cannot be."""
    if unit == own:
        return 1.0
    if unit == "mmol" and component in MOLAR_MASS and own in MILLIGRAMS:
        return MOLAR_MASS[component] / MILLIGRAMS[own]
    return MILLIGRAMS[unit] / MILLIGRAMS[own] if unit in MILLIGRAMS and own in MILLIGRAMS else math.nan


def _masses(figures: Figures) -> dict[tuple[str, str, str], float]:
    """Grams in a recipe and a portion, by the figure that is largest per 100 g."""
    best: dict[tuple[str, str, str], tuple[float, float]] = {}
    for (recipe_id, variant_id, component, unit, basis), figure in figures.items():
        per_100g = figures.get((recipe_id, variant_id, component, unit, "100g"))
        if per_100g is None or not per_100g.value > 0 or math.isnan(figure.value):
            continue
        key = (recipe_id, variant_id, basis)
        best[key] = max(best.get(key, (0.0, 0.0)), (per_100g.value, 100 * figure.value / per_100g.value))
    return {key: mass for key, (_, mass) in best.items()}


def _band(project: Project, component: str, printed: float, unit: str, own: str, per: float, mass_g: float):
    declared = float(_exact(100 * printed * per / mass_g))
    rows = [row for row in project.listed(FILE) if (row["component"], row["unit"]) == (component, own)
            and number(row["from_value"] or "0") <= declared and (row["to_value"] == "" or declared < number(row["to_value"]))]
    if not rows:
        return None
    lowest, highest, step = _stands_for(project, component, _exact(printed), unit)
    ends = [lowest, highest]
    for row in rows:
        side = 0 if (row["tolerance_absolute"] or row["tolerance_relative"]).startswith("-") else 1
        if row["tolerance_absolute"]:
            ends[side] += _exact(number(row["tolerance_absolute"])) * _exact(mass_g / 100 / per)
        else:
            ends[side] *= 1 + _exact(number(row["tolerance_relative"]))
    return _stepped(max(Decimal(0), ends[0]), step), _stepped(ends[1], step), step, rows[0]["source_id"]


def _stands_for(project: Project, component: str, printed: Decimal, unit: str) -> tuple[Decimal, Decimal, Decimal]:
    """Which values are printed so, and the step of print."""
    digits = Decimal(1).scaleb(min(0, printed.normalize().as_tuple().exponent))
    bands = sorted((_exact(number(row["from_value"])), row["edge"] == "above", row["step"], row["significant_figures"])
                   for row in project.listed("reference/rounding.csv")
                   if (row["rule"], row["component"], row["unit"]) == (GUIDANCE, component, unit))
    step = digits
    for place_no, (start, is_open, written, figures) in enumerate(bands):
        if printed < start or is_open and printed == start:
            break
        if written and number(written) == 0:
            above = bands[place_no + 1]
            step = _exact(number(above[2]))
            if printed == 0:
                return Decimal(0), above[0], step
        else:
            step = _exact(number(written)) if written else Decimal(1).scaleb(printed.adjusted() - int(figures) + 1) if printed else Decimal(1)
    step = digits if printed % step else step
    return max(Decimal(0), printed - step / 2), printed + step * 4 / 10, step


def _exact(value: float) -> Decimal:
    return Decimal(f"{value:.12g}")


def _stepped(value: Decimal, step: Decimal) -> Decimal:
    return (value / step).to_integral_value(ROUND_HALF_UP) * step


def _less(one: float, other: float) -> bool:
    return one < other and not math.isclose(one, other, rel_tol=EQUAL)


# ---------------------------------------------------------------- claims

def _claims(tables: dict[str, Rows]) -> Iterator[Change]:
    judged: dict[tuple[str, str, str], list[dict]] = defaultdict(list)
    for row in tables["verdicts"].values():
        judged[row["recipe_id"], row["variant_id"], row["claim"]].append(row)
    versions = defaultdict(list)
    for row in tables["variants"].values():
        if row["kind"] == "version":
            versions[row["recipe_id"]].append(row["variant_id"])
    for row in tables["printed_claims"].values():
        said = row["claim"].strip().lower()
        name, recipe_id = ONE_CLAIM.get(said, said), row["recipe_id"]
        found = judged.get((recipe_id, row["variant_id"], name), [])
        if not found:
            yield Change((recipe_id, row["variant_id"], row["printed_in"], "", "", said, ""), "not-confirmed", "", (math.nan,) * 6, "")
        for verdict in found:
            if verdict["verdict"] != "holds" or verdict["status"] == "check":
                yield _claim(row, said, verdict)
            for variant_id in versions[recipe_id] if row["variant_id"] == "base" else ():
                other = tables["verdicts"].get(f"{recipe_id} {variant_id} {verdict['audience']} {name}")
                if other and GRAVE[other["verdict"]] > GRAVE[verdict["verdict"]]:
                    yield _claim(row, said, other)


def _claim(row: dict, said: str, verdict: dict) -> Change:
    about = (row["recipe_id"], verdict["variant_id"], row["printed_in"], verdict["component"], verdict["basis"], said, verdict["audience"])
    numbers = (math.nan, *(number(verdict[name]) for name in ("value", "low", "high")), math.nan, math.nan)
    return Change(about, OF_VERDICT[verdict["verdict"]], verdict["unit"], numbers, verdict["source_id"])


# ---------------------------------------------------------------- order

def _in_order(rows: Rows, ledger: Ledger) -> None:
    """Ranks count from 1, and every row stands where its own numbers put it."""
    ranked = sorted(rows.items(), key=lambda one: int(one[1]["rank"]))
    for place_no, (key, row) in enumerate(ranked, start=1):
        ledger.same(place(CAUSE, "print_changes", key), "rank", row["rank"], str(place_no))
    for (_, before), (key, row) in zip(ranked, ranked[1:], strict=False):
        if _place(row) < _place(before):
            ledger.differs(*place(CAUSE, "print_changes", key), "rank", row["rank"], "a place further up", "its harm and numbers")


def _place(row: dict) -> tuple:
    printed, today, low, high, band_low, band_high = (number(row[name]) for name in NUMBERS)
    component = row["component"].split("+")[0]
    if printed > 0 and today > 0:
        apart = abs(math.log(today / printed))
    else:
        apart = 0.0 if printed == today or math.isnan(printed) else math.inf
    reaches = low <= band_high and high >= band_low
    order = COMPONENTS.index(component) if component in COMPONENTS else len(COMPONENTS)
    return HARMS.index(row["harm"]), reaches, order, -round(apart, 6)
