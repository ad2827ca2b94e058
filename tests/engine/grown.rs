//! Cracks of one hot spot, grown to the end: against closed forms, the tables and the engine's own sampling.

use serrata::Study;
use serrata::simulation::{GrownCrack, GrownCracks, GrowthQuestion, PlaceCrack};
use std::ops::ControlFlow;

const SMALL: &str = include_str!("data/small.toml");

fn study(edits: &[(&str, &str)]) -> Study {
    let text = edits.iter().fold(SMALL.to_owned(), |text, (from, to)| {
        assert!(text.contains(from), "{from:?} is not there");
        text.replacen(from, to, 1)
    });
    Study::parse(&text, "small").unwrap_or_else(|error| panic!("{error}"))
}

/// Fixed factor Y = 0.7, no scatter but C's, from 0.3 mm to 8 mm.
const FIXED: [(&str, &str); 5] = [
    ("blade_stress_sigma_log = 0.1", "blade_stress_sigma_log = 0"),
    (
        "crack = { kind = \"semi-elliptical\" }",
        "crack = { kind = \"fixed-factor\", geometry_factor = 0.7, length_over_depth = 3 }",
    ),
    ("initial_aspect = 0.8\n", ""),
    ("initial_depth_mm = { kind = \"lognormal\", median = 0.3, sigma_log = 0.3 }", "initial_depth_mm = 0.3"),
    ("coefficient_m_per_start = 1e-11", "coefficient_m_per_start = 1e-9"),
];

fn grown(study: &Study, question: &GrowthQuestion) -> GrownCracks {
    study.grow(question).unwrap_or_else(|error| panic!("{error}"))
}

fn asking(technique: Option<&str>, cracks: u64) -> GrowthQuestion {
    GrowthQuestion { technique: technique.map(str::to_owned), cracks, ..GrowthQuestion::new("pin") }
}

/// N = (af**(1-m/2) - a0**(1-m/2)) / ((1-m/2) C (Y dS sqrt(pi))**m), and N goes as 1/C, lognormal.
#[test]
fn the_median_life_is_the_closed_form_and_its_spread_that_of_the_coefficient() {
    let grown = grown(&study(&FIXED), &asking(Some("eddy-current"), 4_000));
    let per_start: f64 = 1e-9 * (0.7 * 500.0 * std::f64::consts::PI.sqrt()).powi(3);
    let starts = |from_m: f64, to_m: f64| 2.0 * (from_m.powf(-0.5) - to_m.powf(-0.5)) / per_start;
    let life = starts(0.3e-3, 8e-3);
    for (probability, z) in [(0.5, 0.0), (0.158_655, -1.0), (0.841_345, 1.0)] {
        let quantile = grown.quantile(probability, |crack| crack.starts_to_loss);
        let expected = life * f64::exp(0.3 * z);
        assert!(quantile.low <= expected && expected <= quantile.high, "{probability}: {quantile:?}, {expected}");
    }
    // Half of the curve, floor 0 and ceiling 0.99: F(z) = 0.5 / 0.99, z = 0.0127; length is three depths.
    let size_m = 1.5e-3 / 3.0 * f64::exp(0.4 * 0.012_66);
    let share = starts(0.3e-3, size_m) / life;
    for crack in &grown.cracks {
        assert!((crack.years_to_detectable / crack.years_to_loss - share).abs() < 1e-3, "{crack:?}, {share}");
        // Found to a third of an hour, in which it hardly grows.
        assert!((crack.detectable_depth_mm / (1e3 * size_m) - 1.0).abs() < 1e-3, "{crack:?}, {size_m}");
        assert!((crack.detectable_length_mm / crack.detectable_depth_mm - 3.0).abs() < 1e-9, "{crack:?}");
        assert!((crack.critical_depth_mm - 8.0).abs() < 1e-6 && (crack.critical_length_mm - 24.0).abs() < 1e-5);
        // 150 starts a year from the study's beginning on.
        assert!((crack.starts_to_loss / crack.years_to_loss - 150.0).abs() < 1e-6);
    }
}

