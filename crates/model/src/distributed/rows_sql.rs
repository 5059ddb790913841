//! The query that computes a model's columns from linked tree-seasons.

use super::declared::{DeclareError, DeclaredModel};
use super::expression::{by_label, combination, is_number, number, part, text};
use crate::curve::{Knots, LEAD_UNIT_DAYS, REFERENCE_INTENSITY, REFERENCE_LEAD_DAYS, TIMING};
use crate::design::{
    BLOCK_SEASON, Design, Group, LEAST_AGE, Logarithm, Quantity, REFERENCE_AGE, REFERENCE_GIRTH_CM,
    Source,
};
use crate::scale::Scale;
use crate::table::Labelled;
use crate::yield_model::Prepared;
use std::collections::BTreeMap;

/// What the query is written from.
pub(super) struct Plan<'a> {
    pub prepared: &'a Prepared,
    pub design: &'a Design,
    /// Regions whose rows with an earlier crop carry a part of the tree's effect.
    pub classes: &'a [String],
}

/// Conditions on a row of `tree_seasons` that the sums count, besides rows read.
pub(super) struct Counts {
    pub apart: String,
    pub unweighed: String,
    pub zero_on_log: String,
    pub unknown_label: String,
}

/// How a factor's level is written, from columns of `tree_seasons`.
pub(super) fn level(factor: &str) -> &'static str {
    match factor {
        "tree" => "tree",
        "block" => "block",
        "region" => "region",
        BLOCK_SEASON => "block || ' ' || CAST(season AS VARCHAR(12))",
        _ => "site || ' ' || CAST(season AS VARCHAR(12))",
    }
}

