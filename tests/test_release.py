"""A release is written whole or not at all, the same bytes each time, and describes itself truly."""

from __future__ import annotations

import errno
import io
import json
import os
import re
import signal
import subprocess
import sys
import time
from decimal import Decimal
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow.parquet as pq
import pytest
import release_example as example
from hypothesis import given
from hypothesis import strategies as st

from pipeline import tables as models
from pipeline.checks import Check, CheckResult
from pipeline.problems import InputError
from pipeline.stages import release_files
from pipeline.stages.release import changed_files, latest, read_manifest, release
from pipeline.stages.release_descriptions import DESCRIPTIONS
from pipeline.stages.release_files import csv_bytes, format_number, parquet_bytes, texts
from pipeline.stages.release_folder import locked, tidy
from pipeline.stages.release_report import report_page
from pipeline.stages.release_tables import TABLES, arranged

ROOT = Path(__file__).resolve().parent.parent
FAILED = CheckResult((Check(
    "figures-sum", "figures", "Each figure is a sum", "ExpectColumnValuesToBeInSet", 9, 1, False, ("row soup/base: value 3",)),))


@pytest.fixture
def made(tmp_path) -> Path:
    return release(example.tables(), example.meta(), tmp_path, example.PASSED).folder


# ---------------------------------------------------------------- numbers and tables

@pytest.mark.parametrize(("value", "text"), [
    (0.0, "0"), (-0.0, "0"), (1.0, "1"), (0.1, "0.1"), (1 / 3, "0.3333333333"), (2 / 3 * 1000, "666.6666667"),
    (1e-7, "0.0000001"), (1.5e-12, "0.0000000000015"), (123456789012.0, "123456789000"), (1e22, "1" + "0" * 22), (-2.5, "-2.5"),
    (float("nan"), ""),
])
def test_numbers_are_written_plainly(value, text):
    assert format_number(value) == text


@given(st.floats(-1e300, 1e300))
def test_a_written_number_has_no_exponent_and_ten_right_digits(value):
    text = format_number(value)
    assert re.fullmatch(r"-?\d+(\.\d*[1-9])?", text)
    assert abs(Decimal(text) - Decimal(value)) <= abs(Decimal(value)) * Decimal("5.1e-10")
    assert format_number(float(text)) == text


def test_an_infinite_number_is_refused(tmp_path):
    tables = example.tables()
    tables["figures"].loc[0, "high"] = np.inf
    with pytest.raises(InputError, match="table figures: column high holds an infinite number"):
        release(tables, example.meta(), tmp_path, example.PASSED)
    assert {path.name for path in tmp_path.iterdir()} == {".lock"}


@given(st.lists(st.tuples(st.text(alphabet=st.characters(exclude_categories=["Cs"], exclude_characters="\0")),
                          st.one_of(st.none(), st.floats(allow_infinity=False, allow_nan=False)), st.booleans(),
                          st.integers(-2**53, 2**53)), min_size=1, max_size=6))
def test_csv_and_parquet_agree_to_the_last_digit(rows):
    frame = pd.DataFrame(rows, columns=["text", "number", "yes", "count"]).astype(
        {"text": "str", "number": "float64", "yes": "bool", "count": "int64"})
    cells = texts(frame)
    read = pd.read_csv(io.BytesIO(csv_bytes(cells)), keep_default_na=False, dtype=str)
    stored = pq.read_table(io.BytesIO(parquet_bytes(frame, cells))).to_pydict()
    assert read["text"].tolist() == stored["text"] == [row[0] for row in rows]
    assert [float(cell) if cell else None for cell in read["number"]] == stored["number"]
    assert [cell == "true" for cell in read["yes"]] == stored["yes"] == [row[2] for row in rows]
    assert [int(cell) for cell in read["count"]] == stored["count"]


def test_every_released_csv_agrees_with_its_parquet(made):
    paths = sorted(made.rglob("*.csv"))
    assert {path.relative_to(made).as_posix() for path in paths} >= {TABLES[name].path(name, "csv") for name in example.tables()}
    for path in paths:
        text = pd.read_csv(path, dtype=str, keep_default_na=False)
        stored = pq.read_table(path.with_suffix(".parquet"))
        assert stored.num_rows == len(text) and stored.column_names == list(text.columns), path
        for name in text.columns:
            assert [_as_text(value) for value in stored[name].to_pylist()] == text[name].tolist(), (path, name)
        assert stored.schema.metadata is None  # no version of pandas in it


