//! Trees of a book as the field of a new trial.

use super::request::RequestFile;
use crate::console::Failure;
use crate::pipeline::work::{Youngest, age, is_young};
use crate::pipeline::{Standing, from_ingest, places_set_aside};
use ::words::{say, text};
use ingest_seasons::{HeldBlock, HeldTree, StandingTree, TrialTree, held_blocks, standing_trees};
use model::TreeSeasons;
use records::{Book, Calendar, TrialDeclaration, counted, noun};
use std::collections::{BTreeMap, BTreeSet};
use trials::layout::{ExistingTree, Layout, LayoutFactor, LayoutRequest};

/// Ids of blocks that a message lists.
const SHOWN: usize = 12;

/// Fills the trees of the request's blocks in, with place, girth and the crop of the last season
/// that was harvested in these blocks.
///
/// Returns what was left out, in sentences.
///
/// # Errors
/// When the book has a trial of that id, a block is unknown, a tree is in a trial already, or the trees
/// of a block are too young for the intensities of the trial.
pub fn from_book(
    request: &mut LayoutRequest,
    file: &RequestFile,
    standing: &Standing,
) -> Result<Vec<String>, Failure> {
    let declared = standing.tables.book.trials.get(&request.trial);
    // A further site of a trial at several is drawn under its id.
    let is_further = |own: &TrialDeclaration| own.roles.site.is_some() && request.site.is_some();
    let is_of_sites = declared.is_some_and(is_further);
    let declared = declared.is_some();
    if !is_of_sites
        && (declared || standing.trial_trees.iter().any(|tree| tree.trial == request.trial))
    {
        let place = if declared { "declared in book.toml" } else { "in the trial table" };
        return Err(file.refused(
            "trial",
            None,
            &format!("trial '{}' is {place} already", request.trial),
            "give the new trial an id of its own; for a further season of that trial give its \
             layout.json instead of a request; for a further site of it write site = \"NAME\" into \
             the request of every site",
        ));
    }
    let held = held_blocks(&standing.tables).map_err(from_ingest)?;
    let blocks: BTreeSet<&str> = held.iter().map(|block| block.block.as_str()).collect();
    let mut all = standing_trees(&standing.tables).map_err(from_ingest)?;
    // Rows of trees in blocks that no region holds are set aside, and so would those of the trial be.
    all.retain(|tree| blocks.contains(tree.block.as_str()));
    let known: BTreeSet<&str> = all.iter().map(|tree| tree.block.as_str()).collect();
    if let Some((at, unknown)) =
        (0..).zip(&request.field.blocks).find(|(_, block)| !known.contains(block.as_str()))
    {
        return Err(file.refused(
            "field.blocks",
            Some(at),
            &format!("block '{unknown}' has no trees in the book"),
            unknown_hint(&known, standing),
        ));
    }
    let listed: BTreeSet<&str> =
        request.field.trees.iter().map(|tree| tree.tree.as_str()).collect();
    if request.field.blocks.is_empty() && listed.is_empty() {
        // Of a new field the book tells the calendar alone.
        if request.field.rows.is_some() {
            return Ok(Vec::new());
        }
        return Err(file.refused(
            "field",
            None,
            "no block of the book is named",
            "write [field] with blocks = [\"BLOCK\", ..], or with rows and columns for a new field",
        ));
    }
    let ids: BTreeSet<&str> = all.iter().map(|tree| tree.tree.as_str()).collect();
    let trees = request.field.trees.iter().map(|tree| tree.tree.as_str());
    if let Some((at, unknown)) = (0..).zip(trees).find(|(_, id)| !ids.contains(id)) {
        return Err(file.refused(
            "field.trees",
            Some(at),
            &format!("tree '{unknown}' is not in the tree table"),
            format!("correct the id, or add the tree to the book{}", set_aside(standing)),
        ));
    }
    let wanted = |tree: &&ingest_seasons::StandingTree| {
        if listed.is_empty() {
            request.field.blocks.contains(&tree.block)
        } else {
            listed.contains(tree.tree.as_str())
        }
    };
    let chosen: BTreeMap<&str, &ingest_seasons::StandingTree> =
        all.iter().filter(wanted).map(|tree| (tree.tree.as_str(), tree)).collect();
    let own = standing.trial_trees.iter().filter(|tree| chosen.contains_key(tree.tree.as_str()));
    let over = Over::of(&standing.tables.book, table_of(standing)?.as_ref(), &held);
    let (taken, freed): (Vec<_>, Vec<_>) = own.partition(|tree| !over.frees(tree));
    // A tree of two trials is one tree.
    let trees: BTreeSet<&str> = taken.iter().map(|tree| tree.tree.as_str()).collect();
    if let Some(first) = taken.first() {
        return Err(file.refused(
            if listed.is_empty() { "field.blocks" } else { "field.trees" },
            None,
            &format!(
                "{} {} in a trial already, first {} in trial {}",
                counted(trees.len() as u64, "tree", "trees"),
                noun(trees.len() as u64, "is", "are"),
                first.tree,
                first.trial
            ),
            "name other blocks or trees; the trees of a trial that is over are free once its section \
             names its harvests, seasons = [YEAR, ..], all before the one laid out for",
        ));
    }
    let (young, left_out) = too_young(request, file, standing, &held, &chosen)?;
    let (gone, stand): (Vec<&StandingTree>, Vec<_>) = chosen
        .values()
        .copied()
        .filter(|tree| !young.contains(tree.tree.as_str()))
        .partition(|tree| tree.is_gone());
    if let (Some(first), true) = (gone.first(), stand.is_empty()) {
        return Err(file.refused(
            if listed.is_empty() { "field.blocks" } else { "field.trees" },
            None,
            &format!(
                "none of {} stands any more, first {} ('{}')",
                counted(gone.len() as u64, "tree", "trees"),
                first.tree,
                first.status.as_deref().unwrap_or_default()
            ),
            "name other blocks or trees, or correct `status` in the tree table",
        ));
    }
    let crops = earlier_crops(standing, &stand.iter().map(|tree| tree.tree.as_str()).collect())?;
    let trees = stand.into_iter().map(|tree| ExistingTree {
        tree: tree.tree.clone(),
        block: tree.block.clone(),
        row: tree.row,
        column: tree.column,
        earlier_crop: crops.get(tree.tree.as_str()).copied(),
        girth_cm: tree.girth_cm,
    });
    request.field.trees = trees.collect();
    request.field.gone = gone.into_iter().map(|tree| tree.tree.clone()).collect();
    let left_out = left_out.into_iter().chain(were_in_trials(&freed));
    Ok(left_out.collect())
}

