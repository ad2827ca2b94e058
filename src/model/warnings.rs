//! Plans that may not say what their writer meant.

use super::Study;
use super::detection::Access;
use super::economics::DAYS_PER_YEAR;
use super::strategy::{Action, Look, RowEndAction, Sample, Strategy, When};

impl Study {
    /// What to beware of, in sentences: finds in past looks that lives do not go on from; consequences without a variance; in
    /// strategies looks that never take place, looks that fall on one outage, samples that leave blades out, cleaning that closes mouths nobody minds or that
    /// other looks do not see, peening that harms or never comes, blades that come out for nothing but a watched
    /// blade, dressing that never comes or has places last longer than new ones, ends of rows that never come. Empty when
    /// there is nothing to say.
    pub fn warnings(&self) -> Vec<String> {
        let of_each = |strategy| {
            let mut list = self.looks_that_never_come(strategy);
            list.extend(self.looks_at_one_outage(strategy));
            list.extend(self.blades_that_no_sample_covers(strategy));
            list.extend(self.cleaning_that_surprises(strategy));
            list.extend(self.peening_that_surprises(strategy));
            list.extend(self.blades_out_to_watch(strategy));
            list.extend(self.dressing_that_surprises(strategy));
            list.extend(self.row_ends_that_never_come(strategy));
            list.extend(self.spares_that_never_come(strategy));
            list
        };
        let of_all = self.finds_that_are_not_used().into_iter().chain(self.tails_without_variance());
        of_all.chain(self.strategies.iter().flat_map(of_each)).collect()
    }

    /// Consequences of a loss whose means over lives do not settle.
    fn tails_without_variance(&self) -> Vec<String> {
        let costs = &self.costs;
        let all = [("loss_cost", &costs.loss_cost), ("loss_days", &costs.loss_days)];
        let heavy = all.into_iter().filter(|(_, distribution)| distribution.has_infinite_variance());
        heavy
            .map(|(key, _)| {
                format!(
                    "costs.{key} has a tail_exponent of 2 or less and no cap, so that its variance is infinite: means of what losses \
                     come to do not settle, however many lives are lived, and their intervals and differences are too narrow. Give \
                     capped_at, the most that a loss can come to."
                )
            })
            .collect()
    }

    /// Rows of which it is said what was found, and whose lives do not go on from that.
    fn finds_that_are_not_used(&self) -> Option<String> {
        let says = |row: &&super::fleet::Row| row.past_looks.iter().any(|look| look.found.is_some());
        let rows: Vec<&str> = self.rows.iter().filter(says).map(|row| row.id.as_str()).collect();
        (!rows.is_empty()).then(|| {
            format!(
                "past_looks of {} say what was found, which is not used: lives begin with whatever these looks may have left. \
                 To go on from what was found, give the study its records.",
                rows.join(", ")
            )
        })
    }

    /// Outages, counted from 0, at which a look is due on a row.
    fn due(&self, strategy: &Strategy, look: &Look, row: usize) -> Vec<usize> {
        let about = &self.rows[row];
        let outages = &self.units[about.unit].outages.years;
        let is_covered = look.coverage.rows.as_ref().is_none_or(|rows| rows.contains(&row));
        let spots = &self.roots[about.root].hot_spots;
        let sees = |ids: &Vec<String>| spots.iter().any(|spot| ids.contains(&spot.id));
        if !is_covered || !look.coverage.hot_spots.as_ref().is_none_or(sees) {
            return Vec::new();
        }
        let end = strategy.row_end.and_then(|end| Some((outages.iter().position(|&year| year >= end.year)?, end.then)));
        // Of a look that reacts to finds only the first is certain.
        let count = if look.reacts() { 1 } else { outages.len() };
        let due = look.when.outages(outages).into_iter().take(count);
        due.filter(|&outage| match end {
            Some((last, RowEndAction::Retired)) => outage < last,
            Some((last, RowEndAction::NewRow)) => outage != last,
            None => true,
        })
        .collect()
    }