impl Plan<'_> {
    /// The whole query.
    pub fn query(&self, model: &DeclaredModel) -> Result<String, DeclareError> {
        let mut parts = vec![
            part("r_used", &self.used(model)),
            part("r_units", &self.units()),
            part("r_curves", &self.curves()),
            part("r_shapes", &self.shapes()),
            part("r_habits", &self.habits()),
            part("r_wide", &self.wide()),
        ];
        let mut rows = "r_wide";
        if self.has_earlier_crop() {
            parts.extend(self.before()?);
            rows = "r_rows";
        }
        parts.push(part("r_columns", &self.columns(model, rows)?));
        Ok(format!(
            "-- Columns of the yield model, one row per tree and season, from the table tree_seasons (the\n\
             -- linked tree-seasons, Parquet of any number of parts). Save the result as the table model_rows.\n\
             WITH\n{}\n{}\n",
            parts.join(",\n"),
            self.turned(model)
        ))
    }

    /// 1 for a row that no yield model counts: under the training age, treated otherwise, or younger than any tree of
    /// its region that was cut; else 0.
    fn apart(&self) -> String {
        let uncut = self.prepared.rows.uncut.iter().map(|uncut| {
            format!(
                " OR (region = {} AND evidence <> 'trial' AND {} AND age_years + ({} - season) < {})",
                text(&uncut.region),
                is_number("age_years"),
                uncut.season,
                number(f64::from(uncut.from_years))
            )
        });
        let uncut: String = uncut.collect();
        format!("CASE WHEN young OR evidence = 'other'{uncut} THEN 1 ELSE 0 END")
    }

    /// Conditions that the sums count.
    pub fn counts(&self, model: &DeclaredModel) -> Counts {
        let weighed = format!("{} AND {}", is_number("yield_kg"), is_number("intensity"));
        let apart = self.apart();
        let old = format!("{apart} = 0");
        let zero = match model.scale {
            Scale::Log => format!("{old} AND {weighed} AND yield_kg <= 0e0"),
            Scale::SquareRoot | Scale::Identity => "1 = 0".to_owned(),
        };
        Counts {
            unweighed: format!("{old} AND CASE WHEN {weighed} THEN 0 ELSE 1 END = 1"),
            unknown_label: format!("{old} AND {weighed} AND NOT ({})", self.known_labels()),
            apart: format!("{apart} = 1"),
            zero_on_log: zero,
        }
    }

    fn known_labels(&self) -> String {
        let table = &self.prepared.table;
        let among = |column: &str, labels: &Labelled| {
            let labels: Vec<String> = labels.labels.iter().map(|label| text(label)).collect();
            format!("{column} IN ({})", labels.join(", "))
        };
        [
            among("region", &table.region),
            among("COALESCE(variety, '')", &table.variety),
            among("basis", &table.basis),
        ]
        .join(" AND ")
    }

    fn used(&self, model: &DeclaredModel) -> String {
        let response = match model.scale {
            Scale::Log => "LN(yield_kg)",
            Scale::SquareRoot => "SQRT(yield_kg)",
            Scale::Identity => "yield_kg",
        };
        let positive = if model.scale == Scale::Log { "\n  AND yield_kg > 0e0" } else { "" };
        let lead = format!(
            "CASE WHEN {} THEN (lead_days - {}) / {} ELSE 0e0 END",
            is_number("lead_days"),
            number(REFERENCE_LEAD_DAYS),
            number(LEAD_UNIT_DAYS)
        );
        let mut columns = String::new();
        for (quantity, log) in self.logarithms() {
            let (name, known, value) = logarithm(quantity);
            columns.push_str(&format!(
                ",\n  CASE WHEN {known} THEN {value} ELSE {} END - {} AS log_{name},\
                 \n  CASE WHEN {known} THEN 0e0 ELSE 1e0 END AS no_{name}",
                number(log.fill),
                number(log.centre)
            ));
        }
        format!(
            "SELECT region, site, block, tree, season, evidence, basis,\n  \
             COALESCE(variety, '') AS variety, intensity,\n  {response} AS y,\n  {lead} AS t_lead{columns}\n\
             FROM tree_seasons\nWHERE {} = 0\n  AND {} AND {}{positive}\n  AND {}",
            self.apart(),
            is_number("yield_kg"),
            is_number("intensity"),
            self.known_labels()
        )
    }

    /// Every logarithm that some column needs.
    fn logarithms(&self) -> BTreeMap<Quantity, Logarithm> {
        let columns = || self.design.columns.iter().chain(&self.prepared.girthed.0.columns);
        // Later ones take the place of earlier ones: a logarithm left out has no constants.
        let unknown = columns().filter_map(|column| match column.source {
            Source::Unknown(quantity) => Some(Logarithm { quantity, fill: 0.0, centre: 0.0 }),
            _ => None,
        });
        let known = columns().filter_map(|column| match column.source {
            Source::Log(log) | Source::LogSquared(log) | Source::ShapeByLog(_, log) => Some(log),
            _ => None,
        });
        unknown.chain(known).map(|log| (log.quantity, log)).collect()
    }

    fn units(&self) -> String {
        let regions = self.prepared.table.region.labels.iter();
        let knees: Vec<(String, String)> = regions
            .zip(&self.design.regional)
            .map(|(label, own)| (label.clone(), number(own.knee)))
            .collect();
        format!(
            "SELECT r_used.*, intensity / {} AS u,\n  intensity / ({}) AS x\nFROM r_used",
            number(REFERENCE_INTENSITY),
            by_label("region", &knees)
        )
    }

    fn curves(&self) -> String {
        let Knots { knots, .. } = self.design.knots;
        let bend = |knot: f64| {
            let from = number(knot / REFERENCE_INTENSITY);
            format!("CASE WHEN u > {from} THEN (u - {from}) * (u - {from}) ELSE 0e0 END")
        };
        format!(
            "SELECT r_units.*, u * (2e0 - u) AS c0, u * (u - 1e0) AS c1,\n  {} AS c2,\n  {} AS c3,\n  \
             CASE WHEN x < 1e0 THEN x * (2e0 - x) ELSE 1e0 END AS c4\nFROM r_units",
            bend(knots[0]),
            bend(knots[1])
        )
    }

    /// Timing of the final design (c5, c6) and of the one that the crop before is measured with.
    fn shapes(&self) -> String {
        let regions = self.prepared.table.region.labels.iter();
        let profiles: Vec<(String, String)> = regions
            .zip(&self.design.regional)
            .map(|(label, own)| {
                let parts = own.profile.parts();
                let names = ["c0", "c1", "c2", "c3", "c4"];
                (label.clone(), combination(parts.into_iter().zip(names)))
            })
            .collect();
        let effect = by_label("region", &profiles);
        format!(
            "SELECT r_curves.*,\n  ({effect}) * t_lead AS c5,\n  ({effect}) * t_lead * t_lead AS c6,\n  \
             c0 * t_lead AS g5, c0 * t_lead * t_lead AS g6\nFROM r_curves"
        )
    }

    /// Columns of the surface that habit is read from.
    fn habit_shapes(&self) -> Vec<usize> {
        let columns = self.design.columns.iter().chain(&self.prepared.girthed.0.columns);
        let mut shapes: Vec<usize> = columns
            .filter_map(|column| match column.source {
                Source::Habit { shape, .. } => Some(shape),
                _ => None,
            })
            .collect();
        shapes.sort_unstable();
        shapes.dedup();
        shapes
    }

    fn habits(&self) -> String {
        let means: String = self
            .habit_shapes()
            .iter()
            .map(|shape| format!(", SUM(c{shape}) / COUNT(*) AS h{shape}"))
            .collect();
        format!(
            "SELECT region AS h_region, tree AS h_tree{means}\nFROM r_shapes\nWHERE evidence <> 'trial'\nGROUP BY region, tree"
        )
    }

    fn wide(&self) -> String {
        let means: String = self.habit_shapes().iter().map(|k| format!(", h{k}")).collect();
        format!(
            "SELECT r_shapes.*{means}\nFROM r_shapes LEFT JOIN r_habits\n  ON h_region = region AND h_tree = tree"
        )
    }

    fn has_earlier_crop(&self) -> bool {
        let mut columns = self.design.columns.iter();
        columns.any(|column| matches!(column.source, Source::EarlierCrop(_)))
    }

    /// Deviations of each crop and, beside each row, that of the season before.
    fn before(&self) -> Result<Vec<String>, DeclareError> {
        let (design, fit) = &self.prepared.girthed;
        let mut terms = Vec::new();
        for (column, estimate) in design.columns.iter().zip(fit.estimates()) {
            if estimate.is_finite() {
                let value = expression(&column.source, &column.name, Timing::Before)?;
                terms.push(format!("{} * {value}", number(estimate)));
            }
        }
        let (mut parts, mut joins) = (Vec::new(), String::new());
        for (place, group) in design.groups.iter().enumerate().filter(|(_, g)| g.name != "tree") {
            let modes = fit.modes(&group.name)?;
            if group.slopes.is_empty() {
                let rows: Vec<String> = group
                    .labels
                    .iter()
                    .enumerate()
                    .map(|(code, label)| {
                        format!("({}, {})", text(label), number(modes.row(code)[0]))
                    })
                    .collect();
                parts.push(format!(
                    "r_modes{place}(m{place}_label, m{place}) AS (\n  VALUES {}\n)",
                    rows.join(", ")
                ));
                joins.push_str(&format!(
                    "\n  LEFT JOIN r_modes{place} ON m{place}_label = {}",
                    level(&group.name)
                ));
                terms.push(format!("COALESCE(m{place}, 0e0)"));
            } else {
                terms.push(slopes(group, |code, effect| modes.row(code)[effect]));
            }
        }
        parts.push(part(
            "r_left",
            &format!(
                "SELECT r_wide.*,\n  y - ({}) AS deviation\nFROM r_wide{joins}",
                terms.join("\n    + ")
            ),
        ));
        parts.push(part(
            "r_before",
            "SELECT tree AS b_tree, season + 1 AS b_season, deviation AS crop_before\nFROM r_left",
        ));
        parts.push(part(
            "r_rows",
            "SELECT r_left.*, crop_before\nFROM r_left LEFT JOIN r_before ON b_tree = tree AND b_season = season",
        ));
        Ok(parts)
    }

    fn columns(&self, model: &DeclaredModel, from: &str) -> Result<String, DeclareError> {
        let cases: Vec<(String, String)> = self
            .classes
            .iter()
            .enumerate()
            .map(|(place, region)| (region.clone(), format!("{}", place + 1)))
            .collect();
        let class = if cases.is_empty() {
            "0".to_owned()
        } else {
            let of_region = by_label("region", &cases);
            format!("CASE WHEN crop_before IS NULL THEN 0 ELSE COALESCE({of_region}, 0) END")
        };
        let mut lines =
            vec![format!("{} AS grp", level(&model.pooled)), format!("{class} AS load_class")];
        for (f, group) in self.design.groups.iter().enumerate() {
            if group.name != model.pooled {
                lines.push(format!("{} AS v{f}", level(&group.name)));
                for (e, &shape) in group.slopes.iter().enumerate() {
                    lines.push(format!("c{shape} AS z{f}_{e}"));
                }
            }
        }
        for (j, column) in self.design.columns.iter().enumerate() {
            let value = expression(&column.source, &column.name, Timing::Final)?;
            lines.push(format!("{value} AS x{j}"));
        }
        let [centre, scale] = model.response_units;
        lines.push(format!("(y - {}) / {} AS response", number(centre), number(scale)));
        Ok(format!("SELECT {}\nFROM {from}", lines.join(",\n  ")))
    }

    /// The columns turned so that their sums lose no digits.
    fn turned(&self, model: &DeclaredModel) -> String {
        let mut lines = vec!["grp".to_owned(), "load_class".to_owned()];
        let shares: Vec<String> = model
            .loadings
            .iter()
            .enumerate()
            .map(|(class, share)| format!(" WHEN {class} THEN {}", number(*share)))
            .collect();
        lines.push(format!("CASE load_class{} END AS load_share", shares.concat()));
        for (f, factor) in model.factors.iter().enumerate() {
            if factor.name != model.pooled {
                lines.push(format!("v{f}"));
                let slopes = if factor.independent { factor.effects.len() } else { 0 };
                lines.extend((0..slopes).map(|e| format!("z{f}_{e}")));
            }
        }
        let names: Vec<String> = (0..model.fixed.len()).map(|j| format!("x{j}")).collect();
        let sum = |values: &[f64]| {
            combination(values.iter().copied().zip(names.iter().map(String::as_str)))
        };
        for (j, column) in model.basis.columns.iter().enumerate() {
            lines.push(format!("{} AS w{j}", sum(column)));
        }
        lines.push(format!(
            "(response - ({})) / {} AS w{}",
            sum(&model.basis.start),
            number(model.basis.response_scale),
            model.fixed.len()
        ));
        format!("SELECT {}\nFROM r_columns", lines.join(",\n  "))
    }
}

