"""Draws a trace as a tree of plain text."""

from __future__ import annotations

from pipeline.trace import Evidence, Node


def text(node: Node, evidence: Evidence) -> str:
    """The tree, one line per node, and under it the cautions that belong beside a figure."""
    cautions = (evidence.release / "CAUTIONS.txt").read_text(encoding="utf-8").strip()
    return "\n".join([node.text, *_branches(node, ""), "", cautions])


def _branches(node: Node, indent: str) -> list[str]:
    lines = []
    for number, child in enumerate(node.children, start=1):
        last = number == len(node.children)
        lines.append(f"{indent}{'└─' if last else '├─'} {child.text}")
        lines.extend(_branches(child, indent + ("   " if last else "│  ")))
    return lines