    fn looks_that_never_come(&self, strategy: &Strategy) -> Vec<String> {
        let mut list = Vec::new();
        for (number, look) in (1..).zip(&strategy.looks) {
            let meant = |row: &usize| look.coverage.rows.as_ref().is_none_or(|rows| rows.contains(row));
            let rows: Vec<usize> = (0..self.rows.len()).filter(meant).collect();
            let never: Vec<usize> =
                rows.iter().copied().filter(|&row| self.due(strategy, look, row).is_empty()).collect();
            if never.is_empty() {
                continue;
            }
            let most = never.iter().map(|&row| self.units[self.rows[row].unit].outages.years.len()).max().unwrap_or(0);
            let whom = if never.len() == rows.len() {
                "any row".to_owned()
            } else {
                format!("rows {}", named(never.iter().map(|&row| &self.rows[row].id)))
            };
            let first = match &look.when {
                When::Every { first_outage, .. } => Some(("first_outage", *first_outage)),
                When::Outages(numbers) => numbers.first().map(|number| ("the first of at_outages", *number)),
                When::Years(_) => None,
            };
            let reason = if let Some((key, first)) = first.filter(|(_, first)| *first as usize > most) {
                format!("{key} is {first}, and there are {most} outages in the study")
            } else {
                "no outage that is due comes before the row ends, or the root has none of the hot spots".to_owned()
            };
            let all = if never.len() == rows.len() && strategy.looks.len() == 1 {
                " The strategy never looks at all."
            } else {
                ""
            };
            list.push(format!("strategies.{}.looks[{number}] never looks at {whom}: {reason}.{all}", strategy.id));
        }
        list
    }

    /// Rows of which the samples of all looks together leave blades that nobody ever looks at, unless something is found.
    fn blades_that_no_sample_covers(&self, strategy: &Strategy) -> Option<String> {
        let most = |row: usize| -> u32 {
            let blades = self.rows[row].blades;
            let of_look = |look: &Look| {
                let due = self.due(strategy, look, row).len() as u32;
                match look.coverage.blades {
                    Sample::Number(size, _) if !look.reacts() => due * size.of(blades),
                    _ => due * blades,
                }
            };
            strategy.looks.iter().map(of_look).sum()
        };
        let rows = || (0..self.rows.len()).map(|row| (most(row), &self.rows[row]));
        let (most, row) = rows().find(|(most, row)| (1..row.blades).contains(most))?;
        Some(format!(
            "strategies.{}: its samples cover at most {most} of the {} blades of row {} in the whole study, as long as nothing is \
             found: the others are never looked at.",
            strategy.id, row.blades, row.id
        ))
    }

    fn looks_at_one_outage(&self, strategy: &Strategy) -> Vec<String> {
        let mut list = Vec::new();
        for (number, one) in strategy.looks.iter().enumerate() {
            for (other_number, other) in strategy.looks.iter().enumerate().skip(number + 1) {
                if one.instead_of_others
                    || other.instead_of_others
                    || are_apart(one.coverage.hot_spots.as_ref(), other.coverage.hot_spots.as_ref())
                {
                    continue;
                }
                let meeting = (0..self.rows.len()).find_map(|row| {
                    let due = self.due(strategy, other, row);
                    let outage = self.due(strategy, one, row).into_iter().find(|outage| due.contains(outage))?;
                    Some((row, outage))
                });
                let Some((row, outage)) = meeting else { continue };
                let techniques = |look: &Look| named(look.techniques.iter().map(|&index| &self.techniques[index].id));
                let paid = if one.techniques == other.techniques {
                    "the technique looks once and is paid once"
                } else {
                    "both are done and paid"
                };
                list.push(format!(
                    "strategies.{}: looks[{}] ({}) and looks[{}] ({}) fall on one outage, as the {} of row {}: {paid}. If the one is \
                     meant instead of the other, say so (instead_of_others = true), or change when they are due.",
                    strategy.id,
                    number + 1,
                    techniques(one),
                    other_number + 1,
                    techniques(other),
                    ordinal(outage + 1),
                    self.rows[row].id
                ));
            }
        }
        list
    }

