"""What one task of the flow does: a stage, on the bundle of tables of one partition of recipes.

A bundle is a dict of tables by name, with the problems of the stage as the table
``problems``. The stages themselves are pure functions of tables (``pipeline/stages``);
here their arguments are picked from the bundles of the stages before.
"""

from __future__ import annotations

import errno
import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pandas as pd

from pipeline import decisions, problems, sources
from pipeline.combinations import combinations
from pipeline.composition.combine import Later
from pipeline.policy import Policy
from pipeline.stages import audit as audit_stage
from pipeline.stages import cook as cook_stage
from pipeline.stages import judge as judge_stage
from pipeline.stages import judge_ingredients, judge_scaling, phosphorus_additives
from pipeline.stages import match as match_stage
from pipeline.stages import match_next, match_outcome, more_protein, standing, trial
from pipeline.stages import parse as parse_stage
from pipeline.stages import restore as restore_stage
from pipeline.stages import suit as suit_stage
from pipeline.stages import total as total_stage
from pipeline.stages import weigh as weigh_stage
from pipeline.stages.ingest_served import with_optional
from pipeline.stages.tins_drained import drained_by_method

Bundle = dict[str, pd.DataFrame]
RECIPES_PER_PARTITION = 16
# A stage's own words about a failure are cut here: one clear line, not a page.
LONGEST_MESSAGE = 300
# The functions whose code, with all they import, decides whether a kept result still holds.
CODE = {
    "read": (parse_stage.parse, with_optional, drained_by_method), "match": (match_next.answered,), "weigh": (weigh_stage.weigh,),
    "cook": (cook_stage.cook,), "total": (total_stage.total,), "judge": (judge_stage.judge, judge_ingredients.ingredients, suit_stage.suit),
    "audit": (audit_stage.audit, phosphorus_additives.flags, phosphorus_additives.with_flags),
    "restore": (parse_stage.parse, match_next.answered, trial.together, restore_stage.restore, more_protein.more_protein, judge_scaling.dishes),
}
STAGES = ("read", "match", "weigh", "cook", "total", "judge", "audit", "restore")
# The reference files that a changed recipe goes through.
FOR_TRIALS = (
    "components", "energy_factors", "composition_spread", "rules", "wide_floors", "measures", "amount_rules", "amount_spread", "densities",
    "edible_portions", "yields", "retention", "retention_rules", "raw_cooked_pairs", "claims", "nutrient_reference_values", "match_weights",
    "protein_additions",
)
BY_RECIPE = ("recipes", "variants", "lines", "steps", "published", "printed_claims")


def partitions(collection: Bundle) -> list[Bundle]:
    """The collection cut by recipe, the same recipe always into the same part.

    The number of parts is a power of two and a recipe's part follows from its id alone,
    so that one changed recipe changes one part.
    """
    ids = collection["recipes"]["recipe_id"].tolist()
    count = 1
    while count * RECIPES_PER_PARTITION < len(ids):
        count *= 2
    number = {recipe_id: int(hashlib.sha256(recipe_id.encode()).hexdigest(), 16) % count for recipe_id in ids}
    parts = []
    for wanted in range(count):
        part = {name: _only(collection[name], number, wanted) for name in BY_RECIPE}
        if len(part["recipes"]):
            parts.append(part)
    return parts


def _only(table: pd.DataFrame, number: dict[str, int], wanted: int) -> pd.DataFrame:
    return table[table["recipe_id"].map(number) == wanted].reset_index(drop=True)


def halves(part: Bundle) -> list[Bundle]:
    """The partition cut in two, so that a recipe which breaks a stage is soon found; one recipe stays as it is."""
    ids = part["recipes"]["recipe_id"].tolist()
    numbers = {recipe_id: int(place >= len(ids) / 2) for place, recipe_id in enumerate(ids)}
    return [{name: _only(part[name], numbers, wanted) for name in BY_RECIPE} for wanted in sorted(set(numbers.values()))]


