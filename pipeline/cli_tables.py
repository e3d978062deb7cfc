"""The commands on composition tables: options in, exit code out. No logic of the job lives here."""

from __future__ import annotations

import json
from pathlib import Path

import click

from pipeline.compare_cli import compare

DONE = 0


@click.group()
def tables() -> None:
    """Composition tables: import, list, check and compare them."""


@tables.command("import")
@click.argument("format_name", metavar="FORMAT")
@click.argument("path", type=click.Path(path_type=Path))
@click.option("--name", required=True, help="What to call the table: lower-case letters, digits, hyphens.")
@click.option("--source", default="", help="Its id in reference/sources.csv [default: by the file's SHA-256, else NAME].")
@click.option("--profile", default="", help="How to read a spreadsheet, where FORMAT needs it: a ready profile or a TOML file.")
def import_table(format_name: str, path: Path, name: str, source: str, profile: str) -> int:
    """Import the table at PATH, as published. `potash tables formats` lists what FORMAT can be.

    A table of that name is replaced whole, or not at all. The exit code is 1 when its check finds an error of the table as a whole.
    """
    from pipeline.composition import importing

    outcome = importing.import_table(format_name, path, name, source, profile)
    counts = ", ".join(f"{count:,} {what}" for what, count in outcome.facts["counts"].items())
    click.echo(f"{name}: {_STATES[outcome.state]} ({counts})")
    for note in outcome.notes:
        click.echo(f"note: {note}")
    for line in outcome.faults():
        click.echo(line)
    return outcome.exit_code


_STATES = {
    "imported": "imported", "replaced": "replaced the table of that name",
    "current": "is up to date: the same source by the same importer; nothing was done",
}


@tables.command("formats")
@click.option("--json", "as_json", is_flag=True, help="As JSON.")
def list_formats(as_json: bool) -> int:
    """The published formats that can be imported, and the ready profiles."""
    from pipeline.composition.importing import FORMATS
    from pipeline.composition.profile import profile_names

    if as_json:
        click.echo(json.dumps([{"format": name, "what": one.what, "profile": one.takes_profile} for name, one in FORMATS.items()], indent=2))
        return DONE
    for name, one in FORMATS.items():
        click.echo(f"{name}: {one.what}{' (with --profile)' if one.takes_profile else ''}")
    click.echo(f"Ready profiles: {', '.join(profile_names())}. For another table copy the nearest of them from reference/profiles/, correct its"
               " headings, units and words, and give the copy to --profile: what does not fit yet is named place by place, and nothing is stored.")
    return DONE


@tables.command("list")
@click.option("--json", "as_json", is_flag=True, help="As JSON.")
def list_tables(as_json: bool) -> int:
    """The composition tables that are there, curated and imported."""
    from pipeline.composition import importing

    rows = importing.listed()
    if as_json:
        click.echo(json.dumps(rows, indent=2, ensure_ascii=False))
        return DONE
    for row in rows:
        click.echo(f"{row['table']} ({row['kind']}): {row['entries']:,} entries, {row['values']:,} values, "
                   f"{row['components']:,} components, {row['measures']:,} measures")
    return DONE


@tables.command("check")
@click.argument("name")
@click.option("-o", "--output", "folder", default=None, type=click.Path(path_type=Path),
              help="Folder for findings.csv and report.html [default: output/checks/NAME].")
@click.option("--json", "as_json", is_flag=True, help="The counts as JSON.")
def check_table(name: str, folder: Path | None, as_json: bool) -> int:
    """Check the table NAME as compilers do before they publish; exit code 1 when there is an error."""
    from pipeline.composition import checking

    outcome = checking.check_by_name(name, folder)
    click.echo(json.dumps(outcome.to_dict(), indent=2) if as_json else outcome.text())
    return outcome.exit_code


tables.add_command(compare)
