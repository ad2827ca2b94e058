//! What a lost blade does to others.

use crate::model::fleet::Consequences;

/// What it did.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Harm {
    Nothing,
    /// So many neighbours are damaged.
    Neighbours(u32),
    Row,
    Rotor,
}

impl Harm {
    /// By a uniform number.
    pub fn of(consequences: &Consequences, uniform: f64) -> Self {
        let [rotor, row, neighbours] = [
            consequences.rotor_wrecked_probability,
            consequences.row_wrecked_probability,
            consequences.neighbours_damaged_probability,
        ];
        if uniform < rotor {
            Harm::Rotor
        } else if uniform < rotor + row {
            Harm::Row
        } else if uniform < rotor + row + neighbours {
            Harm::Neighbours(consequences.neighbours)
        } else {
            Harm::Nothing
        }
    }
}

/// So many neighbours of a blade in a ring of blades: the nearest, on the one side and the other in turn.
pub(crate) fn neighbours(blade: u32, count: u32, blades: u32) -> impl Iterator<Item = u32> {
    let count = count.min(blades - 1);
    (0..count).map(move |number| {
        let away = number / 2 + 1;
        if number % 2 == 0 { (blade + away) % blades } else { (blade + blades - away) % blades }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test] // by hand
    fn the_nearest_neighbours_on_both_sides_are_harmed() {
        let of = |blade, count, blades| neighbours(blade, count, blades).collect::<Vec<u32>>();
        assert_eq!(of(0, 3, 10), [1, 9, 2]);
        assert_eq!(of(9, 4, 10), [0, 8, 1, 7]);
        // Of four blades there are three others.
        assert_eq!(of(1, 8, 4), [2, 0, 3]);
        assert!(of(0, 2, 1).is_empty());
    }

    #[test] // by hand
    fn one_number_tells_what_a_loss_does() {
        let consequences = Consequences {
            neighbours_damaged_probability: 0.3,
            neighbours: 4,
            row_wrecked_probability: 0.2,
            rotor_wrecked_probability: 0.1,
        };
        let harms = [0.05, 0.11, 0.29, 0.31, 0.59, 0.61, 0.99].map(|uniform| Harm::of(&consequences, uniform));
        let (neighbours, nothing) = (Harm::Neighbours(4), Harm::Nothing);
        assert_eq!(harms, [Harm::Rotor, Harm::Row, Harm::Row, neighbours, neighbours, nothing, nothing]);
        // What has no chance never happens.
        assert_eq!(Harm::of(&Consequences::default(), 0.0), nothing);
    }
}
