"""Runs the console command as a person would: another process, a folder of its own, a copy of the project.

The copy keeps tests apart from the checkout's own kept results and releases, and stays as it
was when a file is edited while the tests run.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

CHECKOUT = Path(__file__).resolve().parents[1]
PARTS = ("pipeline", "mappings", "reference", "pyproject.toml")
MAIN = "import sys; sys.argv[0] = 'potash'; from pipeline.cli import main; main()"
# Several calls in one process, each with its own exit code, output and errors; setting() may change the code first.
DRIVER = """
import json, os, sys, tempfile
sys.argv[0] = "potash"
setting, calls = sys.argv[1], json.loads(sys.argv[2])
exec(setting)
from pipeline.cli import main
answers, kept = [], (os.dup(1), os.dup(2))
for call in calls:
    files = tempfile.TemporaryFile(), tempfile.TemporaryFile()
    for number, file in zip((1, 2), files):
        os.dup2(file.fileno(), number)
    sys.argv[1:] = call
    code = 0
    try:
        main()
    except SystemExit as ending:
        code = ending.code or 0
    sys.stdout.flush(); sys.stderr.flush()
    for number, descriptor in zip((1, 2), kept):
        os.dup2(descriptor, number)
    texts = []
    for file in files:
        file.seek(0)
        texts.append(file.read().decode())
    answers.append([code, *texts])
print(json.dumps(answers))
"""


@dataclass(frozen=True)
class Result:
    """What a call came to."""

    code: int
    out: str
    err: str
    seconds: float = 0.0

    @property
    def said(self) -> list[str]:
        """The lines of the command's own message."""
        return [line.removeprefix("potash: ") for line in self.err.splitlines() if line.startswith("potash: ")]


class Project:
    """A copy of the project in the folder ``of``, without kept results or releases."""

    def __init__(self, folder: Path, of: Path = CHECKOUT):
        self.root = folder / "project"
        self.root.mkdir(parents=True)
        for name in PARTS:
            source = of / name
            if source.is_dir():
                shutil.copytree(source, self.root / name, ignore=shutil.ignore_patterns("build"))
            else:
                shutil.copy(source, self.root / name)
        self._with_database()
        kept = {name: value for name, value in os.environ.items() if not name.startswith(("PREFECT_", "POTASH_"))}
        self.environment = {**kept, "PYTHONPATH": str(self.root), "COLUMNS": "100"}

    def _with_database(self) -> None:
        """The server's migrated database, where the checkout has one: five seconds saved."""
        home = self.root / ".potash" / "prefect"
        home.mkdir(parents=True)
        for database in (CHECKOUT / ".potash" / "prefect").glob("migrated-*.db"):
            shutil.copy(database, home / database.name)

    def start(self, *arguments: str | Path, cwd: Path, **streams) -> subprocess.Popen:
        """A call that goes on by itself."""
        return subprocess.Popen([sys.executable, "-P", "-c", MAIN, *map(str, arguments)], cwd=cwd, env=self.environment,
                                **{"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True, **streams})

    def run(self, *arguments: str | Path, cwd: Path) -> Result:
        """One call, to its end."""
        before = time.monotonic()
        process = self.start(*arguments, cwd=cwd)
        out, err = process.communicate(timeout=180)
        return Result(process.returncode, out, err, time.monotonic() - before)

    def batch(self, calls: list[list[str | Path]], cwd: Path, setting: str = "") -> list[Result]:
        """Several calls one after the other in one process; ``setting`` is code that is run before them."""
        words = json.dumps([[str(word) for word in call] for call in calls])
        done = subprocess.run([sys.executable, "-P", "-c", DRIVER, setting, words], cwd=cwd, env=self.environment,
                              capture_output=True, text=True, timeout=300)
        assert done.returncode == 0, done.stderr
        return [Result(*answer) for answer in json.loads(done.stdout)]


def release_of(output: Path) -> Path:
    """The folder that ``latest`` names."""
    return output / (output / "latest").read_text().strip()


def contents(release: Path) -> dict[str, bytes]:
    """Every file of a release by its path; the manifest without the moment it was made."""
    found = {path.relative_to(release).as_posix(): path.read_bytes() for path in sorted(release.rglob("*")) if path.is_file()}
    manifest = json.loads(found["manifest.json"])
    assert manifest.pop("created")
    found["manifest.json"] = json.dumps(manifest, sort_keys=True).encode()
    return found


def left_behind(output: Path) -> list[str]:
    """Everything in the output folder but the lock, ``latest`` and whole releases."""
    if not output.is_dir():
        return []
    return [path.name for path in output.iterdir()
            if path.name not in (".lock", "latest") and not (path / "manifest.json").is_file()]
