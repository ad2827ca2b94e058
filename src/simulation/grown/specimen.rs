//! One crack, drawn and followed.

use super::super::plan::{RowPlan, TechniquePlan, Ways};
use super::super::population::{beginning, loss_rule, own_toughness, tabled_loss};
use super::question::Asked;
use super::{GrownCrack, GrownCracks, GrownWay, GrowthQuestion};
use crate::math::{exp, ln};
use crate::model::Study;
use crate::model::detection::SizeMeasure;
use crate::model::fleet::HotSpot;
use crate::model::growth::{Course, CrackShape, GrowthPath, LoadFactors, Outcome, Site, Trajectory};
use crate::model::residual_stress::mouth_is_closed;
use crate::random::Key;

/// Draws of a specimen beside those of a crack.
const BLADE_STRESS: u64 = 1 << 40;
const ROW_GROWTH: u64 = BLADE_STRESS + 1;
const DEPTH: u64 = BLADE_STRESS + 2;
const GROWTH: u64 = BLADE_STRESS + 3;
const ASPECT: u64 = BLADE_STRESS + 4;

/// One crack with its way.
pub(super) struct Specimen<'p> {
    plan: &'p RowPlan,
    spot: &'p HotSpot,
    site: Option<Site>,
    technique: Option<&'p TechniquePlan>,
    detectable_at: f64,
    begin_year: f64,
    stress_factor: f64,
    initial_depth_mm: f64,
    toughness_mpa_sqrt_m: f64,
    /// Years to the loss, infinite where there is none in the time it is followed.
    years_to_loss: f64,
    way: Way<'p>,
}

enum Way<'p> {
    Tabled { path: &'p GrowthPath, course: Course, rate: f64 },
    Followed(Box<Trajectory>),
}

impl<'p> Specimen<'p> {
    pub(super) fn new(study: &'p Study, plan: &'p RowPlan, asked: &Asked, question: &GrowthQuestion, key: Key) -> Self {
        let class = &plan.classes[asked.class];
        let spot = &study.roots[asked.root].hot_spots[asked.class];
        let begin_year = plan.start_year;
        // Among blades that crack, stress is as if tilted by the power with which it hastens initiation.
        let sigma = plan.blade_stress_sigma;
        let stress = sigma * (key.normal(BLADE_STRESS) + class.stress_exponent * sigma);
        let scatter = exp(class.row_sigma * key.normal(ROW_GROWTH) + class.crack_sigma * key.normal(GROWTH));
        let depth_mm = question.from_depth_mm.unwrap_or_else(|| class.initial_depth.quantile(key.uniform(DEPTH)));
        let aspect = class.initial_aspect.quantile(key.uniform(ASPECT));
        let site = spot.section.and_then(|_| spot.site(&study.surfaces[study.rows[asked.row].surface]).ok());
        let (way, years_to_loss) = match &class.ways {
            Ways::Tabled(path) => {
                let course = path.course(depth_mm, aspect);
                let rate = path.rate() * scatter * exp(class.growth_exponent * stress);
                let begin_starts = plan.starts.at(begin_year);
                let lost_starts = tabled_loss(plan, class, path, key, stress, course, rate, begin_starts);
                let lost_year = plan.starts.year_of(lost_starts);
                (Way::Tabled { path, course, rate }, (lost_year - begin_year).max(0.0))
            }
            Ways::Followed(followed) => {
                let seed = beginning(followed, key, begin_year, stress, scatter, depth_mm, depth_mm / aspect);
                let rule = loss_rule(class, followed, key);
                let until_year = begin_year + GrownCracks::LONGEST_YEARS;
                let mut way = Trajectory::new();
                followed.following.follow(&seed, &followed.duty, until_year, &rule, &mut way);
                if let Some(overspeed) = plan.overspeed {
                    let years = overspeed.years(&plan.starts, begin_year, until_year);
                    followed.following.meet_overspeeds(&seed, overspeed.stress_factor(), years, &rule, &mut way);
                }
                let years = match way.outcome() {
                    Outcome::Lost { year, .. } => year - begin_year,
                    Outcome::Remains => f64::INFINITY,
                };
                (Way::Followed(Box::new(way)), years)
            }
        };
        Specimen {
            plan,
            spot,
            site,
            technique: asked.technique.map(|technique| &plan.techniques[technique]),
            detectable_at: question.detectable_at,
            begin_year,
            stress_factor: exp(stress),
            initial_depth_mm: depth_mm,
            toughness_mpa_sqrt_m: own_toughness(class, key).unwrap_or(f64::NAN),
            years_to_loss: if years_to_loss <= GrownCracks::LONGEST_YEARS { years_to_loss } else { f64::INFINITY },
            way,
        }
    }

