//! The engine, seen from outside; a module for each subject.

mod study_file;
mod yardstick;
