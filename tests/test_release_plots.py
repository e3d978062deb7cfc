"""Plots say what the tables say: read back from the drawing and from its words, withheld figures without a number."""

from __future__ import annotations

import math
import re
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import pandas as pd
import pytest
import release_example
import straight

from pipeline import job as jobs
from pipeline.lineage import Z90
from pipeline.stages import release_plot_drawing as drawing
from pipeline.stages import release_plot_pages as plotted
from pipeline.stages import release_plots
from pipeline.stages.conditions import plain
from pipeline.stages.release import changed_files, read_manifest, release

SVG = "{http://www.w3.org/2000/svg}"
ODD = "Mash $5_{a}^2$ & <b>100 %</b> \\n 🥕 \"x\" " + "Llanfairpwllgwyngyllgogerychwyrndrobwll" * 3
# Invented dishes: one line, many lines, poured away, no protein at all, unsettled, and a name that is no name.
COLLECTION = f"""
recipes:
  - id: one-line
    name: Grated carrots
    portions: 2
    ingredients: ["200 g carrots, grated"]
    method: [Toss the carrots in a bowl and serve.]
  - id: drained
    name: Potatoes and carrots
    portions: 4
    ingredients: ["600 g potatoes, peeled and diced", 300 g carrots, 100 g double cream]
    method: [Boil the potatoes and carrots for 15 minutes and drain., Stir in the cream.]
  - id: no-protein
    name: Sugared oil
    portions: 3
    ingredients: [30 g white sugar, 10 ml olive oil]
    method: [Stir and serve.]
  - id: unsettled
    name: Unsettled dish
    portions: 2
    ingredients: [100 g zorblefruit paste, 200 g white rice]
    method: [Boil the rice for 12 minutes and drain.]
  - id: many
    name: {ODD!r}
    portions: 6
    ingredients: [{", ".join(f"{20 + 7 * n} g {food}" for n, food in enumerate(
        ["carrots", "potatoes", "spinach", "onions", "white rice", "butter", "leeks", "cabbage"] * 5))}]
    method: [Simmer everything for 20 minutes.]
"""


@pytest.fixture(scope="module")
def frames(tmp_path_factory) -> dict[str, pd.DataFrame]:
    """The tables of a release of the collection, made by the stages themselves."""
    file = tmp_path_factory.mktemp("plots") / "dishes.yaml"
    file.write_text(COLLECTION, encoding="utf-8")
    return straight.tables(jobs.prepare_job(file, "core"))


@pytest.fixture(scope="module")
def cautions() -> pd.DataFrame:
    return pd.read_csv(Path(__file__).parents[1] / "reference" / "cautions.csv", dtype="str", keep_default_na=False)


@pytest.fixture(scope="module")
def pages(frames, cautions) -> dict[str, plotted.Page]:
    return {page.name: page for page in plotted.pages(frames, cautions)}


def figure_of(frames, recipe_id: str, component: str) -> pd.Series:
    figures = frames["figures"]
    return figures[figures["figure_id"] == f"{recipe_id}/base/{component}/portion"].iloc[0]


def words_of(svg: bytes) -> list[str]:
    return [text.text for text in ElementTree.fromstring(svg).iter(f"{SVG}text")]


def boxes(page: plotted.Page, kind: str) -> list[tuple[float, float, float, float]]:
    """(left, top, right, bottom) in inches of the boxes or intervals that were drawn, without those of the key."""
    with drawing.settings():
        patches = drawing.figure(page).findobj(lambda drawn: drawn.get_gid() == kind)
    if not patches:
        return []
    points = patches[0].get_path().vertices
    each = 5 if kind != "intervals" else 6
    found = [points[at:at + each] for at in range(0, len(points), each)]
    key = [name for name, words in zip(("bars", "stripes", "intervals"), page.key, strict=True) if words and page.rows]
    return [(one[:, 0].min(), -one[:, 1].max(), one[:, 0].max(), -one[:, 1].min()) for one in found][int(kind in key):]


# ---------------------------------------------------------------- the numbers

