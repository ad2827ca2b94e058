//! Results in sentences.

use super::chances::{PREVALENCE, chance};
use super::classes::{GoodnessMethod, Interval, LatentClasses};
use super::fit::Top;
use crate::statistics::bound::one_sided;
use crate::statistics::capture_histories::{CaptureHistories, blades_shown, counted};
use crate::statistics::paired::p_value;

/// Probability of the calls under the fit below which they speak against it.
const POOR: f64 = 0.05;

impl LatentClasses {
    /// Cracked and missed blades, the assumptions behind the numbers, and whether the calls support them.
    ///
    /// What speaks against the fit comes before its numbers.
    pub fn sentences(&self) -> Vec<String> {
        let percent = 100.0 * self.level;
        let of = |number: &Interval| {
            format!("{} ({percent} %: {} to {})", blades_shown(number.value), number.low, number.high)
        };
        let numbers = format!(
            "{} of {} blades are cracked; of the {} that none called, about {}.",
            of(&self.cracked),
            self.blades,
            self.called_by_none,
            of(&self.cracked_called_by_none)
        );
        let (fit, truth) = (self.fit_in_words(), self.truth_in_words());
        let contradicting = self.confirmed.filter(|confirmed| confirmed.contradicts);
        let mut said = Vec::new();
        if self.is_contradicted() {
            let least = contradicting
                .map_or(String::new(), |confirmed| format!(": at least the {} that are confirmed", confirmed.cracked));
            said.push(format!(
                "How many blades are cracked, and how many were missed, these calls do not tell{least}."
            ));
            said.extend(truth);
            said.push(fit);
            said.push(format!("What the fit has, not to be relied on: about {numbers}"));
            said.push(self.taken_for_granted());
        } else {
            said.extend([format!("About {numbers}"), self.taken_for_granted(), fit]);
            said.extend(truth);
            said.extend(self.sensitivity_in_words());
        }
        said.extend(self.pairs_in_words());
        said
    }

    /// Whether blades of known truth, or the calls themselves, speak against the fit: its numbers are not to be relied on.
    pub fn is_contradicted(&self) -> bool {
        self.confirmed.is_some_and(|confirmed| confirmed.contradicts) || self.goodness.p.is_some_and(|p| p < POOR)
    }

    fn taken_for_granted(&self) -> String {
        let but = if self.dependent_pairs.is_empty() {
            String::new()
        } else {
            let pairs: Vec<String> =
                self.dependent_pairs.iter().map(|pair| format!("{} with {}", pair.first, pair.second)).collect();
            format!(", but for dependent pairs ({})", pairs.join("; "))
        };
        format!(
            "Taken for granted: techniques err independently on cracked blades, and on sound ones{but}. Where they miss the \
             same cracks beyond that, as small ones, detection is overstated and the number missed understated."
        )
    }

    fn fit_in_words(&self) -> String {
        let goodness = &self.goodness;
        let (g2, free) = (goodness.g2, goodness.degrees_of_freedom);
        if free == 0 {
            return "Nothing is left to check this by: there are as many unknown chances as independent numbers."
                .into();
        }
        let degrees = counted(free as u64, "degree of freedom", "degrees of freedom");
        let how = match goodness.method {
            GoodnessMethod::None => {
                return format!("Fit: G2 {g2:.1}, {degrees}; counts are too small for a p without simulation.");
            }
            GoodnessMethod::ChiSquare => "chi-square".to_owned(),
            GoodnessMethod::Simulated => format!("{} simulated campaigns", goodness.simulated),
        };
        let p = goodness.p.unwrap_or(f64::NAN);
        let verdict = if p < POOR {
            "the calls are not such as this model gives, and its numbers are not to be relied on"
        } else {
            "the calls do not speak against it, which does not show that it is true"
        };
        format!("Fit: G2 {g2:.1}, {degrees}, p {} ({how}): {verdict}.", p_value(p))
    }

