"""Finds the sheets, headings and rows that a profile describes in the sheets that are there."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass, field

from pipeline.composition.common import listed, problem
from pipeline.composition.profile import CONFIRM, Profile, SheetPlan
from pipeline.composition.sheet_grid import Area, Grid, Source
from pipeline.composition.sheet_units import PER_100_ML, folded, heading_against, heading_unit
from pipeline.problems import InputError, Problem

HEADER_WITHIN = 40  # rows in which a heading is looked for when the profile does not say which
NOTED = 12  # names listed in one note
ONE_CODE = "Give every food one code, and keep one row for each code, as published"


@dataclass(frozen=True)
class Layout:
    """One sheet as found. ``columns``: column by folded heading; ``rows``: row by food code, in the sheet's order;
    ``groups``: the group heading above each food, where the sheet has such rows."""

    plan: SheetPlan
    grid: Grid
    header_row: int
    columns: dict[str, int]
    rows: dict[str, int]
    groups: dict[str, str] = field(default_factory=dict)

    def column(self, headings: tuple[str, ...]) -> int | None:
        """The column of a heading in any of its spellings."""
        return next((self.columns[folded(heading)] for heading in headings if folded(heading) in self.columns), None)


def layouts(source: Source, profile: Profile, notes: list[str]) -> list[Layout]:
    """Every sheet of the profile, found in the source; adds to ``notes`` what is not read.

    Raises :class:`InputError` with every sheet, heading and row that is not as described.
    """
    names = _sheet_names(source, profile)
    unread = [name for name in source.sheets if name not in names]
    if unread:
        notes.append(f"{source.file}: sheets not read, because the profile does not name them: {named(unread)}")
    return found_in(source.grids(names), profile, notes)


def found_in(grids: Iterable[Grid], profile: Profile, notes: list[str]) -> list[Layout]:
    """The sheets of the profile, each found in its grid. Raises :class:`InputError` with what is wrong in all of them."""
    found, problems = [], []
    for plan, grid in zip(profile.sheets, grids, strict=True):
        try:
            found.append(layout(plan, grid, profile, notes))
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(problems)
    return found


def named(texts: Iterable[str]) -> str:
    """A list for a note: the first few, and how many more."""
    texts = list(texts)
    more = f" and {len(texts) - NOTED} more" if len(texts) > NOTED else ""
    return ", ".join(repr(" ".join(text.split())) for text in texts[:NOTED]) + more


def _sheet_names(source: Source, profile: Profile) -> list[str]:
    by_name = {folded(name): name for name in source.sheets}
    names, problems = [], []
    for plan in profile.sheets:
        alone = len(source.sheets) == 1 and len(profile.sheets) == 1 and ("" in source.sheets or plan.names == ("",))
        name = source.sheets[0] if alone else next((by_name[folded(text)] for text in plan.names if folded(text) in by_name), None)
        if name is None:
            problems.append(problem(source.file, f"has no sheet {' or '.join(map(repr, plan.names))}; it has {named(source.sheets)}",
                                    "Correct the name of the sheet in the profile (sheet = ...), or give the other file"))
        elif name in names:
            problems.append(problem(source.file, f"the profile reads the sheet {name!r} twice", "Describe it once"))
        names.append(name)
    if problems:
        raise InputError(problems)
    return names


def layout(plan: SheetPlan, grid: Grid, profile: Profile, notes: list[str]) -> Layout:
    """One sheet, found as the profile describes it. Raises :class:`InputError`."""
    header_row = _header_row(plan, grid)
    headings = header_texts(grid, header_row)
    columns, problems = _columns(plan, grid, header_row, headings)
    problems += _per_100_ml_problems(plan, grid, header_row, headings, profile) + _unit_row_problems(plan, grid, header_row, columns)
    if problems:
        raise InputError(problems)
    used = _wanted(plan, with_ignored=False)
    first_row = header_row + 1 + plan.rows_below_header
    problems = _merged_problems(grid, first_row, {columns[key]: text for key, text in used.items() if key in columns})
    rows, groups, row_problems = _food_rows(plan, grid, header_row, first_row, columns, notes)
    problems += row_problems + _ragged_problems(grid, first_row, len(grid.rows[header_row]))
    if problems:
        raise InputError(problems)
    _note_unread(plan, grid, headings, used, first_row, notes)
    return Layout(plan, grid, header_row, columns, rows, groups)


# ---------------------------------------------------------------- headings

def header_texts(grid: Grid, row: int) -> list[str]:
    """The headings of a row by column; a heading merged downwards counts for every row it stands over."""
    width = max((len(cells) for cells in grid.rows.values()), default=0)
    texts = [grid.at(row, column).text.strip() for column in range(width)]
    for area in grid.merged:
        if area.first_row <= row <= area.last_row and area.first_column == area.last_column < width:
            texts[area.first_column] = grid.at(area.first_row, area.first_column).text.strip()
    return texts


def _header_row(plan: SheetPlan, grid: Grid) -> int:
    code = {folded(heading) for heading in plan.code}
    candidates = [plan.header_row] if plan.header_row else [row for row in grid.rows if row <= HEADER_WITHIN]
    row = next((row for row in candidates if row in grid.rows and code & {folded(text) for text in header_texts(grid, row)}), None)
    if row is not None:
        return row
    looked = f"in row {plan.header_row}" if plan.header_row else f"in the first {HEADER_WITHIN} rows"
    first = grid.rows[min(grid.rows)] if grid.rows else []
    alone = len([cell for cell in first if cell.text.strip()]) == 1 and not grid.sheet
    remedy = "Say under [file] which mark divides the columns (delimiter)" if alone else "Correct code = ... or header_row in the profile"
    where = f"{grid.file} sheet {grid.sheet}" if grid.sheet else grid.file
    raise InputError(problem(where, f"has no heading {' or '.join(map(repr, plan.code))} {looked}", remedy))


def _wanted(plan: SheetPlan, with_ignored: bool = True) -> dict[str, str]:
    """Folded heading -> heading as in the profile, of everything the profile names."""
    groups = [plan.code, plan.name, plan.scientific_name, plan.group, plan.density, plan.per, plan.edible, *plan.other_names]
    groups += [headings for column in plan.columns for headings in (column.headings, *column.statistics.values())]
    groups += [plan.ignored] if with_ignored else []
    return {folded(heading): heading for headings in groups for heading in headings}


def _columns(plan: SheetPlan, grid: Grid, row: int, headings: list[str]) -> tuple[dict[str, int], list[Problem]]:
    """Column by folded heading, for what the profile names; and what is missing, twice there or merged."""
    wanted, problems = _wanted(plan), []
    places: dict[str, list[int]] = {}
    for column, text in enumerate(headings):
        if folded(text) in wanted:
            places.setdefault(folded(text), []).append(column)
    for key, columns in places.items():
        if len(columns) > 1 and key in _wanted(plan, with_ignored=False):
            problems.append(problem(grid.where(row, columns[1]), f"the heading {wanted[key]!r} stands over a second column",
                                    "Give the columns different headings, here and in the profile"))
        area = _across(grid, row, columns[0])
        if area and key in _wanted(plan, with_ignored=False):
            what = f"the heading {wanted[key]!r} is merged over {area.last_column - area.first_column + 1} columns"
            problems.append(problem(grid.where(row, columns[0]), what, "Split the merged heading and write one heading over each column"))
    required = [plan.code, plan.name, plan.scientific_name, plan.group, plan.density, plan.per, plan.edible, *plan.other_names]
    required += [spellings for column in plan.columns for spellings in (column.headings, *column.statistics.values())]
    for spellings in required:
        found = [heading for heading in spellings if folded(heading) in places]
        if len(found) > 1:
            problems.append(problem(grid.where(row), f"has both {found[0]!r} and {found[1]!r}, which the profile takes for one column",
                                    "Name only one of them in the profile, and the other in ignored"))
        if spellings and not found:
            problems.append(_missing(grid, row, spellings, headings))
    return {key: columns[0] for key, columns in places.items()}, problems


def _missing(grid: Grid, row: int, spellings: tuple[str, ...], headings: list[str]) -> Problem:
    near = difflib.get_close_matches(folded(spellings[0]), [folded(text) for text in headings if text], n=1, cutoff=0.6)
    like = next((f"; the nearest is {' '.join(text.split())!r}" for text in headings if near and folded(text) == near[0]), "")
    return problem(grid.where(row), f"has no column {' or '.join(map(repr, spellings))}, which the profile names{like}",
                   "Correct the heading in the profile, or take the column out of it")


def _across(grid: Grid, row: int, column: int) -> Area | None:
    over = (area for area in grid.merged if area.first_row <= row <= area.last_row and area.first_column <= column <= area.last_column)
    return next((area for area in over if area.last_column > area.first_column), None)


def _per_100_ml_problems(plan: SheetPlan, grid: Grid, row: int, headings: list[str], profile: Profile) -> list[Problem]:
    if profile.basis.per != "100 g" or profile.basis.per_100_ml_words:
        return []
    values = {folded(heading) for column in plan.columns for heading in column.headings}
    return [problem(grid.where(row, column), f"the heading {text!r} says per 100 ml, and the profile says per 100 g",
                    'Say per = "100 ml" under [basis], with a density') for column, text in enumerate(headings)
            if folded(text) in values and (heading_unit(text)[1] == "100 ml" or PER_100_ML.search(text))]


def _unit_row_problems(plan: SheetPlan, grid: Grid, row: int, columns: dict[str, int]) -> list[Problem]:
    """What the rows below the headings say against the unit of a column."""
    found = []
    for plan_column in (one for one in plan.columns if not one.unit_confirmed):
        place = next((columns[folded(heading)] for heading in plan_column.headings if folded(heading) in columns), None)
        for below in range(row + 1, row + 1 + plan.rows_below_header) if place is not None else ():
            text = grid.at(below, place).text
            if said := heading_against(text, plan_column.unit):
                what = f"{' '.join(text.split())!r} says {said}, and the unit of {plan_column.headings[0]!r} in the profile is {plan_column.unit}"
                found.append(problem(grid.where(below, place), what, CONFIRM))
    return found


# ---------------------------------------------------------------- rows

def _merged_problems(grid: Grid, first_row: int, used: dict[int, str]) -> list[Problem]:
    found = []
    for area in grid.merged:
        column = next((column for column in sorted(used) if area.first_column <= column <= area.last_column), None)
        rows = [row for row in range(max(area.first_row, first_row), area.last_row + 1) if row in grid.rows]
        # a title or a group heading across the whole table is one cell, and is judged as a row below
        is_title = area.first_row == area.last_row and area.first_column == 0 and bool(rows) and len(_filled(grid, rows[0])) == 1
        if column is None or not rows or is_title:
            continue
        found.append((grid.place(rows[0], column), f"({used[column]}) the cell is merged with others"))
    return listed(grid.file, found, "Split the merged cells and fill each one as published")


def _filled(grid: Grid, row: int) -> list[int]:
    return [column for column, cell in enumerate(grid.rows.get(row, [])) if cell.text.strip() or cell.fault]


def _ragged_problems(grid: Grid, first_row: int, width: int) -> list[Problem]:
    if grid.sheet:
        return []
    ragged = [(grid.place(row), f"has {len(cells)} cells where the headings are {width}")
              for row, cells in grid.rows.items() if row >= first_row and len(cells) != width]
    return listed(grid.file, ragged, "Put cells that hold the dividing mark in quotes, as published")


def _food_rows(
    plan: SheetPlan, grid: Grid, header_row: int, first_row: int, columns: dict[str, int], notes: list[str],
) -> tuple[dict[str, int], dict[str, str], list[Problem]]:
    code_column = next(columns[folded(heading)] for heading in plan.code if folded(heading) in columns)
    wrong: dict[str, list[tuple[str, str]]] = {}
    rows: dict[str, int] = {}
    groups: dict[str, str] = {}
    group, group_row, empty_groups = "", 0, []
    for row in sorted(row for row in grid.rows if row > header_row):
        cell = grid.at(row, code_column)
        code, place = " ".join(cell.text.split()), grid.place(row, code_column)
        if row < first_row:
            if code and _across(grid, row, code_column) is None and not _down(grid, header_row, row, code_column):
                wrong.setdefault("Correct rows_below_header in the profile", []).append(
                    (place, f"has the code {code!r} in a row that the profile counts among the headings"))
            continue
        filled = _filled(grid, row)
        if plan.group_rows and len(filled) == 1 and _is_group(grid, row, filled[0], code_column):
            empty_groups += [group] if group and group_row == 0 else []
            group, group_row = " ".join(grid.at(row, filled[0]).text.split()), 0
            continue
        if cell.fault:
            wrong.setdefault(cell.remedy, []).append((place, f"(the food code) {cell.fault}"))
        elif not code:
            wrong.setdefault(ONE_CODE, []).append((grid.place(row), "has values or text and no food code"))
        elif cell.is_number and not code.isdigit():
            wrong.setdefault("Format the column as text and type the codes as published", []).append(
                (place, f"the food code is the number {code}: a spreadsheet drops its last zeros"))
        elif code in rows:
            wrong.setdefault(ONE_CODE, []).append((place, f"the food code {code!r} is that of row {rows[code]} too"))
        else:
            rows[code], groups[code], group_row = row, group, row
    empty_groups += [group] if group and group_row == 0 else []
    if empty_groups:
        notes.append(f"{grid.file} {grid.sheet}: rows taken for headings or notes, without foods below them: {named(empty_groups)}")
    problems = [item for remedy, found in wrong.items() for item in listed(grid.file, found, remedy)]
    if not rows and not problems:
        problems = [problem(grid.where(first_row), "the table has no foods below its headings",
                            "Correct header_row and rows_below_header in the profile")]
    return rows, groups, problems


def _is_group(grid: Grid, row: int, column: int, code_column: int) -> bool:
    """Whether the only cell of a row is a group's heading, and not a stray number or a code that lost its values."""
    cell = grid.at(row, column)
    if cell.fault or cell.is_number or not any(letter.isalpha() for letter in cell.text):
        return False
    is_code = any(letter.isdigit() for letter in cell.text) and len(cell.text.split()) == 1
    return column != code_column or bool(_across(grid, row, column)) or not is_code


