//! What stands in the way of an answer.

use crate::distribution::Distribution;
use crate::error::{Error, Fault, Result};
use crate::model::Study;
use crate::model::fleet::Consequences;
use crate::model::growth::Limit;
use crate::model::strategy::{Action, AfterLoss, Agreement, Sample, Strategy, WhenWindowCloses};
use crate::simulation::nature::{HotSpotGrowth, NaturePlan};

/// A list of obstacles, each with its place, what is in the way, and what would be right.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Obstacles {
    pub faults: Vec<Fault>,
}

impl Obstacles {
    pub fn add(&mut self, path: String, rule: impl Into<String>, remedy: &str) {
        let fault = Fault { line: None, path, value: String::new(), rule: rule.into(), remedy: remedy.to_owned() };
        if !self.faults.contains(&fault) {
            self.faults.push(fault);
        }
    }

    /// An error if there are any.
    pub fn refuse(self) -> Result<()> {
        if self.faults.is_empty() { Ok(()) } else { Err(Error::study("screen", self.faults)) }
    }
}

/// Normal numbers that may persist in a crack: each takes the work times eight.
const MOST_PERSIST: usize = 2;
/// Growth laws of a root that scatter from row to row, likewise.
const MOST_ROW_GROWTHS: usize = 2;

const SIMULATE: &str = "simulate it instead";

/// What keeps rows from being screened, whatever the strategy.
pub(super) fn of_rows(study: &Study, natures: &[NaturePlan]) -> Obstacles {
    let mut obstacles = Obstacles::default();
    if study.is_given_records() {
        obstacles.add("given".to_owned(), "lives that go on from records are not screened", SIMULATE);
    } else if let Some(uncertain) = study.uncertain.first() {
        obstacles.add(format!("uncertain.{}", uncertain.id), "what is uncertain is not screened", SIMULATE);
    }
    for (row, nature) in study.rows.iter().zip(natures) {
        let root = &study.roots[row.root];
        let mut scattering: Vec<u64> = Vec::new();
        if root.replaced_together > 1 {
            let path = format!("roots.{}.replaced_together", root.id);
            obstacles.add(path, "what one blade shows has others replaced: blades are not independent", SIMULATE);
        }
        if root.consequences != Consequences::default() {
            let path = format!("roots.{}.consequences", root.id);
            obstacles.add(path, "a loss has others replaced: blades are not independent", SIMULATE);
        }
        if root.handling_damage_probability > 0.0 {
            let path = format!("roots.{}.handling_damage_probability", root.id);
            obstacles.add(path, "blades that are damaged when they come out are not screened", SIMULATE);
        }
        for (spot, plan) in root.hot_spots.iter().zip(&nature.hot_spots) {
            let path = || format!("roots.{}.hot_spots.{}", root.id, spot.id);
            let growth = &study.growth[spot.growth];
            if matches!(plan.growth, HotSpotGrowth::Integrated(_)) {
                obstacles.add(
                    path(),
                    "its cracks are followed one by one: something beyond Paris' law in one line acts on them, or they join",
                    SIMULATE,
                );
            } else if !(plan.crack_sigma > 0.0) {
                obstacles.add(
                    format!("growth.{}.crack_sigma_log", growth.id),
                    "is 0: lives of cracks that scatter by nothing but their initial size are not screened",
                    "0.05 or more is, and hardly differs",
                );
            }
            if nature.overspeed.is_some() && matches!(spot.limit, Limit::Toughness { .. }) {
                obstacles.add(
                    format!("units.{}.overspeed", study.units[row.unit].id),
                    format!("ends cracks at {} by their toughness at moments of its own", path()),
                    SIMULATE,
                );
            }
            let is_known =
                |toughness: &Distribution| matches!(toughness, Distribution::Fixed(_) | Distribution::Lognormal { .. });
            if spot.limit.toughness().is_some_and(|toughness| !is_known(toughness)) {
                obstacles.add(
                    format!("{}.limit.toughness_mpa_sqrt_m", path()),
                    "is neither fixed nor lognormal",
                    "a lognormal one is screened; else simulate it",
                );
            }
            if plan.row_sigma > 0.0 && !scattering.contains(&plan.growth_name) {
                scattering.push(plan.growth_name);
            }
        }
        if scattering.len() > MOST_ROW_GROWTHS {
            obstacles.add(
                format!("roots.{}", root.id),
                format!("{} of its growth laws scatter from row to row; at most 2 are screened", scattering.len()),
                SIMULATE,
            );
        }
    }
    obstacles
}

