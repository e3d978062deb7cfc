"""The swap guard: the smallest change that puts a verdict right, against a brute force that shares none of its code."""

from __future__ import annotations

import itertools
import math
import random
import pandas as pd
import pytest
from changed_dishes import AUDIENCE, guarded, totals

from pipeline import job as jobs
from pipeline.root import ROOT
from pipeline.stages.restore import named_for
from pipeline.stages.trial import Change, Kitchen, tried
from pipeline.swaps_form import NOT_RESTORED, RANK, RESTORED

# Invented dishes around limits of the demo policy, of foods with much and with little potassium.
VEGETABLES = ("spinach", "potatoes, diced", "courgettes, sliced", "red peppers, diced", "leeks, sliced", "mushrooms, sliced", "parsnips, diced",
              "carrots, diced", "green beans", "white cabbage, shredded")
EXTRAS = ("cod fillet, skinned", "skinless chicken breast fillet", "salmon fillet, skinned", "beetroot, diced", "bananas, sliced")
Z95 = 1.6448536269514722


def dish(number: int, chance: random.Random) -> str:
    chosen = chance.sample(VEGETABLES, 4)
    lines = [f"{chance.choice((40, 60, 90, 140))} g {food}" for food in chosen]
    extra = f"{chance.choice((50, 70, 90, 120))} g {chance.choice(EXTRAS)}"
    listed = "".join(f'  - "{line}"\n' for line in [*lines, "1 tbsp olive oil"])
    return (f"id: dish-{number}\nname: Supper {number}\ncourse: main\nportions: {chance.choice((1, 2))}\nunits: uk\ningredients:\n{listed}"
            f'method: ["Fry everything in the oil for 10 minutes."]\nvariants: [{{id: more, name: With more, add: ["{extra}"]}}]\n')


@pytest.fixture(scope="module")
def made(tmp_path_factory) -> tuple[Kitchen, dict[str, pd.DataFrame]]:
    """Fifty generated recipes with a variant each."""
    chance = random.Random(4)
    path = tmp_path_factory.mktemp("generated") / "dishes.yaml"
    path.write_text("---\n".join(dish(number, chance) for number in range(50)), encoding="utf-8")
    return guarded(path)


# ---------------------------------------------------------------- brute force

class Plain:
    """One variant in plain numbers: what each line adds to a component, and how each input moves it."""

    def __init__(self, run: dict[str, pd.DataFrame], recipe_id: str, variant_id: str):
        def mine(name):
            return run[name][(run[name]["recipe_id"] == recipe_id) & (run[name]["variant_id"] == variant_id)]

        self.portions = float(mine("variants")["portions"].iloc[0])
        origin = dict(zip(run["lines"]["line_id"], run["lines"]["origin"]))
        self.grams = {row.line_no: row.edible_g for row in mine("settled").itertuples() if row.counted}
        self.free = [row.line_no for row in mine("settled").itertuples() if row.counted and origin[row.line_id] == "base"]
        inputs = run["inputs"].set_index("input_id")
        self.value, self.spread = inputs["value"].to_dict(), inputs["standard_uncertainty"].to_dict()
        self.weighed = run["weighed"].set_index("line_id").to_dict("index")
        self.routes = {(row.line_id, row.component): row for row in run["two_routes"].itertuples()}
        self.parts: dict[str, list] = {}
        for row in mine("contributions").itertuples():
            self.parts.setdefault(row.component, []).append(row)

    def interval(self, component: str, left: dict[int, float]) -> tuple[float, float]:
        """The 90 % interval of a portion with so much of the lines left (JCGM 100, first order; lognormal of that mean and variance)."""
        value, effects = 0.0, {}
        for row in self.parts[component]:
            times = left.get(row.line_no, 1.0)
            amount = row.amount * times
            value += amount
            measures = self.weighed[row.line_id]
            ids = [f"quantity:{row.line_id}", self.measure(row), f"density:{measures['density_id']}", f"edible:{measures['edible_id']}:{self.entry(row)}"]
            for name in ids:
                if self.value.get(name, 0) > 0:
                    effects[name] = effects.get(name, 0) + amount * self.spread[name] / self.value[name]
            for name, slope in ((row.composition_input, row.edible_g / 100 * row.retention_fraction), (row.match_input, row.edible_g / 100 * row.retention_fraction),
                                (row.retention_input, row.edible_g * row.value_per_100g / 100)):
                if name:
                    effects[name] = effects.get(name, 0) + times * slope * self.spread[name]
            route = self.routes.get((row.line_id, component))
            if route is not None and route.added_uncertainty > 0:
                effects[route.routes_input] = effects.get(route.routes_input, 0) + times * row.edible_g / 100 * route.added_uncertainty
        mean, deviation = value / self.portions, math.sqrt(sum(effect ** 2 for effect in effects.values())) / self.portions
        shape = math.log1p((deviation / mean) ** 2)
        middle = math.log(mean) - shape / 2
        return math.exp(middle - Z95 * math.sqrt(shape)), math.exp(middle + Z95 * math.sqrt(shape))

    def measure(self, row) -> str:
        start = f"measure:{self.weighed[row.line_id]['measure_id']}:"
        return next((name for name in (start + row.recipe_id, start + row.line_id) if name in self.value), "")

    def entry(self, row) -> str:
        return row.composition_input.split(":")[2] if row.composition_input else ""


