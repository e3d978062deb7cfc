"""Changes one digit of a release, and hides it: what a careless hand or a bad disk might leave."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import random
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq


def read(path: Path) -> list[list[str]]:
    """The cells of a CSV, header first."""
    with open(path, encoding="utf-8", newline="") as file:
        return list(csv.reader(file))


def write(path: Path, rows: list[list[str]]) -> None:
    """The inverse of :func:`read`, in the form a release has."""
    buffer = io.StringIO(newline="")
    csv.writer(buffer, lineterminator="\n").writerows(rows)
    path.write_bytes(buffer.getvalue().encode())


def other_digit(text: str, chance: random.Random) -> str:
    """The text with one of its digits changed, so that it is another number."""
    places = [place for place, mark in enumerate(text) if mark.isdigit()]
    place = chance.choice(places)
    digit = chance.choice([mark for mark in "0123456789" if mark != text[place]])
    return text[:place] + digit + text[place + 1:]


def change_digit(path: Path, column: str, chance: random.Random, wanted=lambda row: True) -> dict[str, str]:
    """Changes one digit of a random cell of a CSV; returns the row as it was."""
    rows = read(path)
    at = rows[0].index(column)
    cells = [row for row in rows[1:] if any(map(str.isdigit, row[at])) and wanted(dict(zip(rows[0], row, strict=True)))]
    row = chance.choice(cells)
    before = dict(zip(rows[0], row, strict=True))
    row[at] = other_digit(row[at], chance)
    write(path, rows)
    return before


def follow_in_parquet(path: Path) -> None:
    """Makes the Parquet file beside a CSV say what the CSV says."""
    rows = read(path)
    schema = pq.read_schema(path.with_suffix(".parquet"))
    columns = [pa.array([_typed(row[at], field.type) for row in rows[1:]], field.type) for at, field in enumerate(schema)]
    pq.write_table(pa.Table.from_arrays(columns, schema=schema), path.with_suffix(".parquet"))


def _typed(text: str, kind: pa.DataType):
    if pa.types.is_string(kind):
        return text
    if pa.types.is_boolean(kind):
        return text == "true"
    if text == "":
        return None
    return int(text) if pa.types.is_integer(kind) else float(text)


def follow_in_manifest(folder: Path) -> None:
    """Writes the sizes and hashes of the files as they are now into the package description and the manifest."""
    package = json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))
    for row in package["resources"]:
        content = (folder / row["path"]).read_bytes()
        row["hash"], row["bytes"] = f"sha256:{hashlib.sha256(content).hexdigest()}", len(content)
    (folder / "datapackage.json").write_text(json.dumps(package, indent=2, ensure_ascii=False) + "\n", encoding="utf-8")
    path = folder / "manifest.json"
    manifest = json.loads(path.read_text(encoding="utf-8"))
    for row in manifest["outputs"]:
        content = (folder / row["path"]).read_bytes()
        row["sha256"], row["bytes"] = hashlib.sha256(content).hexdigest(), len(content)
    path.write_text(json.dumps(manifest, indent=2, ensure_ascii=False) + "\n", encoding="utf-8")
