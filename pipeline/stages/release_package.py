"""``datapackage.json``: what every table of a release holds, in the form of a Frictionless Data Package.

Types and constraints come from the models in ``pipeline.tables``, so the description
cannot drift from what the stages check.
"""

from __future__ import annotations

import json
import re
from textwrap import fill
from typing import Any

import pandas as pd

from pipeline.stages.release_descriptions import description, unit
from pipeline.stages.release_tables import EVIDENCE, TABLES, Released

# Data Package 1: https://specs.frictionlessdata.io/data-package/ and /table-schema/ (from memory)
_TYPES = (
    (pd.api.types.is_bool_dtype, "boolean"),
    (pd.api.types.is_integer_dtype, "integer"),
    (pd.api.types.is_float_dtype, "number"),
)


def datapackage(
    frames: dict[str, pd.DataFrame], files: dict[str, tuple[int, str]], name: str, title: str, cautions: list[str],
    sources: pd.DataFrame, licences: list[dict[str, str]],
) -> dict[str, Any]:
    """The descriptor of the released tables.

    ``files`` gives size in bytes and SHA-256 by path; ``sources`` has the columns of
    ``reference/sources.csv``; ``licences`` are those of the release itself
    (``name`` and ``title`` or ``path``), and may be empty.
    """
    resources = []
    for table, frame in frames.items():
        for ending in ("csv", "parquet"):
            path = TABLES[table].path(table, ending)
            resources.append(_resource(table, ending, path, files[path], schema(table, frame, ending, set(frames))))
    described = {
        "profile": "data-package",
        "name": name,
        "title": title,
        "description": " ".join(cautions),
        "licenses": licences,
        "sources": [_source(row) for row in sources.sort_values("source_id").to_dict("records")],
        "resources": resources,
    }
    return {key: value for key, value in described.items() if value}


def as_json(document: Any) -> bytes:
    """JSON for people and machines: UTF-8, two spaces, one line feed at the end."""
    return (json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False) + "\n").encode()


def schema(table: str, frame: pd.DataFrame, ending: str, released: set[str]) -> dict[str, Any]:
    """The Table Schema of one table; foreign keys only to tables that are ``released`` too.

    Constraints and keys stand with the CSV alone: a Parquet null reaches a validator as
    NaN, which is no missing value to it, and the values are the same.
    """
    spec = TABLES[table]
    described: dict[str, Any] = {"fields": [_field(table, frame, column, ending) for column in frame.columns]}
    if ending != "csv":
        return described
    described["missingValues"] = [""]
    if spec.key:
        described["primaryKey"] = list(spec.key)
    keys = [
        {"fields": list(columns), "reference": {"resource": resource_name(target, "csv"), "fields": list(there)}}
        for columns, target, there in spec.points_to if target in released
    ]
    return {**described, "foreignKeys": keys} if keys else described


def resource_name(table: str, ending: str) -> str:
    """The name of a table's resource: ``evidence-lines`` is not taken for ``lines``; Parquet has its own."""
    stem = f"{TABLES[table].folder}-{table}" if TABLES[table].folder else table
    return stem.replace("_", "-") + ("" if ending == "csv" else f"-{ending}")


def _resource(
    table: str, ending: str, path: str, file: tuple[int, str], table_schema: dict[str, Any],
) -> dict[str, Any]:
    size, digest = file
    csv = ending == "csv"
    resource = {
        "name": resource_name(table, ending),
        "path": path,
        "title": TABLES[table].title,
        # A Parquet file is checked by its bytes: its values are those of the CSV.
        "type": "table" if csv else "file",
        "profile": "tabular-data-resource" if csv else "data-resource",
        "format": ending,
        "mediatype": "text/csv" if csv else "application/vnd.apache.parquet",
    }
    if csv:
        resource["encoding"] = "utf-8"
        resource["dialect"] = {"delimiter": ",", "lineTerminator": "\n", "quoteChar": '"', "doubleQuote": True}
    return {**resource, "bytes": size, "hash": f"sha256:{digest}", "schema": table_schema}


def _field(table: str, frame: pd.DataFrame, column: str, ending: str) -> dict[str, Any]:
    kind = next((name for is_kind, name in _TYPES if is_kind(frame[column].dtype)), "string")
    field: dict[str, Any] = {"name": column, "type": kind, "description": description(table, column)}
    measured = unit(table, list(frame.columns), column) if kind in ("number", "integer") else ""
    if measured:
        field["unit"] = measured
    limits = _constraints(TABLES[table], column, kind) if ending == "csv" else {}
    return {**field, "constraints": limits} if limits else field


