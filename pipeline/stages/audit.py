"""Figures and verdicts -> findings: what somebody should look at before anything is printed.

Coverage below the whole; entries that fail the check of their table (``audit_entries``); figures that no dish
can have (``audit_plausible``); two routes to one amount that disagree; salt that no line tells (``audit_method``); print that no
longer agrees with today's figures (``audit_drift``). The audit changes nothing: it reads the same tables that are released.
"""

from __future__ import annotations

import pandas as pd

from pipeline import tables
from pipeline.combinations import DERIVED
from pipeline.problems import NOTE, SEVERITIES, WARNING, Problem
from pipeline.rounding import GUIDANCE, rounding_rule
from pipeline.stages import audit_drift, audit_entries, audit_method, audit_plausible, conditions, two_routes
from pipeline.stages.audit_findings import finding

# The figures that decide what somebody with kidney disease may eat.
RENAL = ("K", "P", "NA", "NACL", "PROCNT")
LINES_NAMED = 5


def audit(
    figures: pd.DataFrame, settled: pd.DataFrame, contributions: pd.DataFrame, published: pd.DataFrame,
    printed_claims: pd.DataFrame, verdicts: pd.DataFrame, tolerances: pd.DataFrame, rounding: pd.DataFrame, raw_cooked_pairs: pd.DataFrame,
    values: pd.DataFrame, retentions: pd.DataFrame, cooked: pd.DataFrame, recipes: pd.DataFrame, variants: pd.DataFrame,
    errors: pd.DataFrame | None = None, error_share_above: float = 0.0, routes: pd.DataFrame | None = None,
    steps: pd.DataFrame | None = None,
) -> tuple[pd.DataFrame, list[Problem]]:
    """Everything the audit noticed, worst first: (``tables.Findings``, problems).

    Tables as the models of those names; ``printed_claims`` has recipe_id, variant_id, claim
    and, where said, printed_in; ``tolerances``, ``rounding`` and ``raw_cooked_pairs`` are the reference
    files; ``errors`` those of the composition table's check (None: it was not checked) and ``error_share_above`` the
    rule for them (:func:`audit_entries.table_errors`); ``routes`` is the model TwoRoutes where the totals
    have it, ``steps`` the model Steps (None: the words of the method are not looked at). A problem is a printed figure that cannot be compared with anything.
    """
    index = conditions.index_figures(figures)
    here = variants[variants["recipe_id"].isin(recipes["recipe_id"])]
    drifted, problems = audit_drift.drift(index, published, tolerances, rounding_rule(rounding, GUIDANCE), here,
                                          audit_drift.claims_at_risk(printed_claims, verdicts))
    if routes is None:
        routes = two_routes.compared(settled, cooked, retentions, values, raw_cooked_pairs)
    rows = [
        *coverage(figures, contributions), *audit_plausible.plausibility(figures, index, contributions, here),
        *audit_plausible.two_routes(settled, routes), *audit_plausible.mass_balance(contributions, cooked),
        *([] if errors is None else audit_entries.table_errors(errors, figures, settled, contributions, error_share_above)),
        *([] if steps is None else audit_method.salted_water(settled, steps)),
        *drifted, *audit_drift.claims_in_print(printed_claims, verdicts),
    ]
    if not rows:
        return tables.empty(tables.Findings), problems
    findings = pd.DataFrame(rows, columns=tables.columns(tables.Findings))
    findings = findings.sort_values(["severity", "finding_id"], kind="stable",
                                    key=lambda column: column.map(SEVERITIES.index) if column.name == "severity" else column)
    # The same thing printed twice in one place with two numbers: both are kept, told apart by order.
    repeat = findings.groupby("finding_id").cumcount()
    findings["finding_id"] += repeat.map(lambda count: f"/{count + 1}" if count else "")
    return tables.checked(tables.Findings, findings, "audit"), problems


def coverage(figures: pd.DataFrame, contributions: pd.DataFrame) -> list[dict]:
    """Figures shown although no table covers all of the food, with the lines that lack a value."""
    shown = figures[(figures["status"] != "withheld") & (figures["basis"] == "100g")]
    gaps = shown[shown["coverage"] < 1 - conditions.WHOLE_WITHIN]
    lacking = contributions[contributions["amount"].isna()]
    lines = {key: sorted(set(rows)) for key, rows in lacking.groupby(["recipe_id", "variant_id", "component"])["line_no"]}
    rows = []
    for row in gaps.itertuples(index=False):
        key = (row.recipe_id, row.variant_id)
        parts = DERIVED.get(row.component, (row.component,))
        missing = sorted({line for part in parts for line in lines.get((*key, part), [])})
        named = ", ".join(str(line) for line in missing[:LINES_NAMED]) + (" and more" if len(missing) > LINES_NAMED else "")
        where = f"; no value for line {named}" if missing else ""
        rows.append(finding("coverage", *key, (row.component, row.unit), WARNING if row.component in RENAL else NOTE,
                            f"{row.component} is known for {conditions.share_in_words(row.coverage)} of the mass{where}",
                            "Take the value from another table for these lines (borrowed), or print the figure as incomplete",
                            component=row.component, line_no=int(missing[0]) if len(missing) == 1 else 0,
                            value=row.coverage, expected=(1.0, 1.0), unit="fraction"))
    return rows
