"""Restore: when a variant breaks a verdict, the smallest leave-outs or reductions that put it right again.

As a renal kitchen does it: with fish added, the leafy greens come out. Top to bottom: find the variants whose verdict on a
local limit is worse than that of the recipe as written; see which of their lines may be changed (never what makes the variant);
search (:mod:`pipeline.stages.restore_search`); compute in full (:mod:`pipeline.stages.trial`), the smallest change first, and keep the
first that does; say it in words. A change that makes another limit of the same audience worse is no remedy.
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
from pipeline.stages.trial import Change, Kitchen, Plan, Tried
from pipeline.swaps_form import NOT_RESTORED, NOT_SEARCHED, RANK, RESTORED, Swaps

BASE = "base"
# Kinds of variants that a kitchen may change; how the recipe was made or printed is as it was.
KINDS = ("written", "optional")
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
    lost: bool = False
    outcome: str = ""
    step: Step | None = None
    after: dict[str, dict] = field(default_factory=dict)

    @property
    def key(self) -> Key:
        return self.recipe_id, self.variant_id

    @property
    def open(self) -> bool:
        return self.outcome == ""


def restore(run: Mapping[str, pd.DataFrame], dishes: Mapping[Key, Dish], verdicts: pd.DataFrame, kitchen: Kitchen) -> Plan:
    """A plan that ends with model Swaps.

    ``run``: recipes, variants, lines (as written), settled, parsed, matched, candidates, weighed, steps, findings,
    contributions; ``dishes`` as :func:`pipeline.stages.judge_scaling.dishes` gives them; ``verdicts``: those on the local limits, on
    the figures as they stand for good.
    """
    cases = _cases(run, dishes, verdicts, kitchen)
    most = int(kitchen.reference.rule("swap_most_changes"))
    for case in cases:
        if case.open:
            _look_further(case, most)
    while trying := [case for case in cases if case.open]:
        told = yield [Change(*case.key, case.waiting[0].times) for case in trying]
        for case in trying:
            _settle(case, told, most)
    return _table(cases, run, kitchen)


# ---------------------------------------------------------------- what is broken, and what may be changed

@dataclass(frozen=True)
class _Known:
    """What the cases look up: recipes' names and courses, the audit's doubts, vague portions, and the lines of every variant."""

    names: dict[str, str]
    courses: dict[str, str]
    audited: frozenset[tuple[str, str, str]]
    guessed: frozenset[Key]
    lines: dict[str, dict]

    @classmethod
    def of(cls, run, kitchen: Kitchen) -> _Known:
        lines = run["settled"].merge(run["lines"][["line_id", "origin"]], on="line_id").merge(
            run["parsed"][["line_id", "quantity_low"]].rename(columns={"quantity_low": "read"}), on="line_id")
        recipes = run["recipes"]
        return cls(dict(zip(recipes["recipe_id"], recipes["name"])), {row.recipe_id: row.course.strip().lower() for row in recipes.itertuples()},
                   frozenset(standing.audited(run["findings"])), frozenset(standing.guessed_portions(run["variants"], list(kitchen.vague))),
                   {row["line_id"]: row for row in lines[["line_id", "origin", "phrase", "optional", "read"]].to_dict("records")})


def _cases(run, dishes, verdicts: pd.DataFrame, kitchen: Kitchen) -> list[_Case]:
    by_claim: dict[tuple[str, str, str], dict[str, dict]] = {}
    for row in verdicts.to_dict("records"):
        by_claim.setdefault((row["recipe_id"], row["variant_id"], row["audience"]), {})[row["claim"]] = row
    known = _Known.of(run, kitchen)
    chosen = run["variants"][run["variants"]["kind"].isin(KINDS)]
    changeable = set(zip(chosen["recipe_id"], chosen["variant_id"]))
    conditions_of = {course: local_conditions(kitchen.policy, course) for course in set(known.courses.values())}
    cases = []
    for (recipe_id, variant_id, audience), written in by_claim.items():
        before = by_claim.get((recipe_id, BASE, audience), {})
        broken = [claim for claim, row in written.items() if claim in before and before[claim]["verdict"] in (HOLDS, UNCERTAIN)
                  and RANK[row["verdict"]] < RANK[before[claim]["verdict"]]]
        if (recipe_id, variant_id) not in changeable or not broken:
            continue
        asked = conditions_of[known.courses[recipe_id]]
        sought = [claim for claim in broken if not in_doubt_alone(written[claim])]
        wanted = [Wanted(claim, tuple(asked[audience, claim]), (before if claim in sought else written)[claim]["verdict"]) for claim in written]
        case = _Case(recipe_id, variant_id, audience, before, written, wanted, sought)
        if not sought or any(written[claim]["verdict"] == NOT_ASSESSABLE for claim in sought) or case.key not in dishes:
            case.outcome = NOT_SEARCHED
        else:
            doubted = frozenset(component for one, other, component in known.audited if (one, other) == case.key)
            case.dish = scaled(dishes[case.key], run, doubted, case.key in known.guessed, kitchen.reference.rule("check_confidence_below"))
            case.ways = _ways(case, known, kitchen)
        cases.append(case)
    return cases


def in_doubt_alone(row: Mapping) -> bool:
    """Whether a verdict is uncertain although the whole interval keeps the limit: somebody doubts the figure, and no leaving out settles that."""
    return row["verdict"] == UNCERTAIN and row["margin"] >= 0


def _ways(case: _Case, known: _Known, kitchen: Kitchen) -> list[Way]:
    """The lines of the recipe as written that may be changed, with what may be left of each.

    Not a line that makes the variant: added, replaced, of another amount, or optional. Not one that gives a broken figure
    next to nothing: nobody leaves out the water. What the dish is named for may be reduced, and is never left out.
    """
    steps, share = int(kitchen.reference.rule("swap_steps")), kitchen.reference.rule("swap_least_share")
    gives = _largest_share(case)
    ways = []
    for line_id, number, grams in zip(case.dish.dish.line_ids, case.dish.numbers, case.dish.grams, strict=True):
        row = known.lines[line_id]
        left = [1 - cut / steps for cut in range(1, steps)] if not math.isnan(row["read"]) else []
        left += [] if named_for(row["phrase"], known.names[case.recipe_id]) else [0.0]
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
    """The next candidates, the smallest first; when there are none left, what comes nearest."""
    while not case.waiting and case.looked_at < most:
        case.waiting, case.looked_at, nearest = candidates(case.dish, case.ways, case.wanted, range(case.looked_at + 1, most + 1))
        if nearest and math.isfinite(nearest.margin) and (case.nearest is None or nearest.margin > case.nearest.margin):
            case.nearest = nearest
    if case.waiting:
        return
    case.lost = True
    case.waiting = [case.nearest] if case.nearest else []
    case.outcome = "" if case.nearest else NOT_RESTORED


def _settle(case: _Case, told: Tried, most: int) -> None:
    """Takes the candidate that went through the stages when it does what is wanted, or when it is the nearest of those that do not."""
    step = case.waiting.pop(0)
    after = told.rows(Change(*case.key, step.times), case.audience)
    does = all(RANK[after[one.claim]["verdict"]] >= RANK[one.least] for one in case.wanted)
    if does or case.lost:
        case.outcome, case.step, case.after = RESTORED if does else NOT_RESTORED, step, after
    elif not case.waiting:
        _look_further(case, most)


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
            "from_parts": _follows(case, row), "words": speaker.swap(
                case.key, case.audience, case.outcome, change, row, case.written[claim], case.before[claim], claim in case.broken)})
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
