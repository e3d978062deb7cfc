"""Release: write the dataset whole, or not at all.

A release is a folder of tables (CSV and Parquet), their description, a manifest with the
hash of every file in and out, the checks it passed and the cautions that belong beside
its figures. It is written beside its place and renamed into it. Everything in it but the
manifest's ``created`` follows from the inputs.
"""

from __future__ import annotations

import hashlib
import json
import platform
import re
from collections.abc import Callable, Mapping, Sequence
from contextlib import nullcontext
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.checks import CheckResult
from pipeline.interruption import publishing
from pipeline.problems import InputError, Problem
from pipeline.released import Evidence
from pipeline.stages import release_files as files
from pipeline.stages.release_folder import locked, put_in_place, staging
from pipeline.stages.release_package import as_json, datapackage, readme
from pipeline.stages.release_report import report_page
from pipeline.stages.release_tables import STAGE, TABLES, arranged

MANIFEST = "manifest.json"
LATEST = "latest"
# The policy that the verdicts rest on, as it was.
POLICY_COPY = "evidence/policy.toml"
RELEASE_ID = re.compile(r"[a-z0-9][a-z0-9-]{0,79}")
# The libraries on which a number, or a byte of a file, may depend.
LIBRARIES = ("numpy", "pandas", "pyarrow", "great-expectations", "matplotlib", "pillow", "jinja2")
# From the released tables and the cautions to the files of the plots by their path.
Plots = Callable[[Mapping[str, pd.DataFrame], pd.DataFrame], Mapping[str, bytes]]
# From the written tables, title, release id, cautions and plots to the files of the pages by their path.
Pages = Callable[[Evidence, str, str, Sequence[str], Mapping[str, bytes]], Mapping[str, bytes]]


@dataclass(frozen=True)
class InputFile:
    """A file that the release rests on: path from the project or collection, SHA-256, and what it is for."""

    path: str
    sha256: str
    role: str


@dataclass(frozen=True)
class ReleaseMeta:
    """What a release says about itself.

    ``release_id`` follows from the content (lower case, digits, hyphens). ``cautions``
    and ``sources`` have the columns of the reference files of those names. ``licences``
    are those of the release itself. ``created`` is the moment of writing if empty; ``further`` are files to carry along, by path.
    """

    release_id: str
    title: str
    tool_version: str
    table_name: str
    table_version: str
    inputs: tuple[InputFile, ...]
    cautions: pd.DataFrame = field(hash=False)
    sources: pd.DataFrame = field(hash=False)
    exit_status: int = 0
    licences: tuple[Mapping[str, str], ...] = ()
    created: str = ""
    further: Mapping[str, bytes] = field(default_factory=dict, hash=False)


@dataclass(frozen=True)
class ReleaseResult:
    """Where the release is, and whether it was ``written``, ``replaced`` or found ``unchanged``."""

    folder: Path
    state: str
    manifest: dict[str, Any] = field(hash=False)


def release(
    tables: Mapping[str, pd.DataFrame], meta: ReleaseMeta, output: Path,
    checks: CheckResult | Callable[[], CheckResult], already_locked: bool = False, plots: Plots | None = None,
    pages: Pages | None = None,
) -> ReleaseResult:
    """Write ``output/<release_id>/`` and point ``output/latest`` at it.

    ``checks`` is the result of ``pipeline.checks.guard``, or a call that waits for it
    (asked for when the tables are on the disk). ``already_locked`` says that the caller
    holds ``release_folder.locked(output)``. ``plots`` draws (``release_plots.plots``) and
    ``pages`` writes the pages (``release_pages.pages``); None leaves them out. Raises InputError, and leaves what was there before, when a check failed, a table is not as declared, the disk is full or cannot be
    written, or another run is writing there. Ctrl-C leaves what was there before, too.
    """
    frames = arranged(tables)
    cautions = _cautions(meta)
    if not RELEASE_ID.fullmatch(meta.release_id) or meta.release_id == LATEST:
        raise InputError(_problem(
            f"release {meta.release_id!r}", "is not a usable name", "Use lower-case letters, digits and hyphens"))
    with nullcontext() if already_locked else locked(output), staging(output, meta.release_id) as folder:
        written = _write_tables(frames, folder)
        # Drawn while the checks run in another process.
        drawn = plots(frames, meta.cautions) if plots else {}
        told = pages(Evidence(folder), meta.title, meta.release_id, cautions, drawn) if pages else {}
        passed = _passed(checks() if callable(checks) else checks)
        package = datapackage(
            frames, written, meta.release_id, meta.title, cautions, meta.sources, [dict(one) for one in meta.licences])
        contents = {
            **drawn, **told, **meta.further,
            "datapackage.json": as_json(package),
            "checks.json": passed.as_json(),
            "checks.html": report_page(passed, frames, meta.title, meta.release_id, cautions).encode(),
            "CAUTIONS.txt": ("\n\n".join(cautions) + "\n").encode(),
            "README.txt": readme(meta.title, frames, bool(drawn), bool(told)).encode(),
        }
        for path, content in contents.items():
            written[path] = _write(folder / path, content)
        manifest = _manifest(meta, frames, written)
        files.write_file(folder / MANIFEST, as_json(manifest))
        with publishing():
            state = _publish(folder, output / meta.release_id, manifest)
            files.replace_file(output / LATEST, f"{meta.release_id}\n".encode())
    return ReleaseResult(output / meta.release_id, state, manifest)


