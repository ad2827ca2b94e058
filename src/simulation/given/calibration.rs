//! Truths among draws of what is believed given records that the engine invented with them: their ranks are uniform.
//!
//! S. Talts, M. Betancourt, D. Simpson, A. Vehtari and A. Gelman, "Validating Bayesian inference algorithms with
//! simulation-based calibration" (2018).

use super::Learning;
use super::tests::believed;
use crate::model::Study;
use crate::random::{Key, Stream};
use crate::simulation::life::Lives;
use crate::simulation::nature::LifeKey;
use crate::simulation::plan::RowPlan;
use crate::statistics::calibration::UniformBands;
use crate::statistics::records::{Format, Records};

const TRUTHS: u64 = 200;
/// Draws beside each truth.
const BESIDE: usize = 99;

/// Two rows with a history of looks, the last two at one moment, of which some find something.
fn study() -> Study {
    let text = include_str!("../../../tests/engine/data/given/c.toml");
    let mut parts = Study::parse(text, "c").expect("a good study").into_parts();
    parts.rows.truncate(2);
    for row in &mut parts.rows {
        row.blades = 24;
        let look = |(year, technique): (f64, usize)| crate::model::fleet::PastLook { year, technique, found: None };
        row.past_looks = [(2010.0, 0), (2016.0, 1), (2020.0, 0), (2020.0, 1)].map(look).to_vec();
    }
    // So many cracks that they tell of what is uncertain; and sizes are known at the start.
    let starts = crate::model::usage::DutyPeriod { from_year: 2000.0, starts_per_year: 150.0, hours_per_year: 6000.0 };
    parts.units[0].duty = vec![starts];
    parts.units[0].outages.years.insert(0, 2024.0);
    parts.techniques.iter_mut().for_each(|technique| technique.false_call_probability = 0.01);
    Study::new(parts).expect("a good study")
}

/// The rank of a truth among draws, on (0, 1); ties are broken at random.
fn rank(truth: f64, draws: &[f64], stream: &mut Stream) -> f64 {
    let below = draws.iter().filter(|draw| **draw < truth).count() as f64;
    let ties = draws.iter().filter(|draw| **draw == truth).count() as f64;
    let rank = below + (stream.uniform() * (ties + 1.0)).floor();
    (rank + stream.uniform()) / (draws.len() + 1) as f64
}

/// What past looks found lies evenly among what was expected of them.
#[test]
fn finds_lie_evenly_among_what_was_expected() {
    const PASTS: u64 = 40;
    let study = study();
    let learning = Learning { draws: 64, cracks: 256, repeats: 2, asked: 24, seed: 1, threads: 0 };
    let mut places = Vec::new();
    for seed in 1000..1000 + PASTS {
        let past = study.invented_past(seed).expect("a past");
        let records = Records::parse(&past.records, "invented", &Format::default()).expect("records");
        let mut stream = Stream::new(Key::from_seed(9).child(seed));
        // Rows that are looked at together share what is uncertain: of one row each look is new, given all before it.
        for look in study.hindcast(&records, &learning).expect("looks").looks.iter().filter(|look| look.row == 0) {
            let [fewer, so_many] = look.at_found();
            // A count has ties: where in its own chance it lies is drawn.
            places.push(fewer + so_many * stream.uniform());
        }
    }
    let bands = UniformBands::new(places.len(), 20, 0.05);
    assert!(places.len() as u64 == 4 * PASTS && bands.hold(&places), "{places:?}");
    let less: Vec<f64> = places.iter().map(|place| place.powf(1.6)).collect();
    assert!(!bands.hold(&less), "finds that are expected too often are not noticed");
}

#[test]
fn truths_rank_evenly_among_what_is_believed() {
    let study = study();
    // 5 % in all, shared by four quantities.
    let bands = UniformBands::new(TRUTHS as usize, 20, 0.05 / 4.0);
    let learning = Learning { draws: 96, cracks: 256, repeats: 2, asked: 1, seed: 1, threads: 0 };
    let mut ranks: [Vec<f64>; 4] = Default::default();
    let mut finds = 0;
    for truth in 0..TRUTHS {
        let mut stream = Stream::new(Key::from_seed(7).child(truth));
        let past = study.invented_past(truth).expect("a past");
        let records = Records::parse(&past.records, "invented", &Format::default()).expect("records");
        let given = believed(&study, &records, &Learning { seed: truth, ..learning.clone() }).study;
        let posterior = given.posterior.as_ref().expect("draws");
        let row = posterior.rows[0].as_ref().expect("a row");
        let plan = RowPlan::new(&given, &given.rows[0]).expect("a plan");
        let each = row.hazards.len() / posterior.uncertain.len();
        let mut draws: [Vec<f64>; 4] = Default::default();
        for _ in 0..BESIDE {
            let draw = (stream.uniform() * row.hazards.len() as f64) as usize;
            let uncertain = &posterior.uncertain[draw / each];
            draws[0].push(row.hazards[draw] * (-plan.nature.uncertain.of_hazard(uncertain)).exp());
            draws[1].push(uncertain[0]);
            draws[2].push(uncertain[1]);
        }
        let mut lives = Lives::new(&plan, &given);
        let keys = (0..BESIDE as u32).map(|life| LifeKey::from(Key::from_seed(8).child(truth).child(life.into())));
        lives.begin(keys).expect("lives");
        let (nature, start) = (&lives.batch().nature, plan.nature.calendar.start);
        for life in 0..BESIDE {
            let own = &nature.cracks[nature.first_cracks(life)];
            draws[3].push(own.iter().filter(|crack| crack.is_present(start)).count() as f64);
        }
        let own = &past.rows[0];
        let truths = [own.row_factor, past.uncertain[0], past.uncertain[1], own.cracks_mm.len() as f64];
        for ((ranks, truth), draws) in ranks.iter_mut().zip(truths).zip(&draws) {
            ranks.push(rank(truth, draws, &mut stream));
        }
        finds += own.finds;
    }
    assert!(finds as u64 > TRUTHS / 4, "{finds} finds say little");
    for (ranks, what) in ranks.iter().zip(["row factor", "initiation scale", "technique effect", "cracks present"]) {
        assert!(bands.hold(ranks), "{what}: ranks are not even");
        // What is too narrow or too wide by a fifth is seen.
        let pushed = |by: f64| {
            ranks
                .iter()
                .map(|rank| {
                    let z = crate::math::normal_quantile(*rank);
                    crate::math::normal_cdf(by * z)
                })
                .collect::<Vec<f64>>()
        };
        assert!(!bands.hold(&pushed(1.35)) && !bands.hold(&pushed(0.7)), "{what}: a wrong spread is not seen");
    }
}
