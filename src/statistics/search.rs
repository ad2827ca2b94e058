//! Where a function of one number crosses zero, and where it is largest.

/// A place between `a` and `b` where the function is zero, its values there having opposite signs.
///
/// False position with the Illinois rule (Dowell and Jarratt, BIT 11, 1971), to `tolerance` in the place.
pub(crate) fn crossing(
    (mut a, mut at_a): (f64, f64),
    (mut b, mut at_b): (f64, f64),
    tolerance: f64,
    mut function: impl FnMut(f64) -> f64,
) -> f64 {
    let mut previous = b;
    for _ in 0..200 {
        let c = if at_a == at_b { 0.5 * (a + b) } else { b - at_b * (b - a) / (at_b - at_a) };
        let at_c = function(c);
        if at_c == 0.0 || (c - previous).abs() < tolerance || (b - a).abs() < tolerance || !at_c.is_finite() {
            return c;
        }
        previous = c;
        if at_c * at_b < 0.0 {
            (a, at_a) = (b, at_b);
        } else {
            at_a *= 0.5;
        }
        (b, at_b) = (c, at_c);
    }
    b
}

/// Where the function is largest between two ends: a scan for the hill, then golden sections.
///
/// Gives the place and the value; the ends themselves count.
pub(crate) fn largest(low: f64, high: f64, tolerance: f64, mut function: impl FnMut(f64) -> f64) -> (f64, f64) {
    /// Steps of the scan: enough for a curve of one hill that may be steep at an end.
    const STEPS: usize = 8;
    const GOLDEN: f64 = 0.618_033_988_749_894_9;
    if !(high > low) {
        return (low, function(low));
    }
    let place = |step: usize| low + (high - low) * step as f64 / STEPS as f64;
    let scanned: Vec<f64> = (0..=STEPS).map(|step| function(place(step))).collect();
    let best = (0..=STEPS).max_by(|a, b| scanned[*a].total_cmp(&scanned[*b])).unwrap_or(0);
    let (mut a, mut b) = (place(best.saturating_sub(1)), place((best + 1).min(STEPS)));
    let mut top = (place(best), scanned[best]);
    let (mut c, mut d) = (b - GOLDEN * (b - a), a + GOLDEN * (b - a));
    let (mut at_c, mut at_d) = (function(c), function(d));
    while b - a > tolerance {
        if at_c > at_d {
            (b, d, at_d) = (d, c, at_c);
            c = b - GOLDEN * (b - a);
            at_c = function(c);
        } else {
            (a, c, at_c) = (c, d, at_d);
            d = a + GOLDEN * (b - a);
            at_d = function(d);
        }
    }
    for (place, value) in [(c, at_c), (d, at_d)] {
        if value > top.1 {
            top = (place, value);
        }
    }
    top
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_crossing_is_found_to_its_tolerance() {
        let root = crossing((0.0, -2.0), (30.0, 898.0), 1e-12, |x| x * x - 2.0);
        assert!((root - std::f64::consts::SQRT_2).abs() < 1e-10, "{root}");
    }

    #[test]
    fn the_largest_value_is_found_within_and_at_an_end() {
        let (place, value) = largest(0.0, 1.0, 1e-7, |x| -(x - 0.3_f64).powi(2));
        assert!((place - 0.3).abs() < 1e-6 && value > -1e-12);
        assert_eq!(largest(0.0, 1.0, 1e-7, |x| x).0, 1.0);
    }
}