def test_bars_and_intervals_are_as_long_as_the_tables_say(frames, pages):
    """Read from the paths: what a column draws is the whole portion's bar times amount over figure."""
    parts = frames["contributions"]
    page = pages["drained-raw-to-plate"]
    bars, stripes, intervals = (boxes(page, kind) for kind in ("bars", "stripes", "intervals"))
    assert len(bars) == len(intervals) == 16  # the whole and three lines, in four columns
    for place, component in enumerate(plotted.COMPONENTS):
        figure = figure_of(frames, "drained", component)
        left, _, right, _ = bars[place]
        inches = (right - left) / figure["value"]
        low, high = intervals[place][0], intervals[place][2]
        assert (low - left, high - left) == pytest.approx((figure["low"] * inches, figure["high"] * inches))
        mine = parts[(parts["recipe_id"] == "drained") & (parts["component"] == component)].assign(plate=parts["amount"] / 4)
        drawn = sorted(bar[2] - bar[0] for bar in bars[4 + place::4])
        assert drawn == pytest.approx(sorted(mine["plate"] * inches))
        raw = mine["edible_g"] * mine["value_per_100g"] / 100 / 4
        gone = sorted([raw.sum() - mine["plate"].sum(), *(raw - mine["plate"])[(raw - mine["plate"]) > 1e-9]])
        found = sorted(one[2] - one[0] for one in stripes if left - 1e-6 < one[0] < left + 2.0)
        assert found == pytest.approx([amount * inches for amount in gone if amount > 1e-9])


def test_the_words_are_the_figures(frames, pages):
    for recipe_id in ("one-line", "drained", "many"):
        page = pages[f"{recipe_id}-raw-to-plate"]
        for place, component in enumerate(plotted.COMPONENTS):
            figure = figure_of(frames, recipe_id, component)
            said = f"{plain(figure['value'])} ({plain(figure['low'])} to {plain(figure['high'])}) {figure['unit']}"
            assert page.whole.cells[place].words[0] == said
            assert f"The whole portion: {said}" in page.description
            assert pages[f"{recipe_id}-uncertainties"].whole.cells[place].words[0] == said


def test_what_is_poured_away_is_said(frames, pages):
    parts = frames["contributions"]
    one = parts[(parts["line_id"] == "drained/base/1") & (parts["component"] == "K")].iloc[0]
    raw = one["edible_g"] * one["value_per_100g"] / 100 / 4
    assert one["amount"] / 4 < 0.95 * raw
    row = next(row for row in pages["drained-raw-to-plate"].rows if row.label.startswith("600 g potatoes"))
    assert row.cells[0].words[1] == f"{plain(raw - one['amount'] / 4)} of {plain(raw)} poured away"
    assert all(len(cell.words) == 1 for cell in pages["one-line-raw-to-plate"].whole.cells)


@pytest.mark.parametrize(("line_id", "component", "place"), [("drained/base/2", "K", 0), ("drained/base/1", "P", 1)])
def test_the_interval_of_a_line_follows_from_its_inputs(frames, pages, line_id, component, place):
    """By the law of propagation, written out: the relative uncertainties of a line's factors, in squares."""
    here = {name: frames[name][frames[name]["line_id"] == line_id] for name in ("contributions", "weighed", "lines", "two_routes")}
    weighed, line = here["weighed"].iloc[0], here["lines"].iloc[0]
    part = here["contributions"].set_index("component").loc[component]
    ids = {f"quantity:{line_id}", f"measure:{weighed['measure_id']}:{line_id}", f"edible:{weighed['edible_id']}:{line['entry_id']}",
           *(part[name] for name in ("composition_input", "match_input", "retention_input"))}
    inputs = frames["inputs"][frames["inputs"]["input_id"].isin(ids)]
    routes = here["two_routes"][here["two_routes"]["component"] == component]["added_uncertainty"].sum()
    variance = ((inputs["standard_uncertainty"] / inputs["value"]) ** 2).sum()
    variance += (routes / part["value_per_100g"] / part["retention_fraction"]) ** 2
    assert len(inputs) >= 3 and variance > 0
    sigma, amount = math.sqrt(math.log1p(variance)), part["amount"] / 4
    cell = next(row for row in pages["drained-raw-to-plate"].rows if row.label == line["text"]).cells[place]
    ends = [amount / math.sqrt(1 + variance) * math.exp(sign * Z90 * sigma) for sign in (-1, 1)]
    assert (cell.low, cell.high) == pytest.approx(ends)


