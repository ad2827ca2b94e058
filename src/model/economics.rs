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
