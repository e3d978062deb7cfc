"""Phosphorus by kind, its absorption and its ratio to protein; and the flags on additives.

Absorption ranges: reviews of dietary phosphorus in kidney disease, from memory. E numbers: Regulation (EC) No 1333/2008,
from memory. The dishes are made up; the sums are worked by hand below from the run's own contributions."""

import math

import pandas as pd
import pytest
import straight
from hand_figures import reference_file
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline import lineage, schema
from pipeline.problems import ERROR, NOTE, WARNING, InputError
from pipeline.root import ROOT
from pipeline.stages import phosphorus, phosphorus_additives
from pipeline.suitability_form import PHOSPHORUS_KINDS, AdditiveFlags, PhosphorusByKind, PhosphorusToProtein
from pipeline.tables import Findings

DISH = """id: dish
name: A dish
portions: 4
units: uk
ingredients:
  - 400 g chicken breast
  - 200 g ham, diced
  - 100 g dried red lentils
  - 2 tsp baking powder
  - 1 tbsp olive oil
method:
  - Mix.
variants:
  - id: with-mystery
    name: With something nobody knows
    add: [a jar of that curry paste]
  - id: twice-the-chicken
    name: Chicken alone
    leave_out: [200 g ham, diced, 100 g dried red lentils, 2 tsp baking powder, 1 tbsp olive oil]
"""
KEY = ["recipe_id", "variant_id"]


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    """The tables of all stages for the dish above, and both tables made of them."""
    folder = tmp_path_factory.mktemp("dish")
    (folder / "dish.yaml").write_text(DISH.replace("[200 g ham, diced, 100 g dried red lentils, 2 tsp baking powder, 1 tbsp olive oil]",
                                                   '["200 g ham, diced", "100 g dried red lentils", "2 tsp baking powder", "1 tbsp olive oil"]'))
    tables = straight.run(folder / "dish.yaml")
    tables["counted"] = tables["settled"][tables["settled"]["counted"] & (tables["settled"]["outcome"] == "accepted")]
    tables["core"] = pd.read_csv(ROOT / "reference/composition/core/entries.csv", dtype="str", keep_default_na=False)
    given_ = [tables[name] for name in ("contributions", "counted", "weighed", "cooked", "recipes")]
    tables["by_kind"] = phosphorus.by_kind(*given_, tables["variants"], tables["inputs"], tables["figures"], tables["core"],
                                           reference_file("phosphorus_kinds"), tables["two_routes"])
    tables["ratio"] = phosphorus.to_protein(*given_, tables["inputs"], tables["figures"], tables["two_routes"])
    return tables


def rows(table, variant="base", basis="recipe"):
    return table[(table["variant_id"] == variant) & (table["basis"] == basis)].set_index("kind")


def figure(run, component, variant="base", basis="recipe"):
    figures = run["figures"]
    return figures[(figures["component"] == component) & (figures["variant_id"] == variant) & (figures["basis"] == basis)].iloc[0]


def test_every_line_is_settled_as_the_test_needs_it(run):
    assert run["settled"].query("variant_id == 'base'")["outcome"].tolist() == ["accepted"] * 5


def test_the_kinds_add_up_to_the_figure_and_have_its_interval(run):
    for basis in ("recipe", "portion"):
        found, printed = rows(run["by_kind"], basis=basis), figure(run, "P", basis=basis)
        assert set(found.index) == {"all", "animal", "plant", "additive", "animal-or-additive"}
        assert found.drop(index="all")["phosphorus_mg"].sum() == pytest.approx(found.at["all", "phosphorus_mg"])
        assert found.loc["all", ["phosphorus_mg", "low_mg", "high_mg"]].tolist() == pytest.approx([printed["value"], printed["low"], printed["high"]])


def test_each_line_is_of_its_kind(run):
    found = rows(run["by_kind"])
    assert found["lines"].to_dict() == {
        "all": "1, 2, 3, 4, 5", "animal": "1", "animal-or-additive": "2", "plant": "3, 5", "additive": "4"}


