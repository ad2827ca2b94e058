//! What holds for every study, over random ones.

use super::studies;
use crate::distribution::{Distribution, Outcomes};
use crate::model::economics::{DayCost, Season, Seasons};
use crate::model::fleet::Consequences;
use crate::model::strategy::{
    Action, Agreement, Choice, Coverage, Deferral, Disposition, Dressing, ExtraLook, Look, Sample, SampleSize,
    SisterRows, SisterScope, Spares, Strategy, UsedBlades, When, WhenWindowCloses, WithoutSpare,
};
use crate::model::surface_treatment::{Cleaning, Peening};
use crate::model::{StrategyId, Study, StudyParts};
use crate::simulation::{Comparison, Quantity, Run};
use proptest::prelude::*;
use proptest::test_runner::{RngSeed, TestRunner};

/// Holds a property against random studies. The seed is fixed, so that a failure comes again.
fn hold(property: impl Fn(&Study) -> Result<(), String>) {
    let config = ProptestConfig {
        cases: 100,
        failure_persistence: None,
        rng_seed: RngSeed::Fixed(5),
        ..ProptestConfig::default()
    };
    TestRunner::new(config)
        .run(&studies::texts(), |text| {
            let study = Study::parse(&text, "random").map_err(|error| TestCaseError::fail(error.to_string()))?;
            property(&study).map_err(|fault| TestCaseError::fail(fault + "\n" + &text))
        })
        .unwrap_or_else(|fault| panic!("{fault}"));
}

fn run(study: &Study) -> Comparison {
    study.simulate(&Run { trials: 20, seed: 9, threads: 1, ..Run::default() }).expect("a good run")
}

const MONEY: [Quantity; 11] = [
    Quantity::Cost,
    Quantity::LookCost,
    Quantity::BladesOutCost,
    Quantity::ReplacementCost,
    Quantity::DressingCost,
    Quantity::StopCost,
    Quantity::SurfaceCost,
    Quantity::ExtraDayCost,
    Quantity::StartsLimitCost,
    Quantity::SparesCost,
    Quantity::LossCost,
];

/// Whether every number of every row is that of another run, with money so many times as much.
fn are_alike(one: &Comparison, other: &Comparison, times: f64) -> Result<(), String> {
    let strategies = || one.study.strategy_ids();
    for (row, strategy) in one.study.row_ids().flat_map(|row| strategies().map(move |strategy| (row, strategy))) {
        for quantity in Quantity::ALL {
            let factor = if MONEY.contains(&quantity) { times } else { 1.0 };
            let [a, b] = [one, other].map(|run| run.row(row, strategy, quantity).value);
            if (factor * a).to_bits() != b.to_bits() {
                return Err(format!("{row:?}, {strategy:?}: {} {a} and {b}", quantity.name()));
            }
        }
    }
    Ok(())
}

/// The distribution of twice a cost.
fn twice(cost: &Distribution) -> Distribution {
    match cost {
        &Distribution::Fixed(value) => Distribution::Fixed(2.0 * value),
        &Distribution::Lognormal { median, sigma_log } => Distribution::Lognormal { median: 2.0 * median, sigma_log },
        &Distribution::Pareto { minimum, tail_exponent, capped_at } => {
            Distribution::Pareto { minimum: 2.0 * minimum, tail_exponent, capped_at: 2.0 * capped_at }
        }
        Distribution::Outcomes(outcomes) => {
            let values = outcomes.values().iter().map(|value| 2.0 * value).collect();
            Distribution::Outcomes(Outcomes::new(values, outcomes.probabilities().to_vec()).expect("the same outcomes"))
        }
        other => panic!("no random study has {other:?}"),
    }
}

