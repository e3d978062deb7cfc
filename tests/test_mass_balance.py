"""Conservation of mass, on generated recipes and methods through the real stages.

What went in (grams x composition table) is on the plate, was poured away, stayed behind or evaporated: water,
alcohol, fat and every mineral, per line and per recipe. Minerals and fat come from nothing and evaporate
nowhere; the only thing that a food gains is water from the pot. The law needs no source; that minerals do not
leave with the steam is why USDA's retention factors (release 6) know only losses to liquid and drippings.
"""

from __future__ import annotations

import dataclasses
import functools
import shutil
import tempfile
from pathlib import Path

import pandas as pd
import pytest
import release_example
import straight
import tampering
import yaml
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from pipeline import job as jobs
from pipeline import steps
from pipeline.root import ROOT
from pipeline.stages import audit_plausible, total_balance
from pipeline.stages.ingest import ingest
from pipeline.stages.release import release
from pipeline.verify import verify

MINERALS = {"CA", "FE", "K", "MG", "NA", "P", "ZN"}
# Foods by what cooking does to them: leaf, root, dry and swelling, already dry, meat, fish, fat, liquid, alcohol, salt.
FOODS = (
    "potatoes", "carrots", "spinach", "onions", "mushrooms", "cauliflower", "apples", "dried red lentils", "dried penne pasta",
    "long grain white rice", "rolled oats", "pearl barley", "dry breadcrumbs", "plain flour", "caster sugar", "skinless chicken breast",
    "lean beef mince", "cod fillet", "salmon fillet", "lamb chops", "skinless chicken thighs", "pork sausages", "eggs", "butter", "cheddar cheese",
    "dried shiitake mushrooms", "chopped walnuts", "raisins", "table salt")
LIQUIDS = ("water", "semi-skimmed milk", "red wine", "double cream", "olive oil", "orange juice")
METHODS = (
    "Boil the {a} in plenty of water for {m} minutes and drain.", "Soak the {a} overnight in cold water and drain.",
    "Boil the {a} for 10 minutes, drain, then boil in fresh water for {m} minutes and drain again.",
    "Simmer the {a} in the {liquid} for {m} minutes.", "Fry the {a} gently in the {liquid} for {m} minutes.",
    "Bake the {a} for {m} minutes until golden.", "Grill the {a} for {m} minutes.", "Steam the {a} for {m} minutes.",
    "Roast the {a} with the {b} for {m} minutes.", "Stir-fry the {a} and the {b} for {m} minutes.",
    "Microwave the {a} for {m} minutes.", "Deep-fry the {a} for {m} minutes.",
    "Add the {b} and the {liquid} and simmer for {m} minutes.", "Simmer until all the liquid has been absorbed.",
    "Boil everything in the {liquid} for {m} minutes.", "Drain, keeping the cooking water for the sauce.",
    "Return to the pan and reheat.", "Stir in the {b} and serve.")
TABLES_HOLD_MORE = 0.04  # published proximates of 100 g add up to 104 g at most (moisture and protein are analysed apart)
DRIPPING = {"bacon-ham", "beef", "chicken", "duck", "lamb", "lean-fish", "liver", "oily-fish", "pork", "sausage", "shellfish", "turkey"}


@st.composite
def recipes(draw):
    foods = draw(st.lists(st.sampled_from(FOODS), min_size=1, max_size=5, unique=True))
    liquid = draw(st.sampled_from(LIQUIDS))
    named = st.sampled_from(foods)
    method = [draw(st.sampled_from(METHODS)).format(a=draw(named), b=draw(named), liquid=liquid, m=draw(st.integers(2, 120)))
              for _ in range(draw(st.integers(1, 4)))]
    lines = [f"{draw(st.integers(1, 15 if food == 'table salt' else 900))} g {food}" for food in foods] + [f"{draw(st.integers(20, 900))} g {liquid}"]
    finished = draw(st.one_of(st.none(), st.integers(200, 3000)))
    written = {"id": "dish", "name": "Dish", "portions": draw(st.integers(1, 8)), "ingredients": lines, "method": method}
    return written | ({} if finished is None else {"finished_mass": f"{finished} g"})


def several() -> st.SearchStrategy[list[dict]]:
    """A collection: the stages take about as long for six recipes as for one."""
    return st.lists(recipes(), min_size=2, max_size=6).map(lambda found: [dish | {"id": f"dish-{place}"} for place, dish in enumerate(found)])


@functools.cache
def kitchen() -> jobs.Job:
    return jobs.prepare_job(ROOT / "reference" / "demo", "core")