/// As above, at the geometric mean of depth and length, and at all moments between: a**-1/2 falls in proportion to starts.
#[test]
fn a_way_runs_by_the_closed_form_from_the_beginning_to_the_loss() {
    let by_mean = (
        "pod = { size = \"length\", shape = \"normal\", q50",
        "pod = { size = \"geometric-mean\", shape = \"normal\", q50",
    );
    let grown = grown(&study(&[&FIXED[..], &[by_mean]].concat()), &asking(Some("eddy-current"), 20));
    let root = |depth_mm: f64| depth_mm.powf(-0.5);
    let detectable_mm = 1.5 / 3.0_f64.sqrt() * f64::exp(0.4 * 0.012_66);
    let share = (root(0.3) - root(detectable_mm)) / (root(0.3) - root(8.0));
    let is_near = |one: f64, other: f64| (one - other).abs() < 1e-6 * other.abs().max(1.0);
    let ways = grown.ways(20, 5).expect("ways");
    for (crack, way) in grown.cracks.iter().zip(&ways) {
        assert!((crack.years_to_detectable / crack.years_to_loss - share).abs() < 1e-3, "{crack:?}, {share}");
        for moment in 0..5 {
            let part = moment as f64 / 4.0;
            assert!(is_near(way.years[moment], part * crack.years_to_loss));
            assert!(is_near(way.starts[moment], 150.0 * way.years[moment]));
            let depth_mm = (root(0.3) + part * (root(8.0) - root(0.3))).powi(-2);
            assert!(is_near(way.depth_mm[moment], depth_mm) && is_near(way.length_mm[moment], 3.0 * depth_mm));
            let intensity = 0.7 * 500.0 * (std::f64::consts::PI * 1e-3 * depth_mm).sqrt();
            assert!(
                is_near(way.deepest_mpa_sqrt_m[moment], intensity)
                    && is_near(way.surface_mpa_sqrt_m[moment], intensity)
            );
        }
    }
    assert_eq!(
        grown.ways(30, 1).expect("ways").iter().map(|way| way.years.clone()).collect::<Vec<_>>(),
        vec![[0.0]; 20]
    );
}

#[test]
fn a_crack_that_toughness_ends_is_lost_at_its_stress_intensity() {
    let toughness =
        ("limit = { kind = \"depth\", depth_mm = 8 }", "limit = { kind = \"toughness\", toughness_mpa_sqrt_m = 60 }");
    let faster = ("coefficient_m_per_start = 1e-11", "coefficient_m_per_start = 1e-9");
    let ways = grown(&study(&[toughness, faster]), &asking(None, 20)).ways(20, 9).expect("ways");
    for way in &ways {
        let highest = way.deepest_mpa_sqrt_m[8].max(way.surface_mpa_sqrt_m[8]);
        assert!((highest / 60.0 - 1.0).abs() < 2e-3, "{way:?}");
        assert!(way.deepest_mpa_sqrt_m.is_sorted() && way.depth_mm.is_sorted());
    }
}

#[test]
fn a_followed_crack_and_a_tabled_one_have_the_same_life() {
    let threshold =
        ("row_sigma_log = 0\n", "row_sigma_log = 0\nthreshold = { kind = \"constant\", range_mpa_sqrt_m = 0 }\n");
    let faster = ("coefficient_m_per_start = 1e-11", "coefficient_m_per_start = 1e-9");
    let question = asking(Some("ultrasonic"), 300);
    let [tabled, followed] = [&[faster][..], &[faster, threshold]].map(|edits| grown(&study(edits), &question));
    for (one, other) in tabled.cracks.iter().zip(&followed.cracks) {
        // What both promise: 0.1 % each.
        assert!((one.years_to_loss / other.years_to_loss - 1.0).abs() < 2e-3, "{one:?}\n{other:?}");
        assert!((one.window_years() / other.window_years() - 1.0).abs() < 5e-3, "{one:?}\n{other:?}");
        assert_eq!(one.stress_factor, other.stress_factor);
    }
    let [one, other] = [&tabled, &followed].map(|grown| grown.ways(1, 20).expect("ways").remove(0));
    for (one_k, other_k) in one.deepest_mpa_sqrt_m.iter().zip(&other.deepest_mpa_sqrt_m) {
        assert!((one_k / other_k - 1.0).abs() < 5e-3, "{one_k} {other_k}");
    }
}

