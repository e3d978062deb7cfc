"""What takes seconds to make and several tests only read: made once for all processes that the tests run in."""

from __future__ import annotations

import fcntl
import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest


def made_once(factory: pytest.TempPathFactory, name: str, make: Callable[[Path], object]) -> Path:
    """The folder ``name`` as ``make(folder)`` fills it, the first time that any process asks for it; nobody may write into it."""
    base = factory.getbasetemp()
    home = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "made-once"
    home.mkdir(exist_ok=True)
    folder, whole = home / name, home / f"{name}.whole"
    with open(home / f"{name}.lock", "w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not whole.exists():
            shutil.rmtree(folder, ignore_errors=True)  # of a process that was ended over it
            folder.mkdir()
            make(folder)
            whole.touch()
    return folder