def run(*written: dict) -> dict[str, pd.DataFrame]:
    """The tables of the stages for these recipes."""
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "dishes.yaml").write_text(yaml.safe_dump({"recipes": list(written)}), encoding="utf-8")
        here = dataclasses.replace(kitchen(), collection=ingest(Path(folder) / "dishes.yaml", {"K"}))
    bundles = steps.straight(straight._whole(here), here, "audit")
    return {name: table for bundle in bundles.values() for name, table in bundle.items()}


def account(found: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """The balance, with what went in computed here from the composition table."""
    rows = total_balance.balance(found["contributions"], found["cooked"])
    held = kitchen().table.values.query("component != 'ENERC'").set_index(["entry_id", "component"])["value"]
    lines = found["settled"].set_index("line_id")
    keys = pd.MultiIndex.from_arrays([lines.loc[rows["line_id"], "entry_id"], rows["component"]])
    return rows.assign(by_table=held.reindex(keys).to_numpy() * lines.loc[rows["line_id"], "edible_g"].to_numpy() / 100,
                       cooking_class=lines.loc[rows["line_id"]].index.map(found["cooked"].set_index("line_id")["cooking_class"]))


def assert_balanced(found: dict[str, pd.DataFrame]) -> None:
    rows = account(found)
    assert rows["went_in"].to_numpy() == pytest.approx(rows["by_table"].to_numpy())
    out = rows["on_plate"] + rows["poured_away"] + rows["left_behind"] + rows["evaporated"]
    assert (rows["went_in"] + rows["taken_up"]).to_numpy() == pytest.approx(out.to_numpy(), rel=1e-9, abs=1e-9)
    assert (rows[["went_in", "taken_up", *total_balance.SIDES]] >= 0).all(axis=None)
    solid = rows[rows["component"].isin(MINERALS | {"FAT"})]
    assert (solid["evaporated"] == 0).all() and (solid["taken_up"] == 0).all()
    swelling = rows["cooking_class"].isin(["rice", "grains"]) & rows["chain"].str.contains("microwave")  # in water that is no line
    dry = rows[~rows["chain"].str.contains("boil|simmer|soak|steam") & ~swelling]
    assert (dry["taken_up"] == 0).all()
    eaten = rows[rows["chain"].str.fullmatch(r"(?:boil|simmer|soak):kept(?: > (?:boil|simmer|soak):kept)*") & rows["component"].isin(MINERALS)]
    assert eaten["on_plate"].to_numpy() == pytest.approx(eaten["went_in"].to_numpy())
    assert total_balance.impossible(rows).empty


def assert_lines_add_up(found: dict[str, pd.DataFrame]) -> None:
    """The plates of the lines are the recipe's figure; a finished weight adds or takes water alone."""
    rows = account(found)
    figures = found["figures"][(found["figures"]["basis"] == "recipe") & (found["figures"]["status"] != "withheld")]
    figures = figures.set_index(["recipe_id", "variant_id", "component"])["value"]
    lines = found["settled"][found["settled"]["counted"] & (found["settled"]["outcome"] == "accepted")]
    written, cooked_g = found["recipes"].set_index("recipe_id")["finished_mass_g"], lines.groupby(["recipe_id", "variant_id"])["cooked_g"].sum()
    for (recipe, variant, component), part in rows.groupby(["recipe_id", "variant_id", "component"]):
        if (recipe, variant, component) not in figures.index:
            continue
        total = part["on_plate"].sum()
        if component == "WATER" and variant == "base" and not pd.isna(written[recipe]):
            total = max(0.0, total + written[recipe] - cooked_g[recipe, variant])
        assert figures[recipe, variant, component] == pytest.approx(total, rel=1e-9, abs=1e-9)


def assert_mass_is_kept(found: dict[str, pd.DataFrame]) -> None:
    """A line weighs what it weighed raw, and the water and alcohol that it gained or lost; nothing holds more than it weighs."""
    rows = account(found)
    lines = found["settled"].merge(found["cooked"][["line_id", "retention_code", "cooking_class"]], on="line_id")
    for line in lines[lines["line_id"].isin(rows["line_id"])].itertuples():
        mine = rows[rows["line_id"] == line.line_id].set_index("component")
        moist = mine.loc[[name for name in ("WATER", "ALC") if name in mine.index]]
        partly = line.retention_code.split("+")[0] in ("poured-away", "salt-in-poured-water", "deep-fat-uptake")
        if not partly and line.cooking_class not in DRIPPING and "WATER" in moist.index:
            gained = (moist["on_plate"] - moist["went_in"]).sum()
            assert line.cooked_g - line.edible_g == pytest.approx(gained, abs=2e-6 * line.edible_g + 1e-9)
        held = found["contributions"].query("line_id == @line.line_id and component in ['WATER', 'PROCNT', 'FAT', 'CHOCDF', 'ALC']")
        most = line.edible_g * TABLES_HOLD_MORE + (mine["went_in"].get("FAT", 0.0) if line.cooking_class in DRIPPING else 0.0)
        assert held["amount"].sum() <= line.cooked_g + most


# A collection takes the stages a second: shrinking one that fails would take minutes.
@settings(max_examples=8, deadline=None, suppress_health_check=list(HealthCheck), phases=(Phase.explicit, Phase.reuse, Phase.generate))
@given(several())
def test_mass_is_conserved_on_any_recipe(written):
    found = run(*written)
    assert_balanced(found)
    assert_lines_add_up(found)
    assert_mass_is_kept(found)


def test_the_generated_recipes_reach_every_side_of_the_account():
    """Were lines never settled, drained or evaporated, the property above would prove nothing."""
    dish = {"id": "dish", "name": "Dish", "portions": 4}
    found = run({**dish, "ingredients": ["500 g potatoes", "200 g dried penne pasta", "300 g lamb chops", "200 g red wine", "20 g table salt"],
                 "method": ["Boil the potatoes for 20 minutes and drain.", "Boil the pasta for 12 minutes and drain.",
                            "Grill the lamb chops for 10 minutes.", "Simmer the wine for 30 minutes."]})
    rows = account(found)
    assert set(rows["line_no"]) == {1, 2, 3, 4, 5}
    for side in ("taken_up", *total_balance.SIDES):
        assert (rows[side] > 0).any(), side
    wine = rows[rows["line_no"] == 4].set_index("component")
    assert wine.at["WATER", "evaporated"] > 0 and wine.at["ALC", "evaporated"] > 0
    settled = found["settled"].set_index("line_no")
    lost = settled.at[4, "edible_g"] - settled.at[4, "cooked_g"]
    assert wine.loc[["WATER", "ALC"], "evaporated"].sum() == pytest.approx(lost)  # not the alcohol on top of the lost mass


def test_every_food_of_the_generated_recipes_is_settled():
    found = run({"id": "dish", "name": "Dish", "portions": 1, "ingredients": [f"10 g {food}" for food in (*FOODS, *LIQUIDS)],
                 "method": ["Bake everything for 20 minutes."]})
    assert set(found["settled"]["outcome"]) == {"accepted"}


def test_every_line_of_the_demo_is_balanced():
    found = straight.run(ROOT / "reference" / "demo")
    rows = total_balance.balance(found["contributions"], found["cooked"])
    assert len(rows) > 4000 and total_balance.impossible(rows).empty


def test_dry_food_keeps_its_solids():
    """Breadcrumbs hold some 7 % of water (USDA SR26 18079): baked for an hour they cannot lose a fifth of their weight."""
    dish = {"id": "dish", "name": "Dish", "portions": 1, "ingredients": ["100 g dry breadcrumbs"], "method": ["Deep-fry the breadcrumbs for 10 minutes."]}
    found = run(dish)
    line = found["settled"].iloc[0]
    water = kitchen().table.values.query("entry_id == @line.entry_id and component == 'WATER'")["value"].iloc[0]
    assert line["outcome"] == "accepted" and found["cooked"].iloc[0]["chain"] == "fry" and 3 < water < 12
    assert line["cooked_g"] == pytest.approx(100 - water, abs=1e-3)


@pytest.mark.parametrize(("change", "why"), [
    ({"component": "K", "amount": 500.0}, "comes from nothing"),
    ({"component": "FAT", "amount": 500.0}, "comes from nothing"),
    ({"component": "WATER", "amount": 500.0}, "is taken up where there is no water"),
    ({"component": "K", "amount": 100.0, "chain": "simmer:kept"}, "stays behind although the liquid is eaten"),
])
def test_what_cooking_cannot_do_is_named(change, why):
    part = {"recipe_id": "a", "variant_id": "base", "line_no": 1, "line_id": "a/base/1", "component": "", "unit": "mg", "edible_g": 100.0,
            "value_per_100g": 300.0, "amount": 300.0, "chain": "bake"} | change
    cooked = pd.DataFrame([{"line_id": "a/base/1", "chain": part.pop("chain"), "retention_code": "1"}])
    sound = pd.DataFrame([{**part, "amount": 300.0}])
    assert total_balance.impossible(total_balance.balance(sound, cooked)).empty
    assert total_balance.impossible(total_balance.balance(pd.DataFrame([part]), cooked))["why"].tolist() == [why]
    assert audit_plausible.mass_balance(sound, cooked) == []
    found, = audit_plausible.mass_balance(pd.DataFrame([part]), cooked)
    assert (found["finding_id"], found["severity"]) == (f"mass-balance/a/base/1/{part['component']}", "error") and why in found["what"]


# ---------------------------------------------------------------- verified

@pytest.fixture(scope="module")
def fried(tmp_path_factory):
    """A release with a yield that the solids of the food hold up."""
    folder = tmp_path_factory.mktemp("fried")
    dish = {"id": "dish", "name": "Dish", "portions": 1, "ingredients": ["100 g dry breadcrumbs", "100 g carrots"],
            "method": ["Deep-fry the breadcrumbs for 10 minutes.", "Deep-fry the carrots for 5 minutes."]}
    (folder / "dish.yaml").write_text(yaml.safe_dump({"recipes": [dish]}), encoding="utf-8")
    job = jobs.prepare_job(folder / "dish.yaml", "core")
    return release(straight.tables(job, restored=True), jobs.meta(job, 0), folder / "output", release_example.PASSED).folder


def changed(folder: Path, copy: Path, line_id: str, **cells: str) -> Path:
    """A copy of a release with other cells in one row of evidence/cooked.csv, and hashes that fit."""
    shutil.copytree(folder, copy)
    path = copy / "evidence" / "cooked.csv"
    header, *rows = tampering.read(path)
    for row in rows:
        if row[header.index("line_id")] == line_id:
            for column, text in cells.items():
                row[header.index(column)] = text
    tampering.write(path, [header, *rows])
    tampering.follow_in_parquet(path)
    tampering.follow_in_manifest(copy)
    return copy


def test_verify_knows_what_the_solids_hold_up(fried, tmp_path):
    assert verify(fried, ROOT).agrees
    header, *rows = tampering.read(fried / "evidence" / "cooked.csv")
    row = dict(zip(header, next(row for row in rows if row[0] == "dish/base/1"), strict=True))
    bare, _, least = row["yield_id"].partition("|at-least:")
    assert float(least) == pytest.approx(float(row["yield_fraction"])) and float(least) > 0.85
    lower = changed(fried, tmp_path / "lower", "dish/base/1", yield_id=f"{bare}|at-least:0.9")
    dropped = changed(fried, tmp_path / "dropped", "dish/base/1", yield_id=bare, yield_fraction="0.8", yield_low="0.6", yield_high="1")
    for copy, column in ((lower, "yield_id"), (dropped, "yield_fraction")):
        found = [(one.file, one.row, one.column) for one in verify(copy, ROOT).disagreements]
        assert ("evidence/cooked.csv", "dish/base/1", column) in found


def test_oil_takes_up_no_water():
    dish = {"id": "dish", "name": "Dish", "portions": 1, "ingredients": ["200 g onions", "300 g olive oil"],
            "method": ["Fry the onions gently in the olive oil for 20 minutes.", "Soak the onions overnight in cold water and drain."]}
    found = run(dish)
    oil = found["settled"].set_index("line_no").loc[2]
    assert "soak:drained" in found["cooked"].set_index("line_id").at["dish/base/2", "chain"] and oil["cooked_g"] <= 300
    assert_mass_is_kept(found)


def test_meat_cooked_over_and_over_keeps_what_is_neither_water_nor_fat(tmp_path):
    """Five yields of lamb multiply to a tenth of the meat, and a fifth of it is protein."""
    dish = {"id": "dish", "name": "Dish", "portions": 1, "ingredients": ["900 g lamb chops"], "method": [
        "Boil the lamb chops for 10 minutes, drain, then boil in fresh water for 21 minutes and drain again.",
        "Boil the lamb chops in plenty of water for 34 minutes and drain.", "Roast the lamb chops for 47 minutes."]}
    found = run(dish)
    line = found["settled"].iloc[0]
    held = kitchen().table.values.query("entry_id == @line.entry_id").drop_duplicates("component").set_index("component")["value"]
    assert line["cooked_g"] == pytest.approx(line["edible_g"] * (1 - (held["WATER"] + held["FAT"]) / 100), rel=1e-5)
    assert line["cooked_g"] > held["PROCNT"] * line["edible_g"] / 100
