"""What in print must change, ranked by harm. Invented figures; the tolerances are worked by hand in test_tolerance.py."""

from __future__ import annotations

from types import SimpleNamespace

import pandas as pd
import pytest
from hand_figures import figure, figures, reference_file

from pipeline import tables
from pipeline.stages.print_changes import print_changes
from pipeline.versions_form import HARMS

RULES = {"much_K": 100.0, "much_P": 75.0, "much_NA": 150.0}
REFERENCE = SimpleNamespace(tolerances=reference_file("tolerances"), rounding=reference_file("rounding"), components=reference_file("components"), rule=RULES.__getitem__)
# Today, per portion of 400 g: component -> value, low, high. Per 100 g it is a quarter.
TODAY = {"K": (600, 570, 630), "P": (240, 230, 250), "NA": (400, 380, 420), "NACL": (1.0, 0.95, 1.05), "PROCNT": (32, 30, 34), "FAT": (16, 15, 17),
         "ENERC": (1880, 1800, 1960)}


def today(variant="base", **changes):
    rows = []
    for component, ends in {**TODAY, **changes}.items():
        for basis, share in (("recipe", 4), ("portion", 1), ("100g", 0.25)):
            ends = ends if ends else (None,) * 3
            numbers = [None if end is None else end * share for end in ends]
            rows.append(figure(component, *numbers, basis=basis, unit="kJ" if component == "ENERC" else "", variant=variant))
    return rows


def verdict(claim, found, component="K", audience="general", variant="base", limit=500.0, **ends):
    value, low, high = {"fails": (600, 570, 630), "uncertain": (500, 450, 550), "holds": (300, 280, 320)}.get(found, (None,) * 3)
    return {"recipe_id": "dish", "variant_id": variant, "audience": audience, "claim": claim, "verdict": found, "component": component, "value": value,
            "low": low, "high": high, "limit": limit, "unit": "mg", "margin": 0.1, "source_id": "tern-bay", "basis": "portion", "kind": "local-limit",
            "reason": "because", "probability": 0.5, "headroom": "", "decisive": "", "comparator": "<=", "status": "ready", **ends}


def changes(printed=(), claims=(), verdicts=(), rows=None, versions=()):
    """(component, basis, value, unit[, printed_in, variant]) in print; (claim[, variant]); rows of print_changes."""
    published = pd.DataFrame([("dish", row[5] if len(row) > 5 else "base", *row[:4], row[4] if len(row) > 4 else "Card") for row in printed],
                             columns=tables.columns(tables.Published))
    given = {
        "figures": figures(*(today() if rows is None else rows)), "published": published,
        "printed_claims": pd.DataFrame([("dish", "base", claim, "Card") for claim in claims],
                                       columns=["recipe_id", "variant_id", "claim", "printed_in"]),
        "verdicts": pd.DataFrame(list(verdicts), columns=tables.columns(tables.Verdicts)),
        "variants": pd.DataFrame([("dish", "base", "As written", "base", 4.0), *(("dish", one, "As made (a film)", "version", 4.0) for one in versions)],
                                 columns=tables.columns(tables.Variants))}
    return print_changes(given, REFERENCE)


def test_what_is_right_in_print_need_not_change():
    assert changes([("K", "portion", 600, "mg"), ("K", "100g", 150, "mg"), ("K", "portion", 15.3, "mmol"), ("PROCNT", "portion", 30, "g")]).empty
    assert changes([("K", "portion", 800, "mg")]).empty  # overstated, and within the tolerance
    assert changes(claims=["low-potassium"], verdicts=[verdict("low-potassium", "holds")]).empty


def test_the_most_harmful_comes_first():
    found = changes(
        [("ENERC", "portion", 300, "kJ"), ("K", "portion", 1000, "mg", "Overstated"), ("P", "portion", 90, "mg"), ("K", "portion", 300, "mg"),
         ("NA", "portion", 130, "mg"), ("K", "portion", 420, "mg", "Within"), ("K", "portion", 540, "mg", "Little"), ("FAT", "portion", 5, "g")],
        ["low-potassium", "low-phosphorus", "tasty"],
        [verdict("low-potassium", "uncertain", audience="anybody"), verdict("low-potassium", "fails"),
         verdict("low-phosphorus", "not-assessable", "P"), verdict("low-salt", "fails", "NA")])  # a claim that is not in print
    assert found["rank"].tolist() == list(range(1, len(found) + 1))
    told = list(zip(found["harm"], found["component"], found["printed_in"], strict=True))
    assert told == [
        ("understated", "K", "Card"), ("understated", "P", "Card"),  # outside the tolerance and the interval with it
        ("understated", "K", "Within"), ("understated", "NA", "Card"),  # the tolerance allows them, by more than 100 and 150 mg too little
        ("claim-fails", "K", "Card"), ("claim-uncertain", "K", "Card"),
        ("outside-tolerance", "K", "Overstated"), ("outside-tolerance", "ENERC", "Card"), ("outside-tolerance", "FAT", "Card"),
        ("understated-slightly", "K", "Little"), ("not-confirmed", "P", "Card"), ("not-confirmed", "", "Card")]
    assert sorted(found["harm"], key=HARMS.index) == found["harm"].tolist()


