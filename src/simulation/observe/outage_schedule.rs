//! The work of all rows of a unit at one outage, scheduled on the unit's crews.
//!
//! List scheduling (R. L. Graham, "Bounds on multiprocessing timing anomalies", SIAM Journal on Applied Mathematics 17
//! (1969) 416-429): a crew that is free takes the first work on a list that can begin. The list has lifts of rotors first,
//! then the work of rows, longest first. A row's work is done by one crew in one go; where its blades come out, it begins
//! when its rotor is lifted.

use crate::model::Study;
use crate::model::fleet::Row;

/// Days that count for none: sums of days in another order differ by less.
pub(super) const ROUNDING_DAYS: f64 = 1e-6;

/// Work of one row at an outage.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct Job {
    /// Days, without the lift of the rotor.
    pub days: f64,
    pub blades_out: bool,
}

/// How a unit does its work.
#[derive(Debug, Clone)]
pub(crate) struct Crews {
    /// Rows, or rotors, that are worked on at the same time.
    pub count: usize,
    /// Days that each outage lasts anyway.
    pub window_days: f64,
    /// Days of lifting a rotor.
    pub lift_days: f64,
    /// Rotor of each row, by number.
    pub rotors: Vec<usize>,
}

impl Crews {
    /// Those of the unit of some rows.
    pub fn of_unit(study: &Study, rows: &[&Row]) -> Self {
        let unit = &study.units[rows[0].unit];
        Crews {
            count: unit.crews.map_or(rows.len(), |crews| crews as usize),
            window_days: unit.outages.window_days,
            lift_days: study.costs.rotor_lift_days,
            rotors: rotor_numbers(rows),
        }
    }

    /// Whether a rotor is lifted.
    pub fn is_lifted(&self, rotor: usize, jobs: &[Job]) -> bool {
        jobs.iter().zip(&self.rotors).any(|(job, own)| *own == rotor && job.blades_out)
    }

    /// Days from the beginning of the outage until the work of each row is done; 0 where there is none.
    pub fn finish_days(&self, jobs: &[Job]) -> Vec<f64> {
        let mut crews = vec![0.0; self.count];
        let mut lifted = vec![0.0; jobs.len()];
        for (rotor, lifted) in lifted.iter_mut().enumerate() {
            if self.lift_days > 0.0 && self.is_lifted(rotor, jobs) {
                let free = first_free(&crews);
                crews[free] += self.lift_days;
                *lifted = crews[free];
            }
        }
        let ready = |row: usize| if jobs[row].blades_out { lifted[self.rotors[row]] } else { 0.0 };
        let mut waiting: Vec<usize> = (0..jobs.len()).filter(|&row| jobs[row].days > 0.0).collect();
        // Days that only rounding tells apart are equal.
        let length = |row: usize| (jobs[row].days / ROUNDING_DAYS).round();
        waiting.sort_by(|&one, &other| length(other).total_cmp(&length(one)));
        let mut finish: Vec<f64> = (0..jobs.len()).map(ready).collect();
        while !waiting.is_empty() {
            let free = first_free(&crews);
            let now = crews[free];
            match waiting.iter().position(|&row| ready(row) <= now) {
                Some(place) => {
                    let row = waiting.remove(place);
                    crews[free] = now + jobs[row].days;
                    finish[row] = crews[free];
                }
                // Nothing can begin: the crew waits for a lift.
                None => crews[free] = waiting.iter().map(|&row| ready(row)).fold(f64::INFINITY, f64::min),
            }
        }
        finish
    }

