"""Piece weights, densities and refuse against USDA SR26 (files WEIGHT.txt and FOOD_DES.txt).

Source: USDA National Nutrient Database for Standard Reference, Release 26 (2013), ASCII
files. Household weights are of the edible portion; refuse is a percentage of the food as
purchased (SR26 documentation, files "Weight" and "Food Description").
"""

import re
import zipfile
from pathlib import Path

import pytest

from pipeline import sources

ROOT = Path(__file__).resolve().parents[2] / "reference"
MEASURES, EDIBLE, DENSITIES = (
    sources.read_csv(ROOT / f"{name}.csv", *sources.FILES[name]) for name in ("measures", "edible_portions", "densities"))
WEIGHT_ROW = re.compile(r"USDA SR26, (\d{5}), weight (\d+)")
REFUSE_ROW = re.compile(r"USDA SR26, (\d{5}), refuse (\d+) %")
# Handbook 44, appendix C: the US cup of 236.5882365 ml and its parts.
US_ML = {"cup": 236.5882365, "tbsp": 236.5882365 / 16, "tablespoon": 236.5882365 / 16, "tsp": 236.5882365 / 48, "fl oz": 236.5882365 / 8}
# Read off WEIGHT.txt and FOOD_DES.txt by eye, so that one wrong link cannot hide in the file itself.
READ_BY_EYE = {
    "us-onion-piece-small": 70, "us-onion-piece-medium": 110, "us-onion-piece-large": 150, "us-leek-piece-medium": 89, "garlic-clove": 3,
    "us-carrot-piece-medium": 61, "celery-stalk-medium": 40, "turnip-piece-medium": 122, "swede-piece-medium": 386,
    "radish-piece-medium": 4.5, "cabbage-head-medium": 908, "red-cabbage-head-medium": 839, "cauliflower-head-medium": 588,
    "brussels-sprout-piece": 19, "iceberg-lettuce-head-medium": 539, "cherry-tomato-piece": 17, "plum-tomato-piece": 62,
    "cucumber-piece": 301, "red-pepper-piece-medium": 119, "courgette-piece-medium": 196, "mushroom-piece-medium": 18,
    "portobello-mushroom-piece": 84, "sweetcorn-ear-medium": 102, "asparagus-spear": 16, "fennel-bulb": 234, "parsley-sprig": 1,
    "banana-piece-medium": 118, "orange-piece-medium": 131, "lemon-juice-piece": 48, "lime-juice-piece": 44, "lime-piece": 67,
    "pear-piece-medium": 178, "peach-piece-medium": 150, "plum-piece": 66, "apricot-piece": 35, "cherry-piece": 8.2, "fig-piece-medium": None,
    "kiwi-piece": 69, "mango-piece": 336, "strawberry-piece": 12, "pineapple-piece": 905, "rhubarb-stalk": 51, "avocado-piece": 136,
    "egg-white-piece": 33, "egg-yolk-piece": 17, "butter-stick": 113, "spring-onion-piece-medium": 15, "parsnip-piece": None,
    "clementine-piece": 74, "grape-piece": 4.9, "potato-piece-medium": 213, "beetroot-piece-medium": 82, "date-piece": 7.1,
}


@pytest.fixture(scope="module")
def published(outside_data):
    """(weights by (ndb, sequence), refuse percentage by ndb)."""
    path = outside_data / "usda-sr26-ascii.zip"
    if not path.exists():
        pytest.skip(f"{path.name} is not in the folder of published tables")
    with zipfile.ZipFile(path) as archive:
        named = {Path(name).name.upper(): name for name in archive.namelist()}
        weights = {(row[0], row[1]): (float(row[4]) / float(row[2]), row[3]) for row in _rows(archive, named["WEIGHT.TXT"])}
        refuse = {row[0]: float(row[8] or 0) for row in _rows(archive, named["FOOD_DES.TXT"])}
    return weights, refuse


def _rows(archive, name):
    for line in archive.read(name).decode("latin-1").splitlines():
        yield [field.strip("~") for field in line.split("^")]


def wrong_weights(measures, weights):
    """Measures of SR26 whose middle is not the published gram weight of one measure."""
    wrong = []
    for row in measures[measures["source_id"] == "usda-sr26"].itertuples():
        ndb, sequence = WEIGHT_ROW.fullmatch(row.source_row).groups()
        if row.middle != pytest.approx(weights[ndb, sequence][0], abs=6e-5):
            wrong.append(row.measure_id)
    return wrong


