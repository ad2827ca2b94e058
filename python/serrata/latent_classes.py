"""Detection without known truth: cracked and sound blades told apart by what several techniques called."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, NoReturn

from serrata import _engine as engine
from serrata import records_plots, renamed
from serrata.about import CAUTION
from serrata.card import Card, of_frame
from serrata.errors import ArgumentError
from serrata.report_blocks import wrapped
from serrata.result import JsonResult

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

__all__ = ["LatentClasses"]

#: Histories that are printed; the table `patterns` has all.
_MOST_PATTERNS = 8


class LatentClasses(JsonResult):
    """Detection by three or more techniques without known truth. It never changes.

    Made by `Records.latent_classes` or, from counts alone, by `LatentClasses.from_counts`. Blades are of two classes,
    cracked and sound; given the class, techniques err independently of each other, but for pairs that are named as
    dependent. Where they miss the same cracks beyond that (as small ones, which all of them miss), detection is
    overstated and the number missed understated; ``report`` says what the calls show of it, and `sensitivity` what it
    would do. Every interval is by profile likelihood.
    """

    __slots__ = ()

    @staticmethod
    @renamed.refuse_arguments(kindred="dependent_pairs")
    def from_counts(
        techniques: Sequence[str],
        counts: Mapping[tuple[bool | None, ...], int],
        *,
        dependent_pairs: Sequence[tuple[str, str]] = (),
        level: float = 0.95,
        resamples: int = 200,
        seed: int = 1,
    ) -> LatentClasses:
        """Tell classes apart by counts of blades.

        Parameters
        ----------
        techniques : sequence of str
            From 3 to 8 of them.
        counts : mapping of tuple of (bool or None) to int
            Blades for each history: what each technique answered, in their order, None where it did not look.
        dependent_pairs, level, resamples, seed
            As `Records.latent_classes`.

        Returns
        -------
        LatentClasses

        Raises
        ------
        ArgumentError
            For a history of another number of answers, or counts that are none.
        DataError
            As `Records.latent_classes`.

        Examples
        --------
        >>> import itertools, serrata
        >>> blades = [22, 15, 6, 12, 3, 20, 9, 163]
        >>> counts = dict(zip(itertools.product([True, False], repeat=3), blades))
        >>> found = serrata.LatentClasses.from_counts(["mpi", "eddy", "penetrant"], counts)
        >>> bool(abs(found.by_technique["detection"][0] - 0.9) < 0.02)
        True
        """
        listed = []
        for answers, blades in counts.items():
            if isinstance(blades, bool) or blades != int(blades) or blades < 0:
                raise ArgumentError(f"counts = {blades!r}\n    must be a whole number from 0\n    count blades")
            listed.append(([None if answer is None else bool(answer) for answer in answers], int(blades)))
        pairs = [(first, second) for first, second in dependent_pairs]
        return LatentClasses(engine.latent_classes_of_counts(list(techniques), listed, pairs, level, resamples, seed))

    @property
    def _found(self) -> dict[str, Any]:
        content: dict[str, Any] = self._content["latent_classes"]
        return content

    @property
    def level(self) -> float:
        """Confidence of every interval."""
        return float(self._found["level"])

    @property
    def blades(self) -> int:
        """Blades that at least one technique looked at."""
        return int(self._found["blades"])

    @property
    def incomplete(self) -> int:
        """Blades that not all techniques looked at; they count with the answers that there are."""
        return int(self._found["incomplete"])

    @property
    def called_by_none(self) -> int:
        """Blades that none of those who looked called."""
        return int(self._found["called_by_none"])

    @property
    def prevalence(self) -> tuple[float, float, float]:
        """Chance that a blade is cracked: estimate, lower and upper end."""
        return _three(self._found["prevalence"])

    @property
    def cracked(self) -> tuple[float, float, float]:
        """Cracked blades: estimate, lower and upper end, rounded outwards to whole blades."""
        return _three(self._found["cracked"])

    @property
    def cracked_called_by_none(self) -> tuple[float, float, float]:
        """Cracked blades that none of those who looked called: estimate, lower and upper end, as `cracked`."""
        return _three(self._found["cracked_called_by_none"])

    @property
    def techniques(self) -> list[str]:
        """The techniques, in the order that was asked for."""
        return [one["technique"] for one in self._found["techniques"]]

    @property
    def by_technique(self) -> pd.DataFrame:
        """For each technique: blades looked at and called, and three estimates with their intervals.

        ``detection`` is the chance of a call on a cracked blade, ``false_calls`` that on a sound one,
        ``cracked_not_called`` the cracked blades among those that it looked at and did not call. Columns that end in
        ``_low`` and ``_high`` are ends of intervals.
        """
        import pandas as pd

        lines = []
        for one in self._found["techniques"]:
            line = {name: one[name] for name in ("technique", "looked", "called")}
            for name in ("detection", "false_calls", "cracked_not_called"):
                line[name], line[f"{name}_low"], line[f"{name}_high"] = _three(one[name])
            lines.append(line)
        return pd.DataFrame(lines)

    @property
    def dependent_pairs(self) -> pd.DataFrame:
        """For each dependent pair the correlation of calls on cracked and on sound blades."""
        import pandas as pd

        return pd.DataFrame(
            self._found["dependent_pairs"], columns=["first", "second", "correlation_cracked", "correlation_sound"]
        )

    @property
    def patterns(self) -> pd.DataFrame:
        """For each history: who called, who looked and did not, blades, those expected, and the chance of a crack.

        ``cracked`` is the probability that such a blade is cracked: after a clean look of all, that of a missed
        crack; after a call, one less that of a false call.
        """
        import pandas as pd

        lines = [{**one, "called_by": _set(one["called_by"]), "silent": _set(one["silent"])} for one in self._patterns]
        return pd.DataFrame(lines, columns=["called_by", "silent", "blades", "expected", "cracked"])

    @property
    def _patterns(self) -> list[dict[str, Any]]:
        patterns: list[dict[str, Any]] = self._found["patterns"]
        return patterns

    @property
    def pairs(self) -> pd.DataFrame:
        """For each pair: blades both looked at, correlation expected, what it is beyond that, and its standard error.

        A ``residual`` well above zero is dependence that the fit does not have. The standard error is missing where
        nothing is left to check the fit by, as with three techniques.
        """
        import pandas as pd

        columns = ["first", "second", "blades", "expected", "residual", "standard_error"]
        return pd.DataFrame(self._found["pairs"], columns=columns)

    @property
    def sensitivity(self) -> pd.DataFrame:
        """Effect of dependence that is not estimated: one pair dependent on cracked blades at a time.

        For each such pair and each of two odds ratios: chance of a crack, cracked blades called by none, each
        technique's detection, and ``log_likelihood_change``: near zero, the calls do not speak against it.
        """
        import pandas as pd

        names = self.techniques
        fixed = ["first", "second", "odds_ratio", "prevalence", "cracked_called_by_none", "log_likelihood_change"]
        lines = []
        for one in self._found["sensitivity"]:
            detection = {f"detection_{name}": p for name, p in zip(names, one["detection"], strict=True)}
            lines.append({**{name: one[name] for name in fixed}, **detection})
        return pd.DataFrame(lines, columns=[*fixed, *(f"detection_{name}" for name in names)])

    @property
    def goodness(self) -> dict[str, Any]:
        """Goodness of fit: ``g2``, ``degrees_of_freedom``, ``p`` (None where there is none) and its ``method``."""
        return dict(self._found["goodness"])

    @property
    def contradicted(self) -> bool:
        """Whether known truth, or the calls themselves (p below 0.05), speak against the fit.

        Its numbers are then not to be relied on.
        """
        return bool(self._content["contradicted"])

    @property
    def _contradicted_by(self) -> str:
        confirmed = self._found["confirmed"]
        return "blades of known truth" if confirmed and confirmed["contradicts"] else "the calls themselves"

    @property
    def log_likelihood(self) -> float:
        """Largest log-likelihood of the calls, without factorials."""
        return float(self._found["log_likelihood"])

    @property
    def notes(self) -> list[str]:
        """Notes on the numbers, in sentences."""
        return list(self._found["notes"])

    def report(self) -> str:
        """Give the whole answer as plain text, as the command line prints it."""
        lines = [wrapped(sentence, rest="  ") for sentence in self._said()]
        found = self._found
        width = max(len("technique"), *(len(one["technique"]) for one in found["techniques"]))
        heads = "detection         false calls       cracked, not called"
        lines += ["", *([f"By the fit, which is contradicted by {self._contradicted_by}"] if self.contradicted else [])]
        lines.append(f"  {'technique':{width}}  looked  called  {heads}")
        for one in found["techniques"]:
            chances = "  ".join(_chance(one[name]) for name in ("detection", "false_calls"))
            value, low, high = _three(one["cracked_not_called"])
            missed = f"{value:.1f} ({low:.0f} to {high:.0f})"
            lines.append(f"  {one['technique']:{width}}  {one['looked']:6}  {one['called']:6}  {chances}  {missed}")
        lines += ["", "  blades  expected  cracked  called by"]
        for one in self._patterns[:_MOST_PATTERNS]:
            chance = f"{100 * one['cracked']:5.1f} %"
            unlooked = len(found["techniques"]) - len(one["called_by"]) - len(one["silent"])
            rest = f" ({unlooked} did not look)" if unlooked else ""
            lines.append(f"  {one['blades']:6}  {one['expected']:8.1f}  {chance}  {_set(one['called_by'])}{rest}")
        if len(self._patterns) > _MOST_PATTERNS:
            lines.append(f"  and {len(self._patterns) - _MOST_PATTERNS} more capture histories")
        for one in found["dependent_pairs"]:
            cracked, sound = one["correlation_cracked"], one["correlation_sound"]
            lines += ["", f"  Dependent: {one['first']} and {one['second']}, correlation of calls"]
            lines[-1] += f" {cracked:+.2f} on cracked and {sound:+.2f} on sound blades"
        level = f"Intervals are of {100 * self.level:g} %, by profile likelihood; they are not symmetric."
        return "\n".join([*lines, "", level, "", CAUTION, ""])

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw detection and false calls of each technique; see `serrata.records_plots.latent_classes`."""
        return records_plots.latent_classes(self, ax)

    if not TYPE_CHECKING:

        def __getattr__(self, name: str) -> NoReturn:
            renamed.refuse_attribute("LatentClasses", {"kindred": "LatentClasses.dependent_pairs"}, name)

    def _said(self) -> list[str]:
        return [*self._content["sentences"], *(f"Note: {note}" for note in self.notes)]

    def _card(self) -> Card:
        tables = [of_frame("Detection and false calls", self.by_technique), of_frame("Pair by pair", self.pairs)]
        return Card(f"Detection without known truth: {self.blades} blades", self._said(), tables)

    def __repr__(self) -> str:
        if self.contradicted:
            return (
                f"<LatentClasses of {self.blades} blades, contradicted by {self._contradicted_by}: not to be relied on>"
            )
        value, low, high = self.cracked
        missed = self.cracked_called_by_none
        numbers = f"{value:.1f} ({low:g} to {high:g}) of {self.blades} blades cracked"
        return f"<LatentClasses {numbers}, {missed[0]:.1f} ({missed[1]:g} to {missed[2]:g}) called by none>"


def _three(interval: dict[str, Any]) -> tuple[float, float, float]:
    return float(interval["value"]), float(interval["low"]), float(interval["high"])


def _chance(interval: dict[str, Any]) -> str:
    value, low, high = _three(interval)
    return f"{value:.2f} ({low:.2f}-{high:.2f})"


def _set(names: list[str]) -> str:
    return " + ".join(names) or "none"
