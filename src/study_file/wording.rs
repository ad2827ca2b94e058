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
