"""JSON in which every text and object knows the line it stands on. Python's own decoder does the reading."""

from __future__ import annotations

import bisect
import json
import json.decoder
import json.scanner
import re
from typing import Any

from pipeline.stages.ingest_files import unreadable


class PlacedText(str):
    """A text with the ``line`` of the file where it begins."""

    line: int = 0


class PlacedObject(dict):
    """An object with the ``line`` of the file where it begins and the keys it has ``twice``."""

    line: int = 0
    twice: tuple[str, ...] = ()


def _from_pairs(pairs: list[tuple[str, Any]]) -> PlacedObject:
    placed = PlacedObject(pairs)
    if len(placed) < len(pairs):
        names = [name for name, _ in pairs]
        placed.twice = tuple(name for name in placed if names.count(name) > 1)
    return placed


class _Decoder(json.JSONDecoder):
    def __init__(self, text: str) -> None:
        super().__init__(object_pairs_hook=_from_pairs)
        self._ends = [found.start() for found in re.finditer("\n", text)]
        self.parse_string = self._text
        self.parse_object = self._object
        self.scan_once = json.scanner.py_make_scanner(self)

    def _line(self, offset: int) -> int:
        return bisect.bisect_left(self._ends, offset) + 1

    def _text(self, text: str, start: int, strict: bool = True) -> tuple[PlacedText, int]:
        value, end = json.decoder.scanstring(text, start, strict)
        placed = PlacedText(value)
        placed.line = self._line(start - 1)
        return placed, end

    def _object(self, text_and_start: tuple[str, int], *arguments: Any) -> tuple[PlacedObject, int]:
        placed, end = json.decoder.JSONObject(text_and_start, *arguments)
        placed.line = self._line(text_and_start[1] - 1)
        return placed, end


def read_json(text: str, source_file: str) -> Any:
    """The value of a JSON text, its texts as :class:`PlacedText`, its objects as :class:`PlacedObject`.

    Raises :class:`Unreadable` with line and column where it breaks.
    """
    try:
        return _Decoder(text).decode(text)
    except json.JSONDecodeError as error:
        raise unreadable(
            f"{source_file}, line {error.lineno}, column {error.colno}", f"is not valid JSON ({error.msg})",
            "Correct the file, or save the recipe again from where it came", "json-broken",
        ) from None
    except RecursionError:
        raise unreadable(source_file, "is nested too deeply to be a recipe", "Take the file away", "json-nested") from None
    except ValueError as error:  # a number with thousands of digits
        raise unreadable(source_file, f"is not valid JSON ({error})", "Correct the file", "json-broken") from None