/// A quantity's name, when it is known, and its logarithm.
fn logarithm(quantity: Quantity) -> (&'static str, String, String) {
    match quantity {
        Quantity::Age => {
            let least = number(LEAST_AGE);
            let age = format!("CASE WHEN age_years > {least} THEN age_years ELSE {least} END");
            ("age", is_number("age_years"), format!("LN(({age}) / {})", number(REFERENCE_AGE)))
        }
        Quantity::Girth => (
            "girth",
            format!("({} AND girth_cm > 0e0)", is_number("girth_cm")),
            format!("LN(girth_cm / {})", number(REFERENCE_GIRTH_CM)),
        ),
        Quantity::Density => (
            "density",
            format!("({} AND trees_per_ha > 0e0)", is_number("trees_per_ha")),
            "LN(trees_per_ha)".to_owned(),
        ),
    }
}

/// Names under which the query has the timing columns of a design.
#[derive(Debug, Clone, Copy)]
enum Timing {
    /// The final design.
    Final,
    /// The one that the crop before is measured with.
    Before,
}

/// A column of the surface.
fn shape(shape: usize, timing: Timing) -> String {
    match timing {
        Timing::Before if TIMING.contains(&shape) => format!("g{shape}"),
        Timing::Before | Timing::Final => format!("c{shape}"),
    }
}

