"""Second computation of grams: from the words' numbers and the factors to edible mass, line by line."""

from __future__ import annotations

import math
from fractions import Fraction
from statistics import NormalDist
from typing import NamedTuple

from pipeline.verify_files import Rows, number, path_of, place
from pipeline.verify_report import DIGITS, Ledger, is_written, plain
from pipeline.verify_sources import Project

CAUSE = "masses"
Z90 = NormalDist().inv_cdf(0.95)
# A published refuse fraction is one figure for careful and careless cooks: half and one and a half
# times as much is lost (common practice, no source).
LEAST_LOST, MOST_LOST = 0.5, 1.5
# Bone is there or not: three quarters and one and a quarter of what is published (common practice, no source).
LEAST_BONE, MOST_BONE = 0.75, 1.25
# Grams or millilitres in one unit, as exact numbers: avoirdupois and imperial measures by the UK Weights
# and Measures Act 1985, schedule 1 (1 lb = 453.59237 g, 1 gallon = 4546.09 ml); US measures from the
# gallon of 231 cubic inches (NIST Handbook 44, appendix C); spoons and metric cup: common practice, no source.
_LB, _UK, _US = Fraction("453.59237"), Fraction("4546.09"), Fraction("16.387064") * 231
GRAMS = {"milligram": Fraction(1, 1000), "gram": Fraction(1), "kilogram": Fraction(1000), "ounce": _LB / 16, "pound": _LB,
         "stone": _LB * 14}
MILLILITRES = {
    "milliliter": Fraction(1), "centiliter": Fraction(10), "deciliter": Fraction(100), "liter": Fraction(1000),
    "imperial_fluid_ounce": _UK / 160, "imperial_gill": _UK / 32, "imperial_pint": _UK / 8, "imperial_quart": _UK / 4,
    "imperial_gallon": _UK, "imperial_cup": _UK / 16, "US_fluid_ounce": _US / 128, "US_gill": _US / 32, "US_pint": _US / 8,
    "US_quart": _US / 4, "US_gallon": _US, "US_cup": _US / 16, "US_tablespoon": _US / 256, "US_teaspoon": _US / 768,
    "US_dessertspoon": _US / 384, "uk_teaspoon": Fraction(5), "uk_dessertspoon": Fraction(10), "uk_tablespoon": Fraction(15),
    "metric_cup": Fraction(250),
}
# The units a written word can mean in any kitchen.
WORDS = {
    "mg": ("milligram",), "g": ("gram",), "kg": ("kilogram",), "oz": ("ounce",), "lb": ("pound",), "stone": ("stone",),
    "ml": ("milliliter",), "cl": ("centiliter",), "dl": ("deciliter",), "l": ("liter",),
    **{word.replace("_", " "): (f"imperial_{name}", f"US_{name}") for word, name in (
        ("fl_oz", "fluid_ounce"), ("gill", "gill"), ("pint", "pint"), ("quart", "quart"), ("gallon", "gallon"))},
    **{word: (f"uk_{word}", f"US_{word}") for word in ("teaspoon", "dessertspoon", "tablespoon")},
    "cup": ("metric_cup", "US_cup"),
}
# A British cup may be the US, the metric or the half-pint cup.
BRITISH_CUP = tuple(float(MILLILITRES[name]) for name in ("metric_cup", "US_cup", "imperial_cup"))


class Input(NamedTuple):
    """An uncertain number: its id in evidence/inputs.csv, value and 90 % interval."""

    input_id: str
    value: float
    low: float
    high: float

    @property
    def uncertainty(self) -> float:
        """Standard uncertainty (JCGM 100:2008, 4.3.4: half-width of a 90 % interval over 1.6449)."""
        return (self.high - self.low) / (2 * Z90)


class Mass(NamedTuple):
    """The mass of one line and the inputs whose product it is; ``kinds`` has one word per input."""

    mass_g: float
    edible_g: float
    inputs: tuple[Input, ...]
    kinds: tuple[str, ...]


def interval(mean: float, uncertainty: float) -> tuple[float, float]:
    """90 % interval of a positive quantity: the lognormal distribution of this mean and standard deviation.

    A mean of 0 gives (0, 1.6449 x uncertainty); an interval always holds its mean.
    """
    if mean == 0:
        return 0.0, Z90 * uncertainty
    variance = (uncertainty / mean) ** 2
    reach = Z90 * math.sqrt(math.log1p(variance))
    median = mean / math.sqrt(1 + variance)
    return min(median * math.exp(-reach), mean), max(median * math.exp(reach), mean)


