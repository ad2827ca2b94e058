//! From data to model pieces and to intervals; usable without simulating anything.

pub mod interval;
