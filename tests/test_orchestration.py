"""Prefect stays inside the project, keeps and reuses results by content, and leaves nothing running.

Runs are separate processes: Prefect reads its settings once per process, and a run's end is part of what
is tested. `RUN` is a small project of its own; its stage counts its calls in a file.
"""

import base64
import json
import os
import signal
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline import content, orchestration
from pipeline.results import CheckedPickle, DamagedResult
from pipeline.temporary_server import TemporaryServer

STAGE = '''
from pathlib import Path

def double(table, calls):
    with open(calls, "a") as file:
        file.write("x")
    return table.assign(potassium_mg=table["potassium_mg"] * 2)

def fail(calls):
    with open(calls, "a") as file:
        file.write("x")
    raise ValueError("the stage itself is wrong")
'''

RUN = '''
import json, sys
from pathlib import Path
from pipeline.interruption import listening
from pipeline.orchestration import *
root = Path(sys.argv[1])
change = json.loads(sys.argv[2])

def moment(name):
    if change.get("wait"):
        print(json.dumps({"moment": name, "server": server_process_id()}), flush=True)

hearing = listening()
hearing.__enter__()
moment("start")
prepare(root)
moment("imports")
with quick_imports():
    import pandas as pd
    from prefect import flow
    import stage
calls = str(root / "calls")
tasks = [stage_task(getattr(stage, name)) for name in change.get("stages", ["double"])]

@flow
def job():
    table = pd.DataFrame({"food": ["leek", "potato"], "potassium_mg": [180.0, 421.0]})
    table["potassium_mg"] = table["potassium_mg"].astype(change.get("dtype", "float64"))
    table.loc[0, "potassium_mg"] = change.get("cell", 180)
    futures = [task.submit(*([calls] if task.name == "fail" else [object() if change.get("odd") else table, calls])) for task in tasks]
    moment("stages")
    answers = [future.result() for future in futures]
    moment("release")
    print(json.dumps({"answer": answers[0]["potassium_mg"].tolist(), "reuse": reuse(futures),
                      "server": server_process_id()}), flush=True)
    if change.get("wait"):
        import time
        time.sleep(60)

try:
    run_flow(job)
except (OrchestrationError, TypeError, ValueError) as problem:
    print(json.dumps({"problem": f"{type(problem).__name__}: {problem}"}), flush=True)
'''


class Project:
    """A folder with a stage, a flow and a home of its own."""

    def __init__(self, folder: Path) -> None:
        self.root = folder / "project"
        self.home = folder / "home"
        for made in (self.root, self.home, folder / "code", folder / "temporary"):
            made.mkdir()
        self.stage = folder / "code" / "stage.py"
        self.script = folder / "code" / "run.py"
        self.stage.write_text(STAGE)
        self.script.write_text(RUN)
        kept = {name: value for name, value in os.environ.items() if not name.startswith("PREFECT_")}
        self.environment = kept | {"HOME": str(self.home), "TMPDIR": str(folder / "temporary")}
        self.environment["PYTHONPATH"] = str(content.PACKAGE.parent)
        self.environment["PYTHONDONTWRITEBYTECODE"] = "1"

    def launch(self, change: dict | None = None, **variables: str) -> subprocess.Popen:
        return subprocess.Popen(
            [sys.executable, str(self.script), str(self.root), json.dumps(change or {})],
            env=self.environment | variables,
            cwd=self.root,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )

    def run(self, change: dict | None = None, **variables: str) -> dict:
        process = self.launch(change, **variables)
        printed, complained = process.communicate(timeout=120)
        assert complained == ""
        assert process.returncode == 0
        return json.loads(printed.splitlines()[-1])

    @property
    def calls(self) -> int:
        return len((self.root / "calls").read_text())

    def kept_results(self) -> list[Path]:
        return sorted(orchestration.results_folder(self.root).glob("double-*"))


@pytest.fixture(scope="module")
def migrated(tmp_path_factory):
    """A migrated server database, made once by a first run, so that the tests do not each pay for it."""
    project = Project(tmp_path_factory.mktemp("first"))
    first = project.run()
    (database,) = (project.root / ".potash" / "prefect").glob("migrated-*.db")
    return project, first, database


