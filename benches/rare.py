"""Rare losses: planted lives, plain lives and a separately written program of plain lives, for the same error.

    python benches/rare.py

One thread. What plain lives would take for the same error is reckoned from their measured speed and from the losses
that planted lives tell: 1 / (p e^2) lives for a relative error e. The demonstration fleet is lived for the same time
both ways.
"""

import json
import pathlib
import subprocess
import sys
import time

import numpy as np

import serrata

HERE = pathlib.Path(__file__).parent
DATA = HERE.parent / "tests" / "engine" / "data"
ROUNDS = 5


def timed(study: serrata.Study, trials: int, planted_lives: int, seed: int = 1) -> tuple[float, serrata.Comparison]:
    begin = time.perf_counter()
    found = study.simulate(trials=trials, planted_lives=planted_lives, seed=seed, threads=1, progress=False)
    return time.perf_counter() - begin, found


def peer_rate(problem: str) -> float:
    """Rows a second of the other program, each under all strategies."""
    command = [sys.executable, str(HERE / "peers" / "peer_numba.py"), "--problem", problem, "--rows", "400000"]
    done = subprocess.run([*command, "--seed", "1", "--threads", "1"], capture_output=True, text=True, check=True)
    return float(json.loads(done.stdout.strip().splitlines()[-1])["rows_per_s"])


def yardstick(problem: str, planted_lives: int) -> None:
    study = serrata.Study.load(DATA / f"{problem}.toml")
    # The first run works out growth tables, which are kept.
    runs = [timed(study, 512, planted_lives, seed) for seed in range(ROUNDS + 1)][1:]
    seconds = min(took for took, _ in runs)
    plain = 100_000 / min(timed(study, 100_000, 0, seed)[0] for seed in (1, 2))
    rate = peer_rate(problem)
    print(
        f"{problem}: {planted_lives:,} planted lives in {seconds:.3f} s; plain {plain:,.0f} a second, "
        f"the peer {rate:,.0f}"
    )
    losses = [found.summary[found.summary["quantity"] == "losses"] for _, found in runs]
    for strategy in study.strategies:
        own = [table[table["strategy"] == strategy].iloc[0] for table in losses]
        value = np.mean([line["value"] for line in own])
        error = np.mean([line["standard_error"] / line["value"] for line in own])
        needed = 1.0 / (value * error**2)
        print(
            f"   {strategy:18s} {value:.2e} known to {error:5.1%}; for that plain lives take {needed / plain:.2g} s "
            f"(x {needed / plain / seconds:.2g}), the peer's {needed / rate:.2g} s (x {needed / rate / seconds:.2g})"
        )


def errors(found: serrata.Comparison, table: str, level: str) -> np.ndarray:
    lines = found.table(table)
    lines = lines[(lines["quantity"] == "losses") & (lines["level"] == level)]
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(lines["value"] > 0.0, lines["standard_error"] / lines["value"], np.inf)


def demonstration_fleet() -> None:
    study = serrata.Study.load(HERE.parent / "demo-data" / "demo-study.toml")
    timed(study, 512, 0)
    seconds, planted = timed(study, 5_000, 40_000)
    speed = 10_000 / timed(study, 10_000, 0)[0]
    took, plain = timed(study, round(seconds * speed), 0)
    print(
        f"demonstration fleet: {plain.trials:,} plain trials in {took:.1f} s; "
        f"5,000 and 40,000 planted in {seconds:.1f} s"
    )
    print("   relative standard error of losses: median, largest; how many below 5 %; plain, then with planted")
    for name, table, level in [
        ("fleet", "summary", "fleet"),
        ("fleet, by year", "by_year", "fleet"),
        ("by row", "by_row", "row"),
        ("by row and year", "by_year", "row"),
    ]:
        told = []
        for found in (plain, planted):
            each = errors(found, table, level)
            told.append(f"{np.median(each):7.1%} {np.max(each):8.1%} {np.sum(each < 0.05):4d} of {len(each)}")
        # Where half of the numbers show none, their median is no number.
        print(f"   {name:16s} {told[0]}   {told[1]}".replace("inf%", "none seen"))
    for found in (plain, planted):
        confidence = found.rankings.groupby("quantity")["confidence_in_first"].first()
        print("   confidence in the first place: ", {name: round(value, 3) for name, value in confidence.items()})


def main() -> None:
    yardstick("y2", 2_000)
    yardstick("y3", 1_000)
    demonstration_fleet()


if __name__ == "__main__":
    main()