    fn cleaning_that_surprises(&self, strategy: &Strategy) -> Vec<String> {
        let mut list = Vec::new();
        for (number, look) in strategy.looks.iter().enumerate() {
            let Some(cleaning) = look.cleaning.map(|cleaning| &self.cleaning[cleaning]) else { continue };
            let path = format!("strategies.{}.looks[{}]", strategy.id, number + 1);
            let second = look.escalation.iter().flat_map(|second| &second.techniques);
            let minds = |technique: &usize| self.techniques[*technique].closed_mouth_factor < 1.0;
            if cleaning.closes_mouth_probability > 0.0 && !look.techniques.iter().chain(second).any(minds) {
                list.push(format!(
                    "{path}: cleaning.{} closes mouths of cracks, and none of its techniques minds: their closed_mouth_factor is 1.",
                    cleaning.id
                ));
            }
            let others = strategy.looks.iter().enumerate();
            for (other_number, other) in others.filter(|(_, other)| other.cleaning.is_none()) {
                if look.instead_of_others || other.instead_of_others {
                    continue;
                }
                let meeting = (0..self.rows.len()).find_map(|row| {
                    let due = self.due(strategy, other, row);
                    let outage = self.due(strategy, look, row).into_iter().find(|outage| due.contains(outage))?;
                    Some((row, outage))
                });
                let Some((row, outage)) = meeting else { continue };
                list.push(format!(
                    "{path} is at blades after {}, and looks[{}] falls on the same outage, as the {} of row {}, and is taken to see \
                     them as if nobody had cleaned. If it comes after the cleaning, give it the same one.",
                    cleaning.id,
                    other_number + 1,
                    ordinal(outage + 1),
                    self.rows[row].id
                ));
            }
        }
        list
    }

    fn peening_that_surprises(&self, strategy: &Strategy) -> Vec<String> {
        let mut list = Vec::new();
        for (number, peening) in (1..).zip(&strategy.peening) {
            let path = format!("strategies.{}.peening[{number}]", strategy.id);
            if peening.life_factor < 1.0 {
                list.push(format!(
                    "{path}.life_factor is {}: it has cracks begin sooner than if nobody peened.",
                    peening.life_factor
                ));
            }
            let comes = |row: &usize| {
                let unit = self.unit_under(self.rows[*row].unit, strategy);
                let years = &unit.outages.years;
                let end =
                    strategy.row_end.and_then(|end| Some((years.iter().position(|&year| year >= end.year)?, end.then)));
                peening.when.outages(years).into_iter().any(|outage| match end {
                    Some((last, RowEndAction::Retired)) => outage < last,
                    Some((last, RowEndAction::NewRow)) => outage != last,
                    None => true,
                })
            };
            let never: Vec<&String> = (0..self.rows.len())
                .filter(|row| peening.is_of(*row) && !comes(row))
                .map(|row| &self.rows[row].id)
                .collect();
            if !never.is_empty() {
                list.push(format!(
                    "{path} never comes for rows {}: no outage that is due comes before the row ends.",
                    named(never.into_iter())
                ));
            }
        }
        list
    }

    fn blades_out_to_watch(&self, strategy: &Strategy) -> Option<String> {
        if !strategy.dispositions.iter().any(|rule| rule.action == Action::Watch) && !strategy.may_run_on() {
            return None;
        }
        let is_out = |technique: usize| self.techniques[technique].access == Access::BladesOut;
        let (row, outage, technique) = (0..self.rows.len()).find_map(|row| {
            let outages = self.units[self.rows[row].unit].outages.years.len();
            let due: Vec<Vec<usize>> = strategy.looks.iter().map(|look| self.due(strategy, look, row)).collect();
            (0..outages.saturating_sub(1)).find_map(|outage| {
                let looks = strategy.looks.iter().zip(&due);
                let now = looks.clone().filter(|(_, due)| due.contains(&outage)).map(|(look, _)| look);
                let calls = now.flat_map(|look| {
                    look.techniques.iter().chain(look.escalation.iter().flat_map(|second| &second.techniques))
                });
                let watched_by = strategy.watch.map(|watch| watch.technique);
                let by =
                    calls.map(|&technique| watched_by.unwrap_or(technique)).find(|&technique| is_out(technique))?;
                let mut next =
                    looks.filter(|(_, due)| due.contains(&(outage + 1))).flat_map(|(look, _)| &look.techniques);
                (!next.any(|&technique| is_out(technique))).then_some((row, outage, by))
            })
        })?;
        Some(format!(
            "strategies.{}: a blade that is watched after the {} outage (row {}) has the blades of its row taken out at the next, \
             only to be looked at by {} again, though no look with blades out is due there. State watch.technique to have it \
             looked at in place.",
            strategy.id,
            ordinal(outage + 1),
            self.rows[row].id,
            self.techniques[technique].id
        ))
    }

