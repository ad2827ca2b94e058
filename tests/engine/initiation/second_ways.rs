//! The likelihood of histories by other ways: lives that the engine draws plainly, and the evidence of a study given records.

use super::{HEADER, lines, parts, records, study, with_rows};
use serrata::distribution::Distribution;
use serrata::model::StudyParts;
use serrata::model::initiation::InitiationShape;
use serrata::simulation::{InitiationOnStudy, Learning};
use serrata::statistics::initiation::{Law, Observations};
use serrata::statistics::records::{Format, Records};

const YEARS: [f64; 3] = [2012.0, 2017.0, 2022.0];
/// Number of the look, and the length in mm.
type Call = (usize, f64);
const LAWS: [(f64, f64); 2] = [(4000.0, 2.0), (2500.0, 1.3)];

fn weibull(parts: &mut StudyParts, (scale, shape): (f64, f64)) {
    parts.initiation[0].shape = InitiationShape::Weibull { shape, scale };
}

fn fine() -> InitiationOnStudy {
    InitiationOnStudy { cracks: 8192, ..InitiationOnStudy::default() }
}

fn log_likelihood(observations: &Observations, (scale, shape): (f64, f64)) -> f64 {
    observations.log_likelihood(Law::Weibull, scale, shape).expect("a law")
}

/// Chances of histories of one blade against the shares of blades that have them in invented pasts, which are lived plainly.
#[test]
fn histories_come_as_often_as_their_likelihood_says() {
    const PASTS: u64 = 400;
    const BLADES: u32 = 100;
    for (law, scatter) in [(LAWS[0], 0.0), (LAWS[1], 0.0), (LAWS[0], 0.3)] {
        let mut parts = parts();
        weibull(&mut parts, law);
        // What a row and its inspections share is drawn anew for each past, and averages out over all of them.
        parts.growth[0].row_sigma_log = scatter;
        parts.techniques[0].inspection_sigma = scatter;
        parts.techniques[0].false_call_probability = 0.0;
        // None is lost before the study: pasts with losses are drawn again.
        parts.growth[0].coefficient_m_per_start *= 0.6;
        with_rows(&mut parts, 1, BLADES, &YEARS);
        let lived = study(parts.clone());
        // Of each past: blades never called, and those called first at each look; of those at the last by length.
        let mut shares: Vec<[f64; 6]> = Vec::new();
        const LONG_MM: f64 = 3.5;
        for seed in 0..PASTS {
            let past = lived.invented_past(seed).expect("a past");
            let mut first: Vec<Option<Call>> = vec![None; BLADES as usize];
            for line in past.records.lines().skip(1) {
                let cells: Vec<&str> = line.split(',').collect();
                let blade = cells[1].parse::<usize>().expect("a number") - 1;
                let look =
                    YEARS.iter().position(|year| *year == cells[3].parse::<f64>().expect("a year")).expect("a look");
                if cells[8] == "yes" && first[blade].is_none() {
                    first[blade] = Some((look, cells[9].parse().expect("a length")));
                }
            }
            let share = |is: &dyn Fn(&Option<Call>) -> bool| {
                first.iter().filter(|one| is(one)).count() as f64 / f64::from(BLADES)
            };
            let at = |look: usize| share(&|one| one.is_some_and(|(own, _)| own == look));
            shares.push([
                share(&|one| one.is_none()),
                at(0),
                at(1),
                at(2),
                share(&|one| one.is_some_and(|(own, mm)| own == 2 && mm < LONG_MM)),
                share(&|one| one.is_some_and(|(own, mm)| own == 2 && mm >= LONG_MM)),
            ]);
        }
        // The same by the fit's likelihood: one blade, watched until the look of which it tells.
        parts.rows[0].blades = 1;
        let chance = |until: usize, called: Option<Option<f64>>| {
            let mut parts = parts.clone();
            parts.rows[0].past_looks.truncate(until + 1);
            parts.start_year = YEARS[until] + 0.01;
            parts.units[0].outages.years = vec![parts.start_year + 1.0];
            let years = &YEARS[..=until];
            let answer = |_: u32, year: f64| if year == YEARS[until] { called } else { None };
            let text = format!("{HEADER}{}", lines("row-0", 1, years, answer));
            let seen = study(parts).initiation_observations(&records(&text), &fine()).expect("observations");
            log_likelihood(&seen, law).exp()
        };
        let of_lengths = |from: f64, to: f64| {
            // Simpson's rule on the logarithm of the length.
            const PIECES: usize = 16;
            let step = (to / from).ln() / PIECES as f64;
            let at = |piece: usize| {
                let mm = from * (step * piece as f64).exp();
                let weight = if piece == 0 || piece == PIECES { 1.0 } else { 2.0 + 2.0 * (piece % 2) as f64 };
                weight * mm * chance(2, Some(Some(mm)))
            };
            step / 3.0 * (0..=PIECES).map(at).sum::<f64>()
        };
        let ours = [
            chance(2, None),
            chance(0, Some(None)),
            chance(1, Some(None)),
            chance(2, Some(None)),
            of_lengths(0.4, LONG_MM),
            of_lengths(LONG_MM, 40.0),
        ];
        for (place, ours) in ours.into_iter().enumerate() {
            let mean = shares.iter().map(|shares| shares[place]).sum::<f64>() / PASTS as f64;
            let square = shares.iter().map(|shares| (shares[place] - mean).powi(2)).sum::<f64>();
            let error = (square / (PASTS * (PASTS - 1)) as f64).sqrt();
            // Beside it stands the error of so many points, below 1 %.
            let allowed = 4.0 * error + 0.01 * mean;
            eprintln!("{law:?} scatter {scatter}, {place}: {ours:.5} by the fit, {mean:.5} +- {error:.5} lived");
            assert!((ours - mean).abs() < allowed, "{law:?} {scatter} {place}: {ours} {mean} +- {error}");
        }
    }
}

