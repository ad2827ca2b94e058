//! The Python module `serrata._engine`: convert, call, convert back.

mod arguments;
mod arrays;
mod comparison;
mod doorway;
mod errors;
mod grown;
mod study;

use pyo3::prelude::*;

/// The compiled engine of serrata.
#[pymodule]
mod _engine {
    use super::*;

    #[pymodule_export]
    use super::comparison::Comparison;
    #[pymodule_export]
    use super::doorway::fail_inside;
    #[pymodule_export]
    use super::grown::GrownCracks;
    #[pymodule_export]
    use super::study::Study;

    #[pymodule_init]
    fn init(module: &Bound<'_, PyModule>) -> PyResult<()> {
        module.add("__version__", env!("CARGO_PKG_VERSION"))?;
        module.add("CAUTION", crate::CAUTION)?;
        module.add("GENERATOR", crate::random::GENERATOR)?;
        module.add("TABLES", crate::simulation::TABLES.to_vec())
    }
}
