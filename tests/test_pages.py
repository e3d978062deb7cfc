"""The pages of a release: what they say is what the tables say, and they read aloud, offline, on a phone and on paper."""

from __future__ import annotations

import re
import shutil
from html.parser import HTMLParser
from pathlib import Path

import pandas as pd
import pytest
import tampering

from pipeline import page_frame, trace, verify_pages
from pipeline.released import Evidence
from pipeline.root import ROOT
from pipeline.reason_words import in_words
from pipeline.stages import release_pages
from pipeline.stages.page_words import chance, listed, margin
from pipeline.trace import Node, traces
from pipeline.verify import verify

VOID = {"meta", "img", "br", "hr", "path"}
# A list item may be left open (HTML, 13.1.2.4 optional tags).
MAY_STAY_OPEN = {"li"}
DISHES = {"quay-soup", "pier-beans", "grated-carrots", "unsettled-dish"}


@pytest.fixture
def copied(quay_release, tmp_path) -> Path:
    return Path(shutil.copytree(quay_release, tmp_path / "release"))


class Parsed(HTMLParser):
    """The elements of a page in their order, with the text within each."""

    def __init__(self, page: str):
        super().__init__()
        self.elements: list[tuple[str, dict[str, str], list[str]]] = []
        self._open: list[tuple[str, list[str]]] = []
        self.feed(page)
        self.close()
        assert self._open == []

    def handle_starttag(self, tag, attributes):
        text: list[str] = []
        self.elements.append((tag, {name: value or "" for name, value in attributes}, text))
        if tag == "li" and self._open and self._open[-1][0] == "li":
            self._open.pop()
        if tag not in VOID:
            self._open.append((tag, text))

    def handle_startendtag(self, tag, attributes):
        self.elements.append((tag, dict(attributes), []))

    def handle_endtag(self, tag):
        while self._open[-1][0] in MAY_STAY_OPEN and self._open[-1][0] != tag:
            self._open.pop()
        assert self._open.pop()[0] == tag
        if tag in ("td", "th", "li"):
            self.handle_data(" ")

    def handle_data(self, data):
        for _, text in self._open:
            text.append(data)

    def of(self, *tags: str) -> list[tuple[dict[str, str], str]]:
        return [(attributes, " ".join("".join(text).split())) for tag, attributes, text in self.elements if tag in tags]


@pytest.fixture(scope="module")
def pages(quay_release) -> dict[str, Parsed]:
    return {path.stem: Parsed(path.read_text(encoding="utf-8")) for path in sorted((quay_release / "pages").glob("*.html"))}


# ---------------------------------------------------------------- whole, offline, readable aloud

def test_there_is_a_page_for_each_recipe_its_traces_and_all(pages):
    assert set(pages) == {"index", *DISHES, *(f"{dish}-trace" for dish in DISHES)}


def test_every_page_reads_aloud(pages):
    """WCAG 2.2: 1.1.1 text alternatives, 1.3.1 info and relationships, 2.4.2 page titled, 2.4.4 link purpose, 3.1.1 language, 4.1.2 name (from memory)."""
    for name, page in pages.items():
        assert [attributes["lang"] for attributes, _ in page.of("html")] == ["en-GB"]
        assert len(page.of("title")) == len(page.of("h1")) + len(page.of("svg")) == 1 + len(page.of("svg")) and len(page.of("main")) == 1
        levels = [int(tag[1]) for tag, _, _ in page.elements if re.fullmatch("h[1-6]", tag)]
        assert levels[0] == 1 and all(after <= before + 1 for before, after in zip(levels, levels[1:], strict=False)), name
        assert len(page.of("table")) == len(page.of("caption")) and all(text for _, text in page.of("caption"))
        assert all(attributes.get("scope") in ("row", "col", "rowgroup") for attributes, _ in page.of("th"))
        assert all(text for attributes, text in page.of("h1", "h2", "h3", "a", "th") if attributes.get("scope") != "col"), name
        assert all(attributes["alt"] for attributes, _ in page.of("img"))
        assert all(attributes["role"] == "img" and "of the limit" in text for attributes, text in page.of("svg"))
        assert all(attributes.get("aria-label") for attributes, _ in page.of("nav"))


