//! The cracks of some lives of a row: when they start, how they grow, what sees them.
//!
//! Work goes with the cracks that start: an origin that never cracks before the end costs nothing.
//! Numbers for outages stand in flat arrays, one place for each crack and outage that it lives to
//! see, so that logarithms, exponentials and calls are worked out for all lives at once, in long loops
//! over vector registers.

mod false_calls;
mod followed;
mod mouth;
mod place;
mod sight;
mod sow;
mod start;

pub(super) use false_calls::{FalseCall, FalseCalls};
pub(super) use mouth::{is_closed_for_life, is_held_shut};
pub(super) use place::{Place, Track, Tracks};
pub(super) use start::{TabledWay, own_toughness};

use super::notes::Notes;
use super::plan::{Cohort, RowPlan};
use crate::bits::{Bits, WORD, lowest};
use crate::math::{LANES, exp};
use crate::model::growth::Course;
use crate::random::{Draw, Key};
use std::ops::Range;

/// What a draw of a row's life is for.
pub(super) mod purpose {
    pub const ROW_FACTOR: u64 = 0;
    pub const ROW_GROWTH: u64 = 1;
    pub const FIRST_BLADES: u64 = 2;
    pub const BLADE: u64 = 3;
    pub const INSPECTION: u64 = 4;
    pub const FALSE_CALLS: u64 = 5;
    pub const COVERAGE: u64 = 6;
    pub const LOSS: u64 = 7;
}

/// Draws of a crack, by counter.
pub(super) mod draw {
    pub const DEPTH: u64 = 0;
    pub const ASPECT: u64 = 1;
    pub const GROWTH: u64 = 2;
    pub const TOUGHNESS: u64 = 3;
    pub const CORROSION: u64 = 4;
    pub const POSITION: u64 = 5;
    pub const MOUTH: u64 = 6;
    /// Of a crack and a technique: first what the crack keeps, then calls and sizes by outage.
    pub const KEPT: u64 = 0;
    pub const CALL: u64 = 1;
    pub const SIZE: u64 = 1 << 32;
    /// Calls at outages before the study starts.
    pub const PAST_CALL: u64 = 2 << 32;
}

/// A slot beyond every event; slots are explained in `life`.
pub(crate) const NEVER: u32 = u32::MAX;

/// Places that are free before the first crack's and behind the last one's in the flat arrays, so that those
/// can be read and written in whole blocks. What stands there is finite and means nothing.
pub(crate) const SPARE: usize = 32;

/// One crack.
#[derive(Debug, Clone)]
pub(crate) struct Crack {
    pub key: Key,
    /// Year of the loss; infinite beyond the end of the study.
    pub lost_year: f64,
    pub blade: u32,
    /// The first outage that is not before its start.
    pub first: u32,
    /// The outage before which the blade is lost; their number if none.
    pub last: u32,
    /// Its place in the flat arrays, for outage `first`.
    place: u32,
    pub life: u32,
    class: u32,
    /// Which of the origins of its hot spot it began at.
    pub origin: u32,
    /// Where its sizes end in their list, if it was followed one by one.
    sizes: u32,
    born_starts: f64,
    course: Course,
    rate: f64,
}

impl Crack {
    /// Its place in the flat arrays at an outage that it lives to see.
    #[inline(always)]
    pub fn place(&self, outage: usize) -> usize {
        self.place as usize + outage - self.first as usize
    }

    /// Its places in the flat arrays, for all outages that it lives to see.
    #[inline(always)]
    fn places(&self) -> Range<usize> {
        let begin = self.place as usize;
        begin..begin + (self.last - self.first) as usize
    }

    /// The place of the size that it would have at an outage, were it there; it wraps around.
    #[inline(always)]
    pub fn place_at(&self, outage: usize) -> u32 {
        self.place.wrapping_add(outage as u32).wrapping_sub(self.first)
    }

