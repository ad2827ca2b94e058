//! What was done to the blades of a row before the study, and what it showed.

use super::find::MOST_LENGTHS;
use crate::error::{Error, Fault, Kind, Result};
use crate::model::Study;
use crate::model::fleet::{PastLook, Renewal, Row};
use crate::simulation::policy::Groups;
use crate::statistics::records::{Line, Records};
use std::collections::BTreeMap;

/// The past of a row: its looks in order of time, and the blades that were in it.
#[derive(Debug, Clone, Default)]
pub(super) struct History {
    pub looks: Vec<PastLook>,
    /// Blades with one and the same past.
    pub kinds: Vec<BladeKind>,
    /// For each position, when the blade that is there now was new.
    pub installed: Vec<f64>,
    /// And which of the kinds that are there when the study starts it is of.
    pub kind_of_blade: Vec<u32>,
    /// How many blades were called.
    pub finds: usize,
}

/// Blades of equal age at which the same looks were taken, with the same answers.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct BladeKind {
    pub installed_year: f64,
    /// Looks that did not call it, by number.
    pub clean: Vec<usize>,
    pub end: BladeEnd,
    pub count: u32,
}

/// What came of a blade in the end.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum BladeEnd {
    /// It is there when the study starts, or was removed before that for other reasons.
    Clean { until_year: f64 },
    /// It was called, and a new blade took its place.
    Called(Find),
}

/// A blade that was called.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Find {
    pub year: f64,
    /// What was said of it then, by look.
    pub answers: Vec<Answer>,
    /// Whether it had a crack, where that was confirmed.
    pub cracked: Option<bool>,
    pub confirmed_length_mm: Option<f64>,
}

/// What one look said of a called blade.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Answer {
    pub look: usize,
    pub called: bool,
    pub measured_mm: Option<f64>,
}

/// Lines of one inspection of a row.
#[derive(Default)]
struct Visit<'r> {
    year: f64,
    lines: Vec<(&'r Line, usize, u32)>,
}

/// The past of each row of a study, by its records; none for rows of which nothing is known.
///
/// Refuses all lines that do not fit the study, each with what would be right.
pub(super) fn histories(study: &Study, records: &Records) -> Result<Vec<Option<History>>> {
    let mut faults = Vec::new();
    let mut visits: Vec<BTreeMap<&str, Visit>> = study.rows.iter().map(|_| BTreeMap::new()).collect();
    for line in records.lines() {
        match placed(study, line) {
            Ok((row, technique, blade)) => {
                let visit = visits[row].entry(&line.inspection).or_default();
                let year = line.when.year();
                visit.year = if visit.lines.is_empty() { year } else { visit.year.min(year) };
                visit.lines.push((line, technique, blade));
            }
            Err(mut found) => faults.append(&mut found),
        }
    }
    let mut histories = Vec::new();
    for (row, visits) in study.rows.iter().zip(visits) {
        let mut visits: Vec<Visit> = visits.into_values().collect();
        visits.sort_by(|one, other| one.year.total_cmp(&other.year));
        faults.extend(looks_without_lines(row, study, &visits));
        // A row that nobody looked at runs, which says something too; of looks whose answers are not known nothing is said.
        let runs_unseen = row.past_looks.is_empty() && row.in_service_year < study.start_year;
        let is_known = !visits.is_empty() || runs_unseen;
        histories.push(is_known.then(|| History::of(study, row, &visits, &mut faults)));
    }
    if faults.is_empty() {
        return Ok(histories);
    }
    faults.sort_by_key(|fault| fault.line);
    let count = faults.len();
    faults.truncate(Records::MOST_FAULTS);
    Err(Error { kind: Kind::Records { source: records.source().to_owned(), faults, count } })
}