def _down(grid: Grid, header_row: int, row: int, column: int) -> bool:
    over = (area for area in grid.merged if area.first_column <= column <= area.last_column)
    return any(area.first_row <= header_row and area.last_row >= row for area in over)


def _note_unread(
    plan: SheetPlan, grid: Grid, headings: list[str], used: dict[str, str], first_row: int, notes: list[str],
) -> None:
    ignored = {folded(heading) for heading in plan.ignored}
    where = f"{grid.file} {grid.sheet}".strip()
    unnamed = [text for text in headings if text and folded(text) not in used and folded(text) not in ignored]
    on_purpose = [text for text in headings if text and folded(text) in ignored]
    bare = [column for column, text in enumerate(headings) if not text
            and any(row >= first_row and grid.at(row, column).text.strip() for row in grid.rows)]
    there = {folded(text) for text in headings}
    absent = [heading for heading in plan.ignored if folded(heading) not in there]
    for texts, what in ((unnamed, "columns not read, because the profile does not name them"),
                        (on_purpose, "columns left out, as the profile says"), (absent, "columns that the profile leaves out are not there")):
        if texts:
            notes.append(f"{where}: {what}: {named(texts)}")
    if bare:
        places = ", ".join(grid.place(first_row, column) for column in bare[:NOTED])
        notes.append(f"{where}: columns not read, because they have no heading: {places}")
