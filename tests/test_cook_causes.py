"""General causes of misreadings, one a case: water of which a part goes, "everything", salted water, steamers, coats, appliances.

The sentences are invented for these tests; what is expected follows from how cooks speak (common practice, no source).
"""

import pytest
from test_cook_reading import read
from test_cook_turns import chains

from pipeline.stages.cook_saying import plainly

BEEF, FLOUR, STOCK, SALT = ("stewing beef", "beef"), ("plain flour", "flour"), ("beef stock", "stock-sauce"), ("salt", "salt")
POTATOES, CARROTS, ONION, PASTA = ("potatoes", "potatoes"), ("carrots", "roots"), ("onion", "other-vegetables"), ("penne", "pasta")
OIL, BUTTER, MILK, EGG, LEEKS = ("olive oil", "fats-oils"), ("butter", "fats-oils"), ("milk", "milk"), ("egg", "eggs"), ("leeks", "other-vegetables")
BEANS, HAM = ("dried haricot beans", "legumes-dried"), ("ham hock", "bacon-ham")


@pytest.mark.parametrize(("steps", "chain", "rule"), [
    ("Boil the potatoes for 15 minutes. Pour off half the water, then mash with the rest and the butter.", "boil:kept", "liquid-saved"),
    ("Boil the potatoes for 15 minutes. Drain off about half of the cooking water and mash with what is left.", "boil:kept", "liquid-saved"),
    ("Boil the potatoes in water. Tip some of the water away, then mash with the butter.", "boil:kept", "liquid-saved"),
    ("Boil the potatoes in water. Drain off a third of the water and mash with the butter.", "boil:kept", "liquid-saved"),
    ("Boil the potatoes. Drain off most of the water and mash with the butter.", "boil:drained", "liquid-unsaid"),
    ("Boil the potatoes. Pour off half the water and go on for 5 minutes. Drain and mash with the butter.", "boil:drained", "named"),
])
def test_water_of_which_a_part_is_poured_off_is_eaten_in_doubt(steps, chain, rule):
    potatoes = read([POTATOES, BUTTER], steps)["potatoes"]
    assert (potatoes.chain, potatoes.rule) == (chain, rule)


@pytest.mark.parametrize(("foods", "steps", "expected"), [
    ([BEEF, FLOUR, CARROTS, STOCK], "Toss the beef in the flour, then put everything in the slow cooker. Cook on low for 8 hours.",
     {"stewing beef": "simmer:kept", "plain flour": "simmer:kept", "carrots": "simmer:kept", "beef stock": "simmer:kept"}),
    ([("chicken thighs", "chicken"), OIL, ("peppers", "other-vegetables")], "Rub the chicken with the oil. Put everything in a roasting tin and roast for 40 minutes.",
     {"chicken thighs": "bake", "peppers": "bake"}),
    ([BEEF, OIL, ("parsley", "herbs-spices")], "Fry the beef in the oil. Season everything. Serve.", {"stewing beef": "stir-fry", "parsley": "raw"}),  # what is there already
    ([BEEF, STOCK, ("parsley", "herbs-spices")], "Put everything in the slow cooker for 8 hours. Scatter over the parsley.", {"beef stock": "simmer:kept", "parsley": "raw"}),
])
def test_everything_is_also_what_no_words_name(foods, steps, expected):
    found = chains(foods, steps)
    assert {food: found[food] for food in expected} == expected


