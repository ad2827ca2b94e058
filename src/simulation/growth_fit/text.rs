//! A fit in words.

use super::bounds::CONFIDENCE;
use super::{Fitted, GrowthFit};
use crate::model::uncertain::UncertainInput;
use statrs::distribution::{ChiSquared, ContinuousCDF};
use std::fmt::Write;

impl GrowthFit {
    /// What limits the numbers, in sentences.
    pub fn warnings(&self) -> Vec<String> {
        /// Cracks below which the bounds are hardly better than the scatter that the study states.
        const FEW: usize = 5;
        /// Factors that speak of other units or another place rather than of growth.
        const FAR: f64 = 30.0;
        let mut warnings = Vec::new();
        let bounds = self.bounds(CONFIDENCE);
        let (low, high) = bounds.map_or((None, None), |bounds| (bounds.low, bounds.high));
        if self.is_bound_only() {
            warnings.push(
                "sizing error swamps the growth: cracks that do not grow at all explain the sizes nearly as well. There is \
                 an upper bound and no estimate; sizes after more starts, or by a better technique, would tell more"
                    .to_owned(),
            );
        }
        if low.is_some_and(|low| low > 1.0) {
            warnings.push(
                "the whole interval lies above 1: in the study as it stands cracks grow too slowly for these sizes"
                    .to_owned(),
            );
        }
        if high.is_none() {
            warnings.push("no factor is excluded upwards".to_owned());
        }
        if self.factor().is_some_and(|factor| !(1.0 / FAR..=FAR).contains(&factor)) {
            warnings.push(
                "the factor is far from 1: look whether sizes are in mm, starts are starts, and the hot spot is the right one"
                    .to_owned(),
            );
        }
        if let Some(p) = self.p_of_spread().filter(|p| *p < 0.01) {
            warnings.push(format!(
                "cracks differ by more than scatter and sizing error in the study explain (a chance of {p:.2}): the bounds are \
                 too narrow. Look for slips among the sizes, or raise crack_sigma_log of the growth law and fit again",
                p = p.max(1e-6)
            ));
        }
        let left: Vec<&str> = self
            .cracks
            .iter()
            .filter(|crack| self.leaves_solution(crack))
            .map(|crack| crack.followed.name.as_str())
            .collect();
        if !left.is_empty() {
            warnings.push(format!(
                "sizes lie beyond the range of the published stress-intensity solution, where it is held at its edge: cracks {}",
                left.join(", ")
            ));
        }
        if self.cracks.len() < FEW {
            let count = self.cracks.len();
            let cracks = if count == 1 { "one crack shows".to_owned() } else { format!("{count} cracks show") };
            warnings.push(format!(
                "{cracks} nothing of how cracks differ: the bounds rest on the scatter that the study states"
            ));
        }
        warnings
    }

    /// Whether the largest size of a crack is beyond the range of its solution.
    fn leaves_solution(&self, crack: &Fitted) -> bool {
        let edge = self.families[crack.family].curve.leaves_solution;
        edge.is_some_and(|edge| crack.followed.sizes.iter().any(|size| size.ln_size > edge))
    }

    /// Chance that cracks differ at least as much as they do, by the scatter that the study states and the error of their
    /// own factors; `None` with fewer than two that have one.
    fn p_of_spread(&self) -> Option<f64> {
        let row = self.study.growth[self.law].row_sigma_log;
        let known = self.cracks.iter().zip(self.own_factors()).filter_map(|(crack, own)| Some((crack, own.factor?)));
        let each: Vec<(f64, f64)> = known
            .map(|(crack, factor)| {
                let family = &self.families[crack.family];
                let sigma = crack.evidence.own.width.hypot(family.sigma).hypot(row);
                (factor.ln() - family.shift, sigma.powi(-2))
            })
            .collect();
        let degrees = each.len().checked_sub(1).filter(|degrees| *degrees > 0)?;
        let weight: f64 = each.iter().map(|(_, weight)| weight).sum();
        let mean = each.iter().map(|(x, weight)| x * weight).sum::<f64>() / weight;
        let spread: f64 = each.iter().map(|(x, weight)| weight * (x - mean) * (x - mean)).sum();
        ChiSquared::new(degrees as f64).ok().map(|law| law.sf(spread))
    }

