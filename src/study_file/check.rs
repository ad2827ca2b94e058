//! The whole study: its frame, money, scatter, costs, and what the parts must have in common.

use super::ids::Ids;
use super::reader::{Place, all};
use super::section::Section;
use super::window::Window;
use super::{fleet, given, growth, initiation, persistence, strategies, surface_treatment, techniques, uncertain};
use crate::bounds;
use crate::distribution::Distribution;
use crate::model::economics::{Costs, DayCost, Money, Payments, Season, Seasons, Terms};
use crate::model::limits::LossLimits;
use crate::model::{Scatter, StrategyId, Study, StudyParts};
use crate::text::is_formula;
use std::sync::Arc;

/// Reads a whole study.
pub(super) fn study(root: &Section) -> Option<Study> {
    let ids = Ids::of(root);
    let frame = root.table("study", |section| frame(section, &ids));
    let window = frame.as_ref().map(|frame| frame.window);
    let money = root.table("money", money);
    let scatter = root.table("scatter", scatter);
    let surfaces = root.tables("surfaces", "surface", fleet::surface);
    let initiation = root.tables("initiation", "initiation law", initiation::initiation);
    let growth = root.tables("growth", "growth law", growth::growth);
    let roots = root.tables("roots", "root", |section, id| fleet::root(section, id, &ids, &growth));
    let units = root.tables("units", "unit", |section, id| fleet::unit(section, id, window));
    let parts = fleet::Parts { units: &units, surfaces: &surfaces, roots: &roots, growth: &growth };
    let rows = root.tables("rows", "row", |section, id| fleet::row(section, id, &ids, &parts, window));
    let techniques =
        root.optional_tables("techniques", "technique", |section, id| techniques::technique(section, id, &ids));
    let persistence = persistence::read(root, &ids);
    let cleaning =
        root.optional_tables("cleaning", "cleaning", |section, id| surface_treatment::cleaning(section, id, &ids));
    let known =
        strategies::Known { ids: &ids, roots: &roots, units: &units, rows: &rows, techniques: &techniques, window };
    let strategies = root.tables("strategies", "strategy", |section, id| strategies::strategy(section, id, &known));
    let dresses = strategies.iter().flatten().find(|strategy| strategy.dressing.is_some());
    let costs = root.table("costs", |section| costs(section, dresses.map(|strategy| strategy.id.as_str())));
    let limits = root.optional("limits", |root, key| root.table(key, limits));
    let uncertain = uncertain::read(root, &initiation, &ids);
    // It is read last: it is held against all the others.
    root.optional("given", |root, key| root.table(key, |section| section.text("draws")));
    let frame = frame?;
    let mut parts = StudyParts {
        name: frame.name,
        start_year: frame.window.start,
        horizon_years: frame.horizon_years,
        baseline: StrategyId(frame.baseline),
        money: money?,
        scatter: scatter?,
        uncertain: uncertain?,
        surfaces: all(surfaces.into_iter())?,
        initiation: all(initiation.into_iter())?,
        growth: all(growth.into_iter())?,
        roots: all(roots.into_iter())?,
        units: all(units.into_iter())?,
        rows: all(rows.into_iter())?,
        techniques: all(techniques.into_iter())?,
        persistence: persistence?,
        cleaning: all(cleaning.into_iter())?,
        strategies: all(strategies.into_iter())?,
        costs: costs?,
        limits: limits?,
        posterior: None,
    };
    if root.has("given") {
        let posterior = root.table("given", |section| given::read(section, &parts));
        parts.posterior = Some(Arc::new(posterior?));
    }
    Some(Study::of_checked(parts))
}

fn limits(section: &Section) -> Option<LossLimits> {
    let chance = |key| section.optional(key, |section, key| section.number(key, bounds::LIMIT_PROBABILITY));
    let row = chance("row_loss_probability_per_year");
    let unit = chance("unit_loss_probability_per_year");
    let fleet = chance("fleet_loss_probability_per_year");
    let basis = section.basis();
    let (row, unit, fleet) = (row?, unit?, fleet?);
    if row.is_none() && unit.is_none() && fleet.is_none() {
        section.fault_here(
            "must hold at least one limit",
            "give row_loss_probability_per_year, unit_loss_probability_per_year or fleet_loss_probability_per_year",
        );
        return None;
    }
    Some(LossLimits { row, unit, fleet, basis: basis? })
}

struct Frame {
    name: String,
    window: Window,
    horizon_years: f64,
    baseline: usize,
}

fn frame(section: &Section, ids: &Ids) -> Option<Frame> {
    let name = section.text("name");
    let start = section.number("start_year", bounds::YEAR);
    let horizon_years = section.number("horizon_years", bounds::HORIZON_YEARS);
    let baseline = section.reference("baseline", "strategy", &ids.strategies);
    let (start, horizon_years) = (start?, horizon_years?);
    // A baseline that does not exist leaves the dates as good as they are; the study is refused anyway.
    let baseline = baseline.unwrap_or(usize::MAX);
    Some(Frame {
        name: name.unwrap_or_default(),
        window: Window { start, end: start + horizon_years },
        horizon_years,
        baseline,
    })
}

