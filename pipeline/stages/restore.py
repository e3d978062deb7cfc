"""Restore: when a variant breaks a verdict, the smallest leave-outs or reductions that put it right again.

As a renal kitchen does it: with fish added, the leafy greens come out. Top to bottom: find the variants whose verdict on a
local limit is worse than that of the recipe as written; see which of their lines may be changed (never what makes the variant);
search (:mod:`pipeline.stages.restore_search`); compute the best few in full (:mod:`pipeline.stages.trial`) and keep the first that does;
say it in words. A change that makes another limit of the same audience worse is no remedy.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from pipeline import tables
from pipeline.stages import conditions, restore_words, standing
from pipeline.stages.conditions import HOLDS, NOT_ASSESSABLE, UNCERTAIN
from pipeline.stages.judge import local_conditions
from pipeline.stages.judge_scaling import Dish
from pipeline.stages.match_words import singular
from pipeline.stages.restore_search import Scaled, Step, Wanted, Way, candidates, scaled
from pipeline.stages.trial import RANK, Change, Kitchen, Tried, tried
from pipeline.swaps_form import NOT_RESTORED, NOT_SEARCHED, RESTORED, Swaps

BASE = "base"
# Candidates of one case that go through the stages together.
AT_ONCE = 3
SAME = 1e-9
Key = tuple[str, str]


@dataclass
class _Case:
    """One variant and audience with a broken limit. ``before`` and ``written``: verdict rows by claim, of the recipe and of the variant."""

    recipe_id: str
    variant_id: str
    audience: str
    before: dict[str, dict]
    written: dict[str, dict]
    wanted: list[Wanted]
    broken: list[str]
    dish: Scaled | None = None
    ways: list[Way] = field(default_factory=list)
    waiting: list[Step] = field(default_factory=list)
    looked_at: int = 0
    nearest: Step | None = None
    outcome: str = ""
    step: Step | None = None
    after: dict[str, dict] = field(default_factory=dict)

    @property
    def key(self) -> Key:
        return self.recipe_id, self.variant_id

    @property
    def open(self) -> bool:
        return self.outcome == ""


def restore(run: Mapping[str, pd.DataFrame], dishes: Mapping[Key, Dish], verdicts: pd.DataFrame, kitchen: Kitchen) -> pd.DataFrame:
    """Model Swaps.

    ``run``: recipes, variants, lines (as written), settled, parsed, matched, candidates, weighed, steps, findings,
    contributions; ``dishes`` as :func:`pipeline.stages.judge_scaling.dishes` gives them; ``verdicts``: those on the local limits, on
    the figures as they stand for good.
    """
    cases = _cases(run, dishes, verdicts, kitchen)
    most = int(kitchen.reference.rule("swap_most_changes"))
    for case in cases:
        if case.open:
            _look_further(case, most)
    while trying := [case for case in cases if case.open and case.waiting]:
        asked = [(case, step) for case in trying for step in case.waiting[:AT_ONCE]]
        told = _tried(asked, run, kitchen)
        for case in trying:
            _settle(case, told)
            if case.open and not case.waiting and case.looked_at < most:
                _look_further(case, most)
    lost = [(case, case.nearest) for case in cases if case.open and case.nearest]
    told = _tried(lost, run, kitchen)
    for case, step in lost:
        case.step, case.after = step, told[id(case), step.times]
    for case in cases:
        case.outcome = case.outcome or NOT_RESTORED
    return _table(cases, run, kitchen)


# ---------------------------------------------------------------- what is broken, and what may be changed

def _cases(run, dishes, verdicts: pd.DataFrame, kitchen: Kitchen) -> list[_Case]:
    by_claim: dict[tuple[str, str, str], dict[str, dict]] = {}
    for row in verdicts.to_dict("records"):
        by_claim.setdefault((row["recipe_id"], row["variant_id"], row["audience"]), {})[row["claim"]] = row
    courses = {row.recipe_id: row.course.strip().lower() for row in run["recipes"].itertuples()}
    cases = []
    for (recipe_id, variant_id, audience), written in by_claim.items():
        before = by_claim.get((recipe_id, BASE, audience), {})
        broken = [claim for claim, row in written.items() if claim in before and before[claim]["verdict"] in (HOLDS, UNCERTAIN)
                  and RANK[row["verdict"]] < RANK[before[claim]["verdict"]]]
        if variant_id == BASE or not broken:
            continue
        asked = local_conditions(kitchen.policy, courses[recipe_id])
        sought = [claim for claim in broken if not in_doubt_alone(written[claim])]
        wanted = [Wanted(claim, tuple(asked[audience, claim]), (before if claim in sought else written)[claim]["verdict"]) for claim in written]
        case = _Case(recipe_id, variant_id, audience, before, written, wanted, sought)
        if not sought or any(written[claim]["verdict"] == NOT_ASSESSABLE for claim in sought) or case.key not in dishes:
            case.outcome = NOT_SEARCHED
        else:
            case.dish = scaled(dishes[case.key], run, *_doubts(case.key, run, kitchen))
            case.ways = _ways(case, run, kitchen)
        cases.append(case)
    return cases


def in_doubt_alone(row: Mapping) -> bool:
    """Whether a verdict is uncertain although the whole interval keeps the limit: somebody doubts the figure, and no leaving out settles that."""
    return row["verdict"] == UNCERTAIN and row["margin"] >= 0


def _doubts(key: Key, run, kitchen: Kitchen) -> tuple[frozenset[str], bool, float]:
    """What stays in doubt whatever is left out: components by the audit, figures per portion by a vague number of portions."""
    audited = standing.audited(run["findings"])
    guessed = standing.guessed_portions(run["variants"], list(kitchen.vague))
    return (frozenset(component for recipe_id, variant_id, component in audited if (recipe_id, variant_id) == key), key in guessed,
            kitchen.reference.rule("check_confidence_below"))


def _ways(case: _Case, run, kitchen: Kitchen) -> list[Way]:
    """The lines of the recipe as written that may be changed, with what may be left of each.

    Not a line that makes the variant: added, replaced, of another amount, or optional. Not one that gives a broken figure
    next to nothing: nobody leaves out the water. What the dish is named for may be reduced, and is never left out.
    """
    steps = int(kitchen.reference.rule("swap_steps"))
    share = kitchen.reference.rule("swap_least_share")
    lines = run["settled"].merge(run["lines"][["line_id", "origin"]], on="line_id").merge(
        run["parsed"][["line_id", "quantity_low"]], on="line_id", suffixes=("", "_read"))
    lines = lines[(lines["recipe_id"] == case.recipe_id) & (lines["variant_id"] == case.variant_id)].set_index("line_id")
    name = run["recipes"].set_index("recipe_id").at[case.recipe_id, "name"]
    gives = _largest_share(case)
    ways = []
    for line_id, number, grams in zip(case.dish.dish.line_ids, case.dish.numbers, case.dish.grams, strict=True):
        row = lines.loc[line_id]
        left = [1 - cut / steps for cut in range(1, steps)] if not math.isnan(row["quantity_low_read"]) else []
        left += [] if named_for(row["phrase"], name) else [0.0]
        if row["origin"] == "base" and not row["optional"] and gives[number] >= share and left:
            ways.append(Way(int(number), float(grams), tuple(left)))
    return ways


def _largest_share(case: _Case) -> dict[int, float]:
    """By line: the largest part that it has in a broken figure."""
    whole = case.dish.dish
    found = np.zeros(len(case.dish.numbers))
    for one in case.wanted:
        for condition in one.conditions if one.claim in case.broken else ():
            asked = (condition.component, condition.unit, condition.basis)
            amounts = whole.of_figure(asked).amounts if whole.has(asked) else found
            if amounts.sum() > 0:
                found = np.maximum(found, amounts / amounts.sum())
    return dict(zip(case.dish.numbers, found, strict=True))


def named_for(phrase: str, name: str) -> bool:
    """Whether a dish is named for a food: the phrase's last word is in its name, in the singular or the plural."""
    words = ["".join(filter(str.isalpha, word)) for word in phrase.lower().split()]
    head = next((word for word in reversed(words) if word), "")
    return singular(head) in {singular("".join(filter(str.isalpha, word))) for word in name.lower().split()} - {""}


