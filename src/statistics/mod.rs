//! From inspection records to model pieces and to intervals; usable without simulating anything.

pub mod demonstration;
pub mod histories;
pub mod interval;
#[allow(dead_code, reason = "fits of detection against size climb on its other planes")]
mod newton;
pub mod paired;
pub mod records;
mod search;
pub mod tail;
pub mod unseen;
