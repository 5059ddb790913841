//! `anacurve layout`: draws a trial by lot and writes what the field needs.

use crate::args::{Format, LayoutArgs};
use crate::console::{Failure, Outcome, Stages, print_data};
use crate::pipeline;
use crate::pipeline::trials::field;
use records::counted;
use report::ReportError;
use trials::layout::{Layout, LayoutRequest, lay_out};

/// Reads the request, draws and writes.
pub fn execute(args: &LayoutArgs) -> Result<Outcome, Failure> {
    let mut request = read(args)?;
    if let Some(book) = &args.book {
        let stages = Stages::new();
        let checked = pipeline::check(book, &stages);
        stages.finish();
        let checked = checked?;
        checked.still_holds(book)?;
        field::from_book(&mut request, &checked)?;
    }
    let layout =
        lay_out(&request, args.seed).map_err(|error| Failure::new(&error, error.hint()))?;
    report::publish(&args.out, |dir| -> Result<(), ReportError> {
        report::write_layout(&layout, dir)
    })
    .map_err(|error| super::from_publish(&error))?;
    let text = match args.format {
        Format::Text => summary(args, &layout),
        Format::Json => serde_json::to_string_pretty(&layout)
            .map(|text| text + "\n")
            .map_err(|error| Failure::new(error, ""))?,
    };
    print_data(&text)?;
    Ok(Outcome::Done)
}

fn read(args: &LayoutArgs) -> Result<LayoutRequest, Failure> {
    let path = args.request.display();
    let text = std::fs::read_to_string(&args.request).map_err(|error| {
        Failure::new(
            format!("{path}: {error}"),
            "name a file with the request; anacurve layout --help shows one",
        )
    })?;
    toml::from_str(text.strip_prefix('\u{feff}').unwrap_or(&text)).map_err(|error| {
        let line = error.span().map_or_else(String::new, |span| {
            let before = text.get(..span.start).unwrap_or("");
            format!(":{}", before.matches('\n').count() + 1)
        });
        Failure::new(
            format!("{path}{line}: {}", error.message()),
            "anacurve layout --help shows a request and lists its entries",
        )
    })
}

fn summary(args: &LayoutArgs, layout: &Layout) -> String {
    let trees: usize = layout.plots.iter().map(|plot| plot.trees.len()).sum();
    let mut text = format!(
        "{}: {} design, {} in {}, {} to observe, seed {}\n",
        layout.title.as_deref().unwrap_or(&layout.trial),
        layout.design.words(),
        counted(layout.treatments.len() as u64, "treatment", "treatments"),
        counted(layout.plots.len() as u64, "plot", "plots"),
        counted(trees as u64, "tree", "trees"),
        layout.seed
    );
    for sentence in &layout.methods {
        text.push_str(&format!("  {sentence}\n"));
    }
    text.push_str(&format!("Sheets to print: {}\n", args.out.join("field-sheets.html").display()));
    text
}
