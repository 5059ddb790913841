//! The fixed and random columns of the yield model, and why a term is left out.

mod covariates;
mod habit;
mod history;
mod source;
mod words;

use crate::curve::{
    self, BENDS, COLUMN_NAMES, COLUMNS, IntensityShape, Knots, LeadDegree, Profile,
};
use crate::table::{Labelled, TreeSeasons};
use ::words::say;
use std::collections::BTreeSet;

pub(crate) use covariates::{LEAST_AGE, REFERENCE_AGE, REFERENCE_GIRTH_CM};
pub use habit::HabitStatus;
pub use source::{Logarithm, Quantity, Source};
pub use words::term_in_words;

/// What the trees of a block share in one season.
pub(crate) const BLOCK_SEASON: &str = "block x season";
/// Most of these that have levels of their own (ours: a convention): each more costs every fit, and of so many none leads
/// an estimate astray.
const MOST_BLOCK_SEASONS: usize = 2000;

/// What a fixed column stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// Level of the first region.
    Intercept,
    /// Level of another region, by code, against the first.
    Region(u32),
    /// A shape of the pruning surface, by position.
    Shape(usize),
    /// A shape in one region alone: position and region code.
    RegionShape(usize, u32),
    /// Change of a shape with the logarithm of planting density, by position.
    ShapeByDensity(usize),
    /// Anything that shifts yields and is averaged over when curves are drawn.
    Nuisance,
    /// Difference of an intensity measured on another basis.
    Basis,
    /// Between-tree part of routine intensity in a region (habit), by region code.
    Habit(u32),
    /// How far the crop before lay from its expectation: alternate bearing, by region code.
    EarlierCrop(u32),
    /// Intensity of the season before: carry-over.
    CarryOver,
}

/// A fixed column with the declared constants it is accumulated with.
#[derive(Debug, Clone, PartialEq)]
pub struct Column {
    /// Unique name.
    pub name: String,
    /// One value per row.
    pub values: Vec<f64>,
    /// What it stands for.
    pub role: Role,
    /// How its values are computed.
    pub source: Source,
    /// Declared centre.
    pub centre: f64,
    /// Declared scale.
    pub scale: f64,
}

/// A random factor.
#[derive(Debug, Clone, PartialEq)]
pub struct Group {
    /// Unique name.
    pub name: String,
    /// Level of each row.
    pub codes: Vec<u32>,
    /// Labels of the levels.
    pub labels: Vec<String>,
    /// Shapes on which the levels differ; empty for a random intercept.
    pub slopes: Vec<usize>,
    /// Share of the level's effect that each row carries; empty when every row carries all of it.
    pub loading: Vec<f64>,
}

/// What the columns of a surface take from a region.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Regional {
    /// Effect at the reference lead, which timing modulates.
    pub profile: Profile,
    /// Knee of its plateau, fraction.
    pub knee: f64,
}

impl Regional {
    /// Before any fit: the family's first profile and the common knee, for a number of regions.
    #[must_use]
    pub fn first(family: IntensityShape, knots: Knots, regions: usize) -> Vec<Self> {
        vec![Self { profile: family.first_profile(), knee: knots.knee }; regions]
    }
}

/// The columns of a yield model for given rows.
#[derive(Debug, Clone, PartialEq)]
pub struct Design {
    /// Fixed columns, intercept first.
    pub columns: Vec<Column>,
    /// Random factors.
    pub groups: Vec<Group>,
    /// Shape columns by position; empty where not part of the model.
    pub shapes: [Vec<f64>; COLUMNS],
    /// What the columns take from each region, by region code.
    pub regional: Vec<Regional>,
    /// Family of the intensity curve.
    pub family: IntensityShape,
    /// Where the curve bends.
    pub knots: Knots,
    /// How the lead enters.
    pub lead_degree: LeadDegree,
    /// Logarithm of density against its mean, per row; empty when it does not vary.
    pub log_density: Vec<f64>,
    /// Cause-or-habit status of each region, by code.
    pub habit: Vec<HabitStatus>,
    /// Terms left out, in plain words.
    pub left_out: Vec<String>,
}

/// How regions differ in their curves.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RegionCurves {
    /// Each region's curve is drawn towards the common one.
    PartialPooling,
    /// Each region has its own curve, estimated from its own records alone.
    Separate,
}

impl Group {
    /// What a row carries of its level's effect.
    #[must_use]
    pub fn loading(&self, row: usize) -> f64 {
        self.loading.get(row).copied().unwrap_or(1.0)
    }
}

impl Design {
    /// Builds the columns for rows that carry a yield and are not young.
    #[must_use]
    pub fn new(
        table: &TreeSeasons,
        curves: RegionCurves,
        (family, knots): (IntensityShape, Knots),
    ) -> Self {
        let regional = Regional::first(family, knots, table.region.len());
        Self::with_regional(table, curves, (family, knots), regional)
    }

