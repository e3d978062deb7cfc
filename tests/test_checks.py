"""The guard before a release: sound tables pass, and each broken row is found by exactly the rule it breaks."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from collections.abc import Callable
from concurrent.futures import Future
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import release_example as example

from pipeline import checks
from pipeline.check_rules import NAMED_BY, rules
from pipeline.checks import CheckResult, guard, worker
from pipeline.problems import InputError

Tables = dict[str, pd.DataFrame]
ROOT = Path(__file__).resolve().parent.parent


def _put(table: str, column: str, value, where: str = "", times: float | None = None) -> Callable[[Tables, str], None]:
    """A change to one cell of a recipe: the first row for which ``where`` holds."""

    def change(tables: Tables, recipe: str) -> None:
        frame = tables[table]
        owner = "input_id" if table == "inputs" else "recipe_id"
        own = frame[frame[owner].str.contains(rf"\b{recipe}\b")] if table == "inputs" else frame[frame[owner] == recipe]
        row = (own.query(where) if where else own).index[0]
        frame.loc[row, column] = frame.at[row, column] * times if times else value

    return change


def _several(*changes: Callable[[Tables, str], None]) -> Callable[[Tables, str], None]:
    def change(tables: Tables, recipe: str) -> None:
        for one in changes:
            one(tables, recipe)

    return change


def _figure(where: str, times: float = 1.0, **values) -> Callable[[Tables, str], None]:
    """Scale the figures for which ``where`` holds, then set cells of them."""

    def change(tables: Tables, recipe: str) -> None:
        frame = tables["figures"]
        rows = frame[frame["recipe_id"] == recipe].query(where).index
        assert len(rows)
        frame.loc[rows, ["value", "low", "high"]] *= times
        for column, value in values.items():
            frame.loc[rows, column] = value

    return change


def _again(table: str, **values) -> Callable[[Tables, str], None]:
    """A second copy of a recipe's first row, with other cells."""

    def change(tables: Tables, recipe: str) -> None:
        frame = tables[table]
        owner = frame["input_id"].str.contains(rf"\b{recipe}\b") if table == "inputs" else frame["recipe_id"] == recipe
        row = frame[owner].head(1).assign(**{name: value(recipe) if callable(value) else value for name, value in values.items()})
        tables[table] = pd.concat([frame, row], ignore_index=True)

    return change


def _potassium_times_1000(tables: Tables, recipe: str) -> None:
    _figure("component == 'K'", 1000)(tables, recipe)
    parts = tables["contributions"]
    parts.loc[(parts["recipe_id"] == recipe) & (parts["component"] == "K"), ["value_per_100g", "amount"]] *= 1000
    verdicts = tables["verdicts"]
    verdicts.loc[verdicts["recipe_id"] == recipe, ["value", "low", "high", "limit"]] *= 1000


FAT = "component == 'FAT' and basis == '100g'"
PER_100G = "basis == '100g'"
HOLDS = {"verdict": "holds", "value": 50.0, "low": 40.0, "high": 60.0, "limit": 100.0, "margin": 0.4}

