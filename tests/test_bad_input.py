"""Bad input through the command line: one clear message, the right exit code, nothing half-written."""

from __future__ import annotations

import json
import signal
import time
from pathlib import Path

import pytest
from command_line import Project, contents, left_behind, release_of

from pipeline.csv_rows import rows
from pipeline.problems import InputError

GOOD = """id: {id}
name: A good dish
portions: 4
units: uk
ingredients:
  - 200 g potatoes, peeled and diced
  - 1 tbsp sunflower oil
method:
  - Boil the potatoes for 15 minutes, then drain and fry in the oil.
"""


def write(path: Path, content: str | bytes, encoding: str = "utf-8") -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content if isinstance(content, bytes) else content.encode(encoding))
    return path


@pytest.fixture(scope="module")
def project(tmp_path_factory) -> Project:
    return Project(tmp_path_factory.mktemp("bad-input"))


def make_unusable(folder: Path) -> dict[str, tuple[str, ...]]:
    """Collections that hold nothing to release -> what the message has to say."""
    (folder / "empty").mkdir()
    write(folder / "no-text/a.yaml", bytes(range(256)) * 20)
    write(folder / "blank/a.yaml", "")
    write(folder / "broken/a.yaml", GOOD.format(id="one") + "  - [unclosed\n bad: : x")
    write(folder / "portionless/a.yaml", "id: one\nname: One\ningredients: [1 onion]\nmethod: [Fry it.]\n")
    write(folder / "lineless/a.yaml", "id: one\nname: One\nportions: 2\nmethod: [Wait.]\n")
    write(folder / "twice/a.yaml", GOOD.format(id="one"))
    write(folder / "twice/b.yaml", GOOD.format(id="one"))
    write(folder / "long/a.yaml", GOOD.split("ingredients")[0].format(id="one") + "ingredients:\n" + "  - 1 g potatoes\n" * 10_000
          + "method: [Boil.]\n")
    write(folder / "latin/a.yaml", GOOD.format(id="one").replace("good", "puréed"), "latin-1")
    write(folder / "json/a.json", '{"@type": "Recipe", ')
    write(folder / "other-kind.pdf", "x")
    return {
        "nowhere": ("nowhere", "no such file or folder"), "empty": ("holds no recipe file", ".yaml"),
        "no-text": ("a.yaml", "not a text file", "UTF-8"), "blank": ("a.yaml", "holds no recipe"),
        "broken": ("a.yaml, line 1", "not valid YAML"), "portionless": ("a.yaml, line 1", "how many portions"),
        "lineless": ("a.yaml, line 1", "no ingredient lines"), "twice": ("a.yaml, line 1", "is also that of b.yaml, line 1"),
        "long": ("a.yaml, line 1", "10,000 ingredient lines"), "latin": ("a.yaml, line 2", "not UTF-8"),
        "json": ("a.json, line 1", "not valid JSON"), "other-kind.pdf": ("other-kind.pdf", "not a kind of file"),
    }


def test_an_unusable_collection_is_one_clear_message_and_no_release(project, tmp_path):
    expected = make_unusable(tmp_path)
    output = tmp_path / "output"
    write(tmp_path / "good/a.yaml", GOOD.format(id="one"))
    write(tmp_path / "a-file", "x")
    calls = [["run", name, "--output", output] for name in expected]
    calls += [["run", "good", "--table", "nosuch", "--output", output], ["run", "good", "--output", "a-file"],
              ["run", "good", "--output", "/proc/nowhere"]]
    wanted = [*expected.values(), ("--table nosuch", "Choose one of: core"), ("a-file", "Name a folder, not a file"),
              ("/proc/nowhere", "cannot be written", "--output")]
    for call, words, result in zip(calls, wanted, project.batch(calls, tmp_path), strict=True):
        assert result.code == 2, call
        assert result.out == "" and "Traceback" not in result.err, call
        assert len(result.said) == len(result.err.splitlines()) <= 3, result.err
        assert all(word in result.err for word in words), (call, result.err)
    assert left_behind(output) == [] and not (output / "latest").exists()


