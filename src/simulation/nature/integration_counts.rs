//! What happened to cracks that was not wholly by the book, counted and in words.

use crate::model::growth;
use serde::{Deserialize, Serialize};

/// Counts over cracks, whatever was asked of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub(crate) struct IntegrationCounts {
    /// Cracks on growth curves, which hold from their beginning to their end.
    pub on_curves: u64,
    /// Cracks whose growth was integrated one by one.
    pub integrated: u64,
    /// Of these, in what they left the range of their stress-intensity solution and were held at its edge.
    pub too_narrow: u64,
    pub too_flat: u64,
    pub too_deep: u64,
    pub too_long: u64,
    /// Cracks that took too many steps and were left where they were.
    pub unfinished: u64,
    pub joins: u64,
    /// Joins of cracks of a shape for which the rule is not stated.
    pub joins_outside_rule: u64,
}

impl IntegrationCounts {
    /// Adds those of other cracks.
    pub fn merge(&mut self, other: &Self) {
        self.on_curves += other.on_curves;
        self.integrated += other.integrated;
        self.too_narrow += other.too_narrow;
        self.too_flat += other.too_flat;
        self.too_deep += other.too_deep;
        self.too_long += other.too_long;
        self.unfinished += other.unfinished;
        self.joins += other.joins;
        self.joins_outside_rule += other.joins_outside_rule;
    }

    /// Adds a crack whose growth was integrated.
    pub fn add_integrated(&mut self, notes: growth::Notes) {
        self.integrated += 1;
        self.too_narrow += u64::from(notes.outside.narrow);
        self.too_flat += u64::from(notes.outside.flat);
        self.too_deep += u64::from(notes.outside.depth);
        self.too_long += u64::from(notes.outside.length);
        self.unfinished += u64::from(notes.unfinished);
    }

    /// What has to be said, a sentence for each thing that happened, with the side to which it errs.
    pub fn sentences(&self) -> Vec<String> {
        let cracks = self.on_curves + self.integrated;
        let say = |count: u64, of: u64, noun: &str, what: &str| {
            (count > 0).then(|| {
                let percent = two_figures(100.0 * count as f64 / of as f64);
                format!("{} of {} {noun} {what} ({percent} %).", thousands(count as f64), thousands(of as f64))
            })
        };
        let of_cracks = |count, what| say(count, cracks, "cracks", what);
        [
            of_cracks(
                self.too_long,
                "grew longer than half the width of their section, where the published stress intensity ends: at the \
                 deepest point they go over to an edge crack in proportion to their length, and at the surface they are \
                 held as at half the width, which is on the unsafe side",
            ),
            of_cracks(
                self.too_deep,
                "grew deeper than the published stress intensity reaches and were held at its edge, which is on the \
                 unsafe side",
            ),
            of_cracks(
                self.too_flat,
                "were corner cracks flatter than 0.2, where the published stress intensity ends, and were held at that, \
                 which is on the unsafe side",
            ),
            of_cracks(
                self.too_narrow,
                "were deeper than their length (twice their length at a corner), where the published stress intensity \
                 ends, and were taken as that long, which is on the safe side",
            ),
            of_cracks(
                self.unfinished,
                "took too many steps, were left where they were and count as never lost, which is on the unsafe side",
            ),
            say(
                self.joins_outside_rule,
                self.joins,
                "joins",
                "were of cracks of a shape for which the rule is not stated; to which side that errs is not known",
            ),
        ]
        .into_iter()
        .flatten()
        .collect()
    }
}

/// A number in two figures; a small one as such, never as zero.
pub fn two_figures(x: f64) -> String {
    if x == 0.0 || x >= 0.01 { format!("{x:.2}") } else { format!("{x:.1e}") }
}

/// A whole number with commas between thousands.
pub(crate) fn thousands(x: f64) -> String {
    let digits = format!("{x:.0}");
    let mut text = String::new();
    for (index, digit) in digits.chars().enumerate() {
        if index > 0 && (digits.len() - index) % 3 == 0 {
            text.push(',');
        }
        text.push(digit);
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::fracture::Outside;

    #[test]
    fn numbers_read_well() {
        assert_eq!(thousands(999.0), "999");
        assert_eq!(thousands(1_234_567.0), "1,234,567");
    }

    #[test]
    fn each_thing_that_happened_has_its_own_sentence_with_its_count_and_its_side() {
        assert!(
            IntegrationCounts { on_curves: 5, integrated: 2, joins: 1, ..IntegrationCounts::default() }
                .sentences()
                .is_empty()
        );
        let outside = |narrow, flat, depth, length| Outside { narrow, flat, depth, length };
        let mut notes =
            IntegrationCounts { on_curves: 1_996, joins: 4, joins_outside_rule: 1, ..IntegrationCounts::default() };
        for (outside, unfinished) in [
            (outside(true, false, false, false), false),
            (outside(false, true, false, false), false),
            (outside(false, false, true, true), false),
            (outside(false, false, false, true), true),
        ] {
            notes.add_integrated(growth::Notes { outside, unfinished });
        }
        let mut twice = notes;
        twice.merge(&notes);
        assert!(twice.sentences()[0].starts_with("4 of 4,000 cracks grew longer than half the width"));
        let expected = IntegrationCounts {
            on_curves: 3_992,
            integrated: 8,
            too_narrow: 2,
            too_flat: 2,
            too_deep: 2,
            too_long: 4,
            unfinished: 2,
            joins: 8,
            joins_outside_rule: 2,
        };
        assert_eq!(twice, expected);
        let starts =
            ["2 of 2,000 cracks grew longer", "1 of 2,000 cracks grew deeper", "1 of 2,000 cracks were corner"];
        let sentences = notes.sentences();
        assert_eq!(sentences.len(), 6);
        assert!(sentences[0].ends_with("(0.10 %)."), "{}", sentences[0]);
        for (sentence, start) in sentences.iter().zip(starts) {
            assert!(sentence.starts_with(start) && sentence.contains("unsafe side"), "{sentence}");
        }
        assert!(sentences[3].contains("deeper than their length") && sentences[3].contains("on the safe side"));
        assert!(sentences[4].contains("never lost") && sentences[4].ends_with("(0.05 %)."), "{}", sentences[4]);
        assert!(sentences[5].starts_with("1 of 4 joins"));
    }
}
