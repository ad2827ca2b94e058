//! Small invented cases with right values by another program, and data that carry no fit.

use super::{WEIBULL, interval, log_likelihood, observed, of_law, records, value};
use crate::expected::{number, rows};
use serrata::statistics::initiation::{
    Cell, InitiationFit, Law, Method, Model, Observation, Observations, Record, fit,
};
use serrata::{Error, Result};

const READOUTS: &str = include_str!("../data/case-11/readouts.csv");
const BLADES: &str = include_str!("../data/case-11/blades.csv");
const BAD: &str = include_str!("../data/case-11/bad_rows.csv");
const ONLY_LEFT: &str = include_str!("../data/case-11/only_left.csv");
const ONLY_RIGHT: &str = include_str!("../data/case-11/only_right.csv");

/// Lines of the case: a name, last clean, found, status, and the number of blades where it stands.
fn read(text: &'static str) -> Vec<Record> {
    let record = |cells: &Vec<&str>| Record {
        cracked: Some(cells[3] == "cracked"),
        count: cells.get(4).map_or(1.0, |count| number(count)),
        ..Record::new(number(cells[1]), cells[2].parse().unwrap_or(f64::NAN))
    };
    rows(text).iter().map(record).collect()
}

fn refused(records: &[Record], model: &Model) -> Error {
    fit(&observed(records), model).expect_err("no fit")
}

fn fractions(fit: &InitiationFit, time: f64) -> (f64, f64, f64) {
    let (low, high) = fit.fraction_bounds(time, &[], 0.975, Method::LikelihoodRatio).expect("bounds");
    (fit.fraction_at(time, &[]).expect("a time").expect("finds"), low, high)
}

fn assert_near(ours: f64, expected: f64, share: f64) {
    assert!((ours / expected - 1.0).abs() < share, "{ours}, expected {expected}");
}

#[test] // invented blades; values by another program, to 0.1 % for estimates and 1 % for ends, as they were stated
fn grouped_and_single_blades_have_the_right_fit() {
    let [grouped, single] = [READOUTS, BLADES].map(|text| of_law(&observed(&read(text)), Law::Weibull));
    for fit in [&grouped, &single] {
        assert_near(value(fit, "shape"), 2.683_48, 1e-3);
        assert_near(value(fit, "scale"), 148_516.0, 1e-3);
        assert!((log_likelihood(fit) - -69.380_25).abs() < 1e-4);
        let ends = [("shape", (1.7063, 3.9931)), ("scale", (122_916.0, 208_018.0))];
        for (name, (low, high)) in ends {
            let ours = interval(fit, name, Method::LikelihoodRatio);
            assert_near(ours.0, low, 1e-2);
            assert_near(ours.1, high, 1e-2);
        }
        let (fraction, low, high) = fractions(fit, 100e3);
        assert_near(fraction, 0.292_47, 1e-3);
        assert_near(low, 0.1974, 1e-2);
        assert_near(high, 0.4020, 1e-2);
        assert_near(fractions(fit, 50e3).0, 0.052_43, 1e-3);
        assert_near(fit.time_at(0.1, &[]).expect("a fraction").expect("finds"), 64_206.0, 1e-3);
    }
    for name in ["shape", "scale"] {
        assert_near(value(&grouped, name), value(&single, name), 1e-8);
    }
    assert_near(log_likelihood(&grouped), log_likelihood(&single), 1e-8);
}

#[test] // the wrong values that the case names: found as exact, middles, found as exact without survivors
fn short_cuts_give_other_answers() {
    let middle =
        |record: &Record| Record { clean_until: 0.5 * (record.clean_until + record.cracked_by), ..record.clone() };
    let exact = |record: &Record| match record.cracked_by.is_finite() {
        true => Record { clean_until: record.cracked_by, exact: true, ..record.clone() },
        false => record.clone(),
    };
    let blades = read(READOUTS);
    let at_find: Vec<Record> = blades.iter().map(exact).collect();
    let middles: Vec<Record> = blades
        .iter()
        .map(|one| if one.cracked_by.is_finite() { middle(one) } else { one.clone() })
        .map(|one| match one.cracked_by.is_finite() {
            true => Record { cracked_by: one.clean_until, exact: true, ..one },
            false => one,
        })
        .collect();
    let cracked: Vec<Record> = at_find.iter().filter(|one| one.exact).cloned().collect();
    for (records, shape, scale) in
        [(at_find, 4.463, 127_208.0), (middles, 2.533, 152_014.0), (cracked, 4.881, 89_529.0)]
    {
        let fit = of_law(&observed(&records), Law::Weibull);
        assert_near(value(&fit, "shape"), shape, 1e-3);
        assert_near(value(&fit, "scale"), scale, 1e-3);
    }
}