def test_one_broken_recipe_never_takes_the_others_down(project, tmp_path):
    """Mixed encodings, no portions, an absurd amount, a figure no dish can have: the good recipe stays the same."""
    folder = tmp_path / "mixed"
    write(folder / "good.yaml", GOOD.format(id="good"))
    write(folder / "utf-16.yaml", GOOD.format(id="other-encoding").replace("good", "puréed"), "utf-16")
    write(folder / "latin.yaml", GOOD.format(id="latin").replace("good", "puréed"), "latin-1")
    write(folder / "portionless.yaml", GOOD.format(id="portionless").replace("portions: 4\n", ""))
    write(folder / "negative.yaml", GOOD.format(id="negative").replace("200 g", "-200 g"))
    write(folder / "absurd.yaml", GOOD.format(id="absurd").replace("1 tbsp", "900000 kg"))
    write(folder / "implausible.yaml", GOOD.format(id="implausible").replace("portions: 4", "portions: 1").replace(
        "200 g potatoes, peeled and diced", "1 kg tomato puree"))
    result = project.run("run", folder, "--output", "out", "--json", cwd=tmp_path)
    told = json.loads(result.out)
    assert result.code == told["exit_code"] == 1, result.err
    assert told["recipes"] == 5
    listed = {row["where"].split(",")[0].split(":")[0]: row for row in told["not_used"]}
    assert set(listed) == {"latin.yaml", "portionless.yaml", "negative.yaml", "absurd.yaml"}
    assert all(row["what"] and row["remedy"] for row in listed.values())
    figures = figures_of(tmp_path / "out")
    assert {status for (recipe, *_), (status, *_) in figures.items() if recipe in ("negative", "absurd")} == {"withheld"}
    beyond = [row for (recipe, *_), row in figures.items() if recipe == "implausible"]
    assert {status for status, *_ in beyond} == {"withheld"}
    assert all(reason.startswith("implausible: K ") and "per portion" in reason for _, _, reason in beyond)
    assert told["implausible"][0]["recipe_id"] == "implausible"
    good = {key[1:]: row for key, row in figures.items() if key[0] == "good"}
    assert good[("K", "mg", "portion")][0] != "withheld"
    assert good == {key[1:]: row for key, row in figures.items() if key[0] == "other-encoding"}


def figures_of(output: Path) -> dict[tuple[str, str, str, str], tuple[str, str, str]]:
    import csv

    with open(release_of(output) / "figures.csv", encoding="utf-8", newline="") as file:
        return {(row["recipe_id"], row["component"], row["unit"], row["basis"]): (row["status"], row["value"], row["reason"])
                for row in csv.DictReader(file)}


POISON = """
from pipeline import steps  # first: kept results go by the code of the stage as it is in its file
from pipeline.stages import cook
whole = cook.cook
def poisoned(parsed, *rest):
    if parsed["line_id"].str.contains("two/").any():
        raise ZeroDivisionError("a pot\\nwithout a bottom")
    return whole(parsed, *rest)
cook.cook = poisoned
"""


def test_a_recipe_that_breaks_a_stage_is_left_out_and_listed(project, tmp_path):
    write(tmp_path / "three/a.yaml", "\n---\n".join(GOOD.format(id=name) for name in ("one", "two", "three")))
    write(tmp_path / "only/a.yaml", GOOD.format(id="two"))
    some, none = project.batch([["run", "three", "--output", "out"], ["run", "only", "--output", "out"]], tmp_path, POISON)
    assert some.code == 1, some.err
    assert "a.yaml, line " in some.out and "a stage failed on this recipe (ZeroDivisionError: a pot without a bottom)" in some.out
    assert {key[0] for key in figures_of(tmp_path / "out")} == {"one", "three"}
    release = release_of(tmp_path / "out")
    assert none.code == 2 and "Traceback" not in none.err
    assert "ZeroDivisionError" in none.said[-2] and "no recipe went through" in none.said[-1]
    assert release_of(tmp_path / "out") == release and left_behind(tmp_path / "out") == []


