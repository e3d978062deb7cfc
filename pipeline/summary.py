"""What the terminal shows: progress while a run goes on, and a summary to act on at its end."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline import swaps_form
from pipeline.job import counts
from pipeline.reason_words import REASON_WORDS

TOP_LINES = 5
WORST_IN_PRINT = 3
LONGEST_TEXT = 60
# The states in the order in which they are shown, with the words for a person.
FIGURE_WORDS = {"ready": "ready", "check": "to check", "withheld": "withheld"}
LINE_WORDS = {"accepted": "settled", "review": "to review", "none": "without an entry", "not-food": "not food"}
VERDICT_WORDS = {"holds": "hold", "uncertain": "uncertain", "fails": "fail", "not-assessable": "cannot be judged"}


# ---------------------------------------------------------------- progress

@contextmanager
def progress(plan: Mapping[str, int]) -> Iterator[Callable[[str, bool], None]]:
    """Shows how far a run is: a bar on a terminal, one plain line per finished stage in a pipe.

    ``plan`` says how many tasks each stage has. What it yields is called with the stage
    and whether its kept result was reused, whenever a task is done.
    """
    shown = _bar(plan) if sys.stderr.isatty() else _plain_lines(plan)
    with shown as advance:
        yield advance


@contextmanager
def _plain_lines(plan: Mapping[str, int]) -> Iterator[Callable[[str, bool], None]]:
    done: dict[str, list[bool]] = {}

    def advance(stage: str, reused: bool) -> None:
        flags = done.setdefault(stage, [])
        flags.append(reused)
        if len(flags) != plan.get(stage, 1):
            return
        kept = " (kept from an earlier run)" if all(flags) else f" ({sum(flags)} of {len(flags)} kept)" if any(flags) else ""
        print(f"potash: {stage}{kept}", file=sys.stderr, flush=True)

    yield advance


@contextmanager
def _bar(plan: Mapping[str, int]) -> Iterator[Callable[[str, bool], None]]:
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (TextColumn("{task.description:<10}"), BarColumn(), TextColumn("{task.completed}/{task.total}"), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as display:
        task = display.add_task("starting", total=sum(plan.values()))
        yield lambda stage, reused: display.update(task, advance=1, description=stage)


# ---------------------------------------------------------------- summary

def facts(name: str, tables: dict[str, pd.DataFrame], folder: Path, state: str, reused: int, tasks: int, status: int) -> dict[str, Any]:
    """What a run came to, as plain data: what :func:`text` prints and ``--json`` gives."""
    return {
        "collection": name, "recipes": len(tables["recipes"]), "variants": len(tables["variants"]), **counts(tables),
        "not_used": _not_used(tables["problems"]),
        "warnings": int((tables["problems"]["severity"] == "warning").sum()),
        "implausible": _implausible(tables["figures"]), "potassium_hazards": _hazards(tables["additives"]),
        "settle_first": _settle_first(tables["worklist"]),
        "in_print": _in_print(tables["print_changes"]),
        "swaps": _answers(tables["swaps"], ["recipe_id", "variant_id", "audience"], swaps_form.RESTORED),
        "protein_additions": _answers(tables["protein_additions"], ["recipe_id", "audience"], swaps_form.REACHES),
        "kept_results": reused, "stage_results": tasks, "release": str(folder), "state": state, "exit_code": status,
    }


def _not_used(problems: pd.DataFrame) -> list[dict[str, str]]:
    errors = problems[problems["severity"] == "error"]
    return errors[["code", "recipe_id", "where", "what", "remedy"]].to_dict("records")


def _implausible(figures: pd.DataFrame) -> list[dict[str, str]]:
    found = figures[figures["reason"].str.startswith("implausible")].drop_duplicates(["recipe_id", "variant_id"])
    return found[["recipe_id", "variant_id", "reason"]].to_dict("records")


def _hazards(additives: pd.DataFrame) -> list[dict[str, Any]]:
    """Lines that name a potassium salt in place of salt, each once however many variants have it."""
    grave = additives[additives["severity"] == "error"].drop_duplicates(["recipe_id", "through", "what"])
    return grave[["recipe_id", "variant_id", "line_no", "what", "remedy"]].to_dict("records")


def _settle_first(worklist: pd.DataFrame) -> list[dict[str, Any]]:
    rows = worklist[worklist["figures_withheld"] > 0].head(TOP_LINES)
    return rows[["rank", "recipe_id", "line_no", "text", "reason", "figures_withheld", "verdicts_waiting", "candidates",
                 "remedy"]].to_dict("records")


def _in_print(changes: pd.DataFrame) -> dict[str, Any]:
    """What must change in print: how many figures and claims, in how many recipes, and the most harmful first."""
    wrong = changes[changes["harm"] != "not-confirmed"]
    worst = wrong[["recipe_id", "variant_id", "printed_in", "says", "today", "correction"]].head(WORST_IN_PRINT)
    figures = int((wrong["claim"] == "").sum())
    return {"figures": figures, "claims": len(wrong) - figures, "recipes": int(wrong["recipe_id"].nunique()),
            "not_confirmed": len(changes) - len(wrong), "worst": worst.to_dict("records")}


def _answers(table: pd.DataFrame, by: list[str], good: str) -> dict[str, int]:
    """How many cases a table of changed dishes has, for how many it has an answer that does, and how many were not searched."""
    def cases(rows: pd.DataFrame) -> int:
        return len(rows[by].drop_duplicates())

    return {"cases": cases(table), "answered": cases(table[table["outcome"] == good]),
            "not_searched": cases(table[table["outcome"] == swaps_form.NOT_SEARCHED])}


def text(told: Mapping[str, Any]) -> str:
    """The summary for a person: counts, what was left out, what to settle first, what is wrong in print, where to look."""
    rows = [f"{told['collection']}: {_many(told['recipes'], 'recipe')}, {_many(told['variants'], 'variant')}"]
    rows += _count_rows(told)
    rows += _hazard_rows(told["potassium_hazards"])
    rows += _not_used_rows(told["not_used"])
    rows += [f"Withheld whole: {row['recipe_id']}{_variant(row)}: {row['reason']}" for row in told["implausible"][:TOP_LINES]]
    rows += _settle_rows(told["settle_first"])
    rows += _print_rows(told["in_print"])
    rows += _change_rows(told["swaps"], told["protein_additions"])
    rows.append(f"Release ({told['state']}): {told['release']}")
    rows += [
        "  pages/index.html   begin here: which dish may be called what, for whom, and what is wrong in print",
        "  figures.csv    print only those with status ready     worklist.csv   lines to settle",
        "  verdicts.csv   claims and limits, by audience         findings.csv   what looks wrong, here and in print",
        "  CAUTIONS.txt   goes with every figure                 problems.csv   "
        + (_many(told["warnings"], "warning") if told["warnings"] else "what could not be used"),
        f"  {told['kept_results']} of {told['stage_results']} stage results were kept from an earlier run",
        "Figures are for the renal dietitian to judge, by local rules. They are not advice to a patient.",
    ]
    return "\n".join(rows)


def _many(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"


def _variant(row: Mapping[str, Any]) -> str:
    return "" if row["variant_id"] == "base" else f" ({row['variant_id']})"


def _count_rows(told: Mapping[str, Any]) -> list[str]:
    table = [(title, [(told[key].get(state, 0), word) for state, word in words.items()]) for title, key, words in (
        ("Figures", "figures", FIGURE_WORDS), ("Lines", "lines", LINE_WORDS), ("Verdicts", "verdicts", VERDICT_WORDS))]
    number = max(len(str(count)) for _, cells in table for count, _ in cells)
    widths = [max(len(cells[column][1]) for _, cells in table if column < len(cells)) for column in range(4)]
    return [("  " + f"{title:<10}" + "".join(f"{count:>{number}} {word:<{width + 2}}" for (count, word), width in zip(cells, widths)))
            .rstrip() for title, cells in table]


def _not_used_rows(rows: list[dict[str, str]]) -> list[str]:
    if not rows:
        return []
    shown = [f"  {row['where']}: {row['what']}. {row['remedy']}" for row in rows[:TOP_LINES]]
    more = len(rows) - len(shown)
    return ["Could not be used:", *shown, *([f"  and {more} more in problems.csv"] if more else [])]


def _hazard_rows(rows: list[dict[str, Any]]) -> list[str]:
    shown = [f"{row['what']} ({row['recipe_id']}{_variant(row)}, line {row['line_no']}). {row['remedy']}" for row in rows[:TOP_LINES]]
    return [*shown, *([f"and {len(rows) - TOP_LINES} more potassium hazards in additives.csv"] if len(rows) > TOP_LINES else [])]


def _settle_rows(rows: list[dict[str, Any]]) -> list[str]:
    if not rows:
        return ["Every line that counts is settled."]
    shown = ["Settle these lines first; figures and verdicts wait for them:" if len(rows) > 1
             else "Settle this line; figures and verdicts wait for it:"]
    for row in rows:
        words = row["text"] if len(row["text"]) <= LONGEST_TEXT else row["text"][:LONGEST_TEXT] + "..."
        shown.append(f"  {row['rank']}. {row['recipe_id']}, line {row['line_no']}: \"{words}\"")
        shown.append(f"     {REASON_WORDS.get(row['reason'], row['reason'])} ({_many(row['figures_withheld'], 'figure')}, "
                     f"{_many(row['verdicts_waiting'], 'verdict')})")
        shown += [f"     nearest: {row['candidates'].split(';')[0]}"] if row["candidates"] else []
        shown.append(f"     {row['remedy']}")
    return shown


def _change_rows(swaps: dict[str, int], additions: dict[str, int]) -> list[str]:
    rows = []
    if swaps["cases"]:
        rows.append(f"Variants that do worse than their recipe, by audience: {swaps['cases']}; leaving out or reducing gives {swaps['answered']} its verdicts "
                    f"again, {swaps['not_searched']} wait for figures in doubt (swaps.csv)")
    if additions["cases"]:
        rows.append(f"Main meals short of protein, by audience: {additions['cases']}; an addition does for {additions['answered']}, in "
                    f"{additions['not_searched']} another limit does not hold to begin with (protein_additions.csv)")
    return rows


def _print_rows(told: Mapping[str, Any]) -> list[str]:
    rows = []
    if told["worst"]:
        rows.append(f"In print and no longer right: {_many(told['figures'], 'figure')} and {_many(told['claims'], 'claim')} in "
                    f"{_many(told['recipes'], 'recipe')}; the most harmful first:")
    for place, row in enumerate(told["worst"], start=1):
        rows.append(f"  {place}. {row['recipe_id']}{_variant(row)}, {row['printed_in'] or 'in print'}: {row['says']}; today {row['today']}")
        rows.append(f"     {row['correction']}")
    if told["not_confirmed"]:
        rows.append(f"In print and not confirmed today: {told['not_confirmed']} more, withheld or not judged")
    return [*rows, "  All of it, with why: print_changes.csv"] if rows else rows