def verdict(low: float, high: float, comparator: str, limit: float) -> str:
    near, far = (high, low) if comparator.startswith("<") else (low, high)
    keeps = (lambda end: end <= limit) if comparator.startswith("<") else (lambda end: end >= limit)
    return "holds" if keeps(near) else "uncertain" if keeps(far) else "fails"


def brute_force(plain: Plain, limits: list[dict], wanted: dict[str, str]) -> tuple[float, dict[int, float]] | None:
    """The first change that does, of all changes of up to three lines in quarters, fewest lines and then fewest grams first."""
    for count in (1, 2, 3):
        tried_here = []
        for chosen in itertools.combinations(plain.free, count):
            for left in itertools.product((0.75, 0.5, 0.25, 0.0), repeat=count):
                change = dict(zip(chosen, left, strict=True))
                tried_here.append((sum((1 - times) * plain.grams[number] for number, times in change.items()), change))
        for grams, change in sorted(tried_here, key=lambda one: one[0]):
            if all(RANK[verdict(*plain.interval(row["component"], change), row["comparator"], row["limit"])] >= RANK[wanted[row["claim"]]]
                   for row in limits):
                return grams, change
    return None


def test_on_fifty_generated_recipes_the_answer_is_that_of_brute_force(made):
    _, run = made
    outcomes = {RESTORED: 0, NOT_RESTORED: 0}
    for (recipe_id, variant_id), rows in run["swaps"].groupby(["recipe_id", "variant_id"]):
        first = rows.iloc[0]
        if first["outcome"] not in outcomes:
            continue
        broken = (rows["verdict_written"].map(RANK) < rows["verdict_base"].map(RANK))
        wanted = dict(zip(rows["claim"], rows["verdict_base"].where(broken, rows["verdict_written"])))
        plain = Plain(run, recipe_id, variant_id)
        expected = brute_force(plain, rows.to_dict("records"), wanted)
        assert (first["outcome"] == RESTORED) == (expected is not None), recipe_id
        outcomes[first["outcome"]] += 1
        if expected:
            assert first["taken_g"] == pytest.approx(expected[0]) and first["lines"].count(":") == len(expected[1]), recipe_id
    assert outcomes[RESTORED] >= 12 and outcomes[NOT_RESTORED] >= 5, outcomes


