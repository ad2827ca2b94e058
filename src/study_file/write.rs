//! The text of a study file.

use super::limit as limits;
use super::{check, given, growth, hot_spot, loads, strategies, techniques};
use crate::distribution::Distribution;
use crate::model::Study;
use crate::model::detection::{PodCurve, Technique};
use crate::model::economics::{DayCost, Season};
use crate::model::fleet::{Consequences, HotSpot, Root, Row, Surface, Unit};
use crate::model::growth::{CrackShape, DiagramCurve, GrowthLaw, Limit, PlateauRate, Refinements, Threshold};
use crate::model::initiation::{InitiationLaw, InitiationShape};
use crate::model::strategy::{Agreement, EscalationScope, Look, Sample, SampleSize, Strategy, When, WhenWindowCloses};
use crate::model::surface_treatment::Cleaning;
use crate::model::usage::Clock;
use toml_edit::{Key, Value};

/// The text of a whole study; it reads back as the same study, to the last digit.
pub(super) fn study(study: &Study) -> String {
    let mut page = Page::default();
    page.header(&["study"]);
    page.entry("name", text(&study.name));
    page.entry("start_year", number(study.start_year));
    page.entry("horizon_years", number(study.horizon_years));
    page.entry("baseline", text(&study.strategy(study.baseline).id));
    page.header(&["money"]);
    page.entry("currency", text(&study.money.currency));
    page.entry("discount_rate_per_year", number(study.money.discount_rate));
    page.entry("terms", word(study.money.terms, &check::TERMS));
    page.entry("payments", word(study.money.payments, &check::PAYMENTS));
    page.header(&["scatter"]);
    page.entry("row_factor", distribution(&study.scatter.row_factor));
    page.entry("blade_stress_sigma_log", number(study.scatter.blade_stress_sigma_log));
    page.basis(&study.scatter.basis);
    for uncertain in &study.uncertain {
        page.header(&["uncertain", &uncertain.id]);
        page.entry("factor_on", list(uncertain.factor_on.iter().map(|input| text(&input.key(study)))));
        page.entry("sigma_log", number(uncertain.sigma_log));
        page.basis(&uncertain.basis);
    }
    for surface in &study.surfaces {
        page.header(&["surfaces", &surface.id]);
        page.entry("initiation_life_factor", number(surface.initiation_life_factor));
        if let Some(layer) = surface.layer {
            let layer = [
                ("compression_mpa", number(layer.compression_mpa)),
                ("depth_mm", number(layer.depth_mm)),
                ("faces", word(layer.faces, &loads::FACES)),
            ];
            page.entry("layer", table(&layer));
        }
        if let Some(probability) = surface.closed_mouth_probability {
            page.entry("closed_mouth_probability", number(probability));
        }
        page.basis(&surface.basis);
    }
    study.initiation.iter().for_each(|law| page.initiation(law));
    study.growth.iter().for_each(|law| page.growth(law));
    study.roots.iter().for_each(|root| page.root(root, study));
    study.units.iter().for_each(|unit| page.unit(unit));
    study.rows.iter().for_each(|row| page.row(row, study));
    study.techniques.iter().for_each(|technique| page.technique(technique, study));
    page.persistence(study);
    study.cleaning.iter().for_each(|cleaning| page.cleaning(cleaning, study));
    study.strategies.iter().for_each(|strategy| page.strategy(strategy, study));
    page.costs(study);
    if let Some(limits) = &study.limits {
        page.header(&["limits"]);
        for (key, limit) in [
            ("row_loss_probability_per_year", limits.row),
            ("unit_loss_probability_per_year", limits.unit),
            ("fleet_loss_probability_per_year", limits.fleet),
        ] {
            limit.iter().for_each(|limit| page.entry(key, number(*limit)));
        }
        page.basis(&limits.basis);
    }
    if let Some(posterior) = &study.posterior {
        page.header(&["given"]);
        page.entry("draws", text(&given::write(study, posterior)));
    }
    page.text
}

/// The text written so far.
#[derive(Default)]
struct Page {
    text: String,
}

impl Page {
    fn header(&mut self, path: &[&str]) {
        let gap = if self.text.is_empty() { "" } else { "\n" };
        let keys: Vec<String> = path.iter().map(|part| key(part)).collect();
        self.text.push_str(&format!("{gap}[{}]\n", keys.join(".")));
    }

