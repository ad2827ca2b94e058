//! Laws of initiation, fitted on a study: in limits that other fits know, against other ways to the same likelihood, and to
//! pasts that the engine invents.

mod clocks;
mod limits;
mod recovery;
mod second_ways;

use serrata::Study;
use serrata::distribution::Distribution;
use serrata::model::StudyParts;
use serrata::model::fleet::PastLook;
use serrata::statistics::records::{Format, Records};

/// One row of 20 blades in service since 2004, with 100 starts a year, studied from 2024; a Weibull law of shape 2 and scale
/// 4000 starts. Nothing differs between rows or looks, so that the fit's model is the truth.
fn parts() -> StudyParts {
    let mut parts = Study::load("tests/engine/data/given/a.toml").expect("a good study").into_parts();
    parts.scatter.row_factor = Distribution::Fixed(1.0);
    parts.growth[0].row_sigma_log = 0.0;
    parts.techniques[0].inspection_sigma = 0.0;
    parts
}

/// Rows like the first, each with so many blades and looks in some years.
fn with_rows(parts: &mut StudyParts, rows: usize, blades: u32, years: &[f64]) {
    let looks = || years.iter().map(|&year| PastLook { year, technique: 0, found: None }).collect();
    let first = parts.rows[0].clone();
    let row = |number: usize| serrata::model::fleet::Row {
        id: format!("row-{number}"),
        rotor: format!("row-{number}"),
        blades,
        past_looks: looks(),
        ..first.clone()
    };
    parts.rows = (0..rows).map(row).collect();
}

fn study(parts: StudyParts) -> Study {
    Study::new(parts).expect("a good study")
}

fn records(text: &str) -> Records {
    Records::parse(text, "written by hand", &Format::default()).expect("good records")
}

const HEADER: &str = "row,blade,inspection,year,technique,grade,called,measured_length_mm\n";

/// Records of a row by its looks: of each blade whether it was called, and the length that was measured if any.
fn lines(row: &str, blades: u32, years: &[f64], called: impl Fn(u32, f64) -> Option<Option<f64>>) -> String {
    let mut text = String::new();
    for year in years {
        for blade in 1..=blades {
            let (word, length) = match called(blade, *year) {
                None => ("no", String::new()),
                Some(length) => ("yes", length.map_or(String::new(), |mm| mm.to_string())),
            };
            text.push_str(&format!("{row},{blade},{row} {year},{year},insitu,standard,{word},{length}\n"));
        }
    }
    text
}
