"""Builds reference/retention.csv: the rows of USDA retention release 6 that
reference/retention_rules.csv uses, and the project's own rows.

Run from the checkout: ``python reference/build/build_retention.py [DATA FOLDER]`` (the
folder that holds usda-retention-r6.csv; by default ``shared/data`` beside the checkout).

Release 6 gives no spread. Ours, source ``retention-spread-rule`` (common practice): 90 %
intervals of +-0.12 for minerals where liquid was lost, +-0.05 where not, +-0.15 for
vitamins and +-0.15 for alcohol, cut off at 0 and 1.

Codes ``measured-CODE-CLASS`` (with ``-fried`` where another method of the class has the same CODE): release 6 CODE for one
cooking class of which SR26 has raw and cooked entries (``measured_pairs.py``, tuning half). The published factor keeps its value (source ``usda-retention-r6``) and the pairs
widen its interval, never narrow it (spread source ``usda-sr26``): 90 % of them lie inside, with yield and composition.
Only a factor that the pairs clearly contradict gives way to the least squares of both (source ``usda-sr26``; the row says
what was published and what the pairs allow), and potassium, phosphorus and sodium give way only upwards: too low is the
error that hurts. Why so: ``measured_pairs.py``. Protein, which release 6 does not list, is what is recalled, fitted to the
pairs. Rows of one code may thus have different sources: look a source up by code and component.
"""

from __future__ import annotations

import csv
import os
import sys
from pathlib import Path

import measured_pairs

ROOT = Path(__file__).resolve().parents[2]
Z90 = measured_pairs.Z90
MEASURED = "measured-"
COLUMNS = ["retention_code", "component", "retention_fraction", "low", "high", "source_id", "source_row", "spread_source_id"]
MINERALS = ("CA", "FE", "MG", "P", "K", "NA", "ZN")
SPREAD_LIQUID_LOST, SPREAD_LIQUID_KEPT, SPREAD_VITAMIN, SPREAD_ALCOHOL = 0.12, 0.05, 0.15, 0.15
ALCOHOL_CODES = ("5001", "5002", "5003", "5004", "5005", "5006", "5007", "5008", "5009", "5010")

# Own rows: code -> (minerals by component, other minerals, vitamins that dissolve in water,
# source, what it is). (value, low, high); wide, because size of piece, water and time differ.
LEACHED_VITAMINS = ("VITC", "THIA", "RIBF", "NIA", "VITB6A", "FOL", "VITB12")
OWN = {
    # Soaking alone loses little potassium: published kitchen studies of cubed and whole tubers, recalled.
    "leach-soak": ({"K": (0.93, 0.75, 1.0)}, (0.97, 0.88, 1.0), (0.92, 0.75, 1.0), "potatoes soaked in cold water, water thrown away: soaking alone takes little (Bethke and Jansky 2008, from memory)"),
    "leach-soak-vegetables": ({"K": (0.95, 0.8, 1.0)}, (0.97, 0.88, 1.0), (0.92, 0.75, 1.0), "vegetables soaked in cold water, water thrown away"),
    "leach-soak-legumes": ({"K": (0.85, 0.65, 0.97)}, (0.93, 0.8, 1.0), (0.9, 0.75, 1.0), "pulses soaked, water thrown away (Martinez-Pineda and others 2019, from memory)"),
    # A soak and one boiling have no row: their factors are multiplied.
    "leach-double-boil": ({"K": (0.45, 0.22, 0.7), "P": (0.75, 0.55, 0.92), "MG": (0.6, 0.4, 0.85), "NA": (0.5, 0.25, 0.85)}, (0.8, 0.65, 1.0),
                          (0.5, 0.25, 0.8), "cut small, boiled twice in much fresh water, all water thrown away (Burrowes and Ramer 2006 and 2008, from memory)"),
    "leach-double-boil-vegetables": ({"K": (0.55, 0.3, 0.8), "P": (0.75, 0.55, 0.95), "MG": (0.7, 0.5, 0.9), "NA": (0.6, 0.35, 0.9)},
                                     (0.8, 0.65, 1.0), (0.5, 0.25, 0.8), "vegetables boiled twice in fresh water, all water thrown away (Jones 2001, from memory)"),
}
# Boiled once in small pieces and poured off: release 6 says 0.90, kitchen studies of small cubes, recalled,
# say about a half. The value stays that of release 6 (the careful side); the interval spans both. Of potatoes and sweet
# potatoes SR26 has measured ones between the two (OUTSIDE_RULE, below): the value is what these keep.
SMALL_PIECES = ("3005", "3308", "3310", "3455", "3708", "3775")
SMALL_MEASURED = ("measured-3455-roots", "measured-3775-other-vegetables")  # the pairs of leafy greens are small by nature
SMALL_PIECES_VALUE = {("3308", "K"): 0.72, ("3310", "K"): 0.72, ("3708", "K"): 0.7}
SMALL_PIECES_LOW = {"K": 0.45, "P": 0.75, "MG": 0.6, "NA": 0.5}
# Foods that the composition table has raw or dry and cooked, and that lie outside the spread rule: the interval reaches over both.
# SR26, potassium per 100 g: spaghetti 20120 and 20121, macaroni 20099 and 20100, 223 mg dry and 44 mg cooked. With a yield
# of 2.3 to 2.6 they keep 0.45 to 0.51, where release 6 says 0.30. The benchmark's reporting half holds these pairs.
# Potatoes 11352 and 11354 raw, 421 and 407 mg, peeled and boiled 11367 328 mg: with a yield of 0.92 they keep 0.71 to 0.74,
# where release 6 says 0.90; phosphorus 57 and 62 to 40 mg (0.59 to 0.64), folate 16 and 18 to 9 ug (0.46 to 0.52). Sweet potatoes
# 11507 and 11510: 337 to 230 mg (0.69), 47 to 32 mg (0.68), 11 to 6 ug (0.55). A part of that is peel; the value stands,
# for less would understate. White and sweet potatoes are of the tuning half.
OUTSIDE_RULE = {("0381", "K"): (0.18, 0.52), ("0382", "K"): (0.18, 0.52),
                ("3308", "K"): (0.65, 1.0), ("3308", "P"): (0.6, 1.0), ("3308", "FOL"): (0.45, 0.9),
                ("3708", "K"): (0.65, 1.0), ("3708", "P"): (0.65, 1.0), ("3708", "FOL"): (0.5, 0.9)}
