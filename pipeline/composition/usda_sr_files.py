"""The files of a USDA Standard Reference release: their layouts, and reading them exactly.

See :mod:`pipeline.composition.usda_sr` for the source of the layouts. A file comes out as
a table of text columns and ``line``; whatever is not as published is a problem with file,
line and column.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from pyarrow import csv

from pipeline.composition.common import downloaded_files, listed, problem
from pipeline.problems import Problem

CONTROL = re.compile(rb"[\x00-\x09\x0b\x0c\x0e-\x1f\x7f]")  # all but the ends of lines
PATTERNS = {
    "number": r"(?:\d{1,10}(?:\.\d*)?|\.\d+)?",  # ten digits: no unit in use needs more, and a number stays finite
    "signed": r"(?:-?(?:\d{1,10}(?:\.\d*)?|\.\d+))?",
    "required": r"\d{1,10}(?:\.\d*)?|\.\d+",
    "count": r"(?:\d{1,10})?",
    "text": r"~[^~]*~|",
    "key": r"~\s*[^~\s][^~]*~",
}
KIND_WORDS = {
    "number": "a number from 0 up or empty", "signed": "a number or empty", "required": "a number from 0 up", "count": "a whole number or empty",
    "text": "text between ~ and ~, or empty", "key": "text between ~ and ~",
}


@dataclass(frozen=True)
class Layout:
    """The fields of one file, in order: (column, kind), the kinds of ``PATTERNS``."""

    file: str
    fields: tuple[tuple[str, str], ...]

    @property
    def columns(self) -> list[str]:
        return [name for name, _ in self.fields]


FOODS = Layout("FOOD_DES", (
    ("NDB_No", "key"), ("FdGrp_Cd", "key"), ("Long_Desc", "key"), ("Shrt_Desc", "text"), ("ComName", "text"),
    ("ManufacName", "text"), ("Survey", "text"), ("Ref_desc", "text"), ("Refuse", "count"), ("SciName", "text"),
    ("N_Factor", "number"), ("Pro_Factor", "number"), ("Fat_Factor", "number"), ("CHO_Factor", "number"),
))
GROUPS = Layout("FD_GROUP", (("FdGrp_Cd", "key"), ("FdGrp_Desc", "key")))
NUTRIENTS = Layout("NUTR_DEF", (
    ("Nutr_No", "key"), ("Units", "key"), ("Tagname", "text"), ("NutrDesc", "key"), ("Num_Dec", "text"), ("SR_Order", "count"),
))
SOURCES = Layout("SRC_CD", (("Src_Cd", "key"), ("SrcCd_Desc", "key")))
DERIVATIONS = Layout("DERIV_CD", (("Deriv_Cd", "key"), ("Deriv_Desc", "key")))
DATA = Layout("NUT_DATA", (
    ("NDB_No", "key"), ("Nutr_No", "key"), ("Nutr_Val", "required"), ("Num_Data_Pts", "count"), ("Std_Error", "number"),
    ("Src_Cd", "key"), ("Deriv_Cd", "text"), ("Ref_NDB_No", "text"), ("Add_Nutr_Mark", "text"), ("Num_Studies", "count"),
    ("Min", "number"), ("Max", "number"), ("DF", "count"), ("Low_EB", "signed"), ("Up_EB", "signed"), ("Stat_cmt", "text"),
    ("AddMod_Date", "text"), ("CC", "text"),
))
WEIGHTS = Layout("WEIGHT", (
    ("NDB_No", "key"), ("Seq", "key"), ("Amount", "required"), ("Msre_Desc", "key"), ("Gm_Wgt", "required"),
    ("Num_Data_Pts", "count"), ("Std_Dev", "number"),
))
FOOTNOTES = Layout("FOOTNOTE", (
    ("NDB_No", "key"), ("Footnt_No", "key"), ("Footnt_Typ", "key"), ("Nutr_No", "text"), ("Footnt_Txt", "key"),
))
DATA_SOURCES = Layout("DATA_SRC", (
    ("DataSrc_ID", "key"), ("Authors", "text"), ("Title", "key"), ("Year", "text"), ("Journal", "text"), ("Vol_City", "text"),
    ("Issue_State", "text"), ("Start_Page", "text"), ("End_Page", "text"),
))
SOURCE_LINKS = Layout("DATSRCLN", (("NDB_No", "key"), ("Nutr_No", "key"), ("DataSrc_ID", "key")))

NEEDED = (FOODS, GROUPS, NUTRIENTS, SOURCES, DERIVATIONS, DATA)
ALL = (*NEEDED, WEIGHTS, FOOTNOTES, DATA_SOURCES, SOURCE_LINKS)


def contents(path: Path) -> dict[str, bytes]:
    """The bytes of each release file by its upper-case stem; the folders inside a zip do not matter.

    Raises :class:`InputError` when there is nothing there or the zip is not whole.
    """
    return {stem.upper(): data for stem, data in downloaded_files(path, ".txt").items()}


def table(files: dict[str, bytes], layout: Layout, problems: list[Problem]) -> pd.DataFrame:
    """One file as text columns plus ``line``; adds what is wrong with it to ``problems``."""
    file = f"{layout.file}.txt"
    nothing = pd.DataFrame({name: pd.Series([], dtype="str") for name in layout.columns} | {"line": pd.Series([], dtype="int64")})
    if layout.file not in files:
        problems.append(problem(file, "is missing from the release", "Add the file as published; all of them are needed"))
        return nothing
    data, fault = _plain(files[layout.file])
    if fault:
        problems.append(problem(file, *fault))
        return nothing
    found = _fields(data)
    wrong = np.flatnonzero(found != len(layout.fields))
    if len(wrong) == len(found) > 0 and (found == 1).all():
        problems.append(problem(file, f"has no line whose fields are divided by ^: each is 1 field, not {len(layout.fields)}",
                                "Use the file as downloaded, not exported again with another delimiter"))
        return nothing
    if len(wrong):
        problems += listed(
            file, [(f"line {row + 1}", f"has {found[row]} fields, not {len(layout.fields)}") for row in wrong],
            "Restore the line as published; fields are divided by ^")
        return nothing
    cells = _cells(data, layout)
    before = len(problems)
    for name, kind in layout.fields:
        problems += _misfits(file, cells[name], name, kind)
    if len(problems) > before:
        return nothing
    stripped = {name: _bare(cells[name]) if kind in ("text", "key") else cells[name] for name, kind in layout.fields}
    frame = pd.DataFrame({name: pd.Series(column, dtype="str") for name, column in stripped.items()})
    return frame.assign(line=range(1, len(frame) + 1))


def _plain(data: bytes) -> tuple[bytes, tuple[str, str] | None]:
    """The text in UTF-8 with LF line ends, and what is wrong with it as (what, remedy)."""
    again = "Use the file as downloaded, not saved again by an editor"
    if data.startswith((b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff")):
        return b"", ("begins with a byte order mark", again)
    if not data:
        return b"", ("is empty", "Download the release again")
    if not data.endswith(b"\n"):
        return b"", (f"ends in the middle of line {data.count(10) + 1}", "The file is cut off: download the release again")
    control = CONTROL.search(data)
    if control:
        line = data.count(b"\n", 0, control.start()) + 1
        return b"", (f"is not text (line {line} holds the control character {control[0][0]:#04x})", again)
    data = data.replace(b"\r\n", b"\n")
    if b"\r" in data:
        return b"", (f"holds a carriage return inside line {data[:data.index(13)].count(10) + 1}", again)
    if data.isascii():
        return data, None
    try:
        data.decode("utf-8")
        return b"", ("is in UTF-8, and the release is in ISO 8859-1", again)
    except UnicodeDecodeError:
        return data.decode("iso-8859-1").encode("utf-8"), None


def _fields(data: bytes) -> np.ndarray:
    """How many fields each line has."""
    marks = np.frombuffer(data, dtype=np.uint8)
    ends = np.flatnonzero(marks == ord("\n"))
    carets = np.searchsorted(np.flatnonzero(marks == ord("^")), ends)
    return np.diff(carets, prepend=0) + 1


def _cells(data: bytes, layout: Layout) -> dict[str, pa.Array]:
    """The fields by column, each distinct text held once."""
    read = csv.read_csv(
        pa.BufferReader(data),
        read_options=csv.ReadOptions(column_names=layout.columns, block_size=1 << 24),
        parse_options=csv.ParseOptions(delimiter="^", quote_char=False, ignore_empty_lines=False),
        convert_options=csv.ConvertOptions(
            column_types=dict.fromkeys(layout.columns, pa.dictionary(pa.int32(), pa.string())), strings_can_be_null=False),
    ).unify_dictionaries()
    return {name: read.column(name).combine_chunks() for name in layout.columns}


def _misfits(file: str, column: pa.DictionaryArray, name: str, kind: str) -> list[Problem]:
    """A problem for each cell that is not of its kind; only distinct texts are looked at."""
    fits = pc.match_substring_regex(column.dictionary, f"^(?:{PATTERNS[kind]})$").to_numpy(zero_copy_only=False)
    if fits.all():
        return []
    bad = np.flatnonzero(~fits[column.indices.to_numpy()])
    return listed(
        file, [(f"line {row + 1}, column {name}", f"{column[int(row)].as_py()!r} is not {KIND_WORDS[kind]}") for row in bad],
        "Restore the field as published")


def _bare(column: pa.DictionaryArray) -> pa.Array:
    words = pc.utf8_trim_whitespace(pc.utf8_trim(column.dictionary, "~"))
    return pa.DictionaryArray.from_arrays(column.indices, words).cast(pa.large_string())


def numbers(column: pd.Series) -> pd.Series:
    """Text that :func:`table` found to be numbers, as floats; empty text as NaN."""
    text = pa.array(column, type=pa.string())
    known = pc.if_else(pc.equal(text, ""), pa.scalar(None, pa.string()), text)
    return pd.Series(pc.cast(known, pa.float64()).to_numpy(zero_copy_only=False), index=column.index)


def rows(file: str, table: pd.DataFrame, wrong: pd.Series, column: str, what: str, remedy: str) -> list[Problem]:
    """Problems for the rows that are ``wrong``, by line and column."""
    bad = table[wrong]
    places = zip(bad["line"], bad[column], strict=True)
    return listed(file, [(f"line {line}, column {column}", f"{value!r} {what}") for line, value in places], remedy)