def masses(tables: dict[str, Rows], project: Project, ledger: Ledger) -> dict[str, Mass]:
    """The mass of every line that has one, recomputed; disagreements go to ``ledger``."""
    ledger.keys(CAUSE, path_of("weighed"), tables["weighed"], tables["lines"], path_of("lines"))
    found, numbers = {}, _numbers_of_measures(tables["weighed"])
    for line_id, row in tables["weighed"].items():
        if line_id not in tables["lines"] or line_id not in tables["parsed"]:
            continue
        ledger.counts["masses"] += 1
        weightless = [name for name in ("mass_g", "edible_g", "quantity", "measure_value") if row[name] == ""]
        if row["weigh_reason"]:
            if len(weightless) < 4:
                ledger.differs(*place(CAUSE, "weighed", line_id), "mass_g", row["mass_g"], "", f"weigh_reason {row['weigh_reason']}")
            continue
        if weightless:
            ledger.differs(*place(CAUSE, "weighed", line_id), weightless[0], "", "a number", "a line without weigh_reason")
            continue
        found[line_id] = _mass(line_id, row, numbers, tables, project, ledger)
    return found


def _mass(line_id: str, row: dict, numbers: dict, tables: dict[str, Rows], project: Project, ledger: Ledger) -> Mass:
    where = place(CAUSE, "weighed", line_id)
    quantity = _quantity(where, row, tables["parsed"][line_id], tables, project, ledger)
    inputs = [Input(f"quantity:{line_id}", *quantity)]
    kinds = ["quantity"]
    measure = _measure(where, row, project, ledger)
    inputs.append(Input(f"measure:{row['measure_id']}:{_shared_by(line_id, row['measure_id'], numbers)}", *measure))
    kinds.append("measure")
    if (row["measure_unit"] == "ml") != (row["density_id"] != ""):
        ledger.differs(*where, "density_id", row["density_id"], "a density" if row["measure_unit"] == "ml" else "",
                       f"measure_unit {row['measure_unit']}")
    if row["density_id"]:
        density = _factor(where, row, ("density_g_per_ml", "density_low", "density_high"), project, "densities", row["density_id"],
                          ("density_g_per_ml", "low", "high"), ledger)
        inputs.append(Input(f"density:{row['density_id']}", *density))
        kinds.append("density")
    mass_g = math.prod(one.value for one in inputs)
    relative = math.sqrt(sum((one.uncertainty / one.value) ** 2 for one in inputs if one.value > 0))
    low, high = interval(mass_g, relative * mass_g)
    edible = _edible(where, row, tables, project, ledger)
    edible_g = mass_g * edible[0]
    for column, expected in (("mass_g", mass_g), ("mass_low_g", low), ("mass_high_g", high), ("edible_g", edible_g)):
        ledger.number(where, column, row[column], expected, "quantity x measure x density x edible fraction")
    if row["edible_id"]:
        entry_id = tables["lines"][line_id]["entry_id"]
        inputs.append(Input(f"edible:{row['edible_id']}:{entry_id}", *edible))
        kinds.append("edible")
    return Mass(mass_g, edible_g, tuple(inputs), tuple(kinds))


def _numbers_of_measures(weighed: Rows) -> dict[tuple[str, str], set[tuple[str, ...]]]:
    """(recipe, measure) -> the different numbers that the recipe uses the measure with."""
    found: dict[tuple[str, str], set[tuple[str, ...]]] = {}
    for line_id, row in weighed.items():
        if row["measure_value"]:
            numbers = tuple(row[name] for name in ("measure_value", "measure_low", "measure_high"))
            found.setdefault((line_id.partition("/")[0], row["measure_id"]), set()).add(numbers)
    return found


def _shared_by(line_id: str, measure_id: str, numbers: dict[tuple[str, str], set[tuple[str, ...]]]) -> str:
    """Whose error a measure's is: the recipe's, one cook's spoon; the line's own where the recipe uses it with other numbers too."""
    recipe_id = line_id.partition("/")[0]
    return recipe_id if len(numbers[recipe_id, measure_id]) == 1 else line_id


# ---------------------------------------------------------------- quantity

