"""Outside check. Source: European Commission, Health and Consumers Directorate-General, guidance document for competent
authorities on the setting of tolerances for nutrient values declared on a label, December 2012, section 6, table 4
(rounding guidelines for the nutrient declaration); from memory, section and table numbers too. Limits of claims: annex of
Regulation (EC) No 1924/2006, from memory."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from hand_figures import reference_file  # noqa: E402

from pipeline.rounding import printed, rounding_rule  # noqa: E402

EU = rounding_rule(reference_file("rounding"), "eu-2012")


def shown(component, unit, *values):
    return [printed(component, value, unit, EU).text for value in values]


@pytest.mark.parametrize("unit", ["kJ", "kcal"])
def test_energy_to_the_nearest_one(unit):
    assert shown("ENERC", unit, 0.49, 0.5, 101.49, 101.5) == [f"0 {unit}", f"1 {unit}", f"101 {unit}", f"102 {unit}"]


@pytest.mark.parametrize("component", ["FAT", "CHOAVLDF", "CHOCDF", "SUGAR", "PROCNT", "FIBTG"])
def test_fat_carbohydrate_sugars_protein_and_fibre(component):
    # 10 g or more: nearest 1 g; below 10 g and above 0.5 g: nearest 0.1 g; 0.5 g or less: 0 g or <0.5 g.
    assert shown(component, "g", 10.0, 10.49, 10.5) == ["10 g", "10 g", "11 g"]
    assert shown(component, "g", 9.94, 9.95, 9.99) == ["9.9 g", "10 g", "10 g"]
    assert shown(component, "g", 0.51, 0.54, 0.55) == ["0.5 g", "0.5 g", "0.6 g"]
    assert shown(component, "g", 0.5, 0.49, 0.0) == ["<0.5 g"] * 3


@pytest.mark.parametrize("component", ["FASAT", "FAMS", "FAPU"])
def test_saturates_monounsaturates_and_polyunsaturates(component):
    # 10 g or more: nearest 1 g; below 10 g and above 0.1 g: nearest 0.1 g; 0.1 g or less: 0 g or <0.1 g.
    assert shown(component, "g", 10.0, 10.5, 9.94) == ["10 g", "11 g", "9.9 g"]
    assert shown(component, "g", 0.11, 0.14, 0.15) == ["0.1 g", "0.1 g", "0.2 g"]
    assert shown(component, "g", 0.1, 0.09, 0.0) == ["<0.1 g"] * 3


def test_sodium():
    # 1 g or more: nearest 0.1 g; below 1 g and above 0.005 g: nearest 0.01 g; 0.005 g or less: 0 g or <0.005 g.
    assert shown("NA", "g", 1.0, 1.04, 1.05, 0.994) == ["1.0 g", "1.0 g", "1.1 g", "0.99 g"]
    assert shown("NA", "g", 0.0051, 0.014, 0.015) == ["0.01 g", "0.01 g", "0.02 g"]
    assert shown("NA", "g", 0.005, 0.0049, 0.0) == ["<0.005 g"] * 3


def test_sodium_in_milligrams_is_the_same_figure():
    for sodium_g in (0.0, 0.0049, 0.005, 0.0051, 0.0149, 0.015, 0.234, 0.994, 0.995, 1.0, 1.04, 1.05, 2.345):
        grams, milligrams = printed("NA", sodium_g, "g", EU), printed("NA", sodium_g * 1000, "mg", EU)
        assert milligrams.value == pytest.approx(grams.value * 1000)


def test_salt():
    # 1 g or more: nearest 0.1 g; below 1 g and above 0.0125 g: nearest 0.01 g; 0.0125 g or less: 0 g or <0.01 g.
    assert shown("NACL", "g", 1.0, 1.04, 1.05, 0.994) == ["1.0 g", "1.0 g", "1.1 g", "0.99 g"]
    assert shown("NACL", "g", 0.0126, 0.014, 0.015) == ["0.01 g", "0.01 g", "0.02 g"]
    assert shown("NACL", "g", 0.0125, 0.0124, 0.0) == ["<0.01 g"] * 3


@pytest.mark.parametrize("component, unit", [("CA", "mg"), ("P", "mg"), ("MG", "mg"), ("K", "mg"), ("FOL", "ug")])
def test_three_significant_figures(component, unit):
    # Vitamin A, folic acid, chloride, calcium, phosphorus, magnesium, iodine, potassium.
    assert shown(component, unit, 123.4, 123.5, 1235, 12.34) == [f"{text} {unit}" for text in ("123", "124", "1240", "12.3")]


@pytest.mark.parametrize("component, unit", [
    ("FE", "mg"), ("ZN", "mg"), ("VITC", "mg"), ("THIA", "mg"), ("RIBF", "mg"), ("NIA", "mg"), ("VITB6A", "mg"), ("VITB12", "ug")])
def test_two_significant_figures(component, unit):
    # All other vitamins and minerals.
    assert shown(component, unit, 12.4, 12.5, 1.24, 1.25, 0.124) == [f"{text} {unit}" for text in ("12", "13", "1.2", "1.3", "0.12")]


@pytest.mark.parametrize("component, unit, limit, over", [
    ("NA", "mg", 120, 124.9), ("NA", "mg", 40, 44.9), ("FAT", "g", 3, 3.04), ("FAT", "g", 0.5, 0.54), ("SUGAR", "g", 5, 5.04)])
def test_a_figure_over_the_limit_of_a_claim_is_not_printed_as_the_limit(component, unit, limit, over):
    # Low sodium 0.12 g, very low sodium 0.04 g, low fat 3 g, fat-free 0.5 g, low sugars 5 g, per 100 g.
    assert printed(component, over, unit, EU).value <= limit
    guarded = printed(component, over, unit, EU, limit=limit, comparator="<=")
    assert guarded.value > limit and guarded.note
