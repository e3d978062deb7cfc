"""Figures -> verdicts: which claims hold, for whom, by what margin.

Two kinds of claim, kept apart. Regulated nutrition claims (EU 1924/2006, annex) are law and
the same for everyone: audience ``general``. Local limits are the judgement of a unit, in a
policy file, for one audience each.

Every claim is judged on the 90 % interval, not on its middle (see ``conditions``). A figure
that is withheld makes a claim not assessable; a figure with a gap can only grow, so it
never satisfies an upper limit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import pandas as pd

from pipeline import tables
from pipeline.policy import MOLAR_MASS, Policy, in_mg
from pipeline.problems import WARNING, InputError, Problem
from pipeline.stages import conditions, judge_ingredients, judge_probability
from pipeline.stages.conditions import Condition, Outcome

GENERAL = "general"
REGULATED, LOCAL = "regulated-claim", "local-limit"
FORMS = ("any", "solid", "liquid", "beverage", "not-beverage")
CLAIM_BASES = ("100g", "100kcal", "100kJ", "energy", "fatty-acids", conditions.INGREDIENTS)
# The law sets a lower amount for drinks than for other liquid foods such as soup.
DRINK_COURSES = ("drink", "drinks", "beverage", "beverages")
NRV_UNIT = "% NRV"
SEVERAL_CONDITIONS = "not given: the claim has several conditions"
LIQUID_NOTE = "the law's figure is per 100 ml: taken as 100 g (density 1.0 g per ml assumed)"


@dataclass(frozen=True)
class _Claim:
    """A claim ready to be judged for any variant: its conditions by food form, or why not."""

    claim_id: str
    source_id: str
    conditions: tuple[tuple[str, Condition], ...]
    cannot: str = ""


def judge(
    figures: pd.DataFrame,
    recipes: pd.DataFrame,
    variants: pd.DataFrame,
    claims: pd.DataFrame,
    nutrient_reference_values: pd.DataFrame,
    policy: Policy,
    energy_factors: pd.DataFrame,
    ingredients: judge_ingredients.Ingredients | None = None,
) -> tuple[pd.DataFrame, list[Problem]]:
    """Verdicts of every variant, one row per audience and claim.

    ``figures``, ``recipes`` and ``variants`` are tables of those models; ``claims``,
    ``nutrient_reference_values`` and ``energy_factors`` the reference files of those names.
    ``ingredients`` says which lines bring salt or sugars of their own; without it the claims
    that turn on that are not assessable. ``headroom`` and ``decisive`` are left empty
    for ``judge_headroom`` to fill when the figures stand for good, but for claims of several
    conditions: what is stated there must be true of all. Returns (``tables.Verdicts``, problems). Raises :class:`InputError` for a row of
    ``claims`` that cannot be understood.
    """
    regulated = _regulated_claims(claims, nutrient_reference_values, energy_factors)
    factors = dict(zip(energy_factors["component"], energy_factors["kj_per_g"].astype("float64")))
    index = conditions.index_figures(figures)
    index |= ingredients.counts if ingredients else {}
    facts = recipes.set_index("recipe_id")[["food_form", "course"]].to_dict("index")
    local_claims = [(key, rows.to_dict("records")) for key, rows in policy.limits.groupby(["audience", "claim"], sort=True)]
    rows, problems = [], []
    for recipe_id, variant_id in zip(variants["recipe_id"], variants["variant_id"]):
        key = (recipe_id, variant_id)
        course = facts[recipe_id]["course"].strip().lower()
        brought = ingredients.words.get(key, {}) if ingredients else {}
        rows += _judge_regulated(index, key, regulated, facts[recipe_id]["food_form"], course, factors, brought)
        rows += _judge_local(index, key, policy, local_claims, course, factors)
        if course not in policy.course_shares:
            problems.append(_unlisted_course(recipe_id, course, policy))
    if not rows:
        return tables.empty(tables.Verdicts), problems
    verdicts = pd.DataFrame(rows, columns=tables.columns(tables.Verdicts))
    verdicts = verdicts.sort_values(["recipe_id", "variant_id", "kind", "audience", "claim"], kind="stable",
                                    key=lambda column: column.map(_law_first) if column.name == "kind" else column)
    return tables.checked(tables.Verdicts, verdicts, "judge"), list(dict.fromkeys(problems))


def conditions_by_variant(
    recipes: pd.DataFrame, variants: pd.DataFrame, claims: pd.DataFrame, nutrient_reference_values: pd.DataFrame, policy: Policy,
    energy_factors: pd.DataFrame,
) -> dict[tuple[str, str], list[Condition]]:
    """Every condition, of law and of policy, that a variant's figures are put to (tables as for :func:`judge`)."""
    regulated = _regulated_claims(claims, nutrient_reference_values, energy_factors)
    local = [rows.to_dict("records") for _, rows in policy.limits.groupby(["audience", "claim"], sort=True)]
    facts = recipes.set_index("recipe_id")[["food_form", "course"]].to_dict("index")
    found = {}
    for key in zip(variants["recipe_id"], variants["variant_id"]):
        course = facts[key[0]]["course"].strip().lower()
        forms = food_forms(facts[key[0]]["food_form"], course)
        found[key] = [condition for claim in regulated for form, condition in claim.conditions if form in forms]
        found[key] += [_local_condition(limit, policy.course_shares[course]) for limits in local
                       if not _not_for_course(policy, limits, course) for limit in limits]
    return found


