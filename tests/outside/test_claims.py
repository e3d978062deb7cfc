"""Outside check of every nutrition claim at, just under and just over its edge.

Source: Regulation (EC) No 1924/2006, annex, as amended by (EC) No 107/2008, (EU) No 116/2010 (fatty acids) and
(EU) No 1047/2012; significant amounts: Regulation (EU) No 1169/2011, Annex XIII part A. All from memory.
The limits are written out again here, not read from the project's files.
"""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from hand_figures import COMPONENTS, each_row, each_verdict, figure, reference_file, verdict, verdicts  # noqa: E402

BIT = 1e-3


def energy(kilocalories, kilojoules=None):
    """Energy per 100 g; by 4.184 kJ per kcal where the kJ are not given."""
    return [figure("ENERC", kilocalories, unit="kcal"),
            figure("ENERC", kilocalories * 4.184 if kilojoules is None else kilojoules, unit="kJ")]


# claim, component, limit per 100 g (solid), limit per 100 ml (liquid), unit: "not more than".
AT_MOST = [
    ("low-fat", "FAT", 3, 1.5), ("fat-free", "FAT", 0.5, 0.5), ("low-sugars", "SUGAR", 5, 2.5), ("sugars-free", "SUGAR", 0.5, 0.5),
    ("low-salt", "NA", 120, 120), ("very-low-salt", "NA", 40, 40), ("salt-free", "NA", 5, 5),
]


@pytest.mark.parametrize("claim, component, solid, liquid", AT_MOST)
@pytest.mark.parametrize("form", ["solid", "liquid"])
def test_upper_limits(claim, component, solid, liquid, form):
    limit = solid if form == "solid" else liquid
    rows = each_row(claim, [[figure(component, value)] for value in (limit - BIT, limit, limit + BIT)], food_form=form)
    assert [row["verdict"] for row in rows] == ["holds", "holds", "fails"]
    assert all(row["limit"] == limit and ("density" in row["reason"]) == (form == "liquid") for row in rows)


@pytest.mark.parametrize("form, kilojoules, kilocalories", [("solid", 170, 40), ("liquid", 80, 20)])
def test_low_energy(form, kilojoules, kilocalories):
    # Not more than 40 kcal (170 kJ)/100 g for solids or 20 kcal (80 kJ)/100 ml for liquids; both numbers have to hold.
    cases = [energy(kilocalories, kilojoules), energy(kilocalories - BIT, kilojoules - BIT), energy(kilocalories, kilojoules + BIT),
             energy(kilocalories + BIT, kilojoules)]
    assert each_verdict("low-energy", cases, food_form=form) == ["holds", "holds", "fails", "fails"]


def test_energy_free_is_for_liquids():
    # Not more than 4 kcal (17 kJ)/100 ml.
    cases = [energy(4, 17), energy(4 - BIT, 17 - BIT), energy(4 + BIT, 17), energy(4, 17 + BIT)]
    assert each_verdict("energy-free", cases, food_form="liquid") == ["holds", "holds", "fails", "fails"]
    solid = verdict("energy-free", energy(1, 4))
    assert solid["verdict"] == "not-assessable" and "liquid" in solid["reason"]


def saturates(fasat, fatrn, kilojoules):
    return [figure("FASAT", fasat), figure("FATRN", fatrn), figure("FAT", 20), *energy(kilojoules / 4.184, kilojoules)]


@pytest.mark.parametrize("form, limit", [("solid", 1.5), ("liquid", 0.75)])
def test_low_saturates_counts_trans(form, limit):
    # Saturates and trans together not more than 1.5 g per 100 g (0.75 g per 100 ml) and 10 % of energy.
    enough = 10_000  # kJ: 1.5 g x 37 = 55.5 kJ is far below 10 % of it
    cases = [saturates(limit - 0.1 + change, 0.1, enough) for change in (-BIT, 0, BIT)]
    assert each_verdict("low-saturates", cases, food_form=form) == ["holds", "holds", "fails"]


def test_low_saturates_at_ten_per_cent_of_energy():
    # 0.5 g x 37 kJ/g = 18.5 kJ, which is 10 % of 185 kJ.
    assert verdict("low-saturates", saturates(0.4, 0.1, 185))["verdict"] == "holds"
    assert verdict("low-saturates", saturates(0.4, 0.1, 185.1))["verdict"] == "holds"
    over = verdict("low-saturates", saturates(0.4, 0.1, 184.9))
    assert (over["verdict"], over["basis"], over["unit"]) == ("fails", "energy", "%")


