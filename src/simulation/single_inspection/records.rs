//! A simulated inspection written as inspection records: what the reader of records takes.

use super::{Inspected, Inspection};
use crate::error::{Error, Result};
use crate::model::Study;
use crate::model::fleet::Place;
use crate::statistics::records::{ACCESS, GRADES, SIDES, word};
use std::collections::BTreeMap;
use std::ops::ControlFlow;

/// What the records confirm by other means: whether a blade or place is cracked, and true sizes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Confirmed {
    /// Every blade, as on a trial with blades that are cut up.
    Every,
    /// Those that some technique called, as after an outage.
    Called,
}

/// Most lines that are written, but for places beyond one of a blade: some hundred megabytes.
const MOST_LINES: u64 = 2_000_000;

const HEADER: &str = "row,blade,inspection,year,technique,grade,surface,access,called,measured_length_mm,cracked,\
                      confirmed_length_mm,confirmed_depth_mm,side,serration,position\n";

impl Study {
    /// Inspects a row as [`Study::inspect`] does, and writes what every technique answered on every blade: a CSV file
    /// that [`Records`](crate::statistics::records::Records) reads.
    ///
    /// Each life is an inspection of its own. A blade with cracks has a line for each place that is cracked, and what
    /// several cracks of one place answer is the answer of that place: called if one of them is, its size the longest.
    /// Any other blade has one line for itself.
    ///
    /// # Errors
    /// As [`Study::inspect`]; refuses lives that make more than two million lines.
    ///
    /// # Example
    /// ```
    /// use serrata::Study;
    /// use serrata::simulation::{Confirmed, Inspection};
    /// use serrata::statistics::records::{Format, Records};
    ///
    /// let study = Study::load("demo-data/reference-study.toml")?;
    /// let inspection =
    ///     Inspection { row: "south-b".to_owned(), techniques: vec!["bench-mt".to_owned()], lives: 3, seed: 1 };
    /// let text = study.inspection_records(&inspection, Confirmed::Called)?;
    /// let records = Records::parse(&text, "a simulated outage", &Format::default())?;
    /// assert_eq!(records.techniques(), ["bench-mt"]);
    /// # Ok::<(), serrata::Error>(())
    /// ```
    pub fn inspection_records(&self, inspection: &Inspection, confirmed: Confirmed) -> Result<String> {
        self.inspection_records_with(inspection, confirmed, &mut |_| ControlFlow::Continue(()))
    }

    /// As [`Study::inspection_records`]; from time to time `ask` is told how many lives are done and may stop the work.
    ///
    /// # Errors
    /// As [`Study::inspect`], and when the work was stopped.
    pub fn inspection_records_with(
        &self,
        inspection: &Inspection,
        confirmed: Confirmed,
        ask: &mut dyn FnMut(u64) -> ControlFlow<()>,
    ) -> Result<String> {
        let asked = self.asked(inspection)?;
        let row = &self.rows[asked.row];
        let lines_a_life = u64::from(row.blades) * asked.techniques.len() as u64;
        if inspection.lives * lines_a_life > MOST_LINES {
            let rule = format!("makes {lines_a_life} lines each; there may be at most {MOST_LINES} in all");
            return Err(Error::argument("lives", inspection.lives, &rule, "ask for fewer lives at a time"));
        }
        let mut answers: BTreeMap<(u64, u32), Vec<Inspected>> = BTreeMap::new();
        for line in self.inspect_as(inspection, &asked, ask)? {
            answers.entry((line.life, line.blade)).or_default().push(line);
        }
        let mut text = HEADER.to_owned();
        for life in 0..inspection.lives {
            for (look, &technique) in asked.techniques.iter().enumerate() {
                let technique = &self.techniques[technique];
                let start = |blade: u32| {
                    format!(
                        "{},{blade:03},life {},{},{},{},{},{}",
                        quoted(&row.id),
                        life + 1,
                        asked.plan.nature.calendar.years[asked.outage],
                        quoted(&technique.id),
                        word(&GRADES, technique.grade),
                        quoted(&self.surfaces[row.surface].id),
                        word(&ACCESS, technique.access),
                    )
                };
                for blade in 1..=row.blades {
                    for found in places(answers.get(&(life, blade)).map_or(&[], Vec::as_slice)) {
                        text.push_str(&format!("{}{}\n", start(blade), found.cells(look, confirmed)));
                    }
                }
            }
        }
        Ok(text)
    }
}

/// A cracked place, or a blade without cracks: lengths are not-a-number where there is none.
struct Found {
    place: Option<Place>,
    depth_mm: f64,
    length_mm: f64,
    measured_mm: Vec<f64>,
}

/// The cracked places of a blade, or the blade itself.
fn places(cracks: &[Inspected]) -> Vec<Found> {
    let mut places: Vec<Found> = Vec::new();
    for crack in cracks {
        match places.iter_mut().find(|known| known.place == crack.place) {
            Some(known) => known.add(crack),
            None => places.push(Found {
                place: crack.place,
                depth_mm: crack.depth_mm,
                length_mm: crack.length_mm,
                measured_mm: crack.measured_mm.clone(),
            }),
        }
    }
    if places.is_empty() {
        let nothing = f64::NAN;
        places.push(Found { place: None, depth_mm: nothing, length_mm: nothing, measured_mm: Vec::new() });
    }
    places
}

impl Found {
    fn add(&mut self, crack: &Inspected) {
        if crack.length_mm > self.length_mm {
            (self.depth_mm, self.length_mm) = (crack.depth_mm, crack.length_mm);
        }
        for (known, other) in self.measured_mm.iter_mut().zip(&crack.measured_mm) {
            // The larger, of two; of a number and not-a-number, the number.
            *known = known.max(*other);
        }
    }

    /// The cells from `called` on, for one of the techniques.
    fn cells(&self, look: usize, confirmed: Confirmed) -> String {
        let measured_mm = self.measured_mm.get(look).copied().unwrap_or(f64::NAN);
        let is_known = confirmed == Confirmed::Every || self.measured_mm.iter().any(|size| !size.is_nan());
        let mm = |size: f64| if size.is_nan() { String::new() } else { format!("{size:.4}") };
        let yes = |yes: bool| if yes { "yes" } else { "no" };
        let (cracked, depth_mm, length_mm) = match is_known {
            true => (yes(self.place.is_some()), mm(self.depth_mm), mm(self.length_mm)),
            false => ("", String::new(), String::new()),
        };
        let place = self.place.map_or(",,".to_owned(), |place| {
            format!("{},{},{}", word(&SIDES, place.side), place.serration, place.position)
        });
        let called = yes(!measured_mm.is_nan());
        format!(",{called},{},{cracked},{length_mm},{depth_mm},{place}", mm(measured_mm))
    }
}

/// A name as a cell.
fn quoted(name: &str) -> String {
    match name.contains([',', '"', '\n', '\r']) {
        true => format!("\"{}\"", name.replace('"', "\"\"")),
        false => name.to_owned(),
    }
}