@pytest.mark.parametrize(("foods", "steps", "expected"), [
    ([POTATOES, SALT, ("mint", "herbs-spices")], "Bring a pan of water to the boil, add the salt and the mint, then boil the potatoes for 15 minutes. Drain.",
     {"potatoes": "boil:drained", "salt": "boil:drained", "mint": "boil:drained"}),
    ([PASTA, SALT], "Salt a large pan of water with the salt and bring to the boil. Cook the penne for 10 minutes and drain.", {"penne": "boil:drained", "salt": "boil:drained"}),
    ([("cabbage", "leafy-greens"), BUTTER], "Shred the cabbage, drop into a pan of boiling water for 3 minutes and drain. Toss with the butter.", {"cabbage": "boil:drained"}),
    ([("noodles", "noodles"), ("chicken stock", "stock-sauce"), ONION], "Simmer the onion in the stock for 20 minutes. Cook the noodles in it for 4 minutes.",
     {"noodles": "boil:kept", "chicken stock": "simmer:kept"}),
    ([PASTA, ONION, STOCK], "Simmer the onion in the stock. Boil the penne in plenty of water and drain.", {"penne": "boil:drained"}),
    ([BEANS, HAM], "Cover the beans and hock with water and simmer for an hour. Remove the hock, pull off the meat and stir back in.", {"ham hock": "simmer:kept", "dried haricot beans": "simmer:kept"}),
    ([BEANS, HAM], "Cover the beans and hock with water and simmer for an hour. Lift out the hock and shred the meat. Ladle the beans into bowls and lay the meat on top.", {"ham hock": "simmer:kept"}),
    ([HAM, PASTA], "Cover the hock with water and simmer for an hour. Lift out the hock and shred the meat.", {"ham hock": "simmer:drained"}),
    ([("red lentils", "legumes-dried"), ONION], "Rinse the lentils and simmer with the onion and 500ml water for 20 minutes.", {"red lentils": "simmer:kept", "onion": "simmer:kept"}),
    ([("couscous", "grains"), ("raisins", "dried-fruit"), ("hot stock", "stock-sauce")], "Put the couscous and raisins in a bowl, pour over the hot stock, cover and leave for 5 minutes.",
     {"couscous": "boil:kept", "raisins": "boil:kept"}),
])
def test_what_is_in_the_water(foods, steps, expected):
    found = chains(foods, steps)
    as_boiled = {food: chain.replace("simmer", "boil") if food == "noodles" else chain for food, chain in found.items()}
    assert {food: as_boiled[food] for food in expected} == expected


@pytest.mark.parametrize(("foods", "steps", "expected"), [
    ([PASTA, ("broccoli", "other-vegetables")], "Boil the penne for 11 minutes, steaming the broccoli in a colander over the pan for the last 5. Drain the penne.",
     {"penne": "boil:drained", "broccoli": "steam"}),
    ([POTATOES, ("cabbage", "leafy-greens")], "Boil the potatoes for 15 minutes. For the last 6 minutes set a steamer with the cabbage on top of the pan. Drain the potatoes.",
     {"potatoes": "boil:drained", "cabbage": "steam"}),
    ([POTATOES, CARROTS], "Boil the potatoes for 15 minutes with a steamer over the top for the carrots. Drain.", {"potatoes": "boil:drained", "carrots": "steam"}),
    ([POTATOES, OIL], "Boil the potatoes for 10 minutes and discard the water before roasting with the oil at 200C for 30 minutes.", {"potatoes": "boil:drained > bake", "olive oil": "bake"}),
    ([("yam", "potatoes"), OIL], "Double boil the yam: put it in a pan of water, bring to the boil, drain, then start again with fresh water and cook until tender. Drain well.",
     {"yam": "boil:drained > boil:drained"}),  # the words before the colon are no third boiling
    ([("aubergines", "other-vegetables"), OIL], "Halve the aubergines, brush with the oil and roast cut side up at 200C for 40 minutes.", {"aubergines": "bake", "olive oil": "bake"}),
    ([ONION, OIL, ("chana dal", "legumes-dried"), ("cumin seeds", "herbs-spices")], "Pressure cook the dal with water for 15 minutes. Heat the oil, crackle the cumin seeds, add the onion and fry until brown. Pour over the dal.",
     {"chana dal": "simmer:kept", "cumin seeds": "stir-fry", "onion": "stir-fry"}),
])
def test_turns_that_say_how(foods, steps, expected):
    found = chains(foods, steps)
    assert {food: found[food] for food in expected} == expected