    fn entry(&mut self, key: &str, value: String) {
        self.text.push_str(&format!("{key} = {value}\n"));
    }

    fn basis(&mut self, basis: &Option<String>) {
        if let Some(basis) = basis {
            self.entry("basis", text(basis));
        }
    }

    fn initiation(&mut self, law: &InitiationLaw) {
        self.header(&["initiation", &law.id]);
        let clock = if law.clock == Clock::STARTS {
            text("starts")
        } else if law.clock == Clock::HOURS {
            text("hours")
        } else {
            table(&[("per_start", number(law.clock.per_start)), ("per_hour", number(law.clock.per_hour))])
        };
        self.entry("clock", clock);
        let (kind, parameters) = match law.shape {
            InitiationShape::Weibull { shape, scale } => ("weibull", vec![("shape", shape), ("scale", scale)]),
            InitiationShape::Lognormal { median, sigma_log } => {
                ("lognormal", vec![("median", median), ("sigma_log", sigma_log)])
            }
            InitiationShape::Exponential { mean } => ("exponential", vec![("mean", mean)]),
        };
        self.entry("kind", text(kind));
        for (key, value) in parameters {
            self.entry(key, number(value));
        }
        self.entry("stress_exponent", number(law.stress_exponent));
        self.basis(&law.basis);
    }

    fn growth(&mut self, law: &GrowthLaw) {
        self.header(&["growth", &law.id]);
        self.entry("coefficient_m_per_start", number(law.coefficient_m_per_start));
        self.entry("exponent", number(law.exponent));
        self.entry("crack_sigma_log", number(law.crack_sigma_log));
        self.entry("row_sigma_log", number(law.row_sigma_log));
        self.refinements(&law.refinements);
        self.basis(&law.basis);
    }

    fn refinements(&mut self, refinements: &Refinements) {
        if let Some(low) = refinements.low_stage {
            let coefficient = number(low.coefficient_m_per_start());
            let stage = [("coefficient_m_per_start", coefficient), ("exponent", number(low.exponent()))];
            self.entry("low_stage", table(&stage));
        }
        let threshold = match &refinements.threshold {
            Threshold::None => None,
            Threshold::Constant(_) => {
                let range = number(refinements.threshold.at_mpa_sqrt_m(0.0));
                Some(table(&[("kind", text("constant")), ("range_mpa_sqrt_m", range)]))
            }
            Threshold::SteelInAir => Some(table(&[("kind", text("steel-in-air"))])),
            Threshold::BarsomRolfe => Some(table(&[("kind", text("barsom-rolfe"))])),
            Threshold::Table(of) => Some(table(&[
                ("kind", text("table")),
                ("points", pairs(of.points())),
                ("beyond_points", word(of.beyond(), &growth::BEYOND_POINTS)),
            ])),
        };
        if let Some(threshold) = threshold {
            self.entry("threshold", threshold);
        }
        if let Some(exponent) = refinements.walker_exponent {
            self.entry("walker_exponent", number(exponent));
        }
        if let Some(corrosion) = refinements.stress_corrosion {
            let plateau = match corrosion.plateau {
                PlateauRate::Stated { mm_per_year } => {
                    table(&[("kind", text("stated")), ("mm_per_year", number(mm_per_year))])
                }
                PlateauRate::RotorSteel { temperature_c, yield_mpa } => table(&[
                    ("kind", text("rotor-steel")),
                    ("temperature_c", number(temperature_c)),
                    ("yield_mpa", number(yield_mpa)),
                ]),
            };
            let corrosion = [
                ("threshold_mpa_sqrt_m", number(corrosion.threshold_mpa_sqrt_m)),
                ("plateau", plateau),
                ("crack_sigma_log", number(corrosion.crack_sigma_log)),
            ];
            self.entry("stress_corrosion", table(&corrosion));
        }
    }

