"""A content key follows what a value holds, and nothing else."""

import dataclasses

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline import content, orchestration
from pipeline.content import Keyed, content_key

TABLE = pd.DataFrame(
    {
        "food": pd.Series(["leek", "potato", None], dtype="str"),
        "mass_g": [1.0, np.nan, 3.0],
        "line_no": [1, 2, 3],
        "method": pd.Categorical(["boil", "fry", "boil"]),
        "codes": [("a", 1), ["a", 1], None],
    }
)


@dataclasses.dataclass
class Rule:
    name: str
    limit_mg: float


def changed(column, row, value):
    table = TABLE.copy()
    table[column] = table[column].astype(object)
    table.at[row, column] = value
    return table.astype(TABLE.dtypes.drop("codes").to_dict())


def test_the_key_of_a_table_is_that_of_its_content():
    assert content_key(TABLE) == content_key(TABLE.copy(deep=True))
    assert content_key(TABLE) == content_key(pd.concat([TABLE.iloc[:1], TABLE.iloc[1:]]).reset_index(drop=True))
    arrow = pd.DataFrame({"food": TABLE["food"].iloc[::-1].iloc[::-1]})
    assert content_key(arrow) == content_key(TABLE[["food"]].reset_index(drop=True))


@pytest.mark.parametrize(
    "other",
    [
        changed("food", 0, "leeks"),
        changed("food", 2, "None"),
        changed("food", 2, "nan"),
        changed("mass_g", 0, np.nextafter(1.0, 2.0)),
        changed("mass_g", 1, 0.0),
        changed("line_no", 1, 4),
        changed("method", 0, "fry"),
        TABLE.assign(codes=[("a", 1), ("a", 1), None]),
        TABLE.astype({"line_no": "int32"}),
        TABLE.astype({"food": "object"}),
        TABLE.rename(columns={"food": "Food"}),
        TABLE[["mass_g", "food", "line_no", "method", "codes"]],
        TABLE.iloc[::-1],
        TABLE.iloc[:2],
        TABLE.set_index(pd.Index([5, 6, 7])),
    ],
)
def test_any_change_of_a_table_changes_the_key(other):
    assert content_key(other) != content_key(TABLE)


def test_values_that_look_alike_have_different_keys():
    alike = [1, 1.0, True, "1", b"1", (1,), [1], {1}, {1: 1}, None, "None", np.int64(1), np.array([1]), Rule("1", 1)]
    assert len({content_key(value) for value in alike}) == len(alike)
    assert content_key("ab", "c") != content_key("a", "bc")
    assert content_key([["a"], "b"]) != content_key([["a", "b"]])
    assert content_key(Rule("a", 1.0)) != content_key(Rule("a", 2.0))


def test_the_order_of_a_dictionary_does_not_matter():
    assert content_key({"a": 1, "b": 2}) == content_key({"b": 2, "a": 1})
    assert content_key({"a": 1, "b": 2}) != content_key({"a": 2, "b": 1})


@given(st.lists(st.one_of(st.none(), st.text()), max_size=6), st.lists(st.one_of(st.none(), st.text()), max_size=6))
def test_two_columns_of_words_share_a_key_only_when_equal(one, other):
    keys = [content_key(pd.DataFrame({"words": pd.Series(words, dtype="str")})) for words in (one, other)]
    assert (keys[0] == keys[1]) == (one == other)


def test_a_path_counts_with_its_bytes(tmp_path):
    file = tmp_path / "a.csv"
    file.write_text("potassium")
    before, whole = content_key(file), content_key(tmp_path)
    file.rename(tmp_path / "b.csv")
    assert content_key(tmp_path / "b.csv") == before
    assert content_key(tmp_path) != whole
    (tmp_path / "b.csv").write_text("potassiun")
    assert content_key(tmp_path / "b.csv") != before
    with pytest.raises(FileNotFoundError):
        content_key(file)


def test_a_keyed_value_follows_its_content_and_a_strange_one_is_refused():
    assert content_key(Keyed(TABLE)) == content_key(Keyed(TABLE.copy()))
    assert content_key(Keyed(TABLE)) != content_key(Keyed(TABLE.iloc[:2]))
    with pytest.raises(TypeError, match="no content key"):
        content_key(object())


def test_the_code_of_a_stage_reaches_what_it_imports():
    names = {file.name for file in content.code_files(orchestration.stage_task)}
    assert {"orchestration.py", "content.py", "results.py", "temporary_server.py"} <= names
    assert "orchestration.py" not in {file.name for file in content.code_files(content_key)}
