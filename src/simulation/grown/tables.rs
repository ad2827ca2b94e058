//! Grown cracks as tables: a line for each crack, quantiles, looks in the window, ways.

use super::super::estimate::Estimate;
use super::super::tables::{Column, Table};
use super::{GrownCrack, GrownCracks, GrownRow, LostBefore};
use crate::error::{Error, Result};

/// Some number of a crack.
type OfCrack = fn(&GrownCrack) -> f64;

/// Quantiles that are shown.
const PROBABILITIES: [f64; 5] = [0.05, 0.1, 0.5, 0.9, 0.95];
/// Looks at every outage, every second, and so on up to this.
const MOST_OUTAGES: u32 = 4;
/// Ways in the table of ways, and moments of each.
const WAYS: usize = 200;
const MOMENTS: usize = 80;
/// Places in the table of places, and moments of each of their cracks.
const PLACES: usize = 50;
const PLACE_MOMENTS: usize = 40;

impl GrownCracks {
    /// Names of its tables.
    pub const TABLES: [&str; 6] = ["cracks", "quantiles", "rows", "looks", "ways", "places"];

    /// A table by name.
    ///
    /// `cracks` has a line for each crack, `quantiles` those of life, sizes and window, `rows` a line for the
    /// row and each other with its root that is asked about, `looks` the chances that one or two looks fall into the
    /// window, `ways` some cracks at many moments, and `places` some places crack by crack, where cracks join.
    ///
    /// # Errors
    /// Refuses another name.
    pub fn table(&self, name: &str) -> Result<Table> {
        match name {
            "cracks" => Ok(self.each_crack()),
            "quantiles" => Ok(self.quantiles()),
            "rows" => Ok(self.each_row()),
            "looks" => Ok(self.looks()),
            "ways" => self.some_ways(),
            "places" => self.some_places(),
            _ => {
                Err(Error::argument("name", name, "must be a table", &format!("there are {}", Self::TABLES.join(", "))))
            }
        }
    }

    fn each_crack(&self) -> Table {
        let column = |of: OfCrack| Column::Number(self.cracks.iter().map(of).collect());
        Table {
            name: "cracks",
            columns: vec![
                ("stress_factor", column(|crack| crack.stress_factor)),
                ("initial_depth_mm", column(|crack| crack.initial_depth_mm)),
                ("initial_length_mm", column(|crack| crack.initial_length_mm)),
                ("toughness_mpa_sqrt_m", column(|crack| crack.toughness_mpa_sqrt_m)),
                ("years_to_loss", column(|crack| crack.years_to_loss)),
                ("starts_to_loss", column(|crack| crack.starts_to_loss)),
                ("critical_depth_mm", column(|crack| crack.critical_depth_mm)),
                ("critical_length_mm", column(|crack| crack.critical_length_mm)),
                ("years_to_detectable", column(|crack| crack.years_to_detectable)),
                ("detectable_depth_mm", column(|crack| crack.detectable_depth_mm)),
                ("detectable_length_mm", column(|crack| crack.detectable_length_mm)),
                ("window_years", column(GrownCrack::window_years)),
            ],
        }
    }

    fn quantiles(&self) -> Table {
        let all: [(&str, &str, OfCrack); 8] = [
            ("years_to_loss", "years", |crack| crack.years_to_loss),
            ("starts_to_loss", "starts", |crack| crack.starts_to_loss),
            ("critical_depth_mm", "mm", |crack| crack.critical_depth_mm),
            ("critical_length_mm", "mm", |crack| crack.critical_length_mm),
            ("years_to_detectable", "years", |crack| crack.years_to_detectable),
            ("detectable_depth_mm", "mm", |crack| crack.detectable_depth_mm),
            ("detectable_length_mm", "mm", |crack| crack.detectable_length_mm),
            ("window_years", "years", GrownCrack::window_years),
        ];
        let asked = if self.question.technique.is_some() { &all[..] } else { &all[..4] };
        let lines: Vec<_> = asked
            .iter()
            .flat_map(|&(quantity, unit, of)| PROBABILITIES.map(|p| (quantity, unit, p, self.quantile(p, of))))
            .collect();
        let text = |of: fn(&(&str, &str, f64, Estimate)) -> String| Column::Text(lines.iter().map(of).collect());
        let number = |of: fn(&(&str, &str, f64, Estimate)) -> f64| Column::Number(lines.iter().map(of).collect());
        Table {
            name: "quantiles",
            columns: vec![
                ("quantity", text(|line| line.0.to_owned())),
                ("unit", text(|line| line.1.to_owned())),
                ("probability", number(|line| line.2)),
                ("value", number(|line| line.3.value)),
                ("low", number(|line| line.3.low)),
                ("high", number(|line| line.3.high)),
            ],
        }
    }

