"""Which cooking befell which line: a labelled set, and one feature at a time."""

from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ruamel.yaml import YAML

from pipeline.stages.cook import _main_step
from pipeline.stages.cook_reading import read_method
from pipeline.stages.cook_names import line_of, mentions
from pipeline.stages.cook_words import minutes_in, sentences, vocabulary

ROOT = Path(__file__).resolve().parents[1]
VERBS = pd.read_csv(ROOT / "mappings" / "cooking_verbs.csv", dtype=str, keep_default_na=False)
LABELS = YAML(typ="safe").load((ROOT / "tests" / "data" / "method_labels.yaml").read_text(encoding="utf-8"))


def read(foods, steps):
    """``foods``: (phrase, class) or (phrase, class, "cooked"); the readings by phrase."""
    lines = [line_of(f"r/base/{n}", food[0], food[1], cooked_already=len(food) > 2) for n, food in enumerate(foods, start=1)]
    found = read_method(lines, [steps] if isinstance(steps, str) else steps, vocabulary(VERBS))
    return {food[0]: reading for food, reading in zip(foods, found, strict=True)}


def labelled():
    """(recipe, phrase, label, found, confidence) of every labelled line."""
    rows = []
    for recipe in LABELS:
        foods = [(line[0], line[1], *line[3:]) for line in recipe["lines"]]
        lines = [line_of(f"{recipe['id']}/base/{n}", food[0], food[1], cooked_already=len(food) > 2) for n, food in enumerate(foods, 1)]
        for line, reading in zip(recipe["lines"], read_method(lines, recipe["steps"], vocabulary(VERBS)), strict=True):
            method, liquid = _main_step(reading.steps)
            # "bake" and "bake:kept" only differ in meat drippings: a label without liquid takes both
            found = method + (":" + liquid if liquid and ":" in line[2] else "")
            rows.append((recipe["id"], line[0], line[2], found, reading.confidence, reading.chain))
    return pd.DataFrame(rows, columns=["recipe", "line", "label", "found", "confidence", "chain"])


def test_labelled_set_is_large_enough():
    assert len(LABELS) >= 45
    assert sum(len(recipe["lines"]) for recipe in LABELS) >= 280


def test_nine_of_ten_labelled_lines_are_right():
    rows = labelled()
    wrong = rows[rows["label"] != rows["found"]]
    assert len(wrong) <= 0.1 * len(rows), "\n" + wrong.to_string()


def test_sure_readings_are_right():
    """Of the lines read with confidence 0.8 or more, at least 95 % are right."""
    rows = labelled()
    sure = rows[rows["confidence"] >= 0.8]
    assert len(sure) > 150
    assert (sure["label"] == sure["found"]).mean() >= 0.95


def test_vocabulary_is_large_and_closed():
    assert len(VERBS) >= 120
    assert not VERBS["phrase"].duplicated().any()
    actions = {"cook", "heat", "add", "place", "combine", "remove", "drain", "rest", "prepare", "serve", "water", "absorbed", "off"}
    methods = {"boil", "simmer", "steam", "fry", "stir-fry", "bake", "grill", "microwave", "soak", "reheat"}
    assert set(VERBS["method"]) <= actions | methods
    assert set(VERBS["liquid"]) <= {"", "kept", "drained"}


@pytest.mark.parametrize(("text", "minutes"), [
    ("simmer for 20 minutes", 20), ("for 10-12 minutes", 11), ("for 1 hour", 60), ("1½ hours", 90), ("1 1/2 hours", 90), ("half an hour", 30),
    ("an hour", 60), ("1 hour 20 minutes", 80), ("overnight", 480), ("30 seconds", 0.5), ("a couple of minutes", 2), ("at 200C for 45 mins", 45),
    ("2 to 3 minutes", 2.5),
])
def test_minutes(text, minutes):
    assert minutes_in(text) == pytest.approx(minutes)


def test_no_minutes_is_not_zero():
    assert pd.isna(minutes_in("until tender, at 180C, gas mark 4"))


def test_sentences_keep_decimal_points():
    assert sentences("Boil 1.5 litres. Add the rice; stir.") == ["Boil 1.5 litres", "Add the rice", "stir"]


