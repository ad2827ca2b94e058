//! Strategies.

use super::ids::Ids;
use super::reader::Place;
use super::section::Section;
use super::surface_treatment::peening;
use super::window::Window;
use crate::bounds;
use crate::model::detection::Technique;
use crate::model::fleet::{Root, Row, Unit};
use crate::model::strategy::{
    Action, AfterClean, AfterFinds, AfterLoss, Agreement, Choice, Coverage, Deferral, Disposition, Dressing,
    Escalation, EscalationScope, ExtraLook, Look, LookAfterLoss, LookScope, RowEnd, RowEndAction, Sample, SampleSize,
    SisterRows, SisterScope, Spares, StartsLimit, Strategy, UsedBlades, Watch, When, WhenWindowCloses, WithoutSpare,
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

/// Words of the study file for whose calls make an indication.
pub(super) const AGREEMENTS: [(&str, Agreement); 2] = [("any", Agreement::Any), ("all", Agreement::All)];

/// Words of the study file for the blades that are looked at again.
pub(super) const ESCALATION_SCOPES: [(&str, EscalationScope); 2] =
    [("row", EscalationScope::Row), ("called-blades", EscalationScope::CalledBlades)];

/// Words of the study file for the choice of the blades of a sample.
pub(super) const CHOICES: [(&str, Choice); 3] =
    [("drawn", Choice::Drawn), ("rotating", Choice::Rotating), ("least-looked-at", Choice::LeastLookedAt)];

/// Words of the study file for the scope of sister rows.
pub(super) const SISTERS: [(&str, SisterScope); 2] = [("rotor", SisterScope::Rotor), ("unit", SisterScope::Unit)];

/// Words of the study file for the rows that are looked at after a loss.
pub(super) const LOOK_SCOPES: [(&str, LookScope); 3] =
    [("row", LookScope::Row), ("rotor", LookScope::Rotor), ("unit", LookScope::Unit)];

/// Words of the study file for the action at the end of a row.
pub(super) const ROW_ENDS: [(&str, RowEndAction); 2] =
    [("new-row", RowEndAction::NewRow), ("retired", RowEndAction::Retired)];

/// Words of the study file for what is done where no spare blade is there.
pub(super) const WITHOUT_SPARE: [(&str, WithoutSpare); 2] =
    [("wait", WithoutSpare::Wait), ("run-on-watched", WithoutSpare::RunOnWatched)];

/// Words of the study file for what is done when the window of an outage closes.
pub(super) const WHEN_WINDOW_CLOSES: [(&str, WhenWindowCloses); 2] =
    [("overrun", WhenWindowCloses::Overrun), ("run-on-watched", WhenWindowCloses::RunOnWatched)];

/// What strategies are held against.
pub(super) struct Known<'a> {
    pub ids: &'a Ids,
    pub roots: &'a [Option<Root>],
    pub units: &'a [Option<Unit>],
    pub rows: &'a [Option<Row>],
    pub techniques: &'a [Option<Technique>],
    pub window: Option<Window>,
}

