//! Rows after a look by brute force: of plain lives, whose looks are drawn and not weighed, those are kept that found as many.

use super::first_losses::{Cracks, FirstLosses};
use super::left::LeftInRow;
use super::{Asked, RowAfterLook, Watch};
use crate::model::Study;
use crate::random::Key;
use crate::simulation::Learning;
use crate::simulation::estimate::Estimate;
use crate::simulation::life::Lives;
use crate::simulation::plan::RowPlan;
use crate::simulation::policy::Groups;
use crate::statistics::records::{Format, Records};
use std::collections::BTreeSet;
use std::sync::atomic::{AtomicBool, AtomicU64};

/// A row with nearly everything on, past looks of which nobody knows what they found among it; growth, and how many blades are
/// replaced together, as stated.
fn study(together: u32, growth: &str) -> Study {
    let text = include_str!("../../../tests/engine/data/everything_on.toml");
    let text = text.replace("coefficient_m_per_start = 4e-11", &format!("coefficient_m_per_start = {growth}"));
    let mut parts = Study::parse(&text, "study").expect("a good study").into_parts();
    parts.roots[0].replaced_together = together;
    Study::new(parts).expect("a good study")
}

/// What a look left in one life.
struct Kept {
    lengths_mm: Vec<f64>,
    /// When the first blade that was not replaced is lost.
    lost_year: f64,
}

/// Lives whose look at the start found so many, and the number of all.
fn by_rejection(study: &Study, technique: usize, found: usize, lives: u32) -> (Vec<Kept>, f64) {
    let asked = Asked { row: 0, technique: Some(technique) };
    let own = Study::of_checked(study.at_the_look(asked, 8.0));
    let plan = RowPlan::with_techniques(&own, &own.rows[0], &[technique]).expect("a plan");
    let mut engine = Lives::new(&plan, &own);
    let groups = Groups::new(own.roots[0].replaced_together, 24);
    let mut kept = Vec::new();
    for block in 0..lives / 64 {
        engine.begin((0..64).map(|life| Key::from_seed(77).child(u64::from(64 * block + life)))).expect("lives");
        let (nature, looks) = (&engine.batch().nature, &engine.batch().inspections);
        let now = nature.plan.calendar.start;
        for life in 0..64 {
            let cracks = &nature.cracks[nature.first_cracks(life)];
            let present = || cracks.iter().filter(|crack| crack.is_present(now));
            let cracked: BTreeSet<u32> = present().map(|crack| crack.blade).collect();
            let mut called: BTreeSet<u32> =
                present().filter(|crack| looks.calls(crack, technique, now)).map(|crack| crack.blade).collect();
            let falsely = looks.false_calls(technique).of(life).iter().filter(|call| call.outage as usize == now);
            called.extend(falsely.map(|call| call.blade).filter(|blade| !cracked.contains(blade)));
            if called.len() != found {
                continue;
            }
            let stays = |blade: u32| !groups.of(blade).any(|other| called.contains(&other));
            kept.push(Kept {
                lengths_mm: present()
                    .filter(|crack| stays(crack.blade))
                    .map(|crack| nature.size_mm(crack, now)[1])
                    .collect(),
                lost_year: cracks
                    .iter()
                    .filter(|crack| stays(crack.blade))
                    .map(|crack| crack.lost_year)
                    .fold(f64::INFINITY, f64::min),
            });
        }
    }
    (kept, f64::from(lives / 64 * 64))
}

/// By how many standard errors an answer differs from the mean over lives that were kept.
fn distance(ours: &Estimate, values: &[f64]) -> f64 {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let square: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    // What is rare scatters at least as ours says.
    let variance = (square / (n * (n - 1.0)))
        .max(ours.value * (1.0 - ours.value).max(0.0) / n * f64::from(u8::from(mean <= 1.0 && square == 0.0)));
    (ours.value - mean) / ours.standard_error.hypot(variance.sqrt())
}

fn answer(study: &Study, technique: usize, found: u32) -> LeftInRow {
    let question = RowAfterLook { lives: 8_192, seed: 5, ..RowAfterLook::new("row") };
    study.left_in_row(&question.looked_at(&study.techniques[technique].id, found)).expect("an answer")
}

