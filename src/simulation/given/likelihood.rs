//! How probable a row's history is, given what its blades share.
//!
//! Given the row factor, the growth of the row and the shifts of its looks, blades are independent, and blades of one kind
//! have one and the same chance. A blade's chance is an integral over when its origins crack: possible cracks are lived
//! once, and what they say is summed by cells of the hazard, so that it holds for all row factors at once.
//!
//! Origins of a blade are independent given its stress, but for false calls, which need a blade free of cracks: so it
//! matters between which looks its first crack began. With M_k the chance that none began before look k and that all
//! later looks were clean, and F_k that of no false call at the first k looks, a clean blade has the sum of
//! F_k (M_k - M_(k+1)).

use super::find::FindModel;
use super::grid::Grid;
use super::history::{BladeEnd, BladeKind, History};
use super::lattice::Lattice;
use super::pool::{Pool, PoolOf};
use super::shared::Shared;
use crate::math::exp;
use crate::simulation::inspection::InspectionPlan;
use crate::simulation::nature::NaturePlan;
use crate::statistics::quadrature::normal_rule;
use std::ops::Range;
use std::sync::Arc;

/// How finely integrals are cut.
#[derive(Debug, Clone, Copy)]
pub(super) struct Fineness {
    /// Possible cracks of a hot spot, in blades of all stresses.
    pub cracks: usize,
    /// Possible cracks behind a find.
    pub cracks_of_find: usize,
    /// Cells from the row's entry into service to the start of the study.
    pub cells: usize,
    /// Scrambles the points.
    pub seed: u32,
}

/// A row with its history, ready to be asked.
pub(super) struct RowModel<'p> {
    pub nature: &'p NaturePlan,
    pub inspection: &'p InspectionPlan,
    pub history: &'p History,
    pub lattice: Lattice,
    /// Blade stress in standard deviations, with the weight of what stands for it.
    pub stresses: Vec<(f64, f64)>,
    /// Each hot spot in blades of each stress, stress by stress.
    pub places: Vec<Place<'p>>,
    pub finds: Vec<FindModel<'p>>,
}

/// A hot spot in blades of one stress.
pub(super) struct Place<'p> {
    pub hot_spot: usize,
    pub stress: usize,
    /// Origins in a blade.
    pub origins: i32,
    /// Factor of the stress on the hazard.
    pub factor: f64,
    pub grid: Arc<Grid>,
    pub pool: Pool<'p>,
    /// Where the cracks of each cell begin in the pool.
    bounds: Vec<usize>,
    /// Cracks that begin after the start of the study, if it is asked what comes next; and where those of each cell begin.
    pub later: Option<(Pool<'p>, Vec<usize>)>,
    /// By age: for each line of the grid and each row factor, the chance that an origin has not cracked.
    pub uncracked: Vec<Vec<f64>>,
}

/// Chances of one origin, for each look before which no crack may have begun, and each row factor.
pub(super) type Chances = Vec<f64>;

impl<'p> RowModel<'p> {
    pub fn new(
        (nature, inspection): (&'p NaturePlan, &'p InspectionPlan),
        history: &'p History,
        in_service_year: f64,
        hazard_variance: f64,
        ahead: &[f64],
        fineness: Fineness,
    ) -> Self {
        /// Standard deviations of blade stress that are told apart, if it scatters: where it changes hazards or growth by
        /// less than so much, three do.
        const STRESSES: [usize; 2] = [3, 5];
        const LITTLE: f64 = 0.3;
        let lattice = Lattice::new(&nature.row_factor, hazard_variance, history.finds);
        let power =
            nature.hot_spots.iter().map(|spot| spot.stress_exponent.max(spot.growth_exponent)).fold(0.0, f64::max);
        let stresses = match nature.blade_stress_sigma {
            sigma if sigma > 0.0 => normal_rule(STRESSES[usize::from(sigma * power > LITTLE)]),
            _ => vec![(0.0, 1.0)],
        };
        let roots: f64 = stresses.iter().map(|(_, weight)| weight.sqrt()).sum();
        let grid = |spot| Arc::new(Grid::new(nature, spot, history, in_service_year, (fineness.cells, ahead)));
        let grids: Vec<Arc<Grid>> = nature.hot_spots.iter().map(grid).collect();
        let mut places = Vec::new();
        for (stress, &(z, weight)) in stresses.iter().enumerate() {
            for (hot_spot, grid) in grids.iter().enumerate() {
                let seed = fineness.seed.wrapping_add((places.len() as u32).wrapping_mul(7919));
                let of = PoolOf { nature, inspection, hot_spot, stress: z, in_service_year, seed };
                places.push(Place::new(
                    of,
                    stress,
                    Arc::clone(grid),
                    &lattice,
                    size(fineness.cracks, weight.sqrt() / roots),
                ));
            }
        }
        let mut model = RowModel { nature, inspection, history, lattice, stresses, places, finds: Vec::new() };
        model.finds = model.find_models(fineness);
        model
    }

