//! Start and end of one crack on its growth path.

/// Start of one crack: its place on its line, and which line it follows.
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