# check -> what is done to one recipe, which breaks that check alone. The names ending in "withheld"
# below are recipes with an unsettled line.
BROKEN: dict[str, Callable[[Tables, str], None]] = {
    "figures-figure-id-unique": lambda tables, recipe: _figure(
        f"{PER_100G} and component in ('FAT', 'K')", figure_id=f"{recipe}/base/twice")(tables, recipe),
    "figures-one-of-each": _again("figures", figure_id=lambda recipe: f"{recipe}/base/another"),
    "figures-component-known": _figure(FAT, component="FATT"),
    "figures-basis-known": _figure(FAT, basis="100 g"),
    "figures-status-known": _figure(FAT, status="fine", reason="said so"),
    "figures-status-present": _figure(FAT, status=None, reason="said so"),
    "figures-value-not-below-low": _figure(FAT, low=2.1, high=2.5, value=2.0),
    "figures-high-not-below-value": _figure(FAT, low=1.0, high=1.9, value=2.0),
    "figures-value-range": _figure(FAT, low=-2.0, high=0.0, value=-1.0),
    "figures-coverage-range": _figure(FAT, coverage=1.01),
    "figures-confidence-range": _figure(FAT, confidence=-0.01),
    "figures-finite": _figure(FAT, high=np.inf),
    "figures-interval": _figure(FAT, high=np.nan),
    "figures-withheld-empty": _figure(FAT, low=1.0),  # withheld
    "figures-shown-has-value": _figure(FAT, value=np.nan, low=np.nan, high=np.nan),
    "figures-reason": _figure(FAT, status="check"),
    "figures-variant-known": _figure(FAT, variant_id="other"),
    "figures-potassium-plausible": _potassium_times_1000,
    "figures-energy-plausible": _figure(f"component == 'ENERC' and {PER_100G}", 100),
    "figures-mass-plausible": _figure(FAT, value=111.0, low=100.0, high=120.0),
    "figures-salt": _figure(f"component == 'NACL' and {PER_100G}", 1.00001),
    "figures-energy-units": _figure(f"component == 'ENERC' and unit == 'kcal' and {PER_100G}", 1.1),
    "figures-portions": _figure("component == 'ENERC' and basis == 'recipe'", 1.00001),
    "figures-sum": _figure("component == 'FAT' and basis != '100g'", 1.00001),
    "figures-settled": _figure(FAT, status="check", value=1.0, low=0.5, high=1.5),  # withheld
    "source-lines-settled": _again("source_lines", line_no=99, line_id=lambda recipe: f"{recipe}/base/99"),
    "lines-line-id-unique": _again("lines"),
    "lines-known": _put("lines", "text", "1 large swede"),
    "lines-outcome-known": _put("lines", "outcome", "maybe", "line_no == 2"),  # withheld
    "lines-outcome-present": _put("lines", "outcome", None, "line_no == 2"),  # withheld
    "lines-reason": _put("lines", "reason", ""),
    "lines-match-confidence-range": _put("lines", "match_confidence", 1.01),
    "lines-mass-g-not-below-edible-g": _put("lines", "edible_g", None, times=1.3),
    "lines-mass-g-not-below-mass-low-g": _put("lines", "mass_low_g", None, times=1.3),
    "lines-mass-high-g-not-below-mass-g": _put("lines", "mass_high_g", None, times=0.8),
    "lines-accepted-weighed": _put("lines", "entry_id", ""),
    "contributions-one-of-each": _again("contributions", amount=np.nan, value_per_100g=np.nan),
    "contributions-counted": _put("lines", "counted", False),
    "contributions-product": _put("contributions", "edible_g", None, times=1.00001),
    "contributions-retention-plausible": _several(
        _put("contributions", "retention_fraction", None, times=4), _put("contributions", "edible_g", None, times=0.25)),
    "contributions-input-known": _put("contributions", "match_input", "match:nothing"),
    "inputs-input-id-unique": _again("inputs"),
    "inputs-value-not-below-low": _put("inputs", "low", 1.05),
    "inputs-high-not-below-value": _put("inputs", "high", 0.95),
    "inputs-source": _put("inputs", "source_id", ""),
    "verdicts-verdict-known": _put("verdicts", "verdict", "probably"),
    "verdicts-verdict-present": _put("verdicts", "verdict", None),
    "verdicts-one-of-each": _again("verdicts"),
    "verdicts-not-on-withheld": _several(*(_put("verdicts", column, value) for column, value in HOLDS.items())),  # withheld
    "verdicts-whole": _put("verdicts", "high", None, times=2),
    "verdicts-margin": _put("verdicts", "margin", -0.01),
    "verdicts-figure": _put("verdicts", "value", None, times=1.00001),
    "verdicts-source": _put("verdicts", "source_id", ""),
    "for-print-ready": _several(_put("figures", "status", "check", "component == 'K' and basis == 'portion'"),
                                _put("figures", "reason", "a person looks first", "component == 'K' and basis == 'portion'")),
    "worklist-known": _put("worklist", "text", "1 large swede"),  # withheld
    "variants-portions-range": _again("variants", variant_id="none", portions=0.0),
    "worklist-ranked": _put("worklist", "rank", 1000),  # withheld; last, because it is the end of the numbering
}
ON_WITHHELD = (
    "figures-withheld-empty", "figures-settled", "lines-outcome-known", "lines-outcome-present", "verdicts-not-on-withheld",
    "worklist-known", "worklist-ranked",
)


def _sound(names: list[str]) -> Tables:
    waiting = tuple(number for number, name in enumerate(names) if name in ON_WITHHELD)
    return {name: frame.copy() for name, frame in example.tables(len(names), unsettled=waiting).items()}


@pytest.fixture(scope="module")
def sound() -> CheckResult:
    return guard(_sound(["a", "figures-settled"]), example.COMPONENTS)


def test_sound_tables_pass_every_rule(sound):
    assert sound.failures == []
    assert sound.passed
    assert [check.check_id for check in sound.checks] == sorted(rule.check_id for rule in rules([]))