    /// What the numbers mean, in sentences.
    pub fn notes(&self) -> Vec<String> {
        let law = &self.study.growth[self.law];
        let mut notes = vec![
            format!(
                "the factor multiplies coefficient_m_per_start of growth law {}; bounds are by profile likelihood, both \
                 ends make an interval of 95 %",
                law.id
            ),
            "cracks are taken as followed for reasons that have nothing to do with how fast they grew: where fast ones were \
             lost, renewed or repaired before a second size, they are missing here and the factor is too low, which is the \
             unsafe side"
                .to_owned(),
            "the true first size of each crack is not known and is integrated out, flat in its logarithm; errors of \
             different sizes are taken as independent"
                .to_owned(),
            "cracks are taken to have the shape of the median crack of their hot spot: where theirs is another, what that \
             does to growth is in the factor"
                .to_owned(),
        ];
        notes.push(
            "sizes that were fitted here count twice where the changed study is given records that hold them too"
                .to_owned(),
        );
        let stress = self.study.scatter.blade_stress_sigma_log;
        let spread = |name: &str, sigma: f64| format!("{name} {sigma}");
        notes.push(format!(
            "scatter is as the study states it, not estimated: {}, {}, {}",
            spread("crack_sigma_log", law.crack_sigma_log),
            spread("row_sigma_log", law.row_sigma_log),
            spread("blade_stress_sigma_log", stress)
        ));
        if stress > 0.0 {
            notes.push(
                "blade stress is as among blades that crack, each crack in a blade of its own: two in one blade share it, \
                 and tell somewhat less than is counted"
                    .to_owned(),
            );
        }
        let input = UncertainInput::GrowthCoefficient(self.law);
        if let Some(entry) = self.study.uncertain.iter().find(|entry| entry.factor_on.contains(&input)) {
            notes.push(format!(
                "the study has this coefficient uncertain already ({}, sigma_log {}): the fit is of the sizes alone and makes \
                 no use of that",
                entry.id, entry.sigma_log
            ));
        }
        notes.extend(self.sizes.notes().iter().cloned());
        notes
    }

    /// The whole answer on one screen.
    pub fn summary(&self) -> String {
        let mut page = String::new();
        // Writing to a text cannot fail.
        let _ = self.write(&mut page);
        page
    }

    fn write(&self, page: &mut String) -> std::fmt::Result {
        let law = &self.study.growth[self.law];
        let sizes: usize = self.cracks.iter().map(|crack| crack.followed.sizes.len()).sum();
        writeln!(page, "growth from records: a factor on growth.{}.coefficient_m_per_start", law.id)?;
        writeln!(page, "  from {}", self.sizes.source())?;
        writeln!(page, "  cracks {}, sizes {sizes}, rows {}", self.cracks.len(), self.rows.len())?;
        for warning in self.warnings() {
            writeln!(page, "  warning: {warning}")?;
        }
        let number = |value: Option<f64>| value.map_or("none".to_owned(), |value| format!("{value:.4}"));
        let bounds = self.bounds(CONFIDENCE);
        let (low, high) = bounds.map_or((None, None), |bounds| (bounds.low, bounds.high));
        writeln!(page, "  {:<26} {:>10} {:>10} {:>10}   (95 % interval)", "", "factor", "lower", "upper")?;
        let [factor, low_shown, high_shown] = [self.factor(), low, high].map(number);
        writeln!(page, "  {:<26} {factor:>10} {low_shown:>10} {high_shown:>10}", "factor on growth")?;
        let now = self.coefficient_m_per_start();
        match self.factor() {
            Some(factor) => writeln!(page, "  multiply {now:e} m per start by it: {:.4e}", factor * now)?,
            None => writeln!(page, "  no estimate: an upper bound alone is no value for a study")?,
        }
        if let (Some(error), Some(sigma)) = (self.standard_error_log(), self.sigma_log()) {
            writeln!(
                page,
                "  of ln factor: standard error {error:.4}; sigma_log {sigma:.4} for an entry of uncertain in the study"
            )?;
        }
        let p = self.p_of_study();
        let p = if p < 1e-3 { "below 0.001".to_owned() } else { format!("{p:.3}") };
        writeln!(
            page,
            "  log-likelihood {:.3}; of the study as it stands (factor 1) {:.3}, p {p}",
            self.log_likelihood(),
            self.log_likelihood_of_study()
        )?;
        writeln!(
            page,
            "  {:<26} {:>10} {:>10} {:>10}   (each crack by its sizes alone, its own scatter in it)",
            "", "factor", "lower", "upper"
        )?;
        for own in self.own_factors() {
            let [factor, low, high] = [own.factor, own.low, own.high].map(number);
            let name = format!("{} ({} sizes)", own.crack, own.sizes);
            writeln!(page, "  {name:<26} {factor:>10} {low:>10} {high:>10}")?;
        }
        self.notes().iter().try_for_each(|note| writeln!(page, "  note: {note}"))
    }
}
