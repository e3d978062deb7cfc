"""What a new decision changes: the lines of a collection that end otherwise, and by how much the entry differs."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from pipeline.match_bench import Bench, differences
from pipeline.phrases import line_key
from pipeline.stages.ingest import Collection

OUTCOME_WORDS = {"accepted": "accepted", "review": "for a person to look at", "none": "no entry", "not-food": "not a food"}


@dataclass(frozen=True)
class Effect:
    """One line before and after: outcome, entry and what the new entry has more per 100 g (K, P, NA mg, PROCNT g)."""

    recipe_id: str
    line_no: int
    text_as_written: str
    before: str
    after: str
    difference: dict[str, float | None]

    def text(self) -> list[str]:
        """For a terminal."""
        told = [f"  {self.recipe_id}, line {self.line_no}: \"{self.text_as_written}\"", f"     was {self.before}; now {self.after}"]
        if self.difference:
            told.append(f"     per 100 g: {differences(self.difference)}")
        return told


def effect(bench: Bench, foods: pd.DataFrame, decision_id: str, lines: pd.DataFrame, read: Collection) -> tuple[list[Effect], int]:
    """The lines that end otherwise with ``foods`` than as ``bench`` has it, once per recipe and text, and how many
    lines the decision answers at all. ``lines``: model Parsed with the ids of ``read``."""
    after_bench = bench.deciding(foods)
    told = read.lines.set_index("line_id")
    once = lines[~pd.DataFrame({"recipe": lines["line_id"].map(told["recipe_id"]), "text": lines["text"].map(line_key)}).duplicated()]
    touched = pd.Series([any(_say(one.standing, row) != _say(other.standing, row) for one, other in zip(bench.matchers, after_bench.matchers, strict=True))
                         for row in once.itertuples(index=False)], index=once.index, dtype="bool")
    asked = once[touched].reset_index(drop=True)
    if asked.empty:
        return [], 0
    before, after = bench.match(asked)[0], after_bench.match(asked)[0]
    answers = int((after["decision_id"] == decision_id).sum())
    changed = [_effect(one, other, told, bench) for one, other in zip(before.itertuples(), after.itertuples(), strict=True)
               if (one.match_outcome, one.entry_id) != (other.match_outcome, other.entry_id)]
    return sorted(changed, key=lambda one: (one.recipe_id, one.line_no)), answers


def _say(standing, row) -> tuple[str, ...]:
    return standing.ruling(row.phrase, row.state, standing.line_key(row.line_id, row.text)).ids


def _effect(one, other, told: pd.DataFrame, bench: Bench) -> Effect:
    line = told.loc[one.line_id]
    difference = bench.plain(bench.difference(one.entry_id, other.entry_id)) if one.entry_id and other.entry_id != one.entry_id else {}
    return Effect(line["recipe_id"], int(line["line_no"]), line["text"], _ended(one), _ended(other), difference if other.entry_id else {})


def _ended(row) -> str:
    entry = f"{row.entry_id} {row.entry_name} " if row.entry_id else ""
    return f"{entry}({OUTCOME_WORDS[row.match_outcome]})" if entry else OUTCOME_WORDS[row.match_outcome]