@pytest.mark.parametrize(("foods", "steps", "expected"), [
    ([("sausages", "sausage"), OIL, ONION, STOCK], "Roast the sausages in the oil for 30 minutes. For the gravy, soften the onion in a little oil, pour in the stock and simmer for 5 minutes.",
     {"sausages": "bake", "olive oil": "bake", "onion": "stir-fry > simmer:kept"}),
    ([POTATOES, EGG, ("breadcrumbs", "bread"), OIL], "Boil the potatoes, drain and mash. Shape into 8 cakes. Dip into the egg, then the breadcrumbs. Fry in the oil for 4 minutes a side.",
     {"potatoes": "boil:drained > stir-fry", "egg": "stir-fry", "breadcrumbs": "stir-fry"}),
    ([BEEF, ("soy sauce", "stock-sauce"), CARROTS, OIL], "Toss the beef with the soy sauce and set aside for 20 minutes. Boil the carrots and drain. Heat the oil in a wok and sear the beef.",
     {"stewing beef": "stir-fry", "soy sauce": "stir-fry", "carrots": "boil:drained"}),
    ([("pork shoulder", "pork"), ONION, ("cider", "alcohol")], "Slice the onion into the base of a slow cooker, sit the pork on top and pour round the cider. Cook on low for 8 hours.",
     {"onion": "simmer:kept", "pork shoulder": "simmer:kept"}),
    ([("chicken thighs", "chicken"), ONION, OIL, STOCK], "Heat the oil in a frying pan and brown the chicken; put it into the slow cooker. In the same pan cook the onion until soft and scrape over the chicken. "
     "Pour on the stock and cook on low for 6 hours.", {"chicken thighs": "stir-fry > simmer:kept", "onion": "stir-fry > simmer:kept"}),
    ([("cooking apples", "fruit"), ("custard powder", "flour"), MILK], "Bake the apples for 40 minutes. Make up the custard with the custard powder and milk, stirring over a medium heat until thickened.",
     {"cooking apples": "bake", "custard powder": "simmer:kept", "milk": "simmer:kept"}),
    ([("minced turkey", "turkey"), ("chilli powder", "herbs-spices"), ("soured cream", "cream-yogurt")], "Put everything apart from the soured cream in the slow cooker for 4 hours. Serve the chilli with the soured cream.",
     {"chilli powder": "simmer:kept", "soured cream": "raw"}),
])
def test_what_goes_together_stays_together(foods, steps, expected):
    found = chains(foods, steps)
    assert {food: found[food] for food in expected} == expected


@pytest.mark.parametrize(("foods", "steps", "expected"), [
    ([("kidney beans", "legumes-dried"), SALT], "Soak the beans overnight, then drain. Pressure cook with fresh water and the salt for 20 minutes. Do not discard the water.",
     {"kidney beans": "soak:drained > simmer:kept", "salt": "simmer:kept"}),  # cooked with the salt: the beans that are at hand
    ([("lamb neck", "lamb"), ("water", "water"), CARROTS], "Simmer the lamb in the water for 2 hours. Take the meat off the bone. Reheat the broth with the carrots and cook for 20 minutes.",
     {"carrots": "simmer:kept"}),
    ([("sausages", "sausage"), CARROTS], "Grill the sausages. Serve with the carrots, sliced, boiled for 10 minutes and drained.", {"sausages": "grill", "carrots": "boil:drained"}),
    ([POTATOES, BUTTER], "Meanwhile the potatoes: 15 minutes in boiling water, drain, toss in the butter.", {"potatoes": "boil:drained"}),
    ([POTATOES, BUTTER], "Leach the potatoes by boiling for 10 minutes in plenty of water; drain.", {"potatoes": "boil:drained"}),
    ([POTATOES, OIL], "Pre-boil the potatoes and throw away the water. Roast with the oil for 40 minutes.", {"potatoes": "boil:drained > bake", "olive oil": "bake"}),
    ([("peanut butter", "nuts-seeds"), MILK], "Warm the peanut butter with the milk, stirring until it bubbles.", {"peanut butter": "simmer:kept", "milk": "simmer:kept"}),
    ([("cod", "lean-fish"), POTATOES], "Bake the potatoes for 35 minutes at 200C. Put the cod on a second tray for the last 15 minutes.", {"cod": "bake", "potatoes": "bake"}),
    ([ONION, OIL, ("tomato puree", "tomatoes")], "Fry the onion in the oil. Tomato puree goes in next with a glass of water; simmer for an hour.", {"tomato puree": "simmer:kept"}),
    ([("mushrooms", "mushrooms"), OIL, BEEF], "Heat the oil in a wok and fry the beef for 3 minutes. Into the wok go the mushrooms: 3 minutes over a fierce heat.", {"mushrooms": "stir-fry", "stewing beef": "stir-fry"}),
    ([("minced beef", "beef"), ("passata", "tomatoes"), MILK, FLOUR, ("lasagne sheets", "pasta")],
     "Brown the beef, add the passata and simmer. In a saucepan simmer the milk with the flour. Layer the meat sauce, lasagne sheets and white sauce in a dish and bake for 40 minutes.",
     {"minced beef": "stir-fry > simmer:kept > bake", "lasagne sheets": "bake"}),
])
def test_what_the_words_leave_out(foods, steps, expected):
    found = {food: chain.replace("bake:kept", "bake") for food, chain in chains(foods, steps).items()}
    assert {food: found[food] for food in expected} == expected


