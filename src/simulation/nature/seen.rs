//! Sizes of cracks at moments between outages.

use super::cracks::Crack;
use super::hot_spot_plan::HotSpotGrowth;
use super::mouth::is_closed_for_life;
use super::{Nature, whole_blocks};
use crate::math::ln;

/// What can be seen of a crack at some moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Seen {
    pub ln_depth: f64,
    pub ln_length: f64,
    pub mouth_is_closed: bool,
}

impl Nature<'_> {
    /// What is seen of a crack of the row at a moment before an outage and after the one before that; none where it has not
    /// begun.
    ///
    /// A crack whose growth was integrated is as it was at the outage before: smaller than it is, so that it is called
    /// rather too seldom; one that began since then is not seen.
    pub fn seen(&self, crack: &Crack, year: f64, next: usize) -> Option<Seen> {
        let plan = self.plan;
        let spot = &plan.hot_spots[crack.hot_spot as usize];
        match &spot.growth {
            HotSpotGrowth::Curve { curve, .. } if !crack.is_integrated() => {
                let starts = plan.starts.at(year);
                if starts < crack.born_starts {
                    return None;
                }
                // Curves are worked out in whole blocks.
                let mut y = vec![0.0; whole_blocks(1)];
                let (mut ln_ratio, at) = (y.clone(), vec![starts; y.len()]);
                curve.sizes_at(crack.course, crack.rate, crack.born_starts, &at, &mut y, &mut ln_ratio);
                let ln_depth = -ln(y[0]) * spot.depth_power;
                let mouth_is_closed = plan.mouths_may_close && is_closed_for_life(plan, crack.key);
                Some(Seen { ln_depth, ln_length: ln_depth + ln_ratio[0], mouth_is_closed })
            }
            _ => {
                let before = next.checked_sub(1).filter(|&before| crack.is_present(before))?;
                let place = crack.place(before);
                let (ln_depth, ln_length) = (self.sizes.ln_depth[place], self.sizes.ln_length[place]);
                Some(Seen { ln_depth, ln_length, mouth_is_closed: self.mouth_is_closed(crack, before) })
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::model::Study;
    use crate::random::Key;
    use crate::simulation::plan::RowPlan;
    use crate::simulation::row_batch::RowBatch;

    /// At the moment of an outage a crack on a curve is as it is at the outage; it was smaller before that, and is not seen
    /// before it begins. One that is integrated is as at the outage before.
    #[test]
    fn what_is_seen_between_outages_is_what_grows_from_one_to_the_next() {
        let on_curve = include_str!("../../../tests/engine/data/everything_on.toml");
        let integrated = include_str!("../../../tests/engine/data/small.toml").replace(
            "row_sigma_log = 0\n",
            "row_sigma_log = 0\nthreshold = { kind = \"constant\", range_mpa_sqrt_m = 0 }\n",
        );
        for (text, is_integrated) in [(on_curve, false), (&integrated, true)] {
            let study = Study::parse(text, "study").unwrap_or_else(|error| panic!("{error}"));
            let plan = RowPlan::new(&study, &study.rows[0]).expect("a good row");
            let mut batch = RowBatch::new(&plan.nature, &plan.inspection);
            batch.begin((0..40_u32).map(|trial| Key::from_seed(3).child(trial.into())));
            batch.draw(&(0..40).collect::<Vec<u32>>());
            let (nature, calendar) = (&batch.nature, &plan.nature.calendar);
            let mut compared = [0; 2];
            for crack in nature.cracks.iter().filter(|crack| crack.is_integrated() == is_integrated) {
                for outage in crack.first as usize..crack.last as usize {
                    let (year, place) = (calendar.years[outage], crack.place(outage));
                    let at = |year: f64, next: usize| nature.seen(crack, year, next).map(|seen| seen.ln_depth);
                    let ln_depth = nature.sizes.ln_depth[place];
                    if is_integrated {
                        assert_eq!(at(year + 0.1, outage + 1), Some(ln_depth));
                        compared = compared.map(|count| count + 1);
                        continue;
                    }
                    let seen = nature.seen(crack, year, outage).expect("a crack that is there");
                    assert!((seen.ln_depth - ln_depth).abs() < 1e-9, "{} and {ln_depth}", seen.ln_depth);
                    assert!((seen.ln_length - nature.sizes.ln_length[place]).abs() < 1e-9);
                    compared[0] += 1;
                    if let Some(before) = at(year - 0.1, outage) {
                        assert!(before < ln_depth, "{before} and {ln_depth}");
                        compared[1] += 1;
                    }
                }
                let first = crack.first as usize;
                let before = calendar.years.get(first).map_or(f64::NAN, |year| year - 30.0);
                assert!(nature.seen(crack, before, first).is_none() || first == calendar.len());
            }
            assert!(compared.iter().all(|count| *count > 300), "{compared:?}");
        }
    }
}
