"""Writes one table as CSV for people and as Parquet for machines, with the same values to the last digit.

The bytes depend on the values alone (for Parquet, also on the version of pyarrow, which
the manifest names).
"""

from __future__ import annotations

import csv
import hashlib
import io
import math
import os
from decimal import Decimal
from pathlib import Path

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

SIGNIFICANT_DIGITS = 10


def format_number(value: float) -> str:
    """A number in plain decimal, at most 10 significant digits, no exponent, no trailing zeros; "" for NaN.

    ValueError for an infinite number.
    """
    if value != value:
        return ""
    text = f"{value:.{SIGNIFICANT_DIGITS}g}"
    if "e" in text:
        text = f"{Decimal(text):f}"
    elif text[-1].isalpha():
        raise ValueError(f"cannot write {value}")
    return "0" if text == "-0" else text


def texts(frame: pd.DataFrame) -> dict[str, list[str]]:
    """The cells as they stand in the CSV, by column.

    ValueError names a column that holds an infinite number, or a text cell that is null.
    """
    return {name: _texts(name, frame[name]) for name in frame.columns}


def _texts(name: str, column: pd.Series) -> list[str]:
    if pd.api.types.is_bool_dtype(column.dtype):
        return ["true" if value else "false" for value in column.tolist()]
    if pd.api.types.is_integer_dtype(column.dtype):
        return [str(value) for value in column.tolist()]
    if pd.api.types.is_float_dtype(column.dtype):
        values = column.tolist()
        if any(math.isinf(value) for value in values):
            raise ValueError(f"column {name} holds an infinite number")
        return [format_number(value) for value in values]
    if column.isna().any():
        raise ValueError(f"column {name} holds a null where a text belongs")
    return [str(value) for value in column.tolist()]


def csv_bytes(cells: dict[str, list[str]]) -> bytes:
    """CSV by RFC 4180, but with line feeds: UTF-8, a header, quotes only where they are needed."""
    buffer = io.StringIO(newline="")
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(cells)
    if any("\r" in value for column in cells.values() for value in column):
        # The writer leaves a lone carriage return unquoted, and readers take it for the end of a row.
        writer = csv.writer(buffer, lineterminator="\n", quoting=csv.QUOTE_ALL)
    writer.writerows(zip(*cells.values(), strict=True))
    return buffer.getvalue().encode()


def parquet_bytes(frame: pd.DataFrame, cells: dict[str, list[str]]) -> bytes:
    """Parquet with the values of the CSV: float64 (null when unknown), int64, bool and text; no other metadata."""
    names = list(frame.columns)
    columns = [_arrow(frame[name], cells[name]) for name in names]
    fields = [pa.field(name, column.type) for name, column in zip(names, columns, strict=True)]
    sink = pa.BufferOutputStream()
    pq.write_table(
        pa.Table.from_arrays(columns, schema=pa.schema(fields)), sink, version="2.6", data_page_version="1.0",
        compression="zstd", compression_level=3, store_schema=False, row_group_size=1_000_000)
    return sink.getvalue().to_pybytes()


def _arrow(column: pd.Series, cells: list[str]) -> pa.Array:
    if pd.api.types.is_bool_dtype(column.dtype):
        return pa.array(column.tolist(), pa.bool_())
    if pd.api.types.is_integer_dtype(column.dtype):
        return pa.array(column.tolist(), pa.int64())
    if pd.api.types.is_float_dtype(column.dtype):
        return pa.array([float(cell) if cell else None for cell in cells], pa.float64())
    return pa.array(cells, pa.string())


def write_file(path: Path, content: bytes) -> None:
    """Write and wait until the bytes are on the disk. OSError when they cannot be."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with open(path, "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def replace_file(path: Path, content: bytes) -> None:
    """Put ``content`` in place of a file in one step: a reader sees the old or the new bytes, never a part."""
    waiting = path.with_name(f".{path.name}.partial")
    try:
        write_file(waiting, content)
        os.replace(waiting, path)
    finally:
        waiting.unlink(missing_ok=True)
    sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Wait until the names in a folder are on the disk."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def sha256(content: bytes) -> str:
    """SHA-256 in hexadecimal."""
    return hashlib.sha256(content).hexdigest()
