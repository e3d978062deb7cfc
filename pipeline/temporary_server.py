"""A Prefect server that lives only as long as one run.

Prefect needs a server for every flow. Where none is configured, this module starts one as a second
process, and does so in the first milliseconds of a run: the server's imports (about two seconds on one
core) then overlap with those of the run itself. Only the standard library is imported here at the top.

How the two processes hold together:

* The parent opens the listening socket and hands it over, so the port is its own from the start and the
  first request simply waits until the server is up.
* The parent keeps one end of a pipe. However the parent ends (normally, by Ctrl-C, by `kill -9`), the
  pipe closes, and the server removes its folder and exits. There is no way to leave an orphan.
* Each run has its own database, a copy of a migrated one kept in `.potash/prefect`, so two runs at the
  same time share nothing, and the migrations (about five seconds) are run once per Prefect version.
"""

from __future__ import annotations

import atexit
import gc
import http.client
import os
import shutil
import socket
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

# What a server for one run does not need: schedules, late runs, workers, automations, old data, telemetry.
# The task run recorder and the event persister only fill a database that goes when the run ends.
SERVER_SETTINGS = {
    "DO_NOT_TRACK": "1",
    "PREFECT_SERVER_ANALYTICS_ENABLED": "false",
    "PREFECT_SERVER_UI_ENABLED": "false",
    "PREFECT_SERVER_REGISTER_BLOCKS_ON_START": "false",
    "PREFECT_SERVER_DATABASE_MIGRATE_ON_START": "false",  # done here, once; see `_prepare_database`
    "PREFECT_SERVER_EVENTS_STREAM_OUT_ENABLED": "false",
    "PREFECT_SERVER_SERVICES_CANCELLATION_CLEANUP_ENABLED": "false",
    "PREFECT_SERVER_SERVICES_CLEANUP_RECONCILER_ENABLED": "false",
    "PREFECT_SERVER_SERVICES_DB_VACUUM_ENABLED": "false",
    "PREFECT_SERVER_SERVICES_EVENT_PERSISTER_ENABLED": "false",
    "PREFECT_SERVER_SERVICES_FOREMAN_ENABLED": "false",
    "PREFECT_SERVER_SERVICES_LATE_RUNS_ENABLED": "false",
    "PREFECT_SERVER_SERVICES_PAUSE_EXPIRATIONS_ENABLED": "false",
    "PREFECT_SERVER_SERVICES_REPOSSESSOR_ENABLED": "false",
    "PREFECT_SERVER_SERVICES_SCHEDULER_ENABLED": "false",
    "PREFECT_SERVER_SERVICES_TASK_RUN_RECORDER_ENABLED": "false",
    "PREFECT_SERVER_SERVICES_TRIGGERS_ENABLED": "false",
    # Prefect's own name for "this server is a temporary one"; it leaves out what only a lasting one needs.
    "PREFECT__SERVER_EPHEMERAL": "1",
    "PREFECT__SERVER_FINAL": "1",
}
LEFTOVER_AFTER_SECONDS = 24 * 3600


class ServerError(RuntimeError):
    """The temporary server could not be started or died; the message says why and what to do."""


class TemporaryServer:
    """One server process, started by `start` and gone after `stop` or when this process ends."""

    def __init__(self, home: Path) -> None:
        self.home = home
        self.port = 0
        self.folder: Path | None = None
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def api_url(self) -> str:
        return f"http://127.0.0.1:{self.port}/api"

    @property
    def process_id(self) -> int | None:
        return self._process.pid if self._process else None

    def start(self) -> None:
        """Launch the server and return at once; `wait_until_ready` waits for it.

        Raises ServerError where the folder cannot be written or no local port can be opened.
        """
        try:
            runs = self.home / "runs"
            runs.mkdir(parents=True, exist_ok=True)
            _remove_leftovers(runs)
            self.folder = Path(tempfile.mkdtemp(prefix="run-", dir=runs))
            listener = socket.create_server(("127.0.0.1", 0), backlog=128)
        except OSError as error:
            raise ServerError(
                f"{self.home}: cannot prepare the temporary Prefect server ({error.strerror or error}). "
                "Make the folder writable and allow local ports on 127.0.0.1, or set PREFECT_API_URL to a "
                "Prefect server that is running."
            ) from error
        self.port = listener.getsockname()[1]
        with listener, open(self.folder / "server.log", "wb") as log:
            self._process = subprocess.Popen(
                # -P: do not put this folder on the path, its module names are not meant for others.
                [sys.executable, "-P", __file__, str(listener.fileno()), str(self.folder)],
                stdin=subprocess.PIPE,
                stdout=log,
                stderr=log,
                pass_fds=[listener.fileno()],
                env=_server_environment(self.home, self.folder),
                start_new_session=True,  # Ctrl-C is for the run; the server goes when the run has gone
            )
        atexit.register(self.stop)

    def wait_until_ready(self, timeout_seconds: float = 90.0) -> None:
        """Return when the server answers. Raises ServerError where it died or stays silent."""
        deadline = time.monotonic() + timeout_seconds
        while (left := deadline - time.monotonic()) > 0:
            connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=left)
            try:
                connection.connect()
            except OSError as error:
                # The socket has been open since before the server started: nothing can be gained by waiting.
                self._process_ended(1.0)
                raise ServerError(self._failure(error)) from error
            try:
                connection.request("GET", "/api/health")
                if connection.getresponse().status == 200:
                    return
            except OSError:
                if self._process_ended(0.1):
                    break
            finally:
                connection.close()
            time.sleep(0.02)
        raise ServerError(self._failure())

    def _process_ended(self, within_seconds: float) -> bool:
        try:
            return self._process is None or self._process.wait(within_seconds) is not None
        except subprocess.TimeoutExpired:
            return False

    def stop(self) -> None:
        """End the server and remove its folder. Safe to call again."""
        process, self._process = self._process, None
        if process is None:
            return
        atexit.unregister(self.stop)
        process.stdin.close()
        try:
            process.wait(timeout=3)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        shutil.rmtree(self.folder, ignore_errors=True)

    def _failure(self, error: OSError | None = None) -> str:
        if error is not None and not self._process_ended(0):
            return (
                f"The temporary Prefect server at 127.0.0.1:{self.port} cannot be reached ({error.strerror}). Allow "
                "local connections to 127.0.0.1, or set PREFECT_API_URL to a Prefect server that is running."
            )
        lines = (self.folder / "server.log").read_text(errors="replace").strip().splitlines()
        reason = lines[-1].strip() if lines else "it gave no reason"
        return (
            f"The temporary Prefect server did not start: {reason}. Remove the folder {self.home} and run "
            "again (it is made anew), or set PREFECT_API_URL to a Prefect server that is running."
        )


