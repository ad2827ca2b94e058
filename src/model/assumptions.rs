//! What a study takes for granted: the list that stands with every answer.
//!
//! Each line is true of the engine as it is and is listed only where it bears on the study.

use super::Study;
use super::detection::Technique;
use super::fleet::{Consequences, HotSpot, Root, Surface};
use super::growth::{CrackShape, Limit};
use super::strategy::{Action, Strategy, WhenWindowCloses};

impl Study {
    /// What this study assumes, in sentences: first what holds for every study, then what its own
    /// inputs leave out, then the inputs whose basis is not stated.
    pub fn assumptions(&self) -> Vec<String> {
        let mut list = vec![
            "Intervals show how far the number of trials leaves an answer open; they do not show doubt about the inputs."
                .to_owned(),
            "A new blade, or a new row, is like the first: same origins, same scatter, age zero; it is there when needed."
                .to_owned(),
            self.about_losses(),
            "Calls on one crack by one technique differ from look to look by chance, beyond what the crack keeps and what \
             the inspection has for all its blades."
                .to_owned(),
        ];
        list.extend(self.about_growth());
        list.extend(self.about_overspeed());
        list.extend(self.about_outages());
        list.extend(self.about_the_past());
        list.extend(self.about_scatter());
        list.extend(self.about_techniques());
        list.extend(self.about_dressing());
        list.extend(self.about_treated_surfaces());
        list.extend(self.about_mouths());
        list.extend(self.without_basis());
        list
    }

    fn about_losses(&self) -> String {
        let does_harm = |root: &&Root| root.consequences != Consequences::default();
        let harmful = ids(self.roots.iter().filter(does_harm).map(|root| format!("roots.{}", root.id)));
        let harm = if harmful.is_empty() {
            "A lost blade harms no other blade,".to_owned()
        } else {
            format!("A lost blade harms others as stated and no further ({harmful}),")
        };
        let looking = self.strategies.iter().filter(|strategy| strategy.look_after_loss.is_some());
        let looking: Vec<&str> = looking.map(|strategy| strategy.id.as_str()).collect();
        let others = if looking.is_empty() { String::new() } else { format!(", but under {}", looking.join(", ")) };
        format!(
            "{harm} is replaced at once, alone or with its row, and moves no outage; the rest of its row is not looked at before \
             the next look that is due{others}."
        )
    }

    fn about_growth(&self) -> Vec<String> {
        let hot_spots = || self.roots.iter().flat_map(|root| root.hot_spots.iter().map(move |spot| (root, spot)));
        let named = |is_such: &dyn Fn(&HotSpot) -> bool| {
            ids(hot_spots().filter(|(_, spot)| is_such(spot)).map(|(root, spot)| format!("{}.{}", root.id, spot.id)))
        };
        let joins = |spot: &HotSpot| spot.joining.is_some() && spot.origins > 1;
        let on_starts_alone =
            named(&|spot| spot.vibration.is_none() && self.growth[spot.growth].refinements.stress_corrosion.is_none());
        let apart = named(&|spot| spot.origins_per_blade() > 1 && !joins(spot));
        let joining = named(&joins);
        let mut list = Vec::new();
        if !on_starts_alone.is_empty() {
            list.push(format!(
                "Cracks grow on starts alone, neither by running hours nor by vibration ({on_starts_alone})."
            ));
        }
        if !apart.is_empty() {
            list.push(format!(
                "Cracks grow each by itself: neighbours in a blade neither shield nor join one another ({apart})."
            ));
        }
        let steep = named(&|spot| spot.stress_profile.is_some());
        if !steep.is_empty() {
            list.push(format!(
                "Stress against depth enters by a weight function that is exact for straight profiles; where the stress falls \
                 off within a fifth of a crack's depth the stress intensity comes out 3 % low, within a tenth 6 %, which is on \
                 the unsafe side ({steep})."
            ));
        }
        let fixed = named(&|spot| matches!(spot.crack, CrackShape::FixedFactor { .. }) && spot.section.is_some());
        if !fixed.is_empty() {
            list.push(format!(
                "Fixed-factor cracks keep their factor and shape at any size, and end their blades at the latest when they are \
                 95 % through their section or as long as it is wide ({fixed})."
            ));
        }
        if !joining.is_empty() {
            list.push(format!(
                "Cracks whose gap meets the joining rule count at once as one, over the span of both and as deep as the \
                 deeper; before that they do not raise each other's stress intensity, and cracks of different serrations \
                 or sides never join ({joining})."
            ));
        }
        list
    }

