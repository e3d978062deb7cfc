"""Runs the stages one after the other, without the flow: for tests of the whole."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from pipeline import job as jobs
from pipeline import schema, steps, swaps_form


def run(collection: Path) -> dict[str, pd.DataFrame]:
    """The tables of the stages up to the audit for a small collection, against the curated core."""
    job = jobs.prepare_job(collection, "core")
    return {name: table for bundle in steps.straight(_whole(job), job, "audit").values() for name, table in bundle.items()}


def tables(job: jobs.Job, restored: bool = False) -> dict[str, pd.DataFrame]:
    """The tables of a release of the whole collection, as the flow assembles them; the trials of changed recipes, which
    take as long as all else, only where ``restored``: else their tables are empty."""
    bundles = steps.straight(_whole(job), job, "restore" if restored else "audit")
    without = {} if restored else {"swaps": schema.empty(swaps_form.Swaps), "protein_additions": schema.empty(swaps_form.ProteinAdditions)}
    return jobs.assemble(job, [*bundles.values(), without], [])


def _whole(job: jobs.Job) -> steps.Bundle:
    return {name: getattr(job.collection, name) for name in steps.BY_RECIPE}
