//! The advice of a run in the form in which it is kept.

use advise::{Advice, Interval, RegionAdvice, Verdict};
use records::{Book, Practice};
use review::{
    KEPT_FORMAT, KeptAdvice, KeptBlock, KeptPractice, KeptPresent, KeptRegion, Predicted,
    PresentTrees, Quantity, Tolerance,
};
use workplan::crew_sheet::Work;
use workplan::plan::Plan;

/// What is kept of a run's advice and plan; the present practices are those that gains are over.
#[must_use]
pub fn kept_advice(advice: &Advice, plan: &Plan, present: &[Practice], book: &Book) -> KeptAdvice {
    let of = |region: &RegionAdvice| {
        let own = present.iter().find(|practice| practice.region == region.region);
        // Without records or a setting it is leaving every tree unpruned, as for the advice.
        let unknown = || Practice::assumed(&region.region);
        kept_region(region, plan, &own.cloned().unwrap_or_else(unknown), book)
    };
    KeptAdvice {
        format: KEPT_FORMAT,
        book: advice.book.clone(),
        version: advice.version.clone(),
        seed: advice.seed,
        season: advice.season,
        regions: advice.regions.iter().map(of).collect(),
    }
}

fn kept_region(region: &RegionAdvice, plan: &Plan, present: &Practice, book: &Book) -> KeptRegion {
    // Gains under `keep` are those of a practice that nobody is asked to follow.
    let followed = match region.verdict {
        Verdict::Prune => region.advised.as_ref(),
        Verdict::Trial => region.interim.as_ref(),
        Verdict::Keep => None,
    };
    let practice =
        followed.map(|own| KeptPractice { intensity: own.intensity, window: own.window });
    let middle = |interval: &Option<Interval>| interval.as_ref().map(|own| own.median);
    let present_kg = middle(&region.present_yield_kg);
    let gains = middle(&region.gain_over_present_kg).zip(middle(&region.gain_over_unpruned_kg));
    let over_kg = |quantity| match quantity {
        Quantity::GainOverPresent => present_kg,
        Quantity::GainOverUnpruned => {
            present_kg.zip(gains).map(|(present, (over, unpruned))| present + over - unpruned)
        }
        Quantity::Yield => None,
    };
    let predicted = |quantity, interval: Option<&Interval>| {
        interval.map(|interval| Predicted {
            over_kg: over_kg(quantity),
            region: region.region.clone(),
            season: region.season,
            quantity,
            median: interval.median,
            low: interval.low,
            high: interval.high,
            level: interval.level,
        })
    };
    KeptRegion {
        region: region.region.clone(),
        season: region.season,
        verdict: match region.verdict {
            Verdict::Prune => "prune",
            Verdict::Keep => "keep",
            Verdict::Trial => "trial",
        }
        .to_owned(),
        present_intensity: region.present.intensity,
        present: practice.as_ref().map(|practice| {
            let trees = present_trees(region, present, book);
            KeptPresent::beside(practice, &trees, Tolerance::default())
        }),
        predicted: practice
            .iter()
            .flat_map(|_| {
                [
                    predicted(Quantity::GainOverPresent, region.gain_over_present_kg.as_ref()),
                    predicted(Quantity::GainOverUnpruned, region.gain_over_unpruned_kg.as_ref()),
                ]
            })
            .flatten()
            .collect(),
        practice,
        blocks: kept_blocks(&region.region, plan),
    }
}

/// Present practice with its days in the season advised for.
fn present_trees(region: &RegionAdvice, present: &Practice, book: &Book) -> Vec<PresentTrees> {
    let calendar = book.regions.get(&region.region).and_then(records::Region::calendar);
    let season = i16::try_from(region.season).ok();
    let day = |lead: f64| {
        let (calendar, season) = calendar.as_ref().zip(season)?;
        Some(calendar.date_of_lead(lead.round() as i32, season))
    };
    let of = |point: &records::PracticePoint| PresentTrees {
        intensity: point.intensity,
        day: point.lead_days.and_then(day),
        share: point.weight,
    };
    present.points.iter().map(of).collect()
}

fn kept_blocks(region: &str, plan: &Plan) -> Vec<KeptBlock> {
    let mut blocks: Vec<KeptBlock> = plan
        .blocks
        .iter()
        .filter(|block| block.region == region)
        .filter_map(|block| {
            let sheet = &block.sheet;
            let (Work::Prune(how) | Work::Keep(how) | Work::Trial(how)) = &sheet.work else {
                return None;
            };
            Some(KeptBlock {
                block: sheet.block.clone(),
                intensity: how.intensity,
                trees: sheet.trees,
                trees_worked: sheet.trees_worked,
                days: sheet.window.or(sheet.scheduled),
                ids: sheet.ids.clone(),
                untried: sheet.youngest_recorded.is_some(),
            })
        })
        .collect();
    blocks.sort_by(|a, b| a.block.cmp(&b.block).then(a.untried.cmp(&b.untried)));
    blocks
}
