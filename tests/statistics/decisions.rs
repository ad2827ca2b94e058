//! Expected values for decisions, computed apart from this program (`data/decisions_expected.csv`, with a note at each).

/// A line of the table: its quantity, its inputs by name, its value and tolerance.
pub struct Line {
    pub quantity: String,
    pub inputs: String,
    pub value: String,
    pub tolerance: f64,
}

impl Line {
    pub fn input(&self, name: &str) -> f64 {
        let mut parts = self.inputs.split(';').map(str::trim);
        let value = parts.find_map(|part| part.strip_prefix(name)?.strip_prefix('=')).expect("an input");
        value.parse().expect("a number")
    }

    pub fn count(&self, name: &str) -> u32 {
        self.input(name) as u32
    }

    #[track_caller]
    pub fn assert(&self, ours: f64) {
        let value: f64 = self.value.parse().expect("a number");
        assert!((ours - value).abs() <= self.tolerance, "{}, {}: {ours} for {value}", self.quantity, self.inputs);
    }
}

/// The lines of a group.
pub fn lines(group: &str) -> Vec<Line> {
    let text = include_str!("data/decisions_expected.csv");
    let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).flexible(true).from_reader(text.as_bytes());
    let line = |record: csv::Result<csv::StringRecord>| {
        let record = record.expect("a line");
        let field = |index: usize| record[index].to_owned();
        (&record[0] == group).then(|| Line {
            quantity: field(1),
            inputs: field(2),
            value: field(3),
            tolerance: field(4).parse().expect("a tolerance"),
        })
    };
    reader.records().filter_map(line).collect()
}
