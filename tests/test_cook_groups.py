"""Group words, pieces, salted water and pan juices in a method: what befalls lines that no word names. By hand; expectations are common practice, no source."""

from pathlib import Path

import pandas as pd
import pytest

from pipeline.stages.cook_names import line_of
from pipeline.stages.cook_reading import read_method
from pipeline.stages.cook_words import vocabulary

ROOT = Path(__file__).resolve().parents[1]
VERBS = vocabulary(pd.read_csv(ROOT / "mappings" / "cooking_verbs.csv", dtype=str, keep_default_na=False))
STEW = [("stewing beef", "beef"), ("onions", "other-vegetables"), ("carrots", "roots"), ("beef stock", "stock-sauce"), ("parsley", "herbs-spices")]
CHIPS = [("floury potatoes", "potatoes", "cut into chips"), ("carrots", "roots", "cut into batons"), ("salt", "salt"), ("sunflower oil", "fats-oils")]


def chains(foods, steps):
    """The chain of each food, and the least confidence."""
    lines = [line_of(f"r/base/{n}", phrase, kind, preparation=(more or [""])[0]) for n, (phrase, kind, *more) in enumerate(foods, start=1)]
    readings = read_method(lines, [steps], VERBS)
    return {line.phrase: reading.chain for line, reading in zip(lines, readings, strict=True)}, min(reading.confidence for reading in readings)


@pytest.mark.parametrize("method", [
    "Put everything in a casserole and stew for 2 hours.", "Throw it all in the slow cooker. Cook on low for 8 hours.", "Put the lot in a slow cooker and leave on low all day.",
    "Dump it all in the crockpot and cook on low for 8 hours.", "Sling the whole lot in a pan and let it bubble away for an hour.",
    "Put the ingredients in a casserole and stew for 2 hours.", "Simply put it all in a pan and simmer for an hour.",
    "Put the beef and onions in the slow cooker with everything else. Cook on low for 8 hours.", "All the ingredients go into one pot and simmer for an hour.",
])
def test_group_words_act_on_all_lines(method):
    """Some of these left the meat raw, or were read as a guess (0.5)."""
    found, confidence = chains(STEW, method)
    assert set(found.values()) == {"simmer:kept"}
    assert confidence >= (0.9 if "all day" not in method else 0.5)


@pytest.mark.parametrize("method", [
    "Put everything except the parsley in the slow cooker and cook on low for 8 hours. Scatter with the parsley.",
    "Put everything in the slow cooker and cook on low for 8 hours, until the beef falls apart. Stir in the parsley.",
    "Brown the beef. Add the rest of the ingredients and simmer for 2 hours. Sprinkle over the parsley and serve.",
    "Stick everything in the slow cooker bar the parsley. 8 hours on low.",
])
def test_group_words_leave_what_a_later_step_adds(method):
    found, _ = chains(STEW, method)
    assert found.pop("parsley") == "raw"
    assert all(chain.endswith("simmer:kept") for chain in found.values())


def test_the_rest_is_not_what_a_later_step_boils_or_mashes_in():
    foods = [("pork sausages", "sausage"), ("chopped tomatoes", "tomatoes"), ("potatoes", "potatoes"), ("butter", "fats-oils"), ("milk", "milk")]
    found, _ = chains(foods, "Brown the sausages, add the remaining ingredients for the casserole, cover and cook in the oven for 45 minutes. "
                             "Boil the potatoes until tender, drain, then mash with the butter and milk.")
    assert found == {"pork sausages": "stir-fry > bake", "chopped tomatoes": "bake", "potatoes": "boil:drained", "butter": "raw", "milk": "raw"}


@pytest.mark.parametrize("method", [
    "Boil the potatoes in a pan of water with the salt for 5 minutes. Drain the chips. Toss the chips in the oil and bake for 30 minutes.",
    "Bring a pan of water to the boil with the salt. Add the potatoes and carrots and cook for 5 minutes. Drain the veg. Tip the chips and batons onto a tray with the oil and bake for 30 minutes.",
    "Cook the potatoes in salted boiling water for 10 minutes. Drain. Toss the chips in the oil and bake for 30 minutes.",
    "Simmer the potatoes with the salt in plenty of water, then lift out the chips with a slotted spoon. Toss the chips in the oil and bake for 30 minutes.",
])
def test_salt_goes_with_the_water_whatever_the_drained_food_is_called(method):
    found, _ = chains(CHIPS, method)
    assert found["salt"] in ("boil:drained", "simmer:drained")
    assert found["floury potatoes"] == f"{found['salt']} > bake"
    assert "drained" not in found["sunflower oil"]


@pytest.mark.parametrize(("method", "chain"), [
    ("Boil the carrots in unsalted water for 10 minutes. Drain.", "raw"), ("Boil the carrots in water and drain. Season with the salt.", "raw"),
    ("Simmer the carrots in salted water until all the water is absorbed.", "simmer:kept"),
])
def test_salt_that_no_salted_water_took_stays(method, chain):
    assert chains(CHIPS[1:3], method)[0]["salt"] == chain


def test_gravy_from_the_juices_cooks_neither_the_roast_nor_the_vegetables():
    foods = [("whole chicken", "chicken"), ("lemon", "citrus"), ("carrots", "roots"), ("plain flour", "flour"), ("chicken stock", "stock-sauce")]
    found, _ = chains(foods, "Put the lemon inside the chicken and roast in a roasting tin for an hour. Boil the carrots for 6 minutes, then drain. "
                             "Stir the flour into the juices in the tin and cook for a minute. Pour in the stock and bubble until thickened.")
    assert found["whole chicken"] == "bake" and found["lemon"] == "bake" and found["carrots"] == "boil:drained"
    assert found["plain flour"].endswith("simmer:kept") and found["chicken stock"] == "simmer:kept"


def test_a_batter_goes_into_the_fat_with_what_is_dipped_in_it():
    foods = [("cod fillets", "lean-fish"), ("self-raising flour", "flour"), ("sparkling water", "drinks"), ("vegetable oil", "fats-oils"), ("potatoes", "potatoes")]
    found, _ = chains(foods, "Parboil the potatoes for 5 minutes and drain. Heat the oil to 180C. Whisk the flour with the sparkling water to make a batter. "
                             "Fry the chips for 6 minutes. Dip the fish in the batter and deep-fry for 5 minutes.")
    assert found == {"cod fillets": "fry", "self-raising flour": "fry", "sparkling water": "fry", "vegetable oil": "fry", "potatoes": "boil:drained > fry"}


def test_what_is_lifted_onto_a_tray_goes_on_cooking_there():
    foods = [("salmon fillets", "oily-fish"), ("soy sauce", "stock-sauce"), ("honey", "sugars")]
    found, _ = chains(foods, "Whisk the soy and honey, pour over the salmon and leave for 20 minutes. Lift the salmon onto a lined tray and grill for 8 minutes.")
    assert found["salmon fillets"] == "grill"


def test_fat_that_is_drained_is_no_cooking_water():
    foods = [("minced beef", "beef"), ("onion", "other-vegetables"), ("beef stock", "stock-sauce")]
    lines = [line_of(f"r/base/{n}", *food) for n, food in enumerate(foods, start=1)]
    beef, onion, stock = read_method(lines, ["Fry the mince, drain off the fat, add the onion and stock and simmer for 30 minutes."], VERBS)
    assert beef.chain == "stir-fry > simmer:kept" and onion.chain == stock.chain == "simmer:kept"
    assert beef.fat_poured and not stock.fat_poured
