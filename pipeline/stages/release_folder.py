"""One release folder at a time, whole or not at all: the lock, and putting a folder in its place.

The lock is the operating system's own (flock): it ends with the process that holds it,
so a run that was killed leaves no lock behind that somebody would have to remove.
"""

from __future__ import annotations

import errno
import fcntl
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from pipeline.interruption import held
from pipeline.problems import InputError, Problem
from pipeline.stages.release_files import sync_folder

LOCK = ".lock"
PARTIAL = ".partial-"
REPLACED = ".replaced-"
STAGE = "release"


@contextmanager
def locked(output: Path) -> Iterator[None]:
    """Hold ``output`` for this run; make the folder if there is none.

    Raises InputError at once when another run holds it, or when the folder cannot be
    written. What a killed run left behind is put in order first. Not re-entrant: who
    holds the lock tells ``release`` so.
    """
    with refused(output):
        output.mkdir(parents=True, exist_ok=True)
        descriptor = os.open(output / LOCK, os.O_RDWR | os.O_CREAT, 0o644)
    try:
        with refused(output):
            _take(output, descriptor)
            tidy(output)
        yield
    finally:
        os.close(descriptor)


def _take(output: Path, descriptor: int) -> None:
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        holder = os.pread(descriptor, 20, 0).decode(errors="replace").strip()
        raise InputError(Problem(
            where=str(output), what=f"another run is writing here (process {holder or 'unknown'})",
            remedy="Wait until it has ended, or name another folder with --output", code="second-run",
            stage=STAGE)) from None
    os.ftruncate(descriptor, 0)
    os.pwrite(descriptor, f"{os.getpid()}\n".encode(), 0)


def tidy(output: Path) -> None:
    """Remove half-written folders of runs that were killed, and put back a release caught between two renames."""
    for folder in sorted(output.glob(f".*{REPLACED}*")):
        home = output / folder.name[1:].partition(REPLACED)[0]
        if home.exists():
            shutil.rmtree(folder)
        else:
            folder.rename(home)
    for folder in output.glob(f".*{PARTIAL}*"):
        shutil.rmtree(folder)
    for file in output.glob(".*.partial"):
        file.unlink()


@contextmanager
def staging(output: Path, name: str) -> Iterator[Path]:
    """A new folder beside the release; gone at the end, unless it was put in place by then.

    An OSError inside (a full disk, no permission) becomes an InputError; anything else,
    Ctrl-C too, passes through. Either way nothing half-written stays.
    """
    folder = output / f".{name}{PARTIAL}{os.getpid()}"
    with refused(output):
        try:
            folder.mkdir()
            yield folder
        finally:
            with held():
                shutil.rmtree(folder, ignore_errors=True)


def put_in_place(folder: Path, home: Path) -> bool:
    """Rename the finished folder to ``home``; True if it replaced one. The old one returns if the renaming fails."""
    for inner in [folder, *(path for path in folder.rglob("*") if path.is_dir())]:
        sync_folder(inner)
    old = home.with_name(f".{home.name}{REPLACED}{os.getpid()}")
    replaced = home.exists()
    try:
        if replaced:
            home.rename(old)
        folder.rename(home)
    except BaseException:
        if old.exists() and not home.exists():
            old.rename(home)
        raise
    sync_folder(home.parent)
    if replaced:
        shutil.rmtree(old, ignore_errors=True)
    return replaced


@contextmanager
def refused(output: Path) -> Iterator[None]:
    """Turn an OSError into an InputError that says what to do; nothing was written."""
    try:
        yield
    except OSError as error:
        named = str(error.filename or output)
        raise InputError(Problem(
            where=str(output) if PARTIAL in named else named, what=f"cannot be written: {error.strerror or error}",
            remedy=f"{_remedy(error)}; no release was written", code=_code(error), stage=STAGE)) from error


def _code(error: OSError) -> str:
    return "disk-full" if error.errno in (errno.ENOSPC, errno.EDQUOT) else "not-writable"


def _remedy(error: OSError) -> str:
    if _code(error) == "disk-full":
        return "Free some space on that disk, or name a folder on another with --output"
    if error.errno in (errno.EEXIST, errno.ENOTDIR):
        return "Name a folder, not a file, with --output"
    return "Check the permissions of the folder, or name another with --output"
