//! Given the cracks of a row: how probable it is that a look calls so many of its blades, and which cracks it leaves.
//!
//! Given the cracks, blades are called one apart from the other. So the chance of so many calls is a coefficient of a product
//! of polynomials, one for each set of blades that are replaced together: exact, where to draw calls would waste most lives.

use crate::simulation::nature::Crack;
use crate::simulation::policy::Groups;
use crate::simulation::row_batch::RowBatch;

/// A crack of one life at the moment of the look.
#[derive(Debug, Clone)]
pub(super) struct CrackNow {
    pub blade: u32,
    pub hot_spot: usize,
    /// Surface length in mm; none where it begins later.
    pub length_mm: Option<f64>,
    /// When its blade is lost if nobody does anything.
    pub lost_year: f64,
    /// Whether it is the planted one of its life.
    pub is_planted: bool,
    /// Chance that each technique calls it.
    pods: Vec<f64>,
}

/// Blades that are replaced together, of which some are cracked or will be.
#[derive(Debug, Clone)]
pub(super) struct Bundle {
    blades: u32,
    pub cracks: Vec<CrackNow>,
}

impl Bundle {
    /// Cracks that are there.
    pub fn present(&self) -> impl Iterator<Item = &CrackNow> {
        self.cracks.iter().filter(|crack| crack.length_mm.is_some())
    }

    /// Length of the longest crack that is there; 0 where none is.
    pub fn longest_mm(&self) -> f64 {
        self.present().filter_map(|crack| crack.length_mm).fold(0.0, f64::max)
    }

    /// When the first of its blades is lost.
    pub fn lost_year(&self) -> f64 {
        self.cracks.iter().map(|crack| crack.lost_year).fold(f64::INFINITY, f64::min)
    }
}

/// The row of one life at the moment of the look.
#[derive(Debug, Clone)]
pub(super) struct RowNow {
    pub bundles: Vec<Bundle>,
    /// Blades outside of them.
    sound: u32,
}

impl RowNow {
    /// Of a life that stands at the start of the study, which has an outage there; `techniques` may look.
    pub fn of(batch: &RowBatch, life: usize, groups: Groups, techniques: &[usize]) -> Self {
        let RowBatch { nature, inspections } = batch;
        let now = nature.plan.calendar.start;
        let planted = nature.planted.get(life);
        let crack_now = |crack: &Crack| {
            let is_planted = planted.is_some_and(|planted| planted.standing.key == Some(crack.key));
            let is_there = crack.is_present(now);
            let persistent = match planted.filter(|_| is_planted) {
                Some(planted) => planted.numbers.persistent.clone(),
                None if is_there => inspections.persistent(crack),
                None => Vec::new(),
            };
            let pod = |&technique: &usize| inspections.pod(nature, crack, technique, now, &persistent);
            CrackNow {
                blade: crack.blade,
                hot_spot: crack.hot_spot(),
                length_mm: is_there.then(|| nature.size_mm(crack, now)[1]),
                lost_year: crack.lost_year,
                is_planted,
                pods: if is_there { techniques.iter().map(pod).collect() } else { Vec::new() },
            }
        };
        let mut bundles: Vec<(u32, Bundle)> = Vec::new();
        for crack in &nature.cracks[nature.first_cracks(life)] {
            let together = groups.of(crack.blade);
            match bundles.iter_mut().find(|(first, _)| *first == together.start) {
                Some((_, bundle)) => bundle.cracks.push(crack_now(crack)),
                None => {
                    let bundle = Bundle { blades: together.end - together.start, cracks: vec![crack_now(crack)] };
                    bundles.push((together.start, bundle));
                }
            }
        }
        let bundles: Vec<Bundle> = bundles.into_iter().map(|(_, bundle)| bundle).collect();
        let sound = nature.plan.blades - bundles.iter().map(|bundle| bundle.blades).sum::<u32>();
        RowNow { bundles, sound }
    }

    /// Leaves out the cracks that begin later.
    pub fn forget_later(&mut self) {
        self.bundles.iter_mut().for_each(|bundle| bundle.cracks.retain(|crack| crack.length_mm.is_some()));
    }
}

/// Chances of numbers of calls, from none to as many as were found.
type Polynomial = Vec<f64>;

/// What a look makes of a row.
#[derive(Debug, Clone)]
pub(super) struct Looked {
    found: usize,
    /// Calls of sound blades.
    sound: Polynomial,
    /// For each bundle the chance that no blade of it is called, so that all stay; and the chances of numbers of calls, from one
    /// on of which all go.
    stays: Vec<f64>,
    goes: Vec<Polynomial>,
}

