//! The engine, seen from outside; a module for each subject.

mod by_hand;
mod closed_form;
mod delay_time;
mod edges;
mod followed;
mod grown;
mod growth_fit;
mod initiation;
mod inspection;
mod limits;
mod money;
mod mouths;
mod overspeed;
mod plans;
mod rare;
mod reproducibility;
mod screen;
mod second_programs;
mod strategies;
mod study_file;
mod support;
mod tabled_and_followed;
mod techniques;
mod warnings;
mod work_calendar;
mod yardstick;
