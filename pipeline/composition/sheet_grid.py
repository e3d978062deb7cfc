"""The cells of a workbook (XLSX) or of CSV files as text, each with its place and what is wrong with it."""

from __future__ import annotations

import codecs
import csv
import datetime
import io
import re
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import Any, NamedTuple
from xml.etree import ElementTree

from openpyxl.utils import get_column_letter, range_boundaries

from pipeline.composition.common import problem
from pipeline.composition.sheet_cell import plain
from pipeline.problems import InputError

LARGEST_UNPACKED = 600_000_000  # bytes
MOST_ROWS, MOST_COLUMNS = 200_000, 2_000
OLD_WORKBOOK = b"\xd0\xcf\x11\xe0"
FORMULA = re.compile(rb"<(?:\w+:)?f[\s>/]")
MERGED = re.compile(rb"<(?:\w+:)?mergeCell\s[^>]*?ref=[\"']([A-Z0-9:]+)[\"']")
RELATION = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"
# What a number format may hold and still show the number as it is: padding (_x, *x), colours and
# conditions, then only digits, marks and "General".
PADDING = re.compile(r"_.|\*.|\[[^\]]*\]")
HARMLESS = re.compile(r"(?:General|@|[0#?,]*(?:\.[0#?]+)?(?:E[+-]0+)?|0*)\s*", re.IGNORECASE)
REOPEN = "Open and save the workbook in a spreadsheet program, or type the value"
RETYPE = "Format the cell as text and type the value as it is published"
DAMAGE = (zipfile.BadZipFile, zlib.error, EOFError, KeyError, ValueError, NotImplementedError, RuntimeError, ElementTree.ParseError)


class Cell(NamedTuple):
    """``fault`` and ``remedy`` are empty where the cell can be used."""

    text: str = ""
    is_number: bool = False
    fault: str = ""
    remedy: str = ""
    from_formula: bool = False


EMPTY = Cell()


@dataclass(frozen=True)
class Area:
    """A merged area: 1-based rows and 0-based columns, ends included."""

    first_row: int
    last_row: int
    first_column: int
    last_column: int


@dataclass(frozen=True)
class Grid:
    """One sheet. ``rows`` gives cells by 1-based row number (the line number in a CSV file)."""

    file: str
    sheet: str
    rows: dict[int, list[Cell]]
    merged: list[Area] = field(default_factory=list)

    def at(self, row: int, column: int) -> Cell:
        """The cell at a row and a 0-based column; an empty one beyond the edge."""
        cells = self.rows.get(row, [])
        return cells[column] if column < len(cells) else EMPTY

    def place(self, row: int, column: int | None = None) -> str:
        """Where it is, for a person: "sheet Minerals cell F12", "line 12, column 6"."""
        if not self.sheet:
            return f"line {row}" if column is None else f"line {row}, column {column + 1}"
        return f"sheet {self.sheet} row {row}" if column is None else f"sheet {self.sheet} cell {get_column_letter(column + 1)}{row}"

    def where(self, row: int, column: int | None = None) -> str:
        """The file and the place."""
        return f"{self.file} {self.place(row, column)}"


@dataclass(frozen=True)
class Source:
    """The sheets that are there by name ("" for a lone CSV file), and how to read one of them."""

    file: str
    sheets: tuple[str, ...]
    path: Path
    encoding: str
    delimiter: str
    content: bytes = b""

    def grids(self, names: list[str]) -> Iterator[Grid]:
        """The named sheets, in this order. Raises :class:`InputError` for what cannot be read."""
        if self.content[:2] == b"PK":
            yield from _workbook_grids(self, names)
            return
        for name in names:
            file = self.path / f"{name}.csv" if self.path.is_dir() else self.path
            yield _csv_grid(file, _bytes(file) if self.path.is_dir() else self.content, self.encoding, self.delimiter)


