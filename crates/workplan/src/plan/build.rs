//! From blocks with their advice to the plan.

use super::crews::{CrewSchedule, assign};
use crate::calendar::{Event, event};
use crate::crew_sheet::{Apart, CrewSheet, InTrial, SheetInput, Work};
use crate::economics::{Haul, WorkRate};
use crate::products::{Purchase, Quantity, Treated, shopping_list};
use crate::text::Catalogue;
use crate::tools::{self, CutRates, ToolKind, ToolNeed, large_cuts, needed};
use jiff::civil::Date;
use records::work::{CutWood, Product, SettingError, Treats, WorkSettings};
use std::collections::BTreeMap;
use words::text;

/// A block and what is advised for it.
#[derive(Debug, Clone, PartialEq)]
pub struct PlanBlock {
    /// Region id.
    pub region: String,
    /// Region, by its name for people.
    pub region_name: String,
    /// Site.
    pub site: String,
    /// Block.
    pub block: String,
    /// What is done.
    pub work: Work,
    /// Trees.
    pub trees: u64,
    /// Share of them pruned, 0 to 1; the intensity of `work` is that of a pruned tree.
    pub share_pruned: f64,
    /// First and last day allowed.
    pub window: Option<[Date; 2]>,
    /// The day of the window that is expected to be best.
    pub best_day: Option<Date>,
    /// Working time of a pruned tree.
    pub rate: Option<WorkRate>,
    /// Mean canopy volume of a tree, m3.
    pub canopy_m3: Option<f64>,
    /// Cuts by class, from the block's region.
    pub cut_rates: Option<CutRates>,
    /// Whether crowns are out of reach from the ground; say so when heights are not known.
    pub ladders: bool,
    /// Wage per hour.
    pub wage_per_hour: f64,
    /// Materials per pruned tree, money.
    pub materials_per_tree: f64,
    /// Money lost when the whole block is done a day later, expected; `None` where no record tells.
    pub delay_loss_per_day: Option<f64>,
    /// Money lost when the block is not done, expected.
    pub value: f64,
    /// Trees of the block that are none of `trees`, as designed trials treat them.
    pub in_trials: Vec<InTrial>,
    /// Trees of the block that are none of `trees`, trials aside.
    pub apart: Apart,
    /// `trees` by id, where they are not all of the block, trials aside.
    pub ids: Option<Vec<String>>,
    /// Age of the youngest tree on which the region's records show what is asked of grown trees, years,
    /// where all `trees` are younger.
    pub youngest_recorded: Option<f64>,
}

/// A block of the plan.
#[derive(Debug, Clone, PartialEq)]
pub struct PlannedBlock {
    /// Region id.
    pub region: String,
    /// Trees worked on.
    pub trees_worked: f64,
    /// Working minutes of one of them.
    pub minutes_per_tree: Option<f64>,
    /// Hours.
    pub hours: Option<f64>,
    /// Labour, materials and haulage, less the value of wood; money.
    pub cost: Option<f64>,
    /// Labour; money.
    pub wages: Option<f64>,
    /// Materials of pruned trees; money.
    pub materials: f64,
    /// Money lost when the whole block is done a day later, expected; `None` where no record tells.
    pub delay_loss_per_day: Option<f64>,
    /// Cuts expected by class.
    pub cuts: [Option<f64>; 4],
    /// Cut wood.
    pub haul: Option<Haul>,
    /// Everything the sheet shows.
    pub sheet: SheetInput,
}

impl PlannedBlock {
    /// The printable sheet.
    #[must_use]
    pub fn crew_sheet(&self, words: &Catalogue) -> CrewSheet {
        self.sheet.sheet(words)
    }

    /// The calendar entry, named by region, site and block.
    #[must_use]
    pub fn event(&self, words: &Catalogue) -> Option<Event> {
        let mut entry = event(&self.sheet, words)?;
        if let Some(region) = entry.id.first_mut() {
            region.clone_from(&self.region);
        }
        Some(entry)
    }
}

/// The plan.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// Blocks, in the order of the input.
    pub blocks: Vec<PlannedBlock>,
    /// Crews with work, the book's own first, then by site.
    pub crews: Vec<CrewSchedule>,
    /// What to buy.
    pub shopping: Vec<Purchase>,
    /// What could not be planned for want of a setting, each once.
    pub missing: Vec<SettingError>,
}

/// Builds the plan. What lacks a setting is left out and named in [`Plan::missing`]; nothing is made up.
#[must_use]
pub fn build(
    blocks: &[PlanBlock],
    settings: &WorkSettings,
    products: &BTreeMap<String, Product>,
    cut_wood: Option<&CutWood>,
    hours_per_day: f64,
) -> Plan {
    let mut missing = settings.check().err().unwrap_or_default();
    // Wood that cannot be right is left out rather than priced.
    let cut_wood = cut_wood.filter(|wood| match wood.check() {
        Ok(()) => true,
        Err(error) => {
            missing.push(error);
            false
        }
    });
    let mut planned: Vec<PlannedBlock> = blocks
        .iter()
        .map(|block| one(block, settings, products, cut_wood, hours_per_day, &mut missing))
        .collect();
    let crews = assign(blocks, &mut planned, settings, &mut missing);
    let quantities: Vec<Quantity> =
        planned.iter().flat_map(|block| block.sheet.quantities.iter().cloned()).collect();
    let mut seen = Vec::new();
    missing.retain(|error| {
        let new = !seen.contains(error);
        if new {
            seen.push(error.clone());
        }
        new
    });
    Plan { blocks: planned, crews, shopping: shopping_list(&quantities), missing }
}