def broken_recipe(part: Bundle, error: Exception) -> problems.Problem:
    """Says that a recipe broke a stage and is left out."""
    recipe = part["recipes"].iloc[0]
    words = " ".join(str(error).split())
    shown = words if len(words) <= LONGEST_MESSAGE else words[:LONGEST_MESSAGE] + " ..."
    return problems.Problem(
        f"{recipe['source_file']}, line {recipe['source_line']}",
        f"a stage failed on this recipe ({type(error).__name__}: {shown})",
        "The recipe is left out of the release; report it with this message as a defect", "stage-failed", stage="flow",
        recipe_id=recipe["recipe_id"])


def nothing_left(name: str) -> problems.Problem:
    """Says that no recipe of a collection went through."""
    return problems.Problem(name, "no recipe went through the stages, so there is nothing to release",
                            "Correct or report what is listed above; an earlier release stays as it was", "nothing-left",
                            stage="flow")


def disk_trouble(error: OSError) -> problems.Problem:
    """Says that a stage could not read or write a file."""
    full = error.errno in (errno.ENOSPC, errno.EDQUOT)
    remedy = "Free some space on that disk" if full else "Check the permissions of the folder"
    return problems.Problem(str(error.filename or "kept results (.potash)"), f"cannot be read or written ({error.strerror or error})",
                            f"{remedy} and run again; no release was written", "disk-full" if full else "not-writable",
                            stage="flow")


def read(part: Bundle, mappings: decisions.Mappings) -> Bundle:
    """Parse the lines, then add the variants with the optional lines."""
    vocabulary = (mappings.unit_words, mappings.sizes, mappings.states, mappings.preparations)
    parsed, found = parse_stage.parse(part["lines"], *vocabulary)
    lines, variants, steps = with_optional(part["lines"], parsed, part["variants"], part["steps"])
    if len(lines) > len(part["lines"]):
        parsed, _ = parse_stage.parse(lines, *vocabulary)
    parsed = drained_by_method(parsed, lines, steps)
    return {"parsed": parsed, "lines": lines, "variants": variants, "steps": steps, "recipes": part["recipes"],
            "problems": problems.to_table(found)}


def at_stake(values: pd.DataFrame) -> pd.DataFrame:
    """Of a table's values (model Values) what matching looks at: entry_id, component, value of the components at stake."""
    wanted = values["component"].isin(match_outcome.AT_STAKE)
    return values.loc[wanted, ["entry_id", "component", "value"]].reset_index(drop=True)


def match(
    read: Bundle, entries: pd.DataFrame, table: str, mappings: decisions.Mappings, reference: sources.Reference,
    later: tuple[Later, ...] = (), at_stake: pd.DataFrame | None = None,
) -> Bundle:
    """Match the phrases to entries of the (preferred) composition table; what it does not settle, to those of the later ones.

    ``at_stake``: the values that make a wrong entry matter (:func:`at_stake`), of all tables.
    """
    sets = [(entries, table, mappings.foods), *((other.entries, other.name, other.foods) for other in later)]
    made = [match_stage.matcher(*one, mappings.words, reference, at_stake) for one in sets]
    matched, candidates = match_next.answered(read["parsed"], [matcher for matcher, _ in made])
    return {"matched": matched, "candidates": candidates, "problems": problems.to_table(made[0][1])}


def weigh(read: Bundle, matched: Bundle, entries: pd.DataFrame, reference: sources.Reference) -> Bundle:
    """Find the grams of every line, as purchased and edible."""
    weighed, found = weigh_stage.weigh(
        read["parsed"], matched["matched"], read["lines"], read["recipes"], read["variants"], entries, reference.measures,
        reference.edible_portions, reference.densities, reference.amount_spread, reference.amount_rules)
    return {"weighed": weighed, "problems": problems.to_table(found)}


def cook(
    read: Bundle, matched: Bundle, weighed: Bundle, entries: pd.DataFrame, mappings: decisions.Mappings,
    reference: sources.Reference, values: pd.DataFrame | None = None,
) -> Bundle:
    """Read from the method what befell each line, and the factors that follow; ``values`` tell the water of each food."""
    cooked, retentions, found = cook_stage.cook(
        read["parsed"], matched["matched"], weighed["weighed"], read["lines"], read["steps"], entries, reference.yields,
        reference.retention, reference.retention_rules, mappings.cooking_verbs, mappings.methods, reference.components, values)
    return {"cooked": cooked, "retentions": retentions, "problems": problems.to_table(found)}