def _constraints(spec: Released, column: str, kind: str) -> dict[str, Any]:
    limits: dict[str, Any] = {"required": True} if column in spec.key else {}
    if spec.model is None:
        return limits
    declared = spec.model.to_schema().columns[column]
    if declared.unique:
        limits["unique"] = True
    if not declared.nullable and kind != "string":
        limits["required"] = True
    for check in declared.checks:
        _add(limits, check.name, check.statistics)
    return limits


def _add(limits: dict[str, Any], check: str, given: dict[str, Any]) -> None:
    """One pandera check as Table Schema constraints; a strict bound has no counterpart in version 1."""
    if check == "isin":
        limits["enum"] = [value for value in given["allowed_values"] if value != ""]
        if "" not in given["allowed_values"]:
            limits["required"] = True
    elif check == "str_matches":
        pattern = given["pattern"]
        # A Table Schema pattern always holds for the whole cell.
        text = pattern if isinstance(pattern, str) else pattern.pattern
        limits["pattern"] = text.removeprefix("^").removesuffix("$")
        limits["required"] = True
    elif check == "str_length" and given["min_value"]:
        limits["minLength"] = given["min_value"]
        limits["required"] = True
    elif check == "greater_than_or_equal_to":
        limits["minimum"] = given["min_value"]
    elif check == "less_than_or_equal_to":
        limits["maximum"] = given["max_value"]


def _source(row: dict[str, str]) -> dict[str, str]:
    found = re.search(r"https?://\S+", row["obtained"])
    source = {"title": row["citation"], "source_id": row["source_id"], "licence": row["licence"],
              "standing": row["standing"]}
    return {**source, "path": found.group().rstrip(").,;")} if found else source


PLOTS = """plots/       Two plots per recipe, as SVG and PNG: where its potassium, phosphorus, sodium and protein come from, raw to
             plate, and what makes their intervals wide. Show a plot whole, with the words at its foot.
"""


PAGES = """pages/       Begin with pages/index.html: which dish may be called what, for whom; then a page for each dish, to read or print.
"""


def readme(title: str, frames: dict[str, pd.DataFrame], has_plots: bool = False, has_pages: bool = False) -> str:
    """What each file of the release is, for somebody who has only the folder."""
    evidence = fill(", ".join(name for name in frames if TABLES[name].folder == EVIDENCE) + ".", 100,
                    subsequent_indent=" " * 13)
    return f"""{title}
{PAGES if has_pages else ""}figures      Nutrient figures with 90 % intervals. Use rows with status ready; check means a person must look first.
lines        Every ingredient line, the food it was matched to, its mass, and its one outcome with the reason.
verdicts     Every claim and limit, for every audience, with the margin. A verdict that is uncertain does not hold.
suitability  Vegetarian and vegan, with the reason. allergens: contained, perhaps contained, or not assessed; never free from.
additives    Lines likely to bring phosphates or potassium salts. phosphorus_kinds: from plants, animals and additives.
for_print    Ready figures as text, rounded so that no claim is passed by rounding. Copy from here.
versions     Recipes as made and as printed beside the recipe as analysed. print_changes: what in print must change, worst first.
swaps        What to leave out or reduce where a variant breaks a limit. protein_additions: what a main meal short of protein bears.
findings     What the audit noticed. worklist: the lines to settle, best first. problems: what went wrong in the run.
withheld     Which figures are withheld, and why. A withheld figure is empty; empty is never zero.
evidence/    What every figure rests on, table by table:
             {evidence}
             policy.toml is the policy that the verdicts rest on, as it was.
{PLOTS if has_plots else ""}CAUTIONS.txt Read this before you show a figure to anybody, and print it beside the figures.
checks.html  The checks that this release passed, to read or print; checks.json is the same for machines.
manifest.json and datapackage.json: the SHA-256 of every file in and out; the meaning, type and unit of every column.
Ids in words: evidence/names (components such as K, claims, groups of people), evidence/recipes, evidence/variants; base is the recipe as written.
The component NA is sodium, not "no answer": when you read a CSV, tell your program not to take NA for an empty cell.
Every table is there as .csv and, with the same values, as .parquet. ../latest names the newest release.
"""
