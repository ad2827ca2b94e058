//! Rules of plans as a study file states them, with answers enumerated on paper.
//!
//! A row of blades of which a stated number are cracked from before the study on: cracks start by running hours, and hours
//! end before the others are renewed. Cracks do not grow, and techniques call any crack with one chance.

use crate::support::ByNumber;
use serrata::Study;
use serrata::simulation::{Comparison, Estimate, Quantity, Run};

/// A study of one row, of which the blades in a list are cracked.
struct Plan {
    blades: u32,
    cracked: Vec<u32>,
    outages: &'static str,
    /// Chance of a call of a cracked blade, and of a clean one, by each of two techniques.
    in_place: [f64; 2],
    out: [f64; 2],
    strategies: String,
    trials: u64,
}

impl Default for Plan {
    fn default() -> Self {
        Plan {
            blades: 10,
            cracked: vec![9],
            outages: "[1, 2, 3, 4, 5]",
            in_place: [1.0, 0.0],
            out: [1.0, 0.0],
            strategies: String::new(),
            trials: 20_000,
        }
    }
}

impl Plan {
    /// One strategy that replaces whatever is called.
    fn replacing(looks: &str) -> Self {
        Plan { strategies: strategy("one", looks, "dispositions = [{ action = \"replace\" }]"), ..Plan::default() }
    }