/// Which trials are over by the season that is laid out for, region by region.
pub struct Over<'a> {
    book: &'a Book,
    /// By block, the coming season of its region.
    coming: BTreeMap<&'a str, i16>,
    block_of: BTreeMap<&'a str, &'a str>,
}

impl<'a> Over<'a> {
    /// Of the blocks of a book.
    pub fn of(book: &'a Book, table: Option<&TreeSeasons>, held: &'a [HeldBlock]) -> Self {
        let seasons = held.iter().filter_map(|block| {
            Some((block.block.as_str(), coming_season(book, table, &block.region)?))
        });
        let trees = held.iter().flat_map(|block| {
            block.trees.iter().map(|tree| (tree.tree.as_str(), block.block.as_str()))
        });
        Self { book, coming: seasons.collect(), block_of: trees.collect() }
    }

    /// Whether the trial that a tree stands in is over, so that another may take it.
    pub fn frees(&self, tree: &TrialTree) -> bool {
        let declared = self.book.trials.get(&tree.trial);
        let season = self.block_of.get(tree.tree.as_str()).and_then(|own| self.coming.get(own));
        declared.zip(season).is_some_and(|(own, season)| own.is_over(i32::from(*season)))
    }
}

/// How many trees stood in which trial that is over.
fn were_in_trials(freed: &[&TrialTree]) -> Option<String> {
    let mut trials: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
    for tree in freed {
        trials.entry(&tree.trial).or_default().insert(&tree.tree);
    }
    let each = trials.iter().map(|(trial, trees)| {
        say!(
            "{} in trial {trial}",
            ::words::counted(trees.len() as u64, text!("tree"), text!("trees"))
        )
    });
    let each: Vec<String> = each.collect();
    (!each.is_empty()).then(|| {
        say!(
            "Trees to draw from that stood in a trial which is over: {}. What was done to them there may show for some seasons: whether they serve is yours to judge.",
            each.join(", ")
        )
    })
}