# A part of the whole ingredient: every component alike.
PARTS = {
    "poured-away": (0.0, 0.0, 0.0, "the liquid is poured off: nothing of it is on the plate"),
    "salt-in-poured-water": (0.2, 0.05, 0.6, "salt of the cooking water: what clings to and enters the food"),
    "deep-fat-uptake": (0.12, 0.04, 0.3, "fat for deep frying: what the food takes up of it"),
}


def data_folder(arguments: list[str]) -> Path:
    """The folder of the published table: the argument, POTASH_OUTSIDE_DATA, or shared/data beside a parent."""
    if arguments:
        return Path(arguments[0])
    if os.environ.get("POTASH_OUTSIDE_DATA"):
        return Path(os.environ["POTASH_OUTSIDE_DATA"])
    found = [parent / "shared" / "data" for parent in ROOT.parents if (parent / "shared" / "data").is_dir()]
    if not found:
        sys.exit("usda-retention-r6.csv: no shared/data folder beside the checkout. Give the folder as an argument.")
    return found[0]


def interval(component: str, fraction: float, lost: bool) -> tuple[float, float]:
    """Low and high by the spread rule."""
    if component == "ALC":
        half = SPREAD_ALCOHOL
    elif component in MINERALS:
        half = SPREAD_LIQUID_LOST if lost or fraction < 1 else SPREAD_LIQUID_KEPT
    else:
        half = SPREAD_VITAMIN
    return max(0.0, fraction - half), min(1.0, fraction + half)


def published_rows(path: Path, used: set[str], by_nutrient: dict[str, str]) -> list[list[str]]:
    """The rows of release 6 for the codes in use, in our components and as fractions."""
    rows = []
    with path.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            component = by_nutrient.get(row["nutrient_no"])
            code = row["retention_code"]
            if component is None or code not in used or (component == "ALC" and code not in ALCOHOL_CODES):
                continue
            fraction = float(row["retention_percent"]) / 100
            name = row["retention_description"]
            lost = any(word in name for word in ("DRAIN", "DRND", "WO/DRIP"))
            low, high = interval(component, fraction, lost)
            named, spread = f"USDA retention release 6, {code} {name}", "retention-spread-rule"
            if (code, component) in OUTSIDE_RULE:
                reached = OUTSIDE_RULE[code, component]
                low, high = min(low, reached[0]), max(high, reached[1])
                named, spread = f"{named}; interval reaches to SR26, {'dry' if code.startswith('03') else 'raw'} and cooked", "usda-sr26"
            rows.append([code, component, *map(shown, (fraction, low, high)), "usda-retention-r6", named, spread])
    return rows


