"""Changed recipes, computed in full: the variant as written with some lines reduced, left out or added, through the same stages.

What is read stays read: a changed line keeps its words, its entry and the probabilities of its other
candidates; its amount alone is another one. Weighing, cooking, summing and judging run again on the whole dish, so
that what one line does to the cooking of another is in the figures. The components are those that a limit is on, and what these
are made of. Doubts of the audit on the variant, and a vague
number of portions, stay on what is made of it. All trials of a call go through the stages together.
"""

from __future__ import annotations

from collections.abc import Generator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd

from pipeline.combinations import DERIVED
from pipeline.decisions import Mappings
from pipeline.policy import Policy
from pipeline.problems import Problem
from pipeline.sources import Reference
from pipeline.stages.cook import cook
from pipeline.stages.judge import judge
from pipeline.stages.standing import doubted
from pipeline.stages.total import total
from pipeline.stages.total_settle import settle
from pipeline.stages.weigh import weigh

KEY = ["recipe_id", "variant_id"]
NAMED = "trial"
# The tables of a run that a trial starts from, beside recipes and variants.
BY_LINE = ("parsed", "matched", "candidates")
LEFT_OUT = 0.0


@dataclass(frozen=True)
class Kitchen:
    """What the stages are given beside the tables of the run; the names as in :mod:`pipeline.steps`."""

    entries: pd.DataFrame
    values: pd.DataFrame
    mappings: Mappings
    table: str
    policy: Policy
    reference: Reference
    disagreements: pd.DataFrame | None = None
    raw_cooked_pairs: pd.DataFrame | None = None
    vague: tuple[Problem, ...] = ()


@dataclass(frozen=True, eq=False)
class Addition:
    """A line that a trial adds: its words, what the stages before weighing said of them (rows without ``line_id``), and the
    words of the method that come with it."""

    text: str
    parsed: dict
    matched: dict
    candidates: list[dict]
    method: str = ""


@dataclass(frozen=True)
class Change:
    """One changed recipe: of which variant, how many times as much of which lines (0: left out), and what comes in."""

    recipe_id: str
    variant_id: str
    times: tuple[tuple[int, float], ...] = ()
    addition: Addition | None = None


@dataclass(frozen=True)
class Tried:
    """What trials came to. ``verdicts`` (its model, local limits alone), ``figures`` (of the limits' components),
    ``settled`` and ``contributions`` name each trial in ``variant_id``; ``name_of`` says which."""

    name_of: dict[Change, str]
    verdicts: pd.DataFrame
    figures: pd.DataFrame
    settled: pd.DataFrame
    contributions: pd.DataFrame

    @cached_property
    def by_audience(self) -> dict[tuple[str, str], dict[str, dict]]:
        """The verdict rows by claim, for each trial and audience."""
        found: dict[tuple[str, str], dict[str, dict]] = {}
        for row in self.verdicts.to_dict("records"):
            found.setdefault((row["variant_id"], row["audience"]), {})[row["claim"]] = row
        return found

    def rows(self, change: Change, audience: str) -> dict[str, dict]:
        """What an audience's limits say of one changed recipe: verdict rows by claim."""
        return self.by_audience[self.name_of[change], audience]


# What asks for trials, is told what they came to, asks for more, and ends with its table.
Plan = Generator[list[Change], Tried, pd.DataFrame]


def together(plans: list[Plan], run: Mapping[str, pd.DataFrame], kitchen: Kitchen) -> list[pd.DataFrame]:
    """The tables of several plans, in their order; what all of them ask for at a time goes through the stages in one pass."""
    tables_of: dict[int, pd.DataFrame] = {}
    asked = {place: _asked(plan, None, place, tables_of) for place, plan in enumerate(plans)}
    while any(asked.values()):
        told = tried([*dict.fromkeys(change for changes in asked.values() for change in changes)], run, kitchen)
        asked = {place: _asked(plans[place], told, place, tables_of) for place, changes in asked.items() if changes}
    return [tables_of[place] for place in range(len(plans))]


