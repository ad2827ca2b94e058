//! Lengths that techniques report.

use super::{Inspections, draw};
use crate::math::exp;
use crate::simulation::nature::{Crack, Nature, purpose};

impl Inspections<'_> {
    /// Length that a technique reports for a crack at an outage to come, in mm.
    pub fn measured_mm(&self, nature: &Nature, crack: &Crack, technique: usize, outage: usize) -> f64 {
        let about = &self.plan.techniques[technique];
        let to_come = (outage - nature.plan.calendar.start) as u64;
        let scatter = crack.key.child(about.name).normal(draw::SIZE + to_come);
        nature.sizes.length_mm[crack.place(outage)] * about.sizing_bias * exp(about.sizing_sigma * scatter)
    }

    /// Depth that a technique reports for a crack at an outage to come, in mm; infinite where it measures none.
    pub fn measured_depth_mm(&self, nature: &Nature, crack: &Crack, technique: usize, outage: usize) -> f64 {
        let about = &self.plan.techniques[technique];
        let Some(sizing) = &about.depth_sizing else { return f64::INFINITY };
        let to_come = (outage - nature.plan.calendar.start) as u64;
        let scatter = crack.key.child(about.name).normal(draw::DEPTH + to_come);
        let [depth_mm, _] = nature.size_mm(crack, outage);
        depth_mm * sizing.bias * exp(sizing.sigma_log * scatter)
    }

    /// Depth that a technique reports for a false indication, in mm; likewise.
    pub fn false_depth_mm(&self, nature: &Nature, life: usize, blade: u32, technique: usize, outage: usize) -> f64 {
        let about = &self.plan.techniques[technique];
        let Some(sizing) = &about.depth_sizing else { return f64::INFINITY };
        let to_come = (outage - nature.plan.calendar.start) as u64;
        let key = nature.lives[life].key.child(purpose::FALSE_CALLS).child(about.name).child(u64::from(blade));
        sizing.false_call_mm.draw(key, draw::DEPTH + to_come)
    }

    /// Length that a technique reports for a false indication, in mm.
    pub fn false_length_mm(&self, nature: &Nature, life: usize, blade: u32, technique: usize, outage: usize) -> f64 {
        let about = &self.plan.techniques[technique];
        let to_come = (outage - nature.plan.calendar.start) as u64;
        let key = nature.lives[life].key.child(purpose::FALSE_CALLS).child(about.name).child(u64::from(blade));
        about.false_call_length.draw(key, draw::SIZE + to_come)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Study;
    use crate::random::Key;
    use crate::simulation::life::Lives;
    use crate::simulation::plan::RowPlan;

    /// The draws of outages to come, by counter; no other draw of a crack or of a blade's false calls is there.
    const FIRST: u64 = 4_294_967_296;

    fn with_lives(check: impl Fn(&Study, &RowPlan, &Lives)) {
        let text = include_str!("../../../tests/engine/data/everything_on.toml");
        let study = Study::parse(text, "study").expect("a good study");
        let plan = RowPlan::new(&study, &study.rows[0]).expect("a good row");
        let mut lives = Lives::new(&plan, &study);
        lives.begin((0..60_u32).map(|trial| Key::from_seed(3).child(trial.into()))).expect("lives that come through");
        check(&study, &plan, &lives);
    }

    #[test]
    fn a_crack_is_measured_with_the_bias_and_a_scatter_of_each_look_by_itself() {
        with_lives(|study, plan, lives| {
            let (nature, start) = (&lives.batch().nature, plan.nature.calendar.start);
            let mut seen = 0;
            for (crack, (index, technique)) in
                nature.cracks.iter().flat_map(|crack| study.techniques.iter().enumerate().map(move |one| (crack, one)))
            {
                for outage in start.max(crack.first as usize)..crack.last as usize {
                    let scatter = crack.key.named(&technique.id).normal(FIRST + (outage - start) as u64);
                    let factor = technique.sizing.length_bias * (technique.sizing.length_sigma_log * scatter).exp();
                    let expected = nature.size_mm(crack, outage)[1] * factor;
                    let ours = lives.batch().inspections.measured_mm(nature, crack, index, outage);
                    assert!((ours / expected - 1.0).abs() < 1e-12, "{ours} and {expected}");
                    seen += 1;
                }
            }
            assert!(seen > 1000, "{seen} lengths");
        });
    }

    #[test]
    fn a_false_indication_has_a_length_of_its_own_at_each_look() {
        with_lives(|study, plan, lives| {
            let (nature, calendar) = (&lives.batch().nature, &plan.nature.calendar);
            let technique = &study.techniques[0];
            let mut sum = 0.0;
            for (life, blade) in (0..60).flat_map(|life| (0..24).map(move |blade| (life, blade))) {
                for outage in calendar.start..calendar.len() {
                    let key = nature.lives[life].key.child(purpose::FALSE_CALLS).named(&technique.id);
                    let counter = FIRST + (outage - calendar.start) as u64;
                    let expected = technique.false_call_length_mm.draw(key.child(u64::from(blade)), counter);
                    let ours = lives.batch().inspections.false_length_mm(nature, life, blade, 0, outage);
                    assert_eq!(ours, expected);
                    sum += ours;
                }
            }
            // Uniform from 1 to 6 mm.
            let count = (60 * 24 * calendar.to_come()) as f64;
            assert!((sum / count - 3.5).abs() < 4.0 * (25.0 / 12.0 / count).sqrt(), "{} mm", sum / count);
        });
    }
}