def names(text, *foods):
    lines = [line_of("r/base/1", phrase, cooking_class) for phrase, cooking_class in foods]
    return [foods[n][0] for n in mentions(text, lines).lines()]


def test_a_short_name_means_the_line_with_that_head():
    foods = [("leeks", "other-vegetables"), ("chicken thighs", "chicken"), ("chicken stock", "stock-sauce"), ("spring onions", "other-vegetables")]
    assert names("the leeks", *foods) == ["leeks"]
    assert names("brown the chicken", *foods) == ["chicken thighs"]
    assert names("pour in the stock", *foods) == ["chicken stock"]


def test_group_words():
    foods = [("carrots", "roots"), ("kale", "leafy-greens"), ("beef", "beef"), ("vegetable oil", "fats-oils")]
    assert names("the vegetables", *foods) == ["carrots", "kale"]
    assert names("the meat", *foods) == ["beef"]


def test_pepper_beside_salt_is_the_spice():
    foods = [("red pepper", "other-vegetables"), ("black pepper", "herbs-spices")]
    assert names("season with salt and pepper", *foods) == ["black pepper"]
    assert names("fry the peppers", *foods) == ["red pepper"]


def test_drain_applies_to_what_was_boiled_last():
    found = read([("penne", "pasta"), ("tomatoes", "tomatoes", "cooked"), ("onion", "other-vegetables"), ("oil", "fats-oils")],
                 ["Boil the penne for 10 minutes.", "Meanwhile fry the onion in the oil, add the tomatoes and simmer for 10 minutes.", "Drain the pasta and toss with the sauce."])
    assert found["penne"].chain == "boil:drained"
    assert found["tomatoes"].chain == "simmer:kept"
    assert found["onion"].chain == "stir-fry > simmer:kept"


def test_listed_water_that_is_poured_away_and_water_of_a_soup():
    poured = read([("water", "water"), ("carrots", "roots")], "Bring the water to the boil, add the carrots, cook for 10 minutes and drain.")
    assert poured["water"].chain == poured["carrots"].chain == "boil:drained"
    soup = read([("water", "water"), ("carrots", "roots")], "Put the carrots and water in a pan, bring to the boil and simmer for 20 minutes.")
    assert soup["water"].chain == soup["carrots"].chain == "simmer:kept"


def test_tap_water_is_not_the_listed_water():
    found = read([("potatoes", "potatoes"), ("water", "water"), ("leek", "other-vegetables")],
                 ["Boil the potatoes in a pan of water for 10 minutes and drain.", "Put the leek, potatoes and the water in a pan and simmer for 15 minutes."])
    assert found["water"].chain == "simmer:kept"
    assert found["potatoes"].chain == "boil:drained > simmer:kept"


def test_chain_soaked_boiled_twice_baked():
    found = read([("potatoes", "potatoes"), ("oil", "fats-oils")],
                 ["Soak the potatoes in cold water for 2 hours, then drain.", "Boil in fresh water for 10 minutes and drain.", "Cover with fresh water, boil for 10 minutes and drain again.",
                  "Toss with the oil and roast for 40 minutes."])
    assert found["potatoes"].chain == "soak:drained > boil:drained > boil:drained > bake"


def test_absorbed_water_is_kept():
    found = read([("rice", "rice"), ("water", "water")], "Boil the rice in the water for 12 minutes until it has been absorbed.")
    assert found["rice"].chain == found["water"].chain == "boil:kept"


def test_everything_the_rest_and_except():
    foods = [("rice", "rice"), ("milk", "milk"), ("sugar", "sugars"), ("jam", "sugars")]
    found = read(foods, "Put all the ingredients except the jam in a dish and bake for 1 hour. Serve with the jam.")
    assert [reading.steps[0][0] for reading in found.values()] == ["bake", "bake", "bake", "raw"]
    found = read(foods, ["Boil the rice for 10 minutes and drain.", "Add the remaining ingredients and simmer for 5 minutes."])
    assert found["sugar"].chain == "simmer:kept"