@pytest.mark.parametrize(("foods", "steps", "expected"), [
    ([("masoor dal", "legumes-dried"), ("tomato", "tomatoes")], "Combine the dal, tomato and 4 cups water in a pot; bring to a boil and cook on low for 25 minutes.",
     {"masoor dal": "boil:kept", "tomato": "boil:kept"}),  # nobody drains what the dal boils with
    ([PASTA, ("tomatoes", "tomatoes"), ("broccoli", "other-vegetables")], "Boil the penne and broccoli for 10 minutes. Stir in the tomatoes.", {"penne": "boil:drained", "broccoli": "boil:drained"}),
    ([BEEF, FLOUR, OIL, CARROTS], "Dredge the beef in the flour. Boil the carrots and drain. Heat the oil in a pot and brown the beef on all sides.",
     {"stewing beef": "stir-fry", "plain flour": "stir-fry", "carrots": "boil:drained"}),
    ([ONION, FLOUR, STOCK, ("chicken breasts", "chicken"), OIL],
     "Soften the onion, stir in half the flour, add the stock and simmer for 20 minutes. Cut up the chicken. Dust with the rest of the flour. Fry in the oil for 4 minutes a side.",
     {"onion": "stir-fry > simmer:kept", "beef stock": "simmer:kept", "chicken breasts": "stir-fry"}),
    ([("chicken breasts", "chicken"), ("fajita seasoning", "herbs-spices"), OIL], "Put the chicken in a bowl with the seasoning and leave for 30 minutes. Heat the oil in a wok and stir-fry everything for 8 minutes.",
     {"chicken breasts": "stir-fry", "fajita seasoning": "stir-fry"}),
    ([("quinoa", "grains"), ("chicken breasts", "chicken"), OIL], "Simmer the quinoa in 400ml water for 15 minutes. Toss the chicken with the oil, lay in the air fryer basket and cook at 200C for 10 minutes.",
     {"quinoa": "simmer:kept", "chicken breasts": "bake"}),
    ([("paneer", "cheese"), OIL, ONION, MILK], "Fry the paneer in the oil. Set aside on kitchen paper. Fry the onion, add the milk and simmer for 5 minutes.", {"paneer": "stir-fry", "onion": "stir-fry > simmer:kept"}),
    ([("potatoes", "potatoes"), FLOUR, EGG], "Boil the potatoes, drain and mash. Work in the flour and egg. Drop the gnocchi into a large pan of gently simmering water for 3 minutes and lift out.",
     {"plain flour": "boil:drained", "egg": "boil:drained"}),
    ([("lamb mince", "lamb"), ONION, ("bulgur wheat", "grains")], "Mix the lamb with the onion and shape into balls. Cover the bulgur with boiling water and leave for 20 minutes. Grill the balls for 10 minutes.",
     {"lamb mince": "grill", "onion": "grill", "bulgur wheat": "boil:kept"}),
    ([FLOUR, EGG, MILK], "Whisk the flour, egg and milk. Ladle the batter onto a hot griddle; cook until bubbles form, then flip and cook until golden.",
     {"plain flour": "stir-fry", "milk": "stir-fry"}),
    ([("haddock", "lean-fish"), EGG, ("breadcrumbs", "bread"), POTATOES], "Bake the potatoes for 40 minutes at 200C. Cut the haddock into fingers. Dip each one first into the egg, then the breadcrumbs. Lay on a tray and bake for 15 minutes.",
     {"haddock": "bake", "egg": "bake", "breadcrumbs": "bake"}),
    ([("courgettes", "other-vegetables"), OIL], "Brush a griddle pan with the oil and cook the courgettes for 5 minutes.", {"courgettes": "stir-fry", "olive oil": "stir-fry"}),
    ([("navy beans", "legumes-dried"), ("bacon", "bacon-ham"), ("water", "water")], "Soak the beans overnight and drain. Select sauté on the electric pressure cooker and cook the bacon until crisp. "
     "Add the beans and water and pressure cook for 35 minutes.", {"navy beans": "soak:drained > simmer:kept", "bacon": "stir-fry > simmer:kept"}),
    ([("squash", "other-vegetables"), STOCK, BUTTER, ONION, ("sage leaves", "herbs-spices")], "Fry the onion in half the butter. Add the squash and stock and simmer for 20 minutes. Blend. "
     "Fry the sage leaves in the rest of the butter.", {"squash": "simmer:kept", "onion": "stir-fry > simmer:kept", "sage leaves": "stir-fry"}),
    ([LEEKS, STOCK, POTATOES, OIL], "Boil the potatoes, drain and mash. Soften the leeks in the oil, add the stock and simmer. Spoon into a dish, top with the mash and bake for 25 minutes.",
     {"leeks": "stir-fry > simmer:kept > bake", "potatoes": "boil:drained > bake"}),
    ([("linguine", "pasta"), OIL, ("courgettes", "other-vegetables")], "Put a large pan of water on to boil and cook the linguine for 10 minutes. Fry the courgettes in the oil. Drain the linguine.",
     {"linguine": "boil:drained", "courgettes": "stir-fry", "olive oil": "stir-fry"}),
    ([("leg of pork", "pork"), SALT, POTATOES, ("goose fat", "fats-oils"), ("peas", "other-vegetables")], "Score the rind and rub in the salt. Roast at 230C for 30 minutes, reduce to 170C and cook for 2 hours. "
     "Parboil the potatoes, drain and roast in the goose fat around the joint for the last hour. Boil the peas and drain.",
     {"leg of pork": "bake", "salt": "bake", "potatoes": "boil:drained > bake", "goose fat": "bake", "peas": "boil:drained"}),
    ([BEEF, OIL, ("shallots", "other-vegetables"), ("red wine", "alcohol")], "Heat half the oil in a flameproof casserole and brown the beef in batches, removing each to a plate. "
     "Add the remaining oil and fry the shallots. Return the beef to the casserole, add the wine and bake for 3 hours.", {"stewing beef": "stir-fry > bake", "shallots": "stir-fry > bake"}),
    ([FLOUR, EGG, OIL, ("bacon", "bacon-ham"), ("tomato salsa", "tomatoes")], "Whisk the flour and egg. Drop spoonfuls of the batter into the oil in a frying pan and cook for 2 minutes a side. Repeat with the rest. Grill the bacon.",
     {"plain flour": "stir-fry", "bacon": "grill", "tomato salsa": "raw"}),
    ([POTATOES, BUTTER, ("minced beef", "beef")], "Boil the potatoes, drain and mash with the butter. Set aside. Fry the beef. Put the beef in a dish, spread the mash over the top and bake for 25 minutes.",
     {"potatoes": "boil:drained > bake", "butter": "bake", "minced beef": "stir-fry > bake"}),
    ([("lamb shanks", "lamb"), FLOUR, OIL, ONION, STOCK], "Dust the shanks with the flour. Heat the oil in a frying pan and brown them on all sides; transfer to the slow cooker. "
     "Add the onion to the pan and fry for 8 minutes, then add to the lamb. Add the stock to the slow cooker and cook on low for 8 hours.",
     {"lamb shanks": "stir-fry > simmer:kept", "plain flour": "stir-fry > simmer:kept", "onion": "stir-fry > simmer:kept", "beef stock": "simmer:kept"}),
    ([OIL, ("garlic", "other-vegetables"), PASTA], "Boil the penne and drain. Warm the oil with the garlic over a gentle heat until golden.", {"garlic": "stir-fry", "olive oil": "stir-fry", "penne": "boil:drained"}),
    ([BEEF, POTATOES, CARROTS, STOCK, MILK], ["Soak the potatoes in water for 4 hours. Throw the water away.", "Boil the carrots. Throw the water away. Brown the beef, add the drained vegetables and the stock and simmer for 30 minutes.",
     "Boil the potatoes in fresh water. Throw the water away. Mash with the milk."],
     {"stewing beef": "stir-fry > simmer:kept", "carrots": "boil:drained > simmer:kept", "beef stock": "simmer:kept", "potatoes": "soak:drained > boil:drained"}),
    ([("tofu", "other"), ("soy sauce", "stock-sauce"), ("sweet potato", "sweet-potatoes"), OIL], "Cube the tofu and toss with the soy sauce. Parboil the sweet potato, drain and toss with the oil. Spread both on a tray and roast for 25 minutes.",
     {"tofu": "bake", "soy sauce": "bake", "sweet potato": "boil:drained > bake", "olive oil": "bake"}),
    ([BEEF, STOCK, FLOUR, ("suet", "fats-oils")], "Cook the beef in the stock in the slow cooker for 7 hours. Mix the flour and suet to a dough, shape into dumplings and sit on the stew. Cook for another 45 minutes.",
     {"stewing beef": "simmer:kept", "plain flour": "simmer:kept", "suet": "simmer:kept"}),
    ([("gammon steaks", "bacon-ham"), ("lard", "fats-oils"), EGG], "Snip the fat on the gammon and grill for 5 minutes a side. Fry the egg in the lard.", {"gammon steaks": "grill", "lard": "stir-fry", "egg": "stir-fry"}),
    ([("couscous", "grains"), ("vegetable stock", "stock-sauce")], "Pour the boiling stock over the couscous, cover the bowl with a plate and leave it for 5 minutes.", {"couscous": "boil:kept", "vegetable stock": "boil:kept"}),
    ([("coconut milk", "milk"), ("prawns", "shellfish")], "Bring the coconut milk to a simmer. Drop in the prawns; they need only 2 minutes.", {"prawns": "simmer:kept"}),
    ([POTATOES, ("chicken legs", "chicken"), OIL, ("feta", "cheese")], "Parboil the potatoes, drain and put in a roasting tin. Add the chicken legs and the oil. Roast for 50 minutes at 200C, crumbling over the feta for the last 5.",
     {"potatoes": "boil:drained > bake", "chicken legs": "bake", "feta": "bake"}),
    ([("pork tenderloin", "pork"), OIL, ("chicken broth", "stock-sauce")], "Rub the pork with the oil; sear in a skillet. Roast in the oven 15 minutes; transfer to a cutting board. Place the skillet over medium heat; add the broth and simmer until reduced.",
     {"pork tenderloin": "stir-fry > bake", "chicken broth": "simmer:kept"}),
    ([FLOUR, MILK, ("lasagne sheets", "pasta"), ("ricotta", "cheese")], "Blend the flour with a little of the milk, heat the rest and pour on, then return to the pan and cook until thick. Layer with the lasagne sheets and ricotta in a dish and bake for 40 minutes.",
     {"lasagne sheets": "bake", "ricotta": "bake"}),
    ([("spinach", "leafy-greens"), ("rice", "rice")], "Wilt the spinach in boiling water and drain. Serve with the rice, boiled and drained.", {"spinach": "boil:drained", "rice": "boil:drained"}),
    ([("apples", "fruit"), ("sultanas", "dried-fruit"), ("brandy", "alcohol")], "Soak the sultanas in the brandy. Core the apples. Stuff with the sultanas and bake for 40 minutes.", {"apples": "bake", "sultanas": "soak:kept > bake"}),
    ([("haddock", "lean-fish"), ("creme fraiche", "cream-yogurt"), ("nutmeg", "herbs-spices")], "Lay the haddock in a pie dish. Season the creme fraiche with the nutmeg and spoon over. Bake for 30 minutes.",
     {"haddock": "bake", "creme fraiche": "bake", "nutmeg": "bake"}),
    ([POTATOES, ONION, OIL], "To reduce the potassium in the potatoes, boil them for 10 minutes in plenty of water and discard the water. Fry the onion in the oil, add the potatoes and fry for 5 minutes.",
     {"potatoes": "boil:drained > stir-fry", "onion": "stir-fry", "olive oil": "stir-fry"}),
    ([POTATOES, OIL, ("paprika", "herbs-spices")], "Boil for 10 minutes and drain. Toss with the oil and paprika and roast for 30 minutes.", {"potatoes": "boil:drained > bake", "olive oil": "bake", "paprika": "bake"}),
    ([("sausages", "sausage"), POTATOES, MILK], "Bake the sausages for 30 minutes. Boil and drain the potatoes, then mash with the milk.", {"sausages": "bake", "potatoes": "boil:drained"}),
    ([("mung beans", "legumes-dried"), ("water", "water"), OIL], "Soak the beans overnight, drain, and cook in the water for 30 minutes.", {"mung beans": "soak:drained > simmer:kept", "water": "simmer:kept"}),
])
def test_pots_that_are_kept_apart(foods, steps, expected):
    found = {food: chain.replace("bake:kept", "bake") for food, chain in chains(foods, steps).items()}
    assert {food: found[food] for food in expected} == expected