    /// Not-a-number for an outage that the study does not have.
    fn each_row(&self) -> Table {
        let number = |of: &dyn Fn(&GrownRow) -> f64| Column::Number(self.rows.iter().map(of).collect());
        let mut columns =
            vec![("row", Column::Text(self.rows.iter().map(|about| self.study.rows[about.row].id.clone()).collect()))];
        let lives = [
            ["years_to_loss_05", "years_to_loss_05_low", "years_to_loss_05_high"],
            ["years_to_loss_50", "years_to_loss_50_low", "years_to_loss_50_high"],
        ];
        for (index, [value, low, high]) in lives.into_iter().enumerate() {
            columns.push((value, number(&|row| row.years_to_loss[index].value)));
            columns.push((low, number(&|row| row.years_to_loss[index].low)));
            columns.push((high, number(&|row| row.years_to_loss[index].high)));
        }
        columns.push(("p_past_limit", number(&|row| row.p_past_limit)));
        let outages = [
            ["next_outage", "p_lost_before_next", "p_lost_before_next_low", "p_lost_before_next_high"],
            ["second_outage", "p_lost_before_second", "p_lost_before_second_low", "p_lost_before_second_high"],
        ];
        for (index, [year, value, low, high]) in outages.into_iter().enumerate() {
            let of = |of: fn(&LostBefore) -> f64| {
                number(&move |row: &GrownRow| row.before_outages.get(index).map_or(f64::NAN, of))
            };
            columns.push((year, of(|before| before.year)));
            columns.push((value, of(|before| before.chance.value)));
            columns.push((low, of(|before| before.chance.low)));
            columns.push((high, of(|before| before.chance.high)));
        }
        Table { name: "rows", columns }
    }

    fn looks(&self) -> Table {
        let mut columns: [Vec<f64>; 6] = Default::default();
        let between = self.mean_years_between_outages();
        if self.question.technique.is_some() && between > 0.0 {
            for outages in 1..=MOST_OUTAGES {
                for at_least in [1, 2] {
                    let years = f64::from(outages) * between;
                    let chance = self.p_looks(at_least, years);
                    let line = [f64::from(outages), years, f64::from(at_least), chance.value, chance.low, chance.high];
                    columns.iter_mut().zip(line).for_each(|(column, number)| column.push(number));
                }
            }
        }
        let names = ["every_outages", "interval_years", "looks_at_least", "value", "low", "high"];
        Table { name: "looks", columns: names.into_iter().zip(columns.map(Column::Number)).collect() }
    }

    fn some_ways(&self) -> Result<Table> {
        let ways = self.ways(WAYS, MOMENTS)?;
        let number = |of: fn(&super::GrownWay) -> &[f64]| Column::Number(ways.iter().flat_map(of).copied().collect());
        let numbers = ways.iter().enumerate().flat_map(|(index, way)| vec![index as u64; way.years.len()]);
        Ok(Table {
            name: "ways",
            columns: vec![
                ("crack", Column::Count(numbers.collect())),
                ("years", number(|way| &way.years)),
                ("starts", number(|way| &way.starts)),
                ("depth_mm", number(|way| &way.depth_mm)),
                ("length_mm", number(|way| &way.length_mm)),
                ("deepest_mpa_sqrt_m", number(|way| &way.deepest_mpa_sqrt_m)),
                ("surface_mpa_sqrt_m", number(|way| &way.surface_mpa_sqrt_m)),
            ],
        })
    }

    fn some_places(&self) -> Result<Table> {
        let places = self.places(PLACES, PLACE_MOMENTS)?;
        let mut numbers: [Vec<u64>; 2] = Default::default();
        let mut sizes: [Vec<f64>; 4] = Default::default();
        let mut ends = Vec::new();
        for (place, cracks) in places.iter().enumerate() {
            for (crack, about) in cracks.iter().enumerate() {
                let end = match (about.joins, about.is_lost) {
                    (true, _) => "joins",
                    (false, true) => "lost",
                    (false, false) => "remains",
                };
                for (moment, &years) in about.years.iter().enumerate() {
                    let line = [years, about.position_mm, about.depth_mm[moment], about.length_mm[moment]];
                    sizes.iter_mut().zip(line).for_each(|(column, number)| column.push(number));
                    numbers.iter_mut().zip([place, crack]).for_each(|(column, number)| column.push(number as u64));
                    ends.push(end.to_owned());
                }
            }
        }
        let counts = ["place", "crack"].into_iter().zip(numbers.map(Column::Count));
        let names = ["years", "position_mm", "depth_mm", "length_mm"];
        let sizes = names.into_iter().zip(sizes.map(Column::Number));
        let ends = std::iter::once(("end", Column::Text(ends.into_iter().collect())));
        Ok(Table { name: "places", columns: counts.chain(sizes).chain(ends).collect() })
    }
}
