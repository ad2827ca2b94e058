//! Blades that stay with an indication.

/// A blade to be looked at again at an outage.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Watched {
    pub outage: usize,
    pub blade: u32,
    pub technique: usize,
}