def _as_text(value) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float) or value is None:
        return format_number(np.nan if value is None else value)
    return str(value)


def test_csv_is_utf8_with_line_feeds_and_an_empty_cell_for_unknown(made):
    content = (made / "figures.csv").read_bytes()
    assert b"\r" not in content and content.endswith(b"\n") and not content.startswith(b"\xef\xbb\xbf")
    rows = pd.read_csv(io.BytesIO(content), dtype=str, keep_default_na=False)
    assert set(rows.loc[rows["status"] == "withheld", "value"]) == {""}


def test_lines_come_in_the_order_of_the_recipe():
    frames = arranged({**example.tables(recipes=1, lines=12), "matched": example.tables(recipes=1, lines=12)["matched"].iloc[::-1]})
    assert frames["matched"]["line_id"].tolist() == [f"dish-0/base/{number}" for number in range(1, 13)]
    assert frames["lines"]["line_no"].tolist() == list(range(1, 13))


def test_withheld_figures_are_listed_with_their_reason(made):
    rows = pd.read_csv(made / "withheld.csv")
    assert set(rows["basis"]) == {"recipe", "portion", "100g"} and set(rows["figures"]) == {7}
    assert set(rows["reason"]) == {"line 1 was matched to no food"}
    assert rows["components"].iloc[0] == "ENERC; FAT; K; NA; NACL; PROCNT"


@pytest.mark.parametrize(("break_it", "said"), [
    (lambda tables: tables.update(extra=tables["figures"]), "table extra: is not a table of a release"),
    (lambda tables: tables.pop("figures"), "table figures: is missing"),
    (lambda tables: tables.update(lines=tables["lines"].drop(columns="reason")), "table lines: has other columns.* reason"),
    (lambda tables: tables.update(inputs=pd.concat([tables["inputs"]] * 2)), "table inputs: holds two rows for input_id"),
])
def test_a_table_that_is_not_as_declared_is_refused(tmp_path, break_it, said):
    tables = example.tables()
    break_it(tables)
    with pytest.raises(InputError, match=said):
        release(tables, example.meta(), tmp_path / "out", example.PASSED)
    assert not (tmp_path / "out").exists()


def test_every_column_is_described_and_every_description_is_used():
    declared = {f"{name}.{column}" for name, spec in TABLES.items() if spec.model for column in models.columns(spec.model)}
    columns = {name.partition(".")[2] for name in declared}
    assert [name for name in sorted(declared) if name not in DESCRIPTIONS and name.partition(".")[2] not in DESCRIPTIONS] == []
    without_model = ("withheld.", "decisions.")
    assert [name for name in DESCRIPTIONS if "." in name and name not in declared and not name.startswith(without_model)] == []
    elsewhere = {"code", "stage", "where", "components", "figures", "share", "decided_by", "decided_on", "file", "column",
                 "row_id", "citation", "licence", "obtained", "sha256", "standing"}
    assert {name for name in DESCRIPTIONS if "." not in name} - columns == elsewhere


# ---------------------------------------------------------------- whole or not at all

def test_a_release_is_there_whole(made, tmp_path):
    assert changed_files(made) == []
    assert (tmp_path / "latest").read_text() == "demo-1a2b3c4d\n" and latest(tmp_path) == made
    assert {path.name for path in tmp_path.iterdir()} == {"demo-1a2b3c4d", "latest", ".lock"}
    assert len((made / "README.txt").read_text().splitlines()) <= 24  # one screen
    assert (made / "CAUTIONS.txt").read_text().startswith("These figures are no advice.")


