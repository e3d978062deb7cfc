"""Second rounding of the figures for print, in exact fractions, by ``reference/rounding.csv``.

A figure that fails a limit is never shown as one that keeps it: it gets more digits until it fails as it is shown, too.
"""

from __future__ import annotations

import math
from collections import defaultdict
from fractions import Fraction
from typing import NamedTuple

from pipeline.verify_figures import SALT_PER_SODIUM_MG, Figures
from pipeline.verify_files import Rows, path_of, place
from pipeline.verify_limits import conditions_of, rounding_of
from pipeline.verify_report import Ledger
from pipeline.verify_sources import Project

FILE = "reference/rounding.csv"
CAUSE = "print"
GUIDANCE = "eu-2012"
BASES = ("portion", "100g")
# No figure of a dish is known to more digits; what stands beyond is the computer's.
DIGITS = 12
MORE_DIGITS = 6
TESTS = {"<": Fraction.__lt__, "<=": Fraction.__le__, ">": Fraction.__gt__, ">=": Fraction.__ge__}
Limits = set[tuple[str, float]]


class Shown(NamedTuple):
    """A figure as text; ``note`` says how it was kept from crossing a limit."""

    text: str
    note: str
    source_id: str


def compare(figures: Figures, tables: dict[str, Rows], project: Project, policy: str, ledger: Ledger) -> None:
    """Rounds every ready figure again and compares for_print.csv."""
    rules: dict[tuple[str, str, str], list[dict[str, str]]] = defaultdict(list)
    for row in project.listed(FILE):
        rules[row["rule"], row["component"], row["unit"]].append(row)
    asked = _limits(conditions_of(tables, project, policy))
    own_rule = rounding_of(project, policy)
    expected = {}
    for key, figure in figures.items():
        recipe_id, variant_id, component, unit, basis = key
        if figure.status != "ready" or basis not in BASES:
            continue
        told = [_shown(figure.value, unit, rules.get((rule, component, unit), []), asked[key]) for rule in (GUIDANCE, own_rule)]
        if any(told):
            name = f"{component}-{unit}" if component == "ENERC" else component
            expected[f"{recipe_id}/{variant_id}/{name}/{basis}"] = (key, told)
    written = tables["for_print"]
    ledger.keys(CAUSE, path_of("for_print"), written, expected, f"{path_of('figures')} and {FILE}")
    for figure_id in sorted(written.keys() & expected.keys()):
        ledger.counts["figures for print"] += 1
        _compare_row(place(CAUSE, "for_print", figure_id), written[figure_id], *expected[figure_id], ledger)


def _compare_row(where, row: dict[str, str], key: tuple, told: list[Shown | None], ledger: Ledger) -> None:
    for column, text in zip(("recipe_id", "variant_id", "component", "basis"), (*key[:3], key[4]), strict=True):
        ledger.same(where, column, row[column], text, "figure_id")
    for column, source, one in (("by_guidance", "guidance_source_id", told[0]), ("by_unit_rule", "unit_rule_source_id", told[1])):
        ledger.same(where, column, row[column], one.text if one else "", path_of("figures"))
        ledger.same(where, source, row[source], one.source_id if one else "", FILE)
    notes = "; ".join(dict.fromkeys(one.note for one in told if one and one.note))
    ledger.same(where, "note", row["note"], notes, "the limits of its variant")


def _limits(claims: dict) -> dict[tuple[str, str, str, str, str], Limits]:
    """What each figure is judged against; a limit on sodium is one on salt."""
    found: dict[tuple[str, str, str, str, str], Limits] = defaultdict(set)
    for (recipe_id, variant_id, _, _), (_, conditions, _) in claims.items():
        for one in conditions:
            found[recipe_id, variant_id, one.component, one.unit, one.basis].add((one.comparator, one.limit))
            if (one.component, one.unit) == ("NA", "mg"):
                found[recipe_id, variant_id, "NACL", "g", one.basis].add((one.comparator, one.limit * SALT_PER_SODIUM_MG))
    return found


# ---------------------------------------------------------------- one figure

def _shown(value: float, unit: str, bands: list[dict[str, str]], limits: Limits) -> Shown | None:
    if not bands:
        return None
    exact = _fraction(value)
    failed = [(TESTS[comparator], comparator, _fraction(limit)) for comparator, limit in sorted(limits)
              if not TESTS[comparator](exact, _fraction(limit))]
    source_id = bands[0]["source_id"]
    bands = sorted(bands, key=lambda row: (float(row["from_value"]), row["edge"] == "above"))
    step, text_below = _step(exact, bands)
    near = _nearest(exact, step) if step else Fraction(0)
    first = next((one for one in failed if one[0](near, one[2])), None)
    if first is None:
        if not step:
            return Shown(text_below, "", source_id)
        reached = _step(near, bands)[0]
        return Shown(_text(near, max(step, reached) if near % max(step, reached) == 0 else step, unit), "", source_id)
    why = f"plain rounding would carry it over the limit of {float(first[2]):g} {unit} in the claim's favour"
    start = step or next(Fraction(row["step"]) for row in bands if row["step"] and float(row["step"]))
    tenth = Fraction(10) ** _tens(start)
    finer = tenth / 10 if tenth == start else tenth
    for _ in range(MORE_DIGITS):
        near = _nearest(exact, finer)
        if not any(keeps(near, limit) for keeps, _, limit in failed):
            return Shown(_text(near, finer, unit), f"shown with more digits: {why}", source_id)
        finer /= 10
    finer *= 10
    away = math.ceil(exact / finer) if first[1].startswith("<") else math.floor(exact / finer)
    return Shown(_text(away * finer, finer, unit), f"rounded away from the limit: {why}", source_id)


def _fraction(number: float) -> Fraction:
    return Fraction(f"{number:.{DIGITS}g}")


def _nearest(value: Fraction, step: Fraction) -> Fraction:
    """The nearest multiple; a half goes up."""
    return math.floor(value / step + Fraction(1, 2)) * step


def _step(value: Fraction, bands: list[dict[str, str]]) -> tuple[Fraction, str]:
    """The step of the highest band that the value reaches, and its text where the step is 0."""
    row = [row for row in bands if value > Fraction(row["from_value"]) or row["edge"] == "at-least" and value == Fraction(row["from_value"])][-1]
    if row["step"]:
        return Fraction(row["step"]), row["text_below"]
    return Fraction(10) ** (_tens(value) - int(float(row["significant_figures"])) + 1) if value else Fraction(1), ""


def _tens(value: Fraction) -> int:
    """The power of ten of the first digit."""
    power = 0
    while value >= Fraction(10) ** (power + 1):
        power += 1
    while value < Fraction(10) ** power:
        power -= 1
    return power


def _text(value: Fraction, step: Fraction, unit: str) -> str:
    places = 0
    while (step * 10 ** places).denominator != 1:
        places += 1
    digits = str(int(value * 10 ** places)).rjust(places + 1, "0")
    return f"{digits[:-places]}.{digits[-places:]} {unit}" if places else f"{digits} {unit}"
