"""Rounding for print: the arithmetic, the guard at a limit, and the rule files. Numbers are made up, except where a limit of a claim is named."""

import math

import pandas as pd
import pytest
from hand_figures import reference_file
from hypothesis import given
from hypothesis import strategies as st

from pipeline.problems import InputError
from pipeline.rounding import COMPARATORS, printed, rounding_rule

EU = rounding_rule(reference_file("rounding"), "eu-2012")
OWN = rounding_rule(reference_file("rounding"), "tern-bay")
EACH = [(rule, *key) for rule in (EU, OWN) for key in sorted(rule.bands)]
AMOUNTS = st.one_of(
    st.floats(0, 5000, allow_nan=False), st.integers(0, 200000).map(lambda number: number / 100), st.integers(0, 5000).map(lambda number: number / 20))


def text(component, value, unit, rule=EU, **limit):
    return printed(component, value, unit, rule, **limit).text


@pytest.mark.parametrize("value, shown", [
    (0.25, "<0.5 g"), (0.55, "0.6 g"), (0.65, "0.7 g"), (1.25, "1.3 g"), (2.675, "2.7 g"), (10.5, "11 g"), (11.5, "12 g"), (12.49, "12 g"),
])
def test_halves_go_up_not_to_the_even_digit(value, shown):
    assert text("PROCNT", value, "g") == shown


def test_a_half_is_a_half_in_decimals_and_the_noise_of_sums_does_not_count():
    assert 1.15 * 100 < 115  # the binary number just beneath 1.15
    assert text("FAT", 1.15, "g") == "1.2 g"
    assert text("FAT", 0.1 + 0.2 + 0.35, "g") == "0.7 g"  # 0.6500000000000001 or 0.65: the same figure


def test_a_figure_rounded_up_into_the_next_band_is_written_as_that_band_is():
    assert text("FAT", 9.96, "g") == "10 g"
    assert text("NA", 996, "mg") == "1000 mg"
    assert text("K", 999.6, "mg") == "1000 mg"


def test_significant_figures_keep_their_zeros():
    assert [text("K", value, "mg") for value in (0, 0.1234, 12.0, 345.6, 1234, 98765)] == [
        "0 mg", "0.123 mg", "12.0 mg", "346 mg", "1230 mg", "98800 mg"]
    assert [text("FE", value, "mg") for value in (1.25, 12.5, 0.104)] == ["1.3 mg", "13 mg", "0.10 mg"]


def test_the_unit_s_own_rule():
    assert [text("K", value, "mg", OWN) for value in (0, 2.4, 2.5, 227.4, 227.5)] == ["<5 mg", "<5 mg", "5 mg", "225 mg", "230 mg"]
    assert printed("K", 227.4, "mg", OWN).rounded_with == "tern-bay"


def test_a_failing_claim_keeps_more_digits_until_it_shows_that_it_fails():
    # Low in potassium for an audience, say at most 200 mg: 201 mg would be printed as 200 mg.
    found = printed("K", 201.0, "mg", OWN, limit=200, comparator="<=")
    assert found.text == "201 mg" and found.value == 201 and "200 mg" in found.note
    assert text("K", 200.04, "mg", OWN, limit=200, comparator="<=") == "200.04 mg"
    # Low salt, 1.5 g of fat, source of protein: one case for each comparator.
    assert text("FAT", 1.54, "g", limit=1.5, comparator="<=") == "1.54 g"
    assert text("FAT", 1.54, "g", limit=1.55, comparator="<=") == "1.5 g"
    assert text("PROCNT", 11.6, "g", limit=12, comparator=">=") == "11.6 g"
    assert text("PROCNT", 11.6, "g", limit=12, comparator=">") == "12 g"  # 12 g does not pass "more than 12 g" either
    assert text("FIBTG", 6.04, "g", limit=6, comparator="<") == "6.0 g"


def test_less_than_half_a_gram_is_not_printed_beside_a_claim_that_the_figure_fails():
    # Sugars-free is at most 0.5 g, sodium-free at most 5 mg; here limits beneath the band that is printed as "<".
    assert text("SUGAR", 0.42, "g") == "<0.5 g"
    assert text("SUGAR", 0.42, "g", limit=0.3, comparator="<=") == "0.42 g"
    assert text("NA", 4.2, "mg", limit=4, comparator="<=") == "4.2 mg"