@pytest.fixture
def project(tmp_path, migrated):
    made = Project(tmp_path)
    home = made.root / ".potash" / "prefect"
    home.mkdir(parents=True)
    (home / migrated[2].name).write_bytes(migrated[2].read_bytes())
    return made


def is_running(process_id: int) -> bool:
    try:
        state = Path(f"/proc/{process_id}/stat").read_text().rsplit(")", 1)[1].split()[0]
        return state != "Z"
    except FileNotFoundError:
        return False


def wait_until(condition, seconds=10.0) -> bool:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if condition():
            return True
        time.sleep(0.02)
    return False


def test_first_run_in_an_empty_project_writes_only_below_it(migrated):
    project, first, _ = migrated
    assert first["answer"] == [360.0, 842.0]
    assert first["reuse"] == [0, 1]
    assert not is_running(first["server"])
    assert list(project.home.iterdir()) == []
    assert list((project.home.parent / "temporary").iterdir()) == []
    assert {path.name for path in project.root.iterdir()} == {".potash", "calls"}
    assert list((project.root / ".potash" / "prefect" / "runs").iterdir()) == []


def test_reuses_on_same_content_and_computes_again_on_any_change(project):
    assert project.run()["reuse"] == [0, 1]
    assert project.run() | {"server": 0} == {"answer": [360.0, 842.0], "reuse": [1, 1], "server": 0}
    assert project.calls == 1
    assert project.run({"cell": 181})["answer"] == [362.0, 842.0]
    assert project.run({"dtype": "int64"})["reuse"] == [0, 1]
    project.stage.write_text(STAGE.replace("* 2", "* 3"))
    assert project.run()["answer"] == [540.0, 1263.0]
    assert project.calls == 4


