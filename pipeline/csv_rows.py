"""Reading the CSV files that people hand to ``potash parse`` and ``potash match``: the rows, or one clear error."""

from __future__ import annotations

import codecs
import csv
import io
from pathlib import Path

import pandas as pd

from pipeline.problems import InputError, Problem

# What the commands ask of a file, in words, by column.
HOLDS = {"text": "the lines", "entry_id": "the entries they were coded to", "acceptable": "the entries that are right"}
_OTHER_DELIMITERS = {";": "semicolons", "\t": "tabs", "|": "bars"}
_SAVE = "Save it as CSV with commas, in UTF-8"
# Of plain English text in UTF-16 every second byte is NUL.
_LIKE_UTF_16 = 0.3
_LONGEST_HEADER = 10_000  # characters that are looked at for another delimiter


def rows(source: Path, needed: tuple[str, ...] = ("text",)) -> pd.DataFrame:
    """The rows of a CSV as text, one per line of the file below the header; InputError says what is wrong with it."""
    text = _text(source, needed)
    _check_delimiter(text, source, needed)
    read = _records(text, source)
    if not read:
        raise _wrong(source, 0, "is empty", f"Write a header {','.join(needed)} and a line below it", "no-lines")
    header = read[0][1]
    _check_header(header, source, needed)
    cells = [_cells(line, record, header, source, needed) for line, record in read[1:]]
    if not cells:
        raise _wrong(source, 0, "holds no line", "Write at least one line below the header", "no-lines")
    return pd.DataFrame(cells, columns=header, dtype="str")


def _wrong(source: Path, line: int, what: str, remedy: str, code: str) -> InputError:
    return InputError(Problem(f"{source}, line {line}" if line else str(source), what, remedy, code))


def _columns(needed: tuple[str, ...]) -> str:
    return f"a column {needed[0]}" if len(needed) == 1 else f"columns {' and '.join(needed)}"


def _text(source: Path, needed: tuple[str, ...]) -> str:
    """The text of the file, which has to be UTF-8: in another encoding a fraction could become another one unseen."""
    try:
        content = source.read_bytes()
    except FileNotFoundError:
        raise _wrong(source, 0, "is not there", f"Name a CSV file with {_columns(needed)}", "missing-file") from None
    except OSError as error:
        raise _wrong(source, 0, f"cannot be read ({error.strerror})", f"Name a CSV file with {_columns(needed)}", "unreadable-file") from None
    if content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)) or content.count(0) > _LIKE_UTF_16 * len(content):
        raise _wrong(source, 1, "is UTF-16 text, not UTF-8", f"{_SAVE} (in a spreadsheet: \"CSV UTF-8\")", "encoding")
    if 0 in content:
        line = _line_of(content, content.index(0))
        raise _wrong(source, line, "holds a NUL byte, which no text has", f"Take it out of this line, or save the file again: {_SAVE}", "encoding")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        start = error.start + len(content) - len(error.object)  # a byte order mark is set aside
        raise _wrong(source, _line_of(content, start), f"byte 0x{content[start]:02x} is not UTF-8 text", f"{_SAVE}, with {_columns(needed)}", "encoding") from None


def _line_of(content: bytes, place: int) -> int:
    return content[:place].count(b"\n") + 1


def _check_delimiter(text: str, source: Path, needed: tuple[str, ...]) -> None:
    """The header tells: a column that is asked for appears only when it is cut at another mark than the comma."""
    first = [text[:_LONGEST_HEADER].split("\n")[0].split("\r")[0]]
    found = {delimiter: set().union(*csv.reader(first, delimiter=delimiter)) for delimiter in (",", *_OTHER_DELIMITERS)}
    missing = set(needed) - found[","]
    for delimiter, called in _OTHER_DELIMITERS.items():
        if missing & found[delimiter]:
            raise _wrong(source, 1, f"has its columns separated by {called}", "Separate them by commas, and put a line that holds a comma in double quotes",
                         "wrong-delimiter")


def _records(text: str, source: Path) -> list[tuple[int, list[str]]]:
    """(first line, cells) of each record, header included."""
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    records, start = [], 1
    try:
        for cells in reader:
            records.append((start, cells))
            start = reader.line_num + 1
    except csv.Error as error:
        if "unexpected end of data" in str(error):
            raise _wrong(source, start, "opens a double quote that is never closed",
                         "Close the quote at the end of its cell, or take it out", "unreadable-file") from None
        if "expected after" in str(error):
            raise _wrong(source, start, "opens a double quote that is not closed at the end of its cell",
                         'Close it there; write a quote inside a quoted cell twice ("")', "unreadable-file") from None
        raise _wrong(source, start, f"is not valid CSV ({error})", "Check the quotes of this line", "unreadable-file") from None
    return records


def _check_header(header: list[str], source: Path, needed: tuple[str, ...]) -> None:
    missing = [name for name in needed if name not in header]
    if missing:
        raise InputError([Problem(f"{source}, line 1", f"has no column {name} (it has: {', '.join(header)})",
                                  f"Name the column with {HOLDS[name]} {name}", "wrong-columns") for name in missing])
    twice = [name for name in dict.fromkeys(header) if name and header.count(name) > 1]
    if twice:
        raise _wrong(source, 1, f"has the column {' and '.join(twice)} more than once", "Name each column once; take the other one out", "wrong-columns")


def _cells(line: int, record: list[str], header: list[str], source: Path, needed: tuple[str, ...]) -> list[str]:
    """The cells of one record, those missing at its end empty."""
    if len(record) > len(header):
        raise _wrong(source, line, "has more columns than its header",
                     f"Save it as UTF-8 CSV with {_columns(needed)}; put a line that holds a comma in double quotes", "unreadable-file")
    cells = record + [""] * (len(header) - len(record))
    for name in needed:
        if "\n" in cells[header.index(name)].strip().replace("\r", "\n"):
            raise _wrong(source, line, f"has several lines in one cell of the column {name}",
                         "Write one line per cell; a double quote that is not closed takes the next lines in", "unreadable-file")
    return cells
