"""Builds reference/yields.csv: cooked over raw edible mass, by class, method and liquid.

Run from the checkout: ``python reference/build/build_yields.py [DATA FOLDER]`` (the folder
that holds usda-sr26-ascii.zip).

Where SR26 has a food raw and cooked, solids are conserved: yield = (100 - water raw) /
(100 - water cooked). A class takes the median of its pairs, and their 10th and 90th
percentile as low and high, at least 0.06 either side. Boiling water that is poured off
takes solids with it, mostly sugars: DISSOLVED gives the share by class (leaching-from-memory;
carrots and other sweet roots lose 10 to 25 %). The raw and the cooked samples of SR26 are not the
same carrots, so the spread of the pairs is wider than that of yields: boiled, drained vegetables
weigh 0.85 to 1.0 of raw in handbooks (from memory), and HEAVIEST ends the interval. Other rows are recalled
(``yields-from-memory``) or common practice, with wide ends.
Rows whose id starts with ``evaporation-`` are per hour: for t minutes the fraction is
raised to t / 60.
"""

from __future__ import annotations

import csv
import io
import re
import sys
import zipfile

import numpy as np
from build_retention import ROOT, data_folder, shown

COLUMNS = ["yield_id", "cooking_class", "method", "liquid", "yield_fraction", "low", "high", "source_id", "source_row"]
# Share of the solids that boiling water takes: middle, least, most (from memory).
DISSOLVED = {"roots": (0.18, 0.10, 0.25), "leafy-greens": (0.12, 0.05, 0.20), "sweet-potatoes": (0.12, 0.05, 0.20),
             "other-vegetables": (0.08, 0.03, 0.15), "mushrooms": (0.08, 0.03, 0.15)}
