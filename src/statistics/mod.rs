//! From inspection records to model pieces and to intervals; usable without simulating anything.

pub mod blades_to_look_at;
pub mod bound;
pub mod calibration;
pub mod capture_histories;
pub mod censored;
pub mod demonstration;
pub mod evidence;
pub mod hit_miss;
pub mod initiation;
pub mod interval;
pub mod latent;
pub mod missed_cracks;
mod newton;
pub mod paired;
pub mod pooled_rates;
mod profile;
pub(crate) mod quadrature;
pub mod rate_change;
pub mod records;
pub(crate) mod search;
pub mod selection;
pub mod signal;
mod sizes;
pub mod tail;
pub mod tail_index;
