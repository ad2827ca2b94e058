"""serrata compares inspection strategies for cracks in the roots of steam-turbine last-stage blades.

Load a study, simulate it, read the comparison:

>>> import serrata
>>> study = serrata.Study.load("demo-data/reference-study.toml")
>>> comparison = study.simulate(trials=500, seed=1)
>>> sorted(set(comparison.summary["strategy"])) == sorted(study.strategies)
True

This is decision support. Local codes, the maker's guidance and licensed or certified practice stand
above it.
"""

from serrata._engine import CAUTION, __version__
from serrata.comparison import Comparison
from serrata.errors import (
    ArgumentError,
    ContradictionError,
    Error,
    Fault,
    FileError,
    InternalError,
    StudyError,
)
from serrata.grown import GrownCracks
from serrata.simulation import simulate
from serrata.study import Study

__all__ = [
    "CAUTION",
    "ArgumentError",
    "Comparison",
    "ContradictionError",
    "Error",
    "Fault",
    "FileError",
    "GrownCracks",
    "InternalError",
    "Study",
    "StudyError",
    "__version__",
    "simulate",
]
