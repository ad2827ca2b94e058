//! The engine, seen from outside; a module for each subject.

mod closed_form;
mod followed;
mod grown;
mod inspection;
mod mouths;
mod overspeed;
mod reproducibility;
mod strategies;
mod study_file;
mod techniques;
mod yardstick;
