"""Reads a release for `potash verify`, and compares its files with its manifest.

Tables are read from the CSV as plain rows of text; the Parquet files must say the same
to the last digit.
"""

from __future__ import annotations

import csv
import hashlib
import json
import math
from pathlib import Path

from pipeline.problems import InputError, Problem
from pipeline.verify_report import Ledger

MANIFEST, PACKAGE = "manifest.json", "datapackage.json"
_LINE = ("recipe_id", "variant_id", "line_no")
_VARIANT = ("recipe_id", "variant_id")
# table -> (folder, key columns, number columns that are read, further columns that are read)
TABLES: dict[str, tuple[str, tuple[str, ...], tuple[str, ...], tuple[str, ...]]] = {
    "figures": ("", ("figure_id",), ("value", "low", "high", "coverage", "confidence"),
                (*_VARIANT, "component", "basis", "unit", "status", "reason")),
    "lines": ("", ("line_id",), ("quantity_low", "quantity_high", "match_confidence", "mass_g", "mass_low_g", "mass_high_g",
                                 "edible_g", "yield_fraction", "cooked_g", "confidence", "line_no"),
              (*_VARIANT, "text", "unit", "phrase", "state", "optional", "table", "entry_id", "entry_name", "outcome", "method",
               "reason", "counted")),
    "verdicts": ("", (*_VARIANT, "audience", "claim"), ("value", "low", "high", "limit", "margin", "probability"),
                 ("verdict", "component", "unit", "source_id", "basis", "kind", "reason", "comparator", "status")),
    "bands": ("", (*_VARIANT, "component"), ("value", "low", "high", "portion_g", "portion_high"), ("band", "unit", "source_id")),
    "suitability": ("", (*_VARIANT, "diet"), (), ("verdict", "lines", "reason")),
    "allergens": ("", (*_VARIANT, "allergen"), (), ("status", "lines", "reason")),
    "suitability_evidence": ("evidence", ("line_id", "subject", "answer", "through", "found_in"), (), ("source_id",)),
    "phosphorus_kinds": ("", (*_VARIANT, "basis", "kind"), (
        "phosphorus_mg", "low_mg", "high_mg", "absorption_low_fraction", "absorption_high_fraction", "absorbed_mg", "absorbed_low_mg",
        "absorbed_high_mg"), ("lines", "status", "reason", "source_id")),
    "phosphorus_to_protein": ("", _VARIANT, ("mg_per_g", "low_mg_per_g", "high_mg_per_g"), ("status", "reason")),
    "additives": ("", ("line_id", "additive_id"), ("line_no",), (
        *_VARIANT, "counted", "element", "severity", "through", "found_in", "what", "remedy", "source_id")),
    "for_print": ("", ("figure_id",), (), (
        *_VARIANT, "component", "basis", "by_guidance", "guidance_source_id", "by_unit_rule", "unit_rule_source_id", "note")),
    "swaps": ("", (*_VARIANT, "audience", "claim"), ("taken_g", "value", "low", "high", "limit", "probability"),
              ("outcome", "change", "lines", "verdict_base", "verdict_written", "verdict", "component", "unit", "basis", "comparator", "from_parts",
               "words")),
    "protein_additions": ("", ("recipe_id", "audience", "addition_id", "claim"), (
        "added_g", "steps", "value_per_100g", "retention_fraction", "value_base", "value", "low", "high", "limit", "probability",
        "phosphorus_to_protein"), ("outcome", "line", "entry_id", "verdict_base", "verdict", "component", "unit", "basis", "comparator", "from_parts",
                                   "source_id", "words")),
    "findings": ("", ("finding_id",), (), (*_VARIANT, "check", "severity", "component", "line_no", "what", "remedy", "source_id")),
    "problems": ("", ("severity", "code", "stage", "recipe_id", "where", "what", "remedy"), (), ("code", "recipe_id")),
    "withheld": ("", (*_VARIANT, "basis", "reason"), ("figures",), ("components",)),
    "versions": ("", (*_VARIANT, "from_variant", "difference_no"), ("potassium_mg", "phosphorus_mg", "sodium_mg", "protein_g"),
                 ("kind", "changed", "line_no", "from_line_no", "text", "from_text", "mass_g", "from_mass_g", "what")),
    "version_figures": ("evidence", (*_VARIANT, "from_variant", "component", "unit", "basis"), (
        "from_value", "from_low", "from_high", "value", "low", "high", "difference"), ("beyond_intervals", "verdicts")),
    "print_changes": ("", ("rank",), ("rank", "printed_value", "value", "low", "high", "band_low", "band_high"), (
        *_VARIANT, "harm", "printed_in", "component", "basis", "unit", "claim", "audience", "says", "today", "correction", "why", "source_id")),
    "published": ("evidence", (*_VARIANT, "component", "basis", "unit", "printed_in", "value"), ("value",), ()),
    "printed_claims": ("evidence", (*_VARIANT, "claim", "printed_in"), (), ()),
    "recipes": ("evidence", ("recipe_id",), ("portions", "finished_mass_g"), ("food_form", "course", "source_file")),
    "variants": ("evidence", _VARIANT, ("portions",), ("kind",)),
    "source_lines": ("evidence", ("line_id",), ("line_no",), (*_VARIANT, "text", "origin")),
    "parsed": ("evidence", ("line_id",), ("quantity_low", "quantity_high", "each_quantity", "parse_confidence"),
               ("text", "kind", "unit", "each_unit", "phrase", "state", "optional", "alternative", "parse_reason")),
    "matched": ("evidence", ("line_id",), ("match_confidence",),
                ("table", "entry_id", "entry_name", "match_outcome", "match_reason", "decision_id")),
    "candidates": ("evidence", ("line_id", "rank"), ("probability", "score"), ("entry_id", "entry_name")),
    "weighed": ("evidence", ("line_id",), (
        "quantity", "quantity_low", "quantity_high", "measure_value", "measure_low", "measure_high", "density_g_per_ml",
        "density_low", "density_high", "mass_g", "mass_low_g", "mass_high_g", "edible_fraction", "edible_low", "edible_high",
        "edible_g"), ("measure_id", "measure_unit", "density_id", "edible_id", "assumption", "weigh_reason")),
    "cooked": ("evidence", ("line_id",), ("minutes", "method_confidence", "yield_fraction", "yield_low", "yield_high"),
               ("method", "liquid", "chain", "cook_reason", "cooking_class", "retention_code", "yield_id", "decision_id")),
    "retentions": ("evidence", ("line_id", "component"), ("retention_fraction", "retention_low", "retention_high"),
                   ("retention_id",)),
    "contributions": ("evidence", ("line_id", "component", "unit"), (
        "edible_g", "value_per_100g", "retention_fraction", "amount", "line_no"),
        (*_VARIANT, "value_type", "composition_input", "match_input", "retention_input")),
    "inputs": ("evidence", ("input_id",), ("value", "low", "high", "standard_uncertainty"),
               ("kind", "unit", "source_id", "source_row", "basis")),
    "two_routes": ("evidence", ("line_id", "component"), (
        "raw_value", "raw_error", "by_retention", "by_retention_low", "by_retention_high", "cooked_value", "cooked_error", "yield_fraction",
        "yield_low", "yield_high", "by_cooked", "by_cooked_low", "by_cooked_high", "relative_difference", "added_uncertainty"),
        ("unit", "raw_entry_id", "cooked_entry_id", "retention_id", "yield_id", "agreement", "routes_input", "source_id", "source_row")),
    "shares": ("evidence", (*_VARIANT, "component", "unit", "input_id"), ("share",), ()),
    "entries": ("evidence", ("entry_id",), ("refuse_fraction",), ("name", "food_group", "source_id", "source_row")),
    "values": ("evidence", ("entry_id", "component", "unit"), ("value", "n", "standard_error", "minimum", "maximum"),
               ("value_type", "source_id", "source_row")),
    "disagreements": ("evidence", ("entry_id", "component", "unit", "table_b", "entry_b"), ("value_a", "value_b"),
                      ("name_b", "value_type_b", "source_id", "source_row", "why", "decision_id")),
    "decisions": ("evidence", ("decision_id",), (), ("file", "what", "decided_by", "decided_on", "reason")),
    "factors": ("evidence", ("file", "row_id", "column"), ("value",), ("source_id", "source_row")),
    "names": ("evidence", ("kind", "id"), (), ("name",)),
    "sources": ("evidence", ("source_id",), (), ("citation", "licence", "obtained", "sha256", "standing")),
}
# A release that rests on one composition table has none of these.
WITH_SEVERAL_TABLES = {"disagreements"}
Rows = dict[str, dict[str, str]]