    /// Of a word's worth of outages, counted from one on, those that it lives to see, as bits.
    #[inline(always)]
    pub fn there(&self, from: usize, word: usize) -> u64 {
        let upto = |outage: u32| lowest((outage as usize).saturating_sub(from + word * WORD));
        upto(self.last) & !upto(self.first)
    }

    /// Whether it was followed one by one: its sizes stand in a list of their own.
    #[inline(always)]
    fn is_followed(&self) -> bool {
        self.course.start.is_nan()
    }

    /// Slot of the loss it ends in, if nothing is done.
    #[inline(always)]
    pub fn loss_slot(&self) -> u32 {
        if self.lost_year < f64::INFINITY { 2 * self.last } else { NEVER }
    }

    /// The outage before which its blade is lost, as a bit, of [`Bits::READ`] outages from one on; none if it is not.
    #[inline(always)]
    pub fn loss_in_window(&self, from: usize) -> u64 {
        let ahead = (self.last as usize).wrapping_sub(from);
        if self.lost_year < f64::INFINITY && ahead < Bits::READ { 1 << ahead } else { 0 }
    }

    /// Index of its hot spot.
    pub fn class(&self) -> usize {
        self.class as usize
    }

    /// Whether it is in the blade at an outage, unless removed earlier.
    #[inline(always)]
    pub fn is_present(&self, outage: usize) -> bool {
        self.first as usize <= outage && outage < self.last as usize
    }
}

/// One of the lives that are lived together: what all strategies share.
#[derive(Debug)]
struct Life {
    /// Key of the row in this trial, and in the attempt that came to the start of the study.
    trial: Key,
    key: Key,
    /// Key of its blades.
    blades: Key,
    row_factor: f64,
    /// Cracks of the first blades, as indices.
    cracks: Range<u32>,
    /// New blades that are ready.
    ready: Vec<Ready>,
}

/// A blade replaced at an outage, the first time at its position.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Replacement {
    pub life: u32,
    pub blade: u32,
    pub outage: u32,
}

/// The blade that would be new at a position from an outage on, if it were the first new one there.
#[derive(Debug)]
struct Ready {
    blade: u32,
    outage: u32,
    cracks: Range<u32>,
}

impl Ready {
    #[inline(always)]
    fn is(&self, blade: u32, outage: u32) -> bool {
        (self.blade, self.outage) == (blade, outage)
    }
}

/// What a technique sees.
#[derive(Debug)]
struct Sight {
    /// Where it calls, by the places of the flat arrays.
    calls: Bits,
    /// Shift of ln q50 by inspection, for each life and outage, and as many behind the last as there are free places;
    /// zeros for one life where there is none.
    effects: Vec<f64>,
    /// From one life's effects to the next one's.
    stride: usize,
}

impl Sight {
    fn new(row: &RowPlan, technique: usize) -> Self {
        let outages = row.calendar.len();
        let has_effects = row.techniques[technique].inspection_sigma > 0.0;
        let stride = if has_effects { outages.next_multiple_of(LANES) } else { 0 };
        Sight { calls: Bits::default(), effects: vec![0.0; outages + SPARE], stride }
    }
}