    fn root(&mut self, root: &Root, study: &Study) {
        self.header(&["roots", &root.id]);
        if root.handling_damage_probability > 0.0 {
            self.entry("handling_damage_probability", number(root.handling_damage_probability));
        }
        if root.consequences != Consequences::default() {
            let about = &root.consequences;
            let mut entries = vec![
                ("row_wrecked_probability", number(about.row_wrecked_probability)),
                ("rotor_wrecked_probability", number(about.rotor_wrecked_probability)),
            ];
            if about.neighbours > 0 {
                let chance = number(about.neighbours_damaged_probability);
                entries.push(("neighbours_damaged_probability", chance));
                entries.push(("neighbours", about.neighbours.to_string()));
            }
            self.entry("consequences", table(&entries));
        }
        if root.replaced_together != 1 {
            self.entry("replaced_together", root.replaced_together.to_string());
        }
        self.basis(&root.basis);
        for spot in &root.hot_spots {
            self.header(&["roots", &root.id, "hot_spots", &spot.id]);
            self.hot_spot(spot, study);
        }
    }

    fn hot_spot(&mut self, spot: &HotSpot, study: &Study) {
        self.entry("serrations", list(spot.serrations.iter().map(u32::to_string)));
        self.entry("sides", list(spot.sides.iter().map(|side| word(*side, &hot_spot::SIDES))));
        self.entry("positions", spot.positions.to_string());
        self.entry("origins", spot.origins.to_string());
        if let Some(joining) = spot.joining {
            let joining = [
                ("rule", word(joining.rule, &loads::RULES)),
                ("spacing_mm", number(joining.spacing_mm)),
                ("placement", word(joining.placement, &loads::PLACEMENTS)),
            ];
            self.entry("joining", table(&joining));
        }
        self.entry("initiation", text(&study.initiation[spot.initiation].id));
        self.entry("growth", text(&study.growth[spot.growth].id));
        let stress = match &spot.stress_profile {
            Some(profile) => vec![("profile", pairs(profile.points()))],
            None => vec![
                ("membrane_mpa", number(spot.stress.membrane_mpa)),
                ("bending_mpa", number(spot.stress.bending_mpa)),
            ],
        };
        self.entry("stress", table(&stress));
        if spot.load_ratio != 0.0 {
            self.entry("load_ratio", number(spot.load_ratio));
        }
        if let Some(vibration) = spot.vibration {
            let [membrane_mpa, bending_mpa] = vibration.range_mpa();
            let vibration = [
                ("membrane_mpa", number(membrane_mpa)),
                ("bending_mpa", number(bending_mpa)),
                ("frequency_hz", number(vibration.frequency_hz())),
                ("above_threshold", word(vibration.runaway(), &loads::RUNAWAYS)),
            ];
            self.entry("vibration", table(&vibration));
        }
        if let Some(section) = spot.section {
            let section = [("thickness_mm", number(section.thickness_mm)), ("width_mm", number(section.width_mm))];
            self.entry("section", table(&section));
        }
        match spot.crack {
            CrackShape::FixedFactor { geometry_factor, length_over_depth } => self.entry(
                "crack",
                table(&[
                    ("kind", text("fixed-factor")),
                    ("geometry_factor", number(geometry_factor)),
                    ("length_over_depth", number(length_over_depth)),
                ]),
            ),
            CrackShape::SemiElliptical | CrackShape::QuarterElliptical => {
                let is_corner = spot.crack == CrackShape::QuarterElliptical;
                let kind = if is_corner { "quarter-elliptical" } else { "semi-elliptical" };
                self.entry("crack", table(&[("kind", text(kind))]));
                self.entry("initial_aspect", distribution(&spot.initial_aspect));
            }
        }
        self.entry("initial_depth_mm", distribution(&spot.initial_depth_mm));
        self.entry("limit", limit(&spot.limit));
        self.basis(&spot.basis);
    }

    fn unit(&mut self, unit: &Unit) {
        self.header(&["units", &unit.id]);
        let duty = unit.duty.iter().map(|period| {
            table(&[
                ("from_year", number(period.from_year)),
                ("starts_per_year", number(period.starts_per_year)),
                ("hours_per_year", number(period.hours_per_year)),
            ])
        });
        self.entry("duty", list(duty));
        if let Some(overspeed) = unit.overspeed {
            let every_starts = ("every_starts", number(overspeed.every_starts));
            self.entry("overspeed", table(&[every_starts, ("speed_ratio", number(overspeed.speed_ratio))]));
        }
        let years = list(unit.outages.years.iter().map(|year| number(*year)));
        self.entry("outages", table(&[("years", years), ("window_days", number(unit.outages.window_days))]));
        if let Some(crews) = unit.crews {
            self.entry("crews", crews.to_string());
        }
        self.basis(&unit.basis);
    }

