//! One crack, or all cracks of one place where its hot spot's join, drawn and grown.

use super::super::inspection::TechniquePlan;
use super::super::nature::{
    CrackDraws, HotSpotGrowth, HotSpotPlan, IntegratedCrack, IntegratedCracks, Integration, IntegrationCounts,
    NaturePlan, NewCrack, OnCurve, Place, is_closed_for_life, is_held_shut, own_toughness,
};
use super::super::plan::RowPlan;
use super::question::Asked;
use super::{GrownCrack, GrownCracks, GrownWay, GrowthQuestion, PlaceCrack};
use crate::math::{exp, ln};
use crate::model::Study;
use crate::model::detection::SizeMeasure;
use crate::model::fleet::HotSpot;
use crate::model::growth::{Course, CrackShape, GrowthPath, LoadFactors, Site};
use crate::random::Key;

/// Draws of a specimen beside those of a crack.
const BLADE_STRESS: u64 = 1 << 40;
const ROW_GROWTH: u64 = BLADE_STRESS + 1;
const DEPTH: u64 = BLADE_STRESS + 2;
const GROWTH: u64 = BLADE_STRESS + 3;
const ASPECT: u64 = BLADE_STRESS + 4;
const BIRTH: u64 = BLADE_STRESS + 5;

/// One specimen, grown.
pub(super) struct Specimen<'p> {
    plan: &'p NaturePlan,
    spot: &'p HotSpot,
    site: Option<Site>,
    technique: Option<&'p TechniquePlan>,
    detectable_at: f64,
    begin_year: f64,
    stress_factor: f64,
    initial_depth_mm: f64,
    hot_spot: &'p HotSpotPlan,
    key: Key,
    /// Years to the loss, infinite where there is none in the time it is grown.
    years_to_loss: f64,
    growth: Growth<'p>,
    pub counts: IntegrationCounts,
}

enum Growth<'p> {
    OnCurve {
        curve: &'p GrowthPath,
        course: Course,
        rate: f64,
    },
    /// All cracks of one place.
    Integrated(Vec<IntegratedCrack>),
}

/// A crack's own draws.
#[derive(Debug, Clone, Copy)]
struct Beginning {
    depth_mm: f64,
    /// Depth over half the surface length.
    aspect: f64,
    /// Factor on growth.
    scatter: f64,
}

impl Beginning {
    fn new(spot: &HotSpotPlan, key: Key, row_scatter: f64) -> Self {
        Beginning {
            depth_mm: spot.initial_depth.draw(key, DEPTH),
            aspect: spot.initial_aspect.draw(key, ASPECT),
            scatter: exp(row_scatter + spot.crack_sigma * key.normal(GROWTH)),
        }
    }
}

/// The cracks of one place, the first of them at the start of the study, with those that come of joining.
///
/// Where cracks join, the others follow the first as the law of initiation has it for a new blade with the row
/// factor 1: all clocks are set so that the first to crack does so at the start.
fn place(
    plan: &NaturePlan,
    hot_spot: usize,
    integration: &Integration,
    stress: f64,
    key: Key,
    beginning: impl Fn(Key) -> Beginning,
) -> (Vec<IntegratedCrack>, IntegrationCounts) {
    let about = &plan.hot_spots[hot_spot];
    let origins = if integration.joining.is_some() { integration.origins } else { 1 };
    let hastened = exp(about.stress_exponent * stress);
    let readings: Vec<f64> = (0..origins)
        .map(|origin| about.shape.reading_at(-ln(key.child(u64::from(origin)).uniform(BIRTH)) / hastened))
        .collect();
    let first = readings.iter().copied().fold(f64::INFINITY, f64::min);
    let mut cracks = IntegratedCracks::default();
    let mut counts = IntegrationCounts::default();
    let end_year = plan.start_year + GrownCracks::LONGEST_YEARS;
    let mut place = Place { plan, integration, end_year, cracks: &mut cracks, counts: &mut counts };
    for (origin, reading) in (0..origins).zip(readings) {
        let is_first = reading == first;
        let later = about.clock.year_of(about.clock.at(plan.start_year) + reading - first);
        let born_year = if is_first { plan.start_year } else { later };
        if born_year < end_year {
            let own = if is_first { key } else { key.child(u64::from(origin)) };
            let hot_spot = hot_spot as u32;
            let new = NewCrack { key: own, life: 0, blade: 0, hot_spot, origin, stress, born_year };
            let Beginning { depth_mm, aspect, scatter } = beginning(own);
            place.begin(about, new, &CrackDraws::of(own), scatter, depth_mm, depth_mm / aspect);
        }
    }
    place.join();
    (cracks.all, counts)
}

