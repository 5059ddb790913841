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
        if let Some(share) = planned.and_then(|planned| practice.much_unlike(planned)) {
            linked.problems.push(Problem::new(
                Place::file("kept"),
                Severity::Warning,
                Code::ControlsMany,
                say!(
                    "region '{}': {:.0} % of the trees were treated unlike the advice kept for {season}, more than the quarter that may be left to compare with: all count as present practice, and a change advised now is one from both",
                    practice.region,
                    100.0 * share
                ),
                say!(
                    "nothing to do if that is what the region does, or if it treats trees unlike each other: a mixture cannot be stated; if the others were left to compare with, or not reached, and nearly all trees are cut alike, state how: present = {{ intensity = .., lead_days = .. }} under [regions.{}]",
                    practice.region
                ),
            ));
        }
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
