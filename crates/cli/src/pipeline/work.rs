//! Blocks with what is advised for them, as the plan of work takes them.

mod holdings;

pub use holdings::{Holdings, is_young};

use advise::{Cost, RegionAdvice, Verdict};
use ingest_seasons::{HeldBlock, HeldTree};
use jiff::civil::Date;
use records::{Book, Calendar, MeasuredAs, canopy_ground_projection_m2, half_ellipsoid_volume_m3};
use std::collections::BTreeMap;
use workplan::crew_sheet::{HowMuch, Work};
use workplan::plan::{Plan, PlanBlock, build};
use workplan::schedule::delay_loss_per_day;
use workplan::young::{Training, YoungBlock};

/// Crowns up to this height are reached from the ground, m.
const REACH_M: f64 = 2.0;

/// The plan of all blocks, those first whose delay is expected to cost most.
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
        let stand = Stand { book, holdings, block, advice, cost: costs.get(&block.region) };
        blocks.extend(stand.grown());
        blocks.extend(stand.young());
    }
    // The sort keeps region, site and block among equals.
    blocks.sort_by(|a, b| b.delay_loss_per_day.total_cmp(&a.delay_loss_per_day));
    build(
        &blocks,
        &book.work,
        &book.products,
        book.economics.cut_wood.as_ref(),
        book.options.hours_per_day,
    )
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
    /// The block's line for trees past the training age; `None` without such trees.
    fn grown(&self) -> Option<PlanBlock> {
        let trees: Vec<_> = self.block.trees.iter().filter(|tree| !self.is_young(tree)).collect();
        if trees.is_empty() {
            return None;
        }
        let advice = self.advice;
        let stated = advice.advised.as_ref().or(advice.interim.as_ref());
        let (present, share) = (&advice.present, advice.present.share_pruned);
        // An intensity of the plan is that of a pruned tree; present practice is a mean of all.
        let as_now = if share > 0.0 { (present.intensity / share).min(1.0) } else { 0.0 };
        let (intensity, share) = match (advice.verdict, stated) {
            (Verdict::Prune | Verdict::Trial, Some(practice)) => (practice.intensity, 1.0),
            _ => (as_now, share),
        };
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
        let worked = if intensity > 0.0 { count * share } else { 0.0 };
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
            rate: self.cost.map(|cost| cost.rate_at(size)),
            canopy_m3: mean(sized().map(volume).collect()),
            cut_rates: self.holdings.cut_rates.get(&self.block.region).copied(),
            ladders: trees.iter().any(|tree| tree.height_m.is_none_or(|m| m > REACH_M)),
            delay_loss_per_day: delay_loss_per_day(&losses, worked),
            value: self.value() * count,
            ..self.blank()
        })
    }

    /// The block's line for young trees; `None` without any.
    fn young(&self) -> Option<PlanBlock> {
        let start = self.flush_start()?;
        let trees: Vec<_> = self.block.trees.iter().filter(|tree| self.is_young(tree)).collect();
        if trees.is_empty() {
            return None;
        }
        let age = |planted: Option<Date>| {
            let planted = planted.or(self.block.planted);
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
            rate: None,
            canopy_m3: None,
            cut_rates: None,
            ladders: true,
            wage_per_hour: self.book.wage_per_hour(&self.block.region),
            materials_per_tree: cost
                .map_or(self.book.economics.materials_per_pruned_tree, |cost| cost.materials),
            delay_loss_per_day: 0.0,
            value: 0.0,
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

    /// Under the training age when the harvest advised for opens.
    fn is_young(&self, tree: &HeldTree) -> bool {
        is_young(self.book, self.block, tree, self.advice.season)
    }

    /// Two weeks to either side of the dates of present practice, as for advice to keep to it.
    fn present_window(&self) -> Option<[Date; 2]> {
        let (calendar, season) = self.calendar()?;
        let lead = self.advice.present.lead_days.filter(|lead| lead.is_finite())?;
        let day = |lead: f64| calendar.date_of_lead(lead.round() as i32, season);
        Some([day(lead + 14.0), day(lead - 14.0)])
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