@pytest.mark.parametrize("broken_at", [0, 5, 30, -1])
@pytest.mark.parametrize("before", [False, True])
def test_a_full_disk_leaves_what_was_there_before(tmp_path, monkeypatch, broken_at, before):
    if before:
        release(example.tables(lines=2), example.meta(created="2026-01-01"), tmp_path, example.PASSED)
    old = {path: content for path, content in example.contents(tmp_path).items() if path != ".lock"}
    written, real = [], release_files.write_file

    def write(path, content):
        written.append(path)
        is_last = path.name == "manifest.json"
        if is_last if broken_at < 0 else len(written) > broken_at:
            raise OSError(errno.ENOSPC, "No space left on device")
        real(path, content)

    monkeypatch.setattr(release_files, "write_file", write)
    with pytest.raises(InputError, match=r"No space left on device. Free some space.*no release was written") as caught:
        release(example.tables(), example.meta(), tmp_path, example.PASSED)
    assert caught.value.problems[0].code == "disk-full"
    assert {path: content for path, content in example.contents(tmp_path).items() if path != ".lock"} == old
    assert [path.name for path in tmp_path.iterdir() if "partial" in path.name] == []


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no /dev/full")
def test_a_disk_that_is_really_full(tmp_path):
    with pytest.raises(OSError) as caught:
        release_files.write_file(Path("/dev/full"), b"figure")
    assert caught.value.errno == errno.ENOSPC


def test_ctrl_c_leaves_nothing(tmp_path):
    def interrupted() -> CheckResult:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        release(example.tables(), example.meta(), tmp_path, interrupted)
    assert {path.name for path in tmp_path.iterdir()} == {".lock"}


def test_a_failed_check_publishes_nothing_and_says_which(tmp_path):
    with pytest.raises(InputError, match="table figures, row soup/base: value 3: breaks the check figures-sum"):
        release(example.tables(), example.meta(), tmp_path, lambda: FAILED)
    with pytest.raises(InputError, match="none was made"):
        release(example.tables(), example.meta(), tmp_path, CheckResult(()))
    assert {path.name for path in tmp_path.iterdir()} == {".lock"}


def test_no_release_without_cautions(tmp_path):
    meta = example.meta(cautions=example.meta().cautions.head(0))
    with pytest.raises(InputError, match="no figure is published without one"):
        release(example.tables(), meta, tmp_path, example.PASSED)


@pytest.mark.parametrize("name", ["", "latest", "../up", "Demo", "a/b", ".hidden"])
def test_a_name_that_is_no_folder_name_is_refused(tmp_path, name):
    with pytest.raises(InputError, match="usable name"):
        release(example.tables(), example.meta(name), tmp_path, example.PASSED)


def test_an_output_that_is_a_file_is_refused(tmp_path):
    (tmp_path / "out").write_text("mine")
    with pytest.raises(InputError, match="Name a folder, not a file"):
        release(example.tables(), example.meta(), tmp_path / "out", example.PASSED)
    assert (tmp_path / "out").read_text() == "mine"


def test_a_file_in_the_place_of_the_release_is_left_alone(tmp_path):
    (tmp_path / "demo-1a2b3c4d").write_text("mine")
    with pytest.raises(InputError, match="is a file, not a release"):
        release(example.tables(), example.meta(), tmp_path, example.PASSED)
    assert (tmp_path / "demo-1a2b3c4d").read_text() == "mine"


# ---------------------------------------------------------------- again

def test_two_writes_differ_in_the_moment_alone(tmp_path):
    shuffled = {name: frame.sample(frac=1, random_state=7) for name, frame in reversed(example.tables().items())}
    one = release(example.tables(), example.meta(created="2026-01-01T00:00:00+00:00"), tmp_path / "a", example.PASSED)
    two = release(shuffled, example.meta(created="2027-12-31T00:00:00+00:00"), tmp_path / "b", example.PASSED)
    left, right = example.contents(one.folder), example.contents(two.folder)
    assert left.pop("manifest.json").replace(b"2026-01-01", b"2027-12-31") == right.pop("manifest.json")
    assert left == right


def test_the_same_release_again_stays_in_place(tmp_path):
    first = release(example.tables(), example.meta(created="2026-01-01"), tmp_path, example.PASSED)
    kept = (first.folder / "figures.csv").stat().st_ino
    again = release(example.tables(), example.meta(created="2026-01-02"), tmp_path, example.PASSED)
    assert (first.state, again.state) == ("written", "unchanged")
    assert (again.folder / "figures.csv").stat().st_ino == kept
    assert read_manifest(again.folder)["created"] == "2026-01-02"
    assert changed_files(again.folder) == []