def test_absorption_by_hand(run):
    """Animal 40 to 60 %, additive 90 to 100 %, plant 20 to 50 %, ham 40 to 100 %: the middles of these ranges."""
    amounts = run["contributions"].query("component == 'P' and variant_id == 'base'").set_index("line_no")["amount"]
    middles = {1: 0.5, 2: 0.7, 3: 0.35, 4: 0.95, 5: 0.35}
    found = rows(run["by_kind"])
    assert found.at["all", "absorbed_mg"] == pytest.approx(sum(amounts[line] * share for line, share in middles.items()))
    assert found.at["animal", "absorbed_mg"] == pytest.approx(amounts[1] * 0.5)
    assert (found["absorbed_low_mg"] < found["absorbed_mg"]).all() and (found["absorbed_mg"] < found["absorbed_high_mg"]).all()


def test_an_amount_known_exactly_leaves_the_published_range(run):
    """With no other uncertainty the interval of one kind is that of its range: 40 to 60 % of 1000 mg, skewed as sums are."""
    amounts = pd.DataFrame({"recipe_id": "r", "variant_id": "base", "component": ["animal"], "amount": [1000.0], "lines": ["1"],
                            "fraction": [0.5], "uncertainty": lineage.standard_uncertainty([0.4], [0.6])})
    none = pd.DataFrame(columns=[*KEY, "component", "input_id", "effect"]).astype({"effect": "float64"})
    found = phosphorus._summed(amounts, none, KEY).iloc[0]
    assert found["absorbed_mg"] == 500 and found["low_mg"] == found["high_mg"] == 1000
    assert [found["absorbed_low_mg"], found["absorbed_high_mg"]] == pytest.approx([400, 600], rel=0.03)


def test_one_kind_is_absorbed_well_or_badly_together():
    """Two plant lines share the absorption of plants: their uncertainties add up; two kinds do not share it."""
    both = pd.DataFrame({"recipe_id": "r", "variant_id": "base", "amount": [500.0, 500.0], "lines": ["1", "2"]})
    none = pd.DataFrame(columns=[*KEY, "component", "input_id", "effect"]).astype({"effect": "float64"})
    widths = []
    for kinds in (["plant", "plant"], ["plant", "other"]):
        found = phosphorus._summed(both.assign(component=kinds, fraction=0.35, uncertainty=0.1), none, KEY).iloc[0]
        widths.append(found["absorbed_high_mg"] - found["absorbed_low_mg"])
    assert widths[0] / widths[1] == pytest.approx(math.sqrt(2), rel=0.05)


def test_a_withheld_figure_stays_withheld(run):
    found = rows(run["by_kind"], "with-mystery")
    assert set(found["status"]) == {"withheld"} and found["phosphorus_mg"].isna().all() and found["absorbed_high_mg"].isna().all()
    assert "curry paste" in found.at["all", "reason"]
    ratio = run["ratio"].set_index("variant_id").loc["with-mystery"]
    assert math.isnan(ratio["mg_per_g"]) and ratio["status"] == "withheld" and ratio["reason"]


def test_phosphorus_to_protein(run):
    ratio = run["ratio"].set_index("variant_id")
    for variant in ("base", "twice-the-chicken"):
        expected = figure(run, "P", variant)["value"] / figure(run, "PROCNT", variant)["value"]
        row = ratio.loc[variant]
        assert row["mg_per_g"] == pytest.approx(expected) and row["low_mg_per_g"] < expected < row["high_mg_per_g"]
    # Chicken alone: about 9 mg per g (tables of dietary phosphorus give meat 5 to 12, from memory).
    assert 5 < ratio.at["twice-the-chicken", "mg_per_g"] < 12


