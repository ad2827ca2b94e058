//! Blades of equal age.

use super::hot_spot_plan::HotSpotPlan;
use crate::model::fleet::Row;

/// Blades installed at one moment.
#[derive(Debug, Default)]
pub(crate) struct Cohort {
    pub blades: Vec<u32>,
    /// Reading of each hot spot's clock at that moment.
    pub installed: Vec<f64>,
    /// Cumulative hazard of one origin of each hot spot, from then until the end, for row factor 1.
    pub hazards: Vec<f64>,
    /// The same of a whole blade of average stress.
    pub hazard: f64,
}

impl Cohort {
    pub fn new(hot_spots: &[HotSpotPlan], year: f64, blades: Vec<u32>) -> Self {
        let mut cohort = Cohort { blades, ..Cohort::default() };
        cohort.install(hot_spots, year);
        cohort
    }

    /// Moves the installation to another moment.
    pub fn install(&mut self, hot_spots: &[HotSpotPlan], year: f64) {
        self.installed.clear();
        self.installed.extend(hot_spots.iter().map(|spot| spot.clock.at(year)));
        self.hazards.clear();
        self.hazards.extend(
            hot_spots
                .iter()
                .zip(&self.installed)
                .map(|(spot, reading)| spot.shape.cumulative_hazard(spot.clock_at_end - reading)),
        );
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
