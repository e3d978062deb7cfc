"""What a Standard Reference food name says about state and cooking class.

SR names are lists of terms divided by commas ("Beans, snap, green, raw"). The words below
are those of its names; what none of them fits has no state, or the class of its group.
The curated core does not use these guesses: its states and classes are written by hand.
"""

from __future__ import annotations

import pandas as pd

# The first pattern that is found decides.
STATES = (
    ("pickled", r"\bpickled\b|^Pickles"),
    ("drained", r"\bcanned\b.*\b(?:drained|rinsed)\b|\bdrained solids\b"),
    ("canned", r"\bcanned\b"),
    ("dried", r", dry$"),  # "buckwheat groats, roasted, dry" are sold so; "cooked, dry heat" is not meant
    ("cooked", r"\b(?:cooked|boiled|baked|roasted|broiled|braised|stewed|simmered|grilled|fried|microwaved|steamed)\b"
               r"|\b(?:heated|sauteed|toasted|pan-browned|prepared)\b"),
    ("smoked", r"\b(?:smoked|kippered)\b"),
    ("frozen", r"\bfrozen\b"),
    ("dried", r"\b(?:dried|dehydrated|dry|freeze-dried|sun-dried|powder)\b"),
    ("raw", r"\b(?:raw|fresh|unprepared|uncooked|unheated)\b"),
)
WINE = r"^Alcoholic beverage"  # "dry" says how sweet it is
UNHEATED = r"\b(?:unheated|unprepared|uncooked)\b"

GROUP_CLASS = {
    "Dairy and Egg Products": "milk", "Spices and Herbs": "herbs-spices", "Fats and Oils": "fats-oils",
    "Poultry Products": "chicken", "Soups, Sauces, and Gravies": "stock-sauce", "Sausages and Luncheon Meats": "sausage",
    "Breakfast Cereals": "grains", "Fruits and Fruit Juices": "fruit", "Pork Products": "pork",
    "Vegetables and Vegetable Products": "other-vegetables", "Nut and Seed Products": "nuts-seeds", "Beef Products": "beef",
    "Beverages": "drinks", "Finfish and Shellfish Products": "lean-fish", "Legumes and Legume Products": "legumes-cooked",
    "Lamb, Veal, and Game Products": "lamb", "Baked Products": "bread", "Sweets": "sugars", "Cereal Grains and Pasta": "grains",
}
# (group, pattern, class): the first that fits decides, before the class of the group.
CLASSES = (
    ("Dairy and Egg Products", r"^Egg", "eggs"),
    ("Dairy and Egg Products", r"^(?:Cheese|Parmesan|Queso)", "cheese"),
    ("Dairy and Egg Products", r"^(?:Cream|Sour|Yogurt|Ice cream)", "cream-yogurt"),
    ("Dairy and Egg Products", r"^Butter", "fats-oils"),
    ("Spices and Herbs", r"^Salt", "salt"),
    ("Spices and Herbs", r"^(?:Vinegar|Mustard, prepared|Capers|Horseradish)", "stock-sauce"),
    ("Poultry Products", r"\bliver\b", "liver"),
    ("Poultry Products", r"[Tt]urkey", "turkey"),
    ("Pork Products", r"\bliver\b", "liver"),
    ("Pork Products", r"bacon|cured", "bacon-ham"),
    ("Beef Products", r"\bliver\b", "liver"),
    ("Lamb, Veal, and Game Products", r"\bliver\b", "liver"),
    ("Fruits and Fruit Juices", r"^(?:Lemon|Lime|Orange|Grapefruit|Tangerine|Clementine|Kumquat|Pummelo)", "citrus"),
    ("Fruits and Fruit Juices", r"\bdried\b|^Raisins|^Prunes|^Dates", "dried-fruit"),
    ("Vegetables and Vegetable Products", r"^Potato", "potatoes"),
    ("Vegetables and Vegetable Products", r"^Sweet potato(?! leaves)", "sweet-potatoes"),
    ("Vegetables and Vegetable Products", r"^Tomato", "tomatoes"),
    ("Vegetables and Vegetable Products", r"^Mushroom", "mushrooms"),
    ("Vegetables and Vegetable Products",
     r"^(?:Carrot|Parsnip|Beets|Rutabaga|Turnips|Radish|Celeriac|Cassava|Yam\b|Yambean|Taro,|Salsify|Burdock root|Lotus root|Jerusalem)", "roots"),
    ("Vegetables and Vegetable Products",
     r"^(?:Spinach|Kale|Chard|Lettuce|Cabbage|Collards|Endive|Cress|Watercress|Arugula|Mustard spinach|New Zealand spinach|Lambsquarters|Purslane|Dock|"
     r"Borage|Jute|Chrysanthemum|Sorrel)|greens|leaves|leafy tips", "leafy-greens"),
    ("Finfish and Shellfish Products", r"^(?:Crustaceans|Mollusks)", "shellfish"),
    ("Finfish and Shellfish Products", r"salmon|mackerel|herring|sardine|anchovy|trout|tuna, fresh|swordfish|eel", "oily-fish"),
    ("Legumes and Legume Products", r"mature seeds, raw|^Lentils.*raw", "legumes-dried"),
    ("Legumes and Legume Products", r"^Soy sauce|^Miso", "stock-sauce"),
    ("Legumes and Legume Products", r"^Soymilk", "drinks"),
    ("Legumes and Legume Products", r"^Peanut", "nuts-seeds"),
    ("Legumes and Legume Products", r"flour", "flour"),
    ("Cereal Grains and Pasta", r"^(?:Rice|Wild rice)(?!.*(?:flour|bran|noodles))", "rice"),
    ("Cereal Grains and Pasta", r"[Nn]oodles", "noodles"),
    ("Cereal Grains and Pasta", r"^(?:Macaroni|Spaghetti|Pasta)", "pasta"),
    ("Cereal Grains and Pasta", r"flour|^Cornstarch", "flour"),
    ("Baked Products", r"^Leavening", "other"),
    ("Beverages", r"^Alcoholic|^Wine", "alcohol"),
    ("Beverages", r"^Water", "water"),
)


def states_of(names: pd.Series, groups: pd.Series) -> pd.Series:
    """The state each food name states, one of ``pipeline.tables.STATES``; "" where it states none."""
    states = pd.Series("", index=names.index, dtype="str")
    unheated = names.str.contains(UNHEATED)
    for state, pattern in STATES:
        found = names.str.contains(pattern, case=False) & (states == "")
        if state == "cooked":
            found &= ~unheated
        if state == "dried":
            found &= ~names.str.contains(WINE)
        states = states.mask(found, state)
    dried_seeds = (groups == "Legumes and Legume Products") & (states == "raw")
    return states.mask(dried_seeds, "dried")


def classes_of(names: pd.Series, groups: pd.Series) -> pd.Series:
    """The cooking class of each food by its group and name; "other" where neither decides."""
    classes = pd.Series("", index=names.index, dtype="str")
    for group, pattern, cooking_class in CLASSES:
        found = (groups == group) & (classes == "") & names.str.contains(pattern)
        classes = classes.mask(found, cooking_class)
    return classes.mask(classes == "", groups.map(GROUP_CLASS).fillna("other"))
