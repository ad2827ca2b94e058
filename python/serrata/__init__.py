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

from typing import TYPE_CHECKING, NoReturn

from serrata import renamed
from serrata.about import CAUTION, __version__
from serrata.comparison import Comparison
from serrata.demonstration import Demonstration, DemonstrationPlan
from serrata.detection import Evidence
from serrata.errors import (
    ArgumentError,
    ContradictionError,
    DataError,
    Error,
    Fault,
    FileError,
    InternalError,
    RecordsError,
    StudyError,
)
from serrata.grown import GrownCracks
from serrata.hit_miss import HitMissFit
from serrata.hit_miss_fitting import fit_hit_miss
from serrata.latent_classes import LatentClasses
from serrata.missed_cracks import MissedCracks
from serrata.records import Records
from serrata.side_by_side import SideBySide
from serrata.signal_pod import SignalPod
from serrata.signal_response import SignalFit, fit_signal
from serrata.study import Study
from serrata.uncertainty import ComparisonUnderUncertainty

__all__ = [
    "CAUTION",
    "ArgumentError",
    "Comparison",
    "ComparisonUnderUncertainty",
    "ContradictionError",
    "DataError",
    "Demonstration",
    "DemonstrationPlan",
    "Error",
    "Evidence",
    "Fault",
    "FileError",
    "GrownCracks",
    "HitMissFit",
    "InternalError",
    "LatentClasses",
    "MissedCracks",
    "Records",
    "RecordsError",
    "SideBySide",
    "SignalFit",
    "SignalPod",
    "Study",
    "StudyError",
    "__version__",
    "fit_hit_miss",
    "fit_signal",
]

_RENAMED = {
    "ComparisonInDoubt": "serrata.ComparisonUnderUncertainty",
    "Unseen": "serrata.MissedCracks",
    "fit_hit_miss_records": "records.fit_hit_miss(technique, ...)",
    "fit_signal_records": "records.fit_signal(technique, ...)",
    "simulate": "study.simulate(...)",
    "simulate_in_doubt": "study.simulate_under_uncertainty(fits, ...)",
    "simulate_under_uncertainty": "study.simulate_under_uncertainty(fits, ...)",
}

if not TYPE_CHECKING:

    def __getattr__(name: str) -> NoReturn:
        renamed.refuse_attribute("serrata", _RENAMED, name)
