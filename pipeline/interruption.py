"""One press of Ctrl-C stops the work, wherever it falls.

Python raises KeyboardInterrupt at whatever the main thread is doing. Where that is a finaliser, a callback of
the garbage collector or a library that catches everything, the exception ends there and the work would go on.
So a press is recorded too, and it is raised again until the work is seen to end:

    with listening():        # the whole command
        with held():         # a few steps that belong together: a press waits for their end
        with publishing():   # the last of them: from here on there is nothing left to stop
        check()              # where a recorded press must not be passed over

A second press is never held back. Only the standard library is imported here.
"""

from __future__ import annotations

import signal
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

# How often it is looked whether a press was lost.
REMIND_SECONDS = 0.5
# How long others may take to put things in order (threads that are waited for, a server that is told).
PATIENCE_SECONDS = 2.0


@dataclass
class _State:
    wished: bool = False
    written: bool = False
    holds: int = 0
    raised_at: float = 0.0


_state = _State()


@contextmanager
def listening() -> Iterator[None]:
    """Make one press of Ctrl-C sure to end what runs inside, by KeyboardInterrupt.

    Changes nothing outside the main thread, or where Ctrl-C is ignored or somebody else's already.
    """
    global _state
    _state = _State()
    if (threading.current_thread() is not threading.main_thread()
            or signal.getsignal(signal.SIGINT) is not signal.default_int_handler):
        yield
        return
    alarm, told = signal.signal(signal.SIGALRM, _remind), sys.unraisablehook
    # Python would print where a press was lost; it is raised again.
    sys.unraisablehook = lambda lost: None if lost.exc_type is KeyboardInterrupt else told(lost)
    signal.signal(signal.SIGINT, _pressed)
    try:
        yield
    finally:
        last_words()
        sys.unraisablehook = told
        signal.signal(signal.SIGALRM, alarm)
        signal.signal(signal.SIGINT, signal.default_int_handler)


def last_words() -> None:
    """Remind no more: the work has ended, and so does the process. Another press ends it on the spot."""
    if signal.getsignal(signal.SIGINT) is _pressed:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGINT, signal.SIG_DFL)


def wished() -> bool:
    """Whether Ctrl-C was pressed."""
    return _state.wished


def written() -> bool:
    """Whether what was to be published is published."""
    return _state.written


def check() -> None:
    """Raise KeyboardInterrupt if Ctrl-C was pressed and there is still something to stop."""
    if _state.wished and not _state.written and not _state.holds:
        _stop()


@contextmanager
def held() -> Iterator[None]:
    """What is done inside is done whole: the first press is raised at its end. Keep it short."""
    _state.holds += 1
    try:
        yield
    finally:
        _state.holds -= 1
    check()


@contextmanager
def publishing() -> Iterator[None]:
    """As :func:`held`; a press before it stops it, one from its beginning on leaves the work to end by itself."""
    check()
    _state.holds += 1
    try:
        yield
        _state.written = True
    finally:
        _state.holds -= 1
    check()


def _pressed(*_: object) -> None:
    first, _state.wished = not _state.wished, True
    if first and (_state.holds or _state.written):
        _state.raised_at = time.monotonic()
        _start_reminding()
        return
    _stop()


def _stop() -> None:
    _state.raised_at = time.monotonic()
    _start_reminding()
    raise KeyboardInterrupt


def _start_reminding() -> None:
    if signal.getsignal(signal.SIGALRM) is _remind:
        signal.setitimer(signal.ITIMER_REAL, REMIND_SECONDS, REMIND_SECONDS)


def _remind(*_: object) -> None:
    """Raise the press again if it was lost, or if what others put in order takes too long."""
    if _state.holds:
        return
    patient = time.monotonic() - _state.raised_at < PATIENCE_SECONDS
    if patient and (_state.written or _unwinding(sys.exc_info()[1])):
        return
    _stop()


def _unwinding(error: BaseException | None) -> bool:
    """Whether what is being handled just now, in an except or finally clause, came of a press."""
    while error is not None:
        if isinstance(error, KeyboardInterrupt):
            return True
        error = error.__cause__ or error.__context__
    return False
