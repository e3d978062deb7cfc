"""A YAML text as a tree in which every value knows its line.

Built from the parser's events, so nothing is constructed (no tags, no objects), nesting is bounded, and an
alias stays one shared node that is never copied out.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import yaml

from pipeline.stages.ingest_files import unreadable

DEEPEST = 40
MOST_NODES = 1_000_000
_NUMBER = re.compile(r"[-+]?(\d[\d_]*(\.\d*)?|\.\d+)([eE][-+]?\d+)?|[-+]?\.(inf|nan)|0x[0-9a-f]+", re.I)
_LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


@dataclass(slots=True)
class Node:
    """``kind`` is text, number, flag, nothing, list or map. ``value`` is the text as written, a list of
    nodes, or a list of (key text, key line, node). ``comment`` is what follows on the line after ``#``."""

    kind: str
    line: int
    value: Any
    comment: str = ""

    def items(self) -> list[tuple[str, int, Node]]:
        return self.value if self.kind == "map" else []

    def get(self, key: str) -> Node | None:
        """The last value of ``key`` in a map."""
        return next((node for name, _, node in reversed(self.items()) if name == key), None)


@dataclass
class _Open:
    node: Node
    key: tuple[str, int] | None = None


def documents(text: str, source_file: str) -> list[Node]:
    """The documents of a YAML text. Raises :class:`Unreadable` with line and column where it breaks."""
    try:
        return _build(text, source_file)
    except yaml.YAMLError as error:
        raise _broken(error, text, source_file) from None


def _build(text: str, source_file: str) -> list[Node]:
    roots: list[Node] = []
    stack: list[_Open] = []
    anchors: dict[str, Node] = {}
    rows = text.split("\n")
    count = 0
    for event in yaml.parse(text, Loader=_LOADER):
        if isinstance(event, yaml.DocumentStartEvent):
            anchors = {}
            continue
        if isinstance(event, (yaml.SequenceEndEvent, yaml.MappingEndEvent)):
            stack.pop()
            continue
        node = _node(event, rows, anchors, source_file)
        if node is None:
            continue
        count += 1
        if count > MOST_NODES:
            raise unreadable(
                f"{source_file}, line {node.line}", f"holds more than {MOST_NODES:,} values",
                "Split the collection into smaller files", "file-too-large",
            )
        _attach(node, stack, roots, source_file)
        if isinstance(event, yaml.CollectionStartEvent):
            stack.append(_Open(node))
            if len(stack) > DEEPEST:
                raise _nested(source_file, node.line)
    return roots


def _node(event: yaml.Event, rows: list[str], anchors: dict[str, Node], source_file: str) -> Node | None:
    if not isinstance(event, yaml.NodeEvent):
        return None
    line = event.start_mark.line + 1
    if isinstance(event, yaml.AliasEvent):
        if event.anchor not in anchors:
            raise unreadable(
                f"{source_file}, line {line}", f"the alias *{event.anchor} names no anchor",
                "Put the words in quotes, or write the value out", "yaml-alias",
            )
        return anchors[event.anchor]
    if getattr(event, "tag", None) not in (None, "!"):
        raise unreadable(
            f"{source_file}, line {line}", f"the YAML tag {event.tag!r} is not read", "Take the tag away", "yaml-tag",
        )
    if isinstance(event, yaml.ScalarEvent):
        node = Node(_kind(event), line, event.value, _comment(event, rows))
    else:
        node = Node("list" if isinstance(event, yaml.SequenceStartEvent) else "map", line, [])
    if event.anchor:
        anchors[event.anchor] = node
    return node


def _kind(event: yaml.ScalarEvent) -> str:
    if event.style:  # quoted, or a block of text
        return "text"
    if event.value in ("", "~", "null", "Null", "NULL"):
        return "nothing"
    if event.value.lower() in ("true", "false"):
        return "flag"
    return "number" if _NUMBER.fullmatch(event.value) else "text"


def _comment(event: yaml.ScalarEvent, rows: list[str]) -> str:
    if event.style in ("|", ">"):
        return ""
    mark = event.end_mark
    rest = rows[mark.line][mark.column:].strip() if mark.line < len(rows) else ""
    return rest[1:].strip() if rest.startswith("#") else ""


def _attach(node: Node, stack: list[_Open], roots: list[Node], source_file: str) -> None:
    if not stack:
        roots.append(node)
        return
    parent = stack[-1]
    if parent.node.kind == "list":
        parent.node.value.append(node)
    elif parent.key is None:
        if node.kind in ("list", "map"):
            raise unreadable(
                f"{source_file}, line {node.line}", "a key is a list or a map", "Put the words in quotes", "yaml-key",
            )
        parent.key = (node.value, node.line)
    else:
        parent.node.value.append((*parent.key, node))
        parent.key = None


def _nested(source_file: str, line: int):
    return unreadable(
        f"{source_file}, line {line}", f"is nested more than {DEEPEST} deep", "Write the recipe as plain lists", "yaml-nested",
    )


def _broken(error: yaml.YAMLError, text: str, source_file: str):
    mark = getattr(error, "problem_mark", None)
    reason = getattr(error, "problem", None) or getattr(error, "reason", None) or "it cannot be read"
    if mark is None:
        position = getattr(error, "position", 0) or 0
        return unreadable(
            f"{source_file}, line {text.count(chr(10), 0, position) + 1}", f"is not valid YAML ({reason})",
            "Take the odd character away", "yaml-broken",
        )
    if "nesting depth" in reason:
        return _nested(source_file, mark.line + 1)
    return unreadable(
        f"{source_file}, line {mark.line + 1}, column {mark.column + 1}", f"is not valid YAML ({reason})",
        "Check the indentation, and put a line in quotes if it holds ': ' or begins with a sign", "yaml-broken",
    )
