//! What each act and each loss costs, in money and in days.

use crate::distribution::Distribution;
use crate::error::{Error, Result};

/// Prices and days of acts and losses. Looks are priced with their technique.
#[derive(Debug, Clone, PartialEq)]
pub struct Costs {
    /// Taking the blades of a row out and putting them back.
    pub blades_out_cost: f64,
    /// Days of it.
    pub blades_out_days: f64,
    /// The same for each blade that comes out, beside that.
    pub blades_out_cost_per_blade: f64,
    /// Days of it.
    pub blades_out_days_per_blade: f64,
    /// Lifting a rotor out of its casing and putting it back, once for all of its rows whose blades come out.
    pub rotor_lift_cost: f64,
    /// Days of it.
    pub rotor_lift_days: f64,
    /// A new blade, fitted.
    pub new_blade_cost: f64,
    /// Days of fitting one more new blade.
    pub new_blade_days: f64,
    /// Dressing a blade; none where no strategy does.
    pub dressing_cost: Option<f64>,
    /// Days of dressing one more blade; likewise.
    pub dressing_days: Option<f64>,
    /// A whole new row, fitted.
    pub new_row_cost: f64,
    /// Days of it.
    pub new_row_days: f64,
    /// A lost blade: damage and repair, without lost output.
    pub loss_cost: Distribution,
    /// Days of forced outage after a loss.
    pub loss_days: Distribution,
    /// Lost output per day beyond an outage's window, and per day of forced outage.
    pub outage_day_cost: DayCost,
    /// Source of the numbers.
    pub basis: Option<String>,
}

impl Costs {
    /// Mean cost of a loss, its forced days included; where a day's cost has seasons, that of a loss at any time of the year.
    pub fn mean_loss(&self) -> f64 {
        self.loss_cost.mean() + self.loss_days.mean() * self.outage_day_cost.mean()
    }

    /// The same of losses that all come in the dearest season.
    pub fn dearest_mean_loss(&self) -> f64 {
        self.loss_cost.mean() + self.loss_days.mean() * self.outage_day_cost.highest()
    }
}

/// Days of a year, as days at outages are reckoned.
pub const DAYS_PER_YEAR: f64 = 365.25;

/// What a day without output costs.
#[derive(Debug, Clone, PartialEq)]
pub enum DayCost {
    /// The same all year.
    Same(f64),
    /// By season.
    Seasons(Seasons),
}

/// Seasons of a year in order of their months; each lasts until the next begins, and the last until the first.
#[derive(Debug, Clone, PartialEq)]
pub struct Seasons {
    all: Vec<Season>,
}

/// A part of each year in which a day costs the same.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Season {
    /// Month in which it begins, from 1 for January.
    pub from_month: u32,
    /// Cost of a day.
    pub cost: f64,
}

impl Seasons {
    /// Seasons, in any order.
    ///
    /// # Errors
    /// Refuses an empty list, months that are none, and months in which two seasons begin.
    pub fn new(mut all: Vec<Season>) -> Result<Self> {
        all.sort_by_key(|season| season.from_month);
        let refuse = |value: String, rule: &str, remedy: &str| Err(Error::argument("seasons", value, rule, remedy));
        if let Some(season) = all.iter().find(|season| !(1..=12).contains(&season.from_month)) {
            return refuse(season.from_month.to_string(), "a season must begin in a month from 1 to 12", "correct it");
        }
        if let Some(pair) = all.windows(2).find(|pair| pair[0].from_month == pair[1].from_month) {
            return refuse(pair[0].from_month.to_string(), "two seasons begin in this month", "leave one of them out");
        }
        if all.is_empty() {
            return refuse("none".to_owned(), "there must be at least one", "give one cost for all year as a number");
        }
        Ok(Seasons { all })
    }

    /// In order of their months.
    pub fn all(&self) -> &[Season] {
        &self.all
    }

    /// Cost of the time from the beginning of a year to a part of it, in years times the cost of a day.
    fn until(&self, part: f64) -> f64 {
        // Until the first begins, the year has that of the last.
        let mut season = self.all[self.all.len() - 1];
        let (mut sum, mut from) = (0.0, 0.0);
        for next in &self.all {
            let begin = f64::from(next.from_month - 1) / 12.0;
            sum += season.cost * (begin.min(part) - from).max(0.0);
            (season, from) = (*next, begin);
        }
        sum + season.cost * (part - from).max(0.0)
    }
}

impl DayCost {
    /// Cost of some days that begin at a moment, as a decimal year: the cost of each while it lasts.
    pub fn of_days(&self, year: f64, days: f64) -> f64 {
        match self {
            DayCost::Same(cost) => days * cost,
            DayCost::Seasons(seasons) => {
                let begin = year - year.floor();
                let end = begin + days / DAYS_PER_YEAR;
                let whole_years = end.floor();
                let sum = whole_years * self.mean() + (seasons.until(end - whole_years) - seasons.until(begin));
                sum * DAYS_PER_YEAR
            }
        }
    }

    /// The same for each day, in the mean over them; of no days nothing.
    pub fn mean_of_days(&self, year: f64, days: f64) -> f64 {
        match self {
            DayCost::Same(cost) => *cost,
            DayCost::Seasons(_) if days > 0.0 => self.of_days(year, days) / days,
            DayCost::Seasons(_) => 0.0,
        }
    }

    /// Cost of a day in the mean over a year.
    pub fn mean(&self) -> f64 {
        match self {
            DayCost::Same(cost) => *cost,
            DayCost::Seasons(seasons) => seasons.until(1.0),
        }
    }

