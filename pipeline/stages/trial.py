"""Changed recipes, computed in full: the variant as written with some lines reduced, left out or added, through the same stages.

What is read stays read: a changed line keeps its words, its entry and the probabilities of its other
candidates; its amount alone is another one. Weighing, cooking, summing and judging run again on the whole dish, so
that what one line does to the cooking of another is in the figures. Doubts of the audit on the variant, and a vague
number of portions, stay on what is made of it. All trials of a call go through the stages together.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from pipeline import tables
from pipeline.policy import Policy
from pipeline.problems import Problem
from pipeline.stages import conditions
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
    mappings: object
    table: str
    policy: Policy
    reference: object
    disagreements: pd.DataFrame | None = None
    raw_cooked_pairs: pd.DataFrame | None = None
    vague: tuple[Problem, ...] = ()


@dataclass(frozen=True)
class Addition:
    """A line that a trial adds: its words, what the stages before weighing said of them (rows without ``line_id``), and the
    words of the method that come with it."""

    text: str
    parsed: dict
    matched: dict
    candidates: pd.DataFrame
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
    """What trials came to. ``verdicts`` (its model, local limits alone) and ``figures`` name each trial in
    ``variant_id``; ``names`` gives those names in the order of the changes; the other tables are as the total stage gives them."""

    names: list[str]
    verdicts: pd.DataFrame
    figures: pd.DataFrame
    settled: pd.DataFrame
    contributions: pd.DataFrame
    weighed: pd.DataFrame


def tried(changes: list[Change], run: Mapping[str, pd.DataFrame], kitchen: Kitchen) -> Tried:
    """Every change computed in full.

    ``run``: recipes, variants, lines (as written), steps, parsed, matched, candidates, weighed, findings of the
    recipes concerned. Raises what the stages raise.
    """
    names = _names(len(changes), run["variants"])
    made = _made(changes, names, run)
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
    figures = doubted(totals["figures"], made["findings"], pd.concat([variants, run["variants"]], ignore_index=True), list(kitchen.vague))
    verdicts = local_verdicts(figures, recipes, variants, kitchen)
    return Tried(names, verdicts, figures, settled, totals["contributions"], weighed)


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
    wanted = {(change.recipe_id, change.variant_id) for change in changes}
    of = {name: _by_variant(run[name], wanted) for name in ("lines", "steps", "variants", "findings")}
    line_ids = pd.concat([of["lines"][key] for key in sorted(wanted)])["line_id"]
    rows = {name: run[name][run[name]["line_id"].isin(line_ids)] for name in BY_LINE}
    by_variant = {name: _by_variant(table.assign(**_variant_of(table)), wanted) for name, table in rows.items()}
    made: dict[str, list[pd.DataFrame]] = {name: [] for name in (*of, *BY_LINE)}
    for change, name in zip(changes, names, strict=True):
        for table, frame in _one(change, name, of, by_variant).items():
            made[table].append(frame)
    return {name: pd.concat(frames, ignore_index=True)[list(run[name].columns)].astype(run[name].dtypes.to_dict())
            for name, frames in made.items()}


def _one(change: Change, name: str, of: dict, by_variant: dict) -> dict[str, pd.DataFrame]:
    key = (change.recipe_id, change.variant_id)
    gone = {number for number, times in change.times if times == LEFT_OUT}
    found = {table: frames[key].assign(variant_id=name) for table, frames in of.items()}
    found["lines"] = _named(found["lines"][~found["lines"]["line_no"].isin(gone)], change.recipe_id, name)
    for table, frames in by_variant.items():
        found[table] = _named(frames[key][~frames[key]["line_no"].isin(gone)], change.recipe_id, name)
    factor = found["parsed"]["line_no"].map(dict(change.times)).fillna(1.0)
    found["parsed"] = found["parsed"].assign(**{end: found["parsed"][end] * factor for end in ("quantity_low", "quantity_high")})
    return _with_addition(found, change, name) if change.addition else found


def _with_addition(found: dict[str, pd.DataFrame], change: Change, name: str) -> dict[str, pd.DataFrame]:
    new = change.addition
    number = int(found["lines"]["line_no"].max()) + 1
    line_id = f"{change.recipe_id}/{name}/{number}"
    line = found["lines"].iloc[:1].assign(line_no=number, line_id=line_id, text=new.text, section="", origin="added", source_file="", source_line=0)
    more = {"lines": line, "parsed": pd.DataFrame([{**new.parsed, "line_id": line_id}]),
            "matched": pd.DataFrame([{**new.matched, "line_id": line_id}]), "candidates": new.candidates.assign(line_id=line_id)}
    if new.method:
        steps = found["steps"]
        more["steps"] = pd.DataFrame([{"recipe_id": change.recipe_id, "variant_id": name, "text": new.method,
                                       "step_no": int(steps["step_no"].max()) + 1 if len(steps) else 1}])
    return {table: pd.concat([frame, more[table]], ignore_index=True) if table in more else frame for table, frame in found.items()}


def _by_variant(table: pd.DataFrame, wanted: set[tuple[str, str]]) -> dict[tuple[str, str], pd.DataFrame]:
    groups = dict(iter(table.groupby(KEY, sort=False)))
    return {key: groups.get(key, table.iloc[:0]) for key in wanted}


def _variant_of(table: pd.DataFrame) -> dict[str, pd.Series]:
    parts = table["line_id"].str.split("/", expand=True)
    return {"recipe_id": parts[0], "variant_id": parts[1], "line_no": parts[2].astype("int64")}


def _named(table: pd.DataFrame, recipe_id: str, name: str) -> pd.DataFrame:
    return table.assign(line_id=f"{recipe_id}/{name}/" + table["line_no"].astype("str"))


def not_better(verdict: str, wanted: str) -> bool:
    """Whether a verdict is worse than the one wanted; one that cannot be given is the worst."""
    return RANK[verdict] < RANK[wanted]


RANK = {conditions.NOT_ASSESSABLE: 0, conditions.FAILS: 1, conditions.UNCERTAIN: 2, conditions.HOLDS: 3}
assert set(RANK) == set(tables.VERDICTS)