/// A lognormal factor of spread s, tilted by its b-th power: mean of the logarithm b s**2, here 4 x 0.1**2.
#[test]
fn blades_that_crack_are_the_higher_stressed() {
    let grown = grown(&study(&[]), &asking(None, 20_000));
    let count = grown.cracks.len() as f64;
    let mean = grown.cracks.iter().map(|crack| crack.stress_factor.ln()).sum::<f64>() / count;
    assert!((mean - 0.04).abs() < 4.0 * 0.1 / count.sqrt(), "{mean}");
    assert!(grown.cracks.iter().all(|crack| crack.years_to_detectable.is_nan()), "no technique is asked about");
    assert!(grown.cracks.iter().all(|crack| crack.detectable_length_mm.is_nan()));
    assert!(grown.cracks.iter().all(|crack| crack.window_years().is_nan()), "so there is no window");
    assert!(grown.p_looks(1, 3.0).value.is_nan());
}

/// ln of the life is normal with the spread of ln C, 0.3, about that of the median law.
#[test]
fn the_chance_of_a_loss_before_an_outage_is_that_of_a_life_so_short() {
    let grown = grown(&study(&FIXED), &asking(None, 20_000));
    let per_start: f64 = 1e-9 * (0.7 * 500.0 * std::f64::consts::PI.sqrt()).powi(3);
    let median_years = 2.0 * (0.3e-3_f64.powf(-0.5) - 8e-3_f64.powf(-0.5)) / per_start / 150.0;
    let [row] = &grown.rows[..] else { panic!("one row with that root") };
    assert_eq!(row.p_past_limit, 0.0);
    assert_eq!(row.before_outages.iter().map(|before| before.year).collect::<Vec<_>>(), [2021.0, 2024.0]);
    for (before, years) in row.before_outages.iter().zip([1.0, 4.0]) {
        let z = f64::ln(years / median_years) / 0.3;
        let expected = 0.5 * statrs::function::erf::erfc(-z / std::f64::consts::SQRT_2);
        let chance = before.chance;
        assert!(chance.low <= expected && expected <= chance.high, "{years}: {chance:?}, {expected}");
    }
}

/// A1 and A2, of one root.
fn two_rows() -> Study {
    let second = "\n[rows.A2]\nunit = \"A\"\nrotor = \"A-1\"\nblades = 80\nroot = \"fork\"\nsurface = \"plain\"\nin_service_year = 2005\n";
    study(&[("\n[techniques.ultrasonic]", &format!("{second}\n[techniques.ultrasonic]"))])
}

#[test]
fn every_row_with_the_root_is_answered_for_unless_one_is_named() {
    let study = two_rows();
    let [every, named] = [None, Some("A2".to_owned())].map(|row| GrowthQuestion { row, ..asking(None, 200) });
    let [every, named] = [every, named].map(|question| grown(&study, &question));
    let ids = |grown: &GrownCracks| grown.rows.iter().map(|row| study.rows[row.row].id.clone()).collect::<Vec<_>>();
    assert_eq!((ids(&every), ids(&named)), (vec!["A1".to_owned(), "A2".to_owned()], vec!["A2".to_owned()]));
    assert_eq!((every.row(), named.row()), ("A1", "A2"));
    assert_eq!(format!("{:?}", every.rows[1]), format!("{:?}", named.rows[0]));
}

/// So many cracks in each of two rows that the work is not done when it first asks.
#[test]
fn growth_that_is_stopped_says_how_much_of_the_work_in_all_rows_was_done() {
    let (mut told, cracks) = (None, GrowthQuestion::MOST_CRACKS);
    let stopped = two_rows().grow_with(&asking(None, cracks), &mut |done| {
        told.get_or_insert(done);
        ControlFlow::Break(())
    });
    let error = stopped.expect_err("it was stopped");
    assert!(error.is_interrupted(), "{error}");
    let message = error.to_string();
    let done = message.strip_prefix("stopped on request after ");
    let done = done.and_then(|rest| rest.strip_suffix(" of 20000000 cracks"));
    let done: u64 = done.and_then(|done| done.parse().ok()).unwrap_or_else(|| panic!("{message}"));
    let told = told.expect("it asked");
    assert!(0 < told && told <= done && done < 2 * cracks, "{told} told, {done} done");
}

#[test]
fn looks_in_a_window_follow_from_its_length() {
    let grown = grown(&study(&FIXED), &asking(Some("eddy-current"), 500));
    let shortest = grown.cracks.iter().map(GrownCrack::window_years).fold(f64::INFINITY, f64::min);
    let longest = grown.cracks.iter().map(GrownCrack::window_years).fold(0.0, f64::max);
    assert_eq!(grown.p_looks(1, shortest).value, 1.0);
    assert_eq!(grown.p_looks(2, longest * 1.001).value, 0.0);
    // Looks by chance: the mean number is the mean of window over interval.
    let interval = 0.7 * shortest;
    let mean = grown.cracks.iter().map(|crack| crack.window_years() / interval).sum::<f64>() / 500.0;
    let sum: f64 = (1..200).map(|looks| grown.p_looks(looks, interval).value).sum();
    assert!((sum - mean).abs() < 1e-9, "{sum} {mean}");
}

