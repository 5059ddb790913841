//! The review computed: every part that the records allow, and why the others are missing.

use super::columns::Columns;
use super::store::Record;
use crate::console::Failure;
use crate::pipeline::Checked;
use crate::pipeline::advice::Decided;
use records::Book;
use review::{
    Appended, Bearing, BearingTrees, GroupReview, Grouping, Labels, Places, PlanKept, Planned,
    Pruned, RankSettings, Ranking, ReviewError, Scale, ScoreRecord, ScoreRow, SeasonReview,
    Tolerance, Treated, TreeSeasons, Unscored, Watch, WatchSettings, bearing, plan_kept, rank,
    watch,
};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// What is to be reviewed.
#[derive(Debug, Clone, Copy)]
pub struct Wanted {
    /// Season to review; the last of each region when `None`.
    pub season: Option<i32>,
    /// Seed of the ranking's draws.
    pub seed: u64,
}

/// A block in which the crew chose which trees to prune.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ChosenByCrew {
    /// Region.
    pub region: String,
    /// Block.
    pub block: String,
    /// Trees to be pruned.
    pub planned_trees: u64,
    /// Fraction of the canopy to be removed from each.
    pub planned_intensity: f64,
    /// Trees pruned, of those harvested.
    pub pruned_trees: u64,
    /// Mean fraction removed from them; `None` without any.
    pub done_intensity: Option<f64>,
}

/// A block of the plan without a harvested tree on record, outside trials.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlannedUnseen {
    /// Region.
    pub region: String,
    /// Block, as the plan names it.
    pub block: String,
    /// Trees planned for.
    pub trees: u64,
}

/// A block with more harvested trees on record, outside trials, than the plan had.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GrownSince {
    /// Region.
    pub region: String,
    /// Block.
    pub block: String,
    /// Trees planned for.
    pub planned: u64,
    /// Harvested trees on record.
    pub harvested: u64,
}

/// Harvested trees of a season that are younger than any of their region that was cut.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TooYoung {
    /// Region.
    pub region: String,
    /// Trees.
    pub trees: u64,
    /// Their mean yield, kg per tree.
    pub mean_kg: f64,
}

/// What became of a plan.
struct PlanOf {
    kept: Option<PlanKept>,
    chosen: Vec<ChosenByCrew>,
    unseen: Vec<PlannedUnseen>,
    grown: Vec<GrownSince>,
}

/// Trees of a block with their places, for its map.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Standing {
    /// Block.
    pub block: String,
    /// Tree, row and position.
    pub trees: Vec<(String, u32, u32)>,
}

/// A reviewed season.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Reviewed {
    /// Season reviewed, by region.
    pub seasons: BTreeMap<String, i32>,
    /// Names of the regions, by id.
    pub names: BTreeMap<String, String>,
    /// Scale on which effects add.
    pub scale: Scale,
    /// Tree-seasons used.
    pub rows_used: usize,
    /// Tree-seasons left out for a yield without a value on the scale, or a missing intensity.
    pub rows_left_out: usize,
    /// Trees of the season too young to be compared, by region.
    pub too_young: Vec<TooYoung>,
    /// Regions without an earlier season.
    pub regions_without_earlier: Vec<String>,
    /// Terms that the records cannot tell.
    pub left_out: Vec<String>,
    /// Effect of the earlier crop by region.
    pub earlier_crop: Vec<review::EarlierCrop>,
    /// Parts by grouping.
    pub groups: BTreeMap<&'static str, Vec<GroupReview>>,
    /// Blocks beside the others of their region, on the scale; why there is none.
    pub ranking: Result<Ranking, String>,
    /// Mean yield of the ranked seasons, kg per tree: where deviations are turned into kg.
    pub mean_kg: f64,
    /// Alternate bearing by region and by block.
    pub bearing: [Vec<Bearing>; 2],
    /// Trees and records to look at.
    pub watch: Watch,
    /// Blocks with marked trees.
    pub standing: Vec<Standing>,
    /// The plan kept or not; `None` without kept advice for the season.
    pub plan: Option<PlanKept>,
    /// Blocks whose trees the crew chose.
    pub chosen_by_crew: Vec<ChosenByCrew>,
    /// Blocks of the plan without a harvested tree on record.
    pub planned_unseen: Vec<PlannedUnseen>,
    /// Blocks with more harvested trees on record than the plan had.
    pub grown_since: Vec<GrownSince>,
    /// Advice scored by this review.
    pub scored: Vec<ScoreRow>,
    /// Advice that could not be scored.
    pub unscored: Vec<Unscored>,
    /// The record with this review's scores, up to the season reviewed.
    pub record: ScoreRecord,
    /// The record with this review's scores, later ones too: what is kept.
    #[serde(skip)]
    pub all_scores: ScoreRecord,
    /// Scores of this review that the record holds with other numbers.
    pub conflicting: Vec<ScoreRow>,
    /// Level of intervals.
    pub level: f64,
}