    fn row(&mut self, row: &Row, study: &Study) {
        self.header(&["rows", &row.id]);
        self.entry("unit", text(&study.units[row.unit].id));
        self.entry("rotor", text(&row.rotor));
        self.entry("blades", row.blades.to_string());
        self.entry("root", text(&study.roots[row.root].id));
        self.entry("surface", text(&study.surfaces[row.surface].id));
        self.entry("in_service_year", number(row.in_service_year));
        if !row.renewed.is_empty() {
            let renewed = row.renewed.iter().map(|renewal| {
                let blades = list(renewal.blades.iter().map(u32::to_string));
                table(&[("year", number(renewal.year)), ("blades", blades)])
            });
            self.entry("renewed", list(renewed));
        }
        if !row.past_looks.is_empty() {
            let looks = row.past_looks.iter().map(|look| {
                let technique = text(&study.techniques[look.technique].id);
                let mut entries = vec![("year", number(look.year)), ("technique", technique)];
                if let Some(found) = &look.found {
                    entries.push(("found", found.blades.to_string()));
                    if !found.measured_lengths_mm.is_empty() {
                        entries
                            .push(("measured_lengths_mm", list(found.measured_lengths_mm.iter().copied().map(number))));
                    }
                }
                table(&entries)
            });
            self.entry("past_looks", list(looks));
        }
        self.basis(&row.basis);
    }

    fn technique(&mut self, technique: &Technique, study: &Study) {
        let sizing = &technique.sizing;
        self.header(&["techniques", &technique.id]);
        self.entry("access", word(technique.access, &techniques::ACCESS));
        self.entry("pod", pod_curve(&technique.pod));
        if let Some(gate) = technique.depth_gate {
            self.entry("depth_gate", table(&[("q50_mm", number(gate.q50_mm)), ("spread", number(gate.spread))]));
        }
        self.entry("grade", word(technique.grade, &techniques::GRADES));
        self.entry("grade_shift_log", number(technique.grade_shift_log));
        if let Some(shifts) = surface_shifts(technique, &study.surfaces) {
            self.entry("surface_shift_log", shifts);
        }
        if technique.closed_mouth_factor != 1.0 {
            self.entry("closed_mouth_factor", number(technique.closed_mouth_factor));
        }
        self.entry("inspection_sigma", number(technique.inspection_sigma));
        self.entry("crack_sigma", number(technique.crack_sigma));
        self.entry("false_call_probability", number(technique.false_call_probability));
        self.entry("false_call_length_mm", distribution(&technique.false_call_length_mm));
        let mut sizing =
            vec![("length_bias", number(sizing.length_bias)), ("length_sigma_log", number(sizing.length_sigma_log))];
        if let Some(depth) = &technique.depth_sizing {
            sizing.extend([("depth_bias", number(depth.bias)), ("depth_sigma_log", number(depth.sigma_log))]);
            self.entry("false_call_depth_mm", distribution(&depth.false_call_mm));
        }
        self.entry("sizing", table(&sizing));
        self.entry("cost_per_row", number(technique.cost_per_row));
        self.entry("cost_per_blade", number(technique.cost_per_blade));
        self.entry("days_per_row", number(technique.days_per_row));
        self.basis(&technique.basis);
    }

    fn persistence(&mut self, study: &Study) {
        for (one, line) in study.persistence.correlation.iter().enumerate() {
            for (other, correlation) in line.iter().enumerate().skip(one + 1).filter(|(_, value)| **value != 0.0) {
                let pair = [one, other].map(|index| text(&study.techniques[index].id));
                self.text.push_str("\n[[persistence]]\n");
                self.entry("techniques", list(pair.into_iter()));
                self.entry("correlation", number(*correlation));
            }
        }
    }

