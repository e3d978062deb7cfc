"""Puts a page of :mod:`release_plot_pages` on paper, as SVG and PNG: black on white, and nothing told by colour alone.

The same page gives the same bytes: the fonts are those that come with matplotlib, its own settings and no
user's are in force, and no moment is written. Lengths are in inches, downwards from the top of the page.
"""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape

from pipeline.composition.check_plots import BAR, INK
from pipeline.stages.conditions import plain
from pipeline.stages.release_plot_pages import Cell, Column, Page, Row

if TYPE_CHECKING:
    from matplotlib.figure import Figure

PAPER, GRID = "#ffffff", "#d0d0d0"
WIDTH, MARGIN, GAP = 11.3, 0.3, 0.16  # A4 on its side, less what printers leave white
LABELS = 2.55  # the width of the labels' column
DOTS_PER_INCH = 110
TITLE, HEAD, SMALL = 14.0, 9.5, 7.5  # points
LINE = 0.135  # from one line of small text to the next
BAR_AT, BAR_TALL, LABEL_AT, WORDS_AT = 0.07, 0.12, 0.17, 0.31  # of a row: the bar, the first baselines of label and words
LABEL_LINES, NOTE_LINES, TITLE_LINES = 2, 6, 2
SETTINGS = {
    "svg.hashsalt": "potash", "svg.fonttype": "none", "hatch.linewidth": 0.6, "font.serif": ["DejaVu Serif", "Georgia"],
    "font.sans-serif": ["DejaVu Sans", "Verdana"], "path.simplify": False, "backend": "agg"}
FACES = {("sans-serif", "normal"): "DejaVuSans.ttf", ("sans-serif", "bold"): "DejaVuSans-Bold.ttf", ("serif", "bold"): "DejaVuSerif-Bold.ttf"}
POINTS = 72
ANCHORS = {"left": "ls", "center": "ms", "right": "rs"}  # Pillow's words: left, middle, right of the baseline


def draw(page: Page) -> dict[str, bytes]:
    """The page as ``svg`` and ``png``, each with the page in words (title and description) for who does not see it."""
    title, description = _clean(f"{page.title}. {page.subtitle}"), _clean(page.description)
    with settings():
        drawn = figure(page)
        svg = io.StringIO()
        drawn.savefig(svg, format="svg", metadata={"Date": None})
        return {"svg": _with_words(svg.getvalue(), title, description).encode(), "png": _png(drawn, title, description)}


def _png(drawn: Figure, title: str, description: str) -> bytes:
    """In greys. Lines and boxes by matplotlib, the letters by Pillow: the same letters in a tenth of the time."""
    from matplotlib.text import Text
    from PIL import Image, ImageDraw
    from PIL.PngImagePlugin import PngInfo

    texts = drawn.findobj(Text)
    for text in texts:
        text.set_visible(False)
    drawn.set_dpi(DOTS_PER_INCH)
    drawn.canvas.draw()
    image = Image.frombuffer("RGBA", drawn.canvas.get_width_height(), drawn.canvas.buffer_rgba()).convert("L")
    pen = ImageDraw.Draw(image)
    for text in texts:
        across, up = text.get_transform().transform(text.get_unitless_position())
        font = text.get_fontproperties()
        pen.text((across, image.height - up), text.get_text(), fill=text.get_color(), anchor=ANCHORS[text.get_ha()],
                 font=_letters(font.get_file(), font.get_size()))
    told = PngInfo()
    told.add_text("Title", title)
    told.add_text("Description", description)
    out = io.BytesIO()
    image.save(out, "PNG", pnginfo=told, dpi=(DOTS_PER_INCH, DOTS_PER_INCH))
    return out.getvalue()


@cache
def _letters(file: str, size: float):
    from PIL import ImageFont

    return ImageFont.truetype(file, size * DOTS_PER_INCH / POINTS, layout_engine=ImageFont.Layout.BASIC)


@contextmanager
def settings() -> Iterator[None]:
    """matplotlib's own settings and ours, whatever the user has set. Loaded here: only a run that draws needs it."""
    import matplotlib

    with matplotlib.rc_context({**matplotlib.rcParamsDefault, **SETTINGS}), warnings.catch_warnings():
        # An emoji has no letter in these fonts: a reader of the SVG has one that does, the PNG shows a box.
        warnings.filterwarnings("ignore", "Glyph .* missing from font")
        yield