#[test]
fn what_is_left_is_what_lives_have_whose_looks_found_as_many() {
    for (together, technique, found, lives) in
        [(1, 0, 0, 40_000), (1, 1, 0, 40_000), (1, 1, 2, 40_000), (3, 0, 1, 40_000), (5, 1, 2, 40_000)]
    {
        let study = study(together, "4e-11");
        let (kept, all) = by_rejection(&study, technique, found, lives);
        assert!(kept.len() > 500, "{} lives", kept.len());
        let ours = answer(&study, technique, found as u32);
        let of = |value: &dyn Fn(&Kept) -> f64| kept.iter().map(value).collect::<Vec<f64>>();
        let longest = |kept: &Kept| kept.lengths_mm.iter().copied().fold(0.0, f64::max);
        let left = &ours.left;
        let mut compared = vec![
            (
                "outcome",
                (left.p_outcome.value - kept.len() as f64 / all)
                    / left.p_outcome.standard_error.hypot((left.p_outcome.value / all).sqrt()),
            ),
            ("cracks", distance(&left.cracks, &of(&|kept| kept.lengths_mm.len() as f64))),
            ("longest", distance(&left.longest_mean_mm, &of(&longest))),
        ];
        for number in 0..4 {
            let has = |kept: &Kept| f64::from(u8::from(kept.lengths_mm.len() == number));
            compared.push(("number", distance(&left.p_number[number], &of(&has))));
        }
        for at in left.longer.iter().filter(|longer| longer.p_any.value > 0.01).step_by(6) {
            let any = |kept: &Kept| f64::from(u8::from(longest(kept) > at.length_mm));
            compared.push(("longer", distance(&at.p_any, &of(&any))));
            let count = |kept: &Kept| kept.lengths_mm.iter().filter(|mm| **mm > at.length_mm).count() as f64;
            compared.push(("longer ones", distance(&at.cracks, &of(&count))));
        }
        assert!(compared.len() > 10);
        for (what, distance) in compared {
            assert!(
                distance.abs() < 4.0,
                "{together} together, {found} found by {technique}, {what}: {distance} standard errors, {} kept",
                kept.len()
            );
        }
    }
}

/// Exact sums over possible cracks, given records that hold the look, say the same as lives that go on from the records
/// before it and are weighed by the look.
#[test]
fn what_is_left_is_what_records_of_the_look_would_leave() {
    let learning = Learning { draws: 160, cracks: 512, repeats: 4, asked: 160, seed: 2, threads: 1 };
    let study = Study::parse(include_str!("../../../tests/engine/data/given/a.toml"), "study").expect("a good study");
    let before = include_str!("../../../tests/engine/data/given/a.csv");
    let records = |text: &str| Records::parse(text, "records", &Format::default()).expect("good records");
    let given = study.given(&records(before), &learning).expect("a belief");
    for found in [0, 1, 3] {
        let line = |blade: u32| {
            let called = if blade <= found { "yes" } else { "no" };
            format!("row,{blade},row now,2023.9999,insitu,standard,reference,in-place,{called},\n")
        };
        let with_look = format!("{}\n{}", before.trim_end(), (1..=20).map(line).collect::<String>());
        let known = study.given(&records(&with_look), &learning).expect("a belief");
        let known = &known.belief.rows[0];
        let question = RowAfterLook { lives: 40_000, seed: 5, ..RowAfterLook::new("row") }.looked_at("insitu", found);
        let left = given.study.left_in_row(&question).expect("an answer").left;
        for (what, ours, theirs) in [
            ("cracks", &left.cracks, known.cracks),
            ("none", &left.p_number[0], known.p_none),
            ("longest", &left.longest_mean_mm, known.longest_mean_mm),
            ("length", &left.mean_length_mm, known.mean_length_mm),
        ] {
            let far = (ours.value - theirs.value) / ours.standard_error.hypot(theirs.standard_error);
            assert!(far.abs() < 4.0, "{what}, {found} found: {ours:?} and {theirs:?}, {far} standard errors");
            assert!(ours.standard_error < 0.1 * ours.value, "{what}: {ours:?}");
        }
    }
}

#[test]
fn first_losses_are_those_of_lives_whose_looks_found_as_many() {
    let (stop, done) = (AtomicBool::new(false), AtomicU64::new(0));
    let watch = Watch { stop: &stop, done: &done, wanted: 0 };
    // Losses are frequent enough to be seen in lives that are kept; in the last row so frequent that many do not come to the start.
    for (growth, together, technique, found, lives) in
        [("9e-11", 1, 1, 0, 60_000), ("9e-11", 1, 0, 2, 60_000), ("9e-11", 3, 1, 1, 60_000), ("8e-10", 1, 0, 1, 20_000)]
    {
        let study = study(together, growth);
        let (kept, _) = by_rejection(&study, technique, found, lives);
        let question = RowAfterLook { lives: 8_192, seed: 6, ..RowAfterLook::new("row") }
            .looked_at(&study.techniques[technique].id, found as u32);
        let asked = study.look_up(&question).expect("names");
        let mut losses = FirstLosses::of(&study, asked, &question, 8_192, 8.0, Cracks::All, &watch).expect("lives");
        assert!(growth == "9e-11" || losses.through() < 0.85, "{} came through", losses.through());
        for years in [0.5, 1.0, 2.0, 4.0, 8.0] {
            let year = study.start_year + years;
            let lost: Vec<f64> = kept.iter().map(|kept| f64::from(u8::from(kept.lost_year <= year))).collect();
            for are_planted in [false, true] {
                losses.are_planted = are_planted;
                let ours = losses.until(year);
                let far = distance(&ours, &lost);
                let brute = lost.iter().sum::<f64>() / lost.len() as f64;
                assert!(
                    far.abs() < 4.0,
                    "{together} together, {found} found by {technique}, {years} years, planted {are_planted}: {ours:?} for {brute}, {far}"
                );
            }
        }
    }
}
