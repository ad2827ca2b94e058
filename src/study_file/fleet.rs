//! Surfaces, roots, units and rows.

use super::ids::Ids;
use super::reader::{Place, all};
use super::section::Section;
use super::window::Window;
use super::{hot_spot, loads};
use crate::bounds;
use crate::model::fleet::{Consequences, Found, PastLook, Renewal, Root, Row, Surface, Unit};
use crate::model::growth::{CrackShape, GrowthLaw};
use crate::model::usage::{DutyPeriod, OutageCalendar, Overspeed};

/// Reads a surface condition.
pub(super) fn surface(section: &Section, id: &str) -> Option<Surface> {
    let factor = section.number("initiation_life_factor", bounds::FACTOR);
    let layer = section.optional("layer", |section, key| section.table(key, loads::layer));
    let closed_mouth_probability =
        section.optional("closed_mouth_probability", |section, key| section.number(key, bounds::PROBABILITY));
    let basis = section.basis();
    Some(Surface {
        id: id.to_owned(),
        initiation_life_factor: factor?,
        layer: layer?,
        closed_mouth_probability: closed_mouth_probability?,
        basis: basis?,
    })
}

/// Reads a root design.
pub(super) fn root(section: &Section, id: &str, ids: &Ids, growth: &[Option<GrowthLaw>]) -> Option<Root> {
    let basis = section.basis();
    let hot_spots = section.tables("hot_spots", "hot spot", |section, id| hot_spot::hot_spot(section, id, ids, growth));
    let handling_damage_probability = section
        .optional("handling_damage_probability", |section, key| section.number(key, bounds::PROBABILITY_BELOW_ONE));
    let consequences = section.optional("consequences", |section, key| section.table(key, consequences));
    let replaced_together = section.optional("replaced_together", |section, key| section.whole(key, bounds::BLADES));
    Some(Root {
        id: id.to_owned(),
        hot_spots: all(hot_spots.into_iter())?,
        replaced_together: replaced_together?.unwrap_or(1),
        handling_damage_probability: handling_damage_probability?.unwrap_or(0.0),
        consequences: consequences?.unwrap_or_default(),
        basis: basis?,
    })
}

/// What a lost blade does to others.
fn consequences(section: &Section) -> Option<Consequences> {
    let chance = |key| section.optional(key, |section, key| section.number(key, bounds::PROBABILITY));
    let neighbours_damaged = chance("neighbours_damaged_probability");
    let (row_wrecked, rotor_wrecked) = (chance("row_wrecked_probability"), chance("rotor_wrecked_probability"));
    let neighbours = section.optional("neighbours", |section, key| section.whole(key, bounds::BLADES));
    let [neighbours_damaged, row_wrecked, rotor_wrecked] =
        [neighbours_damaged?, row_wrecked?, rotor_wrecked?].map(|chance| chance.unwrap_or(0.0));
    let neighbours = neighbours?;
    if neighbours.is_some() != section.has("neighbours_damaged_probability") {
        let rule = "belongs with neighbours_damaged_probability";
        section.fault("neighbours", rule, "state both, how often and how many, or none of the two");
        return None;
    }
    let all = neighbours_damaged + row_wrecked + rotor_wrecked;
    if all > 1.0 {
        let rule = format!("have chances that sum to {all}: a loss does one of these at most");
        section.fault_here(rule, "lower them, so that their sum is 1 at most");
        return None;
    }
    Some(Consequences {
        neighbours_damaged_probability: neighbours_damaged,
        neighbours: neighbours.unwrap_or(0),
        row_wrecked_probability: row_wrecked,
        rotor_wrecked_probability: rotor_wrecked,
    })
}

/// Reads a unit.
pub(super) fn unit(section: &Section, id: &str, window: Option<Window>) -> Option<Unit> {
    let duty = section.get("duty", "a list of tables with the keys from_year, starts_per_year, hours_per_year");
    let duty = duty.and_then(duty_periods);
    let overspeed = section.optional("overspeed", |section, key| section.table(key, overspeed));
    let outages = section.table("outages", |section| outages(section, window));
    let crews = section.optional("crews", |section, key| section.whole(key, bounds::CREWS));
    let basis = section.basis();
    Some(Unit {
        id: id.to_owned(),
        duty: duty?,
        overspeed: overspeed?,
        outages: outages?,
        crews: crews?,
        basis: basis?,
    })
}

