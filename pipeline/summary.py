"""What the terminal shows: progress while a run goes on, and a summary to act on at its end."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pandas as pd

TOP_LINES = 5


@contextmanager
def progress(total: int) -> Iterator[Callable[[str, bool], None]]:
    """A progress display: a bar on a terminal, one plain line per stage in a pipe."""
    if sys.stderr.isatty():
        with _bar(total) as advance:
            yield advance
        return
    done: dict[str, list[bool]] = {}

    def advance(stage: str, reused: bool) -> None:
        first = stage not in done
        done.setdefault(stage, []).append(reused)
        if first:
            print(f"potash: {stage}{' (kept result)' if reused else ''}", file=sys.stderr, flush=True)

    yield advance


@contextmanager
def _bar(total: int) -> Iterator[Callable[[str, bool], None]]:
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (TextColumn("{task.description:<10}"), BarColumn(), TextColumn("{task.completed}/{task.total}"), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as display:
        task = display.add_task("starting", total=total)
        yield lambda stage, reused: display.update(task, advance=1, description=stage)


def text(
    name: str, tables: dict[str, pd.DataFrame], counts: dict[str, dict[str, int]], folder: Path, state: str, reused: int,
    tasks: int,
) -> str:
    """The summary: counts, the lines that would settle most, what is wrong in print, where to look."""
    figures, lines = counts["figures"], counts["lines"]
    recipes, variants = len(tables["recipes"]), len(tables["variants"])
    rows = [
        f"{name}: {recipes} recipes, {variants} variants",
        f"  figures   {figures['ready']} ready, {figures['check']} to check, {figures['withheld']} withheld",
        f"  lines     {lines['accepted']} accepted, {lines['review']} for review, {lines['none']} without an entry, "
        f"{lines['not-food']} not food",
        "  verdicts  " + ", ".join(f"{count} {word}" for word, count in counts["verdicts"].items()),
    ]
    rows += _top_lines(tables["worklist"])
    rows += _print_drift(tables["findings"])
    rows += _problems(tables["problems"])
    rows.append(f"  {reused} of {tasks} stage results were kept from an earlier run")
    rows.append(f"Release ({state}): {folder}")
    rows.append("  figures.csv, lines.csv, verdicts.csv, worklist.csv, findings.csv; checks.html shows the checks; "
                "CAUTIONS.txt goes with every figure")
    rows.append("Figures are for the renal dietitian to judge, by local rules. They are not advice to a patient.")
    return "\n".join(rows)


def _top_lines(worklist: pd.DataFrame) -> list[str]:
    open_lines = worklist[worklist["figures_withheld"] > 0].head(TOP_LINES)
    if open_lines.empty:
        return ["  no line is unsettled"]
    rows = [f"The {len(open_lines)} lines that would settle most:"]
    for row in open_lines.itertuples():
        rows.append(f"  {row.rank}. {row.recipe_id} line {row.line_no} \"{row.text}\": {row.reason}; "
                    f"{row.figures_withheld} figures and {row.verdicts_waiting} verdicts wait")
        rows.append(f"     {row.remedy}" + (f"; nearest: {row.candidates.split(';')[0]}" if row.candidates else ""))
    return rows


def _print_drift(findings: pd.DataFrame) -> list[str]:
    drift = findings[findings["check"].str.startswith("drift") & findings["severity"].isin(["error", "warning"])]
    if drift.empty:
        return []
    return [f"In print and no longer right: {len(drift)} figures or claims in {drift['recipe_id'].nunique()} recipes "
            "(findings.csv, check drift)"]


def _problems(problems: pd.DataFrame) -> list[str]:
    errors = problems[problems["severity"] == "error"]
    rows = [f"Could not be used: {row.where}: {row.what}. {row.remedy}" for row in errors.head(TOP_LINES).itertuples()]
    more = len(errors) - len(rows)
    if more > 0:
        rows.append(f"  and {more} more in problems.csv")
    warnings = int((problems["severity"] == "warning").sum())
    return rows + ([f"  {warnings} warnings in problems.csv"] if warnings else [])
