//! Pasts that might have been: the looks that a study says were taken, with answers that are drawn, and the truth beside
//! them. What the study believes is held against such truths, since of a real fleet nobody knows it.

use crate::error::{Error, Result};
use crate::math::exp;
use crate::model::Study;
use crate::model::fleet::{PastLook, Row};
use crate::random::{Key, Stream};
use crate::simulation::inspection::draw;
use crate::simulation::nature::{LifeKey, purpose};
use crate::simulation::plan::RowPlan;
use crate::simulation::policy::Groups;
use crate::simulation::row_batch::RowBatch;
use crate::simulation::uncertain::fleet_key;
use crate::statistics::records::{ACCESS, GRADES, word};

/// A past that might have been.
#[derive(Debug, Clone, PartialEq)]
pub struct InventedPast {
    /// Records of its looks, as a CSV file that [`Records`](crate::statistics::records::Records) reads.
    pub records: String,
    /// Values of what is uncertain, in standard deviations of the logarithm, in the order of the study.
    pub uncertain: Vec<f64>,
    /// The truth of each row.
    pub rows: Vec<TrueRow>,
}

/// The truth of a row, which nobody knows of a real one.
#[derive(Debug, Clone, PartialEq)]
pub struct TrueRow {
    /// Row factor.
    pub row_factor: f64,
    /// Logarithm of the row's factor on growth, by hot spot.
    pub ln_growth: Vec<f64>,
    /// Shift of the inspection at each look.
    pub shifts: Vec<f64>,
    /// Blades that were called.
    pub finds: usize,
    /// Lengths of the cracks that are there when the study starts, in mm.
    pub cracks_mm: Vec<f64>,
}

/// A past in which a row loses a blade in so many attempts contradicts the fact that it runs.
const MOST_ATTEMPTS: u64 = 1000;

const HEADER: &str = "row,blade,inspection,year,technique,grade,surface,access,called,measured_length_mm\n";

impl Study {
    /// Invents a past: each row's `past_looks` take place, all blades are looked at, and those that are called are replaced.
    /// It is one of those in which no blade was lost before the study.
    ///
    /// # Errors
    /// Refuses a study without past looks, one that was given records, and one whose rows never come to its start.
    ///
    /// # Example
    /// ```
    /// use serrata::Study;
    /// use serrata::simulation::Learning;
    /// use serrata::statistics::records::{Format, Records};
    ///
    /// let study = Study::load("demo-data/demo-study.toml")?;
    /// let past = study.invented_past(3)?;
    /// let records = Records::parse(&past.records, "an invented past", &Format::default())?;
    /// assert_eq!(records.techniques(), ["mpi-standard", "penetrant", "phased-array"]);
    /// assert_eq!(past.rows.len(), 12);
    /// # Ok::<(), serrata::Error>(())
    /// ```
    pub fn invented_past(&self, seed: u64) -> Result<InventedPast> {
        if self.is_given_records() {
            return Err(Error::argument("study", &self.name, "has a past: its records", "take the study as it stands"));
        }
        // The start of the study stands in its calendar, so that sizes are known there.
        let mut parts = self.clone().into_parts();
        for unit in &mut parts.units {
            if unit.outages.years.first() != Some(&self.start_year) {
                unit.outages.years.insert(0, self.start_year);
            }
        }
        // Plans are of what is to come, and count outages from there.
        parts.strategies.iter_mut().for_each(|strategy| strategy.deferrals.clear());
        let study = Study::of_checked(parts).sharing_paths(self);
        let plans = RowPlan::all(&study)?;
        for attempt in 0..MOST_ATTEMPTS {
            let fleet = fleet_key(seed).child(attempt);
            let key = |plan: &RowPlan| Key::from_seed(seed).child(plan.nature.name).child(attempt);
            let row = |(row, plan): (&Row, &RowPlan)| {
                Past::new(&study, row, plan, LifeKey { row: key(plan), fleet, shared_draw: None }).take_place()
            };
            let pasts: Option<Vec<(String, TrueRow, Vec<f64>)>> = study.rows.iter().zip(&plans).map(row).collect();
            if let Some(pasts) = pasts {
                let uncertain = pasts.first().map_or(Vec::new(), |past| past.2.clone());
                let lines: String = pasts.iter().map(|past| past.0.as_str()).collect();
                let rows = pasts.into_iter().map(|past| past.1).collect();
                return Ok(InventedPast { records: format!("{HEADER}{lines}"), uncertain, rows });
            }
        }
        Err(Error::never_comes_through("the fleet"))
    }
}

/// The past of a row, on its way.
struct Past<'a> {
    study: &'a Study,
    row: &'a Row,
    plan: &'a RowPlan,
    batch: RowBatch<'a>,
    /// For each position how many blades were new there, and the cracks of the one that is there, as indices.
    generations: Vec<u64>,
    cracks: Vec<Vec<u32>>,
    lines: String,
    finds: usize,
}