def total(
    read: Bundle, matched: Bundle, weighed: Bundle, cooked: Bundle, entries: pd.DataFrame, values: pd.DataFrame, table: str,
    reference: sources.Reference, disagreements: pd.DataFrame | None = None, raw_cooked_pairs: pd.DataFrame | None = None,
) -> Bundle:
    """Settle every line, then sum and propagate; ``disagreements`` between several tables widen the intervals, and so do
    ``raw_cooked_pairs`` whose cooked food says otherwise."""
    settled = total_stage.settle(read["lines"], read["parsed"], matched["matched"], weighed["weighed"], cooked["cooked"],
                                 read["variants"], reference.rule("read_above"))
    result = total_stage.total(settled, weighed["weighed"], cooked["cooked"], cooked["retentions"], matched["candidates"],
                               read["variants"], read["recipes"], entries, values, reference, table, disagreements, raw_cooked_pairs)
    return {"settled": settled, **result}


def judge(read: Bundle, totals: Bundle, entries: pd.DataFrame, policy: Policy, reference: sources.Reference) -> Bundle:
    """Judge every claim and local limit, and say whom each dish suits and which allergens its lines show."""
    brought = judge_ingredients.ingredients(totals["settled"], totals["contributions"], read["variants"], reference.added_substances)
    verdicts, found = judge_stage.judge(
        totals["figures"], read["recipes"], read["variants"], reference.claims, reference.nutrient_reference_values, policy,
        reference.energy_factors, brought)
    suited = suit_stage.suit(totals["settled"], read["parsed"], entries, read["variants"], reference.allergens, reference.diets)
    return {"verdicts": verdicts, **suited, "problems": problems.to_table(found)}


def audit(
    part: Bundle, read: Bundle, cooked: Bundle, totals: Bundle, judged: Bundle, values: pd.DataFrame, errors: pd.DataFrame,
    reference: sources.Reference,
) -> Bundle:
    """Look for what cannot be right, for what is in print and no longer true, and for additives that a table does not see.
    ``errors``: those of the table's check."""
    findings, found = audit_stage.audit(
        totals["figures"], totals["settled"], totals["contributions"], part["published"], part["printed_claims"],
        judged["verdicts"], reference.tolerances, reference.rounding, reference.raw_cooked_pairs, values, cooked["retentions"],
        cooked["cooked"], read["recipes"], read["variants"], errors, reference.rule("check_entry_error_share_above"),
        totals["two_routes"], read["steps"])
    flagged = phosphorus_additives.flags(totals["settled"], reference.additives)
    findings = phosphorus_additives.with_flags(findings, flagged)
    return {"findings": findings, "additives": flagged, "problems": problems.to_table(found)}


def restore(
    read: Bundle, matched: Bundle, weighed: Bundle, cooked: Bundle, totals: Bundle, audited: Bundle, entries: pd.DataFrame, values: pd.DataFrame,
    table: str, preferred: pd.DataFrame, later: tuple[Later, ...], at_stake: pd.DataFrame, mappings: decisions.Mappings,
    policy: Policy, reference: sources.Reference, disagreements: pd.DataFrame | None = None, vague: tuple[problems.Problem, ...] = (),
) -> Bundle:
    """Look for what puts a broken verdict right again, and for more protein; every answer is computed in full.

    ``vague``: the problems of reading that doubt a number of portions.
    """
    kitchen = trial.Kitchen(entries, values, mappings, table, policy, reference, disagreements, reference.raw_cooked_pairs, vague)
    run = {**read, **matched, **weighed, **cooked, **totals, "findings": audited["findings"]}
    figures = standing.doubted(totals["figures"], audited["findings"], read["variants"], list(vague))
    verdicts = trial.local_verdicts(figures, read["recipes"], read["variants"], kitchen)
    whole = judge_scaling.dishes({**run, "lines": totals["settled"]}, combinations(reference.components, reference.energy_factors))
    plans = [restore_stage.restore(run, whole, verdicts, kitchen)]
    offered, found = [], []
    if more_protein.is_missed(verdicts):
        parsed, _ = parse_stage.parse(more_protein.lines(reference.protein_additions), mappings.unit_words, mappings.sizes, mappings.states, mappings.preparations)
        answers = match({"parsed": parsed}, preferred, table, mappings, reference, later, at_stake)
        offered, found = more_protein.offers(reference.protein_additions, parsed, answers["matched"], answers["candidates"])
    plans.append(more_protein.more_protein(run, verdicts, offered, kitchen))
    swaps, protein_additions = trial.together(plans, run, kitchen)
    return {"swaps": swaps, "protein_additions": protein_additions, "problems": problems.to_table(found)}