/// Cracks of some lives of a row, and what all strategies share.
#[derive(Debug)]
pub(crate) struct Population<'p> {
    row: &'p RowPlan,
    lives: Vec<Life>,
    pub cracks: Vec<Crack>,
    /// Where the places of the flat arrays end that are taken.
    places: usize,
    /// Median advance per start of each class in each life, lives outermost.
    class_rate: Vec<f64>,
    ln_depth: Vec<f64>,
    ln_length: Vec<f64>,
    /// Logarithm of the geometric mean of depth and length, where a technique goes by it.
    ln_mean: Vec<f64>,
    /// Surface lengths in mm.
    pub length_mm: Vec<f64>,
    /// Whether a crack's mouth is closed; empty where none may be.
    closed: Vec<bool>,
    /// What each technique in use sees.
    sights: Vec<Sight>,
    /// Sizes of cracks that are followed one by one, at the outages that each lives to see.
    sizes: Vec<followed::Size>,
    tracks: Tracks,
    /// What happened to cracks, over all lives so far.
    pub notes: Notes,
    sower: sow::Sower,
    /// A blade that is new at another moment than an outage.
    fresh: Cohort,
    sprouts: Vec<Sprout>,
    starts: start::Starts,
    /// Positions of blades that may be replaced soon, by life and blade.
    replaced: Vec<(u32, u32)>,
    /// For each life and blade the hazard for row factor 1 that the first new blade outlives, where it is known.
    outlived: Vec<f64>,
    /// Keys of new cracks, and those of their calls by the technique at hand.
    keys: Vec<Key>,
    technique_keys: Vec<Key>,
    /// Standard normal numbers that new cracks keep, for each of the row's sources.
    kept: Vec<f64>,
    /// Of the technique at hand: ln q50 with all shifts, the draws of its calls, and 1 where it calls, else 0.
    hidden: Vec<f64>,
    draws: Vec<Draw>,
    called: Vec<u8>,
    /// By technique.
    false_calls: Vec<FalseCalls>,
    false_caller: false_calls::FalseCaller,
}

/// How many cracks there are, and what they take up.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Mark {
    cracks: usize,
    places: usize,
    sizes: usize,
}

/// An origin that cracks.
#[derive(Debug, Clone, Copy)]
struct Sprout {
    /// Key of the blades of its life.
    parent: Key,
    /// What keys its blade among them; the blade's own number is the lower half.
    blade_number: u64,
    /// What keys the crack on the blade.
    crack_number: u64,
    /// Cumulative hazard at which it begins.
    hazard: f64,
    /// Reading of its clock when the blade was installed.
    installed: f64,
    /// Logarithm of its blade's factor on stress.
    stress: f64,
    life: u32,
    class: u32,
    origin: u32,
}

impl Sprout {
    #[inline(always)]
    fn blade(&self) -> u32 {
        self.blade_number as u32
    }
}

/// A crack about to be worked out.
#[derive(Debug, Clone, Copy)]
pub(super) struct Seed {
    pub key: Key,
    /// Which of the lives it belongs to.
    pub life: u32,
    pub blade: u32,
    pub class: u32,
    /// Number of the origin among those of its class in the blade.
    pub origin: u32,
    /// Logarithm of its blade's factor on stress.
    pub stress: f64,
    pub born_year: f64,
}

impl<'p> Population<'p> {
    pub fn new(row: &'p RowPlan) -> Self {
        Population {
            row,
            lives: Vec::new(),
            cracks: Vec::new(),
            places: 0,
            class_rate: Vec::new(),
            ln_depth: Vec::new(),
            ln_length: Vec::new(),
            ln_mean: Vec::new(),
            length_mm: Vec::new(),
            closed: Vec::new(),
            sights: row.used_techniques.iter().map(|&technique| Sight::new(row, technique)).collect(),
            sizes: Vec::new(),
            tracks: Tracks::default(),
            notes: Notes::default(),
            sower: sow::Sower::default(),
            fresh: Cohort::default(),
            sprouts: Vec::new(),
            starts: start::Starts::default(),
            replaced: Vec::new(),
            outlived: Vec::new(),
            keys: Vec::new(),
            technique_keys: Vec::new(),
            kept: Vec::new(),
            hidden: Vec::new(),
            draws: Vec::new(),
            called: Vec::new(),
            false_calls: row.techniques.iter().map(|_| FalseCalls::default()).collect(),
            false_caller: false_calls::FalseCaller::default(),
        }
    }

    /// Begins lives of the row, each with the key of the row in its trial; nothing is drawn yet.
    pub fn begin(&mut self, keys: impl ExactSizeIterator<Item = Key>) {
        let row = self.row;
        let count = keys.len();
        self.release(Mark::default());
        self.class_rate.resize(count * row.classes.len(), 0.0);
        self.lives.resize_with(count, || Life {
            trial: Key::from_seed(0),
            key: Key::from_seed(0),
            blades: Key::from_seed(0),
            row_factor: 1.0,
            cracks: 0..0,
            ready: Vec::new(),
        });
        self.lives.iter_mut().zip(keys).for_each(|(life, key)| (life.trial, life.key) = (key, key));
    }

