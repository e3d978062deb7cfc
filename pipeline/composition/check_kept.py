"""The errors of a table's check, kept beside the table, so that a run never rests on a faulty entry unawares.

``composition/<name>.check.json`` holds the errors that no rule explains, for imported and curated
tables alike, and the doubts: warnings that the rules ``doubt`` name, such as a potassium of 0 that may
be a missing one. Its key is the content of everything that the check depends on (the table, the
thresholds, the curated core, what was decided to be the same food, the code), so an outdated file is found
out and the check is made again. An import and ``potash tables check`` write it; so does a run that finds none.

Some errors are innocent: vinegar has energy that comes from none of its proximates. The rules
``explained`` of ``reference/table_checks.csv`` name the food, the check and the largest
difference that the reason accounts for; beyond it the error stands.
"""

from __future__ import annotations

import json
import os
from dataclasses import replace
from pathlib import Path

import pandas as pd

from pipeline.composition import check, check_decided, store
from pipeline.composition.check_table import FINDING_COLUMNS, THRESHOLDS, Rules, joined, members, parts
from pipeline.composition.load import ERROR_COLUMNS, CompositionTable, curated_files, load_table
from pipeline.content import code_files, content_key
from pipeline.root import ROOT
from pipeline.sources import FILES, file_sha256, read_csv

# What a table as a whole is named by in a finding: no entry.
WHOLE_TABLE = ""


