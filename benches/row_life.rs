//! Lives of a row on one thread: under all four strategies of the yardstick problems, of the demonstration's fleet, and
//! of one more that has every rule.

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use serrata::Study;
use serrata::simulation::{Quantity, Run};
use std::hint::black_box;

const LIVES: u64 = 20_000;

fn row_life(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("row_life");
    // Blades replaced by in-place looks at every outage, per row: yardstick values.
    for (problem, replaced) in [("y1b", 5.7626), ("y2", 10.154)] {
        let path = format!("{}/tests/engine/data/{problem}.toml", env!("CARGO_MANIFEST_DIR"));
        let study = Study::load(path).expect("a yardstick study");
        let run = Run { trials: LIVES, threads: 1, ..Run::default() };
        let in_place = study.strategy_id("insitu_every").expect("a strategy");
        let answer = study.simulate(&run).expect("a run").fleet(in_place, Quantity::BladesReplaced);
        assert!((answer.value - replaced).abs() < 5.0 * answer.standard_error, "{problem}: {answer:?}");
        group.throughput(Throughput::Elements(LIVES));
        group.sample_size(10);
        group.bench_function(problem, |bencher| bencher.iter(|| study.simulate(black_box(&run))));
    }
}

/// A strategy with every rule, on the demonstration's fleet.
const EVERY_RULE: &str = r#"
[strategies.every-rule]
description = "Every rule of the language at once."
looks = [
  { techniques = ["phased-array"], first_outage = 1, every_outages = 1, escalation = { techniques = ["eddy-array"], first_call_stands = false }, after_finds = { every_outages = 1, for_outages = 2 }, after_clean = { looks = 2, longer_by = 1, at_most = 3 }, skip_after_clean = 3 },
  { techniques = ["penetrant"], first_outage = 2, every_outages = 3, coverage = { blade_fraction = 0.5 } },
]
dispositions = [{ below_mm = 2, action = "watch" }, { action = "replace" }]
watch = { technique = "phased-array", cost_per_row = 8, cost_per_blade = 0.5, days_per_row = 0.5 }
replace_row_from_blades = 12
sister_rows = { of = "unit", techniques = ["eddy-array"] }
extra_look = { after_years = 0.4, techniques = ["phased-array"], stop_cost = 10, stop_days = 2 }
after_loss = "replace-row"
look_after_loss = { of = "unit", techniques = ["phased-array"] }
row_end = { year = 2037, then = "new-row" }
"#;

/// One more, with samples, agreement, confirmation, dressing and a calendar of its own.
const SAMPLES_AND_DRESSES: &str = r#"
[strategies.samples-and-dresses]
description = "What every-rule leaves out."
looks = [
  { techniques = ["penetrant", "mpi-standard"], at_outages = [2, 5], instead_of_others = true, agreement = "all" },
  { techniques = ["mpi-enhanced"], first_outage = 3, every_outages = 3, coverage = { blades = 20, chosen = "rotating" }, escalation = { techniques = ["mpi-enhanced"], first_call_stands = true } },
  { techniques = ["phased-array"], first_outage = 1, every_outages = 1, coverage = { blade_fraction = 0.5, chosen = "least-looked-at" }, escalation = { techniques = ["eddy-array"], first_call_stands = false, of = "called-blades", from_blades = 2 } },
]
dispositions = [{ below_mm = 1.5, action = "run-on" }, { below_mm = 5, action = "dress" }, { action = "replace" }]
dressing = { gone_probability = 0.9, life_factor = 0.5, at_most_depth_mm = 3, blades_out = false }
deferrals = [{ outage = 2, by_years = 0.5 }]
starts_limit = { starts_per_year = 60, from_year = 2030, cost_per_year = 100 }
spares = [{ blades = 12, lead_days = 300, without = "run-on-watched", cost_per_year = 10, used_blades = { blades = 6, life_factor = 0.4, cost_per_blade = 5 } }]
after_loss = "replace-blade"

[strategies.ends-in-time]
description = "Blades for which the window leaves no time run on."
looks = [{ techniques = ["phased-array"], first_outage = 1, every_outages = 1 }]
dispositions = [{ action = "replace" }]
when_window_closes = "run-on-watched"
after_loss = "replace-blade"
"#;

/// The demonstration's fleet under its five strategies, and under more that have every rule.
fn fleet_life(criterion: &mut Criterion) {
    const TRIALS: u64 = 2_000;
    /// Cracks found in the fleet under the baseline, by a second program that shares no code with the engine.
    const FOUND: f64 = 27.955_7;
    let mut group = criterion.benchmark_group("fleet_life");
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/engine/data/demo_fleet.toml");
    let text = std::fs::read_to_string(path).expect("a study file");
    let priced = text.replace("\n[costs]\n", "\n[costs]\ndressing_cost = 3\ndressing_days = 0.2\n");
    for (name, text) in [
        ("demonstration", text.clone()),
        ("and_every_rule", text + EVERY_RULE),
        ("and_samples_and_dresses", priced + SAMPLES_AND_DRESSES),
    ] {
        let study = Study::parse(&text, name).expect("a good study");
        let run = Run { trials: TRIALS, threads: 1, ..Run::default() };
        let answer = study.simulate(&run).expect("a run");
        let found = answer.fleet(study.baseline, Quantity::CracksFound);
        assert!((found.value - FOUND).abs() < 5.0 * found.standard_error, "{found:?}");
        group.throughput(Throughput::Elements(TRIALS * study.rows.len() as u64));
        group.sample_size(10);
        group.bench_function(name, |bencher| bencher.iter(|| study.simulate(black_box(&run))));
    }
}

criterion_group!(benches, row_life, fleet_life);
criterion_main!(benches);
