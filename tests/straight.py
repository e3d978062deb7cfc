"""Runs the stages one after the other on a recipe, without the flow: for tests of the whole."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from pipeline import decisions, sources, steps
from pipeline.composition.load import load_table
from pipeline.job import POLICY
from pipeline.policy import load_policy
from pipeline.root import ROOT
from pipeline.stages.ingest import ingest


def run(collection: Path) -> dict[str, pd.DataFrame]:
    """The tables of all stages for a small collection, against the curated core."""
    reference, mappings = sources.load(), decisions.load()
    table = load_table("core", reference.sources)
    policy = load_policy(ROOT / POLICY, reference.components)
    read_in = ingest(collection)
    part = {name: getattr(read_in, name) for name in steps.BY_RECIPE}
    read = steps.read(part, mappings)
    matched = steps.match(read, table.entries, table.name, mappings, reference, at_stake=table.values)
    weighed = steps.weigh(read, matched, table.entries, reference)
    cooked = steps.cook(read, matched, weighed, table.entries, mappings, reference)
    totals = steps.total(read, matched, weighed, cooked, table.entries, table.values, table.name, reference)
    judged = steps.judge(read, totals, policy, reference)
    audited = steps.audit(part, read, cooked, totals, judged, table.values, reference)
    return {**read, **matched, **weighed, **cooked, **totals, **judged, **audited}
