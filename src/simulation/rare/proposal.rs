//! From where planted cracks are drawn: a mixture of normal distributions where losses are likely, and of the law itself.

use super::row_draws::RowDraws;
use super::sums::PlantedSums;
use crate::distribution::Distribution;
use crate::math::{exp, normal_quantile};
use crate::random::{Key, Stream};
use crate::simulation::inspection::InspectionPlan;
use crate::simulation::nature::{Driver, NaturePlan, Numbers, Planted, Standing};
use crate::simulation::normal_component::Component;
use rand_distr::Distribution as _;

/// Share of planted cracks that are drawn by the law itself: no weight is larger than one over it times that of a crack by the
/// law.
pub(super) const DEFENSIVE: f64 = 0.15;

/// What a planted life draws beside the row's draws, by the child of its key.
mod purpose {
    pub const PLACE: u64 = 1 << 40;
    pub const NUMBERS: u64 = PLACE + 1;
    pub const ROW_FACTOR: u64 = PLACE + 2;
}

/// How planted cracks of a row are drawn.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Proposal {
    pub places: Vec<PlaceShare>,
    /// Probability that the crack is planted in the first blade, in the second, and so on.
    pub generations: Vec<f64>,
    /// By hot spot.
    pub spots: Vec<SpotProposal>,
    /// What the pilot's last lives came to, by strategy, and how many they were.
    pub outlook: Vec<PlantedSums>,
    pub outlook_lives: u64,
}

/// The blades of one age and a hot spot on them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct PlaceShare {
    pub cohort: usize,
    pub hot_spot: usize,
    /// Probability that the crack is planted there.
    pub share: f64,
}

/// How the numbers of a planted crack at a hot spot are drawn.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct SpotProposal {
    /// The numbers that its cracks hang on; first those that tell draws of the row apart.
    pub drivers: Vec<Driver>,
    components: Vec<Component>,
    /// Draws of what records say of the row, if there are any.
    row_draws: Option<RowDraws>,
}

/// What a crack is planted with.
struct Drawn {
    numbers: Numbers,
    row_factor: f64,
    posterior_draw: Option<usize>,
    /// How much more probable all that is than it was drawn.
    weight: f64,
}

impl Proposal {
    /// By the law itself; every hot spot as often as another, so that a pilot learns of each. `crack_soon_again` says whether
    /// origins may begin anew in the blades that are there, or in used ones, and soon crack again.
    pub fn by_the_law(nature: &NaturePlan, inspection: &InspectionPlan, crack_soon_again: bool) -> Self {
        let sources = inspection.persistent_sources.len();
        let spot = |(index, spot)| {
            let row_draws = nature.given_records().map(|given| RowDraws::new(given, index));
            SpotProposal::by_the_law(Driver::all(nature, spot, sources), row_draws)
        };
        let mut places = Vec::new();
        for (number, cohort) in nature.cohorts.iter().enumerate() {
            let share = cohort.blades.len() as f64 / (f64::from(nature.blades) * nature.hot_spots.len() as f64);
            places.extend((0..nature.hot_spots.len()).map(|hot_spot| PlaceShare { cohort: number, hot_spot, share }));
        }
        Proposal {
            places,
            generations: halving(if crack_soon_again { 0.6 } else { 0.2 }),
            spots: nature.hot_spots.iter().enumerate().map(spot).collect(),
            outlook: Vec::new(),
            outlook_lives: 0,
        }
    }

    /// Shares the planted cracks among places and generations, by numbers for each; a part stays as it is, for what a pilot
    /// did not see.
    pub fn share_out(&mut self, places: &[f64], generations: &[f64]) {
        let shares = self.places.iter_mut().map(|place| &mut place.share);
        mix(shares, places);
        mix(self.generations.iter_mut(), generations);
    }

    /// The same for some of the strategies, by number: cracks are planted as they were for all.
    pub fn keep(&self, strategies: &[usize]) -> Self {
        let outlook = strategies.iter().map(|strategy| self.outlook[*strategy].clone()).collect();
        Proposal { outlook, ..self.clone() }
    }

