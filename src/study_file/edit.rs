//! A study with some of its values changed, by key path: for sweeps and for trying assumptions.

use super::section;
use super::wording::nearest;
use crate::error::{Error, Kind, Result};
use crate::model::Study;
use toml_edit::{DocumentMut, Item, Value};

/// One step along a key path.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Step {
    Key(String),
    /// Counted from 0; written from 1.
    Element(usize),
}

impl Study {
    /// The study with some values changed; it is checked as a whole, like a study file.
    ///
    /// A path is written as in error messages, such as `techniques.eddy-current.pod.q50_mm` or
    /// `units.A.duty[2].starts_per_year`, with list elements counted from 1 and keys with dots in
    /// quotes; a value is written as in the study file. Paths are those of the file that the study was read from,
    /// [`Study::to_toml`]; the last key may be one that it leaves out.
    ///
    /// # Errors
    /// Refuses a path that leads nowhere, a value that is not one, and a study that breaks a rule.
    ///
    /// # Example
    /// ```
    /// use serrata::Study;
    ///
    /// let study = Study::load("demo-data/reference-study.toml")?;
    /// let dearer = study.with_values(&[("money.discount_rate_per_year", "0.12")])?;
    /// assert_eq!(dearer.money.discount_rate, 0.12);
    /// assert!(study.with_values(&[("money.discount_rate", "0.12")]).is_err()); // no such key
    /// # Ok::<(), serrata::Error>(())
    /// ```
    pub fn with_values(&self, values: &[(&str, &str)]) -> Result<Study> {
        let text = self.to_toml();
        let mut document: DocumentMut = text.parse().expect("the text of a study is TOML");
        for (path, value) in values {
            let parsed: Value = value.parse().map_err(|_| {
                Error::argument(path, value, "is not a value of a study file", "text needs quotes, lists need brackets")
            })?;
            set(document.as_item_mut(), path, parsed)?;
        }
        self.changed(&document)
    }

    /// The study that a changed text says.
    pub(super) fn changed(&self, document: &DocumentMut) -> Result<Study> {
        let changed = Study::parse(&document.to_string(), "changed study").map_err(by_key_alone)?;
        Ok(changed.sharing_paths(self))
    }
}

/// Faults of a text that nobody has seen: its lines say nothing, and keys that are not there were asked for.
fn by_key_alone(mut error: Error) -> Error {
    if let Kind::Study { faults, .. } = &mut error.kind {
        for fault in faults {
            fault.line = None;
            if let Some(near) = fault.rule.strip_prefix(section::DID_YOU_MEAN) {
                fault.remedy = format!("change {} instead", near.trim_end_matches('?'));
            }
        }
    }
    error
}

pub(super) fn set(whole: &mut Item, path: &str, value: Value) -> Result<()> {
    let refusal = |rule: &str, remedy: &str| Error::argument("path", format!("{path:?}"), rule, remedy);
    let steps = steps(path).ok_or_else(|| {
        refusal("is not a key path", "write it like techniques.eddy-current.pod.q50_mm or units.A.duty[2].from_year")
    })?;
    let Some((last, way)) = steps.split_last() else {
        return Err(refusal("is empty", "name a key, like money.discount_rate_per_year"));
    };
    let mut here = whole;
    for step in way {
        here = inner(here, step)
            .map_err(|known| refusal(&format!("leads nowhere: there is no {}", step.words()), &known))?;
    }
    match last {
        Step::Key(key) if here.is_table_like() => here[key.as_str()] = Item::Value(value),
        _ => {
            let at_end = inner(here, last)
                .map_err(|known| refusal(&format!("leads nowhere: there is no {}", last.words()), &known))?;
            *at_end = Item::Value(value);
        }
    }
    Ok(())
}

/// One step further; if there is no such way, what there is instead.
fn inner<'i>(item: &'i mut Item, step: &Step) -> std::result::Result<&'i mut Item, String> {
    let known = match &*item {
        Item::ArrayOfTables(tables) => format!("there are the elements 1 to {}", tables.len()),
        item => match (item.as_table_like(), item.as_array()) {
            (Some(table), _) => {
                let keys: Vec<&str> = table.iter().map(|(key, _)| key).collect();
                let near = match step {
                    Step::Key(key) => nearest(key, &keys),
                    Step::Element(_) => None,
                };
                near.map_or_else(|| format!("there is {}", keys.join(", ")), |near| format!("did you mean {near}?"))
            }
            (_, Some(array)) => format!("there are the elements 1 to {}", array.len()),
            _ => "the value before it holds nothing further".to_owned(),
        },
    };
    let found = match step {
        Step::Key(key) => item.as_table_like_mut().and_then(|table| table.get_mut(key)),
        Step::Element(index) => item.get_mut(*index),
    };
    found.filter(|item| !item.is_none()).ok_or(known)
}

impl Step {
    fn words(&self) -> String {
        match self {
            Step::Key(key) => key.clone(),
            Step::Element(index) => format!("element {}", index + 1),
        }
    }
}

/// The steps of a path; `None` when it is not well formed.
fn steps(path: &str) -> Option<Vec<Step>> {
    let mut steps = Vec::new();
    let mut rest = path;
    while !rest.is_empty() {
        if let Some(after) = rest.strip_prefix('[') {
            let (number, after) = after.split_once(']')?;
            steps.push(Step::Element(number.parse::<usize>().ok()?.checked_sub(1)?));
            rest = after;
            continue;
        }
        if !steps.is_empty() {
            rest = rest.strip_prefix('.')?;
        }
        if let Some(after) = rest.strip_prefix('"') {
            let (key, after) = after.split_once('"')?;
            steps.push(Step::Key(key.to_owned()));
            rest = after;
        } else {
            let end = rest.find(['.', '[', '"']).unwrap_or(rest.len());
            let (key, after) = rest.split_at(end);
            if key.is_empty() {
                return None;
            }
            steps.push(Step::Key(key.to_owned()));
            rest = after;
        }
    }
    Some(steps)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_path_is_taken_apart_into_keys_and_elements() {
        let key = |key: &str| Step::Key(key.to_owned());
        assert_eq!(steps("a.b-c[2].d"), Some(vec![key("a"), key("b-c"), Step::Element(1), key("d")]));
        assert_eq!(steps("rows.\"R.1\".blades"), Some(vec![key("rows"), key("R.1"), key("blades")]));
        for malformed in ["a..b", ".a", "a.", "a[0]", "a[x]", "a[1", "a\"b"] {
            assert_eq!(steps(malformed), None, "{malformed}");
        }
    }
}
