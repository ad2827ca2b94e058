//! Shape of a crack as a function of its depth.

/// Shape of the crack as a function of its depth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum CrackShape {
    /// A fixed geometry factor Y and a fixed ratio of surface length to depth.
    FixedFactor {
        /// Y in `K = Y S sqrt(pi a)`.
        geometry_factor: f64,
        /// Surface length over depth.
        length_over_depth: f64,
    },
    /// A semi-elliptical surface crack that grows in depth and in length, by Newman and Raju (1981).
    SemiElliptical,
    /// A quarter-elliptical crack at a serration's end, by Newman and Raju.
    QuarterElliptical,
}

impl CrackShape {
    /// Surface length over half length: 1 for a corner crack, whose half length is its whole length.
    pub fn halves(&self) -> f64 {
        match self {
            CrackShape::QuarterElliptical => 1.0,
            CrackShape::FixedFactor { .. } | CrackShape::SemiElliptical => 2.0,
        }
    }
}