#[test]
fn a_crack_does_not_hang_on_how_many_others_are_grown() {
    let study = study(&[]);
    let [few, many] = [20, 400].map(|cracks| grown(&study, &asking(Some("ultrasonic"), cracks)));
    let written = |cracks: &[GrownCrack]| format!("{cracks:?}");
    assert!(written(&few.cracks) == written(&many.cracks[..20]));
}

#[test]
fn a_deeper_beginning_has_a_shorter_life() {
    let study = study(&[("coefficient_m_per_start = 1e-11", "coefficient_m_per_start = 1e-9")]);
    let deep = GrowthQuestion { from_depth_mm: Some(2.0), ..asking(None, 200) };
    let [deep, usual] = [deep, asking(None, 200)].map(|question| grown(&study, &question));
    assert!(deep.cracks.iter().all(|crack| crack.initial_depth_mm == 2.0));
    let median = |grown: &GrownCracks| grown.quantile(0.5, |crack| crack.years_to_loss);
    assert!(median(&deep).high < median(&usual).low);
}

#[test]
fn what_cannot_be_answered_is_refused_with_what_there_is() {
    let study = study(&[]);
    let refused = |question: GrowthQuestion| study.grow(&question).expect_err("refused").to_string();
    let cases = [
        (GrowthQuestion::new("pim"), "it has fork.pin"),
        (GrowthQuestion { row: Some("B9".to_owned()), ..asking(None, 10) }, "choose one of A1"),
        (
            asking(Some("x-ray"), 10),
            "there is no such technique in the study\n    choose one of ultrasonic, eddy-current, penetrant",
        ),
        (
            GrowthQuestion { detectable_at: 0.99, ..asking(Some("penetrant"), 10) },
            "floor and ceiling of the technique (0 and 0.9)",
        ),
        // The ends of a curve are never reached.
        (GrowthQuestion { detectable_at: 0.9, ..asking(Some("penetrant"), 10) }, "floor and ceiling of the technique"),
        (GrowthQuestion { detectable_at: 0.0, ..asking(Some("penetrant"), 10) }, "floor and ceiling of the technique"),
        (
            GrowthQuestion { from_depth_mm: Some(25.0), ..asking(None, 10) },
            "below the thickness of the section (20 mm)",
        ),
        (GrowthQuestion { from_depth_mm: Some(f64::NAN), ..asking(None, 10) }, "from_depth_mm"),
        (asking(None, 0), "whole number from 1"),
    ];
    for (question, said) in cases {
        let message = refused(question);
        assert!(message.contains(said), "{message}");
    }
}

/// Room for origins that are far apart.
const WIDE: (&str, &str) = ("width_mm = 80", "width_mm = 100000");

/// Six origins in a line, 1.5 mm or 10 m apart, which join by touching.
fn six(spacing_mm: &str) -> Study {
    six_of_toughness(spacing_mm, "60")
}

fn six_of_toughness(spacing_mm: &str, toughness: &str) -> Study {
    let origins = format!(
        "sides = [\"suction\", \"pressure\"]\norigins = 6\njoining = {{ rule = \"touching\", spacing_mm = {spacing_mm}, \
         placement = \"even\" }}"
    );
    let limit = format!("limit = {{ kind = \"toughness\", toughness_mpa_sqrt_m = {toughness} }}");
    let toughness = ("limit = { kind = \"depth\", depth_mm = 8 }", limit.as_str());
    let faster = ("coefficient_m_per_start = 1e-11", "coefficient_m_per_start = 1e-10");
    // With equal growth a joined crack is never slower than its parts.
    let alike = ("crack_sigma_log = 0.3", "crack_sigma_log = 0");
    // So soon one after another that they meet.
    let together = ("scale = 20000", "scale = 800");
    study(&[("sides = [\"suction\", \"pressure\"]", &origins), WIDE, toughness, faster, alike, together])
}

