//! Reading of the reference tables.

/// Rows of a CSV with `#` comments and one header line; cells as text, quotes taken off.
pub fn cells(text: &str) -> Vec<Vec<String>> {
    let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(text.as_bytes());
    reader.records().map(|row| row.expect("a row").iter().map(str::to_owned).collect()).collect()
}

/// The same, of numbers alone.
pub fn rows(text: &str) -> Vec<Vec<f64>> {
    let number = |cell: &String| cell.parse().expect("a number");
    cells(text).iter().map(|row| row.iter().map(number).collect()).collect()
}

/// Distance of two numbers over the second.
pub fn off(ours: f64, reference: f64) -> f64 {
    (ours - reference).abs() / reference.abs()
}
