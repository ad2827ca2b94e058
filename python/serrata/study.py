"""A study: the fleet, how its cracks start and grow, how they are looked for, and what that costs."""

from __future__ import annotations

import os
import warnings
from collections.abc import Iterable, Mapping, Sequence
from itertools import product
from typing import TYPE_CHECKING, Any, Literal, NoReturn

from serrata import _engine as engine
from serrata import elsewhere, growth_fit, renamed, uncertainty
from serrata.belief import Belief
from serrata.can_it_run import RunOn
from serrata.card import Card, Carded
from serrata.cheapest_plan import CheapestPlan
from serrata.comparison import Comparison
from serrata.errors import ArgumentError
from serrata.grown import GrownCracks
from serrata.growth_fit import GrowthFit
from serrata.inspection_interval import InspectionInterval
from serrata.learning import LearnsFromRecords
from serrata.left_in_row import LeftInRow
from serrata.progress import Progress, shown
from serrata.report_blocks import Table
from serrata.screening import Screening

if TYPE_CHECKING:
    import pandas as pd
    from narwhals.typing import IntoDataFrame

    from serrata.hit_miss import HitMissFit
    from serrata.signal_pod import SignalPod

__all__ = ["Study"]

#: Trials if none are stated: of a run that lives them all, and the most of one that may end earlier.
_TRIALS = 10_000
_MOST_TRIALS = 1_000_000
#: Names of earlier versions, with what took their place.
_RENAMED = {
    "simulate_in_doubt": "Study.simulate_under_uncertainty",
    "work_calendar_text": "Study.work_calendar, or the command serrata check --calendar",
}


