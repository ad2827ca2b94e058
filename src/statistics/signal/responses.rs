//! The signals that a fit is made from.

use crate::bounds;
use crate::error::{Error, Result};
use crate::model::detection::SizeMeasure;
use crate::statistics::censored::Reading;
use crate::statistics::records::Records;
use crate::statistics::sizes::{NO_SIZE, Sizes, count_unused};

/// The signal, or its logarithm.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Scale {
    /// Natural logarithm of the signal.
    #[default]
    Log,
    /// The signal in its own unit.
    Plain,
}

impl Scale {
    /// The signal on the scale of the fit.
    pub fn of(self, signal: f64) -> f64 {
        match self {
            Scale::Log => signal.ln(),
            Scale::Plain => signal,
        }
    }

    /// Words for reports.
    pub fn words(self) -> &'static str {
        match self {
            Scale::Log => "log signal",
            Scale::Plain => "signal",
        }
    }
}

/// Signals at cracks and at sound places.
#[derive(Debug, Clone, PartialEq)]
pub struct Responses {
    pub(super) measure: SizeMeasure,
    /// Size in mm and signal.
    pub(super) cracked: Vec<(f64, Reading)>,
    /// Signals at places free of cracks.
    pub(super) sound: Vec<Reading>,
    /// Signals at or below it are lost in the noise.
    pub(super) floor: Option<f64>,
    /// Signals at or above it are cut off.
    pub(super) saturation: Option<f64>,
    from: String,
    unused: Vec<(String, usize)>,
}

impl Responses {
    /// Takes sizes in mm, 0 for a place free of cracks, each with its signal.
    ///
    /// Signals at or below `floor` are taken as lost in the noise: no more is known of them than that. Signals at or
    /// above `saturation` are likewise taken as cut off.
    ///
    /// # Errors
    /// Refuses a size that is neither 0 nor a length, a signal that is not finite, and a floor that is not below
    /// saturation.
    pub fn new(
        measure: SizeMeasure,
        responses: &[(f64, f64)],
        floor: Option<f64>,
        saturation: Option<f64>,
    ) -> Result<Responses> {
        for (name, limit) in [("floor", floor), ("saturation", saturation)] {
            if let Some(limit) = limit.filter(|limit| !limit.is_finite()) {
                return Err(Error::argument(
                    name,
                    limit,
                    "must be a finite number",
                    "leave it out where there is none",
                ));
            }
        }
        if let (Some(low), Some(high)) = (floor, saturation)
            && !(low < high)
        {
            let rule = format!("must be below saturation ({high})");
            return Err(Error::argument("floor", low, &rule, "exchange the two if they are mixed up"));
        }
        let (mut cracked, mut sound) = (Vec::new(), Vec::new());
        for (index, (size_mm, signal)) in responses.iter().enumerate() {
            if !signal.is_finite() {
                let name = format!("signal of look {}", index + 1);
                return Err(Error::argument(
                    &name,
                    signal,
                    "must be a finite number",
                    "leave out looks without a signal",
                ));
            }
            let reading = match (floor, saturation) {
                (Some(floor), _) if *signal <= floor => Reading::Below(floor),
                (_, Some(saturation)) if *signal >= saturation => Reading::Above(saturation),
                _ => Reading::Exact(*signal),
            };
            if *size_mm == 0.0 {
                sound.push(reading);
            } else {
                bounds::LENGTH_MM.check(&format!("size_mm of look {}", index + 1), *size_mm)?;
                cracked.push((*size_mm, reading));
            }
        }
        Ok(Responses { measure, cracked, sound, floor, saturation, from: String::new(), unused: Vec::new() })
    }

    /// Takes the signals of one technique out of records.
    ///
    /// A line's size is the confirmed one of its blade, place and inspection, or, with `sizes_by`, the one that this
    /// technique measured there: such sizes carry error, which is to be stated in the model. Lines whose size or signal is blank are
    /// not used, and are counted; lines known to be free of cracks tell of the noise.
    ///
    /// # Errors
    /// Refuses a technique that the records do not have; else as [`Responses::new`].
    pub fn from_records(
        records: &Records,
        technique: &str,
        measure: SizeMeasure,
        sizes_by: Option<&str>,
        floor: Option<f64>,
        saturation: Option<f64>,
    ) -> Result<Responses> {
        let sizes = Sizes::of(records, technique, measure, sizes_by)?;
        let (mut pairs, mut unused) = (Vec::new(), Vec::new());
        for line in records.of_technique(technique) {
            match (sizes.size_mm(line), line.signal) {
                (Some(size_mm), Some(signal)) => pairs.push((size_mm, signal)),
                (_, None) => count_unused(&mut unused, "signal is blank"),
                (None, _) => count_unused(&mut unused, NO_SIZE),
            }
        }
        Ok(Responses { unused, from: sizes.from, ..Responses::new(measure, &pairs, floor, saturation)? })
    }

    /// Lines that could not be used, by reason.
    pub fn unused(&self) -> &[(String, usize)] {
        &self.unused
    }

    /// The same signals, said to be from somewhere: a file, a trial, a report.
    pub fn from_source(self, source: &str) -> Responses {
        Responses { from: source.to_owned(), ..self }
    }

    /// Where the signals are from; blank when it is not known.
    pub fn source(&self) -> &str {
        &self.from
    }

    /// Size in mm and reading at each crack.
    pub fn cracked(&self) -> &[(f64, Reading)] {
        &self.cracked
    }

    /// Readings at places free of cracks.
    pub fn sound(&self) -> &[Reading] {
        &self.sound
    }

    /// Signals at cracks that lie below the floor, within, and above saturation.
    pub fn counts(&self) -> [usize; 3] {
        let count = |kind: fn(&Reading) -> bool| self.cracked.iter().filter(|(_, reading)| kind(reading)).count();
        [
            count(|reading| matches!(reading, Reading::Below(_))),
            count(|reading| matches!(reading, Reading::Exact(_))),
            count(|reading| matches!(reading, Reading::Above(_))),
        ]
    }

    /// Smallest and largest crack, in mm.
    pub fn range_mm(&self) -> (f64, f64) {
        let sizes = self.cracked.iter().map(|(size_mm, _)| *size_mm);
        (sizes.clone().fold(f64::INFINITY, f64::min), sizes.fold(0.0, f64::max))
    }
}