    fn about_overspeed(&self) -> Vec<String> {
        let by_load = |spot: &HotSpot| matches!(spot.limit, Limit::Toughness { .. } | Limit::Diagram(_));
        let concerned = |unit: usize| {
            self.rows.iter().any(|row| row.unit == unit && self.roots[row.root].hot_spots.iter().any(by_load))
        };
        let such = |is_stated: bool| {
            let units = self.units.iter().enumerate();
            let units = units.filter(|(index, unit)| concerned(*index) && unit.overspeed.is_some() == is_stated);
            ids(units.map(|(_, unit)| &unit.id))
        };
        let (with, without) = (such(true), such(false));
        let mut list = Vec::new();
        if !with.is_empty() {
            list.push(format!(
                "An overspeed raises all stress of a start by the square of speed, ends cracks that are critical under it, \
                 and makes none grow ({with})."
            ));
        }
        if !without.is_empty() {
            list.push(format!(
                "No load is higher than that of an ordinary start: overspeed is not stated, so critical sizes are those of \
                 running speed ({without})."
            ));
        }
        list
    }

    fn about_outages(&self) -> Vec<String> {
        let mut list = Vec::new();
        let rows = |unit: usize| self.rows.iter().filter(|row| row.unit == unit).count();
        let without_crews = (0..self.units.len()).filter(|&unit| rows(unit) > 1 && self.units[unit].crews.is_none());
        let without_crews = ids(without_crews.map(|unit| &self.units[unit].id));
        if !without_crews.is_empty() {
            list.push(format!(
                "No crews are stated for {without_crews}: each of their rows is worked on by a crew of its own, at the \
                 same time as the others."
            ));
        }
        if self.costs.rotor_lift_days == 0.0 && self.costs.rotor_lift_cost == 0.0 {
            list.push(
                "Lifting a rotor takes no days and costs nothing beyond blades_out_days and blades_out_cost."
                    .to_owned(),
            );
        }
        if self.strategies.iter().any(|strategy| !strategy.looks.is_empty()) {
            list.push("The acts on one row at one outage follow one another: their days add up.".to_owned());
        }
        let stops = |strategy: &&Strategy| strategy.extra_look.is_some() || strategy.look_after_loss.is_some();
        let stopping = ids(self.strategies.iter().filter(stops).map(|strategy| &strategy.id));
        if !stopping.is_empty() {
            list.push(format!(
                "Between outages a crack whose growth is integrated is looked at as it was at the outage before, and called \
                 rather too seldom ({stopping})."
            ));
        }
        let by_the_call = |strategy: &&Strategy| watches(strategy) && strategy.watch.is_none();
        let unnamed = ids(self.strategies.iter().filter(by_the_call).map(|strategy| &strategy.id));
        if !unnamed.is_empty() {
            list.push(format!(
                "A blade that stays with an indication is looked at again at the next outage, by the technique that \
                 reported the longest, at its price and days of a whole row but for the blades ({unnamed})."
            ));
        }
        let named = self.strategies.iter().filter(|strategy| watches(strategy));
        for (strategy, watch) in named.filter_map(|strategy| Some((strategy, strategy.watch?))) {
            list.push(format!(
                "A blade that stays with an indication is looked at again at the next outage, by {} ({}).",
                self.techniques[watch.technique].id, strategy.id
            ));
        }
        let without_stock = |strategy: &&Strategy| {
            !strategy.looks.is_empty()
                && !self.rows.iter().all(|row| strategy.spares.iter().any(|stock| stock.is_of(row.root)))
        };
        let stocked =
            ids(self.strategies.iter().filter(|strategy| !strategy.spares.is_empty()).map(|strategy| &strategy.id));
        let at_hand = ids(self.strategies.iter().filter(without_stock).map(|strategy| &strategy.id));
        if !stocked.is_empty() && !at_hand.is_empty() {
            list.push(format!("New blades of rows without a stock are at hand whenever they are needed ({at_hand})."));
        }
        let closing = self.strategies.iter().filter(|one| one.when_window_closes == WhenWindowCloses::RunOnWatched);
        let closing = ids(closing.map(|strategy| &strategy.id));
        if !closing.is_empty() {
            list.push(format!(
                "Where the window closes, what is left of it for new blades is what the rotor's lift, the looks and the blades' way \
                 out and in leave, with a crew for each row ({closing})."
            ));
        }
        if !stocked.is_empty() {
            list.push(format!(
                "Days of waiting for a blade follow all other work on its row, and the days of a forced outage: nothing goes on \
                 meanwhile. New rows are never waited for ({stocked})."
            ));
        }
        let takes_used = |strategy: &&Strategy| strategy.spares.iter().any(|stock| stock.used_blades.is_some());
        let using = ids(self.strategies.iter().filter(takes_used).map(|strategy| &strategy.id));
        if !using.is_empty() {
            list.push(format!(
                "A used blade brings no crack with it: what it has been through is in its life factor alone, and in all else it is as a \
                 new one ({using})."
            ));
        }
        list
    }