@pytest.mark.parametrize("printed, harm", [(413, "understated"), (414, "understated"), (499, "understated"), (500, "understated-slightly"), (569, "understated-slightly"), (570, "")])
def test_an_understatement_at_its_edges(printed, harm):
    # 413.4 x 1.45 = 599.4 is outside, 414.4 x 1.45 = 600.9 is not; 600 - 500 is not more than 100 mg; 570 is in the interval.
    assert changes([("K", "portion", printed, "mg")])["harm"].tolist() == ([harm] if harm else [])


def test_salt_matters_as_its_sodium_does():
    # 150 mg sodium are 0.375 g salt: 1.0 - 0.6 is more, 1.0 - 0.7 is not.
    assert changes([("NACL", "portion", 0.6, "g"), ("NACL", "portion", 0.7, "g", "Poster")])["harm"].tolist() == ["understated", "understated-slightly"]


def test_a_correction_is_rounded_and_never_crosses_the_limit_that_fails():
    row = changes([("K", "portion", 300, "mg")]).iloc[0]
    assert row["correction"] == "Print potassium 600 mg per portion" and "outside the tolerance" in row["why"] and "understates" in row["why"]
    assert row["today"] == "600 mg (90 % interval 570 to 630)" and row["says"] == "potassium 300 mg per portion"
    rows = today(NA=(404, 402, 408))
    row = changes([("NA", "portion", 130, "mg")], ["low-salt"], [verdict("low-salt", "fails", "NA", limit=401.0, value=404, low=402, high=408)], rows).iloc[0]
    assert row["correction"] == "Print sodium 404 mg per portion"  # 400 mg, the guidance's ten, would pass 401 mg
    assert "claim at risk: low-salt" in row["why"]
    assert changes([("NA", "portion", 0.13, "g")], rows=rows).iloc[0]["correction"] == "Print sodium 0.40 g per portion"


def test_what_nobody_has_looked_at_is_taken_out_first():
    rows = [{**row, "status": "check", "reason": "low confidence"} for row in today()]
    row = changes([("K", "portion", 300, "mg")], rows=rows).iloc[0]
    assert row["correction"].startswith("Take it out; print potassium 600 mg per portion once somebody has looked at it: low confidence")


def test_a_withheld_figure_is_not_confirmed():
    row = changes([("K", "portion", 300, "mg")], rows=today(K=None)).iloc[0]
    assert (row["harm"], row["today"]) == ("not-confirmed", "withheld") and "line 3" in row["why"] and row["correction"].startswith("Take it out")


def test_print_that_cannot_be_compared_is_not_confirmed():
    found = changes([("PROCNT", "portion", 3, "mmol"), ("K", "portion", 3, "kcal")])
    assert found["harm"].tolist() == ["not-confirmed"] * 2 and set(found["today"]) == {"no such figure"}


def test_a_claim_is_held_against_the_recipe_as_made():
    kept = [verdict("low-potassium", "holds"), verdict("low-potassium", "holds", variant="as-made")]
    assert changes(claims=["low-potassium"], verdicts=kept, versions=["as-made"]).empty
    worse = [verdict("low-potassium", "holds"), verdict("low-potassium", "fails", variant="as-made")]
    row, = changes(claims=["low-potassium"], verdicts=worse, versions=["as-made"]).to_dict("records")
    assert (row["variant_id"], row["harm"]) == ("as-made", "claim-fails") and row["why"].startswith("as analysed it holds; as made (a film) it fails")
    better = [verdict("low-potassium", "fails"), verdict("low-potassium", "holds", variant="as-made")]
    assert changes(claims=["low-potassium"], verdicts=better, versions=["as-made"])["variant_id"].tolist() == ["base"]


def test_a_claim_that_holds_by_figures_to_be_checked_is_not_confirmed():
    row, = changes(claims=["low-potassium"], verdicts=[verdict("low-potassium", "holds", status="check")]).to_dict("records")
    assert row["harm"] == "not-confirmed" and "not ready" in row["why"]


def test_a_figure_of_a_version_is_compared_with_that_version():
    rows = today() + today("as-made", K=(300, 290, 310))
    found = changes([("K", "portion", 300, "mg", "Card", "as-made"), ("K", "portion", 300, "mg")], rows=rows, versions=["as-made"])
    assert found["variant_id"].tolist() == ["base"]
