"""`potash verify` agrees with an untouched release, and names the place of any changed digit."""

from __future__ import annotations

import ast
import json
import math
import random
import shutil
import sys
from pathlib import Path

import pyarrow.parquet as pq
import pytest
import small_release
import tampering

from pipeline import units, verify_files, verify_mass
from pipeline.problems import InputError
from pipeline.root import ROOT
from pipeline.verify import verify


@pytest.fixture(scope="session")
def made(tmp_path_factory) -> Path:
    """A real release of the small collection, by the stages themselves, without Prefect."""
    return small_release.build(tmp_path_factory.mktemp("verified"), small_release.COLLECTION + small_release.VERSIONS)


@pytest.fixture
def copied(made, tmp_path) -> Path:
    """A copy of the release that a test may change."""
    return Path(shutil.copytree(made, tmp_path / "release"))


@pytest.fixture
def project(tmp_path) -> Path:
    """A copy of the files that a release is verified against."""
    for name in ("reference", "mappings"):
        shutil.copytree(ROOT / name, tmp_path / "project" / name, ignore=shutil.ignore_patterns("demo", "build"))
    return tmp_path / "project"


def key_of(table: str, row: dict[str, str]) -> str:
    return " ".join(row[column] for column in verify_files.TABLES[table][1])


def named(report, file: str, row: str) -> bool:
    """Whether a disagreement is at this row, or was recomputed from it."""
    return any((one.file == file and one.row == row) or (file in one.rests_on and row in one.rests_on) for one in report.disagreements)


# ---------------------------------------------------------------- untouched

def test_an_untouched_release_agrees_and_everything_was_recomputed(made):
    report = verify(made, ROOT)
    assert report.agrees, report.text()
    rows = json.loads((made / "manifest.json").read_text())["counts"]["rows"]
    for name in ("figures", "contributions", "inputs", "lines", "verdicts", "shares"):
        assert report.counts[name] == rows[name] > 0
    assert report.counts["masses"] == rows["weighed"] and report.counts["factors"] == rows["factors"]
    assert report.counts["source rows"] == sum(rows[name] for name in ("entries", "values", "sources", "decisions"))
    assert report.text().startswith("agrees: ")
    assert report.to_dict()["disagreements"] == []


def test_the_release_under_test_uses_every_kind_of_number(made):
    kinds = {row["kind"] for row in _rows(made, "inputs")}
    assert kinds == {"quantity", "measure", "density", "edible", "composition", "match", "retention", "yield", "routes", "finished-mass"}
    assert {row["status"] for row in _rows(made, "figures")} == {"ready", "check", "withheld"}
    measures = {row["measure_id"].partition(":")[0] if ":" in row["measure_id"] else "row" for row in _rows(made, "weighed")}
    assert measures == {"unit", "rule", "row"}
    assert any("+" in row["retention_id"] for row in _rows(made, "retentions"))
    assert any("@" in row["yield_id"] for row in _rows(made, "cooked"))


def _rows(folder: Path, table: str) -> list[dict[str, str]]:
    header, *rows = tampering.read(folder / verify_files.path_of(table))
    return [dict(zip(header, row, strict=True)) for row in rows]


# ---------------------------------------------------------------- one digit, hashes and Parquet made to fit

