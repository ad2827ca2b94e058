//! Draws of what records say of a row, some of which planted cracks favour: losses come from rows that crack soon and grow
//! fast.

use crate::math::ln;
use crate::model::RowPosterior;
use crate::simulation::nature::Driver;
use crate::simulation::normal_component::Component;

/// The draws of a row, as a hot spot sees them, and how often each component takes which.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct RowDraws {
    /// What tells draws apart.
    pub drivers: Vec<Driver>,
    /// For each draw its numbers, each in standard deviations from the mean of all.
    values: Vec<f64>,
    count: usize,
    /// By component.
    favoured: Vec<Favoured>,
}

#[derive(Debug, Clone, PartialEq)]
struct Favoured {
    /// Sums of the density ratios of a component, up to each draw.
    sums: Vec<f64>,
    /// Their mean.
    mean: f64,
}

impl RowDraws {
    pub fn new(given: &RowPosterior, hot_spot: usize) -> Self {
        let count = given.hazards.len();
        let growth = |draw: usize| given.shared(draw).ln_growth[hot_spot];
        let told_apart = [
            (Driver::RowHazard, standardised(given.hazards.iter().map(|hazard| ln(*hazard)).collect())),
            (Driver::RowGrowth, standardised((0..count).map(growth).collect())),
        ];
        let (drivers, columns): (Vec<Driver>, Vec<Vec<f64>>) =
            told_apart.into_iter().filter_map(|(driver, column)| Some((driver, column?))).unzip();
        let values = (0..count).flat_map(|draw| columns.iter().map(move |column| column[draw])).collect();
        RowDraws { drivers, values, count, favoured: Vec::new() }
    }

    /// Has components favour draws, each as its distribution of the first numbers says.
    pub fn favour(&mut self, components: &[Component]) {
        let size = self.drivers.len();
        let mut solved = vec![0.0; size];
        self.favoured.clear();
        for component in components.iter().map(|component| component.of_first(size)) {
            let mut sum = 0.0;
            let mut up_to = |draw: usize| {
                sum += component.density_ratio(self.of(draw), &mut solved);
                sum
            };
            let sums: Vec<f64> = (0..self.count).map(&mut up_to).collect();
            self.favoured.push(Favoured { sums, mean: sum / self.count as f64 });
        }
    }

    /// The draw that a uniform number picks, as a component favours them; without one each is as likely as another.
    pub fn pick(&self, component: Option<usize>, u: f64) -> usize {
        let draw = match component.map(|component| &self.favoured[component]) {
            Some(favoured) => {
                let wanted = u * favoured.mean * self.count as f64;
                favoured.sums.partition_point(|sum| *sum <= wanted)
            }
            None => (u * self.count as f64) as usize,
        };
        draw.min(self.count - 1)
    }

    /// The mean over all draws of a component's density ratio.
    pub fn mean_ratio(&self, component: usize) -> f64 {
        self.favoured[component].mean
    }

    /// The numbers of a draw.
    pub fn of(&self, draw: usize) -> &[f64] {
        &self.values[draw * self.drivers.len()..][..self.drivers.len()]
    }
}

/// Numbers in standard deviations from their mean; none if they are all alike.
fn standardised(mut values: Vec<f64>) -> Option<Vec<f64>> {
    const ALIKE: f64 = 1e-6;
    let count = values.len() as f64;
    let mean = values.iter().sum::<f64>() / count;
    let sd = (values.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / count).sqrt();
    values.iter_mut().for_each(|value| *value = (*value - mean) / sd);
    (sd > ALIKE).then_some(values)
}
