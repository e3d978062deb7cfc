"""Outside check. Source: Regulation (EU) No 1169/2011, Annex I point 11 ("salt" means the salt equivalent
content calculated as salt = sodium x 2.5), from memory; and the sodium conditions of the annex of
Regulation (EC) No 1924/2006, from memory. Atomic weights: IUPAC abridged, from memory."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from hand_figures import figure, reference_file, verdict  # noqa: E402

from pipeline.policy import in_mg  # noqa: E402
from pipeline.stages.tolerance import tolerances_of  # noqa: E402


@pytest.mark.parametrize("claim, salt_g", [("low-salt", 0.3), ("very-low-salt", 0.1), ("salt-free", 0.0125)])
def test_sodium_limits_are_the_salt_limits_over_two_and_a_half(claim, salt_g):
    # 0.12, 0.04 and 0.005 g sodium are 0.3, 0.1 and 0.0125 g salt.
    row = reference_file("claims").set_index("claim_id").loc[claim]
    assert row["component"] == "NA" and row["unit"] == "mg"
    assert row["limit"] * 2.5 / 1000 == pytest.approx(salt_g)


def test_a_dish_with_point_three_grams_of_salt_is_just_low_in_salt():
    sodium_mg = 0.3 / 2.5 * 1000
    assert verdict("low-salt", [figure("NA", sodium_mg)])["verdict"] == "holds"
    assert verdict("low-salt", [figure("NA", sodium_mg + 0.1)])["verdict"] == "fails"


def test_the_tolerances_for_salt_are_those_for_sodium_times_two_and_a_half():
    # Guidance of December 2012, from memory: sodium below 0.5 g +-0.15 g; salt below 1.25 g +-0.375 g.
    tolerances = tolerances_of(reference_file("tolerances"))
    sodium, salt = ([(row.from_value * times, row.to_value * times, float(row.change) * (1 if row.relative else times), row.relative)
                     for row in tolerances[key]] for key, times in ((("NA", "mg"), 2.5 / 1000), (("NACL", "g"), 1)))
    assert len(sodium) >= 4 and [pytest.approx(row) for row in sodium] == salt


def test_two_and_a_half_is_the_ratio_of_the_molar_masses_rounded():
    # Sodium chloride 58.44 g/mol (22.990 + 35.453) over sodium 22.990.
    assert round((in_mg("NA", 1, "mmol") + 35.453) / in_mg("NA", 1, "mmol"), 1) == 2.5
    assert in_mg("K", 10, "mmol") == pytest.approx(390.98)
