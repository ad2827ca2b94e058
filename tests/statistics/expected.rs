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

/// The cells of a data file, without comments and header.
pub fn rows(text: &'static str) -> Vec<Vec<&'static str>> {
    let lines = text.lines().filter(|line| !line.starts_with('#') && !line.trim().is_empty());
    lines.skip(1).map(|line| line.split(',').collect()).collect()
}

/// What stands between `before` and `after` in a text that has both.
pub fn between<'t>(text: &'t str, before: &str, after: &str) -> Option<&'t str> {
    text.strip_prefix(before)?.split_once(after).map(|(inner, _)| inner)
}
