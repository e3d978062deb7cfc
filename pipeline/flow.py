"""The Prefect flow: which stage follows which. One task per stage and partition of recipes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import pandas as pd
from prefect import flow, task
from prefect.cache_policies import NO_CACHE
from prefect.futures import PrefectFuture, as_completed

from pipeline import checks, content, steps
from pipeline import job as jobs
from pipeline.content import Keyed
from pipeline.interruption import check
from pipeline.job import Job
from pipeline.orchestration import is_cached, kept_results, run_flow, stage_task
from pipeline.problems import InputError, Problem
from pipeline.stages.release import ReleaseResult, release
from pipeline.stages.release_pages import pages
from pipeline.stages.release_plots import plots

# A stage's kept results depend on its own code, not on that of the other stages.
CODE = {name: (Path(steps.__file__), *(file for function in steps.CODE[name] for file in content.code_files(function)))
        for name in steps.STAGES}
TASKS = {name: stage_task(getattr(steps, name), code_files=CODE[name]) for name in steps.STAGES}
# (stage, whether a kept result was reused), called whenever a task is done.
Progress = Callable[[str, bool], None]


@dataclass(frozen=True)
class Outcome:
    """What a run did: the tables, the release, and how much of the work was reused."""

    tables: dict[str, pd.DataFrame]
    release: ReleaseResult
    status: int
    reused: int
    tasks: int


def run(job: Job, output: Path, progress: Progress) -> Outcome:
    """The whole job from the loaded inputs to the written release.

    Raises :class:`pipeline.problems.InputError` when the release cannot be written or a
    check on it fails, and OrchestrationError when Prefect cannot run. The caller holds
    the lock on ``output``.
    """
    with checks.worker() as checker:

        @flow(name="potash", validate_parameters=False)
        def potash() -> Outcome:
            shared = Shared.of(job)
            bundles, failed, flags = _bundles(shared, steps.partitions(shared.collection), progress)
            if not bundles:
                raise InputError([*failed, steps.nothing_left(job.collection.name)])
            tables = jobs.assemble(job, bundles, failed)
            status = jobs.exit_status(tables)
            guarded = checker.submit(checks.guard, tables, sorted({*job.reference.components["component"], *jobs.DERIVED}))
            written = task(release, name="release", cache_policy=NO_CACHE, persist_result=False)(
                tables, jobs.meta(job, status), output, guarded.result, already_locked=True,
                plots=partial(plots, kept=kept_results()), pages=pages)
            progress("release", False)
            return Outcome(tables, written, status, sum(flags), len(flags))

        return run_flow(potash)


def plan(job: Job) -> dict[str, int]:
    """How many tasks each stage has when nothing fails, in the order of the job."""
    parts = len(steps.partitions({name: getattr(job.collection, name) for name in steps.BY_RECIPE}))
    return {**dict.fromkeys(steps.STAGES, parts), "release": 1}


@dataclass(frozen=True)
class Shared:
    """What many tasks are given, hashed once."""

    collection: steps.Bundle
    given: steps.Given

    @classmethod
    def of(cls, job: Job) -> Shared:
        return cls({name: getattr(job.collection, name) for name in steps.BY_RECIPE}, steps.Given.of(job, Keyed))


def submitted(shared: Shared, part: steps.Bundle) -> dict[str, PrefectFuture]:
    """Submits the stages for one partition; each waits for those it takes its tables from."""
    return steps.chain(lambda stage, *taken: TASKS[stage].submit(*taken), part, shared.given)


def _bundles(
    shared: Shared, parts: list[steps.Bundle], progress: Progress,
) -> tuple[list[steps.Bundle], list[Problem], list[bool]]:
    """The tables of every partition. A partition that fails is tried again in halves, down to
    the recipe that breaks a stage: it is listed and takes no other down."""
    chains = [submitted(shared, part) for part in parts]
    named = {future.task_run_id: stage for chain in chains for stage, future in chain.items()}
    for future in as_completed([future for chain in chains for future in chain.values()]):
        future.wait()  # it is done; until it is waited for, its state may still be an earlier one
        check()
        progress(named[future.task_run_id], is_cached(future))
    bundles, failed = [], []
    flags = [is_cached(future) for chain in chains for future in chain.values()]
    for part, chain in zip(parts, chains, strict=True):
        try:
            bundles.extend(_results(chain))
        except OSError as error:  # the disk, not a recipe: every other recipe would meet it too
            raise InputError(steps.disk_trouble(error)) from error
        except Exception as error:  # noqa: BLE001 - whatever it is, it is told, and the rest goes on
            if len(part["recipes"]) == 1:
                failed.append(steps.broken_recipe(part, error))
                continue
            more, broken, _ = _bundles(shared, steps.halves(part), lambda stage, reused: None)
            bundles.extend(more)
            failed.extend(broken)
    return bundles, failed, flags


def _results(chain: dict[str, PrefectFuture]) -> list[steps.Bundle]:
    return [future.result() for future in chain.values()]