def _asked(plan: Plan, told: Tried | None, place: int, tables_of: dict[int, pd.DataFrame]) -> list[Change]:
    """The next trials of a plan; none when it has ended with its table."""
    try:
        return next(plan) if told is None else plan.send(told)
    except StopIteration as ended:
        tables_of[place] = ended.value
        return []


def tried(changes: list[Change], run: Mapping[str, pd.DataFrame], kitchen: Kitchen) -> Tried:
    """Every change computed in full.

    ``run``: recipes, variants, lines (as written), steps, parsed, matched, candidates, weighed, findings of the
    recipes concerned. Raises what the stages raise.
    """
    names = _names(len(changes), run["variants"])
    made = _made(changes, names, run)
    kitchen = _narrowed(kitchen, made)
    reference, lines, variants = kitchen.reference, made["lines"], made["variants"]
    recipes = run["recipes"][run["recipes"]["recipe_id"].isin(variants["recipe_id"])].reset_index(drop=True)
    weighed, _ = weigh(made["parsed"], made["matched"], lines, recipes, variants, kitchen.entries, reference.measures,
                       reference.edible_portions, reference.densities, reference.amount_spread, reference.amount_rules)
    cooked, retentions, _ = cook(made["parsed"], made["matched"], weighed, lines, made["steps"], kitchen.entries, reference.yields,
                                 reference.retention, reference.retention_rules, kitchen.mappings.cooking_verbs, kitchen.mappings.methods,
                                 reference.components, kitchen.values)
    settled = settle(lines, made["parsed"], made["matched"], weighed, cooked, variants, reference.rule("read_above"))
    # A measure's error is shared within a recipe, so the recipe's own lines decide with those of the trial whether it is one.
    beside = run["weighed"][run["weighed"]["line_id"].str.split("/").str[0].isin(recipes["recipe_id"])]
    totals = total(settled, pd.concat([weighed, beside], ignore_index=True), cooked, retentions, made["candidates"], variants, recipes,
                   kitchen.entries, kitchen.values, reference, kitchen.table, kitchen.disagreements, kitchen.raw_cooked_pairs)
    wanted = totals["figures"][totals["figures"]["component"].isin(kitchen.policy.limits["component"])].reset_index(drop=True)
    figures = doubted(wanted, made["findings"], pd.concat([variants, run["variants"]], ignore_index=True), list(kitchen.vague))
    verdicts = local_verdicts(figures, recipes, variants, kitchen)
    return Tried(dict(zip(changes, names, strict=True)), verdicts, figures, settled, totals["contributions"])


def _narrowed(kitchen: Kitchen, made: Mapping[str, pd.DataFrame]) -> Kitchen:
    """The kitchen with the components that its limits need, and the foods that the lines name or may mean, alone."""
    limited = set(kitchen.policy.limits["component"])
    needed = limited | {part for name in limited for part in DERIVED.get(name, ())}
    components = kitchen.reference.components
    foods = {*made["matched"]["entry_id"], *made["candidates"]["entry_id"]}
    if kitchen.raw_cooked_pairs is not None:
        foods |= set(kitchen.raw_cooked_pairs["cooked_entry_id"])
    return replace(
        kitchen, entries=kitchen.entries[kitchen.entries["entry_id"].isin(foods)], values=kitchen.values[kitchen.values["entry_id"].isin(foods)],
        reference=replace(kitchen.reference, frames={**kitchen.reference.frames, "components": components[components["component"].isin(needed)]}))


def local_verdicts(figures: pd.DataFrame, recipes: pd.DataFrame, variants: pd.DataFrame, kitchen: Kitchen) -> pd.DataFrame:
    """The verdicts (model Verdicts) on the policy's limits alone."""
    reference = kitchen.reference
    verdicts, _ = judge(figures, recipes, variants, reference.claims.iloc[:0], reference.nutrient_reference_values, kitchen.policy,
                        reference.energy_factors)
    return verdicts


