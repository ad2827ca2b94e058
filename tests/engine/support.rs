//! Distances between the engine's numbers and those of other programs, in standard errors.

use serrata::model::strategy::{Escalation, EscalationScope};
use serrata::model::{RowId, StrategyId, StudyParts};
use serrata::simulation::{AfterOutageEstimate, Comparison, Estimate, Quantity, Run};
use serrata::{Result, Study};
use statrs::distribution::{Binomial, DiscreteCDF, Poisson};

/// Largest accepted distance in combined standard errors. A right engine is beyond it for one comparison in 16,000.
pub const ALLOWED: f64 = 4.0;

/// A compared number: what it is, ours, the expected one, and their distance in standard errors.
#[derive(Debug)]
pub struct Distance {
    pub what: String,
    pub ours: f64,
    pub expected: f64,
    pub z: f64,
}

/// Fails with the first distance beyond [`ALLOWED`], or if fewer numbers were compared than there should be.
pub fn assert_agrees(problem: &str, distances: &[Distance], at_least: usize) {
    let beyond = |limit: f64| distances.iter().filter(|distance| distance.z.abs() > limit).count();
    let (two, three) = (beyond(2.0), beyond(3.0));
    let rms = (distances.iter().map(|d| d.z * d.z).sum::<f64>() / distances.len() as f64).sqrt();
    eprintln!("{problem}: {} comparisons, rms {rms:.2}, {two} beyond 2, {three} beyond 3", distances.len());
    assert!(distances.len() >= at_least, "{problem}: only {} comparisons", distances.len());
    for Distance { what, ours, expected, z } in distances {
        assert!(z.abs() <= ALLOWED, "{problem} {what}: {ours} against {expected}: {z:.1} standard errors apart");
    }
}

/// Distance in standard errors that has the tail probability of a count of rare events: against an
/// exact mean by Poisson, against a count in another simulation by the conditional binomial test.
pub fn count_distance(count: f64, trials: f64, expected: f64, other_trials: Option<f64>) -> f64 {
    let count_int = count as u64;
    let (below, above) = match other_trials {
        None if expected * trials < 1e-12 => return if count == 0.0 { 0.0 } else { f64::INFINITY },
        None => {
            let law = Poisson::new(expected * trials).expect("a positive mean");
            (law.cdf(count_int), if count_int == 0 { 1.0 } else { law.sf(count_int - 1) })
        }
        Some(other_trials) => {
            let other = (expected * other_trials).round();
            let share = trials / (trials + other_trials);
            let law = Binomial::new(share, (count + other) as u64).expect("a probability");
            (law.cdf(count_int), if count_int == 0 { 1.0 } else { law.sf(count_int - 1) })
        }
    };
    let tail = below.min(above).min(0.5);
    let z = -serrata::math::normal_quantile(tail.max(1e-300));
    if below < above { -z } else { z }
}

/// Answers for rows and strategies by their numbers, which tests have as constants.
pub trait ByNumber {
    fn row_number(&self, row: usize) -> RowId;
    fn strategy_number(&self, strategy: usize) -> StrategyId;
    fn fleet_of(&self, strategy: usize, quantity: Quantity) -> Estimate;
    fn row_of(&self, row: usize, strategy: usize, quantity: Quantity) -> Estimate;
    fn fleet_losses_of(&self, strategy: usize) -> Vec<Estimate>;
    fn row_losses_of(&self, row: usize, strategy: usize) -> Vec<Estimate>;
    fn after_outages_of(&self, row: usize, strategy: usize) -> Vec<AfterOutageEstimate>;
    fn p_came_through_of(&self, row: usize) -> f64;
}

impl ByNumber for Comparison {
    fn row_number(&self, row: usize) -> RowId {
        self.study.row_ids().nth(row).expect("a row")
    }

    fn strategy_number(&self, strategy: usize) -> StrategyId {
        self.study.strategy_ids().nth(strategy).expect("a strategy")
    }

    fn fleet_of(&self, strategy: usize, quantity: Quantity) -> Estimate {
        self.fleet(self.strategy_number(strategy), quantity)
    }

    fn row_of(&self, row: usize, strategy: usize, quantity: Quantity) -> Estimate {
        self.row(self.row_number(row), self.strategy_number(strategy), quantity)
    }

    fn fleet_losses_of(&self, strategy: usize) -> Vec<Estimate> {
        self.fleet_losses_by_year(self.strategy_number(strategy))
    }

    fn row_losses_of(&self, row: usize, strategy: usize) -> Vec<Estimate> {
        self.row_losses_by_year(self.row_number(row), self.strategy_number(strategy))
    }

    fn after_outages_of(&self, row: usize, strategy: usize) -> Vec<AfterOutageEstimate> {
        self.after_outages(self.row_number(row), self.strategy_number(strategy))
    }

    fn p_came_through_of(&self, row: usize) -> f64 {
        self.p_came_through(self.row_number(row))
    }
}

/// Parts that tests change, lived as the study that they make.
pub trait Lived {
    fn study(&self) -> Study;
    fn simulate(&self, run: &Run) -> Result<Comparison>;
}

impl Lived for StudyParts {
    #[track_caller]
    fn study(&self) -> Study {
        Study::new(self.clone()).unwrap_or_else(|error| panic!("{error}"))
    }

    #[track_caller]
    fn simulate(&self, run: &Run) -> Result<Comparison> {
        self.study().simulate(run)
    }
}

/// A further look at the whole row by some techniques.
pub fn again_by(techniques: Vec<usize>, first_call_stands: bool) -> Escalation {
    Escalation { techniques, of: EscalationScope::Row, from_blades: 1, first_call_stands }
}