@pytest.mark.parametrize("harm", [
    lambda folder: (folder / "figures.csv").write_text("changed"),
    lambda folder: (folder / "evidence" / "inputs.csv").unlink(),
    lambda folder: (folder / "mine.txt").write_text("added"),
    lambda folder: (folder / "manifest.json").write_text("{"),
])
def test_a_harmed_release_is_replaced(made, tmp_path, harm):
    harm(made)
    assert release(example.tables(), example.meta(), tmp_path, example.PASSED).state == "replaced"
    assert changed_files(made) == []
    assert {path.name for path in tmp_path.iterdir()} == {"demo-1a2b3c4d", "latest", ".lock"}


def test_another_content_under_the_same_name_replaces_it(made, tmp_path):
    assert release(example.tables(lines=4), example.meta(), tmp_path, example.PASSED).state == "replaced"
    assert len(pd.read_csv(made / "lines.csv")) == 8


def test_a_run_killed_between_two_renames_is_put_right(made, tmp_path):
    made.rename(tmp_path / ".demo-1a2b3c4d.replaced-99")
    (tmp_path / ".demo-1a2b3c4d.partial-99").mkdir()
    (tmp_path / ".latest.partial").write_text("de")
    tidy(tmp_path)
    assert changed_files(made) == []
    assert {path.name for path in tmp_path.iterdir()} == {"demo-1a2b3c4d", "latest", ".lock"}


# ---------------------------------------------------------------- one run at a time

def test_a_second_run_gets_one_clear_message(tmp_path):
    with locked(tmp_path):
        with pytest.raises(InputError, match=rf"another run is writing here \(process {os.getpid()}\). Wait") as caught:
            release(example.tables(), example.meta(), tmp_path, example.PASSED)
        assert len(caught.value.problems) == 1 and caught.value.problems[0].code == "second-run"
        assert release(example.tables(), example.meta(), tmp_path, example.PASSED, already_locked=True).state == "written"
    assert release(example.tables(), example.meta(), tmp_path, example.PASSED).state == "unchanged"


def test_the_lock_of_a_killed_run_is_taken_over(tmp_path):
    code = ("import sys, time; from pathlib import Path; from pipeline.stages.release_folder import locked\n"
            "with locked(Path(sys.argv[1])): print('held', flush=True); time.sleep(120)")
    holder = subprocess.Popen([sys.executable, "-c", code, str(tmp_path)], cwd=ROOT, stdout=subprocess.PIPE, text=True)
    try:
        assert holder.stdout.readline() == "held\n"
        with pytest.raises(InputError, match=f"process {holder.pid}"), locked(tmp_path):
            pass
    finally:
        holder.send_signal(signal.SIGKILL)
        holder.wait(timeout=30)
        holder.stdout.close()
    with locked(tmp_path):
        assert (tmp_path / ".lock").read_text() == f"{os.getpid()}\n"


# ---------------------------------------------------------------- what it says about itself

def test_the_manifest_lists_every_file_in_and_out(made):
    manifest = json.loads((made / "manifest.json").read_text())
    files = example.contents(made)
    files.pop("manifest.json")
    assert {row["path"]: row["bytes"] for row in manifest["outputs"]} == {path: len(content) for path, content in files.items()}
    assert manifest["inputs"] == [{"path": "reference/demo/soup.yaml", "sha256": "0" * 64, "role": "collection"}]
    assert manifest["counts"]["figures"] == {"ready": 21, "withheld": 21}
    assert manifest["composition_table"] == {"name": "core", "version": "1"}
    assert manifest["libraries"]["pandas"] == pd.__version__ and manifest["exit_status"] == 0


