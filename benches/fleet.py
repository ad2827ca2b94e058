"""serrata and a separately written program on a whole fleet, side by side in one run.

    make bench

Both live the frozen demonstration fleet on one thread, by turns; the best round counts. The program reads the study
file itself and shares no code and no random numbers with serrata; its answers are printed beside serrata's.
"""

import json
import pathlib
import re
import subprocess
import sys
import tempfile
import time

import serrata

HERE = pathlib.Path(__file__).parent
STUDY = HERE.parent / "tests" / "engine" / "data" / "demo_fleet.toml"
TRIALS = 20_000
ROUNDS = 3
NAMES = ("losses", "blades_replaced", "cracks_found")


def peer(seed: int) -> tuple[float, dict]:
    """Row-lives a second, and the answers, of the other program."""
    with tempfile.TemporaryDirectory() as folder:
        answers = pathlib.Path(folder) / "answers.json"
        command = [sys.executable, str(HERE / "peers" / "peer_fleet.py"), str(STUDY), "--trials", str(TRIALS)]
        command += ["--seed", str(seed), "--json", str(answers)]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        if done.returncode != 0:
            raise SystemExit(f"the peer failed:\n{done.stderr}")
        rate = re.search(r"([\d,]+) row-lives a second", done.stdout)
        if rate is None:
            raise SystemExit(f"the peer says no speed:\n{done.stdout}")
        return float(rate.group(1).replace(",", "")), json.loads(answers.read_text())["fleet"]


def ours(study: serrata.Study, seed: int) -> tuple[float, serrata.Comparison]:
    begin = time.perf_counter()
    found = study.simulate(trials=TRIALS, seed=seed, threads=1, progress=False)
    return TRIALS * len(study.rows) / (time.perf_counter() - begin), found


def main() -> None:
    study = serrata.Study.load(STUDY)
    best, best_of_peer = 0.0, 0.0
    for seed in range(1, ROUNDS + 1):
        rate, found = ours(study, seed)
        rate_of_peer, fleet = peer(seed)
        best, best_of_peer = max(best, rate), max(best_of_peer, rate_of_peer)
    strategies = len(study.strategies)
    print(f"demonstration fleet, one thread, best of {ROUNDS}: row-lives a second, each under {strategies} strategies")
    print(f"   serrata {best:,.0f}   peer {best_of_peer:,.0f}   serrata is {best / best_of_peer:.2f} x")
    summary = found.summary.set_index(["strategy", "quantity"])
    for strategy, answers in fleet.items():
        for name in NAMES:
            line = summary.loc[(strategy, name)]
            value, error = answers["quantities"][name]
            print(f"   {strategy:30s} {name:16s} serrata {line['value']:.4f} +- {line['standard_error']:.4f}", end="")
            print(f"   peer {value:.4f} +- {error:.4f}")


if __name__ == "__main__":
    main()
