"""A fleet given the records of twelve outages over twelve rows: time, draws that count, and lives that go on.

    python benches/given.py

The records are invented by the engine: looks in place at twelve moments in each row, every fourth with blades out. What
a whole core of the machine gives matters: it works on all threads.
"""

import pathlib
import re
import resource
import time

import serrata

STUDY = pathlib.Path(__file__).parent.parent / "tests" / "engine" / "data" / "demo_fleet.toml"
LOOKS = 12
LAST_YEAR = 2026.0
#: Of the first seeds the first past with a few dozen finds.
FINDS = range(25, 40)


def looked_at() -> serrata.Study:
    """The frozen demonstration fleet with twelve past looks at each row."""

    def looks(found: re.Match[str]) -> str:
        first = float(found.group(1)) + 2.0
        years = [round(first + (LAST_YEAR - first) * look / (LOOKS - 1), 2) for look in range(LOOKS)]
        techniques = ["mpi-standard" if look % 4 == 3 else "phased-array" for look in range(LOOKS)]
        listed = ", ".join(
            f'{{ year = {year}, technique = "{technique}" }}' for year, technique in zip(years, techniques, strict=True)
        )
        return f"in_service_year = {found.group(1)}\n{found.group(2)}past_looks = [{listed}]\n"

    text = re.sub(r"in_service_year = (\d+)\n((?:renewed[^\n]*\n)?)past_looks = [^\n]*\n", looks, STUDY.read_text())
    return serrata.Study.parse(text)


def main() -> None:
    study = looked_at()
    pasts = (study.invented_past(seed)[0] for seed in range(1000))
    text = next(text for text in pasts if text.count(",yes,") in FINDS)
    records = serrata.Records.parse(text)
    blades = sum(study.rows.values())
    print(f"{len(study.rows)} rows of {blades} blades, {LOOKS} looks each, {text.count(',yes,')} finds")
    begin = time.perf_counter()
    now = study.given(records)
    took = time.perf_counter() - begin
    summary = now.belief.summary.set_index("quantity")
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"given its records in {took:.1f} s: {summary['value']['effective_draws']:,.0f} draws that count, ln evidence "
        f"+- {summary['standard_error']['ln_evidence']:.2f}; {memory:,.0f} MiB at most"
    )
    for name, one in {"before": study, "now": now}.items():
        begin = time.perf_counter()
        found = one.simulate(trials=10_000, planted_lives=30_000, seed=1, progress=False)
        losses = found.summary.query("quantity == 'losses'")
        errors = (losses["standard_error"] / losses["value"]).max()
        print(
            f"{name}: 10,000 trials and 30,000 planted lives in {time.perf_counter() - begin:.1f} s, "
            f"losses of every strategy known to {errors:.1%}"
        )


if __name__ == "__main__":
    main()
