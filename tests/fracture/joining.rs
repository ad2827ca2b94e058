//! Joining of neighbours by named rules, against worked cases.

use crate::support::{cells, off};
use serrata::model::fracture::{Point, SurfaceCrackGeometry};
use serrata::model::joining::{JoiningRule, PlacedCrack, join};

fn pair(one: [f64; 2], other: [f64; 2], gap_mm: f64) -> Vec<PlacedCrack> {
    let position_mm = 0.5 * one[1] + gap_mm + 0.5 * other[1];
    [(0.0, one), (position_mm, other)]
        .map(|(position_mm, [depth_mm, length_mm])| {
            PlacedCrack::new(position_mm, depth_mm, length_mm).expect("a crack")
        })
        .into()
}

/// Worked cases: the rule of 2013 read in abstracts of PVP2018-51593 and PVP2015-56925, the older from memory.
#[test]
fn both_rules_join_as_worked_out() {
    let table = cells(include_str!("data/interaction_cases.csv"));
    assert_eq!(table.len(), 6);
    for row in table {
        let number = |i: usize| row[i].parse::<f64>().unwrap_or(f64::NAN);
        let cracks = pair([number(1), number(2)], [number(3), number(4)], number(5));
        for (rule, joins) in
            [(JoiningRule::Bs7910Of2013, number(6)), (JoiningRule::AsmeXi, number(6)), (JoiningRule::Older, number(7))]
        {
            let mut cracks = cracks.clone();
            let joined = join(&mut cracks, rule).expect("in order");
            assert_eq!(joined.joins as f64, joins, "{row:?} by {rule:?}");
            if joins == 1.0 {
                assert!((cracks[0].depth_mm() - number(8)).abs() < 1e-12);
                assert!((cracks[0].length_mm() - number(9)).abs() < 1e-9, "{row:?}: {:?}", cracks[0]);
                let aspect = 2.0 * cracks[0].depth_mm() / cracks[0].length_mm();
                assert!((aspect - number(10)).abs() < 1e-6);
            }
        }
    }
}

/// Half the depth of the deeper, 1.5 mm here, and the length of the shorter, 6 mm: just within, just beyond.
#[test]
fn each_rule_ends_where_it_says() {
    for (rule, widest_mm) in [(JoiningRule::Bs7910Of2013, 1.5), (JoiningRule::AsmeXi, 1.5), (JoiningRule::Older, 6.0)] {
        for (gap_mm, left) in [(widest_mm - 1e-6, 1), (widest_mm + 1e-6, 2)] {
            let mut cracks = pair([2.0, 6.0], [3.0, 8.0], gap_mm);
            join(&mut cracks, rule).expect("in order");
            assert_eq!(cracks.len(), left, "{rule:?} at {gap_mm}");
        }
    }
}

#[test]
fn touching_joins_at_no_gap_only() {
    for (gap_mm, left) in [(0.01, 2), (0.0, 1)] {
        let mut cracks = pair([2.0, 6.0], [3.0, 8.0], gap_mm);
        join(&mut cracks, JoiningRule::Touching).expect("in order");
        assert_eq!(cracks.len(), left, "{gap_mm}");
    }
}

/// Cracks of 1 mm by 3 mm with gaps of 0.5 mm: the pair joins, and so does the third.
#[test]
fn a_row_of_three_closes_at_once() {
    let mut cracks: Vec<_> = [0.0, 3.5, 7.0].map(|at| PlacedCrack::new(at, 1.0, 3.0).expect("a crack")).into();
    let joined = join(&mut cracks, JoiningRule::Bs7910Of2013).expect("in order");
    assert_eq!((joined.joins, cracks.len(), cracks[0].length_mm()), (2, 1, 10.0));
}

/// In a 20 mm plate 200 mm wide under 300 MPa, computed by a separate program: joining raises the deepest
/// point by 26 % and lowers the surface.
#[test]
fn joining_raises_the_deepest_point_and_lowers_the_surface() {
    for (depth_mm, length_mm, deepest, surface) in
        [(2.0, 6.0, 19.3231, 17.4102), (3.0, 8.0, 22.5756, 21.6602), (3.0, 15.2, 28.3440, 19.7290)]
    {
        let half_length_mm = 0.5 * length_mm;
        let crack = SurfaceCrackGeometry { depth_mm, half_length_mm, thickness_mm: 20.0, half_width_mm: 100.0 };
        for (point, expected) in [(Point::Deepest, deepest), (Point::Surface, surface)] {
            let ours = crack.stress_intensity_mpa_sqrt_m(300.0, 0.0, point);
            assert!(off(ours, expected) < 1e-5, "{crack:?} {point:?}: {ours}");
        }
    }
}

#[test]
fn a_gap_below_zero_and_cracks_out_of_order_are_refused() {
    let cracks = pair([2.0, 6.0], [3.0, 8.0], 1.0);
    assert!(JoiningRule::Touching.joins(&cracks[0], &cracks[1], -0.1).is_err());
    let mut turned = vec![cracks[1], cracks[0]];
    let message = join(&mut turned, JoiningRule::Touching).expect_err("refused").to_string();
    assert!(message.contains("sort the cracks by position_mm"), "{message}");
}