def figure(page: Page) -> Figure:
    """The page as a matplotlib figure. Its paths have the ids ``bars``, ``stripes``, ``intervals``; in their order
    every cell that is drawn is in them once."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    sheet = _Sheet()
    tall = _page(sheet, page)
    made = Figure(figsize=(WIDTH, tall), facecolor=PAPER)
    FigureCanvasAgg(made)
    sheet.put_on(made, tall)
    return made


# ---------------------------------------------------------------- what goes on the sheet

@dataclass(frozen=True)
class _Words:
    across: float
    down: float
    text: str
    size: float = SMALL
    align: str = "left"
    weight: str = "normal"
    family: str = "sans-serif"


@dataclass
class _Sheet:
    """What is drawn, kind by kind: all rectangles of a kind are one path, which is quick and keeps the files small."""

    bars: list[tuple[float, float, float, float]] = field(default_factory=list)
    stripes: list[tuple[float, float, float, float]] = field(default_factory=list)
    intervals: list[tuple[float, float, float]] = field(default_factory=list)
    rules: list[tuple[float, float, float, float]] = field(default_factory=list)
    grid: list[tuple[float, float, float, float]] = field(default_factory=list)
    words: list[_Words] = field(default_factory=list)

    def put_on(self, drawn: Figure, tall: float) -> None:
        from matplotlib.patches import PathPatch
        from matplotlib.path import Path as Outline
        from matplotlib.text import Text

        cap = BAR_TALL / 3
        ends = [one for low, high, down in self.intervals for one in (
            (low, down, high, down), (low, down - cap, low, down + cap), (high, down - cap, high, down + cap))]
        # In the order of painting. The white line lets an interval be seen on a bar.
        for name, lines, boxes, looks in (
            ("grid", self.grid, (), {"edgecolor": GRID, "linewidth": 0.6}),
            ("bars", (), self.bars, {"facecolor": BAR, "edgecolor": INK, "linewidth": 0.6}),
            ("stripes", (), self.stripes, {"facecolor": PAPER, "edgecolor": INK, "linewidth": 0.6, "hatch": "//////"}),
            ("below-intervals", ends, (), {"edgecolor": PAPER, "linewidth": 2.6}),
            ("intervals", ends, (), {"edgecolor": INK, "linewidth": 1.1}),
            ("rules", self.rules, (), {"edgecolor": INK, "linewidth": 0.9}),
        ):
            corners = [((a, tall - b), (c, tall - d)) for a, b, c, d in lines]
            corners += [((a, tall - b), (c, tall - b), (c, tall - d), (a, tall - d), (a, tall - b)) for a, b, c, d in boxes]
            if corners:
                codes = [code for one in corners for code in (Outline.MOVETO, *[Outline.LINETO] * (len(one) - 1))]
                path = Outline([point for one in corners for point in one], codes)
                drawn.add_artist(PathPatch(path, transform=drawn.dpi_scale_trans, gid=name, **{"facecolor": "none", **looks}))
        for one in self.words:
            drawn.add_artist(Text(
                one.across, tall - one.down, one.text, color=INK, ha=one.align, va="baseline", parse_math=False,
                fontproperties=_font(one.family, one.weight, one.size), transform=drawn.dpi_scale_trans))


# ---------------------------------------------------------------- the page, from the top

def _page(sheet: _Sheet, page: Page) -> float:
    """Fills the sheet; returns how tall it is."""
    down = MARGIN
    for text in _wrapped(page.title, WIDTH - 2 * MARGIN, TITLE, TITLE_LINES, "serif", "bold"):
        sheet.words.append(_Words(MARGIN, down + 0.16, text, TITLE, weight="bold", family="serif"))
        down += 0.25
    sheet.words.append(_Words(MARGIN, down + 0.13, page.subtitle, HEAD))
    down = _key(sheet, page.key if page.rows else (), down + 0.3)
    width = (WIDTH - 2 * MARGIN - LABELS) / len(page.columns) - GAP
    lefts = [MARGIN + LABELS + GAP + place * (width + GAP) for place in range(len(page.columns))]
    sheet.rules.append((MARGIN, down, WIDTH - MARGIN, down))
    down = _heads(sheet, page.columns, lefts, width, down + 0.2)
    scales = [_Scale(left, width, _most(page, place)) for place, left in enumerate(lefts)]
    grid_top = down
    down = _row(sheet, page.whole, scales, down, strong=True)
    if page.rows:
        sheet.rules.append((MARGIN, down - 0.02, WIDTH - MARGIN, down - 0.02))
    for row in page.rows:
        down = _row(sheet, row, scales, down)
    down = _axes(sheet, page.columns, scales, grid_top, down)
    sheet.rules.append((MARGIN, down, WIDTH - MARGIN, down))
    down += 0.17
    for text in _wrapped(" ".join(page.cautions), WIDTH - 2 * MARGIN, SMALL, len(page.description)):
        sheet.words.append(_Words(MARGIN, down, text))
        down += LINE
    return down + MARGIN - LINE


def _key(sheet: _Sheet, key: Sequence[str], down: float) -> float:
    """Small samples with their meaning."""
    across, middle = MARGIN, down - 0.035
    box = (0.34, BAR_TALL / 2)
    for words, kind in zip(key, ("bars", "stripes", "intervals"), strict=False):
        if not words:
            continue
        sample = (across, middle - box[1], across + box[0], middle + box[1])
        if kind == "intervals":
            sheet.intervals.append((across, across + box[0], middle))
        else:
            getattr(sheet, kind).append(sample)
        sheet.words.append(_Words(across + box[0] + 0.07, down, words))
        across += box[0] + 0.3 + _width(words, SMALL)
    return down + 0.13


def _heads(sheet: _Sheet, columns: Sequence[Column], lefts: Sequence[float], width: float, down: float) -> float:
    deepest = down
    for column, left in zip(columns, lefts, strict=True):
        sheet.words.append(_Words(left, down, column.name, HEAD, weight="bold"))
        for place, text in enumerate(_wrapped(column.note, width, SMALL, NOTE_LINES, weight="bold"), start=1):
            sheet.words.append(_Words(left, down + place * LINE + 0.02, text, weight="bold"))
            deepest = max(deepest, down + place * LINE + 0.02)
    return deepest + 0.1


@dataclass(frozen=True)
class _Scale:
    """Amounts of one column as places on the page; it begins at 0, always."""

    left: float
    width: float
    most: float

    def at(self, amount: float) -> float:
        return self.left + self.width * amount / self.most if self.most else self.left


def _most(page: Page, place: int) -> float:
    return page.columns[place].most or max(row.cells[place].most for row in (page.whole, *page.rows))


def _row(sheet: _Sheet, row: Row, scales: Sequence[_Scale], down: float, strong: bool = False) -> float:
    weight = "bold" if strong else "normal"
    label = _wrapped(row.label, LABELS - GAP, SMALL, LABEL_LINES, weight=weight)
    drawn = any(cell.most > 0 for cell in row.cells)
    first = WORDS_AT if drawn else LABEL_AT
    for place, text in enumerate(label):
        sheet.words.append(_Words(MARGIN + LABELS - GAP / 2, down + LABEL_AT + place * LINE, text, align="right", weight=weight))
    for cell, scale in zip(row.cells, scales, strict=True):
        _cell(sheet, cell, scale, down + BAR_AT)
        for place, text in enumerate(cell.words):
            thick = weight if place == 0 else "normal"
            fitting = _wrapped(text, scale.width + GAP / 2, SMALL, 1, weight=thick)
            sheet.words += [_Words(scale.left, down + first + place * LINE, one, weight=thick) for one in fitting]
    lines = max(len(cell.words) for cell in row.cells)
    return down + max(first + (lines - 1) * LINE, LABEL_AT + (len(label) - 1) * LINE) + LINE


def _cell(sheet: _Sheet, cell: Cell, scale: _Scale, top: float) -> None:
    bottom = top + BAR_TALL
    if cell.bar > 0:
        sheet.bars.append((scale.left, top, scale.at(cell.bar), bottom))
    if cell.end > cell.bar:
        sheet.stripes.append((scale.at(cell.bar), top, scale.at(cell.end), bottom))
    if cell.high > cell.low:
        sheet.intervals.append((scale.at(cell.low), scale.at(cell.high), (top + bottom) / 2))


def _axes(sheet: _Sheet, columns: Sequence[Column], scales: Sequence[_Scale], top: float, bottom: float) -> float:
    """The scale of every column below its rows, and lines up through them."""
    from matplotlib.ticker import MaxNLocator

    for column, scale in zip(columns, scales, strict=True):
        if not scale.most or column.is_withheld:
            continue
        ticks = [tick for tick in MaxNLocator(3, steps=[1, 2, 5, 10]).tick_values(0, scale.most) if tick <= scale.most]
        for tick in ticks:
            sheet.grid.append((scale.at(tick), top, scale.at(tick), bottom))
            text = f"{plain(tick)} {column.unit}" if tick == ticks[-1] else plain(tick)
            at, half = scale.at(tick), _width(text, SMALL) / 2
            align = "left" if not tick else "right" if at + half > scale.left + scale.width else "center"
            sheet.words.append(_Words(at, bottom + LINE, text, align=align))
    return bottom + LINE + 0.09


# ---------------------------------------------------------------- text that fits

def _wrapped(text: str, width: float, size: float, most: int, family: str = "sans-serif", weight: str = "normal") -> list[str]:
    """The text in at most ``most`` lines of this width (inches); what does not fit ends in an ellipsis."""
    lines, line = [], ""
    for word in _pieces(_clean(text), width, size, family, weight):
        longer = f"{line} {word}".lstrip()
        if line and _width(longer, size, family, weight) > width:
            lines.append(line)
            line = word
        else:
            line = longer
    lines += [line] if line else []
    if len(lines) <= most:
        return lines
    last = lines[most - 1]
    while last and _width(last + "…", size, family, weight) > width:
        last = last[:-1]
    return [*lines[:most - 1], last.rstrip(" ,;") + "…"]


def _pieces(text: str, width: float, size: float, family: str, weight: str) -> Iterator[str]:
    """The words; one that is wider than a line in pieces."""
    for word in text.split():
        while _width(word, size, family, weight) > width and len(word) > 1:
            fits = max(1, next(count for count in range(len(word), -1, -1) if _width(word[:count], size, family, weight) <= width))
            yield word[:fits]
            word = word[fits:]
        yield word


def _width(text: str, size: float, family: str = "sans-serif", weight: str = "normal") -> float:
    """Inches; without kerning, so never too small."""
    return sum(_advance(mark, family, weight) for mark in text) * size / POINTS


@cache
def _advance(mark: str, family: str, weight: str) -> float:
    """The width of a character in parts of the font's size; one that the font lacks is taken to be as wide as that."""
    from matplotlib.ft2font import LoadFlags

    font = _face(family, weight)
    if not font.get_char_index(ord(mark)):
        return 1.0
    return font.load_char(ord(mark), flags=LoadFlags.NO_SCALE).horiAdvance / font.units_per_EM