    /// Known truth beside the fit, which does not use it.
    fn truth_in_words(&self) -> Option<String> {
        let confirmed = self.confirmed.as_ref()?;
        let beside = format!(
            "Known truth, not used: {} confirmed to be cracked (by the fit {}), {} to be sound (by the fit {})",
            counted(confirmed.cracked, "blade is", "blades are"),
            blades_shown(confirmed.cracked_by_fit),
            confirmed.sound,
            blades_shown(confirmed.sound_by_fit)
        );
        let verdict = match confirmed.contradicts {
            false => "which do not speak against it",
            true if confirmed.excess() > 0.0 => {
                "more cracked blades than the fit can have: it takes cracks that most techniques miss for false calls, \
                 overstates detection, and its numbers are not to be relied on"
            }
            true => "fewer cracked blades than the fit can have: its numbers are not to be relied on",
        };
        Some(format!("{beside}: {verdict}."))
    }

    /// Pairs that agree more, or less, than the fit accounts for.
    fn pairs_in_words(&self) -> Option<String> {
        /// Standard errors from which on a residual is named.
        const TELLING: f64 = 2.0;
        let telling: Vec<String> = self
            .pairs
            .iter()
            .filter(|pair| pair.standard_error.is_some_and(|error| pair.residual.abs() > TELLING * error))
            .map(|pair| {
                let word = if pair.residual > 0.0 { "more" } else { "less" };
                format!("{} and {} agree {word} (correlation {:+.2})", pair.first, pair.second, pair.residual)
            })
            .collect();
        (!telling.is_empty())
            .then(|| format!("Than the fit accounts for, {}: they may be dependent.", telling.join(", ")))
    }

    fn sensitivity_in_words(&self) -> Option<String> {
        let mut ratios: Vec<f64> = self.sensitivity.iter().map(|one| one.odds_ratio).collect();
        ratios.sort_by(f64::total_cmp);
        ratios.dedup();
        let range = |ratio: &f64| {
            let of = self.sensitivity.iter().filter(|one| one.odds_ratio == *ratio);
            let (least, most) = of.fold((f64::INFINITY, 0.0), |(least, most), one| {
                (f64::min(least, one.cracked_called_by_none), f64::max(most, one.cracked_called_by_none))
            });
            let (least, most) = (blades_shown(least), blades_shown(most));
            let range = if least == most { least } else { format!("{least} to {most}") };
            format!("{range} at an odds ratio of {ratio}")
        };
        let ranges: Vec<String> = ratios.iter().map(range).collect();
        (!ranges.is_empty()).then(|| {
            format!(
                "Were one more pair dependent on cracked blades, the number missed by all would be {}, by the pair.",
                ranges.join(", ")
            )
        })
    }
}

/// Notes on the numbers.
pub(super) fn notes(found: &LatentClasses, histories: &CaptureHistories, tops: &[Top]) -> Vec<String> {
    let mut notes = histories.notes().to_vec();
    if found.incomplete > 0 {
        notes.push(format!(
            "{} not looked at by all. That is right where the calls of the techniques named decided who looked: name those \
             techniques too.",
            counted(found.incomplete, "blade was", "blades were")
        ));
    }
    for technique in &found.techniques {
        let name = &technique.technique;
        if technique.detection.value < technique.false_calls.value {
            notes.push(format!("{name} calls sound blades more often than cracked ones."));
        }
        for (chance, word) in [(&technique.detection, "detection"), (&technique.false_calls, "chance of false calls")] {
            if chance.at_edge {
                let edge = if chance.value < 0.5 { 0 } else { 1 };
                notes.push(format!("The {word} of {name} is estimated at {edge}, which is one end of its interval."));
            }
        }
    }
    let near = tops.get(1).map(|other| (other, 2.0 * (tops[0].value - other.value)));
    if let Some((other, _)) = near.filter(|(_, deviance)| *deviance < one_sided(0.5 + 0.5 * found.level)) {
        notes.push(format!(
            "Another answer, with {:.1} % of blades cracked, fits almost as well; the intervals do not reach it.",
            100.0 * chance(other.theta[PREVALENCE])
        ));
    }
    notes
}
