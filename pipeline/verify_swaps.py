"""Second look at swaps.csv: which variants break a limit, what the changed dish holds, and whether less would have done.

A changed dish is recomputed from the parts of the variant's lines, each taken as often as the row says. Where the row says that
its figures do not follow from the parts (leaving a line out changes how another is cooked), a note says how many were not recomputed.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from pipeline.verify_figures import Dishes
from pipeline.verify_files import path_of, place
from pipeline.verify_limits import Condition
from pipeline.verify_report import Ledger
from pipeline.verify_verdicts import Figures, Outcome, judged

CAUSE, BASE = "swaps", "base"
KINDS = ("written", "optional")
ORDER = ("not-assessable", "fails", "uncertain", "holds")
# A smaller change counts against a row when its figures keep every limit by this much more: cooking is not in its parts.
CLEARLY = 0.01
Claims = dict[tuple[str, str, str], dict[str, list[Condition]]]


class _Case(NamedTuple):
    """One variant and audience: verdicts by claim, as written and wanted, and the claims to be restored."""

    variant: tuple[str, str]
    audience: str
    conditions: dict[str, list[Condition]]
    base: dict[str, str]
    written: dict[str, str]
    wanted: dict[str, str]
    sought: list[str]


def compare(figures: Figures, dishes: Dishes, claims: Claims, ledger: Ledger) -> None:
    """Compares swaps.csv with what the recomputed figures and amounts give."""
    rows = dishes.kitchen.tables["swaps"]
    variants = dishes.kitchen.tables["variants"]
    cases = [case for key, conditions in claims.items() if variants[" ".join(key[:2])]["kind"] in KINDS
             and (case := _case(figures, key, conditions, claims))]
    expected = [f"{' '.join(case.variant)} {case.audience} {claim}" for case in cases for claim in case.conditions]
    ledger.keys(CAUSE, path_of("swaps"), rows, expected, path_of("verdicts"))
    apart = 0
    for case in cases:
        own = {claim: rows[key] for claim in case.conditions if (key := f"{' '.join(case.variant)} {case.audience} {claim}") in rows}
        if len(own) == len(case.conditions):
            apart += _compare_case(case, own, dishes, ledger)
    if apart:
        ledger.notes.append(f"{apart} figures of changed dishes were not recomputed: the change is said to cook another line otherwise")


def _case(figures: Figures, key: tuple[str, str, str], conditions: dict[str, list[Condition]], claims: Claims) -> _Case | None:
    recipe_id, variant_id, audience = key
    base = {claim: _verdict(judged(figures, (recipe_id, BASE), own)[0]) for claim, own in claims[recipe_id, BASE, audience].items()}
    outcomes = {claim: judged(figures, (recipe_id, variant_id), own)[0] for claim, own in conditions.items()}
    written = {claim: _verdict(one) for claim, one in outcomes.items()}
    broken = [claim for claim in conditions if base[claim] in ("holds", "uncertain") and _worse(written[claim], base[claim])]
    if not broken:
        return None
    sought = [claim for claim in broken if not (written[claim] == "uncertain" and outcomes[claim].margin >= 0)]
    wanted = {claim: base[claim] if claim in sought else written[claim] for claim in conditions}
    return _Case((recipe_id, variant_id), audience, conditions, base, written, wanted, sought)


def _verdict(outcome: Outcome | None) -> str:
    return outcome.verdict if outcome else "not-assessable"


def _worse(one: str, other: str) -> bool:
    return ORDER.index(one) < ORDER.index(other)


def _compare_case(case: _Case, rows: dict[str, dict[str, str]], dishes: Dishes, ledger: Ledger) -> int:
    """Compares the rows of a case; how many of them could not be recomputed."""
    first = next(iter(rows.values()))
    left = _left(case, first["lines"], dishes, ledger)
    outcome = _outcome(case, rows)
    apart = 0
    for claim, row in rows.items():
        ledger.counts["swaps"] += 1
        where = place(CAUSE, "swaps", f"{' '.join(case.variant)} {case.audience} {claim}")
        for column, expected in (("verdict_base", case.base[claim]), ("verdict_written", case.written[claim]), ("outcome", outcome),
                                 ("lines", first["lines"]), ("change", first["change"])):
            ledger.same(where, column, row[column], expected, path_of("verdicts"))
        taken_g = math.fsum(line.mass.edible_g * (1 - left.get(line.line_id, 1.0)) for line in dishes.lines[case.variant])
        ledger.number(where, "taken_g", row["taken_g"], taken_g, path_of("lines"), scale=1e-3)
        if row["from_parts"] == "true" or not left:
            _compare_figure(where, row, _judged(case, claim, left, dishes), ledger)
        elif row["component"]:
            apart += 1
    if first["outcome"] == "restored":
        _no_less_does(case, left, dishes, ledger)
    return apart


def _outcome(case: _Case, rows: dict[str, dict[str, str]]) -> str:
    """What the verdicts of the changed dish come to."""
    if not case.sought or any(case.written[claim] == "not-assessable" for claim in case.sought):
        return "not-searched"
    return "not-restored" if any(_worse(row["verdict"], case.wanted[claim]) for claim, row in rows.items()) else "restored"


def _left(case: _Case, written: str, dishes: Dishes, ledger: Ledger) -> dict[str, float]:
    """What is left of each changed line, by line_id; only lines of the recipe as written may be changed."""
    left = {}
    for part in filter(None, written.split("; ")):
        number, _, times = part.partition(": ")
        line_id = "/".join((*case.variant, number))
        row = dishes.kitchen.tables["source_lines"].get(line_id, {})
        if row.get("origin") != "base" or not 0 <= float(times) < 1:
            ledger.differs(*place(CAUSE, "swaps", f"{' '.join(case.variant)} {case.audience}"), "lines", part, "a line of the recipe as written",
                           path_of("source_lines"))
        left[line_id] = float(times)
    return left


def _judged(case: _Case, claim: str, left: dict[str, float], dishes: Dishes) -> tuple[Outcome | None, float]:
    wanted = case.conditions[claim]
    found = {(*case.variant, one.component, one.unit, one.basis): dishes.figure(case.variant, left, (one.component, one.unit, one.basis))
             for one in wanted}
    return judged(found, case.variant, wanted)


def _compare_figure(where, row: dict[str, str], told: tuple[Outcome | None, float], ledger: Ledger) -> None:
    outcome, probability = told
    if outcome is None or row["verdict"] == "not-assessable":
        return
    condition, found = outcome.condition, outcome.quantity
    for column, expected in (("verdict", outcome.verdict), ("component", condition.component), ("unit", condition.unit),
                             ("basis", condition.basis), ("comparator", condition.comparator)):
        ledger.same(where, column, row[column], expected, path_of("contributions"))
    for column, expected in (("value", found.value), ("low", found.low), ("high", math.nan if math.isinf(found.high) else found.high),
                             ("limit", condition.limit), ("probability", probability)):
        # Scaled effects cancel otherwise than added ones: the ends keep eight digits.
        ledger.number(where, column, row[column], expected, path_of("contributions"), scale=1e3)


def _no_less_does(case: _Case, left: dict[str, float], dishes: Dishes, ledger: Ledger) -> None:
    """No change of a single line that takes fewer grams, or fewer lines, restores what was broken, and clearly."""
    steps = int(dishes.kitchen.project.factor("rules", "swap_steps", "value"))
    grams = {line.line_id: line.mass.edible_g for line in dishes.lines[case.variant]}
    taken = math.fsum(grams[line_id] * (1 - times) for line_id, times in left.items())
    tables = dishes.kitchen.tables
    for line_id in grams:
        if tables["source_lines"][line_id]["origin"] != "base" or tables["parsed"][line_id]["optional"] == "true" or (
                tables["parsed"][line_id]["quantity_low"] == ""):
            continue
        for cut in range(1, steps):  # whole lines are left out by what the dish is called, which is not read here
            less = len(left) > 1 or grams[line_id] * cut / steps < taken * (1 - 1e-9)
            if less and _clearly_does(case, {line_id: 1 - cut / steps}, dishes):
                ledger.differs(*place(CAUSE, "swaps", f"{' '.join(case.variant)} {case.audience}"), "lines", "; ".join(map(str, left.items())),
                               f"{line_id} x {1 - cut / steps:g} takes less and does", path_of("contributions"))


def _clearly_does(case: _Case, left: dict[str, float], dishes: Dishes) -> bool:
    for claim in sorted(case.conditions, key=lambda claim: claim not in case.sought):
        outcome, _ = _judged(case, claim, left, dishes)
        least = case.wanted[claim]
        if least in ("not-assessable", "fails"):
            continue
        if outcome is None or _worse(outcome.verdict, least) or least == "holds" and outcome.margin < CLEARLY:
            return False
        far = outcome.quantity.floor if outcome.condition.comparator.startswith("<") else outcome.quantity.ceiling
        if least == "uncertain" and abs(far / outcome.condition.limit - 1) < CLEARLY:
            return False
    return True