HEAVIEST = 1.10  # boiled, drained vegetables hardly gain weight
DRAINED = ", cooked, boiled, drained, without salt"
# (class, methods, liquid, pattern of the food, endings of the cooked entry)
PAIRED = (
    ("leafy-greens", ("boil", "simmer"), "drained", r"^(Spinach|Cabbage|Kale|Chard|Collards|Mustard greens|Turnip greens|Beet greens)", (DRAINED,)),
    ("roots", ("boil", "simmer"), "drained", r"^(Carrots|Parsnips|Turnips|Rutabagas|Celeriac|Beets|Kohlrabi)$", (DRAINED,)),
    ("other-vegetables", ("boil", "simmer"), "drained",
     r"^(Beans, snap|Broccoli|Brussels|Cauliflower|Celery|Eggplant|Okra|Onions|Peas, green|Peppers|Pumpkin|Squash|Corn, sweet|Asparagus)", (DRAINED,)),
    ("mushrooms", ("boil", "simmer"), "drained", r"^Mushrooms", (DRAINED,)),
    ("legumes-dried", ("boil", "simmer", "soak > boil"), "drained", r"^(Beans|Chickpeas|Lentils|Peas, split|Cowpeas)", (", cooked, boiled, without salt",)),
    ("beef", ("bake",), "", r"^Beef,(?!.*variety)", (", cooked, roasted",)), ("beef", ("grill",), "", r"^Beef,(?!.*variety)", (", cooked, broiled", ", cooked, grilled")),
    ("beef", ("simmer", "boil"), "drained", r"^Beef,(?!.*variety)", (", cooked, braised", ", cooked, simmered")),
    ("lamb", ("bake",), "", r"^Lamb,(?!.*variety)", (", cooked, roasted",)), ("lamb", ("grill",), "", r"^Lamb,(?!.*variety)", (", cooked, broiled",)),
    ("lamb", ("simmer", "boil"), "drained", r"^Lamb,(?!.*variety)", (", cooked, braised", ", cooked, stewed")),
    ("pork", ("bake",), "", r"^Pork, fresh, (?!variety|sep)", (", cooked, roasted",)), ("pork", ("grill",), "", r"^Pork, fresh, (?!variety)", (", cooked, broiled",)),
    ("pork", ("fry", "stir-fry"), "", r"^Pork, fresh, (?!variety)", (", cooked, pan-fried",)),
    ("pork", ("simmer", "boil"), "drained", r"^Pork, fresh, (?!variety)", (", cooked, braised",)),
    ("chicken", ("bake",), "", r"^Chicken, broilers.*meat only", (", cooked, roasted",)),
    ("chicken", ("simmer", "boil", "steam"), "drained", r"^Chicken, broilers.*meat only", (", cooked, stewed",)),
    ("lean-fish", ("bake", "grill"), "", r"^Fish, (cod|haddock|flatfish|pollock, Atlantic|halibut|whiting|snapper|perch|sea bass|ling)", (", cooked, dry heat",)),
    ("oily-fish", ("bake", "grill"), "", r"^Fish, (salmon|mackerel|herring|trout|tuna|bluefish)", (", cooked, dry heat",)),
)
# class, methods, liquid, raw entry, cooked entry, low, high
NAMED_PAIRS = (
    ("pasta", ("boil", "simmer", "soak"), "drained", "20120", "20121", 2.1, 2.6), ("pasta", ("boil", "simmer"), "kept", "20120", "20121", 2.1, 2.6),
    ("noodles", ("boil", "simmer", "soak"), "drained", "20109", "20110", 2.2, 3.3), ("noodles", ("boil", "simmer"), "kept", "20109", "20110", 2.2, 3.3),
    ("rice", ("boil", "simmer", "soak > boil"), "drained", "20044", "20045", 2.4, 3.1), ("rice", ("boil", "simmer", "steam", "microwave", "bake"), "kept", "20044", "20045", 2.4, 3.1),
    ("grains", ("boil", "simmer"), "kept", "20005", "20006", 2.3, 3.8), ("grains", ("boil", "simmer"), "drained", "20005", "20006", 2.3, 3.8),
    ("potatoes", ("boil", "simmer"), "drained", "11352", "11367", 0.88, 1.05), ("potatoes", ("bake",), "", "11352", "11674", 0.65, 0.92),
    ("sweet-potatoes", ("boil", "simmer"), "drained", "11507", "11510", 0.88, 1.1), ("sweet-potatoes", ("bake",), "", "11507", "11508", 0.75, 1.0),
    ("liver", ("fry", "stir-fry", "grill"), "", "13325", "13327", 0.65, 0.88), ("liver", ("simmer", "boil"), "drained", "13325", "13326", 0.6, 0.85),
    ("shellfish", ("boil", "simmer", "steam"), "drained", "15270", "15271", 0.7, 0.95),
)
MEMORY, PRACTICE = "yields-from-memory", "common-practice"
# class, methods, liquid, value, low, high, source, words
OWN = (
    ("any", ("boil", "simmer"), "kept", 1.0, 0.97, 1.0, PRACTICE, "juices stay in the dish; liquids have their own evaporation"),
    ("any", ("bake",), "kept", 1.0, 0.9, 1.0, PRACTICE, "juices stay in the dish; liquids have their own evaporation"),
    ("any", ("boil", "simmer"), "drained", 1.0, 0.82, 1.15, PRACTICE, "food of no class of its own, boiled and drained"),
    ("any", ("soak",), "drained", 1.02, 1.0, 1.08, PRACTICE, "fresh food takes up little"), ("any", ("soak",), "kept", 1.0, 0.97, 1.0, PRACTICE, "with what it took up"),
    ("any", ("steam",), "", 0.97, 0.88, 1.02, MEMORY, "steamed"), ("any", ("microwave",), "", 0.93, 0.8, 1.0, MEMORY, "microwaved"),
    ("any", ("reheat",), "", 0.97, 0.9, 1.0, PRACTICE, "warmed"), ("any", ("bake",), "", 0.85, 0.65, 0.98, PRACTICE, "baked"),
    ("any", ("grill",), "", 0.82, 0.65, 0.95, PRACTICE, "grilled"), ("any", ("stir-fry",), "", 0.9, 0.72, 1.0, PRACTICE, "fried in a little fat"),
    ("any", ("fry",), "", 0.8, 0.6, 1.0, PRACTICE, "deep-fried"),
    ("leafy-greens", ("stir-fry",), "", 0.85, 0.6, 1.0, MEMORY, "wilted in the pan"), ("leafy-greens", ("bake", "grill"), "", 0.6, 0.35, 0.9, MEMORY, "dried out"),
    ("roots", ("stir-fry",), "", 0.88, 0.72, 0.98, MEMORY, "softened"), ("roots", ("bake", "grill"), "", 0.75, 0.58, 0.9, MEMORY, "roasted"),
    ("other-vegetables", ("stir-fry",), "", 0.85, 0.65, 0.97, MEMORY, "softened"), ("other-vegetables", ("bake", "grill"), "", 0.75, 0.55, 0.92, MEMORY, "roasted"),
    ("mushrooms", ("stir-fry", "grill", "bake"), "", 0.65, 0.45, 0.85, MEMORY, "mushrooms give off water"),
    ("tomatoes", ("stir-fry", "grill", "bake"), "", 0.85, 0.65, 0.97, MEMORY, "tomatoes cooked dry"),
    ("potatoes", ("stir-fry", "grill", "microwave"), "", 0.82, 0.65, 0.97, MEMORY, "sauteed, grilled or microwaved"), ("potatoes", ("fry",), "", 0.6, 0.45, 0.8, MEMORY, "chips"),
    ("potatoes", ("boil > bake", "boil > fry", "boil > stir-fry", "boil > grill"), "drained", 0.78, 0.62, 0.92, MEMORY, "parboiled, then roasted or fried"),
    ("legumes-dried", ("boil", "simmer"), "kept", 2.5, 2.1, 2.95, PRACTICE, "as boiled, in water that is no line"), ("legumes-dried", ("soak",), "drained", 2.0, 1.8, 2.3, PRACTICE, "soaked"),
    ("rice", ("soak",), "drained", 1.25, 1.15, 1.35, PRACTICE, "soaked"), ("grains", ("soak", "steam", "microwave"), "kept", 2.5, 2.0, 3.5, PRACTICE, "swollen in water that is no line"),
    ("pasta", ("bake",), "", 0.95, 0.85, 1.0, PRACTICE, "boiled pasta, baked"), ("noodles", ("stir-fry",), "", 0.97, 0.9, 1.0, PRACTICE, "boiled noodles, fried"), ("rice", ("stir-fry",), "", 0.97, 0.88, 1.0, PRACTICE, "rice, fried"),
    ("flour", ("bake", "grill"), "", 1.0, 0.95, 1.0, PRACTICE, "the water lost is counted on the liquids"), ("sugars", ("bake", "grill", "stir-fry"), "", 1.0, 0.97, 1.0, PRACTICE, "nothing evaporates"),
    ("fats-oils", ("bake", "grill", "stir-fry", "reheat", "microwave", "steam"), "", 1.0, 0.85, 1.0, PRACTICE, "a film stays in the pan"), ("salt", ("bake", "grill", "stir-fry", "reheat", "microwave", "steam"), "", 1.0, 0.97, 1.0, PRACTICE, "nothing evaporates"),
    ("herbs-spices", ("bake", "grill", "stir-fry"), "", 0.9, 0.5, 1.0, PRACTICE, "dried by heat"), ("bread", ("grill", "bake"), "", 0.88, 0.78, 0.97, PRACTICE, "toasted or baked again"),
    ("beef", ("fry", "stir-fry"), "", 0.76, 0.65, 0.9, MEMORY, "pan-fried or browned"), ("lamb", ("fry", "stir-fry"), "", 0.76, 0.62, 0.9, MEMORY, "pan-fried or browned"),
    ("chicken", ("fry", "stir-fry", "grill"), "", 0.76, 0.65, 0.9, MEMORY, "pan-fried, browned or grilled"), ("turkey", ("bake", "grill", "fry", "stir-fry"), "", 0.75, 0.63, 0.88, MEMORY, "roasted, grilled or fried"),
    ("turkey", ("simmer", "boil", "steam"), "drained", 0.72, 0.6, 0.86, MEMORY, "simmered"), ("sausage", ("bake", "grill", "fry", "stir-fry"), "", 0.8, 0.65, 0.93, MEMORY, "grilled or fried"),
    ("bacon-ham", ("fry", "stir-fry", "grill"), "", 0.5, 0.28, 0.75, MEMORY, "fried or grilled; streaky loses most"),
    ("bacon-ham", ("bake",), "", 0.75, 0.5, 0.92, MEMORY, "baked"), ("bacon-ham", ("simmer", "boil"), "drained", 0.85, 0.68, 0.97, MEMORY, "simmered"), ("liver", ("bake",), "", 0.75, 0.6, 0.88, MEMORY, "baked"),
    ("lean-fish", ("fry", "stir-fry"), "", 0.8, 0.68, 0.92, MEMORY, "pan-fried"), ("lean-fish", ("simmer", "boil", "steam"), "drained", 0.82, 0.7, 0.95, MEMORY, "poached or steamed"), ("oily-fish", ("fry", "stir-fry"), "", 0.82, 0.7, 0.93, MEMORY, "pan-fried"),
    ("oily-fish", ("simmer", "boil", "steam"), "drained", 0.85, 0.72, 0.96, MEMORY, "poached or steamed"), ("shellfish", ("bake", "grill", "fry", "stir-fry"), "", 0.78, 0.6, 0.93, MEMORY, "cooked dry"),
    ("eggs", ("boil",), "drained", 1.0, 0.98, 1.01, PRACTICE, "boiled in the shell"), ("eggs", ("simmer",), "drained", 0.97, 0.88, 1.03, PRACTICE, "poached"), ("eggs", ("fry", "stir-fry"), "", 0.92, 0.82, 1.0, MEMORY, "fried or scrambled"),
    ("eggs", ("bake",), "", 0.9, 0.78, 1.0, MEMORY, "baked"), ("cheese", ("bake", "grill", "stir-fry"), "", 0.92, 0.8, 1.0, MEMORY, "melted"), ("fruit", ("bake", "grill"), "", 0.85, 0.65, 1.0, MEMORY, "baked"),
    ("other", ("bake", "grill", "stir-fry", "microwave", "steam", "reheat"), "", 1.0, 0.95, 1.0, PRACTICE, "raising agents and gelatine: dry powders"),
    ("nuts-seeds", ("bake", "grill", "stir-fry"), "", 0.96, 0.9, 1.0, PRACTICE, "toasted"), ("legumes-cooked", ("boil", "simmer"), "drained", 1.0, 0.93, 1.05, PRACTICE, "cooked already"),
)
# Sweated or browned, then cooked in a liquid that is kept: what ran out in the first step is in the pot still; only steam left it.
SWEATED = ("leafy-greens", "roots", "potatoes", "sweet-potatoes", "tomatoes", "other-vegetables", "mushrooms", "fruit")
BROWNED = ("beef", "lamb", "pork", "bacon-ham", "sausage", "chicken", "turkey", "liver", "lean-fish", "oily-fish", "shellfish")
THEN_WET = ("stir-fry > simmer", "stir-fry > boil", "stir-fry > bake")
OWN += tuple((name, THEN_WET, "kept", 0.97, 0.9, 1.0, PRACTICE, "sweated, then cooked in a liquid that is kept: the juices stay in the pot") for name in SWEATED)
OWN += tuple((name, THEN_WET, "kept", 0.93, 0.82, 1.0, PRACTICE, "browned, then cooked in a liquid that is kept: the juices stay in the pot") for name in BROWNED)
LIQUIDS = ("water", "stock-sauce", "milk", "drinks", "alcohol", "cream-yogurt")