impl Looked {
    /// By a technique, by its place among those that may look, which calls so many blades; `false_call` is the chance that it
    /// calls a blade without a crack.
    pub fn by(row: &RowNow, technique: usize, false_call: f64, found: usize) -> Self {
        let (mut stays, mut goes) = (Vec::new(), Vec::new());
        for bundle in &row.bundles {
            let mut missed: Vec<(u32, f64)> = Vec::new();
            for crack in bundle.present() {
                match missed.iter_mut().find(|(blade, _)| *blade == crack.blade) {
                    Some((_, missed)) => *missed *= 1.0 - crack.pods[technique],
                    None => missed.push((crack.blade, 1.0 - crack.pods[technique])),
                }
            }
            let sound = bundle.blades - missed.len() as u32;
            let mut calls = one(found);
            let mut none = 1.0;
            for missed in missed.iter().map(|(_, missed)| *missed).chain((0..sound).map(|_| 1.0 - false_call)) {
                add_blade(&mut calls, 1.0 - missed);
                none *= missed;
            }
            stays.push(none);
            goes.push(calls);
        }
        let mut sound = one(found);
        (0..row.sound).for_each(|_| add_blade(&mut sound, false_call));
        Looked { found, sound, stays, goes }
    }

    /// Nobody looks.
    pub fn by_nobody(row: &RowNow) -> Self {
        let bundles = row.bundles.len();
        Looked { found: 0, sound: vec![1.0], stays: vec![1.0; bundles], goes: vec![vec![0.0]; bundles] }
    }

    /// Chance that the look finds so many.
    pub fn chance(&self) -> f64 {
        self.none_stays(|_| false)
    }

    /// The same, and that none of some bundles stays.
    pub fn none_stays(&self, of: impl Fn(usize) -> bool) -> f64 {
        let mut product = self.sound.clone();
        for bundle in 0..self.stays.len() {
            product = times(&product, &self.goes[bundle], if of(bundle) { 0.0 } else { self.stays[bundle] });
        }
        product[self.found]
    }

    /// The same, and that one bundle stays, and none of some others does.
    pub fn only_stays(&self, bundle: usize, others: impl Fn(usize) -> bool) -> f64 {
        let mut product = self.sound.clone();
        for other in (0..self.stays.len()).filter(|other| *other != bundle) {
            product = times(&product, &self.goes[other], if others(other) { 0.0 } else { self.stays[other] });
        }
        product[self.found] * self.stays[bundle]
    }

    /// For bundles in an order, the chances that so many are found and that none of the first bundles stays: none, one, two,
    /// and so on.
    pub fn first_go(&self, order: &[usize]) -> Vec<f64> {
        // Of the last ones, whatever becomes of them; from the end on.
        let mut rest = vec![one(self.found)];
        for &bundle in order.iter().rev() {
            let last = &rest[rest.len() - 1];
            rest.push(times(last, &self.goes[bundle], self.stays[bundle]));
        }
        let mut gone = self.sound.clone();
        let mut chances = Vec::with_capacity(order.len() + 1);
        for (place, rest) in rest.iter().rev().enumerate() {
            chances.push((0..=self.found).map(|calls| gone[calls] * rest[self.found - calls]).sum());
            if let Some(&bundle) = order.get(place) {
                gone = times(&gone, &self.goes[bundle], 0.0);
            }
        }
        chances
    }

    /// For each bundle, the chance that so many are found and that it stays.
    pub fn each_stays(&self) -> Vec<f64> {
        let bundles = self.stays.len();
        let mut after = vec![one(self.found)];
        for bundle in (0..bundles).rev() {
            after.push(times(&after[after.len() - 1], &self.goes[bundle], self.stays[bundle]));
        }
        let mut before = self.sound.clone();
        (0..bundles)
            .map(|bundle| {
                let after = &after[bundles - 1 - bundle];
                let others: f64 = (0..=self.found).map(|calls| before[calls] * after[self.found - calls]).sum();
                before = times(&before, &self.goes[bundle], self.stays[bundle]);
                others * self.stays[bundle]
            })
            .collect()
    }

    /// Chances that so many are found and that so many cracks are left, from none on; the last number stands for all that are
    /// more. Each bundle has a number of cracks.
    pub fn numbers(&self, cracks: &[usize], most: usize) -> Vec<f64> {
        let mut chances: Vec<Polynomial> = vec![vec![0.0; self.found + 1]; most + 1];
        chances[0] = self.sound.clone();
        for (bundle, &own) in cracks.iter().enumerate() {
            let mut next: Vec<Polynomial> = vec![vec![0.0; self.found + 1]; most + 1];
            for (left, calls) in chances.iter().enumerate() {
                let goes = times(calls, &self.goes[bundle], 0.0);
                next[left].iter_mut().zip(goes).for_each(|(sum, goes)| *sum += goes);
                let stays = &mut next[(left + own).min(most)];
                stays.iter_mut().zip(calls).for_each(|(sum, calls)| *sum += calls * self.stays[bundle]);
            }
            chances = next;
        }
        chances.into_iter().map(|calls| calls[self.found]).collect()
    }
}