def published_code(code: str) -> str:
    """The code of release 6 on which a code rests: itself, or the middle of ``measured-CODE-CLASS``."""
    return code.split("-")[1] if code.startswith(MEASURED) else code


def release_6_of(rules: list[dict[str, str]], published: list[list[str]]):
    """A function of (class, method, liquid): the published factors by component of the rule's code."""
    factors: dict[str, dict[str, float]] = {}
    for code, component, value, *_ in published:
        factors.setdefault(code, {})[component] = float(value)
    def of(cooking_class: str, method: str, liquid: str) -> dict[str, float]:
        codes = [row["retention_code"] for row in rules
                 if (row["cooking_class"], row["method"]) == (cooking_class, method) and row["liquid"] in (liquid, "any")]
        return factors[published_code(codes[len(codes) // 2])]
    return of


# Too little of these in a figure is the error that hurts.
NEVER_LOWERED = ("K", "P", "NA")


def measured_rows(rules: list[dict[str, str]], published: list[list[str]], fits) -> list[list[str]]:
    """The rows of the codes ``measured-CODE-CLASS``: what release 6 lists and the pairs measured, and protein."""
    rows = {}
    by_code = {(row[0], row[1]): row for row in published}
    for rule in rules:
        code, name = rule["retention_code"], rule["cooking_class"]
        if not code.startswith(MEASURED):
            continue
        fit = fits[name, rule["method"], rule["liquid"] if (name, rule["method"], rule["liquid"]) in fits else ""]
        base = published_code(code)
        for component in [row[1] for row in published if row[0] == base] + ["PROCNT"]:
            old = by_code.get((base, component))
            if component not in fit.retention:
                row = [code, component, *old[2:5], old[5], old[6] + "; too few pairs", old[7]]
            else:
                row = [code, component, *_measured(component, fit.retention[component], old, fit)]
            if rows.setdefault((code, component), row) != row:
                sys.exit(f"{code}, {component}: the methods that share this code have different spreads. Give each its own code in retention_rules.csv.")
    return list(rows.values())


def _measured(component: str, kept, old: list[str] | None, fit) -> list[str]:
    """Value, interval, sources and words of one row of a measured code; ``old``: the row of release 6, if any.

    The pairs only widen the published interval. A component that may not be understated keeps the published
    value even where the pairs give less.
    """
    low, high = pairs_interval(kept.value, kept.spread)
    pairs = fit.words(kept.pairs)
    if old is None:
        expected = measured_pairs.expected("PROCNT", fit.kind)
        return [*map(shown, (kept.value, low, high)), "retention-from-memory", f"protein: {expected:g}, from memory; combined with {pairs}", "usda-sr26"]
    value, old_low, old_high = map(float, old[2:5])
    allowed = " to ".join(shown(round(end, 3)) for end in kept.allowed)
    if kept.published:
        return [*map(shown, (kept.value, min(low, old_low), max(high, old_high))), "usda-retention-r6", f"{old[6]}; interval by {pairs}", "usda-sr26"]
    if component in NEVER_LOWERED and kept.value < value:
        return [*map(shown, (value, min(low, old_low), max(high, old_high))), "usda-retention-r6",
                f"{old[6]}; kept though the pairs allow {allowed}, for less would understate; interval by {pairs}", "usda-sr26"]
    low, high = min(low, old_low), max(high, old_high)
    return [*map(shown, (kept.value, low, high)), "usda-sr26",
            f"{old[6]}: {old[2]}, contradicted: the pairs allow {allowed}; combined with {pairs}", "usda-sr26"]


def pairs_interval(value: float, spread: float) -> tuple[float, float]:
    """90 % interval of a log spread; nothing keeps more than it had, so what is cut off above is added below."""
    half = Z90 * spread * value
    high = min(1.0, value + half)
    return max(0.0, min(value, high - 2 * half)), max(high, value)


# g of fat in 100 g of raw meat: from, below.
FAT_LEVELS = ((10.0, 18.0), (18.0, 100.0))
FATS = ("FAT", "FASAT", "FAMS", "FAPU", "F18D3N3", "F20D5N3", "F22D6N3")


def dripping_rows(data: Path, fits) -> list[list[str]]:
    """What stays of the fat of fatty meat, in dry heat or where its liquid is poured off; of bacon fried crisp."""
    rows = []
    for least, most in FAT_LEVELS:
        value, low, high, pairs = measured_pairs.fat_kept(data / "usda-sr26-ascii.zip", fits, least, most)
        words = f"fat that drips off: {pairs} raw and cooked pairs of meat and poultry of SR26 with {least:g} to {most:g} g of fat in 100 g (tuning half), 5th to 95th percentile"
        rows += [[f"fat-drips-from-{least:g}", component, *map(shown, (min(value, 1.0), low, min(high, 1.0))), "usda-sr26", words, "usda-sr26"] for component in FATS]
    rows += [["fat-drips-bacon", component, "0.45", "0.2", "0.85", "common-practice", "bacon fried or grilled: half of its fat or more stays in the pan", "common-practice"]
             for component in FATS]
    return rows


def small_piece_rows(published: list[list[str]]) -> list[list[str]]:
    """The boiled and drained rows again, for food cut small, with lower ends as recalled."""
    rows = []
    for code, component, value, low, high, _, row, _ in published:
        if code in SMALL_PIECES or code in SMALL_MEASURED:
            measured = SMALL_PIECES_VALUE.get((code, component))
            end = shown(min(float(low), SMALL_PIECES_LOW.get(component, 1.0)))
            named = f"{measured:g} by raw and boiled entries of SR26, between the lower end and the {value} of {row}" if measured else f"value of {row}"
            rows.append([f"leach-small-{code}", component, shown(measured) if measured else value, end, high, "leaching-from-memory",
                         f"cut small: {named}; lower end: small cubes keep about half of their potassium (Bethke and Jansky 2008, from memory)",
                         "leaching-from-memory"])
    return rows


def own_rows(components: list[str]) -> list[list[str]]:
    """The project's own rows: leaching, parts of an ingredient, conservation of mass, and the assumed factor."""
    rows = []
    for code, (special, minerals, vitamins, words) in OWN.items():
        for component in (*MINERALS, *LEACHED_VITAMINS):
            values = special.get(component, minerals if component in MINERALS else vitamins)
            rows.append([code, component, *map(shown, values), "leaching-from-memory", words, "leaching-from-memory"])
    for code, (value, low, high, words) in PARTS.items():
        for component in components:
            rows.append([code, component, *map(shown, (value, low, high)), "common-practice", words, "common-practice"])
    for component in MINERALS:
        rows.append(["mass-balance", component, "1", "0.97", "1", "mass-balance", "a mineral cannot leave a dish whose liquid is kept",
                     "retention-spread-rule"])
        rows.append(["assumed", component, "1", "0.7", "1", "common-practice", "no factor for this food and method: nothing taken off",
                     "retention-spread-rule"])
    for component in LEACHED_VITAMINS:
        rows.append(["assumed", component, "0.85", "0.5", "1", "common-practice", "no factor for this food and method: assumed",
                     "retention-spread-rule"])
    return rows


def shown(number: float) -> str:
    """A plain decimal."""
    return f"{round(number, 4):g}"


def _read(name: str) -> list[dict[str, str]]:
    with (ROOT / "reference" / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def published_of(data: Path, rules: list[dict[str, str]]) -> list[list[str]]:
    """The rows of release 6 on which the rules rest."""
    by_nutrient = {row["retention_nutrient"]: row["component"] for row in _read("components.csv") if row["retention_nutrient"]}
    return published_rows(data / "usda-retention-r6.csv", {published_code(row["retention_code"]) for row in rules}, by_nutrient)


def published_fits(data: Path):
    """The fits of ``measured_pairs`` from the published factors of the rules in ``reference/``."""
    rules = _read("retention_rules.csv")
    return measured_pairs.fits(data / "usda-sr26-ascii.zip", release_6_of(rules, published_of(data, rules)))


def main(arguments: list[str]) -> None:
    """Write reference/retention.csv."""
    components = sorted({row["component"] for row in _read("components.csv")} - {"ENERC", "WATER"})
    rules, data = _read("retention_rules.csv"), data_folder(arguments)
    used = {row["retention_code"] for row in rules}
    published = published_of(data, rules)
    fits = published_fits(data)
    measured = measured_rows(rules, published, fits)
    rows = published + measured + dripping_rows(data, fits) + small_piece_rows(published + measured) + own_rows(components)
    missing = used - {row[0] for row in rows}
    if missing:
        sys.exit(f"retention_rules.csv names codes that no table has: {', '.join(sorted(missing))}. Correct the rules.")
    with (ROOT / "reference" / "retention.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(COLUMNS)
        writer.writerows(sorted(rows))


if __name__ == "__main__":
    main(sys.argv[1:])