    fn text(&self) -> String {
        let renewed: Vec<u32> = (1..=self.blades).filter(|blade| !self.cracked.contains(blade)).collect();
        let renewed = if renewed.is_empty() {
            String::new()
        } else {
            format!("renewed = [{{ year = -1, blades = {renewed:?} }}]")
        };
        let technique = |id: &str, access: &str, [pod, falsely]: [f64; 2]| {
            // No crack is as long as that: each is called with the chance at the smallest sizes.
            let (floor, q50) = if pod < 1.0 { (pod, 1000.0) } else { (0.0, 0.05) };
            format!(
                "[techniques.{id}]
access = \"{access}\"
pod = {{ size = \"length\", shape = \"normal\", q50_mm = {q50}, spread = 0.01, floor = {floor}, ceiling = 1 }}
grade = \"standard\"
grade_shift_log = 0
inspection_sigma = 0
crack_sigma = 0
false_call_probability = {falsely}
false_call_length_mm = 1
sizing = {{ length_bias = 1, length_sigma_log = 0 }}
cost_per_row = 100
cost_per_blade = 1
days_per_row = 2
"
            )
        };
        format!(
            "[study]
name = \"plan\"
start_year = 0
horizon_years = 6
baseline = \"one\"
[money]
currency = \"none\"
discount_rate_per_year = 0
terms = \"real\"
payments = \"when-due\"
[scatter]
row_factor = 1
blade_stress_sigma_log = 0
[surfaces.s]
initiation_life_factor = 1
[initiation.at-once]
clock = \"hours\"
kind = \"exponential\"
mean = 1e-6
stress_exponent = 0
[growth.g]
coefficient_m_per_start = 5e-12
exponent = 3
crack_sigma_log = 0
row_sigma_log = 0
[roots.r.hot_spots.h]
serrations = [1]
sides = [\"suction\"]
initiation = \"at-once\"
growth = \"g\"
stress = {{ membrane_mpa = 300, bending_mpa = 0 }}
crack = {{ kind = \"fixed-factor\", geometry_factor = 1.12, length_over_depth = 2 }}
initial_depth_mm = 1
limit = {{ kind = \"depth\", depth_mm = 10 }}
[units.u]
duty = [
  {{ from_year = -2, starts_per_year = 0, hours_per_year = 8760 }},
  {{ from_year = -1.999, starts_per_year = 0, hours_per_year = 0 }},
]
outages = {{ years = {outages}, window_days = 0 }}
[rows.row]
unit = \"u\"
rotor = \"x\"
blades = {blades}
root = \"r\"
surface = \"s\"
in_service_year = -2
{renewed}
{in_place}{out}{strategies}
[costs]
blades_out_cost = 1000
blades_out_days = 5
new_blade_cost = 10
new_blade_days = 0.5
new_row_cost = 700
new_row_days = 20
loss_cost = 0
loss_days = 0
outage_day_cost = 0
",
            outages = self.outages,
            blades = self.blades,
            in_place = technique("ut", "in-place", self.in_place),
            out = technique("mt", "blades-out", self.out),
            strategies = self.strategies,
        )
    }

    fn live(&self) -> Comparison {
        let study = Study::parse(&self.text(), "plan").unwrap_or_else(|error| panic!("{error}"));
        study.simulate(&Run { trials: self.trials, seed: 7, ..Run::default() }).expect("a run")
    }

    /// The first strategy's mean.
    fn mean(&self, quantity: Quantity) -> Estimate {
        self.live().fleet_of(0, quantity)
    }
}

fn strategy(id: &str, looks: &str, rest: &str) -> String {
    format!("[strategies.{id}]\ndescription = \"one\"\nlooks = [{looks}]\nafter_loss = \"replace-blade\"\n{rest}\n")
}

#[track_caller]
fn assert_near(ours: Estimate, by_hand: f64) {
    let distance = (ours.value - by_hand) / ours.standard_error.max(1e-12 * by_hand.abs().max(1.0));
    assert!(distance.abs() <= 4.0, "{} for {by_hand}: {distance:.1} standard errors apart", ours.value);
}

/// Chance of at least so many successes in so many tries.
fn binomial_at_least(least: u32, of: u32, p: f64) -> f64 {
    let ways = |k: u32| (0..k).map(|i| f64::from(of - i) / f64::from(i + 1)).product::<f64>();
    (least..=of).map(|k| ways(k) * p.powi(k as i32) * (1.0 - p).powi((of - k) as i32)).sum()
}

/// Numbers of calls in a sample drawn without replacement: the chance that a look at n of N blades, D of them cracked,
/// calls at least c, from tables computed by the formula of Cameron and Baldock (Prev. Vet. Med. 34 (1998) 1-17).
#[test]
fn a_drawn_sample_calls_as_many_blades_as_published_formulas_say() {
    let at_least = |blades: u32, cracked: u32, sample: u32, ut: [f64; 2], least: &[u32]| {
        let first = least[0];
        let of_each = least.iter().map(|least| {
            let look = format!(
                "{{ techniques = [\"ut\"], at_outages = [1], coverage = {{ blades = {sample}, chosen = \"drawn\" }}, \
                 escalation = {{ techniques = [\"mt\"], first_call_stands = true, from_blades = {least} }} }}"
            );
            let id = if *least == first { "one".to_owned() } else { format!("from{least}") };
            strategy(&id, &look, "dispositions = [{ action = \"replace\" }]")
        });
        let strategies = of_each.collect::<String>();
        let plan = Plan {
            blades,
            cracked: (1..=cracked).collect(),
            outages: "[1]",
            in_place: ut,
            strategies,
            ..Plan::default()
        };
        let comparison = plan.live();
        (0..least.len()).map(|strategy| comparison.fleet_of(strategy, Quantity::Escalated)).collect::<Vec<_>>()
    };
    for (sample, least, chance) in [
        (30, 2, 0.8705660468466679),
        (30, 1, 0.9757288875708546),
        (40, 2, 0.95683395779471),
        (50, 2, 0.9874586099050467),
    ] {
        assert_near(at_least(150, 15, sample, [0.9, 0.02], &[least])[0], chance);
    }
    // P(x calls), N = 80, D = 6, n = 30, probability of detection 0.8, of a false call 0.01.
    let ours = at_least(80, 6, 30, [0.8, 0.01], &[1, 2, 3, 4, 5, 6]);
    let none = 1.0 - ours[0].value;
    for (ours, table) in [
        (none, 0.08254780463907278),
        (ours[1].value - ours[2].value, 0.32193065131319076),
        (ours[2].value - ours[3].value, 0.22233791115422477),
        (ours[3].value - ours[4].value, 0.09188934041583686),
        (ours[4].value - ours[5].value, 0.023765984881187568),
    ] {
        let error = (table * (1.0 - table) / 20_000.0_f64).sqrt();
        assert!((ours - table).abs() < 4.0 * error, "{ours} for {table}");
    }
}

/// One crack in ten blades, in the ninth; four are looked at each time.
#[test]
fn a_sample_finds_one_crack_by_chance_in_turn_or_when_all_were_looked_at() {
    for (chosen, found) in
        [("drawn", [0.4, 1.0 - 0.36, 1.0 - 0.216]), ("rotating", [0.0, 0.0, 1.0]), ("least-looked-at", [0.4, 0.8, 1.0])]
    {
        for (outages, found) in ["[1]", "[1, 2]", "[1, 2, 3]"].into_iter().zip(found) {
            let look = format!(
                "{{ techniques = [\"ut\"], first_outage = 1, every_outages = 1, coverage = {{ blade_fraction = 0.4, \
                 chosen = \"{chosen}\" }} }}"
            );
            let plan = Plan { outages, ..Plan::replacing(&look) };
            let lived = plan.live();
            assert_near(lived.fleet_of(0, Quantity::CracksFound), found);
            let looks = outages.split(',').count() as f64;
            assert_near(lived.fleet_of(0, Quantity::LookCost), 104.0 * looks);
            assert_near(lived.fleet_of(0, Quantity::LookDays), 2.0 * looks);
        }
    }
}

/// A find in a sample has all blades looked at by the same technique; only those that were left out are paid.
#[test]
fn a_find_widens_a_sample_to_the_row() {
    let look = "{ techniques = [\"ut\"], at_outages = [2], coverage = { blades = 3, chosen = \"drawn\" }, escalation = { \
                techniques = [\"ut\"], first_call_stands = true } }";
    let plan = Plan { cracked: vec![1, 2, 3, 4], ..Plan::replacing(look) };
    // None of four cracked among three of ten: 6/10 5/9 4/8.
    let led_to = 1.0 - 6.0 * 5.0 * 4.0 / (10.0 * 9.0 * 8.0);
    let lived = plan.live();
    assert_near(lived.fleet_of(0, Quantity::Escalated), led_to);
    assert_near(lived.fleet_of(0, Quantity::CracksFound), 4.0 * led_to);
    assert_near(lived.fleet_of(0, Quantity::LookCost), 103.0 + 7.0 * led_to);
    assert_near(lived.fleet_of(0, Quantity::LookDays), 2.0);
}

/// Where each blade that comes out costs something, a sample costs less than the row, until a find widens it.
#[test]
fn blades_of_a_sample_alone_come_out() {
    let look = "{ techniques = [\"mt\"], at_outages = [2], coverage = { blades = 3, chosen = \"drawn\" }, escalation = { \
                techniques = [\"mt\"], first_call_stands = true } }";
    let plan = Plan { cracked: vec![1, 2, 3, 4], ..Plan::replacing(look) };
    let prices = "blades_out_days = 5\nblades_out_cost_per_blade = 20\nblades_out_days_per_blade = 0.25";
    let study = Study::parse(&plan.text().replace("blades_out_days = 5", prices), "plan").expect("a good study");
    let lived = study.simulate(&Run { trials: 20_000, seed: 7, ..Run::default() }).expect("a run");
    let led_to = 1.0 - 6.0 * 5.0 * 4.0 / (10.0 * 9.0 * 8.0);
    let blades_out = 3.0 + 7.0 * led_to;
    assert_near(lived.fleet_of(0, Quantity::TimesOut), 1.0);
    assert_near(lived.fleet_of(0, Quantity::BladesOutCost), 1000.0 + 20.0 * blades_out);
    assert_near(lived.fleet_of(0, Quantity::BladesOutDays), 5.0 + 0.25 * blades_out);
}

#[test]
fn techniques_that_must_agree_call_what_both_call() {
    let look =
        |agreement: &str| format!("{{ techniques = [\"ut\", \"mt\"], at_outages = [1], agreement = \"{agreement}\" }}");
    for (agreement, of_cracked, of_clean) in [("all", 0.8 * 0.5, 0.1 * 0.2), ("any", 1.0 - 0.2 * 0.5, 1.0 - 0.9 * 0.8)]
    {
        let plan =
            Plan { cracked: vec![1, 2, 3], in_place: [0.8, 0.1], out: [0.5, 0.2], ..Plan::replacing(&look(agreement)) };
        let lived = plan.live();
        assert_near(lived.fleet_of(0, Quantity::CracksFound), 3.0 * of_cracked);
        assert_near(lived.fleet_of(0, Quantity::FalselyReplaced), 7.0 * of_clean);
        assert_near(lived.fleet_of(0, Quantity::BladesReplaced), 3.0 * of_cracked + 7.0 * of_clean);
        // Both looks take place whatever they call.
        assert_near(lived.fleet_of(0, Quantity::LookCost), 220.0);
    }
}

#[test]
fn a_second_technique_confirms_what_the_first_called_on_those_blades_alone() {
    let called = [0.8, 0.1];
    let any = 1.0 - 0.2_f64.powi(3) * 0.9_f64.powi(7);
    for (stands, from_blades) in [(false, 1), (true, 1), (false, 2)] {
        let look = format!(
            "{{ techniques = [\"ut\"], at_outages = [1], escalation = {{ techniques = [\"mt\"], first_call_stands = \
             {stands}, of = \"called-blades\", from_blades = {from_blades} }} }}"
        );
        let plan = Plan { cracked: vec![1, 2, 3], in_place: called, out: [0.5, 0.2], ..Plan::replacing(&look) };
        let lived = plan.live();
        // One blade is called: a cracked one or a clean one.
        let one_cracked = 3.0 * 0.8 * 0.2_f64.powi(2) * 0.9_f64.powi(7);
        let one_clean = 7.0 * 0.1 * 0.9_f64.powi(6) * 0.2_f64.powi(3);
        let (cracked, clean, led_to) = if from_blades == 1 {
            (3.0 * 0.8, 7.0 * 0.1, any)
        } else {
            (3.0 * 0.8 - one_cracked, 7.0 * 0.1 - one_clean, any - one_cracked - one_clean)
        };
        let [of_cracked, of_clean] = if stands { [1.0, 1.0] } else { [0.5, 0.2] };
        assert_near(lived.fleet_of(0, Quantity::OutagesWithCalls), any);
        assert_near(lived.fleet_of(0, Quantity::Escalated), led_to);
        assert_near(lived.fleet_of(0, Quantity::CracksFound), cracked * of_cracked);
        assert_near(lived.fleet_of(0, Quantity::FalselyReplaced), clean * of_clean);
        // The first at all ten, the second at those that were called.
        assert_near(lived.fleet_of(0, Quantity::LookCost), 110.0 + 100.0 * led_to + cracked + clean);
        assert_near(lived.fleet_of(0, Quantity::TimesOut), led_to);
    }
    // At least two of ten, all cracked.
    let look = "{ techniques = [\"ut\"], at_outages = [1], escalation = { techniques = [\"mt\"], first_call_stands = false, \
                from_blades = 2 } }";
    let plan = Plan { cracked: (1..=10).collect(), in_place: [0.1, 0.0], ..Plan::replacing(look) };
    // The second look is at the whole row, and sees all.
    assert_near(plan.mean(Quantity::CracksFound), 10.0 * binomial_at_least(2, 10, 0.1));
}

#[test]
fn looks_fall_on_stated_outages_or_on_the_first_in_or_after_stated_years() {
    for (when, looks) in [
        ("at_outages = [2, 4, 9]", 2.0),
        ("in_years = [0.5, 3.5, 4]", 2.0),
        ("in_years = [1, 2.1, 5.5]", 2.0),
        ("first_outage = 2, every_outages = 3", 2.0),
    ] {
        let plan = Plan { trials: 8, ..Plan::replacing(&format!("{{ techniques = [\"ut\"], {when} }}")) };
        assert_near(plan.mean(Quantity::LookCost), looks * 110.0);
    }
}

/// With blades out at the second and fourth outage, in place at all others.
#[test]
fn a_look_takes_the_place_of_others() {
    let looks = |instead: bool| {
        format!(
            "{{ techniques = [\"ut\"], first_outage = 1, every_outages = 1 }}, {{ techniques = [\"mt\"], at_outages = [2, 4], \
             instead_of_others = {instead} }}"
        )
    };
    for (instead, in_place) in [(true, 3.0), (false, 5.0)] {
        let plan = Plan { trials: 8, cracked: Vec::new(), ..Plan::replacing(&looks(instead)) };
        let lived = plan.live();
        assert_near(lived.fleet_of(0, Quantity::LookCost), (in_place + 2.0) * 110.0);
        assert_near(lived.fleet_of(0, Quantity::LookDays), (in_place + 2.0) * 2.0);
        assert_near(lived.fleet_of(0, Quantity::BladesOutCost), 2000.0);
    }
    // A look that waits for clean ones counts the other as its own: clean at 1 and 2, and so every 2 outages from 2 on;
    // at 4 the other takes its place again.
    let plan = Plan {
        trials: 8,
        cracked: Vec::new(),
        ..Plan::replacing(
            "{ techniques = [\"ut\"], first_outage = 1, every_outages = 1, after_clean = { looks = 2, longer_by = 1, at_most = \
             2 } }, { techniques = [\"mt\"], at_outages = [2, 4], instead_of_others = true }",
        )
    };
    assert_near(plan.mean(Quantity::LookCost), 3.0 * 110.0);
}

/// Blades out at the first two of two outages, nothing called: of ten blades each is damaged with a chance of 0.2 each time.
#[test]
fn blades_are_damaged_on_their_way_out_or_in() {
    let damaging = |plan: &Plan| {
        plan.text()
            .replace("[roots.r.hot_spots.h]", "[roots.r]\nhandling_damage_probability = 0.2\n[roots.r.hot_spots.h]")
    };
    let live = |text: &str| {
        let study = Study::parse(text, "plan").unwrap_or_else(|error| panic!("{error}"));
        study.simulate(&Run { trials: 20_000, seed: 7, ..Run::default() }).expect("a run")
    };
    let look = "{ techniques = [\"mt\"], at_outages = [1, 2] }";
    let plan = Plan { cracked: Vec::new(), outages: "[1, 2, 3]", ..Plan::replacing(look) };
    let lived = live(&damaging(&plan));
    for (quantity, by_hand) in [
        (Quantity::BladesDamaged, 4.0),
        (Quantity::BladesReplaced, 4.0),
        (Quantity::FalselyReplaced, 0.0),
        (Quantity::ReplacementCost, 40.0),
        (Quantity::ReplacementDays, 2.0),
        (Quantity::OutagesWithCalls, 0.0),
    ] {
        assert_near(lived.fleet_of(0, quantity), by_hand);
    }
    // One crack, which nobody calls, goes where its blade is damaged: it is left with 0.8 of 0.8.
    let missed = Plan { out: [1e-9, 0.0], ..Plan { outages: "[1, 2, 3]", ..Plan::replacing(look) } };
    assert_near(live(&damaging(&missed)).after_outages_of(0, 0)[1].cracks, 0.64);
    // Blades that were called are new, and not damaged in the same outage.
    let called = Plan {
        cracked: (1..=10).collect(),
        outages: "[1]",
        ..Plan::replacing("{ techniques = [\"mt\"], at_outages = [1] }")
    };
    let lived = live(&damaging(&called));
    assert_near(lived.fleet_of(0, Quantity::BladesReplaced), 10.0);
    assert_near(lived.fleet_of(0, Quantity::BladesDamaged), 0.0);
    // Nobody takes blades out to look at them in place.
    let in_place = Plan { cracked: Vec::new(), ..Plan::replacing("{ techniques = [\"ut\"], at_outages = [1] }") };
    assert_near(live(&damaging(&in_place)).fleet_of(0, Quantity::BladesDamaged), 0.0);
    // Where half the outages take blades out because a clean blade is called, half damage some.
    let second = "{ techniques = [\"ut\"], at_outages = [1], escalation = { techniques = [\"mt\"], first_call_stands = false } }";
    let plan = Plan { blades: 1, cracked: Vec::new(), outages: "[1]", in_place: [1.0, 0.5], ..Plan::replacing(second) };
    assert_near(live(&damaging(&plan)).fleet_of(0, Quantity::BladesDamaged), 0.5 * 0.2);
}

/// A find at an outage has the unit stopped half a year later, and the row looked at with blades out, which finds the rest.
#[test]
fn finds_have_the_unit_stopped_once_more() {
    let plan = |after_years: f64| Plan {
        cracked: vec![1, 2, 3],
        outages: "[1, 1.8]",
        in_place: [0.5, 0.0],
        strategies: strategy(
            "one",
            "{ techniques = [\"ut\"], at_outages = [1] }",
            &format!(
                "dispositions = [{{ action = \"replace\" }}]\nextra_look = {{ after_years = {after_years}, techniques = \
                 [\"mt\"], stop_cost = 40, stop_days = 3 }}"
            ),
        ),
        ..Plan::default()
    };
    let with_priced_days = |text: String| text.replace("outage_day_cost = 0", "outage_day_cost = 7");
    let lived = live(&with_priced_days(plan(0.5).text()), 20_000);
    let any = 1.0 - 0.5_f64.powi(3);
    // Three in all where any is called, else none.
    let (first, rest) = (1.5, 3.0 * any - 1.5);
    let of = |quantity| lived.fleet_of(0, quantity);
    assert_near(of(Quantity::CracksFound), first + rest);
    assert_near(of(Quantity::BladesReplaced), first + rest);
    assert_near(of(Quantity::ExtraStops), any);
    assert_near(of(Quantity::StopCost), 40.0 * any);
    assert_near(of(Quantity::StopDays), 3.0 * any);
    assert_near(of(Quantity::OutagesWithCalls), any);
    assert_near(of(Quantity::LookCost), 110.0 + 110.0 * any);
    assert_near(of(Quantity::LookDays), 2.0 + 2.0 * any);
    assert_near(of(Quantity::TimesOut), any);
    assert_near(of(Quantity::BladesOutCost), 1000.0 * any);
    assert_near(of(Quantity::ReplacementCost), 10.0 * (first + rest));
    // No window at the outage, and none at the stop.
    let days = 2.0 + 0.5 * first + any * (3.0 + 2.0 + 5.0) + 0.5 * rest;
    assert_near(of(Quantity::Days), days);
    assert_near(of(Quantity::DaysBeyondWindow), days);
    assert_near(of(Quantity::ExtraDayCost), 7.0 * days);
    // The next outage comes first; or after the last one the end of the study does.
    assert_near(live(&plan(0.9).text(), 20_000).fleet_of(0, Quantity::ExtraStops), 0.0);
    for (after_years, stops) in [(5.0, 0.0), (4.9, any)] {
        let alone = plan(after_years).text().replace("[1, 1.8]", "[1]");
        assert_near(live(&alone, 20_000).fleet_of(0, Quantity::ExtraStops), stops);
    }
    // Two rows of a unit that find something stop it once; both are worked on at the same time, or one after the other.
    let text = with_priced_days(plan(0.5).text());
    let begin = text.find("[rows.row]").expect("a row");
    let end = begin + text[begin..].find("[techniques").expect("what follows");
    let twin = text[begin..end].replace("[rows.row]", "[rows.twin]").replace("rotor = \"x\"", "rotor = \"y\"");
    let (both, either) = (any * any, 1.0 - (1.0 - any) * (1.0 - any));
    for crews in [2, 1] {
        let text = format!("{}{twin}{}", &text[..end], &text[end..]);
        let lived = live(&text.replace("[units.u]\n", &format!("[units.u]\ncrews = {crews}\n")), 20_000);
        let of = |quantity| lived.fleet_of(0, quantity);
        assert_near(of(Quantity::ExtraStops), either);
        assert_near(of(Quantity::StopCost), 40.0 * either);
        assert_near(of(Quantity::StopDays), 3.0 * either);
        if crews == 1 {
            assert_near(of(Quantity::DaysBeyondWindow), 2.0 * days - 3.0 * both);
        }
    }
}

/// Two blades are lost in each life, at 100 each: above 25, 50 and 100 in all, and not above 200.
#[test]
fn losses_are_told_above_levels_of_cost_and_by_hot_spot() {
    let strategies = strategy("one", "", "dispositions = [{ action = \"replace\" }]");
    let text = Plan { cracked: vec![1, 2], strategies, ..Plan::default() }
        .text()
        .replace("from_year = -1.999, starts_per_year = 0", "from_year = -1.999, starts_per_year = 10000")
        .replace("loss_cost = 0", "loss_cost = 100");
    let lived = live(&text, 8);
    let (row, strategy) = (lived.row_number(0), lived.strategy_number(0));
    let above: Vec<f64> = lived.row_cost_above(row, strategy).iter().map(|chance| chance.value).collect();
    assert_eq!(lived.cost_levels(), [25.0, 50.0, 100.0, 200.0, 400.0, 800.0]);
    assert_eq!(above, [1.0, 1.0, 1.0, 0.0, 0.0, 0.0]);
    let of_spots: Vec<f64> = lived.row_losses_by_hot_spot(row, strategy).iter().map(|losses| losses.value).collect();
    assert_eq!(of_spots, [2.0]);
}

/// The second technique calls the blade at the stop, and so looks at it again at the next outage, beside the first one; after
/// that there is one more stop.
#[test]
fn a_blade_is_watched_by_the_technique_that_called_it_while_the_unit_stood_still() {
    let rest = "dispositions = [{ action = \"watch\" }]\nextra_look = { after_years = 0.5, techniques = [\"mt\"], stop_cost = 0, \
                stop_days = 0 }";
    let strategies = strategy("one", "{ techniques = [\"ut\"], at_outages = [1] }", rest);
    let plan = Plan { outages: "[1, 2]", in_place: [0.5, 0.0], strategies, ..Plan::default() };
    let lived = plan.live();
    assert_near(lived.fleet_of(0, Quantity::CracksFound), 0.5 * 4.0);
    assert_near(lived.fleet_of(0, Quantity::LookCost), 110.0 + 0.5 * (2.0 * 110.0 + 2.0 * 101.0));
}

/// Three cracks on a row that all lose their blades unless they are found, each loss with a look at what is left of its row
/// or at more; on the other row two that never do.
#[test]
fn a_loss_has_rows_looked_at_while_the_unit_stands_still() {
    let p: f64 = 0.6;
    let text = |of: &str, rotor: &str| {
        let rest = format!(
            "dispositions = [{{ action = \"replace\" }}]\nlook_after_loss = {{ of = \"{of}\", techniques = [\"ut\"] }}"
        );
        let plan = Plan {
            cracked: vec![1, 2, 3],
            outages: "[5.5]",
            in_place: [p, 0.0],
            strategies: strategy("one", "", &rest),
            ..Plan::default()
        };
        // At 1 mm a crack has 41,000 starts to go, by the integral of Paris' law; at 3 mm 8,000.
        let text = plan.text().replace(
            "  { from_year = -1.999, starts_per_year = 0, hours_per_year = 0 },\n",
            "  { from_year = -1.999, starts_per_year = 0, hours_per_year = 0 },\n  { from_year = 0, starts_per_year = 10000, \
             hours_per_year = 0 },\n",
        );
        let text =
            text.replace("initial_depth_mm = 1\n", "initial_depth_mm = { kind = \"uniform\", low = 1, high = 3 }\n");
        let text = text.replace("outage_day_cost = 0", "outage_day_cost = 7");
        let begin = text.find("[rows.row]").expect("a row");
        let end = begin + text[begin..].find("[techniques").expect("what follows");
        let twin = text[begin..end]
            .replace("[rows.row]", "[rows.twin]")
            .replace("root = \"r\"", "root = \"tough\"")
            .replace("rotor = \"x\"", &format!("rotor = \"{rotor}\""))
            .replace("[4, ", "[3, 4, ");
        let begin = text.find("[roots.r.hot_spots.h]").expect("a root");
        let spot = &text[begin..begin + text[begin..].find("[units").expect("what follows")];
        let tough = spot.replace("roots.r.", "roots.tough.").replace("membrane_mpa = 300", "membrane_mpa = 30");
        format!("{}{twin}{tough}{}", &text[..end], &text[end..])
    };
    // One loss where both others are called after it; two where one of them is, or at the next chance; else three.
    let losses = [p * p, 2.0 * p * (1.0 - p) + (1.0 - p).powi(2) * p, (1.0 - p).powi(3)];
    let mean: f64 = losses.iter().zip(1..).map(|(chance, count)| chance * f64::from(count)).sum();
    let missed: f64 = losses.iter().zip(1..).map(|(chance, looks)| chance * (1.0 - p).powi(looks)).sum();
    for (of, rotor, is_twin_seen) in
        [("row", "x", false), ("rotor", "x", true), ("rotor", "y", false), ("unit", "y", true)]
    {
        let lived = live(&text(of, rotor), 20_000);
        let twin = if is_twin_seen { 1.0 } else { 0.0 };
        let of = |quantity| lived.fleet_of(0, quantity);
        let found = 3.0 - mean + twin * 2.0 * (1.0 - missed);
        assert_near(of(Quantity::Losses), mean);
        assert_near(of(Quantity::CracksFound), found);
        assert_near(of(Quantity::BladesReplaced), found);
        assert_near(of(Quantity::LookCost), 110.0 * mean * (1.0 + twin));
        assert_near(of(Quantity::ExtraStops), 0.0);
        // Each row has a crew of its own: days go on at the same time.
        let days = of(Quantity::DaysBeyondWindow).value;
        assert!(days < 2.0 * mean * (1.0 + twin) + 0.5 * found && days >= 2.0 * mean, "{days}");
        assert_near(of(Quantity::ExtraDayCost), 7.0 * days);
        assert_near(lived.row_of(0, 0, Quantity::CracksFound), 3.0 - mean);
    }
    // Two cracks as deep as each other are lost at one moment. Each loss has the blades out for a look, which calls nothing,
    // and both share one lift.
    let text = text("row", "x")
        .replace("{ kind = \"uniform\", low = 1, high = 3 }", "1")
        .replace("techniques = [\"ut\"] }", "techniques = [\"mt\"] }")
        .replace("floor = 0, ceiling = 1 ", "floor = 0, ceiling = 1e-9 ")
        .replace("blades = [4, ", "blades = [3, 4, ")
        .replace("blades_out_cost = 1000", "blades_out_cost = 1000\nrotor_lift_cost = 50");
    let lived = live(&text, 8);
    assert_near(lived.row_of(0, 0, Quantity::Losses), 2.0);
    assert_near(lived.row_of(0, 0, Quantity::LookCost), 220.0);
    assert_near(lived.row_of(0, 0, Quantity::BladesOutCost), 2050.0);
}

/// A lift costs money or days, and the window holds all work: what was not scheduled is paid nevertheless.
#[test]
fn a_lift_is_paid_where_all_work_fits_into_the_window() {
    let look =
        "{ techniques = [\"ut\"], at_outages = [1], escalation = { techniques = [\"mt\"], first_call_stands = true } }";
    let plan = Plan { in_place: [0.5, 0.0], ..Plan::replacing(look) };
    for (cost, days) in [(50.0, 0.0), (0.0, 3.0)] {
        let prices = format!("blades_out_cost = 1000\nrotor_lift_cost = {cost}\nrotor_lift_days = {days}");
        let text =
            plan.text().replace("blades_out_cost = 1000", &prices).replace("window_days = 0", "window_days = 90");
        let lived = live(&text, 20_000);
        assert_near(lived.fleet_of(0, Quantity::TimesOut), 0.5);
        assert_near(lived.fleet_of(0, Quantity::BladesOutCost), 0.5 * (1000.0 + cost));
        assert_near(lived.fleet_of(0, Quantity::BladesOutDays), 0.5 * (5.0 + days));
        assert_near(lived.fleet_of(0, Quantity::DaysBeyondWindow), 0.0);
    }
}

/// The second technique looks at the two called blades of each of two rows, and then, since the other row has finds, at the rest.
#[test]
fn a_sister_that_was_looked_at_again_is_paid_once() {
    let look = "{ techniques = [\"ut\"], at_outages = [1], escalation = { techniques = [\"mt\"], first_call_stands = true, \
                of = \"called-blades\" } }";
    let rest = "dispositions = [{ action = \"replace\" }]\nsister_rows = { of = \"unit\", techniques = [\"mt\"] }";
    let text = Plan { cracked: vec![8, 9], strategies: strategy("one", look, rest), ..Plan::default() }.text();
    let row = &text[text.find("[rows.row]").expect("a row")..text.find("[techniques.ut]").expect("a technique")];
    let both = text.replace(row, &format!("{row}{}", row.replace("[rows.row]", "[rows.twin]")));
    let lived = live(&both, 8);
    for row in [0, 1] {
        assert_each(&lived, row, Quantity::CracksFound, 2.0);
        assert_each(&lived, row, Quantity::LookCost, 110.0 + 110.0);
        assert_each(&lived, row, Quantity::LookDays, 2.0 + 2.0);
    }
}

const YEAR: f64 = 365.25;

/// The row of a plan with three cracked blades, and another one with two in a unit of its own; the stock is `blades` spares
/// with a lead of three quarters of a year.
fn two_units(blades: u32, without: &str, outages: [&str; 2], rest: &str) -> String {
    let looks = "{ techniques = [\"ut\"], first_outage = 1, every_outages = 1 }";
    let spares = format!(
        "dispositions = [{{ action = \"replace\" }}]\nspares = [{{ blades = {blades}, lead_days = {}, without = \"{without}\", \
         cost_per_year = 8 }}]\n{rest}",
        0.75 * YEAR
    );
    let plan =
        Plan { cracked: vec![2, 3, 7], trials: 8, strategies: strategy("one", looks, &spares), ..Plan::default() };
    let text = plan.text().replace("[1, 2, 3, 4, 5]", outages[0]).replace("outage_day_cost = 0", "outage_day_cost = 3");
    let unit = text[text.find("[units.u]").expect("a unit")..text.find("[rows.row]").expect("a row")].to_owned();
    let row =
        text[text.find("[rows.row]").expect("a row")..text.find("[techniques.ut]").expect("a technique")].to_owned();
    let other_unit = unit.replace("[units.u]", "[units.v]").replace(outages[0], outages[1]);
    let other_row = row
        .replace("[rows.row]", "[rows.other]")
        .replace("unit = \"u\"", "unit = \"v\"")
        .replace("[1, 4, 5, 6, 8, 9, 10]", "[1, 3, 4, 6, 7, 8, 9, 10]");
    text.replace(&row, &format!("{other_unit}{row}{other_row}"))
}

fn live(text: &str, trials: u64) -> Comparison {
    let study = Study::parse(text, "plan").unwrap_or_else(|error| panic!("{error}"));
    study.simulate(&Run { trials, seed: 7, ..Run::default() }).expect("a run")
}

/// Numbers that are the same in every life.
#[track_caller]
fn assert_each(lived: &Comparison, row: usize, quantity: Quantity, by_hand: f64) {
    let ours = lived.row_of(row, 0, quantity).value;
    assert!((ours - by_hand).abs() < 1e-9 * by_hand.max(1.0), "row {row}, {}: {ours} for {by_hand}", quantity.name());
}

/// Three blades are called on the one row in year 1, and two on the other in 1.5. Of n spares the first row has n at once,
/// and waits for those that it orders itself; the other one waits for what the first ordered, until 1.75, or for its own.
#[test]
fn two_units_wait_for_the_blades_of_one_stock() {
    for (blades, first_waits, other_waits) in
        [(0, 0.75, 0.75), (1, 0.75, 0.75), (2, 0.75, 0.25), (3, 0.0, 0.25), (4, 0.0, 0.25), (5, 0.0, 0.0)]
    {
        let lived = live(&two_units(blades, "wait", ["[1, 2]", "[1.5, 2.5]"], ""), 8);
        for (row, wait, count) in [(0, first_waits * YEAR, 3.0), (1, other_waits * YEAR, 2.0)] {
            // Each look takes two days at both outages, each new blade half a day; the window has none.
            let days = 4.0 + 0.5 * count + wait;
            for (quantity, by_hand) in [
                (Quantity::WaitDays, wait),
                (Quantity::BladesReplaced, count),
                (Quantity::BladesRunOn, 0.0),
                (Quantity::CracksFound, count),
                (Quantity::Days, days),
                (Quantity::DaysBeyondWindow, days),
                (Quantity::ExtraDayCost, 3.0 * days),
                // Six years at 8, for two rows.
                (Quantity::SparesCost, 24.0),
                (Quantity::Cost, 2.0 * 110.0 + 10.0 * count + 3.0 * days + 24.0),
            ] {
                assert_each(&lived, row, quantity, by_hand);
            }
        }
    }
}

/// At one moment the units come in the order of the study, and so do rows of one unit.
#[test]
fn units_that_stop_at_one_moment_are_served_in_the_order_of_the_study() {
    for (blades, waits) in [(2, [0.75, 0.75]), (3, [0.0, 0.75]), (4, [0.0, 0.75]), (5, [0.0, 0.0])] {
        let text = two_units(blades, "wait", ["[1, 2]", "[1, 3]"], "");
        // The same rows in one unit.
        let of_one_unit = text.replace("unit = \"v\"", "unit = \"u\"");
        for text in [&text, &of_one_unit] {
            let lived = live(text, 8);
            for (row, wait) in waits.into_iter().enumerate() {
                assert_each(&lived, row, Quantity::WaitDays, wait * YEAR);
            }
        }
        // The other unit comes first.
        let begin = text.find("[units.v]").expect("a unit");
        let unit = text[begin..text.find("[rows.row]").expect("a row")].to_owned();
        let turned = text.replace(&unit, "").replace("[units.u]", &format!("{unit}[units.u]"));
        let lived = live(&turned, 8);
        // Two are wanted by the other row, and then three by the first.
        let waits = if blades < 5 { [0.75, 0.0] } else { [0.0, 0.0] };
        for (row, wait) in waits.into_iter().enumerate() {
            assert_each(&lived, row, Quantity::WaitDays, wait * YEAR);
        }
    }
}

/// Between the two units stands a third, whose row has another root: it has a stock of its own, or none.
#[test]
fn each_root_has_a_stock_of_its_own() {
    let text = two_units(2, "wait", ["[1, 2]", "[1.5, 2.5]"], "");
    let part = |from: &str, to: &str| {
        text[text.find(from).expect("a part")..text.find(to).expect("a part after it")].to_owned()
    };
    let root = part("[roots.r.hot_spots.h]", "[units.u]").replace("roots.r.", "roots.q.");
    let unit = part("[units.u]", "[units.v]").replace("[units.u]", "[units.m]");
    let row = part("[rows.row]", "[rows.other]")
        .replace("[rows.row]", "[rows.third]")
        .replace("unit = \"u\"", "unit = \"m\"")
        .replace("root = \"r\"", "root = \"q\"");
    let third = text
        .replace("[units.u]", &format!("{root}[units.u]"))
        .replace("[units.v]", &format!("{unit}[units.v]"))
        .replace("[rows.other]", &format!("{row}[rows.other]"));
    let of_r = "cost_per_year = 8, roots = [\"r\"] }";
    let of_q = "{ roots = [\"q\"], blades = 0, lead_days = 36, without = \"wait\" }";
    for (stocks, third_waits, spares_cost) in [
        (format!("{of_r}]"), 0.0, [24.0, 0.0, 24.0]),
        (format!("{of_r}, {of_q}]"), 36.0, [24.0, 0.0, 24.0]),
        // All three share it: the third row has nothing of the two blades, and the last one what both ordered.
        ("cost_per_year = 8 }]".to_owned(), 0.75 * YEAR, [16.0; 3]),
    ] {
        let lived = live(&third.replace("cost_per_year = 8 }]", &stocks), 8);
        let waits = [0.75 * YEAR, third_waits, 0.25 * YEAR];
        for ((row, wait), cost) in waits.into_iter().enumerate().zip(spares_cost) {
            assert_each(&lived, row, Quantity::WaitDays, wait);
            assert_each(&lived, row, Quantity::SparesCost, cost);
            assert_each(&lived, row, Quantity::BladesReplaced, if row == 2 { 2.0 } else { 3.0 });
        }
    }
}

/// One spare. In year 1 the first row takes it, and has one ordered in its place and for each of its two others. In 1.5 none is
/// there: two more are ordered for the other row, until 2.25. In 2 three are there, of which the first row takes two; in 2.5
/// all that were ordered before.
#[test]
fn blades_without_a_spare_run_on_until_one_is_there() {
    let outages = ["[1, 2, 3]", "[1.5, 2.5, 3.5]"];
    let lived = live(&two_units(1, "run-on-watched", outages, ""), 8);
    for (row, found, run_on, replaced, left) in
        [(0, 5.0, 2.0, 3.0, [2.0, 0.0, 0.0]), (1, 4.0, 2.0, 2.0, [2.0, 0.0, 0.0])]
    {
        assert_each(&lived, row, Quantity::CracksFound, found);
        assert_each(&lived, row, Quantity::BladesRunOn, run_on);
        assert_each(&lived, row, Quantity::BladesReplaced, replaced);
        assert_each(&lived, row, Quantity::WaitDays, 0.0);
        let after: Vec<f64> = lived.after_outages_of(row, 0).iter().map(|after| after.cracks.value).collect();
        assert_eq!(after, left);
    }
    // Those that run on are watched: at the second outage nobody looks otherwise.
    let seldom = |text: String| text.replace("every_outages = 1", "every_outages = 9");
    let lived = live(&seldom(two_units(1, "run-on-watched", outages, "")), 8);
    assert_each(&lived, 0, Quantity::BladesReplaced, 3.0);
    assert_each(&lived, 0, Quantity::LookCost, 110.0 + 102.0);
    // Watched by another technique, which takes the blades out.
    let lived = live(&seldom(two_units(1, "run-on-watched", outages, "watch = { technique = \"mt\" }")), 8);
    assert_each(&lived, 0, Quantity::LookCost, 110.0 + 102.0);
    assert_each(&lived, 0, Quantity::BladesOutCost, 1000.0);
    // Blades 1 to 4 and 5 to 8 go together: neither four are there, and four are ordered for each group until 1.75.
    let together =
        |text: String| text.replace("[roots.r.hot_spots.h]", "[roots.r]\nreplaced_together = 4\n[roots.r.hot_spots.h]");
    let lived = live(&together(two_units(3, "run-on-watched", outages, "")), 8);
    assert_each(&lived, 0, Quantity::BladesRunOn, 3.0);
    assert_each(&lived, 0, Quantity::BladesReplaced, 8.0);
    // Of the other row blades 2 and 5 are cracked. In 1.5 there are three; in 2.5 all but eight, which the first row had.
    assert_each(&lived, 1, Quantity::BladesRunOn, 2.0);
    assert_each(&lived, 1, Quantity::BladesReplaced, 8.0);
    // With four the first group that asks has them.
    let lived = live(&together(two_units(4, "run-on-watched", outages, "")), 8);
    assert_each(&lived, 0, Quantity::BladesRunOn, 1.0);
    assert_each(&lived, 0, Quantity::BladesReplaced, 8.0);
}

/// The same stock with `used` used blades beside it, at a price of 4.
fn with_used(text: &str, used: u32, life_factor: f64) -> String {
    let used = format!(", used_blades = {{ blades = {used}, life_factor = {life_factor}, cost_per_blade = 4 }} }}");
    text.replace("cost_per_year = 8 }", &format!("cost_per_year = 8{used}"))
}

/// As above, three blades are called on the one row in year 1, and two on the other in 1.5. Who has no new blade has a used one,
/// of which none comes again and for which none is ordered.
#[test]
fn used_blades_take_the_place_of_new_ones_that_are_not_there() {
    for (new, used, fitted, waits) in [
        (0, 1, [1.0, 0.0], [0.75, 0.75]),
        // The first row has three used ones, and the other the last; for its second it waits for its own order.
        (0, 4, [3.0, 1.0], [0.0, 0.75]),
        (0, 5, [3.0, 2.0], [0.0, 0.0]),
        // One new, one used, and one that is waited for. What was ordered in the place of the new one is there in 1.75 for the
        // other row, which waits longer for its second blade.
        (1, 1, [1.0, 0.0], [0.75, 0.75]),
        (1, 2, [2.0, 0.0], [0.0, 0.75]),
        // For the other row's second blade there is the first that was ordered, in 1.75.
        (2, 2, [1.0, 1.0], [0.0, 0.25]),
        (2, 3, [1.0, 2.0], [0.0, 0.0]),
        (3, 1, [0.0, 1.0], [0.0, 0.25]),
        (4, 9, [0.0, 1.0], [0.0, 0.0]),
        (5, 9, [0.0, 0.0], [0.0, 0.0]),
    ] {
        let lived = live(&with_used(&two_units(new, "wait", ["[1, 2]", "[1.5, 2.5]"], ""), used, 1.0), 8);
        for (row, count) in [(0, 3.0), (1, 2.0)] {
            let wait = waits[row] * YEAR;
            let days = 4.0 + 0.5 * count + wait;
            for (quantity, by_hand) in [
                (Quantity::UsedBladesFitted, fitted[row]),
                (Quantity::BladesReplaced, count),
                (Quantity::WaitDays, wait),
                (Quantity::Days, days),
                (Quantity::ReplacementCost, 10.0 * count - 6.0 * fitted[row]),
                (Quantity::Cost, 2.0 * 110.0 + 10.0 * count - 6.0 * fitted[row] + 3.0 * days + 24.0),
            ] {
                assert_each(&lived, row, quantity, by_hand);
            }
        }
    }
}

/// One new and one used in year 1, and one blade of the first row runs on. In 1.5 none is there, and both of the other row run
/// on. In 2 two are there, of which the first row takes one, and in 2.5 the other row has all that was ordered.
#[test]
fn called_blades_run_on_where_no_used_one_is_left() {
    let outages = ["[1, 2, 3]", "[1.5, 2.5, 3.5]"];
    let text = |new: u32, used: u32| with_used(&two_units(new, "run-on-watched", outages, ""), used, 1.0);
    let expect = |text: &str, run_on: [f64; 2], replaced: [f64; 2], used: [f64; 2]| {
        let lived = live(text, 8);
        for row in 0..2 {
            assert_each(&lived, row, Quantity::BladesRunOn, run_on[row]);
            assert_each(&lived, row, Quantity::BladesReplaced, replaced[row]);
            assert_each(&lived, row, Quantity::UsedBladesFitted, used[row]);
            assert_each(&lived, row, Quantity::WaitDays, 0.0);
        }
    };
    expect(&text(1, 1), [1.0, 2.0], [3.0, 2.0], [1.0, 0.0]);
    expect(&text(1, 4), [0.0, 0.0], [3.0, 2.0], [2.0, 2.0]);
    // Blades 1 to 4 and 5 to 8 go together; on the first row both groups are called, and on the other one too.
    let together = |new: u32, used: u32| {
        text(new, used).replace("[roots.r.hot_spots.h]", "[roots.r]\nreplaced_together = 4\n[roots.r.hot_spots.h]")
    };
    // The first group has used ones, though three new ones are there; four are ordered for the second.
    expect(&together(3, 4), [1.0, 2.0], [8.0, 8.0], [4.0, 0.0]);
    // Three new ones and three used ones are no group of one kind.
    expect(&together(3, 7), [1.0, 2.0], [8.0, 8.0], [4.0, 0.0]);
    expect(&together(4, 4), [0.0, 2.0], [8.0, 8.0], [4.0, 0.0]);
    expect(&together(4, 12), [0.0, 0.0], [8.0, 8.0], [4.0, 8.0]);
}

/// Three cracked blades are called in year 1, where one new blade, one used one and then none is there; the third blade runs on.
/// Until the next outage the hours come to a share of the mean time to a crack, and to four times as much of that of a used
/// blade. In year 2 the third is called again, with a new blade for it, and whatever has cracked.
#[test]
fn cracks_begin_sooner_in_used_blades() {
    const SHARE: f64 = 0.3;
    let looks = "{ techniques = [\"ut\"], at_outages = [1, 2] }";
    let stock = "spares = [{ blades = 1, lead_days = 100, without = \"run-on-watched\", cost_per_year = 8 }]";
    let rest = format!("dispositions = [{{ action = \"replace\" }}]\n{stock}");
    let plan = Plan {
        blades: 3,
        cracked: vec![1, 2, 3],
        outages: "[1, 2]",
        strategies: strategy("one", looks, &rest),
        ..Plan::default()
    };
    // 8760 hours a year for a thousandth of one are 50 means; then none until year 1.
    let mean = 8.76 / 50.0;
    let text = plan.text().replace("mean = 1e-6", &format!("mean = {mean}")).replace(
        "starts_per_year = 0, hours_per_year = 0 },",
        &format!(
            "starts_per_year = 0, hours_per_year = 0 }},\n  {{ from_year = 1, starts_per_year = 0, hours_per_year = {} }},",
            SHARE * mean
        ),
    );
    let lived = live(&with_used(&text, 1, 0.25), 20_000);
    let [new, used] = [1.0 - f64::exp(-SHARE), 1.0 - f64::exp(-SHARE / 0.25)];
    assert_near(lived.fleet_of(0, Quantity::CracksFound), 4.0 + new + used);
    assert_each(&lived, 0, Quantity::UsedBladesFitted, 1.0);
    // Two new ones are there in year 2: the third blade to ask runs on again, if all three are called.
    assert_near(lived.fleet_of(0, Quantity::BladesRunOn), 1.0 + new * used);
    assert_near(lived.fleet_of(0, Quantity::BladesReplaced), 3.0 + new + used - new * used);
    // If used blades were as new ones.
    let twin = live(&with_used(&text, 1, 1.0), 20_000).fleet_of(0, Quantity::CracksFound);
    assert_near(twin, 4.0 + 2.0 * new);
}

/// Blades that are damaged in handling do not run on: each of three is damaged with a chance of 0.2, and one is there.
#[test]
fn damaged_blades_are_waited_for_where_called_ones_run_on() {
    let look = "{ techniques = [\"mt\"], at_outages = [1] }";
    let rest = "dispositions = [{ action = \"replace\" }]\nspares = [{ blades = 1, lead_days = 40, without = \"run-on-watched\" }]";
    let plan = Plan { blades: 3, cracked: Vec::new(), strategies: strategy("one", look, rest), ..Plan::default() };
    let text = plan
        .text()
        .replace("[roots.r.hot_spots.h]", "[roots.r]\nhandling_damage_probability = 0.2\n[roots.r.hot_spots.h]");
    let lived = live(&text, 20_000);
    assert_near(lived.fleet_of(0, Quantity::BladesDamaged), 0.6);
    assert_near(lived.fleet_of(0, Quantity::WaitDays), 40.0 * binomial_at_least(2, 3, 0.2));
    // The second of them has a used one.
    let used = "\"run-on-watched\", used_blades = { blades = 1, life_factor = 0.5, cost_per_blade = 4 } }]";
    let lived = live(&text.replace("\"run-on-watched\" }]", used), 20_000);
    assert_near(lived.fleet_of(0, Quantity::UsedBladesFitted), binomial_at_least(2, 3, 0.2));
    assert_near(lived.fleet_of(0, Quantity::WaitDays), 40.0 * binomial_at_least(3, 3, 0.2));
    assert_near(lived.fleet_of(0, Quantity::ReplacementCost), 10.0 * 0.6 - 6.0 * binomial_at_least(2, 3, 0.2));
    // A new row is a set of its own.
    let row_end = format!("{rest}\nrow_end = {{ year = 1, then = \"new-row\" }}");
    let plan = Plan { trials: 8, strategies: strategy("one", look, &row_end), ..plan };
    let lived = live(&plan.text(), 8);
    assert_each(&lived, 0, Quantity::WaitDays, 0.0);
    assert_each(&lived, 0, Quantity::RowsReplaced, 1.0);
}

/// A look in place takes 2 days, and a new blade half a day. Three cracked blades are called at each of five outages until they
/// are gone: at each the first ones by number are replaced as far as there is time.
#[test]
fn blades_for_which_the_window_leaves_no_time_run_on() {
    let looks = "{ techniques = [\"ut\"], first_outage = 1, every_outages = 1 }";
    let rest = "dispositions = [{ action = \"replace\" }]\nwhen_window_closes = \"run-on-watched\"";
    let text = |looks: &str, rest: &str, window: &str| {
        let plan = Plan { cracked: vec![2, 3, 7], strategies: strategy("one", looks, rest), ..Plan::default() };
        let days = plan.text().replace("window_days = 0", &format!("window_days = {window}"));
        days.replace("outage_day_cost = 0", "outage_day_cost = 3")
    };
    for (window, found, run_on, left) in [
        ("1", 15.0, 15.0, [3.0; 5]),
        ("2.4", 15.0, 15.0, [3.0; 5]),
        ("2.5", 6.0, 3.0, [2.0, 1.0, 0.0, 0.0, 0.0]),
        ("3.4", 4.0, 1.0, [1.0, 0.0, 0.0, 0.0, 0.0]),
        ("3.5", 3.0, 0.0, [0.0; 5]),
    ] {
        let lived = live(&text(looks, rest, window), 8);
        let replaced = found - run_on;
        // The look alone may take longer than the window.
        let beyond = if window == "1" { 5.0 } else { 0.0 };
        for (quantity, by_hand) in [
            (Quantity::CracksFound, found),
            (Quantity::BladesRunOn, run_on),
            (Quantity::BladesReplaced, replaced),
            (Quantity::Days, 10.0 + 0.5 * replaced),
            (Quantity::DaysBeyondWindow, beyond),
            (Quantity::Cost, 5.0 * 110.0 + 10.0 * replaced + 3.0 * beyond),
        ] {
            assert_each(&lived, 0, quantity, by_hand);
        }
        let after: Vec<f64> = lived.after_outages_of(0, 0).iter().map(|after| after.cracks.value).collect();
        assert_eq!(after, left, "window of {window} days");
        let told = lived.warnings().iter().any(|warning| warning.starts_with("strategies.one: at outage 1 of unit u"));
        assert_eq!(told, run_on == 15.0, "{:?}", lived.warnings());
    }
    // With blades out, 5 days and 0.1 for each of ten; with a lift of 1.5 days: 2 + 5 + 1 + 1.5, and half a day is left.
    let out = text("{ techniques = [\"mt\"], first_outage = 1, every_outages = 1 }", rest, "10.4").replace(
        "blades_out_days = 5",
        "blades_out_days = 5\nblades_out_cost_per_blade = 0\nblades_out_days_per_blade = 0.1\nrotor_lift_cost = 0\nrotor_lift_days \
         = 1.5",
    );
    assert_each(&live(&out, 8), 0, Quantity::BladesRunOn, 3.0);
    assert_each(&live(&out.replace("window_days = 10.4", "window_days = 9.99"), 8), 0, Quantity::BladesRunOn, 15.0);
    let words = Study::parse(&out, "plan").expect("a good study").work_calendar_text();
    assert!(words.contains("mt, blades out, time for 1 new blade, 8 days"), "{words}");
    // A second look in place takes 2 days more, of which nobody knew before.
    let second = "{ techniques = [\"ut\"], first_outage = 1, every_outages = 1, escalation = { techniques = [\"mt\"], \
                  first_call_stands = true } }";
    let in_place = |text: String| text.replace("blades-out", "in-place");
    assert_each(&live(&in_place(text(second, rest, "4.5")), 8), 0, Quantity::BladesRunOn, 3.0);
    assert_each(&live(&in_place(text(second, rest, "4.4")), 8), 0, Quantity::BladesRunOn, 15.0);
    // Blades 1 to 4 and 5 to 8 go together, and the first group that asks has the time; then the other one.
    let together = text(looks, rest, "4")
        .replace("[roots.r.hot_spots.h]", "[roots.r]\nreplaced_together = 4\n[roots.r.hot_spots.h]");
    assert_each(&live(&together, 8), 0, Quantity::BladesRunOn, 1.0);
    assert_each(&live(&together, 8), 0, Quantity::BladesReplaced, 8.0);
    // One spare, and time for one: the others run on for want of time, and none is ordered for them.
    let spares = format!("{rest}\nspares = [{{ blades = 1, lead_days = 300, without = \"run-on-watched\" }}]");
    let lived = live(&text(looks, &spares, "2.5"), 8);
    assert_each(&lived, 0, Quantity::BladesRunOn, 3.0);
    assert_each(&lived, 0, Quantity::BladesReplaced, 3.0);
    // One that runs on is watched: nobody looks otherwise at the second outage.
    let seldom = live(&text(&looks.replace("every_outages = 1", "every_outages = 9"), rest, "3"), 8);
    assert_each(&seldom, 0, Quantity::BladesRunOn, 1.0);
    assert_each(&seldom, 0, Quantity::LookCost, 110.0 + 101.0);
}

/// The plan's text where cracks, which are 2 mm long, are called by either technique by a normal curve of this median size and
/// a spread of 1.
fn with_curves(plan: &Plan, q50_mm: f64, rest: &str) -> String {
    let text = plan.text().replace("q50_mm = 0.05, spread = 0.01", &format!("q50_mm = {q50_mm}, spread = 1"));
    assert!(text.contains("spread = 1,"));
    text + rest
}

fn lived(text: &str) -> Comparison {
    let study = Study::parse(text, "plan").unwrap_or_else(|error| panic!("{error}"));
    study.simulate(&Run { trials: 20_000, seed: 7, ..Run::default() }).expect("a run")
}

/// Half the median size makes a technique call half the cracks of 2 mm, and not Phi(-ln 2) of them.
#[test]
fn a_cleaned_surface_shows_more_to_the_look_that_asked_for_it() {
    let wiping = "[cleaning.wiping]\nq50_factor = 0.5\n";
    let of_ut = "[cleaning.wiping]\nq50_factor = { ut = 0.5 }\n";
    let as_it_is = serrata::math::normal_cdf(-2.0_f64.ln());
    let second = |cleaning: &str| {
        format!(
            "{{ techniques = [\"ut\"], {cleaning}at_outages = [1], escalation = {{ techniques = [\"mt\"], first_call_stands = \
             false }} }}"
        )
    };
    let cleaned = "{ techniques = [\"ut\"], cleaning = \"wiping\", at_outages = [1] }";
    let other = "{ techniques = [\"ut\"], at_outages = [1] }";
    let of_others = "{ techniques = [\"mt\"], at_outages = [1] }";
    for (looks, rest, by_hand) in [
        (other.to_owned(), wiping, as_it_is),
        (cleaned.to_owned(), wiping, 0.5),
        (cleaned.to_owned(), of_ut, 0.5),
        // What a look leads to sees the cleaned surface, too, if the factor is meant for it.
        (second(""), wiping, as_it_is * as_it_is),
        (second("cleaning = \"wiping\", "), wiping, 0.25),
        (second("cleaning = \"wiping\", "), of_ut, 0.5 * as_it_is),
        // One draw tells of both surfaces.
        (format!("{cleaned}, {other}"), wiping, 0.5),
        // Another look sees the surface as it is.
        (format!("{cleaned}, {of_others}"), wiping, 1.0 - 0.5 * (1.0 - as_it_is)),
    ] {
        let plan = Plan { outages: "[1]", ..Plan::replacing(&looks) };
        assert_near(lived(&with_curves(&plan, 4.0, rest)).fleet_of(0, Quantity::CracksFound), by_hand);
    }
}

/// Where no technique is stated, blades are watched by the one that called them, on the surface as it is then.
#[test]
fn a_blade_that_was_called_on_a_cleaned_surface_is_watched_on_the_surface_as_it_is() {
    let wiping = "[cleaning.wiping]\nq50_factor = 0.5\n";
    let as_it_is = serrata::math::normal_cdf(-2.0_f64.ln());
    let second = "escalation = { techniques = [\"mt\"], first_call_stands = false }";
    // One draw tells of both surfaces at one outage, and another one at the next.
    for (second, called) in [("", 0.5), (second, 0.25)] {
        let comma = if second.is_empty() { "" } else { ", " };
        // Another look, of an outage that never comes.
        let look = format!(
            "{{ techniques = [\"ut\"], cleaning = \"wiping\", at_outages = [1]{comma}{second} }}, {{ techniques = [\"mt\"], \
             at_outages = [9] }}"
        );
        let strategies = strategy("one", &look, "dispositions = [{ action = \"watch\" }]");
        let plan = Plan { outages: "[1, 2]", strategies, ..Plan::default() };
        let lived = lived(&with_curves(&plan, 4.0, wiping));
        assert_near(lived.fleet_of(0, Quantity::CracksFound), called * (1.0 + as_it_is));
        let again = if second.is_empty() { 0.0 } else { 0.5 * 110.0 };
        assert_near(lived.fleet_of(0, Quantity::LookCost), 110.0 + again + called * 101.0);
    }
}

/// Of the cracks that a technique would call, half of them here, it calls a part where the cleaning shut their mouths.
#[test]
fn a_cleaning_that_smears_mouths_shut_hides_cracks_by_the_factor_of_each_technique() {
    let blasting = "[cleaning.blasting]\nq50_factor = 0.5\ncloses_mouth_probability = 0.3\n";
    let found = |techniques: &str, factor: &str, agreement: &str, mouths: &str| {
        let look = format!("{{ techniques = [{techniques}], cleaning = \"blasting\", at_outages = [1]{agreement} }}");
        let plan = Plan { outages: "[1]", ..Plan::replacing(&look) };
        let text =
            with_curves(&plan, 4.0, blasting).replace("crack_sigma = 0\n", &format!("crack_sigma = 0\n{factor}\n"));
        let text = text.replace("initiation_life_factor = 1\n", &format!("initiation_life_factor = 1\n{mouths}\n"));
        lived(&text).fleet_of(0, Quantity::CracksFound)
    };
    assert_near(found("\"ut\"", "", "", ""), 0.5);
    assert_near(found("\"ut\"", "closed_mouth_factor = 0.4", "", ""), 0.5 * (0.7 + 0.3 * 0.4));
    // Open where neither nature nor the cleaning shuts it.
    let mouths = "closed_mouth_probability = 0.5";
    assert_near(found("\"ut\"", "closed_mouth_factor = 0.4", "", mouths), 0.5 * (0.35 + 0.65 * 0.4));
    // One state for both techniques.
    let all = ", agreement = \"all\"";
    assert_near(found("\"ut\", \"mt\"", "closed_mouth_factor = 0", all, ""), 0.7 * 0.25);
}

#[test]
fn cleaning_and_peening_are_paid_when_they_are_done() {
    let cleaning = "[cleaning.wiping]\nq50_factor = 1\ncost_per_row = 7\ncost_per_blade = 2\ndays_per_row = 0.5\n";
    let paid = |looks: &str, rest: &str| {
        let rest = format!("dispositions = [{{ action = \"replace\" }}]\n{rest}");
        let plan = Plan { cracked: Vec::new(), strategies: strategy("one", looks, &rest), ..Plan::default() };
        let lived = lived(&(plan.text() + cleaning));
        [Quantity::SurfaceCost, Quantity::SurfaceDays, Quantity::BladesOutCost, Quantity::LookCost]
            .map(|quantity| lived.fleet_of(0, quantity).value)
    };
    let look = |rest: &str| format!("{{ techniques = [\"ut\"], cleaning = \"wiping\", {rest} }}");
    assert_eq!(paid(&look("at_outages = [1, 3]"), ""), [2.0 * 27.0, 1.0, 0.0, 220.0]);
    let half = look("at_outages = [1, 3], coverage = { blade_fraction = 0.5 }");
    assert_eq!(paid(&half, ""), [2.0 * 17.0, 1.0, 0.0, 210.0]);
    // Each blade is cleaned once, and looked at once.
    let twice = format!("{}, {}", look("at_outages = [2]"), look("at_outages = [2, 4]"));
    assert_eq!(paid(&twice, ""), [2.0 * 27.0, 1.0, 0.0, 220.0]);
    // Two looks that each cover half of the blades, apart from each other, leave a quarter.
    let half = look("at_outages = [2], coverage = { blade_fraction = 0.5 }");
    assert_eq!(paid(&format!("{half}, {half}"), ""), [7.0 + 2.0 * 7.5, 0.5, 0.0, 107.5]);
    // Looks at outages 1, 3 and 5 are clean, and each has the next one skipped.
    assert_eq!(paid(&look("first_outage = 1, every_outages = 1, skip_after_clean = 1"), "")[..2], [3.0 * 27.0, 1.5]);
    let peening = |when: &str, rest: &str| {
        format!(
            "peening = [{{ {when}, life_factor = 2, cost_per_row = 40, days_per_row = 1.5, blades_out = true }}]\n{rest}"
        )
    };
    assert_eq!(paid("", &peening("at_outages = [1, 4]", "")), [80.0, 3.0, 2000.0, 0.0]);
    assert_eq!(paid("", &peening("first_outage = 2, every_outages = 2", ""))[..2], [80.0, 3.0]);
    assert_eq!(paid("", &peening("in_years = [2.5], rows = [\"row\"]", ""))[..2], [40.0, 1.5]);
    // A row that is new at the outage is not peened, nor is one that has left service.
    assert_eq!(
        paid("", &peening("at_outages = [1, 4]", "row_end = { year = 4, then = \"new-row\" }"))[..2],
        [40.0, 1.5]
    );
    assert_eq!(
        paid("", &peening("at_outages = [1, 3, 4]", "row_end = { year = 3, then = \"retired\" }"))[..2],
        [40.0, 1.5]
    );
}

/// Cracks in ten blades that are two years old at the start, by Weibull's law of shape 2 and a scale of 5 years; after each outage.
fn cracks_under(rest: &str) -> Vec<Estimate> {
    let rest = format!("dispositions = [{{ action = \"replace\" }}]\n{rest}");
    let plan = Plan { cracked: (1..=10).collect(), strategies: strategy("one", "", &rest), ..Plan::default() };
    let law = "kind = \"weibull\"\nshape = 2\nscale = 43800";
    let text = plan.text().replace("kind = \"exponential\"\nmean = 1e-6", law);
    let text = text.replace("  { from_year = -1.999, starts_per_year = 0, hours_per_year = 0 },\n", "");
    let text = text.replace("new_blade_cost", "dressing_cost = 0\ndressing_days = 0\nnew_blade_cost");
    assert!(text.contains(law) && !text.contains("-1.999"));
    lived(&text).after_outages_of(0, 0).iter().map(|after| after.cracks).collect()
}

fn weibull(years: f64) -> f64 {
    -(-(years / 5.0_f64).powi(2)).exp_m1()
}

/// From each peening on the time that is left goes by so many times slower.
#[test]
fn cracks_of_peened_blades_begin_as_late_as_the_law_says_in_their_time() {
    let peening = |outages: &str, life_factor: f64| {
        format!(
            "{{ at_outages = [{outages}], life_factor = {life_factor}, cost_per_row = 0, days_per_row = 0, blades_out = false }}"
        )
    };
    let hold = |rest: &str, by_hand: [f64; 5]| {
        cracks_under(rest).into_iter().zip(by_hand).for_each(|(ours, by_hand)| assert_near(ours, 10.0 * by_hand));
    };
    hold("", [3.0, 4.0, 5.0, 6.0, 7.0].map(weibull));
    let (third, sixth) = (1.0 / 3.0, 1.0 / 6.0);
    let both = format!("peening = [{}, {}]\n", peening("2", 3.0), peening("4", 2.0));
    hold(&both, [3.0, 4.0, 4.0 + third, 4.0 + 2.0 * third, 4.0 + 2.0 * third + sixth].map(weibull));
    let at_once = format!("peening = [{}, {}]\n", peening("2", 3.0), peening("2", 2.0));
    hold(&at_once, [3.0, 4.0, 4.0 + sixth, 4.0 + 2.0 * sixth, 4.0 + 3.0 * sixth].map(weibull));
    // A peening that harms.
    hold(&format!("peening = [{}]\n", peening("2", 0.5)), [3.0, 4.0, 6.0, 8.0, 10.0].map(weibull));
    // Blades that are new at the second outage miss its peening, and get the next.
    let renewed = format!("{both}row_end = {{ year = 2, then = \"new-row\" }}\n");
    hold(&renewed, [weibull(3.0), 0.0, weibull(1.0), weibull(2.0), weibull(2.5)]);
}

/// A place that is dressed at an outage is peened there: its time is that of both factors.
#[test]
fn a_place_that_is_dressed_is_peened_by_both_factors() {
    let look = "{ techniques = [\"ut\"], at_outages = [2] }";
    let rest = "dispositions = [{ action = \"dress\" }]
dressing = { gone_probability = 1, life_factor = 0.5, at_most_depth_mm = 100, blades_out = false }
peening = [{ at_outages = [2, 4], life_factor = 3, cost_per_row = 0, days_per_row = 0, blades_out = false }]";
    let plan = Plan { cracked: (1..=10).collect(), strategies: strategy("one", look, rest), ..Plan::default() };
    let law = "kind = \"weibull\"\nshape = 2\nscale = 43800";
    let text = plan.text().replace("kind = \"exponential\"\nmean = 1e-6", law);
    let text = text.replace("  { from_year = -1.999, starts_per_year = 0, hours_per_year = 0 },\n", "");
    let text = text.replace("new_blade_cost", "dressing_cost = 0\ndressing_days = 0\nnew_blade_cost");
    let after: Vec<Estimate> = lived(&text).after_outages_of(0, 0).iter().map(|after| after.cracks).collect();
    let (dressed, third) = (weibull(4.0), 1.0 / 3.0);
    // Years since then, for dressed places and for others.
    for (outage, years) in [(1, 0.0), (2, third), (3, 2.0 * third), (4, 2.0 * third + third / 3.0)] {
        let by_hand = dressed * weibull(years / 0.5) + weibull(4.0 + years) - dressed;
        assert_near(after[outage], 10.0 * by_hand);
    }
}