#[test]
fn every_bad_record_is_named_in_one_message() {
    let error = Observations::from_records(&read(BAD), &[]).expect_err("bad records");
    let said: Vec<String> = error.faults().iter().map(|fault| format!("{}: {}", fault.path, fault.rule)).collect();
    assert_eq!(
        said,
        [
            "record 1, cracked_by: lies before clean_until (50000)",
            "record 2, cracked_by: is the same as clean_until: an interval of no width",
            "record 3, clean_until: must be a finite time, at least 0",
            "record 4, cracked_by: is missing, yet the blade is said to be cracked",
            "record 5, cracked_by: is given, yet the blade is said to be clean",
        ]
    );
    assert!(error.to_string().starts_with("records: 5 faults\n  record 1, cracked_by = 25000\n"), "{error}");
}

#[test]
fn every_other_fault_is_refused() {
    let good = Record::new(10.0, 20.0);
    for (record, word) in [
        (Record { clean_until: f64::NAN, ..good.clone() }, "clean_until"),
        (Record { clean_until: f64::INFINITY, ..good.clone() }, "clean_until"),
        (Record { cracked_by: -5.0, ..good.clone() }, "negative"),
        (Record { cracked_by: f64::NEG_INFINITY, ..good.clone() }, "negative"),
        (Record { count: 1.5, ..good.clone() }, "whole number"),
        (Record { count: -1.0, ..good.clone() }, "whole number"),
        (Record { pod: 0.0, ..good.clone() }, "above 0 and at most 1"),
        (Record { pod: f64::NAN, ..good.clone() }, "above 0 and at most 1"),
        (Record { exact: true, ..good.clone() }, "exact"),
        (Record { exact: true, ..Record::new(0.0, 0.0) }, "exact"),
    ] {
        let error = Observations::from_records(&[good.clone(), record], &[]).expect_err("a bad record");
        assert_eq!(error.faults().len(), 1, "{error}");
        assert!(error.to_string().contains("record 2") && error.to_string().contains(word), "{error}");
    }
    let named = ["heat".to_owned()];
    let error = Observations::from_records(&[Record { covariates: vec![f64::NAN], ..good.clone() }], &named);
    assert!(error.expect_err("no number").to_string().contains("record 1, heat"));
    let cell = |from, to, coefficient| Cell { from, to, coefficient };
    let of = |cells: Vec<Cell>, never| Observation { cells, never, ..Observation::clean(9.0) };
    for (observation, word) in [
        (of(vec![cell(4.0, 6.0, 1.0), cell(5.0, 8.0, 1.0)], 0.0), "follow"),
        (of(vec![cell(4.0, 12.0, 1.0)], 0.0), "follow"),
        (of(vec![cell(1.0, 2.0, -0.1)], 1.0), "chances"),
        (of(vec![cell(1.0, 2.0, 0.0)], 0.0), "chances"),
        (of(vec![cell(2.0, 2.0, 1.0)], 1.0), "known moment"),
    ] {
        let error = Observations::new(vec![observation], &[]).expect_err("a bad observation");
        assert!(error.to_string().contains(word), "{error}");
    }
    assert_eq!(Observations::from_records(&[], &[]).expect_err("nothing").reason(), Some("no-records"));
}