    /// As [`Design::new`], with profile and knee given by region code.
    #[must_use]
    pub fn with_regional(
        table: &TreeSeasons,
        curves: RegionCurves,
        (family, knots): (IntensityShape, Knots),
        regional: Vec<Regional>,
    ) -> Self {
        let lead_degree = lead_degree(table);
        let shapes = shape_columns(table, lead_degree, (family, knots), &regional);
        let mut design = Self {
            columns: vec![Column {
                name: "intercept".to_owned(),
                values: vec![1.0; table.len()],
                role: Role::Intercept,
                source: Source::One,
                centre: 0.0,
                scale: 1.0,
            }],
            groups: Vec::new(),
            shapes,
            regional,
            family,
            knots,
            lead_degree,
            log_density: Vec::new(),
            habit: Vec::new(),
            left_out: Vec::new(),
        };
        for (code, label) in (0_u32..).zip(&table.region.labels).skip(1) {
            let values = indicator(&table.region, code);
            let source = Source::Region(label.clone());
            design.push(format!("region {label}"), values, Role::Region(code), source);
        }
        design.add_shapes(table, curves);
        covariates::add(&mut design, table);
        habit::add(&mut design, table);
        design.add_groups(table, curves);
        design
    }

    /// Adds trunk girth, which says how strong a tree is; left out while it is tested whether
    /// strong trees were pruned harder, since it would answer in habit's place.
    pub fn add_girth(&mut self, table: &TreeSeasons) {
        covariates::add_girth(self, table);
    }

    /// Takes out columns that the rows cannot tell from earlier ones, with a note; what remains
    /// fits the same values.
    pub fn remove_columns(&mut self, names: &[String]) {
        self.columns.retain(|column| !names.contains(&column.name));
        self.left_out.extend(names.iter().map(|name| {
            let name = term_in_words(name);
            say!("no separate effect of {name}: the records cannot tell it from the other terms")
        }));
    }

    pub(crate) fn push(&mut self, name: String, values: Vec<f64>, role: Role, source: Source) {
        self.columns.push(Column { name, values, role, source, centre: 0.0, scale: 1.0 });
    }

    fn add_shapes(&mut self, table: &TreeSeasons, curves: RegionCurves) {
        let regions = table.region.len();
        let (family, lead_degree) = (self.family, self.lead_degree);
        for shape in (0..COLUMNS).filter(|&shape| lead_degree.includes(family, shape)) {
            if curves == RegionCurves::PartialPooling && BENDS.contains(&shape) && regions > 1 {
                continue;
            }
            let values = self.shapes[shape].clone();
            let name = COLUMN_NAMES[shape];
            // Only intensity itself gets separate curves: timing needs the regions together.
            if curves == RegionCurves::Separate && family.main().contains(&shape) && regions > 1 {
                for (code, label) in (0_u32..).zip(&table.region.labels) {
                    let own = mask(&values, &table.region, code);
                    let role = Role::RegionShape(shape, code);
                    self.push(format!("{name} in {label}"), own, role, Source::Given);
                }
            } else {
                self.push(name.to_owned(), values, Role::Shape(shape), Source::Shape(shape));
            }
        }
        if self.lead_degree == LeadDegree::None {
            self.left_out
                .push(say!("pruning dates do not vary enough within blocks to estimate timing"));
        }
    }

    fn add_groups(&mut self, table: &TreeSeasons, curves: RegionCurves) {
        let by_season = |place: &Labelled| {
            let season = |row: usize| table.season.get(row).copied().unwrap_or(0);
            let of = |row: usize| format!("{} {}", place.label(row), season(row));
            let labels: Vec<String> = (0..table.len()).map(of).collect();
            Labelled::from_values(labels.iter().map(String::as_str))
        };
        // What a block alone has in a season is shared by its trees: without it a few blocks pass for as many
        // witnesses as they have trees, of all that differs between them from season to season, age and dates
        // above all.
        let (site_season, block_season) = (by_season(&table.site), by_season(&table.block));
        let mut partitions: Vec<Vec<u32>> = vec![table.region.codes.clone()];
        for (name, column) in [
            ("tree", &table.tree),
            ("block", &table.block),
            ("site x season", &site_season),
            (BLOCK_SEASON, &block_season),
        ] {
            let canonical = canonical(&column.codes);
            let spoken = term_in_words(name);
            if name == BLOCK_SEASON && column.len() > MOST_BLOCK_SEASONS {
                self.left_out.push(say!(
                    "no spread between {spoken}: there are {} of them, more than {MOST_BLOCK_SEASONS}; in so many blocks what one has in a season averages out, though limits of dates and ages are somewhat too narrow",
                    column.len()
                ));
            } else if column.len() < 2 {
                self.left_out.push(say!("no spread between {spoken}: there is only one"));
            } else if column.len() == table.len() {
                self.left_out.push(say!(
                    "no spread between {spoken}: each has a single record, so it is part of the residual"
                ));
            } else if partitions.contains(&canonical) {
                self.left_out.push(say!(
                    "no spread between {spoken}: it divides the records exactly as a term already in the model"
                ));
            } else {
                partitions.push(canonical);
                self.groups.push(Group {
                    name: name.to_owned(),
                    codes: column.codes.clone(),
                    labels: column.labels.clone(),
                    slopes: Vec::new(),
                    loading: Vec::new(),
                });
            }
        }
        if curves == RegionCurves::PartialPooling && table.region.len() > 1 {
            self.groups.push(Group {
                name: "region".to_owned(),
                codes: table.region.codes.clone(),
                labels: table.region.labels.clone(),
                slopes: self
                    .family
                    .regional()
                    .iter()
                    .copied()
                    .filter(|&shape| self.lead_degree.includes(self.family, shape))
                    .collect(),
                loading: Vec::new(),
            });
        }
    }
}

