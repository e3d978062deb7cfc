"""The pages of a release, read back: every number and verdict on them is the released one, and none of those that must stand there is missing.

A page marks each with the element ``data``: its ``value`` has to be the cell that ``data-cell`` names, to the last
digit, and the text that a reader sees has to be that number, rounded to its own last place and to no fewer than three
digits, or the word for it.
"""

from __future__ import annotations

from decimal import Decimal
from html.parser import HTMLParser
from pathlib import Path
from typing import NamedTuple

from pipeline.verify_files import Rows, path_of
from pipeline.verify_report import Ledger

FOLDER, INDEX = "pages", "index"
DIGITS = 3
WORDS = {
    "holds": "holds", "uncertain": "uncertain", "fails": "fails", "not-assessable": "cannot be judged", "ready": "ready", "check": "to check",
    "withheld": "withheld", "accepted": "settled", "review": "to review", "none": "no entry", "not-food": "not food", "suits": "suits",
    "does-not-suit": "does not suit", "unknown": "unknown", "contains": "contains", "may-contain-through": "may contain", "not-assessed": "not assessed",
}
# Columns that a page shows in their own words: what to leave out, what to add, what print says and what to print instead.
SENTENCES = ("change", "line", "says", "today", "correction")
# What a recipe's page has to show of every variant, and what of the recipe as written alone.
COMPARED = (("K", "mg"), ("P", "mg"), ("NA", "mg"), ("PROCNT", "g"), ("ENERC", "kcal"))
ALSO_AS_WRITTEN = (("NACL", "g"), ("ENERC", "kJ"), ("FAT", "g"), ("FASAT", "g"), ("CHOAVLDF", "g"), ("SUGAR", "g"), ("FIBTG", "g"), ("CA", "mg"),
                   ("WATER", "g"))


class Shown(NamedTuple):
    """One ``data`` element: the recipe it is about, the cell it names, its value and its text."""

    recipe_id: str
    cell: str
    value: str
    text: str


class _Reader(HTMLParser):
    """Collects the ``data`` elements of a page with the recipe of the nearest element around each."""

    def __init__(self, page: str):
        super().__init__()
        self.shown: list[Shown] = []
        self._recipes: list[tuple[str, str]] = []
        self._open: tuple[str, str, str] | None = None
        self._text = ""
        self.feed(page)
        self.close()

    def updatepos(self, start: int, end: int) -> int:
        return end  # nobody asks for line numbers, and counting them takes a tenth of the time

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        given = dict(attributes)
        if given.get("data-recipe"):
            self._recipes.append((tag, given["data-recipe"] or ""))
        if tag == "data":
            self._open = (self._recipes[-1][1] if self._recipes else "", given.get("data-cell") or "", given.get("value") or "")
            self._text = ""

    def handle_endtag(self, tag: str) -> None:
        if tag == "data" and self._open:
            self.shown.append(Shown(*self._open, self._text))
            self._open = None
        elif self._recipes and tag == self._recipes[-1][0]:
            self._recipes.pop()

    def handle_data(self, text: str) -> None:
        if self._open:
            self._text += text


def compare(folder: Path, tables: dict[str, Rows], ledger: Ledger) -> None:
    """Compares every page of the release in ``folder`` with its tables; a release without pages has nothing to compare."""
    pages = sorted((folder / FOLDER).glob("*.html"))
    if not pages:
        return
    # A cell that was changed in its own table is told there, and not again for every page that shows it.
    told = {(one.file, one.row, one.column) for one in ledger.found}
    found: dict[str, set[tuple[str, str]]] = {}
    for page in pages:
        shown = _Reader(page.read_text(encoding="utf-8", errors="replace")).shown
        found[page.stem] = {(one.recipe_id, one.cell) for one in shown}
        for one in shown:
            _compare(f"{FOLDER}/{page.name}", one, tables, told, ledger)
        ledger.counts["page values"] += len(shown)
    _compare_whole(found, tables, ledger)


