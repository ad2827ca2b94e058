//! When cracks begin, how they grow, and when their blades are lost.

use super::Nature;
use super::cracks::Crack;
use super::draw;
use super::hot_spot_plan::{HotSpotGrowth, HotSpotPlan, Integration};
use super::initiation::Initiation;
use super::on_curve::OnCurve;
use super::plan::NaturePlan;
use super::planted::CrackDraws;
use crate::math::{LANES, exp, exp_each, normal_each};
use crate::model::growth::{Course, FixedFactor, GrowthPath};
use crate::random::Key;
use multiversion::multiversion;
use std::ops::Range;

/// A crack about to be grown.
#[derive(Debug, Clone, Copy)]
pub(crate) struct NewCrack {
    pub key: Key,
    /// Which of the lives it belongs to.
    pub life: u32,
    pub blade: u32,
    pub hot_spot: u32,
    /// Number of the origin among those of its hot spot in the blade.
    pub origin: u32,
    /// Logarithm of its blade's factor on stress.
    pub stress: f64,
    pub born_year: f64,
}

/// Numbers of the cracks that are grown together, worked out one after another for all of them.
#[derive(Debug, Default)]
pub(super) struct GrowthBuffers {
    keys: Vec<Key>,
    numbers: Vec<u64>,
    /// Of each crack the initial depth in mm, then of each the factor on growth; both in whole blocks.
    scatter: Vec<f64>,
    /// First the cumulative hazard, then the year in which it begins.
    born_years: Vec<f64>,
    /// Clock readings at which the blades were installed.
    installed: Vec<f64>,
    born_starts: Vec<f64>,
    /// Starts at which the blade is lost.
    lost_starts: Vec<f64>,
    coordinates: Vec<f64>,
    rates: Vec<f64>,
}

