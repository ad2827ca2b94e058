"""What one crack costs, by the physics that acts on it, and what the demonstration fleet costs with all of it.

    make bench

A crack is grown to the loss of its blade, or for 1,000 years, on one thread; a place is all cracks of eight
origins that join. The best of three rounds counts.
"""

import os

os.environ["RAYON_NUM_THREADS"] = "1"

import pathlib
import time

import serrata

DEMO = pathlib.Path(__file__).parent.parent / "demo-data" / "demo-study.toml"
SPOT = "roots.four-serrations.hot_spots.upper"
THRESHOLD = {"growth.wet-steam.threshold": {"kind": "constant", "range_mpa_sqrt_m": 4}}
LAYER = {"surfaces.as-machined.layer": {"compression_mpa": 400, "depth_mm": 0.3, "faces": "cracked"}}
CORROSION = {
    "growth.wet-steam.stress_corrosion": {
        "threshold_mpa_sqrt_m": 20,
        "plateau": {"kind": "stated", "mm_per_year": 0.1},
        "crack_sigma_log": 0.5,
    }
}
OVERSPEED = {"units.alder.overspeed": {"every_starts": 100, "speed_ratio": 1.1}}
JOINING = {f"{SPOT}.origins": 8, f"{SPOT}.joining": {"rule": "bs7910-2013", "spacing_mm": 5, "placement": "random"}}
CASES = {
    "tabulated": {},
    "threshold": THRESHOLD,
    "threshold, layer, stress corrosion": THRESHOLD | LAYER | CORROSION,
    "the same, overspeed": THRESHOLD | LAYER | CORROSION | OVERSPEED,
    "the same, a place of eight": THRESHOLD | LAYER | CORROSION | OVERSPEED | JOINING,
}
TRIALS = 20_000


def grown_in(study: serrata.Study, cracks: int) -> float:
    begin = time.perf_counter()
    study.grow("four-serrations.upper", cracks=cracks)
    return time.perf_counter() - begin


def simulated_in(study: serrata.Study) -> float:
    begin = time.perf_counter()
    study.simulate(trials=TRIALS, seed=1, progress=False)
    return time.perf_counter() - begin


def main() -> None:
    base = serrata.Study.load(DEMO)
    print("us a crack, grown to its end on one thread")
    for name, values in CASES.items():
        cracks = 10_000 if name == "tabulated" else 1_000
        best = min(grown_in(base.with_values(values), cracks) for _ in range(3))
        print(f"   {name:36s} {1e6 * best / cracks:9.1f}")
    print(f"\nseconds for {TRIALS:,} trials of the demonstration fleet, {os.cpu_count()} threads")
    for name, values in (("as it is", {}), ("with all of the above", CASES["the same, a place of eight"])):
        print(f"   {name:36s} {simulated_in(base.with_values(values)):9.1f}")


if __name__ == "__main__":
    main()