    fn find_models(&self, fineness: Fineness) -> Vec<FindModel<'p>> {
        let called = self.history.kinds.iter().enumerate().filter_map(|(number, kind)| match &kind.end {
            BladeEnd::Called(find) => Some((number, kind, find)),
            BladeEnd::Clean { .. } => None,
        });
        called.map(|(number, kind, find)| FindModel::new(self, number, kind, find, fineness)).collect()
    }

    /// Logarithm of the probability of the history and of having lost no blade, for each row factor; and of each kind of
    /// blades that is there when the study starts.
    pub fn ln_chances(&mut self, shared: &Shared) -> (Vec<f64>, Vec<Vec<f64>>) {
        self.live(shared);
        let mut sum = vec![0.0; self.lattice.len()];
        let mut of_kinds = Vec::new();
        let mut add = |count: u32, chances: &[f64]| {
            sum.iter_mut().zip(chances).for_each(|(sum, chance)| *sum += f64::from(count) * chance.ln());
        };
        for kind in &self.history.kinds {
            if let BladeEnd::Clean { until_year } = kind.end {
                let chances = self.clean_blade(kind, until_year);
                add(kind.count, &chances);
                if until_year == self.nature.start_year {
                    of_kinds.push(chances);
                }
            }
        }
        let mut finds = std::mem::take(&mut self.finds);
        for find in &mut finds {
            add(self.history.kinds[find.kind].count, &find.chances(self, shared));
        }
        self.finds = finds;
        (sum, of_kinds)
    }

    /// Lives all possible cracks.
    pub fn live(&mut self, shared: &Shared) {
        for place in &mut self.places {
            let ln_growth = shared.ln_growth[place.hot_spot];
            place.pool.grow(std::iter::repeat_n(ln_growth, place.pool.len()));
            place.pool.look(self.inspection, &self.history.looks, &shared.shifts);
        }
    }

    /// The chance that a blade of a kind came through its looks without a call, and was not lost.
    fn clean_blade(&self, kind: &BladeKind, until_year: f64) -> Vec<f64> {
        let of_places = self.places.iter().map(|place| {
            let lived = |crack: usize| place.pool.missed(crack, &kind.clean, until_year);
            place.chances(&self.lattice, &self.lines(place, kind), place.grid.line(until_year), &place.means(lived))
        });
        self.blades(&self.uncalled(kind), &of_places.collect::<Vec<Chances>>())
    }

    /// Age of a blade of a kind, and the lines at which it was new and at which it was looked at without a call.
    pub fn lines(&self, place: &Place, kind: &BladeKind) -> (usize, Vec<usize>) {
        let looks = kind.clean.iter().map(|&look| self.history.looks[look].year);
        let years = std::iter::once(kind.installed_year).chain(looks);
        (place.grid.age(kind.installed_year), years.map(|year| place.grid.line(year)).collect())
    }

    /// The chance of a whole blade from those of its origins: they stand for no call at the looks that a crack was there to
    /// see, and false calls are counted in.
    pub fn blades(&self, uncalled: &[f64], of_places: &[Chances]) -> Vec<f64> {
        let (width, spots) = (self.lattice.len(), self.nature.hot_spots.len());
        let mut sum = vec![0.0; width];
        let (mut none_before, mut later, mut product) = (sum.clone(), sum.clone(), sum.clone());
        for (look, uncalled) in uncalled.iter().enumerate().rev() {
            // As over_stresses, for all row factors at once: short loops over flat arrays.
            none_before.fill(0.0);
            for (stress, (_, weight)) in self.stresses.iter().enumerate() {
                product.fill(*weight);
                let own = stress * spots..(stress + 1) * spots;
                for (place, chances) in self.places[own.clone()].iter().zip(&of_places[own]) {
                    let chances = &chances[look * width..][..width];
                    for _ in 0..place.origins {
                        product.iter_mut().zip(chances).for_each(|(product, chance)| *product *= chance);
                    }
                }
                none_before.iter_mut().zip(&product).for_each(|(sum, product)| *sum += product);
            }
            for ((sum, none_before), later) in sum.iter_mut().zip(&none_before).zip(&later) {
                *sum += uncalled * (none_before - later);
            }
            std::mem::swap(&mut later, &mut none_before);
        }
        sum
    }

    /// The chance of no false call at the first looks that did not call a blade of a kind, by their number.
    pub fn uncalled(&self, kind: &BladeKind) -> Vec<f64> {
        let mut hazard = 0.0;
        let look = |&look: &usize| {
            hazard += self.inspection.techniques[self.history.looks[look].technique].false_call_hazard;
            exp(-hazard)
        };
        std::iter::once(1.0).chain(kind.clean.iter().map(look).collect::<Vec<f64>>()).collect()
    }

    /// The mean over blade stresses of the product over all origins of a blade.
    pub fn over_stresses(&self, of_place: impl Fn(usize) -> f64) -> f64 {
        let spots = self.nature.hot_spots.len();
        let product = |stress: usize| -> f64 {
            let places = stress * spots..(stress + 1) * spots;
            places.map(|place| of_place(place).powi(self.places[place].origins)).product()
        };
        self.stresses.iter().enumerate().map(|(stress, (_, weight))| weight * product(stress)).sum()
    }
}

