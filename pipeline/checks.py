"""The guard before a release: a Great Expectations suite over the tables that are about to be published.

The library takes seconds to import, so it is imported in ``guard`` only; ``preload`` or
``worker`` let that happen beside other work. Nothing is sent, read or kept: the context
lives in memory.
"""

from __future__ import annotations

import json
import os
import signal
import threading
from collections.abc import Iterable, Iterator, Mapping
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from multiprocessing import active_children, get_context, parent_process, util
from typing import Any

import pandas as pd

from pipeline.check_rules import NAMED_BY, Rule, prepared, rules
from pipeline.interruption import held
from pipeline.orchestration import quick_imports
from pipeline.problems import InputError, Problem

EXAMPLES = 5
STAGE = "release"


@dataclass(frozen=True)
class Check:
    """What came of one rule. ``examples`` name the first rows that break it, with what they hold."""

    check_id: str
    table: str
    words: str
    expectation: str
    rows_checked: int
    rows_failed: int
    passed: bool
    examples: tuple[str, ...] = ()


@dataclass(frozen=True)
class CheckResult:
    """Every check, sorted by its id; plain data, so that it can cross a process."""

    checks: tuple[Check, ...]

    @property
    def passed(self) -> bool:
        """Whether the release may be published: there are checks, and all passed."""
        return bool(self.checks) and all(check.passed for check in self.checks)

    @property
    def failures(self) -> list[Check]:
        return [check for check in self.checks if not check.passed]

    def problems(self) -> list[Problem]:
        """One problem per failed check: the table, the expectation, the first rows."""
        return [
            Problem(
                where=f"table {check.table}, {check.examples[0] if check.examples else 'whole table'}",
                what=f"breaks the check {check.check_id} ({check.words}; {check.expectation}) in {check.rows_failed}"
                     f" of {check.rows_checked} rows",
                remedy="The release is not published; correct what the row came from, or report a defect in the stage",
                code="release-check", stage=STAGE)
            for check in self.failures
        ]

    def as_json(self) -> bytes:
        """The checks as JSON, the same bytes for the same tables."""
        document = {"passed": self.passed, "checks": [asdict(check) for check in self.checks]}
        return (json.dumps(document, indent=2, ensure_ascii=False) + "\n").encode()


def guard(tables: Mapping[str, pd.DataFrame], components: Iterable[str]) -> CheckResult:
    """Check the tables of a release against every rule.

    ``tables`` holds at least figures, lines, source_lines, contributions, inputs,
    verdicts, worklist, recipes and variants; ``components`` are the tagnames it may hold.
    Raises InputError when a table is missing. A broken rule is not raised: it is in the result.
    """
    missing = [name for name in NAMED_BY if name not in tables]
    if missing:
        raise InputError(Problem(
            where="release checks", what=f"these tables are missing: {', '.join(missing)}",
            remedy="This is a defect in the flow; report it", code="release-check", stage=STAGE))
    library = _library()
    frames = prepared(tables)
    every_rule = rules(components)
    source = _silent_context(library).data_sources.add_pandas("release")
    whole = source.add_dataframe_asset("table").add_batch_definition_whole_dataframe("all")
    checks: list[Check] = []
    for table, frame in frames.items():
        own = [rule for rule in every_rule if rule.table == table]
        suite = library.ExpectationSuite(name=table, expectations=[_expectation(library, rule) for rule in own])
        results = whole.get_batch({"dataframe": frame}).validate(suite, result_format="COMPLETE").results
        found = {result.expectation_config.meta["check_id"]: result for result in results}
        checks += [_check(rule, frame, found[rule.check_id]) for rule in own]
    return CheckResult(tuple(sorted(checks, key=lambda check: check.check_id)))


def preload() -> None:
    """Import Great Expectations now, so that ``guard`` need not wait for it (about 2 s of one core)."""
    with quick_imports():
        _library()


@contextmanager
def worker() -> Iterator[Executor]:
    """One process that imports Great Expectations at once; ``submit(guard, tables, components)`` to it."""
    pool = ProcessPoolExecutor(max_workers=1, mp_context=get_context("spawn"), initializer=_start_worker)
    try:
        # Ctrl-C is for the main process, with which this one ends. A process inherits what its parent does not hear.
        heard = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
        try:
            pool.submit(preload)  # starts the process: an executor waits for its first job
        finally:
            signal.pthread_sigmask(signal.SIG_SETMASK, heard)
        yield pool
    finally:
        with held():
            for process in active_children():
                process.terminate()  # what it would still do is of no use to anybody
            pool.shutdown(cancel_futures=True)


def _start_worker() -> None:
    signal.signal(signal.SIGTERM, _end_worker)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent_process().join()  # however it ended: it may not have had the time to say so
    _end_worker()


def _end_worker(*_: object) -> None:
    """End at once, whatever a library is doing; its semaphores would otherwise be reported as lost."""
    util._exit_function()
    os._exit(0)


def _library() -> Any:
    os.environ["GX_ANALYTICS_ENABLED"] = "false"  # read when the library is imported
    import great_expectations
    return great_expectations


def _silent_context(library: Any) -> Any:
    from great_expectations.data_context.types.base import ProgressBarsConfig
    context = library.get_context(mode="ephemeral")
    context.enable_analytics(False)
    context.variables.progress_bars = ProgressBarsConfig(globally=False)
    return context


def _expectation(library: Any, rule: Rule) -> Any:
    return getattr(library.expectations, rule.expectation)(**rule.arguments, meta={"check_id": rule.check_id})


def _check(rule: Rule, frame: pd.DataFrame, result: Any) -> Check:
    rows = list(dict.fromkeys(result.result.get("unexpected_index_list") or []))
    examples = tuple(_row(rule, frame, row) for row in sorted(rows)[:EXAMPLES])
    if not result.success and not rows:
        examples = (f"the check could not be made: {_exception(result)}",)
    checked = len(frame) - int(result.result.get("missing_count") or 0)
    return Check(
        rule.check_id, rule.table, rule.words, rule.expectation, checked, len(rows), bool(result.success), examples)


def _row(rule: Rule, frame: pd.DataFrame, row: int) -> str:
    named = "/".join(str(frame.at[row, column]) for column in NAMED_BY[rule.table])
    held = ", ".join(f"{column} {_shown(frame.at[row, column])}" for column in rule.shown)
    return f"row {named}: {held}" if held else f"row {named}"


def _shown(value: Any) -> str:
    if isinstance(value, float):
        return "empty" if value != value else f"{value:.10g}"
    return "empty" if value is None or value == "" else str(value)


def _exception(result: Any) -> str:
    details = result.exception_info or {}
    messages = [details.get("exception_message")] + [
        detail.get("exception_message") for detail in details.values() if isinstance(detail, dict)]
    return next((message for message in messages if message), "no reason was given")
