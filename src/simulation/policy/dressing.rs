//! Cracks ground out of blades that stay, and how much of each place is gone.

use crate::model::strategy::Dressing;

/// A place of a blade: a hot spot, and which of its positions.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct DressedPlace {
    pub blade: u32,
    pub hot_spot: u32,
    pub position: u32,
}

/// How much was ground away at the places of a row, in mm.
#[derive(Debug, Default)]
pub(crate) struct GroundAway {
    places: Vec<(DressedPlace, f64)>,
}

impl GroundAway {
    pub fn clear(&mut self) {
        self.places.clear();
    }

    /// Some blades are new.
    pub fn forget(&mut self, is_new: impl Fn(u32) -> bool) {
        self.places.retain(|(place, _)| !is_new(place.blade));
    }

    /// Whether a crack lies deeper than may still be ground away at its place.
    pub fn is_too_deep(&self, dressing: &Dressing, place: DressedPlace, depth_mm: f64) -> bool {
        let before = self.places.iter().find(|(other, _)| *other == place).map_or(0.0, |(_, ground_mm)| *ground_mm);
        depth_mm > dressing.at_most_depth_mm - before
    }

    /// A place was ground down to the deepest of its called cracks.
    pub fn grind(&mut self, place: DressedPlace, depth_mm: f64) {
        match self.places.iter_mut().find(|(other, _)| *other == place) {
            Some((_, ground_mm)) => *ground_mm += depth_mm,
            None => self.places.push((place, depth_mm)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test] // by hand
    fn what_is_ground_away_adds_up_at_each_place_by_itself() {
        let dressing = Dressing { gone_probability: 1.0, life_factor: 0.5, at_most_depth_mm: 2.0, blades_out: false };
        let place = |blade, position| DressedPlace { blade, hot_spot: 0, position };
        let mut ground = GroundAway::default();
        assert!(!ground.is_too_deep(&dressing, place(3, 0), 2.0) && ground.is_too_deep(&dressing, place(3, 0), 2.01));
        ground.grind(place(3, 0), 0.75);
        ground.grind(place(3, 0), 0.5);
        assert!(!ground.is_too_deep(&dressing, place(3, 0), 0.75) && ground.is_too_deep(&dressing, place(3, 0), 0.76));
        assert!(!ground.is_too_deep(&dressing, place(3, 1), 1.9) && !ground.is_too_deep(&dressing, place(4, 0), 1.9));
        ground.forget(|blade| blade == 3);
        assert!(!ground.is_too_deep(&dressing, place(3, 0), 1.9));
    }
}
