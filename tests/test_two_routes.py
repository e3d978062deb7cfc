"""Two routes to one amount: by hand from USDA SR26, what they do to an interval, and that `potash verify` recomputes them.

Values per 100 g as printed in USDA SR26 (published): macaroni 20499 dry and 20400 cooked, potassium 223 and 44 mg;
carrots 11124 raw and 11125 boiled, potassium 320 and 235 mg.
"""

from __future__ import annotations

import dataclasses
import math
import random
import shutil

import pandas as pd
import pytest
import straight
import tampering

from pipeline import job as jobs
from pipeline import steps, tables
from pipeline.root import ROOT
from pipeline.stages import audit_plausible, total_inputs, two_routes
from pipeline.verify import verify

Z = 1.6448536269514722  # 95th percentile of the standard normal distribution, any table
PAIR = pd.DataFrame([("raw", "ready", "boil", "drained", "usda-sr26", "a row")],
                    columns=["raw_entry_id", "cooked_entry_id", "method", "liquid", "source_id", "source_row"])


def settled(*line_ids: str) -> pd.DataFrame:
    rows = [{"recipe_id": "pot", "variant_id": "base", "line_no": int(one.rpartition("/")[2]), "line_id": one, "entry_id": "raw",
             "counted": True, "outcome": "accepted", "text": "a food"} for one in line_ids]
    return pd.DataFrame(rows)


def compared(raw=300.0, ready=200.0, retention=(0.8, 0.7, 0.9), yield_=(0.9, 0.85, 0.95), *, component="K", errors=(0.0, 0.0), n=1.0,
             chain="boil:drained", reason="stated", water=None) -> dict:
    """The one row of the table for one line, or {} where there is none."""
    method, _, liquid = chain.split(" > ")[0].partition(":")
    cooked = pd.DataFrame([{"line_id": "pot/base/1", "method": method, "liquid": liquid, "chain": chain, "cook_reason": reason, "yield_id": "y",
                            **dict(zip(("yield_fraction", "yield_low", "yield_high"), yield_, strict=True))}])
    values = [(entry, component, "mg", value, n, error) for entry, value, error in zip(("raw", "ready"), (raw, ready), errors, strict=True)]
    values += [(entry, "WATER", "g", amount, n, 0.0) for entry, amount in zip(("raw", "ready"), water or (), strict=False)]
    values = pd.DataFrame(values, columns=["entry_id", "component", "unit", "value", "n", "uncertainty"])
    kept = pd.DataFrame([("pot/base/1", component, "r", *retention)],
                        columns=["line_id", "component", "retention_id", "retention_fraction", "retention_low", "retention_high"])
    rows = two_routes.compared(settled("pot/base/1"), cooked, kept, values, PAIR)
    return rows.iloc[0].to_dict() if len(rows) else {}


# ---------------------------------------------------------------- one line, by hand

def test_both_routes_by_hand():
    row = compared()
    assert (row["by_retention"], row["by_retention_low"], row["by_retention_high"]) == pytest.approx((240, 210, 270))
    assert (row["by_cooked"], row["by_cooked_low"], row["by_cooked_high"]) == pytest.approx((180, 170, 190))
    assert row["relative_difference"] == pytest.approx(60 / 210) and row["agreement"] == "apart"


def test_the_interval_is_widened_just_so_far_that_it_covers_both():
    row = compared()
    own = 300 * 0.2 / (2 * Z)  # standard uncertainty of 300 mg x 0.7 to 0.9
    assert Z * math.hypot(own, row["added_uncertainty"]) == pytest.approx(60)
    assert row["routes_input"] == "routes:raw:ready:y:r:K"


@pytest.mark.parametrize(("ready", "agreement"), [(266.0, "within"), (300.0, "within"), (301.0, "widened"), (233.0, "widened"), (380.0, "apart")])
def test_within_the_reach_of_the_first_route_nothing_is_added(ready, agreement):
    row = compared(ready=ready)  # the first reaches from 210 to 270; the second is 0.9 x the cooked value
    assert row["agreement"] == agreement
    assert (row["added_uncertainty"] > 0) == (agreement != "within") == (row["routes_input"] != "")


def test_the_tables_own_error_counts_as_that_of_a_mean():
    # One sample has 40 mg, nine samples have a mean known to 40 / 3 mg.
    row = compared(errors=(40.0, 18.0), n=9.0)
    assert row["raw_error"] == pytest.approx(40 / 3) and row["cooked_error"] == pytest.approx(6)
    assert row["by_retention_high"] - 240 == pytest.approx(math.hypot(30, Z * 0.8 * 40 / 3))
    assert 180 - row["by_cooked_low"] == pytest.approx(math.hypot(10, Z * 0.9 * 6))