def path_of(table: str, ending: str = "csv") -> str:
    """Where a table lies in the release."""
    folder = TABLES[table][0]
    return f"{folder}/{table}.{ending}" if folder else f"{table}.{ending}"


def place(cause: str, table: str, row: str) -> tuple[str, str, str]:
    """The place of a row, as :class:`pipeline.verify_report.Ledger` takes it."""
    return cause, path_of(table), row


def number(text: str) -> float:
    """A written number; NaN for an empty cell."""
    return float(text) if text else math.nan


def read_manifest(folder: Path) -> dict:
    """The manifest; InputError when ``folder`` is no release."""
    try:
        manifest = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
        named = [(row["path"], row["sha256"], row["bytes"]) for row in manifest["outputs"]]
        named += [(row["path"], row["sha256"], row["role"]) for row in manifest["inputs"]]
        manifest["composition_table"]["name"], manifest["release"], manifest["counts"]["rows"]
    except FileNotFoundError:
        raise InputError(_problem(folder, "is not a release (it has no manifest.json)", "Name a folder that `potash run` wrote")) from None
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise InputError(_problem(folder / MANIFEST, f"cannot be read as a manifest ({type(error).__name__}: {error})",
                                  "Take the release from where it was published, or make it again with `potash run`")) from None
    return manifest


