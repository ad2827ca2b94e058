//! How each unit gathers starts and hours, and when it stops.

/// A stretch of time with one way of running.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DutyPeriod {
    /// Year in which it begins.
    pub from_year: f64,
    /// Starts per year.
    pub starts_per_year: f64,
    /// Running hours per year.
    pub hours_per_year: f64,
}

/// A rotor run above its running speed now and then, to test what should stop it.
///
/// All stress of a start is raised alike, with the square of speed, as centrifugal stress is. It lasts too
/// short to make a crack grow; it can only end one.
///
/// # Example
/// ```
/// use serrata::model::usage::Overspeed;
///
/// let overspeed = Overspeed { every_starts: 200.0, speed_ratio: 1.1 };
/// assert!((overspeed.stress_factor() - 1.21).abs() < 1e-12);
/// assert_eq!(overspeed.next_at_starts(350.0), 400.0);
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Overspeed {
    /// Starts from one to the next, counted from the beginning of the unit's duty.
    pub every_starts: f64,
    /// Its speed over running speed.
    pub speed_ratio: f64,
}

impl Overspeed {
    /// Factor on the stress of a start.
    pub fn stress_factor(&self) -> f64 {
        self.speed_ratio * self.speed_ratio
    }

    /// Starts at which the next one comes that is not before given starts.
    #[inline]
    pub fn next_at_starts(&self, starts: f64) -> f64 {
        (starts / self.every_starts).ceil().max(1.0) * self.every_starts
    }

    /// The years of all that come in a stretch of time, by the unit's starts.
    pub fn years<'a>(
        &self,
        starts: &'a Readings,
        from_year: f64,
        until_year: f64,
    ) -> impl Iterator<Item = f64> + use<'a> {
        let (every_starts, first) = (self.every_starts, self.next_at_starts(starts.at(from_year)));
        let all = (0..).map(move |count| starts.year_of(first + f64::from(count) * every_starts));
        all.take_while(move |year| *year <= until_year)
    }
}

/// Outages of a unit.
#[derive(Debug, Clone, PartialEq)]
pub struct OutageCalendar {
    /// Moments of the outages, as years, in order.
    pub years: Vec<f64>,
    /// Days that each outage lasts anyway.
    pub window_days: f64,
}

/// A clock that a mechanism runs on: weights of starts and of hours.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Clock {
    /// Clock units per start.
    pub per_start: f64,
    /// Clock units per running hour.
    pub per_hour: f64,
}

impl Clock {
    /// Runs on starts.
    pub const STARTS: Clock = Clock { per_start: 1.0, per_hour: 0.0 };
    /// Runs on running hours.
    pub const HOURS: Clock = Clock { per_start: 0.0, per_hour: 1.0 };
}

/// Reading of one clock of one unit at every moment: piecewise linear, and its inverse.
#[derive(Debug, Clone)]
pub struct Readings {
    /// (year, reading, units per year) at the beginning of each period.
    pieces: Vec<(f64, f64, f64)>,
}

impl Readings {
    /// Reading zero at the beginning of the first period.
    pub fn new(duty: &[DutyPeriod], clock: Clock) -> Self {
        let mut pieces: Vec<(f64, f64, f64)> = Vec::with_capacity(duty.len());
        for period in duty {
            let rate = clock.per_start * period.starts_per_year + clock.per_hour * period.hours_per_year;
            let reading =
                pieces.last().map_or(0.0, |&(year, reading, rate)| reading + rate * (period.from_year - year));
            pieces.push((period.from_year, reading, rate));
        }
        Readings { pieces }
    }

    /// Reading in a year; before the first period the first rate holds.
    #[inline]
    pub fn at(&self, year: f64) -> f64 {
        let (begin, reading, rate) = self.piece(|piece| piece.0 <= year);
        reading + rate * (year - begin)
    }

    /// Year in which a reading is reached; infinite when the clock stands still before it.
    #[inline]
    pub fn year_of(&self, reading: f64) -> f64 {
        let (begin, at_begin, rate) = self.piece(|piece| piece.1 <= reading);
        let ahead = reading - at_begin;
        if ahead == 0.0 {
            begin
        } else if rate > 0.0 {
            begin + ahead / rate
        } else {
            f64::INFINITY
        }
    }

