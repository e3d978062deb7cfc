"""A local team chooses its own policy file: the verdicts rest on it, the release carries it, and verify judges by it."""

from __future__ import annotations

import pandas as pd
import pytest
import small_release
import tampering
from hand_figures import DEMO_POLICY

from pipeline.root import ROOT
from pipeline.stages.release import read_manifest
from pipeline.verify import verify

DISH = """
recipes:
  - {id: rice, name: Rice, course: main, portions: 2, ingredients: [200 g white rice, 1 tbsp olive oil], method: [Boil the rice for 12 minutes.]}
"""


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A release under a policy that lies outside the project, adopted, with another limit and no rounding rule of its own."""
    folder = tmp_path_factory.mktemp("chosen")
    text = DEMO_POLICY.read_text(encoding="utf-8")
    for old, new in (('name = "Tern Bay demo policy"', 'name = "Skerry unit"'), ('adopted_by = ""', 'adopted_by = "R. Nephew"'),
                     ('role = ""', 'role = "lead renal dietitian"'), ('standing = "invented"', 'standing = "common-practice"'),
                     ("limit = 600", "limit = 7"), ('rounding = "tern-bay" ', "# ")):
        assert old in text
        text = text.replace(old, new, 1)
    path = folder / "skerry.toml"
    path.write_text(text, encoding="utf-8")
    return small_release.build(folder, DISH, path), path


def test_every_verdict_of_an_audience_says_whose_policy_it_is(made):
    verdicts = pd.read_csv(made[0] / "verdicts.csv", keep_default_na=False)
    local = verdicts[verdicts["kind"] == "local-limit"]
    assert len(local) == 12
    assert local["reason"].str.endswith("Under Skerry unit, adopted by R. Nephew (lead renal dietitian) on 2026-11-25").all()
    row = local.set_index(["audience", "claim"]).loc[("ckd-not-on-dialysis", "low-potassium")]
    assert float(row["limit"]) == 7 and row["verdict"] == "fails"
    assert "guidance gives no number" in row["reason"]
    protein = local.set_index(["audience", "claim"]).loc[("haemodialysis", "protein-for-dialysis"), "reason"]
    assert "for a body weight of 70 kg" in protein


def test_without_a_rule_of_its_own_a_unit_prints_by_the_guidance_alone(made):
    printed = pd.read_csv(made[0] / "for_print.csv", keep_default_na=False)
    assert len(printed) and (printed["by_unit_rule"] == "").all() and (printed["by_guidance"] != "").all()


def test_the_release_carries_the_policy_and_names_no_folder_of_the_machine(made):
    release, path = made
    assert (release / "evidence/policy.toml").read_bytes() == path.read_bytes()
    named = [row["path"] for row in read_manifest(release)["inputs"] if row["role"] == "policy"]
    assert named == ["policy/skerry.toml"]


def test_verify_judges_by_the_policy_of_the_release(made):
    report = verify(made[0], ROOT)
    assert report.agrees, report.text()


def test_a_policy_that_was_changed_in_the_release_is_found(made):
    copy = made[0] / "evidence/policy.toml"
    before = copy.read_bytes()
    try:
        copy.write_bytes(before.replace(b"limit = 7\n", b"limit = 8\n"))
        tampering.follow_in_manifest(made[0])
        found = verify(made[0], ROOT).disagreements
        assert any(one.column == "limit" and (one.written, one.recomputed) == ("7", "8") for one in found)
    finally:
        copy.write_bytes(before)
        tampering.follow_in_manifest(made[0])
