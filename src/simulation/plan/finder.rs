//! The outage that follows a moment, without a search.

/// Finds the first outage at or after a year without searching: a table over equal steps.
#[derive(Debug)]
pub(crate) struct OutageFinder {
    begin: f64,
    per_year: f64,
    first: Vec<u32>,
}

impl OutageFinder {
    pub fn new(outages: &[f64], start: f64, end: f64) -> Self {
        let steps = 4 * outages.len().max(1);
        let per_year = steps as f64 / (end - start);
        let first = (0..=steps)
            .map(|step| outages.partition_point(|&year| year < start + step as f64 / per_year) as u32)
            .map(|first| first.saturating_sub(1))
            .collect();
        OutageFinder { begin: start, per_year, first }
    }

    /// Number of outages before a year.
    #[inline]
    pub fn count_before(&self, year: f64, outages: &[f64]) -> usize {
        let step = ((year - self.begin) * self.per_year).max(0.0) as i64 as usize;
        let mut count = self.first[step.min(self.first.len() - 1)] as usize;
        // Without a branch: one or two steps on is what nearly always is needed, and nobody foresees which.
        for _ in 0..2 {
            count += usize::from(outages.get(count).is_some_and(|&outage| outage < year));
        }
        while count < outages.len() && outages[count] < year {
            count += 1;
        }
        count
    }
}