/// Whether a season could be reviewed.
pub enum Judged {
    /// It could.
    Reviewed(Box<Reviewed>),
    /// It could not, and why.
    Impossible(String),
}

/// Reviews the last season of each region, or the one asked for.
///
/// # Errors
/// When a table breaks its contract; records that do not allow a review are no error.
pub fn review(
    checked: &Checked,
    decided: &Decided,
    record: &Record,
    wanted: Wanted,
) -> Result<Judged, Failure> {
    let columns = Columns::of(checked, decided)?;
    let table = columns.table();
    let mut seasons = table.last_seasons();
    if let Some(season) = wanted.season {
        seasons.retain(|region, _| {
            (0..table.len())
                .any(|row| table.season[row] == season && table.region.label(row) == region)
        });
        seasons.values_mut().for_each(|own| *own = season);
        if seasons.is_empty() {
            return Err(no_such_season(&table, season));
        }
    }
    let season = match SeasonReview::new(&table, &seasons, columns.scale) {
        Ok(season) => season,
        Err(error) => return Ok(Judged::Impossible(why(&error))),
    };
    let work = Work { checked, columns: &columns, table, season: &season, record };
    work.reviewed(wanted).map(|reviewed| Judged::Reviewed(Box::new(reviewed))).or_else(|error| {
        match error {
            ReviewError::Length { .. }
            | ReviewError::Code { .. }
            | ReviewError::PartsDoNotSum { .. } => {
                Err(Failure::new(error, "this is a defect of the program; please report it"))
            }
            other => Ok(Judged::Impossible(why(&other))),
        }
    })
}

fn why(error: &ReviewError) -> String {
    error.to_string()
}

fn no_such_season(table: &TreeSeasons<'_>, season: i32) -> Failure {
    let known: BTreeSet<i32> = table.season.iter().copied().collect();
    let known: Vec<String> = known.iter().map(i32::to_string).collect();
    Failure::new(
        format!("no harvest of season {season} is recorded"),
        format!("seasons with harvests: {}", known.join(", ")),
    )
}

/// What the parts of a review are made from.
struct Work<'a> {
    checked: &'a Checked,
    columns: &'a Columns,
    table: TreeSeasons<'a>,
    season: &'a SeasonReview,
    record: &'a Record,
}

