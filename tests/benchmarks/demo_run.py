"""How long the demo run takes as a whole process, and how much memory: `python tests/benchmarks/demo_run.py [TIMES]`.

Measured in a copy of the project, so that the checkout's kept results and releases stay as they are:
a fresh run (no kept results; the environment and the server's database are there), a second run from
kept results, and what the frameworks alone take: an empty Prefect flow with the temporary server, and
the imports. The environment is taken to be installed.
"""

from __future__ import annotations

import os
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from command_line import MAIN, Project  # noqa: E402

EMPTY_FLOW = """
from pathlib import Path
from pipeline import orchestration
orchestration.prepare(Path.cwd())
with orchestration.quick_imports():
    from prefect import flow
@flow(name="empty")
def empty():
    return 1
orchestration.run_flow(empty)
orchestration.shut_down()
"""


def measured(code: str, arguments: list[str], project: Project) -> tuple[float, float]:
    """Seconds of wall time and peak MB of the process and its largest child."""
    before = time.monotonic()
    process = subprocess.Popen([sys.executable, "-P", "-c", code, *arguments], cwd=project.root, env=project.environment,
                               stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    _, status, usage = os.wait4(process.pid, 0)
    if os.waitstatus_to_exitcode(status) not in (0, 1):
        raise SystemExit("the run failed; run it by hand to see why")
    return time.monotonic() - before, usage.ru_maxrss / 1024


def main() -> None:
    times = int(sys.argv[1]) if len(sys.argv) > 1 else 3
    with tempfile.TemporaryDirectory() as folder:
        project = Project(Path(folder))
        measured("import pipeline.flow", [], project)  # compiles the copy once
        rows: dict[str, list[tuple[float, float]]] = {}
        for _ in range(times):
            shutil.rmtree(project.root / ".potash" / "results", ignore_errors=True)
            for name, code, arguments in (
                ("fresh run", MAIN, ["run"]), ("second run, from kept results", MAIN, ["run"]),
                ("Prefect alone: imports, temporary server, an empty flow", EMPTY_FLOW, []),
                ("imports alone: pandas, pandera, Prefect, the stages", "import pipeline.flow", []),
                ("imports alone: great_expectations", "import great_expectations", []),
                ("trace of one figure", MAIN, ["trace", "headland-cottage-pie", "K"])):
                rows.setdefault(name, []).append(measured(code, arguments, project))
    load = os.getloadavg()[0]
    print(f"{times} times each, on {len(os.sched_getaffinity(0))} cores; load average at the end {load:.1f}")
    for name, found in rows.items():
        seconds, megabytes = zip(*found, strict=True)
        print(f"  {name:<58} {min(seconds):6.2f} s best, {statistics.median(seconds):6.2f} s median, {max(megabytes):5.0f} MB at most")
    children = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    print(f"  largest process of all, the server's included where it was waited for: {children:.0f} MB")


if __name__ == "__main__":
    main()
