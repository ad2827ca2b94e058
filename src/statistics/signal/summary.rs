//! A line with a threshold on one screen.

use super::decision::Decision;
use super::fit::SignalFit;
use crate::error::Result;
use crate::statistics::bound::{Bounds, Method, beyond_note, beyond_sentence, unlikely_sizes};
use std::fmt::Write;

/// Confidence of the bounds that a summary shows.
const CONFIDENCE: f64 = 0.95;

impl SignalFit {
    /// What the fit says at a threshold, how sure it is and what to beware of, on one screen.
    ///
    /// # Errors
    /// As [`SignalFit::at_threshold`].
    pub fn summary(&self, threshold: f64) -> Result<String> {
        let decision = self.at_threshold(threshold)?;
        let mut page = String::new();
        // Writing to a text cannot fail.
        let _ = self.write_line(&mut page);
        let _ = decision.write_sizes(&mut page)?;
        for note in decision.notes()? {
            let _ = writeln!(page, "  note: {note}");
        }
        Ok(page)
    }

    fn write_line(&self, page: &mut String) -> std::fmt::Result {
        writeln!(page, "signal: {} on {}, normal scatter", self.model.signal.words(), self.model.size.words())?;
        if !self.responses.source().is_empty() {
            writeln!(page, "  from {}", self.responses.source())?;
        }
        let ([below, within, above], (smallest, largest)) = (self.responses.counts(), self.responses.range_mm());
        let count = self.responses.cracked.len();
        writeln!(page, "  {count} signals at cracks of {smallest} to {largest} mm")?;
        writeln!(page, "    below the floor {below}, within the limits {within}, above saturation {above}")?;
        if self.model.size_error_log > 0.0 {
            writeln!(page, "    sizes as measured, with an error of {} in the logarithm", self.model.size_error_log)?;
        }
        for (why, lines) in self.responses.unused() {
            let noun = if *lines == 1 { "line" } else { "lines" };
            writeln!(page, "  not used: {lines} {noun} ({why})")?;
        }
        writeln!(page, "  {:<12} {:>9} {:>14}", "parameter", "value", "standard error")?;
        let (coefficients, covariance) = (self.line.coefficients(), self.line.covariance());
        let values = [("level", coefficients[0]), ("slope", coefficients[1]), ("scatter", self.line.scale())];
        for (index, (name, value)) in values.into_iter().enumerate() {
            writeln!(page, "  {name:<12} {value:>9.4} {:>14.4}", covariance[index][index].sqrt())?;
        }
        match &self.noise {
            Some(noise) => writeln!(
                page,
                "  noise: {} signals at sound places, mean {:.4}, spread {:.4} on the scale of the fit",
                self.responses.sound.len(),
                noise.coefficients()[0],
                noise.scale()
            ),
            None => writeln!(page, "  noise: not known, fewer than 10 signals within the limits at sound places"),
        }
    }
}

impl Decision<'_> {
    fn write_sizes(&self, page: &mut String) -> Result<std::fmt::Result> {
        let mm = |size: Option<f64>| size.map_or("none".to_owned(), |size| format!("{size:.3}"));
        let usual = self.fit().usual_method();
        let methods = [usual, Method::LikelihoodRatio, Method::Wald];
        let mut lines = Vec::new();
        let mut q90 = Bounds { low: None, high: None };
        for (name, pod) in [("q50", 0.5), ("q90", 0.9)] {
            let bounds = methods.map(|method| self.size_bounds(pod, CONFIDENCE, method));
            let mut line = format!("  {name:<8} {:>8.3}", self.size_at(pod));
            for (place, bound) in bounds.into_iter().enumerate() {
                let bound = bound?;
                line += &format!("  {:>8} {:>8}", mm(bound.low), mm(bound.high));
                q90 = if place == 0 { bound } else { q90 };
            }
            lines.push(line);
        }
        let largest = self.fit().responses().range_mm().1;
        let false_calls = self.false_calls().zip(self.false_call_bounds(CONFIDENCE)?);
        let mut write = || -> std::fmt::Result {
            /// Of two bounds.
            const WIDTH: usize = 17;
            writeln!(page, "  call above {}:", self.threshold())?;
            write!(page, "{:19}", "")?;
            methods.iter().try_for_each(|method| write!(page, "  {:^WIDTH$}", method.short()))?;
            write!(page, "\n  size in mm  value  ")?;
            methods.iter().try_for_each(|_| write!(page, "  {:>8} {:>8}", "lower", "upper"))?;
            writeln!(page, "   (each bound one-sided at 95 %)")?;
            lines.iter().try_for_each(|line| writeln!(page, "{line}"))?;
            let value = self.size_at(0.9);
            if value > largest {
                writeln!(page, "  q90 = {value:.3} mm{}", beyond_note(Some(value), largest))?;
            }
            let (shown, beyond) = (mm(q90.high), beyond_note(q90.high, largest));
            writeln!(page, "  q90/95 = {shown} mm by {}, one-sided{beyond}", usual.words())?;
            match false_calls {
                Some((value, (low, high))) => {
                    writeln!(page, "  false calls: {value:.4} per look (bounds {low:.4} to {high:.4}, each at 95 %)")
                }
                None => writeln!(page, "  false calls: not known"),
            }
        };
        Ok(write())
    }

    /// Warnings, in sentences.
    ///
    /// # Errors
    /// None that a fit can cause.
    pub fn notes(&self) -> Result<Vec<String>> {
        /// Of signals on one side of the threshold.
        const FEW: usize = 5;
        let mut notes =
            vec!["bounds are not symmetric about the value: they are made on the scale of the fit".to_owned()];
        let (q90, method, largest) =
            (self.size_at(0.9), self.fit().usual_method(), self.fit().responses().range_mm().1);
        let q90_95 = self.size_bounds(0.9, CONFIDENCE, method)?.high;
        notes.extend(unlikely_sizes(self.fit().responses().range_mm()));
        notes.extend(beyond_sentence(Some(q90), q90_95, largest));
        let (above, count) = self.calls();
        if above < FEW || count - above < FEW {
            notes.push(format!(
                "{above} of {count} signals lie above the threshold: the curve there is drawn out of the line"
            ));
        }
        if let Some(naive) = self.fit().ignoring_size_error() {
            let q90 = naive.at_threshold(self.threshold())?.size_at(0.9);
            notes.push(format!("with errors in size ignored, q90 would be {q90:.3} mm"));
        }
        notes.push(
            "demonstrated detection is commonly better than detection in the field; nothing is taken off for that"
                .to_owned(),
        );
        Ok(notes)
    }
}
