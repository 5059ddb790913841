//! `field-sheets.html`: the map, the sheets and how the layout was drawn, to print.

use super::labels::{TreeLine, at_site, stands, tree_lines, within};
use super::sheets::{SPARE_LINES, counts_frames};
use crate::number::counted;
use crate::page::Table;
use askama::Template;
use trials::layout::Layout;
use words::{capital, say, text};

/// The page as the template takes it.
#[derive(Template)]
#[template(path = "layout.html")]
pub struct LayoutPage<'a> {
    css: &'static str,
    title: String,
    summary: String,
    map: String,
    treatments: Table,
    plots: Table,
    /// What each tree was given; without rows where cuts alone are varied.
    given: Table,
    /// Whether trees are cut by their treatment.
    varies_the_cut: bool,
    pruning: Table,
    harvest: Table,
    /// Counts in frames; without rows where the trial has none.
    frames: Table,
    /// What a lead is; empty where no treatment has one.
    lead: &'a str,
    /// What is to be known before the first cut.
    remarks: &'a [String],
    balance: Table,
    methods: &'a [String],
    lot: String,
    seed: String,
    /// Lines for `book.toml`; empty where it has them.
    section: &'a str,
}

impl<'a> LayoutPage<'a> {
    /// Prepares the page around a map, with the lines for `book.toml`.
    pub fn of(layout: &'a Layout, map: String, section: &'a str) -> Self {
        let trees: usize = layout.plots.iter().map(|plot| plot.trees.len()).sum();
        Self {
            css: include_str!("../../templates/style.css"),
            title: at_site(layout, layout.title.as_ref().unwrap_or(&layout.trial)),
            summary: say!(
                "{}: {} in {} with {} to observe; seed {}.",
                capital(layout.design.name()),
                counted(layout.treatments.len() as u64, text!("treatment"), text!("treatments")),
                counted(layout.plots.len() as u64, text!("plot"), text!("plots")),
                counted(trees as u64, text!("tree"), text!("trees")),
                layout.seed
            ),
            map,
            treatments: explained(treatments(layout)),
            plots: plots(layout),
            given: given(layout),
            varies_the_cut: layout.varies_the_cut(),
            pruning: pruning(layout),
            harvest: harvest(layout),
            frames: frames(layout),
            lead: &layout.lead_words,
            remarks: &layout.remarks,
            balance: explained(balance(layout)),
            methods: &layout.methods,
            lot: say!(
                "The random numbers come from {} with seed {}: the same request and seed give the same layout.",
                layout.generator,
                layout.seed
            ),
            seed: say!("seed {}", layout.seed),
            section,
        }
    }
}

/// A table with a link to how the layout was drawn.
fn explained(mut table: Table) -> Table {
    table.how = "#method".to_owned();
    table
}

fn treatments(layout: &Layout) -> Table {
    let mut table =
        Table::new(text!("Treatments"), [text!("Code"), text!("Treatment"), text!("#Plots")]);
    for (number, treatment) in layout.treatments.iter().enumerate() {
        let (code, words) = super::treatment_of(layout, number);
        table.row([code, words, treatment.plots.to_string()]);
    }
    table
}

fn plots(layout: &Layout) -> Table {
    let mut table = Table::new(
        text!("Plots and their trees"),
        [text!("Plot"), text!("Within"), text!("Treatment"), text!("Trees")],
    );
    for plot in &layout.plots {
        let (code, treatment) = super::treatment_of(layout, plot.treatment);
        let trees: Vec<&str> = plot.trees.iter().map(|tree| tree.tree.as_str()).collect();
        table.row([
            plot.plot.clone(),
            within(plot),
            format!("{code}: {treatment}"),
            trees.join(", "),
        ]);
    }
    table
}

/// One line for each tree that is treated, where the treatment is no cut.
fn given(layout: &Layout) -> Table {
    let mut table = Table::new(
        text!("Treatment: write the date and what was given"),
        [
            text!("Tree"),
            text!("Where"),
            text!("Plot"),
            text!("Treatment"),
            text!("Date"),
            text!("Given"),
            text!("Remarks"),
        ],
    );
    if layout.gives_something() {
        for line in tree_lines(layout) {
            table.row(to_fill(&line, treatment_words(&line), 3));
        }
    }
    table
}

fn treatment_words(line: &TreeLine<'_>) -> String {
    if line.observed {
        format!("{}: {}", line.code, line.treatment)
    } else {
        say!("{}: {} (not observed)", line.code, line.treatment)
    }
}

/// One line for each tree that is cut, observed or not.
fn pruning(layout: &Layout) -> Table {
    let mut table = Table::new(
        text!("Pruning: write the date and what was cut of the canopy, 0 where nothing was"),
        [
            text!("Tree"),
            text!("Where"),
            text!("Plot"),
            text!("Treatment"),
            text!("Date"),
            text!("Cut (share of the canopy)"),
            text!("Minutes"),
            text!("Remarks"),
        ],
    );
    for line in tree_lines(layout) {
        table.row(to_fill(&line, treatment_words(&line), 4));
    }
    table
}

/// One line for each tree that is observed.
fn harvest(layout: &Layout) -> Table {
    let mut table = Table::new(
        text!(
            "Harvest: write the date and the nuts of each pick, a further line for a further pick"
        ),
        [
            text!("Tree"),
            text!("Where"),
            text!("Plot"),
            text!("Treatment"),
            text!("Date"),
            text!("Nuts (kg)"),
            text!("Moisture (%)"),
            text!("Remarks"),
        ],
    );
    let lines = tree_lines(layout);
    let observed = lines.iter().filter(|line| line.observed);
    for line in std::iter::repeat_n(observed, layout.picks_per_tree).flatten() {
        table.row(to_fill(line, format!("{}: {}", line.code, line.treatment), 4));
    }
    // For further picks.
    for _ in 0..SPARE_LINES {
        // A row's first cell names it, also to who hears the page.
        let mark = std::iter::once("\u{2026}".to_owned());
        table.row(mark.chain(std::iter::repeat_n(String::new(), 7)));
    }
    table
}

/// One line for each tree whose shoots are counted.
fn frames(layout: &Layout) -> Table {
    let mut table = Table::new(
        text!("Frames: write what was counted in each, a further line for a further frame"),
        [
            text!("Tree"),
            text!("Where"),
            text!("Plot"),
            text!("Treatment"),
            text!("Date"),
            text!("Area (m2)"),
            text!("Laterals"),
            text!("Flowering"),
            text!("Remarks"),
        ],
    );
    if counts_frames(layout) {
        for line in tree_lines(layout).iter().filter(|line| line.observed) {
            table.row(to_fill(line, treatment_words(line), 5));
        }
    }
    table
}

/// What is known of a tree, and so many cells to write in.
fn to_fill(line: &TreeLine<'_>, treatment: String, empty: usize) -> Vec<String> {
    let known = [line.tree.tree.clone(), stands(line.tree), line.plot.plot.clone(), treatment];
    known.into_iter().chain(std::iter::repeat_n(String::new(), empty)).collect()
}

fn balance(layout: &Layout) -> Table {
    let mut table = Table::new(
        text!("What was measured before, by treatment"),
        [text!("Treatment"), text!("Measured"), text!("#Mean")],
    );
    for mean in layout.balance.iter().flat_map(|report| &report.means) {
        let name = mean.covariate.as_str().replace('_', " ");
        table.row([mean.treatment.clone(), name, crate::number::fixed(mean.mean, 2)]);
    }
    table
}