def open_source(path: Path, encoding: str = "utf-8", delimiter: str = ",") -> Source:
    """A workbook, a CSV file, or a folder of CSV files (one per sheet, named after it).

    ``encoding`` and ``delimiter`` are those of CSV files. Raises :class:`InputError`.
    """
    if path.is_dir():
        names = tuple(sorted(file.stem for file in path.glob("*.csv")))
        if not names:
            raise InputError(problem(str(path), "is a folder without CSV files", "Give the workbook, or a folder with one CSV file per sheet"))
        return Source(path.name, names, path, encoding, delimiter)
    content = _bytes(path)
    if not content:
        raise InputError(problem(path.name, "is empty", "Download or export it again"))
    if content[:4] == OLD_WORKBOOK:
        raise InputError(problem(path.name, "is a workbook in the old binary format, or one with a password",
                                 "Open it in a spreadsheet program and save it as XLSX without a password, values unchanged"))
    if content[:2] != b"PK":
        return Source(path.name, ("",), path, encoding, delimiter, content)
    return Source(path.name, tuple(_parts(content, path.name)), path, encoding, delimiter, content)


def _bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise InputError(problem(str(path), f"cannot be read ({error.strerror or error})",
                                 "Give the file of the table as downloaded")) from None


# ---------------------------------------------------------------- CSV

def _csv_grid(path: Path, content: bytes, encoding: str, delimiter: str) -> Grid:
    text = _text(path.name, content, encoding)
    rows: dict[int, list[Cell]] = {}
    start, reader = 1, csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                rows[start] = [Cell(cell) for cell in cells]
            start = reader.line_num + 1
    except csv.Error as error:
        raise InputError(problem(f"{path.name} line {start}", f"is not valid CSV ({error})",
                                 "Check the quotes of this line, and export the sheet again")) from None
    return Grid(path.name, "", rows)


def _text(file: str, content: bytes, encoding: str) -> str:
    if content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        raise InputError(problem(file, "is in UTF-16", "Save it as CSV in UTF-8"))
    if b"\x00" in content:
        line = content[: content.index(b"\x00")].count(b"\n") + 1
        raise InputError(problem(f"{file} line {line}", "is not text (it holds a zero byte)", "Save it as CSV in UTF-8"))
    marked = content.startswith(codecs.BOM_UTF8)  # spreadsheet programs write the mark; it is no part of the first heading
    body = content.removeprefix(codecs.BOM_UTF8)
    try:
        text = body.decode("utf-8")
    except UnicodeDecodeError as error:
        if encoding == "utf-8" or marked:
            line = body[: error.start].count(b"\n") + 1
            raise InputError(problem(f"{file} line {line}", f"is not in UTF-8 (byte {body[error.start]:#04x})",
                                     'Save it as CSV in UTF-8, or say encoding = "cp1252" (Western Europe) under [file] in the profile')) from None
        return _decoded(file, body, encoding)
    if encoding != "utf-8" and not marked and not body.isascii():
        raise InputError(problem(file, f"is in UTF-8, and the profile says {encoding}", 'Say encoding = "utf-8" under [file] in the profile'))
    return text


def _decoded(file: str, body: bytes, encoding: str) -> str:
    try:
        return body.decode(encoding)
    except UnicodeDecodeError as error:
        line = body[: error.start].count(b"\n") + 1
        raise InputError(problem(f"{file} line {line}", f"is not in {encoding} (byte {body[error.start]:#04x})",
                                 "Save it as CSV in UTF-8, and say so in the profile")) from None


# ---------------------------------------------------------------- workbooks

def _broken(file: str, error: Exception) -> InputError:
    return InputError(problem(file, f"is not an XLSX workbook that can be read ({type(error).__name__})",
                              "Download it again, or open it in a spreadsheet program and save it as XLSX without a password"))


