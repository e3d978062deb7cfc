"""One press of Ctrl-C ends the work, also where a library swallows it; each case is a small process of its own."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

CASE = """
import gc, os, signal, sys, time, weakref
sys.path.insert(0, {root!r})
from pipeline import interruption
interruption.REMIND_SECONDS, interruption.PATIENCE_SECONDS = 0.05, {patience}

def press():
    os.kill(os.getpid(), signal.SIGINT)
    for _ in range(100):
        pass

def work(seconds=10):
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        time.sleep(0.01)
    print("went on")

class Rubbish:
    def __del__(self):
        press()

def heard(phase, info):
    gc.callbacks.clear()
    press()

try:
    with interruption.listening():
{body}
except KeyboardInterrupt:
    print("stopped")
assert signal.getsignal(signal.SIGINT) is signal.default_int_handler and signal.getitimer(signal.ITIMER_REAL) == (0, 0)
"""


def said(body: str, patience: float = 30) -> list[str]:
    """What the process prints that does ``body`` while it listens; nothing may be complained of."""
    indented = "".join(f"        {line}\n" for line in body.strip("\n").splitlines())
    code = CASE.format(root=str(Path(__file__).resolve().parents[1]), patience=patience, body=indented)
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert (done.returncode, done.stderr) == (0, "")
    return done.stdout.splitlines()


@pytest.mark.parametrize("lost", [
    "Rubbish()",
    "gc.callbacks.append(heard)\ngc.collect()",
    "thing = Rubbish.__class__('Thing', (), {})()\nkept = weakref.ref(thing, lambda _: press())\ndel thing",
    "try:\n    press()\nexcept BaseException:\n    pass",
    "try:\n    press()\nexcept BaseException as error:\n    failure = error",
], ids=["finaliser", "garbage collection", "weak reference", "caught", "caught and kept"])
def test_a_press_that_was_swallowed_is_raised_again(lost):
    assert said(f"{lost}\nprint('lost')\nwork()") == ["lost", "stopped"]


def test_a_swallowed_press_is_raised_until_it_is_heard():
    assert said("""
Rubbish()
for caught in range(4):
    try:
        work()
    except BaseException:
        print(caught)
work()
""") == ["0", "1", "2", "3", "stopped"]


def test_putting_in_order_is_not_broken_into():
    tidying = "try:\n    press()\nfinally:\n    work(0.3)\n    print('in order')"
    assert said(tidying) == ["went on", "in order", "stopped"]
    held = "try:\n    press()\nfinally:\n    with interruption.held():\n        work(0.3)"
    assert said(held, patience=0.1) == ["went on", "stopped"]


def test_what_others_put_in_order_for_too_long_is_broken_into():
    assert said("try:\n    press()\nfinally:\n    work()", patience=0.2) == ["stopped"]


def test_a_press_waits_for_the_end_of_what_belongs_together_and_a_second_one_does_not():
    assert said("with interruption.held():\n    press()\n    work(0.2)\nprint('no')") == ["went on", "stopped"]
    assert said("with interruption.held():\n    press()\n    print('first')\n    press()\n    work()") == ["first", "stopped"]


def test_a_press_stops_before_publishing_but_not_after():
    swallowed = "try:\n    press()\nexcept BaseException:\n    pass\nwith interruption.publishing():\n    print('published')"
    assert said(swallowed) == ["stopped"]
    assert said("with interruption.publishing():\n    press()\nwork(0.2)\nprint(interruption.written())") == ["went on", "True"]
    assert said("with interruption.publishing():\n    press()\nwork()", patience=0.2) == ["stopped"]
    assert said("with interruption.publishing():\n    pass\npress()\nprint('last words')\npress()\nwork()") == ["last words", "stopped"]


def test_what_could_not_be_published_can_still_be_stopped():
    failed = "try:\n    with interruption.publishing():\n        press()\n        raise OSError\nexcept OSError:\n    print('failed')\ninterruption.check()"
    assert said(failed) == ["failed", "stopped"]


def test_a_ctrl_c_that_somebody_else_hears_is_left_to_them():
    ignored = "heard = signal.signal(signal.SIGINT, signal.SIG_IGN)\nwith interruption.listening():\n    press()\n    work(0.1)\n"
    assert said(f"{ignored}signal.signal(signal.SIGINT, heard)\npress()\nwork()") == ["went on", "stopped"]
