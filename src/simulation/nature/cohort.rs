//! Blades of equal age.

use super::hot_spot_plan::HotSpotPlan;
use crate::model::fleet::Row;

/// Blades installed at one moment.
#[derive(Debug, Default)]
pub(crate) struct Cohort {
    pub blades: Vec<u32>,
    /// Reading of each hot spot's clock at that moment.
    pub installed: Vec<f64>,
    /// Number of the first peening that they get.
    pub first_peening: usize,
    /// Factor on the time to each crack; 1 unless they are used.
    pub life_factor: f64,
    /// Cumulative hazard of one origin of each hot spot, from then until the end, for row factor 1.
    pub hazards: Vec<f64>,
    /// The same of a whole blade of average stress.
    pub hazard: f64,
}

impl Cohort {
    pub fn new(hot_spots: &[HotSpotPlan], year: f64, blades: Vec<u32>) -> Self {
        let mut cohort = Cohort { blades, ..Cohort::default() };
        cohort.install(hot_spots, year, 1.0);
        cohort
    }

    /// Other blades of the same age.
    pub fn with_blades(&self, blades: Vec<u32>) -> Self {
        let &Cohort { ref installed, first_peening, life_factor, ref hazards, hazard, .. } = self;
        let (installed, hazards) = (installed.clone(), hazards.clone());
        Cohort { blades, installed, first_peening, life_factor, hazards, hazard }
    }

    /// Moves the installation to another moment, with a factor on the time to each crack.
    pub fn install(&mut self, hot_spots: &[HotSpotPlan], year: f64, life_factor: f64) {
        self.installed.clear();
        self.installed.extend(hot_spots.iter().map(|spot| spot.clock.at(year)));
        self.first_peening = hot_spots.first().map_or(0, |spot| spot.peened.before_new(year));
        self.life_factor = life_factor;
        let at_end =
            |(spot, reading): (&HotSpotPlan, &f64)| spot.hazard_at_end(*reading, self.first_peening, life_factor);
        self.hazards.clear();
        self.hazards.extend(hot_spots.iter().zip(&self.installed).map(at_end));
        self.hazard = hot_spots.iter().zip(&self.hazards).map(|(spot, hazard)| spot.origins * hazard).sum();
    }
}

/// Blades by age, the row's own first.
pub(super) fn cohorts(row: &Row, hot_spots: &[HotSpotPlan]) -> Vec<Cohort> {
    let mut installed = vec![row.in_service_year; row.blades as usize];
    for renewal in &row.renewed {
        for &blade in &renewal.blades {
            let year = &mut installed[blade as usize - 1];
            *year = year.max(renewal.year);
        }
    }
    let mut groups: Vec<(f64, Vec<u32>)> = Vec::new();
    for (blade, &year) in (0..row.blades).zip(&installed) {
        match groups.iter_mut().find(|group| group.0 == year) {
            Some(group) => group.1.push(blade),
            None => groups.push((year, vec![blade])),
        }
    }
    groups.into_iter().map(|(year, blades)| Cohort::new(hot_spots, year, blades)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Study;
    use crate::model::fleet::Renewal;

    #[test] // by hand
    fn blades_of_one_age_are_drawn_together() {
        let study = Study::parse(include_str!("../../../tests/engine/data/small.toml"), "study").expect("a good study");
        let renewal = |year: f64, blades: &[u32]| Renewal { year, blades: blades.to_vec() };
        // A blade that was renewed twice is as old as its last renewal.
        let renewed = vec![renewal(2015.0, &[3, 4]), renewal(2010.0, &[1, 4]), renewal(2015.0, &[6])];
        let row = Row { blades: 6, renewed, ..study.rows[0].clone() };
        let groups: Vec<Vec<u32>> = cohorts(&row, &[]).into_iter().map(|cohort| cohort.blades).collect();
        assert_eq!(groups, [vec![0], vec![1, 4], vec![2, 3, 5]]);
    }
}
