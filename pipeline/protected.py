"""Folders that no report is written into: the project's own data, and releases."""

from __future__ import annotations

from pathlib import Path

from pipeline.problems import InputError, Problem

PROTECTED = ("mappings", "reference", "composition", "output", "pipeline")


def check_folder(folder: Path, root: Path, who: str) -> None:
    """Raises :class:`InputError` for a folder in which the project keeps its own data or a release lies.

    ``who`` asks, for the message: "a comparison", "a check".
    """
    wanted = folder.resolve()
    inside = [name for name in PROTECTED if wanted.is_relative_to((root / name).resolve())]
    release = next((place for place in (wanted, *wanted.parents) if (place / "manifest.json").is_file()), None)
    if inside or release:
        where = f"the release {release.name}" if release else f"{inside[0]}/"
        raise InputError(Problem(f"-o {folder}", f"lies in {where}, which {who} never changes", "Name a folder outside it", "protected-folder"))
