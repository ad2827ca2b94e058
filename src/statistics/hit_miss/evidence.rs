//! The fit in the words of a study.

use super::fit::Fit;
use crate::error::Result;
use crate::model::detection::Grade;
use crate::statistics::bound::beyond_note;
use crate::statistics::evidence::Evidence;

impl Fit {
    /// What a study takes from the fit, at the fit's levels.
    ///
    /// Levels of the factors `surface` and `grade` become shifts. The share of false calls is that of the looks at
    /// places free of cracks, where there are any.
    ///
    /// # Errors
    /// As [`Fit::pod_curve`].
    pub fn evidence(&self) -> Result<Evidence> {
        let (evidence, of) = self.evidence_without_basis()?;
        Ok(Evidence { basis: of.basis()?, ..evidence })
    }

    /// The same without its basis, and the fit at the levels that its curve is of.
    pub(super) fn evidence_without_basis(&self) -> Result<(Evidence, Fit)> {
        let has = |factor: &str| self.looks.factors.iter().any(|known| known.name == factor);
        let (mut fit, mut surface_shift_log, mut grade_shift_log) = (self.clone(), Vec::new(), Vec::new());
        if has("surface") {
            surface_shift_log = self.shifts_log("surface")?;
            fit = fit.with_levels(&[("surface", &surface_shift_log[0].0)])?;
        }
        if has("grade") {
            let shifts = self.shifts_log("grade")?;
            let standard = shifts.iter().find(|(level, _)| level == Grade::Standard.name());
            // The study's curve is of the standard procedure; without it in the records, of the one they have.
            let (level, base) = standard.unwrap_or(&shifts[0]).clone();
            fit = fit.with_levels(&[("grade", &level)])?;
            let grades = [Grade::Standard, Grade::Enhanced];
            let shift =
                |grade: Grade| shifts.iter().find(|(level, _)| level == grade.name()).map(|(_, shift)| shift - base);
            grade_shift_log = grades.into_iter().filter_map(|grade| Some((grade, shift(grade)?))).collect();
        }
        let (calls, clean) = self.looks.false_calls();
        let evidence = Evidence {
            pod: fit.pod_curve()?,
            surface_shift_log,
            grade_shift_log,
            inspection_sigma: self.model().between_inspectors.then(|| self.inspection_sigma()),
            false_call_probability: (clean > 0).then(|| calls as f64 / clean as f64),
            basis: String::new(),
        };
        Ok((evidence, fit))
    }

    /// Where the curve comes from, in one line.
    ///
    /// # Errors
    /// None that a fit can cause; a bound is asked for as it can be had.
    pub fn basis(&self) -> Result<String> {
        let (hits, count) = self.looks.hits();
        let (smallest, largest) = self.looks.range_mm();
        let from = match self.looks.source() {
            "" => String::new(),
            source => format!(", {source}"),
        };
        let link = self.model().link.name();
        let penalised = if self.model().penalised { ", penalised" } else { "" };
        let mm = |size: Option<f64>| size.map_or("not reached".to_owned(), |size| format!("{size:.3} mm"));
        let method = self.usual_method();
        let (q90, q90_95) = (self.size_at(0.9), self.size_bounds(0.9, 0.95, method)?.high);
        Ok(format!(
            "fitted to {count} looks at cracks of {smallest} to {largest} mm, {hits} hits{from}: {link}{penalised}, q90 {}{}, \
             q90/95 {} by {}{}",
            mm(q90),
            beyond_note(q90, largest),
            mm(q90_95),
            method.words(),
            beyond_note(q90_95, largest)
        ))
    }
}