@pytest.mark.parametrize("path", ["figures.csv", "figures.parquet", "evidence/inputs.csv", "CAUTIONS.txt", "datapackage.json"])
def test_one_changed_byte_is_found(made, path):
    content = bytearray((made / path).read_bytes())
    content[len(content) // 2] ^= 1
    (made / path).write_bytes(content)
    [problem] = changed_files(made)
    assert problem.where.endswith(path) and "was changed" in problem.what


def test_missing_and_added_files_are_found(made):
    (made / "lines.csv").unlink()
    (made / "notes.txt").write_text("mine")
    assert [Path(problem.where).name for problem in changed_files(made)] == ["lines.csv", "notes.txt"]


def test_a_folder_without_a_release_says_so(tmp_path):
    with pytest.raises(InputError, match="holds no release"):
        latest(tmp_path)
    with pytest.raises(InputError, match="cannot be read"):
        read_manifest(tmp_path)


def _validated(folder: Path):
    frictionless = pytest.importorskip("frictionless")
    return frictionless.Package(str(folder / "datapackage.json")).validate()


def test_the_data_package_is_valid(made):
    # Checked with the frictionless library, the reference implementation of the Data Package standard.
    report = _validated(made)
    assert report.valid, report.flatten(["name", "type", "note"])
    package = json.loads((made / "datapackage.json").read_text())
    described = {resource["path"] for resource in package["resources"]}
    assert described == {path for path in example.contents(made) if path.endswith((".csv", ".parquet"))}
    figures = next(resource for resource in package["resources"] if resource["path"] == "figures.csv")["schema"]
    fields = {field["name"]: field for field in figures["fields"]}
    assert fields["value"]["unit"] == "{unit}" and fields["coverage"]["constraints"]["maximum"] == 1
    assert fields["status"]["constraints"]["enum"] == ["ready", "check", "withheld"]
    assert figures["primaryKey"] == ["figure_id"]
    assert figures["foreignKeys"][0]["reference"]["resource"] == "evidence-variants"


@pytest.mark.parametrize(("table", "old", "new", "kind"), [
    ("figures.csv", ",ready,", ",fine,", "constraint-error"),
    ("figures.csv", ",portion,5", ",portion,x5", "type-error"),
    ("lines.csv", ",accepted,", ",,", "constraint-error"),
    ("evidence/contributions.csv", "dish-0/base/2", "dish-0/base/7", "foreign-key"),
    ("evidence/variants.csv", "dish-1,", "dish-0,", "primary-key"),
    ("evidence/inputs.csv", "0.9", "0.8", "hash-count"),
    ("figures.parquet", None, None, "hash-count"),
])
def test_a_broken_cell_makes_the_data_package_invalid(made, table, old, new, kind):
    content = (made / table).read_bytes()
    if old is None:
        changed = content[:100] + bytes([content[100] ^ 1]) + content[101:]
    else:
        changed = content.decode().replace(old, new, 1).encode()
    assert changed != content
    (made / table).write_bytes(changed)
    assert kind in {row[0] for row in _validated(made).flatten(["type"])}


# ---------------------------------------------------------------- the page

class _Page(HTMLParser):
    def __init__(self, page: str):
        super().__init__()
        self.tags: list[tuple[str, dict]] = []
        self.text: list[str] = []
        self.open: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag, attributes):
        self.tags.append((tag, dict(attributes)))
        if tag not in ("meta", "br"):
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.text.append(data)

    def of(self, tag: str) -> list[dict]:
        return [attributes for name, attributes in self.tags if name == tag]


def test_the_page_reads_offline_and_aloud(made):
    page = _Page((made / "checks.html").read_text(encoding="utf-8"))
    names = [tag for tag, _ in page.tags]
    assert page.open == [] and page.of("html") == [{"lang": "en-GB"}]
    assert not {"script", "link", "img", "iframe", "object"} & set(names)
    assert not any({"src", "href", "style"} & set(attributes) for _, attributes in page.tags)
    assert "url(" not in (made / "checks.html").read_text() and "@import" not in (made / "checks.html").read_text()
    assert names.count("h1") == 1 and names.count("table") == names.count("caption") > 3
    assert all(head.get("scope") in ("row", "col") for head in page.of("th"))
    said = " ".join(page.text)
    assert "These figures are no advice." in said and "All checks passed" in said and "✓ passed" in said
    assert "line 1 was matched to no food" in said


def test_the_page_shows_a_failure_in_words_and_escapes_what_it_shows():
    failed = CheckResult((Check("a", "figures", "Sums < products", "Expect", 9, 7, False, ("row <script>alert(1)</script>",)),))
    page = report_page(failed, arranged(example.tables()), "A & B", "demo", ["Take care"])
    assert "<script" not in page and "&lt;script&gt;" in page and "A &amp; B" in page
    said = " ".join(_Page(page).text)
    assert "1 of 1 checks failed" in said and "✗ FAILED" in said and "and 6 more" in said


def test_writing_a_whole_collection_is_quick(tmp_path):
    tables = example.tables(recipes=40, lines=11, extra_components=24)
    assert len(tables["contributions"]) > 12_000 and len(tables["lines"]) == 440
    start = time.process_time()
    release(tables, example.meta(), tmp_path, example.PASSED)
    assert time.process_time() - start < 1.5
