"""The single-stage commands: a CSV with a column ``text`` in, a CSV with the stage's columns out."""

from __future__ import annotations

import io
import os
import re
import sys
from contextlib import suppress
from pathlib import Path

import pandas as pd

from pipeline import tables
from pipeline.problems import InputError, Problem

PARSED_OUT = [name for name in tables.columns(tables.Parsed) if name != "line_id"]
MATCHED_OUT = ["text", "entry_id", "entry_name", "match_confidence", "outcome", "reason", "candidates"]
# What the commands ask of a file, in words, by column.
HOLDS = {"text": "the lines", "entry_id": "the entries they were coded to", "acceptable": "the entries that are right"}


def parse_file(source: Path, target: Path) -> int:
    """Writes what each line of ``source`` says; returns 1 when a line could not be read, else 0."""
    from pipeline import decisions
    from pipeline.match_bench import parsed_texts

    parsed = parsed_texts(rows(source)["text"].tolist(), decisions.load(), source.name)
    write(parsed[PARSED_OUT], target)
    return int((parsed["kind"] == "unreadable").any())


def match_file(source: Path, target: Path, table: str, top: int) -> int:
    """Writes the entry of each line of ``source``; returns 1 when a line is not accepted, else 0.

    ``table`` may name several tables, the preferred one first. A text without any amount is
    taken as a food description and matched whole. Decisions that have expired or contradict each other are told on
    the error stream.
    """
    from pipeline.match_bench import open_bench

    texts = rows(source)["text"].tolist()
    bench = open_bench(table)
    for problem in bench.problems:
        print(f"potash: {problem}", file=sys.stderr)
    parsed = bench.read(texts, source.name)
    matched, candidates = bench.match(parsed)
    shown = candidates[candidates["rank"] <= top]
    named = shown["entry_id"] + " " + shown["entry_name"] + " (" + shown["probability"].map("{:.3f}".format) + ")"
    result = matched.assign(
        text=parsed["text"], outcome=matched["match_outcome"], reason=matched["match_reason"],
        candidates=matched["line_id"].map(named.groupby(shown["line_id"]).agg("; ".join)).fillna(""))
    columns = MATCHED_OUT if len(bench.matchers) == 1 else ["text", "table", *MATCHED_OUT[1:]]
    write(result[columns], target)
    return int((result["outcome"] != "accepted").any())


def rows(source: Path, needed: tuple[str, ...] = ("text",)) -> pd.DataFrame:
    """The rows of a CSV as text, one per line of the file below the header; InputError says what is wrong with it."""
    listed = " and ".join(needed)
    columns = f"column{'s' * (len(needed) > 1)} {listed}"
    remedy = f"Save it as UTF-8 CSV with {'a ' * (len(needed) == 1)}{columns}; put a line that holds a comma in double quotes"
    name_one = f"Name a CSV file with {'a ' * (len(needed) == 1)}{columns}"
    try:
        content = source.read_bytes()
        frame = pd.read_csv(io.BytesIO(content), dtype="str", keep_default_na=False, encoding="utf-8-sig", skip_blank_lines=False)
    except FileNotFoundError:
        raise InputError(Problem(str(source), "is not there", name_one, "missing-file")) from None
    except UnicodeDecodeError as error:
        line = content[:error.start].count(b"\n") + 1
        raise InputError(Problem(f"{source}, line {line}", f"byte 0x{content[error.start]:02x} is not UTF-8 text", remedy,
                                 "encoding")) from None
    except pd.errors.EmptyDataError:
        raise InputError(Problem(str(source), "is empty", f"Write a header {','.join(needed)} and a line below it", "no-lines")) from None
    except pd.errors.ParserError as error:
        line = re.search(r"line (\d+)", str(error))
        where = f"{source}, line {line[1]}" if line else str(source)
        raise InputError(Problem(where, "has more columns than its header", remedy, "unreadable-file")) from None
    except OSError as error:
        raise InputError(Problem(str(source), f"cannot be read ({error.strerror})", name_one, "unreadable-file")) from None
    if not isinstance(frame.index, pd.RangeIndex):  # pandas takes a surplus first column for row names
        raise InputError(Problem(f"{source}, line 2", "has more columns than its header", remedy, "unreadable-file"))
    missing = [name for name in needed if name not in frame]
    if missing:
        raise InputError([Problem(f"{source}, line 1", f"has no column {name} (it has: {', '.join(frame.columns)})",
                                  f"Name the column with {HOLDS[name]} {name}", "wrong-columns") for name in missing])
    if frame.empty:
        raise InputError(Problem(str(source), "holds no line", "Write at least one line below the header", "no-lines"))
    return frame


def write(table: pd.DataFrame, target: Path) -> None:
    """Whole or not at all; what is no plain file (a pipe, a device) is written to directly."""
    direct = target.exists() and not target.is_file()
    part = target if direct else target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        part.write_bytes(table.to_csv(index=False, lineterminator="\n").encode())
        if not direct:
            part.replace(target)
    except OSError as error:
        raise InputError(Problem(str(target), f"cannot be written ({error.strerror or error})",
                                 "Name a file in a folder that exists, can be written and has space", "cannot-write")) from None
    finally:
        if not direct:
            with suppress(OSError):
                part.unlink(missing_ok=True)