def test_saturates_claims_say_that_trans_is_unknown():
    # 0.4 g saturates of 1.2 g fat: even if all the rest were trans, 1.2 <= 1.5 g; of 3 g fat nobody knows.
    known = [figure("FASAT", 0.4), *energy(1000, 4184)]
    row = verdict("low-saturates", [*known, figure("FAT", 1.2)])
    assert row["verdict"] == "holds" and "trans" in row["reason"]
    row = verdict("low-saturates", [*known, figure("FAT", 3)])
    assert row["verdict"] == "uncertain" and "trans" in row["reason"]
    assert verdict("low-saturates", [figure("FASAT", 1.6), figure("FAT", 3), *energy(1000, 4184)])["verdict"] == "fails"
    assert verdict("low-saturates", known)["verdict"] == "not-assessable"


def test_saturates_free():
    # Saturates and trans together not more than 0.1 g per 100 g or 100 ml.
    cases = [saturates(0.06 + change, 0.04, 500) for change in (-BIT, 0, BIT)]
    assert each_verdict("saturates-free", cases) == ["holds", "holds", "fails"]


@pytest.mark.parametrize("claim, per_100g, per_100kcal", [("source-of-fibre", 3, 1.5), ("high-fibre", 6, 3)])
def test_fibre_by_weight_or_by_energy(claim, per_100g, per_100kcal):
    rich = 1000  # kcal: far too much energy for the second condition
    by_weight = [[figure("FIBTG", per_100g + change), *energy(rich)] for change in (-BIT, 0, BIT)]
    assert each_verdict(claim, by_weight) == ["fails", "holds", "holds"]
    by_energy = each_row(claim, [[figure("FIBTG", per_100kcal + change), *energy(100)] for change in (-BIT, 0, BIT)])
    assert [row["verdict"] for row in by_energy] == ["fails", "holds", "holds"]
    assert by_energy[2]["basis"] == "100kcal"


@pytest.mark.parametrize("claim, share", [("source-of-protein", 12), ("high-protein", 20)])
def test_protein_by_share_of_energy(claim, share):
    # 17 kJ per g of protein (1169/2011 Annex XIV): share % of 1700 kJ is share g of protein.
    rows = each_row(claim, [[figure("PROCNT", share + change), *energy(1700 / 4.184, 1700)] for change in (-BIT, 0, BIT)])
    assert [row["verdict"] for row in rows] == ["fails", "holds", "holds"]
    assert {(row["limit"], row["unit"]) for row in rows} == {(share, "%")}


# Annex XIII part A: nutrient reference values.
REFERENCE_VALUES = {
    "vitamin-c": ("VITC", 80), "thiamin": ("THIA", 1.1), "riboflavin": ("RIBF", 1.4), "niacin": ("NIA", 16), "vitamin-b6": ("VITB6A", 1.4),
    "folic-acid": ("FOL", 200), "vitamin-b12": ("VITB12", 2.5), "potassium": ("K", 2000), "calcium": ("CA", 800), "phosphorus": ("P", 700),
    "magnesium": ("MG", 375), "iron": ("FE", 14), "zinc": ("ZN", 10),
}


@pytest.mark.parametrize("name", REFERENCE_VALUES)
def test_vitamins_and_minerals(name):
    # 15 % of the reference value per 100 g, or per 100 ml of foods other than beverages; 7.5 % per 100 ml of beverages; high: twice.
    component, value = REFERENCE_VALUES[name]
    for form, course, percent in (("solid", "main", 15), ("liquid", "soup", 15), ("liquid", "drink", 7.5)):
        for claim, times in ((f"source-of-{name}", 1), (f"high-{name}", 2)):
            limit = value * percent * times / 100
            cases = [[figure(component, limit * (1 + change))] for change in (-BIT, 0, BIT)]
            rows = each_row(claim, cases, food_form=form, course=course)
            assert [row["verdict"] for row in rows] == ["fails", "holds", "holds"]
            assert rows[0]["limit"] == pytest.approx(limit)


