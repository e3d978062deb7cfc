"""The numbers in sentences of print changes against the cells of their row. Rows are made by hand."""

from __future__ import annotations

import pytest

from pipeline import verify_sentences
from pipeline.verify_report import Ledger

ROW = {"component": "NA", "unit": "mg", "printed_value": "640", "value": "901.123", "low": "667.61", "high": "1180.4",
       "says": "sodium 640 mg per portion", "today": "901.1 mg (90 % interval 667.6 to 1180)", "correction": "Print sodium 900 mg per portion"}


def wrong(**cells: str) -> list[tuple[str, str]]:
    """The columns that are named, with what is written there."""
    ledger = Ledger()
    verify_sentences.compare({"print_changes": {"1": {**ROW, **cells}}}, ledger)
    return [(one.column, one.written) for one in ledger.found]


@pytest.mark.parametrize("cells", [
    {}, {"says": "sodium 0.64 g per portion"}, {"correction": "Print sodium 0.90 g per portion"}, {"correction": "Print sodium 901 mg per portion"},
    {"correction": "Take the claim out, or change the recipe until it holds"},
    # Rounded for print: to a ten, to one place, or to "less than".
    {"value": "14.2", "low": "3.1", "high": "20.5", "today": "14.2 mg (90 % interval 3.1 to 20.5)", "correction": "Print sodium 10 mg per portion"},
    {"value": "2.2", "low": "1.1", "high": "3.5", "today": "2.2 mg (90 % interval 1.1 to 3.5)", "correction": "Print sodium <5 mg per portion"},
    {"value": "", "low": "", "high": "", "today": "withheld", "correction": "Take it out until there is a figure that confirms it"},
    {"high": "", "today": "901.1 mg (90 % interval 667.6 to any amount)"},
])
def test_sentences_that_say_their_cells_pass(cells):
    assert wrong(**cells) == []


@pytest.mark.parametrize(("column", "text"), [
    ("says", "sodium 840 mg per portion"), ("says", "sodium 64 g per portion"), ("today", "911.1 mg (90 % interval 667.6 to 1180)"),
    ("today", "901.1 mg (90 % interval 667.6 to 1189)"), ("today", "901.1 g (90 % interval 667.6 to 1180)"), ("today", "low"),
    ("correction", "Print sodium 100 mg per portion"), ("correction", "Print sodium 9 g per portion"),
])
def test_one_that_says_something_else_is_named(column, text):
    assert wrong(**{column: text}) == [(column, text)]