def exact(text: str) -> float:
    """A quantity as it was before it was written with ten digits: 0.3333333333 was a third."""
    if len(text.replace(".", "").lstrip("0")) < DIGITS:
        return number(text)
    simple = Fraction(text).limit_denominator(1000)
    return float(simple) if plain(float(simple)) == text else float(text)


def _quantity(where, row: dict, parsed: dict, tables: dict[str, Rows], project: Project, ledger: Ledger) -> tuple[float, float, float]:
    """(middle, low, high) of the number of measures; which spread applies is read off the row itself."""
    if row["measure_id"].startswith("rule:"):
        times = _rule_times(where[2], row["measure_id"][5:], tables, project)
        for column in ("quantity", "quantity_low", "quantity_high"):
            ledger.number(where, column, row[column], times, f"reference/amount_rules.csv {row['measure_id'][5:]} and {path_of('variants')}")
        return times, times, times
    origin = f"{path_of('parsed')} {where[2]}"
    meant = [((low + high) / 2 * middle, low * below, high * above)
             for low, high in _written(row, parsed, project) for below, middle, above in _spreads(row, parsed, project)]
    columns = ("quantity", "quantity_low", "quantity_high")
    fitting = [one for one in meant if all(is_written(row[column], value) for column, value in zip(columns, one, strict=True))]
    if fitting:
        return fitting[0]
    stated = [number(row[column]) for column in columns]
    nearest = min(meant, key=lambda one: sorted(abs(value - found) for value, found in zip(one, stated, strict=True))[:2])
    for column, expected in zip(columns, nearest, strict=True):
        ledger.number(where, column, row[column], expected, f"{origin} and reference/amount_spread.csv")
    return nearest


def _spreads(row: dict, parsed: dict, project: Project):
    """Low, middle and high of what a written number may stand for. It stands for more or less than itself only in the step from
    the size of the measure's row to the size (or thickness of a slice) that the line asks for."""
    known = project.reference("measures").get(row["measure_id"].split("+")[0], {}).get("size", "") or "usual"
    asked = {parsed["size"] or "usual", *parsed["unit"].split(" "), *parsed["preparation"].split(" ")} | ({"extra"} if parsed["size"] == "large" else set())
    steps = {f"{one}-from-{known}" for one in asked}
    yield 1.0, 1.0, 1.0
    for kind, one in project.reference("amount_spread").items():
        low, middle, high = (number(one[f"relative_{end}"]) for end in ("low", "middle", "high"))
        if middle == 1.0 or kind in steps:
            yield low, middle, high


def _written(row: dict, parsed: dict, project: Project):
    """The numbers that the words can mean: as they stand, times the size of each, and in grams for a drained tin."""
    low, high = (exact(parsed[name]) if parsed[name] else 1.0 for name in ("quantity_low", "quantity_high"))
    unit = parsed["unit"]
    if parsed["each_quantity"]:
        each = exact(parsed["each_quantity"])
        low, high, unit = low * each, high * each, parsed["each_unit"]
    measure = project.reference("measures").get(row["measure_id"])
    if measure is None or measure["measure"] != "tin-drained-fraction":
        yield low, high
        return
    for name in WORDS.get(unit, ()):
        size = float(GRAMS.get(name) or MILLILITRES[name])
        yield low * size, high * size
    if unit not in WORDS:
        yield low, high


def _rule_times(line_id: str, rule_id: str, tables: dict[str, Rows], project: Project) -> float:
    """A rule speaks of one portion, or of the whole recipe."""
    line = tables["lines"][line_id]
    variant = tables["variants"].get(f"{line['recipe_id']} {line['variant_id']}")
    rule = project.reference("amount_rules").get(rule_id)
    per_portion = rule is not None and rule["per"] == "portion"
    return number(variant["portions"]) if per_portion and variant else 1.0


# ---------------------------------------------------------------- factors

