//! Tabled cracks are what followed ones are, over random sections, loads, laws, starts and limits.

use proptest::prelude::*;
use proptest::test_runner::{RngSeed, TestRunner};
use serrata::Study;
use serrata::simulation::{GrownCracks, GrowthQuestion, Inspected, Inspection};
use std::cell::Cell;
use std::collections::BTreeMap;

const SMALL: &str = include_str!("data/small.toml");

/// What a hot spot's cracks hang on; lengths over the thickness.
#[derive(Debug, Clone)]
struct Drawn {
    exponent: f64,
    membrane: f64,
    bending: f64,
    thickness_mm: f64,
    width: f64,
    depth: f64,
    depth_sigma: f64,
    aspect: f64,
    aspect_sigma: f64,
    limit: usize,
    limit_at: f64,
    overspeed: bool,
    seed: u64,
}

fn any_crack() -> impl Strategy<Value = Drawn> {
    let law = (1.0..10.0_f64, 150.0..600.0_f64, -0.2..1.2_f64);
    let section = (5.0..60.0_f64, 1.5..12.0_f64);
    // Starts from far below the table's range to far beyond it.
    let start = (-7.0..-0.15_f64, 0.0..0.6_f64, -4.0..0.65_f64, 0.0..0.5_f64);
    let end = (0..3_usize, 0.02..0.98_f64, any::<bool>(), any::<u32>());
    (law, section, start, end).prop_map(|(law, section, start, end)| Drawn {
        exponent: law.0,
        membrane: law.1 * (1.0 - law.2),
        bending: law.1 * law.2,
        thickness_mm: section.0,
        width: section.1,
        depth: start.0.exp(),
        depth_sigma: if start.1 < 0.1 { 0.0 } else { start.1 },
        aspect: start.2.exp(),
        aspect_sigma: if start.3 < 0.1 { 0.0 } else { start.3 },
        limit: end.0,
        limit_at: end.1,
        overspeed: end.2,
        seed: u64::from(end.3),
    })
}

impl Drawn {
    /// The study with the cracks as they are, or with a threshold of zero, which has each followed.
    fn study(&self, followed: bool) -> Option<Study> {
        let Drawn { exponent, membrane, bending, thickness_mm, .. } = self;
        let depth_mm = self.depth * thickness_mm;
        let distribution = |median: f64, sigma: f64| match sigma {
            0.0 => format!("{median}"),
            _ => format!("{{ kind = \"lognormal\", median = {median}, sigma_log = {sigma} }}"),
        };
        let intensity = |depth_mm: f64| 0.7 * (membrane + bending) * (1e-3 * depth_mm * std::f64::consts::PI).sqrt();
        let limit = match self.limit {
            0 => format!("{{ kind = \"depth\", depth_mm = {} }}", self.limit_at * thickness_mm),
            1 => format!("{{ kind = \"section-fraction\", fraction = {} }}", self.limit_at),
            _ => {
                // From the initial crack's to four times that of a crack through the thickness, roughly.

                let toughness =
                    intensity(depth_mm) * (4.0 * intensity(*thickness_mm) / intensity(depth_mm)).powf(self.limit_at);
                format!(
                    "{{ kind = \"toughness\", toughness_mpa_sqrt_m = {{ kind = \"lognormal\", median = {toughness}, sigma_log = 0.1 }} }}"
                )
            }
        };
        // About 5,000 starts for each of the first lengths of its depth.
        let first = intensity(depth_mm);
        let coefficient = 2e-7 * depth_mm * first.powf(-exponent);
        let threshold = if followed { "threshold = { kind = \"constant\", range_mpa_sqrt_m = 0 }\n" } else { "" };
        let overspeed = if self.overspeed { "overspeed = { every_starts = 100, speed_ratio = 1.1 }\n" } else { "" };
        let edits = [
            (
                "coefficient_m_per_start = 1e-11\nexponent = 3",
                format!("coefficient_m_per_start = {coefficient:e}\nexponent = {exponent}"),
            ),
            ("row_sigma_log = 0\n", format!("row_sigma_log = 0.2\n{threshold}")),
            ("membrane_mpa = 400, bending_mpa = 100", format!("membrane_mpa = {membrane}, bending_mpa = {bending}")),
            (
                "thickness_mm = 20, width_mm = 80",
                format!("thickness_mm = {thickness_mm}, width_mm = {}", self.width * thickness_mm),
            ),
            ("{ kind = \"lognormal\", median = 0.3, sigma_log = 0.3 }", distribution(depth_mm, self.depth_sigma)),
            ("initial_aspect = 0.8", format!("initial_aspect = {}", distribution(self.aspect, self.aspect_sigma))),
            ("{ kind = \"depth\", depth_mm = 8 }", limit),
            (
                "outages = { years = [2021, 2024, 2027], window_days = 20 }\n",
                format!("outages = {{ years = [2021, 2024, 2027], window_days = 20 }}\n{overspeed}"),
            ),
        ];
        let text = edits.iter().fold(SMALL.to_owned(), |text, (from, to)| {
            assert!(text.contains(from), "{from:?} is not there");
            text.replacen(from, to, 1)
        });
        // Starts that do not fit into the section or are past their limit are refused: not asked about here.
        Study::parse(&text, "drawn").ok()
    }