def test_the_value_stays_whichever_route_is_lower():
    for ready in (100.0, 500.0):
        assert compared(ready=ready)["by_retention"] == 240


@pytest.mark.parametrize("chain", ["boil:kept", "boil:drained > boil:drained", "boil:drained > simmer:kept", "bake", "steam"])
def test_another_manner_is_not_compared(chain):
    assert compared(chain=chain) == {}


def test_what_was_cooked_before_is_not_compared():
    assert compared(reason="already-cooked") == {}


def test_simmering_is_boiling_to_a_table():
    assert compared(chain="simmer:drained")["by_cooked"] == pytest.approx(180)


def test_a_dry_food_that_took_up_another_lines_water_is_compared_by_its_solids():
    # 88 g of solids in 100 g of raw rice, 32 in 100 g of cooked: 100 g become 275 g.
    row = compared(yield_=(1.0, 1.0, 1.0), reason="absorbed", water=(12.0, 68.0))
    assert row["yield_fraction"] == row["yield_low"] == row["yield_high"] == pytest.approx(88 / 32) and row["yield_id"] == "solids"
    assert compared(component="NA", reason="absorbed", water=(12.0, 68.0)) == {}  # that water brings its own sodium


def test_after_a_draining_only_minerals_are_compared():
    assert compared(chain="boil:drained > grill", water=(92.0, 93.0))["yield_low"] == pytest.approx(0.75 * 8 / 7)
    assert compared(component="VITC", chain="boil:drained > grill", water=(92.0, 93.0)) == {}


@pytest.mark.parametrize(("changes", "grave"), [
    ({}, True), ({"ready": 233.0}, False), ({"ready": 380.0}, True), ({"ready": 380.0, "component": "CA"}, False),
    ({"raw": 8.0, "ready": 20.0}, False), ({"ready": 340.0, "retention": (0.75, 0.4, 1.1)}, True)])
def test_which_disagreements_a_person_has_to_look_at(changes, grave):
    row = compared(**changes)
    assert audit_plausible.is_grave(row) == grave


# ---------------------------------------------------------------- in a figure

DISHES = """
recipes:
  - {id: boiled-carrots, name: Boiled carrots, portions: 1, ingredients: [100 g carrots], method: [Boil the carrots for 15 minutes and drain.]}
  - {id: boiled-pasta, name: Boiled pasta, portions: 1, ingredients: [100 g dried macaroni], method: [Boil the macaroni for 12 minutes and drain.]}
  - id: pasta-twice
    name: Pasta twice
    portions: 1
    ingredients: [60 g dried macaroni, 40 g dried macaroni]
    method: [Boil all the macaroni for 12 minutes and drain.]
"""


def with_reference(job: jobs.Job, **frames: pd.DataFrame) -> jobs.Job:
    return dataclasses.replace(job, reference=type(job.reference)({**job.reference.frames, **frames}, job.reference.hashes))


def pasta_by_release_6(job: jobs.Job) -> jobs.Job:
    """Pasta keeps 30 % of its potassium by USDA release 6, code 0381 (published); its interval here is a test's own, invented."""
    retention = job.reference.retention.copy()
    pasta = (retention["retention_code"] == "0381") & (retention["component"] == "K")
    assert pasta.sum() == 1
    retention.loc[pasta, ["retention_fraction", "low", "high"]] = [0.3, 0.2, 0.4]
    return with_reference(job, retention=retention)


@pytest.fixture(scope="module")
def runs(tmp_path_factory) -> tuple[dict, dict]:
    """The tables of the stages with the pairs, and without a single one."""
    path = tmp_path_factory.mktemp("routes") / "dishes.yaml"
    path.write_text(DISHES, encoding="utf-8")
    job = pasta_by_release_6(jobs.prepare_job(path, "core"))
    without = with_reference(job, raw_cooked_pairs=job.reference.raw_cooked_pairs.iloc[:0])
    return tuple({name: table for bundle in steps.straight(straight._whole(one), one, "audit").values() for name, table in bundle.items()}
                 for one in (job, without))


def potassium(found: dict, recipe_id: str) -> pd.Series:
    return found["figures"].query("recipe_id == @recipe_id and component == 'K' and basis == 'recipe'").iloc[0]


def test_a_food_whose_cooked_entry_agrees_keeps_its_interval(runs):
    row = runs[0]["two_routes"].query("line_id == 'boiled-carrots/base/1' and component == 'K'").iloc[0]
    assert (row["raw_value"], row["cooked_value"], row["agreement"]) == (320, 235, "within")
    assert potassium(runs[0], "boiled-carrots")["high"] == pytest.approx(potassium(runs[1], "boiled-carrots")["high"])