/// The season whose harvest a trial laid out now prunes for: of its region, the one after the last
/// recorded, unless the book sets it; `None` of a book that tells neither.
pub fn coming_season(book: &Book, table: Option<&TreeSeasons>, region: &str) -> Option<i16> {
    if let Some(season) = book.options.season {
        return Some(season);
    }
    let table = table?;
    let rows = || (0..table.season.len()).map(|row| (table.region.label(row), table.season[row]));
    let last = |own: Option<&str>| {
        rows().filter(|(region, _)| own.is_none_or(|own| own == *region)).map(|(_, s)| s).max()
    };
    let last = last(Some(region)).or_else(|| last(None));
    last.and_then(|last| i16::try_from(last + 1).ok())
}

/// The linked table of a book that has one.
fn table_of(standing: &Standing) -> Result<Option<TreeSeasons>, Failure> {
    let table = standing.tree_seasons.as_ref().map(TreeSeasons::from_batch).transpose();
    table.map_err(|error| Failure::new(error, "this is a defect of the program; please report it"))
}

/// The first harvest after the pruning of a layout, where its regions and their coming season are
/// known and alike.
///
/// # Errors
/// When the tables break their own promise.
pub fn first_harvest(layout: &Layout, standing: &Standing) -> Result<Option<i16>, Failure> {
    // The trees of a new field are years from their first cut.
    if layout.new_field.is_some() {
        return Ok(None);
    }
    let held = held_blocks(&standing.tables).map_err(from_ingest)?;
    let of_layout: BTreeSet<&str> = layout.plots.iter().map(|plot| plot.patch.as_str()).collect();
    let regions = held.iter().filter(|block| of_layout.contains(block.block.as_str()));
    let regions: BTreeSet<&str> = regions.map(|block| block.region.as_str()).collect();
    let table = table_of(standing)?;
    let mut seasons: BTreeSet<Option<i16>> = regions
        .into_iter()
        .map(|region| coming_season(&standing.tables.book, table.as_ref(), region))
        .collect();
    Ok(if seasons.len() == 1 { seasons.pop_first().flatten() } else { None })
}

/// What is to be known before a layout is used: that it stands in several regions, that trees are
/// younger than any that was cut so hard, and the work of pruning, by the book's working time and wage.
///
/// # Errors
/// When the tables break their own promise.
pub fn remarks(layout: &Layout, standing: &Standing) -> Result<Vec<String>, Failure> {
    let book = &standing.tables.book;
    let mut said = Vec::new();
    if layout.new_field.is_some() {
        return Ok(said);
    }
    let trees: BTreeSet<&str> = layout
        .plots
        .iter()
        .flat_map(|plot| plot.trees.iter().chain(&plot.border))
        .map(|tree| tree.tree.as_str())
        .collect();
    let held = held_blocks(&standing.tables).map_err(from_ingest)?;
    let own = |block: &HeldBlock| -> Vec<HeldTree> {
        block.trees.iter().filter(|tree| trees.contains(tree.tree.as_str())).cloned().collect()
    };
    let blocks: Vec<(&HeldBlock, Vec<HeldTree>)> =
        held.iter().map(|block| (block, own(block))).filter(|(_, own)| !own.is_empty()).collect();
    let regions: BTreeSet<&str> = blocks.iter().map(|(block, _)| block.region.as_str()).collect();
    if regions.len() > 1 {
        let names: Vec<&str> = regions.iter().map(|id| book.region_name(id)).collect();
        said.push(say!(
            "The trees stand in {} regions ({}): the analysis takes the trial as one and tells nothing of each region apart. A trial in each does.",
            regions.len(),
            names.join(", ")
        ));
    }
    said.extend(half_placed(layout));
    let intensity = layout.factors.iter().position(LayoutFactor::is_intensity);
    let Some(intensity) = intensity else { return Ok(said) };
    if let Some(table) = table_of(standing)? {
        let youngest = Youngest::of(&table);
        let hardest = hardest(layout, intensity);
        for (block, trees) in &blocks {
            let season = coming_season(book, Some(&table), &block.region);
            let least = youngest.at(&block.region, hardest);
            let Some((season, least)) = season.zip(least) else { continue };
            let untried = trees.iter().filter(|tree| {
                age(book, block, tree, i32::from(season))
                    .is_some_and(|age| age.floor() < least.floor())
            });
            let count = untried.count() as u64;
            if count > 0 {
                said.push(say!(
                    "Block {}: {} younger than the trees that the records of the region show cut about as hard as the trial's hardest level (from {} years on). Nobody knows what a hard cut does to these trees: watch them, and stop when in doubt.",
                    block.block,
                    ::words::counted(count, text!("tree"), text!("trees")),
                    least.floor()
                ));
            }
        }
    }
    said.extend(effort(layout, book, intensity, &regions));
    Ok(said)
}

