//! Units of length that a file may state: a short closed list, so that nothing is guessed.

/// A unit of length and what it is in mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Unit {
    pub name: &'static str,
    pub mm: f64,
}

impl Unit {
    pub const MM: Unit = Unit { name: "mm", mm: 1.0 };
}

const CM: Unit = Unit { name: "cm", mm: 10.0 };
const M: Unit = Unit { name: "m", mm: 1_000.0 };
const UM: Unit = Unit { name: "\u{b5}m", mm: 1e-3 };
const INCH: Unit = Unit { name: "in", mm: 25.4 };
const MIL: Unit = Unit { name: "mil", mm: 0.0254 };

/// How units are written, in small letters. The micro sign and the Greek letter are two characters.
const UNITS: [(&str, Unit); 22] = [
    ("mm", Unit::MM),
    ("millimetre", Unit::MM),
    ("millimeter", Unit::MM),
    ("cm", CM),
    ("centimetre", CM),
    ("centimeter", CM),
    ("m", M),
    ("metre", M),
    ("meter", M),
    ("um", UM),
    ("\u{b5}m", UM),
    ("\u{3bc}m", UM),
    ("micron", UM),
    ("micrometre", UM),
    ("micrometer", UM),
    ("in", INCH),
    ("inch", INCH),
    ("inche", INCH),
    ("\"", INCH),
    ("''", INCH),
    ("mil", MIL),
    ("thou", MIL),
];

/// Names of a column that states the unit of the sizes in its line.
pub(super) const UNIT_COLUMNS: [&str; 6] = ["unit", "units", "length_unit", "length_units", "size_unit", "size_units"];

/// What the list of units is, for messages.
pub(super) const KNOWN: &str = "mm, cm, m, um, in or mil";

/// The unit of a word, plural or not; `None` when it is none that is known.
pub(super) fn unit(word: &str) -> Option<Unit> {
    let word = word.trim().trim_end_matches('.').to_lowercase();
    let of = |word: &str| UNITS.iter().find(|(known, _)| *known == word).map(|(_, unit)| *unit);
    // "ms" and "ins" are no plurals.
    of(&word).or_else(|| word.strip_suffix('s').filter(|one| one.chars().count() > 2).and_then(of))
}

/// What a column's name says of its unit.
#[derive(Debug, PartialEq)]
pub(super) enum Stated<'n> {
    /// Nothing.
    Nothing,
    /// A unit, and the name without it.
    Unit(Unit, &'n str),
    /// Something in brackets that is no unit of length that is known.
    Unknown(&'n str),
}

/// Reads the unit off a column's name: in brackets at its end, or as its last word.
pub(super) fn stated(name: &str) -> Stated<'_> {
    let name = name.trim();
    if let Some(unit) = unit(name) {
        return Stated::Unit(unit, "");
    }
    for (open, close) in [('[', ']'), ('(', ')'), ('{', '}')] {
        if let Some((before, inside)) = name.strip_suffix(close).and_then(|rest| rest.rsplit_once(open)) {
            return match unit(inside) {
                Some(unit) => Stated::Unit(unit, before.trim()),
                None => Stated::Unknown(inside.trim()),
            };
        }
    }
    let last = name.rfind([' ', '_', '-', '/', ',', '.']).map(|at| (&name[..at], &name[at + 1..]));
    match last.and_then(|(before, word)| Some((unit(word)?, before))) {
        Some((unit, before)) => Stated::Unit(unit, before.trim_end_matches([' ', '_', '-', '/', ',', '.'])),
        None => Stated::Nothing,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_unit_is_read_off_a_name_where_it_stands_clearly() {
        for (name, wanted, bare) in [
            ("depth [in]", "in", "depth"),
            ("Length (MM)", "mm", "Length"),
            ("measured_length_mil", "mil", "measured_length"),
            ("depth, \u{3bc}m", "\u{b5}m", "depth"),
            ("crack length / inches", "in", "crack length"),
            ("thou", "mil", ""),
        ] {
            assert!(matches!(stated(name), Stated::Unit(unit, rest) if unit.name == wanted && rest == bare), "{name}");
        }
        assert_eq!(stated("depth [furlong]"), Stated::Unknown("furlong"));
        for name in ["length", "depth of crack", "inspection", "signal_mv"] {
            assert_eq!(stated(name), Stated::Nothing, "{name}");
        }
    }

    #[test] // 1 in = 25.4 mm exactly (international yard and pound agreement, 1959)
    fn units_are_what_they_are_in_mm() {
        for (word, mm) in [("in", 25.4), ("mils", 0.0254), ("thou", 0.0254), ("cm", 10.0), ("m", 1000.0), ("um", 1e-3)]
        {
            assert_eq!(unit(word).map(|unit| unit.mm), Some(mm), "{word}");
        }
        assert_eq!(unit("furlong"), None);
        assert_eq!(unit("ms"), None);
    }
}
