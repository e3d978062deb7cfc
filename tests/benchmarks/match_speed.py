"""How long matching takes as a whole process, and how much memory: 10,000 distinct phrases.

    python tests/benchmarks/match_speed.py            against the curated core
    python tests/benchmarks/match_speed.py ZIP        also against a whole Standard Reference release

Only reports. The phrases are the labelled lines of ``tests/data/match_pairs.csv`` with made-up
modifiers before them, so that every phrase is new to the matcher.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PHRASES = 10_000


def phrases() -> list[str]:
    import pandas as pd

    texts = pd.read_csv(ROOT / "tests" / "data" / "match_pairs.csv", dtype="str", keep_default_na=False)["text"].str.lower()
    bare = texts.str.replace(r"[\d½¼¾()./-]+", " ", regex=True).str.replace(r"\b(g|ml|kg|tbsp|tsp|tin|cup|x|of|a)\b", " ", regex=True)
    kinds = ["", "plain", "large", "sliced", "smooth", "spicy", "village", "winter", "roasted", "double", "creamy", "little", "golden", "harbour"]
    found = list(dict.fromkeys(f"{kind} {phrase.strip()}".strip() for kind in kinds for phrase in bare))
    return found[:PHRASES]


def measure(release: str) -> None:
    started = time.perf_counter()
    sys.path.insert(0, str(ROOT))
    import pandas as pd

    from pipeline import decisions, sources
    from pipeline.stages.match import Asked, Matcher

    reference, mappings = sources.load(), decisions.load()
    if release == "core":
        entries = sources.load_table("core", reference.sources).entries
    else:
        from pipeline.composition.usda_sr import read_release

        components = pd.read_csv(ROOT / "reference" / "components.csv", dtype="str", keep_default_na=False)
        entries = read_release(Path(release), components)[0]
    loaded = time.perf_counter()
    matcher = Matcher(entries, release, mappings.words, reference.match_weights, mappings.foods.iloc[:0],
                      reference.rule("accept_above"), reference.rule("review_above"))
    built = time.perf_counter()
    asked = phrases()
    for phrase in asked:
        matcher.answer(Asked(phrase))
    done = time.perf_counter()
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{Path(release).name}: {len(entries)} entries, {len(asked)} distinct phrases; import and load {loaded - started:.1f} s, index "
          f"{built - loaded:.1f} s, matching {done - built:.1f} s, most memory {memory:.0f} MB")


def main(arguments: list[str]) -> int:
    if arguments[:1] == ["--measure"]:
        measure(arguments[1])
        return 0
    for release in ["core", *arguments]:
        started = time.perf_counter()
        subprocess.run([sys.executable, __file__, "--measure", release], check=True)
        print(f"  whole process {time.perf_counter() - started:.1f} s")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
