"""Two releases beside each other: each kind of change has its own cause, the parts add up, flips say why.

The independent check: runs of the stages in which one input alone was changed; the cause must be that input, and its part the whole change.
"""

from __future__ import annotations

import dataclasses
import json
import shutil
from pathlib import Path

import pandas as pd
import pytest
import straight
from click.testing import CliRunner

from pipeline import job as jobs
from pipeline import released
from pipeline.cli_compare import compare as command
from pipeline.problems import InputError
from pipeline.release_causes import causes
from pipeline.release_compare import compare

DISH = """
id: pot
name: Pot
portions: 4
units: uk
ingredients:
  - 300 g carrots
  - 1 cup double cream
  - 200 g long-grain rice
  - salt, to taste
method:
  - Boil the carrots for 15 minutes, then drain.
  - Simmer the rice in water until all of it is absorbed.
  - Stir everything together and serve.
"""
CARROT, SOLE = "11124", ["figure_id", "cause"]


def run(folder: Path, text: str, **changes) -> tuple[jobs.Job, dict[str, pd.DataFrame]]:
    path = folder / f"pot-{len(list(folder.iterdir()))}.yaml"
    path.write_text(text, encoding="utf-8")
    job = dataclasses.replace(jobs.prepare_job(path, "core"), **changes)
    return job, straight.tables(job)


