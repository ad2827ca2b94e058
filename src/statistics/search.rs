//! Where a function of one number crosses zero.

/// A place between `a` and `b` where the function is zero, its values there having opposite signs.
///
/// False position with the Illinois rule (Dowell and Jarratt, BIT 11, 1971), to `tolerance` in the place.
pub(super) fn crossing(
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_crossing_is_found_to_its_tolerance() {
        let root = crossing((0.0, -2.0), (30.0, 898.0), 1e-12, |x| x * x - 2.0);
        assert!((root - std::f64::consts::SQRT_2).abs() < 1e-10, "{root}");
    }
}