def test_the_amount_of_a_single_food_leaves_its_ratio_alone(run):
    """The mass of the chicken is in both parts of the ratio: only its composition and what cooking keeps are left."""
    ratio = run["ratio"].set_index("variant_id").loc["twice-the-chicken"]
    parts = run["contributions"].query("variant_id == 'twice-the-chicken' and component in ('P', 'PROCNT')")
    leaves = run["inputs"].set_index("input_id")
    ids = [one for column in ("composition_input", "match_input", "retention_input") for one in parts[column] if one]
    relative = [leaves.at[one, "standard_uncertainty"] / leaves.at[one, "value"] for one in ids if leaves.at[one, "value"] > 0]
    most = ratio["mg_per_g"] * sum(relative) * lineage.Z90 * 1.1
    assert ratio["high_mg_per_g"] - ratio["mg_per_g"] <= most


def test_tables_are_as_declared(run):
    assert schema.violations(PhosphorusByKind, run["by_kind"], "test", "none") == []
    assert schema.violations(PhosphorusToProtein, run["ratio"], "test", "none") == []
    broken = run["by_kind"].copy()
    broken.loc[broken["phosphorus_mg"].notna().idxmax(), "phosphorus_mg"] = 1e9
    (problem,) = schema.violations(PhosphorusByKind, broken, "test", "none")
    assert "outside its own interval" in problem.what


def kind_of(text, entry_name, cooking_class):
    lines = pd.DataFrame({"line_id": ["a/base/1"], "text": [text], "entry_id": ["e"], "entry_name": [entry_name]})
    entries = pd.DataFrame({"entry_id": ["e"], "cooking_class": [cooking_class]})
    return phosphorus.kinds(lines, entries, reference_file("phosphorus_kinds")).iloc[0]


@pytest.mark.parametrize("text, entry_name, cooking_class, kind", [
    ("2 eggs", "Egg, whole, raw, fresh", "eggs", "animal"),
    ("200 g lentils", "Lentils, raw", "legumes-dried", "plant"),
    ("60 g cheddar", "Cheese, cheddar", "cheese", "animal"),
    ("2 processed cheese slices", "Cheese, cheddar", "cheese", "animal-or-additive"),
    ("2 slices cheese", "Cheese, pasteurized process, American, fortified with vitamin D", "cheese", "animal-or-additive"),
    ("330 ml cola", "Carbonated beverage, cola", "drinks", "additive"),
    ("1 tsp baking powder", "Leavening agents, baking powder, double-acting, straight phosphate", "other", "additive"),
    ("1 tsp bicarbonate of soda", "Leavening agents, baking soda", "other", "plant"),
    ("150 g self-raising flour", "Wheat flour, white, all-purpose, self-rising, enriched", "flour", "plant-or-additive"),
    ("4 rashers bacon", "Pork, cured, bacon, pre-sliced, cooked, pan-fried", "bacon-ham", "animal-or-additive"),
    ("400 ml coconut milk", "Nuts, coconut milk, canned", "nuts-seeds", "plant"),
    ("2 tbsp peanut butter", "Peanut butter, smooth style, with salt", "nuts-seeds", "plant"),
    ("400 g chicken, with added water and phosphates", "Chicken, meat only, raw", "chicken", "animal-or-additive"),
    ("something", "A thing of no known class", "", "not-told"),
    ("a mixed dish", "Meal, mixed", "other", "not-told"),
])
def test_the_kind_of_a_line(text, entry_name, cooking_class, kind):
    assert kind_of(text, entry_name, cooking_class) == kind


def test_every_cooking_class_of_the_core_has_a_kind():
    core = pd.read_csv(ROOT / "reference/composition/core/entries.csv", dtype="str", keep_default_na=False)
    rows_ = reference_file("phosphorus_kinds")
    assert set(core["cooking_class"]) <= set(rows_.loc[rows_["scope"] == "class", "food"])


def test_the_absorption_ranges_as_recalled():
    ranges = reference_file("phosphorus_kinds").query("scope == 'kind'").set_index("food")[["absorbed_low", "absorbed_high"]]
    assert ranges.loc["plant"].tolist() == [0.2, 0.5] and ranges.loc["animal"].tolist() == [0.4, 0.6] and ranges.loc["additive"].tolist() == [0.9, 1.0]
    for kind in PHOSPHORUS_KINDS:  # a food of two kinds keeps the wider range of both
        parts = ranges.loc[["plant", "animal", "additive"] if kind == "not-told" else kind.split("-or-")]
        assert ranges.loc[kind].tolist() == [parts["absorbed_low"].min(), parts["absorbed_high"].max()]


