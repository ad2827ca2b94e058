"""The time to a crack: laws fitted to when blades were last clean and when they were found cracked."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from serrata import _engine as engine
from serrata import initiation_plots
from serrata.about import CAUTION
from serrata.card import Card, Carded, of_frame
from serrata.detection import Bounds, numbers
from serrata.errors import ArgumentError

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd
    from matplotlib.axes import Axes

    from serrata.learning import LearnsFromRecords
    from serrata.records import Records

__all__ = ["InitiationFit", "fit_initiation"]

Law = Literal["weibull", "lognormal", "exponential"]
Method = Literal["likelihood-ratio", "wald"]


class InitiationFit(Carded):
    """A law of the time to a crack, with what the looks leave open of it. It never changes.

    Made by `fit_initiation`, or by `Study.fit_initiation`, with which times and fractions are those of one origin of a
    blade. Bounds are one-sided, each by itself: two of 97.5 % make an interval of 95 %. Where
    nothing was found there are bounds and no estimates, which are None.

    Times and fractions are of a row whose factor is 1, where rows were told apart; averaged over rows fewer blades
    crack.

    Examples
    --------
    >>> import serrata
    >>> clean_h = [0, 25_000, 50_000, 75_000, 100_000]
    >>> cracked_h = [25_000, 50_000, 75_000, 100_000, None]
    >>> fit = serrata.fit_initiation(clean_h, cracked_h, counts=[1, 3, 7, 9, 60], unit="hours")
    >>> round(float(fit.fraction_at(100_000)[0]), 2)
    0.25
    >>> low, high = fit.time_bounds(0.1)
    >>> low < fit.time_at(0.1) < high
    True
    """

    __slots__ = ("_engine", "_made_by")

    _engine: engine.InitiationFit
    _made_by: tuple[Callable[..., InitiationFit], tuple[Any, ...]]

    def __init__(self) -> None:
        raise TypeError("an InitiationFit is made by fit_initiation(clean_until, cracked_by, unit=...)")

    def __setattr__(self, name: str, value: object) -> None:
        raise AttributeError("an InitiationFit does not change; fit again")

    def __reduce__(self) -> tuple[Callable[..., InitiationFit], tuple[Any, ...]]:
        return self._made_by

    def _card(self) -> Card:
        tables = [of_frame("Estimates, with one-sided 95 % bounds", self.summary), of_frame("All laws", self.laws)]
        return Card(f"Time to a crack, {self.law} law, {self.unit}: {self.source}", self.notes, tables, self.warnings)

    def __repr__(self) -> str:
        blades, finds, _ = self._engine.counts()
        if self.bound_only:
            return f"<InitiationFit: {self.law}, {blades:g} blades, none found cracked: a bound only>"
        values = ", ".join(f"{name} {value:.4g}" for name, value, *_ in self._engine.parameters() if value is not None)
        return f"<InitiationFit: {self.law}, {finds:g} of {blades:g} blades found cracked, {values}>"

    @property
    def law(self) -> Law:
        """The law: ``weibull``, ``lognormal`` or ``exponential``."""
        return self._engine.law

    @property
    def unit(self) -> str:
        """Unit of times."""
        return self._engine.unit

    @property
    def source(self) -> str:
        """Source of the records."""
        return self._engine.source

    @property
    def study_name(self) -> str | None:
        """Name of the study that it was fitted on, whose looks miss and miscall as it says; None for readings alone."""
        return self._engine.study

    @property
    def covariate_names(self) -> list[str]:
        """Names of the covariates."""
        return self._engine.covariates

    @property
    def bound_only(self) -> bool:
        """Whether nothing was found, so that there are bounds and no estimates."""
        return self._engine.is_bound_only

    @property
    def summary(self) -> pd.DataFrame:
        """Parameters: `value`, `standard_error`, bounds `low` and `high` (one-sided, 95 % each), and `assumed`.

        `scale` and `shape` of the Weibull law, `median` and `sigma_log` of the log-normal one, `mean` of the
        exponential one; each covariate, on the logarithm of the hazard (log-normal: of the median); `row_variance` of
        the factor that rows have. NaN where there is none.
        """
        import pandas as pd

        lines = []
        for name, value, error, assumed in self._engine.parameters():
            known = not assumed and (not self.bound_only or name not in ("shape", "sigma_log"))
            low, high = self.parameter_bounds(name) if known else (None, None)
            lines.append((name, value, error, low, high, assumed))
        columns = ["parameter", "value", "standard_error", "low", "high", "assumed"]
        frame = pd.DataFrame(lines, columns=columns).set_index("parameter")
        return frame.astype(dict.fromkeys(columns[1:5], float))

    @property
    def covariance(self) -> npt.NDArray[np.float64]:
        """Covariance of the parameters that were estimated, from the observed information; empty without finds."""
        return np.asarray(self._engine.covariance())

    @property
    def log_likelihood(self) -> float | None:
        """Largest log-likelihood; None where nothing was found."""
        return self._engine.log_likelihood

    @property
    def found_counts(self) -> dict[str, int]:
        """Numbers of blades: in all, found cracked, and found so at their first look."""
        names = ("blades", "found", "found_at_first_look")
        return {name: int(count) for name, count in zip(names, self._engine.counts(), strict=True)}

    @property
    def laws(self) -> pd.DataFrame:
        """All laws fitted to the same records with free shapes: `log_likelihood`, `parameters`, and why there is none.

        A law with more parameters is bound to be somewhat more likely.
        """
        import pandas as pd

        columns = ["law", "log_likelihood", "parameters", "reason"]
        frame = pd.DataFrame(self._engine.laws(), columns=columns).set_index("law")
        return frame.astype({"log_likelihood": float})

    @property
    def nonparametric(self) -> pd.DataFrame | None:
        """The best distribution of any shape: stretches `after` and `by` which cracks begin, and the `mass` in each.

        `fraction` is cracked at the end of a stretch; within it nothing tells. `fraction_by_law` is what the law has
        there. None with covariates, with more records that differ than memory holds, and on a study whose blades have
        several origins or differ in stress.
        """
        import pandas as pd

        found = self._engine.nonparametric()
        return None if found is None else pd.DataFrame(found[0])

    @property
    def nonparametric_log_likelihood(self) -> float | None:
        """Log-likelihood of that distribution, which no law exceeds; None with covariates.

        Where moments are known it is of chances and not of densities, and not to be set against that of a law.
        """
        found = self._engine.nonparametric()
        return None if found is None else found[1]

    @property
    def latest(self) -> float:
        """The latest time that a record names: beyond it no look tells."""
        return self._engine.latest

    @property
    def notes(self) -> list[str]:
        """What the numbers mean, in sentences."""
        return self._engine.notes()

    @property
    def warnings(self) -> list[str]:
        """What limits the numbers, in sentences."""
        return self._engine.warnings()

    def parameter_bounds(
        self, parameter: str, *, confidence: float = 0.95, method: Method = "likelihood-ratio"
    ) -> Bounds:
        """Give lower and upper bound of a parameter, each by itself; None on a side where nothing is excluded.

        Parameters
        ----------
        parameter : str
            One of the index of `summary`.
        confidence : float, between 0.5 and 1
            Of each bound: 0.975 for both ends of an interval of 95 %.
        method : {"likelihood-ratio", "wald"}
            How they are made; Wald's are on the logarithm, but for covariates.

        Returns
        -------
        tuple of (float or None)

        Raises
        ------
        ArgumentError
            For a parameter that was assumed, or is none.
        """
        return self._engine.parameter_bounds(parameter, confidence, method)

    def time_at(self, fraction: float, *, covariates: Mapping[str, float] | None = None) -> float | None:
        """Give the time by which a fraction has cracked, 0.1 for the B10 life; None where nothing was found.

        Parameters
        ----------
        fraction : float, between 0 and 1
            Fraction of blades.
        covariates : mapping of str to float, optional
            Of the blades meant; needed where the fit has some.
        """
        return self._engine.time_at(fraction, self._in_order(covariates))

    def time_bounds(
        self,
        fraction: float,
        *,
        covariates: Mapping[str, float] | None = None,
        confidence: float = 0.95,
        method: Method = "likelihood-ratio",
    ) -> Bounds:
        """Give lower and upper bound of that time, each by itself; None on a side where nothing is excluded."""
        return self._engine.time_bounds(fraction, self._in_order(covariates), confidence, method)

    def fraction_at(
        self, time: npt.ArrayLike, *, covariates: Mapping[str, float] | None = None
    ) -> npt.NDArray[np.float64] | None:
        """Give the fraction that has cracked by each time; None where nothing was found.

        Parameters
        ----------
        time : array_like of float
            From 0, in the unit of the records.
        covariates : mapping of str to float, optional
            Of the blades meant; needed where the fit has some.
        """
        return self._engine.fraction_at(numbers("time", time), self._in_order(covariates))

    def fraction_bounds(
        self,
        time: npt.ArrayLike,
        *,
        covariates: Mapping[str, float] | None = None,
        confidence: float = 0.95,
        method: Method = "likelihood-ratio",
    ) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
        """Give lower and upper bounds of that fraction, each by itself and within 0 and 1.

        Where nothing was found, the upper one is the fraction for which finding nothing has the chance 1 - confidence.

        Examples
        --------
        >>> import serrata
        >>> fit = serrata.fit_initiation([3_000], counts=[80], shape=2.0, unit="starts")
        >>> low, high = fit.fraction_bounds(3_000)
        >>> round(float(high[0]), 5)  # 1 - 0.05 ** (1 / 80)
        0.03675
        """
        order = self._in_order(covariates)
        return self._engine.fraction_bounds(numbers("time", time), order, confidence, method)

    def report(self) -> str:
        """Give the whole answer as plain text."""
        return f"{self._engine.summary()}\n{CAUTION}\n"

    def plot(self, ax: Axes | None = None, *, confidence: float = 0.95) -> Axes:
        """Draw the fraction cracked by time, with bounds; see `serrata.initiation_plots.initiation`."""
        return initiation_plots.initiation(self, ax, confidence=confidence)

    def __str__(self) -> str:
        return self.report()

    def _in_order(self, covariates: Mapping[str, float] | None) -> list[float]:
        given = dict(covariates or {})
        names = self.covariate_names
        if set(given) != set(names):
            rule = f"needs one for each of {', '.join(names)}" if names else "the fit has none"
            raise ArgumentError(f"covariates = {given}\n    {rule}\n    give those of the blades meant")
        return [float(given[name]) for name in names]


def fit_initiation(
    clean_until: npt.ArrayLike,
    cracked_by: npt.ArrayLike | None = None,
    *,
    unit: str,
    law: Law = "weibull",
    shape: float | None = None,
    counts: npt.ArrayLike | None = None,
    rows: npt.ArrayLike | None = None,
    covariates: Mapping[str, npt.ArrayLike] | None = None,
    pod: npt.ArrayLike = 1.0,
    exact: npt.ArrayLike | None = None,
    cracked: npt.ArrayLike | None = None,
    source: str = "",
) -> InitiationFit:
    """Fit a law of the time to a crack to when blades were last clean and when they were found cracked.

    Maximum likelihood: a crack counts with the chance of having begun between the two readings, a clean blade with that
    of none until its last look. Neither a find is taken for the beginning, nor is a clean blade left out.

    Parameters
    ----------
    clean_until : array_like of float, shape (n,)
        Reading of the clock at each blade's last clean look; 0 where the first look was a find, and where there was
        none.
    cracked_by : array_like of float, shape (n,), optional
        Reading at the find; NaN, None or infinite where no crack was found. Left out: nothing was found at all.
    unit : str
        Unit of the readings, such as ``hours`` or ``starts``; for reports.
    law : {"weibull", "lognormal", "exponential"}
        The law.
    shape : float, optional
        Shape of the Weibull law, or spread of the logarithm (`sigma_log`) of the log-normal one, where it is assumed.
        Needed where nothing was found: then nothing is known of it.
    counts : array_like of int, shape (n,), optional
        Blades of each record; 1 if left out.
    rows : array_like, shape (n,), optional
        The row of each blade. Blades of a row then share a factor on their hazard, gamma of mean 1, whose variance is
        estimated.
    covariates : mapping of str to array_like of float, optional
        By name; they add to the logarithm of the hazard, in the log-normal law to that of the median.
    pod : float or array_like of float, shape (n,)
        Chance that a look finds a crack that is there. Below 1, a crack may have been missed at the last clean look;
        looks before that one do not count.
    exact : array_like of bool, shape (n,), optional
        Whether the moment itself is known; `clean_until` and `cracked_by` are the same then.
    cracked : array_like of bool, shape (n,), optional
        What the records say of each blade, to be checked against the readings.
    source : str
        Where the records are from.

    Returns
    -------
    InitiationFit

    Raises
    ------
    RecordsError
        For records that break rules, all in one message, by number from 1.
    DataError
        For records that carry no fit; `reason` says why: ``no-finds`` (and a free shape, covariates or rows),
        ``only-left``, ``separation``, ``reversed``, ``one-row``, ``not-converged`` or ``no-records``.
    ArgumentError
        For arrays of unequal length, an unknown law or a shape that is none.

    Examples
    --------
    One look at each wheel: found cracked at 10 and 20, or clean.

    >>> import serrata
    >>> fit = serrata.fit_initiation(
    ...     [0, 10, 0, 20], [10, None, 20, None], counts=[4, 49, 9, 30], law="exponential", unit="100 hours"
    ... )
    >>> fit.found_counts
    {'blades': 92, 'found': 13, 'found_at_first_look': 13}
    >>> low, high = fit.parameter_bounds("mean")
    >>> low < 90 < high
    True
    """
    clean = numbers("clean_until", clean_until)
    by = np.full(len(clean), np.nan) if cracked_by is None else numbers("cracked_by", cracked_by)
    names = dict(covariates or {})
    return _made(
        {
            "clean_until": clean,
            "cracked_by": by,
            "law": law,
            "shape": shape,
            "unit": unit,
            "counts": None if counts is None else numbers("counts", counts),
            "exact": None if exact is None else _flags("exact", exact),
            "cracked": None if cracked is None else _flags("cracked", cracked),
            "pod": numbers("pod", pod),
            "rows": None if rows is None else _numbered(rows),
            "covariates": [(name, numbers(name, values).tolist()) for name, values in names.items()],
            "source": source,
        }
    )


def _made(arguments: dict[str, Any]) -> InitiationFit:
    """Make a fit, or make it again, as unpickling does."""
    return _holding(engine.InitiationFit.fit(**arguments), (_made, (arguments,)))


def fitted_on(study: LearnsFromRecords, records: Records, options: dict[str, Any]) -> InitiationFit:
    """Make a fit on a study, or make it again; see `Study.fit_initiation`."""
    fit = engine.InitiationFit.on_study(study._engine, records._engine, **options)
    return _holding(fit, (fitted_on, (study, records, options)))


def _holding(
    fitted: engine.InitiationFit, made_by: tuple[Callable[..., InitiationFit], tuple[Any, ...]]
) -> InitiationFit:
    fit = InitiationFit.__new__(InitiationFit)
    object.__setattr__(fit, "_engine", fitted)
    object.__setattr__(fit, "_made_by", made_by)
    return fit


def _flags(name: str, values: npt.ArrayLike) -> list[bool]:
    array = np.atleast_1d(np.asarray(values))
    if array.dtype != np.bool_ or array.ndim != 1:
        raise ArgumentError(f"{name} has elements that are not True or False\n    must be bool\n    give one a record")
    return [bool(value) for value in array]


def _numbered(labels: npt.ArrayLike) -> list[int]:
    """Give each row a number, in the order in which rows come."""
    known: dict[Any, int] = {}
    return [known.setdefault(label, len(known)) for label in np.atleast_1d(np.asarray(labels)).tolist()]