def _compare(page: str, one: Shown, tables: dict[str, Rows], told: set[tuple[str, str, str]], ledger: Ledger) -> None:
    table, _, rest = one.cell.partition(" ")
    key, _, column = rest.rpartition(" ")
    place = ("pages", page, one.cell)
    if table not in tables:
        ledger.differs(*place, "", one.value, "", f"a table {table}, which is not compared")
        return
    named = one.recipe_id + ("/" if "/" in key else " ") + key
    if tables[table].get(key, {}).get("recipe_id") == one.recipe_id:
        named = key  # a table whose rows are numbered through all recipes
    if (path_of(table), named, column) in told:
        return
    row = tables[table].get(named)
    if row is None or column not in row:
        ledger.differs(*place, "", one.value, "", path_of(table))
        return
    if ledger.same(place, "value", one.value, row[column], path_of(table)) and not is_shown(one.text, one.value, column):
        ledger.differs(*place, "text", one.text, one.value, path_of(table))


def is_shown(text: str, value: str, column: str) -> bool:
    """Whether the text that a reader sees says the released value."""
    if value in WORDS:
        return text == WORDS[value]
    if column in SENTENCES:
        return text == value
    number = Decimal(value)
    if column == "limit":
        return text == value
    if column == "probability":
        return _is_chance(text, number)
    if column == "margin":
        share, _, side = text.partition(" % ")
        return side == ("to spare" if number >= 0 else "beyond") and _is_rounded(share, abs(100 * number))
    return _is_rounded(text, number)


def _is_chance(text: str, number: Decimal) -> bool:
    if number >= Decimal("0.95"):
        return text == "95 % or more"
    if number < Decimal("0.01"):
        return text == "below 1 %"
    whole, _, sign = text.partition(" ")
    return sign == "%" and whole.isdigit() and abs(Decimal(whole) - 100 * number) <= Decimal("0.5000001")


def _is_rounded(text: str, number: Decimal) -> bool:
    """Whether ``text`` is ``number`` to its own last place, which leaves three digits or more."""
    if text == "below 0.001":
        return 0 < abs(number) < Decimal("0.001")
    plain = text.replace(",", "").replace("−", "-").removeprefix("+" if number > 0 else "")
    try:
        written = Decimal(plain)
    except ArithmeticError:
        return False
    place = Decimal(1).scaleb(written.as_tuple().exponent)
    enough = number == 0 or place <= Decimal(1).scaleb(number.adjusted() - DIGITS + 1)
    return bool(enough and abs(written - number) <= place / 2 * Decimal("1.000001"))


def _compare_whole(found: dict[str, set[tuple[str, str]]], tables: dict[str, Rows], ledger: Ledger) -> None:
    """That each recipe has its pages, with the figures and verdicts on local limits of every variant; and the first page all of these verdicts."""
    recipes = set(tables["recipes"])
    expected = {INDEX, *recipes, *(f"{recipe}-trace" for recipe in recipes)}
    ledger.keys("pages", FOLDER, found.keys(), expected, path_of("recipes"))
    figures: dict[str, set[str]] = {recipe: set() for recipe in recipes}
    for figure_id, row in tables["figures"].items():
        component = (row["component"], row["unit"])
        if row["basis"] == "portion" and (component in COMPARED or component in ALSO_AS_WRITTEN and row["variant_id"] == "base"):
            column = "status" if row["status"] == "withheld" else "value"
            figures.setdefault(row["recipe_id"], set()).add(f"figures {figure_id.partition('/')[2]} {column}")
    for recipe in sorted(recipes):
        verdicts = {f"verdicts {row['variant_id']} {row['audience']} {row['claim']} verdict" for row in tables["verdicts"].values()
                    if row["recipe_id"] == recipe and row["kind"] == "local-limit"}
        swaps = {f"swaps {key.partition(' ')[2]} change" for key in _first_of_swaps(tables.get("swaps", {})) if key.partition(" ")[0] == recipe}
        for name, needed in ((recipe, figures[recipe] | verdicts | swaps), (f"{recipe}-trace", figures[recipe]), (INDEX, verdicts | swaps)):
            here = {cell for about, cell in found.get(name, set()) if about == recipe}
            for cell in sorted(needed - here) if name in found else []:
                ledger.differs("pages", f"{FOLDER}/{name}.html", cell, "", "nothing", "a value", "what the page has to show")


def _first_of_swaps(swaps: Rows) -> list[str]:
    """The key of the first row of each change that restores a variant for a group of people: where its words stand."""
    first: dict[tuple[str, ...], str] = {}
    for key, row in swaps.items():
        if row["outcome"] == "restored":
            first.setdefault((row["recipe_id"], row["variant_id"], row["audience"]), key)
    return list(first.values())
