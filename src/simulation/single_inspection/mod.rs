//! One inspection of a row, simulated: every crack that is there, and what each technique says of it.
//!
//! What nobody has in a real outage: the truth beside the calls. From it come invented records to try the
//! fits on, and pictures of what a technique is up against.

mod records;

pub use records::Confirmed;

use super::life::Lives;
use super::parallel::ask_while;
use super::plan::RowPlan;
use super::row_batch::RowBatch;
use crate::error::{Error, Kind, Result};
use crate::model::Study;
use crate::model::fleet::{HotSpot, Place};
use crate::random::Key;
use std::ops::ControlFlow;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

/// Which row is inspected by what, how often.
#[derive(Debug, Clone, PartialEq)]
pub struct Inspection {
    /// Id of the row.
    pub row: String,
    /// Ids of the techniques; each looks at every blade.
    pub techniques: Vec<String>,
    /// Lives of the row.
    pub lives: u64,
    /// Seed.
    pub seed: u64,
}

/// A crack, or a clean blade that some technique called.
#[derive(Debug, Clone, PartialEq)]
pub struct Inspected {
    /// Life, from 0.
    pub life: u64,
    /// Blade, from 1.
    pub blade: u32,
    /// Depth in mm; not-a-number for a clean blade.
    pub depth_mm: f64,
    /// Surface length in mm; not-a-number for a clean blade.
    pub length_mm: f64,
    /// Where the crack is; `None` for a clean blade.
    pub place: Option<Place>,
    /// Whether the crack's mouth is closed.
    pub mouth_is_closed: bool,
    /// For each technique the length that it reports, in mm; not-a-number where it does not call.
    pub measured_mm: Vec<f64>,
}

impl Inspection {
    /// Most lives: every crack of each is kept.
    pub const MOST_LIVES: u64 = 1_000_000;
}

impl Study {
    /// Inspects a row at its first outage from the study's start on, in many lives.
    ///
    /// There is one [`Inspected`] for each crack, and one for each clean blade that is called. Cracks of one
    /// blade are each called on their own.
    ///
    /// # Errors
    /// Refuses names that are not in the study, no lives or too many, and a row without an outage before the study ends.
    ///
    /// # Example
    /// ```
    /// use serrata::Study;
    /// use serrata::simulation::Inspection;
    ///
    /// let study = Study::load("demo-data/reference-study.toml")?;
    /// let inspection =
    ///     Inspection { row: "south-b".to_owned(), techniques: vec!["bench-mt".to_owned()], lives: 3, seed: 1 };
    /// let inspected = study.inspect(&inspection)?;
    /// assert!(inspected.iter().all(|crack| crack.measured_mm.len() == 1));
    /// # Ok::<(), serrata::Error>(())
    /// ```
    pub fn inspect(&self, inspection: &Inspection) -> Result<Vec<Inspected>> {
        self.inspect_with(inspection, &mut |_| ControlFlow::Continue(()))
    }

    /// As [`Study::inspect`]; from time to time `ask` is told how many lives are done and may stop the work.
    ///
    /// # Errors
    /// As [`Study::inspect`], and when the work was stopped.
    pub fn inspect_with(
        &self,
        inspection: &Inspection,
        ask: &mut dyn FnMut(u64) -> ControlFlow<()>,
    ) -> Result<Vec<Inspected>> {
        let asked = self.asked(inspection)?;
        self.inspect_as(inspection, &asked, ask)
    }

    fn inspect_as(
        &self,
        inspection: &Inspection,
        asked: &Asked,
        ask: &mut dyn FnMut(u64) -> ControlFlow<()>,
    ) -> Result<Vec<Inspected>> {
        let spots = &self.roots[self.rows[asked.row].root].hot_spots;
        let (stop, done) = (AtomicBool::new(false), AtomicU64::new(0));
        let work = || {
            let mut lived = Lives::new(&asked.plan, self);
            let mut lines = Vec::new();
            let key = Key::from_seed(inspection.seed).child(asked.plan.nature.name);
            for life in 0..inspection.lives {
                if stop.load(Ordering::Relaxed) {
                    return Err(Error {
                        kind: Kind::Interrupted { done: life, wanted: inspection.lives, of: "lives" },
                    });
                }
                let came_through = lived.begin(std::iter::once(key.child(life)));
                came_through.ok_or_else(|| Error::never_comes_through(&inspection.row))?;
                look_at(lived.batch(), asked, spots, life, &mut lines);
                done.fetch_add(1, Ordering::Relaxed);
            }
            Ok(lines)
        };
        ask_while(work, &stop, &done, ask)
    }

