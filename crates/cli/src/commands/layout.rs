//! `anacurve layout`: draws a trial by lot and writes what the field needs.

mod again;

use crate::args::{Format, LayoutArgs};
use crate::console::{Failure, Outcome, Stages, print_after};
use crate::pipeline::trials::field;
use crate::pipeline::trials::request::RequestFile;
use crate::pipeline::{Standing, from_ingest};
use records::counted;
use report::ReportError;
use std::collections::BTreeSet;
use trials::layout::{Layout, LayoutRequest, lay_out};
use words::{say, text};

/// Reads the request, draws and writes.
pub fn execute(args: &LayoutArgs) -> Result<Outcome, Failure> {
    if args.request.extension().is_some_and(|extension| extension == "json") {
        return again::execute(args);
    }
    let seed = args.seed.ok_or_else(|| {
        Failure::new("a draw needs --seed N", "choose a number and write it down with the trial")
    })?;
    let (file, mut request) = RequestFile::read(&args.request)?;
    let mut left_out = Vec::new();
    let standing = match &args.book {
        Some(book) => {
            let stages = Stages::new();
            let standing = Standing::of(book, &stages);
            stages.finish();
            let standing = standing?;
            standing.tables.check_unchanged(book).map_err(from_ingest)?;
            left_out = field::from_book(&mut request, &file, &standing)?;
            Some(standing)
        }
        None if !request.field.blocks.is_empty() && request.field.trees.is_empty() => {
            return Err(file.refused(
                "field.blocks",
                None,
                "blocks of a plantation are named, and no record book is given whose trees stand in them",
                "name the book with --book BOOK; of a field yet to be planted give rows and columns instead",
            ));
        }
        None => None,
    };
    let mut layout = lay_out(&request, seed).map_err(|error| file.from_layout(&error))?;
    if let Some(standing) = &standing {
        layout.date_leads(&field::regions(&layout, standing)?);
        layout.first_harvest = field::first_harvest(&layout, standing)?;
        layout.methods.extend(left_out);
        layout.remarks = field::remarks(&layout, standing)?;
        layout.remarks.extend(unused_blocks(&request, &layout));
    }
    report::publish(&args.out, report::Writer::Layout, |dir| -> Result<(), ReportError> {
        report::write_layout(&layout, dir)
    })
    .map_err(|error| super::from_publish(&error))?;
    print(args, &layout)
}

/// Blocks that the request names and of which no plot was made.
fn unused_blocks(request: &LayoutRequest, layout: &Layout) -> Option<String> {
    let used: BTreeSet<&str> = layout.plots.iter().map(|plot| plot.patch.as_str()).collect();
    let unused = request.field.blocks.iter().map(String::as_str);
    let unused: Vec<&str> = unused.filter(|block| !used.contains(block)).collect();
    (!unused.is_empty()).then(|| {
        say!(
            "No plot stands in {}, as the other blocks hold all: ask for more replicates, or draw a trial for each block.",
            unused.join(", ")
        )
    })
}

/// What was drawn, in lines or whole.
fn print(args: &LayoutArgs, layout: &Layout) -> Result<Outcome, Failure> {
    let text = match args.format {
        Format::Text => summary(args, layout),
        Format::Json => serde_json::to_string_pretty(layout)
            .map(|text| text + "\n")
            .map_err(|error| Failure::new(error, ""))?,
    };
    print_after(&text, Some(&args.out))?;
    Ok(Outcome::Done)
}

fn summary(args: &LayoutArgs, layout: &Layout) -> String {
    let trees: usize = layout.plots.iter().map(|plot| plot.trees.len()).sum();
    let mut text = say!(
        "{}: {}, {} in {}, {} to observe, seed {}",
        layout.title.as_deref().unwrap_or(&layout.trial),
        layout.design.name(),
        counted(layout.treatments.len() as u64, text!("treatment"), text!("treatments")),
        counted(layout.plots.len() as u64, text!("plot"), text!("plots")),
        counted(trees as u64, text!("tree"), text!("trees")),
        layout.seed
    );
    text.push('\n');
    let leads = Some(&layout.lead_words).filter(|words| !words.is_empty());
    for sentence in layout.methods.iter().chain(&layout.remarks).chain(leads) {
        text.push_str(&format!("  {sentence}\n"));
    }
    for sentence in layout.new_field.iter().flat_map(report::new_field_words) {
        text.push_str(&format!("  {sentence}\n"));
    }
    text.push_str(&say!("Sheets to print: {}", args.out.join("field-sheets.html").display()));
    text.push('\n');
    text
}
