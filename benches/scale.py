"""How the cost of a run grows: with rows, blades, hot spots, cracks, outages, strategies, threads and lives.

    python benches/scale.py [--figure benches/scale.png]

Each is varied alone, from one base study; times are the best of three, on one thread but for the threads. `slope` is
that of the logarithms between the two largest values: 1 where twice as much takes twice as long. Then a large fleet:
time and memory of the run and of its largest table (`--rows 10000 --trials 10000` takes some minutes). Nothing in it
describes a real machine.
"""

import argparse
import os
import resource
import subprocess
import sys
import time

import serrata

TRIALS = 2_000
ROUNDS = 3
BASE = {"rows": 4, "blades": 80, "hot_spots": 1, "cracks": 1.0, "outages": 15, "strategies": 2}
VARIED = {
    "rows": (1, 4, 16, 64),
    "blades": (15, 60, 240, 960),
    "hot_spots": (1, 2, 4, 8),
    "cracks": (0.25, 1.0, 4.0, 16.0),
    "outages": (5, 10, 15, 30),
    "strategies": (1, 2, 4, 8, 16),
}


def study(rows: int, blades: int, hot_spots: int, cracks: float, outages: int, strategies: int) -> serrata.Study:
    """Make a study of fatigue cracks on straight growth curves; `cracks` is a factor on how many begin in a row.

    Hot spots share the cracks, so that more of them mean no more cracks; and so do more blades.
    """
    scale = 20_000 * (cracks / (hot_spots * blades / 80)) ** -0.5
    lines = [
        "[study]\nname = 'scale'\nstart_year = 0\nhorizon_years = 30\nbaseline = 's0'",
        "[money]\ncurrency = 'EUR'\ndiscount_rate_per_year = 0.05\nterms = 'real'\npayments = 'when-due'",
        "[scatter]\nrow_factor = { kind = 'gamma', mean = 1, cov = 0.6 }\nblade_stress_sigma_log = 0",
        "[surfaces.plain]\ninitiation_life_factor = 1",
        f"[initiation.fatigue]\nclock = 'starts'\nkind = 'weibull'\nshape = 2\nscale = {scale}\nstress_exponent = 0",
        "[growth.paris]\ncoefficient_m_per_start = 1.65e-11\nexponent = 3\ncrack_sigma_log = 0.35\nrow_sigma_log = 0.1",
        "[units.unit]\nduty = [{ from_year = 0, starts_per_year = 100, hours_per_year = 0 }]\n"
        f"outages = {{ first_year = {30 / outages}, every_years = {30 / outages}, window_days = 20 }}",
        "[techniques.sharp]\naccess = 'blades-out'\ngrade = 'standard'\ngrade_shift_log = 0\n"
        "pod = { size = 'length', shape = 'logistic', q50_mm = 2, spread = 0.35, floor = 0, ceiling = 1 }\n"
        "inspection_sigma = 0.15\ncrack_sigma = 0.4\nfalse_call_probability = 0.001\nfalse_call_length_mm = 1\n"
        "sizing = { length_bias = 1, length_sigma_log = 0.1 }\ncost_per_row = 1\ncost_per_blade = 1\ndays_per_row = 1",
        "[costs]\nblades_out_cost = 1\nblades_out_days = 1\nnew_blade_cost = 1\nnew_blade_days = 1\nnew_row_cost = 1\n"
        "new_row_days = 1\nloss_cost = 1000\nloss_days = 10\noutage_day_cost = 1",
    ]
    for spot in range(hot_spots):
        lines.append(
            f"[roots.root.hot_spots.h{spot}]\nserrations = [{spot + 1}]\nsides = ['suction', 'pressure']\n"
            "initiation = 'fatigue'\ngrowth = 'paris'\nstress = { membrane_mpa = 1000, bending_mpa = 0 }\n"
            "crack = { kind = 'fixed-factor', geometry_factor = 0.73, length_over_depth = 5 }\n"
            "initial_depth_mm = { kind = 'lognormal', median = 0.3, sigma_log = 0.3 }\n"
            "limit = { kind = 'depth', depth_mm = 4 }"
        )
    for row in range(rows):
        unit = row // 4
        if unit and row % 4 == 0:
            lines.append(lines[6].replace("units.unit", f"units.unit{unit}"))
        lines.append(
            f"[rows.r{row}]\nunit = 'unit{unit or ''}'\nrotor = 'rotor{row // 2}'\nblades = {blades}\nroot = 'root'\n"
            "surface = 'plain'\nin_service_year = 0"
        )
    for strategy in range(strategies):
        lines.append(
            f"[strategies.s{strategy}]\ndescription = 'looks'\nafter_loss = 'replace-blade'\n"
            "dispositions = [{ action = 'replace' }]\nlooks = [{ techniques = ['sharp'], "
            f"first_outage = {1 + strategy % 3}, every_outages = {1 + strategy // 3} }}]"
        )
    return serrata.Study.parse("\n\n".join(lines) + "\n")


