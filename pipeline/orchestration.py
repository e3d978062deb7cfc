"""Prefect, well behaved: quiet, inside the project, and without a server to install.

Use, in this order (`pipeline.cli` and `pipeline.flow` do):

    prepare(root)                            # first thing of the command, before pandas and Prefect
    with quick_imports():                    # then the large libraries, by way of the flow
        from pipeline.flow import ...
    parse = stage_task(parse_lines)          # one Prefect task per stage, results cached by content
    future = parse.submit(lines, keyed_vocabulary)      # inside a @flow
    reused, total = reuse([future, ...])
    run_flow(flow, arguments)                # waits for the server, runs, explains a failure

Results are kept in `<root>/.potash/results`, one file per content key (stage code, library versions,
inputs), and are read again when the key is the same. Everything Prefect writes goes below
`<root>/.potash`; with `reset` or by removing that folder a run starts afresh, and loses only time.
"""

from __future__ import annotations

import functools
import gc
import inspect
import os
import shutil
import sys
import threading
import tomllib
import urllib.error
import urllib.request
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.interruption import check, held
from pipeline.temporary_server import ServerError, TemporaryServer

if TYPE_CHECKING:
    from prefect import Flow, Task
    from prefect.futures import PrefectFuture

STATE_FOLDER = ".potash"
KEPT_RESULTS = 4000

# Said to Prefect before it is imported. Quiet and private; the user's own value for the log level stands.
CLIENT_SETTINGS = {
    "DO_NOT_TRACK": "1",
    "PREFECT_SERVER_ANALYTICS_ENABLED": "false",
    "PREFECT_CLOUD_ENABLE_ORCHESTRATION_TELEMETRY": "false",
    "PREFECT_TELEMETRY_ENABLE_RESOURCE_METRICS": "false",
    "GX_ANALYTICS_ENABLED": "false",
}
TEMPORARY_CLIENT_SETTINGS = {
    "PREFECT_LOGGING_TO_API_ENABLED": "false",
    "PREFECT_CLIENT_SERVER_VERSION_CHECK_ENABLED": "false",
    "PREFECT_SERVER_EPHEMERAL_ENABLED": "false",  # never a second server, started by Prefect itself
    # A failure is raised to the caller, who says it once; Prefect would print its traceback as well.
    "PREFECT_LOGGING_LEVEL": "CRITICAL",
}

_server: TemporaryServer | None = None
_root: Path | None = None


class OrchestrationError(RuntimeError):
    """The flow cannot run for a reason outside the collection; the message says what to do."""


def results_folder(root: Path) -> Path:
    return root / STATE_FOLDER / "results"


def kept_results() -> Path:
    """Where this run keeps results; call :func:`prepare` first."""
    return results_folder(_root)


def prepare(root: Path) -> None:
    """Set Prefect up for `root` and, where no server is configured, launch a temporary one in the background.

    Call it before anything imports Prefect; it takes a few hundredths of a second. A server is configured
    by PREFECT_API_URL in the environment, in the active profile of the user, or in a `prefect.toml` or
    `pyproject.toml` of the working folder; it is then used, with the user's own profile. A second call, for
    the same or another root, keeps the server and changes where results are kept.

    Raises OrchestrationError where the project folder cannot be written.
    """
    global _server, _root
    _root = root.resolve()
    if _server is not None:
        return
    profiles = _user_profiles_path()
    configured = _configured_api_url(profiles)
    home = _root / STATE_FOLDER / "prefect"
    os.environ.update(CLIENT_SETTINGS)
    os.environ["PREFECT_HOME"] = str(home)
    if configured:
        os.environ.setdefault("PREFECT_LOGGING_LEVEL", "WARNING")
        if profiles.is_file():
            os.environ["PREFECT_PROFILES_PATH"] = str(profiles)
        return
    os.environ["PREFECT_PROFILES_PATH"] = str(home / "profiles.toml")
    os.environ.pop("PREFECT_PROFILE", None)  # it names a profile of the user's file
    for variable, value in TEMPORARY_CLIENT_SETTINGS.items():
        os.environ.setdefault(variable, value)
    os.environ["NO_PROXY"] = os.environ["no_proxy"] = _without_proxy("127.0.0.1")
    try:
        with held():
            _server = TemporaryServer(home)
            _server.start()
    except ServerError as error:
        raise OrchestrationError(str(error)) from error
    os.environ["PREFECT_API_URL"] = _server.api_url