def _names(count: int, variants: pd.DataFrame) -> list[str]:
    """Ids that no variant has."""
    start = NAMED
    while variants["variant_id"].str.startswith(start).any():
        start += "-"
    return [f"{start}-{number}" for number in range(count)]


def _made(changes: list[Change], names: list[str], run: Mapping[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    """The tables of the changed recipes, up to matching, and the findings that stay on them."""
    added = _added(changes, names, run)
    return {name: _table(run[name], changes, names, added.get(name)) for name in (*BY_LINE, "lines", "steps", "variants", "findings")}


def _table(table: pd.DataFrame, changes: list[Change], names: list[str], added: pd.DataFrame | None) -> pd.DataFrame:
    """The rows of each changed recipe's variant under the name of its trial, without what is left out, with what is added."""
    by_line = "line_id" in table
    keys = _keys(table)
    places = keys.groupby(KEY, sort=False).indices
    none = np.empty(0, dtype=np.int64)
    taken = [places.get((change.recipe_id, change.variant_id), none) for change in changes]
    whole = table.take(np.concatenate(taken)).reset_index(drop=True)
    trial = np.repeat(np.arange(len(changes)), [len(rows) for rows in taken])
    name = pd.Series(np.array(names, dtype=object)[trial], index=whole.index, dtype="str")
    if by_line:
        numbers = keys["line_no"].take(np.concatenate(taken)).reset_index(drop=True)
        factor = pd.Series([dict(changes[one].times).get(number, 1.0) for one, number in zip(trial, numbers, strict=True)], index=whole.index)
        whole["line_id"] = whole["line_id"].str.split("/").str[0] + "/" + name + "/" + numbers.astype("str")
        for end in ("quantity_low", "quantity_high") if "quantity_low" in whole else ():
            whole[end] *= factor
        kept = factor > LEFT_OUT
        whole, name = whole[kept], name[kept]
    if "variant_id" in whole:
        whole = whole.assign(variant_id=name)
    if added is not None and len(added):
        whole = pd.concat([whole, added[list(table.columns)]], ignore_index=True)
    return whole.astype(table.dtypes.to_dict()).reset_index(drop=True)


def _keys(table: pd.DataFrame) -> pd.DataFrame:
    """Recipe and variant of each row, and the number of its line where it has one."""
    if "line_id" not in table:
        return table[KEY].reset_index(drop=True)
    parts = table["line_id"].str.split("/", expand=True)
    return pd.DataFrame({"recipe_id": parts[0], "variant_id": parts[1], "line_no": parts[2].astype("int64")}).reset_index(drop=True)


def _added(changes: list[Change], names: list[str], run: Mapping[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    """The rows that additions bring: the last line of their dish, and the last step of its method."""
    bringing = [(change, name) for change, name in zip(changes, names, strict=True) if change.addition]
    if not bringing:
        return {}
    last_line = run["lines"].groupby(KEY)["line_no"].max()
    last_step = run["steps"].groupby(KEY)["step_no"].max()
    found: dict[str, list] = {name: [] for name in (*BY_LINE, "lines", "steps")}
    for change, name in bringing:
        key, new = (change.recipe_id, change.variant_id), change.addition
        number = int(last_line[key]) + 1
        line_id = {"line_id": f"{change.recipe_id}/{name}/{number}"}
        dish = {"recipe_id": change.recipe_id, "variant_id": name}
        found["lines"].append({**dish, **line_id, "line_no": number, "text": new.text, "section": "", "origin": "added", "source_file": "", "source_line": 0})
        found["parsed"].append({**new.parsed, **line_id})
        found["matched"].append({**new.matched, **line_id})
        found["candidates"] += [{**row, **line_id} for row in new.candidates]
        if new.method:
            found["steps"].append({**dish, "step_no": int(last_step.get(key, 0)) + 1, "text": new.method})
    return {name: pd.DataFrame(rows, columns=list(run[name].columns)) for name, rows in found.items() if rows}