def test_every_rule_has_a_row_that_breaks_it():
    assert set(BROKEN) == {rule.check_id for rule in rules([])}


def test_each_broken_row_is_found_by_its_own_rule_alone(monkeypatch):
    # One recipe is broken for each rule; a rule must name its own recipe and no other.
    monkeypatch.setattr(checks, "EXAMPLES", 10_000)
    names = list(BROKEN)
    tables = _sound(names)
    for number, name in enumerate(names):
        BROKEN[name](tables, f"dish-{number}")
    result = guard(tables, example.COMPONENTS)
    found = {check.check_id: {int(number) for row in check.examples for number in re.findall(r"row \S*?dish-(\d+)", row)}
             for check in result.checks}
    assert found == {name: {number} for number, name in enumerate(names)}
    assert all(check.rows_failed > 0 for check in result.checks)


@pytest.mark.parametrize("name", ["figures-withheld-empty", "verdicts-not-on-withheld", "source-lines-settled", "figures-sum"])
def test_one_broken_thing_fails_one_check_and_is_named(name):
    tables = _sound([name, "other"])
    BROKEN[name](tables, "dish-0")
    result = guard(tables, example.COMPONENTS)
    assert not result.passed
    assert [check.check_id for check in result.failures] == [name]
    [problem] = result.problems()
    assert "dish-0" in problem.where and name in problem.what and problem.severity == "error"


def test_tables_without_rows_pass():
    tables = {name: frame.head(0) for name, frame in example.tables().items()}
    assert guard(tables, example.COMPONENTS).failures == []


def test_water_may_be_gained_many_times_over():
    # Rice takes up more water than it had: water is a balance, not a retention.
    tables = _sound(["a"])
    parts = tables["contributions"]
    fat = parts["component"] == "FAT"
    parts.loc[fat, "retention_fraction"] *= 10
    parts.loc[fat, "edible_g"] /= 10
    for name in ("contributions", "figures"):
        tables[name]["component"] = tables[name]["component"].replace("FAT", "WATER")
    assert guard(tables, {*example.COMPONENTS, "WATER"}).failures == []


def test_a_missing_table_is_refused():
    tables = _sound(["a"])
    del tables["inputs"]
    with pytest.raises(InputError, match="inputs"):
        guard(tables, example.COMPONENTS)


def test_a_check_that_cannot_be_made_is_a_failed_check():
    tables = _sound(["a"])
    tables["figures"]["coverage"] = "much"
    failed = {check.check_id: check for check in guard(tables, example.COMPONENTS).failures}
    assert "figures-coverage-range" in failed
    assert failed["figures-coverage-range"].examples


def test_no_checks_is_no_pass():
    assert not CheckResult(()).passed


def test_the_same_tables_give_the_same_bytes(sound):
    assert guard(_sound(["a", "figures-settled"]), example.COMPONENTS).as_json() == sound.as_json()


def test_the_worker_gives_the_same_result(sound):
    with worker() as process:
        waiting: Future[CheckResult] = process.submit(guard, _sound(["a", "figures-settled"]), example.COMPONENTS)
        assert waiting.result(timeout=120) == sound


def test_it_is_silent_and_writes_nothing(tmp_path):
    # A fresh process, with the home and the working folder empty and every connection refused.
    code = (
        "import socket, sys\n"
        "def refuse(*given, **named): raise OSError('no network')\n"
        "socket.socket.connect = refuse; socket.getaddrinfo = refuse\n"
        "import release_example as example\n"
        "from pipeline.checks import guard\n"
        "assert guard(example.tables(), example.COMPONENTS).passed\n"
    )
    paths = os.pathsep.join([str(ROOT), str(ROOT / "tests")])
    environment = {**os.environ, "HOME": str(tmp_path), "PYTHONPATH": paths, "PYTHONDONTWRITEBYTECODE": "1"}
    done = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, env=environment, capture_output=True, text=True, timeout=180)
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
    assert list(tmp_path.iterdir()) == []


def test_importing_the_checks_does_not_import_the_library():
    code = "import sys, pipeline.checks; assert 'great_expectations' not in sys.modules"
    subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=True, timeout=120)


def test_every_rule_names_a_table_and_columns_that_exist():
    tables = example.tables()
    found = list(rules(example.COMPONENTS))
    assert len(found) >= 20
    for rule in found:
        assert rule.table in NAMED_BY
        assert rule.shown and set(rule.shown) <= set(tables[rule.table].columns), rule.check_id
