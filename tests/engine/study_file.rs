//! Study files: what is read back, and what is refused in which words.

#![allow(clippy::unwrap_used)] // a failed unwrap fails the test

mod faults;
mod fleet;
mod form;
mod fracture;
mod money;
mod numbers;
mod plans;

use proptest::prelude::{ProptestConfig, any, prop, proptest};
use proptest::test_runner::RngSeed;
use serrata::distribution::Distribution;
use serrata::{Result, Study};
use std::fs;
use std::path::PathBuf;

/// A valid study that the tests below spoil, one edit at a time.
const SMALL: &str = include_str!("data/small.toml");
const REFERENCE: &str = include_str!("../../demo-data/reference-study.toml");

fn data(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/engine/data").join(name)
}

/// A place of its own for a file that a test writes.
fn scratch(name: &str) -> PathBuf {
    let folder = std::env::temp_dir().join(format!("serrata-study-file-{}-{name}", std::process::id()));
    fs::create_dir_all(&folder).unwrap();
    folder
}

/// The small study with some passages replaced, each of which it holds once.
fn spoiled(edits: &[(&str, &str)]) -> String {
    changed(SMALL, edits)
}

fn changed(study: &str, edits: &[(&str, &str)]) -> String {
    edits.iter().fold(study.to_owned(), |text, (from, to)| {
        assert_eq!(text.matches(from).count(), 1, "{from:?} is not there once");
        text.replacen(from, to, 1)
    })
}

/// A fault in a text that would turn a terminal red is told in plain letters.
#[test]
fn what_steers_a_terminal_is_not_repeated() {
    let error = message(Study::parse("[study]\nna\u{1b}[31mme = 1\n", "a\u{202e}.toml"));
    assert!(error.starts_with("a\u{fffd}.toml: 1 fault\n  line 2, na\u{fffd}[31mme = 1"), "{error}");
}

fn message<T: std::fmt::Debug>(result: Result<T>) -> String {
    result.expect_err("must be refused").to_string()
}

#[track_caller]
fn assert_refused(edits: &[(&str, &str)], expected: &str) {
    assert_eq!(message(Study::parse(&spoiled(edits), "small.toml")), expected);
}

#[test]
fn studies_come_back_as_they_were_saved() {
    let folder = scratch("round-trip");
    let names = ["y1a", "y1b", "y1c", "y2", "y3", "closed_case", "small"];
    let mut paths: Vec<PathBuf> = names.iter().map(|name| data(&format!("{name}.toml"))).collect();
    paths.push(PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("demo-data/reference-study.toml"));
    for path in paths {
        let study = Study::load(&path).unwrap_or_else(|error| panic!("{error}"));
        let copy = folder.join("copy.toml");
        study.save(&copy).unwrap();
        assert_eq!(Study::load(&copy).unwrap_or_else(|error| panic!("{error}")), study);
        let left_behind = fs::read_dir(&folder).unwrap().count();
        assert_eq!(left_behind, 1, "only the copy is there");
    }
    fs::remove_dir_all(folder).unwrap();
}

#[test]
fn the_yardstick_studies_say_what_the_yardstick_says() {
    let study = Study::load(data("y2.toml")).unwrap();
    assert_eq!(study.units[0].outages.years, (1..30).map(f64::from).collect::<Vec<_>>());
    assert_eq!(study.rows[0].blades, 80);
    assert_eq!(study.roots[0].hot_spots[0].origins_per_blade(), 6);
    assert_eq!(study.persistence.correlation, vec![vec![1.0, 1.0], vec![1.0, 1.0]]);
    assert!((study.scatter.row_factor.mean() - 1.0).abs() < 1e-14);
    let names: Vec<&str> = study.strategies.iter().map(|strategy| strategy.id.as_str()).collect();
    assert_eq!(names, ["none", "insitu_every", "bench_third", "insitu_then_bench"]);
    assert_eq!(Study::load(data("y1a.toml")).unwrap().roots[0].hot_spots[0].origins_per_blade(), 1);
}

#[test]
fn a_period_gives_the_outages_within_the_study() {
    let outages = |text: &str| {
        let text = spoiled(&[("years = [2021, 2024, 2027]", text)]);
        Study::parse(&text, "small.toml").unwrap_or_else(|error| panic!("{error}")).units[0].outages.years.clone()
    };
    assert_eq!(outages("first_year = 2021.5, every_years = 3"), [2021.5, 2024.5, 2027.5]);
    assert_eq!(outages("first_year = 2011, every_years = 4"), [2023.0, 2027.0], "the past is skipped");
    assert_eq!(outages("first_year = 2020, every_years = 5"), [2020.0, 2025.0], "the end is left out");
    assert_eq!(outages("years = []"), [0.0; 0], "a unit may never stop");
}