def test_pronoun_means_what_was_named_last():
    found = read([("leeks", "other-vegetables"), ("butter", "fats-oils")], "Chop the leeks. Steam them for 5 minutes.")
    assert found["leeks"].chain == "steam"
    assert found["leeks"].rule == "pronoun"
    assert read([("leeks", "other-vegetables")], "Steam the leeks for 5 minutes.")["leeks"].rule == "named"


@pytest.mark.parametrize(("steps", "chain"), [
    ("Put it in a pan with the water, bring to the boil and cook for 10 minutes until absorbed.", "boil:kept"),
    ("Put the rice in the slow cooker with the water. Cook on low for 2 hours.", "simmer:kept"),
    ("Soak the rice for an hour. Tip that water away.", "soak:drained"),
    ("Cover the rice with water and leave overnight. Pour off the water.", "soak:drained"),
    ("Plunge the rice into boiling water for 5 minutes, then drain.", "boil:drained"),
    ("Cook the rice in boiling water for 10 minutes, adding the salt for the last minute. Drain.", "boil:drained"),
    ("Bake the rice with the water in a covered dish for 1 hour.", "bake:kept"),
])
def test_ways_of_saying_where_the_water_goes(steps, chain):
    found = read([("rice", "rice"), ("water", "water"), ("salt", "salt")], ["Rinse the rice.", steps])
    assert found["rice"].chain == chain


def test_stock_that_is_strained_is_kept_and_gammon_lifted_out_is_not():
    stock = read([("bones", "beef"), ("water", "water")], "Simmer the bones in the water for 2 hours. Strain the stock.")
    assert stock["bones"].chain == stock["water"].chain == "simmer:kept"
    gammon = read([("gammon", "bacon-ham")], "Cover the gammon with cold water, bring to the boil and simmer for 1 hour. Lift out the gammon and carve.")
    assert gammon["gammon"].chain == "simmer:drained"


def test_a_condiment_does_not_make_a_stew_of_a_stir_fry():
    found = read([("beef", "beef"), ("soy sauce", "stock-sauce"), ("oil", "fats-oils")],
                 "Heat the oil in a wok and fry the beef for 2 minutes. Add the soy sauce and cook for 1 minute.")
    assert found["beef"].chain == "stir-fry"


def test_a_chain_that_no_cook_follows_is_in_doubt():
    found = read([("pie", "bread"), ("leeks", "other-vegetables")], "Bake the leeks for 20 minutes. Boil the leeks for 5 minutes and drain.")
    assert found["leeks"].rule == "implausible"
    assert found["leeks"].confidence < 0.2


def test_cooked_in_passing_at_the_table():
    found = read([("beef", "beef"), ("potatoes", "potatoes"), ("wraps", "bread")],
                 "Grill the beef for 5 minutes. Serve with boiled potatoes and the wraps, warmed in the microwave.")
    assert found["potatoes"].chain == "boil:drained"
    assert found["wraps"].chain == "microwave"


def test_section_headings_name_a_pot():
    lines = [line_of("r/base/1", "cod", "lean-fish"), line_of("r/base/2", "butter", "fats-oils", "For the sauce"), line_of("r/base/3", "milk", "milk", "For the sauce")]
    found = read_method(lines, ["Simmer the sauce ingredients for 5 minutes.", "Grill the cod for 8 minutes and serve with the sauce."], vocabulary(VERBS))
    assert [reading.chain for reading in found] == ["grill", "simmer:kept", "simmer:kept"]


def test_what_is_added_at_the_end_is_not_cooked():
    found = read([("leek", "other-vegetables"), ("stock", "stock-sauce"), ("parsley", "herbs-spices"), ("cream", "cream-yogurt")],
                 "Simmer the leek in the stock for 20 minutes. Take off the heat, stir in the cream and the parsley and serve.")
    assert found["parsley"].chain == found["cream"].chain == "raw"
    assert found["leek"].chain == "simmer:kept"


def test_wine_stirred_in_at_the_end_is_only_warmed():
    found = read([("gravy", "stock-sauce"), ("sherry", "alcohol")], "Simmer the gravy for 10 minutes, stir in the sherry and serve.")
    assert found["sherry"].chain == "reheat"


