"""How long matching takes as a whole process, how much memory, and the rapidfuzz WRatio matrix beside it.

    python tests/benchmarks/match_speed.py                  the whole Standard Reference release, imported as usda-sr26
    python tests/benchmarks/match_speed.py core             the curated core
    python tests/benchmarks/match_speed.py usda-sr26 500    with another number of phrases for the WRatio matrix

Only reports. 10,000 distinct phrases: the labelled lines of ``tests/data/match_pairs.csv`` with made-up modifiers
before them, so that every phrase is new to the matcher. The WRatio matrix (every phrase against every name,
the best name of each) runs on some of the phrases in the same run, on both cores, and is scaled up: it would take minutes.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PHRASES, MATRIX_PHRASES = 10_000, 400


def phrases() -> list[str]:
    import pandas as pd

    texts = pd.read_csv(ROOT / "tests" / "data" / "match_pairs.csv", dtype="str", keep_default_na=False)["text"].str.lower()
    bare = texts.str.replace(r"[\d½¼¾()./-]+", " ", regex=True).str.replace(r"\b(g|ml|kg|tbsp|tsp|tin|cup|x|of|a)\b", " ", regex=True)
    kinds = ["", "plain", "large", "sliced", "smooth", "spicy", "village", "winter", "roasted", "double", "creamy", "little", "golden", "harbour"]
    found = list(dict.fromkeys(f"{kind} {phrase.strip()}".strip() for kind in kinds for phrase in bare))
    return found[:PHRASES]


def measure(table: str) -> None:
    """Loads, indexes and matches; prints the seconds of each and the most memory."""
    started = time.perf_counter()
    sys.path.insert(0, str(ROOT))
    from pipeline import decisions, sources
    from pipeline.composition.load import load_table
    from pipeline.stages.match import Asked, Matcher

    reference, mappings = sources.load(), decisions.load()
    composition = load_table(table, reference.sources)
    loaded = time.perf_counter()
    matcher = Matcher(composition.entries, table, mappings.words, reference.match_weights, mappings.foods.iloc[:0],
                      reference.rule("accept_above"), reference.rule("review_above"), values=composition.values, rules=reference.rules)
    built = time.perf_counter()
    asked = [Asked(phrase) for phrase in phrases()]
    matcher.answers(asked)
    done = time.perf_counter()
    matcher.answers(asked[:50] * 200)
    again = time.perf_counter()
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{table}: {len(composition.entries)} entries, {len(asked)} distinct phrases; import and load {loaded - started:.1f} s, index "
          f"{built - loaded:.1f} s, matching {done - built:.1f} s (50 phrases repeated 200 times: {again - done:.2f} s), most memory {memory:.0f} MB")


def matrix(table: str, count: int) -> float:
    """Seconds of the WRatio matrix for all phrases, from ``count`` of them."""
    sys.path.insert(0, str(ROOT))
    from rapidfuzz import fuzz, process

    from pipeline import sources
    from pipeline.composition.load import load_table

    names = load_table(table, sources.load().sources).entries["name"].str.lower().tolist()
    every = phrases()
    asked = every[::max(len(every) // count, 1)][:count]
    started = time.perf_counter()
    process.cdist(asked, names, scorer=fuzz.WRatio, workers=2).argmax(axis=1)
    return (time.perf_counter() - started) * len(every) / len(asked)


def main(arguments: list[str]) -> int:
    if arguments[:1] == ["--measure"]:
        measure(arguments[1])
        return 0
    table = arguments[0] if arguments else "usda-sr26"
    started = time.perf_counter()
    subprocess.run([sys.executable, __file__, "--measure", table], check=True)
    whole = time.perf_counter() - started
    against = matrix(table, int(arguments[1]) if len(arguments) > 1 else MATRIX_PHRASES)
    print(f"  whole process {whole:.1f} s; WRatio matrix {against:.0f} s (scaled up), {against / whole:.0f} times as long")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
