"""The command line: options in, exit code out. No logic of the job lives here.

Exit codes: 0 done; 1 done, and something is withheld or differs; 2 the input or the
call is wrong, with a line that says where and what to do.
"""

from __future__ import annotations

import json
import sys
import traceback
from pathlib import Path

import click

from pipeline.root import ROOT

DONE, WITHHELD, WRONG = 0, 1, 2


def main() -> None:
    """Entry point of the console command: one clear message for everything foreseen."""
    try:
        code = commands(standalone_mode=False)
        sys.exit(code if isinstance(code, int) else DONE)
    except click.ClickException as error:
        error.show()
        sys.exit(WRONG)
    except (click.Abort, KeyboardInterrupt):
        click.echo("potash: stopped; nothing was written", err=True)
        sys.exit(WRONG)
    except Exception as error:
        if not _foreseen(error):
            traceback.print_exc()
            click.echo("potash: stopped by a defect of its own; nothing was published. Report the lines above", err=True)
        else:
            click.echo(f"potash: {error}", err=True)
        sys.exit(WRONG)


def _foreseen(error: Exception) -> bool:
    from pipeline.orchestration import OrchestrationError
    from pipeline.problems import InputError

    return isinstance(error, (InputError, OrchestrationError))


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="potash")
def commands() -> None:
    """Potash: free-text recipes in, an audited nutrient dataset out."""


@commands.command()
@click.argument("collection", required=False, type=click.Path(path_type=Path))
@click.option("--table", default="core", show_default=True, help="Composition table to match against.")
@click.option("--output", default=None, type=click.Path(path_type=Path), help="Folder for releases [default: output/].")
def run(collection: Path | None, table: str, output: Path | None) -> int:
    """The whole job: COLLECTION (a file or folder; the demo by default) to a release."""
    from pipeline import orchestration

    orchestration.prepare(ROOT)  # before pandas and Prefect: the server starts meanwhile
    try:
        with orchestration.quick_imports():
            from pipeline import flow, job, summary
            from pipeline.stages.release_folder import locked
        home = output or ROOT / "output"
        with locked(home):
            ready = job.prepare_job(collection, table)
            with summary.progress(flow.task_count(ready)) as advance:
                outcome = flow.run(ready, home, advance)
        click.echo(summary.text(ready.collection.name, outcome.tables, job.counts(outcome.tables), outcome.release.folder,
                                outcome.release.state, outcome.reused, outcome.tasks))
        return outcome.status
    finally:
        orchestration.shut_down()


@commands.command()
@click.argument("input_csv", metavar="INPUT.csv", type=click.Path(path_type=Path))
@click.option("-o", "--output", "output_csv", metavar="OUTPUT.csv", required=True, type=click.Path(path_type=Path))
def parse(input_csv: Path, output_csv: Path) -> int:
    """Read the column `text` of INPUT.csv; write what each line says."""
    from pipeline import batch

    return batch.parse_file(input_csv, output_csv)


@commands.command()
@click.argument("input_csv", metavar="INPUT.csv", type=click.Path(path_type=Path))
@click.option("-o", "--output", "output_csv", metavar="OUTPUT.csv", required=True, type=click.Path(path_type=Path))
@click.option("--table", default="core", show_default=True, help="Composition table to match against.")
@click.option("--top", default=3, show_default=True, type=click.IntRange(1, 5), help="Candidates to show.")
def match(input_csv: Path, output_csv: Path, table: str, top: int) -> int:
    """Read the column `text` of INPUT.csv; write the entry of each line and how sure that is."""
    from pipeline import batch

    return batch.match_file(input_csv, output_csv, table, top)


@commands.group()
def tables() -> None:
    """Composition tables."""


@tables.command("list")
@click.option("--json", "as_json", is_flag=True, help="As JSON.")
def list_tables(as_json: bool) -> int:
    """The composition tables that are there."""
    from pipeline import batch

    rows = batch.listed_tables()
    if as_json:
        click.echo(json.dumps(rows, indent=2))
        return DONE
    for row in rows:
        click.echo(f"{row['table']}: {row['entries']} entries, {row['values']} values, {row['components']} components")
    return DONE


@commands.command()
@click.argument("figure", nargs=-1, required=True, metavar="FIGURE_ID | RECIPE COMPONENT")
@click.option("--release", default=None, help="Release name or folder [default: the latest].")
@click.option("--output", default=None, type=click.Path(path_type=Path), help="Folder of releases [default: output/].")
@click.option("--json", "as_json", is_flag=True, help="As JSON.")
def trace(figure: tuple[str, ...], release: str | None, output: Path | None, as_json: bool) -> int:
    """One figure, down to its source rows and decisions, with the arithmetic at each node."""
    from pipeline import released, trace_view
    from pipeline import trace as tracing

    if len(figure) > 2:
        raise click.UsageError("name one figure id, or a recipe and a component")
    evidence = tracing.Evidence(released.find(release, output))
    node = tracing.trace(evidence, tracing.find_figure(evidence, list(figure)))
    click.echo(json.dumps(node.to_dict(), indent=2, ensure_ascii=False) if as_json else trace_view.text(node, evidence))
    return DONE


@commands.command()
@click.argument("release", required=False)
@click.option("--output", default=None, type=click.Path(path_type=Path), help="Folder of releases [default: output/].")
@click.option("--json", "as_json", is_flag=True, help="As JSON.")
def verify(release: str | None, output: Path | None, as_json: bool) -> int:
    """Recompute every figure of RELEASE (default: the latest) from its evidence alone."""
    from pipeline import released, verify as verifying

    report = verifying.verify(released.find(release, output), ROOT)
    click.echo(json.dumps(report.to_dict(), indent=2, ensure_ascii=False) if as_json else report.text())
    return DONE if report.agrees else WITHHELD