# ---------------------------------------------------------------- search, then full computation

def _look_further(case: _Case, most: int) -> None:
    case.waiting, case.looked_at, nearest = candidates(case.dish, case.ways, case.wanted, range(case.looked_at + 1, most + 1))
    if nearest and math.isfinite(nearest.margin) and (case.nearest is None or nearest.margin > case.nearest.margin):
        case.nearest = nearest


def _tried(asked: list[tuple[_Case, Step]], run, kitchen: Kitchen) -> dict[tuple, dict[str, dict]]:
    """By case and change: the verdict rows of its audience, by claim."""
    if not asked:
        return {}
    changes = list(dict.fromkeys(Change(*case.key, step.times) for case, step in asked))
    result = tried(changes, run, kitchen)
    name_of = dict(zip(changes, result.names, strict=True))
    rows = _rows_by_trial(result)
    return {(id(case), step.times): rows[name_of[Change(*case.key, step.times)], case.audience] for case, step in asked}


def _rows_by_trial(result: Tried) -> dict[tuple[str, str], dict[str, dict]]:
    found: dict[tuple[str, str], dict[str, dict]] = {}
    for row in result.verdicts.to_dict("records"):
        found.setdefault((row["variant_id"], row["audience"]), {})[row["claim"]] = row
    return found