def test_each_table_has_as_many_cells_in_a_row_as_heads(pages):
    for name, page in pages.items():
        heads, cells = 0, 0
        for tag, attributes, _ in [*page.elements, ("tr", {}, [])]:
            if tag in ("tr", "table"):
                assert cells in (0, heads), (name, heads, cells)
                cells = 0
            heads = 0 if tag == "table" else heads + (tag == "th" and attributes["scope"] == "col")
            cells += int(attributes.get("colspan", 1)) if tag == "td" or tag == "th" and attributes["scope"] != "col" else 0


def test_ids_are_unique_and_every_link_leads_somewhere_in_the_release(quay_release, pages):
    ids = {name: [attributes["id"] for _, attributes, _ in page.elements if "id" in attributes] for name, page in pages.items()}
    followed = 0
    for name, page in pages.items():
        assert len(ids[name]) == len(set(ids[name]))
        for attributes, _ in page.of("a"):
            target, _, anchor = attributes["href"].partition("#")
            there = target.removesuffix(".html") or name
            assert there in pages and (not anchor or anchor in ids[there]), attributes
            followed += 1
        for attributes, _ in page.of("section"):
            assert attributes.get("aria-labelledby", ids[name][0]) in ids[name]
    assert followed > 100


def test_nothing_is_fetched_and_nothing_runs(quay_release, pages):
    for name, page in pages.items():
        tags = {tag for tag, _, _ in page.elements}
        assert not tags & {"script", "link", "iframe", "object", "form", "video", "audio", "base"}
        written = (quay_release / "pages" / f"{name}.html").read_text(encoding="utf-8")
        assert not re.search(r"url\(|@import|javascript:|\son\w+=|(?:href|src)=\"(?:https?:|//)", written)
        assert all(not attributes.get("src", "../plots/").replace("../plots/", "") or attributes["src"].startswith("../plots/")
                   for attributes, _ in page.of("img"))


def test_the_look_is_ink_and_paper_with_enough_contrast():
    """WCAG 2.2, 1.4.6: 7:1 for text; relative luminance as defined there (from memory). No colour has a meaning: all are greys of one ink."""
    style = (page_frame.TEMPLATES / "page.css").read_text(encoding="utf-8")
    colours = dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", style))
    assert not re.search(r"(?<!-)\bcolor: #|rgb|hsl|background: #(?!fff)", style)
    for text in ("ink", "soft"):
        for paper in ("#ffffff", colours["wash"]):
            assert _contrast(colours[text], paper) >= 7
    for value in colours.values():
        red, green, blue = (int(value[place:place + 2], 16) for place in (1, 3, 5))
        assert max(red, green, blue) - min(red, green, blue) <= 24


