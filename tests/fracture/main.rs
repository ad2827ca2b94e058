//! Fracture mechanics and crack growth, against published equations and tables, closed forms, and an
//! accurate integration by an independent library.

mod following;
mod support;
mod truth;