#[test]
fn data_without_a_fit_are_refused_with_the_reason() {
    let left = refused(&read(ONLY_LEFT), &WEIBULL);
    assert_eq!(left.reason(), Some("only-left"), "{left}");
    let assumed = Model { shape: Some(2.0), ..WEIBULL };
    assert_eq!(refused(&read(ONLY_LEFT), &assumed).reason(), Some("only-left"));
    assert_eq!(refused(&read(ONLY_RIGHT), &WEIBULL).reason(), Some("no-finds"));
    assert!(fit(&observed(&read(ONLY_RIGHT)), &assumed).is_ok());
    const NEVER: f64 = f64::INFINITY;
    let reason = |groups: &[(f64, f64, f64)]| refused(&records(groups), &WEIBULL).reason();
    // All within one interval; at either side of one moment; all younger clean, all older cracked.
    assert_eq!(reason(&[(25e3, 50e3, 7.0)]), Some("separation"));
    assert_eq!(reason(&[(25e3, 50e3, 3.0), (50e3, 75e3, 4.0)]), Some("separation"));
    assert_eq!(reason(&[(25e3, NEVER, 5.0), (0.0, 50e3, 5.0)]), Some("separation"));
    assert!(fit(&observed(&records(&[(25e3, NEVER, 5.0), (0.0, 50e3, 5.0)])), &assumed).is_ok());
    // The older ones are found cracked less often.
    assert_eq!(reason(&[(0.0, 1e4, 9.0), (1e4, NEVER, 1.0), (0.0, 5e4, 1.0), (5e4, NEVER, 9.0)]), Some("reversed"));
    let one_row = refused(&read(READOUTS), &Model { row_factor: true, ..WEIBULL });
    assert_eq!(one_row.reason(), Some("one-row"));
    for shape in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        assert!(fit(&observed(&read(READOUTS)), &Model { shape: Some(shape), ..WEIBULL }).is_err());
    }
    assert!(fit(&observed(&read(READOUTS)), &Model { law: Law::Exponential, ..assumed }).is_err());
}

fn with_covariate(groups: &[(f64, f64, f64, f64)]) -> Result<InitiationFit> {
    let record = |(clean, cracked, count, heat): &(f64, f64, f64, f64)| Record {
        count: *count,
        covariates: vec![*heat],
        ..Record::new(*clean, *cracked)
    };
    let records: Vec<Record> = groups.iter().map(record).collect();
    fit(&Observations::from_records(&records, &["heat".to_owned()]).expect("good records"), &WEIBULL)
}

#[test]
fn a_covariate_that_tells_all_or_nothing_is_refused() {
    const NEVER: f64 = f64::INFINITY;
    let apart = [(1e4, 2e4, 3.0, 1.0), (2e4, 3e4, 5.0, 1.0), (3e4, 5e4, 4.0, 1.0), (5e4, NEVER, 30.0, 0.0)];
    let same = apart.map(|(clean, cracked, count, _)| (clean, cracked, count, 2.0));
    for groups in [apart, same] {
        let reason = with_covariate(&groups).expect_err("no fit").reason();
        assert!(matches!(reason, Some("separation" | "not-converged")), "{reason:?}");
    }
}

#[test]
fn estimates_do_not_depend_on_the_unit_of_time() {
    for law in Law::ALL {
        let hours = of_law(&observed(&read(READOUTS)), law);
        let years: Vec<Record> = read(READOUTS)
            .into_iter()
            .map(|one| Record { clean_until: one.clean_until / 8766.0, cracked_by: one.cracked_by / 8766.0, ..one })
            .collect();
        let years = of_law(&observed(&years), law);
        assert_near(value(&years, law.time_name()) * 8766.0, value(&hours, law.time_name()), 1e-8);
        let [(_, low, high), (_, low_too, high_too)] = [fractions(&hours, 60e3), fractions(&years, 60e3 / 8766.0)];
        assert_near(low, low_too, 1e-5);
        assert_near(high, high_too, 1e-5);
    }
}

#[test]
fn bounds_hold_each_other_and_stay_where_fractions_and_times_are() {
    for law in Law::ALL {
        let fit = of_law(&observed(&read(READOUTS)), law);
        for time in [0.0, 1.0, 1e3, 3e4, 1e5, 5e5, 1e8] {
            for method in [Method::LikelihoodRatio, Method::Wald] {
                let (low, high) = fit.fraction_bounds(time, &[], 0.975, method).expect("bounds");
                let value = fit.fraction_at(time, &[]).expect("a time").expect("finds");
                assert!(0.0 <= low && low <= value && value <= high && high <= 1.0, "{law:?} {time} {low} {high}");
            }
        }
        // The time whose fraction is bounded from above by a tenth is the lower bound of the time of a tenth.
        let bounds = fit.time_bounds(0.1, &[], 0.95, Method::LikelihoodRatio).expect("bounds");
        let (low, high) = (bounds.low.expect("a bound"), bounds.high.expect("a bound"));
        let at = |time: f64| fit.fraction_bounds(time, &[], 0.95, Method::LikelihoodRatio).expect("bounds");
        assert!((at(low).1 - 0.1).abs() < 1e-6 && (at(high).0 - 0.1).abs() < 1e-6, "{:?} {:?}", at(low), at(high));
    }
}

