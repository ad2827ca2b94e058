"""What is still in a row after a look: how many cracks, how long, and how near to the critical size."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from serrata import left_in_row_plots as plots
from serrata.about import CAUTION
from serrata.card import Card, of_frame
from serrata.report_blocks import wrapped
from serrata.result import JsonResult
from serrata.wording import in_words

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

__all__ = ["LeftInRow", "outcome_in_words", "taken_for_granted"]

#: Lengths of which the report tells, in mm.
_LENGTHS_MM = (1.0, 2.0, 5.0, 10.0)
#: Numbers of cracks that the report tells one by one.
_TOLD = 4


class LeftInRow(JsonResult):
    """What is still in a row just after a look at the start of the study. It never changes.

    Made by `Study.left_in_row`. Ranges are 95 % intervals of the error of the lives, and of the draws that a study
    given its records goes on from; the study's inputs are taken as they stand.
    """

    __slots__ = ()

    @property
    def summary(self) -> pd.DataFrame:
        """A line for each look: the one asked about, none, and each technique as if it had found nothing.

        Columns are `look`, "asked", "no look" or "if clean"; `technique`; `found`; and each with `_low` and `_high`:
        `p_outcome`, the chance that the look finds so many; `cracks`, left in the mean; `p_none`, the chance that none
        is left; `longest_mean_mm`; `p_lost_before_next`, the chance that a crack left passes its own limit before the
        next outage, of the first two lines alone; and `longest_95_mm`, which the longest does not pass with 95 %.
        Numbers are missing for a technique that hardly ever finds nothing here.
        """
        import pandas as pd

        lines = []
        for look, technique, found, left in self._looks():
            line: dict[str, Any] = {"look": look, "technique": technique, "found": found}
            for name in _NUMBERS:
                number = None if left is None else _number(left, name)
                for end, key in (("", "value"), ("_low", "low"), ("_high", "high")):
                    line[f"{name}{end}"] = None if number is None else number[key]
            line["longest_95_mm"] = None if left is None else left["longest_95_mm"]
            lines.append(line)
        numbers = [f"{name}{end}" for name in _NUMBERS for end in ("", "_low", "_high")]
        return pd.DataFrame(lines).astype(dict.fromkeys([*numbers, "longest_95_mm"], float))

    @property
    def numbers(self) -> pd.DataFrame:
        """Chance of each number of cracks left by the look asked about: `cracks`, `value`, `low`, `high`.

        The last number stands for all that are more.
        """
        import pandas as pd

        chances = self._content["left"]["p_number"]
        return pd.DataFrame(
            [[cracks, *(chance[key] for key in _ENDS)] for cracks, chance in enumerate(chances)],
            columns=["cracks", *_ENDS],
        )

    @property
    def lengths(self) -> pd.DataFrame:
        """How long the cracks left are, look by look as in `summary`.

        Columns are `look`, `technique`, `length_mm`; `p_longer`, the chance that the longest crack left is longer, and
        `cracks_longer`, how many are in the mean, each with `_low` and `_high`.
        """
        import pandas as pd

        lines = [
            {"look": look, "technique": technique, "length_mm": at["length_mm"]}
            | {
                f"{name}{end}": at[of][key]
                for name, of in (("p_longer", "p_any"), ("cracks_longer", "cracks"))
                for end, key in (("", "value"), ("_low", "low"), ("_high", "high"))
            }
            for look, technique, _, left in self._looks()
            if left is not None
            for at in left["longer"]
        ]
        return pd.DataFrame(lines)

    @property
    def critical(self) -> pd.DataFrame:
        """At which size cracks of each hot spot lose their blade, and the chance that one left is longer.

        Columns are `hot_spot`; `share`, of the blades that are lost below the size: 0.05 and 0.5; `length_mm`,
        `depth_mm`; `p_longer` with `_low` and `_high`.
        """
        import pandas as pd

        lines = []
        for spot, chances in zip(
            self._content["critical"], self._content["left"]["p_longer_than_critical"], strict=True
        ):
            for share, name, chance in ((0.05, "05", chances[0]), (0.5, "50", chances[1])):
                sizes = {"length_mm": spot[f"length_{name}_mm"], "depth_mm": spot[f"depth_{name}_mm"]}
                longer = {"p_longer": chance["value"], "p_longer_low": chance["low"], "p_longer_high": chance["high"]}
                lines.append({"hot_spot": spot["hot_spot"], "share": share} | sizes | longer)
        return pd.DataFrame(lines)

    @property
    def notes(self) -> list[str]:
        """The answer in sentences."""
        return [self._answer(), self._longest(), *self._against_limit(), self._beside(), *self.warnings, self._basis()]

    @property
    def warnings(self) -> list[str]:
        """What to beware of."""
        return list(self._content["warnings"])

    def report(self) -> str:
        """Give the whole answer as plain text."""
        question = self._content["question"]
        head = f"What is still in {question['row']}? {self._content['study']}, {self._content['year']:g}"
        said = [wrapped(text, rest="  ") for text in [head, *self.notes]]
        return "\n".join([*said, "", *self._table(), "", CAUTION, ""])

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw the chance that the longest crack left is longer than a length, look by look, beside the critical size.

        Parameters
        ----------
        ax : matplotlib.axes.Axes, optional
            Where to draw; a new figure if left out.
        """
        return plots.longest_left(self._content, ax)

    def __repr__(self) -> str:
        left = self._content["left"]
        return f"<LeftInRow of {self._content['question']['row']}: {left['cracks']['value']:.3g} cracks in the mean>"

    def _card(self) -> Card:
        question = self._content["question"]
        summary = self.summary
        ends = [name for name in summary if str(name).endswith(("_low", "_high"))]
        tables = [
            of_frame("What each look leaves", summary.drop(columns=ends)),
            of_frame("Chance of each number of cracks left", self.numbers),
            of_frame("Chance that the longest crack left is longer", self.lengths),
            of_frame("Sizes at which blades are lost", self.critical),
        ]
        notes = [note for note in self.notes if note not in self.warnings]
        return Card(f"What is still in {question['row']}? {self._content['study']}", notes, tables, self.warnings)

    def _looks(self) -> list[tuple[str, str | None, int, dict[str, Any] | None]]:
        content = self._content
        question = content["question"]
        clean = [("if clean", one["technique"], 0, one["left"]) for one in content["if_clean"]]
        return [
            ("asked", question["technique"], question["found"], content["left"]),
            ("no look", None, 0, content["unseen"]),
            *clean,
        ]

    def _answer(self) -> str:
        content = self._content
        left = content["left"]
        numbers = [chance["value"] for chance in left["p_number"]]
        more = f"{_TOLD} or more: {_percent(sum(numbers[_TOLD:]))}"
        each = ", ".join(f"{number}: {_percent(numbers[number])}" for number in range(_TOLD))
        return (
            f"{outcome_in_words(content)} {_ranged(left['cracks'])} cracks are left in the row in the mean. "
            f"The chance that none is left is {_words(left['p_number'][0])}; by number of cracks {each}, {more}."
        )

    def _longest(self) -> str:
        left = self._content["left"]
        if not any(chance["value"] > 0.0 for chance in left["p_number"][1:]):
            return "No life has a crack left."
        longest = left["longest_95_mm"]
        most = f"no longer than {longest:.3g} mm" if longest > 0.0 else "not there at all: none is left"
        each = ", ".join(
            f"{at['length_mm']:g} mm: {_words(at['p_any'])}" for at in left["longer"] if at["length_mm"] in _LENGTHS_MM
        )
        return (
            f"A crack that is left is {_ranged(left['mean_length_mm'])} mm long in the mean; with 95 % the "
            f"longest is {most}. "
            f"Chance that it is longer than {each}."
        )

    def _against_limit(self) -> list[str]:
        content = self._content
        said = []
        for spot, (low, _) in zip(content["critical"], content["left"]["p_longer_than_critical"], strict=True):
            if spot["length_05_mm"] is None:
                continue
            said.append(
                f"At {spot['hot_spot']} one blade in twenty that is lost goes below {spot['length_05_mm']:.3g} "
                "mm, half below "
                f"{spot['length_50_mm']:.3g} mm; that a longer one than the former is left: {_words(low)}."
            )
        before = content["left"]["p_lost_before_next"]
        if before is not None:
            said.append(
                f"That a crack left grows past its own limit before the next outage ({content['next_outage_year']:g}): "
                f"{_words(before)}."
            )
        return said

    def _beside(self) -> str:
        content = self._content
        is_seen = content["question"]["technique"] is not None
        unseen = f"With nobody looking there are {_ranged(content['unseen']['cracks'])}. " if is_seen else ""
        told = [one for one in content["if_clean"] if one["left"] is not None]
        if not told:
            return f"{unseen}No technique is known to be clean here often enough to say what it would leave."
        told.sort(key=lambda one: one["left"]["cracks"]["value"])
        each = ", ".join(f"{one['technique']} {_ranged(one['left']['cracks'])}" for one in told)
        untold = [one["technique"] for one in content["if_clean"] if one["left"] is None]
        hardly = f" Hardly ever clean here, so that nobody can say: {', '.join(untold)}." if untold else ""
        return f"{unseen}Cracks left in the mean by each technique, if it too had found nothing: {each}.{hardly}"

    def _basis(self) -> str:
        left = self._content["left"]
        return (
            f"Of {self._content['question']['lives']:,} lives {left['equal_lives']:,.0f} count in full. "
            f"{taken_for_granted(self._content)}"
        )

    def _table(self) -> list[str]:
        heads = {"chance of it": 14, "cracks left": 14, "none left": 12, "95 % longest": 14, "lost before next": 20}
        head = f"{'look':<34}" + "".join(f"{words:>{width}}" for words, width in heads.items())
        lines = [head]
        shown = set()
        for look, technique, found, left in self._looks():
            if (technique, found) in shown:
                continue
            shown.add((technique, found))
            name = f"{technique or 'nobody looks'}{'' if technique is None else f', {found} found'}"
            name += " (asked)" if look == "asked" else ""
            if left is None:
                lines.append(f"{name:<34}{'hardly ever':>14}{'-':>14}{'-':>12}{'-':>14}{'-':>20}")
                continue
            cells = (
                f"{_percent(left['p_outcome']['value']):>14}{left['cracks']['value']:>14.3g}"
                f"{_percent(left['p_number'][0]['value']):>12}{left['longest_95_mm']:>11.3g} mm"
                f"{_rare(left['p_lost_before_next']):>20}"
            )
            lines.append(f"{name:<34}{cells}")
        return lines