def _settle(case: _Case, told: dict) -> None:
    """Takes the first of the waiting candidates that went through the stages and does what is wanted."""
    for step in case.waiting[:AT_ONCE]:
        after = told[id(case), step.times]
        if all(RANK[after[one.claim]["verdict"]] >= RANK[one.least] for one in case.wanted):
            case.outcome, case.step, case.after = RESTORED, step, after
            return
    case.waiting = case.waiting[AT_ONCE:]


# ---------------------------------------------------------------- the table

def _table(cases: list[_Case], run, kitchen: Kitchen) -> pd.DataFrame:
    speaker = restore_words.Speaker.of(run, kitchen)
    rows = [row for case in cases for row in _case_rows(case, speaker)]
    if not rows:
        return tables.empty(Swaps)
    frame = pd.DataFrame(rows, columns=tables.columns(Swaps)).sort_values(["recipe_id", "variant_id", "audience", "claim"], ignore_index=True)
    return tables.checked(Swaps, frame, "restore")


def _case_rows(case: _Case, speaker: restore_words.Speaker) -> list[dict]:
    after = case.after or case.written
    times = case.step.times if case.step else ()
    change = speaker.change(case.recipe_id, case.variant_id, times)
    rows = []
    for claim, row in after.items():
        numbers = {name: row[name] for name in ("component", "value", "low", "high", "limit", "unit", "basis", "comparator", "probability")}
        rows.append({
            "recipe_id": case.recipe_id, "variant_id": case.variant_id, "audience": case.audience, "claim": claim, "outcome": case.outcome,
            "change": change, "lines": "; ".join(f"{number}: {left:g}" for number, left in times), "taken_g": case.step.grams if case.step else 0.0,
            "verdict_base": case.before[claim]["verdict"], "verdict_written": case.written[claim]["verdict"], "verdict": row["verdict"], **numbers,
            "from_parts": _follows(case, row), "words": speaker.swap(case.key, case.audience, case.outcome, change, row, case.written[claim], claim in case.broken)})
    return rows


def _follows(case: _Case, row: dict) -> bool:
    """Whether the figure of the changed dish is what scaling the parts of the lines gives."""
    if case.step is None or case.dish is None or math.isnan(row["value"]):
        return False
    asked = (row["component"], row["unit"], row["basis"])
    if not case.dish.dish.has(asked):
        return False
    left = dict(case.step.times)
    value, low, high = case.dish.dish.at(asked, np.array([[left.get(number, 1.0) for number in case.dish.numbers]]))
    return all(math.isclose(one, row[name], rel_tol=SAME, abs_tol=SAME)
               for one, name in ((value[0], "value"), (low[0], "low"), (high[0], "high")) if not math.isnan(row[name]))
