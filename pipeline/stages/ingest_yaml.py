"""Recipes written in YAML: one recipe per file, several documents, or a list under ``recipes:``.

Keys of a recipe: id, name, course, portions, food_form, units, finished_mass, note, ingredients, method,
published, claims, variants, versions. Required: name, portions, ingredients. ``collection.yaml`` in a folder may give
name, units and note of the collection.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import PurePosixPath

from pipeline.stages.ingest_amounts import mass_of, portions_of, printed_amounts
from pipeline.stages.ingest_files import SourceFile, text_of, unreadable
from pipeline.stages.ingest_nodes import Node, documents
from pipeline.stages.ingest_served import OF_ONE_LINE, WITH_OPTIONAL, WITHOUT_SERVED
from pipeline.stages.ingest_variants import BASE
from pipeline.stages.ingest_written import (
    Amount, Change, Line, Notes, PrintedClaim, PrintedFigure, Words, Written, choice, is_id, keeps_limits, sectioned,
    shown, slug, steps_of, unknown_key, words,
)
from pipeline.tables import BASES

RECIPE_KEYS = (
    "id", "name", "course", "portions", "food_form", "units", "finished_mass", "note", "ingredients", "method",
    "published", "claims", "variants", "versions",
)
VARIANT_KEYS = ("id", "name", "note", "of", "portions", "add", "leave_out", "replace", "change", "method", "add_method", "published", "claims")
VERSION_KEYS = ("id", "as", "where", "note", "portions", "ingredients", "method", "add", "leave_out", "replace", "add_method", "published", "claims")
VERSION_CHANGES = ("add", "leave_out", "replace")
AS = ("made", "printed")
PRINTED_KEYS = ("printed_in", "basis", "variant", "version", "figures")
UNITS = ("uk", "us", "metric")
RESERVED_VARIANTS = (BASE, WITH_OPTIONAL, WITHOUT_SERVED)
COLLECTION_FILES = ("collection.yaml", "collection.yml")


def read_yaml(file: SourceFile) -> tuple[list[Written], list[Notes]]:
    """The recipes of one YAML file, and the notes of every recipe in it, broken ones too.

    Raises :class:`Unreadable` where the file as a whole cannot be read.
    """
    nodes = [recipe for document in documents(text_of(file), file.name) for recipe in _recipe_nodes(document)]
    if not nodes:
        raise unreadable(file.name, "holds no recipe", "Write a recipe, or take the file away", "file-empty")
    read = [_recipe(node, file.name, len(nodes) == 1) for node in nodes]
    return [written for written, _ in read if written], [notes for _, notes in read]


def read_collection(file: SourceFile) -> tuple[dict[str, str], Notes]:
    """The head of a collection: ``name``, ``units``, ``note`` where given."""
    notes, head = Notes(file.name), {}
    for document in documents(text_of(file), file.name):
        for key, line, node in document.items():
            if key not in ("name", "units", "note"):
                unknown_key(key, ("name", "units", "note"), line, notes)
                continue
            head[key] = _text(node, key, notes)
    if "units" in head:
        head["units"] = choice(head["units"], UNITS, "units", 0, notes)
    return head, notes


def _recipe_nodes(document: Node) -> list[Node]:
    if document.kind == "list":
        return document.value
    inner = document.get("recipes")
    if inner is not None and document.get("ingredients") is None:
        return inner.value if inner.kind == "list" else [inner]
    return [] if document.kind == "nothing" else [document]


def _recipe(node: Node, source_file: str, alone: bool) -> tuple[Written | None, Notes]:
    notes = Notes(source_file)
    if node.kind != "map":
        notes.error(node.line, "is not a recipe", "Write keys such as name:, portions: and ingredients:", "not-a-recipe")
        return None, notes
    recipe_id = _recipe_id(node, source_file, alone, notes)
    _known_keys(node, RECIPE_KEYS, notes)
    name = _text(node.get("name"), "name", notes)
    if not name.strip():
        notes.error(node.line, "the recipe has no name", "Write name:", "no-name")
    lines = _lines(node.get("ingredients"), "ingredients", notes)
    steps = steps_of(_steps(node.get("method"), notes), notes)
    keeps_limits(lines, steps, node.line, notes)
    changes = tuple(filter(None, (_change(item, notes) for item in _list(node.get("variants"), "variants", notes))))
    changes += tuple(filter(None, (_change(item, notes, _version_id(item), _read_version)
                                   for item in _list(node.get("versions"), "versions", notes))))
    figures, claims = _in_print(node, "base", notes)
    for item, own_id in [*((item, _plain(item.get("id"))) for item in _maps(node.get("variants"))),
                         *((item, _version_id(item)) for item in _maps(node.get("versions")))]:
        more_figures, more_claims = _in_print(item, own_id, notes)
        figures, claims = figures + more_figures, claims + more_claims
    portions = _portions(node, notes)
    mass = node.get("finished_mass")
    written = Written(
        recipe_id=recipe_id, id_given=node.get("id") is not None, name=name.strip(), portions=portions or 1.0,
        source_file=source_file, source_line=node.line, lines=lines, steps=steps,
        course=_text(node.get("course"), "course", notes).strip(),
        food_form=_choice(node, "food_form", ("solid", "liquid"), "solid", notes),
        units_system=_choice(node, "units", UNITS, "", notes),
        finished_mass_g=mass_of(_plain(mass), mass.line, notes) if mass else float("nan"),
        figures=figures, claims=claims, changes=changes,
    )
    return (None if notes.failed else written), notes


def _recipe_id(node: Node, source_file: str, alone: bool, notes: Notes) -> str:
    """The recipe's id, also set on ``notes`` so that every problem of the recipe carries it."""
    given, stem = node.get("id"), PurePosixPath(source_file).stem
    if given is None:
        notes.recipe_id = slug(stem if alone else _plain(node.get("name")) or stem)
        notes.warning(
            node.line, f"the recipe has no id; {notes.recipe_id!r} was made from its {'file' if alone else 'name'}",
            "Write id:, so that its figures keep their names", "id-derived",
        )
        return notes.recipe_id
    written = _plain(given)
    notes.recipe_id = slug(written)
    if not is_id(written):
        notes.error(
            given.line, f"the id is {written!r}",
            f"Use lower-case letters, digits and hyphens, for example {notes.recipe_id!r}", "id-form",
        )
    return notes.recipe_id


