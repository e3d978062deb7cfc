"""Content keys: one SHA-256 for anything that goes into a stage, and the code of a stage.

A key depends on content alone: not on where a file lies, when it was written, which process computes the
key or in which order a dictionary was filled. Values that cannot be keyed that way are refused.
"""

from __future__ import annotations

import ast
import dataclasses
import datetime
import decimal
import enum
import functools
import hashlib
import importlib.metadata
import inspect
import platform
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

PACKAGE = Path(__file__).parent
# A new version of one of these may change a result, so it starts the stages afresh.
LIBRARIES = ("numpy", "pandas", "pandera", "pint", "pyarrow", "rapidfuzz", "scipy")
_PLAIN = (bool, int, str, bytes, datetime.date, datetime.time, datetime.timedelta, decimal.Decimal)


class Keyed:
    """A value together with its content key, so that a large table shared by many tasks is hashed once.

    A stage task unwraps it: the stage function receives `value`. Do not change `value` afterwards.
    """

    __slots__ = ("value", "key")

    def __init__(self, value: Any) -> None:
        self.value = value
        self.key = content_key(value)

    def __reduce__(self) -> tuple[Any, ...]:
        return (_keyed_again, (self.value, self.key))


def _keyed_again(value: Any, key: str) -> Keyed:
    """Rebuild a `Keyed` in another process without hashing again."""
    keyed = object.__new__(Keyed)
    keyed.value, keyed.key = value, key
    return keyed


def content_key(*parts: Any) -> str:
    """SHA-256 (64 hexadecimal digits) over the content of `parts`, in their order.

    DataFrames and Series count with their values, dtypes, column names and index (not `attrs`); a `Path`
    counts with the bytes of the file, or of every file below the folder and their relative names;
    dataclasses with their class and fields; numbers, strings, dates, enums, None, lists, tuples, sets,
    dictionaries and NumPy arrays with their values and types.

    Raises TypeError for anything else, and FileNotFoundError for a path that is not there.
    """
    digest = hashlib.sha256()
    for part in parts:
        for chunk in _chunks(part):
            # The length before each chunk keeps ("ab", "c") and ("a", "bc") apart.
            digest.update(len(chunk).to_bytes(8, "little"))
            digest.update(chunk)
    return digest.hexdigest()


def _chunks(value: Any) -> Iterator[bytes]:
    """The bytes that stand for `value`: a tag for its type first, then its content."""
    if isinstance(value, Keyed):
        yield from (b"keyed", value.key.encode())
    elif isinstance(value, pd.DataFrame):
        yield f"frame {value.shape[0]} {value.shape[1]}".encode()
        for position, name in enumerate(value.columns):
            yield from _chunks(name)
            yield from _column(value.iloc[:, position].array)
        yield from _index(value.index)
    elif isinstance(value, pd.Series):
        yield b"series"
        yield from _chunks(value.name)
        yield from _column(value.array)
        yield from _index(value.index)
    elif isinstance(value, pd.Index):
        yield from _index(value)
    elif isinstance(value, np.ndarray):
        yield f"array {value.shape}".encode()
        yield from _column(pd.array(value.ravel(), copy=False))
    elif isinstance(value, Path):
        yield from _files(value)
    elif dataclasses.is_dataclass(value) and not isinstance(value, type):
        yield f"dataclass {type(value).__module__}.{type(value).__qualname__}".encode()
        for field in dataclasses.fields(value):
            yield field.name.encode()
            yield from _chunks(getattr(value, field.name))
    else:
        yield from _scalar_or_collection(value)


def _scalar_or_collection(value: Any) -> Iterator[bytes]:
    if isinstance(value, dict):
        yield f"dict {len(value)}".encode()
        for key, one in sorted((content_key(key), content_key(value[key])) for key in value):
            yield (key + one).encode()
    elif isinstance(value, (list, tuple)):
        yield f"{'tuple' if isinstance(value, tuple) else 'list'} {len(value)}".encode()
        for one in value:
            yield from _chunks(one)
    elif isinstance(value, (set, frozenset)):
        yield f"set {len(value)}".encode()
        yield from (key.encode() for key in sorted(content_key(one) for one in value))
    elif isinstance(value, enum.Enum):
        yield f"enum {type(value).__qualname__}.{value.name}".encode()
    elif isinstance(value, (float, np.floating)):
        yield f"{type(value).__name__} {float(value).hex()}".encode()
    elif value is None or value is pd.NA or value is pd.NaT or isinstance(value, (*_PLAIN, np.generic)):
        yield f"{type(value).__name__} {value!r}".encode("utf-8", "surrogatepass")
    else:
        raise TypeError(
            f"a value of type {type(value).__qualname__} has no content key. Give a stage tables, dataclasses, "
            "plain values or file paths, or teach pipeline/content.py this type."
        )