/// Codes renumbered by first appearance, so that equal partitions compare equal.
fn canonical(codes: &[u32]) -> Vec<u32> {
    let mut seen = std::collections::BTreeMap::new();
    codes
        .iter()
        .map(|&code| {
            let next = seen.len() as u32;
            *seen.entry(code).or_insert(next)
        })
        .collect()
}

fn indicator(column: &Labelled, code: u32) -> Vec<f64> {
    column.codes.iter().map(|&c| f64::from(u8::from(c == code))).collect()
}

fn mask(values: &[f64], column: &Labelled, code: u32) -> Vec<f64> {
    values.iter().zip(&column.codes).map(|(v, &c)| if c == code { *v } else { 0.0 }).collect()
}

/// Least standard deviation of the leads about their block's mean, days, for dates to be told from blocks (ours: a
/// convention).
const LEAST_WITHIN_BLOCKS: f64 = 3.0;

/// Standard deviation of the leads about the mean of their block, days.
fn within_blocks(table: &TreeSeasons) -> f64 {
    let rows = || (0..table.len()).filter(|&row| table.lead_days[row].is_finite());
    let mut blocks: std::collections::BTreeMap<u32, (f64, f64)> = Default::default();
    for row in rows() {
        let own = blocks.entry(table.block.codes[row]).or_default();
        *own = (own.0 + table.lead_days[row], own.1 + 1.0);
    }
    let square = |row: usize| {
        let (sum, count) = blocks[&table.block.codes[row]];
        (table.lead_days[row] - sum / count).powi(2)
    };
    (rows().map(square).sum::<f64>() / (rows().count() as f64 - blocks.len() as f64)).sqrt()
}

/// How dates enter: blocks each of which was always cut on the same days do not tell what dates do from what the
/// blocks are.
fn lead_degree(table: &TreeSeasons) -> LeadDegree {
    // A single row a block has no deviation, and tells nothing.
    let within = within_blocks(table);
    if within.is_nan() || within < LEAST_WITHIN_BLOCKS {
        return LeadDegree::None;
    }
    let days: BTreeSet<i64> =
        table.lead_days.iter().filter(|lead| lead.is_finite()).map(|lead| *lead as i64).collect();
    let range = match (days.first(), days.last()) {
        (Some(first), Some(last)) => last - first,
        _ => 0,
    };
    match days.len() {
        _ if range < 7 => LeadDegree::None,
        0 | 1 => LeadDegree::None,
        2 => LeadDegree::Linear,
        _ => LeadDegree::Quadratic,
    }
}

fn shape_columns(
    table: &TreeSeasons,
    lead_degree: LeadDegree,
    (family, knots): (IntensityShape, Knots),
    regional: &[Regional],
) -> [Vec<f64>; COLUMNS] {
    let mut columns: [Vec<f64>; COLUMNS] = Default::default();
    for row in 0..table.len() {
        let lead = if lead_degree == LeadDegree::None { f64::NAN } else { table.lead_days[row] };
        let Regional { profile, knee } = regional[table.region.codes[row] as usize];
        let values = curve::shapes(table.intensity[row], lead, knots.with_knee(knee));
        for (place, column) in columns.iter_mut().enumerate() {
            if lead_degree.includes(family, place) {
                column.push(profile.column(place, &values));
            }
        }
    }
    columns
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two blocks, each cut within a few days of its own: their leads are theirs. Cut in turn, early and late, they tell.
    #[test]
    fn dates_of_blocks_are_no_dates_of_trees() {
        let of = |lead: &dyn Fn(usize) -> f64| {
            let block = Labelled::from_values((0..60).map(|row| ["a", "b"][row % 2]));
            let lead_days = (0..60).map(lead).collect();
            let season = vec![2026; 60];
            lead_degree(&TreeSeasons { block, lead_days, season, ..TreeSeasons::default() })
        };
        let own = |row: usize| [59.0, 51.0][row % 2] + (row % 3) as f64 - 1.0;
        assert_eq!(of(&own), LeadDegree::None);
        assert_eq!(of(&|row| own(row + row / 30)), LeadDegree::Quadratic);
    }

    #[test]
    fn equal_partitions_compare_equal() {
        assert_eq!(canonical(&[5, 2, 5, 9]), [0, 1, 0, 2]);
        assert_eq!(canonical(&[0, 1, 0, 2]), canonical(&[7, 3, 7, 1]));
    }
}