ARITHMETIC = [
    *[("figures", column) for column in ("value", "low", "high", "coverage", "confidence")],
    *[("evidence/contributions", column) for column in ("edible_g", "value_per_100g", "retention_fraction", "amount", "composition_input")],
    *[("evidence/inputs", column) for column in ("value", "low", "high", "standard_uncertainty", "source_row")],
    *[("evidence/weighed", column) for column in (
        "quantity", "quantity_low", "measure_value", "measure_high", "density_g_per_ml", "mass_g", "mass_low_g", "edible_fraction",
        "edible_g")],
    *[("evidence/cooked", column) for column in ("yield_fraction", "yield_high", "method_confidence", "retention_code")],
    *[("evidence/retentions", column) for column in ("retention_fraction", "retention_low", "retention_id")],
    *[("evidence/factors", column) for column in ("value", "source_row")],
    *[("evidence/values", column) for column in ("value", "n", "standard_error", "source_row")],
    *[("evidence/parsed", column) for column in ("quantity_low", "each_quantity", "parse_confidence")],
    *[("evidence/matched", column) for column in ("match_confidence", "entry_id")],
    *[("lines", column) for column in ("mass_g", "edible_g", "cooked_g", "match_confidence", "confidence", "text")],
    *[("verdicts", column) for column in ("value", "low", "high", "limit", "margin")],
    *[("versions", column) for column in ("potassium_mg", "mass_g", "line_no")], ("evidence/version_figures", "difference"),
    *[("print_changes", column) for column in ("printed_value", "high", "band_high")],
    ("evidence/candidates", "probability"), ("evidence/shares", "share"), ("evidence/recipes", "finished_mass_g"),
    ("evidence/recipes", "portions"), ("evidence/source_lines", "line_no"), ("withheld", "figures"), ("evidence/sources", "citation"),
    ("evidence/entries", "source_row"),
]


@pytest.mark.parametrize(("table", "column"), ARITHMETIC, ids=[f"{table}-{column}" for table, column in ARITHMETIC])
def test_one_changed_digit_is_found_by_arithmetic_alone(copied, table, column):
    name = table.rpartition("/")[2]
    chance = random.Random(f"{table} {column}")
    before = tampering.change_digit(copied / f"{table}.csv", column, chance)
    tampering.follow_in_parquet(copied / f"{table}.csv")
    tampering.follow_in_manifest(copied)
    report = verify(copied, ROOT)
    assert not report.agrees
    assert named(report, f"{table}.csv", key_of(name, before)), report.text()
    assert not any(one.file.endswith((".json", ".parquet")) for one in report.disagreements if one.row != "counts")


@pytest.mark.parametrize("seed", range(6))
def test_the_last_digit_of_a_figure_is_enough(copied, seed):
    path = copied / "figures.csv"
    header, *rows = tampering.read(path)
    column = header.index(("value", "low", "high")[seed % 3])
    row = random.Random(seed).choice([row for row in rows if len(row[column].replace(".", "").lstrip("0")) == 10])
    row[column] = row[column][:-1] + str((int(row[column][-1]) + 2) % 10)
    tampering.write(path, [header, *rows])
    tampering.follow_in_parquet(path)
    tampering.follow_in_manifest(copied)
    report = verify(copied, ROOT)
    assert [(one.file, one.row, one.column) for one in report.disagreements] == [("figures.csv", row[0], header[column])]


def test_a_changed_word_is_found(copied):
    changes = (("figures", "status", "check", "ready"), ("verdicts", "verdict", "fails", "holds"),
               ("verdicts", "status", "check", "ready"), ("versions", "changed", "amount", "food"),
               ("print_changes", "harm", "understated", "not-confirmed"), ("evidence/version_figures", "beyond_intervals", "true", "false"))
    for table, column, old, new in changes:
        path = copied / f"{table}.csv"
        header, *rows = tampering.read(path)
        row = next(row for row in rows if row[header.index(column)] == old)
        row[header.index(column)] = new
        tampering.write(path, [header, *rows])
        tampering.follow_in_parquet(path)
    tampering.follow_in_manifest(copied)
    found = {(one.file, one.column) for one in verify(copied, ROOT).disagreements}
    assert {(f"{table}.csv", column) for table, column, *_ in changes} <= found


def test_a_difference_and_a_change_in_print_that_are_left_out_are_found(copied):
    for table in ("versions", "print_changes"):
        header, *rows = tampering.read(copied / f"{table}.csv")
        tampering.write(copied / f"{table}.csv", [header, *rows[:-1]])
        tampering.follow_in_parquet(copied / f"{table}.csv")
    tampering.follow_in_manifest(copied)
    assert {"versions.csv", "print_changes.csv"} <= {one.file for one in verify(copied, ROOT).disagreements if one.cause != "files"}


