//! Growth from records: by which factor on the growth coefficient of a study its cracks grew that were followed.
//!
//! Two measured sizes of one crack, or striations and sections read off it (depth against starts), say how fast it
//! grew. The size of a crack follows the growth curve of the median crack of its hot spot, which the study has tabled or
//! in closed form, and runs along it at a rate over the median one of
//!
//! `F * row * crack * stress**m`
//!
//! where F is the factor that is sought, one for all; row and crack are log-normal with the deviations that the growth law
//! states; and the stress of a blade is as among blades that crack, m the exponent of growth. What is measured is
//! `true size * bias * exp(sigma * normal)`, each size by itself.
//!
//! Nobody knows the true size at the first look. It is integrated out, flat in its logarithm: any first size counts as
//! likely as one twice as large. Where growth in a logarithm hangs little on the size this costs nothing; where it hangs
//! much, errors of the first size are errors of the rate, which is what the integral adds. F is estimated by maximum
//! likelihood, with bounds by profile likelihood. Cracks are independent given F and the factor of their row, which
//! cracks of one row share and which is integrated over.
//!
//! Where sizing error swamps the growth there is an upper bound and no estimate.
//!
//! # Limits
//!
//! Cracks are taken as followed for reasons that have nothing to do with how fast they grew. Where fast ones were lost,
//! renewed or repaired before their second size they are missing here, and F is too low: the unsafe side. Cracks keep the
//! shape of the median crack of their hot spot. Errors of sizes are independent of each other.

mod bounds;
mod crack;
mod curve;
mod integral;
mod look_up;
mod places;
mod tables;
mod text;

pub use curve::SizeKind;
pub use tables::OwnFactor;

use crate::error::Result;
use crate::model::Study;
use crate::statistics::records::Sizes;
use crate::statistics::search::largest;
use bounds::Found;
use crack::{Evidence, Family, Followed, REACH};
use integral::ln_integral;
use places::{Place, Places};
use std::collections::BTreeMap;

/// Where cracks that were followed are, for lines that do not say so.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct FollowedAt {
    /// Hot spot, as `root.hot-spot`, or by its own id where no other root has one of that id.
    pub hot_spot: Option<String>,
    /// Row. It may be left out where one row only has the root, or growth does not scatter from row to row.
    pub row: Option<String>,
}

/// The factor on a growth coefficient that sizes of cracks speak for. It never changes.
#[derive(Debug, Clone)]
pub struct GrowthFit {
    study: Study,
    sizes: Sizes,
    /// Index of the growth law.
    law: usize,
    cracks: Vec<Fitted>,
    families: Vec<Family>,
    /// Indices of the cracks of each row.
    rows: Vec<Vec<usize>>,
    /// Between which the logarithm of the factor is sought.
    range: [f64; 2],
    found: Found,
}

/// One crack, with what it says.
#[derive(Debug, Clone)]
struct Fitted {
    followed: Followed,
    place: Place,
    family: usize,
    evidence: Evidence,
}

impl Study {
    /// Fits a factor on the growth coefficient to sizes of cracks that were followed.
    ///
    /// # Errors
    /// Refuses lines that break a rule, all in one error: a crack with one size, or with no start between its sizes; a
    /// size below the beginning or beyond the end of the growth curve; one that is smaller than an earlier one by far more
    /// than the errors of both; an unknown technique, and one without a sizing error where none is stated; hot spots of
    /// more than one growth law. Refuses a hot spot whose cracks join (`joins`) or do not all follow one growth curve
    /// (`no-one-curve`), with [`Error::reason`](crate::Error::reason) in brackets; and a study that was given records.
    ///
    /// # Example
    /// ```
    /// use serrata::Study;
    /// use serrata::simulation::FollowedAt;
    /// use serrata::statistics::records::{Format, Sizes};
    ///
    /// let text = "crack,row,starts,depth_mm,sizing_sigma_log\n\
    ///             A,alder-lp1-front,310,0.9,0.1\nA,alder-lp1-front,420,1.7,0.1\n\
    ///             B,alder-lp1-front,310,1.1,0.1\nB,alder-lp1-front,420,1.9,0.1\n";
    /// let study = Study::load("demo-data/demo-study.toml")?;
    /// let at = FollowedAt { hot_spot: Some("four-serrations.upper".to_owned()), row: None };
    /// let fit = study.fit_growth(&Sizes::parse(text, "two cracks", &Format::default())?, &at)?;
    /// let (factor, bounds) = (fit.factor().unwrap(), fit.bounds(0.975)?);
    /// assert!(bounds.low.unwrap() < factor && factor < bounds.high.unwrap());
    /// # Ok::<(), serrata::Error>(())
    /// ```
    pub fn fit_growth(&self, sizes: &Sizes, at: &FollowedAt) -> Result<GrowthFit> {
        look_up::check_study(self)?;
        let mut places = Places::default();
        let followed = look_up::cracks(self, sizes, at, &mut places)?;
        let law = places.law().unwrap_or_default();
        let (families, of_crack) = families(self, &followed);
        let fitted = |((followed, place), family): ((Followed, Place), usize)| Fitted {
            evidence: Evidence::new(&followed, &families[family]),
            followed,
            place,
            family,
        };
        let cracks: Vec<Fitted> = followed.into_iter().zip(of_crack).map(fitted).collect();
        let mut rows: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
        for (index, crack) in cracks.iter().enumerate() {
            rows.entry(crack.place.row).or_default().push(index);
        }
        let mut fit = GrowthFit {
            study: self.clone(),
            sizes: sizes.clone(),
            law,
            range: range(&cracks, self.growth[law].row_sigma_log),
            cracks,
            families,
            rows: rows.into_values().collect(),
            found: Found::default(),
        };
        fit.found = fit.find();
        Ok(fit)
    }
}