/// Row, technique and blade of a line, as numbers.
fn placed(study: &Study, line: &Line) -> std::result::Result<(usize, usize, u32), Vec<Fault>> {
    let mut faults = Vec::new();
    let mut refuse = |path: &str, value: &str, rule: String, remedy: &str| {
        let (path, value, remedy) = (path.to_owned(), value.to_owned(), remedy.to_owned());
        faults.push(Fault { line: Some(line.line), path, value, rule, remedy });
    };
    let row = study.rows.iter().position(|row| row.id == line.row);
    if row.is_none() {
        let rule = format!("is no row of the study; it has {}", names(study.rows.iter().map(|row| row.id.as_str())));
        refuse("row", &line.row, rule, "correct the name, or leave the line out");
    }
    let technique = study.techniques.iter().position(|technique| technique.id == line.technique);
    if technique.is_none() {
        let known = names(study.techniques.iter().map(|technique| technique.id.as_str()));
        let remedy = "correct the name, or add the technique to the study";
        refuse("technique", &line.technique, format!("is no technique of the study; it has {known}"), remedy);
    }
    let Some(row_index) = row else { return Err(faults) };
    let row = &study.rows[row_index];
    let blade = line.blade.parse::<u32>().ok().filter(|blade| (1..=row.blades).contains(blade));
    if blade.is_none() {
        let rule = format!("must be the number of a blade of the row, 1 to {}", row.blades);
        refuse("blade", &line.blade, rule, "correct the number");
    }
    let (year, shown) = (line.when.year(), line.when.to_string());
    if year <= row.in_service_year {
        let rule = format!("must be after the row entered service ({})", row.in_service_year);
        refuse("year", &shown, rule, "correct the year, or the row's in_service_year");
    } else if year >= study.start_year {
        let rule = format!("must be before the start of the study ({})", study.start_year);
        refuse("year", &shown, rule, "correct the year, or move the study's start_year to today");
    }
    if line.surface.as_deref().is_some_and(|surface| surface != study.surfaces[row.surface].id) {
        let rule = format!("must be the surface of the row ({:?})", study.surfaces[row.surface].id);
        refuse("surface", line.surface.as_deref().unwrap_or_default(), rule, "correct one of the two");
    }
    if line.has_place() && !line.called {
        let rule = "says of one place of the root that it was not called, and leaves open what was said of the others";
        refuse("side, serration, position", "", rule.to_owned(), "give one line for the whole blade");
    }
    for (path, size_mm, most_mm) in sizes(study, row, line) {
        if let Some(size_mm) = size_mm.filter(|size_mm| *size_mm > most_mm) {
            let rule = format!("is more than the section of any hot spot of the root, {most_mm} mm");
            refuse(path, &size_mm.to_string(), rule, "correct the size, or the section in the study");
        }
    }
    if line.cracked == Some(false) && line.confirmed_length_mm.is_some() {
        refuse("confirmed_length_mm", "", "is given for a blade without a crack".to_owned(), "correct one of the two");
    }
    match (technique, blade) {
        (Some(technique), Some(blade)) if faults.is_empty() => Ok((row_index, technique, blade)),
        _ => Err(faults),
    }
}

fn names<'n>(all: impl Iterator<Item = &'n str>) -> String {
    all.map(|name| format!("{name:?}")).collect::<Vec<_>>().join(", ")
}