def test_a_figure_a_hair_over_its_limit_is_rounded_away_from_it():
    found = printed("K", 200.0000001, "mg", OWN, limit=200, comparator="<=")
    assert found.value > 200 and "away" in found.note
    under = printed("PROCNT", 11.9999999, "g", EU, limit=12, comparator=">=")
    assert under.value < 12 and "away" in under.note


def test_a_passing_claim_is_rounded_as_always():
    assert printed("K", 199.0, "mg", OWN, limit=200, comparator="<=").text == "200 mg"
    assert printed("K", 199.0, "mg", OWN, limit=200, comparator="<=").note == ""


@given(st.sampled_from(EACH), AMOUNTS, AMOUNTS, st.sampled_from(sorted(COMPARATORS)))
def test_rounding_never_carries_a_figure_over_a_limit_in_the_claim_s_favour(which, value, limit, comparator):
    rule, component, unit = which
    value, limit = round(value, 9), round(limit, 9)
    found = printed(component, value, unit, rule, limit=limit, comparator=comparator)
    passes = {"<": value < limit, "<=": value <= limit, ">": value > limit, ">=": value >= limit}[comparator]
    shown = {"<": found.value < limit, "<=": found.value <= limit, ">": found.value > limit, ">=": found.value >= limit}[comparator]
    assert passes or not shown


@given(st.sampled_from(EACH), AMOUNTS, AMOUNTS)
def test_more_is_never_printed_as_less(which, one, other):
    rule, component, unit = which
    less, more = sorted((one, other))
    assert printed(component, less, unit, rule).value <= printed(component, more, unit, rule).value


@given(st.sampled_from(EACH), AMOUNTS, AMOUNTS, AMOUNTS, st.sampled_from(sorted(COMPARATORS)))
def test_more_is_never_printed_as_less_beside_a_limit(which, one, other, limit, comparator):
    rule, component, unit = which
    less, more = sorted((one, other))
    shown = [printed(component, value, unit, rule, limit=limit, comparator=comparator).value for value in (less, more)]
    assert shown[0] <= shown[1]


@given(st.sampled_from(EACH), AMOUNTS)
def test_what_is_printed_is_within_one_step_and_reads_as_its_value(which, value):
    rule, component, unit = which
    found = printed(component, value, unit, rule)
    if found.text.startswith("<"):
        assert found.value == 0 and value <= float(found.text[1:].split()[0]) * 1.25 + 1e-9  # salt: 0.0125 g is printed as <0.01 g
        return
    assert float(found.text.removesuffix(f" {unit}")) == found.value
    assert printed(component, found.value, unit, rule).value == found.value


def code(call, *given, **named):
    with pytest.raises(InputError) as caught:
        call(*given, **named)
    return {problem.code for problem in caught.value.problems}


def test_what_cannot_be_printed_is_named():
    assert code(printed, "WATER", 1.0, "g", EU) == {"no-rounding-band"}
    assert code(printed, "NA", 1.0, "ug", EU) == {"no-rounding-band"}
    assert code(printed, "K", math.nan, "mg", EU) == {"not-printable"}
    assert code(printed, "K", -1.0, "mg", EU) == {"not-printable"}
    assert code(printed, "K", 1.0, "mg", EU, limit=2.0) == {"wrong-limit"}
    assert code(printed, "K", 1.0, "mg", EU, limit=2.0, comparator="=<") == {"wrong-limit"}
    assert code(rounding_rule, reference_file("rounding"), "own") == {"unknown-rounding-rule"}


@pytest.mark.parametrize("column, value", [
    ("edge", "from"), ("step", math.nan), ("significant_figures", 3.0), ("from_value", -1.0), ("step", -0.1), ("text_below", "")])
def test_a_damaged_band_is_refused(column, value):
    rows = reference_file("rounding").copy()
    first = rows.index[(rows["rule"] == "tern-bay") & (rows["component"] == "K")][0]
    rows.loc[first, column] = value
    assert code(rounding_rule, rows, "tern-bay") == {"wrong-rounding-band"}


def test_a_rule_without_a_band_from_nothing_is_refused():
    rows = reference_file("rounding")
    assert code(rounding_rule, rows[~((rows["component"] == "FAT") & (rows["from_value"] == 0))], "eu-2012") == {"wrong-rounding-band"}


def test_every_figure_of_the_collection_that_the_guidance_names_has_its_bands():
    components = set(pd.DataFrame(reference_file("components"))["component"])
    without = components - {component for component, _ in EU.bands}
    # No rule of the guidance: water, alcohol, trans and single fatty acids.
    assert without == {"WATER", "ALC", "FATRN", "F18D3N3", "F20D5N3", "F22D6N3"} & components
