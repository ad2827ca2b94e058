//! Texts of users that go into reports, tables and terminals.

/// Whether a character steers a terminal or the order of letters, and is not seen itself.
pub(crate) fn is_unseen(sign: char) -> bool {
    // Marks of direction: text that holds them may read otherwise than it is written.
    sign.is_control() || matches!(sign, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

/// Whether spreadsheets take a text for a formula.
pub(crate) fn is_formula(text: &str) -> bool {
    text.starts_with(['=', '+', '@'])
}
