"""Outside check. Source: Regulation (EU) No 1169/2011, Annex XIV (conversion factors for the
calculation of energy), from memory: recalled, not read."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from hand_figures import reference_file  # noqa: E402

# kJ/g, kcal/g as the annex lists them.
ANNEX_XIV = {
    "CHOAVLDF": (17, 4),    # carbohydrate (except polyols)
    "POLYL": (10, 2.4),     # polyols
    "PROCNT": (17, 4),      # protein
    "FAT": (37, 9),         # fat
    "salatrims": (25, 6),
    "ALC": (29, 7),         # alcohol (ethanol)
    "OA": (13, 3),          # organic acid
    "FIBTG": (8, 2),        # fibre
    "erythritol": (0, 0),
}


def test_the_file_holds_the_annex_and_nothing_else():
    factors = reference_file("energy_factors").set_index("component")
    assert {name: (row.kj_per_g, row.kcal_per_g) for name, row in factors.iterrows()} == ANNEX_XIV
    assert set(factors["source_id"]) == {"eu-1169-2011"}


@pytest.mark.parametrize("component", sorted(set(ANNEX_XIV) - {"erythritol"}))
def test_the_two_columns_agree_with_the_thermochemical_calorie(component):
    # 1 kcal = 4.184 kJ (ISO 31-4; SI Brochure lists the calorie). The annex rounds each to its own whole
    # number, so the columns agree to that rounding only: half a kcal is 2.1 kJ.
    factors = reference_file("energy_factors").set_index("component")
    kilojoules, kilocalories = factors.loc[component, ["kj_per_g", "kcal_per_g"]]
    assert abs(kilojoules - 4.184 * kilocalories) <= 2.1


def test_a_worked_label():
    # Worked by hand from the annex: 3 g protein, 5 g fat, 20 g carbohydrate, 2 g fibre, 1 g alcohol
    # = 51 + 185 + 340 + 16 + 29 = 621 kJ; 12 + 45 + 80 + 4 + 7 = 148 kcal.
    factors = reference_file("energy_factors").set_index("component")
    amounts = {"PROCNT": 3, "FAT": 5, "CHOAVLDF": 20, "FIBTG": 2, "ALC": 1}
    assert sum(factors.at[name, "kj_per_g"] * grams for name, grams in amounts.items()) == 621
    assert sum(factors.at[name, "kcal_per_g"] * grams for name, grams in amounts.items()) == 148
