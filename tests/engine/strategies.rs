//! What strategies do, one act at a time, on the row of yardstick problem y2: each answer is known
//! on paper or equals that of another strategy.

use crate::support::{ByNumber, Lived, again_by};
use serrata::Study;
use serrata::model::StudyParts;
use serrata::model::detection::Persistence;
use serrata::model::fleet::{HotSpot, Row};
use serrata::model::initiation::{InitiationLaw, InitiationShape};
use serrata::model::strategy::{Action, AfterLoss, Disposition, RowEnd, RowEndAction, Sample, When};
use serrata::simulation::{Comparison, Quantity, Run};
use std::ops::Range;

const NONE: usize = 0;
const IN_PLACE: usize = 1;
const OUT_THIRD: usize = 2;
const ESCALATED: usize = 3;

/// Lives the yardstick row with one thing changed.
fn lived(change: impl Fn(&mut StudyParts)) -> Comparison {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/engine/data/y2.toml");
    let mut study = Study::load(path).expect("a valid study").into_parts();
    change(&mut study);
    study.simulate(&Run { trials: 4_000, seed: 11, ..Run::default() }).expect("a run")
}

/// A third technique like the second.
fn add_copy_of_second(study: &mut StudyParts) {
    let mut copy = study.techniques[1].clone();
    copy.id = "copy".to_owned();
    study.techniques.push(copy);
    let kept = &study.persistence.correlation;
    let known = |i: usize, j: usize| if i < 2 && j < 2 { kept[i][j] } else { f64::from(u8::from(i == j)) };
    let correlation = (0..3).map(|i| (0..3).map(|j| known(i, j)).collect()).collect();
    study.persistence = Persistence::new(correlation).expect("a correlation matrix");
}

fn value(comparison: &Comparison, strategy: usize, quantity: Quantity) -> f64 {
    comparison.fleet_of(strategy, quantity).value
}

/// Two strategies let the same blades go in the same lives.
fn assert_same_losses(comparison: &Comparison, one: usize, other: usize) {
    let losses = |strategy| comparison.fleet_losses_of(strategy).iter().map(|year| year.value).collect::<Vec<_>>();
    assert!(value(comparison, one, Quantity::Losses) > 0.5);
    assert_eq!(losses(one), losses(other));
}

/// Blades followed one by one, rows in order of time, and rows whose called blades go at once: three pieces of code
/// for one thing. A rule that never applies (more blades called than there are) leads from the first and the last to
/// the second. More than one technique looks at once, and blades are falsely called again and again.
fn every_way_of_following_a_row_comes_to_the_same(life_in_starts: f64, outages_per_year: usize, cracks: Range<f64>) {
    let answers = |never: Option<u32>, end: Option<RowEnd>| {
        let comparison = lived(|study| {
            study.initiation[0].shape = InitiationShape::Weibull { shape: 2.0, scale: life_in_starts };
            let moments = 1..30 * outages_per_year;
            study.units[0].outages.years = moments.map(|moment| moment as f64 / outages_per_year as f64).collect();
            study.techniques[0].false_call_probability = 0.01;
            for strategy in &mut study.strategies {
                strategy.replace_row_from_blades = never;
                strategy.row_end = end;
            }
            study.strategies[OUT_THIRD].looks[0].techniques = vec![0, 1];
            let mut again = study.strategies[ESCALATED].looks[0].clone();
            (again.when, again.techniques) = (When::every(2, 2), vec![1]);
            study.strategies[ESCALATED].looks.push(again);
            // Two second looks, which find the same cracks.
            add_copy_of_second(study);
            for look in &mut study.strategies[ESCALATED].looks {
                look.escalation.as_mut().expect("an escalation").techniques.push(2);
            }
        });
        let mut answers = Vec::new();
        for strategy in [NONE, IN_PLACE, OUT_THIRD, ESCALATED] {
            answers.extend(Quantity::ALL.map(|quantity| value(&comparison, strategy, quantity)));
            answers.extend(comparison.after_outages_of(0, strategy).iter().map(|after| after.cracks.value));
        }
        let most = comparison.after_outages_of(0, NONE).iter().map(|after| after.cracks.value).fold(0.0, f64::max);
        assert!(end.is_some() || cracks.contains(&most), "{most} cracks");
        answers
    };
    for then in [None, Some(RowEndAction::NewRow), Some(RowEndAction::Retired)] {
        let end = then.map(|then| RowEnd { year: 20.0, then });
        assert_eq!(answers(None, end), answers(Some(1_000), end), "{end:?}");
    }
}

