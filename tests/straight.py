"""Runs the stages one after the other, without the flow: for tests of the whole."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from pipeline import job as jobs
from pipeline import steps


def run(collection: Path) -> dict[str, pd.DataFrame]:
    """The tables of all stages for a small collection, against the curated core."""
    job = jobs.prepare_job(collection, "core")
    return {name: table for bundle in steps.straight(_whole(job), job).values() for name, table in bundle.items()}


def tables(job: jobs.Job) -> dict[str, pd.DataFrame]:
    """The tables of a release of the whole collection, as the flow assembles them."""
    return jobs.assemble(job, list(steps.straight(_whole(job), job).values()), [])


def _whole(job: jobs.Job) -> steps.Bundle:
    return {name: getattr(job.collection, name) for name in steps.BY_RECIPE}
