//! Missed cracks in sentences.

use super::{Method, MissedCracks};
use crate::statistics::capture_histories::blades_shown;
use crate::statistics::paired::p_value;

impl MissedCracks {
    /// Range of missed cracked blades that the methods together leave, and what the first method takes for granted.
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
            Method::CannotBeTold if high == Some(self.confirmed_missed as f64) => {
                format!("{low} {beyond}: all that none called are confirmed to be cracked.")
            }
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
            Method::LogLinear | Method::ByLength => {
                let (least, most) = self.range;
                let between = match most {
                    Some(most) => format!("Between {least} and {most} {beyond}"),
                    None => format!("At least {least} {beyond}, with no upper end"),
                };
                let by = match self.methods.len() {
                    1 => format!("{percent} %"),
                    _ => format!("what the methods leave together, each at {percent} %"),
                };
                let bound = self.methods.iter().find(|other| other.method == Method::LowerBound);
                let by_method = if method == Method::ByLength { "by length" } else { "by log-linear models" };
                let at_least = match (bound.and_then(|bound| bound.missed), missed) {
                    (Some(bound), Some(missed)) => {
                        // No more than the blades that none called, where these were counted.
                        let bound = if self.called_by_none > 0 { bound.min(self.called_by_none as f64) } else { bound };
                        let then = if bound > missed {
                            format!(", and {about} {by_method} is too few")
                        } else {
                            String::new()
                        };
                        format!(
                            " If some are hard to find for all, at least about {} were missed{then}.",
                            blades_shown(bound)
                        )
                    }
                    _ => String::new(),
                };
                format!("{between} ({by}){shorter}.{at_least}")
            }
        }
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
                "Log-linear models take for granted that techniques depend on each other in pairs at most, and alike for all \
                 cracks; where some cracks are hard to find for all, more are missed than their interval says, and only \
                 the lower bound holds."
            }
            Method::ByLength => {
                return format!(
                    "The number by length takes for granted that log-odds of finding rise evenly with the logarithm of length, \
                     and that {lengths}; cracks shorter than any that was found are not counted. Where lengths err more \
                     than that, or cracks of one length differ in how easy they are to find for all, more are missed than \
                     it says, not fewer."
                );
            }
            Method::LowerBound | Method::CannotBeTold => {
                "Taken for granted: techniques err independently on one and the same crack; where they tend to miss the \
                 same ones, more are missed."
            }
        }
        .into()
    }
}