def findings(name: str, root: Path | None = None) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Everything the check finds in the table ``name``, with the table's entries and values; keeps the errors.

    Raises :class:`pipeline.problems.InputError` for a table that does not exist or cannot be read.
    """
    found, entries, values = _checked(name, root)
    _keep(name, counting(found, _rules(root)), root)
    return found, entries, values


def errors(name: str, root: Path | None = None, keep: bool = True) -> pd.DataFrame:
    """The errors and doubts of the table ``name`` that no rule explains (columns ``FINDING_COLUMNS``), as kept or else found now.

    ``keep``: whether they may be written beside the table.
    """
    path = _file(name, root)
    try:
        kept = json.loads(path.read_text(encoding="utf-8"))
        if kept["key"] == _key(name, root):
            return joined([pd.DataFrame(kept["errors"], columns=list(FINDING_COLUMNS))])
    except (OSError, ValueError, KeyError, TypeError):
        pass  # none yet, or not whole: the check is made again
    found = counting(_checked(name, root)[0], _rules(root))
    if keep:
        _keep(name, found, root)
    return found


def with_errors(loaded: list[CompositionTable], root: Path | None = None, keep: bool = True) -> list[CompositionTable]:
    """Tables with their errors (``CompositionTable.errors``), an error of the whole table at each of its entries.

    The files that the check depends on join those that the table was made from.
    """
    return [_with_errors(table, root, keep) for table in loaded]


def counting(found: pd.DataFrame, rules: Rules) -> pd.DataFrame:
    """What counts in a run: the errors and the doubts that no rule ``explained`` accounts for."""
    return unexplained(found[(found["severity"] == "error") | _doubts(found, rules)], rules)


def _doubts(found: pd.DataFrame, rules: Rules) -> pd.Series:
    """Which findings are warnings of a check and a component that a rule ``doubt`` names."""
    named = found["component"].map(lambda component: frozenset(members(component)))
    doubt = pd.Series(False, index=found.index)
    for rule in rules.of("doubt"):
        touched = frozenset(parts(rule.components))
        doubt |= found["check"].isin(parts(rule.words, ";")) & named.map(lambda names, touched=touched: bool(names & touched)).astype("bool")
    return doubt & (found["severity"] == "warning")


def unexplained(grave: pd.DataFrame, rules: Rules) -> pd.DataFrame:
    """These findings without those that a rule ``explained`` accounts for."""
    grave = grave.reset_index(drop=True)
    innocent = pd.Series(False, index=grave.index)
    beyond = (grave["value"] - grave["expected_high"]).where(grave["value"] > grave["expected_high"], grave["value"] - grave["expected_low"])
    names = grave["entry_name"].str.lower()
    for rule in rules.of("explained"):
        called = pd.Series([any(words in name for words in parts(rule.words, ";")) for name in names], index=grave.index, dtype=bool)
        innocent |= called & grave["check"].isin(parts(rule.components)) & beyond.between(rule.low, rule.high) & (grave["unit"] == rule.unit)
    return grave[~innocent].reset_index(drop=True)


def counted(errors: pd.DataFrame) -> str:
    """How many errors and doubtful values there are, in words; "" for none. Rows of ``ERROR_COLUMNS`` or ``FINDING_COLUMNS``.

    That a table was not compared as a whole is told by itself and is not counted.
    """
    grave, single = errors["severity"] == "error", errors["entry_id"] != WHOLE_TABLE
    if "whole" in errors:
        single = ~errors["whole"]
    numbers = {"error": int((grave & single).sum()) + errors.loc[grave & ~single, "what"].nunique(), "doubtful value": int((~grave & single).sum())}
    return " and ".join(f"{number:,} {noun}{'' if number == 1 else 's'}" for noun, number in numbers.items() if number)


def _rules(root: Path | None) -> Rules:
    return Rules(check.read_thresholds(_thresholds(root)))


def _thresholds(root: Path | None) -> Path:
    """The thresholds of the project folder ``root``."""
    return (root or ROOT) / THRESHOLDS


def _checked(name: str, root: Path | None) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """What the check finds, the entries and the values: of an imported table all that it has."""
    known = None if name == store.CURATED else _curated(store.CURATED, root)
    measures = None
    if name in store.names(root):
        stored = store.load(name, None, root, originals=False)
        entries, values, measures = stored.entries, stored.values, stored.measures
    else:
        entries, values = _curated(name, root)
    found = check.check(entries, values, check.read_thresholds(_thresholds(root)), measures, known, _decided(name, entries, known, root))
    return found, entries, values


def _decided(name: str, entries: pd.DataFrame, known: tuple[pd.DataFrame, pd.DataFrame] | None, root: Path | None) -> dict | None:
    return check_decided.decided(name, entries, store.CURATED, known[0], root) if known else None


def _curated(name: str, root: Path | None) -> tuple[pd.DataFrame, pd.DataFrame] | None:
    if name == store.CURATED and not curated_files(name, root):
        return None  # a project without the core has nothing to compare with
    sources = read_csv((root or ROOT) / "reference" / "sources.csv", *FILES["sources"])
    table = load_table(name, sources, root)
    return table.entries, table.values


# ---------------------------------------------------------------- the file

def _file(name: str, root: Path | None) -> Path:
    return store.folder(root) / f"{name}.check.json"


def _inputs(name: str, root: Path | None) -> dict[str, str]:
    """The SHA-256 of every file that the check of this table depends on, by path from the project."""
    home = root or ROOT
    curated = {*curated_files(name, root), *curated_files(store.CURATED, root)}
    return {file.relative_to(home).as_posix(): file_sha256(file) for file in sorted({*curated, _thresholds(root)})}


def _key(name: str, root: Path | None) -> str:
    imported = store.facts(name, root)["files"] if name in store.names(root) else {}
    code = [file.read_bytes() for file in (*code_files(check.check), Path(check_decided.__file__))]
    return content_key(_inputs(name, root), imported, code, check_decided.rows_about(name, store.CURATED, root))


def _keep(name: str, found: pd.DataFrame, root: Path | None) -> None:
    rows = found.astype(object).where(found.notna(), None).to_dict("records")
    path = _file(name, root)
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part.write_text(json.dumps({"table": name, "key": _key(name, root), "errors": rows}, indent=1, ensure_ascii=False) + "\n",
                        encoding="utf-8")
        part.replace(path)
    except OSError:
        part.unlink(missing_ok=True)  # only time is lost: whoever needs the errors makes the check again


# ---------------------------------------------------------------- as a run sees them

def _with_errors(table: CompositionTable, root: Path | None, keep: bool) -> CompositionTable:
    found = errors(table.name, root, keep)
    whole = found["entry_id"] == WHOLE_TABLE
    everywhere = found[whole].drop(columns="entry_id").merge(table.entries[["entry_id"]], how="cross").assign(whole=True)
    rows = pd.concat([everywhere, found[~whole].assign(whole=False)], ignore_index=True).assign(table=table.name, only="")
    rows = rows[rows["entry_id"].isin(table.entries["entry_id"])].astype({"whole": "bool"})
    return replace(table, errors=rows[list(ERROR_COLUMNS)].reset_index(drop=True), hashes={**table.hashes, **_inputs(table.name, root)})
