//! Outages of a row, past and to come, in one numbered line.

/// The outages of a row's life: first its looks before the study, then the outages from the start of the study on.
#[derive(Debug)]
pub(crate) struct Calendar {
    /// Moment of each, as a year.
    pub years: Vec<f64>,
    /// Number of the first one to come.
    pub start: usize,
    finder: OutageFinder,
}

impl Calendar {
    /// From the looks before the study and the outages of the study; the row's life lasts from one year to another.
    pub fn new(past: impl Iterator<Item = f64>, to_come: &[f64], begin: f64, end: f64) -> Self {
        let mut years: Vec<f64> = past.collect();
        let start = years.len();
        years.extend_from_slice(to_come);
        Calendar { finder: OutageFinder::new(&years, begin, end), years, start }
    }

    /// Outages in all.
    #[inline(always)]
    pub fn len(&self) -> usize {
        self.years.len()
    }

    /// Outages to come.
    pub fn to_come(&self) -> usize {
        self.years.len() - self.start
    }

    /// Number of outages before a year.
    #[inline(always)]
    pub fn count_before(&self, year: f64) -> usize {
        self.finder.count_before(&self.years, year)
    }
}

/// Finds the first outage at or after a year without searching: a table over equal steps.
#[derive(Debug)]
struct OutageFinder {
    begin: f64,
    per_year: f64,
    steps: Vec<Step>,
}

/// What is known of the years of one step.
#[derive(Debug)]
struct Step {
    /// Outages before it, for certain, and the next three; infinite where there is none.
    before: usize,
    next: [f64; 3],
}

impl OutageFinder {
    fn new(outages: &[f64], begin: f64, end: f64) -> Self {
        let steps = 4 * outages.len().max(1);
        let per_year = steps as f64 / (end - begin);
        let step = |step: usize| {
            let begun = outages.partition_point(|&year| year < begin + step as f64 / per_year);
            // One less: by rounding a year may fall into the step before or after its own.
            let before = begun.saturating_sub(1);
            let next = [0, 1, 2].map(|ahead| outages.get(before + ahead).copied().unwrap_or(f64::INFINITY));
            Step { before, next }
        };
        OutageFinder { begin, per_year, steps: (0..=steps).map(step).collect() }
    }

    #[inline(always)]
    fn count_before(&self, outages: &[f64], year: f64) -> usize {
        let step = ((year - self.begin) * self.per_year).max(0.0) as i64 as usize;
        let Step { before, next } = &self.steps[step.min(self.steps.len() - 1)];
        // Branch-free: a step has one outage at most, as a rule, and on which side a year falls is unpredictable.
        let mut count = before + next.iter().filter(|outage| **outage < year).count();
        if next[2] < year {
            count += outages[count..].iter().take_while(|outage| **outage < year).count();
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
            for past in [0, 2].map(|past| past.min(outages.len())) {
                let calendar = Calendar::new(outages[..past].iter().copied(), &outages[past..], start, end);
                assert_eq!((calendar.len(), calendar.to_come()), (outages.len(), outages.len() - past));
                let between = (-100..=1100).map(|step| start + f64::from(step) * 0.001 * (end - start));
                let about = outages.iter().flat_map(|&year| [year.next_down(), year, year.next_up()]);
                for year in between.chain(about) {
                    assert_eq!(calendar.count_before(year), outages.partition_point(|&outage| outage < year), "{year}");
                }
            }
        }
    }
}
