//! Cracks that are followed step by step, against the slow truth.

use crate::support::off;
use crate::truth::{Growing, PlainLaw, Truth};
use serrata::model::fracture::{AssessmentDiagram, CrackPlace, CrackedSection, Restraint, StressField, StressProfile};
use serrata::model::growth::{
    Environment, Following, GrowthLines, LossRule, Outcome, ParisLine, RateLaw, RatioClass, ScatterLine, Seed, Site,
    StartRate, Threshold, Trajectory, bs7910,
};
use serrata::model::residual_stress::{ResidualStress, TreatedFaces};
use serrata::model::stress_corrosion::StressCorrosion;
use serrata::model::usage::DutyPeriod;
use serrata::model::vibration::{Runaway, Vibration};

/// Numbers between 0 and 1 that fill a cube of many dimensions evenly: the fractional parts of multiples
/// of the square roots of primes.
struct Spread {
    index: f64,
    primes: std::slice::Iter<'static, u32>,
}

impl Spread {
    fn new(index: usize) -> Self {
        const PRIMES: [u32; 40] = [
            2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37, 41, 43, 47, 53, 59, 61, 67, 71, 73, 79, 83, 89, 97, 101, 103,
            107, 109, 113, 127, 131, 137, 139, 149, 151, 157, 163, 167, 173,
        ];
        Spread { index: index as f64, primes: PRIMES.iter() }
    }

    fn unit(&mut self) -> f64 {
        let prime = f64::from(*self.primes.next().expect("enough dimensions"));
        (0.5 + self.index * prime.sqrt()).fract()
    }