def test_nouns_and_states_are_no_instructions():
    found = read([("oil", "fats-oils"), ("onion", "other-vegetables")], "Heat the oil over a medium heat and fry the onion until ready to boil over, without browning.")
    assert found["onion"].chain == "stir-fry"


def test_no_method_and_not_mentioned():
    nothing = read([("beef", "beef")], [])
    assert (nothing["beef"].reason, nothing["beef"].chain) == ("no-method", "raw")
    assert nothing["beef"].confidence < 0.5
    missed = read([("beef", "beef"), ("kale", "leafy-greens")], "Roast the beef for 1 hour.")
    assert (missed["kale"].reason, missed["kale"].chain, missed["kale"].confidence) == ("not-mentioned", "raw", 0.2)


def test_evidence_is_the_words_of_the_method():
    found = read([("peas", "other-vegetables")], ["Boil the peas for 3 minutes.", "Drain well."])
    assert found["peas"].evidence == "Boil the peas for 3 minutes | Drain well"
    assert found["peas"].minutes == 3


@pytest.mark.parametrize("step", ["", "...", "!!!", "Serve.", "🍲", "a" * 5000, "drain drain drain", "until until until", "bring it back to the boil then"])
def test_odd_steps_do_not_break_the_reading(step):
    found = read([("rice", "rice"), ("", "")], [step, "Boil the rice."])
    assert set(found) == {"rice", ""}


PHRASES = st.sampled_from([*VERBS["phrase"], "the rice", "the onion and oil", "water", "it", "everything", "the sauce", "for 10 minutes", "until soft", ",", ".", "and", "then"])


@settings(max_examples=150, deadline=None)
@given(st.lists(PHRASES, max_size=25))
def test_any_words_give_every_line_one_reading(words):
    foods = [("rice", "rice"), ("onion", "other-vegetables"), ("oil", "fats-oils"), ("water", "water"), ("milk", "milk")]
    found = read(foods, " ".join(words))
    assert list(found) == [phrase for phrase, _ in foods]
    for reading in found.values():
        assert reading.steps and len(reading.steps) == max(len(reading.times), 1)
        assert 0 < reading.confidence <= 1
        assert all(liquid in ("", "kept", "drained") for _, liquid in reading.steps)
        assert reading.evidence or reading.reason in ("not-mentioned", "no-method")


def test_garnish_for_the_table_is_not_the_ingredient_of_that_name():
    lines = [line_of("r/base/1", "lemon", "citrus"), line_of("r/base/2", "lemon wedges", "citrus", serve=True)]
    found = read_method(lines, ["Roast the lemon for 20 minutes."], vocabulary(VERBS))
    assert [reading.chain for reading in found] == ["bake", "raw"]


@pytest.mark.parametrize(("steps", "chain", "rule"), [
    ("Boil the potatoes for 15 minutes, then drain, reserving the water. Mash with the reserved water and the butter.", "boil:kept", "liquid-likely"),
    ("Boil the potatoes for 15 minutes and drain, keeping the cooking water for the gravy. Stir the flour into the water and simmer to a gravy.",
     "boil:kept > simmer:kept", "liquid-unsaid"),
    ("Boil the potatoes for 10 minutes and drain. Cover with fresh water, boil for 15 minutes. Drain and save the water. Whisk the water into the flour for a gravy.",
     "boil:drained > boil:kept", "liquid-likely"),
    ("Boil the potatoes for 10 minutes and drain. Blend with the cooking liquid.", "boil:kept", "liquid-likely"),
    ("Boil the potatoes for 10 minutes. Lift out with a slotted spoon and blend with the cooking liquid.", "boil:kept", "liquid-likely"),
    ("Boil the potatoes. Drain and reserve the liquid.", "boil:kept", "liquid-saved"),
    ("Boil the potatoes for 10 minutes and drain, reserving the water. Mash, adding a few tablespoons of the reserved water.", "boil:drained", "liquid-unsaid"),
    ("Boil the potatoes for 10 minutes and drain. Throw the reserved water away.", "boil:drained", "named"),
    ("Boil the potatoes for 10 minutes and drain. Never use the cooking water for gravy.", "boil:drained", "named"),
    ("Boil the potatoes for 10 minutes, leave to cool in the cooking water, then drain.", "boil:drained", "named"),
    ("Soak the potatoes overnight, then tip them with their water into the pan and boil. Mash.", "soak:kept > boil:kept", "liquid-unsaid"),
    ("Soak the potatoes overnight. Boil them in the soaking water for 15 minutes and drain.", "soak:kept > boil:drained", "liquid-likely"),
    ("Soak the potatoes overnight and drain. Boil them in fresh water for 15 minutes and drain.", "soak:drained > boil:drained", "named"),
])
def test_water_that_is_eaten_is_not_poured_away(steps, chain, rule):
    found = read([("potatoes", "potatoes"), ("butter", "fats-oils"), ("flour", "flour")], steps)["potatoes"]
    assert (found.chain, found.rule) == (chain, rule)
    assert ("do not say what for" in found.evidence) == (rule == "liquid-saved")