fn overspeed(section: &Section) -> Option<Overspeed> {
    let every_starts = section.number("every_starts", bounds::EVERY_STARTS);
    let speed_ratio = section.number("speed_ratio", bounds::SPEED_RATIO);
    Some(Overspeed { every_starts: every_starts?, speed_ratio: speed_ratio? })
}

fn duty_periods(place: Place) -> Option<Vec<DutyPeriod>> {
    let periods = place.each(|place| {
        let here = place.clone();
        let period = place.table(|section| {
            let from_year = section.number("from_year", bounds::YEAR);
            let starts_per_year = section.number("starts_per_year", bounds::STARTS_PER_YEAR);
            let hours_per_year = section.number("hours_per_year", bounds::HOURS_PER_YEAR);
            Some(DutyPeriod {
                from_year: from_year?,
                starts_per_year: starts_per_year?,
                hours_per_year: hours_per_year?,
            })
        });
        period.map(|period| (here, period))
    })?;
    if periods.iter().all(|(_, period)| period.starts_per_year == 0.0 && period.hours_per_year == 0.0) {
        place.fault("must have a period with starts or hours", "say how the unit runs, or remove it");
        return None;
    }
    in_time_order(periods.iter().map(|(place, period)| (place, period.from_year)), "from_year", true)?;
    Some(periods.into_iter().map(|(_, period)| period).collect())
}

/// Refuses moments that go back in time, or stand still where that is not allowed.
fn in_time_order<'p, 'a: 'p>(
    moments: impl Iterator<Item = (&'p Place<'a>, f64)>,
    what: &str,
    strictly: bool,
) -> Option<()> {
    let mut before: Option<f64> = None;
    let mut good = true;
    for (place, year) in moments {
        if let Some(before) = before
            && (year < before || (strictly && year == before))
        {
            let rule = if strictly { "must be after" } else { "must not be before" };
            place.fault(format!("{what} {rule} the one before it ({before})"), "put them in the order of time");
            good = false;
        }
        before = Some(year);
    }
    good.then_some(())
}

/// Outages by period or by list, as the list of those that fall into the study.
fn outages(section: &Section, window: Option<Window>) -> Option<OutageCalendar> {
    let window_days = section.number("window_days", bounds::DAYS);
    let by_period = section.has("first_year") || section.has("every_years");
    let years = match (section.has("years"), by_period) {
        (true, false) => listed_outages(section, window),
        (false, true) => periodic_outages(section, window),
        (listed, _) => {
            section.be_lenient();
            let rule = if listed { "must not have both years and a period" } else { "must have years or a period" };
            section.fault_here(rule, "give either years = [...], or first_year and every_years");
            None
        }
    };
    Some(OutageCalendar { years: years?, window_days: window_days? })
}

fn listed_outages(section: &Section, window: Option<Window>) -> Option<Vec<f64>> {
    let list = section.get("years", format!("a list of numbers {}", bounds::YEAR))?;
    let years = list.each(|place| place.number(bounds::YEAR).map(|year| (place, year)))?;
    in_time_order(years.iter().map(|(place, year)| (place, *year)), "an outage", true)?;
    if years.len() > bounds::MOST_OUTAGES {
        list.fault(format!("must hold at most {} outages", bounds::MOST_OUTAGES), "split the study");
        return None;
    }
    let window = window?;
    all(years.into_iter().map(|(place, year)| {
        if year < window.start {
            place.fault(format!("must not be before the study ({})", window.words()), "remove it");
        } else if year >= window.end {
            place.fault(
                format!("must be before the end of the study ({})", window.words()),
                "remove it, or lengthen the study: an outage at its end decides nothing",
            );
        } else {
            return Some(year);
        }
        None
    }))
}