FULL = """
import errno
from pipeline.stages import release
class Full:
    left = 5
whole = release.files.write_file
def write_file(path, content):
    Full.left -= 1
    if Full.left < 0:
        path.write_bytes(content[: len(content) // 2])
        raise OSError(errno.ENOSPC, "No space left on device", str(path))
    return whole(path, content)
release.files.write_file = write_file
"""


def test_a_full_disk_and_ctrl_c_and_a_second_run_leave_the_earlier_release_as_it_was(project, tmp_path):
    output = tmp_path / "out"
    collection = write(tmp_path / "good/a.yaml", GOOD.format(id="one")).parent
    first = project.run("run", collection, "--output", output, cwd=tmp_path)
    assert first.code in (0, 1), first.err
    before, release = contents(release_of(output)), release_of(output)
    write(collection / "b.yaml", GOOD.format(id="two"))

    full, = project.batch([["run", collection, "--output", output]], tmp_path, FULL)
    assert full.code == 2 and "No space left" in full.said[-1] and "Free some space" in full.said[-1]
    assert "Traceback" not in full.err and left_behind(output) == []

    running = project.start("run", CHECKED, "--output", output, cwd=tmp_path)
    wait_for(running, output)
    second = project.run("run", collection, "--output", output, cwd=tmp_path)
    assert second.code == 2 and "another run is writing here" in second.err and "--output" in second.err
    read = running.stderr.readline()
    assert read.startswith("potash: "), read
    running.send_signal(signal.SIGINT)
    out, err = running.communicate(timeout=60)
    assert running.returncode == 2 and out == "" and "Traceback" not in err
    assert "stopped by you" in err.splitlines()[-1]

    assert left_behind(output) == [] and release_of(output) == release and contents(release) == before


CHECKED = Path(__file__).resolve().parents[1] / "reference" / "demo"


def wait_for(running, output: Path) -> None:
    """Until the run holds the lock, which it says in the lock file."""
    for _ in range(400):
        if (output / ".lock").read_text().strip() == str(running.pid):
            return
        time.sleep(0.05)
    raise AssertionError("the run never took the lock")


# ---------------------------------------------------------------- the CSV files of parse and match

BROKEN_CSV = {  # what is wrong -> the content, where, what the message has to say, and what to do
    "unclosed quote": ('text\n1 onion\n"200 g salt\n100 g rice\n', "line 3", "never closed", "Close the quote"),
    "unclosed quote in the header": ('"text\n1 onion\n', "line 1", "never closed", "Close the quote"),
    "quote closed too early": ('text\n"5" piece of ginger\n', "line 2", "not closed at the end of its cell", 'twice ("")'),
    "quote that swallows lines": ('text,entry_id\n"200 g salt,1\n100 g rice",2\n', "line 2", "several lines in one cell of the column text", "not closed"),
    "column twice": ("text,text\n1 onion,1 leek\n", "line 1", "has the column text more than once", "Name each column once"),
    "another column twice": ("text,note,note\n1 onion,,\n", "line 1", "has the column note more than once", "Name each column once"),
    "NUL byte": ("text\n1 onion\n2 le\0eks\n", "line 3", "NUL byte", "UTF-8"),
    "UTF-16": ("text\n1 onion\n".encode("utf-16"), "line 1", "is UTF-16 text", "CSV with commas, in UTF-8"),
    "UTF-16 without its mark": ("text\n1 onion\n".encode("utf-16-le"), "line 1", "is UTF-16 text", "CSV with commas, in UTF-8"),
    "UTF-16, the other order": ("text\n1 onion\n".encode("utf-16-be"), "line 1", "is UTF-16 text", "CSV with commas, in UTF-8"),
    "Latin-1": ("text\n1 onion\n½ leek\n".encode("latin-1"), "line 3", "byte 0xbd is not UTF-8 text", "UTF-8"),
    "Latin-1 behind a byte order mark": (b"\xef\xbb\xbftext\n\xbd leek\n", "line 2", "byte 0xbd is not UTF-8 text", "UTF-8"),
    "semicolons": ("text;note\n1 onion, chopped;x\n", "line 1", "separated by semicolons", "by commas"),
    "semicolons in quotes": ('"text";"note"\n"1 onion, chopped";"x"\n', "line 1", "separated by semicolons", "by commas"),
    "tabs": ("note\ttext\nx\t1 onion\n", "line 1", "separated by tabs", "by commas"),
    "bars": ("text|note\n1 onion|x\n", "line 1", "separated by bars", "by commas"),
    "surplus cell": ("text\n1 onion\n2 leeks, sliced\n", "line 3", "more columns than its header", "double quotes"),
    "no such column": ("line\n1 onion\n", "line 1", "has no column text (it has: line)", "Name the column"),
}


