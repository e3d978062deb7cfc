"""Tins that the method drains. By hand; common practice, no source."""

import pandas as pd
import pytest

from pipeline.stages.tins_drained import drained_by_method


def states(foods, method):
    """The state of each (phrase, state, unit) after the method."""
    ids = [f"r/base/{n}" for n in range(len(foods))]
    parsed = pd.DataFrame({"line_id": ids, "phrase": [food[0] for food in foods], "state": [food[1] for food in foods],
                           "unit": [food[2] for food in foods], "each_unit": ""})
    lines = pd.DataFrame({"line_id": ids, "recipe_id": "r", "variant_id": "base"})
    steps = pd.DataFrame({"recipe_id": "r", "variant_id": "base", "step_no": [1], "text": [method]})
    return drained_by_method(parsed, lines, steps)["state"].tolist()


CHICKPEAS, TOMATOES, SWEETCORN = ("chickpeas", "canned", "tin"), ("plum tomatoes", "canned", "tin"), ("sweetcorn", "canned", "tin")


@pytest.mark.parametrize(("foods", "method", "expected"), [
    ([CHICKPEAS, TOMATOES], "Drain and rinse the chickpeas, then add with the tomatoes.", ["drained", "canned"]),
    ([CHICKPEAS], "Add the drained chickpeas and simmer for 10 minutes.", ["drained"]),
    ([CHICKPEAS, SWEETCORN], "Drain the chickpeas and the sweetcorn, and mix.", ["drained", "drained"]),
    ([CHICKPEAS], "Drain the chickpeas, discarding the liquid.", ["drained"]),
    ([CHICKPEAS], "Drain the chickpeas, reserving the liquid for the sauce.", ["canned"]),
    ([CHICKPEAS], "Do not drain the chickpeas.", ["canned"]),
    ([CHICKPEAS, ("spaghetti", "", "g")], "Drain the spaghetti and stir in the chickpeas.", ["canned", ""]),
    ([("kidney beans", "canned", "tin"), ("green beans", "", "g")], "Boil the green beans, drain the beans and add to the pan.", ["canned", ""]),
    ([("chickpeas", "dried", "g")], "Soak overnight and drain the chickpeas.", ["dried"]),
])
def test_a_tin_is_drained_where_the_words_plainly_say_so(foods, method, expected):
    assert states(foods, method) == expected