    fn dressing_that_surprises(&self, strategy: &Strategy) -> Vec<String> {
        let Some(dressing) = strategy.dressing else { return Vec::new() };
        let mut list = Vec::new();
        let id = &strategy.id;
        if strategy.looks.is_empty() && strategy.sister_rows.is_none() {
            list.push(format!("strategies.{id} dresses blades, and never looks at any."));
        }
        let groups = self.roots.iter().filter(|root| root.replaced_together > 1 && !dressing.blades_out);
        let roots: Vec<&String> = groups.map(|root| &root.id).collect();
        if !roots.is_empty() {
            list.push(format!(
                "strategies.{id} dresses blades without taking the row's blades out, and those of roots {} come out in groups \
                 only. If dressing needs them out, set dressing.blades_out.",
                named(roots.into_iter())
            ));
        }
        if dressing.life_factor > 1.0 {
            list.push(format!(
                "strategies.{id}.dressing.life_factor is {}: where a crack was ground out, the next one takes longer than in a \
                 new blade.",
                dressing.life_factor
            ));
        }
        let depths = self.roots.iter().flat_map(|root| &root.hot_spots).map(|spot| spot.initial_depth_mm.quantile(0.5));
        if depths.fold(f64::INFINITY, f64::min) > dressing.at_most_depth_mm {
            list.push(format!(
                "strategies.{id}: every crack begins deeper, at the median, than may be ground away ({} mm), so that blades are \
                 replaced instead of dressed, and the dressing is paid too.",
                dressing.at_most_depth_mm
            ));
        }
        list
    }

    fn spares_that_never_come(&self, strategy: &Strategy) -> Vec<String> {
        let horizon_days = self.horizon_years * DAYS_PER_YEAR;
        let late = (1..).zip(&strategy.spares).filter(|(_, stock)| stock.lead_days >= horizon_days);
        late.map(|(number, stock)| {
            format!(
                "strategies.{}.spares[{number}].lead_days is {}, and the study is as long or shorter: nothing that is ordered in it \
                 arrives in it, and rows wait beyond its end.",
                strategy.id, stock.lead_days
            )
        })
        .collect()
    }

    fn row_ends_that_never_come(&self, strategy: &Strategy) -> Option<String> {
        let end = strategy.row_end?;
        let comes = |row: usize| self.units[self.rows[row].unit].outages.years.iter().any(|&year| year >= end.year);
        let never: Vec<&String> =
            (0..self.rows.len()).filter(|&row| !comes(row)).map(|row| &self.rows[row].id).collect();
        (!never.is_empty()).then(|| {
            format!(
                "strategies.{}.row_end never comes for rows {}: they have no outage in the study in or after {}.",
                strategy.id,
                named(never.into_iter()),
                end.year
            )
        })
    }
}

/// Whether two looks are meant for different hot spots.
fn are_apart(one: Option<&Vec<String>>, other: Option<&Vec<String>>) -> bool {
    one.zip(other).is_some_and(|(one, other)| !one.iter().any(|id| other.contains(id)))
}

fn named<'a>(ids: impl Iterator<Item = &'a String>) -> String {
    ids.cloned().collect::<Vec<_>>().join(", ")
}

fn ordinal(number: usize) -> String {
    let ending = match (number % 10, number % 100) {
        (1, last) if last != 11 => "st",
        (2, last) if last != 12 => "nd",
        (3, last) if last != 13 => "rd",
        _ => "th",
    };
    format!("{number}{ending}")
}