    /// Turns years into readings.
    pub fn at_each(&self, years: &mut [f64]) {
        if let [(begin, reading, rate)] = self.pieces[..] {
            years.iter_mut().for_each(|year| *year = reading + rate * (*year - begin));
        } else {
            years.iter_mut().for_each(|year| *year = self.at(*year));
        }
    }

    /// Turns readings into years.
    pub fn year_of_each(&self, readings: &mut [f64]) {
        match self.pieces[..] {
            // The first period begins with reading zero.
            [(begin, _, rate)] if rate > 0.0 => {
                readings.iter_mut().for_each(|reading| *reading = begin + *reading / rate);
            }
            _ => readings.iter_mut().for_each(|reading| *reading = self.year_of(*reading)),
        }
    }

    /// The last piece that satisfies a condition which holds up to some piece; at least the first.
    #[inline(always)]
    fn piece(&self, reached: impl Fn(&(f64, f64, f64)) -> bool) -> (f64, f64, f64) {
        let mut found = self.pieces[0];
        for piece in &self.pieces[1..] {
            if !reached(piece) {
                break;
            }
            found = *piece;
        }
        found
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_change_of_regime_bends_the_clock() {
        let duty = [
            DutyPeriod { from_year: 2000.0, starts_per_year: 10.0, hours_per_year: 8000.0 },
            DutyPeriod { from_year: 2010.0, starts_per_year: 200.0, hours_per_year: 4000.0 },
        ];
        let starts = Readings::new(&duty, Clock::STARTS);
        assert_eq!(starts.at(2005.0), 50.0);
        assert_eq!(starts.at(2011.0), 300.0);
        assert_eq!(starts.year_of(300.0), 2011.0);
        assert_eq!(starts.year_of(50.0), 2005.0);
        let mixed = Readings::new(&duty, Clock { per_start: 1.0, per_hour: 0.01 });
        assert_eq!(mixed.at(2010.0), 900.0);
    }

    #[test]
    fn overspeeds_come_by_the_count_of_starts() {
        let duty = [
            DutyPeriod { from_year: 2000.0, starts_per_year: 10.0, hours_per_year: 8000.0 },
            DutyPeriod { from_year: 2010.0, starts_per_year: 200.0, hours_per_year: 4000.0 },
            DutyPeriod { from_year: 2012.0, starts_per_year: 0.0, hours_per_year: 8000.0 },
        ];
        let starts = Readings::new(&duty, Clock::STARTS);
        let overspeed = Overspeed { every_starts: 80.0, speed_ratio: 1.1 };
        let years: Vec<f64> = overspeed.years(&starts, 2000.0, 2050.0).collect();
        assert_eq!(years, [2008.0, 2010.3, 2010.7, 2011.1, 2011.5, 2011.9]);
        assert_eq!(overspeed.years(&starts, 2010.4, 2011.0).next(), Some(2010.7));
        assert_eq!(overspeed.years(&starts, 2008.0, 2008.0).next(), Some(2008.0));
    }

    #[test]
    fn a_clock_that_stands_still_never_gets_there() {
        let duty = [DutyPeriod { from_year: 0.0, starts_per_year: 0.0, hours_per_year: 100.0 }];
        assert_eq!(Readings::new(&duty, Clock::STARTS).year_of(1.0), f64::INFINITY);
    }

    #[test]
    fn many_at_once_are_turned_as_one_by_one() {
        let period = |from_year, starts_per_year| DutyPeriod { from_year, starts_per_year, hours_per_year: 0.0 };
        let duties = [vec![period(2000.0, 10.0)], vec![period(2000.0, 10.0), period(2010.0, 200.0)]];
        for (duty, expected) in duties.iter().zip([[-20.0, 50.0, 110.0], [-20.0, 50.0, 300.0]]) {
            let starts = Readings::new(duty, Clock::STARTS);
            let mut numbers = [1998.0, 2005.0, 2011.0];
            starts.at_each(&mut numbers);
            assert_eq!(numbers, expected);
            starts.year_of_each(&mut numbers);
            assert_eq!(numbers, [1998.0, 2005.0, 2011.0]);
        }
        let mut readings = [0.0, 1.0];
        Readings::new(&[period(2000.0, 0.0)], Clock::STARTS).year_of_each(&mut readings);
        assert_eq!(readings, [2000.0, f64::INFINITY]);
    }
}
