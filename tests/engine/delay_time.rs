//! Cracks that arrive at random, fail after an exponential delay and are found by each look with one probability: the
//! delay-time model (A. H. Christer and W. M. Waller, J. Oper. Res. Soc. 35 (1984) 401), against closed forms and a chain
//! that is solved exactly.
//!
//! With Paris' exponent 2 the logarithm of depth rises in proportion to starts, so that a depth at the beginning that is
//! uniform up to the limit gives an exponential delay.

use crate::support::{ALLOWED, ByNumber, Lived};
use serrata::Study;
use serrata::distribution::Distribution;
use serrata::model::StudyParts;
use serrata::model::economics::Payments;
use serrata::model::initiation::InitiationShape;
use serrata::simulation::{Comparison, Estimate, Quantity, Run};

pub const LIMIT_MM: f64 = 10.0;
const STARTS_PER_YEAR: f64 = 100.0;

/// Rates a year and the probability that a look finds a crack.
#[derive(Clone, Copy)]
pub struct Model {
    pub crack_rate: f64,
    pub failure_rate: f64,
    pub pod: f64,
    pub blades: u32,
}

/// One strategy, with these looks and a look costing 1; outages every year for so many years.
pub fn study(model: Model, years: u32, looks: &str) -> StudyParts {
    let Model { crack_rate, failure_rate, pod, blades } = model;
    // da/dN = C (Y S)**2 pi a, with a in m: ln a rises by this much a start where C is 1.
    let (y, s_mpa) = (0.7, 500.0);
    let rise = (y * s_mpa) * (y * s_mpa) * std::f64::consts::PI;
    let coefficient = failure_rate / STARTS_PER_YEAR / rise;
    let mean_starts = STARTS_PER_YEAR / crack_rate;
    let text = format!(
        "[study]
name = \"delay time\"
start_year = 0
horizon_years = {years}
baseline = \"looks\"
[money]
currency = \"looks\"
discount_rate_per_year = 0
terms = \"real\"
payments = \"when-due\"
[scatter]
row_factor = 1
blade_stress_sigma_log = 0
[surfaces.bare]
initiation_life_factor = 1
[initiation.law]
clock = \"starts\"
kind = \"exponential\"
mean = {mean_starts}
stress_exponent = 0
[growth.law]
coefficient_m_per_start = {coefficient:e}
exponent = 2
crack_sigma_log = 0
row_sigma_log = 0
[roots.root.hot_spots.spot]
serrations = [1]
sides = [\"suction\"]
initiation = \"law\"
growth = \"law\"
stress = {{ membrane_mpa = {s_mpa}, bending_mpa = 0 }}
crack = {{ kind = \"fixed-factor\", geometry_factor = {y}, length_over_depth = 2 }}
initial_depth_mm = {{ kind = \"uniform\", low = 1e-6, high = {LIMIT_MM} }}
limit = {{ kind = \"depth\", depth_mm = {LIMIT_MM} }}
[units.unit]
duty = [{{ from_year = 0, starts_per_year = {STARTS_PER_YEAR}, hours_per_year = 0 }}]
outages = {{ first_year = 1, every_years = 1, window_days = 0 }}
[rows.row]
unit = \"unit\"
rotor = \"rotor\"
blades = {blades}
root = \"root\"
surface = \"bare\"
in_service_year = 0
[techniques.look]
access = \"in-place\"
pod = {{ size = \"length\", shape = \"logistic\", q50_mm = 1, spread = 1, floor = {floor}, ceiling = {pod} }}
grade = \"standard\"
grade_shift_log = 0
inspection_sigma = 0
crack_sigma = 0
false_call_probability = 0
false_call_length_mm = 1
sizing = {{ length_bias = 1, length_sigma_log = 0 }}
cost_per_row = 1
cost_per_blade = 0
days_per_row = 0
[strategies.looks]
description = \"Looks.\"
looks = [{{ techniques = [\"look\"], {looks} }}]
dispositions = [{{ action = \"replace\" }}]
after_loss = \"replace-blade\"
[costs]
blades_out_cost = 0
blades_out_days = 0
new_blade_cost = 0
new_blade_days = 0
new_row_cost = 0
new_row_days = 0
loss_cost = 0
loss_days = 0
outage_day_cost = 0
",
        // A curve that is flat: its floor lies a hair below its ceiling.
        floor = pod - 1e-9,
    );
    Study::parse(&text, "delay time").unwrap_or_else(|error| panic!("{error}")).into_parts()
}

fn run(study: &StudyParts, trials: u64) -> Comparison {
    study.simulate(&Run { trials, seed: 3, ..Run::default() }).expect("a good run")
}

fn assert_close(estimate: Estimate, expected: f64, what: &str) {
    let distance = (estimate.value - expected).abs() / estimate.standard_error;
    let Estimate { value, .. } = estimate;
    assert!(distance <= ALLOWED, "{what}: {value} against {expected}: {distance:.1} standard errors apart");
}

/// Share of cracks that fail before they are found, of looks every `interval` years without end, as Christer and Waller
/// have it for an exponential delay.
fn share_that_fails_first(failure_rate: f64, interval: f64, pod: f64) -> f64 {
    let e = (-failure_rate * interval).exp();
    1.0 - pod * (1.0 - e) / (failure_rate * interval * (1.0 - (1.0 - pod) * e))
}

#[test] // values of the closed form, computed with it and by quadrature to 1e-10
fn the_closed_form_has_its_published_values() {
    for (pod, share) in [(1.0, 0.213_061_3), (0.9, 0.246_024_2), (0.6, 0.376_589_8), (0.3, 0.589_729_1)] {
        assert!((share_that_fails_first(0.5, 1.0, pod) - share).abs() < 1e-7, "{pod}");
    }
}

#[test]
fn the_share_of_cracks_that_fail_first_is_that_of_the_delay_time_model() {
    let years = 30;
    for (interval, pod) in [(1, 0.9), (2, 0.6), (3, 0.3)] {
        let model = Model { crack_rate: 0.02, failure_rate: 0.5, pod, blades: 100 };
        let looks = format!("first_outage = {interval}, every_outages = {interval}");
        let comparison = run(&study(model, years, &looks), 4_000);
        // The first and last years are not the long run's: the chain below, without any reaction, has them exactly.
        let chain = Chain { model: Model { blades: 1, ..model }, interval, short: None };
        let expected: Vec<f64> = chain.losses_by_year(years).iter().map(|losses| 100.0 * losses).collect();
        for (year, (estimate, expected)) in comparison.row_losses_of(0, 0).iter().zip(expected).enumerate() {
            assert_close(*estimate, expected, &format!("interval {interval}, pod {pod}, year {year}"));
        }
        let found = comparison.row_of(0, 0, Quantity::CracksFound).value;
        let lost = comparison.row_of(0, 0, Quantity::Losses).value;
        let share = lost / (lost + found);
        let long_run = share_that_fails_first(0.5, f64::from(interval), pod);
        // Cracks of the last years are not through: roughly the long run's share, for rarely cracking blades.
        assert!((share - long_run).abs() < 0.03, "{share} against {long_run}");
    }
}

/// One blade that is sound or cracked, looked at every `interval` years, and every year for so many looks after a find or
/// a loss. A lost blade is renewed at once.
struct Chain {
    model: Model,
    interval: u32,
    /// Looks at the shorter interval of one year after a find or a loss.
    short: Option<u32>,
}

/// Where a blade stands at an outage.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct State {
    is_cracked: bool,
    lost_since_look: bool,
    /// Years to the next look.
    wait: u32,
    /// Looks at the shorter interval that are left.
    short_left: u32,
}

impl Chain {
    /// Expected losses in each year.
    fn losses_by_year(&self, years: u32) -> Vec<f64> {
        self.by_year(years).into_iter().map(|(losses, _)| losses).collect()
    }

    /// Expected losses and looks in each year; the look at the end of a year counts in it, but for the last.
    fn by_year(&self, years: u32) -> Vec<(f64, f64)> {
        let first = State { is_cracked: false, lost_since_look: false, wait: self.interval, short_left: 0 };
        let mut states = std::collections::BTreeMap::from([(first, 1.0)]);
        (0..years)
            .map(|year| {
                let (mut losses, mut looks) = (0.0, 0.0);
                let mut next = std::collections::BTreeMap::new();
                for (state, probability) in &states {
                    let (ends, expected) = self.live_a_year(state.is_cracked);
                    losses += probability * expected;
                    for (is_cracked, is_lost, part) in ends {
                        let after = State { is_cracked, lost_since_look: state.lost_since_look || is_lost, ..*state };
                        let after = State { wait: state.wait - 1, ..after };
                        if after.wait > 0 {
                            *next.entry(after).or_insert(0.0) += probability * part;
                            continue;
                        }
                        if year + 1 < years {
                            looks += probability * part;
                        }
                        let find = if is_cracked { self.model.pod } else { 0.0 };
                        for (is_found, chance) in [(true, find), (false, 1.0 - find)] {
                            *next.entry(self.look(after, is_found)).or_insert(0.0) += probability * part * chance;
                        }
                    }
                }
                states = next;
                (losses, looks)
            })
            .collect()
    }

    fn look(&self, state: State, is_found: bool) -> State {
        let short_left = match self.short {
            Some(looks) if is_found || state.lost_since_look => looks,
            _ => state.short_left.saturating_sub(1),
        };
        State {
            is_cracked: state.is_cracked && !is_found,
            lost_since_look: false,
            wait: if short_left > 0 { 1 } else { self.interval },
            short_left,
        }
    }

    /// A year's end for a blade: whether it is cracked, whether any was lost, with what probability; and the expected
    /// number of losses. By small steps of the two rates, to 1e-9.
    fn live_a_year(&self, is_cracked: bool) -> ([(bool, bool, f64); 4], f64) {
        const STEPS: usize = 20_000;
        let step = 1.0 / STEPS as f64;
        let Model { crack_rate, failure_rate, .. } = self.model;
        // Probabilities of [sound, cracked] without and with a loss.
        let mut p = [[0.0; 2]; 2];
        p[0][usize::from(is_cracked)] = 1.0;
        let mut losses = 0.0;
        let flow = |p: &[[f64; 2]; 2]| {
            let crack = p.map(|of| crack_rate * of[0]);
            let fail = p.map(|of| failure_rate * of[1]);
            ([[-crack[0], crack[0] - fail[0]], [fail[0] + fail[1] - crack[1], crack[1] - fail[1]]], fail[0] + fail[1])
        };
        for _ in 0..STEPS {
            // The midpoint rule.
            let (first, _) = flow(&p);
            let middle = add(&p, &first, 0.5 * step);
            let (slope, failing) = flow(&middle);
            p = add(&p, &slope, step);
            losses += step * failing;
        }
        let ends = [(false, false, p[0][0]), (true, false, p[0][1]), (false, true, p[1][0]), (true, true, p[1][1])];
        (ends, losses)
    }
}

fn add(p: &[[f64; 2]; 2], slope: &[[f64; 2]; 2], step: f64) -> [[f64; 2]; 2] {
    std::array::from_fn(|i| std::array::from_fn(|j| p[i][j] + step * slope[i][j]))
}

#[test]
fn looks_that_come_sooner_after_finds_and_losses_agree_with_a_chain_solved_exactly() {
    let years = 24;
    let model = Model { crack_rate: 0.08, failure_rate: 0.3, pod: 0.7, blades: 1 };
    let looks = "first_outage = 2, every_outages = 2, after_finds = { every_outages = 1, for_outages = 2 }";
    let comparison = run(&study(model, years, looks), 400_000);
    let chain = Chain { model, interval: 2, short: Some(2) };
    let expected = chain.by_year(years);
    for (year, (estimate, (losses, _))) in comparison.row_losses_of(0, 0).iter().zip(&expected).enumerate() {
        assert_close(*estimate, *losses, &format!("losses in year {year}"));
    }
    let all_looks: f64 = expected.iter().map(|(_, looks)| looks).sum();
    assert_close(comparison.row_of(0, 0, Quantity::LookCost), all_looks, "looks");
    // The twin that does not react is told apart.
    let fixed: f64 = Chain { short: None, ..chain }.by_year(years).iter().map(|(_, looks)| looks).sum();
    let estimate = comparison.row_of(0, 0, Quantity::LookCost);
    assert!((estimate.value - fixed).abs() > 20.0 * estimate.standard_error);
}

/// The chain above, but for a lost blade that is renewed at the look that ends its interval, as six states (sound or
/// cracked, looks left at the shorter interval): values computed by another program from the same description.
#[test]
fn the_chain_has_its_expected_values() {
    let (crack, fail, pod) = (0.08_f64, 0.3_f64, 0.7_f64);
    // From sound or cracked: to sound, to cracked, lost, in some years without renewal.
    let live = |is_cracked: bool, years: f64| -> [f64; 3] {
        let (stay, unfailed) = ((-crack * years).exp(), (-fail * years).exp());
        if is_cracked {
            [0.0, unfailed, 1.0 - unfailed]
        } else {
            let cracked = crack / (fail - crack) * (stay - unfailed);
            [stay, cracked, 1.0 - stay - cracked]
        }
    };
    let mut states = [[0.0; 3]; 2];
    states[0][0] = 1.0;
    let mut losses = 0.0;
    let mut by_look = Vec::new();
    for _ in 0..6 {
        let mut next = [[0.0; 3]; 2];
        for (is_cracked, short) in
            [false, true].into_iter().flat_map(|cracked| (0..3).map(move |short| (cracked, short)))
        {
            let probability = states[usize::from(is_cracked)][short];
            let [sound, cracked, lost] = live(is_cracked, if short > 0 { 1.0 } else { 2.0 });
            losses += probability * lost;
            let on = short.saturating_sub(1);
            next[0][on] += probability * sound;
            next[1][on] += probability * cracked * (1.0 - pod);
            next[0][2] += probability * (cracked * pod + lost);
        }
        states = next;
        by_look.push(losses);
    }
    for (look, expected) in [
        (1, 0.037_553_609_989_357_75),
        (3, 0.131_262_905_045_837_8),
        (5, 0.220_828_959_211_209_04),
        (6, 0.265_704_339_504_329_26),
    ] {
        assert!((by_look[look - 1] - expected).abs() < 1e-12, "look {look}: {}", by_look[look - 1]);
    }
}

/// One blade renewed at a loss or a find, looked at every year: what it costs in a number of years at a discount rate,
/// where a look costs 1, a new blade 5 and a loss 100. The blade is cracked with a probability that has a closed form
/// between looks.
fn single_unit_cost(model: Model, years: u32, discount_rate: f64) -> f64 {
    let Model { crack_rate, failure_rate, pod, .. } = model;
    let (sum, force) = (crack_rate + failure_rate, (1.0 + discount_rate).ln());
    let settled = crack_rate / sum;
    // The integral of exp(-rate t) over a year.
    let over_a_year = |rate: f64| if rate > 0.0 { -(-rate).exp_m1() / rate } else { 1.0 };
    let (mut cracked, mut cost) = (0.0, 0.0);
    for year in 0..years {
        let value = |at: u32| (-force * f64::from(at)).exp();
        let lost = failure_rate * (settled * over_a_year(force) + (cracked - settled) * over_a_year(sum + force));
        cost += 100.0 * value(year) * lost;
        cracked = settled + (cracked - settled) * (-sum).exp();
        if year + 1 < years {
            cost += value(year + 1) * (1.0 + 5.0 * pod * cracked);
            cracked *= 1.0 - pod;
        }
    }
    cost
}

#[test]
fn a_single_unit_renewed_at_a_loss_or_a_find_costs_what_it_does_on_paper() {
    let (years, discount_rate) = (40, 0.05);
    let model = Model { crack_rate: 0.1, failure_rate: 0.5, pod: 0.7, blades: 1 };
    let mut study = study(model, years, "first_outage = 1, every_outages = 1");
    study.costs.new_blade_cost = 5.0;
    study.costs.loss_cost = Distribution::Fixed(100.0);
    for rate in [0.0, discount_rate] {
        study.money.discount_rate = rate;
        let comparison = run(&study, 100_000);
        assert_close(
            comparison.fleet_of(0, Quantity::Cost),
            single_unit_cost(model, years, rate),
            &format!("rate {rate}"),
        );
    }
    // In the long run, a year. 4.386967 where looks are counted anew from each loss, which the calendar does not do.
    let a_year = single_unit_cost(model, 2_000, 0.0) - single_unit_cost(model, 1_999, 0.0);
    assert!((a_year / 4.386_966_831_750_972 - 1.0).abs() < 0.004, "{a_year}");
}

/// Blades that are lost the moment they crack: a renewal process, discounted.
///
/// With L the Laplace transform of the age at loss, a loss costing c is worth c L / (1 - L) for ever.
#[test]
fn renewals_for_ever_are_worth_their_closed_forms() {
    let years = 200;
    let model = Model { crack_rate: 1.0 / 8.0, failure_rate: 0.5, pod: 0.5, blades: 1 };
    let mut study = study(model, years, "first_outage = 199, every_outages = 1");
    study.roots[0].hot_spots[0].initial_depth_mm =
        Distribution::Uniform { low: LIMIT_MM * (1.0 - 1e-9), high: LIMIT_MM * (1.0 - 0.5e-9) };
    study.costs.loss_cost = Distribution::Fixed(100.0);
    study.money.discount_rate = 0.05;
    // 100 lambda / ln 1.05; and by quadrature of L.
    let exponential = InitiationShape::Exponential { mean: 8.0 * STARTS_PER_YEAR };
    let weibull = InitiationShape::Weibull { shape: 2.5, scale: 9.0 * STARTS_PER_YEAR };
    for (shape, worth) in [(exponential, 256.199_178_928_598_14), (weibull, 219.089_148_415_799_1)] {
        study.initiation[0].shape = shape;
        let estimate = run(&study, 100_000).fleet_of(0, Quantity::LossCost);
        // What comes after 200 years is worth 1.05^-200 of that, 6e-5.
        assert_close(estimate, worth, "renewals");
        assert!(estimate.standard_error < 0.002 * worth, "{}", estimate.standard_error);
    }
}

#[test] // tables of engineering economy: a uniform series over 20 years at 3 %
fn a_look_every_year_is_worth_a_uniform_series() {
    let model = Model { crack_rate: 1e-9, failure_rate: 0.5, pod: 0.5, blades: 1 };
    let mut study = study(model, 20, "first_outage = 1, every_outages = 1");
    study.units[0].outages.years = (0..20).map(|year| f64::from(year) + 0.25).collect();
    study.money.discount_rate = 0.03;
    for (payments, worth) in [
        (Payments::YearEnd, 14.877_474_860_455_5),
        (Payments::YearStart, 15.323_799_106_269_181),
        (Payments::YearMiddle, 15.098_987_912_114_854),
    ] {
        study.money.payments = payments;
        let ours = run(&study, 10).fleet_of(0, Quantity::LookCost).value;
        assert!((ours - worth).abs() < 1e-10, "{payments:?}: {ours}");
    }
}
