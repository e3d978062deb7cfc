"""Outside check. Source: USDA National Nutrient Database for Standard Reference, Release 26 (2013), the ASCII files as published:
the import holds every row of them, value by value, and the counts that the release's documentation prints (8,463 foods, 632,894
values, 15,137 weights)."""

from __future__ import annotations

import io
import sys
import zipfile
from pathlib import Path

import pandas as pd
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
import sr_release  # noqa: E402

from pipeline import sources  # noqa: E402
from pipeline.composition import store  # noqa: E402
from pipeline.composition.importing import import_table  # noqa: E402
from pipeline.composition.load import load_table  # noqa: E402
from pipeline.tables import Entries, Values  # noqa: E402

ZIP = "usda-sr26-ascii.zip"
pytestmark = [pytest.mark.outside_data, pytest.mark.slow]


@pytest.fixture(scope="module")
def archive(outside_data) -> Path:
    path = outside_data / ZIP
    if not path.is_file():
        pytest.skip(f"{ZIP} is not in the folder of published tables")
    return path


@pytest.fixture(scope="module")
def published(archive) -> dict[str, list[list[str]]]:
    """The fields of each file, read as plainly as can be."""
    with zipfile.ZipFile(archive) as opened:
        return {
            Path(name).stem: [[field.strip("~") for field in line.split("^")]
                              for line in io.TextIOWrapper(opened.open(name), "iso-8859-1", newline="\r\n").read().split("\r\n") if line]
            for name in opened.namelist() if name.endswith(".txt")}


@pytest.fixture(scope="module")
def root(archive, tmp_path_factory) -> Path:
    root = sr_release.project(tmp_path_factory.mktemp("project") / "root")
    outcome = import_table("usda-sr-ascii", archive, "usda-sr26", root=root)
    assert outcome.state == "imported" and outcome.notes == ()
    return root


@pytest.fixture(scope="module")
def stored(root):
    return store.load("usda-sr26", root=root)


def test_the_counts_are_the_published_ones(stored, published):
    counts = stored.facts["counts"]
    assert (counts["foods"], counts["values"], counts["weights"]) == (8463, 632894, 15137)
    assert (counts["footnotes"], counts["data_sources"], counts["data_source_links"]) == tuple(
        len(published[name]) for name in ("FOOTNOTE", "DATA_SRC", "DATSRCLN"))
    assert len(stored.entries) == 8463 and len(stored.measures) == 15137
    assert (stored.values["value_type"] != "missing").sum() == 632894


def test_every_value_is_the_published_one(stored, published):
    values = stored.values[stored.values["value_type"] != "missing"]
    ours = {
        (row[0], row[1][-3:]): row[2:] for row in values[
            ["entry_id", "source_row", "original", "value", "n", "standard_error", "minimum", "maximum", "derivation"]
        ].itertuples(index=False, name=None)}
    assert len(ours) == len(published["NUT_DATA"])
    for fields in published["NUT_DATA"]:
        original, *numbers, derivation = ours[fields[0], fields[1]]
        assert original == fields[2] and derivation == "/".join(code for code in fields[5:7] if code)
        for number, text in zip(numbers, (fields[2], fields[3], fields[4], fields[10], fields[11]), strict=True):
            assert number == float(text) if text else number != number, fields


def test_a_component_without_a_row_is_missing(stored, published):
    there = {(fields[0], fields[1]) for fields in published["NUT_DATA"]}
    missing = stored.values[stored.values["value_type"] == "missing"]
    assert missing["value"].isna().all() and (missing["original"] == "").all()
    asked = set(zip(missing["entry_id"], missing["source_row"].str[-3:], strict=True))
    assert len(asked) == len(missing) and not asked & there
    wanted = sr_release.COMPONENTS["source_nutrient"]
    assert len(missing) + sum(fields[1] in set(wanted) for fields in published["NUT_DATA"]) == 8463 * len(wanted)


def test_every_household_weight_is_the_published_one(stored, published):
    ours = stored.measures.set_index("measure_id")
    for food, sequence, amount, description, grams, _, _ in published["WEIGHT"]:
        row = ours.loc[f"usda-sr26:{food}:{sequence.zfill(2)}"]
        assert row["scope_key"] == food and row["middle"] == float(grams) / float(amount)
        assert row["note"].startswith(f"published as: {amount} {description}; ") and row["low"] <= row["middle"] <= row["high"]
    assert not ours.duplicated(["scope_key", "measure", "size", "preparation"]).any()


