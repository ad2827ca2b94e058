//! The reference file of histories: values worked out by other programs from published data, and by formula.

/// Group, quantity, inputs, value, tolerance, where known from.
const EXPECTED: &str = include_str!("data/history_expected.csv");

/// Fails unless every expected value of a group is met by what goes by its name: the quantity, and the inputs where they
/// stand in brackets behind it.
pub fn assert_group(group: &str, ours: &[(&str, f64)]) {
    let mut lines = csv::ReaderBuilder::new().comment(Some(b'#')).flexible(true).from_reader(EXPECTED.as_bytes());
    let mut checked = 0;
    for line in lines.records().map(|line| line.expect("a line")).filter(|line| &line[0] == group) {
        let (quantity, inputs) = (&line[1], &line[2]);
        let full = format!("{quantity} [{inputs}]");
        let (_, ours) = ours
            .iter()
            .find(|(name, _)| *name == full || *name == quantity)
            .unwrap_or_else(|| panic!("{group}: nothing for {full}"));
        let (value, tolerance): (f64, f64) = (line[3].parse().expect("a value"), line[4].parse().expect("a tolerance"));
        // The printed digits of the expected value are rounded in the last place, and so is what is worked out.
        let allowed = tolerance + 8.0 * f64::EPSILON * value.abs();
        assert!((ours - value).abs() <= allowed, "{group}, {full}: {ours}, expected {value}");
        checked += 1;
    }
    assert!(checked > 0, "nothing is expected of {group}");
}
