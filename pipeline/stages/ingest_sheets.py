"""Recipes in two tables: ``recipes`` and ``lines``, as a pair of CSV files (commas, semicolons or tabs) or two sheets of an XLSX workbook.

recipes: recipe_id, name, portions (required); course, food_form, units, finished_mass, method (one step per
line of the cell), claims (separated by semicolons), note.
lines: recipe_id, text (required); section, line_no (orders the lines of a recipe; file order where not given).
"""

from __future__ import annotations

import csv
import difflib
import io
from dataclasses import dataclass

from pipeline.stages.ingest_amounts import mass_of, portions_of
from pipeline.stages.ingest_files import SourceFile, text_of, unreadable
from pipeline.stages.ingest_workbook import read_workbook
from pipeline.stages.ingest_written import (
    Line, Notes, PrintedClaim, Words, Written, choice, is_id, keeps_limits, sectioned, shown, slug, steps_of, unknown_key,
)

RECIPE_COLUMNS = ("recipe_id", "name", "portions", "course", "food_form", "units", "finished_mass", "method", "claims", "note")
LINE_COLUMNS = ("recipe_id", "text", "section", "line_no")
RECIPE_REQUIRED, LINE_REQUIRED = RECIPE_COLUMNS[:3], LINE_COLUMNS[:2]
UNITS = ("uk", "us", "metric")
DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab"}
LONGEST_HEADER = 10_000


@dataclass(frozen=True)
class Row:
    """One row: its cells by column, its line in the file, and what is wrong with single cells."""

    cells: dict[str, str]
    line: int
    faults: tuple[tuple[str, str, str], ...] = ()  # place, what, remedy

    def get(self, column: str) -> str:
        return self.cells.get(column, "").strip()


def read_csv_pair(recipes: SourceFile, lines: SourceFile) -> tuple[list[Written], list[Notes]]:
    """The recipes of recipes.csv with the lines of lines.csv. Raises :class:`Unreadable`."""
    whole = Notes(recipes.name), Notes(lines.name)
    recipe_rows = _csv_rows(recipes, RECIPE_COLUMNS, RECIPE_REQUIRED, whole[0])
    line_rows = _csv_rows(lines, LINE_COLUMNS, LINE_REQUIRED, whole[1])
    return _recipes(recipe_rows, line_rows, recipes.name, lines.name, "", whole)


def read_xlsx(file: SourceFile) -> tuple[list[Written], list[Notes]]:
    """The recipes of a workbook with the sheets ``recipes`` and ``lines``. Raises :class:`Unreadable`."""
    whole = Notes(file.name), Notes(file.name)
    sheets = read_workbook(file, ("recipes", "lines"), whole[0])
    rows = []
    wanted = (("recipes", RECIPE_COLUMNS, RECIPE_REQUIRED), ("lines", LINE_COLUMNS, LINE_REQUIRED))
    for (name, known, required), notes in zip(wanted, whole, strict=True):
        table = sheets[name]
        header = _header([cell.text for cell in table[0][1]] if table else [], known, required, f"sheet {name}", notes)
        rows.append([_workbook_row(line, cells, header) for line, cells in table[1:]])
    return _recipes(rows[0], rows[1], file.name, file.name, "sheet ", whole)


def _workbook_row(line: int, cells: list, header: list[str]) -> Row:
    named = [(column, cell) for column, cell in zip(header, cells, strict=False) if column]
    faults = tuple((cell.place, cell.fault, cell.remedy) for column, cell in named if cell.fault and column != "note")
    numbers = tuple(
        (cell.place, f"the text is the number {cell.text}", "Write the line as text") for column, cell in named
        if column == "text" and cell.is_number
    )
    return Row({column: cell.text for column, cell in named}, line, faults + numbers)