def _user_profiles_path() -> Path:
    named = os.environ.get("PREFECT_PROFILES_PATH")
    if named:
        return Path(named).expanduser()
    home = os.environ.get("PREFECT_HOME") or "~/.prefect"
    return Path(home).expanduser() / "profiles.toml"


def _configured_api_url(profiles_path: Path) -> str | None:
    """The server the user has set up, or None. Reads what Prefect reads, without importing it."""
    if url := os.environ.get("PREFECT_API_URL"):
        return url
    profiles = _read_toml(profiles_path)
    active = os.environ.get("PREFECT_PROFILE") or profiles.get("active")
    if url := profiles.get("profiles", {}).get(active, {}).get("PREFECT_API_URL"):
        return url
    if url := _read_toml(Path("prefect.toml")).get("api", {}).get("url"):
        return url
    return _read_toml(Path("pyproject.toml")).get("tool", {}).get("prefect", {}).get("api", {}).get("url")


def _read_toml(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return {}
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise OrchestrationError(f"{path}: cannot be read ({error}). Mend or remove it.") from error


def _without_proxy(host: str) -> str:
    known = os.environ.get("NO_PROXY") or os.environ.get("no_proxy") or ""
    return known if host in known.split(",") else ",".join(filter(None, [known, host]))


@contextmanager
def quick_imports() -> Iterator[None]:
    """Import the large libraries inside this block: a quarter faster without the garbage collector.

    What was imported is then left out of later collections, which makes the run and its end quicker too.
    """
    gc.disable()
    try:
        yield
    finally:
        gc.freeze()
        gc.enable()


def server_process_id() -> int | None:
    """The process of the temporary server, or None where there is none."""
    return _server.process_id if _server else None


def shut_down() -> None:
    """Stop the temporary server now rather than when the process ends. Safe to call at any time."""
    global _server
    if _server is not None:
        with held():
            _server.stop()
            _server = None
            os.environ.pop("PREFECT_API_URL", None)


def warm_up(root: Path) -> None:
    """Make the temporary server's migrated database now, so that the first run need not (about five seconds)."""
    prepare(root)
    if _server is not None:
        _wait_for_server()
        shut_down()


def run_flow(flow: Flow[..., Any], *arguments: Any, **named: Any) -> Any:
    """Run `flow` and return what it returns. What the flow itself raises is passed on unchanged.

    Keep the arguments small (paths, names): Prefect sends those of a flow to its server, those of a task
    it does not. Raises OrchestrationError where the server does not answer.
    """
    _wait_for_server()
    from prefect.settings import temporary_settings

    with temporary_settings(updates=_run_settings()), _without_events():
        try:
            return flow(*arguments, **named)
        except Exception:
            check()  # what came of a press is no failure of a stage
            raise
        finally:
            prune_results(results_folder(_root))


def _run_settings() -> dict[str, Any]:
    """What holds for one run, even where Prefect was imported, and so read its settings, before `prepare`."""
    settings: dict[str, Any] = {"results.local_storage_path": results_folder(_root)}
    if _server is not None:
        settings["api.url"] = _server.api_url
        # The heartbeat serves lasting servers. Its thread looks only once a second whether the flow has
        # ended, so each run would take up to a second longer. No environment variable turns it off.
        settings["flows.heartbeat_frequency"] = None
    return settings


@contextmanager
def _without_events() -> Iterator[None]:
    """With a temporary server, send it no events: nothing there keeps them, and the end would wait for them.

    A runner that spreads tasks over machines learns from events when a task is done: it needs a
    configured server, where this changes nothing.
    """
    if _server is None:
        yield
        return
    from prefect.events.clients import NullEventsClient
    from prefect.events.worker import EventsWorker

    EventsWorker.set_client_override(NullEventsClient)
    try:
        yield
    finally:
        EventsWorker.set_client_override(None)


def _wait_for_server() -> None:
    if _server is not None:
        try:
            _server.wait_until_ready()
        except ServerError as error:
            raise OrchestrationError(str(error)) from error
        return
    from prefect.settings import PREFECT_API_URL

    url = PREFECT_API_URL.value()
    if not url or _root is None:
        raise OrchestrationError("No Prefect server: call prepare() before the flow is run.")
    try:
        urllib.request.urlopen(f"{url.rstrip('/')}/health", timeout=10).close()
    except urllib.error.HTTPError:
        return  # it answers; what it thinks of this address is Prefect's to say
    except OSError as error:
        raise OrchestrationError(
            f"The configured Prefect server {url} does not answer ({error}). Start it, or unset PREFECT_API_URL "
            "(or the profile that sets it) to run with a temporary server."
        ) from error


def stage_task(
    function: Callable[..., Any],
    name: str | None = None,
    code_files: Sequence[Path] | None = None,
) -> Task[..., Any]:
    """A Prefect task around the pure stage `function`, its result kept and found again by content.

    The key covers the code (`code_files`, by default the function's file and all of this package that it
    imports), the versions of the libraries, and the arguments (see `content_key` for the types). Wrap a
    large table that many tasks share in `Keyed`, so that it is hashed once; the function gets the table.
    A damaged kept result is computed again. Functions must not change their arguments.

    Raises TypeError for a function that closes over variables: they would not be part of the key. A task run
    raises it for an argument that has no content key.
    """
    from prefect import task

    from pipeline import content, results

    original = inspect.unwrap(function)
    if getattr(original, "__closure__", None) or not inspect.isfunction(original):
        raise TypeError(f"{function!r}: a stage is a plain function; pass what it needs as arguments.")
    files = tuple(code_files) if code_files is not None else content.code_files(function)
    label = name or function.__name__
    code_key = content.content_key(label, original.__qualname__, content.library_versions(), list(files))

    refused = threading.local()  # key and stage of one task run follow each other in one thread

    def key(_: Any, arguments: dict[str, Any]) -> str:
        refused.error = None
        try:
            return f"{label}-{content.content_key(code_key, arguments)}"
        except Exception as error:
            refused.error = error  # Prefect would only log it, and never reuse the stage's results
            raise

    @functools.wraps(function)
    def stage(*arguments: Any, **named: Any) -> Any:
        if getattr(refused, "error", None):
            raise refused.error
        plain = [_unwrapped(argument) for argument in arguments]
        return function(*plain, **{word: _unwrapped(argument) for word, argument in named.items()})

    return task(
        stage,
        name=label,
        cache_key_fn=key,
        persist_result=True,
        result_serializer=results.CheckedPickle(),
        # Only for one case: another run was writing the very result that this one was reading.
        retries=1,
        retry_condition_fn=results.was_damaged,
    )


def _unwrapped(argument: Any) -> Any:
    from pipeline.content import Keyed

    return argument.value if isinstance(argument, Keyed) else argument


def is_cached(future: PrefectFuture[Any]) -> bool:
    """Whether the finished task behind `future` reused a kept result."""
    return future.state.name == "Cached"


def reuse(futures: Iterable[PrefectFuture[Any]]) -> tuple[int, int]:
    """How many of the finished tasks reused a kept result, and how many there are."""
    flags = [is_cached(future) for future in futures]
    return sum(flags), len(flags)


def prune_results(folder: Path, keep: int = KEPT_RESULTS) -> int:
    """Remove the oldest kept results beyond `keep` of them; return how many were removed."""
    if not folder.is_dir():
        return 0
    files = sorted((file for file in folder.iterdir() if file.is_file()), key=lambda file: file.stat().st_mtime)
    surplus = files[: max(0, len(files) - keep)]
    for file in surplus:
        file.unlink(missing_ok=True)
    return len(surplus)


def reset(root: Path) -> None:
    """Remove every kept result, so that the next run computes all stages."""
    shutil.rmtree(results_folder(root), ignore_errors=True)


if __name__ == "__main__":  # part of the set-up, see Makefile; a failure here is told again by the first run
    try:
        warm_up(Path.cwd())
    except OrchestrationError as problem:
        print(problem, file=sys.stderr)
