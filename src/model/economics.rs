//! What each act and each loss costs, in money and in days.

use crate::distribution::Distribution;

/// Prices and days of acts and losses. Looks are priced with their technique.
#[derive(Debug, Clone, PartialEq)]
pub struct Costs {
    /// Taking the blades of a row out and putting them back.
    pub blades_out_cost: f64,
    /// Days of it.
    pub blades_out_days: f64,
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
    pub loss_days: f64,
    /// Lost output per day beyond an outage's window, and per day of forced outage.
    pub outage_day_cost: f64,
    /// Source of the numbers.
    pub basis: Option<String>,
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
}
