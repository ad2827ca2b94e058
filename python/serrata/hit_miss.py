"""Probability of detection from hits and misses."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, NoReturn

import numpy as np

from serrata import _engine as engine
from serrata import detection_plots, renamed
from serrata.about import CAUTION
from serrata.card import Card, Carded, of_frame
from serrata.detection import Bounds, Evidence, Link, Method, Scale, beyond, beyond_mark, for_engine, mm, numbers
from serrata.report_blocks import Table

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd
    from matplotlib.axes import Axes

__all__ = ["HitMissFit", "made"]

#: Names of earlier versions, with what took their place.
_RENAMED = {"false_calls": "HitMissFit.false_call_counts", "summary": "HitMissFit.report"}


class HitMissFit(Carded):
    """A curve fitted to hits and misses. It never changes.

    Made by `fit_hit_miss` or `Records.fit_hit_miss`. With factors, sizes and probabilities are those at the
    reference levels, or at the levels that `with_levels` was given.

    Bounds are one-sided at the confidence asked for: two at 95 % make a 90 % interval. They are made by
    `usual_method` unless another is asked for. In small samples the plain likelihood ratio's upper bound of q90 holds
    too seldom, and Wald's more so.

    Examples
    --------
    >>> import serrata
    >>> size_mm = [0.4, 0.6, 0.8, 0.9, 1.1, 1.2, 1.4, 1.5, 1.8, 2.0, 2.3, 2.7, 3.1, 3.6]
    >>> found = [0, 0, 0, 1, 0, 0, 1, 0, 1, 1, 0, 1, 1, 1]
    >>> fit = serrata.fit_hit_miss(size_mm, found)
    >>> fit.pod_at(fit.q50_mm).round(6)
    array([0.5])
    >>> fit.q90_mm < fit.q90_95_mm
    True
    """

    __slots__ = ("_engine", "_made_by")

    _engine: engine.HitMissFit
    _made_by: tuple[Any, ...]

    def __init__(self) -> None:
        raise TypeError("a HitMissFit is made by fit_hit_miss(size_mm, found) or records.fit_hit_miss(technique)")

    @classmethod
    def _of(cls, inner: engine.HitMissFit, *made_by: object) -> HitMissFit:
        fit = cls.__new__(cls)
        object.__setattr__(fit, "_engine", inner)
        object.__setattr__(fit, "_made_by", made_by)
        return fit

    def __setattr__(self, name: str, value: object) -> None:
        raise AttributeError("a HitMissFit does not change; fit again")

    def __reduce__(self) -> tuple[Callable[..., HitMissFit], tuple[Any, ...]]:
        return made, self._made_by

    def _card(self) -> Card:
        sizes = {"q50": (0.5, self.q50_mm), "q90": (0.9, self.q90_mm)}
        lines = [[name, mm(size), *map(mm, self.size_bounds(pod))] for name, (pod, size) in sizes.items()]
        heads = ["size found", "estimate", "lower bound, 95 %", "upper bound, 95 %"]
        words = f"Each bound by itself, by {self.usual_method.replace('-', ' ')}"
        tables = [Table(words, heads, lines), of_frame("Coefficients", self.coefficients)]
        calls, places = self.false_call_counts
        said = [f"{len(self.looks)} looks at cracks; {calls} false calls in {places} looks at sound places."]
        return Card(f"Probability of detection from hits and misses: {self.source}", [*said, *self.notes], tables)

    def __repr__(self) -> str:
        words = self.usual_method.replace("-", " ")
        q90, q90_95 = (mm(size) + beyond_mark(size, self.range_mm) for size in (self.q90_mm, self.q90_95_mm))
        return f"<HitMissFit: q90 {q90}, q90/95 {q90_95} by {words}>"

    def report(self) -> str:
        """Say on one screen what the fit is, how sure it is and what to beware of."""
        return self._engine.summary()

    @property
    def notes(self) -> list[str]:
        """Notes on what to beware of, in sentences."""
        return self._engine.notes()

    def to_json(self) -> str:
        """Give the fit as one JSON object; what does not exist is null."""
        covariance = self.covariance
        content = {
            "caution": CAUTION,
            "source": self.source,
            "link": self.link,
            "size_scale": self.size_scale,
            "looks": len(self.looks),
            "range_mm": self.range_mm,
            "hits": int(self.looks["called"].sum()),
            "false_call_counts": list(self.false_call_counts),
            "q50_mm": self.q50_mm,
            "q90_mm": self.q90_mm,
            "confidence": 0.95,
            "method": self.usual_method,
            "sides": "each bound one-sided",
            "q90_bounds_mm": self.size_bounds(0.9),
            "q90_beyond_largest": beyond(self.q90_mm, self.range_mm),
            "q90_95_beyond_largest": beyond(self.q90_95_mm, self.range_mm),
            "q90_likelihood_ratio_mm": self.size_bounds(0.9, method="likelihood-ratio"),
            "q90_wald_mm": None if self._engine.has_free_limit else self.size_bounds(0.9, method="wald"),
            "floor": self.floor,
            "ceiling": self.ceiling,
            "log_likelihood": self.log_likelihood,
            "parameters": [
                {
                    "name": name,
                    "value": value,
                    "standard_error": None if math.isnan(error) else error,
                    "expected_standard_error": expected,
                }
                for name, value, error, expected in self._engine.coefficients()
            ],
            "information": self.information,
            "covariance": None if covariance is None else covariance.tolist(),
            "basis": self._engine.basis(),
            "notes": self.notes,
        }
        return json.dumps(content, indent=2, allow_nan=False)

    def plot(self, ax: Axes | None = None, *, confidence: float = 0.95, method: Method | None = None) -> Axes:
        """Draw the curve with its bounds, the looks and q90/95; see `serrata.detection_plots.hit_miss`."""
        return detection_plots.hit_miss(self, ax, confidence=confidence, method=method)

    @property
    def q50_mm(self) -> float | None:
        """Size that is found with probability 0.5, in mm; None where the curve does not reach it."""
        return self._engine.size_at(0.5)

    @property
    def q90_mm(self) -> float | None:
        """Size that is found with probability 0.9, in mm; None where the curve does not reach it."""
        return self._engine.size_at(0.9)

    @property
    def q90_95_mm(self) -> float | None:
        """Upper 95 % bound on `q90_mm` by `usual_method`, in mm; None where there is no bound."""
        return self.size_bounds(0.9)[1]

    @property
    def usual_method(self) -> Method:
        """Method of bounds unless another is named: ``modified-likelihood-ratio``, or ``likelihood-ratio``.

        The modification (Skovgaard 1996) makes the bound of a small sample hold as often as it says. It is not known
        for a penalised fit, a fitted floor or ceiling, and inspectors that differ; there the plain ratio is used.
        """
        return self._engine.usual_method

    def size_at(self, pod: float) -> float | None:
        """Give the size in mm that is found with a probability; None where the curve does not reach it."""
        return self._engine.size_at(pod)

    def size_bounds(self, pod: float, *, confidence: float = 0.95, method: Method | None = None) -> Bounds:
        """Give bounds on the size that is found with a probability.

        Parameters
        ----------
        pod : float, between 0 and 1
            The probability; 0.9 with a confidence of 0.95 gives q90/95 as the upper bound.
        confidence : float, between 0.5 and 1
            Of each bound by itself.
        method : {"modified-likelihood-ratio", "likelihood-ratio", "wald", "pointwise-band", "simultaneous-band"}
            How the bounds are made; `usual_method` if left out. Where floor or ceiling was fitted only the likelihood
            ratio holds, and the others are refused.

        Returns
        -------
        tuple of float or None
            Lower and upper bound, in mm; None on a side where the data exclude nothing.

        Raises
        ------
        ArgumentError
            For a number out of range, or a method that does not hold here.
        """
        return self._engine.size_bounds(pod, confidence, method or self.usual_method)

    def pod_at(self, size_mm: npt.ArrayLike) -> npt.NDArray[np.float64]:
        """Give the probability of detection at each size in mm."""
        return self._engine.pod_at(numbers("size_mm", size_mm))

    def pod_bounds(
        self, size_mm: npt.ArrayLike, *, confidence: float = 0.95, method: Method | None = None
    ) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
        """Give lower and upper bounds, in [0, 1], on the probability of detection at each size in mm."""
        return self._engine.pod_bounds(numbers("size_mm", size_mm), confidence, method or self.usual_method)

    def slope_bounds(self, *, confidence: float = 0.95, method: Method | None = None) -> Bounds:
        """Give bounds on the slope, on the scale of the link and of the size."""
        return self._engine.slope_bounds(confidence, method or self.usual_method)

    def floor_bounds(self, *, confidence: float = 0.95) -> tuple[float, float]:
        """Give likelihood-ratio bounds on the floor; both are the floor where it was held."""
        return self._engine.floor_bounds(confidence)

    def ceiling_bounds(self, *, confidence: float = 0.95) -> tuple[float, float]:
        """Give likelihood-ratio bounds on the ceiling; both are the ceiling where it was held."""
        return self._engine.ceiling_bounds(confidence)

    @property
    def floor(self) -> float:
        """Probability of a call at the smallest sizes, held or fitted."""
        return self._engine.floor

    @property
    def ceiling(self) -> float:
        """Probability of a call at the largest sizes, held or fitted."""
        return self._engine.ceiling

    @property
    def log_likelihood(self) -> float:
        """Largest log-likelihood, penalty included where there is one."""
        return self._engine.log_likelihood

    @property
    def coefficients(self) -> pd.DataFrame:
        """Parameters by name, on the scale of the link and of the size.

        Columns: value, standard_error (by `information`, which covariances, Wald bounds and draws are of too), and
        expected_standard_error (by the expected information, as generalised linear models commonly show it; NaN where
        it is not worked out).
        """
        import pandas as pd

        names, values, errors, expected = zip(*self._engine.coefficients(), strict=True)
        columns = {
            "value": values,
            "standard_error": errors,
            "expected_standard_error": np.array(expected, dtype=float),
        }
        return pd.DataFrame(columns, index=pd.Index(names, name="parameter"))

    @property
    def information(self) -> str:
        """Which information standard errors are from: ``observed``, or ``expected`` in a penalised fit."""
        return "expected" if self._options["penalised"] else "observed"

    @property
    def covariance(self) -> npt.NDArray[np.float64] | None:
        """Covariance of `coefficients`, from `information`; None where that is singular."""
        return self._engine.covariance()

    @property
    def expected_covariance(self) -> npt.NDArray[np.float64] | None:
        """Covariance of `coefficients` from the expected information; None where it is not worked out."""
        return self._engine.expected_covariance()

    @property
    def link(self) -> Link:
        """Link of the regression."""
        link: Link = self._options["link"]
        return link

    @property
    def size_scale(self) -> Scale:
        """Scale of size on which the regression is straight."""
        scale: Scale = self._options["scale"]
        return scale

    @property
    def range_mm(self) -> tuple[float, float]:
        """Smallest and largest crack looked at, in mm."""
        return self._engine.range_mm

    @property
    def _options(self) -> dict[str, Any]:
        options: dict[str, Any] = self._made_by[1]["options"]
        return options

    def shifts_log(self, factor: str) -> dict[str, float]:
        """Give the shift of ln q50 of each level of a factor against its reference; positive is worse."""
        return dict(self._engine.shifts_log(factor))

    @property
    def factors(self) -> dict[str, list[str]]:
        """Levels of each factor, the reference first."""
        return dict(self._engine.factors)

    @property
    def levels(self) -> dict[str, str]:
        """The level of each factor that sizes and probabilities are for."""
        return dict(self._engine.levels)

    def with_levels(self, **levels: str) -> HitMissFit:
        """Give the same fit, seen at other levels of its factors, such as ``surface="peened"``."""
        inner = self._engine.with_levels(list(levels.items()))
        how, arguments, before = self._made_by
        return HitMissFit._of(inner, how, arguments, {**before, **levels})

    @property
    def goodness(self) -> dict[str, Any]:
        """Goodness of fit, by hits and hits expected in groups of looks with like chances (Hosmer and Lemeshow 1980).

        ``chi_square``, ``p`` (small where the curve does not suit) and ``groups``, a data frame; for too few looks the
        first two are None, and there are no groups.
        """
        import pandas as pd

        chi_square, p, groups = self._engine.goodness() or (None, None, [])
        table = pd.DataFrame(groups, columns=["looks", "hits", "expected"])
        return {"chi_square": chi_square, "p": p, "groups": table}

    def influence(self, pod: float = 0.9) -> pd.DataFrame:
        """Give, for each look, the size found with a probability when that look is left out.

        Returns
        -------
        DataFrame
            As `looks`, and `without_mm`, which is NaN where the other looks carry no such curve.
        """
        import pandas as pd

        return pd.DataFrame({**self._engine.looks(), "without_mm": self._engine.influence(pod)})

    def resampled(
        self, pod: float = 0.9, *, resamples: int = 2000, seed: int = 1, confidence: float = 0.95
    ) -> tuple[Bounds, npt.NDArray[np.float64], int]:
        """Draw the looks anew, with replacement, and fit each resample: the bootstrap, as a check of the bounds.

        Returns
        -------
        tuple of tuple, array, int
            Percentile bounds on the size found with the probability; those sizes in mm, in rising order; how many
            resamples had none, which widen the bounds.
        """
        sizes, without, bounds = self._engine.resampled(pod, resamples, seed=seed, confidence=confidence)
        return bounds, sizes, without

    @property
    def looks(self) -> pd.DataFrame:
        """Looks at cracks: `size_mm`, `called`, and the level of each factor."""
        import pandas as pd

        return pd.DataFrame(self._engine.looks())

    @property
    def false_call_counts(self) -> tuple[int, int]:
        """False calls, and looks at places free of cracks."""
        return self._engine.false_calls

    @property
    def source(self) -> str:
        """Source of the looks."""
        return self._engine.source

    @property
    def basis(self) -> str:
        """Source of the curve in one line, as a study has it."""
        return self._engine.basis()

    def evidence(self) -> Evidence:
        """Give what a study takes from the fit, its basis included; see `Study.with_technique`."""
        return self._engine.evidence()

    def drawn_evidence(self, technique: str, *, seed: int, draw: int) -> Evidence:
        """Give the same for one draw of the curve from its fit; see `Study.simulate_under_uncertainty`.

        ln q50, ln spread and the shifts are drawn as normal with the covariance of the fit, the share of false
        calls from its beta distribution under Jeffreys' prior.

        Parameters
        ----------
        technique : str
            Draws of different techniques have nothing to do with each other.
        seed, draw : int, at least 0
            Which draw.

        Returns
        -------
        Evidence
        """
        return self._engine.drawn_evidence(technique, seed, draw)

    if not TYPE_CHECKING:

        def __getattr__(self, name: str) -> NoReturn:
            renamed.refuse_attribute("HitMissFit", _RENAMED, name)


def made(how: str, arguments: dict[str, Any], levels: dict[str, str]) -> HitMissFit:
    """Make a fit, or make it again, as unpickling does."""
    fit = HitMissFit._of(getattr(engine.HitMissFit, how)(**for_engine(arguments)), how, arguments, {})
    return fit.with_levels(**levels) if levels else fit