    fn about_dressing(&self) -> Vec<String> {
        let dressed =
            ids(self.strategies.iter().filter(|strategy| strategy.dressing.is_some()).map(|strategy| &strategy.id));
        if dressed.is_empty() {
            return Vec::new();
        }
        vec![format!(
            "What is ground away changes neither the stress nor the section there; a crack that is not gone is left as deep, and as \
             visible, as it was ({dressed})."
        )]
    }

    fn about_treated_surfaces(&self) -> Vec<String> {
        let strategies = |is_such: &dyn Fn(&Strategy) -> bool| {
            ids(self.strategies.iter().filter(|strategy| is_such(strategy)).map(|strategy| &strategy.id))
        };
        let mut list = Vec::new();
        let cleaning = strategies(&|strategy| strategy.looks.iter().any(|look| look.cleaning.is_some()));
        if !cleaning.is_empty() {
            list.push(format!(
                "Cleaning changes nothing but what the looks that ask for it see at that outage, neither cracks nor surfaces \
                 ({cleaning})."
            ));
        }
        let peening = strategies(&|strategy| !strategy.peening.is_empty());
        if !peening.is_empty() {
            list.push(format!(
                "Peening anew changes nothing but the time to cracks that have not begun: those that have grow as before, and no \
                 crack is harder to find after it, which is on the unsafe side where peening closes mouths ({peening})."
            ));
        }
        list
    }

    fn about_the_past(&self) -> Vec<String> {
        let mut list = Vec::new();
        let together =
            self.roots.iter().filter(|root| root.replaced_together > 1).map(|root| format!("roots.{}", root.id));
        let together = ids(together);
        if !together.is_empty() && self.rows.iter().any(|row| !row.past_looks.is_empty()) {
            list.push(format!(
                "Blades that were called in past looks were replaced with their groups, as they are in the study ({together})."
            ));
        }
        let start = self.start_year;
        if self.rows.iter().any(|row| row.in_service_year < start) {
            list.push(format!(
                "No row lost a blade before {start}: lives that did are drawn again, so that a row that came through is \
                 the likelier to be a good one."
            ));
        }
        let looked_at = ids(self.rows.iter().filter(|row| !row.past_looks.is_empty()).map(|row| &row.id));
        if !looked_at.is_empty() {
            list.push(format!(
                "Past looks ({looked_at}) covered all blades; cracked blades that they called were replaced then; blades \
                 replaced then on false calls are left out."
            ));
        }
        list
    }

    fn about_scatter(&self) -> Vec<String> {
        let mut list = Vec::new();
        if self.scatter.row_factor.fixed().is_some() {
            list.push(
                "Rows of one kind do not differ in how readily they crack (scatter.row_factor is fixed).".to_owned(),
            );
        }
        if self.scatter.blade_stress_sigma_log == 0.0 {
            list.push("Blades of a row carry equal stress (scatter.blade_stress_sigma_log = 0).".to_owned());
        }
        let none = ids(self.growth.iter().filter(|law| law.crack_sigma_log == 0.0).map(|law| &law.id));
        if !none.is_empty() {
            list.push(format!("Cracks of one growth law grow alike (growth {none}: crack_sigma_log = 0)."));
        }
        let none = ids(self.growth.iter().filter(|law| law.row_sigma_log == 0.0).map(|law| &law.id));
        if !none.is_empty() {
            list.push(format!("Rows do not differ in growth (growth {none}: row_sigma_log = 0)."));
        }
        list
    }

