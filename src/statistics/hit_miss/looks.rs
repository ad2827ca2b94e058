//! The looks that a fit is made from: each with its size, its answer and whatever else counts.

use crate::bounds;
use crate::error::{Error, Result};
use crate::model::detection::{Access, SizeMeasure};
use crate::statistics::records::{Line, Records};
use crate::statistics::sizes::{NO_SIZE, Sizes, count_unused};
use std::collections::{BTreeSet, HashMap};

/// One look at a place of known size.
#[derive(Debug, Clone, PartialEq)]
pub struct Look {
    /// Size of the crack in mm; 0 for a place known to be free of cracks.
    pub size_mm: f64,
    /// Whether the technique called it.
    pub called: bool,
    /// Level of each factor, in the order of the factors.
    pub levels: Vec<String>,
    /// Who looked.
    pub inspector: Option<String>,
}

/// A condition of the look that may shift the curve, such as the surface.
#[derive(Debug, Clone, PartialEq)]
pub struct Factor {
    /// Name.
    pub name: String,
    /// Its levels; the first is the reference, on which the curve stands.
    pub levels: Vec<String>,
}

/// Looks fit to be fitted, and what is known of false calls.
#[derive(Debug, Clone, PartialEq)]
pub struct Looks {
    pub(super) measure: SizeMeasure,
    pub(super) factors: Vec<Factor>,
    pub(super) cracked: Vec<Cracked>,
    pub(super) inspectors: Vec<String>,
    clean: usize,
    false_calls: usize,
    unused: Vec<(String, usize)>,
    from: String,
}

/// A look at a crack, with names turned into numbers.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Cracked {
    pub size_mm: f64,
    pub called: bool,
    pub levels: Vec<usize>,
    pub inspector: Option<usize>,
}

/// Which of the records a fit takes.
#[derive(Debug, Clone, PartialEq)]
pub struct Selection {
    /// Technique.
    pub technique: String,
    /// The size that detection hangs on.
    pub measure: SizeMeasure,
    /// Where sizes come from: `None` for the confirmed ones, else a technique whose measured ones are taken.
    pub sizes_by: Option<String>,
    /// Columns that are factors, each with its reference level, or `None` for the level with most looks.
    pub factors: Vec<(String, Option<String>)>,
}

impl Looks {
    /// Takes looks one by one; `factors` are names with reference levels, `None` for the level with most looks.
    ///
    /// # Errors
    /// Refuses a size that is neither 0 nor a length, a look without a level for each factor, and a reference
    /// level that no look has.
    pub fn new(measure: SizeMeasure, factors: &[(&str, Option<&str>)], looks: &[Look]) -> Result<Looks> {
        for (index, look) in looks.iter().enumerate() {
            if look.size_mm != 0.0
                && let Some((rule, remedy)) = bounds::LENGTH_MM.refusal("size_mm", look.size_mm)
            {
                let name = format!("size_mm of look {}", index + 1);
                return Err(Error::argument(&name, look.size_mm, &rule, &format!("{remedy}; 0 stands for no crack")));
            }
            if look.levels.len() != factors.len() {
                let name = format!("levels of look {}", index + 1);
                let rule = format!("must be {}, one for each factor", factors.len());
                return Err(Error::argument(&name, look.levels.len(), &rule, "give every look a level of each factor"));
            }
        }
        let mut declared = Vec::new();
        for (index, (name, reference)) in factors.iter().enumerate() {
            declared.push(factor(name, *reference, looks.iter().map(|look| look.levels[index].as_str()))?);
        }
        let inspectors: BTreeSet<&str> = looks.iter().filter_map(|look| look.inspector.as_deref()).collect();
        let inspectors: Vec<String> = inspectors.into_iter().map(str::to_owned).collect();
        let cracked = looks.iter().filter(|look| look.size_mm > 0.0).map(|look| Cracked {
            size_mm: look.size_mm,
            called: look.called,
            levels: look.levels.iter().zip(&declared).map(|(level, factor)| place(&factor.levels, level)).collect(),
            inspector: look.inspector.as_deref().map(|name| place(&inspectors, name)),
        });
        let clean = looks.iter().filter(|look| look.size_mm == 0.0);
        Ok(Looks {
            measure,
            cracked: cracked.collect(),
            clean: clean.clone().count(),
            false_calls: clean.filter(|look| look.called).count(),
            factors: declared,
            inspectors,
            unused: Vec::new(),
            from: String::new(),
        })
    }

    /// Takes sizes in mm with their answers, and nothing else.
    ///
    /// # Errors
    /// As [`Looks::new`].
    pub fn from_pairs(looks: &[(f64, bool)]) -> Result<Looks> {
        let look = |(size_mm, called): &(f64, bool)| Look {
            size_mm: *size_mm,
            called: *called,
            levels: Vec::new(),
            inspector: None,
        };
        Looks::new(SizeMeasure::Length, &[], &looks.iter().map(look).collect::<Vec<_>>())
    }