# ---------------------------------------------------------------- which stage takes what

@dataclass(frozen=True)
class Given:
    """What every partition is given beside its own recipes; ``preferred`` and ``name`` are of the first of several tables."""

    entries: Any
    values: Any
    errors: Any
    at_stake: Any
    mappings: Any
    preferred: Any
    name: str
    later: Any
    disagreements: Any
    policy: Policy
    reference: sources.Reference
    vague: tuple[problems.Problem, ...]

    @classmethod
    def of(cls, kitchen: Any, held: Callable[[Any], Any] = lambda one: one) -> Given:
        """From a job, or whatever has its table, several, mappings, policy, reference and ingested; ``held``: how the big ones are passed on."""
        several, table = kitchen.several, kitchen.table
        entries = held(table.entries)
        return cls(entries, held(table.values), held(table.errors), held(at_stake(table.values)), held(kitchen.mappings),
                   held(several.first.entries) if several else entries, several.first.name if several else table.name,
                   held(several.later if several else ()), held(several.disagreements if several else None), kitchen.policy, kitchen.reference,
                   tuple(one for one in kitchen.ingested if one.code in standing.VAGUE))


def chain(call: Callable[..., Any], part: Bundle, given: Given, last: str = STAGES[-1]) -> dict[str, Any]:
    """The stages in their order, each with what it takes, up to ``last``: audit or restore. ``call(stage, ...)`` runs one or submits
    it. What each call gave, by stage."""
    only, entries, values, mappings = given.reference.only, given.entries, given.values, given.mappings
    read = call("read", part, mappings)
    matched = call("match", read, given.preferred, given.name, mappings, only("match_weights", "rules"), given.later, given.at_stake)
    weighed = call("weigh", read, matched, entries, only("measures", "edible_portions", "densities", "amount_spread", "amount_rules"))
    cooked = call("cook", read, matched, weighed, entries, mappings, only("yields", "retention", "retention_rules", "components"), values)
    totals = call("total", read, matched, weighed, cooked, entries, values, given.name, only(
        "components", "energy_factors", "composition_spread", "rules", "wide_floors", "measures", "amount_rules", "densities", "edible_portions",
        "yields", "retention"), given.disagreements, given.reference.raw_cooked_pairs)
    judged = call("judge", read, totals, entries, given.policy, only(
        "claims", "nutrient_reference_values", "energy_factors", "added_substances", "allergens", "diets"))
    audited = call("audit", part, read, cooked, totals, judged, values, given.errors, only("tolerances", "rounding", "raw_cooked_pairs", "rules", "additives"))
    done = dict(zip(STAGES, (read, matched, weighed, cooked, totals, judged, audited)))
    if last == "restore":
        done[last] = call("restore", read, matched, weighed, cooked, totals, audited, entries, values, given.name, given.preferred, given.later,
                          given.at_stake, mappings, given.policy, only(*FOR_TRIALS), given.disagreements, given.vague)
    return done


def straight(part: Bundle, kitchen: Any, last: str = STAGES[-1]) -> dict[str, Bundle]:
    """All stages on one part at once, up to ``last`` as for :func:`chain`, without Prefect: the bundles by stage (``kitchen`` as for
    :meth:`Given.of`)."""
    return chain(lambda stage, *taken: globals()[stage](*taken), part, Given.of(kitchen), last)