def seconds(made: serrata.Study, trials: int, planted_lives: int = 0, threads: int = 1) -> float:
    """Best time of a run."""
    best = float("inf")
    for round_number in range(ROUNDS):
        begin = time.perf_counter()
        made.simulate(
            trials=trials, planted_lives=planted_lives, seed=1 + round_number, threads=threads, progress=False
        )
        best = min(best, time.perf_counter() - begin)
    return best


def slope(values: tuple[float, ...], times: list[float]) -> float:
    from math import log

    return log(times[-1] / times[-2]) / log(values[-1] / values[-2])


def measure() -> dict[str, tuple[tuple[float, ...], list[float]]]:
    measured = {}
    for name, values in VARIED.items():
        measured[name] = values, [seconds(study(**{**BASE, name: value}), TRIALS) for value in values]
    lives = (1_000, 4_000, 16_000, 64_000)
    measured["lives"] = lives, [seconds(study(**BASE), trials) for trials in lives]
    measured["planted lives"] = lives, [seconds(study(**BASE), 1_000, trials) for trials in lives]
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    threads = tuple(sorted({1, 2, cores, 2 * cores}))
    measured["threads"] = threads, [seconds(study(**BASE), 16_000, threads=count) for count in threads]
    return measured


def draw(measured: dict[str, tuple[tuple[float, ...], list[float]]], path: str) -> None:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(11, 8), layout="constrained")
    for ax, (name, (values, times)) in zip(figure.subplots(3, 3).flat, measured.items(), strict=True):
        ax.loglog(values, times, "o-", base=2)
        power = -1 if name == "threads" else 1
        reference = [times[-1] * (value / values[-1]) ** power for value in values]
        ax.loglog(values, reference, ":", color="grey", base=2)
        ax.set_xticks(values, [f"{value:,g}" for value in values])
        ax.yaxis.set_major_formatter("{x:g}")
        ax.set_xlabel(name.replace("_", " "))
        ax.set_ylabel("seconds")
    figure.suptitle("Time of a run; dotted: in proportion (threads: in inverse proportion)")
    figure.savefig(path, dpi=110)


def large_fleet(rows: int, trials: int) -> None:
    """Live a large fleet, and make its largest table, in a process of its own."""
    code = (
        "import resource, sys, time; sys.path.insert(0, sys.argv[1]); import scale\n"
        f"made = scale.study(**{{**scale.BASE, 'rows': {rows}, 'outages': 10}})\n"
        "peak = lambda: resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024\n"
        "begin = time.perf_counter(); before = peak()\n"
        f"found = made.simulate(trials={trials}, seed=1, progress=False)\n"
        "lived = time.perf_counter(); of_run = peak()\n"
        "lines = len(found.by_year); made_table = time.perf_counter()\n"
        "print(f'study {before:,.0f} MiB; run {lived - begin:,.0f} s, {of_run:,.0f} MiB; '\n"
        "      f'by_year of {lines:,} lines {made_table - lived:,.0f} s, {peak():,.0f} MiB at most in all')"
    )
    command = [sys.executable, "-c", code, os.path.dirname(os.path.abspath(__file__))]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    print(f"{rows:,} rows, {trials:,} trials: {done.stdout.strip() or done.stderr.strip()}", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--figure", help="draw the figures here")
    parser.add_argument("--rows", type=int, default=1_000, help="of the large fleet")
    parser.add_argument("--trials", type=int, default=2_048, help="of the large fleet")
    asked = parser.parse_args()
    measured = measure()
    print(f"base: {BASE}, {TRIALS:,} trials, one thread")
    for name, (values, times) in measured.items():
        told = "  ".join(f"{value:g}: {seconds:.3f} s" for value, seconds in zip(values, times, strict=True))
        print(f"{name:14s} {told}   slope {slope(values, times):.2f}")
    if asked.figure:
        draw(measured, asked.figure)
    large_fleet(asked.rows, asked.trials)
    print(f"peak memory of this process: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:,.0f} MiB")


if __name__ == "__main__":
    main()
