"""One finding of the audit, as a row, and what several checks need to know of a variant."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable

from pipeline.stages.conditions import Figure, Index


def finding(
    check: str, recipe_id: str, variant_id: str, key: Iterable[str], severity: str, what: str, remedy: str, *,
    component: str = "", line_no: int = 0, value: float = math.nan,
    expected: tuple[float, float] = (math.nan, math.nan), unit: str = "", source_id: str = "",
) -> dict:
    """A row of ``tables.Findings``; its id is check/recipe/variant/key and depends on no order.

    ``value`` and ``expected`` (low, high; null = open) are in ``unit``.
    """
    return {
        "finding_id": "/".join([check, recipe_id, variant_id, *key]), "severity": severity, "check": check,
        "recipe_id": recipe_id, "variant_id": variant_id, "line_no": line_no, "component": component, "what": what,
        "value": value, "expected_low": expected[0], "expected_high": expected[1], "unit": unit, "remedy": remedy,
        "source_id": source_id,
    }


def slug(text: str) -> str:
    """Words as a part of an id: lower case, hyphens."""
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-") or "not-said"


def known(index: Index, recipe_id: str, variant_id: str, basis: str, component: str, unit: str) -> Figure | None:
    """The figure when there is one that shows a value, else None."""
    figure = index.get((recipe_id, variant_id, basis, component, unit))
    if figure is None or figure.status == "withheld" or math.isnan(figure.value):
        return None
    return figure


def basis_mass_g(index: Index) -> dict[tuple[str, str, str], float]:
    """Grams of food in one recipe, portion and 100 g of each variant, by (recipe, variant, basis).

    Read from the figures themselves (100 x figure per portion / figure per 100 g), so that
    it is the mass they were computed with. Variants whose figures are all withheld or 0
    are not in it.
    """
    best: dict[tuple[str, str, str], tuple[float, float]] = {}
    for (recipe_id, variant_id, basis, component, unit), figure in index.items():
        per_100g = known(index, recipe_id, variant_id, "100g", component, unit)
        if per_100g is None or per_100g.value <= 0 or math.isnan(figure.value) or figure.status == "withheld":
            continue
        key = (recipe_id, variant_id, basis)
        # The largest figure loses least to rounding; ties do not matter, all ratios agree.
        if key not in best or per_100g.value > best[key][0]:
            best[key] = (per_100g.value, 100 * figure.value / per_100g.value)
    return {key: mass for key, (_, mass) in best.items()}
