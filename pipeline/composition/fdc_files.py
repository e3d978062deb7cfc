"""The files of a FoodData Central CSV download, read exactly.

The columns are from memory (see :mod:`pipeline.composition.fdc`). A file comes out as a
table of text columns and ``row`` (the header is row 1); whatever is not as published is a
problem with file, row and column.
"""

from __future__ import annotations

import csv as plain_csv
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from pyarrow import csv

from pipeline.composition.common import downloaded_files, listed, problem
from pipeline.problems import Problem

NUMBER, SIGNED = r"(?:\d+(?:\.\d*)?(?:[eE]-?\d+)?|\.\d+)?", r"(?:-?(?:\d+(?:\.\d*)?(?:[eE]-?\d+)?|\.\d+))?"
KEY = r"\d+"


@dataclass(frozen=True)
class Layout:
    """One file: the columns it must have, and what must be in some of them (a pattern by column, also of optional ones)."""

    columns: tuple[str, ...]
    patterns: dict[str, str]
    optional: tuple[str, ...] = ()
    needed: bool = True


FILES = {
    "food": Layout(("fdc_id", "data_type", "description", "food_category_id", "publication_date"), {"fdc_id": KEY}),
    "nutrient": Layout(("id", "name", "unit_name", "nutrient_nbr"), {"id": KEY}, ("rank",)),
    "food_nutrient": Layout(
        ("id", "fdc_id", "nutrient_id", "amount", "data_points", "derivation_id", "min", "max", "median", "footnote"),
        {"fdc_id": KEY, "nutrient_id": KEY, "amount": SIGNED, "data_points": NUMBER, "min": NUMBER, "max": NUMBER, "median": SIGNED,
         "loq": NUMBER}, ("loq", "min_year_acquired", "percent_daily_value")),
    "food_portion": Layout(
        ("id", "fdc_id", "seq_num", "amount", "measure_unit_id", "portion_description", "modifier", "gram_weight"),
        {"id": KEY, "fdc_id": KEY, "amount": NUMBER, "gram_weight": NUMBER}, ("data_points", "footnote", "min_year_acquired")),
    "measure_unit": Layout(("id", "name"), {"id": KEY}, ("abbreviation",), needed=False),
    "food_nutrient_derivation": Layout(("id", "code", "description"), {"id": KEY}, ("source_id",), needed=False),
    "food_nutrient_source": Layout(("id", "code", "description"), {"id": KEY}, needed=False),
    "food_category": Layout(("id", "code", "description"), {"id": KEY}, needed=False),
    "wweia_food_category": Layout(
        ("wweia_food_category_description",), {}, ("wweia_food_category", "wweia_food_category_code"), needed=False),
    "sr_legacy_food": Layout(("fdc_id", "NDB_number"), {"fdc_id": KEY, "NDB_number": KEY}, needed=False),
    "foundation_food": Layout(("fdc_id", "NDB_number", "footnote"), {"fdc_id": KEY}, needed=False),
    "survey_fndds_food": Layout(
        ("fdc_id", "food_code"), {"fdc_id": KEY, "food_code": KEY},
        ("wweia_category_code", "wweia_category_number", "start_date", "end_date"), needed=False),
    "food_component": Layout(("id", "fdc_id", "name", "pct_weight", "is_refuse"), {"fdc_id": KEY, "pct_weight": NUMBER},
                             ("gram_weight", "data_points", "min_year_acquired"), needed=False),
    "food_nutrient_conversion_factor": Layout(("id", "fdc_id"), {"id": KEY}, needed=False),
    "food_protein_conversion_factor": Layout(("food_nutrient_conversion_factor_id", "value"), {"value": NUMBER}, needed=False),
    "food_calorie_conversion_factor": Layout(
        ("food_nutrient_conversion_factor_id", "protein_value", "fat_value", "carbohydrate_value"), {}, needed=False),
    "food_attribute": Layout(("id", "fdc_id", "name", "value"), {}, ("seq_num", "food_attribute_type_id"), needed=False),
}


def contents(path: Path) -> dict[str, bytes]:
    """The bytes of each CSV by its lower-case stem; the folders inside a zip do not matter.

    Raises :class:`InputError` when there is nothing there or the zip is not whole.
    """
    return downloaded_files(path, ".csv")