def test_each_answer_is_what_the_stages_say_of_the_recipe_written_so(made, tmp_path):
    """The figures of a swap are those of the same recipe written out with the changed amounts, through the same stages from its words on."""
    _, run = made
    swaps = run["swaps"][run["swaps"]["outcome"] == RESTORED]
    chosen = list(swaps.groupby("recipe_id"))[:8]
    texts = []
    for recipe_id, rows in chosen:
        left = {int(number): float(times) for number, times in (part.split(": ") for part in rows["lines"].iloc[0].split("; "))}
        lines = run["lines"][(run["lines"]["recipe_id"] == recipe_id) & (run["lines"]["variant_id"] == rows["variant_id"].iloc[0])]
        listed = "".join(f'  - "{_with(text, left.get(number, 1.0))}"\n' for number, text in zip(lines["line_no"], lines["text"]) if left.get(number, 1.0))
        portions = run["recipes"].set_index("recipe_id").at[recipe_id, "portions"]
        texts.append(f"id: {recipe_id}\nname: Written so\ncourse: main\nportions: {portions:g}\nunits: uk\ningredients:\n{listed}"
                     'method: ["Fry everything in the oil for 10 minutes."]\n')
    (tmp_path / "so.yaml").write_text("---\n".join(texts), encoding="utf-8")
    figures = totals(jobs.prepare_job(tmp_path / "so.yaml", "core"))["figures"].set_index("figure_id")
    for recipe_id, rows in chosen:
        for row in rows.itertuples():
            figure = figures.loc[f"{recipe_id}/base/{row.component}/portion"]
            assert (figure["value"], figure["low"], figure["high"]) == pytest.approx((row.value, row.low, row.high), rel=1e-9)


def _with(text: str, times: float) -> str:
    grams, _, food = text.partition(" g ")
    return text if times == 1.0 else f"{float(grams) * times:g} g {food}"


# ---------------------------------------------------------------- rules

def test_no_answer_touches_what_makes_the_variant_or_worsens_another_limit(made):
    _, run = made
    origin = dict(zip(run["lines"]["line_id"], run["lines"]["origin"]))
    for row in run["swaps"].itertuples():
        numbers = [part.split(": ")[0] for part in row.lines.split("; ") if part]
        assert all(origin[f"{row.recipe_id}/{row.variant_id}/{number}"] == "base" for number in numbers)
        if row.outcome == RESTORED:
            assert RANK[row.verdict] >= min(RANK[row.verdict_base], RANK[row.verdict_written])
            broken = RANK[row.verdict_written] < RANK[row.verdict_base]
            assert RANK[row.verdict] >= (RANK[row.verdict_base] if broken else RANK[row.verdict_written])


def test_a_trial_that_changes_nothing_gives_the_figures_of_the_variant(made):
    kitchen, run = made
    change = Change("dish-1", "more")
    told = tried([change], run, kitchen)
    mine = run["figures"][(run["figures"]["recipe_id"] == "dish-1") & (run["figures"]["variant_id"] == "more")].set_index(["component", "basis", "unit"])
    for row in told.figures.itertuples():
        expected = mine.loc[(row.component, row.basis, row.unit)]
        assert (row.value, row.low, row.high, row.status) == pytest.approx(tuple(expected[["value", "low", "high", "status"]]))


@pytest.mark.parametrize(("phrase", "name", "expected"), [
    ("long grain white rice", "Leek and rice soup", True), ("leeks", "Leek and rice soup", True), ("baby spinach", "Leek and rice soup", False),
    ("red onion", "Red pepper sauce", False), ("floury potatoes", "Potato salad", True), ("", "Soup", False),
])
def test_what_a_dish_is_named_for_is_not_left_out(phrase, name, expected):
    assert named_for(phrase, name) is expected


# ---------------------------------------------------------------- the demo: common practice, no source

@pytest.fixture(scope="module")
def demo() -> dict[str, pd.DataFrame]:
    """The demo dish of vegetables with leafy greens, and its variants with fish and with chicken."""
    return guarded(ROOT / "reference/demo/skerry-pepper-greens-rice.yaml")[1]


@pytest.mark.parametrize(("variant_id", "name"), [("with-cod", "With cod"), ("with-chicken", "With chicken")])
def test_with_fish_or_chicken_added_the_leafy_greens_come_out(demo, variant_id, name):
    rows = demo["swaps"][demo["swaps"]["variant_id"] == variant_id].set_index("claim")
    assert set(rows["outcome"]) == {RESTORED} and set(rows["verdict"]) == {"holds"}
    potassium = rows.loc["low-potassium"]
    assert potassium["verdict_written"] == "uncertain" and potassium["change"] == "leave out the baby spinach (70 g)"
    assert potassium["words"].startswith(f"{name}, greens kept: leave out the baby spinach (70 g), then potassium is ")
    assert potassium["words"].endswith(", within 600 for adults with kidney disease, not on dialysis, without diabetes")