def _parts(content: bytes, file: str) -> dict[str, str]:
    """Sheet name -> its part inside the workbook, in the workbook's order; charts left out."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            if sum(member.file_size for member in packed.infolist()) > LARGEST_UNPACKED:
                raise InputError(problem(file, f"unpacks to more than {LARGEST_UNPACKED:,} bytes", "Save a workbook with only the sheets that are needed"))
            relations = ElementTree.fromstring(packed.read("xl/_rels/workbook.xml.rels"))
            targets = {row.get("Id"): row.get("Target", "") for row in relations if row.get("Type", "").endswith("/worksheet")}
            book = ElementTree.fromstring(packed.read("xl/workbook.xml"))
            found = [(row.get("name", ""), row.get(RELATION)) for row in book.iter() if row.tag.endswith("}sheet")]
            parts = {name: str(PurePosixPath("xl") / targets[key]).lstrip("/") for name, key in found if key in targets}
            for part in parts.values():
                packed.getinfo(part)
            return parts
    except DAMAGE as error:
        raise _broken(file, error) from None


def _workbook_grids(source: Source, names: list[str]) -> Iterator[Grid]:
    import openpyxl  # loaded only where a workbook is read

    parts = _parts(source.content, source.file)
    try:
        with zipfile.ZipFile(io.BytesIO(source.content)) as packed:
            xml = {name: packed.read(parts[name]) for name in names}
        values = openpyxl.load_workbook(io.BytesIO(source.content), read_only=True, data_only=True)
        calculated = {name for name in names if FORMULA.search(xml[name])}
        written = openpyxl.load_workbook(io.BytesIO(source.content), read_only=True) if calculated else {}
        grids = []
        for name in names:
            with_formulas = _sheet(written[name]) if name in calculated else None
            grids.append(_grid(source.file, name, _sheet(values[name]), with_formulas, xml[name]))
    except InputError:
        raise
    except Exception as error:  # the library raises whatever it stumbles over in a damaged part
        raise _broken(source.file, error) from None
    yield from grids


def _sheet(sheet: Any) -> Any:
    sheet.reset_dimensions()  # the size that the file states may be wrong, and then cuts rows off
    return sheet


def _grid(file: str, name: str, values: Any, written: Any, xml: bytes) -> Grid:
    rows: dict[int, list[Cell]] = {}
    formulas = written.iter_rows() if written is not None else None
    for number, row in enumerate(values.iter_rows(), 1):
        if number > MOST_ROWS or len(row) > MOST_COLUMNS:
            raise InputError(problem(f"{file} sheet {name}", f"reaches beyond row {MOST_ROWS:,} or column {MOST_COLUMNS:,}",
                                     "Delete the empty rows and columns beyond the table"))
        texts = next(formulas) if formulas is not None else ()
        cells = [_cell(cell, index < len(texts) and texts[index].data_type == "f") for index, cell in enumerate(row)]
        if any(cell.text.strip() or cell.fault for cell in cells):
            rows[number] = cells
    return Grid(file, name, rows, [_area(found.decode()) for found in MERGED.findall(xml)])


def _area(text: str) -> Area:
    first_column, first_row, last_column, last_row = range_boundaries(text)
    return Area(first_row, last_row, first_column - 1, last_column - 1)


def _cell(cell: Any, is_formula: bool) -> Cell:
    value = cell.value
    if value is None:
        return Cell("", False, "the formula has no stored value", REOPEN) if is_formula else EMPTY
    if cell.data_type == "e":
        return Cell(str(value), False, f"the cell shows the error {value}", "Type the value as it is published")
    if isinstance(value, (datetime.date, datetime.time, datetime.timedelta)):
        return Cell(str(value), False, f"the spreadsheet has made a date or time of it ({value})", RETYPE)
    if isinstance(value, bool):
        return Cell(str(value), False, f"the cell holds the logical value {value}", RETYPE)
    if isinstance(value, (int, float)):
        return _number_cell(value, cell.number_format or "General", is_formula)
    return Cell(str(value), from_formula=is_formula)


def _number_cell(value: float, number_format: str, is_formula: bool) -> Cell:
    """A number; its format may pad a code with zeros, but must not show something else than the number."""
    shown = PADDING.sub("", number_format.split(";")[0]).strip()
    if not HARMLESS.fullmatch(shown) or shown.endswith(","):
        return Cell(plain(float(value)), True, f"its format {number_format!r} shows something else than the number {value}", RETYPE)
    text = plain(float(value)) if isinstance(value, float) else str(value)
    if set(shown) == {"0"} and text.isdigit():
        text = text.zfill(len(shown))
    return Cell(text, True, from_formula=is_formula)