def policy_of(manifest: dict) -> str:
    """Where the policy of a release lies; "" when the manifest names none."""
    return next((row["path"] for row in manifest["inputs"] if row["role"] == "policy"), "")


def compare_files(folder: Path, manifest: dict, ledger: Ledger) -> None:
    """Every file as the manifest says, none missing, none added."""
    listed = {row["path"]: row for row in manifest["outputs"]}
    present = {path.relative_to(folder).as_posix(): path for path in sorted(folder.rglob("*")) if path.is_file()}
    present.pop(MANIFEST, None)
    for path in sorted(listed.keys() - present.keys()):
        ledger.differs("files", path, "", "", "no file", "a file", MANIFEST)
    for path in sorted(present.keys() - listed.keys()):
        ledger.differs("files", path, "", "", "a file", "no file", MANIFEST)
    for path in sorted(listed.keys() & present.keys()):
        content = present[path].read_bytes()
        digest = hashlib.sha256(content).hexdigest()
        ledger.counts["files"] += 1
        if digest != listed[path]["sha256"]:
            ledger.differs("files", MANIFEST, path, "sha256", listed[path]["sha256"], digest, path)
        if len(content) != listed[path]["bytes"]:
            ledger.differs("files", MANIFEST, path, "bytes", str(listed[path]["bytes"]), str(len(content)), path)
    _compare_package(folder, present, ledger)


def _compare_package(folder: Path, present: dict[str, Path], ledger: Ledger) -> None:
    """The Frictionless description repeats size and hash of every table."""
    path = folder / PACKAGE
    if not path.is_file():
        return  # the manifest says whether it should be there
    try:
        resources = json.loads(path.read_text(encoding="utf-8"))["resources"]
        described = [(row["path"], row["hash"], str(row["bytes"])) for row in resources]
    except (OSError, ValueError, KeyError, TypeError) as error:
        ledger.differs("files", PACKAGE, "", "", f"unreadable ({type(error).__name__})", "a description of the tables")
        return
    for name, written, size in described:
        if name not in present:
            ledger.differs("files", PACKAGE, name, "path", name, "no file")
            continue
        content = present[name].read_bytes()
        ledger.same(("files", PACKAGE, name), "hash", written, f"sha256:{hashlib.sha256(content).hexdigest()}", name)
        ledger.same(("files", PACKAGE, name), "bytes", size, str(len(content)), name)


def read_tables(folder: Path, ledger: Ledger) -> dict[str, Rows]:
    """The tables by name, each a dict from row key ("a/b/1" joined by " ") to the row's cells.

    A table that is not there is missing from the result. Raises InputError for one that
    cannot be read.
    """
    tables = {}
    for name in TABLES:
        if not (folder / path_of(name)).is_file():
            continue
        rows = _read_csv(folder / path_of(name), name)
        _compare_parquet(folder, name, rows, ledger)
        tables[name] = _keyed(name, rows, ledger)
    for path in sorted(folder.rglob("*.csv")):
        name = path.relative_to(folder).with_suffix("").as_posix()
        if name.removeprefix("evidence/") not in TABLES:
            _compare_cells(folder, name, _read_csv(path, ""), ledger)
    return tables


