"""Kitchen units against the law's definitions, worked out here from the inch and the pound."""

import pytest

from pipeline import units

# NIST Handbook 44, appendix C: 1 US gallon = 231 cubic inches; 1 inch = 25.4 mm exactly.
US_GALLON_ML = 231 * 2.54 ** 3
# UK Weights and Measures Act 1985, schedule 1: 1 gallon = 4.54609 cubic decimetres exactly.
UK_GALLON_ML = 4546.09
# International yard and pound agreement, 1959: 1 lb = 0.45359237 kg exactly.
POUND_G = 453.59237


@pytest.mark.parametrize("unit, parts", [("gallon", 1), ("quart", 4), ("pint", 8), ("cup", 16), ("gill", 32), ("fl oz", 128), ("tablespoon", 256), ("teaspoon", 768)])
def test_us_volumes_are_parts_of_the_gallon_of_231_cubic_inches(unit, parts):
    assert units.millilitres_per(unit, "us").middle == pytest.approx(US_GALLON_ML / parts, rel=1e-12)


@pytest.mark.parametrize("unit, parts", [("gallon", 1), ("quart", 4), ("pint", 8), ("gill", 32), ("fl oz", 160)])
def test_uk_volumes_are_parts_of_the_gallon_of_the_act(unit, parts):
    assert units.millilitres_per(unit, "uk").middle == pytest.approx(UK_GALLON_ML / parts, rel=1e-12)


@pytest.mark.parametrize("unit, grams", [("lb", POUND_G), ("oz", POUND_G / 16), ("stone", POUND_G * 14)])
def test_avoirdupois_masses_are_parts_of_the_international_pound(unit, grams):
    assert units.grams_per(unit).middle == pytest.approx(grams, rel=1e-12)


@pytest.mark.parametrize("unit, millilitres", [("teaspoon", 5), ("dessertspoon", 10), ("tablespoon", 15)])
def test_uk_spoons_are_the_metric_ones(unit, millilitres):
    # BS 1348:1970 measuring spoons, from memory; common practice in the UK.
    assert units.millilitres_per(unit, "uk").middle == millilitres
    assert units.millilitres_per(unit, "metric").middle == millilitres


def test_pints_own_constants_agree():
    import pint

    plain = pint.UnitRegistry()
    for unit, name in (("pint", "imperial_pint"), ("fl oz", "imperial_fluid_ounce")):
        assert units.millilitres_per(unit, "uk").middle == pytest.approx(plain(name).to("ml").magnitude)
    for unit, name in (("pint", "pint"), ("cup", "cup"), ("tablespoon", "tablespoon")):
        assert units.millilitres_per(unit, "us").middle == pytest.approx(plain(name).to("ml").magnitude)