def sr_tables(path) -> tuple[dict[str, str], dict[str, float]]:
    """Names and water contents (g per 100 g) of SR26 by entry number."""
    with zipfile.ZipFile(path) as archive:
        names = {name.rsplit("/", 1)[-1].upper(): name for name in archive.namelist()}
        def rows(name):
            for line in io.TextIOWrapper(archive.open(names[name]), encoding="latin-1"):
                yield [cell.strip("~") for cell in line.rstrip("\r\n").split("^")]
        foods = {row[0]: row[2] for row in rows("FOOD_DES.TXT")}
        water = {row[0]: float(row[2]) for row in rows("NUT_DATA.TXT") if row[1] == "255"}
    return foods, water


def derived(water: dict[str, float], raw: str, cooked: str) -> float:
    """Yield by conservation of solids."""
    return (100 - water[raw]) / (100 - water[cooked])


def paired_rows(foods: dict[str, str], water: dict[str, float]) -> list[list[str]]:
    """Rows from all pairs of SR26 that a pattern finds."""
    numbers = {name: number for number, name in foods.items()}
    rows = []
    for cooking_class, methods, liquid, pattern, endings in PAIRED:
        pairs = []
        for name, number in numbers.items():
            for ending in endings:
                base = name.removesuffix(ending)
                raw = numbers.get(base + ", raw") if base != name else None
                if raw and re.search(pattern, base) and raw in water and number in water:
                    pairs.append((derived(water, raw, number), raw, number))
        pairs.sort()
        values = [value for value, _, _ in pairs]
        middle, raw, cooked = pairs[(len(pairs) - 1) // 2]
        low, high = np.percentile(values, [10, 90])
        low, high = min(low, middle - 0.06), max(high, middle + 0.06)
        words = f"derived by solids from {len(pairs)} pairs of SR26; the middle pair: {raw} -> {cooked}"
        if cooking_class in DISSOLVED:
            middle, low, high, words = _dissolved(cooking_class, middle, low, high, words)
        rows += _rows(cooking_class, methods, liquid, middle, low, high, _source(words), words)
    for cooking_class, methods, liquid, raw, cooked, low, high in NAMED_PAIRS:
        value = derived(water, raw, cooked)
        words = f"derived by solids: SR26 {raw} {foods[raw]} -> {cooked} {foods[cooked]}"
        if cooking_class in DISSOLVED and liquid == "drained":
            value, _, _, words = _dissolved(cooking_class, value, low, high, words)
        rows += _rows(cooking_class, methods, liquid, value, low, high, _source(words), words)
    return rows


def _dissolved(cooking_class, middle, low, high, words) -> tuple[float, float, float, str]:
    """Yield and its ends with the solids that went into the water."""
    usual, least, most = DISSOLVED[cooking_class]
    return (middle * (1 - usual), low * (1 - most), min(high * (1 - least), HEAVIEST),
            f"{words}; {100 * usual:g} % ({100 * least:g} to {100 * most:g}) of solids dissolved, from memory")


def _source(words: str) -> str:
    """A yield that rests on a recalled share of dissolved solids was not read from SR26, though its water was."""
    return "yields-from-memory" if "from memory" in words else "usda-sr26"


def _rows(cooking_class, methods, liquid, value, low, high, source, words) -> list[list[str]]:
    return [[f"{cooking_class}-{method.replace(' > ', '-')}-{liquid or 'dry'}", cooking_class, method,
             "" if method in ("steam", "microwave") else liquid, *map(shown, (round(value, 3), round(low, 3), round(high, 3))), source, words]
            for method in methods]


def liquid_rows() -> list[list[str]]:
    """What becomes of liquids: evaporation per hour, or poured away; and fat for deep frying."""
    rows = []
    for liquid in LIQUIDS:
        for method, kept, value, low, high in (("simmer", "kept", 0.75, 0.5, 0.92), ("boil", "kept", 0.7, 0.4, 0.92), ("bake", "kept", 0.85, 0.6, 0.97),
                                               ("bake", "", 0.6, 0.35, 0.85), ("stir-fry", "", 0.4, 0.15, 0.85), ("grill", "", 0.6, 0.35, 0.9)):
            rows.append([f"evaporation-{liquid}-{method}-{kept or 'dry'}", liquid, method, kept, *map(shown, (value, low, high)), PRACTICE,
                         "per hour of cooking; for t minutes raised to t / 60"])
        if liquid not in ("alcohol", "cream-yogurt"):
            for method in ("boil", "simmer", "soak"):
                rows.append([f"poured-away-{liquid}-{method}", liquid, method, "drained", "0", "0", "0", PRACTICE, "poured off: not on the plate"])
    for method in ("boil", "simmer", "soak"):
        rows.append([f"salt-in-poured-water-{method}", "salt", method, "drained", "0.2", "0.05", "0.6", PRACTICE, "what clings to and enters the food"])
    rows.append(["deep-fat-uptake", "fats-oils", "fry", "", "0.12", "0.04", "0.3", PRACTICE, "fat for deep frying: what the food takes up"])
    return rows


def main(arguments: list[str]) -> None:
    """Write reference/yields.csv."""
    foods, water = sr_tables(data_folder(arguments) / "usda-sr26-ascii.zip")
    rows = paired_rows(foods, water) + liquid_rows()
    for own in OWN:
        rows += _rows(*own)
    keys = [tuple(row[1:4]) for row in rows]
    doubled = {key for key in keys if keys.count(key) > 1} or {row[0] for row in rows if [r[0] for r in rows].count(row[0]) > 1}
    if doubled:
        sys.exit(f"two yields for {sorted(doubled)}: keep one in this script.")
    with (ROOT / "reference" / "yields.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(COLUMNS)
        writer.writerows(sorted(rows))


if __name__ == "__main__":
    main(sys.argv[1:])
