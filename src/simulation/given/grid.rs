//! Moments at which cracks of a hot spot may begin, in cells.

use super::history::{BladeEnd, History};
use crate::simulation::nature::{HotSpotPlan, NaturePlan};

/// Cells in which cracks begin, from the oldest blade's entry into service to a last year. A look, a new blade and the start
/// of the study always stand between two cells.
#[derive(Debug)]
pub(super) struct Grid {
    /// Where cells begin and end, as years.
    pub years: Vec<f64>,
    /// Cumulative hazard of one origin there, for row factor 1, in blades as old as the row.
    pub hazards: Vec<f64>,
    /// Years in which blades were new.
    pub installed: Vec<f64>,
    /// The same in blades that were new then.
    pub hazards_since: Vec<Vec<f64>>,
    /// Cells that lie before the start of the study.
    pub past_cells: usize,
}

impl Grid {
    pub fn new(
        nature: &NaturePlan,
        spot: &HotSpotPlan,
        history: &History,
        in_service: f64,
        (cells, until): (usize, &[f64]),
    ) -> Self {
        let mut installed: Vec<f64> = vec![in_service];
        installed.extend(history.kinds.iter().map(|kind| kind.installed_year));
        sort(&mut installed);
        let mut lines = installed.clone();
        lines.extend(history.looks.iter().map(|look| look.year));
        lines.push(nature.start_year);
        lines.extend(history.kinds.iter().filter_map(|kind| match kind.end {
            BladeEnd::Clean { until_year } => Some(until_year),
            BladeEnd::Called(_) => None,
        }));
        lines.extend(until.iter().filter(|year| **year > nature.start_year));
        sort(&mut lines);
        let hazard = |installed: f64, year: f64| {
            spot.shape.cumulative_hazard((spot.clock.at(year) - spot.clock.at(installed)).max(0.0))
        };
        let whole = hazard(in_service, nature.start_year);
        let mut years = vec![lines[0]];
        for pair in lines.windows(2) {
            let [from, to] = [pair[0], pair[1]].map(|year| hazard(in_service, year));
            let pieces = if whole > 0.0 { ((to - from) / whole * cells as f64).ceil().max(1.0) } else { 1.0 };
            for piece in 1..pieces as usize {
                let reading = spot.shape.reading_at(from + (to - from) * piece as f64 / pieces);
                let year = spot.clock.year_of(spot.clock.at(in_service) + reading);
                if year > years[years.len() - 1] && year < pair[1] {
                    years.push(year);
                }
            }
            years.push(pair[1]);
        }
        let since = |&installed: &f64| years.iter().map(|&year| hazard(installed, year)).collect();
        Grid {
            hazards: years.iter().map(|&year| hazard(in_service, year)).collect(),
            hazards_since: installed.iter().map(since).collect(),
            past_cells: years.iter().filter(|year| **year < nature.start_year).count(),
            installed,
            years,
        }
    }

    pub fn cells(&self) -> usize {
        self.years.len() - 1
    }

    /// Number of the line at a year that has one.
    pub fn line(&self, year: f64) -> usize {
        self.years.partition_point(|line| *line < year)
    }

    /// Which of the ages blades that were new in a year have.
    pub fn age(&self, installed_year: f64) -> usize {
        self.installed.partition_point(|year| *year < installed_year)
    }
}

fn sort(years: &mut Vec<f64>) {
    years.sort_by(f64::total_cmp);
    years.dedup();
}