#[test] // doubling is exact in binary numbers
fn twice_all_prices_are_twice_all_costs_and_nothing_else() {
    hold(|study| {
        let mut dear = study.clone().into_parts();
        let costs = &mut dear.costs;
        for price in [
            &mut costs.blades_out_cost_per_blade,
            &mut costs.blades_out_cost,
            &mut costs.rotor_lift_cost,
            &mut costs.new_blade_cost,
            &mut costs.new_row_cost,
        ] {
            *price *= 2.0;
        }
        costs.dressing_cost = costs.dressing_cost.map(|cost| 2.0 * cost);
        costs.loss_cost = twice(&costs.loss_cost);
        costs.outage_day_cost = match &costs.outage_day_cost {
            DayCost::Same(cost) => DayCost::Same(2.0 * cost),
            DayCost::Seasons(seasons) => {
                let dear = |season: &Season| Season { cost: 2.0 * season.cost, ..*season };
                DayCost::Seasons(Seasons::new(seasons.all().iter().map(dear).collect()).expect("the same seasons"))
            }
        };
        for technique in &mut dear.techniques {
            technique.cost_per_row *= 2.0;
            technique.cost_per_blade *= 2.0;
        }
        for limit in dear.strategies.iter_mut().filter_map(|strategy| strategy.starts_limit.as_mut()) {
            limit.cost_per_year *= 2.0;
        }
        for look in dear.strategies.iter_mut().filter_map(|strategy| strategy.extra_look.as_mut()) {
            look.stop_cost *= 2.0;
        }
        for stock in dear.strategies.iter_mut().flat_map(|strategy| &mut strategy.spares) {
            stock.cost_per_year *= 2.0;
            stock.used_blades.iter_mut().for_each(|used| used.cost_per_blade *= 2.0);
        }
        for cleaning in &mut dear.cleaning {
            cleaning.cost_per_row *= 2.0;
            cleaning.cost_per_blade *= 2.0;
        }
        for peening in dear.strategies.iter_mut().flat_map(|strategy| &mut strategy.peening) {
            peening.cost_per_row *= 2.0;
        }
        for watch in dear.strategies.iter_mut().filter_map(|strategy| strategy.watch.as_mut()) {
            watch.cost_per_row = watch.cost_per_row.map(|cost| 2.0 * cost);
            watch.cost_per_blade = watch.cost_per_blade.map(|cost| 2.0 * cost);
        }
        are_alike(&run(study), &run(&Study::of_checked(dear)), 2.0)
    });
}

#[test]
fn costs_and_days_add_up_over_what_they_are_for_and_over_rows() {
    hold(|study| {
        let comparison = run(study);
        let near = |one: f64, other: f64| (one - other).abs() <= 1e-9 * (1.0 + one.abs());
        for strategy in study.strategy_ids() {
            for (whole, parts) in [
                (Quantity::Cost, &MONEY[1..]),
                (
                    Quantity::Days,
                    &[
                        Quantity::LookDays,
                        Quantity::BladesOutDays,
                        Quantity::ReplacementDays,
                        Quantity::DressingDays,
                        Quantity::StopDays,
                        Quantity::WaitDays,
                        Quantity::SurfaceDays,
                        Quantity::ForcedDays,
                    ][..],
                ),
            ] {
                let of_row = |row, quantity| comparison.row(row, strategy, quantity).value;
                for row in study.row_ids() {
                    let (all, sum) = (of_row(row, whole), parts.iter().map(|part| of_row(row, *part)).sum::<f64>());
                    if !near(all, sum) {
                        return Err(format!("{row:?}: {} {all}, its parts {sum}", whole.name()));
                    }
                }
                for &quantity in parts.iter().chain([&whole]) {
                    let all = comparison.fleet(strategy, quantity).value;
                    let sum: f64 = study.row_ids().map(|row| of_row(row, quantity)).sum();
                    if !near(all, sum) {
                        return Err(format!("fleet: {} {all}, its rows {sum}", quantity.name()));
                    }
                }
            }
        }
        Ok(())
    });
}

#[test]
fn rules_that_never_fire_change_no_bit() {
    hold(|study| {
        let mut ruled = study.clone().into_parts();
        for strategy in &mut ruled.strategies {
            // More blades than a row has; sisters of rows on rotors of their own.
            strategy.replace_row_from_blades = strategy.replace_row_from_blades.or(Some(1_000));
            // Shorter, and less deep, than any indication.
            let never = [
                Disposition::below_mm(1e-6, Action::Dress),
                Disposition::below_mm(1e-6, Action::RunOn),
                Disposition::below_depth_mm(1e-6, Action::Watch),
            ];
            strategy.dispositions.splice(0..0, never);
            let dressing =
                Dressing { gone_probability: 0.5, life_factor: 0.1, at_most_depth_mm: 5.0, blades_out: true };
            strategy.dressing = strategy.dressing.or(Some(dressing));
            // Later than any next outage, or the end.
            if strategy.deferrals.is_empty() {
                strategy.deferrals = vec![Deferral { outage: 2, by_years: 0.0, units: None }];
            }
            for look in &mut strategy.looks {
                // A sample of all blades; a technique that agrees with itself.
                if look.coverage.blades == Sample::ALL {
                    look.coverage.blades = Sample::Number(SampleSize::Fraction(1.0), Choice::LeastLookedAt);
                }
                if look.techniques.len() == 1 {
                    look.agreement = Agreement::All;
                }
            }
            let technique = vec![0];
            let extra = ExtraLook { after_years: 100.0, techniques: technique, stop_cost: 9.0, stop_days: 9.0 };
            strategy.extra_look = strategy.extra_look.take().or(Some(extra));
            if strategy.sister_rows.is_none() {
                strategy.sister_rows = Some(SisterRows { of: SisterScope::Rotor, techniques: vec![0] });
            }
        }
        for root in ruled.roots.iter_mut().filter(|root| root.consequences == Consequences::default()) {
            root.consequences.neighbours = 3;
        }
        let mut without = study.clone().into_parts();
        for study in [&mut ruled, &mut without] {
            // Lifts are shared by rotor: none, so that rotors change nothing else.
            (study.costs.rotor_lift_cost, study.costs.rotor_lift_days) = (0.0, 0.0);
            for (number, row) in study.rows.iter_mut().enumerate() {
                row.rotor = format!("rotor {number}");
            }
        }
        are_alike(&run(&Study::of_checked(without)), &run(&Study::of_checked(ruled)), 1.0)
    });
}

