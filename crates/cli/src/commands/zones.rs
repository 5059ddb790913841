//! `anacurve zones`: regions proposed from climate normals.

use crate::args::{Format, ZonesArgs};
use crate::console::{Failure, Outcome, print_after};
use crate::pipeline::zones;
use ::report::ReportError;
use review::{ReviewError, ZoneSettings, propose};

/// Proposes zones and writes what is to be pasted.
pub fn execute(args: &ZonesArgs) -> Result<Outcome, Failure> {
    let features = zones::read(&args.table)?;
    let settings = ZoneSettings { groups: args.groups, seed: args.seed, ..ZoneSettings::default() };
    let proposal = propose(&features, &settings).map_err(|error| refused(&error))?;
    if let Some(out) = &args.out {
        ::report::publish(out, ::report::Writer::Zones, |dir| -> Result<(), ReportError> {
            let files =
                [("zones.csv", zones::csv(&proposal)), ("book-section.toml", proposal.book_toml())];
            for (name, text) in files {
                let path = dir.join(name);
                std::fs::write(&path, text)
                    .map_err(|source| ReportError::Write { path, source })?;
            }
            Ok(())
        })
        .map_err(|error| super::from_publish(&error))?;
    }
    let text = match args.format {
        Format::Json => {
            serde_json::to_string_pretty(&proposal).map_err(|error| {
                Failure::new(error, "this is a defect of the program; please report it")
            })? + "\n"
        }
        Format::Text => {
            let next = match &args.out {
                Some(dir) => format!(
                    "\nNothing uses the zones before you confirm: {} holds the lines for book.toml, \
                     zones.csv beside it the region of each place.\n",
                    dir.join("book-section.toml").display()
                ),
                None => {
                    "\nName a folder with --out for the lines to paste into book.toml.\n".to_owned()
                }
            };
            zones::text(&proposal) + &next
        }
    };
    print_after(&text, args.out.as_deref())?;
    let doubtful = proposal.zones.iter().any(|zone| zone.stability.is_some_and(|own| own < 0.6));
    Ok(if doubtful { Outcome::Findings } else { Outcome::Done })
}

fn refused(error: &ReviewError) -> Failure {
    Failure::new(
        error,
        "zones need at least three places that differ, each with every feature; --groups must be \
         smaller than their number",
    )
}
