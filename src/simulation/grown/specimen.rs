//! One crack, or all cracks of one place where its hot spot's join, drawn and followed.

use super::super::notes::Notes;
use super::super::plan::{Class, Followed, RowPlan, TechniquePlan, Ways};
use super::super::population::{
    Place, Seed, TabledWay, Track, Tracks, is_closed_for_life, is_held_shut, own_toughness,
};
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

/// One specimen with its way.
pub(super) struct Specimen<'p> {
    plan: &'p RowPlan,
    spot: &'p HotSpot,
    site: Option<Site>,
    technique: Option<&'p TechniquePlan>,
    detectable_at: f64,
    begin_year: f64,
    stress_factor: f64,
    initial_depth_mm: f64,
    class: &'p Class,
    key: Key,
    /// Years to the loss, infinite where there is none in the time it is followed.
    years_to_loss: f64,
    way: Way<'p>,
    pub notes: Notes,
}

enum Way<'p> {
    Tabled {
        path: &'p GrowthPath,
        course: Course,
        rate: f64,
    },
    /// All cracks of one place.
    Followed(Vec<Track>),
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
    fn new(class: &Class, key: Key, row_scatter: f64) -> Self {
        Beginning {
            depth_mm: class.initial_depth.draw(key, DEPTH),
            aspect: class.initial_aspect.draw(key, ASPECT),
            scatter: exp(row_scatter + class.crack_sigma * key.normal(GROWTH)),
        }
    }
}