    fn cleaning(&mut self, cleaning: &Cleaning, study: &Study) {
        self.header(&["cleaning", &cleaning.id]);
        let factors = &cleaning.q50_factors;
        let factor = match factors[..] {
            [first, ..] if factors.iter().all(|factor| *factor == first) => number(first),
            _ => {
                let named = study.techniques.iter().zip(factors).filter(|(_, factor)| **factor != 1.0);
                let named: Vec<(String, String)> =
                    named.map(|(technique, factor)| (key(&technique.id), number(*factor))).collect();
                table(&named.iter().map(|(id, factor)| (id.as_str(), factor.clone())).collect::<Vec<_>>())
            }
        };
        self.entry("q50_factor", factor);
        for (key, value) in [
            ("closes_mouth_probability", cleaning.closes_mouth_probability),
            ("cost_per_row", cleaning.cost_per_row),
            ("cost_per_blade", cleaning.cost_per_blade),
            ("days_per_row", cleaning.days_per_row),
        ] {
            if value != 0.0 {
                self.entry(key, number(value));
            }
        }
        self.basis(&cleaning.basis);
    }

    fn strategy(&mut self, strategy: &Strategy, study: &Study) {
        self.header(&["strategies", &strategy.id]);
        self.entry("description", text(&strategy.description));
        if !strategy.looks.is_empty() {
            self.entry("looks", list(strategy.looks.iter().map(|look| self::look(look, study))));
        }
        let dispositions = strategy.dispositions.iter().map(|disposition| {
            let bounds =
                [("below_mm", disposition.below_mm), ("below_depth_mm", disposition.below_depth_mm)].into_iter();
            let stated = bounds.filter(|(_, bound)| bound.is_finite()).map(|(key, bound)| (key, number(bound)));
            let action = ("action", word(disposition.action, &strategies::ACTIONS));
            table(&stated.chain([action]).collect::<Vec<_>>())
        });
        self.entry("dispositions", list(dispositions));
        if let Some(dressing) = strategy.dressing {
            let dressing = [
                ("gone_probability", number(dressing.gone_probability)),
                ("life_factor", number(dressing.life_factor)),
                ("at_most_depth_mm", number(dressing.at_most_depth_mm)),
                ("blades_out", dressing.blades_out.to_string()),
            ];
            self.entry("dressing", table(&dressing));
        }
        if let Some(watch) = strategy.watch {
            let mut entries = vec![("technique", text(&study.techniques[watch.technique].id))];
            let stated = [
                ("cost_per_row", watch.cost_per_row),
                ("cost_per_blade", watch.cost_per_blade),
                ("days_per_row", watch.days_per_row),
            ];
            entries.extend(stated.into_iter().filter_map(|(key, value)| Some((key, number(value?)))));
            self.entry("watch", table(&entries));
        }
        if let Some(sisters) = &strategy.sister_rows {
            let names = list(sisters.techniques.iter().map(|index| text(&study.techniques[*index].id)));
            self.entry("sister_rows", table(&[("of", word(sisters.of, &strategies::SISTERS)), ("techniques", names)]));
        }
        if let Some(blades) = strategy.replace_row_from_blades {
            self.entry("replace_row_from_blades", blades.to_string());
        }
        let names = |techniques: &[usize]| list(techniques.iter().map(|index| text(&study.techniques[*index].id)));
        if let Some(look) = &strategy.extra_look {
            let entries = [
                ("after_years", number(look.after_years)),
                ("techniques", names(&look.techniques)),
                ("stop_cost", number(look.stop_cost)),
                ("stop_days", number(look.stop_days)),
            ];
            self.entry("extra_look", table(&entries));
        }
        self.entry("after_loss", word(strategy.after_loss, &strategies::AFTER_LOSS));
        if let Some(look) = &strategy.look_after_loss {
            let of = word(look.of, &strategies::LOOK_SCOPES);
            self.entry("look_after_loss", table(&[("of", of), ("techniques", names(&look.techniques))]));
        }
        if let Some(end) = strategy.row_end {
            let then = word(end.then, &strategies::ROW_ENDS);
            self.entry("row_end", table(&[("year", number(end.year)), ("then", then)]));
        }
        if !strategy.peening.is_empty() {
            let peening = strategy.peening.iter().map(|peening| {
                let mut entries = when(&peening.when);
                let rows = peening.rows.iter();
                entries.extend(rows.map(|rows| ("rows", list(rows.iter().map(|row| text(&study.rows[*row].id))))));
                entries.extend([
                    ("life_factor", number(peening.life_factor)),
                    ("cost_per_row", number(peening.cost_per_row)),
                    ("days_per_row", number(peening.days_per_row)),
                    ("blades_out", peening.blades_out.to_string()),
                ]);
                table(&entries)
            });
            self.entry("peening", list(peening));
        }
        let units = |units: &Option<Vec<usize>>| {
            let ids = units.as_ref()?.iter().map(|unit| text(&study.units[*unit].id));
            Some(("units", list(ids)))
        };
        if !strategy.deferrals.is_empty() {
            let deferrals = strategy.deferrals.iter().map(|deferral| {
                let mut entries =
                    vec![("outage", deferral.outage.to_string()), ("by_years", number(deferral.by_years))];
                entries.extend(units(&deferral.units));
                table(&entries)
            });
            self.entry("deferrals", list(deferrals));
        }
        if let Some(limit) = &strategy.starts_limit {
            let mut entries = vec![
                ("starts_per_year", number(limit.starts_per_year)),
                ("from_year", number(limit.from_year)),
                ("cost_per_year", number(limit.cost_per_year)),
            ];
            entries.extend(units(&limit.units));
            self.entry("starts_limit", table(&entries));
        }
        if !strategy.spares.is_empty() {
            let stocks = strategy.spares.iter().map(|stock| {
                let mut entries = vec![
                    ("blades", stock.blades.to_string()),
                    ("lead_days", number(stock.lead_days)),
                    ("without", word(stock.without, &strategies::WITHOUT_SPARE)),
                    ("cost_per_year", number(stock.cost_per_year)),
                ];
                let ids = |roots: &Vec<usize>| list(roots.iter().map(|root| text(&study.roots[*root].id)));
                entries.extend(stock.roots.iter().map(|roots| ("roots", ids(roots))));
                let used = stock.used_blades.map(|used| {
                    table(&[
                        ("blades", used.blades.to_string()),
                        ("life_factor", number(used.life_factor)),
                        ("cost_per_blade", number(used.cost_per_blade)),
                    ])
                });
                entries.extend(used.map(|used| ("used_blades", used)));
                table(&entries)
            });
            self.entry("spares", list(stocks));
        }
        if strategy.when_window_closes != WhenWindowCloses::Overrun {
            let when = word(strategy.when_window_closes, &strategies::WHEN_WINDOW_CLOSES);
            self.entry("when_window_closes", when);
        }
        self.basis(&strategy.basis);
    }

