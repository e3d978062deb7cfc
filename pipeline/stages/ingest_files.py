"""Which files make up a collection, their bytes, hashes and text. Reading from disk happens here alone."""

from __future__ import annotations

import codecs
import hashlib
from dataclasses import dataclass
from pathlib import Path

from pipeline.problems import WARNING, InputError, Problem

LARGEST_FILE = 20_000_000  # bytes
YAML, JSON, SHEET_PAIR, WORKBOOK = ".yaml", ".json", ".csv", ".xlsx"
KINDS = {".yaml": YAML, ".yml": YAML, ".json": JSON, ".jsonld": JSON, ".csv": SHEET_PAIR, ".xlsx": WORKBOOK}
PASSED_OVER = (".md", ".txt")  # notes that may lie beside recipes
ACCEPTED = "Potash reads .yaml, .yml, .json, .jsonld, .xlsx, and recipes.csv with lines.csv"


@dataclass(frozen=True)
class SourceFile:
    """One input file. ``name`` is relative to the collection, with forward slashes."""

    name: str
    kind: str
    content: bytes
    sha256: str


class Unreadable(Exception):
    """A whole file cannot be used; carries the problem that says why."""

    def __init__(self, problem: Problem):
        self.problem = problem
        super().__init__(str(problem))


def unreadable(where: str, what: str, remedy: str, code: str) -> Unreadable:
    return Unreadable(Problem(where=where, what=what, remedy=remedy, code=code, stage="ingest"))


def source_files(path: Path) -> tuple[list[SourceFile], list[Problem]]:
    """The files of a collection in the order of their names, whatever their order on disk.

    ``path`` is a file or a folder (searched through its sub-folders; hidden files and folders are passed
    over). Raises :class:`InputError` if it does not exist or holds no file of a kind that can be read.
    """
    if not path.exists():
        raise InputError(_problem(str(path), "there is no such file or folder", "Give the path of a collection", "collection-missing"))
    chosen, problems = _in_folder(path) if path.is_dir() else _named(path)
    files = []
    for name, file in sorted(chosen.items()):
        try:
            files.append(_read(name, file))
        except Unreadable as error:
            problems.append(error.problem)
    if not files:
        nothing = _problem(str(path), "holds no recipe file that can be read", ACCEPTED, "collection-empty")
        raise InputError([*problems, nothing])
    return files, problems


def text_of(file: SourceFile) -> str:
    """The text of a file: UTF-8, or UTF-8 or UTF-16 with a byte order mark; line ends become ``\\n``.

    Raises :class:`Unreadable` for bytes that are no such text. Another encoding is never assumed: a
    fraction or a degree sign read wrongly would change an amount without anyone seeing it.
    """
    content, encoding = file.content, "utf-8-sig"
    if content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        encoding = "utf-16"
    try:
        text = content.decode(encoding)
    except UnicodeDecodeError as error:
        start = error.start + len(content) - len(error.object)  # a byte order mark may have been set aside
        line = content[:start].count(b"\n") + 1
        if b"\0" in content[:4096]:
            raise _not_text(file) from None
        raise unreadable(
            f"{file.name}, line {line}",
            f"byte {start} (0x{content[start]:02x}) is not {encoding.removesuffix('-sig').upper()} text",
            "Save the file as UTF-8", "encoding",
        ) from None
    if "\0" in text:
        raise _not_text(file)
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _not_text(file: SourceFile) -> Unreadable:
    return unreadable(file.name, "is not a text file", "Save the recipes as text in UTF-8, or take the file away", "not-text")


def _in_folder(folder: Path) -> tuple[dict[str, Path], list[Problem]]:
    chosen, problems = {}, []
    for file in folder.rglob("*"):
        relative = file.relative_to(folder)
        if not file.is_file() or any(part.startswith((".", "~$")) for part in relative.parts):
            continue
        if not _is_text(relative.as_posix()):
            problems.append(_problem(ascii(relative.as_posix()), "has a name that is not UTF-8", "Rename the file", "file-name"))
            continue
        if file.suffix.lower() in KINDS:
            chosen[relative.as_posix()] = file
        elif file.suffix.lower() not in PASSED_OVER:
            problems.append(_problem(
                relative.as_posix(), "is not a kind of file that holds recipes, and was left out",
                f"{ACCEPTED}; take the file away or save it as one of these", "file-kind", WARNING,
            ))
    return chosen, problems


def _is_text(name: str) -> bool:
    return not any("\ud800" <= character <= "\udfff" for character in name)


def _named(path: Path) -> tuple[dict[str, Path], list[Problem]]:
    kind = KINDS.get(path.suffix.lower())
    if kind is None or not path.is_file():
        raise InputError(_problem(path.name, "is not a kind of file that holds recipes", ACCEPTED, "file-kind"))
    chosen = {path.name: path}
    if kind == SHEET_PAIR:
        partner = path.with_name(_partner(path.name))
        chosen |= {partner.name: partner} if partner.is_file() else {}
    return chosen, []


def _partner(name: str) -> str:
    if name.endswith("lines.csv"):
        return name.removesuffix("lines.csv") + "recipes.csv"
    return name.removesuffix("recipes.csv") + "lines.csv"


def _read(name: str, path: Path) -> SourceFile:
    try:
        size = path.stat().st_size
        if size > LARGEST_FILE:
            raise unreadable(
                name, f"has {size:,} bytes; a recipe file has at most {LARGEST_FILE:,}",
                "Split the collection into smaller files, or take the file away", "file-too-large",
            )
        content = path.read_bytes()
    except OSError as error:
        raise unreadable(
            name, f"cannot be read ({error.strerror})", "Check the file and its permissions", "file-unreadable",
        ) from None
    return SourceFile(name, KINDS[path.suffix.lower()], content, hashlib.sha256(content).hexdigest())


def _problem(where: str, what: str, remedy: str, code: str, severity: str = "error") -> Problem:
    return Problem(where=where, what=what, remedy=remedy, code=code, severity=severity, stage="ingest")