def _csv_rows(file: SourceFile, known: tuple[str, ...], required: tuple[str, ...], notes: Notes) -> list[Row]:
    text = text_of(file)
    delimiter = _delimiter(text, required)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    rows, start = [], 1
    try:
        for cells in reader:
            rows.append((start, cells))
            start = reader.line_num + 1
    except csv.Error as error:
        raise unreadable(
            f"{file.name}, line {start}", f"is not valid CSV ({error})",
            "Check the quotes of this row, and save the sheet as CSV (UTF-8) again", "csv-broken",
        ) from None
    header = _header(rows[0][1] if rows else [], known, required, 1, notes)
    return [_csv_row(line, cells, header, DELIMITERS[delimiter]) for line, cells in rows[1:] if any(cell.strip() for cell in cells)]


def _delimiter(text: str, required: tuple[str, ...]) -> str:
    """The mark that cuts the first row into the columns that must be there; a spreadsheet of a country with a decimal comma saves semicolons."""
    first = text[:LONGEST_HEADER].splitlines()[:1]
    for delimiter in DELIMITERS:
        if set(required) <= {cell.strip().lower() for cell in next(csv.reader(first, delimiter=delimiter), [])}:
            return delimiter
    return ","


def _csv_row(line: int, cells: list[str], header: list[str], mark: str) -> Row:
    faults = ()
    if len(cells) != len(header):
        faults = ((line, f"the row has {len(cells)} cells where the header has {len(header)}", f"Put cells that hold a {mark} in quotes"),)
    return Row({column: cell for column, cell in zip(header, cells, strict=False) if column}, line, faults)


def _header(cells: list[str], known: tuple[str, ...], required: tuple[str, ...], place: int | str, notes: Notes) -> list[str]:
    """Column names in lower case, "" for those that are not read. Raises :class:`Unreadable` if one is missing."""
    header = [cell.strip().lower() for cell in cells]
    missing = [column for column in required if column not in header]
    twice = sorted({column for column in header if column and header.count(column) > 1})
    at = f"{notes.source_file}, line {place}" if isinstance(place, int) else f"{notes.source_file}, {place}"
    if missing or twice:
        what = f"has no column {', '.join(missing)}" if missing else f"has the column {', '.join(twice)} twice"
        raise unreadable(at, what, f"Name the columns in the first row, separated by commas (or all by semicolons or tabs): {', '.join(known)}", "columns")
    for column, written in zip(header, cells, strict=True):
        if column and column not in known:
            unknown_key(written.strip(), known, place, notes, "column")
    return [column if column in known else "" for column in header]


def _recipes(
    recipe_rows: list[Row], line_rows: list[Row], recipes_name: str, lines_name: str, place: str, whole: tuple[Notes, Notes],
) -> tuple[list[Written], list[Notes]]:
    known = dict.fromkeys(row.get("recipe_id") for row in recipe_rows if row.get("recipe_id"))
    rows_of: dict[str, list[Row]] = {}
    for row in line_rows:
        rows_of.setdefault(row.get("recipe_id"), []).append(row)
    suspects = {}
    for recipe_id in sorted(rows_of.keys() - known.keys()):
        rows = rows_of[recipe_id]
        at = _at(place, "lines", rows[0].line)
        whole[1].error(
            at, f"{len(rows)} line(s), this one first, name the recipe {shown(recipe_id)!r}, which is not in the recipes",
            "Correct the recipe_id, or add the recipe", "line-without-recipe",
        )
        for row in rows:
            _faults(row, whole[1])
        suspects |= dict.fromkeys(_may_belong_to(recipe_id, line_rows, known), at)
    read = [_recipe(row, rows_of.get(row.get("recipe_id"), []), recipes_name, lines_name, place) for row in recipe_rows]
    for _, notes in read:
        if notes.recipe_id in suspects:
            of_lines = Notes(lines_name, notes.recipe_id)
            of_lines.error(
                suspects[notes.recipe_id],
                "a line without a known recipe may belong to this recipe, which would then be one short",
                "Correct the recipe_id of that line", "line-may-be-missing",
            )
            notes.problems.extend(of_lines.problems)
    kept = [written for written, notes in read if written and not notes.failed]
    return kept, [*whole, *(notes for _, notes in read)]


