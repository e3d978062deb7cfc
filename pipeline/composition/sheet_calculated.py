"""Components that a profile makes out of others, such as total carbohydrate out of available carbohydrate and fibre."""

from __future__ import annotations

import math

from pipeline.composition.common import WITH_LIMIT
from pipeline.composition.profile import Calculated, Profile
from pipeline.composition.sheet_foods import Food
from pipeline.composition.sheet_units import factor


def calculated_rows(rows: list[tuple], foods: dict[str, Food], profile: Profile, wanted: dict[str, list[str]]) -> list[tuple]:
    """Rows of the same columns as ``rows`` (``COLUMNS`` of sheet_table) for every calculated component and food.

    ``wanted``: the units of the project's components. A sum with a missing term is missing; one with an
    imputed or borrowed term is imputed; one of traces and zeros is a trace.
    """
    known = {(row[0], row[1]): (row[2], row[3], row[4], row[8]) for row in rows if row[1] != "ENERC"}
    made = []
    for plan in profile.calculated:
        unit = _unit(plan, wanted)
        for code in foods:
            value, kind, limit, how = _sum(plan, unit, {term: known[code, term] for term in plan.terms})
            known[code, plan.component] = (value, unit, kind, limit)
            minimum = 0.0 if kind in WITH_LIMIT else math.nan
            made.append((code, plan.component, value, unit, kind, math.nan, math.nan, minimum, limit, how, profile.source_id,
                         f"{profile.source_name}, {code}, calculated", "", ""))
    return made


def _unit(plan: Calculated, wanted: dict[str, list[str]]) -> str:
    return next((unit for unit in wanted.get(plan.component, ()) if factor(plan.unit, unit) is not None), plan.unit)


def _sum(plan: Calculated, unit: str, terms: dict[str, tuple[float, str, str, float]]) -> tuple[float, str, float, str]:
    """(value, value type, limit, derivation) of one food."""
    how = "calculated: " + " + ".join(term if weight == 1 else f"{weight:g} {term}" for term, weight in plan.terms.items())
    absent = [term for term, (_, _, kind, _) in terms.items() if kind == "missing"]
    if absent:
        return math.nan, "missing", math.nan, f"{how}; {', '.join(absent)} missing"
    by = {term: weight * factor(terms[term][1], unit) for term, weight in plan.terms.items()}
    value = float(f"{sum(terms[term][0] * by[term] for term in terms):.15g}")
    kinds = {kind for _, _, kind, _ in terms.values()}
    if kinds == {"zero"}:
        return 0.0, "zero", math.nan, how
    if kinds <= {"zero", *WITH_LIMIT}:
        limit = float(f"{sum(terms[term][3] * by[term] for term in terms if terms[term][2] in WITH_LIMIT):.15g}")
        return limit / 2, "below-detection" if "below-detection" in kinds else "trace", limit, how
    return value, "imputed" if kinds & {"imputed", "borrowed"} else "calculated", math.nan, how
