"""The evidence of a release against the project: every row it used, as it stands now.

A file that changed in rows which the release does not use is a note; a row that was used
and differs is a disagreement.
"""

from __future__ import annotations

import csv
import hashlib
from pathlib import Path

from pipeline.problems import InputError, Problem
from pipeline.verify_files import Rows, number, path_of, place
from pipeline.verify_report import Ledger, is_written
from pipeline.verify_tables import Tables, rows_of

CAUSE = "source rows"
# reference file -> the columns that name its rows in evidence/factors.csv, joined by "/"
# Files of which every row that a release used is compared, or whatever follows from it computed again.
ROW_BY_ROW = {
    *(f"reference/{name}.csv" for name in (
        "amount_rules", "amount_spread", "claims", "components", "composition_spread", "densities", "edible_portions", "energy_factors",
        "measures", "nutrient_reference_values", "retention", "rules", "sources", "wide_floors", "yields")),
    *(f"reference/{name}.csv" for name in ("additives", "allergens", "diets", "phosphorus_kinds", "rounding")),
    "mappings/foods.csv", "mappings/methods.csv", "mappings/same_foods.csv",
}
KEYS = {
    "measures": ("measure_id",), "densities": ("density_id",), "edible_portions": ("edible_id",), "yields": ("yield_id",),
    "retention": ("retention_code", "component"), "energy_factors": ("component",), "rules": ("rule_id",),
    "amount_spread": ("spread_id",), "amount_rules": ("rule_id",), "composition_spread": ("component", "food_group", "cooking_class"),
    "components": ("component", "unit"), "sources": ("source_id",), "nutrient_reference_values": ("component",),
}
TABLE_CHECKS = "reference/table_checks.csv"  # what the check of a table found with it is not found again here
POLICY_COPY = "evidence/policy.toml"
DECISION_FILES = ("foods", "methods", "same_foods")


class Project:
    """``reference/``, ``mappings/`` and the composition tables as rows of text, read when asked for.
    ``table`` names the composition table, or several with commas between them; ``release`` is the folder that is verified."""

    def __init__(self, root: Path, table: str, release: Path | None = None):
        self.root, self.table, self._release = root, table, release
        self._read: dict[str, Rows] = {}
        self._lists: dict[str, list[dict[str, str]]] = {}
        self._tables: Tables | None = None
        self._measured = False

    def reference(self, name: str) -> Rows:
        """A reference file by row id; the measures with those of imported tables."""
        rows = self._rows(f"reference/{name}.csv", KEYS[name])
        if name == "measures" and not self._measured:
            self._measured = True
            for row in self.tables.measures():
                invented = row["note"].endswith("interval by common practice")  # the publisher gives the weight, and nobody its interval
                rows.setdefault(row["measure_id"], {**row, "spread_source_id": "common-practice" if invented else row["source_id"]})
        return rows

    def policy(self, path: str) -> Path:
        """The policy of the release: in the project or, where a unit keeps its own elsewhere, the copy in the release."""
        own = self.root / path
        return own if own.is_file() or self._release is None else self._release / POLICY_COPY

    @property
    def tables(self) -> Tables:
        """The composition tables of the release."""
        if self._tables is None:
            names = self.table.split(",")
            same = self.listed("mappings/same_foods.csv") if len(names) > 1 else []
            self._tables = Tables(self.root, names, same, {row["component"] for row in self.listed("reference/components.csv")})
        return self._tables

    def decisions(self, name: str) -> Rows:
        """``foods``, ``methods`` or ``same_foods`` of the mappings."""
        return self._rows(f"mappings/{name}.csv", ("decision_id",))

    def factor(self, file: str, row_id: str, column: str) -> float:
        """A number of a reference file; KeyError when the row is not there."""
        return number(self.reference(file)[row_id][column])

    def listed(self, path: str) -> list[dict[str, str]]:
        """The rows of a file in their order; InputError when it cannot be read."""
        if path not in self._lists:
            try:
                with open(self.root / path, encoding="utf-8", newline="") as file:
                    self._lists[path] = list(rows_of(file))
            except (OSError, UnicodeDecodeError, csv.Error) as error:
                raise _unreadable(self.root / path, error) from None
        return self._lists[path]

    def _rows(self, path: str, key: tuple[str, ...], joint: str = "/") -> Rows:
        if path not in self._read:
            try:
                self._read[path] = {joint.join(row[part] for part in key): row for row in self.listed(path)}
            except (KeyError, TypeError) as error:
                raise _unreadable(self.root / path, error) from None
        return self._read[path]