    /// Finds what an inspection names, and the outage it takes place at.
    fn asked(&self, inspection: &Inspection) -> Result<Asked> {
        let row = named("row", &inspection.row, "in the study", self.rows.iter().map(|row| row.id.as_str()))?;
        let known = || self.techniques.iter().map(|technique| technique.id.as_str());
        let techniques: Vec<usize> = inspection
            .techniques
            .iter()
            .map(|id| named("technique", id, "in the study", known()))
            .collect::<Result<_>>()?;
        if !(1..=Inspection::MOST_LIVES).contains(&inspection.lives) {
            let rule = format!("must be from 1 to {}", Inspection::MOST_LIVES);
            return Err(Error::argument("lives", inspection.lives, &rule, "100 lives show what a row is up against"));
        }
        let plan = RowPlan::with_techniques(self, &self.rows[row], &techniques)?;
        let nature = &plan.nature;
        let mut outages = nature.calendar.start..nature.calendar.len();
        let outage = outages.find(|&outage| nature.calendar.years[outage] <= nature.end_year);
        let outage = outage.ok_or_else(|| {
            Error::argument(
                "row",
                &inspection.row,
                "must have an outage between the start and the end of the study",
                "add one to the calendar of its unit",
            )
        })?;
        Ok(Asked { row, techniques, plan, outage })
    }
}

/// An inspection whose names have been found.
struct Asked {
    row: usize,
    techniques: Vec<usize>,
    plan: RowPlan,
    /// Place of the outage in the row's calendar.
    outage: usize,
}

fn look_at(batch: &RowBatch<'_>, asked: &Asked, spots: &[HotSpot], life: u64, lines: &mut Vec<Inspected>) {
    let RowBatch { nature, inspections } = batch;
    let Asked { techniques, outage, .. } = asked;
    let outage = *outage;
    let mut cracked = Vec::new();
    for crack in nature.cracks[nature.first_cracks(0)].iter().filter(|crack| crack.is_present(outage)) {
        cracked.push(crack.blade);
        let measured = techniques.iter().map(|&technique| {
            let is_called = inspections.calls(crack, technique, outage);
            if is_called { inspections.measured_mm(nature, crack, technique, outage) } else { f64::NAN }
        });
        let measured_mm = measured.collect();
        let [depth_mm, length_mm] = nature.size_mm(crack, outage);
        let place = Some(spots[crack.hot_spot()].place(crack.origin));
        let mouth_is_closed = nature.mouth_is_closed(crack, outage);
        lines.push(Inspected {
            life,
            blade: crack.blade + 1,
            depth_mm,
            length_mm,
            place,
            mouth_is_closed,
            measured_mm,
        });
    }
    let mut clean: Vec<Inspected> = Vec::new();
    for (place, &technique) in techniques.iter().enumerate() {
        let false_calls = inspections.false_calls(technique).of(0).iter().filter(|call| call.outage as usize == outage);
        for blade in false_calls.map(|call| call.blade).filter(|blade| !cracked.contains(blade)) {
            let length_mm = inspections.false_length_mm(nature, 0, blade, technique, outage);
            let known = clean.iter().position(|line| line.blade == blade + 1).unwrap_or_else(|| {
                let measured_mm = vec![f64::NAN; techniques.len()];
                clean.push(Inspected {
                    life,
                    blade: blade + 1,
                    depth_mm: f64::NAN,
                    length_mm: f64::NAN,
                    place: None,
                    mouth_is_closed: false,
                    measured_mm,
                });
                clean.len() - 1
            });
            clean[known].measured_mm[place] = length_mm;
        }
    }
    lines.append(&mut clean);
}

/// Place of an id among those known; `what` it is of, and `among` which.
pub(super) fn named<'s>(
    what: &str,
    id: &str,
    among: &str,
    known: impl Iterator<Item = &'s str> + Clone,
) -> Result<usize> {
    known.clone().position(|other| other == id).ok_or_else(|| {
        let known = known.collect::<Vec<_>>().join(", ");
        Error::argument(what, id, &format!("there is no such {what} {among}"), &format!("choose one of {known}"))
    })
}