    /// A planted crack, by the key of its life.
    pub fn draw(&self, nature: &NaturePlan, key: Key) -> Planted {
        let mut stream = Stream::new(key.child(purpose::PLACE));
        let place = self.places[pick(self.places.iter().map(|place| place.share), stream.uniform())];
        let generation = pick(self.generations.iter().copied(), stream.uniform());
        let cohort = &nature.cohorts[place.cohort];
        let origins = nature.hot_spots[place.hot_spot].origins;
        let blade = cohort.blades[(stream.uniform() * cohort.blades.len() as f64) as usize];
        let origin = (stream.uniform() * origins) as u32;
        let places = cohort.blades.len() as f64 * origins;
        let spot = &self.spots[place.hot_spot];
        let Drawn { numbers, row_factor, posterior_draw, weight } = spot.draw(nature, stream.uniform(), key);
        Planted {
            blade,
            hot_spot: place.hot_spot as u32,
            origin,
            generation: generation as u32,
            row_factor,
            posterior_draw,
            numbers,
            weight: weight * places / (place.share * self.generations[generation]),
            standing: Standing { births: 0, key: None, factor: 1.0 },
        }
    }
}

impl SpotProposal {
    /// By the law itself.
    pub fn by_the_law(drivers: Vec<Driver>, row_draws: Option<RowDraws>) -> Self {
        let of_row = row_draws.iter().flat_map(|draws| draws.drivers.iter().copied());
        SpotProposal { drivers: of_row.chain(drivers).collect(), components: Vec::new(), row_draws }
    }

    /// Draws from some distributions from now on, each with its share; what is left is of the law.
    pub fn propose(&mut self, components: Vec<Component>) {
        self.row_draws.iter_mut().for_each(|draws| draws.favour(&components));
        self.components = components;
    }

    /// What a crack is planted with; `u` chooses from what.
    fn draw(&self, nature: &NaturePlan, u: f64, key: Key) -> Drawn {
        let mut stream = Stream::new(key.child(purpose::NUMBERS));
        let size = self.drivers.len();
        let mut values = vec![0.0; size];
        let chosen = pick(self.components.iter().map(|component| component.share).chain([self.defensive_share()]), u);
        let chosen = Some(chosen).filter(|chosen| *chosen < self.components.len());
        let mut known = 0;
        // What records say of a row factor is drawn with what else they say.
        let posterior_draw = self.row_draws.as_ref().map(|draws| {
            let draw = draws.pick(chosen, stream.uniform());
            known = draws.drivers.len();
            values[..known].copy_from_slice(draws.of(draw));
            draw
        });
        let is_given = posterior_draw.is_some();
        let row_factor = match chosen {
            Some(chosen) => {
                self.components[chosen].draw(&mut stream, &mut values, known);
                if is_given { 1.0 } else { draw_by_size(&nature.row_factor, key.child(purpose::ROW_FACTOR)) }
            }
            None => {
                values[known..].iter_mut().for_each(|value| *value = normal_quantile(stream.uniform()));
                nature.row_factor.draw(key.child(purpose::ROW_FACTOR), 0)
            }
        };
        let by_size = if is_given { 1.0 } else { size_ratio(&nature.row_factor, row_factor) };
        let mut solved = vec![0.0; size];
        let ratio = |(number, component): (usize, &Component)| {
            let of_draws = self.row_draws.as_ref().map_or(1.0, |draws| draws.mean_ratio(number));
            component.share * component.density_ratio(&values, &mut solved) * by_size / of_draws
        };
        let density = self.defensive_share() + self.components.iter().enumerate().map(ratio).sum::<f64>();
        let sources = self.drivers.iter().filter(|driver| matches!(driver, Driver::Persistent(_))).count();
        let mut numbers = Numbers { persistent: vec![0.0; sources], ..Numbers::default() };
        self.drivers.iter().zip(&values).for_each(|(driver, value)| driver.set(&mut numbers, *value));
        Drawn { numbers, row_factor, posterior_draw, weight: 1.0 / density }
    }

    fn defensive_share(&self) -> f64 {
        1.0 - self.components.iter().map(|component| component.share).sum::<f64>()
    }
}