/// The median and the log standard deviation of a lognormal with mean 0.5 and standard deviation 0.2,
/// in every way to say it: `sigma**2 = ln(1 + (sd / mean)**2)`, `median = mean * exp(-sigma**2 / 2)`.
#[test]
fn a_lognormal_is_the_same_however_it_is_stated() {
    let sigma_log = (1.0_f64 + 0.16).ln().sqrt();
    let median = 0.5 * (-0.5 * sigma_log * sigma_log).exp();
    let ways = [
        format!("median = {median}, sigma_log = {sigma_log}"),
        format!("median = {median}, cov = 0.4"),
        "mean = 0.5, cov = 0.4".to_owned(),
        "mean = 0.5, sd = 0.2".to_owned(),
        format!("mean = 0.5, sigma_log = {sigma_log}"),
    ];
    for way in ways {
        let study = Study::parse(&spoiled(&[("median = 0.3, sigma_log = 0.3", &way)]), "small.toml").unwrap();
        let depth = &study.roots[0].hot_spots[0].initial_depth_mm;
        let Distribution::Lognormal { median: m, sigma_log: s } = *depth else { panic!("{depth:?}") };
        assert!((m / median - 1.0).abs() < 1e-14 && (s / sigma_log - 1.0).abs() < 1e-14, "{way}: {depth:?}");
    }
}

#[test]
fn ids_with_dots_and_texts_with_quotes_come_back() {
    let text = spoiled(&[
        ("[surfaces.plain]", "[surfaces.\"plain.1\"]"),
        ("surface = \"plain\"", "surface = \"plain.1\""),
        ("{ plain = 0.1 }", "{ \"plain.1\" = 0.1 }"),
        ("name = \"small\"", "name = \"a \\\"small\\\" study and \\\\, für Prüfer\""),
    ]);
    let study = Study::parse(&text, "small.toml").unwrap_or_else(|error| panic!("{error}"));
    assert_eq!(study.name, "a \"small\" study and \\, für Prüfer");
    assert_eq!(study.techniques[2].surface_shift_log, [0.1]);
    assert_eq!(Study::parse(&study.to_toml(), "again").unwrap_or_else(|error| panic!("{error}")), study);
}

#[test]
fn windows_line_ends_and_a_byte_order_mark_change_nothing() {
    let study = Study::parse(SMALL, "small.toml").unwrap();
    let text = format!("\u{feff}{}", SMALL.replace('\n', "\r\n"));
    assert_eq!(Study::parse(&text, "small.toml").unwrap_or_else(|error| panic!("{error}")), study);
    let spoiled = text.replace("blades = 80", "blades = 0");
    assert!(message(Study::parse(&spoiled, "small.toml")).contains("line 56, rows.A1.blades = 0"));
}

#[test]
fn faults_can_be_read_one_by_one() {
    let error = Study::parse(&spoiled(&[("blades = 80", "blades = 0")]), "small.toml").unwrap_err();
    let [fault] = error.faults() else { panic!("{error}") };
    assert_eq!((fault.line, fault.path.as_str(), fault.value.as_str()), (Some(56), "rows.A1.blades", "0"));
}

#[test]
fn files_that_cannot_be_read_are_refused_with_their_names() {
    let folder = scratch("unreadable");
    let shown = folder.display();
    assert_eq!(
        message(Study::load(&folder)),
        format!("{shown}: is a directory, not a study file\n    name the study file inside it")
    );
    let absent = folder.join("absent.toml");
    assert_eq!(
        message(Study::load(&absent)),
        format!("{}: there is no such file or directory\n    check the name and the directory", absent.display())
    );
    let latin = folder.join("latin.toml");
    fs::write(&latin, b"[study]\nname = \"Pr\xfcfung\"\n").unwrap();
    assert_eq!(
        message(Study::load(&latin)),
        format!("{}: is not UTF-8 text (line 2)\n    save it as UTF-8 in a text editor", latin.display())
    );
    fs::remove_dir_all(folder).unwrap();
}

