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
LOAD = """
import json, sys, time
from pathlib import Path
from pipeline import sources
known = sources.load(Path(sys.argv[1])).sources
times = []
for _ in range(5):
    start = time.perf_counter()
    table = sources.load_table("usda-sr26", known, Path(sys.argv[1]))
    times.append(time.perf_counter() - start)
print(json.dumps({"first": times[0], "best": min(times), "rows": len(table.values)}))
"""


def _measured(code: str, *arguments: str) -> dict:
    done = subprocess.run([sys.executable, "-c", code, *arguments], cwd=ROOT, capture_output=True, text=True, check=True)
    return json.loads(done.stdout)


def main(archive: str) -> int:
    """Prints the measurements; 1 when one is over its bound."""
    with tempfile.TemporaryDirectory() as folder:
        for part in ("reference", "mappings"):
            (Path(folder) / part).symlink_to(ROOT / part)
        first, again = (_measured(IMPORT, archive, folder) for _ in range(2))
        load = _measured(LOAD, folder)
    print(f"import: {first['seconds']:.1f} s ({first['cpu_seconds']:.1f} s of processor), {first['gigabytes']:.2f} GB at most")
    print(f"import again: {again['seconds']:.1f} s ({again['state']})")
    print(f"load for a run: {load['first']:.2f} s the first time, {load['best']:.2f} s at best; {load['rows']:,} rows")
    within = first["seconds"] <= SECONDS and first["gigabytes"] <= GIGABYTES and load["first"] <= LOAD_SECONDS
    return 0 if within else 1


if __name__ == "__main__":
    sys.exit(main(str(Path(sys.argv[1]).resolve())))
