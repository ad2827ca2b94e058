//! Missed cracks in sentences.

use super::{Method, MissedCracks};
use crate::statistics::capture_histories::blades_shown;
use crate::statistics::paired::p_value;

impl MissedCracks {
    /// Number of missed cracked blades, its assumptions, and the estimates of other methods.
    pub fn sentences(&self) -> Vec<String> {
        let mut said = vec![self.headline(), self.taken_for_granted()];
        if let Some(models) = &self.log_linear {
            if let (Some((least, most)), true) = (models.range, self.answer.method == Method::LogLinear) {
                said.push(format!("Models that count say from {} to {}.", blades_shown(least), blades_shown(most)));
            }
            if let Some(p) = models.best_fits_p.filter(|p| *p < 0.05) {
                said.push(format!("Even the best log-linear model fits poorly (p {}).", p_value(p)));
            }
        }
        said.extend(self.other_estimates());
        said
    }

    fn headline(&self) -> String {
        let (percent, found) = (100.0 * self.level, self.found);
        let super::Answer { method, missed, low, high, mostly_shorter_mm } = self.answer;
        let shorter = match mostly_shorter_mm {
            Some(mm) => format!(", mostly shorter than {mm:.1} mm"),
            None => String::new(),
        };
        let beyond = format!("more cracked blades than the {found} found");
        let range = match high {
            Some(high) => format!("{percent} %: {low} to {high}"),
            None => format!("{percent} %: {low} and more"),
        };
        let about = blades_shown(missed.unwrap_or(low));
        match method {
            Method::LowerBound if low == 0.0 && missed == Some(0.0) => {
                format!(
                    "No estimate could be made of what all missed; nothing shows more cracked blades than the {found} found."
                )
            }
            Method::LowerBound if self.techniques.len() == 2 => {
                let all = found as f64 + low;
                let most = high.map_or("no upper bound".to_owned(), |high| format!("no upper bound but {high}"));
                format!(
                    "At least {low} {beyond} ({percent} %), at least {all} in all: with no blade found by both there is no \
                     estimate and {most}."
                )
            }
            Method::LowerBound => format!("At least about {about} {beyond}; no estimate could be made."),
            Method::CannotBeTold => {
                let least = if low > 0.0 { format!("at least {low}") } else { "perhaps none".to_owned() };
                let most = high.map_or("nothing sets an upper bound".to_owned(), |high| {
                    format!("no more than the {high} that none called")
                });
                format!("How many {beyond} there are cannot be told: {least}, and {most}.")
            }
            Method::TwoLists => {
                format!("At least about {about} {beyond} ({range}, were the two to err independently).")
            }
            Method::LogLinear => {
                let models = format!("about {about} ({range}) if techniques depend on each other in pairs alone");
                match self.lower_bound() {
                    Some(bound) if Some(bound) > missed => {
                        format!("At least about {} {beyond}; {models}, which is too few.", blades_shown(bound))
                    }
                    Some(bound) => format!("At least about {} {beyond}; {models}.", blades_shown(bound)),
                    None => format!("At least {low} {beyond}; {models}."),
                }
            }
            Method::ByLength => format!("About {about} {beyond} ({range}){shorter}."),
        }
    }

    /// Lower bound of the missed cracks that holds where some cracks are hard to find for all; never more than can be.
    fn lower_bound(&self) -> Option<f64> {
        let bound = self.coverage.as_ref()?.bound?.missed;
        Some(self.answer.high.map_or(bound, |high| bound.min(high)))
    }

    fn taken_for_granted(&self) -> String {
        let lengths = match self.length_error_log {
            0.0 => "lengths are as measured or confirmed, without error".to_owned(),
            spread => format!(
                "lengths of found cracks are log-normal, and measured ones err by a factor of about {:.2}",
                spread.exp()
            ),
        };
        match self.answer.method {
            Method::TwoLists => {
                "Taken for granted: the two err independently, and all cracks are as easy to find. Two techniques cannot \
                 test that; where both tend to miss the same cracks, more are missed than the interval says."
            }
            Method::LogLinear => {
                "Taken for granted: techniques depend on each other in pairs at most, and alike for all cracks; where \
                 some cracks are hard to find for all, more are missed than the interval says, and only the lower bound \
                 holds. Models are averaged by AIC."
            }
            Method::ByLength => {
                return format!(
                    "Taken for granted: log-odds of finding rise evenly with the logarithm of length, and {lengths}; cracks \
                     shorter than any that was found are not counted. Where lengths err more than that, or cracks of one \
                     length differ in how easy they are to find for all, more are missed than the number says, not fewer."
                );
            }
            Method::LowerBound | Method::CannotBeTold => {
                "Taken for granted: techniques err independently on one and the same crack; where they tend to miss the \
                 same ones, more are missed."
            }
        }
        .into()
    }

    /// Estimates of the other methods, so that a reader sees how much depends on the method.
    fn other_estimates(&self) -> Vec<String> {
        let mut said = Vec::new();
        let average = |models: &super::LogLinear| models.average;
        if let Some(other) =
            self.log_linear.as_ref().and_then(average).filter(|_| self.answer.method != Method::LogLinear)
        {
            let (about, low, high) = (blades_shown(other.missed), other.low.floor(), other.high.ceil());
            said.push(format!("Log-linear models, lengths not used: about {about} ({low} to {high})."));
        }
        let is_said = matches!(self.answer.method, Method::LogLinear | Method::LowerBound);
        if let Some(bound) = self.coverage.as_ref().and_then(|coverage| coverage.bound).filter(|_| !is_said) {
            let about = blades_shown(bound.missed);
            said.push(format!("Lower bound when cracks differ in how easily they are found: about {about}."));
        }
        if let ([pair], Method::ByLength | Method::CannotBeTold) = (self.pairs.as_slice(), self.answer.method) {
            let (low, high) = pair.interval();
            let about =
                pair.missed.map_or("no estimate".to_owned(), |missed| format!("about {}", blades_shown(missed)));
            let most = high.map_or("and more".to_owned(), |high| format!("to {high}"));
            said.push(format!("As if the two erred independently, lengths not used: {about} ({low} {most})."));
        }
        said
    }
}
