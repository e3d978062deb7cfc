"""Lines matched to the curated core, under no decision or under those that a test makes."""

from __future__ import annotations

from functools import cache

import pandas as pd

from pipeline import decisions, sources
from pipeline.composition.load import load_table
from pipeline.match_bench import listed
from pipeline.problems import Problem
from pipeline.stages import parse as parse_stage
from pipeline.stages.match import line_answers, matcher

TABLE = "core"


@cache
def kitchen():
    """The reference files, the mappings and the core table."""
    reference = sources.load()
    return reference, decisions.load(), load_table(TABLE, reference.sources)


def parsed(texts: list[str]) -> pd.DataFrame:
    """Texts as parsed lines of one recipe, read as recipe lines are."""
    _, mappings, _ = kitchen()
    table, _ = parse_stage.parse(listed(texts, ""), mappings.unit_words, mappings.sizes, mappings.states, mappings.preparations)
    return table


def matched(texts: list[str], foods: pd.DataFrame | None = None, entries: pd.DataFrame | None = None) -> tuple[pd.DataFrame, pd.DataFrame, list[Problem]]:
    """Matched, Candidates and problems of lines under the decisions ``foods`` (none where it is not given)."""
    return matched_lines(parsed(texts), kitchen()[1].foods.iloc[:0] if foods is None else foods, entries)


def matched_lines(lines: pd.DataFrame, foods: pd.DataFrame, entries: pd.DataFrame | None = None):
    """The same for parsed lines that carry ids of their own."""
    reference, mappings, core = kitchen()
    found, problems = matcher(core.entries if entries is None else entries, TABLE, foods, mappings.words, reference, core.values)
    return *line_answers(lines, found), problems