def _unreadable(path: Path, error: Exception) -> InputError:
    return InputError(Problem(str(path), f"cannot be read ({type(error).__name__}: {error})",
                              "Restore it from version control: a release is verified against it", "missing-file", stage="verify"))


def compare_inputs(manifest: dict, project: Project, ledger: Ledger) -> None:
    """The input files that are in the project: gone is a disagreement, and so is changed, unless
    the rows that the release used are compared next, or what follows from them is recomputed."""
    changed, elsewhere = [], 0
    demo = _demo_files(manifest, project)
    for row in manifest["inputs"]:
        if row["role"] == "collection" and not _is_the_file(demo.get(row["path"]), row["sha256"]):
            elsewhere += 1
            continue
        path = project.policy(row["path"]) if row["role"] == "policy" else demo.get(row["path"], project.root / row["path"])
        if not path.is_file():
            ledger.differs("files", row["path"], "", "", "in the manifest", "not in the project", "the project")
        elif not _is_the_file(path, row["sha256"]):
            if row["path"] in ROW_BY_ROW or (row["role"] in ("composition table", "policy") and row["path"] != TABLE_CHECKS):
                changed.append(row["path"])
            else:
                ledger.differs("files", row["path"], "", "SHA-256", row["sha256"], hashlib.sha256(path.read_bytes()).hexdigest(),
                               "the project; what was read with it is not recomputed, so make the release again")
        ledger.counts["files"] += 1
    if changed:
        ledger.notes.append(f"changed in the project since this release: {', '.join(changed)}; the rows that this release "
                            "used were compared or recomputed one by one, other rows do not touch it")
    if elsewhere:
        ledger.notes.append(f"{elsewhere} collection files are not compared (they lie elsewhere, or were edited since or are an edited copy of the demo): "
                            "evidence/source_lines.csv and evidence/steps.csv stand for them")


def _demo_files(manifest: dict, project: Project) -> dict[str, Path]:
    """Where the collection's files lie, when the collection is the one in the project."""
    names = [row["path"] for row in manifest["inputs"] if row["role"] == "collection"]
    found = {name: project.root / "reference" / "demo" / name.removeprefix("collection/") for name in names}
    return found if all(path.is_file() for path in found.values()) else {}


def _is_the_file(path: Path | None, digest: str) -> bool:
    """Whether this is the very file of the release: one of the same name may be the original of an edited copy."""
    return path is not None and hashlib.sha256(path.read_bytes()).hexdigest() == digest


def compare_rows(tables: dict[str, Rows], project: Project, ledger: Ledger) -> None:
    """Factors, composition values, decisions and sources of the evidence, row by row."""
    _factors(tables["factors"], project, ledger)
    _composition(tables, project.tables, ledger)
    _whole(tables["sources"], "sources", project.reference("sources"), "reference/sources.csv", ledger)
    _decisions(tables["decisions"], project, ledger)
    _cited(tables, ledger)


def _composition(tables: dict[str, Rows], own: Tables, ledger: Ledger) -> None:
    """Entries, values and disagreements, and the table that each line names."""
    used = set(tables["entries"])
    own.load_values(used)
    entries = {key: own.entry(key) for key in used}
    _whole(tables["entries"], "entries", {key: row for key, row in entries.items() if row}, _paths(own, "entries"), ledger)
    values = {key: own.value(row["entry_id"], row["component"], row["unit"]) for key, row in tables["values"].items()}
    _whole(tables["values"], "values", {key: row for key, row in values.items() if row}, _paths(own, "values"), ledger)
    if len(own.names) > 1:
        expected = own.disagreements(used)
        ledger.keys(CAUSE, path_of("disagreements"), tables["disagreements"], expected, _paths(own, "values"))
        there = {key: row for key, row in tables["disagreements"].items() if key in expected}
        _whole(there, "disagreements", expected, _paths(own, "values"), ledger)
    for name in ("lines", "matched"):
        for key, row in tables[name].items():
            if row["entry_id"]:
                ledger.same(place("lines", name, key), "table", row["table"], own.table_of(row["entry_id"]), _paths(own, "entries"))