def table(files: dict[str, bytes], name: str, problems: list[Problem], notes: list[str]) -> pd.DataFrame:
    """One file as text columns plus ``row``; adds what is wrong with it to ``problems``, what is left unread to ``notes``.

    A file that may be absent, and is, comes out without rows; optional columns that are absent are empty.
    """
    layout, file = FILES[name], f"{name}.csv"
    every = [*layout.columns, *layout.optional]
    nothing = pd.DataFrame({column: pd.Series([], dtype="str") for column in every} | {"row": pd.Series([], dtype="int64")})
    if name not in files:
        if layout.needed:
            problems.append(problem(file, "is missing from the download", "Add the file as published"))
        return nothing
    data, fault = _plain(files[name])
    header = [] if fault else _header(data)
    lacking = [column for column in layout.columns if column not in header]
    if fault or lacking or len(set(header)) < len(header):
        found = fault or ((f"row 1 has no column {', '.join(lacking)} (it has: {', '.join(header[:12])})" if lacking else
                           "row 1 names a column twice"), f"Restore the header, divided by commas; the columns are {', '.join(layout.columns)}")
        problems.append(problem(file, *found))
        return nothing
    unread = [column for column in header if column not in every]
    if unread:
        notes.append(f"{file}: columns that this reader does not read, kept as published: {', '.join(unread)}")
    cells = _cells(data, header, file, problems)
    if cells is None:
        return nothing
    before = len(problems)
    for column, pattern in layout.patterns.items():
        if column in header:
            problems += _misfits(file, cells.column(column).combine_chunks(), column, pattern)
    if len(problems) > before:
        return nothing
    frame = pd.DataFrame({
        column: pd.Series(pc.utf8_trim_whitespace(cells.column(column)).cast(pa.large_string()).combine_chunks(), dtype="str")
        for column in header})
    absent = {column: pd.Series("", index=frame.index, dtype="str") for column in layout.optional if column not in header}
    return frame.assign(**absent, row=range(2, len(frame) + 2))


def _plain(data: bytes) -> tuple[bytes, tuple[str, str] | None]:
    again = "Use the file as downloaded, not saved again by a spreadsheet or an editor"
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return b"", ("begins with the byte order mark of UTF-16", again)
    data = data.removeprefix(b"\xef\xbb\xbf")  # harmless: the file is UTF-8 with and without it
    if not data.strip():
        return b"", ("is empty", "Download it again")
    if b"\x00" in data:
        return b"", ("is not text (it holds a zero byte)", again)
    try:
        data.decode("utf-8")
    except UnicodeDecodeError as error:
        start, end = data.rfind(b"\n", 0, error.start) + 1, error.start
        column = _column_at(data, data[start:end].decode("utf-8"))
        return b"", (f"is not UTF-8 in line {data.count(10, 0, error.start) + 1}{column} (byte {data[error.start]:#04x})", again)
    if not data.endswith((b"\n", b'"')):
        return b"", (f"ends in the middle of line {data.count(10) + 1}", "The file is cut off: download it again")
    return data, None


def _column_at(data: bytes, before: str) -> str:
    """The name of the column in which a line breaks off after ``before``."""
    header = _header(data[:data.find(b"\n") + 1].decode("utf-8", "replace").encode())
    reached = len(next(plain_csv.reader([before]), [""])) - 1
    return f", column {header[reached]}" if 0 <= reached < len(header) else ""


def _header(data: bytes) -> list[str]:
    line = data.split(b"\n", 1)[0].decode("utf-8").rstrip("\r")
    return [name.strip() for name in next(plain_csv.reader([line]))]


def _cells(data: bytes, header: list[str], file: str, problems: list[Problem]) -> pa.Table | None:
    wrong: list[tuple[str, str]] = []

    def remember(row) -> str:
        wrong.append((f"row {row.number}", f"has {row.actual_columns} fields, not {row.expected_columns}"))
        return "skip"

    remedy = "Restore the row as published; fields are divided by commas"
    try:
        read = csv.read_csv(
            pa.BufferReader(data),
            read_options=csv.ReadOptions(column_names=header, skip_rows=1, use_threads=False, block_size=1 << 24),
            parse_options=csv.ParseOptions(newlines_in_values=True, invalid_row_handler=remember, ignore_empty_lines=False),
            convert_options=csv.ConvertOptions(
                column_types=dict.fromkeys(header, pa.string()), strings_can_be_null=False, quoted_strings_can_be_null=False))
    except pa.ArrowInvalid as error:
        problems.append(problem(file, f"cannot be read as CSV ({error})", remedy))
        return None
    problems += listed(file, wrong, remedy)
    return None if wrong else read


def _misfits(file: str, column: pa.Array, name: str, pattern: str) -> list[Problem]:
    fits = pc.match_substring_regex(column, f"^(?:{pattern})$").to_numpy(zero_copy_only=False)
    if fits.all():
        return []
    what = "a whole number" if pattern == KEY else "a number or empty" if pattern == SIGNED else "a number from 0 up, or empty"
    return listed(file, [(f"row {row + 2}, column {name}", f"{column[int(row)].as_py()!r} is not {what}") for row in np.flatnonzero(~fits)],
                  "Restore the field as published")


def rows(name: str, frame: pd.DataFrame, wrong: pd.Series, column: str, what: str, remedy: str) -> list[Problem]:
    """Problems for the rows that are ``wrong``, by row and column."""
    bad = frame[wrong]
    places = zip(bad["row"], bad[column], strict=True)
    return listed(f"{name}.csv", [(f"row {row}, column {column}", f"{value!r} {what}") for row, value in places], remedy)
