"""Second look at protein_additions.csv: which dishes miss their protein, what the added line brings, and whether the outcome follows.

The middle of each figure is recomputed from the recipe as written and from what the line adds. The interval of a dish with an addition
rests on a line that is in no variant, so it is taken as it is written, and the verdict is held against it.
"""

from __future__ import annotations

import math

from pipeline.verify_files import Rows, number, path_of, place
from pipeline.verify_limits import Condition
from pipeline.verify_report import Ledger
from pipeline.verify_swaps import CAUSE, Claims
from pipeline.verify_verdicts import Figures, judged

TABLE, BASE, PROTEIN, PHOSPHORUS = "protein_additions", "base", "PROCNT", "P"
Row = dict[str, str]


def compare(figures: Figures, tables: dict[str, Rows], claims: Claims, ledger: Ledger) -> None:
    """Compares protein_additions.csv with the recomputed figures of the recipes as written, and with the values of what is added."""
    groups: dict[tuple[str, str, str], dict[str, Row]] = {}
    for row in tables[TABLE].values():
        groups.setdefault((row["recipe_id"], row["audience"], row["addition_id"]), {})[row["claim"]] = row
    missing = {(recipe_id, audience): conditions for (recipe_id, variant_id, audience), conditions in claims.items()
               if variant_id == BASE and _misses(figures, recipe_id, conditions)}
    ledger.keys(CAUSE, path_of(TABLE), {" ".join(key[:2]) for key in groups}, {" ".join(key) for key in missing}, path_of("verdicts"))
    for (recipe_id, audience, addition_id), rows in groups.items():
        if (recipe_id, audience) not in missing:
            continue
        for claim, conditions in missing[recipe_id, audience].items():
            where = place(CAUSE, TABLE, f"{recipe_id} {audience} {addition_id} {claim}")
            if claim not in rows:
                ledger.differs(*where, "", "no row", "a row", path_of("verdicts"))
                continue
            ledger.counts["protein additions"] += 1
            _compare_row(where, rows[claim], figures, conditions, tables, ledger)
        _compare_outcome(f"{recipe_id} {audience} {addition_id}", rows, ledger)
    if groups:
        ledger.notes.append("intervals of dishes with a protein addition were not recomputed, since the added line is in no variant: their "
                            "middles and verdicts were")


def _is_least(comparator: str, component: str) -> bool:
    return component == PROTEIN and comparator.startswith(">")


def _misses(figures: Figures, recipe_id: str, conditions: dict[str, list[Condition]]) -> bool:
    for own in conditions.values():
        outcome, _ = judged(figures, (recipe_id, BASE), own)
        if outcome and _is_least(outcome.condition.comparator, outcome.condition.component) and outcome.verdict in ("fails", "uncertain"):
            return True
    return False


def _compare_row(where, row: Row, figures: Figures, conditions: list[Condition], tables: dict[str, Rows], ledger: Ledger) -> None:
    outcome, _ = judged(figures, (row["recipe_id"], BASE), conditions)
    ledger.same(where, "verdict_base", row["verdict_base"], outcome.verdict if outcome else "not-assessable", path_of("figures"))
    if outcome is None or not outcome.quantity.known:
        return
    ledger.number(where, "value_base", row["value_base"], outcome.quantity.value, path_of("figures"))
    ledger.number(where, "limit", row["limit"], outcome.condition.limit, "the policy")
    if row["outcome"] == "not-searched":
        ledger.number(where, "value", row["value"], outcome.quantity.value, path_of("figures"))
        return
    if not number(row["low"]) <= number(row["value"]) <= number(row["high"] or "inf"):
        ledger.differs(*where, "value", row["value"], "a value in its own interval")
    value = tables["values"].get(f"{row['entry_id']} {row['component']} {row['unit']}")
    if value:
        ledger.number(where, "value_per_100g", row["value_per_100g"], number(value["value"]), path_of("values"))
    if row["from_parts"] == "true":
        portions = number(tables["variants"][f"{row['recipe_id']} {BASE}"]["portions"])
        added = number(row["added_g"]) * number(row["value_per_100g"]) / 100 * number(row["retention_fraction"]) / portions
        ledger.number(where, "value", row["value"], outcome.quantity.value + added, f"{path_of('figures')} and {path_of('values')}", scale=100.0)
    _compare_verdict(where, row, ledger)


def _compare_verdict(where, row: Row, ledger: Ledger) -> None:
    """What the written interval says of the limit; a doubt may make an uncertain verdict of one that holds."""
    low, high, limit = number(row["low"]), number(row["high"] or "inf"), number(row["limit"])
    near, far = (high, low) if row["comparator"].startswith("<") else (low, high)
    keeps = {"<": near < limit, "<=": near <= limit, ">": near > limit, ">=": near >= limit}[row["comparator"]]
    may = {"<": far < limit, "<=": far <= limit, ">": far > limit, ">=": far >= limit}[row["comparator"]]
    allowed = ("holds", "uncertain") if keeps else ("uncertain",) if may else ("fails",)
    if row["verdict"] not in allowed:
        ledger.differs(*where, "verdict", row["verdict"], allowed[0], "its interval and limit")


def _compare_outcome(key: str, rows: dict[str, Row], ledger: Ledger) -> None:
    """The outcome follows from the verdicts, and the ratio from the figures."""
    first = next(iter(rows.values()))
    others = all(row["verdict"] == "holds" for row in rows.values() if not _is_least(row["comparator"], row["component"]))
    reaches = all(row["verdict"] == "holds" for row in rows.values() if _is_least(row["comparator"], row["component"]))
    expected = "reaches" if others and reaches else "falls-short" if others else "cannot"
    where = place(CAUSE, TABLE, key)
    if first["outcome"] != "not-searched":
        ledger.same(where, "outcome", first["outcome"], expected, "its verdicts")
    elif all(row["verdict_base"] == "holds" for row in rows.values() if not _is_least(row["comparator"], row["component"])):
        ledger.differs(*where, "outcome", first["outcome"], "a search", path_of("verdicts"))
    by_component = {row["component"]: number(row["value"]) for row in rows.values() if row["basis"] == "portion"}
    if first["phosphorus_to_protein"] and by_component.get(PROTEIN) and PHOSPHORUS in by_component:
        ratio = by_component[PHOSPHORUS] / by_component[PROTEIN]
        if not math.isclose(number(first["phosphorus_to_protein"]), ratio, rel_tol=1e-8):
            ledger.differs(*where, "phosphorus_to_protein", first["phosphorus_to_protein"], f"{ratio:.10g}", "its own figures")