impl Nature<'_> {
    /// Works out the growth of the cracks that were initiated, and when their blades are lost.
    pub(super) fn grow_cracks(&mut self) {
        let plan = self.plan;
        let initiations = std::mem::take(&mut self.initiations);
        let mut buffers = std::mem::take(&mut self.growth_buffers);
        buffers.draw(plan, &initiations);
        buffers.state(self, &initiations);
        let mut index = 0;
        while index < initiations.len() {
            let hot_spot = initiations[index].hot_spot;
            let alike = initiations[index..].iter().take_while(|other| other.hot_spot == hot_spot).count();
            let run = index..index + alike;
            index = run.end;
            let spot = &plan.hot_spots[hot_spot as usize];
            buffers.begin(spot, &initiations, run.clone());
            match (&spot.growth, spot.end_coordinate) {
                (HotSpotGrowth::Curve { curve: GrowthPath::FixedFactor(curve), .. }, Some(end)) => {
                    self.grow_straight(curve, end, &initiations, &mut buffers, run);
                }
                (HotSpotGrowth::Curve { curve, beyond }, _) => {
                    for index in run {
                        let (new, scatter) = (buffers.new_crack(&initiations, index), buffers.scatter(index));
                        self.grow_on_curve(curve, beyond.as_deref(), &new, scatter);
                    }
                }
                (HotSpotGrowth::Integrated(integration), _) => {
                    self.integrate_places(integration, &initiations, &buffers, run);
                }
            }
        }
        (self.initiations, self.growth_buffers) = (initiations, buffers);
        self.initiations.clear();
        self.planted_initiations.clear();
    }

    /// Cracks that begin, each with its initial depth in mm and its factor on growth; those that do after the study are left
    /// out.
    pub(super) fn new_cracks(&mut self, initiations: &[Initiation]) -> Vec<(NewCrack, [f64; 2])> {
        let mut buffers = std::mem::take(&mut self.growth_buffers);
        buffers.draw(self.plan, initiations);
        buffers.state(self, initiations);
        if let Some(first) = initiations.first() {
            buffers.begin(&self.plan.hot_spots[first.hot_spot as usize], initiations, 0..initiations.len());
        }
        let all = (0..initiations.len()).map(|index| (buffers.new_crack(initiations, index), buffers.scatter(index)));
        let new = all.filter(|(new, _)| new.born_year < self.plan.end_year).collect();
        self.growth_buffers = buffers;
        new
    }

    /// Median advance per start of a hot spot's cracks in a life.
    #[inline(always)]
    pub(super) fn growth_rate(&self, life: u32, hot_spot: u32) -> f64 {
        self.growth_rates[life as usize * self.plan.hot_spots.len() + hot_spot as usize]
    }

    /// Cracks of one hot spot, on a straight growth curve to one end.
    fn grow_straight(
        &mut self,
        curve: &FixedFactor,
        end: f64,
        all: &[Initiation],
        buffers: &mut GrowthBuffers,
        run: Range<usize>,
    ) {
        buffers.born_starts.clear();
        buffers.born_starts.extend_from_slice(&buffers.born_years[run.clone()]);
        self.plan.starts.at_each(&mut buffers.born_starts);
        let room = buffers.scatter.len() / 2;
        buffers.coordinates.clear();
        buffers.coordinates.extend_from_slice(&buffers.scatter[run.clone()]);
        curve.coordinate_each(&mut buffers.coordinates);
        let growths = &buffers.scatter[room..][run.clone()];
        let initiations = &all[run.clone()];
        buffers.rates.clear();
        let rate =
            |(initiation, growth): (&Initiation, &f64)| self.growth_rate(initiation.life, initiation.hot_spot) * growth;
        buffers.rates.extend(initiations.iter().zip(growths).map(rate));
        buffers.lost_starts.clear();
        let curves = buffers.coordinates.iter().zip(&buffers.rates).zip(&buffers.born_starts);
        let lost_starts = curves.map(|((&start, rate), born)| born + curve.advance_between(start, end) / rate);
        buffers.lost_starts.extend(lost_starts);
        for (index, place) in run.enumerate() {
            let course = Course { start: buffers.coordinates[index], line: 0.0 };
            let (rate, born_starts) = (buffers.rates[index], buffers.born_starts[index]);
            let new = buffers.new_crack(all, place);
            let crack = self.crack(&new, course, rate, born_starts, buffers.lost_starts[index]);
            self.cracks.push(crack);
        }
        self.counts.on_curves += initiations.len() as u64;
    }

    /// Cracks of one hot spot whose growth is integrated, place by place.
    fn integrate_places(
        &mut self,
        integration: &Integration,
        initiations: &[Initiation],
        buffers: &GrowthBuffers,
        run: Range<usize>,
    ) {
        let mut new_cracks: Vec<NewCrack> = Vec::with_capacity(run.len());
        let mut scatter: Vec<[f64; 2]> = Vec::with_capacity(run.len());
        for index in run {
            let new = buffers.new_crack(initiations, index);
            // By rounding a crack can seem to begin when the study is over.
            if new.born_year < self.plan.end_year {
                new_cracks.push(new);
                scatter.push(buffers.scatter(index));
            }
        }
        let mut begin = 0;
        for group in new_cracks.chunk_by(|one, other| integration.are_at_one_place(one, other)) {
            self.integrate(integration, group, &scatter[begin..begin + group.len()]);
            begin += group.len();
        }
    }

    /// A crack on a growth curve, or one that is integrated because the curve does not hold for it.
    #[inline(always)]
    fn grow_on_curve(
        &mut self,
        curve: &GrowthPath,
        beyond: Option<&Integration>,
        new: &NewCrack,
        [depth_mm, growth]: [f64; 2],
    ) {
        let plan = self.plan;
        let &NewCrack { key, life, hot_spot, stress, born_year, .. } = new;
        let spot = &plan.hot_spots[hot_spot as usize];
        let rate = self.growth_rate(life, hot_spot) * growth;
        let draws = self.crack_draws(life, key);
        let begin = [depth_mm, spot.aspect(&draws)];
        let born_starts = plan.starts.at(born_year);
        let on_curve = OnCurve::new(plan, spot, curve, &draws, stress, begin, rate, born_starts, plan.starts_at_end);
        match beyond {
            Some(integration) if !on_curve.holds && born_year < plan.end_year => {
                // An integrated crack has its stress where its loads are, not in its rate.
                let own_growth = growth * exp(-spot.growth_exponent * stress) / spot.rate;
                self.integrate(integration, &[*new], &[[depth_mm, own_growth]]);
            }
            _ => {
                let crack = self.crack(new, on_curve.course, rate, born_starts, on_curve.lost_starts);
                self.cracks.push(crack);
                self.counts.on_curves += 1;
            }
        }
    }

    /// A crack on a growth curve.
    #[inline(always)]
    fn crack(&self, new: &NewCrack, course: Course, rate: f64, born_starts: f64, lost_starts: f64) -> Crack {
        let plan = self.plan;
        let &NewCrack { key, life, blade, hot_spot, origin, stress, born_year } = new;
        let (lost_year, last) = if lost_starts <= plan.starts_at_end {
            let year = plan.starts.year_of(lost_starts).max(born_year);
            (year, plan.calendar.count_before(year))
        } else {
            (f64::INFINITY, plan.calendar.len())
        };
        let first = plan.calendar.count_before(born_year);
        Crack {
            key,
            life,
            blade,
            first: first as u32,
            last: last.max(first) as u32,
            hot_spot,
            origin,
            place: 0,
            lost_year,
            born_starts,
            course,
            rate,
            stress,
            sizes: self.integrated_sizes.len() as u32,
        }
    }
}

