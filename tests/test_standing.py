"""What others doubt is no longer ready, and nothing else changes."""

import pandas as pd

from pipeline import tables
from pipeline.problems import WARNING, Problem
from pipeline.stages.ingest_amounts import UNCERTAIN
from pipeline.stages.standing import doubted


def figures():
    rows = []
    for recipe in ("soup", "stew"):
        for component in ("K", "NA"):
            for basis in ("portion", "100g"):
                rows.append({"figure_id": f"{recipe}/base/{component}/{basis}", "recipe_id": recipe, "variant_id": "base",
                             "component": component, "basis": basis, "value": 10.0, "low": 9.0, "high": 11.0, "unit": "mg",
                             "coverage": 1.0, "confidence": 0.9, "status": "ready", "reason": ""})
    return tables.checked(tables.Figures, pd.DataFrame(rows), "test")


def findings(**changes):
    row = {"severity": "warning", "check": "two-routes", "recipe_id": "soup", "variant_id": "base", "component": "K", **changes}
    return pd.DataFrame([row])


VARIANTS = pd.DataFrame({"recipe_id": ["soup", "soup", "stew"], "variant_id": ["base", "for-two", "base"], "portions": [4.0, 2.0, 4.0]})
VAGUE = Problem("soup.yaml, line 4", "4 portions were read from 'Serves 4-6'", "Write the number", UNCERTAIN, WARNING, recipe_id="soup")


def not_ready(frame):
    tables.checked(tables.Figures, frame, "test")
    return set(frame.loc[frame["status"] == "check", "figure_id"])


def test_a_warning_of_the_audit_doubts_that_component_alone():
    assert not_ready(doubted(figures(), findings(), VARIANTS, [])) == {"soup/base/K/portion", "soup/base/K/100g"}


def test_a_note_or_a_finding_about_print_doubts_nothing():
    for change in ({"severity": "note"}, {"check": "drift"}, {"check": "unit-slip"}, {"component": ""}):
        assert not_ready(doubted(figures(), findings(**change), VARIANTS, [])) == set()


def test_vague_portions_doubt_the_figures_per_portion():
    found = doubted(figures(), findings(severity="note"), VARIANTS, [VAGUE])
    assert not_ready(found) == {"soup/base/K/portion", "soup/base/NA/portion"}
    assert found.set_index("figure_id").at["soup/base/K/portion", "reason"] == "portions read from a vague text"


def test_a_variant_with_its_own_portions_is_not_doubted():
    other = figures().assign(variant_id="for-two", figure_id=lambda frame: frame["figure_id"].str.replace("base", "for-two"))
    assert not_ready(doubted(other, findings(severity="note"), VARIANTS, [VAGUE])) == set()


def test_a_withheld_figure_stays_withheld():
    frame = figures()
    frame.loc[0, ["status", "reason"]] = ["withheld", "waits"]
    frame.loc[0, ["value", "low", "high"]] = float("nan")
    assert doubted(frame, findings(), VARIANTS, [VAGUE]).loc[0, ["status", "reason"]].tolist() == ["withheld", "waits"]
