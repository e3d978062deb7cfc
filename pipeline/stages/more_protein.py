"""More protein for somebody on dialysis: what may be added to a main meal that misses the least amount, and how much.

The additions and their steps are those of ``reference/protein_additions.csv``. What one step adds is computed once; from
that follows how many steps each dish needs, and how many its potassium, phosphorus and sodium bear. The answer is then computed in full
(:mod:`pipeline.stages.trial`), and the next amount is tried where it does not do.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from pipeline import lineage, tables
from pipeline.problems import WARNING, Problem
from pipeline.stages import restore_words
from pipeline.stages.conditions import FAILS, HOLDS, UNCERTAIN, UPPER, plain
from pipeline.stages.restore import in_doubt_alone
from pipeline.stages.restore_search import NEAR
from pipeline.stages.trial import Addition, Change, Kitchen, Plan, Tried
from pipeline.swaps_form import CANNOT, FALLS_SHORT, NOT_SEARCHED, REACHES, ProteinAdditions

BASE, ANY = "base", "any"
PROTEIN, PHOSPHORUS = "PROCNT", "P"
AMOUNT = "{amount}"
SAME = 1e-9
FILE = "reference/protein_additions.csv"


@dataclass(frozen=True)
class Offer:
    """One row of the file, as it was read and matched for an amount of one; ``read`` has its parsed, matched and candidate rows."""

    addition_id: str
    line: str
    method: str
    courses: frozenset[str]
    step: float
    most: int
    source_id: str
    parsed: dict
    matched: dict
    candidates: list[dict]

    def of(self, steps: int, portions: float) -> Addition:
        """The line for a recipe of so many portions with so many steps in each."""
        amount = steps * self.step * portions
        parsed = {**self.parsed, "quantity_low": self.parsed["quantity_low"] * amount, "quantity_high": self.parsed["quantity_high"] * amount}
        return Addition(self.words(steps, portions), parsed, self.matched, self.candidates, self.method)

    def words(self, steps: int, portions: float) -> str:
        """The line as a cook would write it."""
        return self.line.replace(AMOUNT, plain(steps * self.step * portions))


@dataclass
class _Case:
    """One recipe, audience and addition. ``amounts``: numbers of steps still to be tried, the likeliest first."""

    recipe_id: str
    audience: str
    offer: Offer | None
    before: dict[str, dict]
    portions: float
    outcome: str = ""
    amounts: list[int] = field(default_factory=list)
    steps: int = 0
    after: dict[str, dict] = field(default_factory=dict)
    entry: dict = field(default_factory=dict)

    @property
    def asked(self) -> tuple[str, str, int]:
        return self.recipe_id, self.offer.addition_id, self.amounts[0]

    def change(self, steps: int) -> Change:
        return Change(self.recipe_id, BASE, addition=self.offer.of(steps, self.portions))


def lines(additions: pd.DataFrame) -> pd.DataFrame:
    """The lines of ``reference/protein_additions.csv`` with an amount of one, to be read and matched: model Lines."""
    frame = pd.DataFrame({
        "recipe_id": "protein-additions", "variant_id": "base", "line_no": range(1, len(additions) + 1),
        "text": [line.replace(AMOUNT, "1") for line in additions["line"]], "section": "", "origin": "added", "source_file": FILE,
        "source_line": range(2, len(additions) + 2)})
    frame["line_id"] = "protein-additions/base/" + frame["line_no"].astype("str")
    return frame[tables.columns(tables.Lines)]


def is_missed(verdicts: pd.DataFrame) -> bool:
    """Whether any recipe as written misses a least amount of protein."""
    base = verdicts[verdicts["variant_id"] == BASE]
    return any(_is_least(row) and row["verdict"] in (FAILS, UNCERTAIN) for row in base.to_dict("records"))


def offers(additions: pd.DataFrame, parsed: pd.DataFrame, matched: pd.DataFrame, candidates: pd.DataFrame) -> tuple[list[Offer], list[Problem]]:
    """The additions that were read and matched (rows in the order of ``additions``), and a problem for each other one."""
    found, problems = [], []
    for place, (row, read, match) in enumerate(zip(additions.to_dict("records"), parsed.to_dict("records"), matched.to_dict("records"), strict=True)):
        if match["match_outcome"] != "accepted" or row["line"].count(AMOUNT) != 1:
            why = f"its line is not settled ({match['match_reason']})" if row["line"].count(AMOUNT) == 1 else f"its line has not one {AMOUNT}"
            problems.append(Problem(f"{FILE}:{place + 2} ({row['addition_id']})", f"{why}, so it is not offered",
                                    "Write the line so that it names a food of the table, or decide its words", "protein-addition", WARNING, "restore"))
            continue
        own = candidates[candidates["line_id"] == read["line_id"]].to_dict("records")
        most = math.floor(row["most_per_portion"] / row["step_per_portion"] + 1e-9)
        courses = frozenset(word.strip().lower() for word in row["courses"].split(";"))
        found.append(Offer(row["addition_id"], row["line"], row["method"], courses, row["step_per_portion"], most, row["source_id"], read, match, own))
    return found, problems


def more_protein(run: Mapping[str, pd.DataFrame], verdicts: pd.DataFrame, offered: list[Offer], kitchen: Kitchen) -> Plan:
    """A plan that ends with model ProteinAdditions; ``run`` and ``verdicts`` as for :func:`pipeline.stages.restore.restore`."""
    cases = _cases(run, verdicts, offered)
    searched = [case for case in cases if case.offer]
    first = {case.offer.addition_id: case for case in reversed(searched)}
    if first:
        once = {addition_id: case.change(1) for addition_id, case in first.items()}
        told = yield list(once.values())
        steps = {addition_id: _one_step(first[addition_id], told.name_of[change], told) for addition_id, change in once.items()}
        for case in searched:
            case.amounts = _amounts(case, steps[case.offer.addition_id])
    while trying := [case for case in searched if not case.outcome]:
        # Two audiences that ask the same of a dish are answered by one trial.
        asked = {case.asked: case.change(case.amounts[0]) for case in trying}
        told = yield list(asked.values())
        for case in trying:
            _settle(case, asked[case.asked], told)
    return _table(cases, run, kitchen)


# ---------------------------------------------------------------- which dishes, and what one step adds

def _cases(run, verdicts: pd.DataFrame, offered: list[Offer]) -> list[_Case]:
    facts = run["recipes"].set_index("recipe_id")
    cases = []
    for (recipe_id, audience), rows in verdicts[verdicts["variant_id"] == BASE].groupby(["recipe_id", "audience"], sort=True):
        before = {row["claim"]: row for row in rows.to_dict("records")}
        course, portions = facts.at[recipe_id, "course"].strip().lower(), float(facts.at[recipe_id, "portions"])
        missed = [row for row in before.values() if _is_least(row) and row["verdict"] in (FAILS, UNCERTAIN)]
        if not missed:
            continue
        if all(row["verdict"] == HOLDS for row in before.values() if not _is_least(row)):
            cases += [_Case(recipe_id, audience, offer, before, portions) for offer in offered if course in offer.courses]
        else:
            cases.append(_Case(recipe_id, audience, None, before, portions, NOT_SEARCHED, after=before))
    return cases


def _is_least(row: Mapping) -> bool:
    """Whether a verdict is on a least amount of protein."""
    return row["component"] == PROTEIN and row["comparator"] not in ("", *UPPER)


Ends = dict[tuple[str, str], tuple[float, float]]  # (component, unit) -> what a step adds a portion, and its standard uncertainty


def _one_step(case: _Case, name: str, told: Tried) -> Ends:
    """What one step of the addition adds to a portion, from the dish that it was tried in."""
    figures = told.figures[(told.figures["variant_id"] == name) & (told.figures["basis"] == "portion")]
    now = {(row.component, row.unit): row for row in figures.itertuples()}
    found = {}
    for row in case.before.values():
        key = row["component"], row["unit"]
        if key in now and row["basis"] == "portion" and not math.isnan(now[key].value):
            more = _variance(now[key].value, now[key].low, now[key].high) - _variance(row["value"], row["low"], row["high"])
            found[key] = (now[key].value - row["value"], math.sqrt(max(more, 0.0)))
    return found


def _variance(value: float, low: float, high: float) -> float:
    """The variance of a figure, from the 90 % interval that :func:`pipeline.lineage.figure_interval` gave it."""
    if low <= 0 or high <= low:
        return 0.0
    spread = math.log(high / low) / (2 * lineage.Z90)
    return value ** 2 * math.expm1(spread ** 2)


def _amounts(case: _Case, step: Ends) -> list[int]:
    """The numbers of steps to try in full, in order: the least that may do, or else the most that the other limits bear."""
    counts = np.arange(1, case.offer.most + 1)
    reach, bear = np.ones(len(counts), dtype=bool), np.ones(len(counts), dtype=bool)
    for row in case.before.values():
        if row["component"] == "" or (row["component"], row["unit"]) not in step:
            continue
        adds, spread = step[row["component"], row["unit"]]
        variance = _variance(row["value"], row["low"], row["high"]) + (counts * spread) ** 2
        low, high = lineage.figure_interval(row["value"] + counts * adds, np.sqrt(variance))
        if _is_least(row):
            reach &= low >= row["limit"] * (1 - NEAR)
        elif row["comparator"] in UPPER:
            bear &= high <= row["limit"] * (1 + NEAR)
    both = [int(count) for count in counts[reach & bear]]
    most = [int(count) for count in counts[bear][::-1]]
    return [*both, *(count for count in most if count not in both)] or [1]


def _settle(case: _Case, change: Change, told: Tried) -> None:
    """Takes the amount just tried when it does, or when it is the most that the other limits bear."""
    name, after = told.name_of[change], told.rows(change, case.audience)
    steps = case.amounts.pop(0)
    bears = all(row["verdict"] == HOLDS for row in after.values() if not _is_least(row))
    reaches = all(row["verdict"] == HOLDS for row in after.values() if _is_least(row))
    if any(in_doubt_alone(row) for row in after.values()):
        case.amounts, bears = [], False  # another amount settles no doubt
    if bears and steps > case.steps:
        case.steps, case.after, case.entry = steps, after, _added(name, told)
    if bears and reaches:
        case.outcome, case.steps, case.after, case.entry = REACHES, steps, after, _added(name, told)
    elif bears and not any(count > case.steps for count in case.amounts):
        case.outcome = FALLS_SHORT
    elif not case.amounts:
        case.outcome = FALLS_SHORT if case.steps else CANNOT
        if not case.steps:
            case.steps, case.after, case.entry = steps, after, _added(name, told)


def _added(name: str, told: Tried) -> dict:
    """Entry and grams of the added line, what it adds by component, and the phosphorus for each gram of protein of the dish."""
    line = told.settled[told.settled["variant_id"] == name].iloc[-1]
    portion = told.figures[(told.figures["variant_id"] == name) & (told.figures["basis"] == "portion")]
    value = dict(zip(portion["component"], portion["value"], strict=True))
    protein, phosphorus = value.get(PROTEIN, math.nan), value.get(PHOSPHORUS, math.nan)
    parts = told.contributions[told.contributions["line_id"] == line["line_id"]].set_index("component")[["value_per_100g", "retention_fraction"]]
    return {"entry_id": line["entry_id"], "added_g": line["edible_g"], "parts": parts.to_dict("index"),
            "phosphorus_to_protein": phosphorus / protein if protein else math.nan}


# ---------------------------------------------------------------- the table

def _table(cases: list[_Case], run, kitchen: Kitchen) -> pd.DataFrame:
    speaker = restore_words.Speaker.of(run, kitchen)
    rows = [row for case in cases for row in _case_rows(case, speaker, run["recipes"].set_index("recipe_id")["name"])]
    if not rows:
        return tables.empty(ProteinAdditions)
    frame = pd.DataFrame(rows, columns=tables.columns(ProteinAdditions)).sort_values(
        ["recipe_id", "audience", "addition_id", "claim"], ignore_index=True)
    return tables.checked(ProteinAdditions, frame, "restore")


def _case_rows(case: _Case, speaker: restore_words.Speaker, names: pd.Series) -> list[dict]:
    line = case.offer.words(case.steps, case.portions) if case.offer else "any addition"
    entry = {"entry_id": "", "added_g": 0.0, "phosphorus_to_protein": math.nan, "parts": {}, **case.entry}
    rows = []
    for claim, row in case.after.items():
        before = case.before[claim]
        numbers = {name: row[name] for name in ("component", "value", "low", "high", "limit", "unit", "basis", "comparator", "probability")}
        part = entry["parts"].get(row["component"], {"value_per_100g": math.nan, "retention_fraction": math.nan})
        rows.append({
            "recipe_id": case.recipe_id, "audience": case.audience, "addition_id": case.offer.addition_id if case.offer else ANY, "claim": claim,
            "outcome": case.outcome, "line": line, "steps": case.steps, **{name: entry[name] for name in entry if name != "parts"}, **part,
            "verdict_base": before["verdict"], "verdict": row["verdict"], **numbers, "value_base": before["value"],
            "from_parts": _follows(row, before, entry["added_g"], part, case.portions),
            "source_id": case.offer.source_id if case.offer else row["source_id"],
            "words": speaker.addition(names[case.recipe_id], case.audience, case.outcome, line, row, entry["phosphorus_to_protein"])})
    return rows


def _follows(row: Mapping, before: Mapping, added_g: float, part: Mapping, portions: float) -> bool:
    """Whether the figure is that of the recipe as written and what the line adds; where not, the line changes how others are cooked."""
    added = added_g * part["value_per_100g"] / 100 * part["retention_fraction"] / portions
    return row["basis"] == "portion" and math.isclose(row["value"], before["value"] + added, rel_tol=SAME)
