"""Builds reference/yields.csv: cooked over raw edible mass, by class, method and liquid.

Run from the checkout: ``python reference/build/build_yields.py [DATA FOLDER]`` (the folder
that holds usda-sr26-ascii.zip).

Where SR26 has foods of a class raw and cooked, the yield is fitted with the retention of all components
together (``measured_pairs.py``: protein, solids, fat, fibre and minerals, tuning half). Solids alone mislead:
boiling water takes sugars with it, and the raw and the cooked sample are not the same carrots; what handbooks
say is part of the fit (from memory). Low and high: what the pairs' solids leave unexplained, no wider than handbooks
where these are part of the fit (but of rice and grains, which hold the water they were given); HEAVIEST ends vegetables. Single pairs (NAMED_PAIRS) go by solids: yield =
(100 - water raw) / (100 - water cooked). Other rows are recalled (``yields-from-memory``) or common practice, with
wide ends.
Rows whose id starts with ``evaporation-`` are per hour: for t minutes the fraction is
raised to t / 60.
"""

from __future__ import annotations

import csv
import io
import sys
import zipfile

import numpy as np
from build_retention import ROOT, data_folder, published_fits, shown
from measured_pairs import PRIOR_YIELD, Z90

COLUMNS = ["yield_id", "cooking_class", "method", "liquid", "yield_fraction", "low", "high", "source_id", "source_row"]
# Share of the solids that boiling water takes: middle, least, most (from memory).
DISSOLVED = {"sweet-potatoes": (0.12, 0.05, 0.20)}
HEAVIEST = 1.10  # boiled, drained vegetables hardly gain weight
# Fitted yields by class: the fit's method and liquid, and the steps that take it.
DRAINED, KEPT = ("boil", "drained"), ("boil", "kept")
FITTED = tuple((name, DRAINED, ("boil", "simmer"), "drained") for name in ("leafy-greens", "roots", "other-vegetables", "mushrooms")) + (
    ("legumes-dried", DRAINED, ("boil", "simmer", "soak > boil"), "drained"),
    ("pasta", DRAINED, ("boil", "simmer", "soak"), "drained"), ("pasta", DRAINED, ("boil", "simmer"), "kept"),
    ("noodles", DRAINED, ("boil", "simmer", "soak"), "drained"), ("noodles", DRAINED, ("boil", "simmer"), "kept"),
    ("rice", KEPT, ("boil", "simmer", "soak > boil"), "drained"), ("rice", KEPT, ("boil", "simmer", "steam", "microwave", "bake"), "kept"),
    ("grains", KEPT, ("boil", "simmer"), "kept"), ("grains", KEPT, ("boil", "simmer"), "drained"),
    ("lean-fish", ("bake", ""), ("bake", "grill"), ""), ("oily-fish", ("bake", ""), ("bake", "grill"), ""),
    ("shellfish", DRAINED, ("boil", "simmer", "steam"), "drained"),
    ("chicken", ("bake", ""), ("bake",), ""), ("turkey", ("bake", ""), ("bake", "grill", "fry", "stir-fry"), ""),
    ("chicken", DRAINED, ("simmer", "boil", "steam"), "drained"), ("turkey", DRAINED, ("simmer", "boil", "steam"), "drained"),
) + tuple((name, (method, ""), (method,), "") for name in ("beef", "lamb", "pork") for method in ("bake", "grill", "fry", "stir-fry")) + tuple(
    (name, DRAINED, ("simmer", "boil"), "drained") for name in ("beef", "lamb", "pork"))
# class, methods, liquid, raw entry, cooked entry, low, high
NAMED_PAIRS = (
    ("potatoes", ("boil", "simmer"), "drained", "11352", "11367", 0.88, 1.05), ("potatoes", ("bake",), "", "11352", "11674", 0.65, 0.92),
    ("sweet-potatoes", ("boil", "simmer"), "drained", "11507", "11510", 0.88, 1.1), ("sweet-potatoes", ("bake",), "", "11507", "11508", 0.75, 1.0),
    ("liver", ("fry", "stir-fry", "grill"), "", "13325", "13327", 0.65, 0.88), ("liver", ("simmer", "boil"), "drained", "13325", "13326", 0.6, 0.85),
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
    ("chicken", ("fry", "stir-fry", "grill"), "", 0.76, 0.65, 0.9, MEMORY, "pan-fried, browned or grilled"),
    ("sausage", ("bake", "grill", "fry", "stir-fry", "microwave"), "", 0.8, 0.65, 0.93, MEMORY, "grilled or fried"),
    ("bacon-ham", ("fry", "stir-fry", "grill", "microwave"), "", 0.5, 0.28, 0.75, MEMORY, "fried or grilled; streaky loses most"),
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
OWN += tuple((name, ("microwave",), "", 0.76, 0.62, 0.9, MEMORY, "microwaved: juice and fat run out") for name in ("beef", "lamb", "pork", "chicken", "turkey"))
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


def fitted_rows(fits) -> list[list[str]]:
    """Rows of the classes of which SR26 has pairs."""
    rows = []
    for cooking_class, (method, wet), methods, liquid in FITTED:
        fit = fits[cooking_class, method, wet]
        ends = np.exp(Z90 * fit.yield_spread)
        high = min(fit.yield_fraction * ends, HEAVIEST) if fit.kind == "vegetables" else fit.yield_fraction * ends
        words = f"fitted with retention to {fit.words(fit.n_pairs)}"
        words += "; expected yield from memory" if cooking_class in PRIOR_YIELD else ""
        rows += _rows(cooking_class, methods, liquid, fit.yield_fraction, fit.yield_fraction / ends, high, _source(words), words)
    return rows


def named_rows(foods: dict[str, str], water: dict[str, float]) -> list[list[str]]:
    """Rows from single pairs of SR26."""
    rows = []
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
    data = data_folder(arguments)
    foods, water = sr_tables(data / "usda-sr26-ascii.zip")
    rows = fitted_rows(published_fits(data)) + named_rows(foods, water) + liquid_rows()
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
