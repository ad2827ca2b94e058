"""Parameter studies: many variants of a study, lived under the same random numbers, side by side."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import numpy as np

from serrata import elsewhere
from serrata.card import Card, Carded, of_frame
from serrata.columns import Columns
from serrata.comparison import Comparison
from serrata.errors import ArgumentError
from serrata.progress import Progress
from serrata.study import Study

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd

__all__ = ["ComparedVariants", "simulate_variants"]


class ComparedVariants(Mapping[str, Comparison], Carded):
    """The comparisons of some variants, by name, in the order in which they were given; made by `simulate_variants`.

    It never changes. All variants have the same trials and seed, so that the same blades and cracks meet each of them
    where they do not differ: differences between variants scatter less than their own intervals say.

    Examples
    --------
    >>> import serrata
    >>> study = serrata.Study.load("demo-data/reference-study.toml")
    >>> longer = study.with_values({"study.horizon_years": 30})
    >>> compared = serrata.simulate_variants({"as it is": study, "longer": longer}, trials=100, seed=1)
    >>> compared["longer"].study.horizon_years
    30.0
    """

    __slots__ = ("_comparisons",)

    _comparisons: Mapping[str, Comparison]

    def __init__(self) -> None:
        raise TypeError("ComparedVariants are made by serrata.simulate_variants(...)")

    @classmethod
    def _of(cls, comparisons: Mapping[str, Comparison]) -> ComparedVariants:
        made = cls.__new__(cls)
        object.__setattr__(made, "_comparisons", MappingProxyType(dict(comparisons)))
        return made

    def __setattr__(self, name: str, value: object) -> None:
        raise AttributeError("ComparedVariants do not change")

    @property
    def trials(self) -> int:
        """Trials of each variant."""
        return self._first.trials

    @property
    def seed(self) -> int:
        """Seed of all variants."""
        return self._first.seed

    def columns(self, name: str, quantities: Sequence[str] | None = None) -> Columns:
        """Give a table of all variants as arrays, one for each column; needs no pandas.

        Parameters
        ----------
        name : str
            summary, by_unit, by_row, by_year, by_outage, by_hot_spot, loss_cost, spread, differences, rankings, limits
            or rare_losses, as of `Comparison`.
        quantities : sequence of str, optional
            Those of the column ``quantity`` that are wanted; all if left out.

        Returns
        -------
        Columns
            A dict of names to arrays: ``variant``, and the columns of `Comparison.columns`, variant after variant.

        Raises
        ------
        ArgumentError
            For another name, or a quantity that the table does not have.

        Examples
        --------
        >>> import serrata
        >>> study = serrata.Study.load("demo-data/reference-study.toml")
        >>> variants = study.variants({"costs.loss_days": [100, 200]})
        >>> columns = serrata.simulate_variants(variants, trials=100, seed=1).columns("summary", ["p_any_loss", "cost"])
        >>> len(columns["value"]) == 2 * len(study.strategies) * 2
        True
        >>> sorted(set(columns["variant"].tolist()))
        ['costs.loss_days = 100', 'costs.loss_days = 200']
        """
        tables = {variant: comparison.columns(name) for variant, comparison in self.items()}
        chosen = {variant: _chosen(name, table, quantities) for variant, table in tables.items()}
        counts = [int(lines.sum()) for lines in chosen.values()]
        together = {"variant": np.repeat(list(tables), counts)}
        for column in self._first.columns(name):
            together[column] = np.concatenate([table[column][chosen[variant]] for variant, table in tables.items()])
        return Columns(together)

    def table(self, name: str, quantities: Sequence[str] | None = None) -> pd.DataFrame:
        """Give the same as a new data frame; see `columns`.

        Examples
        --------
        >>> import serrata
        >>> study = serrata.Study.load("demo-data/reference-study.toml")
        >>> compared = serrata.simulate_variants({"as it is": study}, trials=100, seed=1)
        >>> list(compared.table("summary", ["cost"]).columns[:4])
        ['variant', 'level', 'row', 'strategy']
        """
        import pandas as pd

        columns = self.columns(name, quantities)
        return pd.DataFrame(
            {column: cells.tolist() if cells.dtype.kind == "U" else cells for column, cells in columns.items()}
        )

    @property
    def _first(self) -> Comparison:
        return next(iter(self._comparisons.values()))

    def __getitem__(self, name: str) -> Comparison:
        return self._comparisons[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._comparisons)

    def __len__(self) -> int:
        return len(self._comparisons)

    def __hash__(self) -> int:
        return hash(tuple(self.items()))

    def _card(self) -> Card:
        wanted = ["p_any_loss", "losses", "cost", "days"]
        table = self.table("summary", wanted)[["variant", "strategy", "quantity", "value", "low", "high"]]
        said = [f"{self.trials:,} trials each, seed {self.seed}; low and high are 95 % intervals."]
        return Card(f"{len(self)} variants", said, [of_frame("Fleet and horizon", table)])

    def __repr__(self) -> str:
        return f"<ComparedVariants: {', '.join(self)}; {self.trials:,} trials each, seed {self.seed}>"

    def __reduce__(self) -> tuple[Any, ...]:
        return ComparedVariants._of, (dict(self._comparisons),)


def simulate_variants(
    variants: Mapping[str, Study],
    *,
    trials: int = 10_000,
    planted_lives: int = 0,
    seed: int | None = None,
    threads: int = 0,
    progress: Progress = None,
    block_trials: int = 0,
    executor: elsewhere.Workers | None = None,
    checkpoints: str | os.PathLike[str] | None = None,
) -> ComparedVariants:
    """Live many variants of a study under the same random numbers, and compare the strategies in each.

    Each comparison is that of `Study.simulate` with the same options, to the last byte. Variants of equal text are
    lived once.

    Parameters
    ----------
    variants : mapping of str to Study
        By names of your choice; `Study.variants` makes such from lists of values.
    trials : int, at least 1
        Lives of the whole fleet, for each variant.
    planted_lives : int, at least 0
        As of `Study.simulate`, for each variant.
    seed : int from 0 to 2**64 - 1, optional
        Where the random numbers of every variant begin. Without one a fresh seed is drawn for all.
    threads, block_trials
        As of `Study.simulate`.
    progress : None, bool or callable
        As of `Study.simulate`, with trials added up over the variants.
    executor : concurrent.futures.Executor, or function that makes one, optional
        As of `Study.simulate`. Parts of all variants go out together, at most 64 at a time. Without one, the variants
        are lived one after the other.
    checkpoints : path-like, optional
        As of `Study.simulate`: one folder for all variants. Ctrl-C keeps what is finished there, and so does whatever
        else ends the call.

    Returns
    -------
    ComparedVariants
        A mapping of name to `Comparison`, with tables over all variants.

    Raises
    ------
    ArgumentError
        For no variant, something that is none, and as `Study.simulate`.
    ContradictionError, WorkerError, FileError, KeyboardInterrupt
        As `Study.simulate`; the first two name the variant.

    Examples
    --------
    >>> import serrata
    >>> study = serrata.Study.load("demo-data/reference-study.toml")
    >>> variants = {"as it is": study, "longer": study.with_values({"study.horizon_years": 30})}
    >>> compared = serrata.simulate_variants(variants, trials=100, seed=1)
    >>> compared["as it is"] == study.simulate(trials=100, seed=1)
    True
    >>> losses = compared.table("summary", ["losses"])
    >>> list(losses["variant"].unique())
    ['as it is', 'longer']
    """
    if not isinstance(variants, Mapping) or not variants:
        raise ArgumentError(
            f"variants = {variants!r}\n    must be a mapping of at least one name to its study\n"
            '    such as {"as it is": study}, or what study.variants(...) gives'
        )
    for name, study in variants.items():
        if not isinstance(name, str) or not name.strip():
            raise ArgumentError(f"variants: {name!r}\n    must be a text that is not empty\n    name the variant")
        if not isinstance(study, Study):
            raise ArgumentError(f"variants[{name!r}] = {study!r}\n    must be a Study\n    load one with Study.load")
    lived = elsewhere.simulate(
        {name: study._engine for name, study in variants.items()},
        trials=trials,
        planted_lives=planted_lives,
        seed=elsewhere.seed_or_drawn(seed, checkpoints),
        threads=threads,
        block_trials=block_trials,
        executor=executor,
        checkpoints=checkpoints,
        progress=progress,
    )
    return ComparedVariants._of({name: Comparison._of(found) for name, found in lived.items()})


def _chosen(
    name: str, table: Mapping[str, npt.NDArray[Any]], quantities: Sequence[str] | None
) -> npt.NDArray[np.bool_]:
    """Mark the lines of the wanted quantities."""
    if quantities is None:
        return np.ones(len(table["strategy"]), dtype=bool)
    if "quantity" not in table:
        raise ArgumentError(f"quantities = {quantities!r}\n    {name} has none to choose from\n    leave them out")
    there = table["quantity"]
    known = list(dict.fromkeys(there.tolist()))
    if isinstance(quantities, str) or not quantities or not set(quantities) <= set(known):
        raise ArgumentError(
            f"quantities = {quantities!r}\n    must be a list of quantities of {name}\n    choose {', '.join(known)}"
        )
    return np.isin(there, list(quantities))
