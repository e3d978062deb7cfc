"""The commands on composition tables: what they print and what they return."""

from __future__ import annotations

import json

import openpyxl
import pytest
from click.testing import CliRunner

import sr_release
from pipeline.cli_tables import tables
from pipeline.composition import store
from pipeline.problems import InputError


@pytest.fixture
def call(tmp_path, monkeypatch):
    """Calls the group with a store of its own; gives (exit value, output)."""
    monkeypatch.setattr(store, "ROOT", tmp_path)

    def run(*arguments: str):
        done = CliRunner().invoke(tables, list(arguments), standalone_mode=False, catch_exceptions=False)
        if done.exception:
            raise done.exception
        return done.return_value, done.output

    return run


@pytest.fixture
def release(tmp_path):
    return str(sr_release.write(tmp_path / "release"))


def test_import_says_what_was_read_and_the_second_time_that_nothing_was_done(call, release):
    value, output = call("import", "usda-sr-ascii", release, "--name", "leeks", "--source", "usda-sr26")
    assert value == 0 and output.splitlines()[0] == (
        "leeks: imported (3 foods, 11 values, 6 weights, 2 footnotes, 1 data_sources, 1 data_source_links)")
    value, output = call("import", "usda-sr-ascii", release, "--name", "leeks", "--source", "usda-sr26")
    assert value == 0 and "nothing was done" in output


def test_import_says_what_a_run_still_needs(call, release):
    _, output = call("import", "usda-sr-ascii", release, "--name", "leeks")
    assert "note: a run needs the source of this table: add leeks to reference/sources.csv" in output


def test_a_faulty_import_is_an_input_error(call, release):
    with pytest.raises(InputError, match="is not known"):
        call("import", "no-format", release, "--name", "leeks")


def test_list_names_curated_and_imported_tables(call, release):
    call("import", "usda-sr-ascii", release, "--name", "leeks", "--source", "usda-sr26")
    value, output = call("list")
    lines = output.splitlines()
    assert value == 0 and lines[0].startswith("core (curated): ") and lines[1] == "leeks (imported): 3 entries, 11 values, 31 components, 6 measures"


def test_list_as_json(call, release):
    call("import", "usda-sr-ascii", release, "--name", "leeks", "--source", "usda-sr26")
    core, leeks = json.loads(call("list", "--json")[1])
    assert core["kind"] == "curated" and core["entries"] > 300
    assert leeks["format"] == "usda-sr-ascii" and leeks["published"]["weights"] == 6 and len(leeks["source"]["sha256"]) == 64
    assert leeks["missing"] == 3 * 29 - 8


def test_a_workbook_with_tagnames(call, tmp_path):
    """The layout of FAO/INFOODS workbooks (from memory); the food is invented."""
    book = openpyxl.Workbook()
    for row in (["Food code", "Food name in English", "Potassium", "Iron", "Water"], [None, None, "K(mg)", "FE(mg)", "WATER(g)"],
                ["01_001", "Fonio, raw", 140, "tr", 10.1]):
        book.active.append(row)
    book.save(tmp_path / "table.xlsx")
    value, output = call("import", "infoods-workbook", str(tmp_path / "table.xlsx"), "--name", "fonio")
    assert value == 0 and output.startswith("fonio: imported")
    values = store.load("fonio").values.set_index("component")
    assert values.at["K", "value"] == 140 and values.at["FE", "value_type"] == "trace"
    assert "nothing was done" in call("import", "infoods-workbook", str(tmp_path / "table.xlsx"), "--name", "fonio")[1]


def test_a_spreadsheet_needs_a_profile(call, tmp_path):
    (tmp_path / "table.csv").write_text("code,name\n")
    with pytest.raises(InputError, match="--profile: is needed by the format spreadsheet"):
        call("import", "spreadsheet", str(tmp_path / "table.csv"), "--name", "own")
    with pytest.raises(InputError, match="no-such-profile"):
        call("import", "spreadsheet", str(tmp_path / "table.csv"), "--name", "own", "--profile", "no-such-profile")


def test_formats(call):
    _, output = call("formats")
    assert "usda-sr-ascii: " in output and "usda-fdc-csv: " in output
    assert "Ready profiles: french-table, infoods, uk-integrated." in output and "reference/profiles/" in output
    assert {row["format"] for row in json.loads(call("formats", "--json")[1])} >= {"usda-sr-ascii", "usda-fdc-csv", "spreadsheet"}
