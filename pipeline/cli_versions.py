"""The command `potash versions`: options in, exit code out."""

from __future__ import annotations

from pathlib import Path

import click

from pipeline.cli_match import print_json

DONE, DIFFERS = 0, 1


@click.command("versions")
@click.argument("recipe", metavar="RECIPE")
@click.option("--from", "before", default=None, metavar="VARIANT", help="Compare with this one [default: base, the recipe as analysed].")
@click.option("--to", "after", default=None, metavar="VARIANT", help="Compare this one [default: every version of the recipe].")
@click.option("--release", default=None, help="Release name or folder [default: the latest].")
@click.option("--output", default=None, type=click.Path(path_type=Path), help="Folder of releases [default: output/].")
@click.option("--json", "as_json", is_flag=True, help="As JSON.")
def versions(recipe: str, before: str | None, after: str | None, release: str | None, output: Path | None, as_json: bool) -> int:
    """A recipe as made and as printed beside the recipe as analysed, line by line and figure by figure.

    Any two variants of a recipe can be compared. The exit code is 1 when something differs.
    """
    from pipeline import released, versions_view

    evidence = released.Evidence(released.find(release, output))
    found = versions_view.compared(evidence, recipe, before, after)
    print_json(versions_view.to_dict(found)) if as_json else click.echo(versions_view.text(found, evidence.release))
    return DIFFERS if any(one.differs for one in found) else DONE
