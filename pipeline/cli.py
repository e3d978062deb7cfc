"""The command line: options in, exit code out. No logic of the job lives here.

Exit codes: 0 done; 1 done, and something is withheld or differs; 2 the input or the
call is wrong, with a line that says where and what to do.
"""

from __future__ import annotations

import os
import sys
import threading
import traceback
from pathlib import Path
from typing import Any, NoReturn

import click

from pipeline import interruption
from pipeline.cli_compare import compare
from pipeline.cli_match import TABLE_HELP, decide, match, print_json
from pipeline.cli_tables import tables
from pipeline.cli_versions import versions
from pipeline.root import ROOT

DONE, WITHHELD, WRONG = 0, 1, 2
NOTHING_WRITTEN = "nothing was written, an earlier release is as it was"
DEFECT_REPORT = ".potash/defect.txt"


def main() -> None:
    """Entry point of the console command: one clear message for everything foreseen."""
    with interruption.listening():
        try:
            code = _called()
            sys.exit(code if isinstance(code, int) else DONE)
        except click.ClickException as error:
            error.show()
            sys.exit(WRONG)
        except (click.Abort, KeyboardInterrupt):
            _stopped()
        except BrokenPipeError:  # the reader of a pipe (head, less) had enough
            os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
            sys.exit(DONE)
        except Exception as error:
            if interruption.wished():  # a library made its own error of it
                _stopped()
            click.echo(_told(error), err=True)
            sys.exit(WRONG)


def _stopped() -> NoReturn:
    """The last words after Ctrl-C, and the end at once: threads that still compute are not waited for."""
    interruption.last_words()
    click.echo(f"potash: stopped by you; {'the release had been written' if interruption.written() else NOTHING_WRITTEN}", err=True)
    if threading.active_count() == 1:
        sys.exit(WRONG)
    sys.stdout.flush()
    if "multiprocessing.util" in sys.modules:
        sys.modules["multiprocessing.util"]._exit_function()  # its semaphores would outlive this process
    os._exit(WRONG)


def _called() -> Any:
    try:
        code = commands(standalone_mode=False)
        sys.stdout.flush()
        return code
    except SystemExit:
        if type(sys.stdout).__name__ == "_PacifyFlushWrapper":  # what click leaves behind when a pipe was closed
            raise BrokenPipeError from None
        raise


def _told(error: Exception) -> str:
    from pipeline.orchestration import OrchestrationError
    from pipeline.problems import InputError

    if isinstance(error, InputError):
        return "\n".join(f"potash: {problem}" for problem in error.problems)
    if isinstance(error, OrchestrationError):
        return f"potash: {error}"
    if isinstance(error, OSError):
        return (f"potash: {error.filename or 'a file'}: cannot be read or written ({error.strerror or error}). Check the "
                "disk's free space and the permissions; no release was written")
    return f"potash: stopped by a defect of its own ({type(error).__name__}); nothing was published. Report it with {_kept(error)}"


def _kept(error: Exception) -> str:
    """Where the details of a defect are; on the terminal if they cannot be written."""
    details = "".join(traceback.format_exception(error))
    try:
        path = ROOT / DEFECT_REPORT
        path.parent.mkdir(exist_ok=True)
        path.write_text(details, encoding="utf-8")
    except OSError:
        return f"these details:\n{details}"
    return f"the details in {path}"


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="potash")
def commands() -> None:
    """Potash: free-text recipes in, an audited nutrient dataset out."""


for one in (tables, match, decide, versions, compare):
    commands.add_command(one)


@commands.command()
@click.argument("collection", required=False, type=click.Path(path_type=Path))
@click.option("--table", default="core", show_default=True, help=TABLE_HELP)
@click.option("--policy", default=None, type=click.Path(path_type=Path), metavar="FILE",
              help="The unit's own limits, a TOML file [default: the demo policy of reference/limits/].")
@click.option("--output", default=None, type=click.Path(path_type=Path), help="Folder for releases [default: output/].")
@click.option("--json", "as_json", is_flag=True, help="The summary as JSON.")
def run(collection: Path | None, table: str, policy: Path | None, output: Path | None, as_json: bool) -> int:
    """The whole job: COLLECTION (a file or folder; the demo by default) to a release."""
    from pipeline import orchestration

    try:
        orchestration.prepare(ROOT)  # before pandas and Prefect: the server starts meanwhile
        with orchestration.quick_imports():
            from pipeline import flow, job, summary
            from pipeline.stages.release_folder import locked
        home = output or ROOT / "output"
        with locked(home):
            ready = job.prepare_job(collection, table, policy=policy)
            with summary.progress(flow.plan(ready)) as advance:
                outcome = flow.run(ready, home, advance)
        facts = summary.facts(ready.collection.name, outcome.tables, outcome.release.folder, outcome.release.state,
                              outcome.reused, outcome.tasks, outcome.status)
        print_json(facts) if as_json else click.echo(summary.text(facts))
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
@click.argument("figure", nargs=-1, required=True, metavar="FIGURE_ID | RECIPE COMPONENT")
@click.option("--release", default=None, help="Release name or folder [default: the latest].")
@click.option("--output", default=None, type=click.Path(path_type=Path), help="Folder of releases [default: output/].")
@click.option("--explain", is_flag=True, help="The share of every input in the width of the interval, not of the widest alone.")
@click.option("--json", "as_json", is_flag=True, help="As JSON.")
def trace(figure: tuple[str, ...], release: str | None, output: Path | None, explain: bool, as_json: bool) -> int:
    """One figure, down to its source rows and decisions, with the arithmetic at each node."""
    if len(figure) > 2:
        raise click.UsageError("name one figure id, or a recipe and a component")
    from pipeline import released, trace_view
    from pipeline import trace as tracing

    evidence = released.Evidence(released.find(release, output))
    traced = tracing.trace(evidence, tracing.find_figure(evidence, list(figure)), explain)
    print_json(traced.to_dict()) if as_json else click.echo(trace_view.text(traced, evidence.release))
    return DONE


@commands.command()
@click.argument("release", required=False)
@click.option("--output", default=None, type=click.Path(path_type=Path), help="Folder of releases [default: output/].")
@click.option("--json", "as_json", is_flag=True, help="As JSON.")
def verify(release: str | None, output: Path | None, as_json: bool) -> int:
    """Recompute every figure of RELEASE (default: the latest) from its evidence alone."""
    from pipeline import released, verify as verifying

    report = verifying.verify(released.find(release, output), ROOT)
    print_json(report.to_dict()) if as_json else click.echo(report.text())
    return DONE if report.agrees else WITHHELD


if __name__ == "__main__":
    main()
