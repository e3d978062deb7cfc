"""Sizes, parts and slices; and the weights of ordinary lines, labelled before they were weighed.

The grams of ``data/weigh_lines.csv`` (what goes into the dish, least and most) are this project's own labels, from memory:
135 lines as home cooks in Britain and the USA write them.
"""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
from test_weigh_household import BOOKS, OPENED, bench, one, weighed  # noqa: F401 - ``bench`` is a fixture

from pipeline.stages import weigh_sizes
from pipeline.stages.weigh_lookup import find_measure, open_books
from pipeline.stages.weigh_names import Food, part_of

LINES = pd.read_csv(Path(__file__).parent / "data" / "weigh_lines.csv")
# No amount of a frying bath is guessed at.
WITHHELD = {"oil for deep frying"}


def test_ordinary_lines_weigh_what_was_written_down_before(bench):  # noqa: F811
    rows = pd.concat([weighed(bench, part["text"], system).assign(least=part["low_g"].to_numpy(), most=part["high_g"].to_numpy())
                      for system, part in LINES.groupby("units")])
    assert len(rows) >= 135 and set(rows.loc[rows["weigh_reason"] != "", "text"]) == WITHHELD
    outside = rows[~rows["edible_g"].between(rows["least"], rows["most"]) & (rows["weigh_reason"] == "")]
    assert len(outside) <= 1, outside[["text", "edible_g", "least", "most"]].to_string()  # mushrooms lose 3 % at the stalk
    over = (rows["low"] <= rows["most"]) & (rows["least"] <= rows["high"])
    assert over[rows["weigh_reason"] == ""].all()


# ---------------------------------------------------------------- sizes

def opened(**row):
    rows = pd.DataFrame([{**BOOKS["measures"].iloc[0].to_dict(), "measure_id": "x", "scope": "name", "scope_key": "marrow ball", "measure": "piece", "size": "",
                          "preparation": "", "low": 90.0, "middle": 100.0, "high": 110.0, "unit": "g", "table": "", "kitchen": "", **row}])
    return open_books(**{**BOOKS, "measures": rows})[0]


def doubts(books, measure="piece"):
    return [find_measure(books, Food("marrow ball", ""), measure, size, "").doubt for size in ("small", "medium", "large", "")]


def test_a_size_is_reckoned_from_the_one_that_is_known():
    assert doubts(opened(size="medium")) == ["small-from-medium", "", "large-from-medium", "usual-from-medium"]
    assert doubts(opened(size="large")) == ["small-from-large", "medium-from-large", "", "usual-from-large"]
    assert doubts(opened()) == ["", "", "", ""]  # a curated piece without a size is of every size
    assert doubts(opened(measure="leaf"), "leaf") == ["small-from-usual", "", "large-from-usual", ""]
    assert doubts(opened(table="t")) == ["small-from-usual", "medium-from-usual", "large-from-usual", ""]  # of a size nobody named
    assert find_measure(OPENED, Food("spinach", ""), "bag", "baby", "").doubt == ""  # a bag of baby spinach is no baby bag


def test_a_step_down_is_not_far_from_the_step_up_turned_round():
    spread = BOOKS["amount_spread"].set_index("kind")["relative_middle"]
    for asked in weigh_sizes.SIZES:
        for known in weigh_sizes.SIZES:
            if asked != known:
                assert spread[f"{asked}-from-{known}"] * spread[f"{known}-from-{asked}"] == pytest.approx(1, abs=0.06)
    assert (spread[[kind for kind in spread.index if kind not in weigh_sizes.STEPS]] == 1).all()


def test_sizes_of_published_foods_lie_within_the_steps(imported_sr26):
    """USDA SR26, WEIGHT.txt: foods of both halves that are weighed small, medium and large."""
    from pipeline.composition import store

    rows = store.load("usda-sr26", [], imported_sr26, originals=False).measures
    one_of = rows[rows["measure"] == "piece"].pivot_table(index=["scope_key", "preparation"], columns="size", values="middle")
    spread = BOOKS["amount_spread"].set_index("kind")
    inside = []
    for asked, known in (("large", "medium"), ("small", "medium"), ("large", "small"), ("medium", "large")):
        ratio = (one_of[asked] / one_of[known]).dropna()
        step = spread.loc[f"{asked}-from-{known}"]
        inside.append(ratio.between(step["relative_low"], step["relative_high"]).mean())
        assert len(ratio) > 40
    assert min(inside) >= 0.85, inside


def test_an_extra_large_one_is_more_than_a_large_one(bench):  # noqa: F811
    plain, extra, jumbo = (one(bench, f"2 {size} eggs", "us") for size in ("large", "extra-large", "jumbo"))
    assert plain.edible_g == 100 and extra.edible_g == jumbo.edible_g == pytest.approx(120)
    assert extra.low < 2 * 56 < 2 * 63 < extra.high  # USDA SR26: 56 and 63 g


def test_a_thin_slice_is_less_than_a_slice(bench):  # noqa: F811
    rows = weighed(bench, ["2 slices onion", "2 thin slices onion", "2 slices onion, thin", "2 thick slices onion"])
    usual, thin, behind, thick = rows["edible_g"]
    assert thin == behind == pytest.approx(0.68 * usual) and thick == pytest.approx(1.47 * usual)


# ---------------------------------------------------------------- parts, and baby vegetables

@pytest.mark.parametrize("phrase, part", [
    ("half peach", "half"), ("peach halves", "half"), ("ring green pepper", "ring"), ("quarter cabbage", "quarter"), ("half", ""), ("", ""),
    ("leg of lamb", ""), ("green pepper", ""), ("spring onion", ""),
])
def test_which_part_is_named(phrase, part):
    assert part_of(phrase) == part


def test_a_part_that_is_named_first_is_not_the_whole(bench):  # noqa: F811
    half, ring = one(bench, "1 half peach"), one(bench, "1 ring green pepper")
    assert (half.measure_id, ring.measure_id) == ("peach-half", "pepper-ring")
    assert one(bench, "1 quarter cabbage").weigh_reason == "no-measure"


def test_a_large_baby_carrot_is_a_baby_carrot(bench):  # noqa: F811
    assert one(bench, "2 large baby carrots").edible_g < 40 < one(bench, "1 large carrot").edible_g
    young = Food("zucchini squash", "", "E", "Squash, zucchini, baby, raw", "", "other-vegetables")
    found = find_measure(OPENED, young, "piece", "medium", "")
    assert found is None or found.measure.middle < 40
