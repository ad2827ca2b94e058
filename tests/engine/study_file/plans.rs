//! Forms of plans: what is refused, in which words.

use super::{assert_refused, spoiled};
use serrata::Study;
use serrata::model::strategy::{
    Choice, EscalationScope, LookScope, Sample, SampleSize, Spares, UsedBlades, When, WhenWindowCloses, WithoutSpare,
};

const PERIOD: &str = "first_outage = 1, every_outages = 1";
const COVERAGE: &str = "coverage = { blade_fraction = 0.5 }";
const ROW_END: &str = "row_end = { year = 2026, then = \"retired\" }";

#[test]
fn outages_of_a_look_are_stated_in_one_way() {
    let read = |when: &str| {
        let study = Study::parse(&spoiled(&[(PERIOD, when)]), "small.toml").expect("a good study");
        study.strategies[0].looks[0].when.clone()
    };
    assert_eq!(read("at_outages = [1, 3]"), When::Outages(vec![1, 3]));
    assert_eq!(read("in_years = [2020, 2026.5]"), When::Years(vec![2020.0, 2026.5]));
    assert_refused(
        &[(PERIOD, "at_outages = [1, 3], first_outage = 2")],
        "small.toml: 1 fault
  line 116, strategies.look.looks[1].first_outage = 2
    does not go with at_outages
    state the outages of a look in one way",
    );
    assert_refused(
        &[(PERIOD, "at_outages = [3, 1]")],
        "small.toml: 1 fault
  line 116, strategies.look.looks[1].at_outages = [3, 1]
    must be in rising order
    sort them, each once",
    );
    assert_refused(
        &[(PERIOD, "in_years = [2031]")],
        "small.toml: 1 fault
  line 116, strategies.look.looks[1].in_years[1] = 2031
    must lie within the study (the study runs from 2020 to 2030)
    correct the year, or remove it",
    );
    assert_refused(
        &[(PERIOD, "at_outages = [1], skip_after_clean = 2")],
        "small.toml: 1 fault
  line 116, strategies.look.looks[1].skip_after_clean = 2
    belongs with every_outages
    state first_outage and every_outages, or remove it",
    );
    assert_refused(
        &[(PERIOD, "first_outage = 1, every_outages = 1, skip_after_clean = 2, instead_of_others = true")],
        "small.toml: 1 fault
  line 116, strategies.look.looks[1].skip_after_clean = 2
    does not go with instead_of_others
    remove one of the two: a look that is due by what is found cannot take the place of others",
    );
}

#[test]
fn a_sample_says_how_many_blades_and_which() {
    let read = |coverage: &str| {
        let study = Study::parse(&spoiled(&[(COVERAGE, coverage)]), "small.toml").expect("a good study");
        study.strategies[0].looks[0].coverage.blades
    };
    let third = Sample::Number(SampleSize::Fraction(0.3), Choice::LeastLookedAt);
    assert_eq!(read("coverage = { blade_fraction = 0.3, chosen = \"least-looked-at\" }"), third);
    let ten = Sample::Number(SampleSize::Blades(10), Choice::Rotating);
    assert_eq!(read("coverage = { blades = 10, chosen = \"rotating\" }"), ten);
    assert_refused(
        &[(COVERAGE, "coverage = { blades = 10 }")],
        "small.toml: 1 fault
  line 116, strategies.look.looks[1].coverage.blades = 10
    must come with chosen, which says which blades they are
    add chosen = \"drawn\", \"rotating\" or \"least-looked-at\"",
    );
    assert_refused(
        &[(COVERAGE, "coverage = { chosen = \"drawn\" }")],
        "small.toml: 1 fault
  line 116, strategies.look.looks[1].coverage.chosen = \"drawn\"
    belongs with blades or blade_fraction
    state how many blades, or remove it",
    );
    assert_refused(
        &[(COVERAGE, "coverage = { blades = 10, blade_fraction = 0.5 }")],
        "small.toml: 1 fault
  line 116, strategies.look.looks[1].coverage.blades = 10
    does not go with blade_fraction
    state the number of blades or their fraction",
    );
}