impl<'p> Specimen<'p> {
    /// In one of the rows that are asked about.
    pub(super) fn new(
        study: &'p Study,
        plan: &'p RowPlan,
        row: usize,
        asked: &Asked,
        question: &GrowthQuestion,
        key: Key,
    ) -> Self {
        let RowPlan { nature, inspection, .. } = plan;
        let hot_spot = &nature.hot_spots[asked.class];
        let spot = &study.roots[asked.root].hot_spots[asked.class];
        let begin_year = nature.start_year;
        // Among blades that crack, stress is as if tilted by the power with which it hastens initiation.
        let sigma = nature.blade_stress_sigma;
        let stress = sigma * (key.normal(BLADE_STRESS) + hot_spot.stress_exponent * sigma);
        let row_scatter = hot_spot.row_sigma * key.normal(ROW_GROWTH);
        let first = Beginning::new(hot_spot, key, row_scatter);
        let [depth_mm, aspect] = question.begins(spot, [first.depth_mm, first.aspect]);
        let first = Beginning { depth_mm, aspect, ..first };
        let site = spot.section.and_then(|_| spot.site(&study.surfaces[study.rows[row].surface]).ok());
        let integrate = |integration: &Integration| {
            let begin = |own: Key| if own == key { first } else { Beginning::new(hot_spot, own, row_scatter) };
            let (cracks, counts) = place(nature, asked.class, integration, stress, key, begin);
            let lost = cracks.iter().filter(|crack| !crack.joined).map(|crack| crack.end_year);
            let lost_year = lost.fold(f64::INFINITY, f64::min);
            let met = |crack: &IntegratedCrack| crack.new.born_year <= lost_year;
            (Growth::Integrated(cracks.into_iter().filter(met).collect()), lost_year - begin_year, counts)
        };
        let (growth, years_to_loss, counts) = match &hot_spot.growth {
            HotSpotGrowth::Curve { curve, beyond } => {
                let rate = curve.rate() * first.scatter * exp(hot_spot.growth_exponent * stress);
                let [begin_starts, last_starts] =
                    [begin_year, begin_year + GrownCracks::LONGEST_YEARS].map(|year| nature.starts.at(year));
                let begin = [first.depth_mm, first.aspect];
                let on_curve = OnCurve::new(
                    nature,
                    hot_spot,
                    curve,
                    &CrackDraws::of(key),
                    stress,
                    begin,
                    rate,
                    begin_starts,
                    last_starts,
                );
                match beyond {
                    Some(integration) if !on_curve.holds => integrate(integration),
                    _ => {
                        let years = (nature.starts.year_of(on_curve.lost_starts) - begin_year).max(0.0);
                        let counts = IntegrationCounts { on_curves: 1, ..IntegrationCounts::default() };
                        (Growth::OnCurve { curve, course: on_curve.course, rate }, years, counts)
                    }
                }
            }
            HotSpotGrowth::Integrated(integration) => integrate(integration),
        };
        Specimen {
            plan: nature,
            spot,
            site,
            technique: asked.technique.map(|technique| &inspection.techniques[technique]),
            hot_spot,
            key,
            detectable_at: question.detectable_at,
            begin_year,
            stress_factor: exp(stress),
            initial_depth_mm: first.depth_mm,
            years_to_loss: if years_to_loss <= GrownCracks::LONGEST_YEARS { years_to_loss } else { f64::INFINITY },
            growth,
            counts,
        }
    }

    pub(super) fn crack(&self) -> GrownCrack {
        let [depth_mm, length_mm] = self.size_mm(0.0);
        let is_lost = self.years_to_loss < f64::INFINITY;
        let [critical_depth_mm, critical_length_mm] = match (is_lost, self.lost_crack()) {
            (false, _) => [f64::NAN; 2],
            (true, Some(crack)) => self.crack_size_mm(crack, self.years_to_loss),
            (true, None) => self.size_mm(self.years_to_loss),
        };
        let none = (f64::NAN, [f64::NAN; 2]);
        let (years_to_detectable, [detectable_depth_mm, detectable_length_mm]) =
            self.technique.map_or(none, |technique| self.detectable(technique));
        let own = self.lost_crack().map_or(self.key, |crack| crack.new.key);
        GrownCrack {
            stress_factor: self.stress_factor,
            initial_depth_mm: self.initial_depth_mm,
            initial_length_mm: self.initial_depth_mm * length_mm / depth_mm,
            toughness_mpa_sqrt_m: own_toughness(self.hot_spot, own).unwrap_or(f64::NAN),
            years_to_loss: self.years_to_loss,
            starts_to_loss: self.starts(self.years_to_loss),
            critical_depth_mm,
            critical_length_mm,
            years_to_detectable,
            detectable_depth_mm,
            detectable_length_mm,
        }
    }

