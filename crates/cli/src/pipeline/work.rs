//! Blocks with what is advised for them, as the plan of work takes them.

mod holdings;

pub use holdings::{Holdings, Youngest, age, is_young};

use advise::{Cost, RegionAdvice, Verdict};
use ingest_seasons::{HeldBlock, HeldTree, unknown_sites};
use jiff::civil::Date;
use records::{Book, Calendar, MeasuredAs, canopy_ground_projection_m2, half_ellipsoid_volume_m3};
use std::collections::{BTreeMap, BTreeSet};
use words::{counted, say, text};
use workplan::SettingError;
use workplan::crew_sheet::{Apart, HowMuch, InTrial, Work};
use workplan::plan::{Plan, PlanBlock, build};
use workplan::schedule::delay_loss_per_day;
use workplan::young::{Training, YoungBlock};

/// Crowns up to this height are reached from the ground, m.
const REACH_M: f64 = 2.0;

/// The plan of all blocks, those first whose delay is expected to cost most; among equals, and where
/// no record tells what delay costs, those first whose window opens first.
///
/// Trees that a declared trial treats in the season advised for are left to it. Trees younger than
/// every tree of their region that was cut about as hard as grown trees are to be are never cut harder
/// than at present, nor harder than any tree of their age was.
#[must_use]
pub fn plan(
    book: &Book,
    holdings: &Holdings,
    advice: &[RegionAdvice],
    costs: &BTreeMap<String, Cost>,
) -> Plan {
    let mut blocks: Vec<PlanBlock> = Vec::new();
    for block in &holdings.blocks {
        let Some(advice) = advice.iter().find(|advice| advice.region == block.region) else {
            continue;
        };
        let cost = costs.get(&block.region);
        blocks.extend(Stand { book, holdings, block, advice, cost }.lines());
    }
    // The sort keeps region, site and block among equals.
    blocks.sort_by(|a, b| {
        let loss = |block: &PlanBlock| block.delay_loss_per_day.unwrap_or_default();
        let opens = |block: &PlanBlock| block.window.map_or(Date::MAX, |[from, _]| from);
        loss(b).total_cmp(&loss(a)).then_with(|| opens(a).cmp(&opens(b)))
    });
    let mut plan = build(
        &blocks,
        &book.work,
        &book.products,
        book.economics.cut_wood.as_ref(),
        book.options.hours_per_day,
    );
    plan.missing.extend(nothing_stands(holdings));
    plan.missing.extend(all_pruned(book, holdings, advice));
    plan.missing.extend(without_trees(book, holdings));
    plan.missing.extend(without_seasons(book, &blocks));
    let sites = holdings.blocks.iter().map(|block| block.site.as_str()).collect();
    let unknown = unknown_sites(book, &sites);
    if !unknown.is_empty() {
        // The crew that seems missing is declared under a site's name mistyped, most likely.
        for error in plan.missing.iter_mut().filter(|error| error.key == "[work] crew_size") {
            error.remedy = say!(
                "correct the name of the site under [work.sites] first; else {}",
                error.remedy
            );
        }
        plan.missing.splice(0..0, unknown);
    }
    plan
}

/// Blocks of which no tree stands: they have no line in the plan.
fn nothing_stands(holdings: &Holdings) -> Option<SettingError> {
    let empty = holdings.blocks.iter().filter(|block| block.trees.is_empty());
    let empty: Vec<&str> = empty.map(|block| block.block.as_str()).collect();
    (!empty.is_empty()).then(|| {
        SettingError::new(
            format!("trees: {}", empty.join(", ")),
            text!("no tree of the block stands, so the plan has no line of it"),
            text!("nothing to do where the trees are gone; where new ones were planted, list them in the tree table with ids of their own"),
        )
    })
}

/// Blocks whose trees were all pruned for the harvest advised for, by the records: they have no line.
fn all_pruned(book: &Book, holdings: &Holdings, advice: &[RegionAdvice]) -> Vec<SettingError> {
    let mut blocks: BTreeMap<i32, Vec<&str>> = BTreeMap::new();
    for block in holdings.blocks.iter().filter(|block| !block.trees.is_empty()) {
        let Some(own) = advice.iter().find(|own| own.region == block.region) else { continue };
        let is_done =
            |tree: &HeldTree| holdings.is_pruned_for(book, &block.region, &tree.tree, own.season);
        if block.trees.iter().all(is_done) {
            blocks.entry(own.season).or_default().push(&block.block);
        }
    }
    let told = blocks.into_iter().map(|(season, blocks)| {
        SettingError::new(
            format!("prunings: {}", blocks.join(", ")),
            say!("every tree of the block was pruned for the harvest of {season} already, by the records, so the plan has no line of it"),
            say!("nothing to do; set season = {} under [options] to plan for the harvest after, once the picks of {season} are recorded", season + 1),
        )
    });
    told.collect()
}

