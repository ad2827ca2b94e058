//! The Python module `serrata._engine`: convert, call, convert back.

mod after_look;
mod arguments;
mod arrays;
mod blades_to_look_at;
mod cheapest_plan;
mod comparison;
mod demonstration;
mod doorway;
mod elsewhere;
mod errors;
mod evidence;
mod given;
mod grown;
mod growth_fit;
mod hit_miss;
mod initiation;
mod inspection_interval;
mod latent;
mod limits;
mod missed_cracks;
mod rates;
mod records;
mod screening;
mod signal;
mod study;

use pyo3::prelude::*;

/// The compiled engine of serrata.
#[pymodule]
mod _engine {
    use super::*;

    #[pymodule_export]
    use super::after_look::{can_it_run, left_in_row};
    #[pymodule_export]
    use super::blades_to_look_at::how_many_blades;
    #[pymodule_export]
    use super::cheapest_plan::cheapest_plan;
    #[pymodule_export]
    use super::comparison::{Comparison, simulate};
    #[pymodule_export]
    use super::demonstration::{Demonstration, DemonstrationPlan};
    #[pymodule_export]
    use super::doorway::fail_inside;
    #[pymodule_export]
    use super::elsewhere::{Assembly, live_part};
    #[pymodule_export]
    use super::evidence::Evidence;
    #[pymodule_export]
    use super::given::{Given, explanations, given, given_for_row, hindcast};
    #[pymodule_export]
    use super::grown::{GrownCracks, grow};
    #[pymodule_export]
    use super::growth_fit::{GrowthEvidence, GrowthFit, fit_growth_cells, fit_growth_text};
    #[pymodule_export]
    use super::hit_miss::HitMissFit;
    #[pymodule_export]
    use super::initiation::{InitiationFit, initiation_clocks};
    #[pymodule_export]
    use super::inspection_interval::inspection_interval;
    #[pymodule_export]
    use super::latent::{latent_classes_of_counts, latent_classes_of_records};
    #[pymodule_export]
    use super::missed_cracks::{missed_cracks_of_counts, missed_cracks_of_records};
    #[pymodule_export]
    use super::rates::{pooled_rates, rate_change};
    #[pymodule_export]
    use super::records::{Records, records_template, records_text};
    #[pymodule_export]
    use super::screening::{Screening, screen};
    #[pymodule_export]
    use super::signal::SignalFit;
    #[pymodule_export]
    use super::study::Study;

    #[pymodule_init]
    fn init(module: &Bound<'_, PyModule>) -> PyResult<()> {
        module.add("__version__", crate::VERSION)?;
        module.add("CAUTION", crate::CAUTION)?;
        module.add("GENERATOR", crate::random::GENERATOR)?;
        module.add("TABLES", crate::simulation::TABLES.to_vec())
    }
}
