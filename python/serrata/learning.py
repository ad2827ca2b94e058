"""What a study says of records, and what records say of a study."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, Self

from serrata import _engine as engine
from serrata.belief import Belief
from serrata.errors import ArgumentError
from serrata.explanations import Explanations
from serrata.hindcast import Hindcast
from serrata.initiation import InitiationFit, Law, fitted_on
from serrata.initiation_clocks import InitiationClocks
from serrata.progress import Progress, shown

if TYPE_CHECKING:
    import pandas as pd

    from serrata.records import Records

__all__ = ["LearnsFromRecords"]


class LearnsFromRecords:
    """The part of a `Study` that takes records, and invents them."""

    __slots__ = ("_belief", "_engine")

    _belief: Belief | None
    _engine: engine.Study

    @classmethod
    def _of(cls, inner: engine.Study, belief: Belief | None = None) -> Self:
        study = cls.__new__(cls)
        object.__setattr__(study, "_engine", inner)
        object.__setattr__(study, "_belief", belief)
        return study

    def given(
        self,
        records: Records | None = None,
        *,
        draws: int = 320,
        cracks: int = 1024,
        repeats: int = 4,
        seed: int = 1,
        threads: int = 0,
        progress: Progress = None,
    ) -> Self:
        """Give the study the records of its looks: what was found, and what was not found.

        The study that comes of it is one like any other: its lives go on, from the start of the study, from what the
        records leave. A clean look is evidence and no proof; a find tells of its neighbours, and of its sister rows
        through what is ``uncertain``. What is believed now stands in its `belief`.

        Blades that were called are taken as replaced at that inspection, and a blade without a line at an inspection as
        not looked at. A row without records whose ``past_looks`` say how many blades they ``found`` is given that;
        which blades these were is not known, so those renewed then are taken, or else the oldest. Rows without records
        and without ``past_looks`` are given the fact that they lost no blade. A row with ``past_looks`` of which
        nothing is known stays as it was, but for what is uncertain.

        Given the row factor, the growth of the row and the shifts of its looks, blades are independent, and cracks that
        were missed are drawn exactly. These few numbers are sampled by importance sampling; possible cracks are lived
        by the engine, spread evenly by scrambled Sobol points. Where cracks can join, each is weighed as if it stood
        alone; lives that go on have them join.

        Parameters
        ----------
        records : Records or None
            With the names of rows and techniques that the study has, and blades by number from 1; None for a study
            whose ``past_looks`` say all that is known.
        draws : int, from 32
            Draws of what the blades of each row share, in each repeat.
        cracks : int, a power of two from 64 to 32,768
            Possible cracks of each hot spot, in blades of average stress.
        repeats : int, from 2
            Repeats with draws and cracks of their own; what they differ by is the standard error.
        seed : int
            Seed.
        threads : int
            Threads; 0 for as many as the machine gives. They change no result.
        progress : bool, callable or None
            As in `simulate`.

        Returns
        -------
        Study
            With a `belief`.

        Raises
        ------
        RecordsError
            With every line that does not fit the study: an unknown row, technique or blade, a look before the row was
            in service or after the study's start, a size above the section, a look at a blade that was replaced.
        StudyError
            For something uncertain that cannot be learned.
        ArgumentError
            For a study that was given records already: when the next outage is over, all records go to the study as it
            was before them, with its ``start_year`` moved.
        ContradictionError
            For records that are impossible under the study.
        DataError
            Where too few draws count.

        Examples
        --------
        >>> import serrata
        >>> study = serrata.Study.load("tests/engine/data/given/a.toml")
        >>> records = serrata.Records.load("tests/engine/data/given/b.csv")
        >>> now = study.given(records, draws=64, cracks=256)
        >>> before, after = (
        ...     float(of.simulate(trials=2_000, seed=1).summary.query("quantity == 'losses'")["value"].iloc[0])
        ...     for of in (study, now)
        ... )
        >>> after > before
        True
        """
        sampling = {"draws": draws, "cracks": cracks, "repeats": repeats, "seed": seed, "threads": threads}
        with shown(progress, repeats * draws * len(self._engine.rows)) as tell:
            found = engine.given(self._engine, _engine_of(records), sampling, tell)
        about = {
            "study": self._engine.name,
            "records": "past_looks" if records is None else records.source,
            "start_year": self._engine.start_year,
        }
        return self._of(found.study, Belief._of(found, about))

    def _given_for(self, row: str, records: Records, *, seed: int, threads: int) -> Self:
        """Give the study its records as far as one row asks for them, which is far quicker; it has no belief."""
        sampling = {"draws": 320, "cracks": 1024, "repeats": 4, "seed": seed, "threads": threads}
        return self._of(engine.given_for_row(self._engine, row, _engine_of(records), sampling))

    def hindcast(
        self,
        records: Records | None = None,
        *,
        draws: int = 128,
        cracks: int = 512,
        repeats: int = 2,
        seed: int = 1,
        threads: int = 0,
    ) -> Hindcast:
        """Predict each past inspection from those before it, over the whole fleet, and hold it against what it found.

        Looks at one moment are predicted together. It is the plainest check of a study: one that does not foresee what
        was found has no claim to foresee what will be.

        Parameters
        ----------
        records, draws, cracks, repeats, seed, threads
            As in `given`, which is done once for each moment of a look.

        Returns
        -------
        Hindcast

        Raises
        ------
        RecordsError, StudyError, ContradictionError, DataError
            As `given`.

        Examples
        --------
        >>> import serrata
        >>> study = serrata.Study.load("tests/engine/data/given/a.toml")
        >>> records = serrata.Records.load("tests/engine/data/given/a.csv")
        >>> hindcast = study.hindcast(records, draws=64, cracks=256)
        >>> bool((hindcast.looks["called"] == 0).all())
        True
        """
        sampling = {"draws": draws, "cracks": cracks, "repeats": repeats, "seed": seed, "threads": threads}
        columns, score = engine.hindcast(self._engine, _engine_of(records), sampling)
        return Hindcast._of(self._engine.name, columns, score)

    def explanations(
        self,
        records: Records | None = None,
        *,
        draws: int = 96,
        cracks: int = 512,
        repeats: int = 2,
        seed: int = 1,
        threads: int = 0,
    ) -> Explanations:
        """Say how probable the records are under the study, and under studies with one assumption changed.

        Assumptions are changed all over the fleet, by factors from 1/4 to 4: the time until cracks start, their rate
        of growth, the size that techniques find with half their probability, and the spread of row factors. All else
        stays, what is ``uncertain`` included. How many blades were called is held against 1,000 invented pasts too.

        Parameters
        ----------
        records, draws, cracks, repeats, seed, threads
            As in `given`; it is done once for each change, 25 times.

        Returns
        -------
        Explanations

        Raises
        ------
        RecordsError, StudyError, ContradictionError
            As `given`.

        Examples
        --------
        >>> import serrata
        >>> study = serrata.Study.load("tests/engine/data/given/a.toml")
        >>> records = serrata.Records.load("tests/engine/data/given/b.csv")
        >>> summary = study.explanations(records, draws=32, cracks=128).summary
        >>> len(summary)
        28
        """
        sampling = {"draws": draws, "cracks": cracks, "repeats": repeats, "seed": seed, "threads": threads}
        columns, called, at_least, at_most = engine.explanations(self._engine, _engine_of(records), sampling)
        return Explanations._of(self._engine.name, columns, called, (at_least, at_most))

    def fit_initiation(
        self,
        records: Records,
        *,
        initiation: str | None = None,
        law: Law | None = None,
        clock: Literal["starts", "hours"] | None = None,
        shape: float | None = None,
        row_factor: bool = False,
        cracks: int = 2048,
        seed: int = 1,
    ) -> InitiationFit:
        """Fit the law by which an origin cracks to records in which every look is imperfect.

        Growth, detection, false calls, sizing, origins, duty and ages are those of the study; the law is fitted. What a
        row's blades share, its growth and how well each inspection saw, is averaged over blade by blade, which makes
        bounds too narrow where it scatters much: where the logarithms of both scatter by 0.5, bounds of 95 % hold in 81
        to 86 % of invented fleets. `given` takes blades together.

        Parameters
        ----------
        records : Records
            As in `given`.
        initiation : str, optional
            Name of the law that is fitted; needed where rows with records have several, of which the others are held.
        law : {"weibull", "lognormal", "exponential"}, optional
            As the study has it, if left out.
        clock : {"starts", "hours"}, optional
            The clock of the law in the study, which may be a mixture, if left out.
        shape : float, optional
            Shape (Weibull) or `sigma_log` (log-normal) where it is assumed; needed where nothing was found.
        row_factor : bool
            Whether rows have factors on their hazard, gamma of mean 1, whose variance is estimated.
        cracks : int, a power of two from 64 to 32,768
            Possible cracks of each hot spot.
        seed : int
            Seed of the points at which these are lived.

        Returns
        -------
        InitiationFit

        Raises
        ------
        RecordsError
            As `given`.
        DataError
            As `fit_initiation`, and ``several-laws`` for rows with several laws of which none is named.
        ContradictionError
            For records that are impossible under the study.
        ArgumentError
            For a study that was given records, or an argument out of its range.

        Examples
        --------
        >>> import serrata
        >>> study = serrata.Study.load("tests/engine/data/given/a.toml")
        >>> records = serrata.Records.load("tests/engine/data/given/b.csv")
        >>> fit = study.fit_initiation(records, shape=2.0, cracks=256)
        >>> low, high = fit.parameter_bounds("scale")
        >>> low < float(fit.summary["value"]["scale"]) < high
        True
        """
        options = {"initiation": initiation, "law": law, "clock": clock, "shape": shape, "row_factor": row_factor}
        return fitted_on(self, records, {**options, "cracks": cracks, "seed": seed})

    def initiation_clocks(
        self,
        records: Records,
        *,
        initiation: str | None = None,
        shape: float | None = None,
        row_factor: bool = False,
        cracks: int = 2048,
        seed: int = 1,
    ) -> InitiationClocks:
        """Fit each law on starts, on hours and on the study's mixture to records, to tell which clock drives cracking.

        Parameters
        ----------
        records, initiation, row_factor, cracks, seed
            As in `fit_initiation`.
        shape : float, optional
            Of the Weibull law, where it is assumed.

        Returns
        -------
        InitiationClocks

        Raises
        ------
        RecordsError, DataError, ArgumentError
            As `fit_initiation`; a law that the records carry no fit of is told of in its line.
        """
        columns, verdict, text = engine.initiation_clocks(
            self._engine,
            records._engine,
            initiation=initiation,
            shape=shape,
            row_factor=row_factor,
            cracks=cracks,
            seed=seed,
        )
        return InitiationClocks._of(columns, verdict, text)

    @property
    def belief(self) -> Belief:
        """What is believed given its records.

        Raises
        ------
        ArgumentError
            For a study as it stands, and for one that was read from a file, which keeps draws alone.
        """
        if self._belief is None:
            raise ArgumentError("belief\n    there is none\n    give the study its records: study.given(records)")
        return self._belief

    @property
    def is_given_records(self) -> bool:
        """Whether lives go on from records, as `given` makes them."""
        return self._engine.is_given_records

    def invented_past(self, seed: int = 1) -> tuple[str, pd.DataFrame]:
        """Invent a past: the ``past_looks`` of all rows take place, and blades that are called are replaced.

        To try `given` on, since of a real fleet nobody knows the truth. No blade is lost before the study starts.

        Parameters
        ----------
        seed : int
            Another seed is another past.

        Returns
        -------
        str
            Records, as `Records.parse` reads them.
        pandas.DataFrame
            The truth: row, row_factor, blades_called, cracks (there when the study starts), longest_mm (0 for none).

        Raises
        ------
        ArgumentError
            For a study that was given records.
        ContradictionError
            If the rows never come to the start of the study without a loss.

        Examples
        --------
        >>> import serrata
        >>> study = serrata.Study.load("demo-data/demo-study.toml")
        >>> text, truth = study.invented_past(seed=3)
        >>> len(serrata.Records.parse(text).techniques), len(truth)
        (3, 12)
        """
        import pandas as pd

        text, rows = self._engine.invented_past(seed)
        heads = ("row", "row_factor", "blades_called", "cracks", "longest_mm")
        lines = [
            (row, factor, called, len(lengths), max(lengths, default=0.0))
            for row, (factor, called, lengths) in zip(self._engine.rows, rows, strict=True)
        ]
        return text, pd.DataFrame(lines, columns=heads)


def _engine_of(records: Records | None) -> engine.Records | None:
    return None if records is None else records._engine