impl GrowthBuffers {
    /// What each crack draws: its key, its initial depth and its growth.
    fn draw(&mut self, plan: &NaturePlan, initiations: &[Initiation]) {
        self.keys.clear();
        self.keys.extend(initiations.iter().map(|initiation| initiation.parent));
        for number in
            [|initiation: &Initiation| initiation.blade_number, |initiation: &Initiation| initiation.crack_number]
        {
            self.numbers.clear();
            self.numbers.extend(initiations.iter().map(number));
            descend_each(&mut self.keys, &self.numbers);
        }
        let room = initiations.len().next_multiple_of(LANES);
        self.scatter.clear();
        self.scatter.resize(2 * room, 0.5);
        let (depths, growths) = self.scatter.split_at_mut(room);
        draw_each(&self.keys, draw::DEPTH, depths);
        draw_each(&self.keys, draw::GROWTH, growths);
        if plan.lognormal_depths {
            normal_each(&mut self.scatter);
        } else {
            for ((depth, key), initiation) in depths.iter_mut().zip(&self.keys).zip(initiations) {
                *depth = plan.hot_spots[initiation.hot_spot as usize].initial_depth.draw(*key, draw::DEPTH);
            }
            normal_each(growths);
        }
        let (depths, growths) = self.scatter.split_at_mut(room);
        for ((depth, growth), initiation) in depths.iter_mut().zip(growths.iter_mut()).zip(initiations) {
            let spot = &plan.hot_spots[initiation.hot_spot as usize];
            *growth = spot.crack_sigma * *growth + spot.growth_exponent * initiation.stress;
            if plan.lognormal_depths {
                *depth = spot.ln_depth_median + spot.depth_sigma * *depth;
            }
        }
        exp_each(growths);
        if plan.lognormal_depths {
            exp_each(depths);
        }
        self.born_years.clear();
        self.born_years.extend(initiations.iter().map(|initiation| initiation.hazard));
        self.installed.clear();
        self.installed.extend(initiations.iter().map(|initiation| initiation.installed));
    }

    /// States what planted cracks do not draw.
    fn state(&mut self, nature: &Nature, initiations: &[Initiation]) {
        let (depths, growths) = self.scatter.split_at_mut(initiations.len().next_multiple_of(LANES));
        for &index in &nature.planted_initiations {
            let initiation = &initiations[index];
            let spot = &nature.plan.hot_spots[initiation.hot_spot as usize];
            let draws = nature.crack_draws(initiation.life, self.keys[index]);
            depths[index] = draws.draw(&spot.initial_depth, draw::DEPTH);
            growths[index] =
                exp(spot.crack_sigma * draws.normal(draw::GROWTH) + spot.growth_exponent * initiation.stress);
        }
    }