    /// Takes the looks of one technique out of records.
    ///
    /// A line's size is its own, else that of another line on the same blade, place and inspection. Lines
    /// whose size or factor is blank are not used, and are counted; lines known to be free of cracks tell of
    /// false calls.
    ///
    /// # Errors
    /// Refuses a technique that the records do not have, a factor that is none of `surface`, `grade`,
    /// `access` and `inspector`, and a reference level that no line has.
    pub fn from_records(records: &Records, selection: &Selection) -> Result<Looks> {
        let by = selection.sizes_by.as_deref();
        let sizes = Sizes::of(records, &selection.technique, selection.measure, by)?;
        let mut columns = Vec::new();
        for (name, _) in &selection.factors {
            let level = FACTORS.iter().find(|(known, _)| known == name).ok_or_else(|| {
                let known: Vec<&str> = FACTORS.iter().map(|(name, _)| *name).collect();
                Error::argument(
                    "factors",
                    format!("{name:?}"),
                    "is no factor of records",
                    &format!("choose from {}", known.join(", ")),
                )
            })?;
            columns.push(level.1);
        }
        let mut unused: Vec<(String, usize)> = Vec::new();
        let mut looks = Vec::new();
        for line in records.of_technique(&selection.technique) {
            let levels: Vec<Option<String>> = columns.iter().map(|level| level(line)).collect();
            let blank =
                levels.iter().position(Option::is_none).map(|index| format!("{} is blank", selection.factors[index].0));
            match (sizes.size_mm(line), blank) {
                (Some(size_mm), None) => looks.push(Look {
                    size_mm,
                    called: line.called,
                    levels: levels.into_iter().flatten().collect(),
                    inspector: line.inspector.clone(),
                }),
                (_, blank) => count_unused(&mut unused, blank.as_deref().unwrap_or(NO_SIZE)),
            }
        }
        let factors: Vec<(&str, Option<&str>)> =
            selection.factors.iter().map(|(name, reference)| (name.as_str(), reference.as_deref())).collect();
        let made = Looks::new(selection.measure, &factors, &looks)?;
        Ok(Looks { unused, from: sizes.from, ..made })
    }

    /// The same looks, said to be from somewhere: a file, a trial, a report.
    pub fn from_source(self, source: &str) -> Looks {
        Looks { from: source.to_owned(), ..self }
    }

    /// Where the looks are from; blank when it is not known.
    pub fn source(&self) -> &str {
        &self.from
    }

    /// The size that detection hangs on.
    pub fn measure(&self) -> SizeMeasure {
        self.measure
    }

    /// The factors.
    pub fn factors(&self) -> &[Factor] {
        &self.factors
    }

    /// Size in mm and answer of each look at a crack.
    pub fn answers(&self) -> impl Iterator<Item = (f64, bool)> {
        self.cracked.iter().map(|look| (look.size_mm, look.called))
    }

    /// Level of each look at a crack, of one of the factors.
    pub fn levels(&self, factor: usize) -> impl Iterator<Item = &str> {
        let names = &self.factors[factor].levels;
        self.cracked.iter().map(move |look| names[look.levels[factor]].as_str())
    }

    /// Hits, and looks at cracks in all.
    pub fn hits(&self) -> (usize, usize) {
        (self.cracked.iter().filter(|look| look.called).count(), self.cracked.len())
    }

    /// False calls, and looks at places free of cracks.
    pub fn false_calls(&self) -> (usize, usize) {
        (self.false_calls, self.clean)
    }

    /// Smallest and largest crack, in mm.
    pub fn range_mm(&self) -> (f64, f64) {
        let sizes = self.cracked.iter().map(|look| look.size_mm);
        (sizes.clone().fold(f64::INFINITY, f64::min), sizes.fold(0.0, f64::max))
    }

    /// Lines that could not be used, by reason.
    pub fn unused(&self) -> &[(String, usize)] {
        &self.unused
    }
}

/// Levels of a factor, the reference first, the others in alphabetical order.
fn factor<'l>(name: &str, reference: Option<&str>, levels: impl Iterator<Item = &'l str>) -> Result<Factor> {
    let mut counts: HashMap<&str, usize> = HashMap::new();
    levels.for_each(|level| *counts.entry(level).or_default() += 1);
    let mut levels: Vec<&str> = counts.keys().copied().collect();
    levels.sort_unstable();
    let most = levels.iter().copied().max_by_key(|level| (counts[level], std::cmp::Reverse(*level)));
    let first = match reference {
        Some(reference) if !counts.contains_key(reference) => {
            let rule = format!("no look has this level of {name}");
            return Err(Error::argument(
                "reference",
                format!("{reference:?}"),
                &rule,
                &format!("choose one of {}", levels.join(", ")),
            ));
        }
        Some(reference) => Some(reference),
        None => most,
    };
    let mut ordered: Vec<String> = first.into_iter().map(str::to_owned).collect();
    ordered.extend(levels.into_iter().filter(|level| Some(*level) != first).map(str::to_owned));
    Ok(Factor { name: name.to_owned(), levels: ordered })
}

/// Place of a name that is known to be in the list.
fn place(names: &[String], name: &str) -> usize {
    names.iter().position(|known| known == name).unwrap_or(0)
}

type Level = fn(&Line) -> Option<String>;

/// Columns of records that may be factors.
const FACTORS: [(&str, Level); 4] = [
    ("surface", |line| line.surface.clone()),
    ("grade", |line| line.grade.map(|grade| grade.name().to_owned())),
    ("access", |line| {
        line.access.map(|access| {
            match access {
                Access::InPlace => "in-place",
                Access::BladesOut => "blades-out",
            }
            .to_owned()
        })
    }),
    ("inspector", |line| line.inspector.clone()),
];