fn periodic_outages(section: &Section, window: Option<Window>) -> Option<Vec<f64>> {
    let first = section.number("first_year", bounds::YEAR);
    let every = section.number("every_years", bounds::OUTAGE_INTERVAL_YEARS);
    let (first, every, window) = (first?, every?, window?);
    if first >= window.end {
        section.fault(
            "first_year",
            format!("must be before the end of the study ({})", window.words()),
            "correct it; a unit that never stops has years = []",
        );
        return None;
    }
    // The years are first, first + every, ...; those before the study are skipped, not counted.
    let skipped = ((window.start - first) / every).ceil().max(0.0);
    let years: Vec<f64> = (0..)
        .map(|index| first + every * (skipped + f64::from(index)))
        .skip_while(|year| *year < window.start)
        .take_while(|year| *year < window.end)
        .take(bounds::MOST_OUTAGES + 1)
        .collect();
    if years.len() > bounds::MOST_OUTAGES {
        section.fault(
            "every_years",
            format!("must leave at most {} outages ({})", bounds::MOST_OUTAGES, window.words()),
            "raise every_years, or shorten the study",
        );
        return None;
    }
    Some(years)
}

/// Parts of rows, as far as they could be read.
pub(super) struct Parts<'a> {
    pub units: &'a [Option<Unit>],
    pub surfaces: &'a [Option<Surface>],
    pub roots: &'a [Option<Root>],
    pub growth: &'a [Option<GrowthLaw>],
}

/// Reads a row.
pub(super) fn row(section: &Section, id: &str, ids: &Ids, parts: &Parts, window: Option<Window>) -> Option<Row> {
    let unit = section.reference("unit", "unit", &ids.units);
    let rotor = section.text("rotor");
    let blades = section.whole("blades", bounds::BLADES);
    let root = section.reference("root", "root", &ids.roots);
    let surface = section.reference("surface", "surface", &ids.surfaces);
    let in_service_year = section.number("in_service_year", bounds::YEAR);
    let past = Past { in_service_year, blades, window };
    let renewed = section.optional("renewed", |section, key| {
        past.renewals(section.get(key, "a list of tables with the keys year, blades")?)
    });
    let past_looks = section.optional("past_looks", |section, key| {
        past.looks(section.get(key, "a list of tables with the keys year, technique")?, ids)
    });
    let basis = section.basis();
    let there = unit.and_then(|unit| parts.units.get(unit)?.as_ref());
    if let (Some(year), Some(window)) = (in_service_year, window) {
        enters_in_time(section, year, window, there)?;
    }
    if let (Some(root), Some(surface)) = (root, surface) {
        layer_fits(section, parts, root, surface)?;
    }
    Some(Row {
        id: id.to_owned(),
        unit: unit?,
        rotor: rotor?,
        blades: blades?,
        root: root?,
        surface: surface?,
        in_service_year: in_service_year?,
        renewed: renewed?.unwrap_or_default(),
        past_looks: past_looks?.unwrap_or_default(),
        basis: basis?,
    })
}

/// Refuses a compressive layer that a hot spot's section cannot balance, or its crack does not know.
fn layer_fits(section: &Section, parts: &Parts, root: usize, surface: usize) -> Option<()> {
    // A part with a fault of its own is refused there.
    let there = (parts.roots.get(root).and_then(Option::as_ref), parts.surfaces.get(surface).and_then(Option::as_ref));
    let (Some(root), Some(surface)) = there else { return Some(()) };
    if surface.layer.is_none_or(|layer| layer.compression_mpa == 0.0) {
        return Some(());
    }
    for spot in &root.hot_spots {
        if let CrackShape::FixedFactor { .. } = spot.crack {
            section.fault(
                "surface",
                format!("has a layer, and the fixed-factor cracks of hot spot {:?} know none", spot.id),
                "make them semi-elliptical, or leave the layer out",
            );
            return None;
        }
        let site = section.accept("surface", spot.site(surface))?;
        if let Some(law) = parts.growth.get(spot.growth).and_then(Option::as_ref) {
            section.accept("surface", law.refinements.threshold.check_ratios(site.open_ratios()))?;
        }
    }
    Some(())
}