@pytest.mark.parametrize(("foods", "steps", "expected"), [
    ([("spinach", "leafy-greens")], "Wash the spinach and cook it in just the water clinging to its leaves until wilted.", {"spinach": "stir-fry"}),
    ([("chicken", "chicken"), LEEKS, ("rice", "rice")], "Poach the chicken in water for an hour. Remove the chicken, add the leeks and rice to the broth and simmer for 20 minutes. Serve with the shredded chicken.",
     {"chicken": "simmer:kept", "leeks": "simmer:kept", "rice": "simmer:kept"}),
    ([("haricot beans", "legumes-dried"), CARROTS, ("water", "water")], "Soak the beans overnight, drain and rinse. Bring to the boil in the water with the carrots and simmer for an hour.",
     {"haricot beans": "soak:drained > simmer:kept", "carrots": "simmer:kept"}),
    ([CARROTS, ("gravy granules", "stock-sauce")], "Boil the carrots for 8 minutes. Strain, and use the cooking water to make the gravy with the granules.", {"carrots": "boil:kept"}),
    ([CARROTS], "Boil the carrots for 8 minutes. Strain, and do not use the cooking water for gravy.", {"carrots": "boil:drained"}),
    ([CARROTS, ("peas", "other-vegetables")], "Boil the carrots for 6 minutes, tip in the peas for another 3, then drain off all the water.", {"carrots": "boil:drained", "peas": "boil:drained"}),
    ([("spring onions", "other-vegetables"), MILK], "Warm the milk with the spring onions until it simmers.", {"spring onions": "simmer:kept", "milk": "simmer:kept"}),
])
def test_what_became_of_the_water(foods, steps, expected):
    found = {food: chain.replace("boil:kept > simmer", "simmer") for food, chain in chains(foods, steps).items()}
    assert {food: found[food] for food in expected} == expected


@pytest.mark.parametrize(("said", "plain"), [
    ("put a steamer basket with the kale over the pan", "steam the kale over the pan"),
    ("stir the meat back into the soup", "return the meat to the pan"),
    ("chill for 30 minutes before frying", "chill for 30 minutes before frying"),  # the frying is told of later
    ("cut the leeks", "cut the leeks"),
    ("the chicken is browned in the butter", "brown the chicken in the butter"),
    ("simmer until the potatoes are boiled", "simmer until the potatoes are boiled"),
    ("reduce the oven to 170c and cook", "turn the heat down to 170c and cook"),
    ("reduce the sauce by half", "reduce the sauce by half"),
])
def test_plain_words(said, plain):
    assert plainly(said) == plain