/// How cracks grow at each place, by each kind of size, and which of these holds for each crack.
fn families(study: &Study, cracks: &[(Followed, Place)]) -> (Vec<Family>, Vec<usize>) {
    let mut ranges: BTreeMap<(usize, usize, SizeKind), (Place, [f64; 2])> = BTreeMap::new();
    let key = |(followed, place): &(Followed, Place)| (place.root, place.class, followed.kind);
    for crack in cracks {
        let nowhere = (crack.1, [f64::INFINITY, f64::NEG_INFINITY]);
        let (_, [low, high]) = ranges.entry(key(crack)).or_insert(nowhere);
        for size in &crack.0.sizes {
            /// Beyond what is looked at, so that no end of a table is met before that.
            const WIDER: f64 = 1.0 + REACH;
            *low = low.min(size.ln_size - WIDER * size.sigma);
            *high = high.max(size.ln_size + WIDER * size.sigma);
        }
    }
    let numbers: BTreeMap<_, usize> = ranges.keys().copied().zip(0..).collect();
    let families = ranges.iter().map(|(key, (place, ln_sizes))| places::family(study, place, key.2, *ln_sizes));
    (families.collect(), cracks.iter().map(|crack| numbers[&key(crack)]).collect())
}

/// Far enough to both sides that no crack speaks for more.
fn range(cracks: &[Fitted], row_sigma: f64) -> [f64; 2] {
    let [mut low, mut high] = [f64::INFINITY, f64::NEG_INFINITY];
    for Fitted { evidence: Evidence { about: [centre, width], .. }, .. } in cracks {
        let reach = REACH * width.hypot(row_sigma) + 1.0;
        (low, high) = (low.min(centre - reach - 6.0), high.max(centre + reach));
    }
    [low, high]
}

impl GrowthFit {
    /// Log-likelihood of the logarithm of the factor.
    fn ln_likelihood(&self, ln_factor: f64) -> f64 {
        self.rows.iter().map(|row| self.of_row(row, ln_factor)).sum()
    }

    /// The same of the cracks of one row, whose factor they share.
    fn of_row(&self, cracks: &[usize], ln_factor: f64) -> f64 {
        let evidence = |crack: &usize| &self.cracks[*crack].evidence;
        let all = |x: f64| cracks.iter().map(|crack| evidence(crack).of_row.at(x)).sum::<f64>();
        let sigma = self.study.growth[self.law].row_sigma_log;
        if sigma == 0.0 {
            return all(ln_factor);
        }
        let (low, high) = cracks
            .iter()
            .map(|crack| evidence(crack).about[0])
            .fold((ln_factor, ln_factor), |(low, high), centre| (low.min(centre), high.max(centre)));
        let end = cracks.iter().map(|crack| evidence(crack).of_row.end()).fold(f64::INFINITY, f64::min);
        let density = |x: f64| -0.5 * ((x - ln_factor) / sigma).powi(2) - sigma.ln() - crack::LN_ROOT_TWO_PI;
        ln_integral(low - REACH * sigma, (high + REACH * sigma).min(end), |x| all(x) + density(x))
    }

    /// Log-likelihood of cracks that do not grow.
    fn level(&self) -> f64 {
        self.cracks.iter().map(|crack| crack.evidence.of_row.level()).sum()
    }

    /// The highest log-likelihood, where it is, and how sharply it falls.
    fn find(&self) -> Found {
        const STEPS: usize = 60;
        let [low, high] = self.range;
        let place = |step: usize| low + (high - low) * step as f64 / STEPS as f64;
        let values: Vec<f64> = (0..=STEPS).map(|step| self.ln_likelihood(place(step))).collect();
        let best = (0..=STEPS).max_by(|a, b| values[*a].total_cmp(&values[*b])).unwrap_or(0);
        let (from, to) = (place(best.saturating_sub(1)), place((best + 1).min(STEPS)));
        let (at, top) = largest(from, to, 1e-9, |x| self.ln_likelihood(x));
        Found::new(at, top.max(self.level()), self.level(), |x| self.ln_likelihood(x))
    }
}
