"""One timed run of serrata on a yardstick study, as a process of its own, printing one JSON line.

python benches/serrata_run.py --problem y1b --rows 200000 --seed 1 --threads 2
"""

import argparse
import json
import pathlib
import resource
import time

import serrata

STUDIES = pathlib.Path(__file__).parent.parent / "tests" / "engine" / "data"


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--problem", default="y1b")
    parser.add_argument("--rows", type=int, default=200_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--threads", type=int, default=1)
    asked = parser.parse_args()
    study = serrata.Study.load(STUDIES / f"{asked.problem}.toml")
    begin = time.perf_counter()
    comparison = study.simulate(trials=asked.rows, seed=asked.seed, threads=asked.threads, progress=False)
    wall = time.perf_counter() - begin
    answers = comparison.summary.set_index(["strategy", "quantity"])["value"]
    results = {
        strategy: {"failures": answers[strategy, "losses"], "replaced": answers[strategy, "blades_replaced"]}
        for strategy in comparison.study.strategies
    }
    peak_mib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps({"rows_per_s": asked.rows / wall, "peak_mib": peak_mib, "results": results}))


if __name__ == "__main__":
    main()
