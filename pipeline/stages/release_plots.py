"""The plots of a release: two for each recipe, as SVG and as PNG, in the folder ``plots``.

What they say is settled in :mod:`release_plot_pages`, how they look in :mod:`release_plot_drawing`.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from importlib.metadata import version
from pathlib import Path

import pandas as pd

from pipeline import content
from pipeline.stages.release_plot_drawing import draw
from pipeline.stages.release_plot_pages import Page, pages

FOLDER = "plots"
# The libraries that put a page on paper: with another version the same page may get other bytes.
LIBRARIES = ("matplotlib", "pillow")


def plots(frames: Mapping[str, pd.DataFrame], cautions: pd.DataFrame, kept: Path | None = None) -> dict[str, bytes]:
    """The files of all plots by their path in the release, for example ``plots/leek-soup-raw-to-plate.svg``.

    ``frames`` are the released tables by name, ``cautions`` has the columns of ``reference/cautions.csv``.
    ``kept`` is the folder of kept results: a plot whose page, code and libraries are as before is
    read from there, and a new one is left there. OSError where that folder cannot be written.
    """
    made: dict[str, bytes] = {}
    drawing = content.content_key(content.library_versions(), [version(name) for name in LIBRARIES], list(content.code_files(draw)))
    for page in pages(frames, cautions):
        drawn = draw(page) if kept is None else _kept(page, kept / f"plot-{content.content_key(drawing, page)}")
        made |= {f"{FOLDER}/{page.name}.{ending}": file for ending, file in drawn.items()}
    return made


def _kept(page: Page, file: Path) -> dict[str, bytes]:
    # Imported here: the form of kept results is Prefect's, and who only draws needs nothing of it.
    from pipeline.results import CheckedPickle, DamagedResult

    try:
        return CheckedPickle().loads(file.read_bytes())
    except (FileNotFoundError, DamagedResult):
        drawn = draw(page)
    file.parent.mkdir(parents=True, exist_ok=True)
    waiting = file.with_name(f".{file.name}.{os.getpid()}")
    waiting.write_bytes(CheckedPickle().dumps(drawn))
    os.replace(waiting, file)
    return drawn
