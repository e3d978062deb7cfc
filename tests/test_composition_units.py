"""A unit or basis that a heading says anywhere, against the unit that the profile gives its column.

SI symbols (BIPM SI Brochure, 9th edition) and the words that food labels use for a basis (EU 1169/2011: per 100 g, per portion, % of
the reference intake), from memory.
"""

from __future__ import annotations

import pytest
from test_composition_profile import SMALL, fault, written

from pipeline.composition.profile import load_profile
from pipeline.composition.sheet import read
from pipeline.composition.sheet_units import heading_against
from pipeline.problems import InputError

IRON = 'heading = "Iron (mg)"'


@pytest.mark.parametrize("heading", [
    "Natrium in g", "Natrium g/100 g", "Na, g", "Na (g)", "Na [g/100g]", "Na(g)", "Na_g", "Natrium (Gramm)", "Na (mg) (g)",
    "Na µg", "Na, mcg", "Na (ug/100 g)", "Na (mg/kg)", "Na mg kg⁻¹", "Na per kg (mg)", "Na_mg_per_kg", "Na [mg/1kg]", "Na (mmol)", "Na mmol/l", "Na meq",
    "Na (mg/portion)", "Na mg pro Portion", "Na mg per serving", "Na (mg/100 kcal)", "Na mg per 100 kJ", "Na mg/10 g", "Na mg per 50 g", "Na mg/1000 g",
    "Na (% NRV)", "Na % RI", "Na %DV", "Na (mg) % of daily value", "Na NRV", "Na %", "Na (mg/g N)", "Na mg/l", "Na mg/100 g dry matter",
])
def test_a_heading_that_contradicts_mg_is_seen_wherever_it_says_so(heading):
    assert heading_against(heading, "mg")


@pytest.mark.parametrize("heading, unit", [
    ("Eau (g/100 g)", "g"), ("Water %", "g"), ("K mg%", "mg"), ("K (mg/100 g)", "mg"), ("Vitamin K (µg)", "ug"), ("Vitamin E (mg α-TE)", "mg"),
    ("Energie, Règlement UE N° 1169/2011 (kJ/100 g)", "kJ"), ("Protéines, N x facteur de Jones (g/100 g)", "g"), ("Na mg/100ml", "mg"),
    ("AG 18:3 c9,c12,c15 (n-3), alpha-linolénique (g/100 g)", "g"), ("Sodium, mg, per 100 grammes edible portion", "mg"),
    ("Potassium mg 100g-1", "mg"), ("Na (mg/100 g EP)", "mg"), ("Gesamtfett", "g"), ("Vitamin A (IU)", "IU"), ("Kalium (mg je 100 g)", "mg"),
    ("Kalium in Milligramm", "mg"), ("Energy (kcal) (kcal)", "kcal"), ("Iron (total)", "mg"),
])
def test_a_heading_that_agrees_is_taken(heading, unit):
    assert heading_against(heading, unit) == ""


@pytest.mark.parametrize("heading, says", [("Iron in g", "g"), ("Iron (mg/kg)", "/kg"), ("Iron (mmol)", "mmol"), ("Iron, mg/portion", "portion")])
def test_a_profile_is_refused_unless_it_confirms_the_unit(tmp_path, heading, says):
    message = fault(tmp_path, (IRON, f'heading = "{heading}"'))
    assert f"the unit is mg, and the heading says {says}" in message and "unit_confirmed = true" in message
    profile = load_profile(written(tmp_path, SMALL, (IRON, f'unit_confirmed = true, heading = "{heading}"')))
    assert [column.unit_confirmed for column in profile.sheets[0].columns] == [False, True, False]


def sheet_with_units_below(tmp_path, below, *changes):
    profile = written(tmp_path, SMALL, ('code = "Code"', 'code = "Code"\nrows_below_header = 1'), ('decimal = ","\nthousands = "."', 'decimal = "."'),
                      ("Water (g)", "Water"), ("Potassium (mg)", "Potassium"), *changes)
    path = tmp_path / "own.csv"
    path.write_text(f"Code,Name,Water,Iron (mg),Potassium\n{below}\nA1,Leek,83,2.1,180\n", encoding="utf-8")
    return read(path, profile)


def test_a_row_of_units_below_the_headings_is_heard(tmp_path):
    assert len(sheet_with_units_below(tmp_path, ",,g,mg,mg/100 g").entries) == 1
    with pytest.raises(InputError, match=r"'g' says g, and the unit of 'Potassium' in the profile is mg"):
        sheet_with_units_below(tmp_path, ",,g,mg,g")
    assert len(sheet_with_units_below(tmp_path, ",,g,mg,g", ("trace_limit = 0.4", "unit_confirmed = true, trace_limit = 0.4")).entries) == 1
