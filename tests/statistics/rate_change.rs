//! Rates of counts, against closed forms and published posteriors.

use crate::expected::{number, rows};
use crate::history::assert_group;
use serrata::statistics::pooled_rates::pooled_rates;
use serrata::statistics::rate_change::{GammaRate, Period, rate_change};

const PUMPS: &str = include_str!("data/rate_pumps.csv");
const PRIOR: GammaRate = GammaRate { shape: 1.0, rate: 1.0 };

/// The ten counts. The reference states evidences and not the counts; these are those that give them, all others fail.
fn periods() -> Vec<Period> {
    COUNTS.iter().map(|count| Period { count: *count, exposure: 1.0 }).collect()
}

const COUNTS: [u64; 10] = [1, 0, 1, 0, 0, 2, 3, 2, 4, 3];

#[test]
fn a_change_has_the_closed_form_evidence() {
    let found = rate_change(&periods(), PRIOR, None).expect("an answer");
    let mut ours: Vec<(String, f64)> = found
        .changes
        .iter()
        .map(|change| (format!("log evidence, change after k [k={}]", change.after), change.log_evidence))
        .collect();
    ours.push((
        "log Bayes factor, unknown change point (uniform over 9) against one rate".to_owned(),
        found.log_bayes_factor,
    ));
    ours.push(("posterior P(change after 5)".to_owned(), found.changes[4].posterior));
    let ours: Vec<(&str, f64)> = ours.iter().map(|(name, value)| (name.as_str(), *value)).collect();
    assert_group("change_point", &ours);
    assert!((found.changes.iter().map(|change| change.posterior).sum::<f64>() - 1.0).abs() < 1e-12);
}

#[test]
fn finds_that_follow_the_duty_speak_for_it_and_against_a_change() {
    let counts = [2, 3, 2, 3, 12, 11, 14, 12];
    let duty = [1.0, 1.0, 1.0, 1.0, 5.0, 5.0, 5.0, 5.0];
    let periods: Vec<Period> = counts.iter().map(|count| Period { count: *count, exposure: 1.0 }).collect();
    let found = rate_change(&periods, PRIOR, Some(&duty)).expect("an answer");
    assert!(found.log_bayes_factor > 5.0, "one rate is out of the question: {}", found.log_bayes_factor);
    assert!(found.log_bayes_factor_to_duty.expect("a duty") < 0.0);
    // Only proportions count, and a level duty is one rate.
    let doubled: Vec<f64> = duty.iter().map(|one| 2.0 * one).collect();
    let again = rate_change(&periods, PRIOR, Some(&doubled)).expect("an answer");
    assert!((again.duty.expect("a duty") - found.duty.expect("a duty")).abs() < 1e-9);
    let level = rate_change(&periods, PRIOR, Some(&[3.0; 8])).expect("an answer");
    assert!((level.duty.expect("a duty") - level.one_rate).abs() < 1e-9);
}

#[test]
fn what_makes_no_sense_is_refused() {
    let one = |count, exposure| Period { count, exposure };
    for (periods, word) in [
        (vec![one(1, 1.0)], "two periods"),
        (vec![one(1, 1.0), one(0, 0.0)], "exposure of period 2"),
        (vec![one(1, f64::NAN), one(0, 1.0)], "exposure of period 1"),
    ] {
        let error = rate_change(&periods, PRIOR, None).expect_err("refused");
        assert!(error.to_string().contains(word), "{error}");
    }
    let good = [one(1, 1.0), one(0, 1.0)];
    assert!(rate_change(&good, GammaRate { shape: 0.0, rate: 1.0 }, None).is_err());
    assert!(rate_change(&good, PRIOR, Some(&[1.0])).is_err());
    assert!(rate_change(&good, PRIOR, Some(&[1.0, -1.0])).is_err());
    assert!(pooled_rates(&good[..1]).is_err());
    assert!(pooled_rates(&[one(1, 1.0), one(0, 0.0)]).is_err());
}

#[test] // gamma and Poisson are conjugate
fn a_gamma_rate_learns_by_adding() {
    let prior = GammaRate { shape: 3.0, rate: 3.0 };
    let rows = [(0, 1.0), (2, 2.0), (0, 0.5), (1, 1.5)];
    let seen = |rows: &[(u64, f64)]| rows.iter().fold(prior, |rate, (count, exposure)| rate.seen(*count, *exposure));
    let all = seen(&rows);
    assert_group(
        "fleet_conjugate",
        &[
            ("posterior mean of the shared rate factor", all.mean()),
            ("same after the first two rows only", seen(&rows[..2]).mean()),
            ("predictive P(no find) for exposure 1 next", all.chance_of_none(1.0)),
        ],
    );
    // What comes next is what the evidence grows by.
    let periods: Vec<Period> =
        rows.iter().map(|(count, exposure)| Period { count: *count, exposure: *exposure }).collect();
    let next: Vec<Period> = periods.iter().copied().chain([Period { count: 0, exposure: 1.0 }]).collect();
    let grown = prior.log_evidence(&next) - prior.log_evidence(&periods);
    assert!((grown.exp() - all.chance_of_none(1.0)).abs() < 1e-12);
}

#[test] // Gaver and O'Muircheartaigh, Technometrics 29 (1987) 1-15; posterior by another program's quadrature in two dimensions
fn ten_pumps_have_the_reference_posterior() {
    let pumps: Vec<Period> = rows(PUMPS)
        .iter()
        .map(|cells| Period { count: cells[1].parse().expect("a count"), exposure: number(cells[2]) })
        .collect();
    let pooled = pooled_rates(&pumps).expect("an answer");
    let mut ours = vec![
        ("posterior mean of alpha".to_owned(), pooled.shape.mean),
        ("posterior sd of alpha".to_owned(), pooled.shape.standard_deviation),
        ("posterior mean of beta".to_owned(), pooled.rate.mean),
        ("log evidence".to_owned(), pooled.log_evidence),
    ];
    for (place, rate) in pooled.rates.iter().enumerate() {
        ours.push((format!("posterior mean of theta {}", place + 1), rate.mean));
        ours.push((format!("posterior sd of theta {}", place + 1), rate.standard_deviation));
    }
    let ours: Vec<(&str, f64)> = ours.iter().map(|(name, value)| (name.as_str(), *value)).collect();
    assert_group("pumps", &ours);
}