def latest(output: Path) -> Path:
    """The folder of the newest release. InputError when there is none."""
    try:
        folder = output / (output / LATEST).read_text(encoding="utf-8").strip()
    except OSError:
        folder = output / LATEST
    if not (folder / MANIFEST).is_file():
        raise InputError(_problem(str(output), "holds no release", "Make one with: potash run"))
    return folder


def read_manifest(folder: Path) -> dict[str, Any]:
    """The manifest of a release; InputError where it is missing or unreadable."""
    try:
        return json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise InputError(_problem(
            str(folder / MANIFEST), f"cannot be read: {error}",
            "Name the folder of a release, or make it again")) from None


def changed_files(folder: Path) -> list[Problem]:
    """Every file of a release that is not as the manifest says: changed, missing or added."""
    listed = {row["path"]: row for row in read_manifest(folder)["outputs"]}
    present = {path.relative_to(folder).as_posix(): path for path in sorted(folder.rglob("*")) if path.is_file()}
    present.pop(MANIFEST, None)
    found = {path: "is in the manifest but not in the release" for path in listed.keys() - present.keys()}
    found |= {path: "is in the release but not in the manifest" for path in present.keys() - listed.keys()}
    for path in listed.keys() & present.keys():
        digest = hashlib.sha256(present[path].read_bytes()).hexdigest()
        if digest != listed[path]["sha256"]:
            found[path] = f"was changed: SHA-256 {digest}, and the manifest says {listed[path]['sha256']}"
    remedy = "Do not use this release; make it again from its inputs"
    return [_problem(str(folder / path), found[path], remedy, "file-changed") for path in sorted(found)]


def _write_tables(frames: Mapping[str, pd.DataFrame], folder: Path) -> dict[str, tuple[int, str]]:
    written = {}
    for name, frame in frames.items():
        try:
            cells = files.texts(frame)
        except ValueError as error:
            remedy = "This is a defect in the stage that made the table; report it"
            raise InputError(_problem(f"table {name}", str(error), remedy)) from None
        contents = {"csv": files.csv_bytes(cells), "parquet": files.parquet_bytes(frame, cells)}
        for ending, content in contents.items():
            path = TABLES[name].path(name, ending)
            written[path] = _write(folder / path, content)
    return written


def _write(path: Path, content: bytes) -> tuple[int, str]:
    files.write_file(path, content)
    return len(content), files.sha256(content)


def _cautions(meta: ReleaseMeta) -> list[str]:
    if meta.cautions.empty:
        raise InputError(_problem(
            "reference/cautions.csv", "holds no caution, and no figure is published without one", "Restore the file"))
    rows = meta.cautions.sort_values("caution_id")
    for_readers = rows["audience_of_text"] == "reader"
    return [*rows.loc[for_readers, "text"], *rows.loc[~for_readers, "text"]]


def _passed(checks: CheckResult) -> CheckResult:
    if checks.passed:
        return checks
    raise InputError(checks.problems() or _problem("release checks", "none was made", "This is a defect; report it"))


def _manifest(
    meta: ReleaseMeta, frames: Mapping[str, pd.DataFrame], written: dict[str, tuple[int, str]],
) -> dict[str, Any]:
    return {
        "release": meta.release_id,
        "title": meta.title,
        "created": meta.created or datetime.now(UTC).isoformat(timespec="seconds"),
        "exit_status": meta.exit_status,
        "tool": {"name": "potash", "version": meta.tool_version},
        "python": platform.python_version(),
        "libraries": {name: version(name) for name in LIBRARIES},
        "composition_table": {"name": meta.table_name, "version": meta.table_version},
        "counts": {
            "figures": _counted(frames, "figures", "status"),
            "lines": _counted(frames, "lines", "outcome"),
            "verdicts": _counted(frames, "verdicts", "verdict"),
            "rows": {name: len(frame) for name, frame in frames.items()},
        },
        "inputs": [asdict(file) for file in sorted(meta.inputs, key=lambda file: (file.path, file.role))],
        "outputs": [
            {"path": path, "bytes": size, "sha256": digest} for path, (size, digest) in sorted(written.items())],
    }


def _counted(frames: Mapping[str, pd.DataFrame], table: str, column: str) -> dict[str, int]:
    if table not in frames:
        return {}
    return {str(value): int(count) for value, count in frames[table][column].value_counts().sort_index().items()}


def _publish(folder: Path, home: Path, manifest: dict[str, Any]) -> str:
    """Put the folder in place, unless the same release is there unharmed: then only its moment is renewed."""
    if home.exists() and not home.is_dir():
        raise InputError(_problem(
            str(home), "is a file, not a release", "Remove it, or name another folder with --output"))
    if home.exists() and _is_same(home, manifest):
        files.replace_file(home / MANIFEST, as_json(manifest))
        return "unchanged"
    return "replaced" if put_in_place(folder, home) else "written"


def _is_same(home: Path, manifest: dict[str, Any]) -> bool:
    try:
        return {**read_manifest(home), "created": ""} == {**manifest, "created": ""} and not changed_files(home)
    except InputError:
        return False


def _problem(where: str, what: str, remedy: str, code: str = "release") -> Problem:
    return Problem(where=where, what=what, remedy=remedy, code=code, stage=STAGE)