#[test]
fn rows_with_few_cracks_come_to_the_same_however_they_are_followed() {
    every_way_of_following_a_row_comes_to_the_same(20_000.0, 1, 3.0..30.0);
}

#[test]
fn rows_with_more_cracks_than_a_word_has_bits_come_to_the_same_however_they_are_followed() {
    every_way_of_following_a_row_comes_to_the_same(5_000.0, 1, 64.0..1_000.0);
}

#[test]
fn rows_with_more_outages_than_a_word_has_bits_come_to_the_same_however_they_are_followed() {
    every_way_of_following_a_row_comes_to_the_same(20_000.0, 3, 3.0..30.0);
}

/// Nobody looks: what is in the row at the end of a year does not depend on how many outages there were before.
#[test]
fn more_outages_than_a_word_has_bits_show_the_same_row() {
    let after = |outages_per_year: usize| {
        let comparison = lived(|study| {
            let moments = 1..30 * outages_per_year;
            study.units[0].outages.years = moments.map(|moment| moment as f64 / outages_per_year as f64).collect();
        });
        let yearly =
            comparison.after_outages_of(0, NONE).into_iter().skip(outages_per_year - 1).step_by(outages_per_year);
        yearly.collect::<Vec<_>>()
    };
    let (few, many) = (after(1), after(4));
    assert_eq!((few.len(), many.len()), (29, 29));
    assert!(few[28].cracks.value > 3.0, "{:?}", few[28].cracks);
    for (year, (few, many)) in few.iter().zip(&many).enumerate() {
        assert_eq!(few.cracks.value, many.cracks.value, "year {}", year + 1);
        assert_eq!(few.longest_mm, many.longest_mm, "year {}", year + 1);
    }
}

#[test]
fn a_retired_row_loses_no_blade_afterwards() {
    let comparison = lived(|study| {
        for strategy in &mut study.strategies {
            strategy.row_end = Some(RowEnd { year: 20.0, then: RowEndAction::Retired });
        }
    });
    for strategy in [NONE, ESCALATED] {
        let years = comparison.fleet_losses_of(strategy);
        assert!(years[20..].iter().all(|year| year.value == 0.0));
    }
    assert!(comparison.fleet_losses_of(NONE)[10..20].iter().any(|year| year.value > 0.0));
}

#[test]
fn a_new_row_has_no_cracks_and_counts_once() {
    let end = Some(RowEnd { year: 20.0, then: RowEndAction::NewRow });
    let comparison = lived(|study| study.strategies.iter_mut().for_each(|strategy| strategy.row_end = end));
    for strategy in [NONE, ESCALATED] {
        assert_eq!(value(&comparison, strategy, Quantity::RowsReplaced), 1.0);
        let after = comparison.after_outages_of(0, strategy);
        assert!(after[18].cracks.value > 0.0);
        assert_eq!(after[19].cracks.value, 0.0, "just after the year-20 outage");
    }
}

