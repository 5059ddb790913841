//! Trees left to compare with in the season before: they are no practice of the region.

use super::store::Record;
use crate::console::Failure;
use ingest_seasons::Linked;
use records::{Code, Place, Problem, Severity};
use std::path::Path;
use words::{counted, say, text};

/// Takes the trees that were left unlike the advice kept for a season out of the practice of that season,
/// where they are few, and tells how many: counted with it, leaving none of them would look like a change.
///
/// # Errors
/// When a file of the kept record cannot be read.
pub fn leave_out_controls(book: &Path, linked: &mut Linked) -> Result<(), Failure> {
    let record = Record::read(book)?;
    for practice in &mut linked.practice {
        let Some(season) = practice.season else { continue };
        let kept = record.of(&practice.region, season);
        let planned = kept.and_then(review::KeptRegion::planned_intensity);
        let Some(own) = planned.and_then(|planned| practice.without_controls(planned)) else {
            continue;
        };
        linked.problems.push(Problem::new(
            Place::file("kept"),
            Severity::Repaired,
            Code::ControlsApart,
            say!(
                "region '{}': {} treated unlike the advice kept for {season}, to be compared with the others, not counted in present practice",
                practice.region,
                counted(own.left_to_compare, text!("tree"), text!("trees"))
            ),
            say!(
                "nothing to do; if they are what the region does, state it: present = {{ intensity = .., lead_days = .. }} under [regions.{}]",
                practice.region
            ),
        ));
        *practice = own;
    }
    linked.problems.sort();
    Ok(())
}
