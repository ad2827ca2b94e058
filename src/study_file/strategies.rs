//! Strategies.

use super::ids::Ids;
use super::reader::Place;
use super::section::Section;
use super::window::Window;
use crate::bounds;
use crate::model::detection::Technique;
use crate::model::strategy::{
    Action, AfterClean, AfterFinds, AfterLoss, Coverage, Disposition, Dressing, Escalation, Look, RowEnd, RowEndAction,
    SisterRows, SisterScope, Strategy, Watch,
};

/// Words of the study file for the action on a blade with an indication.
pub(super) const ACTIONS: [(&str, Action); 5] = [
    ("replace", Action::Replace),
    ("watch", Action::Watch),
    ("run-on", Action::RunOn),
    ("dress", Action::Dress),
    ("replace-row", Action::ReplaceRow),
];

/// Words of the study file for the action after a loss.
pub(super) const AFTER_LOSS: [(&str, AfterLoss); 2] =
    [("replace-blade", AfterLoss::ReplaceBlade), ("replace-row", AfterLoss::ReplaceRow)];

/// Words of the study file for the scope of sister rows.
pub(super) const SISTERS: [(&str, SisterScope); 2] = [("rotor", SisterScope::Rotor), ("unit", SisterScope::Unit)];

/// Words of the study file for the action at the end of a row.
pub(super) const ROW_ENDS: [(&str, RowEndAction); 2] =
    [("new-row", RowEndAction::NewRow), ("retired", RowEndAction::Retired)];

/// Reads a strategy.
pub(super) fn strategy(
    section: &Section,
    id: &str,
    ids: &Ids,
    techniques: &[Option<Technique>],
    window: Option<Window>,
) -> Option<Strategy> {
    let description = section.text("description");
    let looks = section.optional("looks", |section, key| {
        let keys = "techniques, first_outage, every_outages";
        section
            .get(key, format!("a list of tables with the keys {keys}"))?
            .each(|place| place.table(|look| self::look(look, ids)))
    });
    let read_dispositions =
        |section: &Section, key| dispositions(section.get(key, "a list of tables with the key action")?);
    if looks.as_ref().and_then(Option::as_ref).is_some_and(|looks| looks.len() > bounds::MOST_LOOKS) {
        let rule = format!("must hold at most {} looks", bounds::MOST_LOOKS);
        section.fault("looks", rule, "name several techniques in one look");
    }
    let dispositions = if section.has("looks") {
        read_dispositions(section, "dispositions")
    } else {
        let stated = section.optional("dispositions", read_dispositions);
        stated.map(|stated| stated.unwrap_or_else(|| vec![Disposition::last(Action::Replace)]))
    };
    let watch = section.optional("watch", |section, key| section.table(key, |section| watch(section, ids)));
    let acts = |action: Action| dispositions.iter().flatten().any(|rule| rule.action == action);
    if section.has("watch") && dispositions.is_some() && !acts(Action::Watch) {
        section.fault("watch", "belongs with a disposition of action \"watch\"", "remove it, or add the disposition");
    }
    let dressing = if acts(Action::Dress) {
        section.table("dressing", dressing).map(Some)
    } else {
        section.optional("dressing", |section, key| section.table(key, dressing))
    };
    if section.has("dressing") && dispositions.is_some() && !acts(Action::Dress) {
        section.fault(
            "dressing",
            "belongs with a disposition of action \"dress\"",
            "remove it, or add the disposition",
        );
    }
    let sister_rows =
        section.optional("sister_rows", |section, key| section.table(key, |section| sister_rows(section, ids)));
    let replace_row_from_blades =
        section.optional("replace_row_from_blades", |section, key| section.whole(key, bounds::BLADES));
    let after_loss = section.choice("after_loss", &AFTER_LOSS);
    let row_end = section.optional("row_end", |section, key| section.table(key, |section| row_end(section, window)));
    let basis = section.basis();
    let strategy = Strategy {
        id: id.to_owned(),
        description: description?,
        looks: looks?.unwrap_or_default(),
        dispositions: dispositions?,
        dressing: dressing?,
        watch: watch?,
        sister_rows: sister_rows?,
        replace_row_from_blades: replace_row_from_blades?,
        after_loss: after_loss?,
        row_end: row_end?,
        basis: basis?,
    };
    depths_are_measured(section, &strategy, techniques).then_some(strategy)
}