    /// When some cracks of one hot spot begin.
    fn begin(&mut self, spot: &HotSpotPlan, initiations: &[Initiation], run: Range<usize>) {
        let years = &mut self.born_years[run.clone()];
        spot.shape.reading_at_each(years);
        if spot.peened.is_plain() {
            for (reading, installed) in years.iter_mut().zip(&self.installed[run]) {
                *reading += installed;
            }
        } else {
            for (reading, initiation) in years.iter_mut().zip(&initiations[run]) {
                let first_peening = initiation.first_peening as usize;
                *reading = spot.peened.reading_when_used(initiation.installed, first_peening, *reading);
            }
        }
        spot.clock.year_of_each(years);
    }

    /// Initial depth in mm and factor on growth of a crack.
    fn scatter(&self, index: usize) -> [f64; 2] {
        [self.scatter[index], self.scatter[self.scatter.len() / 2 + index]]
    }

    fn new_crack(&self, initiations: &[Initiation], index: usize) -> NewCrack {
        let initiation = &initiations[index];
        NewCrack {
            key: self.keys[index],
            life: initiation.life,
            blade: initiation.blade(),
            hot_spot: initiation.hot_spot,
            origin: initiation.origin,
            stress: initiation.stress,
            born_year: self.born_years[index],
        }
    }
}

/// The children of keys by number.
#[multiversion(targets = "simd")]
fn descend_each(keys: &mut [Key], numbers: &[u64]) {
    for (key, &number) in keys.iter_mut().zip(numbers) {
        *key = key.child(number);
    }
}

/// A draw of each key.
#[multiversion(targets = "simd")]
fn draw_each(keys: &[Key], counter: u64, numbers: &mut [f64]) {
    for (number, key) in numbers.iter_mut().zip(keys) {
        *number = key.uniform(counter);
    }
}

impl HotSpotPlan {
    /// Initial aspect of a crack.
    #[inline(always)]
    pub fn aspect(&self, draws: &CrackDraws) -> f64 {
        match self.initial_aspect.fixed() {
            Some(aspect) => aspect,
            None => draws.draw(&self.initial_aspect, draw::ASPECT),
        }
    }
}

impl Integration {
    /// Whether two origins stand at one place, where their cracks can join.
    fn are_at_one_place(&self, one: &NewCrack, other: &NewCrack) -> bool {
        // Cracks that never join are each at a place of their own.
        let position = |new: &NewCrack| if self.joining.is_some() { new.origin / self.origins } else { new.origin };
        let place = |new: &NewCrack| (new.life, new.blade, new.hot_spot, position(new));
        place(one) == place(other)
    }
}

#[cfg(test)]
mod tests {
    use super::super::{IntegratedCracks, IntegrationCounts, Place, purpose};
    use super::*;
    use crate::math::normal_quantile;
    use crate::model::Study;
    use crate::simulation::plan::RowPlan;
    use crate::simulation::row_batch::RowBatch;

