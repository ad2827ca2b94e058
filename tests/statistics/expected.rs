//! The reference files: values from published sources and from general-purpose libraries.

/// The expected values: data set, quantity, value, tolerance, where known from, note.
const EXPECTED: &str = include_str!("data/statistics_expected.csv");

/// One expected value.
pub struct Expected {
    pub quantity: &'static str,
    pub value: f64,
    pub tolerance: f64,
}

impl Expected {
    /// Fails unless the value is met within its tolerance; a tolerance of zero means exactly.
    pub fn assert(&self, ours: f64) {
        // The printed digits of the expected value are rounded in the last place.
        let allowed = self.tolerance + 4.0 * f64::EPSILON * self.value.abs();
        assert!((ours - self.value).abs() <= allowed, "{}: {ours}, expected {}", self.quantity, self.value);
    }
}

/// Every expected value of a data set; fails when there are none.
pub fn expected(dataset: &str) -> Vec<Expected> {
    let lines = EXPECTED.lines().filter(|line| !line.starts_with('#'));
    let found: Vec<Expected> = lines
        .filter_map(|line| line.strip_prefix(dataset)?.strip_prefix(','))
        .map(|line| {
            let mut cells = line.splitn(4, ',');
            let mut next = || cells.next().expect("four cells");
            Expected {
                quantity: next(),
                value: next().parse().expect("a value"),
                tolerance: next().parse().expect("a tolerance"),
            }
        })
        .collect();
    assert!(!found.is_empty(), "no expected values of {dataset}");
    found
}

/// One expected value of a data set.
pub fn expected_value(dataset: &str, quantity: &str) -> Expected {
    let found = expected(dataset).into_iter().find(|value| value.quantity == quantity);
    found.unwrap_or_else(|| panic!("no expected {quantity} of {dataset}"))
}

/// Fails unless a value is met within the tolerance that stands beside it.
pub fn assert_expected(dataset: &str, quantity: &str, ours: f64) {
    expected_value(dataset, quantity).assert(ours);
}

/// A cell as a number.
pub fn number(cell: &str) -> f64 {
    cell.parse().unwrap_or_else(|_| panic!("{cell} is no number"))
}

/// The cells of a data file, without comments and header.
pub fn rows(text: &'static str) -> Vec<Vec<&'static str>> {
    let lines = text.lines().filter(|line| !line.starts_with('#') && !line.trim().is_empty());
    lines.skip(1).map(|line| line.split(',').collect()).collect()
}

/// What stands between `before` and `after` in a text that has both.
pub fn between<'t>(text: &'t str, before: &str, after: &str) -> Option<&'t str> {
    text.strip_prefix(before)?.split_once(after).map(|(inner, _)| inner)
}
