//! `anacurve demo`: writes an invented record book.

use crate::args::{DemoArgs, Format};
use crate::commands::from_publish;
use crate::console::{Failure, Outcome, print_after};

/// Writes the book into a new or empty folder.
pub fn execute(args: &DemoArgs) -> Result<Outcome, Failure> {
    let Some(dir) = args.dir.as_ref().or(args.out.as_ref()) else {
        return Err(Failure::new("no folder is named", "name a new or empty folder: demo DIR"));
    };
    let occupied = match std::fs::read_dir(dir) {
        Ok(mut entries) => entries.next().is_some(),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => false,
        Err(error) => {
            return Err(Failure::new(
                format!("{}: {error}", dir.display()),
                "name a folder that can be written",
            ));
        }
    };
    if occupied {
        return Err(Failure::new(
            format!("{} is not empty", dir.display()),
            "name a new or empty folder, so that no records are overwritten",
        ));
    }
    let plantation = args.kind.plantation();
    let seed = args.seed.unwrap_or_else(|| args.kind.seed());
    let records = plantation_sim::simulate(&plantation, seed);
    report::publish_new(dir, |new| {
        plantation_sim::write_book(&records, &plantation, new, args.kind.tidiness())
    })
    .map_err(|error| from_publish(&error))?;
    let text = match args.format {
        Format::Text => format!(
            "Wrote an invented record book to {0}.\nNext: anacurve check {0}, then anacurve run {0}\n",
            dir.display()
        ),
        Format::Json => format!(
            "{}\n",
            serde_json::json!({ "book": dir.display().to_string(), "kind": args.kind.as_str(), "seed": seed })
        ),
    };
    print_after(&text, Some(dir))?;
    Ok(Outcome::Done)
}