#[test]
fn one_technique_alone_does_not_agree_with_any_other() {
    assert_refused(
        &[(COVERAGE, "agreement = \"all\"")],
        "small.toml: 1 fault
  line 116, strategies.look.looks[1].agreement = \"all\"
    \"all\" asks for two techniques or more
    name another technique in the look, or remove agreement",
    );
    let escalation = "escalation = { techniques = [\"eddy-current\"], first_call_stands = false, of = \"called-blades\", \
                      from_blades = 3 }";
    let study = Study::parse(&spoiled(&[(COVERAGE, escalation)]), "small.toml").expect("a good study");
    let read = study.strategies[0].looks[0].escalation.as_ref().expect("an escalation");
    assert_eq!((read.of, read.from_blades), (EscalationScope::CalledBlades, 3));
}

#[test]
fn outages_are_put_off_within_the_study_and_before_the_next() {
    let refused = |deferrals: &str, expected: &str| {
        assert_refused(&[(ROW_END, &format!("deferrals = {deferrals}"))], expected);
    };
    refused(
        "[{ outage = 1, by_years = 3 }]",
        "small.toml: 1 fault
  line 123, strategies.none.deferrals = [{ outage = 1, by_years = 3 }]
    puts outage 1 of unit A off to 2024: it must come before the one after it (2024)
    shorten by_years, or put off the one after it too",
    );
    refused(
        "[{ outage = 3, by_years = 3.5 }]",
        "small.toml: 1 fault
  line 123, strategies.none.deferrals = [{ outage = 3, by_years = 3.5 }]
    puts outage 3 of unit A off to 2030.5: it must come before the end of the study (2030)
    shorten by_years, or put off the one after it too",
    );
    refused(
        "[{ outage = 4, by_years = 0.5 }]",
        "small.toml: 1 fault
  line 123, strategies.none.deferrals[1] = { outage = 4, by_years = 0.5 }
    must be of one of the 3 outages of unit A in the study
    name another one, or the units that have it",
    );
    refused(
        "[{ outage = 2, by_years = 0.5 }, { outage = 2, by_years = 1, units = [\"A\"] }]",
        "small.toml: 1 fault
  line 123, strategies.none.deferrals[2] = { outage = 2, by_years = 1, units = [\"A\"] }
    puts an outage of unit A off that is put off before
    remove one",
    );
    let both = "deferrals = [{ outage = 1, by_years = 3 }, { outage = 2, by_years = 0.5 }]";
    let study = Study::parse(&spoiled(&[(ROW_END, both)]), "small.toml").expect("a good study");
    assert_eq!(study.unit_under(0, &study.strategies[1]).outages.years, [2024.0, 2024.5, 2027.0]);
    assert_eq!(study.unit_under(0, &study.strategies[0]).outages.years, [2021.0, 2024.0, 2027.0]);
    assert_refused(
        &[(ROW_END, "starts_limit = { starts_per_year = 50, from_year = 2019, cost_per_year = 0 }")],
        "small.toml: 1 fault
  line 123, strategies.none.starts_limit.from_year = 2019
    must lie within the study (the study runs from 2020 to 2030)
    correct the year; the past is as it was",
    );
}

#[test]
fn a_loss_does_one_thing_at_most() {
    const ROOT: &str = "[roots.fork.hot_spots.pin]";
    let refused = |about: &str, expected: &str| {
        assert_refused(&[(ROOT, &format!("[roots.fork]\nconsequences = {about}\n{ROOT}"))], expected);
    };
    refused(
        "{ row_wrecked_probability = 0.6, rotor_wrecked_probability = 0.5 }",
        "small.toml: 1 fault
  line 35, roots.fork.consequences = { row_wrecked_probability = 0.6, rotor_wrecked_probability = ...
    have chances that sum to 1.1: a loss does one of these at most
    lower them, so that their sum is 1 at most",
    );
    refused(
        "{ neighbours = 3 }",
        "small.toml: 1 fault
  line 35, roots.fork.consequences.neighbours = 3
    belongs with neighbours_damaged_probability
    state both, how often and how many, or none of the two",
    );
}

#[test]
fn cleaning_and_peening_are_refused_with_what_would_be_right() {
    let faults = |edits: &[(&str, &str)]| {
        let error = Study::parse(&spoiled(edits), "small.toml").expect_err("a study with a fault");
        error.to_string()
    };
    let table = |keys: &str| format!("[cleaning.wiping]\n{keys}\n[strategies.look]\n");
    let header = "[strategies.look]\n";
    let cleaned = (PERIOD, "first_outage = 1, every_outages = 1, cleaning = \"wiping\"");
    for (keys, expected) in [
        ("", "cleaning.wiping.q50_factor"),
        ("q50_factor = 0", "cleaning.wiping.q50_factor = 0\n    must exceed 0"),
        ("q50_factor = { ultrasonc = 0.5 }", "cleaning.wiping.q50_factor.ultrasonc"),
        ("q50_factor = { ultrasonic = -1 }", "cleaning.wiping.q50_factor.ultrasonic = -1"),
        ("q50_factor = 0.5\ncloses_mouth_probability = 1.5", "cleaning.wiping.closes_mouth_probability = 1.5"),
        ("q50_factor = 0.5\ncost_per_row = -2", "cleaning.wiping.cost_per_row = -2"),
        ("q50_factor = nan", "cleaning.wiping.q50_factor = nan"),
    ] {
        let text = faults(&[(header, &table(keys))]);
        assert!(text.contains("1 fault\n") && text.contains(expected), "{text}");
    }
    let text = faults(&[cleaned]);
    assert!(text.contains("strategies.look.looks[1].cleaning = \"wiping\""), "{text}");
    // The look covers half of the blades.
    let second = "first_outage = 1, every_outages = 1, cleaning = \"wiping\", escalation = { techniques = [\"eddy-current\"], \
                  first_call_stands = true }";
    let text = faults(&[(header, &table("q50_factor = 0.5")), (PERIOD, second)]);
    assert!(
        text.contains("does not go with a look at a part of the blades that has the whole row looked at"),
        "{text}"
    );
    let good = "{ at_outages = [1, 2], life_factor = 2, cost_per_row = 1, days_per_row = 1, blades_out = true }";
    let peened = |entry: &str| format!("[strategies.look]\npeening = [{entry}]\n");
    let study = Study::parse(&spoiled(&[(header, &peened(good))]), "small.toml").expect("a good study");
    assert_eq!(study.strategies[0].peening[0].when, When::Outages(vec![1, 2]));
    let parts = study.clone().into_parts();
    assert_eq!(Study::new(parts).expect("the same study"), study);
    for (from, to, expected) in [
        ("life_factor = 2, ", "", "peening[1].life_factor"),
        ("life_factor = 2", "life_factor = 0", "peening[1].life_factor = 0"),
        ("[1, 2]", "[2, 1]", "must be in rising order"),
        ("[1, 2]", "[]", "state at least one, or remove the peening"),
        ("at_outages = [1, 2]", "in_years = [2050]", "must lie within the study"),
        ("[1, 2]", "[1, 2], every_outages = 1", "state the outages of a peening in one way"),
        ("blades_out = true", "blades_out = true, rows = [\"A2\"]", "peening[1].rows"),
        (", blades_out = true", "", "peening[1].blades_out"),
        ("days_per_row = 1", "days_per_row = -1", "peening[1].days_per_row = -1"),
    ] {
        assert!(good.contains(from));
        let text = faults(&[(header, &peened(&good.replace(from, to)))]);
        assert!(text.contains("1 fault\n") && text.contains(expected), "{text}");
    }
}
#[test]
fn looks_between_outages_go_with_no_dressing_and_with_no_new_row() {
    const EXTRA: &str =
        "extra_look = { after_years = 0.5, techniques = [\"ultrasonic\"], stop_cost = 5, stop_days = 2 }";
    let after_loss = |of: &str| format!("look_after_loss = {{ of = \"{of}\", techniques = [\"ultrasonic\"] }}");
    let read = |text: &str| {
        let study = Study::parse(&spoiled(&[(ROW_END, text)]), "small.toml").expect("a good study");
        study.strategies[1].clone()
    };
    assert_eq!(read(EXTRA).extra_look.map(|look| (look.after_years, look.stop_days)), Some((0.5, 2.0)));
    assert_eq!(read(&after_loss("unit")).look_after_loss.map(|look| look.of), Some(LookScope::Unit));
    assert_refused(
        &[(ROW_END, &EXTRA.replace("0.5", "0"))],
        "small.toml: 1 fault
  line 123, strategies.none.extra_look.after_years = 0
    must exceed 0
    raise after_years above 0",
    );
    assert_refused(
        &[(ROW_END, &after_loss("row"))],
        "small.toml: 1 fault
  line 123, strategies.none.look_after_loss = { of = \"row\", techniques = [\"ultrasonic\"] }
    does not go with after_loss = \"replace-row\": the row is new then
    look at the others of its rotor or unit, or remove it",
    );
    // With blades that are dressed, which asks for prices as well.
    let dressed = "[{ action = \"dress\" }]
dressing = { gone_probability = 1, life_factor = 1, at_most_depth_mm = 1, blades_out = true }";
    let dispositions =
        "[{ below_mm = 2, action = \"watch\" }, { below_mm = 5, action = \"replace\" }, { action = \"replace-row\" }]";
    let prices = "blades_out_days = 5\n";
    assert_refused(
        &[
            (dispositions, &format!("{dressed}\n{EXTRA}")),
            (prices, "blades_out_days = 5\ndressing_cost = 1\ndressing_days = 0\n"),
        ],
        "small.toml: 1 fault
  line 119, strategies.look.extra_look = { after_years = 0.5, techniques = [\"ultrasonic\"], stop_cost  ...
    does not go with a disposition of action \"dress\": blades are dressed at outages
    remove it, or replace, watch or run on instead",
    );
}

#[test]
fn spares_are_of_roots_that_rows_have_each_in_one_stock_that_is_taken_from() {
    let stock = |rest: &str| format!("spares = [{{ blades = 2, lead_days = 90, without = {rest} }}]");
    let wait = stock("\"wait\"");
    let parsed = |change: &(&str, &str)| Study::parse(&spoiled(&[*change]), "small.toml").expect("a good study");
    const LOOKS: &str = "after_loss = \"replace-blade\"";
    let used = "used_blades = { blades = 6, life_factor = 0.3, cost_per_blade = 9000 }";
    let stated = format!("\"run-on-watched\", cost_per_year = 3, roots = [\"fork\"], {used}");
    let read = parsed(&(LOOKS, &format!("{LOOKS}\n{}", stock(&stated))));
    let expected = Spares {
        roots: Some(vec![0]),
        blades: 2,
        lead_days: 90.0,
        without: WithoutSpare::RunOnWatched,
        cost_per_year: 3.0,
        used_blades: Some(UsedBlades { blades: 6, life_factor: 0.3, cost_per_blade: 9000.0 }),
    };
    assert_eq!(read.strategies[0].spares, std::slice::from_ref(&expected));
    assert_eq!(Study::parse(&read.to_toml(), "again").expect("the same").strategies[0].spares, [expected]);
    assert_refused(
        &[(ROW_END, &wait)],
        "small.toml: 1 fault
  line 123, strategies.none.spares = [{ blades = 2, lead_days = 90, without = \"wait\" }]
    stock 1 is never taken from: single blades are never replaced
    remove it, or replace called or lost blades",
    );
    assert_refused(
        &[(ROW_END, &stock("\"run-on-watched\""))],
        "small.toml: 1 fault
  line 123, strategies.none.spares = [{ blades = 2, lead_days = 90, without = \"run-on-watched\" }]
    stock 1 has blades run on, and no called blade is ever to be replaced
    state without = \"wait\", or a look and a disposition that replaces",
    );
    // Lost blades take from it, and so do damaged ones.
    for change in [
        ("after_loss = \"replace-row\"", format!("after_loss = \"replace-blade\"\n{wait}")),
        (
            "[roots.fork.hot_spots.pin]",
            "[roots.fork]\nhandling_damage_probability = 0.1\n[roots.fork.hot_spots.pin]".to_owned(),
        ),
    ] {
        let damages = change.0.starts_with("[roots");
        let mut changes = vec![(change.0, change.1.as_str())];
        if damages {
            changes.push((ROW_END, &wait));
        }
        assert!(Study::parse(&spoiled(&changes), "small.toml").is_ok(), "{changes:?}");
    }
    let in_looks = |stocks: &str, expected: &str| {
        assert_refused(&[(LOOKS, &format!("{LOOKS}\nspares = {stocks}"))], expected);
    };
    in_looks(
        "[]",
        "small.toml: 1 fault
  line 119, strategies.look.spares = []
    must not be empty
    state a stock, or remove it: then new blades are at hand when they are needed",
    );
    in_looks(
        "[{ blades = 2, lead_days = 90, without = \"wait\" }, { blades = 0, lead_days = 30, without = \"wait\" }]",
        "small.toml: 1 fault
  line 119, strategies.look.spares[2] = { blades = 0, lead_days = 30, without = \"wait\" }
    has root fork, which stock 1 has: a row takes blades from one stock
    name the roots of each stock in roots, each root once",
    );
    in_looks(
        "[{ blades = -1, lead_days = 0, without = \"hope\", roots = [\"zzzzzzzz\"] }]",
        "small.toml: 4 faults
  line 119, strategies.look.spares[1].blades = -1
    must be at least 0
    raise blades to 0 or more
  line 119, strategies.look.spares[1].lead_days = 0
    must exceed 0
    raise lead_days above 0
  line 119, strategies.look.spares[1].without = \"hope\"
    must be \"wait\" or \"run-on-watched\"
    choose one of them
  line 119, strategies.look.spares[1].roots[1] = \"zzzzzzzz\"
    there is no root \"zzzzzzzz\"
    known: fork",
    );
    in_looks(
        "[{ blades = 2, lead_days = 90, without = \"wait\", used_blades = { blades = 0.5, life_factor = 1.1, cost_per_blade = -1, \
         from = \"x\" } }]",
        "small.toml: 4 faults
  line 119, strategies.look.spares[1].used_blades.blades = 0.5
    must be a whole number, not a number with a decimal point
    give blades a whole number from 0 to 100000
  line 119, strategies.look.spares[1].used_blades.life_factor = 1.1
    must be at most 1
    lower life_factor to 1 or less
  line 119, strategies.look.spares[1].used_blades.cost_per_blade = -1
    must be at least 0
    raise cost_per_blade to 0 or more
  line 119, strategies.look.spares[1].used_blades.from = \"x\"
    unknown key
    remove it; the keys here are blades, life_factor, cost_per_blade",
    );
    in_looks(
        "[{ blades = 2, lead_days = 90, without = \"wait\", used_blades = { life_factor = 0 } }]",
        "small.toml: 3 faults
  line 119, strategies.look.spares[1].used_blades.blades
    is missing
    add blades: a whole number from 0 to 100000
  line 119, strategies.look.spares[1].used_blades.cost_per_blade
    is missing
    add cost_per_blade: a number from 0 to 1e15
  line 119, strategies.look.spares[1].used_blades.life_factor = 0
    must exceed 0
    raise life_factor above 0",
    );
}

#[test]
fn a_window_closes_where_its_rest_is_known() {
    const LOOKS: &str = "after_loss = \"replace-blade\"";
    const CLOSES: &str = "when_window_closes = \"run-on-watched\"";
    let in_looks = |rest: &str| format!("{LOOKS}\n{CLOSES}{rest}");
    let closes = in_looks("");
    let read = Study::parse(&spoiled(&[(LOOKS, &closes)]), "small.toml").expect("a good study");
    let again = Study::parse(&read.to_toml(), "again").expect("the same");
    assert_eq!(again.strategies[0].when_window_closes, WhenWindowCloses::RunOnWatched);
    assert_eq!(again.strategies[1].when_window_closes, WhenWindowCloses::Overrun);
    let refused = |changes: &[(&str, &str)], line: usize, whose: &str, rule: &str, remedy: &str| {
        let expected = format!(
            "small.toml: 1 fault\n  line {line}, strategies.{whose}.{CLOSES}\n    \"run-on-watched\" {rule}\n    {remedy}"
        );
        assert_refused(changes, &expected);
    };
    refused(
        &[(ROW_END, CLOSES)],
        123,
        "none",
        "has blades run on, and no called blade is ever to be replaced",
        "remove it, or state a look and a disposition that replaces",
    );
    refused(
        &[(LOOKS, &in_looks("\nspares = [{ blades = 2, lead_days = 90, without = \"wait\" }]"))],
        119,
        "look",
        "has outages end in time, and spares have them wait for blades",
        "state without = \"run-on-watched\" for the spares, or remove it",
    );
    let prices = "blades_out_days = 5\ndressing_cost = 1\ndressing_days = 0\n";
    let dressing = "\ndressing = { gone_probability = 1, life_factor = 1, at_most_depth_mm = 2, blades_out = true }";
    refused(
        &[
            (LOOKS, &in_looks(dressing)),
            ("below_mm = 2, action = \"watch\"", "below_mm = 2, action = \"dress\""),
            ("blades_out_days = 5\n", prices),
        ],
        119,
        "look",
        "does not go with a disposition of action \"dress\": days of dressing are not known beforehand",
        "remove it, or replace instead",
    );
}
