//! The outage that follows a moment, without a search.

/// Finds the first outage at or after a year without searching: a table over equal steps.
#[derive(Debug)]
pub(crate) struct OutageFinder {
    begin: f64,
    per_year: f64,
    steps: Vec<Step>,
    outages: Vec<f64>,
}

/// What is known of the years of one step.
#[derive(Debug)]
struct Step {
    /// Outages before it, for certain, and the next three; infinite where there is none.
    before: usize,
    next: [f64; 3],
}

impl OutageFinder {
    pub fn new(outages: &[f64], start: f64, end: f64) -> Self {
        let steps = 4 * outages.len().max(1);
        let per_year = steps as f64 / (end - start);
        let step = |step: usize| {
            let begun = outages.partition_point(|&year| year < start + step as f64 / per_year);
            // One less: by rounding a year may fall into the step before or after its own.
            let before = begun.saturating_sub(1);
            let next = [0, 1, 2].map(|ahead| outages.get(before + ahead).copied().unwrap_or(f64::INFINITY));
            Step { before, next }
        };
        OutageFinder { begin: start, per_year, steps: (0..=steps).map(step).collect(), outages: outages.to_vec() }
    }

    /// Number of outages before a year.
    #[inline]
    pub fn count_before(&self, year: f64) -> usize {
        let step = ((year - self.begin) * self.per_year).max(0.0) as i64 as usize;
        let Step { before, next } = &self.steps[step.min(self.steps.len() - 1)];
        // Without a branch: a step has one outage at most, as a rule, and nobody foresees on which side a year falls.
        let mut count = before + next.iter().filter(|outage| **outage < year).count();
        if next[2] < year {
            count += self.outages[count..].iter().take_while(|outage| **outage < year).count();
        }
        count
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn finds_what_a_search_finds() {
        let regular: Vec<f64> = (1..30).map(f64::from).collect();
        let crowded = vec![2001.0, 2001.1, 2001.2, 2001.21, 2001.25, 2019.5];
        for (outages, start, end) in [(regular, 0.0, 30.0), (crowded, 2000.0, 2020.0), (Vec::new(), 0.0, 1.0)] {
            let finder = OutageFinder::new(&outages, start, end);
            let between = (-100..=1100).map(|step| start + f64::from(step) * 0.001 * (end - start));
            let about = outages.iter().flat_map(|&year| [year.next_down(), year, year.next_up()]);
            for year in between.chain(about) {
                assert_eq!(finder.count_before(year), outages.partition_point(|&outage| outage < year), "{year}");
            }
        }
    }
}