impl<'a> Past<'a> {
    fn new(study: &'a Study, row: &'a Row, plan: &'a RowPlan, key: LifeKey) -> Self {
        let mut batch = RowBatch::new(&plan.nature, &plan.inspection);
        batch.begin(std::iter::once(key));
        let first = batch.draw(&[0]);
        let mut cracks = vec![Vec::new(); row.blades as usize];
        for index in first {
            cracks[batch.nature.cracks[index as usize].blade as usize].push(index);
        }
        let generations = vec![1 << 31; row.blades as usize];
        Past { study, row, plan, batch, generations, cracks, lines: String::new(), finds: 0 }
    }

    /// Lets all looks take place: records, truth, and what is uncertain; none if a blade is lost.
    fn take_place(mut self) -> Option<(String, TrueRow, Vec<f64>)> {
        let looks = &self.row.past_looks;
        let mut look = 0;
        while look < looks.len() {
            let together = looks[look..].iter().take_while(|other| other.year == looks[look].year).count();
            self.visit(look..look + together)?;
            look += together;
        }
        let (nature, start) = (&self.batch.nature, self.plan.nature.calendar.start);
        self.is_whole(nature.plan.start_year)?;
        let present = self.cracks.iter().flatten().map(|&index| &nature.cracks[index as usize]);
        let cracks_mm = present.filter(|crack| crack.is_present(start)).map(|crack| nature.size_mm(crack, start)[1]);
        let (row_factor, ln_growth) = nature.row_alone(0);
        let shift =
            |(number, look): (usize, &PastLook)| self.batch.inspections.shift_alone(nature, 0, look.technique, number);
        let truth = TrueRow {
            row_factor,
            ln_growth,
            shifts: looks.iter().enumerate().map(shift).collect(),
            finds: self.finds,
            cracks_mm: cracks_mm.collect(),
        };
        Some((self.lines, truth, self.batch.nature.lives[0].uncertain.clone()))
    }

    /// Whether no blade was lost before a year.
    fn is_whole(&self, year: f64) -> Option<()> {
        let lost = |index: &u32| self.batch.nature.cracks[*index as usize].lost_year < year;
        (!self.cracks.iter().flatten().any(lost)).then_some(())
    }

    /// Looks of one moment; blades that any of them calls are replaced after it.
    fn visit(&mut self, looks: std::ops::Range<usize>) -> Option<()> {
        let year = self.row.past_looks[looks.start].year;
        self.is_whole(year)?;
        let mut called = vec![false; self.row.blades as usize];
        for look in looks {
            for (blade, called) in called.iter_mut().enumerate() {
                // A blade that is renewed in the study is a later one.
                if self.installed(blade) >= year {
                    continue;
                }
                let measured_mm = self.answer(look, blade);
                *called |= measured_mm.is_some();
                self.write(look, blade, measured_mm);
            }
        }
        self.finds += called.iter().filter(|called| **called).count();
        let groups = Groups::new(self.study.roots[self.row.root].replaced_together, self.row.blades);
        let goes = |blade: &usize| groups.of(*blade as u32).any(|other| called[other as usize]);
        for blade in (0..called.len()).filter(goes) {
            if self.installed(blade) >= year {
                continue;
            }
            self.generations[blade] += 1;
            let new = self.batch.new_blade_in(0, blade as u32, self.generations[blade], year);
            self.cracks[blade] = new.collect();
        }
        Some(())
    }

    fn installed(&self, blade: usize) -> f64 {
        let of_blade = self.row.renewed.iter().filter(|renewal| renewal.blades.contains(&(blade as u32 + 1)));
        of_blade.map(|renewal| renewal.year).fold(self.row.in_service_year, f64::max)
    }

    /// The length that a look reports of a blade, in mm; none if it does not call it.
    fn answer(&self, look: usize, blade: usize) -> Option<f64> {
        let technique = self.row.past_looks[look].technique;
        let about = &self.plan.inspection.techniques[technique];
        let nature = &self.batch.nature;
        let own = || self.cracks[blade].iter().map(|&index| &nature.cracks[index as usize]);
        let there = || own().filter(|crack| crack.is_present(look));
        if there().next().is_none() {
            let key = nature.lives[0].key.child(purpose::PAST_FALSE_CALLS).child(look as u64).child(blade as u64);
            let is_called = Stream::new(key).exponential() < about.false_call_hazard;
            return is_called.then(|| about.false_call_length.draw(key, draw::SIZE));
        }
        let called = there().filter(|crack| self.batch.inspections.calls(crack, technique, look));
        let measured = called.map(|crack| {
            let scatter = crack.key.child(about.name).normal(draw::PAST_SIZE + look as u64);
            nature.size_mm(crack, look)[1] * about.sizing_bias * exp(about.sizing_sigma * scatter)
        });
        measured.reduce(f64::max)
    }

    fn write(&mut self, look: usize, blade: usize, measured_mm: Option<f64>) {
        let past = &self.row.past_looks[look];
        let technique = &self.study.techniques[past.technique];
        let (called, measured) = measured_mm.map_or(("no", String::new()), |mm| ("yes", format!("{mm:.3}")));
        self.lines.push_str(&format!(
            "{},{},{} {},{},{},{},{},{},{called},{measured}\n",
            self.row.id,
            blade + 1,
            self.row.id,
            past.year,
            past.year,
            technique.id,
            word(&GRADES, technique.grade),
            self.study.surfaces[self.row.surface].id,
            word(&ACCESS, technique.access),
        ));
    }
}
