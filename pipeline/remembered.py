"""Results that are costly to make and depend on tables alone, remembered by the content of these tables.

One process asks for the same compiled vocabulary and index again and again: for every partition of a
collection, for both sides of a dry run, for every decision that is weighed.
"""

from __future__ import annotations

import functools
import threading
from collections import OrderedDict
from collections.abc import Callable
from typing import ParamSpec, TypeVar

from pipeline.content import content_key

Parameters = ParamSpec("Parameters")
Result = TypeVar("Result")


def remembered(most: int) -> Callable[[Callable[Parameters, Result]], Callable[Parameters, Result]]:
    """Decorates a pure function of tables and plain values: its last ``most`` results are kept, by ``content_key`` of what it was given.

    The result is shared by all who ask, so nobody may change it. Two threads that ask at once make it once.
    """
    def decorate(function: Callable[Parameters, Result]) -> Callable[Parameters, Result]:
        kept: OrderedDict[str, Result] = OrderedDict()
        lock = threading.Lock()

        @functools.wraps(function)
        def asked(*args: Parameters.args, **named: Parameters.kwargs) -> Result:
            key = content_key(args, named)
            with lock:
                if key not in kept:
                    kept[key] = function(*args, **named)
                kept.move_to_end(key)
                while len(kept) > most:
                    kept.popitem(last=False)
                return kept[key]

        return asked

    return decorate