/// Effects of a region's own curve.
fn slopes(group: &Group, mode: impl Fn(usize, usize) -> f64) -> String {
    let names: Vec<String> = group.slopes.iter().map(|&s| shape(s, Timing::Before)).collect();
    let by_region: Vec<(String, String)> = group
        .labels
        .iter()
        .enumerate()
        .map(|(code, label)| {
            let terms = names.iter().enumerate().map(|(e, name)| (mode(code, e), name.as_str()));
            (label.clone(), combination(terms))
        })
        .collect();
    format!("({})", by_label("region", &by_region))
}

/// A column from those of the query.
fn expression(source: &Source, name: &str, timing: Timing) -> Result<String, DeclareError> {
    let when =
        |condition: String, value: &str| format!("CASE WHEN {condition} THEN {value} ELSE 0e0 END");
    let log = |quantity: Quantity| format!("log_{}", logarithm(quantity).0);
    Ok(match source {
        Source::One => "1e0".to_owned(),
        Source::Region(label) => when(format!("region = {}", text(label)), "1e0"),
        Source::Variety(label) => when(format!("variety = {}", text(label)), "1e0"),
        Source::Basis(label) => when(format!("basis = {}", text(label)), "intensity"),
        Source::Shape(own) => shape(*own, timing),
        Source::ShapeByLog(own, by) => format!("{} * {}", shape(*own, timing), log(by.quantity)),
        Source::Log(own) => log(own.quantity),
        Source::LogSquared(own) => format!("{0} * {0}", log(own.quantity)),
        Source::Unknown(quantity) => format!("no_{}", logarithm(*quantity).0),
        Source::Habit { shape, region, centre } => when(
            format!("region = {} AND evidence <> 'trial'", text(region)),
            &format!("h{shape} - {}", number(*centre)),
        ),
        Source::EarlierCrop(region) => {
            when(format!("region = {} AND crop_before IS NOT NULL", text(region)), "crop_before")
        }
        Source::Given => return Err(DeclareError::NoRule(name.to_owned())),
    })
}
