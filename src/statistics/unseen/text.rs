//! What was missed, in sentences.

use super::{Method, Unseen};
use crate::statistics::histories::blades_shown;
use crate::statistics::paired::p_value;

impl Unseen {
    /// How many more cracked blades there may be, what that takes for granted, and what other methods say.
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
        let percent = 100.0 * self.level;
        let found = self.found;
        let shorter = match self.answer.mostly_shorter_mm {
            Some(mm) => format!(", mostly shorter than {mm:.1} mm"),
            None => String::new(),
        };
        let (about, low) = (blades_shown(self.answer.unseen), self.answer.low);
        match (self.answer.method, self.answer.high) {
            (Method::LowerBound, _) if self.answer.unseen == 0.0 => {
                format!(
                    "No estimate could be made of what all missed; nothing shows more cracked blades than the {found} found."
                )
            }
            (Method::LowerBound, _) => {
                format!("At least about {about} more cracked blades than the {found} found; no estimate could be made.")
            }
            (_, Some(high)) => {
                format!(
                    "About {about} more cracked blades ({percent} %: {low} to {high}) than the {found} found{shorter}."
                )
            }
            (_, None) => format!(
                "About {about} more cracked blades than the {found} found, at least {low} ({percent} %): with no blade found \
                 by both there is no upper bound."
            ),
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
                 test that; where both tend to miss the same cracks, more are unseen."
            }
            Method::LogLinear => {
                "Taken for granted: techniques depend on each other in pairs at most, and alike for all cracks; where \
                 some cracks are hard to find for all, more are unseen. Models are averaged by AIC."
            }
            Method::ByLength => {
                return format!(
                    "Taken for granted: log-odds of finding rise evenly with the logarithm of length, and {lengths}; cracks \
                     shorter than any that was found are not counted."
                );
            }
            Method::LowerBound => "Taken for granted: techniques err independently on one and the same crack.",
        }
        .into()
    }

    /// The methods beside the answer's own, so that a reader sees how much hangs on the method.
    fn other_estimates(&self) -> Vec<String> {
        let mut said = Vec::new();
        let average = |models: &super::LogLinear| models.average;
        if let Some(other) =
            self.log_linear.as_ref().and_then(average).filter(|_| self.answer.method != Method::LogLinear)
        {
            let (about, low, high) = (blades_shown(other.unseen), other.low.floor(), other.high.ceil());
            said.push(format!("Log-linear models, lengths not used: about {about} ({low} to {high})."));
        }
        if let Some(bound) = self.coverage.as_ref().and_then(|coverage| coverage.bound) {
            let about = blades_shown(bound.unseen);
            said.push(format!("Lower bound when cracks differ in how easily they are found: about {about}."));
        }
        if self.techniques.len() == 2 && self.answer.method != Method::TwoLists {
            let pair = &self.pairs[0];
            said.push(format!(
                "As if the two erred independently, lengths not used: about {}.",
                blades_shown(pair.unseen)
            ));
        }
        said
    }
}