def test_a_dish_of_one_line_has_the_interval_of_its_figure(frames, pages):
    page = pages["one-line-raw-to-plate"]
    assert [row.label for row in page.rows] == ["200 g carrots, grated"]
    for place, component in enumerate(plotted.COMPONENTS):
        figure, cell = figure_of(frames, "one-line", component), page.rows[0].cells[place]
        assert (cell.bar, cell.low, cell.high) == pytest.approx((figure["value"], figure["low"], figure["high"]))


def test_shares_are_those_of_the_release_and_add_up(frames, pages):
    released = frames["shares"].query("recipe_id == 'drained' and variant_id == 'base' and component == 'K'")
    largest = released.sort_values("share").iloc[-1]
    page = pages["drained-uncertainties"]
    bars = boxes(page, "bars")
    width = 100 / max(cell.bar for row in page.rows for cell in row.cells if cell.bar > 0)
    assert max(row.cells[0].bar for row in page.rows) == pytest.approx(100 * largest["share"])
    longest = max(bar[2] - bar[0] for bar in bars) * width  # what 100 % would be, in inches
    for place in range(4):
        shares = [row.cells[place].bar for row in page.rows if row.cells[place].bar > 0]
        assert 100 - 0.1 * len(page.rows) <= sum(shares) <= 100 + 1e-6  # what is under 0.1 % has no bar
        lefts = {bar[0] for bar in bars}
        mine = [bar[2] - bar[0] for bar in bars if bar[0] == sorted(lefts)[place]]
        assert sorted(mine) == pytest.approx(sorted(share / 100 * longest for share in shares))


# ---------------------------------------------------------------- withheld, to check, zero, missing

def test_a_withheld_dish_shows_no_number(frames, pages):
    reason = figure_of(frames, "unsettled", "K")["reason"]
    assert reason
    for name in ("unsettled-raw-to-plate", "unsettled-uncertainties"):
        page = pages[name]
        assert all(column.note == f"WITHHELD: {reason}" for column in page.columns) and page.rows == ()
        assert [boxes(page, kind) for kind in ("bars", "stripes", "intervals")] == [[], [], []]
        drawn = drawing.draw(page)["svg"]
        rest = " ".join(words_of(drawn)).replace(page.subtitle, "")
        assert rest.count("WITHHELD:") == 4
        said = page.description.replace(page.subtitle, "").replace(reason, "")
        assert re.findall(r"\d", said) == [] and said.count("WITHHELD:") == 4
        shown = re.sub(r"\s+", " ", rest)
        assert re.findall(r"\d+", shown) == re.findall(r"\d+", reason) * 4


def test_one_withheld_column_shows_no_number(frames, cautions):
    figures = frames["figures"].copy()
    held = figures["figure_id"] == "drained/base/K/portion"
    figures.loc[held, ["value", "low", "high"]] = float("nan")
    figures.loc[held, ["status", "reason"]] = ["withheld", "a value is missing"]
    for page in plotted.pages({**frames, "figures": figures}, cautions):
        if page.name.startswith("drained"):
            assert page.columns[0].note == "WITHHELD: a value is missing"
            assert {row.cells[0].words for row in (page.whole, *page.rows)} == {("withheld",)}
            assert all(math.isnan(row.cells[0].bar) and row.cells[0].most == 0 for row in page.rows)
            assert "Potassium: WITHHELD: a value is missing. Phosphorus" in page.description
            lefts = sorted({round(bar[0], 6) for bar in boxes(page, "bars")})
            assert len(lefts) == 3