/// Probabilities of the generations: all but a rest for the first, and half of what is left for each that follows.
fn halving(rest: f64) -> Vec<f64> {
    const MOST: i32 = 12;
    let later = (1..=MOST).map(|generation| rest * 0.5_f64.powi(generation.min(MOST - 1)));
    std::iter::once(1.0 - rest).chain(later).collect()
}

/// Mixes shares with others, which are numbers in proportion; where these are all zero, nothing changes.
fn mix<'a>(shares: impl Iterator<Item = &'a mut f64>, others: &[f64]) {
    /// What stays as it is.
    const KEPT: f64 = 0.3;
    let all: f64 = others.iter().sum();
    if all > 0.0 {
        shares.zip(others).for_each(|(share, other)| *share = KEPT * *share + (1.0 - KEPT) * other / all);
    }
}

/// The number that a uniform number picks, of shares that add up to 1.
fn pick(shares: impl Iterator<Item = f64>, u: f64) -> usize {
    let (mut passed, mut last) = (0.0, 0);
    for (number, share) in shares.enumerate() {
        passed += share;
        last = number;
        if u < passed {
            break;
        }
    }
    last
}

/// A row factor, drawn with a density that rises with its size, where that has a simple form: cracks come from rows in that
/// proportion.
fn draw_by_size(law: &Distribution, key: Key) -> f64 {
    match *law {
        Distribution::Lognormal { median, sigma_log } => {
            Distribution::Lognormal { median: median * exp(sigma_log * sigma_log), sigma_log }.draw(key, 0)
        }
        Distribution::Gamma { mean, cov } => {
            let shape = 1.0 / (cov * cov);
            let mut stream = Stream::new(key);
            let gamma = rand_distr::Gamma::new(shape + 1.0, mean / shape);
            gamma.map_or(f64::NAN, |gamma| gamma.sample(&mut stream))
        }
        _ => law.draw(key, 0),
    }
}

