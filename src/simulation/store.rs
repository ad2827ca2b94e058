//! A comparison as JSON for other programs, and as bytes that read back as the same comparison.

use super::estimate::Comparison;
use super::parallel::{Ended, Run};
use super::plan::RowPlan;
use super::tables::{Column, TABLES, Table};
use super::tally::Tally;
use crate::error::{Error, Result};
use crate::model::Study;
use crate::random::{GENERATOR, hash_name};
use serde::ser::{Serialize, SerializeMap, Serializer};
use serde::{Deserialize, Serialize as DeriveSerialize};
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// First words of stored comparisons; another form gets another number.
const FORM: &str = "serrata comparison, form 10";

/// Why a number may be absent from a table, by column.
const REASONS: [(&str, &str); 11] = [
    ("year", "the number is of the whole horizon"),
    ("probability", "the number is neither a quantile nor of the worst lives"),
    ("value", "no trial had a crack there, whose length could be told"),
    (
        "standard_error",
        "nothing was seen in any trial, so that scatter is not known and high is the bound; or the quantity is a \
         quantile, of which low and high tell",
    ),
    ("events", "the quantity is not made of events that are counted"),
    ("low", "as the value of the same line, or too few lives were lived to tell"),
    ("effective_losses", "no crack was planted"),
    ("largest_share", "no crack was planted, or no planted one was lost"),
    ("tail_index", "too few planted cracks were lost, or none was planted"),
    ("halves_apart", "no crack was planted, or no planted one was lost"),
    ("high", "as the value of the same line, or too few lives were lived to tell"),
];

/// What is written as JSON, in order.
#[derive(DeriveSerialize)]
struct Page<'a> {
    program: &'static str,
    version: &'a str,
    generator: &'static str,
    caution: &'static str,
    study: &'a str,
    trials: u64,
    planted_lives: u64,
    seed: u64,
    ended: &'static str,
    target_relative_error: Option<f64>,
    baseline: &'a str,
    interval_level: f64,
    warnings: Vec<String>,
    assumptions: Vec<String>,
    reasons_for_null: BTreeMap<&'static str, &'static str>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    tables_left_out: Vec<&'static str>,
    tables: Tables,
}

struct Tables(Vec<Table>);

impl Serialize for Tables {
    fn serialize<S: Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(Some(self.0.len()))?;
        for table in &self.0 {
            map.serialize_entry(table.name, table)?;
        }
        map.end()
    }
}

impl Serialize for Table {
    fn serialize<S: Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(Some(self.columns.len()))?;
        for (name, column) in &self.columns {
            map.serialize_entry(name, column)?;
        }
        map.end()
    }
}

impl Serialize for Column {
    fn serialize<S: Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        match self {
            Column::Text(texts) => texts.serialize(serializer),
            Column::Count(counts) => counts.serialize(serializer),
            // JSON knows no not-a-number.
            Column::Number(numbers) => serializer.collect_seq(numbers.iter().map(|x| x.is_finite().then_some(x))),
        }
    }
}

/// What is stored.
#[derive(DeriveSerialize, Deserialize)]
struct Stored {
    form: String,
    version: String,
    generator: String,
    study: String,
    seed: u64,
    ended: Ended,
    target_relative_error: Option<f64>,
    tally: Tally,
    /// Of all that stands before it; tells damaged bytes.
    checksum: u64,
}

impl Stored {
    fn sum(&self) -> u64 {
        let run = (&self.study, self.seed, self.ended, self.target_relative_error);
        let content = (&self.form, &self.version, &self.generator, run, &self.tally);
        let content = serde_json::to_string(&content);
        hash_name(&content.expect("text, counts and finite numbers always have a JSON form"))
    }
}

impl Comparison {
    /// Everything in one JSON object: where it comes from, what to beware of, and every table.
    ///
    /// The same study, trials and seed give the same bytes on any number of threads. A number that
    /// does not exist is `null`; `reasons_for_null` says why, by the column's name.
    pub fn to_json(&self) -> String {
        self.to_json_with(&TABLES)
    }

