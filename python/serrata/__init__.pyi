"""The public names; `__init__.py` loads the module of one when it is first asked for."""

from .about import CAUTION, __version__
from .belief import Belief
from .blades_to_look_at import HowManyBlades, how_many_blades
from .can_it_run import RunOn
from .cheapest_plan import CheapestPlan
from .comparison import Comparison
from .demonstration import Demonstration, DemonstrationPlan
from .detection import Evidence, GrowthEvidence
from .errors import (
    ArgumentError,
    ContradictionError,
    DataError,
    Error,
    Fault,
    FileError,
    InternalError,
    RecordsError,
    StudyError,
    WorkerError,
)
from .explanations import Explanations
from .grown import GrownCracks
from .growth_fit import GrowthFit
from .hindcast import Hindcast
from .hit_miss import HitMissFit
from .hit_miss_fitting import fit_hit_miss
from .initiation import InitiationFit, fit_initiation
from .initiation_clocks import InitiationClocks
from .inspection_interval import InspectionInterval
from .latent_classes import LatentClasses
from .left_in_row import LeftInRow
from .missed_cracks import MissedCracks
from .rates import PooledRates, RateChange, pooled_rates, rate_change
from .records import Records
from .screening import Screening
from .side_by_side import SideBySide
from .signal_pod import SignalPod
from .signal_response import SignalFit, fit_signal
from .study import Study
from .uncertainty import ComparisonUnderUncertainty
from .variants import ComparedVariants, simulate_variants
from .which_plan import WhichPlan

__all__ = [
    "CAUTION",
    "ArgumentError",
    "Belief",
    "CheapestPlan",
    "ComparedVariants",
    "Comparison",
    "ComparisonUnderUncertainty",
    "ContradictionError",
    "DataError",
    "Demonstration",
    "DemonstrationPlan",
    "Error",
    "Evidence",
    "Explanations",
    "Fault",
    "FileError",
    "GrownCracks",
    "GrowthEvidence",
    "GrowthFit",
    "Hindcast",
    "HitMissFit",
    "HowManyBlades",
    "InitiationClocks",
    "InitiationFit",
    "InspectionInterval",
    "InternalError",
    "LatentClasses",
    "LeftInRow",
    "MissedCracks",
    "PooledRates",
    "RateChange",
    "Records",
    "RecordsError",
    "RunOn",
    "Screening",
    "SideBySide",
    "SignalFit",
    "SignalPod",
    "Study",
    "StudyError",
    "WhichPlan",
    "WorkerError",
    "__version__",
    "fit_hit_miss",
    "fit_initiation",
    "fit_signal",
    "how_many_blades",
    "pooled_rates",
    "rate_change",
    "simulate_variants",
]
