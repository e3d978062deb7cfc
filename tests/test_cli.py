"""The console command as a person meets it: what it prints where, its exit codes, and that runs repeat to the byte."""

from __future__ import annotations

import json
import os
import pty
import re
import shutil
import subprocess
from pathlib import Path

import pytest
from command_line import Project, contents, release_of

# What libraries are known to say unasked.
NOISE = re.compile(r"prefect|great.?expectations|pint|pandera|warning|deprecat|redefining|traceback|http://|uvicorn|telemetry", re.I)
STAGES = ["read", "match", "weigh", "cook", "total", "judge", "audit", "restore", "release"]


@pytest.fixture(scope="module")
def project(tmp_path_factory) -> Project:
    return Project(tmp_path_factory.mktemp("cli"))


@pytest.fixture(scope="module")
def first(project) -> tuple[int, str, str]:
    """The demo, from a fresh project, on a terminal: exit code, what went to stdout, what the terminal showed."""
    main, side = pty.openpty()
    process = project.start("run", cwd=project.root, stderr=side)
    os.close(side)
    shown = b""
    while True:
        try:
            piece = os.read(main, 65536)
        except OSError:  # Linux says so when the other side is closed
            break
        if not piece:
            break
        shown += piece
    os.close(main)
    out, _ = process.communicate(timeout=60)
    return process.returncode, out, shown.decode()


@pytest.fixture(scope="module")
def second(project, first):
    """The demo again, in a pipe, from kept results, to another folder."""
    return project.run("run", "--output", project.root / "again", cwd=project.root)


def test_on_a_terminal_a_bar_that_goes_away(first):
    code, out, shown = first
    assert code == 1, shown
    assert "\x1b[" in shown and "17/17" in shown and any(stage in shown for stage in STAGES)
    assert "potash: " not in shown and not NOISE.search(shown)
    assert "\x1b" not in out


def test_the_summary_is_there_to_act_on(first):
    out = first[1]
    rows = out.splitlines()
    assert rows[0].startswith("Tern Bay renal unit recipe club: ") and rows[-1].startswith("Figures are for the renal dietitian")
    for words in (" ready ", " to check ", " withheld", " settled ", "Settle these lines first", "In print and no longer right",
                  "; today ", "print_changes.csv", "Release (written): ", "CAUTIONS.txt", "swaps.csv", "protein_additions.csv", "0 of 16 stage results"):
        assert words in out, words
    assert not NOISE.search(re.sub(r"problems\.csv +\d+ warnings?", "", out))
    assert not re.search(r"no-candidate|not-assessable|NaN|nan\b", out)


def test_a_run_from_kept_results_is_the_same_to_the_byte(project, first, second):
    assert second.code == 1
    assert second.err.splitlines() == [f"potash: {stage} (kept from an earlier run)" for stage in STAGES[:-1]] + ["potash: release"]
    assert "16 of 16 stage results were kept" in second.out
    one, other = contents(release_of(project.root / "output")), contents(release_of(project.root / "again"))
    assert one.keys() == other.keys()
    assert [path for path in one if one[path] != other[path]] == []


def test_a_run_in_another_fresh_copy_is_the_same_to_the_byte(project, first, demo_run):
    complained = (demo_run / "complained.txt").read_text(encoding="utf-8")
    assert complained and "(kept" not in complained and not NOISE.search(complained)
    one, two = contents(release_of(project.root / "output")), contents(release_of(demo_run / "project" / "output"))
    assert one.keys() == two.keys()
    assert [path for path in one if one[path] != two[path]] == []


def test_one_changed_recipe_redoes_only_its_own_partition(project, first, tmp_path):
    changed = tmp_path / "demo"
    shutil.copytree(project.root / "reference" / "demo", changed)
    recipe = changed / "twice-boiled-mash.yaml"
    recipe.write_text(re.sub(r"^portions: .*$", "portions: 5", recipe.read_text(encoding="utf-8"), flags=re.M), encoding="utf-8")
    done = project.run("run", changed, "--output", "out", "--json", cwd=tmp_path)
    told = json.loads(done.out)
    assert done.code == 1 and told["exit_code"] == 1 and not NOISE.search(done.err)
    # Eight stages in two partitions: at most those of the changed one are done again; its words, and so its
    # reading and matching, may still be the same.
    assert 8 <= told["kept_results"] < told["stage_results"] == 16
    assert "potash: total (1 of 2 kept)" in done.err.splitlines()
    assert Path(told["release"]).name != release_of(project.root / "output").name
    assert set(told["figures"]) == {"ready", "check", "withheld"} and told["settle_first"] and told["in_print"]["worst"]