    /// Days beyond the window, split over the rows that cause them.
    ///
    /// A row's share goes with the days that would be saved were its work not there; where no single row saves any, with
    /// the days by which its work is done too late.
    pub fn split_days_beyond(&self, jobs: &[Job], shares: &mut [f64]) {
        shares.fill(0.0);
        let lifts = (0..jobs.len()).filter(|&rotor| self.is_lifted(rotor, jobs)).count() as f64;
        let all_days: f64 = jobs.iter().map(|job| job.days).sum::<f64>() + lifts * self.lift_days;
        if all_days <= self.window_days {
            return;
        }
        let finish = self.finish_days(jobs);
        let beyond = |finish: &[f64]| (finish.iter().copied().fold(0.0, f64::max) - self.window_days).max(0.0);
        let total = beyond(&finish);
        if total == 0.0 {
            return;
        }
        let mut others = jobs.to_vec();
        for (row, share) in shares.iter_mut().enumerate() {
            others[row] = Job::default();
            let saved = total - beyond(&self.finish_days(&others));
            *share = if saved > ROUNDING_DAYS { saved } else { 0.0 };
            others[row] = jobs[row];
        }
        if shares.iter().all(|share| *share == 0.0) {
            for (share, finish) in shares.iter_mut().zip(&finish) {
                *share = (finish - self.window_days).max(0.0);
            }
        }
        let sum: f64 = shares.iter().sum();
        shares.iter_mut().for_each(|share| *share *= total / sum);
    }
}

/// The rotor of each row of a unit, by number.
pub(crate) fn rotor_numbers(rows: &[&Row]) -> Vec<usize> {
    let number = |row: &&Row| rows.iter().position(|other| other.rotor == row.rotor).unwrap_or(0);
    rows.iter().map(number).collect()
}

