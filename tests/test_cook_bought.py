"""Food that comes soaked, parboiled or cooked: whole lines through all stages, against the core."""

import pytest
from straight import run

# text of the line, method
LINES = {
    "soaked": ("100 g soaked chickpeas", "Boil the chickpeas for an hour and drain."),
    "soaked-nuts": ("100 g soaked cashews", "Blend the cashews."),
    "dry": ("200 g dried chickpeas, soaked overnight", "Boil the chickpeas for an hour and drain."),
    "pre-cooked": ("200 g pre-cooked rice", "Fry the rice for 5 minutes."),
    "ready-cooked": ("250 g ready-cooked lentils", "Warm the lentils in a pan."),
    "sheets": ("100 g pre-cooked lasagne sheets", "Bake for 30 minutes."),
    "parboiled": ("300 g parboiled potatoes", "Roast the potatoes for 40 minutes."),
    "parboiled-after": ("300 g potatoes, parboiled", "Roast the potatoes for 40 minutes."),
    "raw": ("300 g potatoes", "Roast the potatoes for 40 minutes."),
    "parboiled-rice": ("200 g parboiled rice", "Simmer the rice in water until all of it is absorbed."),
    "tinned-fish": ("120 g tuna in oil, drained", "Fry the tuna for 5 minutes."),
    "fried": ("50 g fried onions", "Scatter with the onions."),
}


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("bought")
    for name, (text, method) in LINES.items():
        (folder / f"{name}.yaml").write_text(f"id: {name}\nname: {name}\nportions: 1\nunits: uk\ningredients:\n  - \"{text}\"\nmethod:\n  - \"{method}\"\n", encoding="utf-8")
    tables = run(folder)
    joined = tables["settled"].merge(tables["cooked"][["line_id", "chain", "retention_code", "cook_reason"]], on="line_id")
    return joined.set_index("recipe_id")


@pytest.mark.parametrize("name", ["soaked", "soaked-nuts", "sheets", "fried"])
def test_food_whose_state_is_open_waits_for_a_person(made, name):
    """Soaked chickpeas are about half water: taken as dry, potassium would be twice too high (common practice); lasagne sheets of that name are dry."""
    assert made.at[name, "outcome"] != "accepted"


def test_what_is_soaked_after_weighing_is_weighed_dry(made):
    assert made.at["dry", "outcome"] == "accepted" and "raw" in made.at["dry", "entry_name"]


@pytest.mark.parametrize("name", ["pre-cooked", "ready-cooked"])
def test_food_that_comes_cooked_takes_no_factor_of_raw_food(made, name):
    line = made.loc[name]
    assert line["outcome"] == "accepted" and "cooked" in line["entry_name"]
    assert line["cook_reason"] == "already-cooked" and line["yield_fraction"] <= 1


def test_the_drained_solids_of_a_tin_were_cooked_in_it(made):
    line = made.loc["tinned-fish"]
    assert "canned" in line["entry_name"] and line["cook_reason"] == "already-cooked"


def test_parboiled_potatoes_were_boiled_and_drained(made):
    assert made.at["parboiled", "chain"] == made.at["parboiled-after", "chain"] == "boil:drained > bake"
    assert made.at["raw", "chain"] == "bake"
    # What is weighed parboiled has no peel any more; what is parboiled later has.
    assert made.at["parboiled", "edible_g"] == 300 > made.at["parboiled-after", "edible_g"]


def test_parboiled_rice_is_a_food_of_its_own(made):
    assert "parboiled" in made.at["parboiled-rice", "entry_name"] and made.at["parboiled-rice", "chain"] == "simmer:kept"


FULL_NAMES = ("Chicken, broilers or fryers, meat and skin, raw", "Leeks, (bulb and lower leaf-portion), raw", "Fish, salmon, Atlantic, farmed, raw",
              "Chickpeas (garbanzo beans, bengal gram), mature seeds, raw", "Rice, white, long-grain, regular, raw, unenriched")


def test_the_whole_published_name_of_an_entry_is_that_entry(tmp_path):
    """Names of USDA SR26 (published). Their commas, brackets and "or" hid a second food before, and the line waited for a person."""
    for number, name in enumerate(FULL_NAMES):
        (tmp_path / f"r{number}.yaml").write_text(f"id: r{number}\nname: r{number}\nportions: 1\ningredients:\n  - '100 g {name}'\nmethod:\n  - Boil in water until tender, then drain.\n", encoding="utf-8")
    settled = run(tmp_path)["settled"].sort_values("recipe_id")
    assert settled["entry_name"].tolist() == list(FULL_NAMES) and set(settled["outcome"]) == {"accepted"}
    assert set(settled["edible_g"]) == {100.0}
