"""What the frameworks alone cost, in whole processes: run it as `python tests/benchmarks/frameworks_floor.py`.

Each figure is the wall time of a process from its start to its end, the best of the given number of runs,
on files the system has read before. "plain" is Prefect as it comes, with a home of its own; "ours" is
`pipeline.orchestration`. "fresh" includes the migrations of an empty server database. The last line is
what `potash run` cannot go below: server, six stages of four tasks, and a Great Expectations report made in
a second process, with no computing in the tasks.
"""

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

PROJECT = Path(__file__).resolve().parents[2]

STAGE = "def add(number, tag):\n    return number + 1\n"

PLAIN_FLOW = """
from prefect import flow, task
import stage
@flow
def six():
    futures = [task(stage.add).submit(number, 'x') for number in range(6)]
    return [future.result() for future in futures]
assert six() == [1, 2, 3, 4, 5, 6]
"""

OUR_FLOW = """
import sys, time
from pathlib import Path
from pipeline.orchestration import prepare, quick_imports, run_flow, stage_task
prepare(Path(sys.argv[1]))
with quick_imports():
    from prefect import flow
    import stage
add = stage_task(stage.add)
tag = sys.argv[2] or str(time.time())
@flow
def six():
    futures = [add.submit(number, tag) for number in range(6)]
    return [future.result() for future in futures]
assert run_flow(six) == [1, 2, 3, 4, 5, 6]
"""

SERVER = """
import sys
from pathlib import Path
from pipeline.temporary_server import TemporaryServer
server = TemporaryServer(Path(sys.argv[1]) / '.potash' / 'prefect')
server.start()
server.wait_until_ready()
"""

CHECKER = """
import sys
from pipeline.orchestration import quick_imports
with quick_imports():
    import great_expectations as gx, pandas as pd
    import great_expectations.expectations as expect
source = gx.get_context(mode='ephemeral').data_sources.add_pandas('released')
sys.stdin.readline()
table = pd.DataFrame({'value': range(5000)})
whole = source.add_dataframe_asset('figures').add_batch_definition_whole_dataframe('whole')
batch = whole.get_batch(batch_parameters={'dataframe': table})
wanted = [expect.ExpectColumnValuesToBeBetween(column='value', min_value=low) for low in range(-15, 0)]
assert batch.validate(gx.ExpectationSuite(name='figures', expectations=wanted)).success
"""

WHOLE = """
import subprocess, sys, time
from pathlib import Path
from pipeline.orchestration import prepare, quick_imports, run_flow, stage_task
prepare(Path(sys.argv[1]))
with quick_imports():
    import pandas, pandera.pandas
    from prefect import flow
    import stage
add, tag = stage_task(stage.add), str(time.time())
@flow
def whole():
    global checker
    checker = subprocess.Popen([sys.executable, 'checker.py'], stdin=subprocess.PIPE, stderr=subprocess.DEVNULL)
    for number in range(6):
        [future.result() for future in [add.submit(number, f'{tag} {part}') for part in range(4)]]
run_flow(whole)
checker.communicate(b'\\n')
assert checker.returncode == 0
"""


def process_seconds(arguments: list[str], folder: Path, repeats: int, empty_before: bool = False) -> float:
    """The shortest wall time of `python arguments` in `folder`; `empty_before` removes Prefect's state first."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("PREFECT_")}
    settings = {"HOME": str(folder), "PYTHONPATH": str(PROJECT), "DO_NOT_TRACK": "1", "GX_ANALYTICS_ENABLED": "false"}
    taken = []
    for _ in range(repeats):
        if empty_before:
            shutil.rmtree(folder / ".potash", ignore_errors=True)
            shutil.rmtree(folder / ".prefect", ignore_errors=True)
        started = time.perf_counter()
        subprocess.run(
            [sys.executable, *arguments], cwd=folder, env=kept | settings, check=True, capture_output=True
        )
        taken.append(time.perf_counter() - started)
    return min(taken)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--repeats", type=int, default=3)
    repeats = parser.parse_args().repeats
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        scripts = {"stage": STAGE, "plain": PLAIN_FLOW, "ours": OUR_FLOW, "server": SERVER, "whole": WHOLE}
        for script, text in (scripts | {"checker": CHECKER}).items():
            (folder / f"{script}.py").write_text(text)
        rows = [("python starts", ["-c", ""], False)]
        for module in ("pandas", "pandera.pandas", "great_expectations", "prefect.main"):
            rows.append((f"import {module}", ["-c", f"import {module}"], False))
        rows += [
            ("six tasks, plain, fresh", ["plain.py"], True),
            ("six tasks, plain", ["plain.py"], False),
            ("temporary server ready, fresh", ["server.py", name], True),
            ("temporary server ready", ["server.py", name], False),
            ("six tasks, ours", ["ours.py", name, ""], False),
            ("six tasks, ours, results reused", ["ours.py", name, "same"], False),
            ("checks report alone", ["checker.py"], False),
            ("floor: 24 tasks and checks report", ["whole.py", name], False),
        ]
        for label, arguments, empty_before in rows:
            seconds = process_seconds(arguments, folder, 1 if empty_before else repeats, empty_before)
            print(f"{label:36s} {seconds:6.2f} s", flush=True)


if __name__ == "__main__":
    main()