    /// Cost of a day in the dearest season.
    pub fn highest(&self) -> f64 {
        match self {
            DayCost::Same(cost) => *cost,
            DayCost::Seasons(seasons) => seasons.all.iter().map(|season| season.cost).fold(0.0, f64::max),
        }
    }
}

/// The currency, and how money at different times is made comparable.
#[derive(Debug, Clone, PartialEq)]
pub struct Money {
    /// Name of the currency.
    pub currency: String,
    /// Discount rate per year.
    pub discount_rate: f64,
    /// Whether costs and rate are real (prices of the start year) or nominal.
    pub terms: Terms,
    /// Moment within its year to which a payment is reckoned.
    pub payments: Payments,
}

impl Money {
    /// Present value at the start of the study of one unit paid after some years.
    pub fn present_value(&self, years: f64) -> f64 {
        let reckoned = match self.payments {
            Payments::WhenDue => years,
            Payments::YearStart => years.floor(),
            Payments::YearMiddle => years.floor() + 0.5,
            Payments::YearEnd => years.floor() + 1.0,
        };
        crate::math::exp(-reckoned * crate::math::ln(1.0 + self.discount_rate))
    }

    /// Present value at the start of the study of one unit a year, paid evenly from one moment to another, in years from
    /// the start on.
    pub fn present_value_of_stream(&self, from_years: f64, until_years: f64) -> f64 {
        let rate = crate::math::ln(1.0 + self.discount_rate);
        if self.payments == Payments::WhenDue && rate > 0.0 {
            return (self.present_value(from_years) - self.present_value(until_years)) / rate;
        }
        // Within a year of the study all is worth the same.
        let in_year = |year: f64| (until_years.min(year + 1.0) - from_years.max(year)).max(0.0);
        let years = (from_years.floor() as i64..until_years.ceil() as i64).map(|year| year as f64);
        years.map(|year| in_year(year) * self.present_value(year)).sum()
    }
}

/// Real or nominal money.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Terms {
    /// Prices of the start year; the rate is net of inflation.
    Real,
    /// Prices of the day; the rate includes inflation.
    Nominal,
}

/// Moment within its year to which a payment is reckoned.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Payments {
    /// The moment itself.
    WhenDue,
    /// The beginning of the study year it falls in.
    YearStart,
    /// The middle of that year.
    YearMiddle,
    /// The end of that year.
    YearEnd,
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against a sum over many short stretches.
    #[test]
    fn a_stream_is_worth_the_sum_of_its_moments() {
        for payments in [Payments::WhenDue, Payments::YearStart, Payments::YearMiddle, Payments::YearEnd] {
            for discount_rate in [0.0, 0.07] {
                let money = Money { currency: "none".to_owned(), discount_rate, terms: Terms::Real, payments };
                let (from, until, steps) = (2.25, 9.5, 29_000);
                let step = (until - from) / f64::from(steps);
                let moments = (0..steps).map(|number| from + step * (f64::from(number) + 0.5));
                let sum: f64 = moments.map(|years| step * money.present_value(years)).sum();
                let stream = money.present_value_of_stream(from, until);
                assert!((stream / sum - 1.0).abs() < 1e-7, "{payments:?}: {stream} and {sum}");
            }
        }
    }

    fn winters() -> DayCost {
        let all = [(11, 200.0), (4, 80.0)].map(|(from_month, cost)| Season { from_month, cost });
        DayCost::Seasons(Seasons::new(all.to_vec()).expect("two seasons"))
    }

    #[track_caller]
    fn assert_near(ours: f64, expected: f64) {
        assert!((ours - expected).abs() < 1e-8 * (1.0 + expected.abs()), "{ours} and {expected}");
    }

    #[test] // by hand: five months in twelve cost 200, seven cost 80
    fn days_cost_what_their_seasons_do() {
        let (cost, month) = (winters(), DAYS_PER_YEAR / 12.0);
        assert_near(cost.mean(), (5.0 * 200.0 + 7.0 * 80.0) / 12.0);
        assert_eq!((cost.highest(), cost.of_days(2030.1, 0.0), cost.mean_of_days(2030.5, 0.0)), (200.0, 0.0, 0.0));
        // Within winter, within summer, and over both ends.
        assert_near(cost.of_days(2030.0, 10.0), 2000.0);
        assert_near(cost.of_days(2030.5, 10.0), 800.0);
        assert_near(cost.of_days(2030.0 + 2.5 / 12.0, month), month * (0.5 * 200.0 + 0.5 * 80.0));
        assert_near(cost.of_days(2030.0 + 9.75 / 12.0, month), month * (0.25 * 80.0 + 0.75 * 200.0));
        // Over the turn of a year, and over more than one.
        assert_near(cost.of_days(2030.0 + 11.0 / 12.0, 3.0 * month), 3.0 * month * 200.0);
        assert_near(cost.of_days(2030.25, 2.5 * DAYS_PER_YEAR), (2.0 * 1560.0 + 6.0 * 80.0) * month);
        assert_near(cost.mean_of_days(2030.25, DAYS_PER_YEAR), 1560.0 / 12.0);
        assert_near(cost.of_days(-3.5, 10.0), 800.0);
        assert_eq!(DayCost::Same(7.0).of_days(2030.9, 100.0), 700.0);
    }

    #[test]
    fn seasons_that_make_no_year_are_refused() {
        let season = |from_month| Season { from_month, cost: 1.0 };
        for (all, word) in [
            (vec![], "at least one"),
            (vec![season(3), season(5), season(3)], "two seasons"),
            (vec![season(0)], "from 1 to 12"),
            (vec![season(13)], "from 1 to 12"),
        ] {
            let error = Seasons::new(all).expect_err("refused").to_string();
            assert!(error.contains(word), "{error}");
        }
    }
}