#[test]
fn a_look_at_no_blade_at_another_row_or_place_changes_no_loss() {
    let comparison = lived(|study| {
        let other = Row { id: "other".to_owned(), ..study.rows[0].clone() };
        study.rows.push(other);
        // A place that never cracks.
        let shape = InitiationShape::Exponential { mean: 1e12 };
        let never = InitiationLaw { id: "never".to_owned(), shape, ..study.initiation[0].clone() };
        study.initiation.push(never);
        let spots = &mut study.roots[0].hot_spots;
        spots.push(HotSpot { id: "elsewhere".to_owned(), serrations: vec![4], initiation: 1, ..spots[0].clone() });
        study.strategies[IN_PLACE].looks[0].coverage.blades = Sample::ByChance(1e-9);
        study.strategies[OUT_THIRD].looks[0].coverage.rows = Some(vec![1]);
        study.strategies[ESCALATED].looks[0].coverage.hot_spots = Some(vec!["elsewhere".to_owned()]);
        study.techniques.iter_mut().for_each(|technique| technique.false_call_probability = 0.0);
    });
    let losses = |strategy| comparison.row_losses_of(0, strategy).iter().map(|year| year.value).collect::<Vec<_>>();
    assert!(comparison.row_of(0, NONE, Quantity::Losses).value > 0.5);
    for strategy in [IN_PLACE, OUT_THIRD, ESCALATED] {
        assert_eq!(losses(strategy), losses(NONE));
        assert_eq!(comparison.row_of(0, strategy, Quantity::CracksFound).value, 0.0);
    }
    assert!(comparison.row_of(1, OUT_THIRD, Quantity::CracksFound).value > 0.0);
}

#[test]
fn half_the_blades_looked_at_leaves_more_cracks_than_all() {
    let comparison = lived(|study| {
        let mut half = study.strategies[OUT_THIRD].clone();
        half.id = "half".to_owned();
        half.looks[0].coverage.blades = Sample::ByChance(0.5);
        study.strategies[IN_PLACE] = half;
    });
    let left = |strategy: usize| comparison.after_outages_of(0, strategy)[26].cracks.value;
    assert!(left(OUT_THIRD) < left(IN_PLACE) && left(IN_PLACE) < left(NONE));
}

/// Whoever calls a crack at an outage, it counts once: as many are found as are gone, where every blade has one crack at
/// most and no call is false.
#[test]
fn a_crack_counts_once_an_outage_whoever_calls_it() {
    let comparison = lived(|study| {
        add_copy_of_second(study);
        study.techniques.iter_mut().for_each(|technique| technique.false_call_probability = 0.0);
        let spot = &mut study.roots[0].hot_spots[0];
        (spot.serrations, spot.sides) = (vec![1], vec![spot.sides[0]]);
        for first_call_stands in [true, false] {
            let at = usize::from(first_call_stands) + 1;
            study.strategies[at] = study.strategies[ESCALATED].clone();
            study.strategies[at].id = format!("{first_call_stands}");
            study.strategies[at].looks[0].escalation = Some(again_by(vec![1, 2], first_call_stands));
        }
    });
    for strategy in [1, 2] {
        let found = value(&comparison, strategy, Quantity::CracksFound);
        assert!(found > 0.5);
        assert_eq!(found, value(&comparison, strategy, Quantity::BladesReplaced), "strategy {strategy}");
    }
}

#[test]
fn a_second_look_that_sees_nothing_overrules_the_first() {
    let comparison = lived(|study| {
        let second = &mut study.techniques[1];
        second.pod.ceiling = 1e-15;
        second.false_call_probability = 0.0;
        let escalation = again_by(vec![1], false);
        study.strategies[ESCALATED].looks[0].escalation = Some(escalation);
    });
    assert!(value(&comparison, ESCALATED, Quantity::Escalated) > 0.9);
    assert!(value(&comparison, ESCALATED, Quantity::TimesOut) > 1.0);
    assert_eq!(value(&comparison, ESCALATED, Quantity::BladesReplaced), 0.0);
    assert_same_losses(&comparison, NONE, ESCALATED);
}

#[test]
fn a_watched_blade_is_called_but_stays() {
    let watch = vec![Disposition::last(Action::Watch)];
    let comparison = lived(|study| study.strategies[IN_PLACE].dispositions = watch.clone());
    assert!(value(&comparison, IN_PLACE, Quantity::CracksFound) > 1.0);
    assert_eq!(value(&comparison, IN_PLACE, Quantity::BladesReplaced), 0.0);
    assert_same_losses(&comparison, NONE, IN_PLACE);
}