/// What keeps a strategy from being screened.
pub(super) fn of_strategy(study: &Study, strategy: &Strategy) -> Obstacles {
    let mut obstacles = Obstacles::default();
    let path = |rest: &str| format!("strategies.{}.{rest}", strategy.id);
    let one_by_one = "what one blade shows changes what is done to others: blades are not independent";
    for (number, look) in (1..).zip(&strategy.looks) {
        let path = |rest: &str| path(&format!("looks[{number}]{rest}"));
        if look.cleaning.is_some() {
            obstacles.add(path(".cleaning"), "looks at cleaned surfaces are not screened", SIMULATE);
        }
        if look.escalation.is_some() {
            obstacles.add(path(".escalation"), one_by_one, SIMULATE);
        }
        if look.reacts() {
            obstacles.add(path(""), format!("its interval reacts to finds: {one_by_one}"), SIMULATE);
        }
        let sampled = match look.coverage.blades {
            Sample::ByChance(fraction) => (fraction < 1.0).then_some(".coverage.blade_fraction"),
            Sample::Number(..) => Some(".coverage.chosen"),
        };
        if let Some(key) = sampled {
            let reason = "cracks of one blade are seen together or not at all";
            obstacles.add(path(key), reason, "1 is screened; else simulate it");
        }
        if look.instead_of_others {
            obstacles.add(path(".instead_of_others"), "looks that others take the place of are not screened", SIMULATE);
        }
        if look.agreement != Agreement::Any {
            obstacles.add(path(".agreement"), "a call alone is no indication", "\"any\" is screened; else simulate it");
        }
        let falsely = |technique: &&usize| study.techniques[**technique].false_call_probability > 0.0;
        if look.coverage.hot_spots.is_some() && look.techniques.iter().any(|technique| falsely(&technique)) {
            obstacles.add(
                path(".coverage.hot_spots"),
                "false calls of looks at some hot spots alone are not screened",
                "all hot spots are, or a false_call_probability of 0; else simulate it",
            );
        }
    }
    if strategy.dispositions.iter().any(|disposition| disposition.action != Action::Replace) {
        let rule = "blades stay, are dressed, or whole rows go, by what was measured";
        obstacles.add(path("dispositions"), rule, "replace is screened");
    }
    if strategy.replace_row_from_blades.is_some() {
        obstacles.add(path("replace_row_from_blades"), one_by_one, SIMULATE);
    }
    if strategy.sister_rows.is_some() {
        obstacles.add(
            path("sister_rows"),
            "finds on one row have others looked at: rows are not independent",
            SIMULATE,
        );
    }
    let between =
        [("extra_look", strategy.extra_look.is_some()), ("look_after_loss", strategy.look_after_loss.is_some())];
    for (key, _) in between.into_iter().filter(|(_, is_stated)| *is_stated) {
        obstacles.add(path(key), "looks between outages are not screened", SIMULATE);
    }
    if strategy.after_loss == AfterLoss::ReplaceRow {
        obstacles.add(path("after_loss"), one_by_one, "replace-blade is screened");
    }
    if strategy.row_end.is_some() {
        obstacles.add(path("row_end"), "rows that end or are renewed in a stated year are not screened", SIMULATE);
    }
    if !strategy.peening.is_empty() {
        obstacles.add(path("peening"), "blades that are peened anew are not screened", SIMULATE);
    }
    if !strategy.deferrals.is_empty() {
        obstacles.add(path("deferrals"), "outages that are put off are not screened", SIMULATE);
    }
    if strategy.starts_limit.is_some() {
        obstacles.add(path("starts_limit"), "units that run otherwise than their duty are not screened", SIMULATE);
    }
    if !strategy.spares.is_empty() {
        obstacles.add(
            path("spares"),
            "blades run on or are waited for by what others took: they are not independent",
            SIMULATE,
        );
    }
    if strategy.when_window_closes == WhenWindowCloses::RunOnWatched {
        obstacles.add(
            path("when_window_closes"),
            "blades run on by the time that others took: they are not independent",
            SIMULATE,
        );
    }
    let past = study.rows.iter().flat_map(|row| row.past_looks.iter().map(|look| look.technique));
    let used = strategy.looks.iter().flat_map(|look| look.techniques.iter().copied()).chain(past);
    let mut sources: Vec<usize> = Vec::new();
    for technique in used.filter(|technique| study.techniques[*technique].crack_sigma > 0.0) {
        let factor = study.persistence.factor[technique].iter().enumerate();
        sources.extend(factor.filter(|(_, weight)| **weight != 0.0).map(|(source, _)| source));
    }
    sources.sort_unstable();
    sources.dedup();
    if sources.len() > MOST_PERSIST {
        obstacles.add(
            path("looks"),
            format!(
                "{} techniques, past looks included, have effects of their own that persist in a crack; at most 2 are \
                 screened",
                sources.len()
            ),
            SIMULATE,
        );
    }
    obstacles
}