class Study(LearnsFromRecords, Carded):
    """A valid study. It never changes; `with_values` gives a changed copy.

    Made by `Study.load` or `Study.parse`, not by calling the class.

    Examples
    --------
    >>> import serrata
    >>> study = serrata.Study.load("demo-data/reference-study.toml")
    >>> study == serrata.Study.parse(study.to_toml())
    True
    """

    __slots__ = ()

    def __init__(self) -> None:
        raise TypeError("a Study is made by Study.load(path) or Study.parse(text)")

    def __setattr__(self, name: str, value: object) -> None:
        raise AttributeError(f"a Study does not change; use study.with_values to change {name}")

    @staticmethod
    def load(path: str | os.PathLike[str]) -> Study:
        """Read a study file.

        Parameters
        ----------
        path : path-like
            A TOML file; the reference study in demo-data shows every key.

        Returns
        -------
        Study

        Raises
        ------
        StudyError
            With every fault of the file: line, key path, value, rule, remedy.
        FileError
            For a file that cannot be read.
        """
        return Study._of(engine.Study.load(path))

    @staticmethod
    def parse(text: str, source: str = "study") -> Study:
        """Read the text of a study file.

        Parameters
        ----------
        text : str
            TOML.
        source : str
            What the text is called in messages.

        Returns
        -------
        Study

        Raises
        ------
        StudyError
            As `load`.
        """
        return Study._of(engine.Study.parse(text, source))

    @staticmethod
    def template() -> str:
        """Give the text of a small study file to begin with: invented, commented, and ready to run.

        Examples
        --------
        >>> import serrata
        >>> serrata.Study.parse(serrata.Study.template()).techniques
        ['ultrasonic', 'particles']
        """
        return engine.Study.template()

    def to_toml(self) -> str:
        """Give the text of a study file that reads back as exactly this study.

        It is the file that the study was read from, word for word, with its comments; changed values stand in it where
        the old ones stood.
        """
        return self._engine.to_toml()

    def save(self, path: str | os.PathLike[str]) -> None:
        """Write a study file, in whole or not at all.

        Parameters
        ----------
        path : path-like
            Where to; a file that is there is replaced.

        Raises
        ------
        FileError
            For a place that cannot be written to.
        """
        self._engine.save(path)

    def with_values(self, values: Mapping[str, Any]) -> Study:
        """Give the study with some values changed, checked as a whole.

        Parameters
        ----------
        values : mapping of str to value
            Key path to new value. Paths are those of the file that the study was read from, written as in error
            messages, such as ``techniques.eddy-current.pod.q50_mm`` or ``units.A.duty[2].starts_per_year``, with list
            elements counted from 1 and keys with dots in quotes; values in the units of the study
            file, a distribution as a dict.

        Returns
        -------
        Study

        Raises
        ------
        ArgumentError
            For a path that leads nowhere, or a value that cannot stand in a study file.
        StudyError
            If the changed study breaks a rule, unknown keys included.

        Examples
        --------
        >>> import serrata
        >>> study = serrata.Study.load("demo-data/reference-study.toml")
        >>> longer = study.with_values({"study.horizon_years": study.horizon_years + 5})
        >>> longer.horizon_years - study.horizon_years
        5.0
        """
        return Study._of(self._engine.with_values(dict(values)))

    def variants(self, values: Mapping[str, Iterable[Any]]) -> dict[str, Study]:
        """Give the study with some values changed in every way, for `serrata.simulate_variants`.

        Parameters
        ----------
        values : mapping of str to values
            Key path to the values that stand there in turn, as in `with_values`; with several key paths each value of
            one meets each of the others.

        Returns
        -------
        dict of str to Study
            By names such as ``techniques.eddy-current.pod.q50_mm = 2.5, costs.loss_days = 90``, the last path varying
            fastest.

        Raises
        ------
        ArgumentError
            As `with_values`, and for a path without values, or with one value twice.
        StudyError
            If a changed study breaks a rule.

        Examples
        --------
        >>> import serrata
        >>> study = serrata.Study.load("demo-data/reference-study.toml")
        >>> list(study.variants({"study.horizon_years": [20, 30]}))
        ['study.horizon_years = 20', 'study.horizon_years = 30']
        """
        if not isinstance(values, Mapping) or not values:
            raise ArgumentError(
                f"values = {values!r}\n    must be a mapping of at least one key path to a list of values\n"
                '    such as {"study.horizon_years": [20, 30]}'
            )
        lists = {path: self._listed(path, several) for path, several in values.items()}
        made: dict[str, Study] = {}
        for chosen in product(*lists.values()):
            changes = dict(zip(lists, chosen, strict=True))
            made[", ".join(f"{path} = {value}" for path, value in changes.items())] = self.with_values(changes)
        return made

    @staticmethod
    def _listed(path: str, several: Iterable[Any]) -> list[Any]:
        """Give the values of a path, each of which makes a name of its own."""
        if isinstance(several, (str, Mapping)) or not isinstance(several, Iterable):
            raise ArgumentError(
                f"values[{path!r}] = {several!r}\n    must be a list of values\n    put a single one in brackets"
            )
        listed = list(several)
        names = [str(value) for value in listed]
        if not listed or len(set(names)) < len(names):
            rule = "must have each value once" if listed else "must have at least one value"
            raise ArgumentError(f"values[{path!r}] = [{', '.join(names)}]\n    {rule}\n    change the list")
        return listed

    def with_technique(self, technique: str, evidence: engine.Evidence, *, like: str | None = None) -> Study:
        """Give the study with a technique's detection as its records have it, checked as a whole.

        Parameters
        ----------
        technique : str
            The technique; a new one is added.
        evidence : Evidence
            What the records say, from a fit's `evidence`. It brings the curve, the basis and whatever else it
            knows: shifts by surface and grade, the spread between inspections, false calls. The rest stays as it is.
            A curve that does not tell grades apart is of the procedure as it was used: `grade_shift_log` becomes 0.
        like : str, optional
            The technique that a new one takes access, sizing and costs from.

        Returns
        -------
        Study

        Raises
        ------
        ArgumentError
            For a technique or a surface that the study does not have.
        StudyError
            If the changed study breaks a rule.
        """
        return Study._of(self._engine.with_technique(technique, like, evidence))

    def with_growth(self, evidence: engine.GrowthEvidence, *, uncertain: str | None = None) -> Study:
        """Give the study with the coefficient of a growth law as sizes of cracks have it, checked as a whole.

        Parameters
        ----------
        evidence : GrowthEvidence
            What the sizes say, from a fit's `evidence`. The law's scatter from crack to crack and from row to row
            stays.
        uncertain : str, optional
            Name of the entry of ``uncertain`` that then has what the sizes leave open of the coefficient. One of that
            name that has this coefficient alone is replaced. If left out, the study takes the coefficient as known.

        Returns
        -------
        Study

        Raises
        ------
        ArgumentError
            For a law that the study does not have, an entry of that name that has other inputs, and one of another name
            that has this coefficient already.
        StudyError
            If the changed study breaks a rule.
        """
        return Study._of(self._engine.with_growth(evidence, uncertain))

    def simulate(
        self,
        *,
        trials: int | None = None,
        planted_lives: int | None = None,
        seed: int | None = None,
        threads: int = 0,
        progress: Progress = None,
        keep_finished: bool = False,
        target_relative_error: float | None = None,
        most_seconds: float | None = None,
        block_trials: int = 0,
        executor: elsewhere.Workers | None = None,
        checkpoints: str | os.PathLike[str] | None = None,
    ) -> Comparison:
        """Live the fleet under every strategy, many times, and compare.

        Every strategy meets the same blades, cracks and crews in one trial, so that differences between
        strategies are sharper than if each were simulated apart: by a little for rare losses, by much for costs;
        the report says by how much. The same study, trials and seed give the same
        bytes on any number of threads. Other Python threads run meanwhile; Ctrl-C stops within a second.

        Parameters
        ----------
        trials : int, at least 1, optional
            Lives of the whole fleet: 10,000 if left out. With `target_relative_error` or `most_seconds` they are the
            most that are lived, 1,000,000 if left out.
        planted_lives : int, at least 0, optional
            Lives of each row in which a crack is planted, to tell of rare losses: one origin is made to crack, with
            numbers that favour a loss, and the life counts by how probable it is. A few thousand tell losses of
            any size to a few per cent, where plain lives would show none. They are put together with plain
            lives by shares that a pilot sets; table ``rare_losses`` says how each number was got and which are thin,
            not to be relied on. 0 leaves all to plain lives. If left out: 0, or as many as trials where
            `target_relative_error` asks for accuracy.
        seed : int from 0 to 2**64 - 1, optional
            Where the random numbers begin. Without one a fresh seed is drawn, shown with the result and
            kept in it.
        threads : int, at least 0
            0 takes what the environment variable SERRATA_THREADS says, else what the machine or its
            container gives.
        progress : None, bool or callable
            None shows one line of plain text when standard error is a terminal; True always, False
            never. A function is called with the trials done and wanted, ten times a second.
        keep_finished : bool
            Whether Ctrl-C gives back the trials that were finished, with a warning, instead of raising
            KeyboardInterrupt; what is in hand is finished first, for at most a second. Where not even the first
            512 trials were, KeyboardInterrupt says so.
        target_relative_error : float between 0 and 1, optional
            Ends the run once the fleet's expected number of losses is known so well under every strategy: one standard
            error over the number, 0.05 for 5 %. It is looked at seldom (after 4 to 8 times 512 trials one by one, then
            at each quarter more), so that ending by luck is rare and intervals stay honest; it ends at the same
            trial on any number of threads. `Comparison.ended` says whether it was reached; where it was not, a
            warning says how far the run came. Refused with an executor or checkpoints, whose parts come in any order.
        most_seconds : float above 0, optional
            Ends the run after so long with the trials that were finished. How many these are hangs on the machine.
            Refused with an executor or checkpoints.
        block_trials : int, at least 0
            Trials a thread takes at a time, or of a part; 0 chooses. Changes no result.
        executor : concurrent.futures.Executor, or function that makes one, optional
            Lives the run in parts of about a second: a pool of processes, or what ``dask.distributed``, Ray or mpi4py
            give for machines elsewhere. The result has the bytes of a run in one place, whatever the number of workers
            and the order of their answers. A part that fails, is lost or comes damaged is sent again, up to four times
            in all; one that comes twice must come alike. A pool of processes of which one is killed is broken for good:
            a function without arguments, such as ``lambda: ProcessPoolExecutor(8)``, is asked for a new one. `threads`
            are those of each part (one, if 0), and `keep_finished` is refused.
        checkpoints : path-like, optional
            Folder in which each finished part is kept, in a file that is written whole or not at all. A call with the
            same study text, trials and seed takes the parts that are there and lives the others, to the same bytes:
            after Ctrl-C, a kill or a lost machine, with or without an executor. When the run is complete the parts
            stay, and a further call only reads them; remove the folder to be rid of them. It may hold parts of other
            runs. Asks for a seed; `keep_finished` is refused. Parts that were cut by another `block_trials` are not
            used.

        Returns
        -------
        Comparison

        Raises
        ------
        ArgumentError
            For a number outside its range, or something that is not a whole number.
        ContradictionError
            For a study whose rows could not have come to its start.
        WorkerError
            For a part of the run that the executor fails at again and again.
        FileError
            For a folder that cannot be written to, and for kept parts that are damaged or of something else, by name.
        KeyboardInterrupt
            On Ctrl-C, unless finished trials are kept.

        Examples
        --------
        >>> import serrata
        >>> study = serrata.Study.load("demo-data/reference-study.toml")
        >>> comparison = study.simulate(trials=100, seed=1)
        >>> comparison == study.simulate(trials=100, seed=1, threads=2)
        True
        >>> import tempfile
        >>> with tempfile.TemporaryDirectory() as folder:
        ...     kept = study.simulate(trials=100, seed=1, checkpoints=folder)
        ...     again = study.simulate(trials=100, seed=1, checkpoints=folder)  # lives nothing
        >>> kept == again == comparison
        True
        >>> rare = serrata.Study.load("tests/engine/data/y1a.toml")
        >>> rare.simulate(target_relative_error=0.05, seed=1).ended
        'target reached'
        """
        seed = elsewhere.seed_or_drawn(seed, checkpoints)
        if planted_lives is None:
            planted_lives = (trials or _MOST_TRIALS) if target_relative_error is not None else 0
        if trials is None:
            is_open = target_relative_error is not None or most_seconds is not None
            trials = _MOST_TRIALS if is_open else _TRIALS
        if executor is not None or checkpoints is not None:
            refused = {
                "keep_finished": keep_finished or None,
                "target_relative_error": target_relative_error,
                "most_seconds": most_seconds,
            }
            for name, value in refused.items():
                if value is not None:
                    other = "an executor or checkpoints, whose parts come in any order"
                    raise ArgumentError(
                        f"{name} = {value}\n    cannot be had with {other}\n    leave one of the two out"
                    )
            lived = elsewhere.simulate(
                {"": self._engine},
                trials=trials,
                planted_lives=planted_lives,
                seed=seed,
                threads=threads,
                block_trials=block_trials,
                executor=executor,
                checkpoints=checkpoints,
                progress=progress,
            )
            return Comparison._of(lived[""], self._belief)
        with shown(progress, trials) as tell:
            found = engine.simulate(
                self._engine,
                trials=trials,
                planted_lives=planted_lives,
                seed=seed,
                threads=threads,
                block_trials=block_trials,
                keep_finished=keep_finished,
                target_relative_error=target_relative_error,
                most_seconds=most_seconds,
                progress=tell,
            )
        if found.trials < trials and found.ended == "trials lived":
            done = f"{found.trials} of {trials} trials"
            warnings.warn(
                f"stopped on request after {done}; the result holds those that were finished",
                RuntimeWarning,
                stacklevel=2,
            )
        return Comparison._of(found, self._belief)

    def simulate_under_uncertainty(
        self,
        fits: Mapping[str, HitMissFit | SignalPod],
        *,
        draws: int = 40,
        trials: int = 1_000,
        seed: int = 1,
        threads: int = 0,
    ) -> uncertainty.ComparisonUnderUncertainty:
        """Compare strategies for many draws of detection curves from what their fits leave open.

        Parameters
        ----------
        fits : mapping of technique to HitMissFit or SignalPod
            What the records say of each technique; see `with_technique`, and `SignalFit.at_threshold`. Each is drawn
            by itself, as of records that have nothing to do with each other.
        draws : int, from 2 to 10,000
            Draws of the curves. 40 give the standard deviation by knowledge within about a quarter.
        trials : int
            Trials for each draw.
        seed : int
            Seed of the draws; each draw's trials have a seed of their own.
        threads : int
            Threads; 0 for as many as the machine gives.

        Returns
        -------
        ComparisonUnderUncertainty

        Raises
        ------
        ArgumentError
            For no fit, something that is none, or a number out of range.

        Examples
        --------
        >>> import serrata
        >>> study = serrata.Study.load("demo-data/demo-study.toml")
        >>> records = serrata.Records.load("demo-data/demo-sectioned.csv", dates="day-month-year")
        >>> fit = records.fit_hit_miss("penetrant")
        >>> study.simulate_under_uncertainty({"penetrant": fit}, draws=2, trials=20)
        <ComparisonUnderUncertainty: 2 draws of penetrant>
        """
        return uncertainty.over_draws(self, fits, draws=draws, trials=trials, seed=seed, threads=threads)

    def screen(self, *, rough: bool = False) -> Screening:
        """Work out expected losses by quadrature: without lives, without chance, as quickly as for a slider.

        For strategies under which blades are independent given what their row shares: looks at all blades at every so
        many outages, every called blade replaced, and one blade replaced after a loss. Of the others `not_screened`
        says what stands in the way: second looks after calls, intervals that react, parts of the blades, blades that
        are watched, sister rows, whole rows replaced, the end of rows. Cracks grow on a growth curve that scatters, to
        a depth, a fraction of the section, or a fixed or lognormal toughness. Looks before the study count, and that
        no blade was lost until then. At most two techniques may have effects that persist in a crack.

        Where looks have shifts that all blades share (``inspection_sigma``), expected losses are those of cracks that
        meet each shift by themselves: exact for blades with one crack at most in rows without a past, close to it else;
        p_any_loss is left out.

        Parameters
        ----------
        rough : bool
            Whether to use few points, for a slider: about a tenth of the time, and the numbers are good to some per
            cent, as their numerical errors say.

        Returns
        -------
        Screening
            Numbers with their numerical errors, mostly from the fifth figure on; of few points, from the second.

        Raises
        ------
        StudyError
            If no strategy can be screened: with all that stands in the way.
        ContradictionError
            If no life of a row comes to the start of the study without a loss.

        Examples
        --------
        >>> import serrata
        >>> study = serrata.Study.load("tests/engine/data/y1a.toml")
        >>> for scale in (20_000, 40_000):
        ...     slower = study.with_values({"initiation.fatigue.scale": scale})
        ...     by_row = slower.screen().columns("by_row")
        ...     print(by_row["strategy"][0], by_row["quantity"][0], by_row["value"][0].round(3))
        none losses 1.093
        none losses 0.274
        """
        return Screening._of(self, rough, engine.screen(self._engine, rough=rough))

    def inspection_interval(
        self,
        *,
        techniques: Sequence[str] = (),
        plan: str | None = None,
        most_outages: int = 4,
        first_outage: int | None = None,
        row_limit: float | None = None,
        unit_limit: float | None = None,
        fleet_limit: float | None = None,
        map_of: str | None = None,
        trials: int = 4_000,
        planted_lives: int = 12_000,
        seed: int | None = None,
        threads: int = 0,
        progress: Progress = None,
    ) -> InspectionInterval:
        """Say how long the interval between inspections may be to keep limits on the chance of a loss in a year.

        Each technique in turn takes the place of a plan's scheduled looks, at every outage, every second one and so on;
        what is done about finds and losses stays as the plan has it. The plan's own looks are stretched likewise.
        Without `first_outage` intervals count from the start of the study: the first look comes as many outages after
        it as later ones come after each other, so that rows should have been looked at just before.

        Parameters
        ----------
        techniques : sequence of str
            Techniques that are to look, each alone; if left out, those by which any plan of the study looks.
        plan : str, optional
            The plan of which all but the looks is kept; the baseline if left out.
        most_outages : int, at least 1
            Longest interval that is tried; no more than any unit has outages to come.
        first_outage : int, at least 1, optional
            Outage of the first look, whatever the interval: 1 for rows that nobody has looked at lately.
        row_limit, unit_limit, fleet_limit : float, optional
            Chance that a row, a unit or the fleet loses a blade in a year, which is not to be passed. If all are left
            out, those of the study.
        map_of : str, optional
            A technique whose detection curve is made sharper and blunter, from an eighth to eight times its sizes, to
            say what capability each interval needs. It keeps its shape, ceiling and depth gate.
        trials, planted_lives : int
            Lives of the fleet, and of each row with a planted crack, of each plan.
        seed, threads, progress
            As in `simulate`.

        Returns
        -------
        InspectionInterval
            Tables, two pictures and a paragraph.

        Raises
        ------
        ArgumentError
            For names that are not in the study, a study without limits where none are given, and a map of a technique
            that finds no size with 90 %.

        Examples
        --------
        >>> import serrata
        >>> study = serrata.Study.load("demo-data/reference-study.toml")
        >>> answer = study.inspection_interval(
        ...     techniques=["in-place-ut"], most_outages=2, trials=100, planted_lives=100, seed=1
        ... )
        >>> list(answer.summary["way"])
        ['as planned', 'in-place-ut']
        """
        steps = 1 if map_of is None else 3
        with shown(progress, steps * trials) as tell:
            text = engine.inspection_interval(
                self._engine,
                techniques=list(techniques),
                plan=plan,
                most_outages=most_outages,
                first_outage=first_outage,
                row_limit=row_limit,
                unit_limit=unit_limit,
                fleet_limit=fleet_limit,
                map_of=map_of,
                trials=trials,
                planted_lives=planted_lives,
                seed=elsewhere.seed_or_drawn(seed, None),
                threads=threads,
                progress=tell,
            )
        return InspectionInterval(text)

    def cheapest_plan(
        self,
        vary: Mapping[str, Iterable[Any]] | None = None,
        *,
        plan: str | None = None,
        row_limit: float | None = None,
        unit_limit: float | None = None,
        fleet_limit: float | None = None,
        indifference: float | None = None,
        confidence: float = 0.95,
        most_plan_lives: int | None = None,
        trials: int = 8_192,
        planted_lives: int = 24_576,
        seed: int | None = None,
        threads: int = 0,
        progress: Progress = None,
    ) -> CheapestPlan:
        """Find the cheapest plan that meets limits on the chance of a loss in a year, of the study's own or of a grid.

        All plans are lived on the same cracks, in rounds that double the lives. After each round those are dropped that
        surely miss a limit, or are surely dearer than one which is known to meet all; a cheaper plan that may yet miss
        a limit drops nobody. The search ends when the cheapest that is left is known to be so to within the
        indifference, or with the last of the trials. What losses nobody has seen yet may cost is allowed for before a
        plan drops another.

        Parameters
        ----------
        vary : mapping of str to values, optional
            Key path within the plan to the values that stand there in turn, such as
            ``{"looks[1].every_outages": [1, 2, 3]}``, list elements counted from 1; each value of one meets each of the
            others. Combinations that the study refuses are told, and left out. Without it the study's own plans are
            compared.
        plan : str, optional
            The plan whose values vary; the baseline if left out.
        row_limit, unit_limit, fleet_limit : float, optional
            Chance that a row, a unit or the fleet loses a blade in a year, which is not to be passed. If all are left
            out, those of the study; 1 bears any loss, so that money alone decides.
        indifference : float, above 0, optional
            Difference in cost, in the study's currency, that is as good as none; a hundredth of the least cost of the
            first round if left out.
        confidence : float between 0.5 and 1
            That the cheapest plan which meets the limits is kept, and that what is said of the one named is right.
        most_plan_lives : int, optional
            Lives of the fleet that all plans may have together.
        trials, planted_lives : int
            Lives of the fleet, and of each row with a planted crack, of a plan that stays to the end. Rounds are of
            512 lives and more.
        seed, threads
            As in `simulate`.
        progress : None, bool or callable
            As in `simulate`, in lives of a plan that is left.

        Returns
        -------
        CheapestPlan
            Tables, a picture and a paragraph.

        Raises
        ------
        ArgumentError
            For a study without limits where none are given, a plan or a path that is not there, values that stand
            twice, a budget that the first round passes, and as `simulate`.
        StudyError
            Where the study refuses all combinations.

        Examples
        --------
        >>> import serrata
        >>> study = serrata.Study.load("demo-data/reference-study.toml")
        >>> vary = {"looks[1].every_outages": [1, 2]}
        >>> answer = study.cheapest_plan(vary, fleet_limit=1, trials=512, planted_lives=0, seed=1)
        >>> list(answer.summary["strategy"])
        ['every_outages = 1', 'every_outages = 2']
        """
        lists = [] if vary is None else [(path, self._listed(path, several)) for path, several in vary.items()]
        with shown(progress, trials) as tell:
            text = engine.cheapest_plan(
                self._engine,
                plan=plan,
                vary=lists,
                row_limit=row_limit,
                unit_limit=unit_limit,
                fleet_limit=fleet_limit,
                indifference=indifference,
                confidence=confidence,
                most_plan_lives=most_plan_lives,
                trials=trials,
                planted_lives=planted_lives,
                seed=elsewhere.seed_or_drawn(seed, None),
                threads=threads,
                progress=tell,
            )
        return CheapestPlan(text)

    def grow(
        self,
        hot_spot: str,
        *,
        row: str | None = None,
        technique: str | None = None,
        detectable_at: float = 0.5,
        from_depth_mm: float | None = None,
        from_length_mm: float | None = None,
        cracks: int = 10_000,
        seed: int = 1,
    ) -> GrownCracks:
        """Grow cracks of one hot spot from the start of the study on, each to the loss of its blade.

        Parameters
        ----------
        hot_spot : str
            As ``root.hot-spot``, or its own id where no other root has one of that id.
        row : str, optional
            The row whose duty, surface and scatter the cracks meet. If left out it is the first with that root, and
            `GrownCracks.by_row` has the others too.
        technique : str, optional
            The technique that is to find them.
        detectable_at : float between the technique's floor and ceiling
            Probability of detection from which on a crack is called detectable, in one look of median quality.
        from_depth_mm : float, above 0, optional
            Depth in mm at which they begin; as the study says, or as the length has it, if left out.
        from_length_mm : float, above 0, optional
            Surface length in mm at which they begin, as crews report it; as the study says, or as the depth has it, if
            left out. Where only one of the two is given, the other follows from each crack's own initial aspect.
        cracks : int, at least 1
            How many; each has its own start, growth, toughness and row, and the stress factor of a blade
            that cracks.
        seed : int from 0 to 2**64 - 1
            Where the random numbers begin.

        Returns
        -------
        GrownCracks

        Raises
        ------
        ArgumentError
            For names that are not in the study and numbers out of range.

        Examples
        --------
        >>> import serrata
        >>> study = serrata.Study.load("demo-data/reference-study.toml")
        >>> grown = study.grow("curved-tree.tang", technique="in-place-ut", cracks=200)
        >>> lost = grown.cracks[grown.cracks["years_to_loss"] < 1000]
        >>> bool((lost["critical_depth_mm"] > lost["initial_depth_mm"]).all())
        True
        """
        asked: dict[str, Any] = {
            "hot_spot": hot_spot,
            "row": row,
            "technique": technique,
            "detectable_at": detectable_at,
            "from_depth_mm": from_depth_mm,
            "from_length_mm": from_length_mm,
            "cracks": cracks,
            "seed": seed,
        }
        return GrownCracks._of(self, engine.grow(self._engine, **asked), asked)

    def fit_growth(
        self,
        sizes: str | os.PathLike[str] | IntoDataFrame | Mapping[str, Sequence[Any]],
        *,
        hot_spot: str | None = None,
        row: str | None = None,
        delimiter: str | None = None,
        decimal: Literal["point", "comma"] | None = None,
        columns: Mapping[str, str] | None = None,
        values: Mapping[str, str] | None = None,
        source: str | None = None,
    ) -> GrowthFit:
        """Fit a factor on the growth coefficient to sizes of cracks that were followed.

        Two measured sizes of one crack, or striations or sections read off it (depth against starts), say how fast it
        grew. Its size follows the growth curve of the median crack of its hot spot, at a rate over the median one of
        the factor, the scatter that the growth law states from row to row and from crack to crack, and the stress of a
        blade that cracks. Measured sizes have the bias and the error of their technique, or an error that is stated.
        The true first size is not known and is integrated out, flat in its logarithm; the factor is by maximum
        likelihood, its bounds by profile likelihood. Where sizing error swamps the growth there is an upper bound and
        no estimate.

        For hot spots whose cracks all follow one growth curve: Paris' law in one line, of starts alone.

        Parameters
        ----------
        sizes : path-like, DataFrame or mapping
            A CSV file, or a table, with a line for each size. Columns: ``crack`` (name), ``starts`` (of the machine
            until then, counted from any one moment), one of ``depth_mm`` and ``length_mm`` (at the surface), and where
            needed ``hot_spot``, ``row``, ``technique`` (of the study: its sizing of lengths holds) and
            ``sizing_sigma_log`` (standard deviation of the logarithm of the size, where no technique has it, as of
            striations).
        hot_spot : str, optional
            As ``root.hot-spot``, or its own id where no other root has one of that id, for lines that do not say so.
        row : str, optional
            The row, for lines that do not say so. May be left out where one row only has the root, or growth does not
            scatter from row to row.
        delimiter, decimal
            As in `Records.load`, of a file.
        columns : mapping of str to str, optional
            Names that differ: ours to the file's.
        values : mapping of str to str, optional
            Cells that say something in other words.
        source : str, optional
            Where the sizes are from; the path of a file if left out.

        Returns
        -------
        GrowthFit

        Raises
        ------
        RecordsError
            With all lines that break a rule: a crack with one size, or with no start between its sizes; sizes below the
            beginning or beyond the end of the growth curve; a size smaller than an earlier one by far more than their
            errors; an unknown technique, or one without sizing error where none is stated.
        DataError
            For a hot spot whose cracks join (reason ``joins``) or do not share one growth curve (``no-one-curve``).
        ArgumentError
            For names that are not in the study, and a study that was given records.
        FileError
            For a file that cannot be read.

        Examples
        --------
        >>> import serrata
        >>> study = serrata.Study.load("demo-data/demo-study.toml")
        >>> striations = {"crack": ["A"] * 3, "starts": [0, 120, 200], "depth_mm": [0.8, 1.5, 2.4]}
        >>> at = {"hot_spot": "four-serrations.upper", "row": "alder-lp1-front"}
        >>> fit = study.fit_growth({**striations, "sizing_sigma_log": [0.05] * 3}, **at)
        >>> len(fit.warnings) > 0  # one crack
        True
        """
        return growth_fit.fit(
            self,
            sizes,
            hot_spot=hot_spot,
            row=row,
            delimiter=delimiter,
            decimal=decimal,
            columns=columns,
            values=values,
            source=source,
        )

    def left_in_row(
        self,
        row: str,
        technique: str | None = None,
        *,
        found: int = 0,
        lives: int = 100_000,
        seed: int = 1,
        threads: int = 0,
        progress: Progress = None,
    ) -> LeftInRow:
        """Say what is still in a row after a look at the start of the study: how many cracks, and how long.

        All blades are looked at; those that are called are replaced, with the blades that come out together with them.
        Lives of the row, as the study has it or as its records leave it, come to the start of the study, and count by
        how probable the outcome of the look is in each, given its cracks and how well that inspection sees. So cracks
        that join, and past looks of which nobody knows what they found, are as in `simulate`.

        Parameters
        ----------
        row : str
            Id of the row.
        technique : str, optional
            Id of the technique that looked; nobody did if left out.
        found : int
            Blades that it called.
        lives : int, from 256
            Lives of the row.
        seed : int from 0 to 2**64 - 1
            Where the random numbers begin.
        threads : int
            0 for as many as the machine gives. They change no result.
        progress : bool, callable or None
            As in `simulate`, told the lives done.

        Returns
        -------
        LeftInRow
            The answer, beside what each other technique would have left had it found nothing, and what is there if
            nobody looks.

        Raises
        ------
        ArgumentError
            For names that are not in the study, and more finds than blades.
        DataError
            With the reason ``thin``, for an outcome that hardly any life has.
        ContradictionError
            If no life of the row comes to the start of the study without a loss.

        Examples
        --------
        >>> import serrata
        >>> study = serrata.Study.load("demo-data/demo-study.toml")
        >>> left = study.left_in_row("cedar-lp1-front", "eddy-array", lives=2_000).summary.set_index("look")
        >>> float(left.loc["asked", "cracks"]) < float(left.loc["no look", "cracks"])
        True
        """
        asked = {"found": found, "lives": lives, "seed": seed, "threads": threads}
        with shown(progress, lives) as tell:
            return LeftInRow(engine.left_in_row(self._engine, row, technique, **asked, progress=tell))

    def can_it_run(
        self,
        row: str,
        technique: str | None = None,
        *,
        found: int = 0,
        left_in: Mapping[str, float] | Sequence[tuple[str, float]] = (),
        yearly_limit: float | None = None,
        lives: int = 100_000,
        planted_lives: int = 100_000,
        seed: int = 1,
        threads: int = 0,
        progress: Progress = None,
    ) -> RunOn:
        """Say how probable it is that a row loses a blade after a look, if nobody looks again.

        Month by month to the next outage, with that outage put off by 3, 6, 12 and 24 months, and with cracks that are
        left in on purpose. What is told is the chance of the first loss; new blades that took the place of called ones
        are taken to last. Rare losses are told by lives with a planted crack, whose miss by the look is a part of their
        weight.

        Parameters
        ----------
        row, technique, found, lives, seed, threads, progress
            As in `left_in_row`.
        left_in : mapping of str to float, or sequence of pairs
            Cracks left in on purpose: hot spot (as ``root.hot-spot``, or its own id) and surface length in mm. Each
            grows as `grow` has it, in a row like others. It and the row's own cracks share the growth of their row, so
            that their chances are not independent: of the row with them the least and the most are told, the largest of
            the chances and their sum, which hold whatever they share.
        yearly_limit : float, from 0 to 1, optional
            Chance of a loss in twelve months that is not to be passed; that of the study's ``limits`` on a row, or else
            on a unit, if left out.
        planted_lives : int
            Lives with a planted crack; 0 leaves all to plain lives.

        Returns
        -------
        RunOn

        Raises
        ------
        ArgumentError, DataError, ContradictionError
            As `left_in_row`; ArgumentError too for a row whose unit has no outage to come, and a crack that fits into
            no section or is past its limit.

        Examples
        --------
        >>> import serrata
        >>> study = serrata.Study.load("demo-data/demo-study.toml")
        >>> answer = study.can_it_run("cedar-lp1-front", "eddy-array", lives=1_000, planted_lives=1_000)
        >>> chances = answer.summary["p_loss"]
        >>> bool((chances.diff().dropna() >= 0).all())
        True
        """
        asked = {"found": found, "lives": lives, "planted_lives": planted_lives, "seed": seed, "threads": threads}
        cracks = list(left_in.items() if isinstance(left_in, Mapping) else left_in)
        with shown(progress, lives + planted_lives) as tell:
            text = engine.can_it_run(
                self._engine, row, technique, **asked, left_in=cracks, yearly_limit=yearly_limit, progress=tell
            )
        return RunOn(text)

    def inspect(self, row: str, techniques: Sequence[str], *, lives: int = 100, seed: int = 1) -> pd.DataFrame:
        """Inspect a row at its first outage from the study's start on, in many lives, with the truth beside the calls.

        What nobody has in a real outage: invented records to try fits on, and what techniques are up against.

        Parameters
        ----------
        row : str
            Id of the row.
        techniques : sequence of str
            Ids of techniques; each looks at every blade.
        lives : int, at least 1
            Lives of the row.
        seed : int from 0 to 2**64 - 1
            Where the random numbers begin.

        Returns
        -------
        pandas.DataFrame
            A line for each crack, and one for each clean blade that is called: life, blade (from 1),
            depth_mm, length_mm (true sizes; NaN for a clean blade), mouth_is_closed (False for a clean blade),
            and under each technique's id the length in mm that it reports, NaN where it does not call.

        Raises
        ------
        ArgumentError
            For ids that are not in the study, or no lives.

        Examples
        --------
        >>> import serrata
        >>> study = serrata.Study.load("demo-data/reference-study.toml")
        >>> seen = study.inspect("south-b", ["bench-mt"], lives=20)
        >>> list(seen.columns)
        ['life', 'blade', 'depth_mm', 'length_mm', 'mouth_is_closed', 'bench-mt']
        """
        import pandas as pd

        return pd.DataFrame(self._engine.inspect(row, list(techniques), lives=lives, seed=seed))

    def inspection_records(
        self,
        row: str,
        techniques: Sequence[str],
        *,
        lives: int = 1,
        seed: int = 1,
        confirmed: Literal["called", "every"] = "called",
    ) -> str:
        """Inspect a row as `inspect` does, and write inspection records of it, as `Records.parse` reads them.

        Each life is an inspection of its own. A blade with cracks has a line by each technique for each place that is
        cracked, any other blade one for itself.

        Parameters
        ----------
        row, techniques, lives, seed
            As in `inspect`: with the same seed these are the same cracks and the same calls.
        confirmed : {"called", "every"}
            What is confirmed by other means, cracked or not and true sizes: blades and places that some technique
            called, as after an outage; or every one, as on a trial with blades that are cut up.

        Returns
        -------
        str
            Text of a CSV file.

        Raises
        ------
        ArgumentError
            As `inspect`.

        Examples
        --------
        >>> import serrata
        >>> study = serrata.Study.load("demo-data/reference-study.toml")
        >>> records = serrata.Records.parse(study.inspection_records("south-b", ["bench-mt"], lives=2))
        >>> records.techniques
        ['bench-mt']
        """
        return self._engine.inspection_records(row, list(techniques), lives=lives, seed=seed, confirmed=confirmed)

    def work_calendar(self) -> pd.DataFrame:
        """Give the work that each strategy schedules on each row at each outage, with its days against the window.

        Nothing is simulated: what looks find comes on top.

        Returns
        -------
        DataFrame
            A line for each strategy, unit, outage and row with work. `outage` counts from 1; `work` says what is done;
            `days` are the row's own, without the lift of its rotor; `done_after_days` counts from the beginning of the
            outage, by the unit's crews; `days_beyond_window` is the row's share of the unit's days beyond the window.

        Examples
        --------
        >>> import serrata
        >>> calendar = serrata.Study.load("demo-data/demo-study.toml").work_calendar()
        >>> sorted(calendar["unit"].unique())
        ['alder', 'birch', 'cedar']
        """
        import pandas as pd

        return pd.DataFrame(self._engine.work_calendar())

    def _work_calendar_text(self) -> str:
        """Give the same as text for the command line, a line for each unit and outage with work."""
        return self._engine.work_calendar_text()

    @property
    def assumptions(self) -> list[str]:
        """List what the study takes for granted, in sentences, inputs without a basis included."""
        return self._engine.assumptions()

    @property
    def warnings(self) -> list[str]:
        """Warnings of what may not be meant as it stands, in sentences: looks that never come, two at one outage."""
        return self._engine.warnings()

    @property
    def name(self) -> str:
        """Name of the study."""
        return self._engine.name

    @property
    def start_year(self) -> float:
        """Year in which it begins."""
        return self._engine.start_year

    @property
    def horizon_years(self) -> float:
        """Horizon, in years."""
        return self._engine.horizon_years

    @property
    def currency(self) -> str:
        """Name of the currency of all costs."""
        return self._engine.currency

    @property
    def baseline(self) -> str:
        """Id of the strategy that the others are compared with."""
        return self._engine.baseline

    @property
    def strategies(self) -> dict[str, str]:
        """Ids of the strategies, with their one-line descriptions."""
        return dict(self._engine.strategies)

    @property
    def units(self) -> list[str]:
        """Ids of the units."""
        return self._engine.units

    @property
    def hot_spots(self) -> list[str]:
        """Ids of the hot spots, as ``root.hot-spot``."""
        return self._engine.hot_spots

    @property
    def rows(self) -> dict[str, int]:
        """Ids of the rows, with their numbers of blades."""
        return dict(self._engine.rows)

    @property
    def techniques(self) -> list[str]:
        """Ids of the techniques."""
        return self._engine.techniques

    if not TYPE_CHECKING:

        def __getattr__(self, name: str) -> NoReturn:
            renamed.refuse_attribute("Study", _RENAMED, name)

    def __eq__(self, other: object) -> bool:
        return self._engine == other._engine if isinstance(other, Study) else NotImplemented

    def __hash__(self) -> int:
        return hash(self._engine)

    def _card(self) -> Card:
        lines = [
            [name, f"{text}{' (baseline)' if name == self.baseline else ''}"] for name, text in self.strategies.items()
        ]
        said = [
            f"{len(self.rows)} rows of {sum(self.rows.values()):,} blades in {len(self.units)} units; "
            f"{self.horizon_years:g} years from {self.start_year:g}, costs in {self.currency}."
        ]
        tables = [Table("Strategies", ["strategy", "what it does"], lines, left=2)]
        tables.append(Table("Taken for granted", ["what is taken for granted"], [[one] for one in self.assumptions]))
        return Card(f"Study {self.name}", said, tables, self.warnings)

    def __repr__(self) -> str:
        return (
            f"<Study {self.name!r}: {len(self.rows)} rows, {len(self.strategies)} strategies, "
            f"{self.horizon_years:g} years from {self.start_year:g}>"
        )

    def __reduce__(self) -> tuple[Any, ...]:
        return _again, (self.to_toml(), self._belief)

    def __copy__(self) -> Study:
        return self

    def __deepcopy__(self, memo: dict[int, Any]) -> Study:
        return self


def _again(text: str, belief: Belief | None) -> Study:
    return Study._of(engine.Study.parse(text, "pickled study"), belief)
