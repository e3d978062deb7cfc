"""The README and the help tell the truth: each command written there exists with its options, the ones
that read a release run on a fresh one, and what it shows of a run is what a run prints."""

import re
import shlex
import subprocess
import sys
from pathlib import Path

import click
import pandas as pd
import pytest

from pipeline.cli import commands
from pipeline.root import ROOT

README = (ROOT / "README.md").read_text(encoding="utf-8")
# Tried apart, or in need of a table that everybody downloads for themselves.
NEEDS_MORE = {"--explain", "--audit", "--evaluate", "usda-sr26"}
POTASH = Path(sys.executable).with_name("potash")


def shell_lines() -> list[str]:
    """The lines of the README's shell blocks, without comments."""
    blocks = re.findall(r"```sh\n(.*?)```", README, flags=re.DOTALL)
    lines = [line.split(" #")[0].strip() for block in blocks for line in block.splitlines()]
    return [line for line in lines if line]


def potash_lines() -> list[list[str]]:
    found = [shlex.split(line.removeprefix(".venv/bin/")) for line in shell_lines()
             if line.removeprefix(".venv/bin/").startswith("potash ")]
    assert len(found) >= 8
    return found


def test_every_command_of_the_readme_exists_with_its_options():
    for words in potash_lines():
        command, rest = commands, words[1:]
        while isinstance(command, click.Group):
            assert rest[0] in command.commands, words
            command, rest = command.commands[rest[0]], rest[1:]
        options = {name for parameter in command.params for name in parameter.opts}
        assert all(word in options for word in rest if word.startswith("-")), words


def test_every_command_is_in_the_readme():
    written = {words[1] for words in potash_lines()}
    assert set(commands.commands) <= written


def test_the_two_commands_and_the_plain_lines_agree_with_the_makefile():
    makefile = (ROOT / "Makefile").read_text(encoding="utf-8")
    assert {"make run", "make test"} <= set(shell_lines())
    pins = re.search(r"-r (requirements\S+)", "\n".join(shell_lines())).group(1)
    assert pins in makefile and (ROOT / pins).is_file()


def test_files_the_readme_names_are_there():
    named = set(re.findall(r"`((?:reference|mappings|pipeline|tests)/[\w./-]+)`", README))
    assert named
    assert [name for name in named if not (ROOT / name).exists()] == []


@pytest.mark.parametrize("words", [["--help"], ["run", "--help"], ["trace", "--help"], ["verify", "--help"]])
def test_help_says_what_a_command_does(words):
    done = subprocess.run([POTASH, *words], capture_output=True, text=True, timeout=120)
    assert done.returncode == 0 and "Usage:" in done.stdout and done.stderr == ""


def test_the_commands_of_the_tour_that_read_a_release_work(demo_run):
    tour = [words for words in potash_lines() if words[1] in ("trace", "verify", "versions")]
    assert len(tour) >= 3
    for words in tour:
        done = subprocess.run([POTASH, *words[1:], "--output", demo_run / "project" / "output"], capture_output=True, text=True, timeout=120)
        assert done.returncode == (words[1] == "versions") and done.stdout.strip(), (words, done.stderr)


def test_the_single_stage_commands_of_the_tour_work(tmp_path):
    (tmp_path / "lines.csv").write_text("text\n200 g carrots\n1 small onion\n", encoding="utf-8")
    plain = [words for words in potash_lines() if words[1] in ("parse", "match") and not NEEDS_MORE & {*words, words[-1].split(",")[-1]}]
    assert len(plain) == 2
    for words in plain:
        done = subprocess.run([POTASH, *words[1:]], capture_output=True, text=True, timeout=120, cwd=tmp_path)
        assert done.returncode == 0, (words, done.stderr)
    assert (tmp_path / "parsed.csv").is_file() and (tmp_path / "matched.csv").is_file()


@pytest.mark.parametrize("task", ["--explain", "--audit", "--evaluate"])
def test_the_match_tasks_of_the_tour_work(task, tmp_path):
    words, = [words for words in potash_lines() if words[1] == "match" and task in words]
    here = [str(ROOT / word) if word.startswith("reference/") else word for word in words[1:]]
    done = subprocess.run([POTASH, *here], capture_output=True, text=True, timeout=120, cwd=tmp_path)
    assert done.returncode in (0, 1) and done.stdout.strip() and done.stderr == ""
    if task == "--audit":
        shown = re.search(r"<!-- audit output -->\s*```text\n(.*?)```", README, flags=re.DOTALL).group(1)
        assert done.stdout == shown


def test_the_decisions_of_the_tour_would_stand():
    tour = [words for words in potash_lines() if words[1] == "decide"]
    assert len(tour) == 3 and all("--dry-run" in words for words in tour)
    for words in tour:
        done = subprocess.run([POTASH, *words[1:]], capture_output=True, text=True, timeout=120)
        assert done.returncode == 0 and "Nothing was written" in done.stdout, (words, done.stderr)


def test_the_recipe_of_the_tour_runs_as_it_is_written(tmp_path):
    written = re.search(r"```yaml\n(.*?)```", README, flags=re.DOTALL).group(1)
    (tmp_path / "collection").mkdir()
    (tmp_path / "collection" / "slipway-bean-salad.yaml").write_text(written, encoding="utf-8")
    done = subprocess.run([POTASH, "run", tmp_path / "collection", "--output", tmp_path / "out"], capture_output=True, text=True, timeout=300)
    assert done.returncode in (0, 1), done.stdout + done.stderr
    release, = (tmp_path / "out").glob("*-*")
    variants = pd.read_csv(release / "figures.csv", dtype=str)["variant_id"]
    assert set(variants) == {"as-made", "base", "with-optional", "with-tuna", "with-tuna-for-two"}
    assert set(pd.read_csv(release / "problems.csv", dtype=str)["code"]) <= {"dead-decision"}
    outcomes = pd.read_csv(release / "lines.csv", dtype=str)["outcome"]
    assert len(outcomes) == 19 and (outcomes == "accepted").all()


def test_what_the_readme_shows_of_a_run_is_what_a_run_prints(demo_run):
    shown = re.search(r"<!-- run output -->\s*```text\n(.*?)```\s*<!-- end of run output -->", README, flags=re.DOTALL).group(1)
    printed = [line for line in (demo_run / "printed.txt").read_text(encoding="utf-8").splitlines() if not re.search(r"[Rr]elease \(|kept from an earlier run", line)]
    expected = [line for line in shown.splitlines() if not re.search(r"[Rr]elease \(|kept from an earlier run", line)]
    assert expected == printed