def _portions(node: Node, notes: Notes) -> float | None:
    written = node.get("portions")
    if written is None or written.kind == "nothing":
        notes.error(node.line, "the recipe does not say how many portions it makes", "Write portions:", "no-portions")
        return None
    if written.kind not in ("text", "number"):
        notes.error(
            written.line, "the portions are not a number or a text", "Write for example portions: 4", "portions-unreadable",
        )
        return None
    return portions_of(written.value, written.line, notes)


def _lines(node: Node | None, key: str, notes: Notes) -> tuple[Line, ...]:
    lines: list[Line] = []
    section = ""
    for item in _list(node, key, notes):
        heading = item.get("heading")
        if item.kind == "map" and heading is not None and len(item.items()) == 1:
            section = _text(heading, "heading", notes).strip()
            continue
        found = _words(item, "ingredient line", notes)
        if found is None:
            continue
        new = sectioned([found], notes, section)
        lines.extend(new)
        section = new[-1].section if new else section
    return tuple(lines)


def _steps(node: Node | None, notes: Notes, key: str = "method") -> list[Words]:
    if node is not None and node.kind == "text":
        return [Words(row, node.line) for row in node.value.split("\n") if row.strip()]
    found = (_words(item, "method step", notes) for item in _list(node, key, notes))
    return [item for item in found if item is not None]


def _words(item: Node, what: str, notes: Notes) -> Words | None:
    if item.kind == "nothing":
        item = Node("text", item.line, "", item.comment)
    if item.kind != "text":
        is_map = item.kind == "map" and item.items()
        remedy = "Put the line in quotes and write it as a sentence"
        if is_map:
            remedy = f"Put the line in quotes, since it holds ': ' after {shown(item.items()[0][0])!r}"
        notes.error(item.line, f"one {what} is a {item.kind}, not text", remedy, "line-not-text")
        return None
    if item.comment:
        notes.warning(
            item.line, f"the words after # ({item.comment[:60]!r}) were taken as a comment and not read",
            "Put the whole line in quotes if they belong to it", "comment-on-line",
        )
    return Words(item.value, item.line)


