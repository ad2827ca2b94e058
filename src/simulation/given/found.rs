//! Records of what a study itself says that its past looks found: how many blades, with some lengths.

use crate::error::{Error, Fault, Result};
use crate::model::Study;
use crate::model::fleet::{Found, PastLook, Row};
use crate::statistics::records::{Format, Line, Records};
use std::borrow::Cow;

impl Study {
    /// Records, and those of rows that have none and whose `past_looks` say what was found.
    ///
    /// Which blades were called nobody says: those that were renewed at that moment, and then the oldest.
    ///
    /// Refuses a study that was given records, looks that say different things here and there, rows of which only some looks
    /// are told, and finds at one moment by several techniques, which may be of the same blades or of others.
    pub(super) fn with_found<'r>(&self, records: &'r Records) -> Result<Cow<'r, Records>> {
        if self.is_given_records() {
            return Err(Error::argument(
                "study",
                &self.name,
                "was given records already, which it does not keep",
                "give all records, the earlier ones too, to the study as it was before them",
            ));
        }
        let (mut faults, mut told) = (Vec::new(), Vec::new());
        for row in &self.rows {
            let own: Vec<&Line> = records.lines().iter().filter(|line| line.row == row.id).collect();
            let says = row.past_looks.iter().filter(|look| look.found.is_some()).count();
            if says == 0 {
                continue;
            }
            if own.is_empty() {
                faults.extend(self.cannot_be_told(row, says));
                told.push(row);
            } else {
                faults.extend(row.past_looks.iter().filter_map(|look| self.contradiction(row, look, &own)));
            }
        }
        if !faults.is_empty() {
            return Err(Error::study(&self.name, faults));
        }
        if told.is_empty() {
            return Ok(Cow::Borrowed(records));
        }
        let header = ["row", "blade", "inspection", "year", "technique", "called", "measured_length_mm"];
        let lines = told.into_iter().flat_map(|row| self.lines_of(row)).collect();
        let found = Records::from_cells(header.map(str::to_owned).to_vec(), lines, "past_looks", &Format::default())?;
        Ok(Cow::Owned(records.and(&found)))
    }

    /// Why what a row's looks found cannot be told.
    fn cannot_be_told(&self, row: &Row, says: usize) -> Vec<Fault> {
        let mut faults = Vec::new();
        if says < row.past_looks.len() {
            faults.push(self.fault(
                row,
                "found",
                format!("is said of {says} of {} looks", row.past_looks.len()),
                "say it of all, 0 where nothing was found, or of none; or take out looks whose answers nobody knows",
            ));
        }
        let finds = |look: &PastLook| look.found.as_ref().is_some_and(|found| found.blades > 0);
        if self.roots[row.root].replaced_together > 1 && row.past_looks.iter().any(finds) {
            faults.push(self.fault(
                row,
                "found",
                "tells of finds, and not on which blades; of those, whole groups were replaced".to_owned(),
                "give the study records of them, which say which blades were called",
            ));
        }
        for together in row.past_looks.chunk_by(|one, other| one.year == other.year) {
            if together.iter().filter(|look| finds(look)).count() > 1 {
                faults.push(self.fault(
                    row,
                    "found",
                    format!("{} has finds by several techniques, which may be of the same blades", together[0].year),
                    "give the study records of them, which say which blades were called",
                ));
            }
        }
        let section = self.roots[row.root].hot_spots.iter();
        let most_mm = section.map(|spot| spot.section.as_ref().map_or(f64::INFINITY, |section| section.width_mm));
        let most_mm = most_mm.fold(0.0, f64::max);
        let lengths = row.past_looks.iter().filter_map(|look| look.found.as_ref());
        for length_mm in lengths.flat_map(|found| &found.measured_lengths_mm).filter(|length| **length > most_mm) {
            let rule = format!("{length_mm} mm is more than the section of any hot spot of the root, {most_mm} mm");
            faults.push(self.fault(row, "measured_lengths_mm", rule, "correct the length, or the section"));
        }
        faults
    }

    /// A look that the records tell otherwise; one of which they have no line is refused with the others.
    fn contradiction(&self, row: &Row, look: &PastLook, lines: &[&Line]) -> Option<Fault> {
        let Found { blades, .. } = look.found.as_ref()?;
        let technique = &self.techniques[look.technique].id;
        let own = || lines.iter().filter(|line| line.when.year() == look.year && line.technique == *technique);
        own().next()?;
        let mut called: Vec<&str> = own().filter(|line| line.called).map(|line| line.blade.as_str()).collect();
        called.sort_unstable();
        called.dedup();
        (called.len() != *blades as usize).then(|| {
            let rule = format!("{} by {technique}: {blades} here, {} in the records", look.year, called.len());
            self.fault(row, "found", rule, "correct one of the two, or leave found out")
        })
    }

    fn fault(&self, row: &Row, key: &str, rule: String, remedy: &str) -> Fault {
        let path = format!("rows.{}.past_looks.{key}", row.id);
        Fault { line: None, path, value: String::new(), rule, remedy: remedy.to_owned() }
    }

    /// Lines of a row's looks, one for each blade that was there.
    fn lines_of(&self, row: &Row) -> Vec<Vec<String>> {
        let blades = 0..row.blades as usize;
        let renewals = |blade: usize| {
            let of_blade = row.renewed.iter().filter(move |renewal| renewal.blades.contains(&(blade as u32 + 1)));
            of_blade.map(|renewal| renewal.year)
        };
        let mut found_year = vec![f64::NEG_INFINITY; blades.len()];
        let mut lines = Vec::new();
        for together in row.past_looks.chunk_by(|one, other| one.year == other.year) {
            let year = together[0].year;
            let installed = |blade: usize| {
                let renewed = renewals(blade).filter(|renewed| *renewed < year);
                renewed.fold(row.in_service_year.max(found_year[blade]), f64::max)
            };
            let is_renewed_now = |blade: usize| renewals(blade).any(|renewed| renewed == year);
            let mut likely: Vec<usize> = blades.clone().collect();
            likely.sort_by(|&one, &other| {
                let ages = installed(one).total_cmp(&installed(other));
                is_renewed_now(other).cmp(&is_renewed_now(one)).then(ages)
            });
            let mut called = Vec::new();
            for look in together {
                let Some(found) = &look.found else { continue };
                let own = &likely[..found.blades as usize];
                called.extend_from_slice(own);
                for blade in blades.clone() {
                    let place = own.iter().position(|other| *other == blade);
                    let length = place.and_then(|place| found.measured_lengths_mm.get(place));
                    lines.push(vec![
                        row.id.clone(),
                        (blade + 1).to_string(),
                        year.to_string(),
                        year.to_string(),
                        self.techniques[look.technique].id.clone(),
                        if place.is_some() { "yes" } else { "no" }.to_owned(),
                        length.map_or_else(String::new, f64::to_string),
                    ]);
                }
            }
            called.into_iter().for_each(|blade| found_year[blade] = year);
        }
        lines
    }
}
