"""The base class of results that the engine gives as JSON."""

from __future__ import annotations

import json
from typing import Any

from serrata.card import Carded

__all__ = ["JsonResult"]


class JsonResult(Carded):
    """A result that the engine gave as JSON. It never changes; results of equal text are equal."""

    __slots__ = ("_content", "_json")

    _json: str
    _content: Any

    def __init__(self, text: str) -> None:
        object.__setattr__(self, "_json", text)
        object.__setattr__(self, "_content", json.loads(text))

    def __setattr__(self, name: str, value: object) -> None:
        raise AttributeError(f"{type(self).__name__} does not change")

    def to_json(self) -> str:
        """Give everything as JSON."""
        return self._json

    def report(self) -> str:
        """Give the whole answer as plain text, as the command line prints it."""
        raise NotImplementedError

    def __eq__(self, other: object) -> bool:
        return self._json == other._json if isinstance(other, type(self)) else NotImplemented

    def __hash__(self) -> int:
        return hash(self._json)

    def __str__(self) -> str:
        return self.report()

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), (self._json,)