    /// The same with some tables alone: those by row are long where there are many rows. `tables_left_out` names the others.
    pub fn to_json_with(&self, tables: &[&str]) -> String {
        let page = Page {
            program: "serrata",
            version: &self.version,
            generator: GENERATOR,
            caution: crate::CAUTION,
            study: &self.study.name,
            trials: self.trials(),
            planted_lives: self.planted_lives(),
            seed: self.run.seed,
            ended: self.ended.name(),
            target_relative_error: self.run.target_relative_error,
            baseline: &self.study.strategy(self.study.baseline).id,
            interval_level: 0.95,
            warnings: self.warnings(),
            assumptions: self.study.assumptions(),
            reasons_for_null: REASONS.into_iter().collect(),
            tables_left_out: TABLES.into_iter().filter(|name| !tables.contains(name)).collect(),
            tables: Tables(tables.iter().filter_map(|name| self.table(name).ok()).collect()),
        };
        serde_json::to_string(&page).expect("text, counts and finite numbers always have a JSON form")
    }

    /// The comparison as bytes, from which [`Comparison::from_bytes`] makes the same again, to the last bit.
    ///
    /// How the work was cut (threads, blocks) is not part of it, as it is not part of the result.
    pub fn to_bytes(&self) -> Vec<u8> {
        let mut stored = Stored {
            form: FORM.to_owned(),
            version: self.version.clone(),
            generator: GENERATOR.to_owned(),
            study: self.study.to_toml(),
            seed: self.run.seed,
            ended: self.ended,
            target_relative_error: self.run.target_relative_error,
            tally: self.tally.clone(),
            checksum: 0,
        };
        stored.checksum = stored.sum();
        serde_json::to_vec(&stored).expect("text, counts and finite numbers always have a JSON form")
    }

    /// Reads what [`Comparison::to_bytes`] wrote.
    ///
    /// # Errors
    /// Refuses bytes that are something else, are damaged, or were written in another form.
    pub fn from_bytes(bytes: &[u8]) -> Result<Comparison> {
        let refusal = |rule: &str| {
            let value = format!("{} bytes", bytes.len());
            Error::argument("bytes", value, rule, "give what to_bytes() wrote; else simulate again")
        };
        let stored: Stored =
            serde_json::from_slice(bytes).map_err(|_| refusal("must be a stored comparison, whole and unchanged"))?;
        if stored.form != FORM {
            return Err(refusal(&format!("must be in the form {FORM:?}, not {:?}", stored.form)));
        }
        // Two ways to write a number are told apart too.
        if stored.checksum != stored.sum() || serde_json::to_vec(&stored).ok().as_deref() != Some(bytes) {
            return Err(refusal("must be a stored comparison, whole and unchanged"));
        }
        if stored.generator != GENERATOR {
            let rule = format!("must have the random numbers {GENERATOR:?}, not {:?}", stored.generator);
            return Err(Error::argument(
                "bytes",
                format!("{} bytes", bytes.len()),
                &rule,
                &format!("simulate again, or read them with serrata {}", stored.version),
            ));
        }
        let study = Study::parse(&stored.study, "stored comparison")?;
        let run = Run {
            trials: stored.tally.trials,
            planted_lives: stored.tally.planted_lives,
            seed: stored.seed,
            target_relative_error: stored.target_relative_error,
            ..Run::default()
        };
        if stored.tally.trials == 0
            || !is_alike(&json!(stored.tally.without_seen()), &json!(empty_tally(&study, &stored.tally)?))
        {
            return Err(refusal("must hold the sums of the study that stands with them"));
        }
        let mut comparison = Comparison::of(&study, &run, stored.tally, stored.ended);
        comparison.version = stored.version;
        Ok(comparison)
    }
}

fn empty_tally(study: &Study, like: &Tally) -> Result<Tally> {
    let rows = RowPlan::all(study)?;
    let mut tally = Tally::new(&rows, study.units.len(), study.strategies.len(), study.horizon_years.ceil() as usize);
    if like.planted_lives > 0 {
        tally.make_room_for_planted(&rows);
    }
    Ok(tally)
}

