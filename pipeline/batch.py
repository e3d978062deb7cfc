"""The single-stage commands: a CSV with a column ``text`` in, a CSV with the stage's columns out."""

from __future__ import annotations

import io
import os
import re
from contextlib import suppress
from pathlib import Path

import pandas as pd

from pipeline import decisions, sources, tables
from pipeline.problems import InputError, Problem
from pipeline.stages import match as match_stage
from pipeline.stages import parse as parse_stage

PARSED_OUT = [name for name in tables.columns(tables.Parsed) if name != "line_id"]
MATCHED_OUT = ["text", "entry_id", "entry_name", "match_confidence", "outcome", "reason", "candidates"]


def parse_file(source: Path, target: Path) -> int:
    """Writes what each line of ``source`` says; returns 1 when a line could not be read, else 0."""
    _, parsed = _parsed(source)
    _write(parsed[PARSED_OUT], target)
    return int((parsed["kind"] == "unreadable").any())


def match_file(source: Path, target: Path, table: str, top: int) -> int:
    """Writes the entry of each line of ``source``; returns 1 when a line is not accepted, else 0.

    A text without any amount is taken as a food description and matched whole.
    """
    reference = sources.load()
    mappings, parsed = _parsed(source)
    composition = sources.load_table(table, reference.sources)
    bare = (parsed["kind"] == "food") & parsed["quantity_low"].isna() & (parsed["unit"] == "") & (parsed["amount_rule"] == "none")
    asked = parsed.assign(phrase=parsed["phrase"].where(~bare, parsed["text"].str.lower()))
    matched, candidates, _ = match_stage.match(
        asked, composition.entries, table, mappings.words, reference.match_weights, mappings.foods,
        reference.rule("accept_above"), reference.rule("review_above"))
    shown = candidates[candidates["rank"] <= top]
    named = shown["entry_id"] + " " + shown["entry_name"] + " (" + shown["probability"].map("{:.3f}".format) + ")"
    result = matched.assign(
        text=parsed["text"], outcome=matched["match_outcome"], reason=matched["match_reason"],
        candidates=matched["line_id"].map(named.groupby(shown["line_id"]).agg("; ".join)).fillna(""))
    _write(result[MATCHED_OUT], target)
    return int((result["outcome"] != "accepted").any())


def _parsed(source: Path) -> tuple[decisions.Mappings, pd.DataFrame]:
    mappings = decisions.load()
    texts = _texts(source)
    numbers = range(1, len(texts) + 1)
    lines = pd.DataFrame({
        "recipe_id": "input", "variant_id": "base", "line_no": numbers, "line_id": [f"input/base/{number}" for number in numbers],
        "text": texts, "section": "", "origin": "base", "source_file": source.name, "source_line": [number + 1 for number in numbers],
    })
    parsed, _ = parse_stage.parse(lines, mappings.unit_words, mappings.sizes, mappings.states, mappings.preparations)
    return mappings, parsed


def _texts(source: Path) -> list[str]:
    remedy = "Save it as UTF-8 CSV with a column text; put a line that holds a comma in double quotes"
    try:
        content = source.read_bytes()
        frame = pd.read_csv(io.BytesIO(content), dtype="str", keep_default_na=False, encoding="utf-8-sig", skip_blank_lines=False)
    except FileNotFoundError:
        raise InputError(Problem(str(source), "is not there", "Name a CSV file with a column text", "missing-file")) from None
    except UnicodeDecodeError as error:
        line = content[:error.start].count(b"\n") + 1
        raise InputError(Problem(f"{source}, line {line}", f"byte 0x{content[error.start]:02x} is not UTF-8 text", remedy,
                                 "encoding")) from None
    except pd.errors.EmptyDataError:
        raise InputError(Problem(str(source), "is empty", "Write a header text and a line below it", "no-lines")) from None
    except pd.errors.ParserError as error:
        line = re.search(r"line (\d+)", str(error))
        where = f"{source}, line {line[1]}" if line else str(source)
        raise InputError(Problem(where, "has more columns than its header", remedy, "unreadable-file")) from None
    except OSError as error:
        raise InputError(Problem(str(source), f"cannot be read ({error.strerror})", "Name a CSV file with a column text",
                                 "unreadable-file")) from None
    if not isinstance(frame.index, pd.RangeIndex):  # pandas takes a surplus first column for row names
        raise InputError(Problem(f"{source}, line 2", "has more columns than its header", remedy, "unreadable-file"))
    if "text" not in frame:
        raise InputError(Problem(f"{source}, line 1", f"has no column text (it has: {', '.join(frame.columns)})",
                                 "Name the column with the lines text", "wrong-columns"))
    if frame.empty:
        raise InputError(Problem(str(source), "holds no line", "Write at least one line below the header", "no-lines"))
    return frame["text"].tolist()


def _write(table: pd.DataFrame, target: Path) -> None:
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