/// Trees of which the book tells the row and not the place in it, block by block: the map would show them in an
/// order that nobody planted.
fn half_placed(layout: &Layout) -> Vec<String> {
    let mut blocks: BTreeMap<&str, u64> = BTreeMap::new();
    for tree in layout.plots.iter().flat_map(|plot| plot.trees.iter().chain(&plot.border)) {
        if tree.row.is_some() && tree.column.is_none() {
            *blocks.entry(&tree.block).or_default() += 1;
        }
    }
    let told = blocks.into_iter().map(|(block, trees)| {
        say!(
            "Block {block}: {} with a row and without a place in it. Plots and map take the trees as one chain in the order of their ids, which may not be how they stand. Name the heading that counts trees along a row, as in header = {{ \"Tree\" = \"column\" }} under [[files.trees]], and draw again before anything is cut.",
            ::words::counted(trees, text!("tree"), text!("trees"))
        )
    });
    told.collect()
}

/// The greatest part of the canopy that a level of a layout removes.
fn hardest(layout: &Layout, intensity: usize) -> f64 {
    let levels = layout.treatments.iter().filter_map(|own| own.levels.get(intensity)?.as_ref());
    levels.filter_map(|level| level.parse().ok()).fold(0.0, f64::max)
}

/// Hours and wages of pruning a layout once, where the book states its working time.
fn effort(
    layout: &Layout,
    book: &Book,
    intensity: usize,
    regions: &BTreeSet<&str>,
) -> Option<String> {
    let time = book.economics.pruning_time?;
    let (mut hours, mut cut) = (0.0, 0_u64);
    for plot in &layout.plots {
        let levels = &layout.treatments.get(plot.treatment)?.levels;
        let share: Option<f64> = levels.get(intensity)?.as_ref().and_then(|l| l.parse().ok());
        // A control beside the factorial may have no intensity.
        let Some(share) = share.filter(|share| *share > 0.0) else { continue };
        let trees = (plot.trees.len() + plot.border.len()) as u64;
        hours += trees as f64 * (time.minutes_per_tree + time.minutes_full_canopy * share) / 60.0;
        cut += trees;
    }
    let trees = ::words::counted(cut, text!("tree"), text!("trees"));
    let mut wages = regions.iter().map(|region| book.wage_per_hour(region));
    let wage = wages.next().filter(|first| wages.all(|wage| wage == *first));
    Some(match wage {
        Some(wage) => say!(
            "By the book's working time, pruning it once takes {hours:.1} hours for {trees} and {:.0} {} of wages.",
            hours * wage,
            book.economics.currency
        ),
        None => {
            say!("By the book's working time, pruning it once takes {hours:.1} hours for {trees}.")
        }
    })
}