    /// Leaves dimensions to those who have a use for them.
    fn skip(&mut self, count: usize) {
        self.primes.nth(count - 1);
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    fn ln_between(&mut self, low: f64, high: f64) -> f64 {
        low * (high / low).powf(self.unit())
    }

    fn one_of(&mut self, count: usize) -> usize {
        (self.unit() * count as f64) as usize
    }
}

/// A crack with everything that acts on it, in both ways of writing.
struct Case {
    site: Site,
    law: RateLaw,
    plain: PlainLaw,
    seed: Seed,
    duty: Vec<DutyPeriod>,
    rule: LossRule,
}

fn steel_in_air(ratio: f64) -> f64 {
    0.031_622_776_6 * if ratio < 0.5 { 170.0 - 214.0 * ratio } else { 63.0 }
}

fn barsom_rolfe(ratio: f64) -> f64 {
    if ratio < 0.1 { 6.0 } else { 7.0 * (1.0 - 0.85 * ratio) }
}

/// Case i of a sequence that spans the whole range: sections, stresses, laws, duties, ends.
fn case(i: usize) -> serrata::Result<Case> {
    let mut draw = Spread::new(i);
    let thickness_mm = draw.ln_between(6.0, 50.0);
    let width_mm = draw.ln_between(20.0, 200.0);
    let surface_mpa = draw.ln_between(150.0, 700.0);
    let bending_fraction = draw.between(0.0, 1.2);
    let bending_fraction = if bending_fraction > 1.0 { 0.0 } else { bending_fraction };
    let (membrane_mpa, bending_mpa) = (surface_mpa * (1.0 - bending_fraction), surface_mpa * bending_fraction);
    let fillet = draw.one_of(4) == 0;
    let stress = if fillet {
        let points = vec![
            [0.0, 1.5 * surface_mpa],
            [0.05 * thickness_mm, 0.9 * surface_mpa],
            [0.2 * thickness_mm, 0.6 * surface_mpa],
            [thickness_mm, membrane_mpa - 0.5 * bending_mpa],
        ];
        StressField::Profile(StressProfile::new(points)?)
    } else {
        StressField::Linear { membrane_mpa, bending_mpa }
    };
    let residual = match draw.one_of(3) {
        0 => {
            let faces = if draw.unit() < 0.5 { TreatedFaces::One } else { TreatedFaces::Both };
            let depth_mm = draw.ln_between(0.01, 0.15) * thickness_mm;
            Some(ResidualStress::layer(draw.between(0.2, 1.2) * surface_mpa, depth_mm, thickness_mm, faces)?)
        }
        _ => {
            draw.skip(3);
            None
        }
    };
    let load_ratio = (draw.between(-0.5, 0.7)).max(0.0);
    let vibrates = draw.one_of(4) == 0;
    let vibration = Vibration::new(draw.between(3.0, 30.0), draw.between(0.0, 10.0), 100.0, Runaway::ByLaw)?;

    let exponent = draw.between(2.0, 4.2);
    let coefficient = 1e-11 * draw.ln_between(0.1, 10.0) * 20_f64.powf(3.0 - exponent);
    let (lines, plain_lines) = match draw.one_of(3) {
        0 => {
            let ratio = if draw.unit() < 0.5 { RatioClass::BelowHalf } else { RatioClass::HalfAndAbove };
            let two = bs7910(Environment::Air, ratio, ScatterLine::Mean);
            let plain = |line: ParisLine| (line.coefficient_m_per_start(), line.exponent());
            (GrowthLines::TwoStage(two), vec![plain(two.low()), plain(two.high())])
        }
        _ => {
            draw.unit();
            (GrowthLines::Paris(ParisLine::new(coefficient, exponent)?), vec![(coefficient, exponent)])
        }
    };
    let (threshold, plain_threshold): (_, fn(f64) -> f64) = match draw.one_of(4) {
        0 => (Threshold::None, |_| 0.0),
        1 => (Threshold::constant(4.0)?, |_| 4.0),
        2 => (Threshold::SteelInAir, steel_in_air),
        _ => (Threshold::BarsomRolfe, barsom_rolfe),
    };
    let walker_exponent = if draw.unit() < 0.4 {
        Some(draw.between(0.3, 1.0))
    } else {
        draw.unit();
        None
    };
    let corrosion = if draw.unit() < 0.4 {
        Some((draw.between(8.0, 30.0), draw.ln_between(1e-9, 1e-6)))
    } else {
        draw.skip(2);
        None
    };
    let law = RateLaw {
        per_start: StartRate::new(lines, threshold, walker_exponent)?,
        stress_corrosion: match corrosion {
            Some((threshold, plateau)) => Some(StressCorrosion::new(threshold, plateau)?),
            None => None,
        },
        vibration: vibrates.then_some(vibration),
    };

    let section = CrackedSection::new(thickness_mm, width_mm, CrackPlace::Along, stress)?;
    let site = Site::new(section, load_ratio, residual, vibrates.then_some(vibration))?;
    let depth_mm = thickness_mm * draw.ln_between(0.01, 0.4);
    let aspect = draw.ln_between(0.1, 2.0);
    let mut seed = Seed::new(2000.0, depth_mm, (depth_mm / aspect).min(0.5 * width_mm));
    seed.factors.stress = draw.between(0.8, 1.3);
    seed.factors.vibration = draw.between(0.8, 1.3);
    seed.start_rate_factor = draw.ln_between(0.4, 2.5);
    seed.corrosion_rate_factor = draw.ln_between(0.4, 2.5);
    seed.threshold_factor = draw.between(0.7, 1.0);
    let plain = PlainLaw {
        lines: plain_lines.iter().map(|(c, m)| (c * seed.start_rate_factor, *m)).collect(),
        threshold: plain_threshold,
        threshold_factor: seed.threshold_factor,
        walker_exponent: walker_exponent.unwrap_or(1.0),
        corrosion: corrosion.map(|(threshold, plateau)| (threshold, plateau * seed.corrosion_rate_factor)),
        vibration_per_hour: if vibrates { 3.6e5 } else { 0.0 },
        ..PlainLaw::paris(1.0, 1.0)
    };
    let mut duty = vec![DutyPeriod { from_year: 2000.0, starts_per_year: 12.0, hours_per_year: 7500.0 }];
    if draw.unit() < 0.5 {
        duty.push(DutyPeriod { from_year: 2008.0, starts_per_year: 250.0, hours_per_year: 4000.0 });
    }
    let rule = match draw.one_of(4) {
        0 => LossRule::Depth(depth_mm + draw.between(0.1, 0.9) * (thickness_mm - depth_mm)),
        1 => LossRule::SectionFraction(draw.between(0.05, 0.6)),
        2 => LossRule::Intensity(draw.between(30.0, 120.0)),
        _ => LossRule::Diagram {
            diagram: AssessmentDiagram::option_1(206_000.0, 650.0, 800.0)?,
            toughness_mpa_sqrt_m: draw.between(40.0, 120.0),
            restraint: Restraint::Normal,
        },
    };
    Ok(Case { site, law, plain, seed, duty, rule })
}

/// How far our way is from the truth: in the year of loss, and along the way in time and in half length at
/// equal depth times half length, which grows whatever else stands still.
struct Distance {
    life: f64,
    time: f64,
    half_length: f64,
}

/// `None` where the truth finds no end before the horizon; then ours must find none either.
fn distance(case: &Case, truth: &Truth<'_>, following: &Following, way: &Trajectory) -> Option<Distance> {
    let years = truth.years_until(|size| following.excess(&case.rule, size, &case.seed));
    let ours = match way.outcome() {
        Outcome::Lost { year, .. } => Some(year - case.seed.year),
        Outcome::Remains => None,
    };
    assert_eq!(ours.is_some(), years.is_some(), "one is lost and the other is not");
    let (ours, years) = (ours?, years?);
    let mut distance = Distance { life: off(ours, years), time: 0.0, half_length: 0.0 };
    for part in [0.1, 0.3, 0.5, 0.7, 0.9, 0.97] {
        let [depth_mm, half_length_mm] = truth.size_mm(part * years);
        let area = |year: f64| way.size_at_mm(case.seed.year + year).iter().product::<f64>();
        let (mut early, mut late) = (0.0, ours);
        for _ in 0..50 {
            let middle = 0.5 * (early + late);
            if area(middle) < depth_mm * half_length_mm { early = middle } else { late = middle }
        }
        distance.time = distance.time.max((late - part * years).abs() / years);
        distance.half_length = distance.half_length.max(off(way.size_at_mm(case.seed.year + late)[1], half_length_mm));
    }
    Some(distance)
}

/// Lives within 0.1 % and half lengths within 0.5 %: what the design asks for.
///
/// About a hundred of the cracks are held at a threshold for some of their way; for one of these no integrator gets
/// through, so that there is no truth to hold it against.
#[test]
fn two_thousand_random_cracks_keep_to_the_slow_truth() {
    const HORIZON_YEARS: f64 = 1e6;
    let (mut compared, mut held, mut off_course, mut without_truth) = (0, 0, Vec::new(), Vec::new());
    for i in 1..=2000 {
        let case = case(i).expect("a case within range");
        let following = Following::new(&case.site, case.law.clone()).expect("a law for the site");
        let mut way = Trajectory::new();
        following.follow(&case.seed, &case.duty, case.seed.year + HORIZON_YEARS, &case.rule, &mut way);
        assert!(!way.notes().unfinished, "case {i} was left unfinished");
        let loads =
            |[depth_mm, half_length_mm]: [f64; 2]| case.site.loads(depth_mm, half_length_mm, case.seed.factors).0;
        let since = |period: &DutyPeriod| DutyPeriod { from_year: period.from_year - case.seed.year, ..*period };
        let duty: Vec<_> = case.duty.iter().map(since).collect();
        let section = case.site.start();
        let largest_mm = [0.97 * section.thickness_mm(), section.spanning_mm()];
        let growing = Growing { loads: &loads, law: case.plain.clone(), duty: &duty, largest_mm };
        let size_mm = [case.seed.depth_mm, case.seed.half_length_mm];
        let Some(truth) = Truth::follow(&growing, size_mm, HORIZON_YEARS) else {
            without_truth.push(i);
            continue;
        };
        let Some(distance) = distance(&case, &truth, &following, &way) else {
            continue;
        };
        compared += 1;
        held += usize::from(matches!(truth, Truth::Wide(..)));
        let Distance { life, time, half_length } = distance;
        if life > 1e-3 || time > 1e-3 || half_length > 5e-3 {
            off_course.push(format!("case {i}: life {life:.1e}, time {time:.1e}, half length {half_length:.1e}"));
        }
    }
    assert!(compared > 1500, "{compared} compared");
    assert!(off_course.is_empty(), "{off_course:#?}");
    assert!(held > 90 && without_truth.len() <= 1, "{held} held, without truth {without_truth:?}");
}