def test_a_figure_that_should_be_withheld_is_found(copied):
    path = copied / "figures.csv"
    header, *rows = tampering.read(path)
    row = next(row for row in rows if row[0] == "unsettled-dish/base/K/portion")
    row[header.index("value")], row[header.index("status")], row[header.index("reason")] = "120", "ready", ""
    tampering.write(path, [header, *rows])
    tampering.follow_in_parquet(path)
    tampering.follow_in_manifest(copied)
    found = {(one.row, one.column) for one in verify(copied, ROOT).disagreements if one.file == "figures.csv"}
    assert {("unsettled-dish/base/K/portion", "value"), ("unsettled-dish/base/K/portion", "status")} <= found


def test_a_row_that_is_left_out_or_added_is_found(copied):
    path = copied / "evidence" / "contributions.csv"
    header, *rows = tampering.read(path)
    gone = rows.pop(7)
    tampering.write(path, [header, *rows])
    tampering.follow_in_parquet(path)
    tampering.follow_in_manifest(copied)
    key = " ".join(gone[header.index(column)] for column in ("line_id", "component", "unit"))
    assert named(verify(copied, ROOT), "evidence/contributions.csv", key)


# ---------------------------------------------------------------- files

@pytest.mark.parametrize("table", ["figures", "evidence/inputs", "evidence/steps", "worklist"])
def test_a_changed_file_is_found_by_its_hash(copied, table):
    column = {"evidence/steps": "step_no", "worklist": "rank", "figures": "value", "evidence/inputs": "value"}[table]
    tampering.change_digit(copied / f"{table}.csv", column, random.Random(table))
    report = verify(copied, ROOT)
    assert report.disagreements[0].cause == "files"
    assert any(one.row == f"{table}.csv" and one.column == "sha256" for one in report.disagreements)


def test_a_csv_that_its_parquet_does_not_follow_is_found(copied):
    before = tampering.change_digit(copied / "evidence" / "steps.csv", "step_no", random.Random(2))
    tampering.follow_in_manifest(copied)
    found = [one for one in verify(copied, ROOT).disagreements if one.file == "evidence/steps.parquet"]
    assert [(one.column, one.written) for one in found] == [("step_no", before["step_no"])]


def test_a_changed_parquet_file_is_found(copied):
    path = copied / "figures.parquet"
    table = pq.read_table(path)
    at = table.column_names.index("value")
    values = table.column("value").to_pylist()
    number = next(place for place, value in enumerate(values) if value)
    values[number] *= 1 + 1e-9
    pq.write_table(table.set_column(at, "value", [values]), path)
    tampering.follow_in_manifest(copied)
    found = verify(copied, ROOT).disagreements
    assert [(one.file, one.row, one.column) for one in found] == [
        ("figures.parquet", table.column("figure_id")[number].as_py(), "value")]


@pytest.mark.parametrize("damage", [lambda content: content[:-9], lambda content: content[:100] + b"?" + content[101:]])
def test_a_damaged_parquet_file_is_found(copied, damage):
    path = copied / "evidence" / "weighed.parquet"
    path.write_bytes(damage(path.read_bytes()))
    assert any(one.row == "evidence/weighed.parquet" for one in verify(copied, ROOT).disagreements)


def test_a_changed_hash_a_missing_and_an_added_file_are_found(copied):
    manifest = json.loads((copied / "manifest.json").read_text())
    manifest["outputs"][0]["sha256"] = tampering.other_digit(manifest["outputs"][0]["sha256"], random.Random(3))
    (copied / "manifest.json").write_text(json.dumps(manifest))
    (copied / "README.txt").unlink()
    (copied / "evidence" / "more.txt").write_text("more")
    found = {(one.file, one.row) for one in verify(copied, ROOT).disagreements}
    assert found == {("manifest.json", manifest["outputs"][0]["path"]), ("README.txt", ""), ("evidence/more.txt", "")}