def test_wrong_calls_say_what_to_do(project, first, tmp_path):
    (tmp_path / "words.csv").write_text("words\n1 onion\n")
    (tmp_path / "latin.csv").write_bytes("text\n½ onion\n".encode("latin-1"))
    (tmp_path / "blank.csv").write_text("")
    (tmp_path / "header.csv").write_text("text\n")
    (tmp_path / "ragged.csv").write_text("text\n1 onion, chopped\n")
    (tmp_path / "later.csv").write_text("text\n1 onion\n2 carrots, diced, fine\n")
    (tmp_path / "fine.csv").write_text('text\n"1 onion, chopped"\n')
    releases = project.root / "output"
    expected = {
        ("run", "--nosuch"): "No such option", ("nosuch",): "No such command", ("trace",): "Missing argument",
        ("match", "fine.csv"): "Missing option '-o'",
        ("match", "fine.csv", "-o", "o.csv", "--top", "9"): "--top",
        ("trace", "a", "b", "c"): "name one figure id, or a recipe and a component",
        ("trace", "twice-boiled-mash/base/KK/portion", "--output", releases): "Nearest: twice-boiled-mash/base/K/portion",
        ("trace", "twice-boiled-mesh", "K", "--output", releases): "Nearest: twice-boiled-mash/base/K/portion",
        ("trace", "zzz", "--output", releases): "figures.csv lists the ids",
        ("trace", "a", "K", "--output", "nowhere"): "Run `potash run` first",
        ("trace", "a", "K", "--release", "nosuch", "--output", releases): "is not a release",
        ("parse", "nowhere.csv", "-o", "o.csv"): "nowhere.csv: is not there",
        ("parse", "words.csv", "-o", "o.csv"): "words.csv, line 1: has no column text",
        ("parse", "latin.csv", "-o", "o.csv"): "latin.csv, line 2: byte 0xbd is not UTF-8 text",
        ("parse", "blank.csv", "-o", "o.csv"): "blank.csv: is empty",
        ("parse", "header.csv", "-o", "o.csv"): "header.csv: holds no line",
        ("parse", "ragged.csv", "-o", "o.csv"): "ragged.csv, line 2: has more columns",
        ("match", "later.csv", "-o", "o.csv"): "later.csv, line 3: has more columns",
        ("parse", ".", "-o", "o.csv"): "cannot be read (Is a directory)",
        ("parse", "fine.csv", "-o", "nowhere/o.csv"): "nowhere/o.csv: cannot be written",
        ("parse", "fine.csv", "-o", "."): "cannot be written",
        ("match", "fine.csv", "-o", "o.csv", "--table", "nosuch"): "Choose one of: core",
    }
    full = Path("/dev/full").is_char_device()  # not on every system
    if full:
        expected[("parse", "fine.csv", "-o", "/dev/full")] = "No space left on device"
    for call, result in zip(expected, project.batch([list(call) for call in expected], tmp_path), strict=True):
        assert result.code == 2 and result.out == "", call
        assert expected[call] in result.err and "Traceback" not in result.err, (call, result.err)
    assert {path.name for path in tmp_path.iterdir()} == {
        "words.csv", "latin.csv", "blank.csv", "header.csv", "ragged.csv", "later.csv", "fine.csv"}
    assert Path("/dev/full").is_char_device() == full  # no file was put in its place


def test_parse_and_match_write_one_row_per_line(project, tmp_path):
    (tmp_path / "in.csv").write_text('text\n"2 leeks, sliced"\n\nsome stuff of that kind\n', encoding="utf-8")
    parsed, matched = project.batch([["parse", "in.csv", "-o", "parsed.csv"], ["match", "in.csv", "-o", "matched.csv"]], tmp_path)
    assert parsed.code in (0, 1) and matched.code == 1 and parsed.err == matched.err == ""
    for name, columns in (("parsed.csv", {"text", "quantity_low", "unit", "phrase", "state"}),
                          ("matched.csv", {"text", "entry_id", "entry_name", "match_confidence", "outcome", "candidates"})):
        rows = (tmp_path / name).read_text(encoding="utf-8").splitlines()
        assert columns <= set(rows[0].split(",")) and len(rows) == 4, rows


def test_a_reader_that_leaves_early_is_no_failure(project, first):
    process = project.start("trace", "twice-boiled-mash", "K", cwd=project.root)
    process.stdout.close()
    assert process.stderr.read() == "" and process.wait(timeout=60) == 0


def test_a_defect_is_kept_for_the_report_and_not_shown(project, tmp_path):
    setting = "from pipeline.composition import importing\ndef broken():\n    raise KeyError('a name')\nimporting.listed = broken"
    result, = project.batch([["tables", "list"]], tmp_path, setting)
    assert result.code == 2 and "Traceback" not in result.err and "defect of its own (KeyError)" in result.err
    report = project.root / ".potash" / "defect.txt"
    assert str(report) in result.err and "Traceback" in report.read_text() and "a name" in report.read_text()


def test_help_names_every_command(project, tmp_path):
    shown = project.batch([["--help"], ["--version"], ["run", "-h"]], tmp_path)
    assert [result.code for result in shown] == [0, 0, 0]
    for command in ("run", "parse", "match", "decide", "tables", "trace", "verify"):
        assert f"\n  {command}" in shown[0].out
    assert "--json" in shown[2].out and "--output" in shown[2].out


def test_nothing_is_left_running(project, first, second):
    found = subprocess.run(["ps", "-eo", "args"], capture_output=True, text=True).stdout
    assert not [row for row in found.splitlines() if str(project.root) in row and "temporary_server" in row]