    fn costs(&mut self, study: &Study) {
        let costs = &study.costs;
        self.header(&["costs"]);
        self.entry("blades_out_cost", number(costs.blades_out_cost));
        self.entry("blades_out_days", number(costs.blades_out_days));
        self.entry("blades_out_cost_per_blade", number(costs.blades_out_cost_per_blade));
        self.entry("blades_out_days_per_blade", number(costs.blades_out_days_per_blade));
        self.entry("rotor_lift_cost", number(costs.rotor_lift_cost));
        self.entry("rotor_lift_days", number(costs.rotor_lift_days));
        self.entry("new_blade_cost", number(costs.new_blade_cost));
        self.entry("new_blade_days", number(costs.new_blade_days));
        let dressing = [("dressing_cost", costs.dressing_cost), ("dressing_days", costs.dressing_days)];
        for (key, price) in dressing.into_iter().filter_map(|(key, price)| Some((key, price?))) {
            self.entry(key, number(price));
        }
        self.entry("new_row_cost", number(costs.new_row_cost));
        self.entry("new_row_days", number(costs.new_row_days));
        self.entry("loss_cost", distribution(&costs.loss_cost));
        self.entry("loss_days", distribution(&costs.loss_days));
        self.entry("outage_day_cost", day_cost(&costs.outage_day_cost));
        self.basis(&costs.basis);
    }
}

fn day_cost(cost: &DayCost) -> String {
    let season =
        |season: &Season| table(&[("from_month", season.from_month.to_string()), ("cost", number(season.cost))]);
    match cost {
        DayCost::Same(cost) => number(*cost),
        DayCost::Seasons(seasons) => list(seasons.all().iter().map(season)),
    }
}