def test_a_figure_to_check_says_so(frames, cautions):
    figures = frames["figures"].copy()
    figures.loc[figures["figure_id"] == "one-line/base/NA/portion", ["status", "reason"]] = ["check", "wide interval"]
    page = next(page for page in plotted.pages({**frames, "figures": figures}, cautions) if page.name == "one-line-raw-to-plate")
    assert page.columns[2].note == "TO CHECK: wide interval"
    assert "TO CHECK: wide interval" in words_of(drawing.draw(page)["svg"])


def test_nothing_is_drawn_as_nothing(frames, pages):
    assert figure_of(frames, "no-protein", "PROCNT")["value"] == 0
    page = pages["no-protein-raw-to-plate"]
    assert page.whole.cells[3].words == ("0 g",) and page.whole.cells[3].most == 0
    assert {row.cells[3].most for row in page.rows} == {0}
    assert pages["no-protein-uncertainties"].whole.cells[3].words == ("0 g", "an interval without width")


def test_a_missing_value_is_not_zero(frames, cautions):
    parts = frames["contributions"].copy()
    gone = (parts["line_id"] == "drained/base/2") & (parts["component"] == "K")
    parts.loc[gone, ["value_per_100g", "amount"]] = float("nan")
    parts.loc[gone, "value_type"] = "missing"
    page = next(page for page in plotted.pages({**frames, "contributions": parts}, cautions) if page.name == "drained-raw-to-plate")
    row = next(row for row in page.rows if row.label == "300 g carrots")
    assert row.cells[0].words == ("no value in the table",) and row.cells[0].most == 0
    assert row.cells[1].most > 0


@pytest.mark.parametrize(("amount", "text"), [(0.0, "0"), (0.0004, "<0.001"), (0.00307, "0.0031"), (0.01234567, "0.01235"), (461.27, "461.3")])
def test_next_to_nothing_is_short_and_never_nothing(amount, text):
    assert plotted._short(amount) == text


# ---------------------------------------------------------------- to be read

def test_many_lines_stay_legible_and_lose_nothing(frames, pages):
    page = pages["many-raw-to-plate"]
    assert len(page.rows) == plotted.MOST_ROWS + 1
    assert page.rows[-1].label == f"{40 - plotted.MOST_ROWS} other lines together"
    for place, component in enumerate(plotted.COMPONENTS):
        whole = figure_of(frames, "many", component)["value"]
        assert sum(row.cells[place].bar for row in page.rows) == pytest.approx(whole)


def test_no_text_lies_on_another_or_off_the_page(pages):
    from matplotlib.text import Text

    for page in pages.values():
        with drawing.settings():
            drawn = drawing.figure(page)
            texts = drawn.findobj(Text)
            spans = [text.get_window_extent().padded(-0.5) for text in texts]
        assert len(texts) > 8 and min(text.get_fontsize() for text in texts) >= 7
        width, height = drawn.bbox.size
        for number, (text, span) in enumerate(zip(texts, spans, strict=True)):
            assert 0 < span.x0 and span.x1 < width and 0 < span.y0 and span.y1 < height, (page.name, text.get_text())
            for other, another in zip(texts[:number], spans[:number], strict=True):
                apart = span.x1 < another.x0 or another.x1 < span.x0 or span.y1 < another.y0 or another.y1 < span.y0
                assert apart, (page.name, text.get_text(), other.get_text())


def test_every_plot_has_its_words_and_its_cautions(pages, cautions):
    defer = cautions.set_index("caution_id")["text"]["defer-to-dietitian"]
    for page in pages.values():
        files = drawing.draw(page)
        tree = ElementTree.fromstring(files["svg"])
        title, description = tree[0], tree[1]
        assert (title.tag, description.tag, tree.get("role")) == (f"{SVG}title", f"{SVG}desc", "img")
        assert tree.get("aria-labelledby").split() == [title.get("id"), description.get("id")]
        assert description.text == drawing._clean(page.description)
        drawn = words_of(files["svg"])
        assert defer in " ".join(drawn)
        assert {words for row in (page.whole, *page.rows) for cell in row.cells for words in cell.words} <= set(drawn)  # none cut off
        assert files["png"].startswith(b"\x89PNG") and b"Description" in files["png"]


