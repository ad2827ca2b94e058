//! A fit as tables: sizes beside what the fit has them to be, each crack's own factor, and curves to draw.

use super::bounds::CONFIDENCE;
use super::{Fitted, GrowthFit};
use crate::error::{Error, Result};
use crate::math::normal_quantile;
use crate::simulation::tables::{Column, Table};
use crate::statistics::search::crossing;

/// The factor that the sizes of one crack alone speak for: on the rate of the median crack of the study, in a blade of
/// nominal stress. The scatter of cracks, rows and stresses is in it.
#[derive(Debug, Clone, PartialEq)]
pub struct OwnFactor {
    /// The crack.
    pub crack: String,
    /// Its row.
    pub row: String,
    /// Its hot spot, as `root.hot-spot`.
    pub hot_spot: String,
    /// Number of its sizes.
    pub sizes: usize,
    /// Starts from the first to the last.
    pub starts: f64,
    /// The factor; `None` where sizing error swamps the growth.
    pub factor: Option<f64>,
    /// Lower end of its 95 % interval; `None` where no value is excluded.
    pub low: Option<f64>,
    /// Upper end.
    pub high: Option<f64>,
}

impl GrowthFit {
    /// Names of its tables.
    pub const TABLES: [&str; 3] = ["cracks", "sizes", "curves"];

    /// Each crack by itself.
    pub fn own_factors(&self) -> Vec<OwnFactor> {
        self.cracks.iter().map(|crack| self.own_factor(crack)).collect()
    }

    fn own_factor(&self, crack: &Fitted) -> OwnFactor {
        let own = &crack.evidence.own;
        let top = own.at(own.centre).max(own.level());
        let wanted = normal_quantile(CONFIDENCE);
        let short = |x: f64| (2.0 * (top - own.at(x)).max(0.0)).sqrt().min(1e6) - wanted;
        let is_known = (2.0 * (top - own.level())).sqrt() > wanted;
        let between = |end: f64| {
            (short(end) > 0.0).then(|| crossing((own.centre, -wanted), (end, short(end)), 1e-9, short).exp())
        };
        OwnFactor {
            crack: crack.followed.name.clone(),
            row: self.study.rows[crack.place.row].id.clone(),
            hot_spot: self.hot_spot(crack),
            sizes: crack.followed.sizes.len(),
            starts: crack.followed.span(),
            factor: is_known.then(|| own.centre.exp()),
            low: if is_known { between(own.centre - 40.0) } else { None },
            high: between(own.end()),
        }
    }

    pub(super) fn hot_spot(&self, crack: &Fitted) -> String {
        let root = &self.study.roots[crack.place.root];
        format!("{}.{}", root.id, root.hot_spots[crack.place.class].id)
    }

    /// A table by name.
    ///
    /// `cracks` has each crack's own factor, `sizes` a line for each size, and `curves` the growth of each crack by the
    /// fitted factor and by its bounds, from where the first size is best explained with each, at moments from its first
    /// to its last size. What is not known is not-a-number.
    ///
    /// # Errors
    /// Refuses another name.
    pub fn table(&self, name: &str) -> Result<Table> {
        match name {
            "cracks" => Ok(self.each_crack()),
            "sizes" => Ok(self.each_size()),
            "curves" => Ok(self.curves()),
            _ => {
                Err(Error::argument("name", name, "must be a table", &format!("there are {}", Self::TABLES.join(", "))))
            }
        }
    }

    fn each_crack(&self) -> Table {
        let own = self.own_factors();
        let text = |of: fn(&OwnFactor) -> &str| Column::Text(own.iter().map(|one| of(one).to_owned()).collect());
        let number = |of: fn(&OwnFactor) -> f64| Column::Number(own.iter().map(of).collect());
        Table {
            name: "cracks",
            columns: vec![
                ("crack", text(|one| &one.crack)),
                ("row", text(|one| &one.row)),
                ("hot_spot", text(|one| &one.hot_spot)),
                ("sizes", Column::Count(own.iter().map(|one| one.sizes as u64).collect())),
                ("starts", number(|one| one.starts)),
                ("factor", number(|one| one.factor.unwrap_or(f64::NAN))),
                ("low", number(|one| one.low.unwrap_or(f64::NAN))),
                ("high", number(|one| one.high.unwrap_or(f64::NAN))),
            ],
        }
    }

    fn each_size(&self) -> Table {
        let all = || self.cracks.iter().flat_map(|crack| crack.followed.sizes.iter().map(move |size| (crack, size)));
        let factor = self.drawn_factors()[1];
        let fitted = |(crack, size): (&Fitted, &super::crack::Size)| {
            let since = size.starts - crack.followed.sizes[0].starts;
            self.size_mm(crack, factor, since)
        };
        Table {
            name: "sizes",
            columns: vec![
                ("crack", Column::Text(all().map(|(crack, _)| crack.followed.name.clone()).collect())),
                ("line", Column::Count(all().map(|(_, size)| size.line as u64).collect())),
                ("kind", Column::Text(all().map(|(crack, _)| crack.followed.kind.words().to_owned()).collect())),
                ("starts", Column::Number(all().map(|(_, size)| size.starts).collect())),
                ("size_mm", Column::Number(all().map(|(_, size)| size.ln_size.exp()).collect())),
                ("sizing_sigma_log", Column::Number(all().map(|(_, size)| size.sigma).collect())),
                ("fitted_mm", Column::Number(all().map(fitted).collect())),
            ],
        }
    }

    fn curves(&self) -> Table {
        const MOMENTS: usize = 40;
        let factors = self.drawn_factors();
        let (mut names, mut columns): (Vec<String>, [Vec<f64>; 4]) = Default::default();
        for crack in &self.cracks {
            for moment in 0..MOMENTS {
                let since = crack.followed.span() * moment as f64 / (MOMENTS - 1) as f64;
                names.push(crack.followed.name.clone());
                columns[0].push(crack.followed.sizes[0].starts + since);
                for (column, factor) in columns[1..].iter_mut().zip(factors) {
                    column.push(self.size_mm(crack, factor, since));
                }
            }
        }
        let heads = ["starts", "low_mm", "fitted_mm", "high_mm"];
        let numbers = heads.into_iter().zip(columns.map(Column::Number));
        Table {
            name: "curves",
            columns: std::iter::once(("crack", Column::Text(names.into_iter().collect()))).chain(numbers).collect(),
        }
    }

    /// Lower bound, estimate and upper bound; not-a-number where there is none.
    fn drawn_factors(&self) -> [f64; 3] {
        let bounds = self.bounds(CONFIDENCE);
        let [low, high] = bounds.map_or([None; 2], |bounds| [bounds.low, bounds.high]);
        [low, self.factor(), high].map(|factor| factor.unwrap_or(f64::NAN))
    }

    /// Size of a crack of median growth after some starts, with the first size that explains its sizes best.
    fn size_mm(&self, crack: &Fitted, factor: f64, since: f64) -> f64 {
        let family = &self.families[crack.family];
        let rate = factor * family.shift.exp();
        if !rate.is_finite() {
            return f64::NAN;
        }
        let curve = &family.curve;
        let from = curve.starts_at(crack.followed.best_first(curve, rate));
        let ln_size = curve.ln_size_at(from + rate * since);
        if ln_size.is_finite() { ln_size.exp() } else { f64::NAN }
    }
}
