"""One pint registry for the whole project, with the kitchen units that pint lacks.

UK and US units of the same name are kept apart (a UK pint is a fifth larger than a US
pint), and a word that means several sizes, such as a British "cup", is an interval and
not a number.

Sources of the definitions, unit by unit:

- gram, kilogram, millilitre, litre: the SI, as pint defines them (BIPM SI Brochure).
- ounce, pound, stone: international avoirdupois, 1 lb = 0.45359237 kg exactly
  (UK Weights and Measures Act 1985, schedule 1; NIST Handbook 44, appendix C), by pint.
- UK pint, fluid ounce, quart, gill, gallon: 1 UK gallon = 4.54609 l exactly (UK Weights and
  Measures Act 1985, schedule 1), by pint.
- US pint, fluid ounce, quart, gill, gallon, cup, tablespoon, teaspoon: 1 US gallon = 231 cubic
  inches (NIST Handbook 44, appendix C), by pint.
- UK and metric spoons of 5, 10 and 15 ml, metric cup of 250 ml: common practice, no source
  (measuring spoons as sold; BS 1348:1970 gives the same spoons, from memory).
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

from pipeline.problems import InputError, Problem

SYSTEMS = ("uk", "us", "metric")

MASS_UNITS = {"mg": "milligram", "g": "gram", "kg": "kilogram", "oz": "ounce", "lb": "pound", "stone": "stone"}

# canonical unit word -> (uk, us, metric) units of the registry. A metric kitchen that
# writes "pint" means the imperial one: common practice in the UK, no source.
VOLUME_UNITS = {
    "ml": ("milliliter", "milliliter", "milliliter"),
    "cl": ("centiliter", "centiliter", "centiliter"),
    "dl": ("deciliter", "deciliter", "deciliter"),
    "l": ("liter", "liter", "liter"),
    "fl oz": ("imperial_fluid_ounce", "US_fluid_ounce", "imperial_fluid_ounce"),
    "gill": ("imperial_gill", "US_gill", "imperial_gill"),
    "pint": ("imperial_pint", "US_pint", "imperial_pint"),
    "quart": ("imperial_quart", "US_quart", "imperial_quart"),
    "gallon": ("imperial_gallon", "US_gallon", "imperial_gallon"),
    "teaspoon": ("uk_teaspoon", "US_teaspoon", "uk_teaspoon"),
    "dessertspoon": ("uk_dessertspoon", "US_dessertspoon", "uk_dessertspoon"),
    "tablespoon": ("uk_tablespoon", "US_tablespoon", "uk_tablespoon"),
    "cup": ("metric_cup", "US_cup", "metric_cup"),
}

SPOONS = frozenset({"teaspoon", "dessertspoon", "tablespoon"})

# A British recipe's "cup" may be the US cup, the metric cup or the old half-pint cup.
AMBIGUOUS = {("cup", "uk"): ("US_cup", "metric_cup", "imperial_cup")}

# pint itself knows US_fluid_ounce and US_pint; the others are given the same kind of name here.
KITCHEN_DEFINITIONS = (
    "uk_teaspoon = 5 * milliliter",
    "uk_dessertspoon = 10 * milliliter",
    "uk_tablespoon = 15 * milliliter",
    "metric_cup = 250 * milliliter",
    "US_gill = gill",
    "US_quart = quart",
    "US_gallon = gallon",
    "US_cup = cup",
    "US_tablespoon = tablespoon",
    "US_teaspoon = teaspoon",
    "US_dessertspoon = 2 * teaspoon",
)


class UnitSize(NamedTuple):
    """The size of one unit: 90 % interval and middle, in g or ml; equal where it is exact.

    ``name`` is the unit of the registry that the middle is; ``exact`` is False for a
    word that means several sizes.
    """

    low: float
    middle: float
    high: float
    name: str

    @property
    def exact(self) -> bool:
        return self.low == self.high


@lru_cache(maxsize=1)
def registry():
    """The pint registry, built on first use (pint takes half a second to import)."""
    import pint

    built = pint.UnitRegistry(cache_folder=None)
    for definition in KITCHEN_DEFINITIONS:
        built.define(definition)
    return built


def is_mass(unit: str) -> bool:
    """Whether a canonical unit word is a unit of mass."""
    return unit in MASS_UNITS


def is_volume(unit: str) -> bool:
    """Whether a canonical unit word is a unit of volume, spoons and cups included."""
    return unit in VOLUME_UNITS


@lru_cache(maxsize=256)
def millilitres_per(unit: str, units_system: str = "uk") -> UnitSize:
    """Millilitres in one ``unit`` (a canonical word of mappings/unit_words.csv).

    ``units_system`` is ``uk``, ``us`` or ``metric``. A British cup is an interval.
    Raises :class:`InputError` for a word that is no volume and for an unknown system.
    """
    _check_system(units_system)
    if unit not in VOLUME_UNITS:
        raise _unknown(unit, "volume", VOLUME_UNITS)
    name = VOLUME_UNITS[unit][SYSTEMS.index(units_system)]
    low, middle, high = AMBIGUOUS.get((unit, units_system), (name, name, name))
    return UnitSize(_convert(low, "milliliter"), _convert(middle, "milliliter"), _convert(high, "milliliter"), middle)


@lru_cache(maxsize=64)
def grams_per(unit: str) -> UnitSize:
    """Grams in one ``unit`` (a canonical word of mappings/unit_words.csv); always exact.

    Raises :class:`InputError` for a word that is no unit of mass.
    """
    if unit not in MASS_UNITS:
        raise _unknown(unit, "mass", MASS_UNITS)
    name = MASS_UNITS[unit]
    grams = _convert(name, "gram")
    return UnitSize(grams, grams, grams, name)


def _convert(name: str, target: str) -> float:
    # 15 significant digits: pint multiplies through intermediate units, which leaves
    # 453.59237000000007 for a pound that is 453.59237 by definition.
    return float(f"{registry().Quantity(1, name).to(target).magnitude:.15g}")


def _check_system(units_system: str) -> None:
    if units_system in SYSTEMS:
        return
    raise InputError(Problem(f"units {units_system!r}", "is not a system of kitchen units",
                             f"Use one of: {', '.join(SYSTEMS)}", "unknown-unit"))


def _unknown(unit: str, kind: str, known: dict) -> InputError:
    return InputError(Problem(f"unit {unit!r}", f"is not a unit of {kind}",
                              f"Use one of: {', '.join(known)}; other spellings go to mappings/unit_words.csv",
                              "unknown-unit"))
