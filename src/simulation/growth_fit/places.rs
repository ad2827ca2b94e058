//! Rows and hot spots of cracks that were followed, and how cracks grow there.

use super::FollowedAt;
use super::crack::Family;
use super::curve::{GrowthCurve, SizeKind};
use crate::error::{Error, Result};
use crate::model::Study;
use crate::model::fleet::HotSpot;
use crate::model::growth::Threshold;
use crate::simulation::grown::find_hot_spot;
use crate::statistics::records::{Faults, SizeLine};

/// Where a crack is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Place {
    pub root: usize,
    /// Index of the hot spot in its root.
    pub class: usize,
    pub row: usize,
}

/// Places that were looked up, all of one growth law.
#[derive(Debug, Default)]
pub(super) struct Places {
    /// The law and the hot spot that was first seen to have it.
    law: Option<(usize, String)>,
    fit: Vec<(usize, usize, usize)>,
}

impl Places {
    /// The growth law.
    pub fn law(&self) -> Option<usize> {
        self.law.as_ref().map(|(law, _)| *law)
    }

    /// Where a line's crack is; a fault, and none, where the line names what is not there.
    ///
    /// What does not hang on the line is refused at once.
    pub fn find(
        &mut self,
        study: &Study,
        line: &SizeLine,
        at: &FollowedAt,
        faults: &mut Faults,
    ) -> Result<Option<Place>> {
        let Some(name) = line.hot_spot.as_deref().or(at.hot_spot.as_deref()) else {
            let rule = "must not be blank where none is given for all lines";
            faults.add(Some(line.line), "hot_spot", "", rule, "name the hot spot, or give it for all");
            return Ok(None);
        };
        let (root, class) = match find_hot_spot(study, name) {
            Ok(found) => found,
            Err(error) if line.hot_spot.is_none() => return Err(error),
            Err(_) => {
                let spots = study.roots.iter().flat_map(|root| {
                    root.hot_spots.iter().map(|spot| format!("{}.{}", root.id, spot.id)).collect::<Vec<_>>()
                });
                let remedy = format!("name one of {}", spots.collect::<Vec<_>>().join(", "));
                faults.add(Some(line.line), "hot_spot", name, "is not one hot spot of the study", &remedy);
                return Ok(None);
            }
        };
        let spot = &study.roots[root].hot_spots[class];
        let full = format!("{}.{}", study.roots[root].id, spot.id);
        let (law, first) = self.law.get_or_insert_with(|| (spot.growth, full.clone()));
        if *law != spot.growth {
            let [one, other] = [*law, spot.growth].map(|law| &study.growth[law].id);
            let rule = format!("grows by law {other}, and {first} by {one}: a fit is of one law");
            faults.add(Some(line.line), "hot_spot", name, &rule, "fit the cracks of each law by themselves");
            return Ok(None);
        }
        let Some(row) = find_row(study, root, line, at, faults)? else { return Ok(None) };
        if !self.fit.contains(&(root, class, row)) {
            check_growth(study, spot, &full, row)?;
            self.fit.push((root, class, row));
        }
        Ok(Some(Place { root, class, row }))
    }
}

fn find_row(
    study: &Study,
    root: usize,
    line: &SizeLine,
    at: &FollowedAt,
    faults: &mut Faults,
) -> Result<Option<usize>> {
    let with_root = |index: &usize| study.rows[*index].root == root;
    let known = || (0..study.rows.len()).filter(with_root);
    let names = || known().map(|row| study.rows[row].id.as_str()).collect::<Vec<_>>().join(", ");
    let root_id = &study.roots[root].id;
    let Some(id) = line.row.as_deref().or(at.row.as_deref()) else {
        let scatters = study.growth.iter().any(|law| law.row_sigma_log > 0.0);
        let rows: Vec<usize> = known().collect();
        return match rows.as_slice() {
            [] => Err(Error::argument("hot_spot", root_id, "must be in a root that some row has", "add a row with it")),
            [only] => Ok(Some(*only)),
            [first, ..] if !scatters => Ok(Some(*first)),
            _ => {
                let rule = "must not be blank where growth scatters from row to row: cracks of one row share a factor";
                faults.add(Some(line.line), "row", "", rule, &format!("name one of {}", names()));
                Ok(None)
            }
        };
    };
    let found = known().find(|row| study.rows[*row].id == id);
    if found.is_none() {
        let (rule, remedy) = (format!("there is no such row with root {root_id}"), format!("name one of {}", names()));
        if line.row.is_none() {
            return Err(Error::argument("row", id, &rule, &remedy));
        }
        faults.add(Some(line.line), "row", id, &rule, &remedy);
    }
    Ok(found)
}

/// Refuses a hot spot whose cracks do not all follow one curve at rates that differ by factors.
fn check_growth(study: &Study, spot: &HotSpot, name: &str, row: usize) -> Result<()> {
    let law = &study.growth[spot.growth];
    let surface = &study.surfaces[study.rows[row].surface];
    if !spot.needs_following(law, surface) {
        return Ok(());
    }
    let refused = |reason, rule: &str, remedy: &str| Err(Error::data(reason, format!("hot spot {name}"), rule, remedy));
    if spot.joining.is_some() && spot.origins > 1 {
        return refused(
            "joins",
            "has cracks that join: a size there may be of two, and grows by leaps that no growth law has",
            "fit cracks of a hot spot whose cracks do not join, or study cracks that are known to stand alone without joining",
        );
    }
    let refinements = &law.refinements;
    let mut why = Vec::new();
    if refinements.stress_corrosion.is_some() {
        why.push("stress corrosion, which goes by hours");
    }
    if spot.vibration.is_some() {
        why.push("vibration, which goes by hours");
    }
    if refinements.low_stage.is_some() {
        why.push("a second stage of the growth law");
    }
    if refinements.threshold != Threshold::None {
        why.push("a threshold");
    }
    if refinements.walker_exponent.is_some() || spot.load_ratio != 0.0 {
        why.push("a load ratio");
    }
    if surface.is_compressed() {
        why.push("residual stress");
    }
    if spot.stress_profile.is_some() {
        why.push("a profile of stress");
    }
    if why.is_empty() {
        why.push("its shape of crack, or its diagram limit");
    }
    refused(
        "no-one-curve",
        &format!(
            "has cracks that are followed one by one ({}): they do not share one growth curve that a factor runs faster or slower",
            why.join(", ")
        ),
        "a factor is fitted where Paris' law in one line holds, of starts alone: leave these refinements out to try it",
    )
}

/// How the cracks of a hot spot grow, for sizes between two.
pub(super) fn family(study: &Study, place: &Place, kind: SizeKind, ln_sizes: [f64; 2]) -> Family {
    let spot = &study.roots[place.root].hot_spots[place.class];
    let law = &study.growth[spot.growth];
    let stress_sigma = study.scatter.blade_stress_sigma_log;
    // Among blades that crack, stress is as if tilted by the power with which it hastens initiation; it enters the rate
    // with the exponent of growth.
    let tilt = study.initiation[spot.initiation].stress_exponent * stress_sigma * stress_sigma;
    Family {
        curve: GrowthCurve::new(study, spot, kind, ln_sizes),
        shift: law.exponent * tilt,
        sigma: law.crack_sigma_log.hypot(law.exponent * stress_sigma),
    }
}