#[test]
fn a_file_that_cannot_be_written_leaves_nothing_behind() {
    let folder = scratch("unwritable");
    let study = Study::parse(SMALL, "small.toml").unwrap();
    assert_eq!(
        message(study.save(&folder)),
        format!("{}: is a directory\n    choose a place that can be written to", folder.display())
    );
    let nowhere = folder.join("nowhere").join("copy.toml");
    assert_eq!(
        message(study.save(&nowhere)),
        format!("{}: there is no such file or directory\n    choose a place that can be written to", nowhere.display())
    );
    assert_eq!(fs::read_dir(&folder).unwrap().count(), 0);
    fs::remove_dir_all(folder).unwrap();
}

#[cfg(unix)]
#[test]
fn saving_through_a_link_replaces_what_it_points_to() {
    let folder = scratch("link");
    let (file, link) = (folder.join("file.toml"), folder.join("link.toml"));
    fs::write(&file, "old").unwrap();
    std::os::unix::fs::symlink(&file, &link).unwrap();
    let study = Study::parse(SMALL, "small.toml").unwrap();
    study.save(&link).unwrap();
    assert!(fs::symlink_metadata(&link).unwrap().is_symlink());
    assert_eq!(Study::load(&file).unwrap(), study);
    fs::remove_dir_all(folder).unwrap();
}

/// Values that a line of the reference study is spoiled with.
const ODD_VALUES: [&str; 16] = [
    "nan",
    "-inf",
    "1e308",
    "-1",
    "0",
    "5e-324",
    "9223372036854775807",
    "true",
    "\"\"",
    "\"x\"",
    "[]",
    "[[]]",
    "{}",
    "{ kind = \"lognormal\" }",
    "{ kind = \"gamma\", mean = 1, cov = 1 }",
    "1979-05-27",
];

/// Whatever the text, it is a study or it is refused with at least one fault; a study comes back.
fn assert_study_or_refusal(text: &str) {
    match Study::parse(text, "mutant") {
        Ok(study) => assert_eq!(Study::parse(&study.to_toml(), "again").unwrap(), study),
        Err(error) => {
            assert!(!error.faults().is_empty(), "{error}");
            let lines: Vec<usize> = error.faults().iter().map(|fault| fault.line.unwrap_or(usize::MAX)).collect();
            assert!(lines.is_sorted(), "{error}");
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 512, failure_persistence: None, rng_seed: RngSeed::Fixed(1), ..ProptestConfig::default() })]

    #[test]
    fn a_study_with_lines_removed_repeated_moved_or_altered_never_panics(
        edits in prop::collection::vec((0_usize..5, any::<prop::sample::Index>(), any::<prop::sample::Index>()), 1..5)
    ) {
        let mut lines: Vec<String> = REFERENCE.lines().map(str::to_owned).collect();
        for (kind, at, other) in edits {
            let at = at.index(lines.len());
            match kind {
                0 => drop(lines.remove(at)),
                1 => lines.insert(at, lines[at].clone()),
                2 => lines.swap(at, other.index(REFERENCE.lines().count()).min(at)),
                3 => {
                    if let Some(end) = lines[at].find('=') {
                        lines[at].truncate(end + 1);
                        lines[at].push_str(ODD_VALUES[other.index(ODD_VALUES.len())]);
                    }
                }
                _ => {
                    // One number within the line, wherever it stands in a table or list.
                    let digits: Vec<usize> = lines[at].match_indices(|c: char| c.is_ascii_digit()).map(|(i, _)| i).collect();
                    if !digits.is_empty() {
                        let digit = digits[other.index(digits.len())];
                        let value = ODD_VALUES[other.index(ODD_VALUES.len())];
                        lines[at].replace_range(digit..=digit, value);
                    }
                }
            }
        }
        assert_study_or_refusal(&lines.join("\n"));
    }

    #[test]
    fn a_study_with_random_characters_in_it_never_panics(
        at in any::<prop::sample::Index>(), inserted in "\\PC{0,8}", removed in 0_usize..40
    ) {
        let mut letters: Vec<char> = REFERENCE.chars().collect();
        let at = at.index(letters.len());
        let end = (at + removed).min(letters.len());
        letters.splice(at..end, inserted.chars());
        assert_study_or_refusal(&letters.into_iter().collect::<String>());
    }

    #[test]
    fn random_text_never_panics(text in "(?s).{0,200}") {
        assert_study_or_refusal(&text);
    }
}
