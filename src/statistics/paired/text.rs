//! Results of the comparison in sentences.

use super::{Overlap, Pair};
use crate::statistics::capture_histories::counted;

impl Overlap {
    /// Finds of each technique, and whether the techniques differ, in sentences.
    pub fn sentences(&self) -> Vec<String> {
        let names = listed(self.techniques.iter().map(|technique| technique.technique.as_str()));
        let mut said = vec![match self.blades {
            0 => format!("No blade was looked at by all of {names}: pairs alone can be told."),
            blades => format!(
                "{} by at least one of {names}; none of them called {} of the {blades} blades that all looked at.",
                counted(self.found_by_any, "cracked blade was found", "cracked blades were found"),
                self.found_by_none,
            ),
        }];
        let told: Vec<&Pair> = self.pairs.iter().filter(|pair| pair.blades > 0).collect();
        for pair in &told {
            said.push(pair.sentence());
        }
        if let (Some(cochran), true) = (&self.cochran, self.techniques.len() > 2) {
            said.push(format!(
                "All together: Cochran's Q {:.2}, {} degrees of freedom, p {}{}.",
                cochran.q,
                cochran.degrees_of_freedom,
                p_value(cochran.p),
                if cochran.few { " (too few blades tell them apart for this approximation)" } else { "" }
            ));
        }
        if self.techniques.len() > 2 && self.found_by_any > 0 {
            let most = told.iter().map(|pair| self.found_by_either(pair)).max().unwrap_or(0);
            let best = told.iter().filter(|pair| self.found_by_either(pair) == most);
            let named: Vec<String> = best.map(|pair| format!("{} with {}", pair.first, pair.second)).collect();
            said.push(format!(
                "The two that found most together: {} ({most} of {}).",
                named.join(", or "),
                self.found_by_any
            ));
        }
        said
    }

    /// Finds of two techniques on the blades that all looked at, where they are as comparable as can be.
    fn found_by_either(&self, pair: &Pair) -> u64 {
        let either = |found_by: &[String]| found_by.contains(&pair.first) || found_by.contains(&pair.second);
        self.patterns.iter().filter(|pattern| either(&pattern.found_by)).map(|pattern| pattern.blades).sum()
    }
}

impl Pair {
    /// Finds of both, whether they differ by more than chance, and the gain of using both.
    fn sentence(&self) -> String {
        let apart = match (self.only_first + self.only_second, self.p_holm < 0.05) {
            (0, _) => "no blade tells them apart".into(),
            (_, true) => format!("they differ by more than chance (p {}, all pairs allowed for)", p_value(self.p_holm)),
            (_, false) => format!(
                "the difference may be chance (p {}, all pairs allowed for), which does not show that they find alike",
                p_value(self.p_holm)
            ),
        };
        format!(
            "{} alone {}, {} alone {}, both {}: {apart}; together they found {} more than {} by itself.",
            self.first,
            self.only_first,
            self.second,
            self.only_second,
            self.both,
            self.only_first.min(self.only_second),
            self.better
        )
    }
}

/// Names with commas, and `and` before the last.
fn listed<'n>(names: impl Iterator<Item = &'n str>) -> String {
    let names: Vec<&str> = names.collect();
    match names.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} and {last}", rest.join(", ")),
        _ => names.concat(),
    }
}

/// A probability as people write it: two figures, small ones as a limit.
pub(in crate::statistics) fn p_value(p: f64) -> String {
    if p < 1e-4 {
        "below 0.0001".into()
    } else if p < 0.01 {
        format!("{p:.4}")
    } else {
        format!("{p:.2}")
    }
}