fn limit(limit: &Limit) -> String {
    let (kind, mut parameters) = match limit {
        Limit::Depth { depth_mm } => ("depth", vec![("depth_mm", number(*depth_mm))]),
        Limit::Toughness { toughness_mpa_sqrt_m } => {
            ("toughness", vec![("toughness_mpa_sqrt_m", distribution(toughness_mpa_sqrt_m))])
        }
        Limit::SectionFraction { fraction } => ("section-fraction", vec![("fraction", number(*fraction))]),
        Limit::Diagram(limit) => {
            let mut parameters = match limit.curve {
                DiagramCurve::Option1 { modulus_mpa } => {
                    vec![("curve", text("option-1")), ("modulus_mpa", number(modulus_mpa))]
                }
                DiagramCurve::Level2A => vec![("curve", text("level-2a"))],
            };
            parameters.extend([
                ("yield_mpa", number(limit.yield_mpa)),
                ("ultimate_mpa", number(limit.ultimate_mpa)),
                ("restraint", word(limit.restraint, &limits::RESTRAINTS)),
                ("toughness_mpa_sqrt_m", distribution(&limit.toughness_mpa_sqrt_m)),
            ]);
            ("assessment-diagram", parameters)
        }
    };
    parameters.insert(0, ("kind", text(kind)));
    table(&parameters)
}

fn when(when: &When) -> Vec<(&'static str, String)> {
    match when {
        When::Every { first_outage, every_outages } => {
            vec![("first_outage", first_outage.to_string()), ("every_outages", every_outages.to_string())]
        }
        When::Outages(numbers) => vec![("at_outages", list(numbers.iter().map(ToString::to_string)))],
        When::Years(years) => vec![("in_years", list(years.iter().map(|year| number(*year))))],
    }
}

fn look(look: &Look, study: &Study) -> String {
    let names = |indices: &[usize]| list(indices.iter().map(|index| text(&study.techniques[*index].id)));
    let mut entries = vec![("techniques", names(&look.techniques))];
    entries.extend(look.cleaning.map(|cleaning| ("cleaning", text(&study.cleaning[cleaning].id))));
    entries.extend(when(&look.when));
    if look.instead_of_others {
        entries.push(("instead_of_others", "true".to_owned()));
    }
    if look.agreement != Agreement::Any {
        entries.push(("agreement", word(look.agreement, &strategies::AGREEMENTS)));
    }
    let mut coverage = match look.coverage.blades {
        Sample::ByChance(chance) => vec![("blade_fraction", number(chance))],
        Sample::Number(size, choice) => {
            let size = match size {
                SampleSize::Blades(blades) => ("blades", blades.to_string()),
                SampleSize::Fraction(fraction) => ("blade_fraction", number(fraction)),
            };
            vec![size, ("chosen", word(choice, &strategies::CHOICES))]
        }
    };
    if let Some(hot_spots) = &look.coverage.hot_spots {
        coverage.push(("hot_spots", list(hot_spots.iter().map(|id| text(id)))));
    }
    if let Some(rows) = &look.coverage.rows {
        coverage.push(("rows", list(rows.iter().map(|row| text(&study.rows[*row].id)))));
    }
    entries.push(("coverage", table(&coverage)));
    if let Some(escalation) = &look.escalation {
        let stands = escalation.first_call_stands.to_string();
        let mut parts = vec![("techniques", names(&escalation.techniques)), ("first_call_stands", stands)];
        if escalation.of != EscalationScope::Row {
            parts.push(("of", word(escalation.of, &strategies::ESCALATION_SCOPES)));
        }
        if escalation.from_blades > 1 {
            parts.push(("from_blades", escalation.from_blades.to_string()));
        }
        entries.push(("escalation", table(&parts)));
    }
    if let Some(after) = look.after_finds {
        let for_outages = ("for_outages", after.for_outages.to_string());
        entries.push(("after_finds", table(&[("every_outages", after.every_outages.to_string()), for_outages])));
    }
    if let Some(after) = look.after_clean {
        let longer_by = ("longer_by", after.longer_by.to_string());
        let at_most = ("at_most", after.at_most.to_string());
        entries.push(("after_clean", table(&[("looks", after.looks.to_string()), longer_by, at_most])));
    }
    if let Some(looks) = look.skip_after_clean {
        entries.push(("skip_after_clean", looks.to_string()));
    }
    table(&entries)
}