#[test]
fn where_cracks_join_a_specimen_is_a_place_with_all_its_origins() {
    let [near, far] = ["1.5", "10000"].map(|spacing_mm| grown(&six(spacing_mm), &asking(Some("ultrasonic"), 300)));
    assert!(near.joins() && far.joins());
    let joining =
        "sides = [\"suction\", \"pressure\"]\njoining = { rule = \"touching\", spacing_mm = 2, placement = \"even\" }";
    for alone in ["sides = [\"suction\", \"pressure\"]", "sides = [\"suction\"]\norigins = 6", joining] {
        let alone = study(&[("sides = [\"suction\", \"pressure\"]", alone)]);
        assert!(!grown(&alone, &asking(None, 1)).joins());
    }
    let places = near.places(100, 30).expect("places");
    let mut joins = 0;
    for (place, cracks) in near.cracks.iter().zip(&places) {
        // Each is shown at equal steps of time, and one is lost, when its place is.
        for crack in cracks {
            let (begin, end) = (crack.years[0], crack.years[29]);
            assert!((0..30).all(|i| (crack.years[i] - begin - (end - begin) * i as f64 / 29.0).abs() < 1e-9));
            assert!(begin <= end && end <= place.years_to_loss + 1e-9);
        }
        assert!(cracks.iter().all(|crack| !(crack.is_lost && crack.joins)));
        let [lost] = cracks.iter().filter(|crack| crack.is_lost).collect::<Vec<_>>()[..] else { panic!("one is lost") };
        assert!((lost.years[29] - place.years_to_loss).abs() < 1e-9);
        assert!((lost.depth_mm[29] - place.critical_depth_mm).abs() < 1e-6, "{lost:?} {place:?}");
        assert!((lost.length_mm[29] - place.critical_length_mm).abs() < 1e-6);
        let tips = |crack: &PlaceCrack, moment: usize| {
            let half_mm = 0.5 * crack.length_mm[moment];
            [crack.position_mm - half_mm, crack.position_mm + half_mm]
        };
        // A joined crack begins with the span of two that touch, and as deep as the deeper.
        for ending in cracks.iter().filter(|crack| crack.joins) {
            let year = *ending.years.last().expect("moments");
            let now = |crack: &&PlaceCrack| crack.joins && *crack.years.last().expect("moments") == year;
            let [one, other] = cracks.iter().filter(now).collect::<Vec<_>>()[..] else { continue };
            // One that begins right beside another joins it at once, and overlaps it.
            if one.years[0] == year || other.years[0] == year {
                continue;
            }
            joins += 1;
            let joined = cracks.iter().rev().find(|crack| crack.years[0] == year).expect("the joined crack");
            let ([a, b], [c, d], last) = (tips(one, 29), tips(other, 29), tips(joined, 0));
            // A meeting is found within an hour, in which they grow by far less than a micrometre.
            let close = |x: f64, y: f64| (x - y).abs() < 1e-3;
            assert!(close(last[0], a.min(c)) && close(last[1], b.max(d)), "{one:?} {other:?} {joined:?}");
            assert!(close(a.max(c), b.min(d)), "they touch: {one:?} {other:?}");
            assert!(close(joined.depth_mm[0], one.depth_mm[29].max(other.depth_mm[29])));
        }
    }
    assert!(joins > 100, "{joins} times the end of a crack that joined");
    // The same draws: neighbours that join never lengthen a life, and mostly shorten it.
    let lives = || near.cracks.iter().zip(&far.cracks);
    assert!(lives().all(|(near, far)| near.years_to_loss <= far.years_to_loss * (1.0 + 2e-3)));
    assert!(lives().filter(|(near, far)| near.years_to_loss < 0.99 * far.years_to_loss).count() > 100);
    assert!(lives().all(|(near, far)| near.critical_length_mm > 0.0 && far.critical_length_mm > 0.0));
    let mean_mm = |grown: &GrownCracks| grown.cracks.iter().map(|crack| crack.critical_length_mm).sum::<f64>();
    assert!(mean_mm(&near) > mean_mm(&far), "joined cracks are longer");
}

