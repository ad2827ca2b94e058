//! Fracture mechanics and crack growth, against published equations and tables, closed forms, and an
//! accurate integration by an independent library.

mod assessment;
mod following;
mod growth_law;
mod joining;
mod stress_intensity;
mod support;
mod surface_crack;
mod truth;