/// The cracks of one place, the first of them at the start of the study, with those that come of joining.
///
/// Where cracks join, the others follow the first as the law of initiation has it for a new blade with the row
/// factor 1: all clocks are set so that the first to crack does so at the start.
fn place(
    plan: &RowPlan,
    class: usize,
    followed: &Followed,
    stress: f64,
    key: Key,
    beginning: impl Fn(Key) -> Beginning,
) -> (Vec<Track>, Notes) {
    let about = &plan.classes[class];
    let origins = if followed.joining.is_some() { followed.origins } else { 1 };
    let hastened = exp(about.stress_exponent * stress);
    let readings: Vec<f64> = (0..origins)
        .map(|origin| about.shape.reading_at(-ln(key.child(u64::from(origin)).uniform(BIRTH)) / hastened))
        .collect();
    let first = readings.iter().copied().fold(f64::INFINITY, f64::min);
    let mut tracks = Tracks::default();
    let mut notes = Notes::default();
    let end_year = plan.start_year + GrownCracks::LONGEST_YEARS;
    let mut place = Place { row: plan, followed, end_year, tracks: &mut tracks, notes: &mut notes };
    for (origin, reading) in (0..origins).zip(readings) {
        let is_first = reading == first;
        let later = about.clock.year_of(about.clock.at(plan.start_year) + reading - first);
        let born_year = if is_first { plan.start_year } else { later };
        if born_year < end_year {
            let own = if is_first { key } else { key.child(u64::from(origin)) };
            let seed = Seed { key: own, life: 0, blade: 0, class: class as u32, origin, stress, born_year };
            let Beginning { depth_mm, aspect, scatter } = beginning(own);
            place.begin(about, seed, scatter, depth_mm, depth_mm / aspect);
        }
    }
    place.join();
    (tracks.tracks, notes)
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
        let class = &plan.classes[asked.class];
        let spot = &study.roots[asked.root].hot_spots[asked.class];
        let begin_year = plan.start_year;
        // Among blades that crack, stress is as if tilted by the power with which it hastens initiation.
        let sigma = plan.blade_stress_sigma;
        let stress = sigma * (key.normal(BLADE_STRESS) + class.stress_exponent * sigma);
        let row_scatter = class.row_sigma * key.normal(ROW_GROWTH);
        let first = Beginning::new(class, key, row_scatter);
        let [depth_mm, aspect] = question.begins(spot, [first.depth_mm, first.aspect]);
        let first = Beginning { depth_mm, aspect, ..first };
        let site = spot.section.and_then(|_| spot.site(&study.surfaces[study.rows[row].surface]).ok());
        let follow = |followed: &Followed| {
            let begin = |own: Key| if own == key { first } else { Beginning::new(class, own, row_scatter) };
            let (tracks, notes) = place(plan, asked.class, followed, stress, key, begin);
            let lost = tracks.iter().filter(|track| !track.joined).map(|track| track.end_year);
            let lost_year = lost.fold(f64::INFINITY, f64::min);
            let met = |track: &Track| track.seed.born_year <= lost_year;
            (Way::Followed(tracks.into_iter().filter(met).collect()), lost_year - begin_year, notes)
        };
        let (way, years_to_loss, notes) = match &class.ways {
            Ways::Tabled { path, beyond } => {
                let rate = path.rate() * first.scatter * exp(class.growth_exponent * stress);
                let [begin_starts, last_starts] =
                    [begin_year, begin_year + GrownCracks::LONGEST_YEARS].map(|year| plan.starts.at(year));
                let begin = [first.depth_mm, first.aspect];
                let way = TabledWay::new(plan, class, path, key, stress, begin, rate, begin_starts, last_starts);
                match beyond {
                    Some(followed) if !way.holds => follow(followed),
                    _ => {
                        let years = (plan.starts.year_of(way.lost_starts) - begin_year).max(0.0);
                        let notes = Notes { tabled: 1, ..Notes::default() };
                        (Way::Tabled { path, course: way.course, rate }, years, notes)
                    }
                }
            }
            Ways::Followed(followed) => follow(followed),
        };
        Specimen {
            plan,
            spot,
            site,
            technique: asked.technique.map(|technique| &plan.techniques[technique]),
            class,
            key,
            detectable_at: question.detectable_at,
            begin_year,
            stress_factor: exp(stress),
            initial_depth_mm: first.depth_mm,
            years_to_loss: if years_to_loss <= GrownCracks::LONGEST_YEARS { years_to_loss } else { f64::INFINITY },
            way,
            notes,
        }
    }

    pub(super) fn crack(&self) -> GrownCrack {
        let [depth_mm, length_mm] = self.size_mm(0.0);
        let is_lost = self.years_to_loss < f64::INFINITY;
        let [critical_depth_mm, critical_length_mm] = match (is_lost, self.lost_track()) {
            (false, _) => [f64::NAN; 2],
            (true, Some(track)) => self.track_size_mm(track, self.years_to_loss),
            (true, None) => self.size_mm(self.years_to_loss),
        };
        let own = self.lost_track().map_or(self.key, |track| track.seed.key);
        GrownCrack {
            stress_factor: self.stress_factor,
            initial_depth_mm: self.initial_depth_mm,
            initial_length_mm: self.initial_depth_mm * length_mm / depth_mm,
            toughness_mpa_sqrt_m: own_toughness(self.class, own).unwrap_or(f64::NAN),
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

    /// The cracks of its place, each at moments from its beginning to its end; none of tabulated ways.
    pub(super) fn place(&self, moments: usize) -> Vec<PlaceCrack> {
        let Way::Followed(tracks) = &self.way else { return Vec::new() };
        let last_year = self.begin_year + self.last_years();
        let begun = tracks.iter().filter(|track| track.seed.born_year < last_year);
        begun
            .map(|track| {
                let (begin, end) =
                    (track.seed.born_year - self.begin_year, track.end_year.min(last_year) - self.begin_year);
                let part = |i: usize| i as f64 / (moments.max(2) - 1) as f64;
                let years: Vec<f64> = (0..moments).map(|i| begin + (end - begin) * part(i)).collect();
                let sizes: Vec<[f64; 2]> = years.iter().map(|&years| self.track_size_mm(track, years)).collect();
                PlaceCrack {
                    position_mm: track.position_mm,
                    depth_mm: sizes.iter().map(|size| size[0]).collect(),
                    length_mm: sizes.iter().map(|size| size[1]).collect(),
                    years,
                    joins: track.joined && track.end_year <= last_year,
                    is_lost: !track.joined && track.end_year <= last_year,
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
        match &self.way {
            Way::Tabled { path, course, rate } => {
                let (y, ln_ratio) = path.size_at(*course, rate * self.starts(years));
                let ln_depth = -ln(y) * path.depth_power();
                [exp(ln_depth), exp(ln_depth + ln_ratio)]
            }
            Way::Followed(tracks) => {
                let deeper = |one: [f64; 2], other: [f64; 2]| if other[0] > one[0] { other } else { one };
                let sizes = self.living(tracks, years).map(|track| self.track_size_mm(track, years));
                sizes.reduce(deeper).unwrap_or([f64::NAN; 2])
            }
        }
    }

    /// The cracks that are there after some years.
    fn living<'t>(&self, tracks: &'t [Track], years: f64) -> impl Iterator<Item = &'t Track> {
        let year = self.begin_year + years;
        tracks.iter().filter(move |track| track.lives(year))
    }

    fn track_size_mm(&self, track: &Track, years: f64) -> [f64; 2] {
        let [depth_mm, half_length_mm] = track.way.size_at_mm(self.begin_year + years);
        [depth_mm, self.halves() * half_length_mm]
    }

    /// The crack that ends in the loss, of those that were followed.
    fn lost_track(&self) -> Option<&Track> {
        let Way::Followed(tracks) = &self.way else { return None };
        let lost = tracks.iter().filter(|track| !track.joined && track.end_year < f64::INFINITY);
        lost.min_by(|one, other| one.end_year.total_cmp(&other.end_year))
    }

    fn halves(&self) -> f64 {
        self.spot.crack.halves()
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
        let is_detectable = |years: f64| match &self.way {
            Way::Tabled { .. } => self.p_detected(technique, self.key, self.size_mm(years)) >= self.detectable_at,
            Way::Followed(tracks) => self.living(tracks, years).any(|track| {
                let size_mm = self.track_size_mm(track, years);
                self.p_detected(technique, track.seed.key, size_mm) >= self.detectable_at
            }),
        };
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
                .is_some_and(|site| is_held_shut(self.plan, site, depth_mm, length_mm / self.halves()));
        technique.pod(ln_size, technique.ln_q50, ln_depth, is_closed)
    }
}
