"""What fits of detection have in common: their words, and how they take numbers and records."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from serrata import _engine as engine
from serrata.errors import ArgumentError

if TYPE_CHECKING:
    import numpy.typing as npt

__all__ = [
    "Bounds",
    "Evidence",
    "GrowthEvidence",
    "Link",
    "Method",
    "Scale",
    "Size",
    "beyond",
    "beyond_mark",
    "for_engine",
    "mm",
    "numbers",
]

#: What records say of a technique, in the words of a study; `Study.with_technique` takes it.
Evidence = engine.Evidence
#: What sizes of cracks say of growth, in the words of a study; `Study.with_growth` takes it.
GrowthEvidence = engine.GrowthEvidence

Link = Literal["logit", "probit", "complementary-log-log"]
Scale = Literal["log", "plain"]
Size = Literal["length", "depth", "geometric-mean"]
Method = Literal[
    "modified-likelihood-ratio", "non-central-t", "likelihood-ratio", "wald", "pointwise-band", "simultaneous-band"
]
#: Lower and upper bound, each one-sided; None on a side where the data exclude nothing.
Bounds = tuple[float | None, float | None]


def beyond(size_mm: float | None, range_mm: tuple[float, float]) -> bool:
    """Tell whether a size lies beyond the largest crack looked at, so that no look speaks of it."""
    return size_mm is not None and size_mm > range_mm[1]


def beyond_mark(size_mm: float | None, range_mm: tuple[float, float]) -> str:
    """Give what is said of such a size."""
    return " (beyond the largest crack)" if beyond(size_mm, range_mm) else ""


def mm(size_mm: float | None) -> str:
    """Write a size; none where the curve does not come to it."""
    return "not reached" if size_mm is None else f"{size_mm:.3g} mm"


def numbers(name: str, values: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Take numbers in a row; one number is a row of one."""
    array = np.atleast_1d(np.asarray(values, dtype=np.float64))
    if array.ndim != 1:
        raise ArgumentError(f"{name} has {array.ndim} dimensions\n    must have one\n    give a list of numbers")
    return np.ascontiguousarray(array)


def for_engine(arguments: dict[str, Any]) -> dict[str, Any]:
    """Give arguments with the records that the engine knows."""
    return {**arguments, "records": arguments["records"]._engine} if "records" in arguments else arguments
