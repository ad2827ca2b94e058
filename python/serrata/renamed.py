"""Names and uses of earlier versions: each is refused with what took its place."""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping
from typing import NoReturn, ParamSpec, TypeVar

__all__ = ["refuse_arguments", "refuse_attribute"]

P = ParamSpec("P")
R = TypeVar("R")


def refuse_attribute(owner: str, renamed: Mapping[str, str], name: str) -> NoReturn:
    """Refuse an attribute that a module or an object does not have; for its ``__getattr__``.

    Parameters
    ----------
    owner : str
        The module or class, as messages call it.
    renamed : mapping of str to str
        For each name of earlier versions, what to use instead.
    name : str
        The attribute.
    """
    if name in renamed:
        raise AttributeError(f"{owner}.{name} is no longer there\n    use {renamed[name]}")
    raise AttributeError(f"{owner} has no attribute {name!r}")


def refuse_arguments(**renamed: str) -> Callable[[Callable[P, R]], Callable[P, R]]:
    """Make a function refuse keyword arguments by their old names."""

    def decorate(function: Callable[P, R]) -> Callable[P, R]:
        @functools.wraps(function)
        def checked(*args: P.args, **kwargs: P.kwargs) -> R:
            for old in renamed.keys() & kwargs.keys():
                raise TypeError(f"{function.__name__}: {old} is no longer an argument\n    use {renamed[old]}")
            return function(*args, **kwargs)

        return checked

    return decorate