/// Refuses a row that comes after the study, before its unit's duty, or after one of its outages.
fn enters_in_time(section: &Section, year: f64, window: Window, unit: Option<&Unit>) -> Option<()> {
    let refuse = |rule: String, remedy: &str| {
        section.fault("in_service_year", rule, remedy);
        None
    };
    if year >= window.end {
        return refuse(
            format!("must be before the end of the study ({})", window.words()),
            "correct the year, or remove the row",
        );
    }
    let Some(unit) = unit else { return Some(()) };
    if let Some(first) = unit.duty.first().filter(|first| year < first.from_year) {
        return refuse(
            format!("must not be before the first duty period of its unit ({})", first.from_year),
            "begin the unit's duty earlier, or correct the year",
        );
    }
    if let Some(outage) = unit.outages.years.first().filter(|outage| **outage < year) {
        return refuse(
            format!("must not be after an outage of its unit ({outage}): an outage before the row exists"),
            "remove the outage, or give the row a unit of its own",
        );
    }
    Some(())
}

/// Past of a row from before the study.
struct Past {
    in_service_year: Option<f64>,
    blades: Option<u32>,
    window: Option<Window>,
}

impl Past {
    fn renewals(&self, place: Place) -> Option<Vec<Renewal>> {
        place.each(|place| {
            place.table(|section| {
                let year = section.number("year", bounds::YEAR).and_then(|year| self.within(section, year, true));
                let blades = section.get("blades", "a list of blade numbers of the row")?;
                let blades = blades.each_once(|place| {
                    let blade = place.whole(bounds::BLADES)?;
                    if let Some(last) = self.blades.filter(|last| blade > *last) {
                        place.fault(
                            format!("must be at most {last}, the number of blades of the row"),
                            "correct the blade number",
                        );
                        return None;
                    }
                    Some(blade)
                });
                Some(Renewal { year: year?, blades: blades? })
            })
        })
    }

    fn looks(&self, place: Place, ids: &Ids) -> Option<Vec<PastLook>> {
        let looks = place.each(|place| {
            let here = place.clone();
            let look = place.table(|section| {
                let year = section.number("year", bounds::YEAR).and_then(|year| self.within(section, year, false));
                let technique = section.reference("technique", "technique", &ids.techniques);
                let found = self.found(section);
                Some(PastLook { year: year?, technique: technique?, found: found? })
            });
            look.map(|look| (here, look))
        })?;
        in_time_order(looks.iter().map(|(place, look)| (place, look.year)), "a past look", false)?;
        Some(looks.into_iter().map(|(_, look)| look).collect())
    }

    /// What a past look found.
    fn found(&self, section: &Section) -> Option<Option<Found>> {
        let lengths_mm = section.optional("measured_lengths_mm", |section, key| {
            let place = section.get(key, "a list of numbers above 0")?;
            Some((place.clone(), place.each(|place| place.number(bounds::LENGTH_MM))?))
        })?;
        let Some(blades) = section.optional("found", |section, key| section.whole(key, bounds::FOUND))? else {
            if let Some((place, _)) = lengths_mm {
                place.fault(
                    "are lengths of blades of which found says nothing",
                    "add found, the number of blades called",
                );
                return None;
            }
            return Some(None);
        };
        if let Some(all) = self.blades.filter(|all| blades > *all) {
            section.fault(
                "found",
                format!("must be at most {all}, the number of blades of the row"),
                "correct one of them",
            );
            return None;
        }
        let (place, measured_lengths_mm) = lengths_mm.map_or((None, Vec::new()), |(place, all)| (Some(place), all));
        if measured_lengths_mm.len() > blades as usize {
            place?.fault(
                format!("must not be more lengths than blades that were found ({blades})"),
                "give the longest of each blade",
            );
            return None;
        }
        Some(Some(Found { blades, measured_lengths_mm }))
    }

    /// A year between the row's entry into service and the start of the study.
    fn within(&self, section: &Section, year: f64, ends_included: bool) -> Option<f64> {
        if let Some(entry) = self.in_service_year
            && (year < entry || (!ends_included && year == entry))
        {
            let rule = if ends_included { "must not be before" } else { "must be after" };
            section.fault(
                "year",
                format!("{rule} the row's in_service_year ({entry})"),
                "correct one of the two years",
            );
            return None;
        }
        if let Some(window) = self.window
            && (year > window.start || (!ends_included && year == window.start))
        {
            let rule = if ends_included { "must not be after" } else { "must be before" };
            section.fault(
                "year",
                format!("{rule} the start of the study ({})", window.start),
                "correct one of the two years",
            );
            return None;
        }
        Some(year)
    }
}
