"""What a run keeps of an imported table holds only while the table, and what it is called in the kitchen, stay as they were."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest
import table_root
from hypothesis import given
from hypothesis import strategies as st

from pipeline import sources
from pipeline.composition import store
from pipeline.composition.common import Imported, no_measures
from pipeline.composition.load import load_table
from pipeline.content import content_key
from pipeline.root import ROOT

CARROTS, ONIONS = "11124", "11282"
DISH = """
recipes:
  - id: quay-salad
    name: Quay salad
    portions: 2
    ingredients: [200 g carrots, 100 g zorblefruit]
    method: [Toss everything in a bowl and serve.]
"""

# The flow's stages without the guard and the release, which keep nothing. A run per line of input; each says which
# stages it reused, and what became of the two lines.
RUNS = """
import json, sys
from pathlib import Path
from pipeline import orchestration
root = Path(sys.argv[1])
orchestration.prepare(root)
from prefect import flow
from pipeline import flow as flows, job as jobs, steps
for _ in sys.stdin:
    job = jobs.prepare_job(root / "dish.yaml", "quay", root)
    kept = {}

    @flow(validate_parameters=False)
    def stages():
        shared = flows.Shared.of(job)
        return flows._bundles(shared, steps.partitions(shared.collection), lambda stage, reused: kept.update({stage: reused}))

    bundles, failed, _ = orchestration.run_flow(stages)
    tables = {name: table for bundle in bundles for name, table in bundle.items()}
    if failed:
        sys.exit("a stage failed: " + str(failed[0]))
    figures = tables["figures"]
    potassium = figures[(figures["component"] == "K") & (figures["basis"] == "recipe")]["value"].tolist()
    print(json.dumps({"release": job.release_id, "kept": sorted(stage for stage, reused in kept.items() if reused),
                      "entries": tables["matched"]["entry_id"].tolist(), "potassium_mg": potassium}), flush=True)
"""


def save(root: Path, potassium_mg: float | None = None) -> None:
    """The table "quay": two foods of the core as a publisher has them, without the kitchen's words."""
    core = load_table("core", sources.load(root).sources, root)
    entries = core.entries[core.entries["entry_id"].isin([CARROTS, ONIONS])].assign(common_names="", state="", cooking_class="")
    values = core.values[core.values["entry_id"].isin(entries["entry_id"])].assign(original="", original_unit="")
    if potassium_mg is not None:
        values.loc[(values["entry_id"] == CARROTS) & (values["component"] == "K"), "value"] = potassium_mg
    store.save("quay", Imported(entries, values, no_measures(), {}), "test", "test 1", {"file": "quay.csv", "sha256": "0" * 64}, root)


def call_carrots(root: Path, word: str) -> None:
    """Adds a common name to the carrots of the curated core."""
    path = root / "reference" / "composition" / "core" / "entries.csv"
    entries = pd.read_csv(path, dtype="str", keep_default_na=False)
    carrots = entries["entry_id"] == CARROTS
    entries.loc[carrots, "common_names"] = word + "; " + entries.loc[carrots, "common_names"]
    entries.to_csv(path, index=False)


@pytest.fixture
def root(tmp_path: Path) -> Path:
    table_root.root(tmp_path)
    (tmp_path / "dish.yaml").write_text(DISH, encoding="utf-8")
    save(tmp_path)
    return tmp_path


@pytest.fixture
def run(root: Path, tmp_path: Path):
    """Runs the stages and gives what the run said."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("PREFECT_")}
    process = subprocess.Popen([sys.executable, "-c", RUNS, str(root)], cwd=tmp_path, text=True, stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                               stderr=subprocess.PIPE, env=kept | {"HOME": str(tmp_path), "PYTHONPATH": str(ROOT)})

    def once() -> dict:
        process.stdin.write("run\n")
        process.stdin.flush()
        said = process.stdout.readline()
        assert said, process.communicate()[1]
        return json.loads(said)

    yield once
    process.communicate(timeout=60)


def test_what_is_kept_follows_the_table_and_its_curated_words(root: Path, run) -> None:
    every = ["audit", "cook", "judge", "match", "read", "restore", "total", "weigh"]
    first, again = run(), run()
    assert first["kept"] == [] and first["entries"][0] == CARROTS != first["entries"][1]
    assert again == first | {"kept": every}

    call_carrots(root, "zorblefruit")
    renamed = run()
    assert renamed["entries"] == [CARROTS, CARROTS] and renamed["kept"] == ["read"]
    assert renamed["release"] != first["release"]

    save(root, potassium_mg=1000.0)
    changed = run()
    assert changed["entries"] == renamed["entries"] and changed["kept"] == ["read", "weigh"]  # matching looks at what is at stake, cooking at the water and solids of a food
    values = load_table("core", sources.load(root).sources, root).values
    (before,) = values.loc[(values["entry_id"] == CARROTS) & (values["component"] == "K"), "value"]
    assert changed["potassium_mg"] == pytest.approx([one * 1000.0 / before for one in renamed["potassium_mg"]])
    assert changed["release"] not in (first["release"], renamed["release"])


# ---------------------------------------------------------------- the key of a column of words

def words(*texts: str | None, storage: str = "pyarrow") -> pd.Series:
    return pd.Series(pd.array(list(texts), dtype=pd.StringDtype(storage, na_value=np.nan)))


TEXTS = st.lists(st.one_of(st.none(), st.text(max_size=3)), max_size=6)


@given(TEXTS, TEXTS, st.data())
def test_a_column_has_the_key_of_its_words_however_they_are_held(one, other, data):
    cut = data.draw(st.integers(0, len(one)))
    key = content_key(words(*one))
    assert content_key(words(*one, storage="python")) == key
    pieces = pa.chunked_array([pa.array(part, pa.large_string()) for part in (one[:cut], one[cut:])], type=pa.large_string())
    assert content_key(pd.Series(pd.array(pieces, dtype="str"))) == key
    assert content_key(pd.concat([words(*other), words(*one)]).iloc[len(other):].reset_index(drop=True)) == key
    assert (content_key(words(*other)) == key) == (one == other)


def test_what_lies_under_a_missing_word_is_no_part_of_the_key():
    hidden = pa.LargeStringArray.from_buffers(2, pa.array(["leek", "kelp"], pa.large_string()).buffers()[1],
                                              pa.array(["leek", "kelp"], pa.large_string()).buffers()[2], pa.py_buffer(b"\x01"), 1)
    assert hidden.to_pylist() == ["leek", None]
    assert content_key(pd.Series(pd.array(hidden, dtype="str"))) == content_key(words("leek", None))


def test_half_a_surrogate_pair_has_a_key_too():
    keys = {content_key(words(text, storage="python")) for text in ("\ud83e", "\ud83f", "\\ud83e", "?", "")}
    assert len(keys) == 5


@pytest.mark.parametrize("dtype", ["float64", "int64", "bool", "Int64", "Float64", "datetime64[ns]", "object"])
def test_one_changed_number_changes_the_key(dtype):
    column = pd.Series([1, 0, 1]).astype(dtype)
    other = pd.Series([1, 1, 1]).astype(dtype)
    assert content_key(column) == content_key(pd.concat([column.iloc[:1], column.iloc[1:]])) != content_key(other)


def test_a_missing_number_is_no_number():
    assert len({content_key(pd.Series([1, missing], dtype=dtype)) for dtype in ("Int64", "Float64") for missing in (None, 0, 1)}) == 6
    assert content_key(pd.Series([1.0, np.nan])) not in {content_key(pd.Series([1.0, number])) for number in (0.0, 1.0, np.inf)}
