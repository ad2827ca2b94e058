"""Names and uses of earlier versions: each is refused with what took its place."""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterable, Mapping
from typing import Any, NoReturn, ParamSpec, TypeVar

__all__ = ["ChangedDict", "ChangedList", "refuse_arguments", "refuse_attribute"]

P = ParamSpec("P")
R = TypeVar("R")
T = TypeVar("T")


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


class ChangedList(list[T]):
    """A list under a name that was a method or a data frame before; these uses are refused. A copy is a plain list.

    Parameters
    ----------
    items : iterable
        What the list holds.
    refusal : str
        What was, and what to do instead.
    """

    def __init__(self, items: Iterable[T], refusal: str) -> None:
        super().__init__(items)
        self._refusal = refusal

    def __reduce__(self) -> tuple[Any, ...]:
        return list, (list(self),)

    def __call__(self, *_: object, **__: object) -> NoReturn:
        """Refuse."""
        raise TypeError(self._refusal)

    def __getitem__(self, key: Any) -> Any:  # noqa: ANN401
        if isinstance(key, str):
            raise TypeError(self._refusal)
        return super().__getitem__(key)

    def __getattr__(self, name: str) -> NoReturn:
        raise AttributeError(f"a list has no attribute {name!r}; {self._refusal}")


class ChangedDict(dict[str, Any]):
    """A dict under a name that was a method before; calling it is refused. A copy is a plain dict.

    Parameters
    ----------
    items : mapping
        What the dict holds.
    refusal : str
        What was, and what to do instead.
    """

    def __init__(self, items: Mapping[str, Any], refusal: str) -> None:
        super().__init__(items)
        self._refusal = refusal

    def __reduce__(self) -> tuple[Any, ...]:
        return dict, (dict(self),)

    def __call__(self, *_: object, **__: object) -> NoReturn:
        """Refuse."""
        raise TypeError(self._refusal)