    pub(super) fn way(&self, moments: usize) -> GrownWay {
        let last = self.last_years();
        let years: Vec<f64> = (0..moments).map(|i| last * i as f64 / (moments.max(2) - 1) as f64).collect();
        let sizes: Vec<[f64; 2]> = years.iter().map(|&years| self.size_mm(years)).collect();
        let intensities: Vec<[f64; 2]> = sizes.iter().map(|&size| self.highest_mpa_sqrt_m(size)).collect();
        GrownWay {
            starts: years.iter().map(|&years| self.starts(years)).collect(),
            years,
            depth_mm: sizes.iter().map(|size| size[0]).collect(),
            length_mm: sizes.iter().map(|size| size[1]).collect(),
            deepest_mpa_sqrt_m: intensities.iter().map(|k| k[0]).collect(),
            surface_mpa_sqrt_m: intensities.iter().map(|k| k[1]).collect(),
        }
    }

    /// The cracks of its place, each at moments from its beginning to its end; none on growth curves.
    pub(super) fn place(&self, moments: usize) -> Vec<PlaceCrack> {
        let Growth::Integrated(cracks) = &self.growth else { return Vec::new() };
        let last_year = self.begin_year + self.last_years();
        let begun = cracks.iter().filter(|crack| crack.new.born_year < last_year);
        begun
            .map(|crack| {
                let (begin, end) =
                    (crack.new.born_year - self.begin_year, crack.end_year.min(last_year) - self.begin_year);
                let part = |i: usize| i as f64 / (moments.max(2) - 1) as f64;
                let years: Vec<f64> = (0..moments).map(|i| begin + (end - begin) * part(i)).collect();
                let sizes: Vec<[f64; 2]> = years.iter().map(|&years| self.crack_size_mm(crack, years)).collect();
                PlaceCrack {
                    position_mm: crack.position_mm,
                    depth_mm: sizes.iter().map(|size| size[0]).collect(),
                    length_mm: sizes.iter().map(|size| size[1]).collect(),
                    years,
                    joins: crack.joined && crack.end_year <= last_year,
                    is_lost: !crack.joined && crack.end_year <= last_year,
                }
            })
            .collect()
    }

    /// When it ends: lost, or left.
    fn last_years(&self) -> f64 {
        self.years_to_loss.min(GrownCracks::LONGEST_YEARS)
    }

    fn starts(&self, years: f64) -> f64 {
        if years == f64::INFINITY {
            return f64::INFINITY;
        }
        self.plan.starts.at(self.begin_year + years) - self.plan.starts.at(self.begin_year)
    }

    /// Depth and surface length of the deepest crack after some years, in mm.
    fn size_mm(&self, years: f64) -> [f64; 2] {
        match &self.growth {
            Growth::OnCurve { curve, course, rate } => {
                let (y, ln_ratio) = curve.size_at(*course, rate * self.starts(years));
                let ln_depth = -ln(y) * curve.depth_power();
                [exp(ln_depth), exp(ln_depth + ln_ratio)]
            }
            Growth::Integrated(cracks) => {
                let deeper = |one: [f64; 2], other: [f64; 2]| if other[0] > one[0] { other } else { one };
                let sizes = self.living(cracks, years).map(|crack| self.crack_size_mm(crack, years));
                sizes.reduce(deeper).unwrap_or([f64::NAN; 2])
            }
        }
    }

