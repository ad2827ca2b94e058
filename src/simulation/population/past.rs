//! What happened to the row before the study starts.

use super::super::plan::Ways;
use super::sight::kept_shift;
use super::{Crack, Population, draw, is_closed_for_life, purpose};
use crate::math::ln;
use crate::model::detection::SizeMeasure;

impl Population<'_> {
    /// A life's looks before the study starts: called blades are renewed. Its cracks are those from an index on.
    /// Returns whether no blade was lost.
    pub(super) fn live_the_past(&mut self, life: usize, from: usize) -> bool {
        let row = self.row;
        for (index, &(year, technique)) in row.past_looks.iter().enumerate() {
            if self.cracks[from..].iter().any(|crack| crack.lost_year <= year) {
                return false;
            }
            let effect = row.techniques[technique].inspection_sigma
                * self.lives[life]
                    .key
                    .child(purpose::INSPECTION)
                    .child(row.techniques[technique].name)
                    .normal(draw::PAST_CALL + index as u64);
            let starts = row.starts.at(year);
            let mut renewed: Vec<u32> = self.cracks[from..]
                .iter()
                .filter(|crack| crack.born_year <= year && year < crack.end_year)
                .filter(|crack| self.past_call(crack, technique, index, starts, effect))
                .map(|crack| crack.blade)
                .collect();
            renewed.sort_unstable();
            renewed.dedup();
            self.cracks.retain(|crack| crack.life as usize != life || !renewed.contains(&crack.blade));
            for blade in renewed {
                self.renew_unseen(life, blade, (2 << 16) + index as u64, year);
            }
        }
        !self.cracks[from..].iter().any(|crack| crack.lost_year < row.start_year)
    }

    fn past_call(&self, crack: &Crack, technique: usize, index: usize, starts: f64, effect: f64) -> bool {
        let about = &self.row.techniques[technique];
        let class = &self.row.classes[crack.class as usize];
        let mut closed = is_closed_for_life(self.row, crack.key);
        let (y, ratio) = match &class.ways {
            Ways::Tabled { path, .. } if !crack.is_followed() => {
                path.size_at(crack.course, crack.rate * (starts - crack.born_starts))
            }
            _ => {
                // Sizes stand in order of time: past looks before the crack's end, then its outages.
                let looks = &self.row.past_looks;
                let later = looks[index..].iter().filter(|look| look.0 < crack.end_year).count();
                let outages = (crack.last - crack.first) as usize;
                let size = self.sizes[crack.sizes as usize - outages - later];
                closed = size.closed;
                (size.y, size.ln_ratio)
            }
        };
        let ln_depth = -ln(y) * class.depth_power;
        let size = match about.size {
            SizeMeasure::Length => ln_depth + ratio,
            SizeMeasure::Depth => ln_depth,
            SizeMeasure::GeometricMean => ln_depth + 0.5 * ratio,
        };
        let kept = |source: usize| crack.key.child(self.row.kept_sources[source]).normal(draw::KEPT);
        let hidden = about.ln_q50 + kept_shift(about, kept) + effect;
        let pod = about.pod(size, hidden, ln_depth, closed);
        crack.key.child(about.name).uniform(draw::PAST_CALL + index as u64) < pod
    }
}
