//! A hot spot of the row's root, made ready.

use super::peened_clock::PeenedClock;
use crate::distribution::Distribution;
use crate::error::Result;
use crate::model::Study;
use crate::model::fleet::{HotSpot, Joining, Row, Surface, Unit};
use crate::model::fracture::AssessmentDiagram;
use crate::model::growth::{CrackEnd, CrackShape, Following, GrowthLaw, GrowthPath, Limit, Site};
use crate::model::initiation::InitiationShape;
use crate::model::usage::{DutyPeriod, Readings};
use crate::random::hash_name;

/// One hot spot of the row's root.
#[derive(Debug)]
pub(crate) struct HotSpotPlan {
    pub name: u64,
    pub origins: f64,
    /// Origins at each of its positions.
    pub origins_per_place: u32,
    pub shape: InitiationShape,
    pub clock: Readings,
    pub clock_at_end: f64,
    pub peened: PeenedClock,
    pub stress_exponent: f64,
    pub growth: HotSpotGrowth,
    /// Median advance per start of cracks on growth curves; 1 for those whose growth is integrated.
    pub rate: f64,
    /// Power with which a blade's stress enters that rate; 0 where growth is integrated.
    pub growth_exponent: f64,
    pub crack_sigma: f64,
    pub row_sigma: f64,
    pub growth_name: u64,
    pub initial_depth: Distribution,
    /// Median and standard deviation of the logarithm of the initial depth; not-a-number where it
    /// is neither lognormal nor fixed.
    pub ln_depth_median: f64,
    pub depth_sigma: f64,
    pub initial_aspect: Distribution,
    pub limit: Limit,
    /// Coordinate at which every crack meets its end, where all do so at one.
    pub end_coordinate: Option<f64>,
    pub depth_power: f64,
}

/// How the cracks of a hot spot grow.
#[derive(Debug)]
pub(crate) enum HotSpotGrowth {
    /// On a curve that is worked out once: blade and crack set only how fast.
    Curve {
        curve: GrowthPath,
        /// For cracks that begin or come where the curve does not hold; none where it holds everywhere.
        beyond: Option<Box<Integration>>,
    },
    /// Each on its own.
    Integrated(Box<Integration>),
}

/// What it takes to integrate the growth of a crack by itself.
#[derive(Debug)]
pub(crate) struct Integration {
    pub following: Following,
    pub site: Site,
    pub duty: Vec<DutyPeriod>,
    pub corrosion_sigma: f64,
    /// The diagram of a diagram limit.
    pub diagram: Option<AssessmentDiagram>,
    /// Whether lengths are those of quarter ellipses.
    pub is_corner: bool,
    /// Origins at one place.
    pub origins: u32,
    pub joining: Option<Joining>,
}

impl HotSpotPlan {
    /// Whether its cracks may join.
    pub fn may_join(&self) -> bool {
        match &self.growth {
            HotSpotGrowth::Curve { beyond, .. } => beyond.as_ref().is_some_and(|beyond| beyond.joining.is_some()),
            HotSpotGrowth::Integrated(integration) => integration.joining.is_some(),
        }
    }

    /// Whether its cracks are followed and there are several at one position that join.
    pub fn joins(&self) -> bool {
        self.origins_per_place > 1
            && matches!(&self.growth, HotSpotGrowth::Integrated(integration) if integration.joining.is_some())
    }

    /// What keys the crack of an origin on its blade.
    #[inline(always)]
    pub fn crack_number(&self, origin: u32) -> u64 {
        self.name.wrapping_add(u64::from(origin))
    }

    /// The hazard of one of its origins at the end of the study, where it was new at a reading, and gets no peening before
    /// one by number; with a factor on the time to each crack.
    pub fn hazard_at_end(&self, new_at: f64, first_peening: usize, life_factor: f64) -> f64 {
        self.shape.cumulative_hazard(self.peened.used(new_at, first_peening, self.clock_at_end) / life_factor)
    }

    /// The hazard of a new blade at which a crack begins that comes at another one where the time to it has a factor: the
    /// law's time is stretched by that, and so is the reading at which any hazard is reached.
    pub fn stretched(&self, hazard: f64, life_factor: f64) -> f64 {
        self.shape.cumulative_hazard(life_factor * self.shape.reading_at(hazard))
    }