/// Whether two values have the same keys and lists of the same lengths throughout.
fn is_alike(one: &Value, other: &Value) -> bool {
    match (one, other) {
        (Value::Object(one), Value::Object(other)) => {
            one.len() == other.len()
                && one.iter().all(|(key, value)| other.get(key).is_some_and(|other| is_alike(value, other)))
        }
        (Value::Array(one), Value::Array(other)) => {
            one.len() == other.len() && one.iter().zip(other).all(|(one, other)| is_alike(one, other))
        }
        (Value::Number(_), Value::Number(_)) => true,
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn comparison(threads: usize) -> Comparison {
        let study = Study::parse(include_str!("../../tests/engine/data/y1c.toml"), "y1c").expect("a good study");
        study.simulate(&Run { trials: 700, seed: 3, threads, ..Run::default() }).expect("a good run")
    }

    #[test]
    fn bytes_read_back_as_the_same_comparison_to_the_last_bit() {
        let before = comparison(1);
        let after = Comparison::from_bytes(&before.to_bytes()).expect("bytes just written");
        assert_eq!(after.study, before.study);
        assert_eq!(after.tally, before.tally);
        assert_eq!(after.to_bytes(), before.to_bytes());
        assert_eq!((after.run.trials, after.run.seed), (700, 3));
    }

    #[test]
    fn bytes_and_json_do_not_depend_on_threads() {
        let (one, other) = (comparison(1), comparison(3));
        assert_eq!(one.to_bytes(), other.to_bytes());
        assert_eq!(one.to_json(), other.to_json());
    }

    #[test]
    fn json_holds_every_table_and_where_it_comes_from() {
        let comparison = comparison(1);
        let page: Value = serde_json::from_str(&comparison.to_json()).expect("JSON");
        assert_eq!((&page["program"], &page["trials"], &page["seed"]), (&json!("serrata"), &json!(700), &json!(3)));
        for name in TABLES {
            let (table, shown) = (comparison.table(name).expect("a known name"), &page["tables"][name]);
            assert!(
                table.columns.iter().all(|(column, _)| shown[column].as_array().map(Vec::len) == Some(table.len()))
            );
        }
    }

    #[test]
    fn damaged_bytes_are_refused() {
        let bytes = comparison(1).to_bytes();
        let text = String::from_utf8(bytes.clone()).expect("JSON is text");
        for damaged in
            [text.replace("\"trials\":700", "\"trials\":701"), text.replace("form 10", "form 4"), "{}".into()]
        {
            assert_ne!(damaged, text);
            let error = Comparison::from_bytes(damaged.as_bytes()).expect_err("damaged");
            assert!(error.to_string().starts_with("bytes = "), "{error}");
        }
    }

    /// What is stored with one thing changed and the sum made anew.
    fn forged(change: impl Fn(&mut Stored)) -> Vec<u8> {
        let mut stored: Stored = serde_json::from_slice(&comparison(1).to_bytes()).expect("just written");
        change(&mut stored);
        stored.checksum = stored.sum();
        serde_json::to_vec(&stored).expect("a JSON form")
    }

    #[test]
    fn the_version_that_ran_it_is_kept() {
        let older = forged(|stored| stored.version = "0.0.9".to_owned());
        let comparison = Comparison::from_bytes(&older).expect("the same form and random numbers");
        assert_eq!(comparison.version, "0.0.9");
        assert_eq!(comparison.to_bytes(), older);
        assert!(comparison.to_json().contains(r#""version":"0.0.9""#));
    }

    #[test]
    fn other_random_numbers_are_refused() {
        let bytes = forged(|stored| stored.generator = "dice, version 1".to_owned());
        let error = Comparison::from_bytes(&bytes).expect_err("other numbers").to_string();
        assert!(error.contains("not \"dice, version 1\"\n    simulate again, or read them with serrata"), "{error}");
    }

    #[test]
    fn version_and_random_numbers_are_under_the_sum() {
        let text = String::from_utf8(comparison(1).to_bytes()).expect("JSON is text");
        for (word, other) in [(crate::VERSION, "9.9.9"), ("splitmix64", "splitmix65")] {
            let changed = text.replacen(word, other, 1);
            assert_ne!(changed, text);
            assert!(Comparison::from_bytes(changed.as_bytes()).is_err(), "{other}");
        }
    }

    #[test]
    fn sums_of_another_study_are_refused() {
        let bytes = forged(|stored| stored.study = stored.study.replace("horizon_years = 30", "horizon_years = 31"));
        let error = Comparison::from_bytes(&bytes).expect_err("29 years of losses are not 31");
        assert!(error.to_string().contains("sums of the study"), "{error}");
    }
}
