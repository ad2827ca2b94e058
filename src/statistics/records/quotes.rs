//! Whether the quotes of a CSV text are well formed.
//!
//! A reader of CSV forgives a quote that is not closed by swallowing the lines after it; records must not
//! vanish so, hence this check comes first.

/// Line, counted from 1, of the first quoted cell that is not closed, or not followed by a delimiter or
/// the end of its line.
pub(super) fn first_broken(text: &str, delimiter: u8) -> Option<usize> {
    #[derive(PartialEq)]
    enum At {
        CellBegin,
        Plain,
        Quoted,
        /// After a quote within quotes: doubled, or the end of the cell.
        Quote,
    }
    let (mut at, mut line, mut opened) = (At::CellBegin, 1, 1);
    for byte in text.bytes() {
        at = match (at, byte) {
            (At::CellBegin, b'"') => {
                opened = line;
                At::Quoted
            }
            (At::Quoted, b'"') => At::Quote,
            (At::Quoted, _) => At::Quoted,
            (At::Quote, b'"') => At::Quoted,
            (_, b'\n') => At::CellBegin,
            (_, byte) if byte == delimiter => At::CellBegin,
            (At::Quote, _) => return Some(opened),
            _ => At::Plain,
        };
        line += usize::from(byte == b'\n');
    }
    (at == At::Quoted).then_some(opened)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quotes_that_would_swallow_lines_are_found() {
        assert_eq!(first_broken("a,b\n1,\"open\n2,b\n", b','), Some(2));
        assert_eq!(first_broken("a,b\n1,\"closed\" later\n", b','), Some(2));
        assert_eq!(first_broken("a,b\n1,\"x\n2,\"y\"\n", b','), Some(2));
    }

    #[test]
    fn good_quotes_and_inches_pass() {
        assert_eq!(first_broken("\"a\",b\n1,\"say \"\"so\"\", twice\nover two lines\"\n2,3\" pipe\n", b','), None);
    }
}
