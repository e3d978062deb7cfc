"""How long reading 10,000 distinct ingredient lines takes, as a whole process, and 10,000 lines of one text.

    python tests/benchmarks/parse_speed.py

Only reports. The lines are the labelled ones of ``tests/data/parse_*.csv``, made distinct by a made-up last word.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
LINES = 10_000


def main() -> None:
    started = time.perf_counter()
    sys.path.insert(0, str(ROOT))
    import pandas as pd

    from pipeline import decisions
    from pipeline.stages.parse import parse

    maps = decisions.load()
    given = [pd.read_csv(path, dtype="str", keep_default_na=False)["text"] for path in sorted((ROOT / "tests" / "data").glob("parse_*.csv"))]
    written = list(dict.fromkeys(text for texts in given for text in texts))
    distinct = [f"{text} {chr(97 + number)}ern" if number else text for number in range(26) for text in written][:LINES]
    print(f"loaded in {time.perf_counter() - started:.1f} s")
    for what, texts in (("distinct lines", distinct), ("lines of one text", written[:1] * LINES)):
        before = time.perf_counter()
        parse(lines_of(pd.DataFrame({"text": texts})), maps.unit_words, maps.sizes, maps.states, maps.preparations)
        print(f"{len(texts):,} {what}: {time.perf_counter() - before:.1f} s")
    print(f"whole process {time.perf_counter() - started:.1f} s")


def lines_of(texts):
    """The texts as model Lines of one made-up recipe."""
    number = range(1, len(texts) + 1)
    return texts.assign(recipe_id="tern", variant_id="base", line_no=number, line_id=[f"tern/base/{one}" for one in number], section="",
                        origin="base", source_file="", source_line=0)


if __name__ == "__main__":
    main()
