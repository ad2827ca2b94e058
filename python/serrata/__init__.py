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

from typing import Any

import lazy_loader

from serrata import renamed

_RENAMED = {
    "ComparisonInDoubt": "serrata.ComparisonUnderUncertainty",
    "Unseen": "serrata.MissedCracks",
    "fit_hit_miss_records": "records.fit_hit_miss(technique, ...)",
    "fit_signal_records": "records.fit_signal(technique, ...)",
    "simulate": "study.simulate(...)",
    "simulate_in_doubt": "study.simulate_under_uncertainty(fits, ...)",
    "simulate_under_uncertainty": "study.simulate_under_uncertainty(fits, ...)",
}

# Of `__init__.pyi`: nobody waits for what is not used.
_load, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)


def __getattr__(name: str) -> Any:  # noqa: ANN401
    if name in _RENAMED:
        renamed.refuse_attribute("serrata", _RENAMED, name)
    return _load(name)
