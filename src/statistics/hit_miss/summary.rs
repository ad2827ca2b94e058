//! A fit on one screen.

use super::fit::{Coefficient, Fit};
use super::model::Limit;
use crate::error::Result;
use crate::statistics::bound::{Bounds, Method, beyond_note, beyond_sentence, unlikely_sizes};
use crate::statistics::interval::exact_proportion;
use std::fmt::Write;

/// Confidence of the bounds that a summary shows: that of q90/95.
const CONFIDENCE: f64 = 0.95;

impl Fit {
    /// What the fit says, how sure it is and what to beware of, on one screen.
    ///
    /// # Errors
    /// None that a fit can cause; bounds are asked for as they can be had.
    pub fn summary(&self) -> Result<String> {
        let mut page = String::new();
        // Writing to a text cannot fail.
        let _ = self.write_head(&mut page);
        let _ = self.write_sizes(&mut page, self.sizes()?);
        let _ = self.write_parameters(&mut page)?;
        for note in self.notes()? {
            let _ = writeln!(page, "  note: {note}");
        }
        Ok(page)
    }

    fn write_head(&self, page: &mut String) -> std::fmt::Result {
        let (link, scale) = (self.model().link.name(), self.model().scale.words());
        let penalised = if self.model().penalised { ", penalised" } else { "" };
        writeln!(page, "hit/miss: {link} on {scale}{penalised}")?;
        if !self.looks.source().is_empty() {
            writeln!(page, "  from {}", self.looks.source())?;
        }
        let ((hits, count), (smallest, largest)) = (self.looks.hits(), self.looks.range_mm());
        let misses = count - hits;
        writeln!(page, "  {count} looks at cracks of {smallest} to {largest} mm: {hits} hits, {misses} misses")?;
        match self.looks.false_calls() {
            (_, 0) => writeln!(page, "  false calls: not known, no look at a place free of cracks")?,
            (calls, clean) => {
                let (low, high) = exact_proportion(calls as f64, clean as f64, 0.95);
                let share = calls as f64 / clean as f64;
                writeln!(page, "  false calls: {calls} of {clean}, {share:.4} (95 % interval {low:.4} to {high:.4})")?;
            }
        }
        for (why, lines) in self.looks.unused() {
            let noun = if *lines == 1 { "line" } else { "lines" };
            writeln!(page, "  not used: {lines} {noun} ({why})")?;
        }
        let at: Vec<String> = self.levels().map(|(name, level)| format!("{name} = {level}")).collect();
        if !at.is_empty() {
            writeln!(page, "  sizes below are for {}", at.join(", "))?;
        }
        Ok(())
    }

    /// The methods of bounds that hold here, the usual one first.
    fn methods(&self) -> Vec<Method> {
        let known = [Method::ModifiedLikelihoodRatio, Method::LikelihoodRatio, Method::Wald];
        known.into_iter().filter(|method| self.check_method(*method).is_ok()).collect()
    }

    fn sizes(&self) -> Result<Vec<Size>> {
        let size = |(name, pod)| {
            let bounds = |method| self.size_bounds(pod, CONFIDENCE, method);
            let bounds = self.methods().into_iter().map(bounds).collect::<Result<_>>()?;
            Ok(Size { name, value: self.size_at(pod), bounds })
        };
        [("q50", 0.5), ("q90", 0.9)].into_iter().map(size).collect()
    }

    fn write_sizes(&self, page: &mut String, sizes: Vec<Size>) -> std::fmt::Result {
        /// Of two bounds.
        const WIDTH: usize = 17;
        let mm = |size: Option<f64>| size.map_or("none".to_owned(), |size| format!("{size:.3}"));
        let methods = self.methods();
        write!(page, "{:19}", "")?;
        methods.iter().try_for_each(|method| write!(page, "  {:^WIDTH$}", method.short()))?;
        write!(page, "\n  size in mm  value  ")?;
        methods.iter().try_for_each(|_| write!(page, "  {:>8} {:>8}", "lower", "upper"))?;
        writeln!(page, "   (each bound one-sided at 95 %)")?;
        for Size { name, value, bounds } in &sizes {
            write!(page, "  {name:<8} {:>8}", mm(*value))?;
            bounds.iter().try_for_each(|bound| write!(page, "  {:>8} {:>8}", mm(bound.low), mm(bound.high)))?;
            writeln!(page)?;
        }
        if let Some(q90) = sizes.last() {
            let (largest, bound) = (self.looks.range_mm().1, q90.bounds[0].high);
            if let Some(value) = q90.value.filter(|value| *value > largest) {
                writeln!(page, "  q90 = {value:.3} mm{}", beyond_note(q90.value, largest))?;
            }
            let (method, beyond) = (methods[0].words(), beyond_note(bound, largest));
            writeln!(page, "  q90/95 = {} mm by {method}, one-sided{beyond}", mm(bound))?;
        }
        Ok(())
    }

