"""Write invented inspection records of the demonstration fleet, as awkward as real ones are.

    python demo-data/make_demo_records.py outages > demo-data/demo-records.csv
    python demo-data/make_demo_records.py sectioned > demo-data/demo-sectioned.csv

At outages only some of the blades that were called are opened, and what nobody called stays unknown. Two retired rows
were cut up after every technique had looked: there the truth is known of nearly every blade.

Each blade is cracked or not, and each technique finds its crack with a probability that rises with length;
a crack that one technique misses is easier missed by the others too (one normal effect for each crack). How
many cracked blades were called by none goes to standard error, so that estimates can be held against it.
Only the standard library is used, so that the same seed writes the same file anywhere.
"""

import csv
import math
import random
import statistics
import sys
from collections.abc import Iterator
from typing import NamedTuple

SEED = 20311


class Technique(NamedTuple):
    """Half of the cracks of length q50_mm are found; spread is that of the logistic curve in ln length."""

    q50_mm: float
    spread: float
    false_calls: float
    sizing: float


class Outage(NamedTuple):
    """One inspection of one row."""

    row: str
    blades: int
    name: str
    days: dict
    surface: str
    cracked: float
    median_mm: float
    is_cut_up: bool = False


TECHNIQUES = {
    "mpi-standard": Technique(1.3, 0.30, 0.010, 0.15),
    "mpi-enhanced": Technique(1.0, 0.30, 0.015, 0.12),
    "penetrant": Technique(1.6, 0.35, 0.010, 0.20),
    "eddy-current": Technique(1.1, 0.30, 0.030, 0.20),
    "eddy-array": Technique(0.9, 0.28, 0.020, 0.12),
    "phased-array": Technique(3.6, 0.30, 0.015, 0.30),
}
SHIFTS = {
    "peened": {"mpi-standard": 0.55, "mpi-enhanced": 0.45, "penetrant": 0.70},
    "oxidised": {"penetrant": 0.40, "eddy-current": 0.45, "eddy-array": 0.40},
}
OUTAGES = [
    Outage(
        "alder-lp1-front",
        72,
        "alder 2030",
        {
            "phased-array": "03.09.2030",
            "mpi-enhanced": "11.09.2030",
            "penetrant": "12.09.2030",
            "eddy-array": "14.09.2030",
        },
        "as-machined",
        0.45,
        1.3,
    ),
    Outage(
        "cedar-lp1-front",
        64,
        "cedar 2031",
        {"mpi-enhanced": "05.05.2031", "penetrant": "06.05.2031", "eddy-array": "06.05.2031"},
        "peened",
        0.40,
        1.2,
    ),
    Outage(
        "birch-lp1-rear",
        96,
        "birch 2031",
        {"mpi-standard": "17.10.2031", "eddy-current": "19.10.2031"},
        "oxidised",
        0.22,
        1.4,
    ),
    Outage("alder-lp2-rear", 72, "alder 2030", {"phased-array": "04.09.2030"}, "as-machined", 0.02, 2.5),
]
RETIRED = [
    Outage(
        "alder-lp2-front",
        72,
        "alder retired 2032",
        {
            "mpi-standard": "02.02.2032",
            "mpi-enhanced": "09.02.2032",
            "penetrant": "10.02.2032",
            "eddy-array": "12.02.2032",
        },
        "as-machined",
        0.60,
        1.4,
        is_cut_up=True,
    ),
    Outage(
        "cedar-lp2-rear",
        108,
        "cedar retired 2032",
        {"mpi-enhanced": "07.06.2032", "penetrant": "08.06.2032", "eddy-array": "10.06.2032"},
        "peened",
        0.45,
        1.6,
        is_cut_up=True,
    ),
]
#: Only this technique's signals were kept, and only of the rows that were cut up; a call is a signal above 1.
SIGNALS_OF = "eddy-array"
#: How the logarithm of a signal rises with the log-odds of a call, and how that of the noise spreads.
SIGNAL_PER_LOG_ODDS, NOISE = 0.3, 0.35
FILES = {"outages": OUTAGES, "sectioned": RETIRED}
COLUMNS = [
    "Row",
    "Blade",
    "Inspection",
    "Date",
    "Technique",
    "Grade",
    "Surface",
    "Access",
    "Inspector",
    "Called",
    "Measured_length_mm",
    "Signal",
    "Cracked",
    "Confirmed_length_mm",
    "Side",
    "Work order",
    "Remark",
]


def comma(length: float) -> str:
    """Write a length to a tenth of a millimetre, with a decimal comma."""
    return f"{length:.1f}".replace(".", ",")


