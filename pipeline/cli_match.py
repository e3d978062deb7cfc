"""The commands on matching: options in, exit code out. No logic of the job lives here."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import click

DONE, DIFFERS = 0, 1
A_FILE = click.Path(path_type=Path)
TABLE_HELP = ("Composition table to match against. Several, joined by commas, are an order of preference: the first that has "
              "the food is used, and what it does not have is looked for in the next.")
TASKS = ("--explain", "--audit", "--evaluate")


def print_json(content: Any) -> None:
    """Any plain content as JSON for the terminal."""
    click.echo(json.dumps(content, indent=2, ensure_ascii=False))


@click.command()
@click.argument("input_csv", metavar="[INPUT.csv]", required=False, type=A_FILE)
@click.option("-o", "--output", "output_csv", metavar="OUTPUT.csv", type=A_FILE, help="Where the rows are written.")
@click.option("--table", default="core", show_default=True, help=TABLE_HELP)
@click.option("--top", default=3, show_default=True, type=click.IntRange(1, 5), help="Candidates to show.")
@click.option("--explain", metavar="LINE", help="Say why this one line gets its entry: \"2 tbsp double cream\".")
@click.option("--audit", metavar="CODED.csv", type=A_FILE,
              help="Rank the pairs of an already coded list (columns text, entry_id; grams if known) that look wrong.")
@click.option("--evaluate", metavar="LABELLED.csv", type=A_FILE,
              help="Measure matching on lines whose right entries are known (columns text, acceptable: ids joined by ; or none).")
@click.option("--baselines", is_flag=True, help="With --evaluate: compare with matching by letters alone.")
@click.option("--without-decisions", is_flag=True, help="With --evaluate or --explain: as if nobody had decided anything.")
@click.option("--json", "as_json", is_flag=True, help="With --explain, --audit or --evaluate: as JSON.")
def match(input_csv: Path | None, output_csv: Path | None, table: str, top: int, explain: str | None, audit: Path | None,
          evaluate: Path | None, baselines: bool, without_decisions: bool, as_json: bool) -> int:
    """Read the column `text` of INPUT.csv; write the entry of each line and how sure that is.

    Or, without INPUT.csv: --explain one line, --audit a coded list, --evaluate on a labelled one.
    """
    asked = [name for name, value in zip(TASKS, (explain, audit, evaluate), strict=True) if value is not None]
    _one_task(input_csv, asked, output_csv)
    _fitting(asked, {"--baselines": (baselines, ("--evaluate",)), "--json": (as_json, TASKS),
                     "--without-decisions": (without_decisions, ("--explain", "--evaluate")),
                     "-o": (output_csv is not None, ("--audit", "--evaluate", None))})
    if explain is not None:
        from pipeline import match_explain

        explained = match_explain.explain(explain, table, top, not without_decisions)
        print_json(explained.to_dict()) if as_json else click.echo(match_explain.text(explained))
        return DONE if explained.outcome in ("accepted", "not-food") else DIFFERS
    if audit is not None:
        from pipeline import match_audit

        audited = match_audit.audit_file(audit, table, output_csv)
        print_json(audited.to_dict()) if as_json else click.echo(audited.text())
        return DIFFERS if audited.doubted else DONE
    if evaluate is not None:
        from pipeline import match_evaluate

        measured = match_evaluate.evaluate_file(evaluate, table, baselines, not without_decisions, output_csv)
        print_json(measured.to_dict()) if as_json else click.echo(measured.text())
        return DONE
    from pipeline import batch

    return batch.match_file(input_csv, output_csv, table, top)


def _one_task(input_csv: Path | None, asked: list[str], output_csv: Path | None) -> None:
    if len(asked) + (input_csv is not None) > 1:
        named = [*asked, *(["INPUT.csv"] if input_csv is not None else [])]
        raise click.UsageError(f"{' and '.join(named)} are different tasks: ask for one of them")
    if not asked and input_csv is None:
        raise click.UsageError(f"Missing argument 'INPUT.csv', or one of {', '.join(TASKS)}")
    if not asked and output_csv is None:
        raise click.UsageError("Missing option '-o' / '--output': the file to write")


def _fitting(asked: list[str], options: dict[str, tuple[bool, tuple]]) -> None:
    task = asked[0] if asked else None
    for option, (given, fits) in options.items():
        if given and task not in fits:
            raise click.UsageError(f"{option} goes with {' or '.join(name for name in fits if name)}")


@click.command()
@click.argument("words", metavar="PHRASE | PATTERN | LINE")
@click.argument("entry_id", metavar="[ENTRY_ID]", required=False, default="")
@click.option("--never", is_flag=True, help="A no-match: never this ENTRY_ID, or without one no entry of the table at all.")
@click.option("--note", is_flag=True, help="Use as a note: the line is no food of its own, a remark.")
@click.option("--pattern", is_flag=True, help="The words are a pattern: * for any words or letters, low|less for a choice.")
@click.option("--recipe", default="", metavar="RECIPE_ID", help="Only this one line of this recipe; the words are the line as written.")
@click.option("--state", default="", help="Only for this state (raw, dried, canned, drained, frozen, cooked, smoked, pickled).")
@click.option("--table", default="", help="The table of the entry; several, joined by commas, where all have it [default: core; where no entry "
              "is named, every table].")
@click.option("--by", default="", help="Who decides: name or role.")
@click.option("--reason", default="", help="Why; what the next person needs to know to judge it again.")
@click.option("--on", default="", metavar="DAY", help="When it was decided, as 2026-11-25 [default: today].")
@click.option("--id", "decision_id", default="", help="Its id [default: from the words].")
@click.option("--replaces", default="", metavar="ID", help="The decision that this one supersedes.")
@click.option("--collection", default=None, type=A_FILE, help="Whose lines to show the effect on [default: the demo].")
@click.option("--dry-run", is_flag=True, help="Show what it would change; write nothing.")
@click.option("--yes", is_flag=True, help="Do not ask before writing.")
def decide(words: str, entry_id: str, never: bool, note: bool, pattern: bool, recipe: str, state: str, table: str, by: str, reason: str,
           on: str, decision_id: str, replaces: str, collection: Path | None, dry_run: bool, yes: bool) -> int:
    """Decide what a phrase means: add one signed row to mappings/foods.csv.

    Checks it first (entry, words, conflicts with what was decided before) and shows which lines of the collection
    it changes, with the difference in potassium, phosphorus, sodium and protein. On a terminal it asks before it writes.
    """
    from pipeline import decide as deciding

    kind = deciding.kind_of(never, note)
    scope = deciding.scope_of(pattern, recipe)
    asked = deciding.Asked(kind, scope, words, entry_id, state, recipe, table, by, reason, on, decision_id, replaces)
    proposed = deciding.propose(asked, collection)
    click.echo(proposed.text())
    if dry_run:
        click.echo("Nothing was written (--dry-run).")
        return DONE
    if sys.stdin.isatty() and not yes:
        click.confirm("Write it?", abort=True)
    click.echo(deciding.write(proposed))
    return DONE