def compare_counts(manifest: dict, tables: dict[str, Rows], ledger: Ledger) -> None:
    """The counts that the manifest gives."""
    for name, count in manifest["counts"]["rows"].items():
        if name in tables:
            ledger.same(("files", MANIFEST, "counts"), f"rows of {name}", str(count), str(len(tables[name])), path_of(name))
    for name, column in (("figures", "status"), ("lines", "outcome"), ("verdicts", "verdict")):
        found: dict[str, int] = {}
        for row in tables.get(name, {}).values():
            found[row[column]] = found.get(row[column], 0) + 1
        written = manifest["counts"].get(name, {})
        for state in sorted({*written, *found}):
            ledger.same(("files", MANIFEST, "counts"), f"{name} {state}", str(written.get(state, 0)), str(found.get(state, 0)), path_of(name))


def _read_csv(path: Path, name: str) -> list[dict[str, str]]:
    remedy = "Take the release from where it was published, or make it again with `potash run`"
    try:
        with open(path, encoding="utf-8", newline="") as file:
            reader = csv.reader(file, strict=True)
            header = next(reader, [])
            rows = [dict(zip(header, cells, strict=True)) for cells in reader]
    except (OSError, UnicodeDecodeError, csv.Error, ValueError) as error:
        raise InputError(_problem(path, f"cannot be read as a table ({error})", remedy)) from None
    if not name:
        return rows
    _, key, numbers, texts = TABLES[name]
    missing = [column for column in (*key, *numbers, *texts) if column not in header]
    if missing:
        raise InputError(_problem(path, f"has no column {', '.join(missing)}", remedy))
    for place_no, row in enumerate(rows, start=2):
        for column in numbers:
            if not _is_number(row[column]):
                raise InputError(_problem(f"{path}:{place_no}", f"{column} is {row[column]!r}, which is no number", remedy))
    return rows


def _is_number(text: str) -> bool:
    try:
        return text == "" or math.isfinite(float(text))
    except ValueError:
        return False


def _keyed(name: str, rows: list[dict[str, str]], ledger: Ledger) -> Rows:
    keyed: Rows = {}
    for row in rows:
        key = " ".join(row[column] for column in TABLES[name][1])
        if key in keyed:
            ledger.differs("files", path_of(name), key, "", "two rows", "one row")
        keyed[key] = row
    return keyed


def _compare_parquet(folder: Path, name: str, rows: list[dict[str, str]], ledger: Ledger) -> None:
    _compare_cells(folder, path_of(name)[:-4], rows, ledger, TABLES[name][1])


def _compare_cells(folder: Path, name: str, rows: list[dict[str, str]], ledger: Ledger, key: tuple[str, ...] = ()) -> None:
    """The Parquet file of a table holds the cells of its CSV, typed."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    path = f"{name}.parquet"
    try:
        table = pq.read_table(folder / path)
    except FileNotFoundError:
        return  # the manifest says whether it should be there
    except (OSError, pa.ArrowException) as error:
        ledger.differs("files", path, "", "", f"unreadable ({type(error).__name__})", "a table", f"{name}.csv")
        return
    columns = list(rows[0]) if rows else table.column_names
    if table.column_names != columns or table.num_rows != len(rows):
        ledger.differs("files", path, "", "", f"{table.num_rows} rows of {len(table.column_names)} columns",
                       f"{len(rows)} rows of {len(columns)} columns", f"{name}.csv")
        return
    for column in columns:
        typed = table.column(column).to_pylist()
        texts = [row[column] for row in rows]
        if typed == texts:
            continue
        for row, text, value in zip(rows, texts, typed, strict=True):
            if not _is_same(text, value):
                ledger.differs("files", path, " ".join(row[part] for part in key), column, "" if value is None else str(value),
                               text, f"{name}.csv")


def _is_same(text: str, value) -> bool:
    if isinstance(value, bool):
        return text == ("true" if value else "false")
    if isinstance(value, (int, float)):
        try:
            return float(text) == value
        except ValueError:
            return False
    return (text == "") if value is None else text == value


def _problem(where: Path | str, what: str, remedy: str) -> Problem:
    return Problem(str(where), what, remedy, "not-verifiable", stage="verify")