    /// A hot spot of the row's root, by number, where blades are peened in some years.
    pub fn new(study: &Study, row: &Row, spot_index: usize, end_year: f64, peenings: &[(f64, f64)]) -> Result<Self> {
        let spot = &study.roots[row.root].hot_spots[spot_index];
        let unit = &study.units[row.unit];
        let law = &study.initiation[spot.initiation];
        let growth = &study.growth[spot.growth];
        let surface = &study.surfaces[row.surface];
        let life = surface.initiation_life_factor;
        let shape = match law.shape {
            InitiationShape::Weibull { shape, scale } => InitiationShape::Weibull { shape, scale: scale * life },
            InitiationShape::Lognormal { median, sigma_log } => {
                InitiationShape::Lognormal { median: median * life, sigma_log }
            }
            InitiationShape::Exponential { mean } => InitiationShape::Exponential { mean: mean * life },
        };
        let clock = Readings::new(&unit.duty, law.clock);
        let clock_at_end = clock.at(end_year);
        let peened = PeenedClock::new(&clock, peenings);
        let (ln_depth_median, depth_sigma) = match spot.initial_depth_mm {
            Distribution::Fixed(depth_mm) => (depth_mm.ln(), 0.0),
            Distribution::Lognormal { median, sigma_log } => (median.ln(), sigma_log),
            _ => (f64::NAN, f64::NAN),
        };
        let integration = || Integration::new(spot, growth, surface, unit).map(Box::new);
        let (growth_of_spot, rate, depth_power, growth_exponent) = if spot.needs_following(growth, surface) {
            (HotSpotGrowth::Integrated(integration()?), 1.0, 1.0, 0.0)
        } else {
            let path = study.growth_path(spot);
            let (rate, depth_power) = (path.rate(), path.depth_power());
            let beyond = if path.is_straight() { None } else { Some(integration()?) };
            (HotSpotGrowth::Curve { curve: path, beyond }, rate, depth_power, growth.exponent)
        };
        let end = match spot.limit {
            Limit::Depth { depth_mm } => Some(CrackEnd::Depth(depth_mm)),
            Limit::SectionFraction { fraction } => Some(CrackEnd::SectionFraction(fraction)),
            Limit::Toughness { .. } | Limit::Diagram(_) => None,
        };
        let end_coordinate = match (&growth_of_spot, end) {
            (HotSpotGrowth::Curve { curve: GrowthPath::FixedFactor(path), .. }, Some(end)) => {
                Some(path.end_coordinate(end))
            }
            _ => None,
        };
        Ok(HotSpotPlan {
            end_coordinate,
            ln_depth_median,
            depth_sigma,
            name: hash_name(&spot.id),
            origins: f64::from(spot.origins_per_blade()),
            origins_per_place: spot.origins,
            shape,
            clock,
            clock_at_end,
            peened,
            stress_exponent: law.stress_exponent,
            growth: growth_of_spot,
            rate,
            depth_power,
            growth_exponent,
            crack_sigma: growth.crack_sigma_log,
            row_sigma: growth.row_sigma_log,
            growth_name: hash_name(&growth.id),
            initial_depth: spot.initial_depth_mm.clone(),
            initial_aspect: spot.initial_aspect.clone(),
            limit: spot.limit.clone(),
        })
    }
}

impl Integration {
    fn new(spot: &HotSpot, growth: &GrowthLaw, surface: &Surface, unit: &Unit) -> Result<Self> {
        let site = spot.site(surface)?;
        Ok(Integration {
            following: Following::new(&site, growth.rate_law(spot.vibration)?)?,
            site,
            duty: unit.duty.clone(),
            corrosion_sigma: growth.refinements.stress_corrosion.map_or(0.0, |law| law.crack_sigma_log),
            diagram: match &spot.limit {
                Limit::Diagram(limit) => Some(limit.diagram()?),
                _ => None,
            },
            is_corner: spot.crack == CrackShape::QuarterElliptical,
            origins: spot.origins,
            joining: spot.joining,
        })
    }
}