    /// Paris' law: a blade's stress enters with its exponent; what scatters is a factor of the row and one of the crack.
    #[test]
    fn a_crack_grows_from_its_own_depth_at_the_rate_of_its_row_its_blade_and_itself() {
        let text = include_str!("../../../tests/engine/data/everything_on.toml");
        let study = Study::parse(text, "study").expect("a good study");
        let plan = RowPlan::new(&study, &study.rows[0]).expect("a good row");
        let mut batch = RowBatch::new(&plan.nature, &plan.inspection);
        batch.begin((0..60_u32).map(|trial| Key::from_seed(4).child(trial.into())));
        batch.draw(&(0..60).collect::<Vec<u32>>());
        let is_equal = |one: f64, other: f64| (one / other - 1.0).abs() < 1e-9;
        let mut seen = [0; 2];
        for crack in &batch.nature.cracks {
            let row = batch.nature.lives[crack.life as usize].key;
            let blade = row.child(purpose::BLADE).child(crack.blade.into());
            let stress = study.scatter.blade_stress_sigma_log * normal_quantile(blade.uniform(0));
            let growth = &study.growth[0];
            let of_row = growth.row_sigma_log * row.child(purpose::ROW_GROWTH).named(&growth.id).normal(0);
            let of_crack = growth.crack_sigma_log * crack.key.normal(draw::GROWTH);
            let spot = &plan.nature.hot_spots[crack.hot_spot()];
            let expected = spot.rate * (of_row + of_crack + growth.exponent * stress).exp();
            assert!(is_equal(crack.rate, expected), "{} and {expected}", crack.rate);
            // Its median is 0.4 mm at one hot spot; at the other one it is 0.5 mm in every crack.
            let depth_mm = [0.4 * (0.3 * crack.key.normal(draw::DEPTH)).exp(), 0.5][crack.hot_spot()];
            let HotSpotGrowth::Curve { curve, .. } = &spot.growth else { panic!("cracks on a curve") };
            let start = curve.course(depth_mm, spot.aspect(&CrackDraws::of(crack.key))).start;
            assert!(is_equal(crack.course.start, start), "{} and {start}", crack.course.start);
            seen[crack.hot_spot()] += 1;
        }
        assert!(seen.iter().all(|seen| *seen > 100), "{seen:?} cracks");
        assert_eq!(batch.nature.counts.on_curves, batch.nature.cracks.len() as u64);
    }

    /// A curve holds its blade's stress in the rate; what is followed has it in its loads, and must not have it twice.
    #[test]
    fn a_crack_that_its_curve_does_not_hold_for_is_followed_with_its_stress_once() {
        let text = include_str!("../../../tests/engine/data/small.toml");
        let text = text.replace("coefficient_m_per_start = 1e-11", "coefficient_m_per_start = 1e-9");
        let study = Study::parse(&text, "study").expect("a good study");
        let plan = &RowPlan::new(&study, &study.rows[0]).expect("a good row").nature;
        let spot = &plan.hot_spots[0];
        let HotSpotGrowth::Curve { curve, beyond: Some(beyond) } = &spot.growth else {
            panic!("a curve with a beyond")
        };
        let mut nature = Nature::new(plan);
        nature.begin(std::iter::once(Key::from_seed(1)));
        nature.draw_row(0);
        let lost = [0.0, 0.2].map(|stress| {
            let key = Key::from_seed(2);
            let new = NewCrack { key, life: 0, blade: 1, hot_spot: 0, origin: 0, stress, born_year: 2020.5 };
            let scatter = 1.3;
            let growth = scatter * (study.growth[0].exponent * stress).exp();
            // Far deeper than cracks begin in the study.
            nature.grow_on_curve(curve, Some(beyond), &new, [5.0, growth]);
            let crack = nature.cracks.pop().expect("a crack");
            let (mut cracks, mut counts) = (IntegratedCracks::default(), IntegrationCounts::default());
            let end_year = plan.end_year;
            let mut place = Place { plan, integration: beyond, end_year, cracks: &mut cracks, counts: &mut counts };
            place.begin(spot, new, &CrackDraws::of(key), scatter, 5.0, 5.0 / spot.aspect(&CrackDraws::of(key)));
            assert!((crack.lost_year - cracks.all[0].end_year).abs() < 1e-9, "{} years", crack.lost_year);
            // One that begins as those of the study do is on the curve.
            nature.grow_on_curve(curve, Some(beyond), &new, [0.3, growth]);
            assert!(crack.is_integrated() && !nature.cracks.pop().expect("a crack").is_integrated());
            crack.lost_year
        });
        assert!(lost[1] < lost[0] && lost[0] < plan.end_year, "lost in {lost:?}");
        assert_eq!((nature.counts.on_curves, nature.counts.integrated), (2, 2));
    }
}