@pytest.mark.parametrize("change, code", [
    (lambda table: table.assign(kind=table["kind"].where(table.index != 3, "mineral")), "wrong-kind-row"),
    (lambda table: table[table["food"] != "animal"], "missing-kind-row"),
    (lambda table: table.assign(absorbed_high=table["absorbed_high"].where(table["food"] != "plant", 1.5)), "wrong-kind-row"),
])
def test_a_faulty_row_of_the_kinds_is_named(change, code):
    with pytest.raises(InputError) as caught:
        phosphorus._check(change(reference_file("phosphorus_kinds")))
    assert {problem.code for problem in caught.value.problems} == {code}


def flagged(text, entry_name="", outcome="accepted"):
    line = {"recipe_id": "dish", "variant_id": "base", "line_no": 1, "line_id": "dish/base/1", "text": text, "entry_name": entry_name, "outcome": outcome,
            "counted": True}
    found = phosphorus_additives.flags(pd.DataFrame([line]), reference_file("additives"))
    return found.set_index("additive_id")["severity"].to_dict()


@pytest.mark.parametrize("text, additive, severity", [
    ("1 tsp salt substitute", "salt-substitute", ERROR), ("a pinch of low-sodium salt", "salt-substitute", ERROR),
    ("lo salt, to taste", "salt-substitute", ERROR), ("Lite salt", "salt-substitute", ERROR), ("salt, potassium-based", "salt-substitute", ERROR),
    ("salt (low sodium)", "salt-substitute", ERROR), ("reduced-sodium salt", "salt-substitute", ERROR),
    ("1/2 tsp potassium chloride", "e508", ERROR), ("seasoning (contains E508)", "e508", ERROR), ("stock with KCl", "e508", ERROR),
    ("sausages (E450, E 451)", "e450", WARNING), ("sausages (E450, E 451)", "e451", WARNING), ("ham with stabilisers E450-E452", "e452", WARNING),
    ("ham with stabilisers E450 to E452", "e451", WARNING), ("cola (E338)", "e338", WARNING), ("cheese with E339(ii)", "e339", WARNING),
    ("e340i", "e340", WARNING), ("E341 anti-caking", "e341", WARNING), ("INS 343", "e343", WARNING), ("with e-326", "e326", WARNING),
    ("E332", "e332", WARNING), ("1/2 tsp cream of tartar", "e336", WARNING), ("E202", "e202", NOTE), ("E252 and E249", "e249", NOTE),
    ("chicken with added sodium tripolyphosphate", "e451", WARNING), ("chicken with added trimetaphosphate", "phosphate-word", WARNING), ("milk with disodium phosphate", "e339", WARNING),
    ("4 processed cheese slices", "processed-cheese", WARNING), ("2 slices of ham", "cured-meat", WARNING), ("1 tsp baking powder", "raising-agent", WARNING),
    ("330 ml cola", "cola", WARNING), ("1 packet instant noodles", "instant-product", WARNING), ("1 tsp reduced-salt soy sauce", "reduced-sodium-product", WARNING),
])
def test_a_line_that_names_an_additive_is_flagged(text, additive, severity):
    assert flagged(text).get(additive) == severity


@pytest.mark.parametrize("text", [
    "salt, to taste", "1 tsp sea salt", "2 potatoes (about 450 g)", "E for easy: 341 g flour", "450 g beef", "30 g unsalted butter", "1 onion",
    "figs, a source of phosphorus", "330 ml water", "1 tsp salted capers"])
def test_a_line_that_names_none_is_not(text):
    assert flagged(text) == {}


def test_an_entry_shows_what_the_words_do_not():
    assert flagged("2 slices", "Cheese, pasteurized process, American, fortified with vitamin D") == {"processed-cheese": WARNING}
    # USDA SR26 18371: 10,100 mg of potassium in 100 g, some 500 mg in a teaspoon.
    assert flagged("1 tsp raising agent", "Leavening agents, baking powder, low-sodium") == {"low-sodium-baking-powder": ERROR}


