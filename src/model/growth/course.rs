//! Where one crack starts on its growth path, and where it ends.

/// The way of one crack: where it enters and on which line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Course {
    /// Coordinate at initiation; the meaning is the path's own.
    pub start: f64,
    /// Which of the path's lines the crack follows; 0 for a path with one line.
    pub line: f64,
}

/// The end of one crack, with its own toughness and its blade's stress.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum CrackEnd {
    /// At a depth in mm.
    Depth(f64),
    /// At a stress intensity for unit stress factor, in MPa sqrt(m).
    Intensity(f64),
    /// At a fraction of the section.
    SectionFraction(f64),
}
