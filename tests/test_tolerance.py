"""Tolerance bands at their edges, with the rounding at their ends.

Guidance document of the European Commission, December 2012, on tolerances: table of tolerances including measurement
uncertainty, and rounding guidelines; from memory. Every band below is worked by hand from those, not from the files.
"""

import math

import pytest
from hand_figures import reference_file

from pipeline.rounding import GUIDANCE, rounding_rule
from pipeline.stages.tolerance import band, stands_for, tolerances_of

TOLERANCES = tolerances_of(reference_file("tolerances"))
RULE = rounding_rule(reference_file("rounding"), GUIDANCE)

BANDS = [  # component, unit, declared per 100 g, low, high; the declared value stands for what rounds to it
    ("PROCNT", "g", 8.0, 6.0, 10.0),  # 7.95 - 2 = 5.95; 8.04 + 2 = 10.04
    ("PROCNT", "g", 9.9, 7.9, 11.9),  # 9.85 - 2 = 7.85; 9.94 + 2 = 11.94
    ("PROCNT", "g", 10, 8, 12),  # from 10 g on 20 %: 9.5 x 0.8 = 7.6; 10.4 x 1.2 = 12.48
    ("PROCNT", "g", 30, 24, 36),  # 29.5 x 0.8 = 23.6; 30.4 x 1.2 = 36.48
    ("PROCNT", "g", 41, 33, 49),  # above 40 g 8 g: 40.5 - 8 = 32.5; 41.4 + 8 = 49.4
    ("PROCNT", "g", 9.99, 7.99, 11.99),  # printed more finely than the guidance rounds: 9.985 - 2; 9.994 + 2
    ("SUGAR", "g", 1.0, 0.0, 3.0),  # never below 0; 1.04 + 2 = 3.04
    ("FIBTG", "g", 5.0, 3.0, 7.0),  # 4.95 - 2 = 2.95, halves up; 5.04 + 2 = 7.04
    ("CHOCDF", "g", 20, 16, 24),  # 19.5 x 0.8 = 15.6; 20.4 x 1.2 = 24.48
    ("FAT", "g", 9.9, 8.4, 11.4),  # 9.85 - 1.5 = 8.35; 9.94 + 1.5 = 11.44
    ("FAT", "g", 10, 8, 12),  # 9.5 x 0.8 = 7.6; 10.4 x 1.2 = 12.48
    ("FAT", "g", 0, 0.0, 2.0),  # "<0.5 g" stands for 0 to 0.5; 0.5 + 1.5
    ("FASAT", "g", 3.9, 3.1, 4.7),  # 3.85 - 0.8 = 3.05; 3.94 + 0.8 = 4.74
    ("FASAT", "g", 4.0, 3.2, 4.8),  # 3.95 x 0.8 = 3.16; 4.04 x 1.2 = 4.848
    ("FASAT", "g", 0, 0.0, 0.9),  # "<0.1 g": 0.1 + 0.8
    ("NA", "g", 0.49, 0.34, 0.64),  # 0.485 - 0.15 = 0.335; 0.494 + 0.15 = 0.644
    ("NA", "g", 0.50, 0.40, 0.60),  # from 0.5 g on 20 %: 0.495 x 0.8 = 0.396; 0.504 x 1.2 = 0.6048
    ("NA", "mg", 490, 340, 640),  # the same in mg
    ("NACL", "g", 1.2, 0.8, 1.6),  # below 1.25 g 0.375 g: 1.15 - 0.375 = 0.775; 1.24 + 0.375 = 1.615
    ("NACL", "g", 1.3, 1.0, 1.6),  # 1.25 x 0.8 = 1.0; 1.34 x 1.2 = 1.608
    ("K", "mg", 200, 130, 291),  # -35, +45 %: 199.5 x 0.65 = 129.7; 200.4 x 1.45 = 290.58
    ("K", "mg", 1200, 780, 1750),  # three figures: 1195 x 0.65 = 776.75; 1204 x 1.45 = 1745.8
    ("P", "mg", 100, 65, 146),  # 99.5 x 0.65 = 64.7; 100.4 x 1.45 = 145.58
    ("VITC", "mg", 10, 6, 16),  # two figures; -35, +50 %: 9.5 x 0.65 = 6.175; 10.4 x 1.5 = 15.6
]


def of(component, unit, declared, mass_g=100.0):
    return band(TOLERANCES, RULE, component, declared, unit, mass_g, "mg" if component in ("NA", "K") else "")


@pytest.mark.parametrize("component, unit, declared, low, high", BANDS)
def test_a_band_ends_where_the_guidance_says(component, unit, declared, low, high):
    found = of(component, unit, declared)
    assert (float(found.low), float(found.high)) == pytest.approx((low, high))
    assert found.source_id == "eu-tolerances-2012"


@pytest.mark.parametrize("component, unit, declared, last_within, first_outside", [
    ("PROCNT", "g", 8.0, 5.95, 5.949), ("PROCNT", "g", 8.0, 10.049, 10.05), ("PROCNT", "g", 8.0, 6.0, 5.9), ("PROCNT", "g", 8.0, 10.0, 10.1),
    ("PROCNT", "g", 30, 23.5, 23.49), ("PROCNT", "g", 30, 36.49, 36.5), ("NACL", "g", 1.0, 0.55, 0.549), ("NACL", "g", 1.0, 1.449, 1.45),
    ("K", "mg", 460, 298.5, 298.4), ("K", "mg", 460, 668.4, 668.5), ("NA", "g", 0.5, 0.395, 0.3949), ("FAT", "g", 0, 2.04, 2.05),
])
def test_at_the_end_of_a_band_just_under_and_just_over(component, unit, declared, last_within, first_outside):
    # What is compared is rounded too: 5.95 g is 6.0 g, and so within 6.0 to 10.0 g.
    found = of(component, unit, declared)
    assert found.holds(last_within) and not found.holds(first_outside)


def test_a_band_per_portion_is_chosen_per_100_g():
    # 40 g protein in a 400 g portion are 10 g per 100 g: 20 %. 39 g are 9.75 g: 2 g per 100 g, so 8 g in the portion.
    assert (float(of("PROCNT", "g", 40, 400).low), float(of("PROCNT", "g", 40, 400).high)) == (32, 48)  # 39.5 x 0.8 = 31.6; 40.4 x 1.2 = 48.48
    assert (float(of("PROCNT", "g", 39, 400).low), float(of("PROCNT", "g", 39, 400).high)) == (31, 47)  # 38.5 - 8 = 30.5; 39.4 + 8 = 47.4


def test_print_in_mmol_keeps_its_own_digits():
    # 5.1 mmol potassium stands for 5.05 to 5.14 written to a tenth; -35 % and +45 %.
    low, high, step = stands_for("K", 5.1, "mmol", RULE)
    assert (float(low), float(high), float(step)) == (5.05, 5.14, 0.1)
    found = of("K", "mmol", 5.1)
    assert (float(found.low), float(found.high)) == (3.3, 7.5)  # 5.05 x 0.65 = 3.28; 5.14 x 1.45 = 7.45


def test_no_tolerance_no_band():
    assert band(TOLERANCES, RULE, "WATER", 70, "g", 100) is None
    assert math.isclose(float(of("K", "mg", 0).high), 1)  # 0.4 x 1.45 = 0.58, and not below 0