@pytest.mark.parametrize("claim, ala, long_chain", [("source-of-omega-3", 0.3, 0.04), ("high-omega-3", 0.6, 0.08)])
def test_omega_3(claim, ala, long_chain):
    half = long_chain / 2
    cases = {
        (ala, 0, 0, 100): "holds",                # per 100 g and per 100 kcal, both at the edge
        (ala - BIT, 0, 0, 50): "fails",           # enough per 100 kcal, too little per 100 g
        (ala, 0, 0, 101): "fails",                # enough per 100 g, too little per 100 kcal
        (0, half, half, 100): "holds",            # EPA and DHA together
        (0, half - BIT, half, 50): "fails",
        (0, half, half, 101): "fails",
        # Enough ALA per 100 g only and enough EPA + DHA per 100 kcal only is neither: one of the two has to do both.
        (ala, half - BIT, half - BIT, 101): "fails",
    }
    rows = [[figure("F18D3N3", a), figure("F20D5N3", e), figure("F22D6N3", d), *energy(kcal)] for a, e, d, kcal in cases]
    assert each_verdict(claim, rows) == list(cases.values())


def fats(fams, fapu, fasat, kilojoules):
    return [figure("FAMS", fams), figure("FAPU", fapu), figure("FASAT", fasat), figure("FAT", fams + fapu + fasat),
            *energy(kilojoules / 4.184, kilojoules)]


@pytest.mark.parametrize("claim, mono", [("high-monounsaturated-fat", True), ("high-polyunsaturated-fat", False)])
def test_high_mono_and_polyunsaturated(claim, mono):
    # At least 45 % of the fatty acids, and more than 20 % of the energy: 4.5 g x 37 = 166.5 kJ is 20 % of 832.5 kJ.
    cases = {
        (4.5, 2.5, 800): "holds", (4.5, 2.5 + BIT, 800): "fails", (4.5 + BIT, 2.5, 800): "holds",
        (4.5, 2.5, 832.5): "fails",               # exactly 20 % is not more than 20 %
        (4.5, 2.5, 832.4): "holds",
    }
    rows = [fats(*((part, other) if mono else (other, part)), 3, kj) for part, other, kj in cases]
    assert each_verdict(claim, rows) == list(cases.values())


def test_high_unsaturated():
    # At least 70 % of the fatty acids, and more than 20 % of the energy: 7 g x 37 = 259 kJ is 20 % of 1295 kJ.
    assert verdict("high-unsaturated-fat", fats(4, 3, 3, 1294))["verdict"] == "holds"
    assert verdict("high-unsaturated-fat", fats(4, 3, 3, 1295))["verdict"] == "fails"
    assert verdict("high-unsaturated-fat", fats(4, 3, 3 + 10 * BIT, 1200))["verdict"] == "fails"


def test_fatty_acids_that_no_table_gives_leave_it_uncertain():
    # 4.6 g of the 10 g that the tables give is 46 %; of 11 g fat it may be as little as 41.8 %.
    rows = [figure("FAMS", 4.6), figure("FAPU", 2.4), figure("FASAT", 3), figure("FAT", 11), *energy(100, 400)]
    assert verdict("high-monounsaturated-fat", rows)["verdict"] == "uncertain"


@pytest.mark.parametrize("claim", ["energy-reduced", "reduced-nutrient", "increased-nutrient", "light", "no-added-sugars", "no-added-salt",
                                   "contains-nutrient", "naturally"])  # those on added salt and sugars: tests/test_judge_ingredients.py
def test_claims_that_figures_cannot_decide(claim):
    row = verdict(claim, [figure("NA", 0), figure("SUGAR", 0), *energy(1)])
    assert row["verdict"] == "not-assessable" and len(row["reason"]) > 30 and row["source_id"] == "eu-1924-2006"


# Codex CXG 23-1997, table of conditions (from memory): claim, component, limit per 100 g (solid), per 100 ml (liquid).
CODEX_AT_MOST = [
    ("codex-low-fat", "FAT", 3, 1.5), ("codex-fat-free", "FAT", 0.5, 0.5), ("codex-sugars-free", "SUGAR", 0.5, 0.5),
    ("codex-low-sodium", "NA", 120, 120), ("codex-very-low-sodium", "NA", 40, 40), ("codex-sodium-free", "NA", 5, 5),
]


@pytest.mark.parametrize("claim, component, solid, liquid", CODEX_AT_MOST)
@pytest.mark.parametrize("form", ["solid", "liquid"])
def test_codex_upper_limits(claim, component, solid, liquid, form):
    limit = solid if form == "solid" else liquid
    rows = each_row(claim, [[figure(component, value)] for value in (limit - BIT, limit, limit + BIT)], food_form=form)
    assert [(row["verdict"], row["source_id"]) for row in rows] == [(one, "codex-cxg-23") for one in ("holds", "holds", "fails")]