/// Differences of log-likelihoods between laws against those of the evidence of the study given the same records.
#[test]
fn laws_differ_by_as_much_as_the_evidence_of_a_study_given_the_records() {
    // One origin and no stress: exact. Several, of two hot spots and with a stress: to first order in a second crack.
    for (positions, sigma, cracks, allowed) in [(1, 0.0, 8192, 0.06), (3, 0.06, 2048, 0.25)] {
        let mut parts = parts();
        parts.techniques[0].false_call_probability = 0.02;
        parts.roots[0].hot_spots[0].positions = positions;
        parts.scatter.blade_stress_sigma_log = sigma;
        parts.initiation[0].stress_exponent = 5.0;
        if positions > 1 {
            let mut spot = parts.roots[0].hot_spots[0].clone();
            spot.id = "lower".to_owned();
            spot.initial_depth_mm = Distribution::Lognormal { median: 0.4, sigma_log: 0.3 };
            parts.roots[0].hot_spots.push(spot);
        }
        with_rows(&mut parts, 2, 60, &YEARS);
        let origins = if positions > 1 { 2.0 * f64::from(positions) } else { 1.0 };
        let laws = LAWS.map(|(scale, shape)| (scale * f64::powf(origins, 1.0 / shape), shape));
        weibull(&mut parts, laws[0]);
        let past = study(parts.clone()).invented_past(3).expect("a past");
        let found = Records::parse(&past.records, "invented", &Format::default()).expect("records");
        let calls = past.rows.iter().map(|row| row.finds).sum::<usize>();
        assert!(calls > 4, "{calls}");
        let seen = study(parts.clone()).initiation_observations(&found, &fine()).expect("observations");
        let evidence = laws.map(|law| {
            let mut parts = parts.clone();
            weibull(&mut parts, law);
            let learning = Learning { draws: 32, cracks, repeats: 2, asked: 1, ..Learning::default() };
            let given = study(parts).given(&found, &learning).expect("a belief");
            given.belief.ln_evidence
        });
        let [one, other] = laws.map(|law| log_likelihood(&seen, law));
        let expected = evidence[0].value - evidence[1].value;
        let error = evidence[0].standard_error.hypot(evidence[1].standard_error);
        eprintln!("{calls} calls, {origins} origins: {} by the fit, {expected} +- {error} by evidence", one - other);
        assert!((one - other).abs() > 1.0, "{one} and {other} say little");
        assert!((one - other - expected).abs() < allowed + 4.0 * error, "{} {expected} {error}", one - other);
    }
}