def damage_half(blob: bytes) -> bytes:
    return blob[: len(blob) // 2]


def damage_digit(blob: bytes) -> bytes:
    """Put another valid number in place of 842.0, as a flipped bit might: only the checksum can tell."""
    record = json.loads(blob)
    checksum, _, encoded = record["result"].partition(":")
    pickled = base64.b64decode(encoded)
    assert pickled.count(np.float64(842.0).tobytes()) == 1
    changed = pickled.replace(np.float64(842.0).tobytes(), np.float64(843.0).tobytes())
    return json.dumps(record | {"result": f"{checksum}:{base64.b64encode(changed).decode()}"}).encode()


@pytest.mark.parametrize("damage", [damage_half, damage_digit])
def test_a_damaged_kept_result_is_computed_again(project, damage):
    project.run()
    (kept,) = project.kept_results()
    whole = kept.read_bytes()
    kept.write_bytes(damage(whole))
    again = project.run()
    assert (again["answer"], again["reuse"], project.calls) == ([360.0, 842.0], [0, 1], 2)
    assert json.loads(kept.read_bytes())["result"] == json.loads(whole)["result"]


@given(st.integers(min_value=0), st.integers(1, 255))
def test_no_changed_byte_of_a_kept_result_is_read(position, flip):
    written = bytearray(CheckedPickle().dumps({"potassium_mg": [180.0, 421.0]}))
    written[position % len(written)] ^= flip
    with pytest.raises(DamagedResult):
        CheckedPickle().loads(bytes(written))


def test_a_stage_that_fails_is_run_once_and_its_own_error_comes_back(project):
    failed = project.run({"stages": ["fail"]})
    assert failed == {"problem": "ValueError: the stage itself is wrong"}
    assert project.calls == 1


def test_an_argument_without_a_content_key_is_refused(project):
    assert "TypeError: a value of type object has no content key" in project.run({"odd": True})["problem"]


@pytest.mark.parametrize("ending, moment", [
    (signal.SIGKILL, "release"), (signal.SIGTERM, "release"),
    *((signal.SIGINT, moment) for moment in ("start", "imports", "stages", "release")),
])
def test_no_server_outlives_its_run(project, ending, moment):
    process = project.launch({"wait": True})
    while (told := json.loads(process.stdout.readline()))["moment"] != moment:
        pass
    assert (moment == "start") == (told["server"] is None) and (not told["server"] or is_running(told["server"]))
    process.send_signal(ending)  # once: nobody should have to press Ctrl-C again
    _, complained = process.communicate(timeout=20)
    assert process.returncode == -ending and (ending != signal.SIGINT or complained.endswith("KeyboardInterrupt\n"))
    assert not told["server"] or wait_until(lambda: not is_running(told["server"]))
    runs = project.root / ".potash" / "prefect" / "runs"
    assert wait_until(lambda: not runs.is_dir() or not list(runs.iterdir()))


def test_two_runs_at_the_same_time_in_a_project_without_a_database(tmp_path):
    project = Project(tmp_path)
    both = [project.launch({"cell": 180 + number}) for number in range(2)]
    for number, process in enumerate(both):
        printed, complained = process.communicate(timeout=120)
        assert (complained, process.returncode) == ("", 0)
        assert json.loads(printed)["answer"] == [360.0 + 2 * number, 842.0]


def test_a_damaged_kept_database_is_made_again(project):
    (database,) = (project.root / ".potash" / "prefect").glob("migrated-*.db")
    database.write_bytes(b"not a database")
    assert project.run()["answer"] == [360.0, 842.0]
    assert database.read_bytes().startswith(b"SQLite format 3\x00")  # sqlite.org/fileformat.html, section 1.3


def test_without_a_network_nothing_hangs_or_complains(project):
    # Every address but 127.0.0.1 is behind a proxy that refuses; Prefect must not even ask.
    nowhere = "http://127.0.0.1:9"
    assert project.run(HTTP_PROXY=nowhere, HTTPS_PROXY=nowhere, ALL_PROXY=nowhere)["answer"] == [360.0, 842.0]


def test_a_folder_that_cannot_be_written_is_one_clear_message(tmp_path):
    project = Project(tmp_path)
    (project.root / ".potash").write_text("in the way")
    process = project.launch()
    _, complained = process.communicate(timeout=60)
    last = complained.strip().splitlines()[-1]
    assert "OrchestrationError" in last and ".potash" in last and "Make the folder writable" in last


def test_a_configured_server_that_is_away_is_named_with_the_remedy(project):
    answer = project.run(PREFECT_API_URL="http://127.0.0.1:9/api")
    assert "http://127.0.0.1:9/api does not answer" in answer["problem"]
    assert "unset PREFECT_API_URL" in answer["problem"]


def test_a_server_named_in_the_active_profile_is_used(project):
    server = TemporaryServer(project.root / ".potash" / "prefect")  # stands in for the team's own
    server.start()
    try:
        server.wait_until_ready()
        profiles = project.home / ".prefect" / "profiles.toml"
        profiles.parent.mkdir()
        profiles.write_text(f'active = "team"\n[profiles.team]\nPREFECT_API_URL = "{server.api_url}"\n')
        answer = project.run()
        runs = urllib.request.Request(f"{server.api_url}/flow_runs/count", data=b"{}", method="POST")
        runs.add_header("Content-Type", "application/json")
        counted = json.loads(urllib.request.urlopen(runs, timeout=10).read())
    finally:
        server.stop()
    assert answer == {"answer": [360.0, 842.0], "reuse": [0, 1], "server": None}
    assert counted == 1


def test_a_stage_that_closes_over_a_variable_is_refused():
    factor = 2
    with pytest.raises(TypeError, match="pass what it needs as arguments"):
        orchestration.stage_task(lambda table: table * factor)


def test_old_results_beyond_the_limit_are_removed(tmp_path):
    for number in range(5):
        (tmp_path / str(number)).write_text("kept")
        os.utime(tmp_path / str(number), (number, number))
    assert orchestration.prune_results(tmp_path, keep=2) == 3
    assert sorted(path.name for path in tmp_path.iterdir()) == ["3", "4"]