def test_a_changed_package_description_is_found(copied):
    path = copied / "datapackage.json"
    package = json.loads(path.read_text(encoding="utf-8"))
    resource = package["resources"][3]
    resource["hash"] = "sha256:" + tampering.other_digit(resource["hash"][7:], random.Random(8))
    path.write_text(json.dumps(package), encoding="utf-8")
    found = {(one.file, one.row, one.column) for one in verify(copied, ROOT).disagreements}
    assert found >= {("datapackage.json", resource["path"], "hash"), ("manifest.json", "datapackage.json", "sha256")}


def test_a_missing_table_is_found_and_nothing_is_guessed(copied):
    (copied / "evidence" / "weighed.csv").unlink()
    report = verify(copied, ROOT)
    assert any(one.file == "evidence/weighed.csv" for one in report.disagreements)
    assert any("nothing was recomputed" in note for note in report.notes)


# ---------------------------------------------------------------- the project's own files

REFERENCE = [
    ("reference/composition/core/values.csv", "value", lambda row: row["entry_id"] == "11124" and row["component"] == "K", "11124 K mg"),
    ("reference/energy_factors.csv", "kj_per_g", lambda row: row["component"] == "FAT", "energy_factors FAT kj_per_g"),
    ("reference/rules.csv", "value", lambda row: row["rule_id"] == "coverage_withheld_below", "rules coverage_withheld_below value"),
    ("reference/sources.csv", "citation", lambda row: row["source_id"] == "usda-sr26", "usda-sr26"),
]


@pytest.mark.parametrize(("path", "column", "wanted", "row"), REFERENCE, ids=[one[0] for one in REFERENCE])
def test_a_source_row_that_was_used_and_changed_is_named(made, project, path, column, wanted, row):
    tampering.change_digit(project / path, column, random.Random(path), wanted)
    report = verify(made, project)
    first = report.disagreements[0]
    assert (first.cause, first.row) == ("source rows", row) and first.rests_on.startswith(path)
    assert any(path in note for note in report.notes)


def test_a_limit_that_changed_is_named(made, project):
    path = project / "reference" / "limits" / "tern-bay-demo.toml"
    text = path.read_text(encoding="utf-8")
    at = text.index("limit = ", text.index('claim = "low-potassium"'))
    path.write_text(text[:at] + text[at:].replace("limit = ", "limit = 1", 1), encoding="utf-8")
    found = verify(made, project).disagreements
    assert {one.cause for one in found} == {"verdicts"} and any(one.column == "limit" for one in found)


def test_a_source_row_that_was_not_used_may_change(made, project):
    used = {row["entry_id"] for row in _rows(made, "values")}
    tampering.change_digit(project / "reference/composition/core/values.csv", "value", random.Random(5), lambda row: row["entry_id"] not in used)
    report = verify(made, project)
    assert report.agrees and "reference/composition/core/values.csv" in report.notes[0]


@pytest.mark.parametrize(("path", "old", "new"), [
    ("mappings/cooking_verbs.csv", "boil,", "bake,"), ("mappings/words.csv", "courgette,", "cucumber,"),
    ("reference/retention_rules.csv", ",105,", ",106,")])
def test_a_file_that_lines_were_read_with_may_not_change(made, project, path, old, new):
    file = project / path
    text = file.read_text(encoding="utf-8")
    assert old in text
    file.write_text(text.replace(old, new, 1), encoding="utf-8")
    found = verify(made, project).disagreements
    assert [(one.cause, one.file) for one in found] == [("files", path)]


def test_a_damaged_component_list_is_a_difference_not_a_crash(made, project):
    file = project / "reference" / "components.csv"
    file.write_text(file.read_text(encoding="utf-8").replace("WATER,", "WATER ,", 1), encoding="utf-8")
    assert not verify(made, project).agrees


def test_a_reference_file_that_is_gone_says_what_to_do(made, project):
    (project / "reference" / "yields.csv").unlink()
    with pytest.raises(InputError, match=r"yields\.csv.*Restore it"):
        verify(made, project)


# ---------------------------------------------------------------- the report, and what is no release

