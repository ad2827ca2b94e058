"""serrata and its peers on the yardstick problems, side by side in one run.

    make bench

Every program runs as a process of its own, the programs by turns, several rounds; the best round
counts. A row is one row's life under all four strategies. Before each process the other load of
the machine is sampled, and the highest seen is printed: where it is not near zero, only the ratios
within a round mean anything. The answers are compared too: a fast wrong program is not fast.

The floors (peers/floor.py) price the random draws and the transcendental functions that the cracks
need, one by one (scalar) or in long arrays (vectorised), with no bookkeeping at all. They are the
floors of one way of working, not of every algorithm.
"""

import argparse
import json
import os
import pathlib
import subprocess
import sys
import time

HERE = pathlib.Path(__file__).parent
PROGRAMS = {
    "serrata": [str(HERE / "serrata_run.py")],
    "numba": [str(HERE / "peers" / "peer_numba.py")],
    "numpy": [str(HERE / "peers" / "peer_numpy.py")],
}
ROWS = {"serrata": 600_000, "numba": 600_000, "numpy": 40_000}
PROBLEMS = ["y1b", "y2"]


def busy(seconds: float = 0.3) -> float:
    """Share of all cores that is busy with anything."""

    def read() -> tuple[int, int]:
        with open("/proc/stat") as stat:
            times = [int(text) for text in stat.readline().split()[1:9]]
        return times[3] + times[4], sum(times)

    try:
        idle, total = read()
        time.sleep(seconds)
        idle_after, total_after = read()
    except OSError:
        return float("nan")
    return 1.0 - (idle_after - idle) / max(total_after - total, 1)


def run(program: str, problem: str, rows: int, threads: int, seed: int) -> dict:
    command = [sys.executable, *PROGRAMS[program], "--problem", problem, "--rows", str(rows)]
    command += ["--seed", str(seed), "--threads", str(threads)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise SystemExit(f"{program} on {problem} failed:\n{done.stderr}")
    return json.loads(done.stdout.strip().splitlines()[-1])


def floors() -> dict:
    done = subprocess.run(
        [sys.executable, str(HERE / "peers" / "floor.py"), *PROBLEMS], capture_output=True, text=True, check=True
    )
    return json.loads(done.stdout)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rounds", type=int, default=2)
    parser.add_argument("--out", help="also write the figures as JSON")
    asked = parser.parse_args()
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    threads_asked = sorted({1, cores})
    best: dict = {}
    worst_load = 0.0
    for round_number in range(asked.rounds):
        for problem in PROBLEMS:
            for threads in threads_asked:
                for program in PROGRAMS:
                    worst_load = max(worst_load, busy())
                    done = run(program, problem, ROWS[program] * threads, threads, 1 + round_number)
                    known = best.get((problem, program, threads))
                    if known is None or done["rows_per_s"] > known["rows_per_s"]:
                        best[problem, program, threads] = done
    floor = floors()
    print(f"best of {asked.rounds} rounds; other load before a process at most {worst_load:.0%} of {cores} cores\n")
    print("problem  program  threads      rows/s   us/row   serrata is   peak MiB")
    for problem in PROBLEMS:
        for threads in threads_asked:
            rate_of_ours = best[problem, "serrata", threads]["rows_per_s"]
            for program in PROGRAMS:
                done = best[problem, program, threads]
                rate = done["rows_per_s"]
                print(
                    f"{problem:8s} {program:8s} {threads:7d} {rate:11,.0f} {1e6 / rate:8.2f} "
                    f"{rate_of_ours / rate:9.2f} x {done['peak_mib']:10.0f}"
                )
    for problem in PROBLEMS:
        micros = 1e6 / best[problem, "serrata", 1]["rows_per_s"]
        scalar, vector = floor[problem]["floor_us_scalar"], floor[problem]["floor_us_vector"]
        print(
            f"\n{problem}: one thread takes {micros:.2f} us a row: {micros / scalar:.1f} times the scalar floor "
            f"({scalar:.2f} us), {micros / vector:.1f} times the vectorised one ({vector:.2f} us)"
        )
        ours = best[problem, "serrata", 1]["results"]
        for strategy, answers in best[problem, "numba", 1]["results"].items():
            print(f"   {strategy:18s} blades replaced: serrata {ours[strategy]['replaced']:.3f}", end="")
            print(f"  numba {answers['replaced']:.3f}")
    small, large = (run("serrata", "y1b", rows, cores, 1)["peak_mib"] for rows in (10_000, 1_000_000))
    print(f"\npeak memory of serrata: {small:.1f} MiB for 10,000 rows, {large:.1f} MiB for 1,000,000")
    if asked.out:
        figures = {" ".join(map(str, key)): value for key, value in best.items()}
        pathlib.Path(asked.out).write_text(json.dumps({"best": figures, "floor": floor}, indent=1))


if __name__ == "__main__":
    main()