@cache
def _face(family: str, weight: str):
    from matplotlib.ft2font import FT2Font

    return FT2Font(str(_file(family, weight)))


@cache
def _font(family: str, weight: str, size: float):
    from matplotlib.font_manager import FontProperties

    return FontProperties(family=[family], weight=weight, size=size, fname=str(_file(family, weight)))


def _file(family: str, weight: str) -> Path:
    import matplotlib

    return Path(matplotlib.get_data_path()) / "fonts" / "ttf" / FACES[family, weight]


def _clean(text: str) -> str:
    """Without what cannot be drawn or stand in XML: control marks, halves of surrogate pairs, line breaks."""
    return " ".join("".join(mark if mark.isprintable() else " " for mark in text).split())


# ---------------------------------------------------------------- the words of an SVG

def _with_words(svg: str, title: str, description: str) -> str:
    """Title and description as the first things in the SVG, where readers of screens look for them (SVG 1.1, 5.4)."""
    body = re.sub(r"\s*<metadata>.*?</metadata>", "", svg, count=1, flags=re.S)
    head = re.search(r"<svg\b[^>]*>", body)
    opened = head.group()[:-1] + ' role="img" aria-labelledby="plot-title plot-description">'
    told = f'\n <title id="plot-title">{escape(title)}</title>\n <desc id="plot-description">{escape(description)}</desc>'
    return body[:head.start()] + opened + told + body[head.end():]
