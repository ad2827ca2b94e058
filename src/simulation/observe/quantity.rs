//! The numbers that each life has.

/// A number that each life has, and whose mean over lives is an answer.
///
/// Costs are discounted; days are not.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[repr(usize)]
pub enum Quantity {
    /// 1 if any blade was lost.
    AnyLoss,
    /// Blades lost.
    Losses,
    /// Blades replaced one by one, or with their groups: at outages, and of a group after the loss of one of it.
    BladesReplaced,
    /// Of them, blades without a crack that were called.
    FalselyReplaced,
    /// Blades dressed, each once at each outage at which it was.
    BladesDressed,
    /// Of blades replaced, those that were damaged: on their way out or in, or by a lost neighbour.
    BladesDamaged,
    /// Called blades that were to be replaced and ran on for want of a spare, each once at each outage at which it did.
    BladesRunOn,
    /// Used blades fitted where no new ones were there: of blades replaced, and in the place of lost ones.
    UsedBladesFitted,
    /// Whole rows replaced.
    RowsReplaced,
    /// Cracks called by a look that stood: each once at each outage at which it was called, whoever called it.
    CracksFound,
    /// Outages at which a scheduled look called something.
    OutagesWithCalls,
    /// 1 if a second look was ever called for.
    Escalated,
    /// Times that the blades came out.
    TimesOut,
    /// Times that the unit was stopped between outages for an extra look, split over the rows that were looked at.
    ExtraStops,
    /// All costs.
    Cost,
    /// Costs of looks.
    LookCost,
    /// Costs of taking blades out and putting them back, and of lifting rotors for it.
    BladesOutCost,
    /// Costs of new blades and rows.
    ReplacementCost,
    /// Costs of dressing blades.
    DressingCost,
    /// Costs of stopping the unit for extra looks, beside the looks and the days.
    StopCost,
    /// Costs of treating surfaces: of cleaning before looks, and of peening anew.
    SurfaceCost,
    /// Costs of days beyond the window, and of all days of stops between outages.
    ExtraDayCost,
    /// Costs of running the unit under a limit on its starts, which its rows share alike.
    StartsLimitCost,
    /// Costs of holding spare blades, which the rows of a stock share alike.
    SparesCost,
    /// Costs of losses, forced days and days of waiting for blades after them included.
    LossCost,
    /// Days of work at outages, of forced outages, and of waiting for new blades at both.
    Days,
    /// Days of looks.
    LookDays,
    /// Days of taking blades out and putting them back, and of lifting rotors for it.
    BladesOutDays,
    /// Days of fitting new blades.
    ReplacementDays,
    /// Days of dressing blades.
    DressingDays,
    /// Days that the unit stood still for extra looks, beside the work.
    StopDays,
    /// Days of treating surfaces.
    SurfaceDays,
    /// Days of waiting for new blades, at outages and after losses.
    WaitDays,
    /// Days of forced outages, without those of waiting for new blades.
    ForcedDays,
    /// Days of work at the unit's outages beyond their windows, and all days of stops between outages but those that a loss
    /// forces, split over the rows that cause them.
    DaysBeyondWindow,
}

impl Quantity {
    /// Every quantity, in order.
    pub const ALL: [Quantity; 35] = [
        Quantity::AnyLoss,
        Quantity::Losses,
        Quantity::BladesReplaced,
        Quantity::FalselyReplaced,
        Quantity::BladesDressed,
        Quantity::BladesDamaged,
        Quantity::BladesRunOn,
        Quantity::UsedBladesFitted,
        Quantity::RowsReplaced,
        Quantity::CracksFound,
        Quantity::OutagesWithCalls,
        Quantity::Escalated,
        Quantity::TimesOut,
        Quantity::ExtraStops,
        Quantity::Cost,
        Quantity::LookCost,
        Quantity::BladesOutCost,
        Quantity::ReplacementCost,
        Quantity::DressingCost,
        Quantity::StopCost,
        Quantity::SurfaceCost,
        Quantity::ExtraDayCost,
        Quantity::StartsLimitCost,
        Quantity::SparesCost,
        Quantity::LossCost,
        Quantity::Days,
        Quantity::LookDays,
        Quantity::BladesOutDays,
        Quantity::ReplacementDays,
        Quantity::DressingDays,
        Quantity::StopDays,
        Quantity::SurfaceDays,
        Quantity::WaitDays,
        Quantity::ForcedDays,
        Quantity::DaysBeyondWindow,
    ];

    /// Name of the result column.
    pub fn name(self) -> &'static str {
        match self {
            Quantity::AnyLoss => "p_any_loss",
            Quantity::Losses => "losses",
            Quantity::BladesReplaced => "blades_replaced",
            Quantity::FalselyReplaced => "blades_replaced_on_false_calls",
            Quantity::BladesDressed => "blades_dressed",
            Quantity::BladesDamaged => "blades_damaged",
            Quantity::BladesRunOn => "blades_run_on",
            Quantity::UsedBladesFitted => "used_blades_fitted",
            Quantity::RowsReplaced => "rows_replaced",
            Quantity::CracksFound => "cracks_found",
            Quantity::OutagesWithCalls => "outages_with_calls",
            Quantity::Escalated => "p_escalated",
            Quantity::TimesOut => "times_blades_out",
            Quantity::ExtraStops => "extra_stops",
            Quantity::Cost => "cost",
            Quantity::LookCost => "look_cost",
            Quantity::BladesOutCost => "blades_out_cost",
            Quantity::ReplacementCost => "replacement_cost",
            Quantity::DressingCost => "dressing_cost",
            Quantity::StopCost => "stop_cost",
            Quantity::SurfaceCost => "surface_cost",
            Quantity::ExtraDayCost => "extra_day_cost",
            Quantity::StartsLimitCost => "starts_limit_cost",
            Quantity::SparesCost => "spares_cost",
            Quantity::LossCost => "loss_cost",
            Quantity::Days => "days",
            Quantity::LookDays => "look_days",
            Quantity::BladesOutDays => "blades_out_days",
            Quantity::ReplacementDays => "replacement_days",
            Quantity::DressingDays => "dressing_days",
            Quantity::StopDays => "stop_days",
            Quantity::WaitDays => "wait_days",
            Quantity::SurfaceDays => "surface_days",
            Quantity::ForcedDays => "forced_days",
            Quantity::DaysBeyondWindow => "days_beyond_window",
        }
    }

    /// Whether it is 0 or 1 in each life, so that its mean is a probability.
    pub fn is_probability(self) -> bool {
        matches!(self, Quantity::AnyLoss | Quantity::Escalated)
    }
}

/// One number for each [`Quantity`].
pub(crate) type Values = [f64; Quantity::ALL.len()];

/// Zero for each.
pub(crate) const NOTHING: Values = [0.0; Quantity::ALL.len()];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_quantity_has_a_name_of_its_own() {
        let names: std::collections::BTreeSet<&str> = Quantity::ALL.iter().map(|quantity| quantity.name()).collect();
        assert_eq!(names.len(), Quantity::ALL.len());
    }

    /// A life loses a blade or not, and has a second look or not; all else is counted, priced or measured.
    #[test]
    fn what_a_life_has_or_has_not_is_a_probability() {
        let probabilities: Vec<&str> =
            Quantity::ALL.iter().filter(|quantity| quantity.is_probability()).map(|quantity| quantity.name()).collect();
        assert_eq!(probabilities, ["p_any_loss", "p_escalated"]);
    }
}