#[test] // the exponential law with one look: F = cracked / looked at, and bounds where its binomial likelihood drops
fn one_look_at_one_age_has_its_binomial_bounds() {
    let fit = fit(
        &observed(&records(&[(0.0, 1e3, 3.0), (1e3, f64::INFINITY, 17.0)])),
        &Model { law: Law::Exponential, ..WEIBULL },
    )
    .expect("a fit");
    let (value, low, high) = fractions(&fit, 1e3);
    assert!((value - 0.15).abs() < 1e-9);
    let log = |p: f64| 3.0 * p.ln() + 17.0 * (1.0 - p).ln();
    for bound in [low, high] {
        // 3.841459: the 95 % quantile of chi-square with one degree of freedom, from memory.
        assert!((2.0 * (log(0.15) - log(bound)) - 3.841_459).abs() < 1e-5, "{bound}");
    }
}

#[test]
fn a_shape_that_one_look_does_not_bound_has_no_bound() {
    // Three cracked of 20 at one age, two of 10 at the next: no shape near 0 is excluded.
    const NEVER: f64 = f64::INFINITY;
    let groups = [(0.0, 1e3, 3.0), (1e3, NEVER, 17.0), (0.0, 1.2e3, 2.0), (1.2e3, NEVER, 8.0)];
    let fit = of_law(&observed(&records(&groups)), Law::Weibull);
    let bounds = fit.parameter_bounds("shape", 0.95, Method::LikelihoodRatio).expect("bounds");
    assert!(bounds.low.is_none() && bounds.high.is_some(), "{bounds:?}");
    // Nor is any fraction from none to nearly all, far before and far beyond the looks.
    assert!(fractions(&fit, 1e9).1 < 0.5, "{:?}", fractions(&fit, 1e9));
    assert!(fit.warnings()[0].contains("5 finds, each known from one look, say nearly nothing of the shape"));
}

#[test]
fn rows_that_differ_no_more_than_chance_have_a_variance_of_0_with_an_upper_bound() {
    // Six rows of 14 blades: found between two outages, between the next two, still clean.
    let counts =
        [[2.0, 5.0, 7.0], [1.0, 6.0, 7.0], [1.0, 3.0, 10.0], [3.0, 2.0, 9.0], [2.0, 0.0, 12.0], [3.0, 3.0, 8.0]];
    let of_row = |(row, [first, second, clean]): (usize, [f64; 3])| {
        let groups = records(&[(25e3, 50e3, first), (50e3, 75e3, second), (75e3, f64::INFINITY, clean)]);
        groups.into_iter().map(move |one| Record { row, ..one })
    };
    let blades = observed(&counts.into_iter().enumerate().flat_map(of_row).collect::<Vec<_>>());
    let fit = fit(&blades, &Model { row_factor: true, ..WEIBULL }).expect("a fit");
    assert_eq!(value(&fit, "row_variance"), 0.0);
    let bounds = fit.parameter_bounds("row_variance", 0.95, Method::LikelihoodRatio).expect("bounds");
    assert_eq!(bounds.low, Some(0.0));
    assert!((0.01..1.0).contains(&bounds.high.expect("a bound")), "{bounds:?}");
    assert!(fit.notes().iter().any(|note| note.contains("no more than chance")));
    // That rows may differ all the same widens what else is said.
    let without = of_law(&blades, Law::Weibull);
    let [(_, low, high), (_, low_without, high_without)] = [&fit, &without].map(|fit| fractions(fit, 60e3));
    assert!(low <= low_without + 1e-9 && high > 1.01 * high_without, "{low} {high}, {low_without} {high_without}");
}

#[test] // Kaplan and Meier, Journal of the American Statistical Association 53 (1958) 457-481: 3/4, then 3/4 * 2/3
fn known_and_clean_moments_have_the_product_limit() {
    let seen = [Observation::exact(2.0), Observation::exact(5.0), Observation::clean(5.0), Observation::clean(8.0)];
    let blades = Observations::new(seen.to_vec(), &[]).expect("good observations");
    let best = of_law(&blades, Law::Weibull).nonparametric().expect("a distribution");
    for (time, fraction) in [(1.9, 0.0), (2.0, 0.25), (4.9, 0.25), (5.0, 0.5), (8.0, 0.5)] {
        let (least, most) = best.fraction_at(time);
        assert!((least - fraction).abs() < 1e-9 && (most - fraction).abs() < 1e-9, "{time}: {least} {most}");
    }
}
