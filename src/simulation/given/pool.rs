//! Possible cracks of one hot spot, in blades of one stress: what each look would have made of them, and when each is lost.
//!
//! They are spread evenly over all that they hang on, by scrambled Sobol points, so that sums over them are far closer than
//! over as many random ones.

use super::grid::Grid;
use crate::math::normal_quantile;
use crate::model::fleet::PastLook;
use crate::random::Key;
use crate::simulation::inspection::InspectionPlan;
use crate::simulation::nature::{Cohort, Crack, Driver, Nature, NaturePlan, Numbers};

/// See above.
#[derive(Debug)]
pub(super) struct Pool<'p> {
    nature: Nature<'p>,
    age: Cohort,
    /// Where each begins: cumulative hazard in blades as old as the row.
    hazards: Vec<f64>,
    /// What persists in each and hides it, by look.
    persistent: Vec<f64>,
    /// Chance that each look misses it; 1 where it looks before the crack begins.
    misses: Vec<f64>,
    /// When each is lost.
    pub lost_years: Vec<f64>,
    /// For each its number among the cracks that were grown; none where it begins after all that is asked for.
    grown: Vec<Option<u32>>,
    looks: usize,
}

/// What a pool is made of.
#[derive(Debug, Clone, Copy)]
pub(super) struct PoolOf<'p> {
    pub nature: &'p NaturePlan,
    pub inspection: &'p InspectionPlan,
    pub hot_spot: usize,
    /// Of the blades, in standard deviations.
    pub stress: f64,
    pub in_service_year: f64,
    /// Scrambles its points.
    pub seed: u32,
}

/// Points on (0, 1) in some dimensions.
pub(super) fn point(index: usize, dimension: usize, seed: u32) -> f64 {
    /// Half of the smallest distance of two of them.
    const HALF: f64 = 0.5 / 16_777_216.0;
    f64::from(sobol_burley::sample(index as u32, dimension as u32, seed)) + HALF
}

impl PoolOf<'_> {
    /// Numbers of a crack by the dimensions of a point, from one on.
    pub fn numbers(&self, drivers: &[Driver], index: usize, from: usize) -> Numbers {
        let sources = self.inspection.persistent_sources.len();
        let mut numbers = Numbers { persistent: vec![0.0; sources], stress: self.stress, ..Numbers::default() };
        for (dimension, driver) in drivers.iter().enumerate() {
            driver.set(&mut numbers, normal_quantile(point(index, from + dimension, self.seed)));
        }
        numbers
    }

    /// The numbers that its cracks hang on, beside when they begin and what their row and blade share.
    pub fn drivers(&self) -> Vec<Driver> {
        let spot = &self.nature.hot_spots[self.hot_spot];
        let all = Driver::all(self.nature, spot, self.inspection.persistent_sources.len());
        let shared = [Driver::Time, Driver::Stress, Driver::RowGrowth];
        all.into_iter().filter(|driver| !shared.contains(driver)).collect()
    }
}

impl<'p> Pool<'p> {
    /// With as many cracks in each cell of a grid as its hazard asks for, and some in any.
    pub fn spread(of: PoolOf<'p>, grid: &Grid, cells: std::ops::Range<usize>, size: usize) -> (Self, Vec<usize>) {
        /// Share of the cracks that is spread over all cells alike.
        const ALIKE: f64 = 0.25;
        let mass = |cell: usize| grid.hazards[cell + 1] - grid.hazards[cell];
        let whole = grid.hazards[cells.end] - grid.hazards[cells.start];
        let share = |cell: usize| (1.0 - ALIKE) * mass(cell) / whole + ALIKE / cells.len() as f64;
        let drivers = of.drivers();
        let mut all: Vec<(f64, Numbers)> = Vec::with_capacity(size);
        for index in 0..size {
            let (mut u, mut cell) = (point(index, 0, of.seed), cells.start);
            while u >= share(cell) && cell + 1 < cells.end {
                u -= share(cell);
                cell += 1;
            }
            let within = (u / share(cell)).min(1.0);
            all.push((grid.hazards[cell] + within * mass(cell), of.numbers(&drivers, index, 1)));
        }
        all.sort_by(|one, other| one.0.total_cmp(&other.0));
        let first = |cell: usize| all.partition_point(|one| one.0 < grid.hazards[cell]);
        let bounds: Vec<usize> = (cells.start..cells.end).map(first).chain([all.len()]).collect();
        (Self::of(of, all), bounds)
    }

