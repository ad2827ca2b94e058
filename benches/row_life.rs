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
after_loss = "replace-row"
row_end = { year = 2037, then = "new-row" }
"#;

/// The demonstration's fleet under its five strategies, and under a sixth that has every rule.
fn fleet_life(criterion: &mut Criterion) {
    const TRIALS: u64 = 2_000;
    /// Cracks found in the fleet under the baseline, by a second program that shares no code with the engine.
    const FOUND: f64 = 27.955_7;
    let mut group = criterion.benchmark_group("fleet_life");
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/engine/data/demo_fleet.toml");
    let text = std::fs::read_to_string(path).expect("a study file");
    for (name, text) in [("demonstration", text.clone()), ("and_every_rule", text + EVERY_RULE)] {
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