    fn about_techniques(&self) -> Vec<String> {
        let which = |holds: &dyn Fn(&Technique) -> bool| {
            ids(self.techniques.iter().filter(|technique| holds(technique)).map(|technique| &technique.id))
        };
        let mut list = Vec::new();
        let mut add = |techniques: String, text: &str| {
            if !techniques.is_empty() {
                list.push(format!("{text} ({techniques})."));
            }
        };
        add(which(&|technique| technique.pod.ceiling >= 1.0), "A crack that is long enough is never missed: ceiling 1");
        add(
            which(&|technique| technique.inspection_sigma == 0.0),
            "One inspection is as good as another, whatever the crew and the day: inspection_sigma 0",
        );
        add(
            which(&|technique| technique.crack_sigma == 0.0),
            "A crack missed once is no harder to find the next time than others of its size: crack_sigma 0",
        );
        add(which(&|technique| technique.false_call_probability == 0.0), "No false calls: false_call_probability 0");
        add(
            which(&|technique| technique.false_call_probability > 0.0),
            "False calls fall on blades without a crack, anew at each look",
        );
        let kept = |index: &usize| self.techniques[*index].crack_sigma > 0.0;
        let keepers: Vec<usize> = (0..self.techniques.len()).filter(kept).collect();
        let apart: Vec<String> = keepers
            .iter()
            .flat_map(|&one| keepers.iter().filter(move |&&other| other > one).map(move |&other| (one, other)))
            .filter(|&(one, other)| self.persistence.correlation[one][other] == 0.0)
            .map(|(one, other)| format!("{} and {}", self.techniques[one].id, self.techniques[other].id))
            .collect();
        add(
            apart.join("; "),
            "What makes a crack hard to find by one technique says nothing about the other: no correlation is stated",
        );
        list
    }

    fn about_mouths(&self) -> Vec<String> {
        let mut list = Vec::new();
        let mut add = |holds: &dyn Fn(&Surface) -> bool, text: &str| {
            let surfaces = ids(self.surfaces.iter().filter(|surface| holds(surface)).map(|surface| &surface.id));
            if !surfaces.is_empty() {
                list.push(format!("{text} ({surfaces})."));
            }
        };
        let is_stated = |surface: &Surface| surface.closed_mouth_probability.is_some();
        add(
            &|surface| !is_stated(surface) && !surface.is_compressed(),
            "Every crack's mouth is open: closed_mouth_probability is not stated",
        );
        add(
            &|surface| !is_stated(surface) && surface.is_compressed(),
            "While the machine stands still, the layer holds nearly every crack's mouth shut: \
             closed_mouth_probability is not stated",
        );
        add(
            &|surface| is_stated(surface) && surface.may_close_mouths(),
            "A crack's mouth is open or closed for all techniques alike and for as long as its blade stays; a crack \
             that comes of joining has the mouth of the deeper of the two, over its whole length",
        );
        let indifferent = self.techniques.iter().filter(|technique| technique.closed_mouth_factor == 1.0);
        let indifferent = ids(indifferent.map(|technique| &technique.id));
        if !indifferent.is_empty() && self.surfaces.iter().any(Surface::may_close_mouths) {
            list.push(format!("A closed mouth hides no crack: closed_mouth_factor 1 ({indifferent})."));
        }
        list
    }

    fn without_basis(&self) -> Option<String> {
        let mut paths = Vec::new();
        let mut ask = |basis: &Option<String>, path: String| {
            if basis.is_none() {
                paths.push(path);
            }
        };
        ask(&self.scatter.basis, "scatter".to_owned());
        self.surfaces.iter().for_each(|surface| ask(&surface.basis, format!("surfaces.{}", surface.id)));
        self.initiation.iter().for_each(|law| ask(&law.basis, format!("initiation.{}", law.id)));
        self.growth.iter().for_each(|law| ask(&law.basis, format!("growth.{}", law.id)));
        for root in &self.roots {
            ask(&root.basis, format!("roots.{}", root.id));
            root.hot_spots.iter().for_each(|spot| ask(&spot.basis, format!("roots.{}.hot_spots.{}", root.id, spot.id)));
        }
        self.units.iter().for_each(|unit| ask(&unit.basis, format!("units.{}", unit.id)));
        self.rows.iter().for_each(|row| ask(&row.basis, format!("rows.{}", row.id)));
        self.cleaning.iter().for_each(|cleaning| ask(&cleaning.basis, format!("cleaning.{}", cleaning.id)));
        self.techniques.iter().for_each(|technique| ask(&technique.basis, format!("techniques.{}", technique.id)));
        self.strategies.iter().for_each(|strategy| ask(&strategy.basis, format!("strategies.{}", strategy.id)));
        ask(&self.costs.basis, "costs".to_owned());
        (!paths.is_empty()).then(|| format!("Inputs without a stated basis: {}.", paths.join(", ")))
    }
}

fn watches(strategy: &Strategy) -> bool {
    let by_disposition = || strategy.dispositions.iter().any(|rule| rule.action == Action::Watch);
    !strategy.looks.is_empty() && (by_disposition() || strategy.may_run_on())
}

fn ids(ids: impl Iterator<Item = impl AsRef<str>>) -> String {
    ids.map(|id| id.as_ref().to_owned()).collect::<Vec<_>>().join(", ")
}