@pytest.fixture(scope="module")
def base(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pot")
    return folder, *run(folder, DISH)


def why(base, text: str = DISH, **changes) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The causes of a changed run, and the figures of both runs that have a value, side by side."""
    folder, job, before = base
    _, after = run(folder, text, **changes)
    found = causes(before, after, job.reference.components, job.reference.energy_factors)
    both = before["figures"].merge(after["figures"], on="figure_id", suffixes=("_a", "_b")).dropna(subset=["value_a", "value_b"])
    return found, both.set_index("figure_id")


def only(found: pd.DataFrame, figure_id: str) -> dict[str, float]:
    return found[found["figure_id"] == figure_id].groupby("cause")["change"].sum().to_dict()


CHANGES = {
    "amount": (("300 g carrots", "450 g carrots"), "pot/base/K/portion"),
    "entry": (("300 g carrots", "300 g parsnips"), "pot/base/K/portion"),
    "cooking": (("Boil the carrots for 15 minutes, then drain.", "Steam the carrots for 15 minutes."), "pot/base/K/portion"),
    "line": (("  - 200 g long-grain rice", "  - 50 g raisins\n  - 200 g long-grain rice"), "pot/base/K/portion"),
    "portions": (("portions: 4", "portions: 3"), "pot/base/K/portion"),
    "weighing": (("units: uk", "units: us"), "pot/base/K/portion"),
    "weight": (("portions: 4", "portions: 4\nfinished_mass: 900 g"), "pot/base/K/100g"),
}


@pytest.mark.parametrize("cause", CHANGES)
def test_each_change_has_its_own_cause_and_the_parts_add_up(base, cause):
    (old, new), figure_id = CHANGES[cause]
    found, both = why(base, DISH.replace(old, new))
    parts = only(found, figure_id)
    assert max(parts, key=lambda name: abs(parts[name])) == cause, parts
    assert set(found["figure_id"]) <= set(both.index)
    change = both["value_b"] - both["value_a"]
    told = found.groupby("figure_id")["change"].sum().reindex(both.index).fillna(0.0)
    assert (told - change).abs().max() <= 1e-9 * both[["value_a", "value_b"]].abs().max().max()


def test_what_was_taken_over_from_the_table_alone_is_named(base):
    _, job, _ = base
    values = job.table.values.copy()
    at = (values["entry_id"] == CARROT) & (values["component"] == "K")
    values.loc[at, "value"] *= 1.25
    found, both = why(base, table=dataclasses.replace(job.table, values=values))
    figure_id = "pot/base/K/portion"
    row, = found[found["figure_id"] == figure_id].itertuples()
    assert row.cause == "composition" and row.text == "300 g carrots" and "Carrots, raw: 320" in row.before and "400 mg per 100 g" in row.now
    assert row.change == pytest.approx(both.at[figure_id, "value_b"] - both.at[figure_id, "value_a"])
    assert set(found["figure_id"].str.split("/").str[2]) == {"K"}


def test_derived_figures_follow_their_parts(base):
    """Salt is sodium x 2.5 (Regulation (EU) No 1169/2011, Annex I): so are the parts of its change."""
    found, _ = why(base, DISH.replace("300 g carrots", "450 g carrots"))
    salt, sodium = (only(found, f"pot/base/{name}/portion")["amount"] for name in ("NACL", "NA"))
    assert salt == pytest.approx(2.5 * sodium / 1000)


def test_lines_are_the_same_by_their_words_wherever_they_stand(base):
    lines = [line for line in DISH.splitlines() if line.startswith("  - ")][:4]
    found, _ = why(base, DISH.replace("\n".join(lines), "\n".join(lines[::-1])))
    assert found.empty


# ---------------------------------------------------------------- whole releases

@pytest.fixture
def other(quay_release, tmp_path):
    return Path(shutil.copytree(quay_release, tmp_path / "quay-other", ignore=shutil.ignore_patterns("plots", "pages")))


def called(*arguments):
    done = CliRunner().invoke(command, [str(argument) for argument in arguments], standalone_mode=False)
    return done.return_value, done.output, done.exception


def change(release: Path, name: str, alter) -> None:
    path = release / f"{name}.parquet"
    frame = pd.read_parquet(path)
    alter(frame)
    frame.to_parquet(path)


def test_a_release_does_not_differ_from_itself(quay_release, other):
    code, output, _ = called(quay_release, other)
    assert code == 0 and "No line, figure or verdict differs" in output and "Inputs: the same\n" in output


def test_a_limit_that_moved_is_the_reason_of_its_flip(quay_release, other):
    def lower(verdicts):
        at = verdicts.index[(verdicts["component"] == "K") & (verdicts["verdict"] == "holds") & (verdicts["kind"] == "local-limit")][0]
        verdicts.loc[at, ["limit", "verdict"]] = [verdicts.at[at, "limit"] / 10, "fails"]

    change(other, "verdicts", lower)
    found = compare(quay_release, other)
    flip, = found.verdicts.itertuples()
    assert (flip.verdict_a, flip.verdict_b) == ("holds", "fails") and flip.because.startswith("its limit is ") and ", before " in flip.because
    assert found.differs and found.figures.empty and found.lines.empty


def test_a_doubt_that_came_is_told_with_the_flip(quay_release, other):
    def doubt(figures):
        figures.loc[(figures["component"] == "K") & (figures["status"] == "ready"), ["status", "reason"]] = ["check", "the audit doubts it"]

    def flip(verdicts):
        verdicts.loc[(verdicts["component"] == "K") & (verdicts["verdict"] == "holds"), "verdict"] = "uncertain"

    change(other, "figures", doubt)
    change(other, "verdicts", flip)
    code, output, _ = called(quay_release, other)
    assert code == 1 and "because its figure is check now, before ready" in output
    assert output.rstrip().endswith("They are not advice to a patient.")


def test_files_and_json_hold_all_of_it_and_the_same_bytes_twice(quay_release, other, tmp_path):
    change(other, "figures", lambda figures: figures.loc.__setitem__((figures["component"] == "K", "value"), figures["value"] * 2))
    folders = [tmp_path / name for name in ("one", "two")]
    for folder in folders:
        assert called(quay_release, other, "-o", folder)[0] == 1
    names = sorted(path.name for path in folders[0].iterdir())
    assert names == [f"changed_{name}.csv" for name in ("causes", "figures", "lines", "recipes", "verdicts")]
    assert all((folders[0] / name).read_bytes() == (folders[1] / name).read_bytes() for name in names)
    told = json.loads(called(quay_release, other, "--json")[1])
    assert told["differs"] and len(told["figures"]) == len(pd.read_csv(folders[0] / "changed_figures.csv")) > 0
    assert {row["cause"] for row in told["causes"]} == {"rest"}  # no line and no portion says why: it is not hidden


def test_what_is_no_release_has_one_clear_error(quay_release, other, tmp_path):
    for broken in (tmp_path, other):
        (other / "verdicts.parquet").unlink(missing_ok=True)
        with pytest.raises(InputError) as error:
            compare(released.find(quay_release), released.find(broken))
        assert str(broken) in str(error.value)


def test_nothing_is_written_into_a_release(quay_release, other):
    _, _, error = called(quay_release, other, "-o", other / "comparison")
    assert isinstance(error, InputError) and not (other / "comparison").exists()
