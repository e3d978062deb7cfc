"""Reads any composition spreadsheet (XLSX) or CSV that a profile describes, to the common form.

One row per food, one column per component; several sheets of a workbook (or CSV files of a folder)
are joined on the food's code. What the sheet says about each value stays apart (see
:mod:`pipeline.composition.common`): a number; a number in brackets; 0; a word for a trace; "< 0.5";
a word for missing; a word for "present, but no reliable figure", which is missing and never zero.

Units go through the project's one registry to the units of ``reference/components.csv``; values per
100 ml through the food's density; the cell as printed is kept in ``original``. Whatever is not
understood is a problem with file, sheet and cell, and nothing is imported.
"""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from pipeline import sources
from pipeline.composition.common import Imported
from pipeline.composition.profile import Profile, load_profile
from pipeline.composition.sheet_grid import open_source
from pipeline.composition.sheet_layout import layouts
from pipeline.composition.sheet_table import table
from pipeline.root import ROOT


def read(path: Path | str, profile: Profile | Path | str, components: pd.DataFrame | None = None) -> Imported:
    """The table in ``path``: a workbook, a CSV file, or a folder of CSV files named after the profile's sheets.

    ``profile``: a ready profile's name, a file, or one already loaded. ``components`` has the columns component
    and unit (by default ``reference/components.csv``). Raises :class:`~pipeline.problems.InputError` with every
    place that is not understood.
    """
    if not isinstance(profile, Profile):
        profile = load_profile(profile)
    if components is None:
        components = default_components()
    notes = profile_notes(profile)
    source = open_source(Path(path), profile.encoding, profile.delimiter)
    return table(layouts(source, profile, notes), profile, components, notes)


def default_components(root: Path | None = None) -> pd.DataFrame:
    """The project's components: component, unit."""
    text, numbers = sources.FILES["components"]
    return sources.read_csv((root or ROOT) / "reference" / "components.csv", text, numbers)[["component", "unit"]]


def profile_notes(profile: Profile) -> list[str]:
    """What a reader of the imported table has to know about the profile."""
    notes = [f"profile {profile.name}: {profile.note}"] if profile.note else []
    if profile.standing == "from-memory":
        notes.append(f"profile {profile.name}: its sheet names, headings and words were written from memory;"
                     " compare them with the publisher's own notes")
    return notes + [f"profile {profile.name}: {row.component} is calculated: {row.reason}" for row in profile.calculated]