    /// Draws some lives from the row's entry into service on, if nobody looked: returns the indices of their cracks.
    pub fn draw(&mut self, lives: &[u32]) -> Range<u32> {
        let from = self.cracks.len();
        self.draw_rows(lives);
        self.start_cracks();
        for &technique in &self.row.used_techniques {
            self.draw_effects(technique, lives);
        }
        self.see(from)
    }

    /// Has a life drawn again with another key.
    pub fn draw_again(&mut self, life: u32, attempt: u64) {
        let life = &mut self.lives[life as usize];
        life.key = life.trial.child(attempt);
    }

    /// Keeps only these cracks, life by life, which are those at the start of the study.
    pub fn keep(&mut self, cracks: &[Crack]) {
        self.cracks.clear();
        self.cracks.extend_from_slice(cracks);
    }

    /// Draws what all strategies share, when the cracks at the start of the study are there.
    pub fn draw_shared(&mut self) {
        self.find_first_cracks();
        for &technique in &self.row.used_techniques {
            self.false_caller.draw(self.row, &self.lives, technique, &mut self.false_calls[technique]);
        }
        self.draw_next();
        self.lives.iter_mut().for_each(|life| life.ready.clear());
    }

    /// Draws the first blades of the row in some lives.
    fn draw_rows(&mut self, lives: &[u32]) {
        let row = self.row;
        for &life in lives {
            let life = &mut self.lives[life as usize];
            life.blades = life.key.child(purpose::BLADE);
            life.row_factor = row.row_factor.draw(life.key, purpose::ROW_FACTOR);
        }
        for life in lives.iter().map(|&life| life as usize) {
            let key = self.lives[life].key;
            for (rate, class) in self.class_rate[life * row.classes.len()..].iter_mut().zip(&row.classes) {
                *rate = class.rate;
                if class.row_sigma > 0.0 {
                    let scatter = key.child(purpose::ROW_GROWTH).child(class.growth_name).normal(0);
                    *rate *= exp(class.row_sigma * scatter);
                }
            }
        }
        self.sow_cohorts(lives);
    }

    /// Cracks stand together life by life: finds each life's own.
    fn find_first_cracks(&mut self) {
        let mut begin = 0;
        for (index, life) in self.lives.iter_mut().enumerate() {
            let own = self.cracks[begin..].iter().take_while(|crack| crack.life as usize == index).count();
            life.cracks = begin as u32..(begin + own) as u32;
            begin += own;
        }
    }

    /// Cracks of the first blades of a life, as indices; those of one blade stand together.
    pub fn first_cracks(&self, life: usize) -> Range<u32> {
        self.lives[life].cracks.clone()
    }

    /// The key of a life's row.
    #[cfg(test)]
    pub fn life_key(&self, life: usize) -> Key {
        self.lives[life].key
    }

