"""Matching against labels that were written without sight of the matcher, its words or its weights.

``match_pairs_blind_a.csv`` and ``_b.csv``: lines as cooks write them, with every entry of the Standard Reference that the
labeller would accept. ``foreign_phrases.csv``: phrases coded with an invented table of another naming style
(``foreign_table.md``). The floors lie below what was measured, so that a change for the worse is seen. The
first measurement of each set, before anything was learned from it, stands beside its floor.
"""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from pipeline import match_bench
from pipeline.composition import store
from pipeline.composition.importing import import_table
from pipeline.root import ROOT

DATA = Path(__file__).parent / "data"


def judged(labelled: Path, bench: match_bench.Bench) -> pd.DataFrame:
    """The labelled lines with entry, outcome and whether the first candidate is one of the acceptable entries."""
    lines = pd.read_csv(labelled, dtype="str")
    parsed = bench.read(lines["text"].tolist())
    matched, candidates = bench.match(parsed)
    first = candidates[candidates["rank"] == 1].set_index("line_id")["entry_id"]
    found = parsed["line_id"].map(first).fillna("").to_numpy()
    right = [entry in accepted.split(";") for entry, accepted in zip(found, lines["acceptable"], strict=True)]
    return lines.assign(found=found, right=right, accepted=(matched["match_outcome"] == "accepted").to_numpy(),
                        there=(lines["acceptable"] != "none"))


@pytest.mark.outside_data
@pytest.mark.parametrize(("name", "top", "precision", "coverage", "none_accepted"), [
    ("blind_a", 0.93, 0.96, 0.75, 2),  # first: 0.937, 0.959, 0.869, 2 of 79
    ("blind_b", 0.93, 0.97, 0.65, 1),  # first: 0.956, 0.976, 0.759, 1 of 30 (double cream, whose label is in doubt)
])
def test_real_lines_against_a_whole_release(outside_data, name, top, precision, coverage, none_accepted):
    if "usda-sr26" not in store.names():
        pytest.skip("the table usda-sr26 is not imported here: potash tables import usda-sr-ascii PATH --name usda-sr26")
    lines = judged(DATA / f"match_pairs_{name}.csv", match_bench.open_bench("usda-sr26", decided=False))
    there, accepted = lines[lines["there"]], lines[lines["accepted"]]
    assert there["right"].mean() >= top
    assert accepted["right"].mean() >= precision
    assert there["accepted"].mean() >= coverage
    assert (lines["accepted"] & ~lines["there"]).sum() <= none_accepted