@pytest.mark.parametrize("form, claim, kilojoules, kilocalories", [
    ("solid", "codex-low-energy", 170, 40), ("liquid", "codex-low-energy", 80, 20), ("liquid", "codex-energy-free", 17, 4)])
def test_codex_energy(form, claim, kilojoules, kilocalories):
    cases = [energy(kilocalories, kilojoules), energy(kilocalories - BIT, kilojoules - BIT), energy(kilocalories, kilojoules + BIT),
             energy(kilocalories + BIT, kilojoules)]
    assert each_verdict(claim, cases, food_form=form) == ["holds", "holds", "fails", "fails"]


@pytest.mark.parametrize("form, limit", [("solid", 1.5), ("liquid", 0.75)])
def test_codex_saturates(form, limit):
    cases = [saturates(limit - 0.1 + change, 0.1, 10_000) for change in (-BIT, 0, BIT)]
    assert each_verdict("codex-low-saturates", cases, food_form=form) == ["holds", "holds", "fails"]
    # 0.5 g x 37 kJ/g is 10 % of 185 kJ.
    assert each_verdict("codex-low-saturates", [saturates(0.4, 0.1, kj) for kj in (185.1, 185, 184.9)]) == ["holds", "holds", "fails"]
    free = [saturates(0.06 + change, 0.04, 500) for change in (-BIT, 0, BIT)]
    assert each_verdict("codex-saturates-free", free, food_form=form) == ["holds", "holds", "fails"]


@pytest.mark.parametrize("claim, component, solid, liquid, per_100kcal", [
    ("codex-source-of-fibre", "FIBTG", 3, 3, 1.5), ("codex-high-fibre", "FIBTG", 6, 6, 3),
    # 10 % (solids), 5 % (liquids), 5 % per 100 kcal of 50 g of protein; high: twice.
    ("codex-source-of-protein", "PROCNT", 5, 2.5, 2.5), ("codex-high-protein", "PROCNT", 10, 5, 5)])
def test_codex_lower_limits_by_weight_or_by_energy(claim, component, solid, liquid, per_100kcal):
    for form, limit in (("solid", solid), ("liquid", liquid)):
        by_weight = [[figure(component, limit + change), *energy(5000)] for change in (-BIT, 0, BIT)]
        assert each_verdict(claim, by_weight, food_form=form) == ["fails", "holds", "holds"]
    # In 50 kcal the amount per 100 kcal is half as much, below every limit by weight.
    by_energy = [[figure(component, (per_100kcal + change) / 2), *energy(50)] for change in (-BIT, 0, BIT)]
    assert each_verdict(claim, by_energy) == ["fails", "holds", "holds"]


def test_every_claim_is_tried_here():
    tried = {name for name, *_ in AT_MOST} | {f"{kind}-{name}" for kind in ("source-of", "high") for name in REFERENCE_VALUES}
    tried |= {"low-energy", "energy-free", "low-saturates", "saturates-free", "source-of-fibre", "high-fibre", "source-of-protein",
              "high-protein", "source-of-omega-3", "high-omega-3", "high-monounsaturated-fat", "high-polyunsaturated-fat",
              "high-unsaturated-fat"}
    tried |= {name for name, *_ in CODEX_AT_MOST} | {f"codex-{name}" for name in (
        "low-energy", "energy-free", "low-saturates", "saturates-free", "source-of-fibre", "high-fibre", "source-of-protein", "high-protein")}
    tried |= {"no-added-salt", "no-added-sugars"}  # tests/test_judge_ingredients.py
    claims = reference_file("claims")
    assert set(claims.loc[claims["comparator"] != "", "claim_id"]) == tried
    codex = claims["claim_id"].str.startswith("codex-")
    assert set(claims.loc[~codex, "source_id"]) == {"eu-1924-2006"} and set(claims.loc[codex, "source_id"]) == {"codex-cxg-23"}


def test_a_straddling_interval_is_uncertain_for_every_claim():
    # The same limits, each with an interval from far below to far above.
    rows = [figure(component, 1.0, 1e-6, 1e6, unit=unit) for component, unit in COMPONENTS.itertuples(index=False)]
    for form, course in (("solid", "main"), ("liquid", "drink")):
        found = verdicts(rows, food_form=form, course=course).loc["general"]
        judged = found[found["verdict"] != "not-assessable"]
        assert len(judged) > 35 and set(judged["verdict"]) == {"uncertain"}
