"""Techniques side by side on the same blades: who found what, and whether that is more than chance."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from serrata import records_plots
from serrata.about import CAUTION
from serrata.card import Card, of_frame
from serrata.report_blocks import wrapped
from serrata.result import JsonResult

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

__all__ = ["SideBySide"]


class SideBySide(JsonResult):
    """Finds of several techniques on the same blades. It never changes.

    Made by `Records.side_by_side`. A find is a call on a blade that is not known to be free of cracks. Single
    techniques and patterns count blades that all techniques looked at; a pair counts all blades that both
    looked at.

    Every table has a column ``class``: ``all``, then the classes that were asked for.
    """

    __slots__ = ()

    @property
    def _all(self) -> dict[str, Any]:
        found: dict[str, Any] = self._content[0]["overlap"]
        return found

    @property
    def techniques(self) -> list[str]:
        """The techniques, in the order that was asked for."""
        return [one["technique"] for one in self._all["techniques"]]

    @property
    def level(self) -> float:
        """Confidence of every interval."""
        return float(self._all["level"])

    @property
    def found_by_any(self) -> int:
        """Blades that at least one technique found."""
        return int(self._all["found_by_any"])

    @property
    def found_by_none(self) -> int:
        """Blades that all techniques looked at and none called: free of cracks, or missed by all."""
        return int(self._all["found_by_none"])

    @property
    def finds(self) -> pd.DataFrame:
        """For each technique: found, found_alone, missed, and its share of all finds.

        ``share_of_union`` is an upper limit of the probability of detection, as cracks that all techniques
        missed do not count in it. ``false_calls`` are of ``clean_blades`` known to be free of cracks.
        """
        import pandas as pd

        return pd.DataFrame(
            {
                "class": overlap["class"],
                "technique": one["technique"],
                "blades": overlap["blades"],
                "found": one["found"],
                "found_alone": one["found_alone"],
                "missed": one["missed"],
                **_share("share_of_union", one["share_of_union"]),
                "false_calls": (one["false_calls"] or {}).get("events"),
                "clean_blades": (one["false_calls"] or {}).get("trials"),
                **_share("false_call_share", one["false_calls"]),
            }
            for overlap in self._overlaps()
            for one in overlap["techniques"]
        )

    @property
    def pairs(self) -> pd.DataFrame:
        """For each pair: both, only_first, only_second, neither; McNemar's test; difference; gain of using two.

        ``p_holm`` is McNemar's exact p after Holm's allowance for all pairs. ``first_of_second`` is the share of
        the second's finds that the first found too: its probability of detection where the two err
        independently, and too high where they tend to miss the same cracks. ``gain`` is what using both found
        beyond the better one, as a share of ``together``.
        """
        import pandas as pd

        return pd.DataFrame(
            {
                "class": overlap["class"],
                **{name: pair[name] for name in ("first", "second", "blades", "both", "only_first", "only_second")},
                "neither": pair["neither"],
                **{name: pair["mcnemar"][name] for name in ("p_exact", "p_mid", "chi_square", "p_chi_square")},
                "p_holm": pair["p_holm"],
                "difference": pair["difference"],
                "difference_low": (pair["difference_interval"] or [None, None])[0],
                "difference_high": (pair["difference_interval"] or [None, None])[1],
                **_share("first_of_second", pair["first_of_second"]),
                **_share("second_of_first", pair["second_of_first"]),
                "together": pair["together"],
                "better": pair["better"],
                **_share("gain", pair["gain"]),
            }
            for overlap in self._overlaps()
            for pair in overlap["pairs"]
        )

    @property
    def patterns(self) -> pd.DataFrame:
        """For each set of techniques, the blades found by just these; most blades first."""
        import pandas as pd

        return pd.DataFrame(
            [
                {"class": overlap["class"], "found_by": " + ".join(one["found_by"]), "blades": one["blades"]}
                for overlap in self._overlaps()
                for one in overlap["patterns"]
            ],
            columns=["class", "found_by", "blades"],
        )

    @property
    def cochran(self) -> pd.DataFrame:
        """Cochran's Q for each class in which some blade tells the techniques apart.

        ``few`` marks classes with too few such blades for the approximation.
        """
        import pandas as pd

        columns = ["class", "q", "degrees_of_freedom", "p", "telling_blades", "few"]
        tested = (overlap for overlap in self._overlaps() if overlap["cochran"])
        return pd.DataFrame([{"class": one["class"], **one["cochran"]} for one in tested], columns=columns)

    @property
    def notes(self) -> list[str]:
        """Notes on the numbers, in sentences."""
        return list(dict.fromkeys(note for overlap in self._overlaps() for note in overlap["notes"]))

    def report(self) -> str:
        """Give the whole answer as plain text, as the command line prints it."""
        lines = []
        for part in self._content:
            overlap = part["overlap"]
            lines.append("All blades" if overlap["class"] == "all" else f"Blades of class: {overlap['class']}")
            lines += _table(overlap) if overlap["blades"] else []
            said = [*part["sentences"], *(f"Note: {note}" for note in overlap["notes"])]
            lines += [wrapped(sentence, "  ", "    ") for sentence in said]
            lines.append("")
        return "\n".join(
            [*lines, f"Intervals are of {100 * self.level:g} %, exact and not symmetric.", "", CAUTION, ""]
        )

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw who found what together; see `serrata.records_plots.overlap`."""
        return records_plots.overlap(self, ax)

    def _overlaps(self) -> list[dict[str, Any]]:
        return [part["overlap"] for part in self._content]

    def _card(self) -> Card:
        said = [
            sentence if part["overlap"]["class"] == "all" else f"{part['overlap']['class']}: {sentence}"
            for part in self._content
            for sentence in part["sentences"]
        ]
        tables = [of_frame("Who found what", self.finds), of_frame("Pair by pair", self.pairs)]
        return Card(f"Techniques side by side: {', '.join(self.techniques)}", [*said, *self.notes], tables)

    def __repr__(self) -> str:
        return (
            f"<SideBySide {', '.join(self.techniques)}: {self.found_by_any} found by any, {self.found_by_none} by none>"
        )


def _share(name: str, share: dict[str, Any] | None) -> dict[str, Any]:
    """Give a share and its interval as columns; no number where there is nothing to count."""
    share = share or {}
    return {name: share.get("value"), f"{name}_low": share.get("low"), f"{name}_high": share.get("high")}


def _table(overlap: dict[str, Any]) -> list[str]:
    width = max(9, *(len(one["technique"]) for one in overlap["techniques"]))
    lines = [f"  {'technique':{width}}  found  alone  missed  share of all finds"]
    for one in overlap["techniques"]:
        share = one["share_of_union"]
        shown = f"{share['value']:.2f} ({share['low']:.2f} to {share['high']:.2f})" if share else "nothing found"
        lines.append(
            f"  {one['technique']:{width}}  {one['found']:5}  {one['found_alone']:5}  {one['missed']:6}  {shown}"
        )
    return lines
