"""Runs small collections as far as the sums, and the swap guard on them, without what is not looked at."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from pipeline import job as jobs
from pipeline import steps, tables
from pipeline.combinations import combinations
from pipeline.stages.judge_scaling import dishes
from pipeline.stages.restore import restore
from pipeline.stages.trial import Kitchen, local_verdicts, together

AUDIENCE = "ckd-not-on-dialysis"


def totals(job: jobs.Job) -> dict[str, pd.DataFrame]:
    """The tables of the stages up to the sums; no finding of the audit."""
    def call(stage, *taken):
        return {} if stage in ("judge", "audit", "restore") else getattr(steps, stage)(*taken)

    done = steps.chain(call, {name: getattr(job.collection, name) for name in steps.BY_RECIPE}, steps.Given.of(job))
    return {"findings": tables.empty(tables.Findings), **{name: table for bundle in done.values() for name, table in bundle.items()}}


def guarded(path: Path) -> tuple[Kitchen, dict[str, pd.DataFrame]]:
    """A collection with its swaps for one audience."""
    job = jobs.prepare_job(path, "core")
    run = totals(job)
    kitchen = Kitchen(job.table.entries, job.table.values, job.mappings, "core", job.policy, job.reference, None, job.reference.raw_cooked_pairs)
    verdicts = local_verdicts(run["figures"], run["recipes"], run["variants"], kitchen)
    whole = dishes({**run, "lines": run["settled"]}, combinations(job.reference.components, job.reference.energy_factors))
    swaps, = together([restore(run, whole, verdicts[verdicts["audience"] == AUDIENCE], kitchen)], run, kitchen)
    return kitchen, {**run, "swaps": swaps}
