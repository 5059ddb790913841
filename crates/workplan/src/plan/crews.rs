//! Each crew's blocks and their dates.

use super::build::{PlanBlock, PlannedBlock};
use crate::schedule::{BlockWork, Schedule, schedule};
use records::work::{Crew, SettingError, WorkSettings};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};
use words::text;

/// The dates of one crew.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CrewSchedule {
    /// Site, when the crew is that site's own.
    pub site: Option<String>,
    /// Sites at which it has work: the way between them is in no day.
    pub sites: usize,
    /// The crew.
    pub crew: Crew,
    /// Its schedule; blocks are named `site / block`.
    pub schedule: Schedule,
}

/// A crew with its blocks.
struct Group {
    crew: Crew,
    indices: Vec<usize>,
    works: Vec<BlockWork>,
}

/// Schedules the blocks of each crew and writes their dates into the sheets.
pub(super) fn assign(
    blocks: &[PlanBlock],
    planned: &mut [PlannedBlock],
    settings: &WorkSettings,
    missing: &mut Vec<SettingError>,
) -> Vec<CrewSchedule> {
    let mut groups: BTreeMap<Option<String>, Group> = BTreeMap::new();
    for (index, (block, plan)) in blocks.iter().zip(planned.iter()).enumerate() {
        let (Some(window), Some(person_days)) = (block.window, plan.sheet.person_days) else {
            continue;
        };
        let Some((site, crew)) = settings.crew(&block.site) else {
            missing.push(SettingError::new(
                "[work] crew_size",
                text!("no crew is stated, so no block gets dates of its own"),
                text!("give the people who prune on a working day"),
            ));
            continue;
        };
        let group = groups.entry(site).or_insert_with(|| Group {
            crew,
            indices: Vec::new(),
            works: Vec::new(),
        });
        group.indices.push(index);
        group.works.push(BlockWork {
            block: format!("{} / {}", block.site, block.block),
            person_days,
            window,
            best_day: block.best_day,
            delay_loss_per_day: block.delay_loss_per_day.unwrap_or_default(),
            value: block.value,
        });
    }
    let mut crews = Vec::new();
    for (site, Group { crew, indices, works }) in groups {
        // The settings' own check has named what is wrong with a crew.
        if crew.check().is_err() {
            continue;
        }
        match schedule(&works, &crew) {
            Ok(schedule) => {
                for ((index, block), work) in indices.iter().zip(&schedule.blocks).zip(&works) {
                    if let Some(plan) = planned.get_mut(*index) {
                        plan.sheet.scheduled = block.start.zip(block.end).map(|(a, b)| [a, b]);
                        // Work is placed in thousandths of a person-day.
                        let left = 1.0 - block.person_days / work.person_days;
                        plan.sheet.left_undone =
                            if left * work.person_days > 0.0011 { left } else { 0.0 };
                    }
                }
                let with_work =
                    indices.iter().zip(&works).filter(|(_, work)| work.person_days > 0.0);
                let sites: BTreeSet<&str> = with_work
                    .filter_map(|(index, _)| Some(blocks.get(*index)?.site.as_str()))
                    .collect();
                crews.push(CrewSchedule { site, sites: sites.len(), crew, schedule });
            }
            Err(error) => missing.push(error),
        }
    }
    crews
}