/// Refuses dispositions by depth that come upon calls of which nobody measures the depth.
fn depths_are_measured(section: &Section, strategy: &Strategy, techniques: &[Option<Technique>]) -> bool {
    if !strategy.dispositions.iter().any(Disposition::asks_for_depth) {
        return true;
    }
    let called_by = strategy.techniques_that_may_stand().filter_map(|index| techniques.get(index)?.as_ref());
    let mut blind: Vec<&str> = Vec::new();
    for technique in called_by.filter(|technique| technique.depth_sizing.is_none()) {
        if !blind.contains(&technique.id.as_str()) {
            blind.push(&technique.id);
        }
    }
    if !blind.is_empty() {
        let rule = format!("go by depth, and calls of {} may stand, of which no depth is measured", blind.join(", "));
        let remedy = "give it sizing.depth_bias, sizing.depth_sigma_log and false_call_depth_mm, or go by length";
        section.fault("dispositions", rule, remedy);
    }
    blind.is_empty()
}

fn look(section: &Section, ids: &Ids) -> Option<Look> {
    let techniques = section.references("techniques", "technique", &ids.techniques);
    let first_outage = section.whole("first_outage", bounds::OUTAGES);
    let every_outages = section.whole("every_outages", bounds::OUTAGES);
    let coverage = section.optional("coverage", |section, key| section.table(key, |section| coverage(section, ids)));
    let escalation =
        section.optional("escalation", |section, key| section.table(key, |section| escalation(section, ids)));
    let every = every_outages;
    let after_finds =
        section.optional("after_finds", |section, key| section.table(key, |section| after_finds(section, every)));
    let after_clean =
        section.optional("after_clean", |section, key| section.table(key, |section| after_clean(section, every)));
    let skip_after_clean = section.optional("skip_after_clean", |section, key| section.whole(key, bounds::OUTAGES));
    Some(Look {
        techniques: techniques?,
        first_outage: first_outage?,
        every_outages: every_outages?,
        after_finds: after_finds?,
        after_clean: after_clean?,
        skip_after_clean: skip_after_clean?,
        coverage: coverage?.unwrap_or(Coverage { blade_fraction: 1.0, hot_spots: None, rows: None }),
        escalation: escalation?,
    })
}

/// `every` is the interval without finds.
fn after_finds(section: &Section, every: Option<u32>) -> Option<AfterFinds> {
    let every_outages = section.whole("every_outages", bounds::OUTAGES);
    let for_outages = section.whole("for_outages", bounds::OUTAGES);
    if let (Some(short), Some(every)) = (every_outages, every)
        && short > every
    {
        let rule = format!("must be at most the look's every_outages ({every})");
        section.fault("every_outages", rule, "finds bring looks forward; raise the look's own, or lower this");
        return None;
    }
    Some(AfterFinds { every_outages: every_outages?, for_outages: for_outages? })
}

/// `every` is the interval without finds.
fn after_clean(section: &Section, every: Option<u32>) -> Option<AfterClean> {
    let looks = section.whole("looks", bounds::OUTAGES);
    let longer_by = section.whole("longer_by", bounds::OUTAGES);
    let at_most = section.whole("at_most", bounds::OUTAGES);
    if let (Some(at_most), Some(every)) = (at_most, every)
        && at_most < every
    {
        let rule = format!("must be at least the look's every_outages ({every})");
        section.fault("at_most", rule, "looks without finds put the next ones off; raise it");
        return None;
    }
    Some(AfterClean { looks: looks?, longer_by: longer_by?, at_most: at_most? })
}

fn sister_rows(section: &Section, ids: &Ids) -> Option<SisterRows> {
    let of = section.choice("of", &SISTERS);
    let techniques = section.references("techniques", "technique", &ids.techniques);
    Some(SisterRows { of: of?, techniques: techniques? })
}

fn coverage(section: &Section, ids: &Ids) -> Option<Coverage> {
    let blade_fraction = section.optional("blade_fraction", |section, key| section.number(key, bounds::FRACTION));
    let hot_spots = section.optional("hot_spots", |section, key| section.references(key, "hot spot", &ids.hot_spots));
    let rows = section.optional("rows", |section, key| section.references(key, "row", &ids.rows));
    let names = |indices: Vec<usize>| indices.into_iter().map(|index| ids.hot_spots[index].clone()).collect();
    Some(Coverage { blade_fraction: blade_fraction?.unwrap_or(1.0), hot_spots: hot_spots?.map(names), rows: rows? })
}

fn escalation(section: &Section, ids: &Ids) -> Option<Escalation> {
    let techniques = section.references("techniques", "technique", &ids.techniques);
    let first_call_stands = section.flag("first_call_stands");
    Some(Escalation { techniques: techniques?, first_call_stands: first_call_stands? })
}