#[test]
fn short_indications_are_watched_and_long_ones_replaced() {
    // Sizes are measured without error here, so every blade replaced for a crack had one above the rule.
    let rules =
        |length_mm: f64| vec![Disposition::below_mm(length_mm, Action::Watch), Disposition::last(Action::Replace)];
    let replaced = |length_mm: f64| {
        let comparison = lived(|study| study.strategies[IN_PLACE].dispositions = rules(length_mm));
        value(&comparison, IN_PLACE, Quantity::BladesReplaced)
    };
    let plain = value(&lived(|_| ()), IN_PLACE, Quantity::BladesReplaced);
    assert_eq!(replaced(1e-6), plain, "a rule below every length is no rule");
    assert!(replaced(5.0) < plain);
    assert_eq!(replaced(1e5), 0.0, "a rule above every length replaces nothing");
}

#[test]
fn one_indication_can_replace_the_row() {
    let comparison = lived(|study| study.strategies[IN_PLACE].replace_row_from_blades = Some(1));
    assert_eq!(value(&comparison, IN_PLACE, Quantity::BladesReplaced), 0.0);
    let outages = value(&comparison, IN_PLACE, Quantity::OutagesWithCalls);
    assert_eq!(value(&comparison, IN_PLACE, Quantity::RowsReplaced), outages);
}

#[test]
fn a_loss_can_replace_the_row() {
    let comparison = lived(|study| {
        study.strategies[NONE].after_loss = AfterLoss::ReplaceRow;
        study.costs.new_row_cost = 7.0;
        study.costs.loss_cost = serrata::distribution::Distribution::Fixed(100.0);
    });
    let losses = value(&comparison, NONE, Quantity::Losses);
    assert!(losses > 0.1);
    assert_eq!(value(&comparison, NONE, Quantity::RowsReplaced), losses);
    assert!((value(&comparison, NONE, Quantity::ReplacementCost) / losses - 7.0).abs() < 1e-9);
    assert!((value(&comparison, NONE, Quantity::LossCost) / losses - 100.0).abs() < 1e-9);
}

#[test] // a sum of a geometric series, on paper
fn scheduled_work_costs_its_discounted_sum() {
    let rate = 0.05;
    let comparison = lived(|study| {
        study.money.discount_rate = rate;
        study.techniques[1].cost_per_row = 10.0;
        study.techniques[1].cost_per_blade = 0.5;
        study.techniques[1].days_per_row = 2.0;
        study.costs.blades_out_cost = 100.0;
        study.costs.blades_out_days = 9.0;
        study.costs.outage_day_cost = serrata::model::economics::DayCost::Same(1000.0);
        study.units[0].outages.window_days = 8.0;
    });
    let worth: f64 = (1..=9).map(|look| (1.0_f64 + rate).powi(-3 * look)).sum();
    for (quantity, expected) in [
        (Quantity::LookCost, (10.0 + 80.0 * 0.5) * worth),
        (Quantity::BladesOutCost, 100.0 * worth),
        (Quantity::ExtraDayCost, 1000.0 * 3.0 * worth),
        (Quantity::LookDays, 18.0),
        (Quantity::BladesOutDays, 81.0),
        (Quantity::TimesOut, 9.0),
    ] {
        let ours = value(&comparison, OUT_THIRD, quantity);
        assert!((ours / expected - 1.0).abs() < 1e-12, "{}: {ours} against {expected}", quantity.name());
    }
}

#[test]
fn too_many_looks_are_refused() {
    let mut study = lived(|_| ()).study.into_parts();
    study.strategies[IN_PLACE].looks = vec![study.strategies[IN_PLACE].looks[0].clone(); 33];
    let error = Study::new(study).expect_err("33 looks");
    assert_eq!(error.faults().len(), 1);
    assert_eq!(error.faults()[0].path, "strategies.insitu_every.looks");
    assert_eq!(error.faults()[0].rule, "must hold at most 32 looks");
}
