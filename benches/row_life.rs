//! Lives of a row under all four strategies of the yardstick problems, one thread.

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
        let answer = study.simulate(&run).expect("a run").fleet(1, Quantity::BladesReplaced);
        assert!((answer.value - replaced).abs() < 5.0 * answer.standard_error, "{problem}: {answer:?}");
        group.throughput(Throughput::Elements(LIVES));
        group.sample_size(10);
        group.bench_function(problem, |bencher| bencher.iter(|| study.simulate(black_box(&run))));
    }
}

criterion_group!(benches, row_life);
criterion_main!(benches);