def _contrast(first: str, second: str) -> float:
    def luminance(colour: str) -> float:
        parts = [int(colour[place:place + 2], 16) / 255 for place in (1, 3, 5)]
        linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    light, dark = sorted((luminance(first), luminance(second)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_paper_has_its_own_rules():
    style = (page_frame.TEMPLATES / "page.css").read_text(encoding="utf-8")
    printed = style[style.index("@media print"):]
    assert "size: A4" in printed and "break-inside: avoid" in printed and "table-header-group" in printed and "break-before: page" in printed


# ---------------------------------------------------------------- what they say

def test_the_figures_of_a_portion_stand_with_their_interval_and_lead_to_their_trace(quay_release, pages):
    evidence = Evidence(quay_release)
    rows = [attributes for attributes, _ in pages["quay-soup"].of("data")]
    shown = {attributes["data-cell"]: attributes["value"] for attributes in rows}
    for end in ("value", "low", "high"):
        figure = evidence.row("figures", figure_id="quay-soup/with-cod/K/portion")
        assert float(shown[f"figures with-cod/K/portion {end}"]) == figure[end]
    links = [attributes["href"] for attributes, _ in pages["quay-soup"].of("a")]
    assert "quay-soup-trace.html#with-cod/K/portion" in links and "quay-soup-trace.html#base/WATER/portion" in links


def test_a_dish_that_waits_says_so_and_shows_no_number_of_it(pages):
    page = pages["unsettled-dish"]
    text = page.of("main")[0][1]
    assert "Nothing may be said of this dish as written" in text and "zorblefruit paste" in text and "no food of the table fits" in text
    assert not [attributes for attributes, _ in page.of("data") if re.match(r"figures \S+ (value|low|high)", attributes["data-cell"])]
    assert "Unsettled dish" in pages["index"].of("section")[-2][1]


def test_only_what_holds_on_a_ready_figure_may_be_said(quay_release, pages):
    evidence = Evidence(quay_release)
    verdicts = [row for row in evidence.records("verdicts", recipe_id="grated-carrots", variant_id="base") if row["kind"] == "local-limit"]
    lines = pages["grated-carrots"].of("p")
    may = next(text for attributes, text in lines if attributes.get("class") == "say")
    later = next(text for _, text in lines if text.startswith("It holds, but is said only after a person"))
    seen = set()
    for row in verdicts:
        status = evidence.row("figures", figure_id=f"grated-carrots/base/{row['component']}/portion")["status"] if row["component"] else ""
        seen.add((row["verdict"], status))
        claim = row["claim"].replace("-", " ")
        holds = {one["verdict"] for one in verdicts if one["claim"] == row["claim"]} == {"holds"}
        assert (claim in may) == (holds and status == "ready") and (claim in later) == (holds and status == "check"), claim
    assert {("holds", "ready"), ("holds", "check")} < seen
    assert "not adopted locally" in pages["grated-carrots"].of("main")[0][1]


def test_cautions_stand_on_every_page(quay_release, pages):
    for text in (quay_release / "CAUTIONS.txt").read_text(encoding="utf-8").split("\n\n"):
        assert all(" ".join(text.split()) in page.of("main")[0][1] for page in pages.values())


def test_traces_together_say_what_each_alone_says(quay_release):
    """A line is told once for each variant; whatever else a trace says, it says here too."""
    evidence = Evidence(quay_release)
    ids = ["quay-soup/base/K/portion", "quay-soup/base/ENERC-kJ/portion", "quay-soup/with-cod/K/portion"]
    together, alone = list(traces(evidence, ids)), [trace.trace(evidence, one) for one in ids]
    assert together[0] == alone[0]
    for many, one in zip(together, alone, strict=True):
        assert _unnumbered(many.root) <= _unnumbered(one.root) | {text for text in _unnumbered(many.root) if text.startswith("value: ")}
        assert many.root.text == one.root.text and [child.text for child in many.root.children] == [child.text for child in one.root.children]
    assert any(text.startswith("mass: ") for text in _unnumbered(together[2].root))
    assert not any(text.startswith("mass: ") for text in _unnumbered(together[1].root))


def _unnumbered(node: Node) -> set[str]:
    return {re.sub(r"\[\d+\]", "", node.text)}.union(*(_unnumbered(child) for child in node.children))


def test_the_same_tables_give_the_same_pages_and_words_of_a_recipe_are_escaped(copied):
    evidence = Evidence(copied)
    evidence.table("recipes").loc[0, "name"] = 'Soup <b onclick="x">&'
    first, second = (release_pages.pages(evidence, "A & B", "r-1", ["<i>Care</i>"], {}) for _ in range(2))
    assert first == second
    everything = b"".join(first.values()).decode()
    assert "<b onclick" not in everything and "<i>Care" not in everything and "A &amp; B" in everything
    for page in first.values():
        Parsed(page.decode())


def test_plots_stand_on_the_page_with_their_figures_in_words(quay_release):
    svg = b'<svg><desc id="d">Potassium: 12 mg &amp; more</desc></svg>'
    found = release_pages.pages(Evidence(quay_release), "T", "r-1", ["Care"], {"plots/pier-beans-raw-to-plate.svg": svg})
    images = {name: Parsed(page.decode()).of("img") for name, page in found.items()}
    assert [(one["src"], one["alt"]) for one, _ in images.pop("pages/pier-beans.html")] == [
        ("../plots/pier-beans-raw-to-plate.svg", "Potassium: 12 mg & more")]
    assert not any(images.values())


# ---------------------------------------------------------------- words and numbers

@pytest.mark.parametrize(("number", "text"), [
    (0.0, "0"), (227.3392696, "227"), (0.0273, "0.0273"), (1120.4, "1,120"), (599.6, "600"), (-0.0625, "−0.0625"), (0.00049, "below 0.001"),
    (2.345, "2.35"), (99.96, "100.0"), (float("nan"), "unknown")])
def test_numbers_are_shown_plainly(number, text):
    assert page_frame.shown(number) == text
    assert text == "unknown" or verify_pages.is_shown(text, f"{number:.10g}", "value")


@pytest.mark.parametrize(("text", "value", "column"), [
    ("228", "227.3392696", "value"), ("2.2", "2.234", "value"), ("23", "23.3", "value"), ("holds", "fails", "verdict"), ("96 %", "0.95", "probability"),
    ("95 % or more", "0.94", "probability"), ("31 %", "0.3", "probability"), ("40 % to spare", "-0.4", "margin"), ("600", "599.6", "limit"),
    ("below 0.001", "0.002", "value"), ("many", "3", "value")])
def test_a_text_that_says_something_else_is_seen(text, value, column):
    assert not verify_pages.is_shown(text, value, column)


def test_chances_margins_and_lists_read_as_a_person_says_them():
    assert [chance(one) for one in (0.95, 0.949, 0.0099, 0.5)] == ["95 % or more", "95 %", "below 1 %", "50 %"]
    assert [margin(one) for one in (0.5134, -0.2, 0.0)] == ["51.3 % to spare", "20.0 % beyond", "0 % to spare"]
    assert [listed(words) for words in ([], ["a"], ["a", "b"], ["a", "b", "c"])] == ["", "a", "a and b", "a, b and c"]
    assert in_words("waits for line 2 (no-quantity: some flour)") == "waits for line 2 (it says no amount: some flour)"
    names = {"K": "Potassium", "VITB6A": "Vitamin B6"}
    assert in_words("K is still to be checked: no value for K of line 3, VITB6A of line 4", names) == (
        "potassium is still to be checked: no value for potassium of line 3, vitamin B6 of line 4")
    assert in_words("waits for line 2 (no-entry: vitamin K and P)", {**names, "P": "Phosphorus"}) == "waits for line 2 (it has no entry to weigh by: vitamin K and P)"
    assert in_words("wide interval; the audit doubts it: additive, two-routes") == (
        "wide interval; the audit doubts it: likely a phosphate or potassium additive and raw and cooked entries disagree")


# ---------------------------------------------------------------- verify

def test_verify_holds_every_value_of_the_pages_against_the_tables(quay_release):
    report = verify(quay_release, ROOT)
    assert report.agrees, report.text()
    assert report.counts["page values"] > 500


@pytest.mark.parametrize(("page", "old", "new", "problem"), [
    ("pier-beans", r'(<data value="[\d.]+" data-cell="figures base/K/portion value">)\d+', r"\g<1>999", ("figures base/K/portion value", "text")),
    ("pier-beans", r'(<data value=")\d+(\.?\d*" data-cell="figures base/K/portion high">)', r"\g<1>7\2", ("figures base/K/portion high", "value")),
    ("index", r'(data-cell="verdicts with-cod haemodialysis low-potassium verdict">)\w+', r"\1possibly",
     ("verdicts with-cod haemodialysis low-potassium verdict", "text")),
])
def test_one_changed_value_on_a_page_is_named(copied, page, old, new, problem):
    path = copied / "pages" / f"{page}.html"
    text, changed = re.subn(old, new, path.read_text(encoding="utf-8"), count=1)
    assert changed
    path.write_text(text, encoding="utf-8")
    tampering.follow_in_manifest(copied)
    assert [(one.cause, one.file, one.row, one.column) for one in verify(copied, ROOT).disagreements] == [("pages", f"pages/{page}.html", *problem)]


def test_a_verdict_left_out_and_a_page_left_out_are_named(copied):
    path = copied / "pages" / "quay-soup.html"
    cell = "verdicts with-cod haemodialysis low-phosphorus verdict"
    path.write_text(re.sub(rf'<data value="[\w-]+" data-cell="{cell}">([^<]*)</data>', r"\1", path.read_text(encoding="utf-8")), encoding="utf-8")
    tampering.follow_in_manifest(copied)
    assert [(one.file, one.row, one.written) for one in verify(copied, ROOT).disagreements] == [("pages/quay-soup.html", cell, "nothing")]
    (copied / "pages" / "pier-beans.html").unlink()
    assert ("pages", "pier-beans", "no row") in {(one.file, one.row, one.written) for one in verify(copied, ROOT).disagreements}


def test_people_under_another_name_are_named(copied):
    path = copied / "evidence" / "names.csv"
    rows = tampering.read(path)
    place = next(number for number, row in enumerate(rows) if row[:2] == ["audience", "haemodialysis"])
    rows[place][2] = "Adults on peritoneal dialysis"
    tampering.write(path, rows)
    tampering.follow_in_parquet(path)
    tampering.follow_in_manifest(copied)
    assert [(one.file, one.row) for one in verify(copied, ROOT).disagreements] == [("evidence/names.csv", "audience haemodialysis")]


# ---------------------------------------------------------------- parts that a release may have

SALT = {"recipe_id": "quay-soup", "variant_id": "base", "line_no": 6, "line_id": "quay-soup/base/6", "additive_id": "salt-substitute", "element": "potassium",
        "severity": "error", "through": "lo-salt", "found_in": "words", "what": "line 6 holds potassium chloride", "remedy": "Take it out",
        "source_id": "common-practice", "counted": True}
PRINT = {"rank": 1, "recipe_id": "quay-soup", "variant_id": "base", "harm": "understated", "printed_in": "Quay leaflet", "component": "K", "says": "K 90 mg",
         "today": "312 mg", "correction": "Print K 312 mg", "why": "understated"}
SWAP = {"recipe_id": "quay-soup", "variant_id": "with-cod", "audience": "haemodialysis", "claim": "low-potassium", "outcome": "restored", "component": "K",
        "change": "leave out the leeks", "verdict_base": "holds", "verdict_written": "fails", "verdict": "holds", "value": 301.26, "low": 250.5, "high": 349.4,
        "unit": "mg", "words": "With cod: leave out the leeks"}
KIND = {"recipe_id": "quay-soup", "variant_id": "base", "basis": "portion", "kind": "plant", "phosphorus_mg": 80.25, "low_mg": 60.1, "high_mg": 99.9,
        "absorbed_mg": 30.5, "absorbed_low_mg": 20.4, "absorbed_high_mg": 49.6, "lines": "1, 5", "status": "ready", "reason": ""}
VERSION = {"recipe_id": "quay-soup", "variant_id": "with-cod", "from_variant": "base", "difference_no": 1, "potassium_mg": -22.14, "phosphorus_mg": 3.0,
           "sodium_mg": float("nan"), "protein_g": 0.0, "what": "the parsley is left out"}
MOVED = {"recipe_id": "quay-soup", "variant_id": "with-cod", "from_variant": "base", "component": "K", "unit": "mg", "basis": "portion", "from_value": 312.0,
         "from_low": 250.0, "from_high": 380.0, "value": 400.5, "low": 390.2, "high": 460.0, "difference": 88.5, "beyond_intervals": True,
         "verdicts": "low-potassium for ckd: holds -> fails"}
ADDED = {**SWAP, "addition_id": "eggs", "outcome": "falls-short", "line": "2 eggs", "claim": "protein-for-dialysis", "verdict": "fails", "component": "PROCNT"}
ALLERGEN = {"recipe_id": "quay-soup", "allergen": "milk", "status": "contains", "lines": "3", "reason": "line 3: cream"}
DIET = {"recipe_id": "quay-soup", "diet": "vegan", "verdict": "does-not-suit", "lines": "3", "reason": "line 3: cream (milk)"}
FOR_PRINT = {"figure_id": "quay-soup/base/K/portion", "recipe_id": "quay-soup", "variant_id": "base", "component": "K", "basis": "portion",
             "by_guidance": "310 mg", "by_unit_rule": "", "note": ""}


@pytest.fixture(scope="module")
def fuller(quay_release, tmp_path_factory) -> dict[str, Parsed]:
    """The pages of the release with the tables that it may have, one row or a few of each, made by hand."""
    folder = Path(shutil.copytree(quay_release, tmp_path_factory.mktemp("fuller") / "release"))
    variants = [row["variant_id"] for row in Evidence(quay_release).records("variants", recipe_id="quay-soup")]
    rows = {"additives": [SALT], "print_changes": [PRINT], "swaps": [SWAP], "phosphorus_kinds": [KIND], "versions": [VERSION], "version_figures": [MOVED],
            "protein_additions": [ADDED], "for_print": [FOR_PRINT], **{name: [{**one, "variant_id": variant} for variant in variants] for name, one in (
                ("allergens", ALLERGEN), ("suitability", DIET))}}
    for name, found in rows.items():
        pd.DataFrame(found).to_parquet(folder / f"{name}.parquet")
    return {Path(path).stem: Parsed(page.decode()) for path, page in release_pages.pages(Evidence(folder), "T", "r-1", ["Care"], {}).items()}


@pytest.mark.parametrize("said", [
    "Hazard: line 6 holds potassium chloride. Take it out.", "Quay leaflet K 90 mg 312 mg Print K 312 mg", "leave out the leeks Low potassium holds: 301 mg (251 to 349)",
    "from plants 80.3 mg 60.1 to 99.9 30.5 mg 20.4 to 49.6 1, 5", "the parsley is left out potassium −22.1 mg, phosphorus +3.00 mg, protein 0 g",
    "Potassium, mg 312 250 to 380 401 390 to 460 +88.5 beyond both ranges low potassium for ckd: holds, then fails", "2 eggs Adults on haemodialysis the most that", "Milk contains contains",
    "Vegan does not suit", "310 mg", "In print and not confirmed by today's figures: 1 figure or claim"])
def test_what_a_release_may_have_is_on_the_page(fuller, said):
    assert said in fuller["quay-soup"].of("main")[0][1]


def test_hazards_and_corrections_stand_on_the_first_page_too(fuller, pages):
    text = fuller["index"].of("main")[0][1]
    assert "with cod to do as well as written: leave out the leeks" in text and text.count("leave out the leeks") == 1
    assert "Hazard, Quay soup: line 6 holds potassium chloride" in text and "Print K 312 mg" in text
    assert "Hazard" not in pages["index"].of("main")[0][1]


def test_the_first_page_puts_each_dish_under_the_one_heading_of_its_verdict(quay_release, pages):
    verdicts = {row["recipe_id"]: row for row in Evidence(quay_release).records("verdicts", variant_id="base", audience="haemodialysis", claim="low-potassium")}
    section = next(text for attributes, text in pages["index"].of("section") if attributes["id"] == "haemodialysis")
    headings = {text for attributes, text in pages["index"].of("th") if attributes["scope"] == "rowgroup" and text in section}
    assert sum(int(re.search(r": (\d+) dish", one)[1]) for one in headings) == len(verdicts) == len(DISHES)
    for recipe_id, row in verdicts.items():
        name = Evidence(quay_release).row("recipes", recipe_id=recipe_id)["name"]
        before = section[:section.index(f"{name} ")]
        last = max((one for one in headings if one in before), key=before.rindex)
        words = {"holds": "holds as written", "uncertain": "uncertain as written", "fails": "fails as written", "not-assessable": "cannot be judged"}
        within = row["verdict"] == "uncertain" and row["status"] == "check" and row["margin"] > 0
        assert ("is within its limit as written" if within else words[row["verdict"]]) in last, (name, last)