    /// What it is drawn for.
    pub fn row(&self) -> &'p RowPlan {
        self.row
    }

    /// How many lives there are.
    pub fn lives(&self) -> usize {
        self.lives.len()
    }

    /// Depth and surface length of a crack at an outage that it lives to see, in mm.
    pub fn size_mm(&self, crack: &Crack, outage: usize) -> [f64; 2] {
        [exp(self.ln_depth[crack.place(outage)]), self.length_mm[crack.place(outage)]]
    }

    /// Whether the mouth of a crack is closed at an outage that it lives to see.
    pub fn mouth_is_closed(&self, crack: &Crack, outage: usize) -> bool {
        self.row.mouths_may_close && self.closed[crack.place(outage)]
    }

    /// False calls by a technique in every life, were it used at every outage and the blades clean.
    pub fn false_calls(&self, technique: usize) -> &FalseCalls {
        &self.false_calls[technique]
    }

    /// Where a blade of a life stands among the blades of all lives.
    #[inline(always)]
    pub fn position(&self, life: u32, blade: u32) -> usize {
        (life * self.row.blades + blade) as usize
    }

    /// The number of these positions.
    pub fn positions(&self) -> usize {
        self.lives.len() * self.row.blades as usize
    }

    /// Remembers the cracks that are there.
    pub fn mark(&self) -> Mark {
        Mark { cracks: self.cracks.len(), places: self.places, sizes: self.sizes.len() }
    }

    /// Forgets the cracks that came after a mark.
    pub fn release(&mut self, mark: Mark) {
        self.cracks.truncate(mark.cracks);
        self.sizes.truncate(mark.sizes);
        self.places = mark.places;
    }

    /// The key of what the losses of a position's blades cost; draws go by the generation that comes next.
    pub fn loss_key(&self, life: usize, blade: u32) -> Key {
        self.lives[life].key.child(purpose::LOSS).child(u64::from(blade))
    }

    /// A draw for whether a look that covers part of the blades covers this one.
    pub fn coverage_draw(&self, life: usize, blade: u32, look: usize, outage: usize) -> f64 {
        let outage = outage - self.row.calendar.start;
        self.lives[life].key.child(purpose::COVERAGE).child(look as u64).child(u64::from(blade)).uniform(outage as u64)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Study;
    use crate::random::Stream;
    use crate::simulation::life::Lives;

    /// Draws lives of a row without a past.
    fn draw_all(people: &mut Population, keys: impl ExactSizeIterator<Item = Key>) {
        people.begin(keys);
        people.draw(&(0..people.lives() as u32).collect::<Vec<u32>>());
        people.draw_shared();
    }

    #[test]
    fn lives_together_are_those_apart() {
        let studies = [
            include_str!("../../../tests/engine/data/y2.toml"),
            include_str!("../../../demo-data/demo-study.toml"),
            include_str!("../../../demo-data/reference-study.toml"),
        ];
        for text in studies {
            let study = Study::parse(text, "study").expect("a good study");
            for row in &study.rows {
                let plan = RowPlan::new(&study, row).expect("a good row");
                let keys: Vec<Key> = (0..37).map(|trial| Key::from_seed(5).child(trial)).collect();
                let (mut together, mut apart) = (Lives::new(&plan, &study.money), Lives::new(&plan, &study.money));
                let tries = together.begin(keys.iter().copied());
                let mut tries_apart = 0;
                for (life, key) in keys.into_iter().enumerate() {
                    tries_apart += apart.begin(std::iter::once(key)).expect("a life that comes through");
                    let (together, apart) = (together.people(), apart.people());
                    // Those that stand at the start, without new blades made ready.
                    let cracks = apart.first_cracks(0);
                    let cracks = &apart.cracks[cracks.start as usize..cracks.end as usize];
                    let own = together.first_cracks(life);
                    let own = &together.cracks[own.start as usize..own.end as usize];
                    assert_eq!(own.len(), cracks.len(), "{} life {life}", row.id);
                    for (one, other) in own.iter().zip(cracks) {
                        let about = |crack: &Crack| (crack.key, crack.blade, crack.first, crack.last, crack.class);
                        assert_eq!(about(one), about(other), "{} life {life}", row.id);
                        assert_eq!(one.lost_year, other.lost_year, "{} life {life}", row.id);
                        for outage in one.first as usize..one.last as usize {
                            assert_eq!(together.size_mm(one, outage), apart.size_mm(other, outage));
                            for &technique in &plan.used_techniques {
                                let calls = together.calls(one, technique, outage);
                                assert_eq!(calls, apart.calls(other, technique, outage));
                            }
                        }
                    }
                    for &technique in &plan.used_techniques {
                        let of = |people: &Population, life: usize| {
                            let calls = people.false_calls(technique).of(life).iter();
                            calls.map(|call| (call.outage, call.blade)).collect::<Vec<_>>()
                        };
                        assert_eq!(of(together, life), of(apart, 0));
                    }
                }
                assert_eq!(tries, Some(tries_apart), "{}", row.id);
            }
        }
    }

    /// Skipping with one exponential number after another, as the first drawing of all lives does in blocks.
    #[test]
    fn false_calls_are_exponential_skips() {
        let text = include_str!("../../../tests/engine/data/y2.toml");
        let study = Study::parse(text, "study").expect("a good study");
        let plan = RowPlan::new(&study, &study.rows[0]).expect("a good row");
        let keys: Vec<Key> = (0..200).map(|trial| Key::from_seed(8).child(trial)).collect();
        let mut people = Population::new(&plan);
        draw_all(&mut people, keys.iter().copied());
        let (mut total, mut most) = (0, 0);
        for ((life, key), technique) in keys.iter().enumerate().flat_map(|life| [(life, 0), (life, 1)]) {
            let about = &plan.techniques[technique];
            let mut stream = Stream::new(key.child(purpose::FALSE_CALLS).child(about.name));
            let (mut looked_at, mut expected) = (0, Vec::new());
            loop {
                looked_at += (stream.exponential() / about.false_call_hazard) as u32;
                if looked_at >= 80 * 29 {
                    break;
                }
                expected.push((looked_at / 80, looked_at % 80));
                looked_at += 1;
            }
            let calls = people.false_calls(technique).of(life);
            let drawn: Vec<(u32, u32)> = calls.iter().map(|call| (call.outage, call.blade)).collect();
            assert_eq!(drawn, expected, "life {life}");
            for outage in 0..29 {
                let is_here = expected.iter().any(|call| call.0 == outage);
                assert_eq!(people.false_calls(technique).may_fall_on(life, outage as usize), is_here);
            }
            total += expected.len();
            most = most.max(expected.len());
        }
        assert!(total > 1000 && most > LANES, "{total} in all, {most} in one life");
    }

    #[test]
    fn blades_made_ready_are_those_made_when_asked_for() {
        let study = Study::parse(include_str!("../../../tests/engine/data/y2.toml"), "study").expect("a good study");
        let plan = RowPlan::new(&study, &study.rows[0]).expect("a good row");
        let keys = || (0..8_u32).map(|trial| Key::from_seed(6).child(u64::from(trial)));
        let (mut ready, mut asked) = (Population::new(&plan), Population::new(&plan));
        [&mut ready, &mut asked].into_iter().for_each(|people| draw_all(people, keys()));
        // Each blade at two outages: what is ready for one is not the other's.
        let mut expected = Vec::new();
        for (life, blade) in (0..8).flat_map(|life| (0..80).map(move |blade| (life, blade))) {
            let outages = [(life + blade) % 29, (life + blade + 11) % 29];
            expected.extend(outages.map(|outage| Replacement { life, blade, outage }));
        }
        ready.make_ready(&expected);
        let made = ready.cracks.len();
        let mut cracked = 0;
        for Replacement { life, blade, outage } in expected {
            let (life, outage) = (life as usize, outage as usize);
            let one = ready.renew_at_outage(life, blade, 1, outage);
            let other = asked.renew_at_outage(life, blade, 1, outage);
            assert_eq!(one.len(), other.len(), "blade {blade}");
            for (one, other) in one.zip(other) {
                let [one, other] = [&ready.cracks[one as usize], &asked.cracks[other as usize]];
                let about = |crack: &Crack| (crack.key, crack.blade, crack.life, crack.first, crack.last);
                assert_eq!(about(one), about(other));
                assert!(one.first as usize > outage);
                for outage in one.first as usize..one.last as usize {
                    assert_eq!(ready.size_mm(one, outage), asked.size_mm(other, outage));
                    assert!((0..2).all(|at| ready.calls(one, at, outage) == asked.calls(other, at, outage)));
                }
                cracked += 1;
            }
        }
        assert!(cracked > 20 && ready.cracks.len() == made, "{cracked} cracks, all of them ready");
    }
}
