"""Fits of detection to hits and misses: what may be asked for, and how."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from serrata.detection import Link, Scale, Size, numbers
from serrata.errors import ArgumentError
from serrata.hit_miss import HitMissFit, made

if TYPE_CHECKING:
    import numpy.typing as npt

    from serrata.records import Records

__all__ = ["fit_hit_miss", "fit_records"]

#: An end of the curve that is fitted.
_FITTED = "fitted"


def fit_hit_miss(
    size_mm: npt.ArrayLike,
    found: npt.ArrayLike,
    *,
    size: Size = "length",
    factors: Mapping[str, Sequence[str]] | None = None,
    reference: Mapping[str, str] | None = None,
    inspector: Sequence[str] | None = None,
    link: Link = "logit",
    scale: Scale = "log",
    penalised: bool = False,
    floor: float | Literal["fitted"] = 0.0,
    ceiling: float | Literal["fitted"] = 1.0,
    between_inspectors: bool = False,
    size_error_log: float = 0.0,
    source: str = "",
) -> HitMissFit:
    """Fit a probability-of-detection curve to looks at cracks of known size.

    Parameters
    ----------
    size_mm : array_like of float, shape (n,)
        True size of the crack in each look, in mm; 0 for a place free of cracks, whose calls are false calls.
    found : array_like of bool, shape (n,)
        Whether the technique called it.
    size : {"length", "depth", "geometric-mean"}
        Which size it is.
    factors : mapping of str to sequence of str, optional
        Conditions that shift the curve, such as ``{"surface": [...]}``, with the level of each look.
    reference : mapping of str to str, optional
        Reference levels of factors; the level with most looks where left out.
    inspector : sequence of str, optional
        Who looked.
    link : {"logit", "probit", "complementary-log-log"}
        Shape of the curve; the last is none that a study has.
    scale : {"log", "plain"}
        Whether the curve is one of the logarithm of size, as in a study, or of size.
    penalised : bool
        Whether the likelihood is penalised (Firth 1993), for few or separated looks.
    floor, ceiling : float or "fitted"
        Probability of a call at the smallest and at the largest sizes.
    between_inspectors : bool
        Whether a spread between inspectors is fitted.
    size_error_log : float
        Known standard deviation of ln(measured size / true size); 0 where sizes are exact.
    source : str
        Where the looks are from; it goes into the basis.

    Returns
    -------
    HitMissFit

    Raises
    ------
    DataError
        For looks that carry no curve; `reason` says why: ``separation``, ``quasi-separation``, ``reversed``,
        ``flat``, ``one-class``, ``one-size``, ``too-few``, ``confounded``, ``inspectors`` or ``size-error``.
    ArgumentError
        For an argument out of range, or options that do not go together.
    """
    reference = dict(reference or {})
    columns = {name: [str(level) for level in levels] for name, levels in (factors or {}).items()}
    _check_reference(reference, columns)
    arguments = {
        "size_mm": numbers("size_mm", size_mm),
        "called": _answers(found),
        "size": size,
        "factors": [(name, reference.get(name), levels) for name, levels in columns.items()],
        "inspectors": None if inspector is None else [str(name) for name in inspector],
        "source": source,
        "options": _options(link, scale, penalised, floor, ceiling, between_inspectors, size_error_log),
    }
    return made("fit", arguments, {})


def fit_records(
    records: Records,
    technique: str,
    *,
    size: Size,
    sizes_by: str | None,
    factors: Sequence[str],
    reference: Mapping[str, str] | None,
    **options: Any,  # noqa: ANN401
) -> HitMissFit:
    """Fit a curve to looks in records; see `Records.fit_hit_miss`, which has all options."""
    reference = dict(reference or {})
    _check_reference(reference, factors)
    arguments = {
        "records": records,
        "technique": technique,
        "size": size,
        "sizes_by": sizes_by,
        "factors": [(name, reference.get(name)) for name in factors],
        "options": _options(**options),
    }
    return made("fit_records", arguments, {})


def _options(
    link: Link,
    scale: Scale,
    penalised: bool,
    floor: float | Literal["fitted"],
    ceiling: float | Literal["fitted"],
    between_inspectors: bool,
    size_error_log: float,
) -> dict[str, Any]:
    return {
        "link": link,
        "scale": scale,
        "penalised": penalised,
        "floor": _limit("floor", floor),
        "ceiling": _limit("ceiling", ceiling),
        "between_inspectors": between_inspectors,
        "size_error_log": size_error_log,
    }


def _limit(name: str, limit: float | str) -> float | None:
    """Give the probability at which an end of the curve is held; None for one that is fitted."""
    if isinstance(limit, str):
        if limit != _FITTED:
            raise ArgumentError(f'{name} = {limit!r}\n    must be a probability or "fitted"\n    give one of these')
        return None
    return float(limit)


def _check_reference(reference: Mapping[str, str], factors: Sequence[str] | Mapping[str, Any]) -> None:
    for name in reference:
        if name not in factors:
            known = ", ".join(factors) or "there are none"
            raise ArgumentError(f"reference = {name!r}\n    is no factor of this fit\n    choose from: {known}")


def _answers(found: npt.ArrayLike) -> npt.NDArray[np.bool_]:
    """Take answers as true or false, or as 1 and 0; anything else is not an answer."""
    array = np.atleast_1d(np.asarray(found))
    if array.ndim != 1 or not np.isin(array, (0, 1)).all():
        raise ArgumentError(
            "found has values that are neither true nor false\n    each look found the crack or did not\n"
            "    give True and False, or 1 and 0; leave out looks whose answer is not known"
        )
    return np.ascontiguousarray(array.astype(np.bool_))
