"""A comparison as plain data for programs and as CSV files for people."""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.composition.compare import Comparison
from pipeline.swap import Swap
from pipeline.problems import InputError, Problem
from pipeline.protected import check_folder

OWN_TABLES = ("entries", "attributes", "values", "components")
SWAP_TABLES = ("decisions", "lines", "figures", "verdicts")
COMPARISON = "a comparison"


def to_dict(comparison: Comparison, swapped: Swap | None) -> dict[str, Any]:
    """Everything in the comparison and, with a release, in the dry run; numbers that are unknown are None."""
    told: dict[str, Any] = {
        "table_a": comparison.table_a, "table_b": comparison.table_b, "entries_a": comparison.size_a, "entries_b": comparison.size_b,
        "differs": comparison.differs, "counts": comparison.counts,
        **{name: records(frame) for name, frame in _tables(comparison, None).items()}}
    if swapped is not None:
        told["swap"] = {
            "release": swapped.release, "recipes": swapped.recipes, "differs": swapped.differs, "counts": swapped.counts,
            "notes": swapped.notes, "problems": [str(problem) for problem in swapped.problems], "adopt": swapped.adopt,
            **{name.removeprefix("swap_"): records(frame) for name, frame in _swap_tables(swapped).items()}}
    return told


def records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """The rows of a table as plain data; unknown numbers are None."""
    rows = frame.astype(object).where(frame.notna(), None).to_dict("records")
    return json.loads(json.dumps(rows, default=lambda value: value.item()))  # numpy's numbers are not JSON's


def _tables(comparison: Comparison, swapped: Swap | None) -> dict[str, pd.DataFrame]:
    own = {name: getattr(comparison, name) for name in OWN_TABLES}
    return own if swapped is None else {**own, **_swap_tables(swapped)}


def _swap_tables(swapped: Swap) -> dict[str, pd.DataFrame]:
    return {f"swap_{name}": getattr(swapped, name) for name in SWAP_TABLES}


def write(comparison: Comparison, swapped: Swap | None, folder: Path, root: Path) -> list[Path]:
    """Writes one CSV per table into ``folder`` (made if need be), each whole or not at all; gives their paths.

    Files: entries, attributes, values, components and, with a release, swap_decisions,
    swap_lines, swap_figures and swap_verdicts. Those of an earlier comparison that this one
    does not write are removed: they would be read as its own. The same tables give the same bytes.
    Raises :class:`InputError` when ``folder`` is protected or cannot be written.
    """
    stale = [f"swap_{name}" for name in SWAP_TABLES] if swapped is None else []
    return write_tables(_tables(comparison, swapped), folder, root, stale)


def write_tables(tables: dict[str, pd.DataFrame], folder: Path, root: Path, stale: Sequence[str] = ()) -> list[Path]:
    """Writes each table as a CSV of its name, whole or not at all, and removes those of ``stale``; gives the paths.

    Raises :class:`InputError` when ``folder`` is protected or cannot be written.
    """
    check_folder(folder, root, COMPARISON)
    written = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name in stale:
            (folder / f"{name}.csv").unlink(missing_ok=True)
        for name, frame in tables.items():
            target, part = folder / f"{name}.csv", folder / f".{name}.{os.getpid()}.part"
            try:
                part.write_bytes(_plain(frame).to_csv(index=False, lineterminator="\n").encode())
                part.replace(target)
            finally:
                part.unlink(missing_ok=True)
            written.append(target)
    except OSError as error:
        raise InputError(Problem(str(folder), f"cannot be written ({error.strerror or error})",
                                 "Name a folder that can be written and has space", "cannot-write")) from None
    return written


def _plain(frame: pd.DataFrame) -> pd.DataFrame:
    """Numbers in plain decimal with at most ten significant digits, truth values in lower case, "" for unknown."""
    plain = frame.copy()
    for name in frame.columns:
        if frame[name].dtype.kind == "f":
            plain[name] = [_number(value) for value in frame[name].tolist()]
        elif frame[name].dtype.kind == "b" or name in ("in_print", "outside_interval"):
            plain[name] = ["true" if value else "false" for value in frame[name].tolist()]
    return plain


def _number(value: float) -> str:
    if value != value:
        return ""
    text = f"{value:.10g}"
    return f"{Decimal(text):f}" if "e" in text else text