def _measure(where, row: dict, project: Project, ledger: Ledger) -> tuple[float, float, float]:
    measure_id = row["measure_id"]
    columns = ("measure_value", "measure_low", "measure_high")
    if "+" in measure_id:
        return _two_measures(where, row, columns, measure_id.split("+"), project, ledger)
    if not measure_id.startswith("unit:"):
        file, row_id = ("amount_rules", measure_id[5:]) if measure_id.startswith("rule:") else ("measures", measure_id)
        unit = project.reference(file).get(row_id, {}).get("unit", row["measure_unit"])
        ledger.same(where, "measure_unit", row["measure_unit"], unit, f"reference/{file}.csv {row_id}")
        return _factor(where, row, columns, project, file, row_id, ("middle", "low", "high"), ledger)
    name = measure_id[5:]
    size = GRAMS.get(name) or MILLILITRES.get(name)
    if size is None:
        ledger.differs(*where, "measure_id", measure_id, "a unit", "the definitions of units")
        return tuple(number(row[column]) for column in columns)
    ledger.same(where, "measure_unit", row["measure_unit"], "g" if name in GRAMS else "ml", f"the unit {name}")
    british = name == "metric_cup" and row["measure_low"] != row["measure_high"]
    expected = BRITISH_CUP if british else (float(size),) * 3
    for column, value in zip(columns, expected, strict=True):
        ledger.number(where, column, row[column], value, f"the definition of the unit {name}")
    return expected


def _two_measures(where, row: dict, columns, ids: list[str], project: Project, ledger: Ledger) -> tuple[float, float, float]:
    """The first measure, over an interval that holds the other's too: both as bought, or both as eaten."""
    rows = project.reference("measures")
    origin = " and ".join(f"reference/measures.csv {one}" for one in ids)
    if len(ids) != 2 or any(one not in rows for one in ids):
        ledger.differs(*where, "measure_id", row["measure_id"], "two rows", origin)
        return tuple(number(row[column]) for column in columns)
    first, other = (rows[one] for one in ids)
    trimmed = (first["basis"], other["basis"]) == ("as-purchased", "edible")
    if first["unit"] != other["unit"] or not (trimmed or first["basis"] == other["basis"]):
        ledger.differs(*where, "measure_id", row["measure_id"], "measures of one kind", origin)
    share = number(row["edible_fraction"]) if trimmed else 1.0
    middle, low, high = (number(other[name]) / share for name in ("middle", "low", "high"))
    own = tuple(number(first[name]) for name in ("middle", "low", "high"))
    if own[1] <= middle <= own[2]:
        ledger.differs(*where, "measure_id", row["measure_id"], ids[0], f"{origin}: the other one is within the interval")
    ledger.same(where, "measure_unit", row["measure_unit"], first["unit"], origin)
    expected = (own[0], min(own[1], low), max(own[2], high))
    for column, value in zip(columns, expected, strict=True):
        ledger.number(where, column, row[column], value, origin)
    return expected


def _edible(where, row: dict, tables: dict[str, Rows], project: Project, ledger: Ledger) -> tuple[float, float, float]:
    columns, edible_id = ("edible_fraction", "edible_low", "edible_high"), row["edible_id"]
    of_entry, _, entry_id = edible_id.partition(":")
    if edible_id and of_entry not in ("entry-refuse", "entry-bone"):
        return _factor(where, row, columns, project, "edible_portions", edible_id, ("edible_fraction", "low", "high"), ledger)
    expected, origin = (1.0, 1.0, 1.0), "no refuse"
    if edible_id:
        entry = tables["entries"].get(entry_id, {})
        origin = f"{path_of('entries')} {entry_id}"
        lost, least, most = number(entry.get("refuse_fraction", "")), LEAST_LOST, MOST_LOST
        if of_entry == "entry-bone":  # one figure per bone that is listed; they speak of the same bone
            listed = [part.strip().split()[-1] for part in entry.get("refuse_description", "").split("%")[:-1]]
            lost, least, most = (max(float(share) / 100 for share in listed) if listed else lost), LEAST_BONE, MOST_BONE
        expected = (1 - lost, max(0.0, 1 - most * lost), 1 - least * lost)
    for column, value in zip(columns, expected, strict=True):
        ledger.number(where, column, row[column], value, origin)
    return expected


def _factor(where, row: dict, columns, project: Project, file: str, row_id: str, names, ledger: Ledger) -> tuple[float, float, float]:
    """Three numbers of a reference row, compared with the columns that repeat them."""
    origin = f"reference/{file}.csv {row_id}"
    if row_id not in project.reference(file):
        ledger.differs(*where, columns[0], row[columns[0]], "a row", origin)
        return tuple(number(row[column]) for column in columns)
    found = tuple(project.factor(file, row_id, name) for name in names)
    for column, value in zip(columns, found, strict=True):
        ledger.number(where, column, row[column], value, origin)
    return found
