"""A recipe calculated by hand, by the mixed method of recipe calculation.

Source of the method, from memory: FAO/INFOODS guidelines and the EuroFIR recipe
guideline: edible raw ingredient weights x composition per 100 g x retention factor per
ingredient, summed, and divided by the weight of the cooked dish (yield at the level of
the recipe). Source of the values, read: USDA SR26, NDB 20499, 01145 and 01009; USDA
retention factors release 6, code 0381 (pasta, boiled, drained). Energy: Regulation (EU)
1169/2011, Annex XIV, from memory.
"""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
import straight

RECIPE = """
id: buttered-penne
name: Buttered penne
portions: 4
finished_mass: 640 g
ingredients: [200 g dried penne, 20 g unsalted butter, 50 g cheddar]
method:
  - Boil the penne in plenty of water for 11 minutes, then drain.
  - Stir in the butter, sprinkle with the cheddar and serve.
"""
# component: per 100 g of macaroni, butter and cheddar; retention of the boiled and drained pasta
BY_HAND = {
    "K": ((223, 24, 98), 0.30),
    "P": ((189, 24, 512), 0.85),
    "NA": ((6, 11, 621), 0.50),
    "PROCNT": ((13.04, 0.85, 24.9), 1.0),
    "FAT": ((1.51, 81.11, 33.14), 1.0),
    "CHOCDF": ((74.67, 0.06, 1.28), 1.0),
    "FIBTG": ((3.2, 0.0, 0.0), 1.0),
}


def dish(component: str) -> float:
    """The whole dish, in the component's unit."""
    (pasta, butter, cheddar), retention = BY_HAND[component]
    return (200 * pasta * retention + 20 * butter + 50 * cheddar) / 100


@pytest.fixture(scope="module")
def figures(tmp_path_factory):
    file = tmp_path_factory.mktemp("recipe") / "buttered-penne.yaml"
    file.write_text(RECIPE, encoding="utf-8")
    table = straight.run(file)["figures"]
    return table.set_index(["component", "unit", "basis"])["value"]


@pytest.mark.parametrize(("component", "unit"), [
    ("K", "mg"), ("P", "mg"), ("NA", "mg"), ("PROCNT", "g"), ("FAT", "g"), ("CHOCDF", "g"), ("FIBTG", "g")])
def test_components(figures, component, unit):
    assert figures[component, unit, "recipe"] == pytest.approx(dish(component), rel=1e-9)
    assert figures[component, unit, "portion"] == pytest.approx(dish(component) / 4, rel=1e-9)
    assert figures[component, unit, "100g"] == pytest.approx(dish(component) * 100 / 640, rel=1e-9)


def test_energy_and_salt(figures):
    carbohydrate = dish("CHOCDF") - dish("FIBTG")
    kilojoules = 17 * dish("PROCNT") + 37 * dish("FAT") + 17 * carbohydrate + 8 * dish("FIBTG")
    assert figures["ENERC", "kJ", "portion"] == pytest.approx(kilojoules / 4, rel=1e-9)
    assert figures["NACL", "g", "portion"] == pytest.approx(dish("NA") * 2.5 / 1000 / 4, rel=1e-9)


def test_water_is_what_the_finished_weight_leaves(figures):
    # 640 g less the dry matter of the three foods (100 g less WATER: 9.9, 17.94, 36.75)
    dry_g = (200 * (100 - 9.9) + 20 * (100 - 17.94) + 50 * (100 - 36.75)) / 100
    assert figures["WATER", "g", "recipe"] == pytest.approx(640 - dry_g, rel=1e-9)
