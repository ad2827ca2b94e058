//! Which clock drives cracking, in pasts that the engine invents.

use super::{parts, study, with_rows};
use rayon::prelude::*;
use serrata::Study;
use serrata::model::initiation::InitiationShape;
use serrata::model::usage::{Clock, DutyPeriod};
use serrata::simulation::{InitiationClocks, InitiationOnStudy};
use serrata::statistics::records::{Format, Records};

const SEEDS: u64 = 40;

/// Four rows in two units, of which the one starts so often and the other four times as often; the law runs on a clock.
fn fleet(clock: Clock, starts_per_year: [f64; 2]) -> Study {
    let mut parts = parts();
    with_rows(&mut parts, 4, 40, &[2010.0, 2014.0, 2018.0, 2022.0]);
    let scale = if clock == Clock::HOURS { 180e3 } else { 3000.0 };
    (parts.initiation[0].clock, parts.initiation[0].shape) = (clock, InitiationShape::Weibull { shape: 2.0, scale });
    parts.growth[0].coefficient_m_per_start *= 0.5;
    let mut second = parts.units[0].clone();
    second.id = "second".to_owned();
    parts.units.push(second);
    for (unit, starts_per_year) in parts.units.iter_mut().zip(starts_per_year) {
        unit.duty = vec![DutyPeriod { from_year: 2004.0, starts_per_year, hours_per_year: 6000.0 }];
    }
    for (number, row) in parts.rows.iter_mut().enumerate() {
        row.unit = number % 2;
    }
    study(parts)
}

fn clocks(study: &Study, seed: u64) -> InitiationClocks {
    let past = study.invented_past(seed).expect("a past");
    let records = Records::parse(&past.records, "invented", &Format::default()).expect("records");
    let options = InitiationOnStudy { cracks: 256, ..InitiationOnStudy::default() };
    study.initiation_clocks(&records, &options).expect("clocks")
}

#[test]
fn the_clock_that_drives_cracking_is_found_where_units_differ() {
    for (clock, sign, name) in [(Clock::HOURS, 1.0, "hours"), (Clock::STARTS, -1.0, "starts")] {
        let study = fleet(clock, [60.0, 150.0]);
        let found: Vec<InitiationClocks> = (0..SEEDS).into_par_iter().map(|seed| clocks(&study, seed)).collect();
        let differences = || found.iter().map(|one| sign * one.hours_over_starts().expect("both fitted"));
        let (wins, clear) =
            (differences().filter(|one| *one > 0.0).count(), differences().filter(|one| *one > 2.0).count());
        let wrong = differences().filter(|one| *one < -2.0).count();
        eprintln!("{name}: more likely in {wins} of {SEEDS}, clearly in {clear}, clearly the other in {wrong}");
        // Of a clock that is taken by the toss of a coin 20 are expected, with a spread of 3.2: four of them more.
        assert!(wins >= 33, "{name}: {wins}");
        // A difference of 2 the wrong way has at most the chance exp(-2), if both laws were stated: 5.4 of 40, spread 2.2.
        assert!(wrong <= 5, "{name}: {wrong}");
        let said = found.iter().filter(|one| one.verdict().starts_with(&format!("{name} explain"))).count();
        assert_eq!(said, clear);
        assert!(found.iter().all(|one| one.fits.len() == 6));
    }
}

#[test]
fn clocks_that_go_alike_are_not_told_apart() {
    let found = clocks(&fleet(Clock::HOURS, [100.0, 100.0]), 1);
    let difference = found.hours_over_starts().expect("both fitted");
    assert!(difference.abs() < 1e-6, "{difference}");
    let verdict = found.verdict();
    assert!(verdict.contains("cannot be told apart") && verdict.contains("60.0 and 60.0 hours a start"), "{verdict}");
    assert_eq!(found.table().columns.len(), 6);
}

#[test]
fn a_mixture_of_the_study_stands_beside_both() {
    let found = clocks(&fleet(Clock { per_start: 1.0, per_hour: 0.01 }, [60.0, 150.0]), 1);
    assert_eq!(found.fits.len(), 9);
    assert!(found.summary().contains("1 a start and 0.01 an hour"), "{}", found.summary());
}
