"""The conditions that `potash verify` judges again: read from ``reference/claims.csv`` and the policy file."""

from __future__ import annotations

import tomllib
from typing import NamedTuple

from pipeline.problems import InputError, Problem
from pipeline.verify_files import Rows, number
from pipeline.verify_sources import Project

GENERAL = "general"
DRINKS = ("drink", "drinks", "beverage", "beverages")
MILLIGRAMS = {"g": 1000.0, "mg": 1.0, "ug": 0.001}
# Grams per mole: IUPAC abridged standard atomic weights (from memory).
MOLAR_MASS = {"NA": 22.990, "P": 30.974, "K": 39.098}


class Condition(NamedTuple):
    """A tagname, or tagnames joined by "+", against a limit."""

    component: str
    basis: str
    comparator: str
    limit: float
    unit: str
    source_id: str
    any_of: str = ""


# (recipe_id, variant_id, audience, claim) -> (kind, conditions or none where it cannot be judged, source_id)
Claims = dict[tuple[str, str, str, str], tuple[str, list[Condition], str]]


def local_of(claims: Claims) -> dict[tuple[str, str, str], dict[str, list[Condition]]]:
    """The local limits alone: by recipe, variant and audience the conditions of each claim."""
    found: dict[tuple[str, str, str], dict[str, list[Condition]]] = {}
    for (recipe_id, variant_id, audience, claim), (kind, conditions, _) in claims.items():
        if kind == "local-limit":
            found.setdefault((recipe_id, variant_id, audience), {})[claim] = conditions
    return found


def conditions_of(tables: dict[str, Rows], project: Project, policy_path: str) -> Claims:
    """Every claim of every variant with the conditions that apply to it."""
    regulated, policy = _regulated(project), read_policy(project, policy_path)
    found: Claims = {}
    for row in tables["variants"].values():
        recipe = tables["recipes"].get(row["recipe_id"])
        if recipe is None:
            continue
        course, forms = recipe["course"].strip().lower(), forms_of(recipe)
        key = (row["recipe_id"], row["variant_id"])
        for claim, (conditions, source_id) in regulated.items():
            applying = [condition for form, condition in conditions if form in forms]
            found[*key, GENERAL, claim] = ("regulated-claim", applying, source_id)
        for (audience, claim), limits in _by_claim(project, policy).items():
            found[*key, audience, claim] = ("local-limit", _for_course(limits, policy, course), limits[0].source_id)
    return found


def rounding_of(project: Project, policy_path: str) -> str:
    """The unit's own rule of ``reference/rounding.csv`` that the policy names; "" where it names none."""
    return read_policy(project, policy_path)["policy"].get("rounding", "")


def forms_of(recipe: dict[str, str]) -> set[str]:
    """The forms of food that rows of reference files may be for."""
    drink = recipe["food_form"] == "liquid" and recipe["course"].strip().lower() in DRINKS
    return {"any", recipe["food_form"], "beverage" if drink else "not-beverage"}


def _regulated(project: Project) -> dict[str, tuple[list[tuple[str, Condition]], str]]:
    reference_values = project.reference("nutrient_reference_values")
    rows: dict[str, list[dict]] = {}
    for row in project.listed("reference/claims.csv"):
        rows.setdefault(row["claim_id"], []).append(row)
    found = {}
    for claim, group in rows.items():
        group.sort(key=lambda row: float(row["condition_no"]))
        conditions = []
        for row in group if all(row["comparator"] for row in group) else []:
            limit, unit = number(row["limit"]), row["unit"]
            if unit == "% NRV":
                whole = reference_values[row["component"]]
                limit, unit = number(whole["value"]) * limit / 100, whole["unit"]
            conditions.append((row["food_form"], Condition(
                row["component"], row["basis"], row["comparator"], limit, unit, row["source_id"], row["any_of"])))
        found[claim] = (conditions, group[0]["source_id"])
    return found


def read_policy(project: Project, path: str) -> dict:
    """The policy file as TOML; InputError when it cannot be read."""
    try:
        return tomllib.loads(project.policy(path).read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise InputError(Problem(str(project.policy(path)), f"cannot be read as the policy of the release ({error})",
                                 "Restore it from version control: verdicts are verified against it", "missing-file", stage="verify")) from None


def _by_claim(project: Project, policy: dict) -> dict[tuple[str, str], list[Condition]]:
    units: dict[str, list[str]] = {}
    for row in project.listed("reference/components.csv"):
        units.setdefault(row["component"], []).append(row["unit"])
    found: dict[tuple[str, str], list[Condition]] = {}
    for row in policy["limit"]:
        component, limit, unit = row["component"], float(row["limit"]), row["unit"]
        if unit not in units[component]:
            own = units[component][0]
            limit, unit = limit * (MOLAR_MASS[component] if unit == "mmol" else MILLIGRAMS[unit]) / MILLIGRAMS[own], own
        found.setdefault((row["audience"], row["claim"]), []).append(
            Condition(component, row["basis"], row["comparator"], limit, unit, row["source_id"]))
    return found


def _for_course(limits: list[Condition], policy: dict, course: str) -> list[Condition]:
    """The limits scaled to a course; none where the policy does not judge it."""
    shares = {word.strip().lower(): float(row["share"]) for row in policy["course"] for word in row["ids"]}
    if course not in shares:
        return []
    least = any(limit.comparator.startswith(">") and limit.basis == "portion" for limit in limits)
    if least and shares[course] < 1:
        return []
    return [limit._replace(limit=limit.limit * (shares[course] if limit.basis == "portion" else 1.0)) for limit in limits]
