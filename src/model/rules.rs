//! What a strategy does beyond its schedule, in words.

use super::Study;
use super::strategy::{
    Action, AfterLoss, Agreement, Dressing, Escalation, EscalationScope, Look, LookScope, SisterScope, Spares,
    Strategy, WhenWindowCloses, WithoutSpare,
};
use super::surface_treatment::Peening;

impl Study {
    /// What a strategy does about what is found and lost, a sentence for each rule.
    pub fn rules_in_words(&self, strategy: &Strategy) -> Vec<String> {
        let mut rules: Vec<String> = strategy.looks.iter().flat_map(|look| self.rules_of_look(look)).collect();
        if !strategy.looks.is_empty() {
            rules.push(dispositions(strategy));
        }
        if let Some(watch) = strategy.watch {
            rules.push(format!("watched blades are looked at by {}", self.techniques[watch.technique].id));
        }
        rules.extend(strategy.dressing.as_ref().map(dressing));
        rules.extend(strategy.peening.iter().map(|peening| self.peening(peening)));
        if let Some(blades) = strategy.replace_row_from_blades {
            rules.push(format!("the row is replaced from {blades} called blades on"));
        }
        if let Some(sisters) = &strategy.sister_rows {
            let of = match sisters.of {
                SisterScope::Rotor => "rotor",
                SisterScope::Unit => "unit",
            };
            let techniques = self.named(&sisters.techniques);
            rules.push(format!("finds on a row have the others of its {of} looked at by {techniques}"));
        }
        if let Some(look) = &strategy.extra_look {
            rules.push(format!(
                "finds on a row have its unit stopped {} years later, if the next outage is not before that, and the row looked \
                 at by {}",
                look.after_years,
                self.named(&look.techniques)
            ));
        }
        rules.push(match strategy.after_loss {
            AfterLoss::ReplaceBlade => "after a loss the blade is replaced".to_owned(),
            AfterLoss::ReplaceRow => "after a loss the row is replaced".to_owned(),
        });
        if let Some(look) = &strategy.look_after_loss {
            let of = match look.of {
                LookScope::Row => "its row is",
                LookScope::Rotor => "all rows of its rotor are",
                LookScope::Unit => "all rows of its unit are",
            };
            rules.push(format!("after a loss {of} looked at by {}", self.named(&look.techniques)));
        }
        rules.extend(strategy.spares.iter().map(|stock| self.stock(stock)));
        if strategy.when_window_closes == WhenWindowCloses::RunOnWatched {
            rules.push("a called blade for which the window leaves no time runs on and is watched".to_owned());
        }
        rules
    }

    fn stock(&self, stock: &Spares) -> String {
        let blades = if stock.blades == 1 { "1 spare".to_owned() } else { format!("{} spares", stock.blades) };
        let roots = stock.roots.as_ref().map_or_else(
            || "all rows".to_owned(),
            |roots| {
                let names: Vec<&str> = roots.iter().map(|&root| self.roots[root].id.as_str()).collect();
                format!("all rows with root {}", names.join(" or "))
            },
        );
        let without = match stock.without {
            WithoutSpare::Wait => "is waited for",
            WithoutSpare::RunOnWatched => "runs on and is watched",
        };
        let lead = stock.lead_days;
        let used = stock.used_blades.map_or_else(String::new, |used| {
            let (blades, factor) = (used.blades, used.life_factor);
            format!(", and where none is there {blades} used ones with {factor} times the life of a new one")
        });
        format!("{roots} share {blades}, ordered anew in {lead} days{used}; a called blade without one {without}")
    }