def test_causes_come_first_and_no_more_than_forty_are_printed(copied):
    for table, column in (("figures", "value"), ("evidence/parsed", "quantity_low"), ("evidence/factors", "value")):
        wanted = (lambda row: row["line_id"] == "pier-beans/base/2") if column == "quantity_low" else (lambda row: True)
        tampering.change_digit(copied / f"{table}.csv", column, random.Random(4), wanted)
        tampering.follow_in_parquet(copied / f"{table}.csv")
    report = verify(copied, ROOT)
    text = report.text().splitlines()
    assert text[0].startswith("differs: ") and f"in {len(report.disagreements)} places" in text[0]
    headings = [line.split(" (")[0] for line in text if line.endswith("):")]
    assert headings[:3] == ["files", "source rows", "masses"]
    assert sum(line.startswith("  ") for line in text) == 40 < len(report.disagreements)
    assert json.loads(json.dumps(report.to_dict()))["agrees"] is False


def test_a_folder_that_is_no_release_says_so(tmp_path):
    with pytest.raises(InputError, match="is not a release"):
        verify(tmp_path, ROOT)


@pytest.mark.parametrize(("damage", "said"), [
    (lambda text: text.replace('"outputs"', '"outsets"'), "manifest"), (lambda text: text[:50], "manifest")])
def test_an_unreadable_manifest_says_so(copied, damage, said):
    path = copied / "manifest.json"
    path.write_text(damage(path.read_text()))
    with pytest.raises(InputError, match=said):
        verify(copied, ROOT)


@pytest.mark.parametrize(("content", "said"), [
    (b"\xff\xfe\x00", "cannot be read as a table"), (b"figure_id,value\na,b\n", "has no column"), (b"a,b\n1\n", "cannot be read as a table")])
def test_an_unreadable_table_names_the_file(copied, content, said):
    (copied / "figures.csv").write_bytes(content)
    with pytest.raises(InputError, match=rf"figures\.csv.*{said}"):
        verify(copied, ROOT)


def test_a_cell_that_is_no_number_names_file_and_line(copied):
    header, first, *rows = tampering.read(copied / "evidence" / "weighed.csv")
    first[header.index("mass_g")] = "l2O"
    tampering.write(copied / "evidence" / "weighed.csv", [header, first, *rows])
    with pytest.raises(InputError, match=r"weighed\.csv:2.*mass_g is 'l2O'"):
        verify(copied, ROOT)


# ---------------------------------------------------------------- independence

def test_the_second_implementation_shares_no_arithmetic():
    allowed = {"pyarrow", "pipeline.problems", *sys.stdlib_module_names}
    for path in sorted((ROOT / "pipeline").glob("verify*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            modules = [one.name for one in node.names] if isinstance(node, ast.Import) else []
            if isinstance(node, ast.ImportFrom):
                modules = [f"pipeline.{one.name}" for one in node.names] if node.module == "pipeline" else [node.module]
            for module in modules:
                own = module.startswith("pipeline.verify")
                assert own or module in allowed or module.split(".")[0] in allowed - {"pipeline"}, f"{path.name} imports {module}"


def test_units_are_those_of_the_registry():
    """pint's own definitions (SI, avoirdupois, imperial and US customary) as the outside check."""
    registry = units.registry()
    for sizes, unit in ((verify_mass.GRAMS, "gram"), (verify_mass.MILLILITRES, "milliliter")):
        for name, size in sizes.items():
            assert float(size) == pytest.approx(registry.Quantity(1, name).to(unit).magnitude, rel=1e-12), name


@pytest.mark.parametrize("relative", [0.01, 0.2, 0.8])
def test_the_interval_is_that_of_a_lognormal_distribution(relative):
    """Mean and standard deviation of the lognormal, Johnson, Kotz and Balakrishnan 1994, chapter 14 (from memory)."""
    low, high = verify_mass.interval(200.0, 200.0 * relative)
    middle, width = (math.log(low) + math.log(high)) / 2, (math.log(high) - math.log(low)) / (2 * 1.6448536269514722)
    mean = math.exp(middle + width**2 / 2)
    assert mean == pytest.approx(200.0)
    assert math.sqrt(math.expm1(width**2)) * mean == pytest.approx(200.0 * relative)