def _law_first(kind: str) -> int:
    return 0 if kind == REGULATED else 1


def _unlisted_course(recipe_id: str, course: str, policy: Policy) -> Problem:
    return Problem(
        where=f"{recipe_id}: course", what=f"{policy.name!r} sets no limits for the course {course!r}",
        remedy="List the course in the policy's [[course]] tables, or correct the recipe's course",
        code="course-not-in-policy", severity=WARNING, stage="judge", recipe_id=recipe_id)


# ---------------------------------------------------------------- regulated claims

def _regulated_claims(claims: pd.DataFrame, reference_values: pd.DataFrame, energy_factors: pd.DataFrame) -> list[_Claim]:
    values = {row.component: (float(row.value), row.unit) for row in reference_values.itertuples(index=False)}
    problems = [problem for place, row in enumerate(claims.to_dict("records"), start=2)
                for problem in _claim_row_problems(place, row, values, set(energy_factors["component"]))]
    if problems:
        raise InputError(problems)
    prepared = []
    for claim_id, rows in claims.sort_values(["claim_id", "condition_no"], kind="stable").groupby("claim_id", sort=True):
        first = rows.iloc[0]
        if (rows["comparator"] == "").any():
            prepared.append(_Claim(claim_id, first["source_id"], (), cannot=first["note"]))
            continue
        parts = tuple((row["food_form"], _condition(row, values)) for row in rows.to_dict("records"))
        prepared.append(_Claim(claim_id, first["source_id"], parts))
    return prepared


def _claim_row_problems(place: int, row: dict, reference_values: dict, with_energy: set[str]) -> list[Problem]:
    where = f"reference/claims.csv:{place} ({row['claim_id']})"
    if row["comparator"] == "":
        return [] if row["note"] else [Problem(where, "cannot be assessed and does not say why", "Give the reason in note", "claim-row")]
    problems = []
    for column, allowed in (("comparator", tuple(conditions.COMPARATORS)), ("basis", CLAIM_BASES), ("food_form", FORMS)):
        if row[column] not in allowed:
            problems.append(Problem(where, f"{column} is {row[column]!r}", f"Use one of: {', '.join(allowed)}", "claim-row"))
    if not (isinstance(row["limit"], (int, float)) and math.isfinite(row["limit"]) and row["limit"] > 0):
        problems.append(Problem(where, f"limit is {row['limit']!r}", "Write a number above 0", "claim-row"))
    if not row["component"]:
        problems.append(Problem(where, "names no component", "Write a tagname, or tagnames joined by +", "claim-row"))
    if row["unit"] == NRV_UNIT and row["component"] not in reference_values:
        problems.append(Problem(where, f"{row['component']} has no nutrient reference value",
                                "Add it to reference/nutrient_reference_values.csv", "claim-row"))
    fats = {*conditions.FATTY_ACIDS, conditions.TRANS}
    first = "FAT" if row["component"].split("+")[0] in fats else row["component"].split("+")[0]
    if row["basis"] == "energy" and first not in with_energy:
        problems.append(Problem(where, f"{first} has no energy factor", "Add it to reference/energy_factors.csv", "claim-row"))
    return problems


def _condition(row: dict, reference_values: dict) -> Condition:
    limit, unit = float(row["limit"]), row["unit"]
    if unit == NRV_UNIT:
        value, unit = reference_values[row["component"]]
        limit = value * limit / 100
    return Condition(row["component"], row["basis"], row["comparator"], limit, unit, row["source_id"], row["any_of"])


def food_forms(food_form: str, course: str) -> set[str]:
    """The forms of food (``FORMS``) that a recipe is, for rows of reference files that are for one form only."""
    drink = food_form == "liquid" and course.strip().lower() in DRINK_COURSES
    return {"any", food_form, "beverage" if drink else "not-beverage"}


def _judge_regulated(index, key, claims: list[_Claim], food_form: str, course: str, factors: dict, brought: dict[str, str]) -> list[dict]:
    forms = food_forms(food_form, course)
    return [_regulated_verdict(index, key, claim, forms, factors, brought) for claim in claims]


