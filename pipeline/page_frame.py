"""The frame of every HTML page of the project: one file, no network, no script; readable aloud, on a phone and on paper.

``templates/frame.html`` is the page, ``parts.html`` has the table that all of them use, ``page.css`` their one look.
Meaning is in words: neither colour nor place alone says anything.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from decimal import ROUND_HALF_UP, Decimal
from functools import lru_cache
from html import escape
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined

TEMPLATES = Path(__file__).parent / "templates"
# A page shows three significant digits: more would say that an interval is narrower than it is.
SHOWN_DIGITS = 3
SMALLEST_SHOWN = Decimal("0.001")
MINUS = "−"


@lru_cache(maxsize=1)
def environment() -> Environment:
    """The templates of the project; every text that they show is escaped, and a name that is missing stops the page."""
    made = Environment(loader=FileSystemLoader(TEMPLATES), autoescape=True, trim_blocks=True, lstrip_blocks=True,
                       undefined=StrictUndefined, keep_trailing_newline=True)
    made.globals["style"] = (TEMPLATES / "page.css").read_text(encoding="utf-8")
    return made


def rendered(template: str, **given) -> str:
    """A page from a template of the folder ``templates``."""
    return environment().get_template(template).render(**given)


def page(title: str, body: str) -> str:
    """The frame around ``body``, which is HTML already."""
    return rendered("plain.html", title=title, body=body)


def table(caption: str, heads: Sequence[tuple[str, bool]], rows: Iterable[str], kind: str = "") -> str:
    """A table in the common form: ``heads`` are texts with whether the column holds numbers, ``rows`` are HTML."""
    parts = environment().get_template("parts.html").module
    return str(parts.table(caption, list(heads), kind, rows=list(rows)))


def shown(number: float) -> str:
    """A number as pages show it: three significant digits, plain, with a comma at the thousands; "unknown" for none."""
    if number is None or math.isnan(number):
        return "unknown"
    exact = Decimal(f"{number:.10g}")
    if exact == 0:
        return "0"
    if abs(exact) < SMALLEST_SHOWN:
        return f"below {SMALLEST_SHOWN}"
    places = max(0, SHOWN_DIGITS - 1 - exact.adjusted())
    return f"{exact.quantize(Decimal(1).scaleb(-places), ROUND_HALF_UP):,f}".replace("-", MINUS)


class Datum:
    """A released value on a page: the text that is shown, with the value and the cell that it is from.

    ``cell`` is table, key of the row without its recipe, and column, with blanks between; the recipe stands
    in ``data-recipe`` of an element around it. ``potash verify`` holds text and value against that cell.
    """

    __slots__ = ("text", "value", "cell")

    def __init__(self, text: str, value: str, cell: str):
        self.text, self.value, self.cell = text, value, cell

    def __html__(self) -> str:
        return f'<data value="{escape(self.value)}" data-cell="{escape(self.cell)}">{escape(self.text)}</data>'

    def __str__(self) -> str:
        return self.text
