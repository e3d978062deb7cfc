"""The cells of an XLSX workbook as text, with what is wrong with a cell said beside it."""

from __future__ import annotations

import datetime
import io
import zipfile
from dataclasses import dataclass
from typing import Any

from pipeline.stages.ingest_files import SourceFile, unreadable
from pipeline.stages.ingest_written import Notes

LARGEST_UNPACKED = 200_000_000  # bytes
MOST_ROWS, MOST_COLUMNS = 100_000, 100


@dataclass(frozen=True)
class Cell:
    """``text`` is the cell's value as text; ``fault`` and ``remedy`` are empty where it can be used."""

    text: str
    place: str
    is_number: bool = False
    fault: str = ""
    remedy: str = ""


def read_workbook(file: SourceFile, wanted: tuple[str, ...], notes: Notes) -> dict[str, list[tuple[int, list[Cell]]]]:
    """Rows (row number, cells) of the wanted sheets, rows without content left out.

    A formula gives the value the spreadsheet last stored for it, or a fault if there is none. A merged
    recipe_id counts for all its rows; any other merged cell is a fault. Raises :class:`Unreadable`.
    """
    values, formulas = _workbook(file, data_only=True), _workbook(file, data_only=False)
    names = {name.strip().lower(): name for name in values.sheetnames}
    missing = [name for name in wanted if name not in names]
    if missing:
        raise unreadable(
            file.name, f"has no sheet {' and no sheet '.join(missing)}",
            f"Name its sheets {' and '.join(wanted)}", "sheet-missing",
        )
    for name in sorted(set(names) - set(wanted)):
        notes.warning(
            f"sheet {names[name]}", "this sheet is not read", f"Only {' and '.join(wanted)} are; take it away", "sheet-unknown",
        )
    return {name: _rows(file, values[names[name]], formulas[names[name]], name) for name in wanted}


def _workbook(file: SourceFile, data_only: bool) -> Any:
    import openpyxl  # loaded only where a workbook is read

    try:
        with zipfile.ZipFile(io.BytesIO(file.content)) as packed:
            if sum(member.file_size for member in packed.infolist()) > LARGEST_UNPACKED:
                raise unreadable(
                    file.name, f"unpacks to more than {LARGEST_UNPACKED:,} bytes", "Save a smaller workbook", "file-too-large",
                )
        return openpyxl.load_workbook(io.BytesIO(file.content), data_only=data_only)
    except (zipfile.BadZipFile, KeyError, ValueError, TypeError, OSError, SyntaxError) as error:
        raise unreadable(
            file.name, f"is not an XLSX workbook that can be read ({type(error).__name__})",
            "Save it again as XLSX, without a password", "xlsx-broken",
        ) from None


def _rows(file: SourceFile, values: Any, formulas: Any, name: str) -> list[tuple[int, list[Cell]]]:
    if not hasattr(values, "iter_rows"):
        raise unreadable(
            f"{file.name}, sheet {name}", "is a chart, not a table", "Put the table on this sheet", "sheet-missing",
        )
    if values.max_row > MOST_ROWS or values.max_column > MOST_COLUMNS:
        raise unreadable(
            f"{file.name}, sheet {name}", f"reaches to row {values.max_row:,} and column {values.max_column:,}",
            f"Delete the empty rows and columns beyond the table (at most {MOST_ROWS:,} and {MOST_COLUMNS})", "sheet-too-large",
        )
    first_row = [str(cell.value or "").strip().lower() for cell in next(values.iter_rows(max_row=1))]
    merged = _merged(values, first_row)
    rows = []
    for row, written in zip(values.iter_rows(), formulas.iter_rows(), strict=True):
        cells = [_cell(cell, other, name, merged) for cell, other in zip(row, written, strict=True)]
        if any(cell.text.strip() or cell.fault for cell in cells):
            rows.append((row[0].row, cells))
    return rows


def _merged(sheet: Any, header: list[str]) -> dict[str, Any]:
    """Coordinate -> the value that counts there, or None where a merged cell must not be read."""
    found = {}
    for area in sheet.merged_cells.ranges:
        one_column = area.min_col == area.max_col
        is_id = one_column and header[area.min_col - 1] == "recipe_id" and area.min_row > 1
        value = sheet.cell(area.min_row, area.min_col).value
        for row in range(area.min_row, area.max_row + 1):
            for column in range(area.min_col, area.max_col + 1):
                found[sheet.cell(row, column).coordinate] = value if is_id else None
    return found


def _cell(cell: Any, written: Any, sheet: str, merged: dict[str, Any]) -> Cell:
    place = f"sheet {sheet}, cell {cell.coordinate}"
    value = cell.value
    if cell.coordinate in merged:
        value = merged[cell.coordinate]
        if value is None:
            return Cell("", place, fault="the cell is merged with others", remedy="Split the merged cells and fill each one")
    if written.data_type == "f" and value is None:
        return Cell(
            "", place, fault="the formula has no stored value",
            remedy="Open and save the workbook in a spreadsheet program, or type the value",
        )
    if cell.data_type == "e":
        return Cell("", place, fault=f"the cell shows the error {value}", remedy="Type the value that belongs there")
    if isinstance(value, (datetime.date, datetime.time, datetime.timedelta)):
        return Cell(
            "", place, fault=f"the spreadsheet has made a date or time of it ({value})",
            remedy="Format the cell as text and type it again, for example 1/2",
        )
    if isinstance(value, bool):
        return Cell(
            "", place, fault=f"the cell holds the logical value {value}", remedy="Format the cell as text and type it again",
        )
    if isinstance(value, (int, float)):
        return Cell(f"{value:.12g}", place, is_number=True)
    return Cell("" if value is None else str(value), place)
