"""Recipes that nobody wrote for this project's rules: many cooks' styles, as web pages carry them.

They were written for this test (no page was copied) in the manner of British and American home
cooks, blogs and other kitchens; nothing in ``mappings/`` or ``reference/`` was made for them.
What is asked is not that every line is settled but that nothing is lost: each line as written
ends in exactly one outcome with a reason of the closed list, and nothing crashes.
"""

from __future__ import annotations

import html
import json
import re
import unicodedata
from pathlib import Path

import pandas as pd
import pytest
from command_line import Project, release_of

from pipeline import job as jobs
from pipeline import steps, tables
from pipeline.flow import Shared
from pipeline.problems import InputError
from pipeline.stages import parse_line, total_settle, weigh

UNSEEN = Path(__file__).parent / "data" / "unseen"


@pytest.fixture(scope="module")
def job() -> jobs.Job:
    return jobs.prepare_job(UNSEEN, "core")


@pytest.fixture(scope="module")
def settled(job) -> pd.DataFrame:
    """The settled lines, by way of every stage; where one crashes, the recipes that do it are named."""
    whole = Shared.of(job).collection
    try:
        return staged(job, whole)
    except Exception as error:  # noqa: BLE001 - the test names the recipe
        pytest.fail(f"{', '.join(culprits(job, whole))}: {type(error).__name__}: {error}")


def staged(job, part) -> pd.DataFrame:
    return steps.straight(part, job, "audit")["total"]["settled"]


def culprits(job, part) -> list[str]:
    found = []
    for half in steps.halves(part):
        try:
            staged(job, half)
        except Exception:  # noqa: BLE001
            one = len(half["recipes"]) == 1
            found += [half["recipes"]["recipe_id"].iloc[0]] if one else culprits(job, half)
    return found


def test_a_recipe_of_which_no_line_is_settled_goes_through(job):
    """German and Spanish lines: nothing to sum, and still a place for every figure."""
    whole = Shared.of(job).collection
    foreign = {name: table[table["recipe_id"].isin(["kartoffelsalat", "tortilla-de-patatas"])].reset_index(drop=True)
               for name, table in whole.items()}
    lines = staged(job, foreign)
    assert len(foreign["recipes"]) == 2 and set(lines["recipe_id"]) == set(foreign["recipes"]["recipe_id"])
    nothing = {name: table[table["recipe_id"] == "kartoffelsalat"].reset_index(drop=True) for name, table in whole.items()}
    nothing["lines"] = nothing["lines"].assign(text="???")
    lines = staged(job, nothing)
    assert not (lines["outcome"] == "accepted").any()


def ingredients(value) -> list[list[str]]:
    """The ingredient lists of every recipe in a JSON document, by a walk of our own."""
    if isinstance(value, list):
        return [found for item in value for found in ingredients(item)]
    if not isinstance(value, dict):
        return []
    own = value.get("recipeIngredient") or value.get("ingredients")
    return ([own] if own else []) + [found for item in value.values() for found in ingredients(item)]


def plain(text: str) -> str:
    """Letters and digits alone: what has to survive any tidying of spaces, mark-up and signs."""
    bare = re.sub(r"<[^>]*>", "", html.unescape(text))
    return "".join(mark for mark in unicodedata.normalize("NFKC", bare).lower() if mark.isalnum())


def test_there_are_many_and_they_differ(job):
    written = [one for file in UNSEEN.glob("*.json") for one in ingredients(json.loads(file.read_text(encoding="utf-8")))]
    assert len(written) >= 40 and sum(map(len, written)) >= 300
    left_out = {problem.recipe_id for problem in job.collection.problems if problem.severity == "error"}
    assert len(job.collection.recipes) + len(left_out) == len(written)
    assert {problem.code for problem in job.collection.problems if problem.severity == "error"} <= {"portions-unreadable"}


def test_every_line_as_written_is_there(job):
    """Of each list of ingredients every line, or none where the recipe was left out as a whole; and no line that nobody wrote."""
    lists = [{plain(line) for line in one} for file in UNSEEN.glob("*.json") for one in ingredients(json.loads(file.read_text(encoding="utf-8")))]
    base = job.collection.lines[job.collection.lines["variant_id"] == "base"]
    read = [{plain(text) for text in (*one["text"], *one["section"])} - {""} for _, one in base.groupby("recipe_id")]
    assert set().union(*read) <= set().union(*lists)
    left_out = [problem for problem in job.collection.problems if problem.severity == "error"]
    lost = [one for one in lists if not any(one - {""} <= kept for kept in read)]
    assert len(lost) == len(left_out), lost
    wanted = {recipe for recipe in job.collection.recipes["recipe_id"]}
    assert set(base["recipe_id"]) == wanted


def test_every_line_has_one_outcome_with_a_reason_of_the_closed_list(job, settled):
    assert settled["line_id"].is_unique
    assert set(job.collection.lines["line_id"]) <= set(settled["line_id"])  # variants with the optional lines come on top
    assert settled["outcome"].isin(tables.OUTCOMES).all()
    assert settled["reason"].isin(total_settle.REASONS).all()
    accepted = settled["outcome"] == "accepted"
    assert settled.loc[accepted, "reason"].isin(["settled", "decided", "optional-left-out"]).all()
    assert not settled.loc[~accepted, "reason"].isin(["settled", "decided", "optional-left-out"]).any()
    assert settled.loc[accepted & settled["counted"], "edible_g"].notna().all()


def test_a_reason_outside_the_list_is_refused(settled):
    wrong = settled.assign(reason=settled["reason"].where(settled.index != 3, "seemed-fine"))
    with pytest.raises(InputError, match=re.escape(settled.at[3, "line_id"])):
        tables.checked(tables.Settled, wrong, "settle")
    two = settled.assign(reason=settled["reason"].where(settled.index != 3, "no-quantity;no-candidate"))
    with pytest.raises(InputError):
        tables.checked(tables.Settled, two, "settle")


def test_the_stages_reasons_are_in_the_list():
    assert set(weigh.REASONS) - {""} <= set(total_settle.REASONS)
    assert set(total_settle.FATAL) <= set(parse_line.REASONS)
    fatal = {code for code, (factor, _) in parse_line.REASONS.items() if factor == 0}
    assert fatal == set(total_settle.FATAL) <= set(total_settle.REASONS)


def test_a_share_is_settled(settled):
    """Not a measure of quality: below a third something is broken, above nine tenths something guesses."""
    food = settled[settled["counted"]]
    assert 1 / 3 < (food["outcome"] == "accepted").mean() < 0.9


def test_the_command_releases_them(tmp_path):
    done = Project(tmp_path).run("run", UNSEEN, "--output", "out", "--json", cwd=tmp_path)
    assert done.code == 1 and "Traceback" not in done.err, done.err
    told = json.loads(done.out)
    assert told["recipes"] >= 36
    assert not [row for row in told["not_used"] if row["code"] == "stage-failed"]
    lines = pd.read_csv(release_of(tmp_path / "out") / "lines.csv", keep_default_na=False, dtype=str)
    assert lines["reason"].isin(total_settle.REASONS).all()