/// Each origin far from the others has a toughness of its own, so that the crack that is lost need not be the deepest.
#[test]
fn a_place_is_as_deep_as_its_deepest_crack_and_as_tough_as_the_one_that_is_lost() {
    let study = six_of_toughness("10000", "{ kind = \"lognormal\", median = 60, sigma_log = 0.15 }");
    let grown = grown(&study, &asking(None, 200));
    let (places, ways) = (grown.places(200, 30).expect("places"), grown.ways(200, 30).expect("ways"));
    let (mut deepest_lost, mut not_first) = (0, 0);
    for ((place, cracks), way) in grown.cracks.iter().zip(&places).zip(&ways) {
        let end = place.years_to_loss;
        let there = || cracks.iter().filter(|crack| (crack.years[29] - end).abs() < 1e-9);
        let deepest_mm = there().map(|crack| crack.depth_mm[29]).fold(0.0, f64::max);
        assert!((way.depth_mm[29] - deepest_mm).abs() < 1e-6, "{place:?}");
        let (number, lost) = cracks.iter().enumerate().find(|(_, crack)| crack.is_lost).expect("one is lost");
        assert!((place.critical_depth_mm - lost.depth_mm[29]).abs() < 1e-6, "{place:?} {lost:?}");
        if lost.depth_mm[29] < deepest_mm - 1e-6 {
            continue;
        }
        deepest_lost += 1;
        not_first += usize::from(number > 0);
        let highest = way.deepest_mpa_sqrt_m[29].max(way.surface_mpa_sqrt_m[29]);
        assert!((highest / place.toughness_mpa_sqrt_m - 1.0).abs() < 2e-3, "{place:?} {highest}");
    }
    assert!(deepest_lost > 50 && deepest_lost < 200 && not_first > 20, "{deepest_lost} {not_first}");
}

/// Of cracks that hardly grow none is lost. The first of a place has the draws of a crack that is alone.
#[test]
fn a_place_that_is_never_lost_has_the_toughness_of_its_first_crack() {
    let toughness = "limit = { kind = \"toughness\", toughness_mpa_sqrt_m = { kind = \"lognormal\", median = 60, \
                     sigma_log = 0.15 } }";
    let origins = "sides = [\"suction\", \"pressure\"]\norigins = 6\njoining = { rule = \"touching\", \
                   spacing_mm = 10000, placement = \"even\" }";
    let one = [
        ("limit = { kind = \"depth\", depth_mm = 8 }", toughness),
        ("coefficient_m_per_start = 1e-11", "coefficient_m_per_start = 1e-16"),
    ];
    let six = [&one[..], &[WIDE, ("sides = [\"suction\", \"pressure\"]", origins)]].concat();
    let [alone, places] = [&one[..], &six].map(|edits| grown(&study(edits), &asking(None, 100)).cracks);
    for (alone, place) in alone.iter().zip(&places) {
        assert_eq!(place.years_to_loss, f64::INFINITY);
        assert_eq!(place.toughness_mpa_sqrt_m, alone.toughness_mpa_sqrt_m);
    }
}

/// Memoryless initiation: after the first of six, the second comes after an exponential time of mean M / 5, the
/// third a further M / 4 later, and so on; all times as much shorter as the blade's stress, to the power of 4, is higher.
#[test]
fn the_other_origins_of_a_place_follow_the_first_by_the_law_of_initiation() {
    let edits = [
        (
            "sides = [\"suction\", \"pressure\"]",
            "sides = [\"suction\"]\norigins = 6\njoining = { rule = \"touching\", spacing_mm = 10000, placement = \"even\" }",
        ),
        WIDE,
        ("kind = \"weibull\"\nshape = 2\nscale = 20000", "kind = \"exponential\"\nmean = 6000"),
        ("coefficient_m_per_start = 1e-11", "coefficient_m_per_start = 1e-16"),
    ];
    let grown = grown(&study(&edits), &asking(None, 400));
    let places = grown.places(400, 2).expect("places");
    // Nothing is lost of cracks that hardly grow.
    assert!(grown.cracks.iter().all(|place| place.years_to_loss == f64::INFINITY && place.critical_depth_mm.is_nan()));
    let mean_years = 6000.0 / 150.0;
    let births = grown.cracks.iter().zip(&places).map(|(place, cracks)| {
        let hastened = place.stress_factor.powi(4);
        let mut years: Vec<f64> = cracks.iter().map(|crack| hastened * crack.years[0]).collect();
        years.sort_by(f64::total_cmp);
        assert_eq!((years.len(), years[0]), (6, 0.0));
        years
    });
    let births: Vec<Vec<f64>> = births.collect();
    for later in 1..6 {
        let expected = mean_years / (6 - later) as f64;
        let gap = births.iter().map(|years| years[later] - years[later - 1]).sum::<f64>() / 400.0;
        // Four standard errors: an exponential time scatters by its mean.
        assert!((gap - expected).abs() < 4.0 * expected / 20.0, "{later}: {gap} against {expected}");
    }
}