def test_unread_lines_are_flagged_and_headings_are_not():
    assert flagged("that tub of salt substitute", outcome="none") == {"salt-substitute": ERROR}
    assert flagged("For the salt substitute:", outcome="not-food") == {}


def test_a_warning_against_a_salt_substitute_is_a_warning():
    assert flagged("salt (not a salt substitute)") == {"salt-substitute": WARNING}
    assert flagged("salt substitute, not salt") == {"salt-substitute": ERROR}


def test_the_hazard_is_said_loudly_first_and_as_an_error_finding():
    lines = pd.DataFrame([
        {"recipe_id": "dish", "variant_id": "base", "line_no": number, "line_id": f"dish/base/{number}", "text": text, "entry_name": "", "outcome": "none", "counted": True}
        for number, text in enumerate(["330 ml cola", "E202", "1 tsp low-sodium salt"], 1)])
    table = phosphorus_additives.flags(lines, reference_file("additives"))
    assert schema.violations(AdditiveFlags, table, "test", "none") == []
    assert table["severity"].tolist() == [ERROR, WARNING, NOTE]
    assert table.at[0, "what"].startswith("POTASSIUM HAZARD") and "dietitian" in table.at[0, "remedy"]
    found = phosphorus_additives.with_flags(schema.empty(Findings), table)
    assert schema.violations(Findings, found, "test", "none") == [] and found["component"].tolist() == ["K", "P", "K"]
    assert set(found["check"]) == {"additive"}


@pytest.mark.parametrize("text, entry_name, counted, checks", [
    ("ham (E340)", "Ham", True, {("additive", "K"), ("additive", "P")}), ("2 slices", "Ham, sliced", True, {("additive-by-entry", "P")}),
    ("1 tsp raising agent", "Leavening agents, baking powder, low-sodium", True, {("additive", "K"), ("additive", "P")}),
    ("200 g cooked prawns", "Crustaceans, shrimp, untreated, cooked", True, {("additive", "NA"), ("additive", "P")}),
    ("4 rashers streaky bacon", "Pork, cured, bacon, unprepared", True, {("additive", "NA"), ("additive", "P")}),
    ("1 tsp salt substitute (optional)", "", False, {("additive-left-out", "K")})])
def test_what_a_label_says_doubts_the_figures_and_what_the_table_analysed_does_not(text, entry_name, counted, checks):
    line = {"recipe_id": "dish", "variant_id": "base", "line_no": 1, "line_id": "dish/base/1", "text": text, "entry_name": entry_name,
            "outcome": "accepted", "counted": counted}
    flags = phosphorus_additives.flags(pd.DataFrame([line]), reference_file("additives"))
    found = phosphorus_additives.with_flags(schema.empty(Findings), flags)
    assert checks <= set(zip(found["check"], found["component"], strict=True)) and found["finding_id"].is_unique


@settings(max_examples=25, deadline=None)
@given(st.text(max_size=50), st.sampled_from(["salt substitute", "potassium chloride", "E508", "low-sodium salt"]))
def test_no_words_before_a_salt_substitute_hide_it(text, hazard):
    assert set(flagged(f"{text}, {hazard}").values()) & {ERROR, WARNING}


def test_e_numbers_and_names_as_recalled():
    names = reference_file("additives").query("e_number != ''").set_index("e_number")["name"]
    expected = {"338": "phosphoric acid", "339": "sodium phosphates", "340": "potassium phosphates", "341": "calcium phosphates",
                "343": "magnesium phosphates", "450": "diphosphates", "451": "triphosphates", "452": "polyphosphates", "202": "potassium sorbate",
                "212": "potassium benzoate", "224": "potassium metabisulphite", "249": "potassium nitrite", "252": "potassium nitrate",
                "326": "potassium lactate", "332": "potassium citrates", "357": "potassium adipate", "508": "potassium chloride"}
    assert {number: names[number] for number in expected} == expected
    assert "322" not in names.index  # lecithins: phospholipids, no phosphate salt
