"""How stage results are written to disk and read again: pickled, with a checksum.

Prefect keeps a result in one file and, before it reuses it, reads the whole of it; where reading fails, it
computes the result again. So a reader that refuses anything but the exact bytes that were written is all
that is needed for a killed run, a full disk or a flipped bit never to reach a figure.
"""

from __future__ import annotations

import base64
import hashlib
import pickle
from typing import Any

from prefect.serializers import Serializer
from pydantic import Field


class DamagedResult(Exception):
    """A kept result is not what was written."""


class CheckedPickle(Serializer):
    """A pickle behind its SHA-256. The files are for this project's own use: pickles run code when read."""

    type: str = Field(default="potash-checked-pickle", frozen=True)

    def dumps(self, obj: Any) -> bytes:
        content = pickle.dumps(obj, protocol=pickle.HIGHEST_PROTOCOL)
        return hashlib.sha256(content).hexdigest().encode() + b":" + base64.b64encode(content)

    def loads(self, blob: bytes) -> Any:
        checksum, _, encoded = blob.partition(b":")
        try:
            content = base64.b64decode(encoded, validate=True)
        except ValueError as error:
            raise DamagedResult("not base64") from error
        if hashlib.sha256(content).hexdigest().encode() != checksum:
            raise DamagedResult("the checksum differs")
        return pickle.loads(content)


def was_damaged(task: Any, run: Any, state: Any) -> bool:
    """Retry a task only where its kept result changed while it was being read."""
    return isinstance(state.result(raise_on_failure=False), DamagedResult)
