"""Reads composition workbooks in the FAO/INFOODS layout: component tagnames in a header row.

Layout (FAO/INFOODS compilation tools and regional tables, from memory): one row per food; a row with
the tagname of each component and its unit in brackets, "ENERC(kJ)", "K (mg)", or the unit in the row
below; "FIBTG(g) or [FIBC](g)" for a column whose values in square brackets are by another method;
headings that name the food in the same row or above; a food group as a row of its own. XN, XFA (the
nitrogen and fatty acid conversion factors) have no unit; EDIBLE is the edible portion, DEN the density.

What the workbook does not say (words, limits, the headings of code and name) is in
``reference/profiles/infoods.toml``; the rest goes through :mod:`pipeline.composition.sheet`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from pipeline.composition.common import Imported, problem
from pipeline.composition.profile import ColumnPlan, Profile, SheetPlan, limits_of, load_profile, wrong
from pipeline.composition.sheet import default_components, profile_notes
from pipeline.composition.sheet_grid import Cell, Grid, Source, open_source
from pipeline.composition.sheet_layout import HEADER_WITHIN, found_in, header_texts, named
from pipeline.composition.sheet_table import table
from pipeline.composition.sheet_units import OTHER_BASIS, PER_100_ML, folded, unit_word
from pipeline.problems import InputError, Problem

FEWEST_TAGS = 3  # columns with tagname and unit that make a header row
TAG = r"[A-Z][A-Z0-9]*(?:_[A-Z0-9]+)*-?[A-Z0-9]*"
HEADING = re.compile(rf"\[?({TAG})\]?\s*(?:[(\[/,]\s*([^()\[\]]+?)\s*[)\]]?)?\s*(?:or\s+[\[(]({TAG})[\])]\s*(?:[(\[]([^()\[\]]+)[)\]])?)?")
WITHOUT_UNIT = ("XN", "XFA", "XF")
FOOD_TAGS = {"EDIBLE": "edible", "DEN": "density"}
COPY = "under [food] {} in a copy of reference/profiles/infoods.toml"


@dataclass(frozen=True)
class Heading:
    """A column heading as understood: "FIBTG(g) or [FIBC](g)" is FIBTG, g, FIBC."""

    tagname: str
    unit: str
    other_tagname: str = ""
    fault: str = ""


def read(
    path: Path | str, profile: Profile | Path | str = "infoods", components: pd.DataFrame | None = None, sheets: list[str] | None = None,
) -> Imported:
    """The table in ``path``, a workbook (or CSV) with tagnames in a header row.

    ``profile`` says what the workbook does not (a file without ``[[sheet]]``); ``sheets``: which to read, by
    default those that the profile names, else every sheet that has tagnames. They are joined on the food code. ``components`` has the columns
    component and unit. Raises :class:`~pipeline.problems.InputError` with every place that is not understood.
    """
    if not isinstance(profile, Profile):
        profile = load_profile(profile, with_sheets=False)
    if not profile.food_headings:
        raise InputError(wrong(Path(profile.name), "food", "is not given", "Name the headings of code and name under [food]"))
    components = default_components() if components is None else components
    notes = profile_notes(profile)
    plans, grids = _planned(open_source(Path(path), profile.encoding, profile.delimiter), profile, set(components["component"]),
                            sheets or list(profile.sheets_read), notes)
    profile = replace(profile, sheets=tuple(_first_roles_only(plans)))
    return table(found_in(grids, profile, notes), profile, components, notes)


def _planned(
    source: Source, profile: Profile, known: set[str], sheets: list[str], notes: list[str],
) -> tuple[list[SheetPlan], list[Grid]]:
    """The plan of every sheet that has tagnames, and the sheet. Raises :class:`InputError`."""
    absent = [name for name in sheets if name not in source.sheets]
    if absent:
        raise InputError(problem(source.file, f"has no sheet {absent[0]!r}; it has {named(source.sheets)}", "Correct the name of the sheet"))
    grids, plans, problems, skipped = [], [], [], []
    for grid in source.grids(sheets or list(source.sheets)):
        row = _tag_row(grid)
        if row is None:
            skipped.append(grid.sheet or grid.file)
            continue
        plan, flat, found = _plan(grid, row, profile, known)
        problems += found
        plans.append(plan)
        grids.append(flat)
    if not grids:
        raise InputError(problem(
            source.file, f"has no row with {FEWEST_TAGS} or more tagnames and units in its first {HEADER_WITHIN} rows",
            'Give the sheet whose headings are like "ENERC(kJ)", or write a profile and import it as a sheet'))
    problems += _twice(grids, plans)
    if problems:
        raise InputError(problems)
    if skipped:
        notes.append(f"{source.file}: sheets not read, because they have no row of tagnames: {named(skipped)}")
    return plans, grids


# ---------------------------------------------------------------- headings

def heading_of(text: str, below: str = "") -> Heading | None:
    """What a heading in the row of tagnames says; ``below`` is the cell under it.

    None where it is no tagname with a unit; a Heading with a ``fault`` where it looks like one and is not understood.
    """
    words = " ".join(text.split())
    found = HEADING.fullmatch(words)
    if not found:
        return None
    tagname, written, other, other_unit = found.groups()
    if tagname in WITHOUT_UNIT:
        return Heading(tagname, "1")
    if tagname in FOOD_TAGS:
        return Heading(tagname, "")
    under = below.strip().strip("()[]").strip()
    said = written or under
    unit = _unit(said)
    if not written and not unit:
        return None
    if not unit:
        return Heading(tagname, "", fault=f"{words!r} has the unit {said!r}, which is not known")
    if written and _unit(under) not in ("", unit):
        return Heading(tagname, "", fault=f"{words!r} has another unit below it, {under!r}")
    if other_unit and _unit(other_unit) != unit:
        return Heading(tagname, "", fault=f"{words!r} has two units")
    return Heading(tagname, unit, other or "")


def _unit(text: str) -> str:
    """The unit, with "/100 g" or "per 100 g" taken off."""
    bare = re.sub(r"(?:/|per)\s*100\s*(?:g|ml)(?:\s*EP)?$", "", text.strip(), flags=re.IGNORECASE).strip()
    unit = unit_word(bare)
    return "" if unit == "1" else unit


def _tag_row(grid: Grid) -> int | None:
    """The first row that has enough tagnames with units."""
    for row in sorted(row for row in grid.rows if row <= HEADER_WITHIN):
        texts = header_texts(grid, row)
        tags = [heading for column, text in enumerate(texts) if (heading := heading_of(text, grid.at(row + 1, column).text)) and heading.unit]
        if len(tags) >= FEWEST_TAGS:
            return row
    return None


def _has_unit_row(grid: Grid, row: int) -> bool:
    """Whether the row below holds units, in or out of brackets, and no numbers."""
    cells = [cell for cell in grid.rows.get(row + 1, []) if cell.text.strip()]
    return all(not cell.is_number for cell in cells) and any(_unit(cell.text.strip().strip("()[]")) for cell in cells)


def _plan(grid: Grid, row: int, profile: Profile, known: set[str]) -> tuple[SheetPlan, Grid, list[Problem]]:
    """The plan of a sheet; the sheet with one heading per column in the row of tagnames; what is wrong."""
    units_below = _has_unit_row(grid, row)
    texts = [header_texts(grid, above) for above in range(1, row + 1)]
    food = {folded(text): role for role, spellings in _food_roles(profile).items() for text in spellings}
    labels = [_label(column, texts, food) for column in range(len(texts[-1]))]
    labels = _with_units(labels, grid, row) if units_below else labels
    columns: list[ColumnPlan] = []
    roles: dict[str, str] = {}
    problems = _basis_problems(grid, row, texts, profile)
    for column, label in enumerate(labels):
        what, remedy = _take(label, grid.at(row + 1, column).text if units_below else "", food, known, profile, columns, roles)
        problems += [problem(grid.where(row, column), what, remedy)] if what else []
    if "code" not in roles:
        problems.append(problem(grid.where(row), "has no column for the food's code", f"Name its heading {COPY.format('code')}"))
    rows = {number: cells for number, cells in grid.rows.items() if number > row}
    flat = replace(grid, rows={row: [Cell(label) for label in labels], **rows})
    plan = SheetPlan(
        names=(grid.sheet,), code=_one(roles, "code"), name=_one(roles, "name"), scientific_name=_one(roles, "scientific_name"),
        group=_one(roles, "group"), other_names=tuple((roles[role],) for role in roles if role.startswith("other name")),
        density=_one(roles, "density"), edible=_one(roles, "edible"), edible_kind="edible_fraction" if "edible" in roles else "",
        columns=tuple(columns), header_row=row, rows_below_header=1 if units_below else 0, group_rows=True)
    return plan, flat, problems


def _label(column: int, texts: list[list[str]], food: dict[str, str]) -> str:
    """The heading in the row of tagnames; where there is none, a heading above that names the food."""
    above = (line[column] for line in reversed(texts[:-1]) if column < len(line) and folded(line[column]) in food)
    return texts[-1][column] or next(above, "")


def _with_units(labels: list[str], grid: Grid, row: int) -> list[str]:
    """The headings, where a tagname stands twice with the unit from the row below ("ENERC" over kJ and over kcal)."""
    below = [grid.at(row + 1, column).text.strip().strip("()[]").strip() for column in range(len(labels))]
    return [f"{label} ({unit})" if labels.count(label) > 1 and (heading := heading_of(label, unit)) and heading.unit else label
            for label, unit in zip(labels, below, strict=True)]


def _take(
    label: str, below: str, food: dict[str, str], known: set[str], profile: Profile, columns: list[ColumnPlan], roles: dict[str, str],
) -> tuple[str, str]:
    """Adds one column to ``columns`` or ``roles``; gives what is wrong with it, and the remedy, or two empty texts."""
    role = food.get(folded(label), "")
    heading = None if role else heading_of(label, below)
    if heading and heading.fault:
        return heading.fault, "Write the unit as g, mg, ug, kJ, kcal or IU, or the heading in small letters if it is no tagname"
    if heading and heading.unit:
        stated = limits_of(profile, heading.tagname, heading.unit)
        columns.append(ColumnPlan((label,), heading.tagname, heading.unit, limits=stated, bracket_component=heading.other_tagname))
        return "", ""
    if heading:
        role = FOOD_TAGS[heading.tagname]
    if role in roles:
        return f"has a second column for the food's {role}, {label!r}", "Keep one, or name the right one under [food] in a profile"
    if role:
        roles[role] = label
    elif label in known:
        return f"the tagname {label!r} has no unit", f'Write it as in "{label}(mg)", or the unit in the row below'
    return "", ""


def _one(roles: dict[str, str], role: str) -> tuple[str, ...]:
    return (roles[role],) if role in roles else ()


def _food_roles(profile: Profile) -> dict[str, tuple[str, ...]]:
    """Headings by role; each of the other names is a role of its own."""
    roles = {role: spellings for role, spellings in profile.food_headings.items() if role != "other_names"}
    for number, spellings in enumerate(profile.food_headings.get("other_names", ()), 1):
        roles[f"other name {number}"] = (spellings,) if isinstance(spellings, str) else tuple(spellings)
    return roles


def _basis_problems(grid: Grid, row: int, texts: list[list[str]], profile: Profile) -> list[Problem]:
    """A sheet whose headings speak of another denominator is not read as per 100 g."""
    below = [cell.text for cell in grid.rows.get(row + 1, [])] if _has_unit_row(grid, row) else []
    written = [(number, column, text) for number, line in enumerate([*texts, below], 1) for column, text in enumerate(line) if text]
    found = []
    for number, column, text in written:
        if OTHER_BASIS.search(text):
            found.append(problem(grid.where(number, column), f"{' '.join(text.split())!r} speaks of another basis than 100 g edible portion",
                                 "Name the sheets that are per 100 g edible portion, or write a profile for the sheet"))
        elif PER_100_ML.search(text) and profile.basis.per == "100 g":
            found.append(problem(grid.where(number, column), f"{' '.join(text.split())!r} says per 100 ml, and the profile says per 100 g",
                                 'Say per = "100 ml" under [basis] of a profile; each food then needs a density (column DEN, or stated there)'))
    return found


# ---------------------------------------------------------------- several sheets

def _first_roles_only(plans: list[SheetPlan]) -> list[SheetPlan]:
    """Group, scientific name, density, edible portion and conversion factors are taken from the first sheet that has them."""
    seen: set[str] = set()
    kept = []
    for plan in plans:
        roles = {role: getattr(plan, role) for role in ("scientific_name", "group", "density", "edible")}
        changes = {role: () for role, headings in roles.items() if headings and role in seen}
        seen |= {role for role, headings in roles.items() if headings}
        repeated = tuple(heading for role in changes for heading in roles[role])
        factors = {column.component for column in plan.columns} & set(WITHOUT_UNIT)
        again = tuple(column.headings[0] for column in plan.columns if column.component in factors & seen)
        seen |= factors
        columns = tuple(column for column in plan.columns if column.headings[0] not in again)
        others = plan.other_names if plan is plans[0] else ()
        kept.append(replace(plan, **changes, columns=columns, other_names=others, ignored=plan.ignored + repeated + again))
    return kept


def _twice(grids: list[Grid], plans: list[SheetPlan]) -> list[Problem]:
    seen: dict[tuple[str, str], str] = {}  # component and unit of energy -> the sheet that gives it
    found = [] if plans[0].name else [problem(f"{grids[0].file} {grids[0].sheet}".strip(), "has no column for the food's name",
                                              "Name its heading under [food] name in a profile (a copy of reference/profiles/infoods.toml)")]
    for grid, plan in zip(grids, plans, strict=True):
        again: dict[str, list[str]] = {}  # by the sheet that gives them too
        for column in plan.columns:
            for component in filter(None, (column.component, column.bracket_component)):
                key = (component, column.unit if component == "ENERC" else "")
                if key in seen and component not in WITHOUT_UNIT:
                    again.setdefault(seen[key], []).append(component)
                seen[key] = grid.sheet
        for other, components in again.items():
            there = "in this sheet" if other == grid.sheet else f"after the sheet {other!r}"
            found.append(problem(f"{grid.file} {grid.sheet}".strip(), f"gives {named(list(dict.fromkeys(components)))} a second time, {there}",
                                 f"Take one of the columns out, or name the sheets to read: sheets = [{other!r}] under [file] in a copy of "
                                 "reference/profiles/infoods.toml (--profile)"))
    return found