fn money(section: &Section) -> Option<Money> {
    let currency = section.text("currency").filter(|currency| {
        // It stands in tables that are opened in spreadsheets.
        let formula = is_formula(currency);
        if formula {
            section.fault(
                "currency",
                "begins like a formula of a spreadsheet",
                "begin with a letter or a sign of money",
            );
        }
        !formula
    });
    let discount_rate = section.number("discount_rate_per_year", bounds::DISCOUNT_RATE);
    let terms = section.choice("terms", &TERMS);
    let payments = section.choice("payments", &PAYMENTS);
    Some(Money { currency: currency?, discount_rate: discount_rate?, terms: terms?, payments: payments? })
}

/// Words of the study file for the terms of money.
pub(super) const TERMS: [(&str, Terms); 2] = [("real", Terms::Real), ("nominal", Terms::Nominal)];

/// Words of the study file for the moments of payments.
pub(super) const PAYMENTS: [(&str, Payments); 4] = [
    ("when-due", Payments::WhenDue),
    ("year-start", Payments::YearStart),
    ("year-middle", Payments::YearMiddle),
    ("year-end", Payments::YearEnd),
];

fn scatter(section: &Section) -> Option<Scatter> {
    let row_factor = row_factor(section);
    let blade_stress_sigma_log = section.number("blade_stress_sigma_log", bounds::STRESS_SIGMA_LOG);
    let basis = section.basis();
    Some(Scatter { row_factor: row_factor?, blade_stress_sigma_log: blade_stress_sigma_log?, basis: basis? })
}

/// A factor of mean 1: the part that all rows share belongs into the initiation law.
fn row_factor(section: &Section) -> Option<Distribution> {
    /// Largest distance from a mean of 1 that rounding may leave.
    const ROUNDING: f64 = 1e-9;
    let factor = section.distribution("row_factor", bounds::FACTOR)?;
    let good_kind =
        matches!(factor, Distribution::Fixed(_) | Distribution::Lognormal { .. } | Distribution::Gamma { .. });
    if !good_kind {
        section.fault("row_factor", "must be the number 1, a lognormal or a gamma distribution", "choose one of these");
        return None;
    }
    let mean = factor.mean();
    let good_mean = (mean - 1.0).abs() <= ROUNDING;
    if !good_mean {
        section.fault(
            "row_factor",
            format!("must have a mean of 1, not {mean}"),
            "give mean = 1, and put what all rows share into the initiation law",
        );
        return None;
    }
    Some(factor)
}

/// A number, or a list of seasons.
fn day_cost(section: &Section, key: &'static str) -> Option<DayCost> {
    let takes = format!("a number {}, or a list of seasons", bounds::COST);
    let place = section.get(key, takes)?;
    if !place.is_list() {
        return place.number(bounds::COST).map(DayCost::Same);
    }
    let season = |place: Place| {
        place.table(|section| {
            let (from_month, cost) = (section.whole("from_month", bounds::MONTH), section.number("cost", bounds::COST));
            Some(Season { from_month: from_month?, cost: cost? })
        })
    };
    section.accept(key, Seasons::new(place.each(season)?)).map(DayCost::Seasons)
}

/// `dresses` is a strategy that dresses blades, which then has its price.
fn costs(section: &Section, dresses: Option<&str>) -> Option<Costs> {
    let cost = |key| section.number(key, bounds::COST);
    let days = |key| section.number(key, bounds::DAYS);
    let (blades_out_cost, blades_out_days) = (cost("blades_out_cost"), days("blades_out_days"));
    let optional = |key, bound| section.optional(key, |section, key| section.number(key, bound));
    let (cost_per_blade, days_per_blade) =
        (optional("blades_out_cost_per_blade", bounds::COST), optional("blades_out_days_per_blade", bounds::DAYS));
    let (rotor_lift_cost, rotor_lift_days) =
        (optional("rotor_lift_cost", bounds::COST), optional("rotor_lift_days", bounds::DAYS));
    let (new_blade_cost, new_blade_days) = (cost("new_blade_cost"), days("new_blade_days"));
    let (dressing_cost, dressing_days) =
        (optional("dressing_cost", bounds::COST), optional("dressing_days", bounds::DAYS));
    let (new_row_cost, new_row_days) = (cost("new_row_cost"), days("new_row_days"));
    let loss_cost = section.consequence("loss_cost", bounds::COST);
    let loss_days = section.consequence("loss_days", bounds::DAYS);
    let outage_day_cost = day_cost(section, "outage_day_cost");
    for key in ["dressing_cost", "dressing_days"] {
        if let Some(strategy) = dresses.filter(|_| !section.has(key)) {
            let rule = format!("is missing, and strategies.{strategy} dresses blades");
            section.fault(key, rule, format!("add {key}: a number, of one blade"));
        }
    }
    let basis = section.basis();
    Some(Costs {
        blades_out_cost: blades_out_cost?,
        blades_out_days: blades_out_days?,
        blades_out_cost_per_blade: cost_per_blade?.unwrap_or(0.0),
        blades_out_days_per_blade: days_per_blade?.unwrap_or(0.0),
        rotor_lift_cost: rotor_lift_cost?.unwrap_or(0.0),
        rotor_lift_days: rotor_lift_days?.unwrap_or(0.0),
        new_blade_cost: new_blade_cost?,
        new_blade_days: new_blade_days?,
        dressing_cost: dressing_cost?,
        dressing_days: dressing_days?,
        new_row_cost: new_row_cost?,
        new_row_days: new_row_days?,
        loss_cost: loss_cost?,
        loss_days: loss_days?,
        outage_day_cost: outage_day_cost?,
        basis: basis?,
    })
}
