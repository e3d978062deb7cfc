"""The single-stage commands: a CSV with a column ``text`` in, a CSV with the stage's columns out."""

from __future__ import annotations

import os
import sys
from contextlib import suppress
from pathlib import Path

import pandas as pd

from pipeline import tables
from pipeline.csv_rows import rows
from pipeline.problems import InputError, Problem

__all__ = ["match_file", "parse_file", "rows", "write"]

PARSED_OUT = [name for name in tables.columns(tables.Parsed) if name != "line_id"]
MATCHED_OUT = ["text", "entry_id", "entry_name", "match_confidence", "outcome", "reason", "candidates"]


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
