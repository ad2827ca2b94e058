//! What a file that is not ours seems to be, by its first bytes.

/// First bytes of formats that people hand over by mistake, and what these are.
const BEGINNINGS: [(&[u8], &str); 8] = [
    (b"PK\x03\x04", "a workbook or another packed file"),
    (b"\xd0\xcf\x11\xe0", "a workbook or document of an old office program"),
    (b"%PDF", "a PDF"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"\x1f\x8b", "a packed file"),
    (b"\xff\xfe", "UTF-16 text"),
    (b"\xfe\xff", "UTF-16 text"),
];

/// Says what bytes seem to be that are no text in UTF-8; `None` for what may be such a text.
pub(crate) fn seems(bytes: &[u8]) -> Option<&'static str> {
    let known = BEGINNINGS.iter().find(|(beginning, _)| bytes.starts_with(beginning)).map(|(_, what)| *what);
    // No text holds the byte zero.
    known.or_else(|| bytes.contains(&0).then_some("no text at all"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_no_text_is_recognised() {
        assert_eq!(seems(b"PK\x03\x04..."), Some("a workbook or another packed file"));
        assert_eq!(seems(b"a\0b"), Some("no text at all"));
        assert_eq!(seems("[study]\nname = \"Übung\"".as_bytes()), None);
    }
}
