"""Problems as a table: the gravest first, each once, and back again."""

from pipeline.problems import NOTE, WARNING, Problem, from_table, to_table

FATAL = Problem("soup.yaml, line 3", "has no amount", "Write one", "no-amount")
DOUBT = Problem("apple.yaml, line 1", "has no id", "Write id:", "no-id", WARNING)
HARMLESS = Problem("aaa.csv:2", "nothing asks for it", "Keep it", "dead-decision", NOTE)


def test_the_gravest_come_first_and_each_once():
    table = to_table([HARMLESS, DOUBT, FATAL, DOUBT])
    assert list(table["severity"]) == ["error", "warning", "note"]


def test_a_table_of_problems_gives_the_problems_back():
    assert from_table(to_table([DOUBT, FATAL])) == [FATAL, DOUBT]