fn one(
    block: &PlanBlock,
    settings: &WorkSettings,
    products: &BTreeMap<String, Product>,
    cut_wood: Option<&CutWood>,
    hours_per_day: f64,
    missing: &mut Vec<SettingError>,
) -> PlannedBlock {
    let trees = block.trees as f64;
    let mut sheet = SheetInput {
        block: block.block.clone(),
        site: block.site.clone(),
        region: block.region_name.clone(),
        work: block.work.clone(),
        trees: block.trees,
        trees_worked: block.trees,
        window: block.window,
        scheduled: None,
        left_undone: 0.0,
        person_days: None,
        crew_size: settings.crew(&block.site).map(|(_, crew)| crew.crew_size),
        tools: Vec::new(),
        stacked_m3: None,
        quantities: Vec::new(),
        ladders: block.ladders,
        in_trials: block.in_trials.clone(),
        apart: block.apart.clone(),
        ids: block.ids.clone(),
        youngest_recorded: block.youngest_recorded,
    };
    let intensity = sheet.instruction().map(|how_much| how_much.intensity);
    let trains = matches!(block.work, Work::Train { .. });
    let trees_worked = match intensity {
        None if trains => trees,
        None => 0.0,
        // Whole trees, as sheets and tables show them: hours, sprays and wood are those of as many.
        Some(intensity) if intensity > 0.0 => (trees * block.share_pruned.clamp(0.0, 1.0)).round(),
        Some(_) => 0.0,
    };
    sheet.trees_worked = trees_worked as u64;
    let minutes_per_tree = match intensity {
        None if !trains => None,
        None => settings.minutes_per_young_tree,
        Some(intensity) => block.rate.map(|rate| rate.minutes(intensity)),
    };
    let hours = minutes_per_tree.map(|minutes| trees_worked * minutes / 60.0);
    let cut = intensity.filter(|_| trees_worked > 0.0);
    // Cuts were counted on grown trees, and tell nothing of trees younger than any that was cut so.
    let counted = block.cut_rates.filter(|_| block.youngest_recorded.is_none());
    let cuts = cut
        .and_then(|intensity| counted.map(|rates| rates.expected(intensity, trees_worked)))
        .unwrap_or_default();
    if cut.is_some() || trains && trees_worked > 0.0 {
        sheet.tools = tools(settings, &cuts, sheet.crew_size);
    }
    if trains || block.youngest_recorded.is_some() {
        // Young shoots are thin: hand tools do.
        sheet.tools.retain(|need| need.kind == ToolKind::Hand);
    }
    let haul = cut.zip(block.canopy_m3).map(|(intensity, canopy)| {
        let wood = cut_wood.copied().unwrap_or_else(CutWood::as_it_stood);
        Haul::of(&wood, canopy * intensity * trees_worked)
    });
    sheet.stacked_m3 = haul.and_then(|haul| haul.stacked_m3);
    let stacked = "[economics.cut_wood] stacked_per_canopy";
    let is_told = missing.iter().any(|error| error.key == stacked);
    if haul.is_some() && sheet.stacked_m3.is_none() && !is_told {
        missing.push(SettingError::new(
            stacked,
            text!("no volume of cut wood: what 1 m3 of canopy removed makes when stacked is not stated"),
            text!("pile up what a few trees give, measure the pile, and give its m3 per m3 of canopy removed"),
        ));
    }
    for (name, product) in products {
        let treated = match product.treats {
            Treats::All => trees,
            Treats::Pruned if trains => 0.0,
            Treats::Pruned => trees_worked,
        };
        if treated > 0.0 {
            let whole = Treated { trees: treated, large_cuts: large_cuts(&cuts) };
            match Quantity::of(product, name, &whole) {
                Ok(quantity) => sheet.quantities.push(quantity),
                Err(error) => missing.push(error),
            }
        }
    }
    sheet.person_days = hours.filter(|hours| *hours > 0.0).map(|hours| hours / hours_per_day);
    let materials = if trains { 0.0 } else { trees_worked * block.materials_per_tree };
    let wood = haul.map_or(0.0, |haul| haul.cost - haul.value);
    let wages = hours.map(|hours| hours * block.wage_per_hour);
    PlannedBlock {
        region: block.region.clone(),
        trees_worked,
        minutes_per_tree,
        hours,
        cost: wages.map(|wages| wages + materials + wood),
        wages,
        materials,
        delay_loss_per_day: block.delay_loss_per_day,
        cuts,
        haul,
        sheet,
    }
}

fn tools(
    settings: &WorkSettings,
    cuts: &[Option<f64>; 4],
    crew_size: Option<f64>,
) -> Vec<ToolNeed> {
    needed(&tools::of(settings), cuts, crew_size.unwrap_or(1.0))
}
