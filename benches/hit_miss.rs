//! Hit/miss fits of 500 looks: one with its likelihood-ratio bounds, and 10,000 of looks drawn anew; one thread.

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use serrata::random::{Key, Stream};
use serrata::statistics::hit_miss::{Looks, Method, Model, fit};
use std::hint::black_box;

const LOOKS: usize = 500;
const RESAMPLES: usize = 10_000;

/// Looks at cracks of 0.3 to 12 mm, log-uniform; half of those of 1.5 mm are found.
fn looks() -> Looks {
    let mut stream = Stream::new(Key::from_seed(1).named("bench"));
    let mut look = || {
        let size_mm = 0.3 * (stream.uniform() * 40_f64.ln()).exp();
        (size_mm, stream.uniform() < 1.0 / (1.0 + (size_mm / 1.5).powf(-3.0)))
    };
    Looks::from_pairs(&(0..LOOKS).map(|_| look()).collect::<Vec<_>>()).expect("good looks")
}

fn hit_miss(criterion: &mut Criterion) {
    let (looks, true_q90_mm) = (looks(), 1.5 * 9_f64.powf(1.0 / 3.0));
    let bound = |looks: &Looks| {
        let fit = fit(looks, &Model::default()).expect("a fit");
        (fit.size_at(0.9), fit.size_bounds(0.9, 0.95, Method::LikelihoodRatio).expect("bounds"))
    };
    let (q90_mm, bounds) = bound(&looks);
    // The standard error of ln q90 is about 0.08; five of those.
    let apart = (q90_mm.expect("reached") / true_q90_mm).ln().abs();
    assert!(apart < 0.4 && bounds.low < q90_mm && q90_mm < bounds.high, "{q90_mm:?} {bounds:?}");
    let mut group = criterion.benchmark_group("hit_miss");
    group.throughput(Throughput::Elements(1));
    group.bench_function("fit with likelihood-ratio bounds", |bencher| bencher.iter(|| bound(black_box(&looks))));
    let fit = fit(&looks, &Model::default()).expect("a fit");
    group.throughput(Throughput::Elements(RESAMPLES as u64));
    group.sample_size(10);
    group.bench_function("resamples", |bencher| bencher.iter(|| fit.resampled(0.9, black_box(RESAMPLES), 1)));
}

criterion_group!(benches, hit_miss);
criterion_main!(benches);