/// Declared trials of which the trial table holds no tree: nothing is left to their field sheets.
fn without_trees(book: &Book, holdings: &Holdings) -> Vec<SettingError> {
    let rows = holdings.undeclared.iter().map(String::as_str).collect::<Vec<_>>().join("', '");
    let known: BTreeSet<&String> = holdings.trials.values().flatten().collect();
    let absent = book.trials.keys().filter(|id| !known.contains(id));
    let told = absent.map(|id| {
        let remedy = if rows.is_empty() {
            text!("put its rows into the trial table, or mend those set aside").to_owned()
        } else {
            say!("correct the id (rows of the trial table name '{rows}'), or mend the rows set aside")
        };
        SettingError::new(
            format!("[trials.{id}]"),
            say!("no row of the trial table that can be used names it: its trees are cut by this plan"),
            remedy,
        )
    });
    told.collect()
}

/// Trials whose trees are left out of the plan though no harvest of theirs is named.
fn without_seasons(book: &Book, blocks: &[PlanBlock]) -> Vec<SettingError> {
    let mut trees: BTreeMap<&str, u64> = BTreeMap::new();
    let mut seen = BTreeSet::new();
    for block in blocks {
        // Two lines of a block tell of the same trees.
        if seen.insert((&block.region, &block.site, &block.block)) {
            for own in &block.in_trials {
                *trees.entry(&own.trial).or_default() += own.trees();
            }
        }
    }
    let open = |id: &&str| book.trials.get(*id).is_some_and(|trial| trial.seasons.is_empty());
    let told = trees.iter().filter(|(id, _)| open(id)).map(|(id, trees)| {
        SettingError::new(
            format!("[trials.{id}] seasons"),
            say!(
                "{} left out of the plan, since the trial names no harvests and so may still go on",
                counted(*trees, text!("tree"), text!("trees"))
            ),
            text!("name its harvests, seasons = [YEAR, ..]; trees of a trial that is over are planned again"),
        )
    });
    told.collect()
}

/// One block with everything known about it.
struct Stand<'a> {
    book: &'a Book,
    holdings: &'a Holdings,
    block: &'a HeldBlock,
    advice: &'a RegionAdvice,
    cost: Option<&'a Cost>,
}