    /// Of cracks that begin at some hazards, with their numbers.
    pub fn of(of: PoolOf<'p>, cracks: Vec<(f64, Numbers)>) -> Self {
        let key = Key::from_seed(of.seed.into()).child(of.hot_spot as u64);
        let mut nature = Nature::new(of.nature);
        let (hazards, numbers): (Vec<f64>, Vec<Numbers>) = cracks.into_iter().unzip();
        nature.begin_alone(key, of.hot_spot, numbers.into_iter());
        let looks = of.nature.calendar.start;
        Pool {
            age: Cohort::new(&of.nature.hot_spots, of.in_service_year, Vec::new()),
            persistent: Vec::new(),
            misses: vec![1.0; hazards.len() * looks],
            lost_years: vec![f64::INFINITY; hazards.len()],
            grown: vec![None; hazards.len()],
            hazards,
            nature,
            looks,
        }
    }

    pub fn len(&self) -> usize {
        self.hazards.len()
    }

    /// Numbers of one of the cracks.
    fn numbers(&self, crack: usize) -> &Numbers {
        &self.nature.planted[crack].numbers
    }

    /// Where the cracks begin.
    pub fn hazards_mut(&mut self) -> &mut [f64] {
        &mut self.hazards
    }

    /// Grows the cracks at so many times the median rate, in logarithms.
    pub fn grow(&mut self, ln_growths: impl Iterator<Item = f64>) {
        self.nature.grow_alone(&self.age, &self.hazards, ln_growths);
        self.grown.fill(None);
        self.lost_years.fill(f64::INFINITY);
        for (number, crack) in self.nature.cracks.iter().enumerate() {
            self.grown[crack.life as usize] = Some(number as u32);
            self.lost_years[crack.life as usize] = crack.lost_year;
        }
    }

    /// Works out what each look makes of the cracks, of which the shifts are given.
    pub fn look(&mut self, inspection: &InspectionPlan, looks: &[PastLook], shifts: &[f64]) {
        if self.persistent.is_empty() {
            let shift = |(crack, look): (usize, &PastLook)| {
                let persistent = &self.nature.planted[crack].numbers.persistent;
                inspection.techniques[look.technique].persistent_shift(|source| persistent[source])
            };
            let pairs = (0..self.len()).flat_map(|crack| looks.iter().map(move |look| (crack, look)));
            self.persistent = pairs.map(shift).collect();
        }
        self.misses.fill(1.0);
        for crack in &self.nature.cracks {
            let own = crack.life as usize * self.looks;
            for outage in crack.first as usize..(crack.last as usize).min(self.looks) {
                let technique = &inspection.techniques[looks[outage].technique];
                let shift = self.persistent[own + outage] + shifts[outage];
                self.misses[own + outage] = 1.0 - technique.pod_of(&self.nature, crack, outage, shift);
            }
        }
    }

    /// The chances that the looks miss one of the cracks.
    pub fn misses_of(&self, crack: usize) -> &[f64] {
        &self.misses[crack * self.looks..][..self.looks]
    }

    /// The chance that all of some looks miss one of the cracks; none if its blade is lost by then.
    pub fn missed(&self, crack: usize, looks: &[usize], until_year: f64) -> f64 {
        if self.lost_years[crack] <= until_year {
            return 0.0;
        }
        let misses = self.misses_of(crack);
        looks.iter().map(|&look| misses[look]).product()
    }

    /// One of the cracks at an outage, if it is there.
    pub fn at(&self, crack: usize, outage: usize) -> Option<&Crack> {
        let crack = &self.nature.cracks[self.grown[crack]? as usize];
        crack.is_present(outage).then_some(crack)
    }

    /// Surface length of one of the cracks at an outage, in mm; none if it is not there.
    pub fn length_mm(&self, crack: usize, outage: usize) -> Option<f64> {
        self.at(crack, outage).map(|crack| self.nature.size_mm(crack, outage)[1])
    }

    /// Probability that a technique calls one of the cracks at an outage with a shift; none if it is not there.
    pub fn pod(
        &self,
        inspection: &InspectionPlan,
        technique: usize,
        crack: usize,
        outage: usize,
        shift: f64,
    ) -> Option<f64> {
        let about = &inspection.techniques[technique];
        let persistent = &self.numbers(crack).persistent;
        let own = about.persistent_shift(|source| persistent[source]);
        self.at(crack, outage).map(|crack| about.pod_of(&self.nature, crack, outage, own + shift))
    }
}