_ENDS = ("value", "low", "high")
_NUMBERS = ("p_outcome", "cracks", "p_none", "longest_mean_mm", "p_lost_before_next")


def outcome_in_words(content: dict[str, Any]) -> str:
    """Word the look that was asked about, as the beginning of a sentence."""
    question = content["question"]
    if question["technique"] is None:
        return "With nobody looking,"
    found = question["found"]
    outcome = "nothing" if found == 0 else f"{found} blade{'s' if found > 1 else ''}, since replaced"
    chance = content["left"]["p_outcome"] if "left" in content else content["p_outcome"]
    return f"After a look by {question['technique']} that found {outcome} (a chance of {_percent(chance['value'])}),"


def taken_for_granted(content: dict[str, Any]) -> str:
    """Word what any answer about a row after a look takes for granted."""
    known = "what its records leave" if content["is_given_records"] else "the study as it stands, without records"
    return (
        f"Lives are of {known}. Ranges are 95 % intervals of the error of the lives: the study's inputs are taken "
        "as they "
        "stand, and what is not known of them can matter more."
    )


def _number(left: dict[str, Any], name: str) -> dict[str, float] | None:
    number: dict[str, float] | None = left["p_number"][0] if name == "p_none" else left[name]
    return number


def _words(chance: dict[str, float]) -> str:
    return in_words(chance["value"], chance["low"], chance["high"])


def _rare(chance: dict[str, float] | None) -> str:
    if chance is None:
        return "-"
    return f"{chance['value']:.1e}" if chance["value"] > 0.0 else f"< {chance['high']:.1e}"


def _percent(chance: float) -> str:
    percent = 100.0 * chance
    if percent < 0.01:
        return "< 0.01 %"
    return f"{percent:.0f} %" if percent >= 9.95 else f"{percent:.2g} %"


def _ranged(number: dict[str, float]) -> str:
    if number["value"] is None:
        return "-"
    return f"{number['value']:.2f} ({number['low']:.2f} to {number['high']:.2f})"