def _server_environment(home: Path, folder: Path) -> dict[str, str]:
    """The environment without any Prefect setting of the user, which would be for another server."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("PREFECT_")}
    database = f"sqlite+aiosqlite:///{folder / 'prefect.db'}"
    return {
        **kept,
        **SERVER_SETTINGS,
        "PREFECT_HOME": str(home),
        "PREFECT_PROFILES_PATH": str(home / "profiles.toml"),
        "PREFECT_SERVER_DATABASE_CONNECTION_URL": database,
    }


def _remove_leftovers(runs: Path) -> None:
    """Remove what a run left whose server, too, was killed outright (for example by a power cut)."""
    for folder in runs.iterdir():
        if time.time() - folder.stat().st_mtime > LEFTOVER_AFTER_SECONDS:
            shutil.rmtree(folder, ignore_errors=True)


def migrated_database(home: Path, prefect_version: str) -> Path:
    return home / f"migrated-{prefect_version}.db"


def _is_migrated(path: Path) -> bool:
    """Whether `path` is a whole database on which the migrations were run."""
    try:
        with sqlite3.connect(f"file:{path}?mode=ro&immutable=1", uri=True) as connection:
            whole = connection.execute("PRAGMA quick_check").fetchone() == ("ok",)
            return whole and connection.execute("SELECT count(*) FROM alembic_version").fetchone()[0] > 0
    except sqlite3.Error:
        return False


def _prepare_database(home: Path, folder: Path, prefect_version: str) -> None:
    """Give this run a migrated database: a copy of the kept one, or a new one that is then kept."""
    own, kept = folder / "prefect.db", migrated_database(home, prefect_version)
    if _is_migrated(kept):
        shutil.copyfile(kept, own)
        return
    import anyio
    from prefect.server.database import provide_database_interface

    anyio.run(provide_database_interface().create_db)
    part = folder / "kept.db"
    source, target = sqlite3.connect(own), sqlite3.connect(part)
    with target:
        source.backup(target)
    target.execute("PRAGMA journal_mode = DELETE")  # one file, to be copied as one file
    source.close()
    target.close()
    os.replace(part, kept)  # whole or not at all: another run may be doing the same


def _exit_with_parent(folder: Path) -> None:
    """Wait until the parent's end of the pipe closes, then leave nothing behind."""
    while os.read(0, 1024):
        pass
    shutil.rmtree(folder, ignore_errors=True)
    os._exit(0)


def _serve(descriptor: int, folder: Path) -> None:
    """The server process: serve on the socket that was handed over, until the parent ends."""
    threading.Thread(target=_exit_with_parent, args=(folder,), daemon=True).start()
    gc.disable()  # imports make many objects and no rubbish: a quarter faster without the collector
    import prefect
    import uvicorn
    from prefect.server.api.server import create_app

    _prepare_database(Path(os.environ["PREFECT_HOME"]), folder, prefect.__version__)
    config = uvicorn.Config(create_app(), log_level="error", lifespan="on", access_log=False)
    gc.freeze()
    gc.enable()
    uvicorn.Server(config).run(sockets=[socket.socket(fileno=descriptor)])


if __name__ == "__main__":
    _serve(int(sys.argv[1]), Path(sys.argv[2]))