/// A share of some number of possible cracks: a power of two, which fills a space most evenly.
pub(super) fn size(cracks: usize, share: f64) -> usize {
    const LEAST: f64 = 32.0;
    1 << (cracks as f64 * share).max(LEAST).log2().round() as u32
}

impl<'p> Place<'p> {
    fn new(of: PoolOf<'p>, stress: usize, grid: Arc<Grid>, lattice: &Lattice, size: usize) -> Self {
        let spot = &of.nature.hot_spots[of.hot_spot];
        let factor = exp(spot.stress_exponent * of.nature.blade_stress_sigma * of.stress);
        let cells = 0..grid.past_cells;
        let (pool, bounds) = Pool::spread(of, &grid, cells, size);
        let ahead = grid.past_cells..grid.cells();
        let later = (!ahead.is_empty()).then(|| {
            /// Fewer cracks do for what is to come.
            const FEWER: usize = 4;
            Pool::spread(PoolOf { seed: of.seed.wrapping_add(1), ..of }, &grid, ahead, (size / FEWER).max(16))
        });
        let uncracked = |hazards: &Vec<f64>| {
            let chance = |hazard: f64| lattice.factors.iter().map(move |zeta| exp(-zeta * factor * hazard));
            hazards.iter().flat_map(|&hazard| chance(hazard)).collect()
        };
        Place {
            hot_spot: of.hot_spot,
            stress,
            origins: spot.origins as i32,
            factor,
            uncracked: grid.hazards_since.iter().map(uncracked).collect(),
            pool,
            bounds,
            later,
            grid,
        }
    }

    /// The means, over the possible cracks of each cell before the start of the study, of some number of each.
    pub fn means(&self, of: impl Fn(usize) -> f64) -> Vec<f64> {
        means(&self.bounds, of)
    }

    /// The cracks of each of the cells before the start of the study.
    pub fn cells(&self) -> impl Iterator<Item = Range<usize>> {
        self.bounds.windows(2).map(|bounds| bounds[0]..bounds[1])
    }

    /// Chances of one origin from the means by cell: that it has not cracked by a line, or cracked in a cell, of which the
    /// mean says how often it counts. Of cells before each of the given lines none counts.
    pub fn chances(
        &self,
        lattice: &Lattice,
        (age, lines): &(usize, Vec<usize>),
        until: usize,
        means: &[f64],
    ) -> Chances {
        let width = lattice.len();
        let uncracked = &self.uncracked[*age];
        let at = |line: usize| &uncracked[line * width..][..width];
        let mut chances = vec![0.0; lines.len() * width];
        let mut sum = at(until).to_vec();
        let mut cell = until;
        for (number, &line) in lines.iter().enumerate().rev() {
            while cell > line {
                cell -= 1;
                let (begin, end, mean) = (at(cell), at(cell + 1), means[cell]);
                for ((sum, begin), end) in sum.iter_mut().zip(begin).zip(end) {
                    *sum += mean * (begin - end);
                }
            }
            chances[number * width..][..width].copy_from_slice(&sum);
        }
        chances
    }
}

/// The means over the cracks of each cell. One that is too small for a crack of its own has what the one before it has.
pub(super) fn means(bounds: &[usize], of: impl Fn(usize) -> f64) -> Vec<f64> {
    let mut last = 0.0;
    let mean = |bounds: &[usize]| {
        let cracks = bounds[0]..bounds[1];
        if !cracks.is_empty() {
            let count = cracks.len() as f64;
            last = cracks.map(&of).sum::<f64>() / count;
        }
        last
    };
    bounds.windows(2).map(mean).collect()
}