def signal(draw: random.Random, chance: float, is_cracked: bool, found: bool) -> str:
    """Write a signal that goes with what was called, in volts."""
    below = draw.uniform(0.0, chance) if found else draw.uniform(chance, 1.0)
    if is_cracked:
        log_signal = SIGNAL_PER_LOG_ODDS * math.log(chance / (1.0 - chance) * (1.0 - below) / below)
    else:
        noise = statistics.NormalDist(0.0, NOISE)
        log_signal = noise.inv_cdf(1.0 - below) - noise.inv_cdf(1.0 - chance)
    return f"{math.exp(log_signal):.2f}".replace(".", ",")


def lines(draw: random.Random, outages: list[Outage]) -> Iterator[list[str]]:
    """Give the lines of outages, as they were written down: technique after technique."""
    draw_signals = random.Random(SEED)
    for order, outage in enumerate(outages):
        cracks = {}
        for blade in range(1, outage.blades + 1):
            cracked = draw.random() < outage.cracked
            cracks[blade] = (
                draw.lognormvariate(math.log(outage.median_mm), 0.6) if cracked else None,
                draw.gauss(0.0, 0.35),
                draw.choice(["suction", "suction", "pressure"]),
            )
        calls, signals = {}, {}
        for name in outage.days:
            kind = TECHNIQUES[name]
            for blade, (length, effect, _) in cracks.items():
                shift = SHIFTS.get(outage.surface, {}).get(name, 0.0) + effect
                if length is None:
                    chance = kind.false_calls
                else:
                    log_odds = (math.log(length) - math.log(kind.q50_mm) - shift) / kind.spread
                    chance = 0.97 / (1.0 + math.exp(-log_odds))
                found = draw.random() < chance
                calls[name, blade] = found
                if outage.is_cut_up and name == SIGNALS_OF:
                    signals[name, blade] = signal(draw_signals, chance, length is not None, found)
        cracked = {blade for blade, (length, _, _) in cracks.items() if length is not None}
        missed = {blade for blade in cracked if not any(calls[name, blade] for name in outage.days)}
        sys.stderr.write(f"{outage.row}: {len(cracked)} blades cracked, {len(missed)} of them called by none\n")
        # Here and there a section was lost.
        lost = {blade for blade in cracks if outage.is_cut_up and draw.random() < 0.04}
        opened = {blade for blade in cracks if any(calls[name, blade] for name in outage.days) and draw.random() < 0.7}
        for name, day in outage.days.items():
            for blade, (length, _, side) in cracks.items():
                # Some blades could not be reached, or their sheet was lost.
                if len(outage.days) > 1 and draw.random() < 0.015:
                    continue
                found = calls[name, blade]
                measured = ""
                if found and draw.random() < 0.85:
                    measured = comma((length or 1.0) * draw.lognormvariate(0.0, TECHNIQUES[name].sizing) + 0.05)
                known = blade not in lost if outage.is_cut_up else blade in opened and found
                yield [
                    outage.row,
                    f"{blade:03d}",
                    outage.name,
                    day,
                    name,
                    "enhanced" if name == "mpi-enhanced" else "standard",
                    outage.surface if draw.random() < 0.97 else "",
                    "in-place" if name == "phased-array" else "blades-out",
                    draw.choice(["Crew A", "Crew B", "Crew B", "crew a"] if order == 0 else ["Crew A", "Crew C"]),
                    draw.choice(["yes", "y", "YES"]) if found else draw.choice(["no", "no", "n"]),
                    measured,
                    signals.get((name, blade), ""),
                    ("yes" if length else "no") if known else "",
                    comma(length + 0.05) if known and length else "",
                    side if found and draw.random() < 0.6 else "",
                    f"WO-{4100 + order}",
                    draw.choice(["", "", "", "re-cleaned; looked at again", 'near the "old" dressing'])
                    if found
                    else "",
                ]


def main() -> None:
    """Write the file as a spreadsheet with a decimal comma would: byte-order mark, semicolons, CRLF."""
    sys.stdout.reconfigure(encoding="utf-8", newline="")
    sys.stdout.write("\ufeff# Invented records of the demonstration fleet, written by make_demo_records.py.\r\n")
    outages = FILES[sys.argv[1]]
    columns = [name for name in COLUMNS if name != "Signal" or outages is RETIRED]
    writer = csv.DictWriter(sys.stdout, columns, delimiter=";", extrasaction="ignore")
    writer.writeheader()
    writer.writerows(dict(zip(COLUMNS, line, strict=True)) for line in lines(random.Random(SEED), outages))


main()
