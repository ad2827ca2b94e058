//! The failure assessment diagram: brittle fracture and plastic collapse in one picture.
//!
//! Two curves, both from memory: Option 1 of BS 7910:2013 and R6 revision 4 for continuous yielding,
//! and the older level 2A curve of BS 7910:2005, R6 revision 3 and API 579. A crack is safe while its
//! point (Lr, Kr) lies below the curve and left of the cut-off at Lr = (yield + ultimate) / (2 yield).

use crate::bounds;
use crate::error::{Error, Result};
use crate::math::{exp, ln};

/// A failure assessment curve of one material.
///
/// # Example
/// ```
/// use serrata::model::fracture::AssessmentDiagram;
/// let diagram = AssessmentDiagram::option_1(206_000.0, 650.0, 800.0)?;
/// assert!((diagram.highest_kr(1.0) - 0.66126).abs() < 1e-5);
/// assert_eq!(diagram.highest_kr(1.2), 0.0); // beyond the cut-off at 1.115
/// assert!(AssessmentDiagram::option_1(206_000.0, 800.0, 650.0).is_err());
/// # Ok::<(), serrata::Error>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AssessmentDiagram {
    curve: Curve,
    yield_mpa: f64,
    cut_off: f64,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Curve {
    Option1 {
        mu: f64,
        /// (N - 1) / (2 N).
        tail_exponent: f64,
    },
    Level2A,
}

impl AssessmentDiagram {
    /// Option 1, from the elastic modulus, yield stress and ultimate strength in MPa.
    ///
    /// # Errors
    /// Refuses numbers out of range and a yield stress above the ultimate strength.
    pub fn option_1(modulus_mpa: f64, yield_mpa: f64, ultimate_mpa: f64) -> Result<Self> {
        bounds::MODULUS_MPA.check("modulus_mpa", modulus_mpa)?;
        let cut_off = cut_off(yield_mpa, ultimate_mpa)?;
        let mu = (0.001 * modulus_mpa / yield_mpa).min(0.6);
        let hardening = 0.3 * (1.0 - yield_mpa / ultimate_mpa);
        let tail_exponent = (hardening - 1.0) / (2.0 * hardening);
        Ok(AssessmentDiagram { curve: Curve::Option1 { mu, tail_exponent }, yield_mpa, cut_off })
    }

    /// Level 2A, from yield stress and ultimate strength in MPa.
    ///
    /// # Errors
    /// Refuses numbers out of range and a yield stress above the ultimate strength.
    pub fn level_2a(yield_mpa: f64, ultimate_mpa: f64) -> Result<Self> {
        Ok(AssessmentDiagram { curve: Curve::Level2A, yield_mpa, cut_off: cut_off(yield_mpa, ultimate_mpa)? })
    }

    /// The highest safe Kr at an Lr: the curve, and zero beyond the cut-off.
    pub fn highest_kr(&self, lr: f64) -> f64 {
        if lr <= self.cut_off { self.curve(lr) } else { 0.0 }
    }

    /// The curve, as if there were no cut-off.
    fn curve(&self, lr: f64) -> f64 {
        let sixth = (lr * lr).powi(3);
        match self.curve {
            Curve::Level2A => (1.0 - 0.14 * lr * lr) * (0.3 + 0.7 * exp(-0.65 * sixth)),
            Curve::Option1 { mu, tail_exponent } => {
                let up_to_one = |lr: f64, sixth: f64| (0.3 + 0.7 * exp(-mu * sixth)) / (1.0 + 0.5 * lr * lr).sqrt();
                if lr <= 1.0 { up_to_one(lr, sixth) } else { up_to_one(1.0, 1.0) * exp(tail_exponent * ln(lr)) }
            }
        }
    }

    /// Lr at and beyond which a section collapses whatever its crack.
    pub fn cut_off(&self) -> f64 {
        self.cut_off
    }

    /// Yield stress, in MPa.
    pub fn yield_mpa(&self) -> f64 {
        self.yield_mpa
    }

    /// By how much a point lies outside of the diagram: zero on its boundary, negative inside.
    ///
    /// The larger of Kr less the curve and Lr less the cut-off, so that it rises with Kr and Lr and has
    /// no jump.
    pub fn excess(&self, lr: f64, kr: f64) -> f64 {
        (kr - self.curve(lr)).max(lr - self.cut_off)
    }
}

/// The cut-off, (yield + ultimate) / (2 yield).
fn cut_off(yield_mpa: f64, ultimate_mpa: f64) -> Result<f64> {
    bounds::STRENGTH_MPA.check("yield_mpa", yield_mpa)?;
    bounds::STRENGTH_MPA.check("ultimate_mpa", ultimate_mpa)?;
    if yield_mpa >= ultimate_mpa {
        return Err(Error::argument(
            "yield_mpa",
            yield_mpa,
            &format!("must be below ultimate_mpa ({ultimate_mpa}): no steel breaks before it yields"),
            &format!("lower yield_mpa below {ultimate_mpa}, or raise ultimate_mpa"),
        ));
    }
    Ok((yield_mpa + ultimate_mpa) / (2.0 * yield_mpa))
}

/// rho: what plasticity under the load adds to the Kr of a residual stress.
///
/// BS 7910:2005, annex R: `rho1 = 0.1 x**0.714 - 0.007 x**2 + 3e-5 x**5` with x = K_residual Lr / K_load,
/// read in the JCSS Probabilistic Model Code for x up to 4; `rho = rho1` up to Lr = 0.8, then
/// `4 rho1 (1.05 - Lr)`, and zero from 1.05. Beyond x = 4 the same polynomial up to 5.2, where it has
/// come to 0.25, and 0.25 from there: from memory, and it fits. A residual stress that presses the
/// crack shut adds nothing.
pub fn plasticity_interaction(residual_mpa_sqrt_m: f64, load_mpa_sqrt_m: f64, lr: f64) -> f64 {
    if !(residual_mpa_sqrt_m > 0.0 && load_mpa_sqrt_m > 0.0 && lr > 0.0) {
        return 0.0;
    }
    let x = residual_mpa_sqrt_m * lr / load_mpa_sqrt_m;
    let full = if x <= 5.2 { 0.1 * x.powf(0.714) - 0.007 * x * x + 3e-5 * x.powi(5) } else { 0.25 };
    if lr <= 0.8 { full } else { (4.0 * full * (1.05 - lr)).max(0.0) }
}