impl Work<'_> {
    /// Trees of the season that are left out as too young.
    fn too_young(&self) -> Vec<TooYoung> {
        let table = &self.table;
        let of_region = |(region, season): (&String, &i32)| {
            let young = |row: &usize| table.too_young.is_some_and(|young| young[*row]);
            let own: Vec<f64> = (0..table.len())
                .filter(|&row| table.region.label(row) == region && table.season[row] == *season)
                .filter(young)
                .map(|row| table.yield_kg[row])
                .filter(|kg| kg.is_finite())
                .collect();
            (!own.is_empty()).then(|| TooYoung {
                region: region.clone(),
                trees: own.len() as u64,
                mean_kg: own.iter().sum::<f64>() / own.len() as f64,
            })
        };
        self.season.seasons.iter().filter_map(of_region).collect()
    }

    fn reviewed(&self, wanted: Wanted) -> Result<Reviewed, ReviewError> {
        let (season, table) = (self.season, &self.table);
        let book = &self.checked.tables.book;
        let mut groups = BTreeMap::new();
        for grouping in Grouping::ALL {
            groups.insert(grouping_name(grouping), season.groups(table, grouping)?);
        }
        let settings = RankSettings {
            level: book.options.level,
            seed: wanted.seed,
            ..RankSettings::default()
        };
        let (tree, region) = (Some(table.tree), Some(table.region));
        let ranking = rank(&season.adjusted, table.block, tree, region, &settings);
        let places = Places { row: &self.columns.places[0], column: &self.columns.places[1] };
        let watch = watch(season, table, Some(places), &WatchSettings::default())?;
        let plan = self.plan()?;
        let (scored, unscored) = self.scored()?;
        let mut all_scores = self.record.scores.clone();
        let Appended { conflicting, .. } = all_scores.append(scored.iter().cloned());
        let record = self.so_far(&all_scores);
        Ok(Reviewed {
            seasons: season.seasons.clone(),
            names: names(book),
            scale: season.scale,
            rows_used: season.rows_used,
            rows_left_out: season.rows_left_out,
            too_young: self.too_young(),
            regions_without_earlier: season.regions_without_earlier.clone(),
            left_out: season.left_out.clone(),
            earlier_crop: season.earlier_crop.clone(),
            groups,
            ranking: ranking.map_err(|error| error.to_string()),
            mean_kg: self.mean_kg(),
            bearing: [self.bearing(table.region)?, self.bearing(table.block)?],
            standing: self.standing(&watch),
            watch,
            plan: plan.kept,
            chosen_by_crew: plan.chosen,
            planned_unseen: plan.unseen,
            grown_since: plan.grown,
            scored,
            unscored,
            record,
            all_scores,
            conflicting,
            level: book.options.level,
        })
    }

    /// Scores up to the season reviewed in their region, or the last reviewed in any.
    fn so_far(&self, all: &ScoreRecord) -> ScoreRecord {
        let last = self.season.seasons.values().max();
        let is_known = |row: &&ScoreRow| {
            let own = self.season.seasons.get(&row.predicted.region).or(last);
            own.is_none_or(|own| row.predicted.season <= *own)
        };
        ScoreRecord { rows: all.rows.iter().filter(is_known).cloned().collect() }
    }

    /// Rows up to the season reviewed in their region.
    fn in_time(&self, row: usize) -> bool {
        let closed = self.season.seasons.get(self.table.region.label(row));
        closed.is_none_or(|closed| self.table.season[row] <= *closed)
    }

    /// Rows of the season reviewed in their region, or of the one before: a tree without a harvest in both may be dead.
    fn recent(&self, row: usize) -> bool {
        let closed = self.season.seasons.get(self.table.region.label(row));
        let season = self.table.season[row];
        closed.is_none_or(|closed| (closed - 1..=*closed).contains(&season))
    }

    /// Rows of the season reviewed in their region.
    fn closed(&self, row: usize) -> bool {
        let closed = self.season.seasons.get(self.table.region.label(row));
        closed.is_some_and(|closed| self.table.season[row] == *closed)
    }

    fn mean_kg(&self) -> f64 {
        let rows = (0..self.table.len()).filter(|&row| self.season.adjusted[row].is_finite());
        let (sum, count) = rows
            .fold((0.0, 0.0), |(sum, count), row| (sum + self.table.yield_kg[row], count + 1.0));
        sum / count
    }

    fn bearing(&self, group: Labels<'_>) -> Result<Vec<Bearing>, ReviewError> {
        let yields = (0..self.table.len())
            .map(|row| if self.in_time(row) { self.table.yield_kg[row] } else { f64::NAN });
        let yields: Vec<f64> = yields.collect();
        bearing(&BearingTrees {
            group,
            tree: self.table.tree,
            season: self.table.season,
            yield_kg: &yields,
        })
    }

    /// Trees with places of the blocks in which a tree is marked.
    fn standing(&self, watch: &Watch) -> Vec<Standing> {
        let marked = watch.poor.iter().map(|tree| &tree.place);
        let marked = marked.chain(watch.sudden.iter().map(|tree| &tree.place));
        let blocks: BTreeSet<&str> = marked.map(|place| place.block.as_str()).collect();
        let mut found: BTreeMap<&str, BTreeMap<usize, (u32, u32)>> = BTreeMap::new();
        for row in (0..self.table.len()).filter(|&row| self.recent(row)) {
            let (block, tree) = (self.table.block.label(row), self.table.tree.code(row));
            let [rows, columns] = &self.columns.places;
            if let (true, Some(at)) = (blocks.contains(block), rows[tree].zip(columns[tree])) {
                found.entry(block).or_default().insert(tree, at);
            }
        }
        found
            .into_iter()
            .map(|(block, trees)| Standing {
                block: block.to_owned(),
                trees: trees
                    .into_iter()
                    .filter_map(|(tree, (row, column))| {
                        Some((self.table.tree.labels.get(tree)?.clone(), row, column))
                    })
                    .collect(),
            })
            .collect()
    }

    /// The plan of the season held against what was done, aside from the trees that designed trials
    /// had in that season, as the plan leaves them out. Trees that the plan names are found wherever in their
    /// region they stand by now.
    fn plan(&self) -> Result<PlanOf, ReviewError> {
        let declared = &self.checked.tables.book.trials;
        let table = &self.table;
        let mut in_trial: BTreeSet<(&str, i32)> = BTreeSet::new();
        for tree in &self.checked.linked.trial_trees {
            let Some(trial) = declared.get(&tree.trial) else { continue };
            let seasons = self.season.seasons.values().filter(|&&season| trial.holds(season));
            in_trial.extend(seasons.map(|&season| (tree.tree.as_str(), season)));
        }
        let mut by_block: BTreeMap<(&str, &str), Vec<usize>> = BTreeMap::new();
        for row in (0..table.len()).filter(|&row| self.closed(row)) {
            if !in_trial.contains(&(table.tree.label(row), table.season[row])) {
                let place = (table.region.label(row), table.block.label(row));
                by_block.entry(place).or_default().push(row);
            }
        }
        let mut by_tree: BTreeMap<(&str, &str), Vec<usize>> = BTreeMap::new();
        for row in by_block.values().flatten().copied() {
            by_tree.entry((table.region.label(row), table.tree.label(row))).or_default().push(row);
        }
        let (mut planned, mut done) = (Vec::new(), Vec::new());
        let (mut chosen, mut unseen, mut grown) = (Vec::new(), Vec::new(), Vec::new());
        let mut known = false;
        for (region, season) in &self.season.seasons {
            let Some(kept) = self.record.of(region, *season) else { continue };
            known = true;
            for block in &kept.blocks {
                let rows: Vec<usize> = match &block.ids {
                    Some(ids) => {
                        let of = |id| by_tree.get(&(region.as_str(), id));
                        ids.iter().map(String::as_str).filter_map(of).flatten().copied().collect()
                    }
                    None => {
                        let own = by_block.get(&(region.as_str(), block.block.as_str()));
                        own.cloned().unwrap_or_default()
                    }
                };
                if rows.is_empty() && block.trees > 0 {
                    unseen.push(PlannedUnseen {
                        region: region.clone(),
                        block: block.block.clone(),
                        trees: block.trees,
                    });
                    continue;
                }
                if rows.len() as u64 > block.trees {
                    grown.push(GrownSince {
                        region: region.clone(),
                        block: block.block.clone(),
                        planned: block.trees,
                        harvested: rows.len() as u64,
                    });
                }
                let pruned: Vec<usize> =
                    rows.iter().copied().filter(|&row| table.intensity[row] > 0.0).collect();
                if block.intensity > 0.0 && block.trees_worked < block.trees {
                    let sum: f64 = pruned.iter().map(|&row| table.intensity[row]).sum();
                    let count = pruned.len() as f64;
                    chosen.push(ChosenByCrew {
                        region: region.clone(),
                        block: block.block.clone(),
                        planned_trees: block.trees_worked,
                        planned_intensity: block.intensity,
                        pruned_trees: pruned.len() as u64,
                        done_intensity: (!pruned.is_empty()).then(|| sum / count),
                    });
                    continue;
                }
                planned.extend(rows.iter().map(|&row| Planned {
                    region: region.clone(),
                    block: block.block.clone(),
                    tree: table.tree.label(row).to_owned(),
                    intensity: block.intensity,
                    days: block.days.filter(|_| block.intensity > 0.0),
                }));
                done.extend(pruned.iter().filter_map(|&row| {
                    Some(Pruned {
                        tree: table.tree.label(row).to_owned(),
                        intensity: table.intensity[row],
                        date: self.columns.pruned_on[row]?,
                    })
                }));
            }
        }
        let kept = plan_kept(&planned, &done, Tolerance::default())?;
        Ok(PlanOf { kept: known.then_some(kept), chosen, unseen, grown })
    }

    fn scored(&self) -> Result<(Vec<ScoreRow>, Vec<Unscored>), ReviewError> {
        let treated =
            Treated { intensity: self.table.intensity, pruned_on: &self.columns.pruned_on };
        let (mut scored, mut unscored) = (Vec::new(), Vec::new());
        for (region, season) in &self.season.seasons {
            let Some(kept) = self.record.of(region, *season) else { continue };
            let (rows, left) =
                kept.scored(self.season, &self.table, treated, Tolerance::default())?;
            scored.extend(rows);
            unscored.extend(left);
        }
        Ok((scored, unscored))
    }
}

fn names(book: &Book) -> BTreeMap<String, String> {
    book.regions.keys().map(|id| (id.clone(), book.region_name(id).to_owned())).collect()
}

/// Name of a grouping in files.
pub(super) fn grouping_name(grouping: Grouping) -> &'static str {
    match grouping {
        Grouping::Region => "region",
        Grouping::Site => "site",
        Grouping::Block => "block",
        Grouping::Variety => "variety",
        Grouping::Age => "age",
        Grouping::Density => "density",
    }
}