    /// The cracks that are there after some years.
    fn living<'t>(&self, cracks: &'t [IntegratedCrack], years: f64) -> impl Iterator<Item = &'t IntegratedCrack> {
        let year = self.begin_year + years;
        cracks.iter().filter(move |crack| crack.lives(year))
    }

    fn crack_size_mm(&self, crack: &IntegratedCrack, years: f64) -> [f64; 2] {
        let [depth_mm, half_length_mm] = crack.trajectory.size_at_mm(self.begin_year + years);
        [depth_mm, self.halves() * half_length_mm]
    }

    /// The crack that ends in the loss, of those that were integrated.
    fn lost_crack(&self) -> Option<&IntegratedCrack> {
        let Growth::Integrated(cracks) = &self.growth else { return None };
        let lost = cracks.iter().filter(|crack| !crack.joined && crack.end_year < f64::INFINITY);
        lost.min_by(|one, other| one.end_year.total_cmp(&other.end_year))
    }

    fn halves(&self) -> f64 {
        self.spot.crack.halves()
    }

    fn half_length_mm(&self, length_mm: f64) -> f64 {
        length_mm / self.halves()
    }

    /// Highest stress intensity of a start at the deepest point and at the surface.
    fn highest_mpa_sqrt_m(&self, [depth_mm, length_mm]: [f64; 2]) -> [f64; 2] {
        if let CrackShape::FixedFactor { geometry_factor, .. } = self.spot.crack {
            let stress_mpa = self.stress_factor * (self.spot.stress.membrane_mpa + self.spot.stress.bending_mpa);
            return [geometry_factor * stress_mpa * (std::f64::consts::PI * 1e-3 * depth_mm).sqrt(); 2];
        }
        let factors = LoadFactors { stress: self.stress_factor, vibration: self.stress_factor };
        let loads = self.site.as_ref().map(|site| site.loads(depth_mm, self.half_length_mm(length_mm), factors).0);
        loads.map_or([f64::NAN; 2], |loads| loads.map(|load| load.start.highest()))
    }

    /// When the technique first finds it with the probability asked for, and how large it is then.
    fn detectable(&self, technique: &TechniquePlan) -> (f64, [f64; 2]) {
        /// A third of an hour.
        const CLOSE_YEARS: f64 = 4e-5;
        let shows = |key: Key, size_mm: [f64; 2]| self.p_detected(technique, key, size_mm) >= self.detectable_at;
        // The size of what is found, the deepest of it where several cracks are.
        let found_mm = |years: f64| match &self.growth {
            Growth::OnCurve { .. } => Some(self.size_mm(years)).filter(|&size_mm| shows(self.key, size_mm)),
            Growth::Integrated(cracks) => self
                .living(cracks, years)
                .map(|crack| (crack.new.key, self.crack_size_mm(crack, years)))
                .filter(|&(key, size_mm)| shows(key, size_mm))
                .map(|(_, size_mm)| size_mm)
                .reduce(|one, other| if other[0] > one[0] { other } else { one }),
        };
        if let Some(size_mm) = found_mm(0.0) {
            return (0.0, size_mm);
        }
        let (mut hidden, mut seen) = (0.0, self.last_years());
        let Some(mut size_mm) = found_mm(seen) else { return (f64::INFINITY, [f64::INFINITY; 2]) };
        while seen - hidden > CLOSE_YEARS {
            let middle = 0.5 * (hidden + seen);
            match found_mm(middle) {
                Some(found) => (seen, size_mm) = (middle, found),
                None => hidden = middle,
            }
        }
        (seen, size_mm)
    }

    /// Probability of detection in a look of median quality on a crack like any other, but for its mouth.
    fn p_detected(&self, technique: &TechniquePlan, crack: Key, [depth_mm, length_mm]: [f64; 2]) -> f64 {
        let (ln_depth, ln_length) = (ln(depth_mm), ln(length_mm));
        let ln_size = match technique.size {
            SizeMeasure::Length => ln_length,
            SizeMeasure::Depth => ln_depth,
            SizeMeasure::GeometricMean => 0.5 * (ln_depth + ln_length),
        };
        let is_closed = is_closed_for_life(self.plan, crack)
            || self
                .site
                .as_ref()
                .is_some_and(|site| is_held_shut(self.plan, site, depth_mm, self.half_length_mm(length_mm)));
        technique.pod(ln_size, technique.ln_q50, ln_depth, is_closed)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Those of a crack have small numbers.
    #[test]
    fn draws_of_a_specimen_are_its_own() {
        let mut draws = [BLADE_STRESS, ROW_GROWTH, DEPTH, GROWTH, ASPECT, BIRTH];
        draws.sort_unstable();
        assert!(draws[0] > 1_000 && draws.windows(2).all(|pair| pair[0] < pair[1]), "{draws:?}");
    }
}