def test_a_name_with_odd_marks_does_no_harm(pages):
    page = pages["many-raw-to-plate"]
    assert "$5_{a}^2$ & <b>100 %</b>" in page.title
    svg = drawing.draw(page)["svg"]
    assert "Mash $5_{a}^2$ & <b>100 %</b>" in " ".join(words_of(svg)) and "🥕" in " ".join(words_of(svg))
    assert drawing._clean("a\x00b\ud83ec\u202ed\n e") == "a b c d e"


# ---------------------------------------------------------------- the same bytes, and not drawn twice

def test_the_same_page_gives_the_same_bytes_in_another_process_with_other_settings(pages, tmp_path):
    import hashlib
    import pickle

    page = pages["many-raw-to-plate"]
    (tmp_path / "page").write_bytes(pickle.dumps(page))
    (tmp_path / "matplotlibrc").write_text("font.size: 30\nsvg.fonttype: path\nsavefig.dpi: 300\nlines.linewidth: 9\nhatch.color: red\n")
    code = ("import hashlib, pickle, sys; from pipeline.stages.release_plot_drawing import draw; "
            "files = draw(pickle.load(open('page', 'rb'))); print(*(hashlib.sha256(files[one]).hexdigest() for one in ('svg', 'png')))")
    # Run where that matplotlibrc lies: matplotlib reads the one of its working folder first.
    again = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, check=True,
                           env={"PYTHONPATH": str(Path(__file__).parents[1]), "PYTHONHASHSEED": "7", "HOME": str(tmp_path)})
    files = drawing.draw(page)
    assert again.stdout.split() == [hashlib.sha256(files[one]).hexdigest() for one in ("svg", "png")]


def test_a_kept_plot_is_not_drawn_again_and_a_damaged_one_is(frames, cautions, tmp_path, monkeypatch):
    few = {**frames, "recipes": frames["recipes"][frames["recipes"]["recipe_id"] == "one-line"]}
    first = release_plots.plots(few, cautions, tmp_path / "kept")
    assert sorted(first) == [f"plots/one-line-{name}.{ending}" for name in ("raw-to-plate", "uncertainties") for ending in ("png", "svg")]
    drawn = []
    monkeypatch.setattr(release_plots, "draw", lambda page: drawn.append(page.name) or drawing.draw(page))
    monkeypatch.setattr(release_plots.content, "code_files", lambda function, real=release_plots.content.code_files: real(drawing.draw))
    assert release_plots.plots(few, cautions, tmp_path / "kept") == first and drawn == []
    kept = sorted((tmp_path / "kept").iterdir())
    assert len(kept) == 2
    kept[0].write_bytes(kept[0].read_bytes()[:-8])
    assert release_plots.plots(few, cautions, tmp_path / "kept") == first and len(drawn) == 1
    renamed = few["recipes"].assign(name="Carrots")
    assert release_plots.plots({**few, "recipes": renamed}, cautions, tmp_path / "kept") != first and len(drawn) == 3


def test_tables_without_what_a_plot_needs_give_no_plot(frames, cautions):
    assert release_plots.plots({name: table for name, table in frames.items() if name != "weighed"}, cautions) == {}


def test_plots_belong_to_the_release_and_a_changed_one_is_found(frames, cautions, tmp_path):
    meta = release_example.meta(cautions=cautions)
    made = release(frames, meta, tmp_path / "output", release_example.PASSED, plots=release_plots.plots).folder
    listed = {row["path"] for row in read_manifest(made)["outputs"]}
    assert len([path for path in listed if path.startswith("plots/")]) == 4 * 5 and changed_files(made) == []
    assert "plots/" in (made / "README.txt").read_text()
    (made / "plots" / "drained-raw-to-plate.svg").write_text("<svg/>")
    assert ["drained-raw-to-plate.svg" in problem.where for problem in changed_files(made)] == [True]
    without = release(frames, meta, tmp_path / "without", release_example.PASSED).folder
    assert not (without / "plots").exists() and "plots/" not in (without / "README.txt").read_text()