def _may_belong_to(recipe_id: str, line_rows: list[Row], known: dict[str, None]) -> list[str]:
    """Recipes that lines with an unknown id may have been written for: those with nearly that id, or, if they
    name none, those of the lines around them. A recipe short of a line is worse than a recipe left out."""
    if recipe_id:
        return difflib.get_close_matches(slug(recipe_id), known, n=3, cutoff=0.8)
    ids = [row.get("recipe_id") for row in line_rows]
    beside = zip(["", *ids], ids, [*ids[1:], ""], strict=False)
    return sorted({near for before, own, after in beside if not own for near in (before, after)} & known.keys())


def _recipe(row: Row, line_rows: list[Row], recipes_name: str, lines_name: str, place: str) -> tuple[Written | None, Notes]:
    at = _at(place, "recipes", row.line)
    recipe_id = row.get("recipe_id")
    notes = Notes(recipes_name, slug(recipe_id) if recipe_id else "")
    of_lines = Notes(lines_name, notes.recipe_id)
    _faults(row, notes)
    if not is_id(recipe_id):
        notes.error(
            at, f"the recipe_id is {recipe_id!r}",
            f"Use lower-case letters, digits and hyphens, for example {slug(recipe_id or row.get('name'))!r}", "id-form",
        )
    if not row.get("name"):
        notes.error(at, "the recipe has no name", "Write its name", "no-name")
    portions = _portions(row, at, notes)
    for line_row in line_rows:
        _faults(line_row, of_lines)
    lines = _lines(_ordered(line_rows, place, of_lines), place, of_lines)
    steps = steps_of((Words(step, row.line) for step in row.cells.get("method", "").split("\n") if step.strip()), notes)
    notes.problems.extend(of_lines.problems)
    keeps_limits(lines, steps, at, notes)
    mass = row.get("finished_mass")
    written = Written(
        recipe_id=notes.recipe_id, id_given=True, name=" ".join(row.get("name").split()), portions=portions or 1.0,
        source_file=recipes_name, source_line=row.line, lines=lines, steps=steps, course=row.get("course"),
        food_form=choice(row.get("food_form") or "solid", ("solid", "liquid"), "food_form", at, notes),
        units_system=choice(row.get("units"), UNITS, "units", at, notes) if row.get("units") else "",
        finished_mass_g=mass_of(mass, at, notes) if mass else float("nan"),
        claims=tuple(PrintedClaim("base", claim.strip(), "", row.line) for claim in row.get("claims").split(";") if claim.strip()),
        lines_file=lines_name,
    )
    return (None if notes.failed else written), notes


def _portions(row: Row, at: int | str, notes: Notes) -> float | None:
    if row.get("portions"):
        return portions_of(row.get("portions"), at, notes)
    notes.error(at, "the recipe does not say how many portions it makes", "Write the number of portions", "no-portions")
    return None


def _ordered(rows: list[Row], place: str, notes: Notes) -> list[Row]:
    """By line_no where every line has one; else as in the file."""
    numbers = [row.get("line_no") for row in rows]
    if not any(numbers):
        return rows
    try:
        order = [float(number) for number in numbers]
    except ValueError:
        order = []
    if len(set(order)) != len(rows):
        notes.warning(
            _at(place, "lines", rows[0].line),
            "the line numbers are not all there, or not all different; the order of the file is kept",
            "Number every line of the recipe, or none", "line-numbers",
        )
        return rows
    return [row for _, row in sorted(zip(order, rows, strict=True), key=lambda pair: pair[0])]


def _lines(rows: list[Row], place: str, notes: Notes) -> tuple[Line, ...]:
    lines: list[Line] = []
    for row in rows:
        section = row.get("section") or (lines[-1].section if lines else "")
        lines.extend(sectioned([Words(row.cells.get("text", ""), row.line)], notes, section))
    return tuple(lines)


def _faults(row: Row, notes: Notes) -> None:
    for place, what, remedy in row.faults:
        notes.error(place, what, remedy, "cell")


def _at(place: str, sheet: str, line: int) -> int | str:
    return f"{place}{sheet}, row {line}" if place else line