def _regulated_verdict(index, key, claim: _Claim, forms: set[str], factors: dict, brought: dict[str, str]) -> dict:
    named = {"audience": GENERAL, "claim": claim.claim_id, "kind": REGULATED}
    if claim.cannot:
        return _blank_row(key, named, claim.source_id, f"Not assessable from figures: {claim.cannot}")
    applying = [condition for form, condition in claim.conditions if form in forms]
    if not applying:
        only = ", ".join(dict.fromkeys(form for form, _ in claim.conditions))
        return _blank_row(key, named, claim.source_id, f"The law sets this claim's conditions for {only} foods only")
    outcome, *told = _decide(index, key, applying, factors)
    notes = [brought[condition.component] for condition in applying if condition.component in brought]
    if "liquid" in forms and outcome.condition.basis == "100g":
        notes.append(LIQUID_NOTE)
    return _row(key, named, outcome, *told, notes)


# ---------------------------------------------------------------- local limits

def local_conditions(policy: Policy, course: str) -> dict[tuple[str, str], list[Condition]]:
    """By (audience, claim) the conditions that the policy puts to a recipe of this course; none where it does not judge it."""
    found = {}
    for key, rows in policy.limits.groupby(["audience", "claim"], sort=True):
        limits = rows.to_dict("records")
        share = policy.course_shares.get(course, 1.0)
        found[key] = [] if _not_for_course(policy, limits, course) else [_local_condition(limit, share) for limit in limits]
    return found


def _judge_local(index, key, policy: Policy, local_claims: list, course: str, factors: dict) -> list[dict]:
    rows = []
    for (audience, claim), limits in local_claims:
        named = {"audience": audience, "claim": claim, "kind": LOCAL}
        cannot = _not_for_course(policy, limits, course)
        if cannot:
            rows.append(_blank_row(key, named, limits[0]["source_id"], f"{cannot}; {policy.caveat}"))
            continue
        share = policy.course_shares[course]
        outcome, *told = _decide(index, key, [_local_condition(limit, share) for limit in limits], factors)
        scaled = share < 1 and outcome.condition.basis == "portion"
        notes = [f"the limit is {conditions.plain(100 * share)} % of a main meal's, for a {course}"] if scaled else []
        notes += _in_millimoles(outcome.condition)
        notes += [limit["note"] for limit in limits if limit["note"] and _local_condition(limit, share) == outcome.condition]
        rows.append(_row(key, named, outcome, *told, [*notes, policy.caveat]))
    return rows


def _in_millimoles(condition: Condition) -> list[str]:
    """The limit as units that work in millimoles write it."""
    if condition.component not in MOLAR_MASS:
        return []
    amount = in_mg(condition.component, condition.limit, condition.unit) / MOLAR_MASS[condition.component]
    return [f"the limit is {amount:.1f} mmol"]


def _not_for_course(policy: Policy, limits: list[dict], course: str) -> str:
    """Why the limits cannot be put to this course, or "" when they can."""
    if course not in policy.course_shares:
        return f"The policy sets no limits for the course '{course}'"
    least = any(limit["comparator"] not in conditions.UPPER and limit["basis"] == "portion" for limit in limits)
    if least and policy.course_shares[course] < 1:
        return f"The least amount is set for a main meal; this is a {course}"
    return ""


def _local_condition(limit: dict, share: float) -> Condition:
    scale = share if limit["basis"] == "portion" else 1.0
    return Condition(limit["component"], limit["basis"], limit["comparator"], limit["limit"] * scale, limit["unit"], limit["source_id"])


# ---------------------------------------------------------------- rows

def _decide(index, key, applying: list[Condition], factors: dict) -> tuple[Outcome, float, str, str]:
    """The condition that decides, the probability that all of them are true, what is said of headroom here, and the status of the
    figures behind it."""
    outcomes = [conditions.judge_condition(condition, conditions.quantity(index, *key, condition, factors)) for condition in applying]
    decides = conditions.all_of(outcomes)
    headroom = SEVERAL_CONDITIONS if len(outcomes) > 1 and decides.verdict != conditions.NOT_ASSESSABLE else ""
    return decides, judge_probability.of_claim(outcomes, decides.verdict), headroom, conditions.standing(outcomes, decides)


def _row(key, named: dict, outcome: Outcome, probability: float, headroom: str, status: str, notes: list[str]) -> dict:
    condition, found = outcome.condition, outcome.quantity
    return {
        "recipe_id": key[0], "variant_id": key[1], **named, "verdict": outcome.verdict,
        "component": condition.component, "value": found.value, "low": found.low,
        "high": found.high if math.isfinite(found.high) else math.nan,
        "limit": condition.limit, "unit": condition.unit, "margin": outcome.margin, "source_id": condition.source_id,
        "basis": condition.basis, "reason": "; ".join([conditions.explain(outcome), *notes]), "probability": probability,
        "headroom": headroom, "decisive": "", "comparator": condition.comparator, "status": status,
    }


def _blank_row(key, named: dict, source_id: str, reason: str) -> dict:
    numbers = dict.fromkeys(("value", "low", "high", "limit", "margin", "probability"), math.nan)
    return {"recipe_id": key[0], "variant_id": key[1], **named, "verdict": conditions.NOT_ASSESSABLE,
            "component": "", **numbers, "unit": "", "source_id": source_id, "basis": "", "reason": reason,
            "headroom": "", "decisive": "", "comparator": "", "status": ""}