    /// Depth and length in mm of each crack at the first outage, by life, blade and serration; of one of several alike.
    fn inspected(&self, followed: bool) -> Option<BTreeMap<(u64, u32, String), [f64; 2]>> {
        let techniques = vec!["ultrasonic".to_owned()];
        let inspection = Inspection { row: "A1".to_owned(), techniques, lives: 4, seed: self.seed };
        // Lives that never come to the start of the study are refused.
        let lines = self.study(followed)?.inspect(&inspection).ok()?;
        let cracks = lines.into_iter().filter(|line| line.place.is_some());
        let line =
            |line: Inspected| ((line.life, line.blade, format!("{:?}", line.place)), [line.depth_mm, line.length_mm]);
        Some(cracks.map(line).collect())
    }

    fn grown(&self, followed: bool) -> Option<GrownCracks> {
        let question = GrowthQuestion { cracks: 12, seed: self.seed, ..GrowthQuestion::new("pin") };
        Some(self.study(followed)?.grow(&question).unwrap_or_else(|error| panic!("{error}")))
    }
}

/// Lives within 0.1 % of the table and 0.1 % of following, sizes within 0.5 % each; a life to a stress intensity may be
/// 1 % off where that hardly changes.
#[test]
fn a_tabled_crack_is_what_a_followed_one_is() {
    let (tabled_ones, followed_ones) = (Cell::new(0), Cell::new(0));
    let (matched, unmatched, off) = (Cell::new(0_u32), Cell::new(0_u32), Cell::new(0_u32));
    let check = |drawn: Drawn| {
        let both = drawn.grown(false).zip(drawn.grown(true));
        prop_assume!(both.is_some());
        let Some((tabled, followed)) = both else { return Ok(()) };
        let tolerance = if drawn.limit == 2 { 1.1e-2 } else { 2e-3 };
        let ways = tabled.ways(12, 6).expect("ways").into_iter().zip(followed.ways(12, 6).expect("ways"));
        for ((one, other), (way, other_way)) in tabled.cracks.iter().zip(&followed.cracks).zip(ways) {
            let years = other.years_to_loss;
            // Those that go by different arithmetic have different last digits.
            let count = if way == other_way { &followed_ones } else { &tabled_ones };
            count.set(count.get() + 1);
            // Overspeeds come at moments: near one, a crack meets this or the next.
            let gap_years = if drawn.overspeed { 100.0 / 150.0 } else { 0.0 };
            let beyond = years > 990.0 && one.years_to_loss > 990.0;
            prop_assert!(
                beyond || (one.years_to_loss - years).abs() <= tolerance * years + gap_years,
                "{one:?}\n{other:?}"
            );
            if gap_years == 0.0 && !beyond {
                for (sizes, others) in [(&way.depth_mm, &other_way.depth_mm), (&way.length_mm, &other_way.length_mm)] {
                    // The last moments lie where cracks run away: an error of time is one of size there.
                    for (one_mm, other_mm) in sizes.iter().zip(others).take(4) {
                        prop_assert!((one_mm / other_mm - 1.0).abs() < 1e-2, "{sizes:?}\n{others:?}");
                    }
                }
            }
        }
        // The same cracks in lives of the row, at its first outage.
        if let Some((ones, others)) = drawn.inspected(false).zip(drawn.inspected(true)) {
            for (key, [depth_mm, length_mm]) in &ones {
                let Some([other_depth_mm, other_length_mm]) = others.get(key) else {
                    unmatched.set(unmatched.get() + 1);
                    continue;
                };
                matched.set(matched.get() + 1);
                // As above; a crack that runs away just then may be off by more.
                let is_close = |one: f64, other: f64| (one / other - 1.0).abs() < 1e-2;
                let close = is_close(*depth_mm, *other_depth_mm) && is_close(*length_mm, *other_length_mm);
                off.set(off.get() + u32::from(!close));
            }
        }
        Ok(())
    };
    let config = ProptestConfig {
        cases: 160,
        max_global_rejects: 10_000,
        failure_persistence: None,
        rng_seed: RngSeed::Fixed(15),
        ..ProptestConfig::default()
    };
    let outcome = TestRunner::new(config).run(&any_crack(), check);
    assert!(outcome.is_ok(), "{outcome:?}");
    let (tabled, followed) = (tabled_ones.get(), followed_ones.get());
    assert!(tabled > 400 && followed > 400, "{tabled} tabled, {followed} followed");
    let [matched, unmatched, off] = [matched, unmatched, off].map(|count| count.get());
    assert!(matched > 600 && 200 * unmatched < matched && 200 * off < matched, "{matched} {unmatched} {off}");
}
