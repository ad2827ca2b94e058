//! Correlations, between techniques, of the shifts that a crack keeps.

use super::ids::Ids;
use super::reader::Place;
use super::section::Section;
use crate::bounds;
use crate::model::detection::Persistence;

/// A stated pair of techniques, as indices in rising order, with its correlation.
type Pair = (usize, usize, f64);

/// Reads the pairs; those that are not listed are uncorrelated.
pub(super) fn read(root: &Section, ids: &Ids) -> Option<Persistence> {
    let mut list = None;
    let pairs = root.optional("persistence", |section, key| {
        let place = section.get(key, "a list of tables with the keys techniques, correlation")?;
        list = Some(place.clone());
        pairs(&place, ids)
    })?;
    let count = ids.techniques.len();
    let mut correlation = vec![vec![0.0; count]; count];
    for (index, line) in correlation.iter_mut().enumerate() {
        line[index] = 1.0;
    }
    for (one, other, value) in pairs.unwrap_or_default() {
        correlation[one][other] = value;
        correlation[other][one] = value;
    }
    let persistence = Persistence::new(correlation.clone());
    if let (None, Some(place)) = (&persistence, list) {
        refuse(&place, correlation, &ids.techniques);
    }
    persistence
}

fn pairs(place: &Place, ids: &Ids) -> Option<Vec<Pair>> {
    let pairs = place.each(|place| {
        let here = place.clone();
        let pair = place.table(|section| {
            let techniques = section.references("techniques", "technique", &ids.techniques);
            let correlation = section.number("correlation", bounds::CORRELATION);
            let techniques = techniques?;
            let [one, other] = techniques[..] else {
                section.fault("techniques", "must name two techniques", "list one pair at a time");
                return None;
            };
            Some((one.min(other), one.max(other), correlation?))
        });
        pair.map(|pair| (here, pair))
    })?;
    let mut good = true;
    for (index, (place, (one, other, _))) in pairs.iter().enumerate() {
        if pairs[..index].iter().any(|(_, before)| (before.0, before.1) == (*one, *other)) {
            let names = format!("{} and {}", ids.techniques[*one], ids.techniques[*other]);
            place.fault(format!("the pair {names} is stated twice"), "state it once");
            good = false;
        }
    }
    good.then(|| pairs.into_iter().map(|(_, pair)| pair).collect())
}

/// Says which techniques cannot be correlated as stated: those that weigh in the worst combination.
fn refuse(place: &Place, correlation: Vec<Vec<f64>>, names: &[String]) {
    /// A smaller share in the worst combination is rounding.
    const SHARE: f64 = 1e-3;
    let (eigenvalue, combination) = smallest_eigenvalue(correlation);
    let involved: Vec<&str> = names
        .iter()
        .zip(&combination)
        .filter(|(_, weight)| weight.abs() > SHARE)
        .map(|(name, _)| name.as_str())
        .collect();
    place.fault(
        format!(
            "the correlations of {} contradict each other: the smallest eigenvalue of their matrix is {eigenvalue:.3}, and none may be below 0",
            involved.join(", ")
        ),
        "bring the correlations closer to 0, or state the pairs that are left out",
    );
}

/// Smallest eigenvalue of a symmetric matrix, with its vector, by Jacobi's rotations.
fn smallest_eigenvalue(mut matrix: Vec<Vec<f64>>) -> (f64, Vec<f64>) {
    /// Sweeps converge quadratically; a handful is enough for any size met here.
    const SWEEPS: usize = 30;
    let n = matrix.len();
    let mut vectors = vec![vec![0.0; n]; n];
    for (index, line) in vectors.iter_mut().enumerate() {
        line[index] = 1.0;
    }
    for (p, q) in (0..SWEEPS).flat_map(|_| (0..n).flat_map(move |p| (p + 1..n).map(move |q| (p, q)))) {
        if matrix[p][q] == 0.0 {
            continue;
        }
        let theta = 0.5 * (matrix[q][q] - matrix[p][p]) / matrix[p][q];
        let tan = theta.signum() / (theta.abs() + theta.hypot(1.0));
        let cos = 1.0 / tan.hypot(1.0);
        let sin = tan * cos;
        for line in matrix.iter_mut().chain(vectors.iter_mut()) {
            (line[p], line[q]) = (cos * line[p] - sin * line[q], sin * line[p] + cos * line[q]);
        }
        let (line_p, line_q) = (matrix[p].clone(), matrix[q].clone());
        for column in 0..n {
            matrix[p][column] = cos * line_p[column] - sin * line_q[column];
            matrix[q][column] = sin * line_p[column] + cos * line_q[column];
        }
    }
    let smallest = (0..n).min_by(|&i, &j| matrix[i][i].total_cmp(&matrix[j][j])).unwrap_or(0);
    (matrix[smallest][smallest], vectors.iter().map(|line| line[smallest]).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test] // ones on the diagonal and r beside it: eigenvalues 1 + 2r and 1 - r (twice)
    fn the_smallest_eigenvalue_of_equal_correlations_is_the_textbook_one() {
        let equal = |r: f64| vec![vec![1.0, r, r], vec![r, 1.0, r], vec![r, r, 1.0]];
        for (r, expected) in [(0.5, 0.5), (-0.4, 0.2), (-0.8, -0.6)] {
            let (eigenvalue, _) = smallest_eigenvalue(equal(r));
            assert!((eigenvalue - expected).abs() < 1e-14, "{eigenvalue} for {r}");
        }
    }

    #[test]
    fn the_vector_belongs_to_the_eigenvalue() {
        let matrix = vec![
            vec![1.0, 0.9, -0.9, 0.0],
            vec![0.9, 1.0, 0.9, 0.0],
            vec![-0.9, 0.9, 1.0, 0.0],
            vec![0.0, 0.0, 0.0, 1.0],
        ];
        let (eigenvalue, vector) = smallest_eigenvalue(matrix.clone());
        for (line, component) in matrix.iter().zip(&vector) {
            let product: f64 = line.iter().zip(&vector).map(|(a, b)| a * b).sum();
            assert!((product - eigenvalue * component).abs() < 1e-14);
        }
        assert!((eigenvalue + 0.8).abs() < 1e-14);
    }
}