/// Trees of a trial of intensities that are under the training age when it is pruned for the coming
/// harvest, and what is said of them. A block of such trees alone is refused.
fn too_young<'a>(
    request: &LayoutRequest,
    file: &RequestFile,
    standing: &Standing,
    held: &[HeldBlock],
    chosen: &BTreeMap<&'a str, &StandingTree>,
) -> Result<(BTreeSet<&'a str>, Vec<String>), Failure> {
    let (mut young, mut said) = (BTreeSet::new(), Vec::new());
    if !request.factors.iter().any(LayoutFactor::is_fraction) {
        return Ok((young, said));
    }
    let book = &standing.tables.book;
    let training = book.options.training_age_years;
    let table = table_of(standing)?;
    for block in held {
        let coming = coming_season(book, table.as_ref(), &block.region);
        let Some(season) = coming else { continue };
        let own = block
            .trees
            .iter()
            .filter_map(|tree| chosen.get_key_value(tree.tree.as_str()).map(|(id, _)| (*id, tree)));
        let (under, grown): (Vec<_>, Vec<_>) =
            own.partition(|(_, tree)| is_young(book, block, tree, i32::from(season)));
        let count = under.len() as u64;
        if count == 0 {
            continue;
        }
        if grown.is_empty() {
            let at = request.field.blocks.iter().position(|id| *id == block.block);
            return Err(file.refused(
                if at.is_some() { "field.blocks" } else { "field.trees" },
                at,
                &format!(
                    "{} of block '{}' {} under the training age of {training} years at harvest {season}: no tree so young is cut to an intensity",
                    counted(count, "tree", "trees"),
                    block.block,
                    noun(count, "is", "are")
                ),
                "name blocks of older trees; young trees are trained, as the work plan says",
            ));
        }
        young.extend(under.iter().map(|(id, _)| *id));
        said.push(say!(
            "Left out of block {}: {} under the training age of {training} years at harvest {season}.",
            block.block,
            ::words::counted(count, text!("tree"), text!("trees"))
        ));
    }
    Ok((young, said))
}

/// The regions that a layout stands in, by name, with their calendars: those of its blocks, or that
/// of a new field. Empty where one of them has none, since a date would then be missing.
///
/// # Errors
/// When the tables break their own promise.
pub fn regions(layout: &Layout, standing: &Standing) -> Result<Vec<(String, Calendar)>, Failure> {
    let held = held_blocks(&standing.tables).map_err(from_ingest)?;
    let of_block: BTreeMap<&str, &HeldBlock> =
        held.iter().map(|block| (block.block.as_str(), block)).collect();
    let stated = layout.new_field.as_ref().and_then(|field| field.region.as_deref());
    let of_plots =
        layout.plots.iter().filter_map(|plot| Some(of_block.get(&*plot.patch)?.region.as_str()));
    let ids: BTreeSet<&str> = of_plots.chain(stated).collect();
    let dated = ids.into_iter().map(|id| {
        let region = standing.tables.book.regions.get(id)?;
        Some((region.name.clone().unwrap_or_else(|| id.to_owned()), region.calendar()?))
    });
    Ok(dated.collect::<Option<_>>().unwrap_or_default())
}

/// What to do about a block without trees.
fn unknown_hint(known: &BTreeSet<&str>, standing: &Standing) -> String {
    let set_aside = set_aside(standing);
    if known.is_empty() {
        return format!("give the book blocks and trees that can be used{set_aside}");
    }
    let names: Vec<&str> = known.iter().take(SHOWN).copied().collect();
    let more = match known.len() - names.len() {
        0 => String::new(),
        left => format!(" and {}", counted(left as u64, "further block", "further blocks")),
    };
    let names = names.join(", ");
    format!("the book has trees in {names}{more}; ids must match letter by letter{set_aside}")
}

/// The first row of blocks and trees that was set aside, as a further part of a hint: a book of a
/// new plantation passes no `check` that would show it.
fn set_aside(standing: &Standing) -> String {
    let set_aside = places_set_aside(&standing.tables);
    set_aside.first().map_or_else(String::new, |first| {
        format!(
            "; {} of blocks and trees {} set aside, first {}:{}: {} ({})",
            counted(set_aside.len() as u64, "row", "rows"),
            noun(set_aside.len() as u64, "was", "were"),
            first.file,
            first.line,
            first.reason,
            first.remedy
        )
    })
}

/// Crop of each tree in the last season in which any of them was harvested.
fn earlier_crops(
    standing: &Standing,
    trees: &BTreeSet<&str>,
) -> Result<BTreeMap<String, f64>, Failure> {
    let Some(table) = table_of(standing)? else { return Ok(BTreeMap::new()) };
    let rows: Vec<usize> =
        (0..table.season.len()).filter(|&row| trees.contains(table.tree.label(row))).collect();
    let last = rows.iter().filter_map(|&row| table.season.get(row)).max();
    Ok(rows
        .iter()
        .filter(|&&row| table.season.get(row) == last)
        .filter_map(|&row| Some((table.tree.label(row).to_owned(), *table.yield_kg.get(row)?)))
        .collect())
}