def further(table, root):
    """A table of the release that has no place in the common form, as it is stored beside it."""
    return pd.read_parquet(store.folder(root) / "usda-sr26" / "extra" / f"{table}.parquet")


def test_every_refuse_and_every_factor_is_kept(stored, published, root):
    ours = stored.entries.set_index("entry_id")["refuse_fraction"]
    for fields in published["FOOD_DES"]:
        fraction = ours[fields[0]]
        assert fraction == int(fields[8]) / 100 if fields[8] else fraction != fraction
    kept = further("foods_as_published", root)
    assert [list(row) for row in kept.itertuples(index=False, name=None)] == published["FOOD_DES"]


@pytest.mark.parametrize(("table", "file"), [
    ("weights_as_published", "WEIGHT"), ("footnotes", "FOOTNOTE"), ("data_sources", "DATA_SRC"), ("data_source_links", "DATSRCLN"),
    ("source_codes", "SRC_CD"), ("derivation_codes", "DERIV_CD"), ("food_groups", "FD_GROUP"),
])
def test_what_has_no_place_in_the_common_form_is_kept_row_by_row(root, published, table, file):
    kept = further(table, root)
    assert [list(row) for row in kept.itertuples(index=False, name=None)] == [[field.strip() for field in row] for row in published[file]]


@pytest.mark.parametrize(("entry_id", "component", "unit", "value", "value_type", "n", "derivation"), [
    ("11457", "K", "mg", 558, "analysed", 10, "1"),              # spinach, raw
    ("11282", "ENERC", "kcal", 40, "calculated", 0, "4/NC"),     # onions, raw
    ("02047", "FIBTG", "g", 0, "imputed", 0, "4"),               # table salt: a 0 of type 4 is not an assumed one
    ("11282", "ALC", "g", 0, "zero", 0, "7"),
    ("18372", "K", "mg", 0, "analysed", 1, "1"),                 # baking soda: a measured 0
    ("02001", "SUGAR", "g", None, "missing", None, ""),          # allspice
])
def test_a_spot_value_of_each_type(stored, entry_id, component, unit, value, value_type, n, derivation):
    values = stored.values
    (row,) = values[(values["entry_id"] == entry_id) & (values["component"] == component) & (values["unit"] == unit)].to_dict("records")
    assert row["value_type"] == value_type and row["derivation"] == derivation
    assert row["value"] == value if value is not None else row["value"] != row["value"]
    assert row["n"] == n if n is not None else row["n"] != row["n"]


def test_a_borrowed_value(stored, published):
    """Derivation T: taken from another table."""
    code = {row[0] for row in published["DERIV_CD"] if row[1].casefold().startswith("taken from another")}
    borrowed = stored.values[stored.values["value_type"] == "borrowed"]
    assert code == {"T"} and len(borrowed) == sum(row[6] == "T" for row in published["NUT_DATA"])


def test_it_agrees_with_the_curated_core(stored):
    """The core was taken from the same release by hand-picked entries."""
    reference = sources.load()
    core = load_table("core", reference.sources)
    keys = ["entry_id", "component", "unit"]
    both = core.values[core.values["source_id"] == "usda-sr26"].merge(stored.values, on=keys, validate="one_to_one", suffixes=("", "_sr"))
    assert len(both) == (core.values["source_id"] == "usda-sr26").sum()
    for name in ("value", "n", "standard_error", "minimum", "maximum"):
        assert (both[name].fillna(-1) == both[f"{name}_sr"].fillna(-1)).all(), name
    assert (both["value_type"] == both["value_type_sr"]).all() and (both["source_row"] == both["source_row_sr"]).all()


def test_a_run_loads_only_the_components_it_needs(root):
    """How long that takes is printed by tests/benchmarks/import_sr26.py."""
    table = load_table("usda-sr26", sources.load(root).sources, root)
    assert len(table.values) == 8463 * len(sr_release.COMPONENTS)
    Entries.validate(table.entries, lazy=True)
    Values.validate(table.values, lazy=True)


def test_the_second_import_does_nothing(root, archive):
    assert import_table("usda-sr-ascii", archive, "usda-sr26", root=root).state == "current"
