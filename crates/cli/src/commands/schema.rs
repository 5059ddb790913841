//! `anacurve schema`: what a record book may hold.

use crate::args::{SchemaArgs, SchemaFormat};
use crate::console::{Failure, Outcome, print_data};
use records::PublishedSchema;

/// Prints the schema.
pub fn execute(args: &SchemaArgs) -> Result<Outcome, Failure> {
    let schema = PublishedSchema::new();
    let text = match args.format {
        SchemaFormat::Markdown => schema.markdown(),
        SchemaFormat::Json => {
            serde_json::to_string_pretty(&schema).map_err(|error| {
                Failure::new(error, "this is a defect of the program; please report it")
            })? + "\n"
        }
    };
    print_data(&text)?;
    Ok(Outcome::Done)
}