def test_a_disagreement_widens_the_figure_and_never_moves_it(runs):
    row = runs[0]["two_routes"].query("line_id == 'boiled-pasta/base/1' and component == 'K'").iloc[0]
    assert (row["raw_value"], row["cooked_value"]) == (223, 44) and row["added_uncertainty"] > 0
    wide, narrow = potassium(runs[0], "boiled-pasta"), potassium(runs[1], "boiled-pasta")
    assert wide["value"] == pytest.approx(narrow["value"]) == pytest.approx(row["by_retention"])
    assert wide["low"] < narrow["low"] and wide["high"] > narrow["high"] and wide["low"] < row["by_cooked"] < wide["high"]
    # The variances add: what the interval has beyond that of the other inputs is the second route.
    inputs = runs[0]["inputs"].set_index("input_id")["standard_uncertainty"]
    assert inputs[row["routes_input"]] == pytest.approx(row["added_uncertainty"])


def test_a_disagreement_is_a_warning_of_the_audit(runs):
    found = runs[0]["findings"].query("check == 'two-routes' and component == 'K'")
    assert {"two-routes/boiled-pasta/base/1/K/20400"} <= set(found.loc[found["severity"] == "warning", "finding_id"])
    assert not found["recipe_id"].eq("boiled-carrots").any()


def test_the_same_pair_on_two_lines_is_one_error(runs):
    """60 g and 40 g of one pasta are as uncertain as 100 g of it in what the two routes leave open."""
    rows = runs[0]["two_routes"].query("component == 'K' and line_id.str.startswith('pasta-twice')")
    assert len(rows) == 2 and rows["routes_input"].nunique() == 1
    one, two = potassium(runs[0], "boiled-pasta"), potassium(runs[0], "pasta-twice")
    assert two["high"] - two["low"] == pytest.approx(one["high"] - one["low"], rel=0.01)


def test_pairs_are_of_one_food_and_one_manner():
    pairs = pd.read_csv(ROOT / "reference" / "raw_cooked_pairs.csv", dtype=str, keep_default_na=False)
    assert not pairs.assign(method=pairs["method"].replace({"simmer": "boil"})).duplicated(["raw_entry_id", "method", "liquid"]).any()
    wet = pairs["method"].isin(["boil", "simmer", "soak"])
    assert set(pairs.loc[wet, "liquid"]) == {"kept", "drained"}  # a reading always says what became of the water


# ---------------------------------------------------------------- verified

@pytest.mark.parametrize("column", ["raw_value", "raw_error", "by_retention", "by_cooked_high", "yield_fraction", "relative_difference",
                                    "added_uncertainty", "cooked_entry_id", "source_row"])
def test_a_changed_second_route_is_found(quay_release, tmp_path, column):
    copy = shutil.copytree(quay_release, tmp_path / "copy")
    path = copy / "evidence" / "two_routes.csv"
    before = tampering.change_digit(path, column, random.Random(column), lambda row: row[column] not in ("0", ""))
    tampering.follow_in_parquet(path)
    tampering.follow_in_manifest(copy)
    key = f"{before['line_id']} {before['component']}"
    assert key in {one.row for one in verify(copy, ROOT).disagreements if one.file == "evidence/two_routes.csv"}


@pytest.mark.parametrize("change", ["gone", "agreement"])
def test_a_row_that_is_gone_or_says_otherwise_is_found(quay_release, tmp_path, change):
    copy = shutil.copytree(quay_release, tmp_path / "copy")
    path = copy / "evidence" / "two_routes.csv"
    header, first, *rows = tampering.read(path)
    if change == "gone":
        changed = rows
    else:
        at = header.index("agreement")
        changed = [[*first[:at], "apart" if first[at] != "apart" else "within", *first[at + 1:]], *rows]
    tampering.write(path, [header, *changed])
    tampering.follow_in_parquet(path)
    tampering.follow_in_manifest(copy)
    key = " ".join(first[header.index(name)] for name in ("line_id", "component"))
    assert key in {one.row for one in verify(copy, ROOT).disagreements if one.file == "evidence/two_routes.csv"}


def test_nothing_to_compare_gives_empty_tables():
    """A collection of which no line is settled, or no food has a pair."""
    blank = {name: tables.empty(getattr(tables, name)) for name in ("Settled", "Cooked", "Retentions", "Values", "Contributions", "Weighed")}
    rows = two_routes.compared(blank["Settled"], blank["Cooked"], blank["Retentions"], blank["Values"], PAIR)
    assert rows.empty and list(rows.columns) == tables.columns(tables.TwoRoutes)
    assert two_routes.inputs(rows).empty and audit_plausible.two_routes(blank["Settled"], rows) == []
    assert audit_plausible.mass_balance(blank["Contributions"], blank["Cooked"]) == []
    assert total_inputs.measure_input_id(blank["Weighed"]).empty
