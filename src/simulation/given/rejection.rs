//! Rows of twenty blades by brute force: of many pasts that the engine invents those are kept whose looks found as many
//! blades as the records say.
//!
//! No weight, no pool and no sampling of what the row shares: it has nothing of what is tested but the lives themselves,
//! cracks that join among them.

use super::Learning;
use super::tests::{believed, looks};
use crate::math::exp;
use crate::model::fleet::PastLook;
use crate::model::{Study, StudyParts};
use crate::random::Key;
use crate::simulation::life::Lives;
use crate::simulation::nature::LifeKey;
use crate::simulation::plan::RowPlan;
use rayon::prelude::*;

/// One row with two looks: cracks of three origins a blade, along one fillet.
fn study(change: impl Fn(&mut StudyParts)) -> Study {
    let along_a_fillet = "sides = [\"suction\"]\norigins = 3\nsection = { thickness_mm = 24, width_mm = 60 }\n\
                          joining = { rule = \"bs7910-2013\", spacing_mm = 4, placement = \"random\" }";
    let fixed = "{ kind = \"fixed-factor\", geometry_factor = 0.73, length_over_depth = 5 }";
    let text = include_str!("../../../tests/engine/data/given/a.toml")
        .replace("sides = [\"suction\"]", along_a_fillet)
        .replace(fixed, "{ kind = \"semi-elliptical\" }\ninitial_aspect = 0.8")
        .replace("membrane_mpa = 500", "membrane_mpa = 560");
    let mut parts = Study::parse(&text, "rejection").expect("a good study").into_parts();
    parts.rows[0].past_looks = [2014.0, 2020.0].map(|year| PastLook { year, technique: 0, found: None }).to_vec();
    // Sizes are known at the start.
    parts.units[0].outages.years.insert(0, parts.start_year);
    change(&mut parts);
    Study::new(parts).expect("a good study")
}

/// Means and their standard errors: row factor, factor on growth, cracks, whether there is none, longest in mm.
type Means = [[f64; 2]; 5];

fn means(values: &[[f64; 5]]) -> Means {
    let n = values.len() as f64;
    std::array::from_fn(|at| {
        let mean = values.iter().map(|value| value[at]).sum::<f64>() / n;
        let square = values.iter().map(|value| (value[at] - mean).powi(2)).sum::<f64>();
        [mean, (square / (n * (n - 1.0))).sqrt()]
    })
}

fn summary(row_factor: f64, growth: f64, lengths_mm: impl Iterator<Item = f64> + Clone) -> [f64; 5] {
    let cracks = lengths_mm.clone().count() as f64;
    [row_factor, growth, cracks, if cracks == 0.0 { 1.0 } else { 0.0 }, lengths_mm.fold(0.0, f64::max)]
}

/// Of invented pasts those in which looks found so many blades, for each of some such numbers.
fn by_rejection(study: &Study, pasts: u64, found: &[[usize; 2]]) -> Vec<Means> {
    let one = |seed: u64| {
        let past = study.invented_past(seed).expect("a past");
        let lines = || past.records.lines().filter(|line| line.contains(",yes,"));
        let called = ["row 2014,", "row 2020,"].map(|look| lines().filter(|line| line.contains(look)).count());
        let own = &past.rows[0];
        (called, summary(own.row_factor, exp(own.ln_growth[0]), own.cracks_mm.iter().copied()))
    };
    let all: Vec<([usize; 2], [f64; 5])> = (0..pasts).into_par_iter().map(one).collect();
    let kept = |found: &[usize; 2]| {
        let own: Vec<[f64; 5]> = all.iter().filter(|(called, _)| called == found).map(|(_, own)| *own).collect();
        means(&own)
    };
    found.iter().map(kept).collect()
}

/// The same of lives that go on from records.
fn by_lives(study: &Study, lives: u32) -> Means {
    let plan = RowPlan::new(study, &study.rows[0]).expect("a plan");
    let mut engine = Lives::new(&plan, study);
    let mut all = Vec::new();
    for block in 0..lives / 64 {
        let keys = (0..64).map(|life| LifeKey::from(Key::from_seed(3).child(u64::from(64 * block + life))));
        engine.begin(keys).expect("lives");
        let (nature, start) = (&engine.batch().nature, plan.nature.calendar.start);
        for life in 0..64 {
            let own = nature.cracks[nature.first_cracks(life)].iter().filter(|crack| crack.is_present(start));
            let (row_factor, ln_growth) = nature.row_alone(life);
            all.push(summary(row_factor, exp(ln_growth[0]), own.map(|crack| nature.size_mm(crack, start)[1])));
        }
    }
    means(&all)
}

/// By how many standard errors two means differ, beyond a share of them that is let pass.
fn distance(one: [f64; 2], other: [f64; 2], let_pass: f64) -> f64 {
    ((one[0] - other[0]).abs() - let_pass * other[0]).max(0.0) / one[1].hypot(other[1])
}

#[test]
fn rows_of_twenty_blades_are_as_brute_force_has_them() {
    const LEARNING: Learning = Learning { draws: 96, cracks: 512, repeats: 4, asked: 96, seed: 4, threads: 0 };
    const FOUND: [[usize; 2]; 2] = [[0, 0], [0, 1]];
    // Cracks that join are weighed as if each stood alone, and live on as they are: what rows share, and cracks at the
    // start, may be off by a few per cent then. There are fewer cracks than are counted so, and the longest is longer.
    for (joins, together, pasts, lives, lives_off, longest_off) in [
        (false, 1, 40_000, 20_032, 0.0, 0.0),
        (false, 10, 40_000, 20_032, 0.0, 0.0),
        (true, 1, 4_000, 2_496, 0.02, 0.03),
    ] {
        let own = study(|parts| {
            parts.roots[0].replaced_together = together;
            if !joins {
                parts.roots[0].hot_spots[0].joining = None;
            }
        });
        for (found, brute) in FOUND.iter().zip(by_rejection(&own, pasts, &FOUND)) {
            let given = believed(&own, &looks(&[2014.0, 2020.0], 20, found[1] as u32), &LEARNING);
            let lives = by_lives(&given.study, lives);
            for (at, (lives, brute)) in lives.into_iter().zip(brute).enumerate() {
                let far = distance(lives, brute, lives_off);
                assert!(
                    far < 4.0,
                    "joining {joins}, {together} together, {found:?} found, mean {at}: lives {lives:?}, brute force {brute:?}"
                );
            }
            let row = &given.belief.rows[0];
            let believed = [row.row_factor.mean, row.cracks, row.p_none, row.longest_mean_mm];
            let off = [lives_off, if joins { 0.12 } else { 0.0 }, lives_off, longest_off];
            for ((at, believed), off) in [0, 2, 3, 4].into_iter().zip(believed).zip(off) {
                let believed = [believed.value, believed.standard_error];
                let far = distance(believed, brute[at], off);
                assert!(
                    far < 4.0,
                    "joining {joins}, {together} together, {found:?} found, mean {at}: {believed:?}, brute force {:?}",
                    brute[at]
                );
            }
            assert!(!joins || row.cracks.value > brute[2][0], "{:?} cracks, brute force {:?}", row.cracks, brute[2]);
        }
    }
}
