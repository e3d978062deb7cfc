"""The command `potash compare`: options in, exit code out."""

from __future__ import annotations

from pathlib import Path

import click

from pipeline.cli_match import print_json
from pipeline.root import ROOT

DONE, DIFFERS = 0, 1


@click.command("compare")
@click.argument("release_a", metavar="RELEASE_A")
@click.argument("release_b", metavar="RELEASE_B")
@click.option("--output", default=None, type=click.Path(path_type=Path), help="Folder of releases [default: output/].")
@click.option("--json", "as_json", is_flag=True, help="Everything as JSON.")
@click.option("-o", "folder", default=None, metavar="DIR", type=click.Path(path_type=Path), help="Also write everything as CSV files into DIR.")
def compare(release_a: str, release_b: str, output: Path | None, as_json: bool, folder: Path | None) -> int:
    """What changed from one release to the other, why, and which verdicts flipped.

    Each release by its name or folder, or `latest`. The parts of a changed figure add up to its change. The exit code is 1 when
    something differs.
    """
    from pipeline import compare_files, protected, release_compare, release_compare_text, released

    if folder is not None:
        protected.check_folder(folder, ROOT, compare_files.COMPARISON)
    found = release_compare.compare(*(released.find(None if one == "latest" else one, output) for one in (release_a, release_b)))
    tables = {f"changed_{name}": getattr(found, name) for name in ("recipes", "lines", "figures", "causes", "verdicts")}
    written = [] if folder is None else compare_files.write_tables(tables, folder, ROOT)
    if as_json:
        print_json({"release_a": found.release_a, "release_b": found.release_b, "differs": found.differs, "inputs": found.inputs,
                    **{name.removeprefix("changed_"): compare_files.records(frame) for name, frame in tables.items()}})
    else:
        click.echo(release_compare_text.text(found))
        if written:
            click.echo(f"Written to {folder}: {', '.join(path.name for path in written)}")
    return DIFFERS if found.differs else DONE