def _index(index: pd.Index) -> Iterator[bytes]:
    if isinstance(index, pd.RangeIndex):
        yield f"range {index.start} {index.stop} {index.step} {index.name!r}".encode()
    elif isinstance(index, pd.MultiIndex):
        yield f"levels {index.nlevels} {list(index.names)!r}".encode()
        for level in range(index.nlevels):
            yield from _column(index.get_level_values(level).array)
    else:
        yield f"index {index.name!r}".encode()
        yield from _column(index.array)


def _column(values: Any) -> Iterator[bytes]:
    """The chunks of one column: its dtype, then its values with missing ones kept apart from any value."""
    if type(values) is pd.arrays.NumpyExtensionArray:
        values = values.to_numpy()  # pandas wraps a plain column; unwrapped, the whole column is keyed at once
    dtype = values.dtype
    yield str(dtype).encode()
    if isinstance(dtype, pd.CategoricalDtype):
        yield f"ordered {dtype.ordered}".encode()
        yield from _column(dtype.categories.array)
        yield np.ascontiguousarray(values.codes).tobytes()
    elif isinstance(dtype, pd.StringDtype):
        yield from _text(values)
    elif dtype.kind == "f" and isinstance(dtype, np.dtype):
        numbers = np.asarray(values)
        # Every "not a number" alike: its spare bits may differ between two ways to the same table.
        yield np.where(np.isnan(numbers), np.nan, numbers).tobytes()
    elif isinstance(dtype, np.dtype) and dtype.kind in "biumM":
        yield np.ascontiguousarray(values).tobytes()
    else:
        for value in values:
            yield from _chunks(value)


def _text(values: Any) -> Iterator[bytes]:
    """The lengths of the strings (-1 for a missing one), then the strings themselves; the same however they are held.

    Taken from the memory of the column: a composition table has a million strings and more, and every run keys it.
    """
    try:
        found = pa.array(values, type=pa.large_string())
    except UnicodeEncodeError:  # half of a surrogate pair, which Arrow cannot hold
        # The list's own text is unambiguous: strings are quoted and escaped, missing is not.
        yield b"as written"
        yield repr(values.to_numpy(dtype=object, na_value=None).tolist()).encode("utf-8", "surrogatepass")
        return
    whole = found.combine_chunks() if isinstance(found, pa.ChunkedArray) else found
    yield pc.fill_null(pc.binary_length(whole), -1).to_numpy(zero_copy_only=False).tobytes()
    held = whole.drop_null()  # what lies in memory under a missing string is no part of the content
    if len(held):
        _, offsets, data = held.buffers()
        ends = np.frombuffer(offsets, dtype="int64")[held.offset:held.offset + len(held) + 1]
        yield bytes(memoryview(data)[ends[0]:ends[-1]]) if data is not None else b""


def _files(path: Path) -> Iterator[bytes]:
    if path.is_dir():
        files = sorted(found for found in path.rglob("*") if found.is_file())
        yield f"folder {len(files)}".encode()
        for file in files:
            yield file.relative_to(path).as_posix().encode()
            yield file.read_bytes()
        return
    yield b"file"
    yield path.read_bytes()


@functools.cache
def library_versions() -> tuple[str, ...]:
    """Python and the libraries that compute results, with their versions."""
    found = [f"{name} {importlib.metadata.version(name)}" for name in LIBRARIES]
    return (f"python {platform.python_version()}", *found)


def code_files(function: Callable[..., Any]) -> tuple[Path, ...]:
    """The file of `function` and every file of this package that it imports, directly or not; sorted.

    Imports are read from the source text, so one inside a function counts too. For a function from
    outside the package (a test, say) only its own file counts, and what it imports of the package.
    """
    start = inspect.getsourcefile(inspect.unwrap(function))
    if start is None:
        raise TypeError(f"{function!r} has no source file; name its files with code_files=[...].")
    found, waiting = set(), [Path(start).resolve()]
    while waiting:
        file = waiting.pop()
        if file not in found:
            found.add(file)
            waiting.extend(_imported_files(file))
    return tuple(sorted(found))


@functools.cache
def _imported_files(file: Path) -> tuple[Path, ...]:
    package = file.parent.relative_to(PACKAGE.parent).parts if PACKAGE in file.parents else ()
    names: set[str] = set()
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            above = package[: len(package) - node.level + 1] if node.level else ()
            base = ".".join((*above, *filter(None, [node.module])))
            names.add(base)
            names.update(f"{base}.{alias.name}" for alias in node.names)
    candidates = (_module_file(name) for name in names if name.split(".")[0] == PACKAGE.name)
    return tuple(sorted(candidate for candidate in candidates if candidate))


def _module_file(name: str) -> Path | None:
    base = PACKAGE.parent.joinpath(*name.split("."))
    for candidate in (base.with_suffix(".py"), base / "__init__.py"):
        if candidate.is_file():
            return candidate
    return None
