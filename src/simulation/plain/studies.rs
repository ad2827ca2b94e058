//! Random small studies over all rules, as study files.

use proptest::prelude::*;

const CLOSES: &str = "when_window_closes = \"run-on-watched\"";

/// The text of a study file.
pub(in crate::simulation) fn texts() -> impl Strategy<Value = String> {
    (world(), proptest::collection::vec(prop_oneof![strategy(), simple_strategy()], 1..4)).prop_map(
        |(world, strategies)| {
            let strategies: Vec<String> =
                strategies.iter().enumerate().map(|(index, text)| format!("[strategies.s{index}]\n{text}")).collect();
            let text = format!("{world}\n{}", strategies.join("\n"));
            // Where windows close, each row has a crew.
            let is_short =
                world.contains("crews = 1") || (world.contains("crews = 2") && world.contains("[rows.three]"));
            if is_short { text.replace(CLOSES, "") } else { text }
        },
    )
}

/// The same, where all that is found is dressed, and cracks soon come again.
#[cfg(test)]
pub(in crate::simulation) fn texts_that_dress() -> impl Strategy<Value = String> {
    let dressing = one_of(&[
        "dressing = { gone_probability = 1, life_factor = 0.05, at_most_depth_mm = 100, blades_out = true }",
        "dressing = { gone_probability = 0.9, life_factor = 0.02, at_most_depth_mm = 5, blades_out = false }",
        "dressing = { gone_probability = 0.5, life_factor = 0.1, at_most_depth_mm = 100, blades_out = false }",
    ]);
    let dispositions = one_of(&[
        "[{ action = \"dress\" }]",
        "[{ below_mm = 2, action = \"run-on\" }, { action = \"dress\" }]",
        "[{ below_depth_mm = 4, action = \"dress\" }, { action = \"replace\" }]",
    ]);
    let technique = one_of(&["insitu", "bench"]);
    (world(), (technique, 1..3_u32, 4..9_u32), dispositions, dressing).prop_map(
        |(world, (technique, first, every), dispositions, dressing)| {
            // Cracks begin early, are seen well and grow fast, so that those of dressed places are lost within the study.
            let edits = [
                ("coefficient_m_per_start = 6e-11", "coefficient_m_per_start = 3e-10"),
                ("initiation_life_factor = 0.8", "initiation_life_factor = 0.4"),
                ("q50_mm = 2.5", "q50_mm = 1"),
                ("q50_mm = 6", "q50_mm = 1"),
                ("in_service_year = 2014", "in_service_year = 2018.5"),
            ];
            let world = edits.iter().fold(world, |world, (from, to)| world.replace(from, to));
            format!(
                "{world}\n[strategies.s0]
description = \"dresses\"
looks = [{{ techniques = [\"{technique}\"], first_outage = {first}, every_outages = {every} }}]
dispositions = {dispositions}
{dressing}
after_loss = \"replace-blade\"
"
            )
        },
    )
}

/// The same, where rows of two units share few spare blades, and called blades without one run on; `used` may add used ones.
#[cfg(test)]
pub(in crate::simulation) fn texts_that_run_short(used: &'static str) -> impl Strategy<Value = String> {
    let is_meant = |world: &String| ["joining", "past_looks"].iter().all(|key| !world.contains(key));
    let world = world().prop_filter("two units", move |world| world.contains("[units.v]") && is_meant(world));
    let technique = one_of(&["insitu", "bench"]);
    (world, technique, 0..3_u32, prop::sample::select(&[300, 900][..])).prop_map(
        move |(world, technique, blades, lead_days)| {
            // Cracks begin early and grow fast, so that blades that run on are lost, in rows that are young, so that few are
            // lost before the study.
            let world = world
                .replace("coefficient_m_per_start = 6e-11", "coefficient_m_per_start = 2e-10")
                .replace("initiation_life_factor = 0.8", "initiation_life_factor = 0.5")
                .replace("in_service_year = 2015", "in_service_year = 2025")
                .replace("in_service_year = 2018", "in_service_year = 2025")
                .replace("in_service_year = 2020", "in_service_year = 2024.5");
            format!(
                "{world}\n[strategies.s0]
description = \"runs short\"
looks = [{{ techniques = [\"{technique}\"], first_outage = 1, every_outages = 1 }}]
dispositions = [{{ action = \"replace\" }}]
spares = [{{ blades = {blades}, lead_days = {lead_days}, without = \"run-on-watched\"{used} }}]
after_loss = \"replace-blade\"
"
            )
        },
    )
}

/// One of these, where windows close behind a look in place and a new blade, and spares are at hand.
#[cfg(test)]
pub(in crate::simulation) fn hurried(text: &str) -> String {
    let edit = |line: &str| match line.split(" = ").next() {
        Some("spares") => CLOSES.to_owned(),
        Some("window_days") => "window_days = 2.5".to_owned(),
        _ => line.replace("techniques = [\"bench\"]", "techniques = [\"insitu\"]").replace("crews = 1", "crews = 2"),
    };
    text.lines().map(|line| edit(line) + "\n").collect()
}

fn one_of(texts: &'static [&'static str]) -> impl Strategy<Value = &'static str> {
    prop::sample::select(texts)
}

/// Everything but strategies: one row of a unit with six to nine outages, or with seventy.
fn world() -> impl Strategy<Value = String> {
    let law = one_of(&[
        "kind = \"weibull\"\nshape = 2.2\nscale = 1500",
        "kind = \"weibull\"\nshape = 0.8\nscale = 5000",
        "kind = \"exponential\"\nmean = 4000",
        "kind = \"lognormal\"\nmedian = 2500\nsigma_log = 0.6",
    ]);
    let spot = one_of(&[
        "crack = { kind = \"fixed-factor\", geometry_factor = 0.73, length_over_depth = 4 }
limit = { kind = \"depth\", depth_mm = 6 }",
        "crack = { kind = \"fixed-factor\", geometry_factor = 0.7, length_over_depth = 3 }
positions = 2
origins = 2
limit = { kind = \"toughness\", toughness_mpa_sqrt_m = { kind = \"weibull\", shape = 8, scale = 60 } }",
        "crack = { kind = \"semi-elliptical\" }
initial_aspect = 0.5
section = { thickness_mm = 20, width_mm = 100 }
limit = { kind = \"section-fraction\", fraction = 0.4 }",
        "crack = { kind = \"semi-elliptical\" }
initial_aspect = 0.6
positions = 2
origins = 3
joining = { rule = \"touching\", spacing_mm = 2, placement = \"even\" }
section = { thickness_mm = 20, width_mm = 60 }
limit = { kind = \"depth\", depth_mm = 8 }",
    ]);
    let scatter = one_of(&[
        "row_factor = 1\nblade_stress_sigma_log = 0",
        "row_factor = { kind = \"gamma\", mean = 1, cov = 0.6 }\nblade_stress_sigma_log = 0",
        "row_factor = { kind = \"lognormal\", mean = 1, sigma_log = 0.5 }\nblade_stress_sigma_log = 0.1",
    ]);
    let outages = one_of(&[
        "years = [2026.5, 2028, 2029.25, 2031, 2032, 2034.5, 2035]",
        "first_year = 2027\nevery_years = 1",
        "first_year = 2020\nevery_years = 2",
        "first_year = 2026.1\nevery_years = 0.16",
    ]);
    let past = one_of(&[
        "in_service_year = 2026",
        "in_service_year = 2018",
        "in_service_year = 2014\nrenewed = [{ year = 2019, blades = [1, 3] }]\npast_looks = [{ year = 2020, technique = \
         \"bench\" }, { year = 2023.5, technique = \"insitu\" }]",
    ]);
    let duty = one_of(&[
        "[{ from_year = 2000, starts_per_year = 120, hours_per_year = 4000 }]",
        "[{ from_year = 2000, starts_per_year = 20, hours_per_year = 7000 }, { from_year = 2024, starts_per_year = 200, \
         hours_per_year = 3000 }]",
    ]);
    let mouths = one_of(&["", "closed_mouth_probability = 0.5"]);
    let crews = one_of(&["", "crews = 1", "crews = 2"]);
    let others = one_of(&[
        "",
        "",
        "[rows.two]\nunit = \"u\"\nrotor = \"x\"\nblades = 4\nroot = \"r\"\nsurface = \"ground\"\nin_service_year = 2017",
        "[rows.two]\nunit = \"u\"\nrotor = \"x\"\nblades = 4\nroot = \"r\"\nsurface = \"ground\"\nin_service_year = 2017
[rows.three]\nunit = \"u\"\nrotor = \"y\"\nblades = 3\nroot = \"r\"\nsurface = \"ground\"\nin_service_year = 2020",
        // Another unit, which stops at other moments, but for one.
        "[units.v]\nduty = [{ from_year = 2000, starts_per_year = 150, hours_per_year = 4000 }]
outages = { years = [2027, 2028, 2029.25, 2030.4, 2031.7, 2033], window_days = 4 }
[rows.two]\nunit = \"v\"\nrotor = \"x\"\nblades = 4\nroot = \"r\"\nsurface = \"ground\"\nin_service_year = 2015
[rows.three]\nunit = \"u\"\nrotor = \"x\"\nblades = 3\nroot = \"r\"\nsurface = \"ground\"\nin_service_year = 2020",
    ]);
    let by_blade = one_of(&["", "blades_out_cost_per_blade = 7\nblades_out_days_per_blade = 0.2"]);
    let lift = one_of(&["", "rotor_lift_cost = 40\nrotor_lift_days = 3"]);
    let together = one_of(&["", "", "replaced_together = 2", "replaced_together = 3"]);
    let harm = one_of(&[
        "",
        "",
        "handling_damage_probability = 0.08",
        "consequences = { neighbours_damaged_probability = 0.3, neighbours = 3, row_wrecked_probability = 0.4 }",
        "consequences = { rotor_wrecked_probability = 0.9 }\nhandling_damage_probability = 0.03",
    ]);
    let money = (
        one_of(&[
            "{ kind = \"lognormal\", mean = 4000, cov = 0.8 }",
            "{ kind = \"lognormal\", mean = 4000, cov = 0.8 }",
            "{ kind = \"pareto\", minimum = 900, tail_exponent = 1.2, capped_at = 60000 }",
            "{ kind = \"outcomes\", values = [0, 3000, 20000], probabilities = [0.2, 0.7, 0.1] }",
        ]),
        one_of(&[
            "60",
            "60",
            "{ kind = \"uniform\", low = 20, high = 500 }",
            "{ kind = \"outcomes\", values = [0, 30, 200], probabilities = [0.5, 0.25, 0.25] }",
        ]),
        one_of(&[
            "110",
            "110",
            "[{ from_month = 11, cost = 200 }, { from_month = 4, cost = 80 }]",
            "[{ from_month = 1, cost = 40 }, { from_month = 2, cost = 300 }, { from_month = 9, cost = 150 }]",
        ]),
    );
    let money =
        money.prop_map(|(cost, days, day)| format!("loss_cost = {cost}\nloss_days = {days}\noutage_day_cost = {day}"));
    let unit = (crews, others, (lift, by_blade), (together, harm), money);
    let place = (outages, past, duty, mouths, 3..9_u32, prop::sample::select(&[0.0, 3.0, 12.0, 28.0][..]), unit);
    let correlation = prop::sample::select(&[0.0, 0.6, 1.0][..]);
    (law, spot, scatter, place, [technique(), technique(), technique()], correlation).prop_map(
        |(law, spot, scatter, (outages, past, duty, mouths, blades, window, unit), techniques, correlation)| {
            let [insitu, bench, array] = techniques;
            let (crews, others, (lift, by_blade), (together, harm), money) = unit;
            format!(
                "[study]
name = \"random\"
start_year = 2026
horizon_years = 11.5
baseline = \"s0\"
[money]
currency = \"none\"
discount_rate_per_year = 0.06
terms = \"real\"
payments = \"year-middle\"
[scatter]
{scatter}
[surfaces.ground]
initiation_life_factor = 0.8
{mouths}
[initiation.law]
clock = \"starts\"
{law}
stress_exponent = 4
[growth.g]
coefficient_m_per_start = 6e-11
exponent = 2.8
crack_sigma_log = 0.4
row_sigma_log = 0.2
[roots.r]
{together}
{harm}
[roots.r.hot_spots.h1]
serrations = [1, 2]
sides = [\"suction\"]
initiation = \"law\"
growth = \"g\"
stress = {{ membrane_mpa = 500, bending_mpa = 100 }}
initial_depth_mm = {{ kind = \"lognormal\", median = 0.4, sigma_log = 0.3 }}
{spot}
[roots.r.hot_spots.h2]
serrations = [3]
sides = [\"pressure\"]
initiation = \"law\"
growth = \"g\"
stress = {{ membrane_mpa = 650, bending_mpa = 0 }}
crack = {{ kind = \"fixed-factor\", geometry_factor = 0.7, length_over_depth = 5 }}
initial_depth_mm = 0.5
limit = {{ kind = \"depth\", depth_mm = 5 }}
[units.u]
duty = {duty}
{crews}
[units.u.outages]
{outages}
window_days = {window}
[rows.one]
unit = \"u\"
rotor = \"x\"
blades = {blades}
root = \"r\"
surface = \"ground\"
{past}
{others}
[techniques.insitu]
access = \"in-place\"
{insitu}
[techniques.bench]
access = \"blades-out\"
{bench}
[techniques.array]
access = \"blades-out\"
{array}
[[persistence]]
techniques = [\"insitu\", \"bench\"]
correlation = {correlation}
[cleaning.wiping]
q50_factor = {{ insitu = 0.7, bench = 1.2 }}
cost_per_row = 2
cost_per_blade = 0.3
[cleaning.blasting]
q50_factor = 0.6
closes_mouth_probability = 0.4
cost_per_row = 5
days_per_row = 0.5
[costs]
blades_out_cost = 120
blades_out_days = 6
{by_blade}
{lift}
new_blade_cost = 9
new_blade_days = 0.5
dressing_cost = 4
dressing_days = 0.25
new_row_cost = 700
new_row_days = 20
{money}
"
            )
        },
    )
}

fn technique() -> impl Strategy<Value = String> {
    let pod = (
        one_of(&["length", "depth", "geometric-mean"]),
        one_of(&["logistic", "normal"]),
        prop::sample::select(&[1.0, 2.5, 6.0][..]),
        prop::sample::select(&[0.0, 0.05][..]),
    );
    let gate = one_of(&["", "depth_gate = { q50_mm = 1, spread = 0.3 }"]);
    let length = one_of(&["2", "{ kind = \"uniform\", low = 1, high = 6 }"]);
    let depth = one_of(&["0.8", "{ kind = \"uniform\", low = 0.3, high = 2 }"]);
    let numbers = (
        prop::sample::select(&[0.0, 0.3][..]),
        prop::sample::select(&[0.0, 0.5][..]),
        prop::sample::select(&[0.0, 0.03, 0.2][..]),
        prop::sample::select(&[0.0, 0.3][..]),
        prop::sample::select(&[1.0, 0.4, 0.0][..]),
    );
    (pod, gate, (length, depth), numbers).prop_map(
        |((size, shape, q50, floor), gate, (length, depth), (inspection, crack, false_calls, sizing, closed))| {
            format!(
                "pod = {{ size = \"{size}\", shape = \"{shape}\", q50_mm = {q50}, spread = 0.4, floor = {floor}, ceiling \
                 = 0.95 }}
{gate}
grade = \"standard\"
grade_shift_log = 0.1
surface_shift_log = {{ ground = -0.05 }}
inspection_sigma = {inspection}
crack_sigma = {crack}
closed_mouth_factor = {closed}
false_call_probability = {false_calls}
false_call_length_mm = {length}
sizing = {{ length_bias = 0.9, length_sigma_log = {sizing}, depth_bias = 1.1, depth_sigma_log = {sizing} }}
false_call_depth_mm = {depth}
cost_per_row = 25
cost_per_blade = 0.5
days_per_row = 2
"
            )
        },
    )
}

/// What one strategy does.
fn strategy() -> impl Strategy<Value = String> {
    let dispositions = one_of(&[
        "[{ action = \"replace\" }]",
        "[{ action = \"replace\" }]",
        "[{ below_mm = 4, action = \"watch\" }, { action = \"replace\" }]",
        "[{ action = \"watch\" }]",
        "[{ below_mm = 3, action = \"replace\" }, { below_mm = 5, action = \"watch\" }, { action = \"replace-row\" }]",
        "[{ below_mm = 3, action = \"run-on\" }, { below_depth_mm = 2, action = \"watch\" }, { action = \"replace\" }]",
        "[{ action = \"dress\" }]",
        "[{ action = \"dress\" }]",
        "[{ below_depth_mm = 3, action = \"dress\" }, { action = \"replace\" }]",
        "[{ below_mm = 2, below_depth_mm = 0.7, action = \"run-on\" }, { below_depth_mm = 2, action = \"dress\" }, { \
         below_mm = 9, action = \"watch\" }, { action = \"replace\" }]",
    ]);
    let dressing = one_of(&[
        "dressing = { gone_probability = 1, life_factor = 0.3, at_most_depth_mm = 1.2, blades_out = true }",
        "dressing = { gone_probability = 0.9, life_factor = 0.2, at_most_depth_mm = 20, blades_out = false }",
        "dressing = { gone_probability = 0.5, life_factor = 0.4, at_most_depth_mm = 6, blades_out = false }",
    ]);
    let watch = one_of(&[
        "",
        "",
        "watch = { technique = \"insitu\" }",
        "watch = { technique = \"array\", cost_per_row = 3, cost_per_blade = 1, days_per_row = 0.5 }",
    ]);
    let after_loss = one_of(&["replace-blade", "replace-blade", "replace-row"]);
    let from_blades = one_of(&["", "", "replace_row_from_blades = 2", "replace_row_from_blades = 4"]);
    let sisters = one_of(&[
        "",
        "",
        "sister_rows = { of = \"rotor\", techniques = [\"bench\"] }",
        "sister_rows = { of = \"unit\", techniques = [\"insitu\", \"array\"] }",
    ]);
    let between = one_of(&[
        "",
        "",
        "extra_look = { after_years = 0.06, techniques = [\"insitu\"], stop_cost = 15, stop_days = 1.5 }",
        "extra_look = { after_years = 0.4, techniques = [\"array\", \"bench\"], stop_cost = 0, stop_days = 0 }",
        "look_after_loss = { of = \"row\", techniques = [\"bench\"] }",
        "look_after_loss = { of = \"rotor\", techniques = [\"array\"] }",
        "look_after_loss = { of = \"unit\", techniques = [\"insitu\", \"array\"] }
extra_look = { after_years = 0.1, techniques = [\"insitu\"], stop_cost = 5, stop_days = 2 }",
    ]);
    let (after_finds, rest) =
        ((watch, dressing), (row_end(), conditions(), between, (spares(), one_of(&["", CLOSES])), peening()));
    (proptest::collection::vec(look(), 0..4), dispositions, after_finds, rest, after_loss, from_blades, sisters)
        .prop_map(
            |(
                looks,
                dispositions,
                (watch, dressing),
                (row_end, conditions, between, (spares, closes), peening),
                after_loss,
                from_blades,
                sisters,
            )| {
                // Blades run on where some are called to be replaced.
                let replaces =
                    !looks.is_empty() && (dispositions.contains("\"replace\"") || dispositions.contains("dress"));
                let spares =
                    if replaces || (spares.contains("wait") && after_loss == "replace-blade") { spares } else { "" };
                // A watch needs dispositions that watch, and so does dressing.
                let watch = if dispositions.contains("watch") { watch } else { "" };
                let dresses = dispositions.contains("dress");
                let dressing = if dresses { dressing } else { "" };
                let may_close =
                    replaces && dispositions.contains("\"replace\"") && !dresses && !spares.contains("wait");
                let closes = if may_close { closes } else { "" };
                // Blades are dressed at outages alone; a row that is new after a loss is not looked at.
                let of_new_row = after_loss == "replace-row" && between.contains("of = \"row\"");
                let between = if dresses || of_new_row { "" } else { between };
                format!(
                    "description = \"random\"
looks = [{}]
dispositions = {dispositions}
{watch}
{dressing}
{row_end}
{conditions}
{spares}
{closes}
{peening}
{from_blades}
{sisters}
{between}
after_loss = \"{after_loss}\"
",
                    looks.join(", ")
                )
            },
        )
}

/// What a strategy does that replaces every blade that is called, which is made short work of; where it looks by schedule
/// alone it keeps blades apart, so that what happens to most of them is counted.
fn simple_strategy() -> impl Strategy<Value = String> {
    let by_schedule = || scheduled_look().prop_map(|look| format!("{{ {look} }}"));
    let looks = prop_oneof![
        proptest::collection::vec(by_schedule(), 1..4),
        proptest::collection::vec(by_schedule(), 1..4),
        proptest::collection::vec(look(), 1..4),
    ];
    (looks, row_end(), conditions(), peening()).prop_map(|(looks, row_end, conditions, peening)| {
        format!(
            "description = \"random\"
looks = [{}]
dispositions = [{{ action = \"replace\" }}]
{row_end}
{conditions}
{peening}
after_loss = \"replace-blade\"
",
            looks.join(", ")
        )
    })
}

/// How the unit runs and when it stops, where a plan says so.
fn conditions() -> impl Strategy<Value = &'static str> {
    one_of(&[
        "",
        "",
        "deferrals = [{ outage = 2, by_years = 0.1 }]",
        "deferrals = [{ outage = 3, by_years = 0.15, units = [\"u\"] }, { outage = 1, by_years = 0.05 }]",
        "starts_limit = { starts_per_year = 60, cost_per_year = 30, units = [\"u\"] }",
        "starts_limit = { starts_per_year = 90, from_year = 2029.3, cost_per_year = 5 }\ndeferrals = [{ outage = 1, by_years = \
         0.1 }]",
    ])
}

/// Stocks of spare blades: few, and slow to come again.
fn spares() -> impl Strategy<Value = &'static str> {
    one_of(&[
        "",
        "",
        "spares = [{ blades = 0, lead_days = 200, without = \"wait\" }]",
        "spares = [{ blades = 2, lead_days = 500, without = \"wait\", cost_per_year = 7, roots = [\"r\"] }]",
        "spares = [{ blades = 1, lead_days = 900, without = \"run-on-watched\", cost_per_year = 3 }]",
        "spares = [{ blades = 4, lead_days = 700, without = \"run-on-watched\" }]",
        "spares = [{ blades = 0, lead_days = 300, without = \"wait\", used_blades = { blades = 3, life_factor = 0.2, cost_per_blade = 2 } \
         }]",
        "spares = [{ blades = 1, lead_days = 800, without = \"run-on-watched\", used_blades = { blades = 2, life_factor = 0.6, \
         cost_per_blade = 13 } }]",
    ])
}

/// What is done to the surfaces of a row, beside cleaning.
fn peening() -> impl Strategy<Value = &'static str> {
    one_of(&[
        "",
        "",
        "peening = [{ at_outages = [1, 3], life_factor = 3, cost_per_row = 11, days_per_row = 1.5, blades_out = false }]",
        "peening = [{ first_outage = 2, every_outages = 2, rows = [\"one\"], life_factor = 0.6, cost_per_row = 0, days_per_row = 3, \
         blades_out = true }]",
        "peening = [{ in_years = [2028, 2031.5], life_factor = 1.5, cost_per_row = 7, days_per_row = 0, blades_out = true }, { \
         at_outages = [2], life_factor = 8, cost_per_row = 3, days_per_row = 1, blades_out = false }]",
    ])
}

fn row_end() -> impl Strategy<Value = &'static str> {
    one_of(&["", "", "row_end = { year = 2031, then = \"new-row\" }", "row_end = { year = 2033, then = \"retired\" }"])
}

fn look() -> impl Strategy<Value = String> {
    let scope =
        one_of(&["", "", ", of = \"called-blades\"", ", from_blades = 2", ", of = \"called-blades\", from_blades = 2"]);
    let techniques = one_of(&["\"bench\"", "\"array\"", "\"insitu\"", "\"bench\", \"array\""]);
    let escalation = prop::option::of((techniques, any::<bool>(), scope));
    let reacts = one_of(&[
        "",
        "",
        ", after_finds = { every_outages = 1, for_outages = 2 }",
        ", after_clean = { looks = 1, longer_by = 1, at_most = 4 }",
        ", skip_after_clean = 2",
        ", after_finds = { every_outages = 1, for_outages = 2 }, skip_after_clean = 1",
        ", after_finds = { every_outages = 1, for_outages = 3 }, after_clean = { looks = 2, longer_by = 2, at_most = 5 }",
    ]);
    (scheduled_look(), escalation, reacts).prop_map(|(look, escalation, reacts)| {
        let escalation = escalation.map_or_else(String::new, |(techniques, stands, scope)| {
            format!(", escalation = {{ techniques = [{techniques}], first_call_stands = {stands}{scope} }}")
        });
        // A part of the row that is cleaned has no other part looked at on a cleaned surface.
        let is_partial = look.contains("cleaning") && (look.contains("blades") || look.contains("blade_fraction"));
        let escalation = if is_partial && !escalation.contains("called-blades") { String::new() } else { escalation };
        let by_period = look.contains("every_outages") && !look.contains("instead");
        format!("{{ {look}{escalation}{} }}", if by_period { reacts } else { "" })
    })
}

fn scheduled_look() -> impl Strategy<Value = String> {
    let techniques = one_of(&[
        "\"insitu\"",
        "\"insitu\"",
        "\"bench\"",
        "\"array\"",
        "\"insitu\", \"bench\"",
        "\"insitu\", \"bench\", \"array\"",
    ]);
    let coverage = one_of(&[
        "",
        "",
        "",
        "coverage = { blade_fraction = 0.5 }, ",
        "coverage = { hot_spots = [\"h1\"] }, ",
        "coverage = { blade_fraction = 0.7, hot_spots = [\"h2\"] }, ",
        "coverage = { blades = 2, chosen = \"drawn\" }, ",
        "coverage = { blades = 2, chosen = \"rotating\", hot_spots = [\"h1\"] }, ",
        "coverage = { blade_fraction = 0.4, chosen = \"least-looked-at\" }, ",
    ]);
    let instead = one_of(&["", "", "", ", instead_of_others = true"]);
    let stated = one_of(&["", "", "", "at_outages = [1, 2, 5]", "in_years = [2027.5, 2031, 2031.1]"]);
    let agreement = one_of(&["", "", ", agreement = \"all\""]);
    let cleaning = one_of(&["", "", "", "cleaning = \"wiping\", ", "cleaning = \"blasting\", "]);
    (techniques, agreement, (coverage, cleaning), 1..4_u32, 1..4_u32, stated, instead).prop_map(
        |(techniques, agreement, (coverage, cleaning), first, every, stated, instead)| {
            // One technique alone cannot agree.
            let agreement = if techniques.contains(',') { agreement } else { "" };
            let when = if stated.is_empty() {
                format!("first_outage = {first}, every_outages = {every}")
            } else {
                stated.to_owned()
            };
            format!("techniques = [{techniques}], {cleaning}{coverage}{when}{agreement}{instead}")
        },
    )
}