def _change(node: Node, notes: Notes, variant_id: str | None = None, read: Callable[..., Change] | None = None) -> Change | None:
    """One written variant (or version, by ``read``); None if it cannot be kept, which takes nothing else down."""
    own = Notes(notes.source_file, notes.recipe_id)
    change = None
    variant_id = _plain(node.get("id")) if variant_id is None else variant_id
    if node.kind == "map":
        change = (read or _read_change)(node, variant_id, own)
    else:
        own.error(node.line, "it is not a variant", "Write keys such as id:, add: and leave_out:", "not-a-variant")
    notes.set_aside(own, variant_id)
    return None if own.failed else change


def _version_id(node: Node) -> str:
    """The id of a version: its own, or ``as-made`` or ``as-printed``."""
    return _plain(node.get("id")) or f"as-{slug(_plain(node.get('as')) or 'version')}"


def _read_version(node: Node, variant_id: str, notes: Notes) -> Change:
    """The recipe as made or as printed: ingredients of its own, or changes as a variant has; without either, as analysed."""
    _known_keys(node, VERSION_KEYS, notes)
    said, where = _plain(node.get("as")), _text(node.get("where"), "where", notes).strip()
    if said.lower() not in AS:
        notes.error(node.line, f"it says as: {said!r}" if said else "it does not say which version of the recipe it is",
                    "Write as: made (what the film shows) or as: printed", "version-as")
    change = _changes_of(node, variant_id, notes)
    own = node.get("ingredients")
    if own is None:
        return replace(change, name=_version_name(said, where), kind="version")
    both = [key for key in VERSION_CHANGES if node.get(key) is not None]
    if both:
        notes.error(own.line, f"it has ingredients: of its own and {both[0]}:", "Write all its ingredients, or only what changes", "version-twice")
    lines = _lines(own, "ingredients", notes)
    keeps_limits(lines, change.method or ("as in the recipe",), own.line, notes)
    return replace(change, name=_version_name(said, where), kind="version", lines=lines)


def _version_name(said: str, where: str) -> str:
    return f"As {said.lower()}" + (f" ({where})" if where else "")


def _read_change(node: Node, variant_id: str, notes: Notes) -> Change:
    _known_keys(node, VARIANT_KEYS, notes)
    change = _changes_of(node, variant_id, notes)
    changes = (change.add, change.leave_out, change.replace, change.amounts, change.method, change.add_method, change.portions)
    if not notes.failed and not any(changes):
        notes.error(
            node.line, "it changes nothing", "Say what it adds, replaces or leaves out, or take it away", "variant-empty",
        )
    return change


def _changes_of(node: Node, variant_id: str, notes: Notes) -> Change:
    if not is_id(variant_id) or variant_id in RESERVED_VARIANTS or OF_ONE_LINE.fullmatch(variant_id):
        taken = [*RESERVED_VARIANTS, "with-line-1"]
        notes.error(
            node.line, f"the variant id is {variant_id!r}",
            f"Use lower-case letters, digits and hyphens, and not {' or '.join(taken)}", "id-form",
        )
    add = _lines(node.get("add"), "add", notes)
    left = [_words(item, "line to leave out", notes) for item in _list(node.get("leave_out"), "leave_out", notes)]
    replaced = [_replacement(item, notes) for item in _list(node.get("replace"), "replace", notes)]
    amounts = [_amount(item, notes) for item in _list(node.get("change"), "change", notes)]
    method = steps_of(_steps(node.get("method"), notes), notes) if node.get("method") else None
    added_steps = steps_of(_steps(node.get("add_method"), notes, "add_method"), notes)
    portions = _portions(node, notes) if node.get("portions") else None
    return Change(
        variant_id, _text(node.get("name"), "name", notes).strip() or variant_id, node.line, _plain(node.get("of")) or BASE, portions,
        add, tuple(filter(None, left)), tuple(filter(None, replaced)), tuple(filter(None, amounts)), method, added_steps,
    )


def _replacement(item: Node, notes: Notes) -> tuple[Words, Line] | None:
    old, new = item.get("line"), item.get("with")
    if old is None or new is None or len(item.items()) != 2:
        notes.error(
            item.line, "a replacement does not say which line and with what",
            'Write {line: "the old line", with: "the new line"}', "replacement",
        )
        return None
    old_words, new_words = _words(old, "line to replace", notes), _words(new, "new line", notes)
    text = words(new_words.text, new_words.line, notes) if new_words else None
    return (old_words, Line(text, new.line)) if old_words and text else None


