"""The command `potash tables compare`: options in, exit code out."""

from __future__ import annotations

import json
from pathlib import Path

import click

from pipeline.root import ROOT

DONE, DIFFERS = 0, 1


@click.command("compare")
@click.argument("table_a", metavar="A")
@click.argument("table_b", metavar="B")
@click.option("--release", default=None, help="What would the swap do to this release? Its name or folder, or `latest`.")
@click.option("--json", "as_json", is_flag=True, help="Everything as JSON.")
@click.option("-o", "--output", "folder", default=None, metavar="DIR", type=click.Path(path_type=Path),
              help="Also write everything as CSV files into DIR.")
def compare(table_a: str, table_b: str, release: str | None, as_json: bool, folder: Path | None) -> int:
    """What changes from table A to table B; with --release, what that would do to its figures and verdicts.

    A dry run: no release and no decision is changed. The exit code is 1 when something differs.
    """
    from pipeline import compare_files, compare_text, protected, released, swap
    from pipeline.composition import compare as comparing

    if folder is not None:
        protected.check_folder(folder, ROOT, compare_files.COMPARISON)
    found = None if release is None else released.find(None if release == "latest" else release, ROOT / "output")
    comparison = comparing.compare_named(table_a, table_b, ROOT)
    swapped = None if found is None else swap.swap(found, table_a, table_b, ROOT)
    written = [] if folder is None else compare_files.write(comparison, swapped, folder, ROOT)
    if as_json:
        click.echo(json.dumps(compare_files.to_dict(comparison, swapped), indent=2, ensure_ascii=False))
    else:
        click.echo(compare_text.text(comparison, swapped))
        if written:
            click.echo(f"Written to {folder}: {', '.join(path.name for path in written)}")
    return DIFFERS if comparison.differs or (swapped is not None and swapped.differs) else DONE