def _paths(own: Tables, file: str) -> str:
    return " and ".join(own.path(name, file) for name in own.names)


def _factors(factors: Rows, project: Project, ledger: Ledger) -> None:
    for key, row in factors.items():
        ledger.counts["factors"] += 1
        file, row_id, column = row["file"], row["row_id"], row["column"]
        where, origin = (CAUSE, path_of("factors"), key), f"reference/{file}.csv {row_id}"
        now = project.reference(file).get(row_id) if file in KEYS else None
        if now is None or column not in now:
            ledger.differs(*where, "", "a row", "no row", origin)
            continue
        if now[column] == "" or float(now[column]) != float(row["value"] or "nan"):
            ledger.differs(*where, "value", row["value"], now[column], origin)
        ledger.same(where, "source_id", row["source_id"], now["source_id"], origin)
        ledger.same(where, "source_row", row["source_row"], now.get("source_row", row_id), origin)


def _whole(rows: Rows, table: str, now: Rows, path: str, ledger: Ledger) -> None:
    for key, row in rows.items():
        ledger.counts["source rows"] += 1
        where = (CAUSE, path_of(table), key)
        if key not in now:
            ledger.differs(*where, "", "a row", "no row", path)
            continue
        for column, written in row.items():
            stands = now[key].get(column, "")
            if written != stands and not _same_number(written, stands):
                ledger.differs(*where, column, written, stands, path)


def _same_number(written: str, stands: str) -> bool:
    try:
        return bool(written) and bool(stands) and _plain(written) and _plain(stands) and is_written(written, float(stands))
    except ValueError:
        return False


def _plain(text: str) -> bool:
    """Whether a cell is a number and not a name of digits: "00123" is an id."""
    return not (text.startswith("0") and len(text) > 1 and text[1].isdigit())


def _decisions(rows: Rows, project: Project, ledger: Ledger) -> None:
    for key, row in rows.items():
        ledger.counts["source rows"] += 1
        where, origin = (CAUSE, path_of("decisions"), key), f"mappings/{row['file']}.csv"
        now = project.decisions(row["file"]).get(key) if row["file"] in DECISION_FILES else None
        if now is None:
            ledger.differs(*where, "", "a row", "no row", origin)
            continue
        if row["file"] == "foods":
            what = f"{now['phrase']} -> {now['entry_id']} {now['entry_name']}"
        elif row["file"] == "methods":
            what = f"{now['line_text']} -> {now['method']} {now['liquid']}"
        else:
            what = " = ".join(f"{now[f'table_{side}']} {now[f'entry_{side}']} {now[f'name_{side}']}" for side in "ab")
        ledger.same(where, "what", row["what"], what, origin)
        for column in ("decided_by", "decided_on", "reason"):
            ledger.same(where, column, row[column], now["why" if (column, row["file"]) == ("reason", "same_foods") else column], origin)


def _cited(tables: dict[str, Rows], ledger: Ledger) -> None:
    """A source that is cited is listed; an id that a line rests on has its decision."""
    for table in ("factors", "values", "inputs", "verdicts", "disagreements", "additives", "phosphorus_kinds"):
        for key, row in tables.get(table, {}).items():
            if row["source_id"] not in tables["sources"]:
                ledger.differs(CAUSE, path_of(table), key, "source_id", row["source_id"], "a source of the release", path_of("sources"))
    for table in ("matched", "cooked", "disagreements"):
        for key, row in tables.get(table, {}).items():
            if any(one not in tables["decisions"] for one in row["decision_id"].split("; ") if one):
                ledger.differs(CAUSE, path_of(table), key, "decision_id", row["decision_id"], "a decision of the release", path_of("decisions"))