def _amount(item: Node, notes: Notes) -> Amount | None:
    line, old, new = (item.get(key) for key in ("line", "from", "to"))
    if None in (line, old, new) or len(item.items()) != 3:
        notes.error(
            item.line, "a change of amount does not say of which line, from what and to what",
            'Write {line: "2 handfuls of spinach", from: "2 handfuls", to: "1 handful"}', "amount-change",
        )
        return None
    named = _words(line, "line to change", notes)
    amounts = [_text(node, key, notes).strip() for key, node in (("from", old), ("to", new))]
    return Amount(named, *amounts) if named and all(amounts) else None


def _in_print(node: Node, variant_id: str, notes: Notes) -> tuple[tuple[PrintedFigure, ...], tuple[PrintedClaim, ...]]:
    figures: list[PrintedFigure] = []
    for item in _list_or_one(node.get("published")):
        figures.extend(_printed(item, variant_id, notes))
    return tuple(figures), tuple(filter(None, (_claim(item, variant_id, notes) for item in _list_or_one(node.get("claims")))))


def _printed(item: Node, variant_id: str, notes: Notes) -> list[PrintedFigure]:
    _known_keys(item, PRINTED_KEYS, notes)
    basis, figures = _plain(item.get("basis")) or "portion", item.get("figures")
    if figures is None or figures.kind != "map" or basis not in BASES:
        notes.warning(
            item.line, "figures in print cannot be read and were left out",
            f"Write printed_in:, basis: (one of {', '.join(BASES)}) and figures: {{K: 210 mg}}", "printed-figure",
        )
        return []
    printed_in, variant_id = _plain(item.get("printed_in")), _described(item) or variant_id
    found = []
    for component, line, node in figures.items():
        parts = node.value if node.kind == "list" else [node]
        for part in parts:
            amounts = printed_amounts(_plain(part), line, notes, component)
            found.extend(PrintedFigure(variant_id, component, basis, value, unit, printed_in, line) for value, unit in amounts)
    return found


def _described(item: Node) -> str:
    """The variant or version that something in print describes; "" where it does not say."""
    version = _plain(item.get("version"))
    return _plain(item.get("variant")) or (f"as-{version.lower()}" if version.lower() in AS else version)


def _claim(item: Node, variant_id: str, notes: Notes) -> PrintedClaim | None:
    claim = _plain(item.get("claim")) if item.kind == "map" else _plain(item)
    if not claim:
        notes.warning(
            item.line, "a claim in print cannot be read and was left out",
            "Write the claim, for example low-sodium", "printed-claim",
        )
        return None
    return PrintedClaim(_described(item) or variant_id, claim, _plain(item.get("printed_in")), item.line)


def _known_keys(node: Node, known: tuple[str, ...], notes: Notes) -> None:
    seen = set()
    for key, line, _ in node.items():
        if key not in known:
            unknown_key(key, known, line, notes)
        if key in seen:
            notes.error(line, f"the key {key!r} is written twice", "Keep the one that is meant", "key-twice")
        seen.add(key)


def _list(node: Node | None, key: str, notes: Notes) -> list[Node]:
    if node is None or node.kind == "nothing":
        return []
    if node.kind == "list":
        return node.value
    notes.error(node.line, f"{key} is not a list", f"Write each item of {key}: on its own line after '- '", "not-a-list")
    return []


def _list_or_one(node: Node | None) -> list[Node]:
    if node is None or node.kind == "nothing":
        return []
    return node.value if node.kind == "list" else [node]


def _maps(node: Node | None) -> list[Node]:
    return [item for item in _list_or_one(node) if item.kind == "map"]


def _plain(node: Node | None) -> str:
    return node.value.strip() if node is not None and node.kind in ("text", "number", "flag") else ""


def _text(node: Node | None, key: str, notes: Notes) -> str:
    if node is None or node.kind == "nothing":
        return ""
    if node.kind in ("text", "number", "flag"):
        return words(node.value, node.line, notes, key) or ""
    notes.error(node.line, f"{key} is a {node.kind}, not text", f"Write {key}: with words", "not-text")
    return ""


def _choice(node: Node, key: str, allowed: tuple[str, ...], default: str, notes: Notes) -> str:
    found = node.get(key)
    return choice(_plain(found), allowed, key, found.line, notes) if found is not None else default