def test_a_splash_of_the_pasta_water_is_not_the_water():
    foods = [("penne", "pasta"), ("tomato sauce", "stock-sauce")]
    found = read(foods, "Boil the penne for 10 minutes. Drain, reserving the cooking water. Toss with the sauce, adding a ladleful of the pasta water.")
    assert (found["penne"].chain, found["penne"].rule) == ("boil:drained", "liquid-unsaid")


KINDS = {
    "potatoes": "potatoes", "peppers": "other-vegetables", "cabbage": "leafy-greens", "carrots": "roots", "onion": "other-vegetables", "leeks": "other-vegetables",
    "spinach": "leafy-greens", "beef": "beef", "chicken": "chicken", "bone-in chicken thighs": "chicken", "rump steak": "beef", "salmon": "oily-fish", "egg": "eggs",
    "oil": "fats-oils", "butter": "fats-oils", "cornflour": "flour", "flour": "flour", "milk": "milk", "cream": "cream-yogurt", "stock": "stock-sauce", "soy sauce": "stock-sauce",
    "mayonnaise": "fats-oils", "honey": "sugars", "lemon": "citrus", "parsley": "herbs-spices", "parmesan": "cheese", "pitta breads": "bread", "bread": "bread",
    "rice": "rice", "couscous": "grains", "penne": "pasta", "noodles": "noodles", "kidney beans": "legumes-dried", "brown sugar": "sugars", "rhubarb": "fruit", "pastry": "bread",
    "raspberries": "fruit", "lamb mince": "lamb", "sausages": "sausage", "salad": "leafy-greens", "cucumber": "other-vegetables",
}