@pytest.mark.parametrize("content, where, what, remedy", BROKEN_CSV.values(), ids=BROKEN_CSV)
def test_a_broken_csv_is_one_message_with_its_line_and_its_remedy(tmp_path, content, where, what, remedy):
    file = write(tmp_path / "lines.csv", content)
    with pytest.raises(InputError) as told:
        rows(file)
    problem, = told.value.problems
    assert problem.where == f"{file}, {where}" and what in problem.what and remedy in problem.remedy


@pytest.mark.parametrize("content, texts", [
    ('text\n"1 onion, chopped"\n', ["1 onion, chopped"]), ("text\r\n1 onion\r\n2 leeks\r\n", ["1 onion", "2 leeks"]),
    ("\ufefftext\n½ onion\n", ["½ onion"]), ('text\n5" piece of ginger\n', ['5" piece of ginger']), ('text\n"a 5"" piece"\n', ['a 5" piece']),
    ("note,text\nx,1 onion\n,\n\ny,2 leeks\n", ["1 onion", "", "", "2 leeks"]), ('text,note\n1 onion,"two\nlines"\n', ["1 onion"]),
    ("text;note,text\nx,1 onion\n", ["1 onion"]), ("text,note\n1 onion\n", ["1 onion"]), ("text\rNA\rnull\r", ["NA", "null"]),
])
def test_a_sound_csv_is_read_as_it_is(tmp_path, content, texts):
    read = rows(write(tmp_path / "lines.csv", content))
    assert read["text"].tolist() == texts and not read.isna().any().any()


def test_every_command_that_reads_a_csv_says_so(project, tmp_path):
    write(tmp_path / "quote.csv", 'text,entry_id,acceptable\n"200 g salt,02047,02047\n')
    write(tmp_path / "wide.csv", "text,entry_id,acceptable\n200 g salt,02047,02047\n", "utf-16")
    write(tmp_path / "semicolon.csv", "text;entry_id;acceptable\n200 g salt;02047;02047\n")
    said = {"quote.csv": "line 2: opens a double quote", "wide.csv": "line 1: is UTF-16 text", "semicolon.csv": "line 1: has its columns separated by semicolons"}
    commands = [lambda name: ["parse", name, "-o", "o.csv"], lambda name: ["match", name, "-o", "o.csv"],
                lambda name: ["match", "--audit", name], lambda name: ["match", "--evaluate", name]]
    calls = [(command(name), text) for command in commands for name, text in said.items()]
    for (call, text), result in zip(calls, project.batch([call for call, _ in calls], tmp_path), strict=True):
        assert (result.code, result.out, len(result.said)) == (2, "", 1), (call, result.err)
        assert f"{text}" in result.err and "Traceback" not in result.err, (call, result.err)
    assert not (tmp_path / "o.csv").exists()


def test_a_collection_of_which_no_line_names_a_food_is_released_as_withheld(project, tmp_path):
    recipe = write(tmp_path / "only/a.yaml", "id: only\nname: Only\nportions: 2\ningredients:\n  - 200 g wibbly\n").parent
    done = project.run("run", recipe, "--output", tmp_path / "out", cwd=tmp_path)
    assert done.code == 1 and "Traceback" not in done.err, done.err
    assert "0 ready" in done.out and '"200 g wibbly"' in done.out
