//! The engine, seen from outside; a module for each subject.

mod closed_form;
mod edges;
mod followed;
mod grown;
mod inspection;
mod overspeed;
mod reproducibility;
mod strategies;
mod study_file;
mod tabled_and_followed;
mod yardstick;
