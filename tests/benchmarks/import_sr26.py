"""How long a Standard Reference release takes to import and to load, and how much memory.

    python tests/benchmarks/import_sr26.py PATH_TO_THE_ZIP

Each measurement is a process of its own, as a steward starts it; the store is in a temporary
folder. Bounds: 15 s and 1.5 GB to import, 0.5 s to load what a run needs.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from pathlib import Path
from statistics import median

ROOT = Path(__file__).resolve().parents[2]
SECONDS, GIGABYTES, LOAD_SECONDS = 15.0, 1.5, 0.5

IMPORT = """
import json, resource, sys, time
start, cpu = time.perf_counter(), time.process_time()
from pathlib import Path
from pipeline.composition.importing import import_table
outcome = import_table("usda-sr-ascii", Path(sys.argv[1]), "usda-sr26", source_id="usda-sr26", root=Path(sys.argv[2]))
print(json.dumps({"state": outcome.state, "seconds": time.perf_counter() - start, "cpu_seconds": time.process_time() - cpu,
                  "gigabytes": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 / 1e9}))
"""
# As a run sees it: the command has loaded its libraries and the files of reference/, and then the table, once.
LOAD = """
import json, sys, time
from pathlib import Path
from pipeline import decisions, flow, sources
from pipeline.composition.combine_weigh import weighing
from pipeline.composition.load import load_table
from pipeline.content import content_key
root = Path(sys.argv[1])
reference, mappings = sources.load(root), decisions.load(root)
found = {}
def timed(name, work):
    start, cpu = time.perf_counter(), time.process_time()
    result = work()
    found[name], found[name + " cpu"] = time.perf_counter() - start, time.process_time() - cpu
    return result
table = timed("load", lambda: load_table("usda-sr26", reference.sources, root))
timed("weighing", lambda: weighing(reference, [table], mappings, root))
timed("key", lambda: content_key(table.entries, table.values))
timed("again", lambda: load_table("usda-sr26", reference.sources, root))
print(json.dumps({**found, "rows": len(table.values), "entries": len(table.entries)}))
"""
RUNS = 5  # processes that load; the machine may be busy, so the median counts


def _measured(code: str, *arguments: str) -> dict:
    done = subprocess.run([sys.executable, "-c", code, *arguments], cwd=ROOT, capture_output=True, text=True, check=True)
    return json.loads(done.stdout)


def main(archive: str) -> int:
    """Prints the measurements; 1 when one is over its bound."""
    with tempfile.TemporaryDirectory() as folder:
        for part in ("reference", "mappings"):
            (Path(folder) / part).symlink_to(ROOT / part)
        first, again = (_measured(IMPORT, archive, folder) for _ in range(2))
        loads = [_measured(LOAD, folder) for _ in range(RUNS)]
    print(f"import: {first['seconds']:.1f} s ({first['cpu_seconds']:.1f} s of processor), {first['gigabytes']:.2f} GB at most")
    print(f"import again: {again['seconds']:.1f} s ({again['state']})")
    load = {name: median(one[name] for one in loads) for name in loads[0]}
    print(f"load for a run: {load['load']:.2f} s ({load['load cpu']:.2f} s of processor), the median of {RUNS} runs; {load['entries']:,} entries, "
          f"{load['rows']:,} values; a second time in one process {load['again']:.2f} s")
    print(f"then its household measures and curated rows for weighing: {load['weighing']:.2f} s; the key of its content: {load['key']:.2f} s")
    within = first["seconds"] <= SECONDS and first["gigabytes"] <= GIGABYTES and load["load"] <= LOAD_SECONDS
    return 0 if within else 1


if __name__ == "__main__":
    if len(sys.argv) != 2 or not Path(sys.argv[1]).is_file():
        sys.exit("import_sr26.py: name the release as downloaded, a zip file: python tests/benchmarks/import_sr26.py PATH_TO_THE_ZIP")
    sys.exit(main(str(Path(sys.argv[1]).resolve())))