fn distribution(distribution: &Distribution) -> String {
    let (kind, parameters) = match *distribution {
        Distribution::Fixed(value) => return number(value),
        Distribution::Normal { mean, sd } => ("normal", vec![("mean", mean), ("sd", sd)]),
        Distribution::Lognormal { median, sigma_log } => {
            ("lognormal", vec![("median", median), ("sigma_log", sigma_log)])
        }
        Distribution::Weibull { shape, scale } => ("weibull", vec![("shape", shape), ("scale", scale)]),
        Distribution::Gamma { mean, cov } => ("gamma", vec![("mean", mean), ("cov", cov)]),
        Distribution::Uniform { low, high } => ("uniform", vec![("low", low), ("high", high)]),
        Distribution::Triangular { low, mode, high } => {
            ("triangular", vec![("low", low), ("mode", mode), ("high", high)])
        }
        Distribution::Pareto { minimum, tail_exponent, capped_at } => {
            let mut parameters = vec![("minimum", minimum), ("tail_exponent", tail_exponent)];
            parameters.extend(capped_at.is_finite().then_some(("capped_at", capped_at)));
            ("pareto", parameters)
        }
        Distribution::Outcomes(ref outcomes) => {
            let numbers = |all: &[f64]| list(all.iter().map(|x| number(*x)));
            return table(&[
                ("kind", text("outcomes")),
                ("values", numbers(outcomes.values())),
                ("probabilities", numbers(outcomes.probabilities())),
            ]);
        }
    };
    let mut entries = vec![("kind", text(kind))];
    entries.extend(parameters.into_iter().map(|(key, value)| (key, number(value))));
    table(&entries)
}

/// What records can say of a technique: keys and values, none where a key is left out.
pub(super) fn detection(technique: &Technique, surfaces: &[Surface]) -> [(&'static str, Option<String>); 6] {
    [
        ("pod", Some(pod_curve(&technique.pod))),
        ("grade_shift_log", Some(number(technique.grade_shift_log))),
        ("surface_shift_log", surface_shifts(technique, surfaces)),
        ("inspection_sigma", Some(number(technique.inspection_sigma))),
        ("false_call_probability", Some(number(technique.false_call_probability))),
        ("basis", technique.basis.as_deref().map(text)),
    ]
}

fn pod_curve(pod: &PodCurve) -> String {
    table(&[
        ("size", word(pod.size, &techniques::SIZES)),
        ("shape", word(pod.shape, &techniques::SHAPES)),
        ("q50_mm", number(pod.q50_mm)),
        ("spread", number(pod.spread)),
        ("floor", number(pod.floor)),
        ("ceiling", number(pod.ceiling)),
    ])
}

/// Shifts other than 0 by surface, if there are any.
fn surface_shifts(technique: &Technique, surfaces: &[Surface]) -> Option<String> {
    let shifts = surfaces.iter().zip(&technique.surface_shift_log).filter(|(_, shift)| **shift != 0.0);
    let shifts: Vec<(String, String)> = shifts.map(|(surface, shift)| (key(&surface.id), number(*shift))).collect();
    let shifts: Vec<(&str, String)> = shifts.iter().map(|(id, shift)| (id.as_str(), shift.clone())).collect();
    (!shifts.is_empty()).then(|| table(&shifts))
}

/// A number with as many digits as it takes to read back the same one, and no `.0`.
fn number(x: f64) -> String {
    let written = format!("{x:?}");
    written.strip_suffix(".0").map_or(written.clone(), str::to_owned)
}

fn text(text: &str) -> String {
    Value::from(text).to_string()
}

fn key(key: &str) -> String {
    Key::new(key).to_string()
}

/// What the study file calls one of a closed set of things.
fn word<T: PartialEq>(thing: T, words: &[(&str, T)]) -> String {
    words.iter().find(|(_, known)| *known == thing).map_or_else(String::new, |(word, _)| text(word))
}

fn pairs(pairs: &[[f64; 2]]) -> String {
    list(pairs.iter().map(|pair| list(pair.iter().map(|x| number(*x)))))
}

fn list(elements: impl Iterator<Item = String>) -> String {
    format!("[{}]", elements.collect::<Vec<_>>().join(", "))
}

fn table(entries: &[(&str, String)]) -> String {
    let entries: Vec<String> = entries.iter().map(|(key, value)| format!("{key} = {value}")).collect();
    format!("{{ {} }}", entries.join(", "))
}