/// A stock that never runs out.
fn plenty(without: WithoutSpare) -> Spares {
    Spares { roots: None, blades: 100_000, lead_days: 3e4, without, cost_per_year: 0.0, used_blades: None }
}

/// Blades are asked for one by one then, so that cracks come into the row, and into sums of lengths, in another order.
#[test]
fn a_stock_that_never_runs_out_changes_nothing() {
    for without in [WithoutSpare::Wait, WithoutSpare::RunOnWatched] {
        hold(|study| {
            let mut stocked = study.clone().into_parts();
            let mut without_stock = study.clone().into_parts();
            for strategy in &mut without_stock.strategies {
                strategy.spares.clear();
            }
            for strategy in &mut stocked.strategies {
                strategy.spares = vec![plenty(without)];
            }
            are_alike_in_another_order(without_stock, stocked)
        });
    }
}

#[test]
fn a_window_that_leaves_time_for_all_blades_changes_nothing() {
    hold(|study| {
        let mut lasting = study.clone().into_parts();
        lasting.units.iter_mut().for_each(|unit| unit.outages.window_days = 1e6);
        let mut closing = lasting.clone();
        let may_close = |strategy: &&mut Strategy| strategy.dressing.is_none();
        let both = lasting.strategies.iter_mut().zip(&mut closing.strategies);
        for (lasting, closing) in both.filter(|(_, closing)| may_close(closing)) {
            lasting.when_window_closes = WhenWindowCloses::Overrun;
            closing.when_window_closes = WhenWindowCloses::RunOnWatched;
        }
        are_alike_in_another_order(lasting, closing)
    });
}

/// Whether all numbers are the same bits, but for means of lengths, which are so but for the order in which they were added.
fn are_alike_in_another_order(one: StudyParts, other: StudyParts) -> Result<(), String> {
    let [plain, ruled] = [one, other].map(|parts| run(&Study::of_checked(parts)));
    are_alike(&plain, &ruled, 1.0)?;
    let near = |one: f64, other: f64| (one - other).abs() <= 1e-12 * one.abs();
    let study = &plain.study;
    for (row, strategy) in study.row_ids().flat_map(|row| study.strategy_ids().map(move |strategy| (row, strategy))) {
        let after = [&plain, &ruled].map(|run| run.after_outages(row, strategy));
        for (one, other) in after[0].iter().zip(&after[1]) {
            let means = [one, other].map(|after| after.mean_length_mm.map_or(0.0, |mean| mean.value));
            if one.cracks.value.to_bits() != other.cracks.value.to_bits()
                || one.longest_mm != other.longest_mm
                || !near(means[0], means[1])
            {
                return Err(format!("{row:?}, {strategy:?}: {one:?} and {other:?}"));
            }
        }
    }
    Ok(())
}

/// With all their life before them, at the price of new ones, and none of these in stock.
#[test]
fn used_blades_that_are_as_new_ones_change_no_bit() {
    for without in [WithoutSpare::Wait, WithoutSpare::RunOnWatched] {
        hold(|study| {
            let used = UsedBlades { blades: 100_000, life_factor: 1.0, cost_per_blade: study.costs.new_blade_cost };
            let stocked = |stock: Spares| {
                let mut parts = study.clone().into_parts();
                parts.strategies.iter_mut().for_each(|strategy| strategy.spares = vec![stock.clone()]);
                run(&Study::of_checked(parts))
            };
            let new = stocked(plenty(without));
            let used = stocked(Spares { blades: 0, used_blades: Some(used), ..plenty(without) });
            for (row, strategy) in study.row_ids().flat_map(|row| study.strategy_ids().map(move |one| (row, one))) {
                for quantity in Quantity::ALL {
                    let [one, other] = [&new, &used].map(|run| run.row(row, strategy, quantity).value);
                    if quantity == Quantity::UsedBladesFitted {
                        let replaced = new.row(row, strategy, Quantity::BladesReplaced).value;
                        if one != 0.0 || other < replaced {
                            return Err(format!("{row:?}, {strategy:?}: {one} and {other} used, {replaced} replaced"));
                        }
                    } else if one.to_bits() != other.to_bits() {
                        return Err(format!("{row:?}, {strategy:?}: {} {one} and {other}", quantity.name()));
                    }
                }
                // As text, since a standard error that is not known is no number.
                let [one, other] = [&new, &used].map(|run| format!("{:?}", run.after_outages(row, strategy)));
                if one != other {
                    return Err(format!("{row:?}, {strategy:?}: {one} and {other}"));
                }
            }
            Ok(())
        });
    }
}