def wrong_densities(densities, weights):
    """Densities of SR26 that are not the published weight of a cup, spoon or fluid ounce over its volume."""
    wrong = []
    for row in densities[(densities["source_id"] == "usda-sr26") & ~densities["source_row"].str.startswith("fitted")].itertuples():
        ndb, sequence = WEIGHT_ROW.match(row.source_row).groups()
        grams, described = weights[ndb, sequence]
        unit = re.search(r"tablespoon|tbsp|tsp|fl oz|cup", described).group()
        if row.density_g_per_ml != pytest.approx(grams / US_ML[unit], abs=6e-5):
            wrong.append(row.density_id)
    return wrong


@pytest.mark.outside_data
def test_every_sr26_measure_is_the_published_weight(published):
    assert (MEASURES["source_id"] == "usda-sr26").sum() >= 40
    assert wrong_weights(MEASURES, published[0]) == []


@pytest.mark.outside_data
def test_one_changed_digit_in_a_measure_is_found(published):
    changed = MEASURES.copy()
    at = changed.index[changed["measure_id"] == "us-onion-piece-medium"][0]
    changed.loc[at, "middle"] += 0.1
    assert wrong_weights(changed, published[0]) == ["us-onion-piece-medium"]


def test_weights_read_by_eye_agree():
    middles = MEASURES.set_index("measure_id")["middle"]
    expected = {key: grams for key, grams in READ_BY_EYE.items() if grams is not None}
    assert len(expected) >= 40
    assert {key: middles[key] for key in expected} == pytest.approx(expected)


@pytest.mark.outside_data
def test_every_sr26_density_is_weight_over_volume(published):
    assert (DENSITIES["source_id"] == "usda-sr26").sum() >= 100
    assert wrong_densities(DENSITIES, published[0]) == []


@pytest.mark.outside_data
def test_every_sr26_edible_fraction_is_one_less_the_refuse(published):
    rows = EDIBLE[EDIBLE["source_id"] == "usda-sr26"]
    assert len(rows) >= 50
    for row in rows.itertuples():
        ndb, percent = REFUSE_ROW.fullmatch(row.source_row).groups()
        assert float(percent) == published[1][ndb], row.edible_id
        assert row.edible_fraction == pytest.approx(1 - published[1][ndb] / 100, abs=1e-9), row.edible_id


def test_weights_of_the_edible_portion_carry_that_basis():
    """The classic double count: only whole potatoes, weighed with the skin that is then peeled, are as purchased."""
    rows = MEASURES[(MEASURES["source_id"] == "usda-sr26") & (MEASURES["basis"] != "edible")]
    assert rows["scope_key"].str.contains("potato").all()


def test_water_milk_and_oil_have_the_densities_of_physics_tables():
    # CRC Handbook of Chemistry and Physics, water at 20 degC 0.998 g/ml; milk 1.03 and olive oil 0.91-0.92, from memory.
    middles = DENSITIES.set_index("density_id")["density_g_per_ml"]
    assert middles["water"] == pytest.approx(0.998, abs=0.006)
    assert middles["milk"] == pytest.approx(1.03, abs=0.01)
    assert middles["olive-oil"] == pytest.approx(0.915, abs=0.01)


@pytest.mark.outside_data
def test_fitted_densities_are_what_the_script_makes_of_the_tuning_half(imported_sr26, monkeypatch):
    monkeypatch.syspath_prepend(str(ROOT / "build"))
    import build_densities

    built = build_densities.built(imported_sr26).set_index("density_id")
    columns = ["density_g_per_ml", "low", "high"]
    fitted = DENSITIES[DENSITIES["source_row"].str.startswith("fitted")].set_index("density_id")
    assert len(fitted) >= 50
    assert sorted(fitted.index) == sorted(built.index[built["source_row"].str.startswith("fitted")])
    assert built.loc[fitted.index, columns].astype("float64").to_numpy() == pytest.approx(fitted[columns].to_numpy(), abs=2e-3)


@pytest.mark.outside_data
def test_the_half_that_is_reported_on_was_not_fitted_to(imported_sr26, monkeypatch):
    monkeypatch.syspath_prepend(str(ROOT / "build"))
    import build_densities
    from household_lines import is_tuning

    from pipeline import decisions
    from pipeline.composition.load import load_table

    found = build_densities.observed(load_table("usda-sr26", sources.load(imported_sr26).sources, imported_sr26), decisions.load(imported_sr26), imported_sr26)
    assert len(found) > 300 and found["entry_id"].map(is_tuning).all()
