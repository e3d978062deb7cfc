"""Reference and mapping files: each kind of damage is found and named by file and row."""

import pandas as pd
import pytest
import table_root

from pipeline import content, decisions, lineage, policy, sources, units
from pipeline.composition.load import load_table
from pipeline.problems import InputError
from pipeline.root import ROOT


@pytest.fixture
def project(tmp_path):
    """A copy of reference/ and mappings/ that a test may damage."""
    return table_root.root(tmp_path)


def change(path, old, new):
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def problems(load, *arguments):
    with pytest.raises(InputError) as caught:
        load(*arguments)
    return caught.value.problems


def test_the_project_s_own_files_load(project):
    reference = sources.load(project)
    assert len(load_table("core", reference.sources, project).entries) >= 300
    assert len(decisions.load(project).frames) == len(decisions.FILES)


def test_a_number_without_a_known_source(project):
    path = project / "reference/energy_factors.csv"
    first = pd.read_csv(path, dtype="str")["source_id"].iloc[0]
    change(path, first, "hearsay")
    (problem,) = problems(sources.load, project)
    assert problem.code == "unknown-source" and problem.where.endswith("energy_factors.csv:2") and "hearsay" in problem.what


def test_a_word_where_a_number_belongs(project):
    change(project / "reference/rules.csv", "accept_above,0.85", "accept_above,often")
    (problem,) = problems(sources.load, project)
    assert problem.code == "not-a-number" and "often" in problem.what and "rules.csv:" in problem.where


def test_an_unknown_standing(project):
    change(project / "reference/sources.csv", "from-memory\n", "heard\n")
    assert {problem.code for problem in problems(sources.load, project)} == {"unknown-standing"}


def test_a_missing_file_and_a_missing_column_are_both_named(project):
    (project / "reference/yields.csv").unlink()
    change(project / "reference/densities.csv", "density_g_per_ml", "density")
    found = {problem.code: problem.where for problem in problems(sources.load, project)}
    assert set(found) == {"missing-file", "wrong-columns"}
    assert found["missing-file"].endswith("yields.csv")


def test_a_table_that_does_not_exist_lists_those_that_do(project):
    (problem,) = problems(load_table, "french", sources.load(project).sources, project)
    assert problem.code == "unknown-table" and "core" in problem.remedy


def test_a_missing_value_written_as_zero_is_refused(project):
    path = project / "reference/composition/core/values.csv"
    change(path, ",,g,missing,", ",0,g,missing,")
    found = problems(load_table, "core", sources.load(project).sources, project)
    assert len(found) == 1 and "a missing value carries a number" in found[0].what


def test_an_unsigned_decision_is_refused(project):
    path = project / "mappings/methods.csv"
    path.write_text(path.read_text(encoding="utf-8") + "m1,soup,2 leeks,boil,kept,,2026-11-20,because\n", encoding="utf-8")
    found = problems(decisions.load, project)
    assert [problem.code for problem in found] == ["unsigned-decision"] and "decided_by" in found[0].what


def test_every_number_in_reference_has_a_source():
    """Whole files: a source on every row, and no file in reference/ that the loader does not know."""
    reference = sources.load()
    for name, frame in reference.frames.items():
        if name in ("sources", "cautions"):
            continue
        assert len(frame) and frame["source_id"].isin(reference.frames["sources"]["source_id"]).all(), name
    known = {f"{name}.csv" for name in sources.FILES}
    assert known < {path.name for path in (ROOT / "reference").glob("*.csv")} <= known | {"table_checks.csv"}


@pytest.mark.parametrize("name", decisions.FILES)
def test_decisions_and_mappings_are_sorted_and_without_stray_space(name):
    path = ROOT / "mappings" / f"{name}.csv"
    assert [row for row in path.read_text(encoding="utf-8").splitlines() if row != row.rstrip()] == []
    first = pd.read_csv(path, dtype="str", keep_default_na=False).iloc[:, 0].tolist()
    assert first == sorted(first) and (first or name in ("methods", "same_foods"))  # nobody has had to decide on these


@pytest.mark.parametrize("foundation", [sources.load, decisions.load, policy.load_policy, units.registry, lineage.combine, content.content_key])
def test_foundations_do_not_rest_on_what_is_built_on_them(foundation):
    """Imports point one way, those inside a function too: foundations, composition, stages, flow, cli."""
    above = {"composition", "stages"}
    assert [file for file in content.code_files(foundation) if above & set(file.relative_to(ROOT).parts)] == []
