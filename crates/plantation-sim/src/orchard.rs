//! Lays out the blocks and trees of a region.

use crate::dice::{Dice, log_sd};
use crate::{BlockRow, DesignedTrial, RegionPlan, TreeRow, Variety, age_factor, density_factor};
use jiff::civil::Date;
use records::trees_per_ha;

/// Trees in a row of a block.
pub(crate) const ROW_LENGTH: usize = 8;

/// A block as planned: nothing random.
pub(crate) struct PlannedBlock {
    pub(crate) site: usize,
    pub(crate) spacing_m: (f64, f64),
    pub(crate) variety: Variety,
    pub(crate) planted: Date,
    pub(crate) trees: usize,
    pub(crate) young: bool,
    /// Whether the region's trial lies in it.
    pub(crate) trial: bool,
    /// Whether its crew counts shoots.
    pub(crate) counts_shoots: bool,
}

impl PlannedBlock {
    /// Expected yield of an unpruned tree in a season, kg.
    pub(crate) fn expected_kg(&self, region: &RegionPlan, season: i16) -> f64 {
        let (row, tree) = self.spacing_m;
        region.base_kg
            * age_factor(self.age_years(region, season))
            * density_factor(trees_per_ha(row, tree))
            * self.variety.factor
    }

    /// Age at harvest opening, years.
    pub(crate) fn age_years(&self, region: &RegionPlan, season: i16) -> f64 {
        let opens = region.calendar.harvest_opens(season);
        let months = f64::from(opens.month() - self.planted.month());
        f64::from(opens.year() - self.planted.year()) + months / 12.0
    }
}

/// The i-th of a list taken in turn.
fn in_turn<T: Clone>(list: &[T], i: usize, otherwise: T) -> T {
    list.get(i % list.len().max(1)).cloned().unwrap_or(otherwise)
}

/// The blocks of a region, in order of id.
pub(crate) fn planned_blocks(region: &RegionPlan) -> Vec<PlannedBlock> {
    let count = region.sites * region.blocks_per_site;
    let planted_on = |year: i16| Date::new(year, 7, 1).unwrap_or(Date::MIN);
    let plain = Variety { name: "Clone A".to_owned(), factor: 1.0 };
    let block = |i: usize, site: usize| PlannedBlock {
        site,
        spacing_m: in_turn(&region.spacings_m, i, (8.0, 8.0)),
        variety: in_turn(&region.varieties, i, plain.clone()),
        planted: planted_on(in_turn(&region.planted, i, region.first_season - 12)),
        trees: region.trees_per_block,
        young: false,
        trial: region.trial.is_some()
            && site < region.trial_sites
            && i.is_multiple_of(region.blocks_per_site),
        counts_shoots: i + region.shoots_blocks >= count,
    };
    let mut blocks: Vec<_> =
        (0..count).map(|i| block(i, i / region.blocks_per_site.max(1))).collect();
    if let Some(year) = region.young_block {
        blocks.push(PlannedBlock {
            planted: planted_on(year),
            trees: region.trees_per_block / 2,
            young: true,
            trial: false,
            counts_shoots: false,
            ..block(count, 0)
        });
    }
    blocks
}

/// The block of each site of each designed trial, in the order of the plan; the trial's position
/// beside it.
pub(crate) fn designed_blocks(region: &RegionPlan) -> Vec<(usize, PlannedBlock)> {
    let plain = Variety { name: "Clone A".to_owned(), factor: 1.0 };
    let block = |site: usize, trees: usize| PlannedBlock {
        site,
        spacing_m: in_turn(&region.spacings_m, 0, (8.0, 8.0)),
        variety: in_turn(&region.varieties, 0, plain.clone()),
        planted: Date::new(in_turn(&region.planted, 0, region.first_season - 12), 7, 1)
            .unwrap_or(Date::MIN),
        trees,
        young: false,
        trial: false,
        counts_shoots: false,
    };
    let of = |(number, trial): (usize, &DesignedTrial)| {
        let trees = trial.replicates * trial.plots_per_replicate() * trial.trees_per_plot;
        (0..trial.sites).map(|site| (number, block(site, trees))).collect::<Vec<_>>()
    };
    region.designed.iter().enumerate().flat_map(of).collect()
}

/// Expected kg of an unpruned mature tree of the region in a season, averaged over its trees.
pub(crate) fn expected_unpruned_kg(region: &RegionPlan, season: i16) -> f64 {
    let blocks = planned_blocks(region);
    let designed = designed_blocks(region);
    let blocks = blocks.iter().chain(designed.iter().map(|(_, block)| block));
    let mature = blocks.filter(|block| !block.young);
    let (kg, trees) = mature.fold((0.0, 0.0), |(kg, trees), block| {
        let own = block.trees as f64;
        (kg + own * block.expected_kg(region, season), trees + own)
    });
    if trees > 0.0 { kg / trees } else { 0.0 }
}

/// The row of the block table.
pub(crate) fn block_row(region: &RegionPlan, number: usize, block: &PlannedBlock) -> BlockRow {
    let (row_m, tree_m) = block.spacing_m;
    let area = block.trees as f64 / trees_per_ha(row_m, tree_m);
    BlockRow {
        id: format!("{}{:02}", prefix(region), number + 1),
        site: format!("{} site {}", region.name, block.site + 1),
        region_id: region.id.clone(),
        row_spacing_m: row_m,
        tree_spacing_m: tree_m,
        variety: block.variety.name.clone(),
        planted: block.planted,
        training: if number.is_multiple_of(3) { "open_centre" } else { "modified_leader" },
        area_ha: (area * 100.0).round() / 100.0,
    }
}

/// Initials of a region's id, upper case.
fn prefix(region: &RegionPlan) -> String {
    region.id.split('_').filter_map(|word| word.chars().next()).collect::<String>().to_uppercase()
}

/// A tree's row with sizes that follow age and its own vigour.
pub(crate) fn tree_row(
    (region, block): (usize, usize),
    block_id: &str,
    position: usize,
    age_years: f64,
    vigour: f64,
    dice: &mut Dice,
) -> TreeRow {
    // Measuring and shape scatter about a size that follows the square root of yield.
    let grown = age_factor(age_years).sqrt() * (0.5 * vigour).exp();
    let mut size = |full: f64, cv: f64| full * grown * dice.unit_log_normal(log_sd(cv));
    TreeRow {
        id: format!("{block_id}-{:03}", position + 1),
        block,
        region,
        row: position / ROW_LENGTH + 1,
        column: position % ROW_LENGTH + 1,
        girth_cm: size(85.0, 0.08),
        height_m: size(5.2, 0.08),
        spread_ns_m: size(6.8, 0.10),
        spread_ew_m: size(6.8, 0.10),
    }
}