/// Rows whose rules hang on no others are lived one by one, or with others of which some strategy has a stock: the same bits.
#[test]
fn a_strategy_with_a_stock_changes_no_bit_of_the_others() {
    hold(|study| {
        let mut more = study.clone().into_parts();
        let few = plenty(WithoutSpare::Wait);
        let stock = Spares { blades: 1, lead_days: 400.0, cost_per_year: 1.0, ..few };
        let mut another = study.strategies[0].clone();
        (another.id, another.spares) = ("another".to_owned(), vec![stock]);
        more.strategies.push(another);
        // Stocks of the study's own strategies tie its units already.
        let mut own = study.clone().into_parts();
        for strategies in [&mut own.strategies, &mut more.strategies] {
            let count = study.strategies.len();
            strategies[..count].iter_mut().for_each(|strategy| strategy.spares.clear());
        }
        let [own, more] = [own, more].map(|parts| run(&Study::of_checked(parts)));
        are_alike(&own, &more, 1.0)?;
        for (strategy, quantity) in study.strategy_ids().flat_map(|strategy| Quantity::ALL.map(|one| (strategy, one))) {
            let [one, other] = [&own, &more].map(|run| run.fleet(strategy, quantity).value);
            if one.to_bits() != other.to_bits() {
                return Err(format!("fleet, {strategy:?}: {} {one} and {other}", quantity.name()));
            }
        }
        Ok(())
    });
}

#[test]
fn treatments_of_surfaces_that_change_nothing_change_no_bit() {
    hold(|study| {
        let mut treated = study.clone().into_parts();
        let free = |id: &str| Cleaning {
            id: id.to_owned(),
            q50_factors: vec![1.0; study.techniques.len()],
            closes_mouth_probability: 0.0,
            cost_per_row: 0.0,
            cost_per_blade: 0.0,
            days_per_row: 0.0,
            basis: None,
        };
        // One in place of each that is there, and another one.
        treated.cleaning = ["none", "neither", "nor"].map(free).to_vec();
        let mut plain = study.clone().into_parts();
        for strategy in &mut plain.strategies {
            strategy.looks.iter_mut().for_each(|look| look.cleaning = None);
            strategy.peening.clear();
        }
        for strategy in &mut treated.strategies {
            strategy.looks.iter_mut().enumerate().for_each(|(number, look)| {
                look.cleaning = look.cleaning.or_else(|| number.is_multiple_of(2).then_some(2));
            });
            strategy.peening = vec![Peening {
                when: When::every(1, 2),
                rows: None,
                life_factor: 1.0,
                cost_per_row: 0.0,
                days_per_row: 0.0,
                blades_out: false,
            }];
        }
        are_alike(&run(&Study::of_checked(plain)), &run(&Study::of_checked(treated)), 1.0)
    });
}

#[test]
fn a_perfect_look_at_every_outage_leaves_no_crack() {
    hold(|study| {
        let mut perfect = study.clone().into_parts();
        let technique = &mut perfect.techniques[0];
        (technique.pod.floor, technique.pod.ceiling) = (1.0, 1.0);
        (technique.depth_gate, technique.closed_mouth_factor) = (None, 1.0);
        let look = Look {
            techniques: vec![0],
            cleaning: None,
            when: When::Every { first_outage: 1, every_outages: 1 },
            instead_of_others: false,
            agreement: Agreement::Any,
            coverage: Coverage { blades: Sample::ALL, hot_spots: None, rows: None },
            escalation: None,
            after_finds: None,
            after_clean: None,
            skip_after_clean: None,
        };
        perfect.strategies = vec![Strategy {
            looks: vec![look],
            dispositions: vec![Disposition::last(Action::Replace)],
            when_window_closes: WhenWindowCloses::Overrun,
            dressing: None,
            watch: None,
            spares: Vec::new(),
            sister_rows: None,
            replace_row_from_blades: None,
            row_end: None,
            ..perfect.strategies[0].clone()
        }];
        perfect.baseline = StrategyId(0);
        let comparison = run(&Study::of_checked(perfect));
        for row in comparison.study.row_ids() {
            if let Some(left) =
                comparison.after_outages(row, comparison.study.baseline).iter().find(|after| after.cracks.value > 0.0)
            {
                return Err(format!("{row:?}: {} cracks after {}", left.cracks.value, left.year));
            }
        }
        Ok(())
    });
}