/// Reads a strategy.
pub(super) fn strategy(section: &Section, id: &str, known: &Known) -> Option<Strategy> {
    let &Known { ids, units, techniques, window, .. } = known;
    let description = section.text("description");
    let looks = section.optional("looks", |section, key| {
        let keys = "techniques, first_outage, every_outages";
        section
            .get(key, format!("a list of tables with the keys {keys}"))?
            .each(|place| place.table(|look| self::look(look, ids, window)))
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
    let spares = section.optional("spares", |section, key| spares(section, key, known));
    let when_window_closes =
        section.optional("when_window_closes", |section, key| section.choice(key, &WHEN_WINDOW_CLOSES));
    let may_run_on = when_window_closes == Some(Some(WhenWindowCloses::RunOnWatched))
        || spares.iter().flatten().flatten().any(|stock| stock.without == WithoutSpare::RunOnWatched);
    if section.has("watch") && dispositions.is_some() && spares.is_some() && !acts(Action::Watch) && !may_run_on {
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
    let extra_look =
        section.optional("extra_look", |section, key| section.table(key, |section| extra_look(section, ids)));
    let after_loss = section.choice("after_loss", &AFTER_LOSS);
    let look_after_loss =
        section.optional("look_after_loss", |section, key| section.table(key, |section| look_after_loss(section, ids)));
    for key in ["extra_look", "look_after_loss"].into_iter().filter(|key| section.has(key)) {
        if acts(Action::Dress) {
            let remedy = "remove it, or replace, watch or run on instead";
            section.fault(
                key,
                "does not go with a disposition of action \"dress\": blades are dressed at outages",
                remedy,
            );
        }
    }
    if let (Some(Some(look)), Some(AfterLoss::ReplaceRow)) = (&look_after_loss, after_loss)
        && look.of == LookScope::Row
    {
        let rule = "does not go with after_loss = \"replace-row\": the row is new then";
        section.fault("look_after_loss", rule, "look at the others of its rotor or unit, or remove it");
    }
    let row_end = section.optional("row_end", |section, key| section.table(key, |section| row_end(section, window)));
    let peening = section.optional("peening", |section, key| {
        let keys = "life_factor, cost_per_row, days_per_row, blades_out";
        section
            .get(key, format!("a list of tables with the keys {keys}"))?
            .each(|place| place.table(|section| peening(section, ids, window)))
    });
    let deferrals = section.optional("deferrals", |section, key| deferrals(section, key, ids, units, window));
    let starts_limit = section
        .optional("starts_limit", |section, key| section.table(key, |section| starts_limit(section, ids, window)));
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
        extra_look: extra_look?,
        after_loss: after_loss?,
        look_after_loss: look_after_loss?,
        row_end: row_end?,
        peening: peening?.unwrap_or_default(),
        deferrals: deferrals?.unwrap_or_default(),
        starts_limit: starts_limit?,
        spares: spares?.unwrap_or_default(),
        when_window_closes: when_window_closes?.unwrap_or(WhenWindowCloses::Overrun),
        basis: basis?,
    };
    let checks = [
        depths_are_measured(section, &strategy, techniques),
        spares_are_of_use(section, &strategy, known),
        window_may_close(section, &strategy, known),
    ];
    checks.into_iter().all(|is_good| is_good).then_some(strategy)
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

fn look(section: &Section, ids: &Ids, window: Option<Window>) -> Option<Look> {
    let techniques = section.references("techniques", "technique", &ids.techniques);
    let cleaning = section.optional("cleaning", |section, key| section.reference(key, "cleaning", &ids.cleaning));
    let when = when(section, "look", window);
    let instead_of_others = section.optional("instead_of_others", |section, key| section.flag(key));
    let agreement = section.optional("agreement", |section, key| section.choice(key, &AGREEMENTS));
    if let (Some(techniques), Some(Some(Agreement::All))) = (&techniques, agreement)
        && techniques.len() < 2
    {
        let rule = "\"all\" asks for two techniques or more";
        section.fault("agreement", rule, "name another technique in the look, or remove agreement");
    }
    let coverage = section.optional("coverage", |section, key| section.table(key, |section| coverage(section, ids)));
    let escalation =
        section.optional("escalation", |section, key| section.table(key, |section| escalation(section, ids)));
    if section.has("cleaning")
        && let (Some(Some(coverage)), Some(Some(escalation))) = (&coverage, &escalation)
        && coverage.blades != Sample::ALL
        && escalation.of == EscalationScope::Row
    {
        let rule =
            "does not go with a look at a part of the blades that has the whole row looked at: the rest is not cleaned";
        let remedy = "cover all blades, have called-blades looked at again, or remove the cleaning";
        section.fault("cleaning", rule, remedy);
    }
    let every = when.as_ref().and_then(|when| match when {
        When::Every { every_outages, .. } => Some(*every_outages),
        _ => None,
    });
    let after_finds =
        section.optional("after_finds", |section, key| section.table(key, |section| after_finds(section, every)));
    let after_clean =
        section.optional("after_clean", |section, key| section.table(key, |section| after_clean(section, every)));
    let skip_after_clean = section.optional("skip_after_clean", |section, key| section.whole(key, bounds::OUTAGES));
    let reacting = ["after_finds", "after_clean", "skip_after_clean"];
    for key in reacting.into_iter().filter(|key| section.has(key)) {
        if when.is_some() && every.is_none() {
            section.fault(key, "belongs with every_outages", "state first_outage and every_outages, or remove it");
        }
        if instead_of_others == Some(Some(true)) {
            let remedy = "remove one of the two: a look that is due by what is found cannot take the place of others";
            section.fault(key, "does not go with instead_of_others", remedy);
        }
    }
    Some(Look {
        techniques: techniques?,
        cleaning: cleaning?,
        when: when?,
        instead_of_others: instead_of_others?.unwrap_or(false),
        agreement: agreement?.unwrap_or(Agreement::Any),
        after_finds: after_finds?,
        after_clean: after_clean?,
        skip_after_clean: skip_after_clean?,
        coverage: coverage?.unwrap_or(Coverage { blades: Sample::ALL, hot_spots: None, rows: None }),
        escalation: escalation?,
    })
}

/// By period, at stated outages or in stated years.
pub(super) fn when(section: &Section, noun: &str, window: Option<Window>) -> Option<When> {
    let (by_outages, by_years) = (section.has("at_outages"), section.has("in_years"));
    let others = ["first_outage", "every_outages", "at_outages", "in_years"];
    if by_outages || by_years {
        let own = if by_outages { "at_outages" } else { "in_years" };
        for key in others.into_iter().filter(|key| *key != own && section.has(key)) {
            section.get(key, "");
            section.fault(key, format!("does not go with {own}"), format!("state the outages of a {noun} in one way"));
        }
    }
    if by_outages {
        let place = section.get("at_outages", "a list of whole numbers")?;
        let numbers = place.each(|place| place.whole(bounds::OUTAGES))?;
        return rises(section, "at_outages", noun, &numbers).then_some(When::Outages(numbers));
    }
    if by_years {
        let years = section.get("in_years", "a list of years")?.each(|place| {
            let year = place.number(bounds::YEAR)?;
            match window.filter(|window| !(window.start..window.end).contains(&year)) {
                Some(window) => {
                    let rule = format!("must lie within the study ({})", window.words());
                    place.fault(&rule, "correct the year, or remove it");
                    None
                }
                None => Some(year),
            }
        })?;
        return rises(section, "in_years", noun, &years).then_some(When::Years(years));
    }
    let first_outage = section.whole("first_outage", bounds::OUTAGES);
    let every_outages = section.whole("every_outages", bounds::OUTAGES);
    Some(When::Every { first_outage: first_outage?, every_outages: every_outages? })
}

/// Whether some numbers are there and rise; a fault where not.
fn rises<T: PartialOrd>(section: &Section, key: &'static str, noun: &str, numbers: &[T]) -> bool {
    if numbers.is_empty() {
        section.fault(key, "must not be empty", format!("state at least one, or remove the {noun}"));
    } else if numbers.windows(2).any(|pair| pair[1] <= pair[0]) {
        section.fault(key, "must be in rising order", "sort them, each once");
    } else {
        return true;
    }
    false
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

fn extra_look(section: &Section, ids: &Ids) -> Option<ExtraLook> {
    let after_years = section.number("after_years", bounds::OUTAGE_INTERVAL_YEARS);
    let techniques = section.references("techniques", "technique", &ids.techniques);
    let stop_cost = section.number("stop_cost", bounds::COST);
    let stop_days = section.number("stop_days", bounds::DAYS);
    Some(ExtraLook { after_years: after_years?, techniques: techniques?, stop_cost: stop_cost?, stop_days: stop_days? })
}

fn look_after_loss(section: &Section, ids: &Ids) -> Option<LookAfterLoss> {
    let of = section.choice("of", &LOOK_SCOPES);
    let techniques = section.references("techniques", "technique", &ids.techniques);
    Some(LookAfterLoss { of: of?, techniques: techniques? })
}

fn coverage(section: &Section, ids: &Ids) -> Option<Coverage> {
    let blades = sample(section);
    let hot_spots = section.optional("hot_spots", |section, key| section.references(key, "hot spot", &ids.hot_spots));
    let rows = section.optional("rows", |section, key| section.references(key, "row", &ids.rows));
    let names = |indices: Vec<usize>| indices.into_iter().map(|index| ids.hot_spots[index].clone()).collect();
    Some(Coverage { blades: blades?, hot_spots: hot_spots?.map(names), rows: rows? })
}

/// Which blades are looked at.
fn sample(section: &Section) -> Option<Sample> {
    let fraction = section.optional("blade_fraction", |section, key| section.number(key, bounds::FRACTION));
    let blades = section.optional("blades", |section, key| section.whole(key, bounds::BLADES));
    let chosen = section.optional("chosen", |section, key| section.choice(key, &CHOICES));
    let (fraction, blades, chosen) = (fraction?, blades?, chosen?);
    let size = match (fraction, blades) {
        (Some(_), Some(_)) => {
            section.fault("blades", "does not go with blade_fraction", "state the number of blades or their fraction");
            return None;
        }
        (Some(fraction), None) if chosen.is_some() => SampleSize::Fraction(fraction),
        (fraction, None) if chosen.is_none() => return Some(Sample::ByChance(fraction.unwrap_or(1.0))),
        (None, Some(blades)) => SampleSize::Blades(blades),
        _ => {
            section.fault("chosen", "belongs with blades or blade_fraction", "state how many blades, or remove it");
            return None;
        }
    };
    let Some(choice) = chosen else {
        let remedy = "add chosen = \"drawn\", \"rotating\" or \"least-looked-at\"";
        section.fault("blades", "must come with chosen, which says which blades they are", remedy);
        return None;
    };
    Some(Sample::Number(size, choice))
}

fn escalation(section: &Section, ids: &Ids) -> Option<Escalation> {
    let techniques = section.references("techniques", "technique", &ids.techniques);
    let of = section.optional("of", |section, key| section.choice(key, &ESCALATION_SCOPES));
    let from_blades = section.optional("from_blades", |section, key| section.whole(key, bounds::BLADES));
    let first_call_stands = section.flag("first_call_stands");
    Some(Escalation {
        techniques: techniques?,
        of: of?.unwrap_or(EscalationScope::Row),
        from_blades: from_blades?.unwrap_or(1),
        first_call_stands: first_call_stands?,
    })
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

/// Outages that are put off: each stays between its neighbours, and in the study.
fn deferrals(
    section: &Section,
    key: &'static str,
    ids: &Ids,
    units: &[Option<Unit>],
    window: Option<Window>,
) -> Option<Vec<Deferral>> {
    let keys = "a list of tables with the keys outage, by_years";
    let mut put_off: Vec<Vec<(u32, f64)>> = vec![Vec::new(); units.len()];
    let read = section.get(key, keys)?.each(|place| {
        let here = place.clone();
        let deferral = place.table(|section| {
            let outage = section.whole("outage", bounds::OUTAGES);
            let by_years = section.number("by_years", bounds::OUTAGE_INTERVAL_YEARS);
            let of = section.optional("units", |section, key| section.references(key, "unit", &ids.units));
            Some(Deferral { outage: outage?, by_years: by_years?, units: of? })
        });
        Some((here, deferral?))
    })?;
    let mut good = true;
    for (place, deferral) in &read {
        for (index, unit) in units.iter().enumerate().filter(|(index, _)| deferral.is_of(*index)) {
            let Some(unit) = unit else { continue };
            let years = &unit.outages.years;
            if deferral.outage as usize > years.len() {
                let rule = format!("must be of one of the {} outages of unit {} in the study", years.len(), unit.id);
                place.fault(rule, "name another one, or the units that have it");
                good = false;
            } else if put_off[index].iter().any(|(outage, _)| *outage == deferral.outage) {
                place.fault(format!("puts an outage of unit {} off that is put off before", unit.id), "remove one");
                good = false;
            }
            put_off[index].push((deferral.outage, deferral.by_years));
        }
    }
    if !good {
        return None;
    }
    for (unit, put_off) in units.iter().zip(&put_off) {
        let Some(unit) = unit else { continue };
        let mut years = unit.outages.years.clone();
        put_off.iter().for_each(|(outage, by_years)| years[*outage as usize - 1] += by_years);
        let end = window.map_or(f64::INFINITY, |window| window.end);
        for &(outage, _) in put_off {
            let (own, next) = (years[outage as usize - 1], years.get(outage as usize).copied());
            if own >= next.unwrap_or(end) {
                let what = if next.is_some() { "the one after it" } else { "the end of the study" };
                let limit = next.unwrap_or(end);
                section.fault(
                    key,
                    format!(
                        "puts outage {outage} of unit {} off to {own}: it must come before {what} ({limit})",
                        unit.id
                    ),
                    "shorten by_years, or put off the one after it too",
                );
                good = false;
            }
        }
    }
    good.then(|| read.into_iter().map(|(_, deferral)| deferral).collect())
}

fn starts_limit(section: &Section, ids: &Ids, window: Option<Window>) -> Option<StartsLimit> {
    let starts_per_year = section.number("starts_per_year", bounds::STARTS_PER_YEAR);
    let from_year = section.optional("from_year", |section, key| section.number(key, bounds::YEAR));
    let units = section.optional("units", |section, key| section.references(key, "unit", &ids.units));
    let cost_per_year = section.number("cost_per_year", bounds::COST);
    let from_year = match (from_year?, window) {
        (Some(year), Some(window)) if !(window.start..window.end).contains(&year) => {
            let rule = format!("must lie within the study ({})", window.words());
            section.fault("from_year", rule, "correct the year; the past is as it was");
            return None;
        }
        (Some(year), _) => year,
        (None, window) => window.map_or(0.0, |window| window.start),
    };
    Some(StartsLimit { starts_per_year: starts_per_year?, from_year, units: units?, cost_per_year: cost_per_year? })
}

/// Stocks of spare blades: no root in two of them, and none that no row takes from.
fn spares(section: &Section, key: &'static str, known: &Known) -> Option<Vec<Spares>> {
    let place = section.get(key, "a list of tables with the keys blades, lead_days, without")?;
    if place.elements()?.is_empty() {
        place.fault(
            "must not be empty",
            "state a stock, or remove it: then new blades are at hand when they are needed",
        );
        return None;
    }
    let read = place.each(|place| {
        let here = place.clone();
        let stock = place.table(|section| {
            let roots = section.optional("roots", |section, key| section.references(key, "root", &known.ids.roots));
            let blades = section.whole("blades", bounds::SPARES);
            let lead_days = section.number("lead_days", bounds::LEAD_DAYS);
            let without = section.choice("without", &WITHOUT_SPARE);
            let cost_per_year = section.optional("cost_per_year", |section, key| section.number(key, bounds::COST));
            let used_blades = section.optional("used_blades", |section, key| section.table(key, used_blades));
            Some(Spares {
                roots: roots?,
                blades: blades?,
                lead_days: lead_days?,
                without: without?,
                cost_per_year: cost_per_year?.unwrap_or(0.0),
                used_blades: used_blades?,
            })
        });
        Some((here, stock?))
    })?;
    let mut good = true;
    for (number, (place, stock)) in read.iter().enumerate() {
        let taken = |root: &usize| {
            let before = read[..number].iter().position(|(_, other)| other.is_of(*root))?;
            Some((&known.ids.roots[*root], before + 1))
        };
        let mut own = (0..known.ids.roots.len()).filter(|root| stock.is_of(*root));
        if let Some((root, before)) = own.find_map(|root| taken(&root)) {
            let rule = format!("has root {root}, which stock {before} has: a row takes blades from one stock");
            place.fault(rule, "name the roots of each stock in roots, each root once");
            good = false;
        } else if known.rows.iter().all(|row| row.as_ref().is_some_and(|row| !stock.is_of(row.root))) {
            place.fault("is of no row: none has one of its roots", "name other roots, or remove the stock");
            good = false;
        }
    }
    good.then(|| read.into_iter().map(|(_, stock)| stock).collect())
}

/// Refuses blades that run on when a window closes, where none is ever called to be replaced, where other rules have the
/// outage last longer, and where nobody knows what other rows leave of the window.
fn window_may_close(section: &Section, strategy: &Strategy, known: &Known) -> bool {
    if strategy.when_window_closes == WhenWindowCloses::Overrun {
        return true;
    }
    let acts = |action: Action| strategy.dispositions.iter().any(|rule| rule.action == action);
    let waits = strategy.spares.iter().any(|stock| stock.without == WithoutSpare::Wait);
    let rows_of = |unit: usize| known.rows.iter().flatten().filter(|row| row.unit == unit).count();
    let short_of_crews = known.units.iter().enumerate().find_map(|(index, unit)| {
        let unit = unit.as_ref()?;
        let crews = unit.crews.filter(|&crews| (crews as usize) < rows_of(index))?;
        Some((&unit.id, crews, rows_of(index)))
    });
    let key = "when_window_closes";
    if acts(Action::Dress) {
        let rule = "\"run-on-watched\" does not go with a disposition of action \"dress\": days of dressing are not known beforehand";
        section.fault(key, rule, "remove it, or replace instead");
    } else if strategy.looks.is_empty() || !acts(Action::Replace) {
        let rule = "\"run-on-watched\" has blades run on, and no called blade is ever to be replaced";
        section.fault(key, rule, "remove it, or state a look and a disposition that replaces");
    } else if waits {
        let rule = "\"run-on-watched\" has outages end in time, and spares have them wait for blades";
        section.fault(key, rule, "state without = \"run-on-watched\" for the spares, or remove it");
    } else if let Some((unit, crews, rows)) = short_of_crews {
        let rule = format!(
            "\"run-on-watched\" needs a crew for each row: unit {unit} has {crews} for {rows} rows, and what is left of its window \
             hangs on their order"
        );
        section.fault(key, rule, "state as many crews as the unit has rows, or remove it");
    } else {
        return true;
    }
    false
}

fn used_blades(section: &Section) -> Option<UsedBlades> {
    let blades = section.whole("blades", bounds::SPARES);
    let life_factor = section.number("life_factor", bounds::LIFE_FACTOR_OF_USED);
    let cost_per_blade = section.number("cost_per_blade", bounds::COST);
    Some(UsedBlades { blades: blades?, life_factor: life_factor?, cost_per_blade: cost_per_blade? })
}

/// Refuses stocks that nothing is ever taken from, and blades that run on where none is ever called to be replaced.
fn spares_are_of_use(section: &Section, strategy: &Strategy, known: &Known) -> bool {
    let replaces = !strategy.looks.is_empty()
        && strategy.dispositions.iter().any(|rule| matches!(rule.action, Action::Replace | Action::Dress));
    let mut good = true;
    for (number, stock) in (1..).zip(&strategy.spares) {
        let are_damaged = |root: (usize, &Option<Root>)| {
            stock.is_of(root.0) && root.1.as_ref().is_none_or(|root| root.handling_damage_probability > 0.0)
        };
        if !replaces && stock.without == WithoutSpare::RunOnWatched {
            let rule = format!("stock {number} has blades run on, and no called blade is ever to be replaced");
            section.fault("spares", rule, "state without = \"wait\", or a look and a disposition that replaces");
            good = false;
        } else if !replaces
            && strategy.after_loss == AfterLoss::ReplaceRow
            && !known.roots.iter().enumerate().any(are_damaged)
        {
            let rule = format!("stock {number} is never taken from: single blades are never replaced");
            section.fault("spares", rule, "remove it, or replace called or lost blades");
            good = false;
        }
    }
    good
}
