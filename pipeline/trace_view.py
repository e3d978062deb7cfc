"""Draws a trace as a tree of plain text, with its sources and the cautions under it."""

from __future__ import annotations

from pathlib import Path

from pipeline.trace import Node, Trace


def text(traced: Trace, release: Path) -> str:
    """The tree, one line per node; then each source once; then the cautions that belong beside a figure."""
    rows = [traced.root.text, *_branches(traced.root, "")]
    if traced.sources:
        rows += ["", "Sources", *(f"  [{place}] {_source(source)}" for place, source in enumerate(traced.sources, start=1))]
    cautions = release / "CAUTIONS.txt"
    if cautions.is_file():
        rows += ["", "Cautions", *(f"  {line}" for line in cautions.read_text(encoding="utf-8").split("\n\n"))]
    return "\n".join(rows).rstrip()


def _source(source: dict[str, str]) -> str:
    standing = f" ({source['standing']})" if source["standing"] else ""
    return f"{source['source_id']}: {source['citation']}{standing}"


def _branches(node: Node, indent: str) -> list[str]:
    lines = []
    for number, child in enumerate(node.children, start=1):
        last = number == len(node.children)
        lines.append(f"{indent}{'└─' if last else '├─'} {child.text}")
        lines.extend(_branches(child, indent + ("   " if last else "│  ")))
    return lines