# What is left unsaid; where things are put; heat, water and the oven: one general cause of errors each.
@pytest.mark.parametrize(("steps", "chains"), [
    # the object stands in the clause before, and the pot of the sentence before is not meant
    ("Roast the beef for an hour. Peel the potatoes and boil for 10 minutes, then drain.", {"beef": "bake", "potatoes": "boil:drained"}),
    ("Roast the beef for an hour. Peel the potatoes. Cut into chunks and parboil for 8 minutes. Drain.", {"beef": "bake", "potatoes": "boil:drained"}),
    ("Bake the salmon for 20 minutes. Meanwhile, shred the cabbage, cook in boiling water for 4 minutes and drain.", {"salmon": "bake", "cabbage": "boil:drained"}),
    ("Put the beef in the oven for 2 hours. Meanwhile, peel and slice the potatoes, soak in a bowl of water for 2 hours and drain. Boil in fresh water and drain.",
     {"beef": "bake", "potatoes": "soak:drained > boil:drained"}),
    ("Slice the leeks, blanch for 2 minutes in boiling water and drain. Lay on foil, top with the salmon, fold into parcels and bake for 15 minutes.",
     {"leeks": "boil:drained > bake", "salmon": "bake"}),
    ("Brown the chicken in the oil. Transfer to a plate. Lower the heat, add the onion and cook until soft. Squeeze the lemon over and serve.",
     {"onion": "stir-fry", "lemon": "raw"}),
    ("Cut the peppers into chunks, toss with the oil in a roasting tin and roast for 30 minutes.", {"peppers": "bake", "oil": "bake"}),
    ("Tear the bread, toss with the oil and bake for 10 minutes.", {"bread": "bake", "oil": "bake"}),
    ("Slice the steak thinly and dust with the cornflour. Heat the oil and fry the beef for 2 minutes.", {"rump steak": "stir-fry", "cornflour": "stir-fry"}),
    ("Grill the chicken. Shred the cabbage, grate the carrots and stir in the mayonnaise.", {"chicken": "grill", "cabbage": "raw", "mayonnaise": "raw"}),
    ("Simmer the stock. Boil the carrots for 10 minutes. Drain. Fresh water, boil for 5 minutes, drain.", {"carrots": "boil:drained > boil:drained"}),
    # group words mean what has no turn of its own
    ("Boil the potatoes and carrots and drain. Heat the oil in a roasting tin, add the vegetables and roast. Cook the cabbage in boiling water and drain.",
     {"potatoes": "boil:drained > bake", "carrots": "boil:drained > bake", "cabbage": "boil:drained"}),
    ("Fry the onion in the oil. Layer the vegetables and rice in a dish and bake for 25 minutes. Serve with the sliced cucumber.", {"onion": "stir-fry > bake", "cucumber": "raw"}),
    ("Dry-fry the mince until brown. Brown the joint in the oil.", {"lamb mince": "stir-fry", "oil": "stir-fry"}),
    # pronouns
    ("Boil the potatoes and drain. Mash them with the butter, spread over the mince and bake for 20 minutes.", {"potatoes": "boil:drained > bake", "butter": "bake"}),
    ("Simmer the milk. Slake the cornflour with water, whisk it into the hot milk and simmer until thick.", {"cornflour": "simmer:kept", "milk": "simmer:kept"}),
    ("Toss the peppers in the oil on a baking tray and cook for 10 minutes. Nestle the salmon among them and return to the oven for 12 minutes.",
     {"peppers": "bake", "salmon": "bake"}),
    ("Mix the honey and soy sauce and brush over the salmon. Bake for 12 minutes.", {"honey": "bake", "soy sauce": "bake", "salmon": "bake"}),
    ("Put the salmon in a pan, cover with the milk and simmer for 6 minutes. Lift it out and discard the milk.", {"salmon": "simmer:drained", "milk": "simmer:drained"}),
    ("Stir the parsley into the mayonnaise. Oil the salmon, lay it on a rack and grill for 6 minutes.", {"salmon": "grill", "mayonnaise": "raw"}),
    # a phrase that is a thing, a tool or a place
    ("Place chicken in a large pot with the stock and simmer for 40 minutes. Remove the chicken to a board and shred it. Return the shredded chicken to the pot.",
     {"bone-in chicken thighs": "simmer:kept"}),
    ("Mix the oil and parsley. Toast the pittas under the grill, tear up and serve with the salad.", {"pitta breads": "grill", "oil": "raw"}),
    ("Beat together the butter, eggs and brown sugar. Sift over the flour, fold together and bake for 20 minutes.", {"brown sugar": "bake", "egg": "bake", "flour": "bake"}),
    ("Meanwhile, steam cabbage until tender.", {"cabbage": "steam"}),
    ("Cook the sausages under a moderate grill for 15 minutes.", {"sausages": "grill"}),
    ("Warm the pittas in a dry skillet.", {"pitta breads": "stir-fry"}),
    ("Halve the peppers, scoop out the seeds and sit them in a baking dish. Bake for 35 minutes.", {"peppers": "bake"}),
    ("Simmer the kidney beans in the stock. Serve it with toasted bread.", {"kidney beans": "simmer:kept", "bread": "grill"}),
    ("Fry the mince. Mash the potatoes with the milk. Put the mince in a pie dish, spoon the mash on top and bake for 30 minutes.", {"lamb mince": "stir-fry > bake:kept", "milk": "bake:kept"}),
    ("Shape the beef and onion into burgers. Mix the cabbage and mayonnaise. Grill the burgers for 10 minutes.", {"beef": "grill", "onion": "grill", "mayonnaise": "raw"}),
    ("Put the flour in a bowl and beat in the egg and milk. Heat the oil in a frying pan, drop in spoonfuls of the mixture and fry for 2 minutes.",
     {"flour": "stir-fry", "egg": "stir-fry", "milk": "stir-fry"}),
    ("Stir the soy sauce and honey together. Heat the oil in a wok and fry the chicken. Add the noodles and the sauce and fry for 3 minutes.", {"honey": "stir-fry", "soy sauce": "stir-fry"}),
    # water that stays in the dish, and water that goes
    ("Fry the onion in the oil. Add the drained kidney beans and a cup of water and simmer for 5 minutes.", {"onion": "stir-fry > simmer:kept", "kidney beans": "simmer:kept"}),
    ("Soften the cabbage in the butter, add a glass of water, put on the lid and cook in the oven for an hour.", {"cabbage": "stir-fry > bake:kept"}),
    ("Put the carrots in a pan with a cup of water and simmer until the water has evaporated.", {"carrots": "simmer:kept"}),
    ("Put the potatoes in a pan of water, bring to the boil and cook for 15 minutes. Tip into a colander.", {"potatoes": "boil:drained"}),
    ("Tip the couscous into a bowl, add boiling water, cover and set aside for 10 minutes.", {"couscous": "boil:kept"}),
    ("Bring the stock to the boil, take off the heat, stir in the couscous, cover and leave for 5 minutes.", {"couscous": "boil:kept", "stock": "boil:kept"}),
    ("Make up the couscous with boiling water from the kettle.", {"couscous": "boil:kept"}),
    ("Put the couscous in a bowl, cover with boiling water and leave for 20 minutes. Drain off any excess.", {"couscous": "boil:kept"}),
    ("Drain the kidney beans, put in a big pan with fresh water, boil hard for 10 minutes and drain.", {"kidney beans": "boil:drained"}),
    ("Boil the potatoes, pour away this water, cover with fresh and simmer for 10 minutes. Drain.", {"potatoes": "boil:drained > simmer:drained"}),
    ("Mix the flour and egg to a dough and cut into shapes. Drop into simmering water. When they float, lift out with a slotted spoon.", {"flour": "boil:drained", "egg": "boil:drained"}),
    ("Put the rhubarb and sugar in a pan, cover and cook over a low heat for 10 minutes.", {"rhubarb": "simmer:kept", "brown sugar": "simmer:kept"}),
    # heat that goes on
    ("Fry the onion in the oil, stir in the kidney beans and heat until piping hot.", {"onion": "stir-fry", "kidney beans": "stir-fry"}),
    ("Heat the oil in a wok and fry the chicken. Add the noodles and carrots and toss everything together for 2 minutes.", {"noodles": "stir-fry", "carrots": "stir-fry"}),
    ("Simmer the rice in the stock for 15 minutes. Add the peppers with the last ladleful. Off the heat, beat in the parmesan.", {"peppers": "simmer:kept", "parmesan": "raw"}),
    ("Put the sausages in a roasting tin and cook for 15 minutes.", {"sausages": "bake"}),
    ("Strain the milk over the bread and bake for 30 minutes, then brush with the honey.", {"milk": "bake:kept", "bread": "bake:kept", "honey": "raw"}),
    ("Boil the rice, adding the leeks in a steamer over the top for the last 3 minutes. Drain the rice.", {"rice": "boil:drained", "leeks": "steam"}),
    ("Soften the leeks in the butter and line a tin with the pastry. Glaze with milk and bake for 30 minutes.", {"pastry": "bake:kept", "milk": "bake:kept"}),
])
def test_general_causes(steps, chains):
    """Each sentence is new: it tries one cause of errors of the blind sets in other words."""
    words = steps.lower()
    kinds = {KINDS[food] for food in chains}
    named = [food for food in KINDS if food in chains or food in words and KINDS[food] not in kinds]
    found = read([(food, KINDS[food]) for food in named], steps.split("\n"))
    assert {food: found[food].chain for food in chains} == chains