/// Each within what those before it leave, the last for all that is left.
fn dispositions(place: Place) -> Option<Vec<Disposition>> {
    let elements = place.elements()?;
    if elements.is_empty() {
        place.fault("must not be empty", "say what happens to a blade with an indication: { action = \"replace\" }");
        return None;
    }
    let last = elements.len() - 1;
    let mut before: Vec<Disposition> = Vec::with_capacity(elements.len());
    let mut read: Vec<Option<Disposition>> = Vec::with_capacity(elements.len());
    for (index, element) in elements.into_iter().enumerate() {
        let disposition = element.table(|section| {
            let action = section.choice("action", &ACTIONS);
            if index == last {
                return ends_the_list(section).then(|| action.map(Disposition::last)).flatten();
            }
            let asks_for_depth = section.has("below_depth_mm");
            let below_mm = if asks_for_depth {
                section.optional("below_mm", |section, key| section.number(key, bounds::LENGTH_MM))
            } else {
                section.number("below_mm", bounds::LENGTH_MM).map(Some)
            };
            let below_depth_mm =
                section.optional("below_depth_mm", |section, key| section.number(key, bounds::LENGTH_MM));
            let disposition = Disposition {
                below_mm: below_mm?.unwrap_or(f64::INFINITY),
                below_depth_mm: below_depth_mm?.unwrap_or(f64::INFINITY),
                action: action?,
            };
            let is_reached = is_reached(section, &disposition, &before);
            before.push(disposition);
            is_reached.then_some(disposition)
        });
        read.push(disposition);
    }
    read.into_iter().collect()
}

/// Refuses bounds of the last disposition.
fn ends_the_list(section: &Section) -> bool {
    let mut ends = true;
    for (key, what) in [("below_mm", "length"), ("below_depth_mm", "depth")] {
        if section.has(key) {
            section.get(key, "");
            let rule = format!("the last disposition holds for every {what} above the others");
            section.fault(key, rule, format!("remove {key}"));
            ends = false;
        }
    }
    ends
}

/// Refuses a disposition that those before it leave nothing.
fn is_reached(section: &Section, disposition: &Disposition, before: &[Disposition]) -> bool {
    let Some(number) = before.iter().rposition(|earlier| earlier.covers(disposition)) else { return true };
    let earlier = &before[number];
    if earlier.asks_for_depth() || disposition.asks_for_depth() {
        let rule = format!("is never reached: disposition {} holds wherever it does", number + 1);
        section.fault_here(rule, "put the one with the narrower bounds first, or remove it");
    } else {
        section.fault(
            "below_mm",
            format!("must exceed the one before it ({})", earlier.below_mm),
            "put the dispositions in the order of length",
        );
    }
    false
}

fn dressing(section: &Section) -> Option<Dressing> {
    let gone_probability = section.number("gone_probability", bounds::PROBABILITY);
    let life_factor = section.number("life_factor", bounds::FACTOR);
    let at_most_depth_mm = section.number("at_most_depth_mm", bounds::LENGTH_MM);
    let blades_out = section.flag("blades_out");
    Some(Dressing {
        gone_probability: gone_probability?,
        life_factor: life_factor?,
        at_most_depth_mm: at_most_depth_mm?,
        blades_out: blades_out?,
    })
}

fn watch(section: &Section, ids: &Ids) -> Option<Watch> {
    let technique = section.reference("technique", "technique", &ids.techniques);
    let cost = |key| section.optional(key, |section, key| section.number(key, bounds::COST));
    let (cost_per_row, cost_per_blade) = (cost("cost_per_row"), cost("cost_per_blade"));
    let days_per_row = section.optional("days_per_row", |section, key| section.number(key, bounds::DAYS));
    Some(Watch {
        technique: technique?,
        cost_per_row: cost_per_row?,
        cost_per_blade: cost_per_blade?,
        days_per_row: days_per_row?,
    })
}

fn row_end(section: &Section, window: Option<Window>) -> Option<RowEnd> {
    let year = section.number("year", bounds::YEAR);
    let then = section.choice("then", &ROW_ENDS);
    let year = year?;
    if let Some(window) = window.filter(|window| !(window.start..window.end).contains(&year)) {
        section.fault(
            "year",
            format!("must lie within the study ({})", window.words()),
            "correct the year, or remove row_end",
        );
        return None;
    }
    Some(RowEnd { year, then: then? })
}
