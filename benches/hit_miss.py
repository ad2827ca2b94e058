"""Hit/miss fits by serrata and by statsmodels, side by side in one run.

    make bench

Both fit the same 500 looks: once, with bounds on q90, and to looks drawn anew. statsmodels' GLM has neither
likelihood-ratio bounds nor a bootstrap, so its fit comes with Wald's bound (a line of arithmetic), and its bootstrap
is a loop over fits; that loop is run for fewer resamples and scaled up. The coefficients must agree: a fast wrong
program is not fast. serrata uses one thread.
"""

import statistics
import time
from collections.abc import Callable

import numpy as np
import statsmodels.api as sm

import serrata

LOOKS = 500
RESAMPLES = 10_000
#: Resamples of the slower program, whose time is scaled up.
FEWER = 500
ROUNDS = 7
#: What serrata aims at, in seconds.
MOST_FOR_A_FIT, MOST_FOR_RESAMPLES = 0.010, 10.0


def looks() -> tuple[np.ndarray, np.ndarray]:
    """Looks at cracks of 0.3 to 12 mm; half of those of 1.5 mm are found."""
    draw = np.random.default_rng(1)
    size_mm = 0.3 * np.exp(draw.uniform(0.0, np.log(40.0), LOOKS))
    return size_mm, draw.uniform(size=LOOKS) < 1.0 / (1.0 + (size_mm / 1.5) ** -3.0)


def seconds(work: Callable[[], object], rounds: int = ROUNDS) -> float:
    """Median time of some rounds, after one to warm up."""

    def once() -> float:
        begin = time.perf_counter()
        work()
        return time.perf_counter() - begin

    once()
    return statistics.median(once() for _ in range(rounds))


def main() -> None:
    size_mm, found = looks()
    design, answers = sm.add_constant(np.log(size_mm)), found.astype(float)

    def ours(method: str) -> tuple[float | None, float | None]:
        return serrata.fit_hit_miss(size_mm, found).size_bounds(0.9, method=method)

    def theirs(chosen: np.ndarray | slice = slice(None)) -> np.ndarray:
        return sm.GLM(answers[chosen], design[chosen], family=sm.families.Binomial()).fit().params

    fit = serrata.fit_hit_miss(size_mm, found)
    difference = float(np.abs(fit.coefficients["value"].to_numpy() / theirs() - 1.0).max())
    assert difference < 1e-6, f"coefficients differ by {difference}"

    fitted = {method: seconds(lambda method=method: ours(method)) for method in ("likelihood-ratio", fit.usual_method)}
    peer = seconds(theirs)
    draw = np.random.default_rng(2)
    peer_sizes = []

    def bootstrap() -> None:
        for _ in range(FEWER):
            level, slope = theirs(draw.integers(0, LOOKS, LOOKS))
            peer_sizes.append((np.log(9.0) - level) / slope)

    resampled = seconds(lambda: fit.resampled(resamples=RESAMPLES), rounds=1)
    peer_resampled = seconds(bootstrap, rounds=1) * RESAMPLES / FEWER
    spread, peer_spread = np.log(fit.resampled(resamples=RESAMPLES)[1]).std(), np.std(peer_sizes)
    # Spreads of so many resamples are known to 1 / sqrt(2 n); four of those, of the fewer ones.
    assert abs(spread / peer_spread - 1.0) < 4.0 / np.sqrt(2 * len(peer_sizes)), f"{spread} {peer_spread}"

    print(f"\nhit/miss fit of {LOOKS} looks; coefficients agree to {difference:.0e}")
    print(f"  statsmodels GLM, no bounds                    {1e3 * peer:9.2f} ms")
    for method, took in fitted.items():
        words = f"serrata, bounds by {method.replace('-', ' ')}"
        print(f"  {words:45s} {1e3 * took:9.2f} ms  (aim: {1e3 * MOST_FOR_A_FIT:.0f} ms)")
    print(f"\n{RESAMPLES:,} fits to looks drawn anew; spread of ln q90 {spread:.4f} and {peer_spread:.4f}")
    print(f"  statsmodels GLM, {FEWER} times {RESAMPLES // FEWER:<3d}                {peer_resampled:9.2f} s")
    print(f"  serrata, one thread                           {resampled:9.2f} s   (aim: {MOST_FOR_RESAMPLES:.0f} s)")


if __name__ == "__main__":
    main()