/// Sizes that a line states, each with the most that the row's root allows.
fn sizes(study: &Study, row: &Row, line: &Line) -> [(&'static str, Option<f64>, f64); 4] {
    let sections = study.roots[row.root].hot_spots.iter();
    let most = |of: &dyn Fn(&crate::model::growth::Section) -> f64| {
        let sections = sections.clone().map(|spot| spot.section.as_ref().map_or(f64::INFINITY, of));
        sections.fold(0.0, f64::max)
    };
    let (width_mm, depth_mm) = (most(&|section| section.width_mm), most(&|section| section.thickness_mm));
    [
        ("measured_length_mm", line.measured_length_mm, width_mm),
        ("measured_depth_mm", line.measured_depth_mm, depth_mm),
        ("confirmed_length_mm", line.confirmed_length_mm, width_mm),
        ("confirmed_depth_mm", line.confirmed_depth_mm, depth_mm),
    ]
}

/// Looks that the study says were taken and of which the records have no line, while they have others of the row.
fn looks_without_lines(row: &Row, study: &Study, visits: &[Visit]) -> Vec<Fault> {
    let is_told = |look: &&PastLook| {
        visits.iter().any(|visit| {
            visit.year == look.year && visit.lines.iter().any(|(_, technique, _)| *technique == look.technique)
        })
    };
    let untold = row.past_looks.iter().filter(|look| !is_told(look));
    let fault = |look: &PastLook| Fault {
        line: None,
        path: format!("rows.{}.past_looks", row.id),
        value: format!("{} by {}", look.year, study.techniques[look.technique].id),
        rule: "is a look of which the records say nothing, while they tell of the row's other looks".to_owned(),
        remedy: "add its lines, also those of blades that were not called, or take it out of past_looks".to_owned(),
    };
    if visits.is_empty() { Vec::new() } else { untold.map(fault).collect() }
}

/// The blade at one position, as it is followed through its row's past.
struct Position {
    installed_year: f64,
    clean: Vec<usize>,
    renewals: Vec<f64>,
}

impl Position {
    /// Renewals up to a year, included, each of which ends a blade.
    fn renew_until(&mut self, year: f64, end: &mut impl FnMut(BladeKind)) {
        while let Some(&renewed) = self.renewals.first().filter(|renewed| **renewed <= year) {
            self.renewals.remove(0);
            if renewed > self.installed_year {
                end(self.ended(BladeEnd::Clean { until_year: renewed }));
                self.installed_year = renewed;
            }
        }
    }

    /// The blade that was there.
    fn ended(&mut self, end: BladeEnd) -> BladeKind {
        BladeKind { installed_year: self.installed_year, clean: std::mem::take(&mut self.clean), end, count: 1 }
    }
}

impl History {
    fn of(study: &Study, row: &Row, visits: &[Visit], faults: &mut Vec<Fault>) -> Self {
        let mut history = History::default();
        let groups = Groups::new(study.roots[row.root].replaced_together, row.blades);
        let mut positions: Vec<Position> = (1..=row.blades)
            .map(|blade| {
                let of_blade = row.renewed.iter().filter(|renewal| renewal.blades.contains(&blade));
                let mut renewals: Vec<f64> = of_blade.map(|renewal| renewal.year).collect();
                renewals.sort_by(f64::total_cmp);
                Position { installed_year: row.in_service_year, clean: Vec::new(), renewals }
            })
            .collect();
        for (at, visit) in visits.iter().enumerate() {
            let mut techniques: Vec<usize> = visit.lines.iter().map(|(_, technique, _)| *technique).collect();
            techniques.sort_unstable();
            techniques.dedup();
            let first = history.looks.len();
            let look = |&technique: &usize| PastLook { year: visit.year, technique, found: None };
            history.looks.extend(techniques.iter().map(look));
            let mut called: Vec<u32> = Vec::new();
            let mut by_blade: BTreeMap<u32, Vec<&(&Line, usize, u32)>> = BTreeMap::new();
            visit.lines.iter().for_each(|line| by_blade.entry(line.2).or_default().push(line));
            for (blade, lines) in by_blade {
                let position = &mut positions[blade as usize - 1];
                // A renewal at the same moment comes after the look.
                position.renew_until(visit.year.next_down(), &mut |kind| {
                    history.add(kind);
                });
                if position.installed_year >= visit.year {
                    let other = visits[..at].iter().rev().flat_map(|visit| &visit.lines).find(|line| line.2 == blade);
                    faults.push(replaced_before(lines[0].0, other.map(|line| line.0)));
                    continue;
                }
                let number = |technique: usize| {
                    first + techniques.iter().position(|other| *other == technique).unwrap_or_default()
                };
                let answers = answers(&lines, number);
                if answers.iter().any(|answer| answer.called) {
                    let own = || lines.iter().map(|line| line.0);
                    let find = Find {
                        year: visit.year,
                        answers,
                        cracked: own().filter_map(|line| line.cracked).reduce(|one, other| one || other),
                        confirmed_length_mm: own().filter_map(|line| line.confirmed_length_mm).reduce(f64::max),
                    };
                    history.finds += 1;
                    called.push(blade - 1);
                    let ended = position.ended(BladeEnd::Called(find));
                    history.add(ended);
                    position.installed_year = visit.year;
                } else if let Some(cracked) = lines.iter().map(|line| line.0).find(|line| line.cracked == Some(true)) {
                    faults.push(cracked_and_not_called(cracked));
                } else {
                    position.clean.extend(answers.iter().map(|answer| answer.look));
                }
            }
            for other in called.iter().flat_map(|&blade| groups.of(blade)).filter(|other| !called.contains(other)) {
                // After the look, as any renewal at the same moment.
                let renewals = &mut positions[other as usize].renewals;
                renewals.push(visit.year);
                renewals.sort_by(f64::total_cmp);
            }
        }
        for position in &mut positions {
            position.renew_until(study.start_year, &mut |kind| {
                history.add(kind);
            });
        }
        // Kinds that are there when the study starts come last, so that they can be numbered.
        let before = history.kinds.len();
        for position in &mut positions {
            let ended = position.ended(BladeEnd::Clean { until_year: study.start_year });
            let number = history.add(ended);
            history.kind_of_blade.push((number - before) as u32);
            history.installed.push(position.installed_year);
        }
        history
    }

    /// The last renewals of blades that are not as old as the row.
    pub fn renewed(&self, in_service_year: f64) -> Vec<Renewal> {
        let mut renewed: Vec<Renewal> = Vec::new();
        for (blade, &year) in (1..).zip(&self.installed).filter(|(_, year)| **year > in_service_year) {
            match renewed.iter_mut().find(|renewal| renewal.year == year) {
                Some(renewal) => renewal.blades.push(blade),
                None => renewed.push(Renewal { year, blades: vec![blade] }),
            }
        }
        renewed.sort_by(|one, other| one.year.total_cmp(&other.year));
        renewed
    }

    /// Called blades with more lengths than are weighed.
    pub fn finds_with_unused_lengths(&self) -> usize {
        let lengths = |find: &Find| {
            let measured = find.answers.iter().filter(|answer| answer.called && answer.measured_mm.is_some()).count();
            measured + usize::from(find.confirmed_length_mm.is_some())
        };
        let is_unused = |kind: &&BladeKind| matches!(&kind.end, BladeEnd::Called(find) if lengths(find) > MOST_LENGTHS);
        self.kinds.iter().filter(is_unused).map(|kind| kind.count as usize).sum()
    }

    /// Adds a blade: returns the number of its kind.
    fn add(&mut self, kind: BladeKind) -> usize {
        let alike = |other: &BladeKind| BladeKind { count: 1, ..other.clone() } == kind;
        match self.kinds.iter().position(alike) {
            Some(known) => {
                self.kinds[known].count += 1;
                known
            }
            None => {
                self.kinds.push(kind);
                self.kinds.len() - 1
            }
        }
    }
}

/// What each look of a visit said of a blade: a technique called it if any of its lines did.
fn answers(lines: &[&(&Line, usize, u32)], number: impl Fn(usize) -> usize) -> Vec<Answer> {
    let mut answers: Vec<Answer> = Vec::new();
    for &&(line, technique, _) in lines {
        let new = Answer { look: number(technique), called: line.called, measured_mm: line.measured_length_mm };
        match answers.iter_mut().find(|answer| answer.look == new.look) {
            Some(answer) => {
                answer.called |= new.called;
                let longest = answer.measured_mm.into_iter().chain(new.measured_mm).reduce(f64::max);
                answer.measured_mm = longest;
            }
            None => answers.push(new),
        }
    }
    answers.sort_by_key(|answer| answer.look);
    answers
}

/// To take such a blade for a clean one would be on the unsafe side.
fn cracked_and_not_called(line: &Line) -> Fault {
    Fault {
        line: Some(line.line),
        path: "cracked".to_owned(),
        value: "yes".to_owned(),
        rule: "is said of a blade that nobody called: what became of it is not known".to_owned(),
        remedy: "add the line of whatever found the crack, with called = yes; the blade is then taken as replaced"
            .to_owned(),
    }
}

fn replaced_before(line: &Line, other: Option<&Line>) -> Fault {
    let by = other.map_or_else(|| "the study".to_owned(), |other| format!("line {}", other.line));
    Fault {
        line: Some(line.line),
        path: "blade, year".to_owned(),
        value: format!("{}, {}", line.blade, line.when),
        rule: format!("is a look at a blade that was replaced at that moment, by {by}"),
        remedy: "give lines of one inspection one name of the inspection, or correct the year".to_owned(),
    }
}
