"""Figures as they may be printed: by the EU guidance and by the unit's own rule, from ready figures only.

Every figure is shown beside all limits that its variant is judged against, so that what is printed never passes a claim
which the figure itself fails (``pipeline/rounding.py``). A limit on sodium is one on salt too: the law reads it so, and so does
a reader. The figure itself stays unrounded in ``figures``, under the same ``figure_id``.
"""

from __future__ import annotations

from collections import defaultdict

import pandas as pd
from pandera.typing import Series

from pipeline import schema
from pipeline.combinations import SALT_PER_SODIUM
from pipeline.rounding import Rule, printed_beside, rounding_rule
from pipeline.schema import BASES, RECIPE_ID, Table, text_field
from pipeline.stages.conditions import Condition

# European Commission, guidance on tolerances for nutrition declarations, December 2012.
GUIDANCE = "eu-2012"
PRINTED_BASES = ("portion", "100g")


class ForPrint(Table):
    """One row per ready figure per portion and 100 g that a rule has: the text by the guidance (``by_guidance``) and by the
    unit's own rule (``by_unit_rule``), "" where that rule does not have the component. ``note``: what was done so that no claim is
    passed by rounding."""

    figure_id: Series[str] = text_field(unique=True)
    recipe_id: Series[str] = text_field(str_matches=RECIPE_ID)
    variant_id: Series[str] = text_field(str_matches=RECIPE_ID)
    component: Series[str] = text_field()
    basis: Series[str] = text_field(isin=BASES)
    by_guidance: Series[str] = text_field()
    guidance_source_id: Series[str] = text_field()
    by_unit_rule: Series[str] = text_field()
    unit_rule_source_id: Series[str] = text_field()
    note: Series[str] = text_field()


def for_print(
    figures: pd.DataFrame, conditions: dict[tuple[str, str], list[Condition]], rounding: pd.DataFrame, unit_rule: str,
) -> pd.DataFrame:
    """The table ``for_print`` (model :class:`ForPrint`).

    ``figures`` is a table of that model, ``conditions`` what each variant is judged against (``judge.conditions_by_variant``),
    ``rounding`` the reference file of that name, ``unit_rule`` the rule of it that the policy names ("": none). Raises :class:`pipeline.problems.InputError` for an unknown or faulty rule.
    """
    rules = [rounding_rule(rounding, GUIDANCE), rounding_rule(rounding, unit_rule) if unit_rule else None]
    sources = {(row.rule, row.component): row.source_id for row in rounding.itertuples(index=False)}
    limits = _limits(conditions)
    ready = figures[(figures["status"] == "ready") & figures["basis"].isin(PRINTED_BASES)]
    rows = []
    for row in ready.itertuples(index=False):
        beside = limits.get((row.recipe_id, row.variant_id, row.component, row.basis, row.unit), [])
        told = [_one(row, rule, beside, sources) for rule in rules]
        if any(text for text, _, _ in told):
            notes = dict.fromkeys(note for _, _, note in told if note)
            rows.append((row.figure_id, row.recipe_id, row.variant_id, row.component, row.basis, *told[0][:2], *told[1][:2], "; ".join(notes)))
    if not rows:
        return schema.empty(ForPrint)
    return schema.checked(ForPrint, pd.DataFrame(rows, columns=schema.columns(ForPrint)), "for print")


def _one(row, rule: Rule | None, beside: list[tuple[str, float]], sources: dict) -> tuple[str, str, str]:
    """Text, source and note of one figure by one rule; nothing where the rule does not have it."""
    if rule is None or (row.component, row.unit) not in rule.bands:
        return "", "", ""
    found = printed_beside(row.component, row.value, row.unit, rule, beside)
    return found.text, sources[rule.name, row.component], found.note


def _limits(conditions: dict[tuple[str, str], list[Condition]]) -> dict[tuple[str, str, str, str, str], list[tuple[str, float]]]:
    """(comparator, limit) of every condition on a single component, by the figure that it is on."""
    found = defaultdict(set)
    for variant, asked in conditions.items():
        for one in asked:
            found[(*variant, one.component, one.basis, one.unit)].add((one.comparator, one.limit))
            if one.component == "NA" and one.unit in SALT_PER_SODIUM:
                found[(*variant, "NACL", one.basis, "g")].add((one.comparator, one.limit * SALT_PER_SODIUM[one.unit]))
    return {key: sorted(limits) for key, limits in found.items()}
