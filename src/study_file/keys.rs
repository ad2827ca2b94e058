//! Holds the key reference and the reference study against the keys that are read.

use super::check;
use super::reader::{Key, Place, Report};
use std::collections::BTreeMap;
use toml_edit::Document;

const REFERENCE_STUDY: &str = include_str!("../../demo-data/reference-study.toml");
const KEY_REFERENCE: &str = include_str!("keys.md");

/// The keys that are asked for while the reference study is read.
fn keys_asked_for() -> BTreeMap<String, Key> {
    let document = Document::parse(REFERENCE_STUDY).expect("the reference study is TOML");
    let report = Report::new(REFERENCE_STUDY);
    let study = Place::of_file(&report, document.as_table()).table(check::study);
    assert!(study.is_some(), "{:?}", report.into_faults());
    report.keys.take()
}

/// All but what serrata writes for itself.
#[test]
fn the_reference_study_holds_every_key() {
    let missing = keys_asked_for().into_iter().filter(|(path, key)| !key.present && !path.starts_with("given"));
    let missing: Vec<String> = missing.map(|(path, _)| path).collect();
    assert_eq!(missing, Vec::<String>::new());
}

/// Numbers of a distribution whose range is that of the distributed quantity.
const OF_THE_QUANTITY: [&str; 9] = ["mean", "sd", "median", "scale", "low", "mode", "high", "minimum", "capped_at"];

#[test]
fn the_key_reference_holds_every_key_with_what_it_takes() {
    let mut asked = keys_asked_for();
    for line in KEY_REFERENCE.lines().filter(|line| line.starts_with("| `")) {
        let cells: Vec<&str> = line.trim_matches('|').split('|').map(str::trim).collect();
        let [path, takes, required, meaning] = cells[..] else { panic!("not four cells: {line}") };
        let path = path.trim_matches('`');
        let key = asked.remove(path).unwrap_or_else(|| panic!("{path} is documented twice, or is not a key"));
        let of_the_quantity = path.strip_prefix("DISTRIBUTION.").is_some_and(|key| OF_THE_QUANTITY.contains(&key));
        assert_eq!(takes, if of_the_quantity { "a number in the range of the quantity" } else { &key.takes }, "{path}");
        assert_ne!(required, if key.optional { "yes" } else { "no" }, "{path}");
        assert!(!meaning.is_empty(), "{path} has no meaning");
    }
    assert_eq!(asked.into_keys().collect::<Vec<_>>(), Vec::<String>::new(), "not documented");
}
