//! The words of messages: paths, lists of names, the name that was meant.

/// A passage of the file on one line and not too long.
pub(super) fn shortened(passage: &str) -> String {
    const LONGEST: usize = 60;
    let mut line = passage.split_whitespace().collect::<Vec<_>>().join(" ");
    if let Some((end, _)) = line.char_indices().nth(LONGEST) {
        line.truncate(end);
        line.push_str(" ...");
    }
    line
}

/// Line of an offset, counted from 1.
pub(super) fn line_at(text: &str, offset: usize) -> usize {
    1 + text.as_bytes().iter().take(offset).filter(|byte| **byte == b'\n').count()
}

/// The nearest of some names, when one is near enough to be meant.
pub(super) fn nearest<'n>(name: &str, known: &[&'n str]) -> Option<&'n str> {
    /// One letter in so many may be wrong.
    const PER_SLIP: usize = 3;
    let slips = 1.max(name.chars().count() / PER_SLIP);
    // A unit that was left out, as in q50 for q50_mm.
    let without_unit = |known: &&&str| known.strip_prefix(name).is_some_and(|unit| unit.starts_with('_'));
    if let Some(known) = known.iter().find(without_unit) {
        return Some(known);
    }
    known
        .iter()
        .map(|known| (strsim::damerau_levenshtein(name, known), *known))
        .filter(|(distance, _)| *distance <= slips)
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, known)| known)
}

/// A noun with its article.
pub(super) fn a(noun: &str) -> String {
    format!("{} {noun}", if noun.starts_with(['a', 'e', 'i', 'o', 'u']) && noun != "unit" { "an" } else { "a" })
}

/// The nearest of some names as a question, or something else where none is near.
pub(super) fn suggestion(name: &str, known: &[&str], otherwise: &str) -> String {
    nearest(name, known).map_or_else(|| otherwise.to_owned(), |near| format!("did you mean {near:?}?"))
}

/// `"a"`, `"b"` or `"c"`.
pub(super) fn one_of(names: &[&str]) -> String {
    let quoted: Vec<String> = names.iter().map(|name| format!("{name:?}")).collect();
    match quoted.as_slice() {
        [init @ .., last] if !init.is_empty() => format!("{} or {last}", init.join(", ")),
        _ => quoted.concat(),
    }
}

/// Path of a key under a path; a key with anything but letters, digits, `-` and `_` is quoted, as in the file.
pub(super) fn join(path: &str, key: &str) -> String {
    join_plain(path, &toml_edit::Key::new(key).to_string())
}

/// Path of a key that needs no quotes.
pub(super) fn join_plain(path: &str, key: &str) -> String {
    if path.is_empty() { key.to_owned() } else { format!("{path}.{key}") }
}

/// How a number is written that has a decimal comma or commas between thousands; `None` if it has none.
pub(super) fn without_comma(number: &str) -> Option<String> {
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|c| c.is_ascii_digit());
    let (sign, unsigned) = number.split_at(number.len() - number.trim_start_matches(['+', '-']).len());
    let (first, rest) = unsigned.split_once(',')?;
    let (rest, fraction) = rest.split_once('.').map_or((rest, ""), |(rest, fraction)| (rest, fraction));
    let groups: Vec<&str> = rest.split(',').collect();
    let fraction_is_good = fraction.is_empty() || digits(fraction);
    if !digits(first) || !groups.iter().all(|group| digits(group)) || !fraction_is_good {
        return None;
    }
    let point = if fraction.is_empty() { "" } else { "." };
    let whole = format!("{sign}{first}{}{point}{fraction}", groups.concat());
    let thousands = first.len() <= 3 && !first.starts_with('0') && groups.iter().all(|group| group.len() == 3);
    match (thousands, groups.as_slice()) {
        (true, [group]) if fraction.is_empty() => Some(format!("{whole}, or {sign}{first}.{group} if that is meant")),
        (true, _) => Some(whole),
        (false, [decimals]) if fraction.is_empty() => Some(format!("{sign}{first}.{decimals}")),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_comma_in_a_number_is_a_decimal_mark_or_stands_between_thousands() {
        let meant = |number| without_comma(number);
        assert_eq!(meant("0,06").as_deref(), Some("0.06"));
        assert_eq!(meant("-1,5").as_deref(), Some("-1.5"));
        assert_eq!(meant("2,000").as_deref(), Some("2000, or 2.000 if that is meant"));
        assert_eq!(meant("0,125").as_deref(), Some("0.125"));
        assert_eq!(meant("1,234,567").as_deref(), Some("1234567"));
        assert_eq!(meant("1,234.5").as_deref(), Some("1234.5"));
        for other in ["12", "1,2,3", ",5", "5,", "a,b", "1,5.2"] {
            assert_eq!(meant(other), None, "{other}");
        }
    }
}