/// No call for certain.
fn one(found: usize) -> Polynomial {
    let mut one = vec![0.0; found + 1];
    one[0] = 1.0;
    one
}

/// One blade more, which is called with a chance; more calls than were found are left out.
fn add_blade(calls: &mut [f64], chance: f64) {
    for number in (1..calls.len()).rev() {
        calls[number] = calls[number] * (1.0 - chance) + calls[number - 1] * chance;
    }
    calls[0] *= 1.0 - chance;
}

/// The product of chances of calls with those of one bundle more, which stays with a chance.
fn times(calls: &[f64], goes: &[f64], stays: f64) -> Polynomial {
    let with = |number: usize| {
        let gone: f64 = (1..=number).map(|own| goes[own] * calls[number - own]).sum();
        stays * calls[number] + gone
    };
    (0..calls.len()).map(with).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn crack(blade: u32, length_mm: f64, pod: f64) -> CrackNow {
        let (hot_spot, lost_year, is_planted) = (0, f64::INFINITY, false);
        CrackNow { blade, hot_spot, length_mm: Some(length_mm), lost_year, is_planted, pods: vec![pod] }
    }

    /// Three sound blades; two cracks in one blade; a pair of blades that go together, of which one is cracked.
    fn row() -> RowNow {
        let alone = Bundle { blades: 1, cracks: vec![crack(0, 2.0, 0.5), crack(0, 1.0, 0.2)] };
        let pair = Bundle { blades: 2, cracks: vec![crack(2, 3.0, 0.7)] };
        RowNow { bundles: vec![alone, pair], sound: 3 }
    }

    /// All ways of calling the six blades: chance, calls, and whether each bundle stays.
    fn ways() -> Vec<(f64, usize, [bool; 2])> {
        const FALSE: f64 = 0.1;
        let chances = [1.0 - 0.5 * 0.8, 0.7, FALSE, FALSE, FALSE, FALSE];
        (0..64_u32)
            .map(|way| {
                let is_called = |blade: usize| way >> blade & 1 == 1;
                let chance = |blade: usize| if is_called(blade) { chances[blade] } else { 1.0 - chances[blade] };
                let stays = [!is_called(0), !is_called(1) && !is_called(2)];
                ((0..6).map(chance).product(), way.count_ones() as usize, stays)
            })
            .collect()
    }

    #[test]
    fn chances_are_those_of_all_ways_of_calling() {
        let sum = |found: usize, of: &dyn Fn([bool; 2]) -> bool| -> f64 {
            ways().iter().filter(|(_, calls, stays)| *calls == found && of(*stays)).map(|(chance, _, _)| chance).sum()
        };
        let near = |ours: f64, expected: f64| assert!((ours - expected).abs() < 1e-15, "{ours} and {expected}");
        for found in 0..=6 {
            let looked = Looked::by(&row(), 0, 0.1, found);
            near(looked.chance(), sum(found, &|_| true));
            near(looked.none_stays(|bundle| bundle == 1), sum(found, &|stays| !stays[1]));
            near(looked.only_stays(0, |bundle| bundle == 1), sum(found, &|stays| stays[0] && !stays[1]));
            for (bundle, chance) in looked.each_stays().into_iter().enumerate() {
                near(chance, sum(found, &|stays| stays[bundle]));
            }
            let first = looked.first_go(&[1, 0]);
            near(first[0], sum(found, &|_| true));
            near(first[1], sum(found, &|stays| !stays[1]));
            near(first[2], sum(found, &|stays| stays == [false, false]));
            // Two cracks in the one, one in the pair.
            let left = |stays: [bool; 2]| 2 * usize::from(stays[0]) + usize::from(stays[1]);
            for (number, chance) in looked.numbers(&[2, 1], 5).into_iter().enumerate() {
                near(chance, sum(found, &|stays| left(stays) == number));
            }
            near(looked.numbers(&[2, 1], 2)[2], sum(found, &|stays| left(stays) >= 2));
        }
        let nobody = Looked::by_nobody(&row());
        assert_eq!((nobody.chance(), nobody.numbers(&[2, 1], 5)[3]), (1.0, 1.0));
        assert_eq!((row().bundles[0].longest_mm(), row().bundles[1].lost_year()), (2.0, f64::INFINITY));
    }
}
