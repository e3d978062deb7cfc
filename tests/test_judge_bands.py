"""Front-of-pack bands at their edges.

Source: UK guide to creating a front of pack nutrition label, 2013, criteria for 100 g (100 ml) and for portions over
100 g (150 ml); from memory. The criteria are written out again here, not read from the project's file.
"""

from __future__ import annotations

import pandas as pd
import pytest
from hand_figures import REFERENCE, figure, figures, recipes, variants

from pipeline.stages import judge_bands

CRITERIA = pd.read_csv(REFERENCE / "bands.csv", keep_default_na=False)
BIT = 1e-4
# component: low up to, high above, high in a portion above; of food, then of drinks. All in g.
FOOD = {"FAT": (3, 17.5, 21), "FASAT": (1.5, 5, 6), "SUGAR": (5, 22.5, 27), "NACL": (0.3, 1.5, 1.8)}
DRINK = {"FAT": (1.5, 8.75, 10.5), "FASAT": (0.75, 2.5, 3), "SUGAR": (2.5, 11.25, 13.5), "NACL": (0.3, 0.75, 0.9)}
FORMS = [("solid", "main", FOOD), ("liquid", "soup", FOOD), ("liquid", "drink", DRINK)]


def band(component, per_100g, portion_g=90.0, form="solid", course="main", **more) -> pd.Series:
    """The band of a figure, (value, low, high) or one number, in a dish with portions of this weight."""
    ends = per_100g if isinstance(per_100g, tuple) else (per_100g,) * 3
    rows = [figure(component, *ends, **more), figure(component, *(end * portion_g / 100 for end in ends), basis="portion", **more)]
    found = judge_bands.bands(figures(*rows), recipes(form, course), variants(), CRITERIA)
    assert len(found) == 4
    return found.set_index("component").loc[component]


@pytest.mark.parametrize("form, course, criteria", FORMS)
@pytest.mark.parametrize("component", FOOD)
def test_edges_per_100(form, course, criteria, component):
    low, high, _ = criteria[component]
    wanted = {low - BIT: "low", low: "low", low + BIT: "medium", high: "medium", high + BIT: "high"}
    assert {value: band(component, value, form=form, course=course)["band"] for value in wanted} == wanted


@pytest.mark.parametrize("form, course, criteria", FORMS)
@pytest.mark.parametrize("component", FOOD)
def test_a_big_portion_is_high_by_its_own_amount(form, course, criteria, component):
    portion = criteria[component][2]
    size, edge = 250.0, 150.0 if criteria is DRINK else 100.0
    assert band(component, (portion + BIT) / 2.5, size, form, course)["band"] == "high"
    assert band(component, portion / 2.5, size, form, course)["band"] == "medium"
    # A portion of the edge's own weight is not over it: only the amount per 100 g counts.
    high = criteria[component][1]
    assert band(component, high, edge, form, course)["band"] == "medium"


@pytest.mark.parametrize("ends, wanted", [
    ((2, 1, 3), "low"), ((2, 1, 3.1), "between low and medium"), ((10, 3.1, 17.5), "medium"), ((10, 3.1, 18), "between medium and high"),
    ((10, 1, 18), "between low and high"), ((20, 18, 25), "high")])
def test_a_band_is_stated_only_when_the_whole_interval_lies_in_it(ends, wanted):
    row = band("FAT", ends)
    assert row["band"] == wanted and (row["value"], row["low"], row["high"], row["portion_g"]) == (*ends, pytest.approx(90))


def test_a_big_portion_whose_amount_straddles_its_edge():
    # 400 g with 2.5 to 5.5 g of fat per 100 g hold 10 to 22 g: low or medium per 100 g, and may be high by the portion.
    assert band("FAT", (4, 2.5, 5.5), 400.0)["band"] == "between low and high"


def test_gaps_doubts_and_withheld_figures():
    assert band("FAT", 1.0, coverage=0.9, status="check")["band"] == "between low and high"
    assert band("FAT", 18.0, coverage=0.9, status="check")["band"] == "high"
    doubted = band("FAT", 1.0, status="check", reason="low confidence")
    assert doubted["band"] == "not stated" and "doubted" in doubted["reason"]
    withheld = judge_bands.bands(figures(figure("FAT", None), figure("FAT", None, basis="portion")), recipes(), variants(), CRITERIA)
    assert set(withheld["band"]) == {"not stated"} and withheld["reason"].str.len().gt(10).all()


def test_words_only():
    said = " ".join([*judge_bands.BANDS, *CRITERIA["note"], *CRITERIA["source_row"]])
    assert not any(colour in said for colour in ("red", "amber", "green"))
    assert judge_bands.bands(figures(), recipes(), variants().iloc[:0], CRITERIA).empty