impl Stand<'_> {
    /// The block's lines: for grown trees, for those whose turn is not now, for those younger than any that was
    /// treated so, and for trees in training; where all are a trial's, one that says so.
    fn lines(&self) -> Vec<PlanBlock> {
        let season = self.advice.season;
        let mut in_trials: BTreeMap<&str, Vec<String>> = BTreeMap::new();
        let (mut grown, mut untried, mut young) = (Vec::new(), Vec::new(), Vec::new());
        let mut resting = Vec::new();
        let mut pruned_already: Vec<String> = Vec::new();
        for tree in &self.block.trees {
            if let Some(trial) = self.holdings.trial_of(self.book, &tree.tree, season) {
                in_trials.entry(trial).or_default().push(tree.tree.clone());
            } else if self.is_young(tree) {
                young.push(tree);
            } else if self.holdings.is_pruned_for(self.book, &self.block.region, &tree.tree, season)
            {
                pruned_already.push(tree.tree.clone());
            } else if self.is_untried(tree) {
                untried.push(tree);
            } else if self.is_resting(tree) {
                resting.push(tree);
            } else {
                grown.push(tree);
            }
        }
        let in_trials: Vec<InTrial> = in_trials
            .into_iter()
            .map(|(trial, ids)| InTrial { trial: trial.to_owned(), ids })
            .collect();
        let by_id = |trees: &[&[&HeldTree]]| -> Vec<String> {
            trees.iter().flat_map(|own| own.iter()).map(|tree| tree.tree.clone()).collect()
        };
        // Ids are kept where a line is not of all trees.
        let kinds = [&grown, &resting, &untried, &young];
        let kinds = kinds.iter().filter(|own| !own.is_empty()).count();
        let parted = !pruned_already.is_empty() || kinds > 1;
        let own = |trees: &[&HeldTree]| parted.then(|| by_id(&[trees]));
        let line_of = |line: Option<PlanBlock>, trees: &[&HeldTree], younger: Vec<String>| {
            let apart = Apart { younger, ..Apart::default() };
            line.map(|line| PlanBlock { ids: own(trees), apart, ..line })
        };
        let lines = [
            line_of(self.grown(&grown), &grown, by_id(&[&untried, &young])),
            line_of(self.resting(&resting), &resting, by_id(&[&untried, &young])),
            line_of(self.untried(&untried), &untried, by_id(&[&young])),
            self.young(&young),
        ];
        let mut lines: Vec<PlanBlock> = lines.into_iter().flatten().collect();
        if lines.is_empty() && !in_trials.is_empty() {
            lines.push(PlanBlock { work: Work::OfTrials, ..self.blank() });
        }
        let is_training = |line: &PlanBlock| matches!(line.work, Work::Train { .. });
        // Said where trees are pruned, else where the block is said to need training alone.
        let all_train = lines.iter().all(is_training);
        for line in &mut lines {
            line.in_trials.clone_from(&in_trials);
            if all_train || !is_training(line) {
                line.apart.pruned_already.clone_from(&pruned_already);
            }
        }
        lines
    }

    /// The line of trees younger than the trees that the advice was learnt from; `None` without
    /// such trees. They follow it as far as trees of their age were cut, and no harder than present
    /// practice: that is a mean over trees of all ages and rises as others take the advice. What either
    /// is worth to them, and what delay costs, no record tells.
    fn untried(&self, trees: &[&HeldTree]) -> Option<PlanBlock> {
        let mut line = self.grown(trees)?;
        let (as_now, share) = self.as_now();
        let (asked, _) = self.asked();
        let least = trees
            .iter()
            .filter_map(|tree| age(self.book, self.block, tree, self.advice.season))
            .fold(f64::INFINITY, f64::min);
        let tried = self.holdings.hardest(&self.block.region, least).unwrap_or_default();
        let intensity = asked.min(as_now).min(tried);
        if let Work::Prune(how_much) | Work::Keep(how_much) | Work::Trial(how_much) = line.work {
            let how_much = HowMuch { intensity, ..how_much };
            line.work = match self.advice.verdict {
                Verdict::Trial => Work::Trial(how_much),
                _ if intensity < as_now => Work::Prune(how_much),
                _ => Work::Keep(how_much),
            };
        }
        if asked > as_now {
            line.share_pruned = share;
            line.window = self.present_window();
            line.best_day = self.day_of(self.advice.present.lead_days);
        }
        if intensity <= 0.0 {
            // Whatever the verdict: nothing is done to them, on no day.
            if let Work::Keep(how_much) | Work::Trial(how_much) = line.work {
                line.work = Work::Prune(how_much);
            }
            (line.window, line.best_day) = (None, None);
        }
        line.delay_loss_per_day = None;
        line.value = 0.0;
        line.youngest_recorded = self.holdings.youngest(&self.block.region, asked);
        Some(line)
    }

    /// The line of trees that were pruned in a season before, where trees are pruned in turn and go on to be:
    /// nothing is done to them; `None` without such trees.
    fn resting(&self, trees: &[&HeldTree]) -> Option<PlanBlock> {
        let mut line = self.grown(trees)?;
        if let Work::Keep(how_much) | Work::Trial(how_much) = line.work {
            line.work = Work::Prune(HowMuch { intensity: 0.0, ..how_much });
        }
        (line.window, line.best_day, line.delay_loss_per_day) = (None, None, None);
        line.value = 0.0;
        Some(line)
    }

    /// Whether trees are pruned in turn, the plan goes on so, and this one was pruned since the turn began.
    fn is_resting(&self, tree: &HeldTree) -> bool {
        let (advice, region) = (self.advice, &self.block.region);
        let turn = advice.present.in_turn as i32;
        self.goes_on()
            && turn > 1
            && self.holdings.is_pruned_for(self.book, region, &tree.tree, advice.season - turn + 1)
    }

    /// Whether grown trees are treated as at present.
    fn goes_on(&self) -> bool {
        let stated = self.advice.advised.as_ref().or(self.advice.interim.as_ref());
        self.advice.verdict == Verdict::Keep || stated.is_none()
    }

    /// Intensity of a tree pruned as at present, and the share of trees that are: all of those whose turn it
    /// is, where trees are pruned in turn.
    fn as_now(&self) -> (f64, f64) {
        // An intensity of the plan is that of a pruned tree; present practice is a mean of all.
        let present = &self.advice.present;
        let in_turn = present.in_turn > 1 && self.goes_on();
        (present.of_a_pruned_tree(), if in_turn { 1.0 } else { present.share_pruned })
    }

    /// Intensity asked of a grown tree that is pruned, and the share of them that are.
    fn asked(&self) -> (f64, f64) {
        let stated = self.advice.advised.as_ref().or(self.advice.interim.as_ref());
        match (self.advice.verdict, stated) {
            (Verdict::Prune | Verdict::Trial, Some(practice)) => (practice.intensity, 1.0),
            _ => self.as_now(),
        }
    }

    /// The line of trees past the training age; `None` without such trees.
    fn grown(&self, trees: &[&HeldTree]) -> Option<PlanBlock> {
        if trees.is_empty() {
            return None;
        }
        let advice = self.advice;
        let stated = advice.advised.as_ref().or(advice.interim.as_ref());
        let (intensity, share) = self.asked();
        let mean = |values: Vec<f64>| {
            let count = values.len() as f64;
            (!values.is_empty()).then(|| values.iter().sum::<f64>() / count)
        };
        let sized = || trees.iter().filter_map(|t| t.height_m.zip(t.spread_m));
        let height = mean(sized().map(|(height, _)| height).collect());
        let width = mean(sized().map(|(_, [ns, ew])| 0.5 * (ns + ew)).collect());
        let volume = |(h, [ns, ew]): (f64, [f64; 2])| half_ellipsoid_volume_m3(h, ns, ew);
        let area = |[ns, ew]: [f64; 2]| canopy_ground_projection_m2(ns, ew);
        let how_much = HowMuch {
            intensity,
            measured_as: self.basis(),
            canopy_m: height.zip(width).map(|(height, width)| [height, width]),
        };
        let work = match advice.verdict {
            Verdict::Prune => Work::Prune(how_much),
            Verdict::Keep => Work::Keep(how_much),
            Verdict::Trial => Work::Trial(how_much),
        };
        let count = trees.len() as f64;
        // Whole trees, as the plan counts them.
        let worked = if intensity > 0.0 { (count * share).round() } else { 0.0 };
        let losses: Vec<(f64, f64)> = advice
            .lateness
            .iter()
            .filter_map(|late| Some((f64::from(late.days), late.net_loss.as_ref()?.median)))
            .collect();
        let size = mean(trees.iter().filter_map(|tree| tree.spread_m.map(area)).collect());
        Some(PlanBlock {
            work,
            trees: trees.len() as u64,
            share_pruned: share,
            window: match stated {
                Some(practice) => practice.window,
                // Until a trial is read, pruning goes on as at present.
                None => self.present_window(),
            },
            best_day: self.day_of(stated.map_or(advice.present.lead_days, |own| own.lead_days)),
            rate: self.cost.map(|cost| cost.rate_at(size)),
            canopy_m3: mean(sized().map(volume).collect()),
            cut_rates: self.holdings.cut_rates.get(&self.block.region).copied(),
            ladders: trees.iter().any(|tree| tree.height_m.is_none_or(|m| m > REACH_M)),
            // Of what is not done nothing is late.
            delay_loss_per_day: delay_loss_per_day(&losses, worked).filter(|_| worked > 0.0),
            value: self.value() * count,
            ..self.blank()
        })
    }

    /// The line of young trees; `None` without any.
    fn young(&self, trees: &[&HeldTree]) -> Option<PlanBlock> {
        let start = self.flush_start()?;
        if trees.is_empty() {
            return None;
        }
        let age = |planted: Option<Date>| {
            planted.map_or(f64::NAN, |day| f64::from((start - day).get_days()) / 365.25)
        };
        let training = match self.block.training.as_deref() {
            Some("modified_leader") => Some(Training::ModifiedLeader),
            Some("open_centre") => Some(Training::OpenCentre),
            Some(_) => Some(Training::None),
            None => None,
        };
        let young = YoungBlock {
            ages_years: trees.iter().map(|tree| age(tree.planted)).collect(),
            training,
            spacing_m: self.block.spacing_m,
            topping_height_m: self.book.work.topping_height_m,
        };
        Some(PlanBlock {
            work: Work::Train { tasks: young.tasks(), training_stated: training.is_some() },
            trees: trees.len() as u64,
            window: self.rest(),
            ladders: trees.iter().any(|tree| tree.height_m.is_none_or(|m| m > REACH_M)),
            ..self.blank()
        })
    }

    fn blank(&self) -> PlanBlock {
        let cost = self.cost;
        PlanBlock {
            region: self.block.region.clone(),
            region_name: self.advice.name.clone(),
            site: self.block.site.clone(),
            block: self.block.block.clone(),
            work: Work::Train { tasks: Vec::new(), training_stated: true },
            trees: 0,
            share_pruned: 1.0,
            window: None,
            best_day: None,
            rate: None,
            canopy_m3: None,
            cut_rates: None,
            ladders: true,
            wage_per_hour: self.book.wage_per_hour(&self.block.region),
            materials_per_tree: cost
                .map_or(self.book.economics.materials_per_pruned_tree, |cost| cost.materials),
            delay_loss_per_day: None,
            value: 0.0,
            in_trials: Vec::new(),
            apart: Apart::default(),
            ids: None,
            youngest_recorded: None,
        }
    }

    /// Money per tree forgone when nothing at all is pruned; that of the change where the records
    /// hold no unpruned trees to compare with.
    fn value(&self) -> f64 {
        let Some(returns) = &self.advice.returns else { return 0.0 };
        let changes = self.advice.advised.is_some() && self.advice.verdict == Verdict::Prune
            || self.advice.interim.is_some();
        match (returns.mean_net_over_unpruned, changes) {
            (Some(over), true) => over,
            (Some(over), false) => over - returns.mean_net_gain,
            (None, true) => returns.mean_net_gain,
            (None, false) => 0.0,
        }
    }

    /// Basis on which the block's prunings were measured most often, else those of its region.
    fn basis(&self) -> MeasuredAs {
        let own = self.holdings.bases.get(&self.block.block);
        let region = self.holdings.bases_of_regions.get(&self.block.region);
        own.or(region).copied().unwrap_or(MeasuredAs::CanopyFraction)
    }

    /// Under the training age when the flush of the harvest advised for begins.
    fn is_young(&self, tree: &HeldTree) -> bool {
        is_young(self.book, self.block, tree, self.advice.season)
    }

    /// Whether a tree is younger than the trees of its region on which the records show what is asked
    /// of grown ones.
    fn is_untried(&self, tree: &HeldTree) -> bool {
        let (asked, _) = self.asked();
        self.holdings.is_untried(self.book, self.block, tree, self.advice.season, asked)
    }

    /// Two weeks to either side of the dates of present practice, as for advice to keep to it.
    fn present_window(&self) -> Option<[Date; 2]> {
        let lead = self.advice.present.lead_days?;
        Some([self.day_of(Some(lead + 14.0))?, self.day_of(Some(lead - 14.0))?])
    }

    /// The day that lies so many days before the flush; `None` where nothing is pruned.
    fn day_of(&self, lead: Option<f64>) -> Option<Date> {
        let (calendar, season) = self.calendar()?;
        let lead = lead.filter(|lead| lead.is_finite())?;
        Some(calendar.date_of_lead(lead.round() as i32, season))
    }

    /// The rest in which young trees are trained.
    fn rest(&self) -> Option<[Date; 2]> {
        let (calendar, season) = self.calendar()?;
        calendar.rest_before(season)
    }

    /// The region's calendar with the season advised for.
    fn calendar(&self) -> Option<(Calendar, i16)> {
        let calendar = self.book.regions.get(&self.block.region)?.calendar()?;
        Some((calendar, i16::try_from(self.advice.season).ok()?))
    }

    /// First day of the flush that the season's harvest grows from.
    fn flush_start(&self) -> Option<Date> {
        let (calendar, season) = self.calendar()?;
        Some(calendar.date_of_lead(0, season))
    }
}
