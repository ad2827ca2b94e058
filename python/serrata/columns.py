"""Tables as arrays by column, which any library of data frames takes as they are."""

from __future__ import annotations

import os
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from serrata.errors import ArgumentError
from serrata.files import write_file

if TYPE_CHECKING:
    import numpy.typing as npt

__all__ = ["Columns"]


class Columns(dict[str, "npt.NDArray[Any]"]):
    """A table as arrays, one for each column, all of the same length.

    Libraries of data frames take it as the dict that it is, such as ``polars.DataFrame(columns)``, and those that read
    Arrow as a stream of that, in which numbers that are not known, NaN here, are null.

    Examples
    --------
    >>> import serrata
    >>> study = serrata.Study.load("demo-data/reference-study.toml")
    >>> columns = study.simulate(trials=100, seed=1).columns("rankings")
    >>> list(columns)
    ['strategy', 'quantity', 'place', 'confidence_in_first']
    >>> hasattr(columns, "__arrow_c_stream__")
    True
    """

    def __arrow_c_stream__(self, requested_schema: object = None) -> object:
        """Give the table as a stream of Arrow, a new one at each call."""
        return self._stream().__arrow_c_stream__(requested_schema)

    def _stream(self) -> Any:  # noqa: ANN401
        import nanoarrow
        from nanoarrow.c_array import c_array_from_buffers
        from nanoarrow.c_array_stream import CArrayStream

        children = {name: _arrow(values) for name, values in self.items()}
        length = len(next(iter(self.values()))) if self else 0
        struct = nanoarrow.struct({name: child.schema for name, child in children.items()})
        table = c_array_from_buffers(struct, length, [None], children=list(children.values()))
        return CArrayStream.from_c_arrays([table], table.schema)

    def write_parquet(self, file: str | os.PathLike[str]) -> None:
        """Write the table as a Parquet file, whole or not at all, by whichever library of these is there.

        Parameters
        ----------
        file : path-like
            One that is there is replaced.

        Raises
        ------
        ArgumentError
            Without polars or pyarrow.
        FileError
            For a place that cannot be written to, or a full disk.
        """
        if find_spec("polars") is not None:
            import polars

            write_file(file, lambda place: polars.DataFrame(self._stream()).write_parquet(place))
        elif find_spec("pyarrow") is not None:
            from pyarrow import parquet, table

            write_file(file, lambda place: parquet.write_table(table(self._stream()), place))
        else:
            raise ArgumentError(
                f"write_parquet({Path(file).name!r})\n    needs a library that writes Parquet\n"
                "    install polars or pyarrow, or write CSV"
            )


def _arrow(values: npt.NDArray[Any]) -> Any:  # noqa: ANN401
    """Give a column as an array of Arrow, with what is missing as null."""
    import nanoarrow
    from nanoarrow.c_array import c_array_from_buffers

    if values.dtype.kind == "f":
        known = ~np.isnan(values)
        bits = None if known.all() else np.packbits(known, bitorder="little")
        data = np.ascontiguousarray(values, dtype=np.float64)
        return c_array_from_buffers(nanoarrow.float64(), len(values), [bits, data], null_count=int((~known).sum()))
    if values.dtype.kind in "iu":
        return nanoarrow.c_array(np.ascontiguousarray(values, dtype=np.int64))
    if values.dtype.kind == "b":
        return nanoarrow.c_array(values.tolist(), nanoarrow.bool_())
    return nanoarrow.c_array([None if value is None else str(value) for value in values], nanoarrow.string())