/// The crew that is free first.
fn first_free(crews: &[f64]) -> usize {
    let earlier = |best: usize, crew: usize| if crews[crew] < crews[best] { crew } else { best };
    (1..crews.len()).fold(0, earlier)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn crews(count: usize, window_days: f64, lift_days: f64, rotors: &[usize]) -> Crews {
        Crews { count, window_days, lift_days, rotors: rotors.to_vec() }
    }

    fn out(days: f64) -> Job {
        Job { days, blades_out: true }
    }

    fn in_place(days: f64) -> Job {
        Job { days, blades_out: false }
    }

    fn split(crews: &Crews, jobs: &[Job]) -> Vec<f64> {
        let mut shares = vec![f64::NAN; jobs.len()];
        crews.split_days_beyond(jobs, &mut shares);
        shares
    }

    // Schedules made by hand.

    #[test]
    fn four_rows_of_fifteen_days_do_not_fit_into_twenty_eight() {
        let jobs = [in_place(15.0); 4];
        let one = crews(1, 28.0, 0.0, &[0, 0, 1, 1]);
        assert_eq!(one.finish_days(&jobs), [15.0, 30.0, 45.0, 60.0]);
        assert_eq!(split(&one, &jobs), [8.0; 4]);
        let two = crews(2, 28.0, 0.0, &[0, 0, 1, 1]);
        assert_eq!(two.finish_days(&jobs), [15.0, 15.0, 30.0, 30.0]);
        // No single row saves anything; the two that are late share.
        assert_eq!(split(&two, &jobs), [0.0, 0.0, 1.0, 1.0]);
        assert_eq!(split(&crews(4, 28.0, 0.0, &[0, 0, 1, 1]), &jobs), [0.0; 4]);
    }

    #[test]
    fn both_rows_of_a_rotor_come_out_with_one_lift() {
        // Two rotors, two crews: both are lifted in 5 days; then 20 and 12 days, then 10 and 8.
        let jobs = [out(20.0), out(8.0), out(10.0), out(12.0)];
        let two = crews(2, 25.0, 5.0, &[0, 0, 1, 1]);
        assert_eq!(two.finish_days(&jobs), [25.0, 33.0, 27.0, 17.0]);
        // One crew: 5 + 5 of lifts, then 20, 12, 10, 8.
        let one = crews(1, 25.0, 5.0, &[0, 0, 1, 1]);
        assert_eq!(one.finish_days(&jobs), [30.0, 60.0, 52.0, 42.0]);
        // 35 days beyond; without a row its own days are saved, and no lift.
        let expected = [14.0, 5.6, 7.0, 8.4];
        assert!(split(&one, &jobs).iter().zip(expected).all(|(share, expected)| (share - expected).abs() < 1e-9));
    }

    #[test]
    fn work_in_place_goes_on_while_a_rotor_is_lifted() {
        let jobs = [out(10.0), in_place(6.0)];
        let two = crews(2, 12.0, 4.0, &[0, 1]);
        assert_eq!(two.finish_days(&jobs), [14.0, 6.0]);
        // Both days beyond are the first row's.
        assert_eq!(split(&two, &jobs), [2.0, 0.0]);
        // With one crew the longest comes first after the lift: 4 + 10 + 6.
        assert_eq!(crews(1, 12.0, 4.0, &[0, 1]).finish_days(&jobs), [14.0, 20.0]);
    }

    #[test]
    fn a_crew_waits_for_a_lift_when_nothing_else_is_there() {
        let jobs = [out(3.0), out(2.0)];
        let two = crews(2, 0.0, 7.0, &[0, 0]);
        assert_eq!(two.finish_days(&jobs), [10.0, 9.0]);
        assert_eq!(split(&two, &jobs).iter().sum::<f64>(), 10.0);
    }

    #[test]
    fn a_row_without_work_has_no_share() {
        let jobs = [in_place(30.0), Job::default()];
        assert_eq!(split(&crews(2, 28.0, 5.0, &[0, 0]), &jobs), [2.0, 0.0]);
    }

    #[test]
    fn a_row_without_work_has_no_share_where_no_single_row_saves_a_day() {
        let jobs = [in_place(15.0), in_place(15.0), in_place(15.0), in_place(15.0), Job::default()];
        let two = crews(2, 28.0, 0.0, &[0, 0, 1, 1, 2]);
        assert_eq!(two.finish_days(&jobs), [15.0, 15.0, 30.0, 30.0, 0.0]);
        assert_eq!(split(&two, &jobs), [0.0, 0.0, 1.0, 1.0, 0.0]);
    }

    #[test]
    fn a_row_that_is_late_has_no_share_where_another_one_is_later() {
        // 2 days beyond, 1 without the first row; without the second they are the same.
        assert_eq!(split(&crews(2, 10.0, 0.0, &[0, 1]), &[in_place(12.0), in_place(11.0)]), [2.0, 0.0]);
    }

    #[test]
    fn rounding_saves_no_day_and_makes_no_work_longer() {
        let days = 0.1 + 0.2;
        assert!(days > 0.3);
        // Without either row the other one still takes as long.
        for jobs in [[in_place(days), in_place(0.3)], [in_place(0.3), in_place(days)]] {
            let shares = split(&crews(2, 0.0, 0.0, &[0, 1]), &jobs);
            assert!(shares.iter().all(|share| (share - 0.15).abs() < 1e-9), "{shares:?}");
        }
        // Of three the first two come first.
        let jobs = [in_place(0.3), in_place(0.3), in_place(days)];
        assert_eq!(crews(2, 0.0, 0.0, &[0, 1, 2]).finish_days(&jobs), [0.3, 0.3, 0.3 + days]);
    }

    #[test]
    fn each_lift_takes_its_days_of_the_window() {
        // One crew: 3 + 3 of lifts, then 10 and 10. Without either row 13 are saved.
        let one = crews(1, 25.5, 3.0, &[0, 1]);
        assert_eq!(split(&one, &[out(10.0); 2]), [0.25; 2]);
    }

    #[test]
    fn rows_on_three_rotors_have_three_numbers() {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/engine/data/small.toml");
        let row = &Study::load(path).expect("a valid study").rows[0];
        let rows = ["one", "two", "three", "two"].map(|rotor| Row { rotor: rotor.to_owned(), ..row.clone() });
        assert_eq!(rotor_numbers(&rows.each_ref()), [0, 1, 2, 1]);
    }
}