    pub(super) fn crack(&self) -> GrownCrack {
        let [depth_mm, length_mm] = self.size_mm(0.0);
        let is_lost = self.years_to_loss < f64::INFINITY;
        let [critical_depth_mm, critical_length_mm] =
            if is_lost { self.size_mm(self.years_to_loss) } else { [f64::NAN; 2] };
        GrownCrack {
            stress_factor: self.stress_factor,
            initial_depth_mm: self.initial_depth_mm,
            initial_length_mm: self.initial_depth_mm * length_mm / depth_mm,
            toughness_mpa_sqrt_m: self.toughness_mpa_sqrt_m,
            years_to_loss: self.years_to_loss,
            starts_to_loss: self.starts(self.years_to_loss),
            critical_depth_mm,
            critical_length_mm,
            years_to_detectable: self.technique.map_or(f64::NAN, |technique| self.years_to_detectable(technique)),
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

    /// Depth and surface length after some years, in mm.
    fn size_mm(&self, years: f64) -> [f64; 2] {
        match &self.way {
            Way::Tabled { path, course, rate } => {
                let (y, ln_ratio) = path.size_at(*course, rate * self.starts(years));
                let ln_depth = -ln(y) * path.depth_power();
                [exp(ln_depth), exp(ln_depth + ln_ratio)]
            }
            Way::Followed(way) => {
                let [depth_mm, half_length_mm] = way.size_at_mm(self.begin_year + years);
                [depth_mm, self.halves() * half_length_mm]
            }
        }
    }

    /// How often the measure c of the crack's shape goes into its surface length.
    fn halves(&self) -> f64 {
        if self.spot.crack == CrackShape::QuarterElliptical { 1.0 } else { 2.0 }
    }

    /// Highest stress intensity of a start at the deepest point and at the surface.
    fn highest_mpa_sqrt_m(&self, [depth_mm, length_mm]: [f64; 2]) -> [f64; 2] {
        if let CrackShape::FixedFactor { geometry_factor, .. } = self.spot.crack {
            let stress_mpa = self.stress_factor * (self.spot.stress.membrane_mpa + self.spot.stress.bending_mpa);
            return [geometry_factor * stress_mpa * (std::f64::consts::PI * 1e-3 * depth_mm).sqrt(); 2];
        }
        let factors = LoadFactors { stress: self.stress_factor, vibration: self.stress_factor };
        let loads = self.site.as_ref().map(|site| site.loads(depth_mm, length_mm / self.halves(), factors).0);
        loads.map_or([f64::NAN; 2], |loads| loads.map(|load| load.start.highest()))
    }

    /// When the technique first finds it with the probability asked for.
    fn years_to_detectable(&self, technique: &TechniquePlan) -> f64 {
        /// A third of an hour.
        const CLOSE_YEARS: f64 = 4e-5;
        let is_detectable = |years: f64| self.p_detected(technique, years) >= self.detectable_at;
        let (mut hidden, mut seen) = (0.0, self.last_years());
        if is_detectable(hidden) {
            return 0.0;
        }
        if !is_detectable(seen) {
            return f64::INFINITY;
        }
        while seen - hidden > CLOSE_YEARS {
            let middle = 0.5 * (hidden + seen);
            if is_detectable(middle) { seen = middle } else { hidden = middle }
        }
        seen
    }

    /// Probability of detection in a look of median quality on a crack like any other.
    fn p_detected(&self, technique: &TechniquePlan, years: f64) -> f64 {
        let [depth_mm, length_mm] = self.size_mm(years);
        let (ln_depth, ln_length) = (ln(depth_mm), ln(length_mm));
        let ln_size = match technique.size {
            SizeMeasure::Length => ln_length,
            SizeMeasure::Depth => ln_depth,
            SizeMeasure::GeometricMean => 0.5 * (ln_depth + ln_length),
        };
        let closed = self.site.as_ref().and_then(Site::residual).is_some_and(|section| {
            mouth_is_closed(section.intensities(depth_mm, length_mm / self.halves()).surface_mpa_sqrt_m)
        });
        let hidden = technique.ln_q50 + if closed { technique.closed_mouth_shift } else { 0.0 };
        technique.curve.at((ln_size - hidden) * technique.per_spread) * technique.gate_factor(ln_depth)
    }
}