/// Its density over that of the law.
fn size_ratio(law: &Distribution, factor: f64) -> f64 {
    match law {
        Distribution::Lognormal { .. } | Distribution::Gamma { .. } => factor / law.mean(),
        _ => 1.0,
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::math::normal_cdf;
    use crate::model::Study;
    use crate::simulation::plan::RowPlan;
    use approx::assert_relative_eq;

    /// Draws of numbers that only weights hang on, and these weights.
    pub(crate) fn drawn(spot: &SpotProposal, seed: u64, count: u64) -> Vec<(Vec<f64>, f64)> {
        let study = Study::parse(include_str!("../../../tests/engine/data/y3.toml"), "y3").expect("a good study");
        let plan = RowPlan::new(&study, &study.rows[0]).expect("a good row");
        assert!(plan.nature.row_factor.fixed().is_some());
        let one = |number: u64| {
            let key = Key::from_seed(seed).child(number);
            let drawn = spot.draw(&plan.nature, key.uniform(0), key);
            (drawn.numbers.persistent, drawn.weight)
        };
        (0..count).map(one).collect()
    }

    pub(crate) fn spot(dimensions: usize, components: Vec<Component>) -> SpotProposal {
        let mut spot = SpotProposal::by_the_law((0..dimensions).map(Driver::Persistent).collect(), None);
        spot.propose(components);
        spot
    }

    /// Mean and relative variance of some values, with the standard error of each.
    fn moments(values: &[f64]) -> [[f64; 2]; 2] {
        let n = values.len() as f64;
        let mean = |of: &dyn Fn(f64) -> f64| values.iter().map(|value| of(*value)).sum::<f64>() / n;
        let [first, second] = [mean(&|value| value), mean(&|value| value * value)];
        // Of second / first^2, by the delta method.
        let deviation = |value: f64| value * value / second - 1.0 - 2.0 * (value / first - 1.0);
        let of_ratio = mean(&|value| deviation(value).powi(2)).sqrt() * second / (first * first);
        let of_mean = (second - first * first).sqrt();
        [[first, of_mean / n.sqrt()], [second / (first * first) - 1.0, of_ratio / n.sqrt()]]
    }

    /// A normal number above beta, with a normal distribution around beta proposed: for that alone the relative variance
    /// is exp(b^2) Phi(-2b) / Phi(-b)^2 - 1, and with a tenth of the law itself it is known by quadrature.
    #[test]
    fn weights_of_a_shifted_proposal_have_the_variance_that_they_should() {
        for (beta, share, expected) in [
            (3.0, 0.9, Some(3.870_564_653_989_883_5)),
            (4.0, 1.0, Some(4.511_108_668_286_132)),
            (5.0, 0.9, Some(6.419_204_755_221_42)),
            (6.0, 1.0, Some(6.868_479_945_751_401)),
            (6.0, 0.9, Some(7.742_755_485_379_021)),
            (3.5, 1.0, None),
        ] {
            let component = Component::new(share, vec![beta], &[1.0]).expect("a component");
            let draws = drawn(&spot(1, vec![component]), 5, 200_000);
            let values: Vec<f64> =
                draws.iter().map(|(numbers, weight)| if numbers[0] > beta { *weight } else { 0.0 }).collect();
            let [[mean, of_mean], [variance, of_variance]] = moments(&values);
            let tail = normal_cdf(-beta);
            assert!((mean - tail).abs() < 4.0 * of_mean, "{beta}: {mean} +- {of_mean} for {tail}");
            let by_formula = (beta * beta).exp() * normal_cdf(-2.0 * beta) / (tail * tail) - 1.0;
            let expected = expected.unwrap_or(by_formula);
            if share == 1.0 {
                assert_relative_eq!(expected, by_formula, max_relative = 1e-6);
            }
            assert!((variance - expected).abs() < 4.0 * of_variance, "{beta}: {variance} for {expected}");
            let most = 1.0 / (1.0 - share);
            assert!(draws.iter().all(|(_, weight)| *weight <= most * (1.0 + 1e-12)));
        }
    }

    /// Relative variance of weights where N(0, c^2) is proposed for N(0, 1): c^2 / sqrt(2 c^2 - 1) - 1.
    #[test]
    fn weights_of_a_wider_proposal_have_the_variance_that_they_should() {
        for (c, expected) in
            [(0.9, 0.028_701_028_7), (1.5, 0.202_675_588_6), (2.0, 0.511_857_892), (3.0, 1.182_820_625)]
        {
            let component = Component::new(1.0, vec![0.0], &[c * c]).expect("a component");
            let weights: Vec<f64> =
                drawn(&spot(1, vec![component]), 6, 200_000).into_iter().map(|(_, weight)| weight).collect();
            let [[mean, of_mean], [variance, of_variance]] = moments(&weights);
            assert!((mean - 1.0).abs() < 4.0 * of_mean, "{c}: {mean} +- {of_mean}");
            assert!((variance - expected).abs() < 4.0 * of_variance, "{c}: {variance} +- {of_variance}");
        }
    }

    /// Numbers that hang together: the weight of all is 1 in the mean, and so is each moment of the law.
    #[test]
    fn weights_of_correlated_proposals_give_back_the_law() {
        let component = |share: f64, mean: f64| {
            Component::new(share, vec![mean, -mean, 0.5], &[1.5, 0.6, 0.1, 0.6, 0.9, -0.2, 0.1, -0.2, 1.2])
                .expect("one")
        };
        let draws = drawn(&spot(3, vec![component(0.5, 1.0), component(0.3, -0.5)]), 7, 200_000);
        type Moment = fn(&[f64]) -> f64;
        let moments_of: [(Moment, f64); 5] =
            [(|_| 1.0, 1.0), (|x| x[0], 0.0), (|x| x[1] * x[1], 1.0), (|x| x[0] * x[1], 0.0), (|x| x[2] * x[0], 0.0)];
        for (number, (of, expected)) in moments_of.into_iter().enumerate() {
            let values: Vec<f64> = draws.iter().map(|(numbers, weight)| weight * of(numbers)).collect();
            let [[mean, of_mean], _] = moments(&values);
            assert!((mean - expected).abs() < 4.0 * of_mean, "moment {number}: {mean} +- {of_mean} for {expected}");
        }
    }
}