    fn rules_of_look(&self, look: &Look) -> Vec<String> {
        let techniques = self.named(&look.techniques);
        let mut rules = Vec::new();
        if let Some(cleaning) = look.cleaning {
            rules.push(format!("{techniques} looks at blades after {}", self.cleaning[cleaning].id));
        }
        if look.agreement == Agreement::All {
            rules.push(format!("a blade is called where all of {techniques} call it"));
        }
        if look.instead_of_others {
            rules.push(format!("at outages of {techniques} other looks do not take place"));
        }
        rules.extend(look.escalation.as_ref().map(|escalation| self.escalation(&techniques, escalation)));
        if let Some(after) = look.after_finds {
            rules.push(format!(
                "after finds {techniques} comes {} for {}",
                if after.every_outages == 1 {
                    "at every outage".to_owned()
                } else {
                    format!("every {} outages", after.every_outages)
                },
                outages(after.for_outages)
            ));
        }
        if let Some(after) = look.after_clean {
            rules.push(format!(
                "after {} {techniques} comes {} later, at most {} apart",
                clean(after.looks),
                outages(after.longer_by),
                outages(after.at_most)
            ));
        }
        if let Some(looks) = look.skip_after_clean {
            rules.push(format!("after {} {techniques} skips one", clean(looks)));
        }
        rules
    }

    fn escalation(&self, techniques: &str, escalation: &Escalation) -> String {
        let from = match escalation.from_blades {
            1 => "calls".to_owned(),
            blades => format!("calls on {blades} blades or more"),
        };
        let whom = match escalation.of {
            EscalationScope::Row => "the row",
            EscalationScope::CalledBlades => "the called blades",
        };
        let stand = if escalation.first_call_stands { "count anyway" } else { "count only if confirmed" };
        format!("{from} by {techniques} have {whom} looked at by {}; they {stand}", self.named(&escalation.techniques))
    }

    fn peening(&self, peening: &Peening) -> String {
        let rows = peening.rows.iter().map(|rows| {
            let names: Vec<&str> = rows.iter().map(|&row| self.rows[row].id.as_str()).collect();
            format!(" of {}", names.join(", "))
        });
        let out = if peening.blades_out { ", with blades out" } else { "" };
        format!(
            "peening{} gives {} times the time that is left until a crack{out}",
            rows.collect::<String>(),
            peening.life_factor
        )
    }

    fn named(&self, techniques: &[usize]) -> String {
        let names: Vec<&str> = techniques.iter().map(|&index| self.techniques[index].id.as_str()).collect();
        names.join(" and ")
    }
}

fn outages(count: u32) -> String {
    if count == 1 { "1 outage".to_owned() } else { format!("{count} outages") }
}

fn clean(looks: u32) -> String {
    if looks == 1 { "a clean look".to_owned() } else { format!("{looks} clean looks") }
}

fn dispositions(strategy: &Strategy) -> String {
    let words = |action: Action| match action {
        Action::Replace => "is replaced",
        Action::Watch => "is watched",
        Action::ReplaceRow => "has its row replaced",
        Action::RunOn => "runs on",
        Action::Dress => "is dressed",
    };
    let rules: Vec<String> = strategy
        .dispositions
        .iter()
        .map(|rule| {
            let bounds: Vec<String> = [(rule.below_mm, "long"), (rule.below_depth_mm, "deep")]
                .into_iter()
                .filter(|(below_mm, _)| below_mm.is_finite())
                .map(|(below_mm, what)| format!("{below_mm} mm {what}"))
                .collect();
            if bounds.is_empty() {
                words(rule.action).to_owned()
            } else {
                format!("{} below {}", words(rule.action), bounds.join(" and "))
            }
        })
        .collect();
    format!("a called blade {}", rules.join(", or else "))
}

fn dressing(dressing: &Dressing) -> String {
    let Dressing { gone_probability, life_factor, at_most_depth_mm, blades_out } = dressing;
    let out = if *blades_out { ", with blades out" } else { "" };
    format!(
        "a dressed crack is gone with a chance of {gone_probability}, its place has {life_factor} times the life of a new one, and \
         at most {at_most_depth_mm} mm are ground away{out}"
    )
}
