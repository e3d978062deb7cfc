"""Kitchen units: UK and US apart, ambiguous ones as intervals, wrong ones refused."""

from pathlib import Path

import pandas as pd
import pytest

from pipeline import units
from pipeline.problems import InputError

WORDS = pd.read_csv(Path(__file__).resolve().parents[1] / "mappings" / "unit_words.csv", dtype="str", keep_default_na=False)
SIZES = pd.read_csv(Path(__file__).resolve().parents[1] / "mappings" / "sizes.csv", dtype="str", keep_default_na=False)
KINDS = {"mass", "volume", "spoon", "cup", "piece", "vague", "container"}


def test_uk_and_us_pints_are_kept_apart():
    assert units.millilitres_per("pint", "uk").middle == pytest.approx(568.26125, abs=1e-9)
    assert units.millilitres_per("pint", "us").middle == pytest.approx(473.176473, abs=1e-9)
    assert units.millilitres_per("tablespoon", "uk").middle == 15.0
    assert units.millilitres_per("tablespoon", "us").middle == pytest.approx(14.78676478125, abs=1e-12)


def test_a_british_cup_is_an_interval_and_a_us_cup_is_not():
    cup = units.millilitres_per("cup", "uk")
    assert (cup.low, cup.middle, cup.high) == pytest.approx((236.5882365, 250.0, 284.130625))
    assert not cup.exact
    assert units.millilitres_per("cup", "us").exact
    assert units.millilitres_per("cup", "metric")[:3] == (250.0, 250.0, 250.0)


def test_metric_factors_are_exact_powers_of_ten():
    assert [units.millilitres_per(unit).middle for unit in ("ml", "cl", "dl", "l")] == [1.0, 10.0, 100.0, 1000.0]
    assert [units.grams_per(unit).middle for unit in ("mg", "g", "kg")] == [0.001, 1.0, 1000.0]


@pytest.mark.parametrize("call", [
    lambda: units.millilitres_per("g", "uk"), lambda: units.grams_per("cup"), lambda: units.millilitres_per("cup", "australian"),
    lambda: units.grams_per(""), lambda: units.millilitres_per("firkin"),
])
def test_wrong_units_are_refused_with_a_remedy(call):
    with pytest.raises(InputError) as caught:
        call()
    assert "Use one of" in str(caught.value)


def test_every_written_word_has_one_known_unit_and_kind():
    assert WORDS["word"].is_unique and (WORDS["word"].str.strip() == WORDS["word"]).all()
    assert set(WORDS["kind"]) == KINDS
    assert WORDS["word"].tolist() == sorted(WORDS["word"])
    assert set(WORDS.loc[WORDS["kind"] == "mass", "unit"]) == set(units.MASS_UNITS)
    spoons = set(WORDS.loc[WORDS["kind"] == "spoon", "unit"])
    assert {unit for unit in spoons if not unit.startswith("heaped")} == units.SPOONS
    assert set(WORDS.loc[WORDS["kind"].isin(["volume", "cup"]), "unit"]) == set(units.VOLUME_UNITS) - units.SPOONS


def test_a_canonical_unit_is_its_own_word():
    by_word = WORDS.set_index("word")["unit"]
    missing = [unit for unit in WORDS["unit"].unique() if by_word.get(unit, unit) != unit]
    assert missing == []


def test_case_tells_a_tablespoon_from_a_teaspoon():
    by_word = WORDS.set_index("word")["unit"]
    assert (by_word["T"], by_word["t"]) == ("tablespoon", "teaspoon")


def test_sizes_are_the_closed_set():
    assert SIZES["word"].is_unique
    assert set(SIZES["size"]) == {"baby", "small", "medium", "large"}
