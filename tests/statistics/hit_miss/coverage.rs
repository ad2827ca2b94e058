//! How often bounds on q90 hold: the table in the documentation of `statistics::hit_miss`.

use super::{drawn, logistic};
use serrata::statistics::hit_miss::{Bounds, Fit, Looks, Method, Model, fit};

const DATA_SETS: u64 = 4000;
const WAYS: [(&str, Method, bool); 4] = [
    ("likelihood ratio", Method::LikelihoodRatio, false),
    ("the same, penalised", Method::LikelihoodRatio, true),
    ("Wald", Method::Wald, false),
    ("pointwise band", Method::PointwiseBand, false),
];
/// Half-way size, in mm, and slope of the true curve.
const TRUE: (f64, f64) = (1.5, 3.0);
/// Standard error of a share of 95 % out of so many.
const ERROR: f64 = 0.0034;

/// How many bounds hold, of how many.
#[derive(Default, Clone, Copy)]
struct Held {
    held: u32,
    of: u32,
}

impl Held {
    fn count(&mut self, holds: bool) {
        self.held += u32::from(holds);
        self.of += 1;
    }

    fn share(self) -> f64 {
        f64::from(self.held) / f64::from(self.of)
    }
}

/// The upper bound at 95 % and the interval at 95 %, by each way of making them, over data sets of so many looks.
fn coverage(looks: usize) -> ([[Held; 2]; WAYS.len()], u64) {
    let true_q90 = TRUE.0 * (9_f64.ln() / TRUE.1).exp();
    let mut held = [[Held::default(); 2]; WAYS.len()];
    let mut refused = 0;
    for seed in 0..DATA_SETS {
        let data = drawn(looks, 1_000_000 * looks as u64 + seed, |size, _| logistic(size, TRUE.0, TRUE.1));
        let data = Looks::from_pairs(&data).expect("good");
        let fitted = |penalised| fit(&data, &Model { penalised, ..Model::default() });
        let (Ok(plain), Ok(penalised)) = (fitted(false), fitted(true)) else {
            refused += 1;
            continue;
        };
        for ((_, method, is_penalised), [upper, interval]) in WAYS.iter().zip(&mut held) {
            let fit = if *is_penalised { &penalised } else { &plain };
            upper.count(below(bounds(fit, 0.95, *method), true_q90));
            let both = bounds(fit, 0.975, *method);
            interval.count(below(both, true_q90) && both.low.is_none_or(|low| low <= true_q90));
        }
    }
    (held, refused)
}

fn bounds(fit: &Fit, confidence: f64, method: Method) -> Bounds {
    fit.size_bounds(0.9, confidence, method).expect("bounds")
}

/// Without an upper bound nothing is claimed that could be wrong.
fn below(bounds: Bounds, q90: f64) -> bool {
    bounds.high.is_none_or(|high| q90 <= high)
}

#[test]
#[ignore = "takes about a minute: cargo test --test statistics coverage -- --ignored --nocapture"]
#[allow(clippy::print_stdout)]
fn penalised_bounds_hold_as_often_as_they_say_plain_ones_nearly_and_wald_bounds_do_not() {
    println!("| looks | refused | bound | {} |", WAYS.map(|way| way.0).join(" | "));
    for looks in [40, 80, 200] {
        let (held, refused) = coverage(looks);
        for (kind, bound) in ["upper, 95 %", "interval, 95 %"].iter().enumerate() {
            let shares: Vec<String> = held.iter().map(|held| format!("{:.1} %", 100.0 * held[kind].share())).collect();
            println!("| {looks} | {refused} | {bound} | {} |", shares.join(" | "));
        }
        let [plain, penalised, wald, _] = held.map(|held| held.map(Held::share));
        // Three standard errors below 95 %.
        assert!(penalised.iter().all(|share| *share > 0.95 - 3.0 * ERROR), "{looks}: {penalised:?}");
        // To 2 %, which is what the documentation says.
        assert!((plain[1] - 0.95).abs() < 0.02 + 3.0 * ERROR, "{looks}: {plain:?}");
        // What the documentation warns of.
        assert!(wald[0] < plain[0] - 3.0 * ERROR && plain[0] < 0.95, "{looks}: {plain:?} {wald:?}");
    }
}