    fn write_parameters(&self, page: &mut String) -> Result<std::fmt::Result> {
        let limits = [
            ("floor", self.best.floor, self.floor_bounds(CONFIDENCE)?),
            ("ceiling", self.best.ceiling, self.ceiling_bounds(CONFIDENCE)?),
        ];
        let mut write = || -> std::fmt::Result {
            let both = self.expected_covariance().is_some() && !self.model().penalised;
            write!(page, "  {:<24} {:>9} {:>14}", "parameter", "value", "standard error")?;
            writeln!(page, "{}", if both { "   by expected information" } else { "" })?;
            for Coefficient { name, value, standard_error, expected_standard_error } in self.coefficients() {
                write!(page, "  {name:<24} {value:>9.4} {standard_error:>14.4}")?;
                match expected_standard_error.filter(|_| both) {
                    Some(expected) => writeln!(page, "   {expected:>23.4}")?,
                    None => writeln!(page)?,
                }
            }
            let used = if self.model().penalised { "expected" } else { "observed" };
            writeln!(page, "  standard errors, covariances and Wald bounds are from the {used} information")?;
            for (name, value, (low, high)) in limits {
                if low < high {
                    writeln!(page, "  {name:<24} {value:>9.4}  (bounds {low:.4} to {high:.4}, each at 95 %)")?;
                }
            }
            if let Some(goodness) = self.goodness() {
                let (groups, p) = (goodness.groups.len(), goodness.p_value);
                writeln!(
                    page,
                    "  goodness of fit: chi-square {:.2} in {groups} groups, p = {p:.3}",
                    goodness.chi_square
                )?;
            }
            Ok(())
        };
        Ok(write())
    }

    /// Warnings, in sentences.
    ///
    /// # Errors
    /// As [`Fit::summary`].
    pub fn notes(&self) -> Result<Vec<String>> {
        /// From here on Wald's bounds hold nearly as often as they say; see the module's table.
        const MANY_LOOKS: usize = 200;
        let mut notes =
            vec!["bounds are not symmetric about the value: they are made on the scale of the fit".to_owned()];
        let (smallest, largest) = self.looks.range_mm();
        let q90 = self.size_at(0.9);
        match q90 {
            None => notes.push(format!("no size is found with 0.9: the curve ends at {:.3}", self.best.ceiling)),
            Some(q90) if q90 < smallest => {
                notes.push(format!("q90 lies below the smallest crack looked at, {smallest} mm: take looks near it"));
            }
            Some(_) => {}
        }
        let q90_95 = self.size_bounds(0.9, CONFIDENCE, self.usual_method())?.high;
        notes.extend(unlikely_sizes((smallest, largest)));
        notes.extend(beyond_sentence(q90, q90_95, largest));
        if self.looks.cracked.len() < MANY_LOOKS && !self.model().penalised {
            let modified = match self.usual_method() {
                Method::ModifiedLikelihoodRatio => "96 % (modified ratio), ",
                _ => "",
            };
            notes.push(format!(
                "few looks: at 40, upper 95 % bounds on q90 hold in {modified}91 % (likelihood ratio), 86 % (Wald)"
            ));
        }
        if self.model().penalised {
            notes.push("the fit is penalised: estimates are drawn towards no effect of size".to_owned());
        }
        if !self.model().between_inspectors && self.looks.inspectors.len() > 1 {
            let inspectors = self.looks.inspectors.len();
            notes.push(format!("{inspectors} inspectors are taken as one; their spread, if any, flattens the curve"));
        }
        notes.extend(self.poor_fit());
        if let Some(naive) = self.ignoring_size_error().and_then(|naive| naive.size_at(0.9)) {
            notes.push(format!("with errors in size ignored, q90 would be {naive:.3} mm"));
        }
        if self.model().is_plain()
            && let Some(q90) = q90
        {
            notes.push(self.most_influential(q90)?);
        }
        notes.push(
            "demonstrated detection is commonly better than detection in the field; nothing is taken off for that"
                .to_owned(),
        );
        Ok(notes)
    }

    /// What to do where the curve does not suit the looks.
    fn poor_fit(&self) -> Option<String> {
        /// Below this the shape of the curve is uncertain.
        const POOR: f64 = 0.1;
        /// Chance from which on a crack is a large one.
        const LARGE: f64 = 0.8;
        let goodness = self.goodness().filter(|goodness| goodness.p_value < POOR)?;
        let large = goodness.groups.iter().filter(|group| group.expected > LARGE * group.looks as f64);
        let missing: f64 = large.map(|group| group.expected - group.hits as f64).sum();
        let held = self.model().ceiling != Limit::Free;
        let p = goodness.p_value;
        Some(if held && missing > 0.0 {
            format!(
                "the curve does not suit the looks (p = {p:.3}): large cracks are missed more often than it says; fit a \
                 ceiling"
            )
        } else if held {
            format!("the curve does not suit the looks (p = {p:.3}): try a ceiling, a factor or another link")
        } else {
            format!("the curve does not suit the looks (p = {p:.3}): try a factor or another link")
        })
    }

    fn most_influential(&self, q90: f64) -> Result<String> {
        let influence = self.influence(0.9)?;
        let pull = |without: f64| (without / q90).ln().abs();
        let reached = influence.iter().filter_map(|one| Some((one, one.without_mm?)));
        let answer = |called: bool| if called { "hit" } else { "miss" };
        if let Some(one) = influence.iter().find(|one| one.without_mm.is_none()) {
            let (answer, size) = (answer(one.called), one.size_mm);
            return Ok(format!("the fit hangs on one look: without the {answer} at {size} mm there is none"));
        }
        let most = reached.max_by(|a, b| pull(a.1).total_cmp(&pull(b.1)));
        Ok(most.map_or_else(String::new, |(one, without)| {
            let answer = answer(one.called);
            format!(
                "no look moves q90 more than the {answer} at {} mm: without it, q90 is {without:.3} mm",
                one.size_mm
            )
        }))
    }
}

struct Size {
    name: &'static str,
    value: Option<f64>,
    /// By each of the methods.
    bounds: Vec<Bounds>,
}
