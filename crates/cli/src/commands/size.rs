//! `anacurve size`: how large the next trial must be.

mod at_hand;
mod locate;

use crate::args::{Format, SizeArgs};
use crate::console::{Failure, Outcome, Stages, print_after};
use crate::pipeline::{self, advice, components};
use records::{TrialDesign, counted};
use report::{
    ReportError, TrialCell, TrialPart, TrialPlot, TrialPoint, TrialSection, TrialSeries, TrialTable,
};
use serde::{Deserialize, Serialize};
use trials::name_in_words;
use trials::size::{
    Comparison, Components, Effect, SizeError, TradeOff, TradeOffCell, TradeOffRequest, TrialSize,
    trade_off,
};
use words::{Language, language, say, speaking, text, with_mark};

/// Coefficients of variation, per cent; absent ones are 0.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct Variations {
    replicate: f64,
    main_plot: f64,
    sub_plot: f64,
    plot: f64,
    tree: f64,
    season: f64,
    treatment_season: f64,
    main_plot_season: f64,
    plot_season: f64,
    tree_season: f64,
    /// Covariate that the values were adjusted for.
    adjusted_for: Option<String>,
    /// Upper limit of `plot`, where that was estimated at 0.
    plot_limit: Option<f64>,
}

impl Variations {
    /// The coefficients by their names in the file.
    fn named(&self) -> [(&'static str, f64); 10] {
        [
            ("replicate", self.replicate),
            ("main_plot", self.main_plot),
            ("sub_plot", self.sub_plot),
            ("plot", self.plot),
            ("tree", self.tree),
            ("season", self.season),
            ("treatment_season", self.treatment_season),
            ("main_plot_season", self.main_plot_season),
            ("plot_season", self.plot_season),
            ("tree_season", self.tree_season),
        ]
    }

    /// What of the file can be no coefficient of variation in per cent.
    fn fault(&self) -> Option<String> {
        let named = self.named();
        let mut all =
            named.iter().copied().chain(self.plot_limit.map(|limit| ("plot_limit", limit)));
        if let Some((name, value)) = all.find(|(_, value)| !(0.0..f64::INFINITY).contains(value)) {
            return Some(format!(
                "{name} = {value} is no coefficient of variation, which is 0 or more"
            ));
        }
        let (name, most) = named.into_iter().max_by(|(_, a), (_, b)| a.total_cmp(b))?;
        // No tree varies so little.
        (most > 0.0 && most < 1.0).then(|| {
            format!(
                "{name} = {most} would be {most} per cent and is the most that anything varies here; \
                 coefficients are in per cent: write {name} = {} for {} per cent",
                in_per_cent(most),
                in_per_cent(most)
            )
        })
    }

    /// Entries that may be fractions written among per cents.
    fn doubtful(&self) -> Option<String> {
        let small: Vec<String> = self
            .named()
            .into_iter()
            .filter(|(_, value)| *value > 0.0 && *value < 1.0)
            .map(|(name, value)| format!("{name} = {value}"))
            .collect();
        (!small.is_empty()).then(|| {
            say!(
                "Read as less than one per cent: {}. Coefficients of variation are in per cent, 35 for 35 per cent.",
                small.join(", ")
            )
        })
    }

    fn components(&self) -> Components {
        let square = |percent: f64| (percent / 100.0).powi(2);
        Components {
            replicate: square(self.replicate),
            main_plot: square(self.main_plot),
            sub_plot: square(self.sub_plot),
            plot: square(self.plot),
            tree: square(self.tree),
            season: square(self.season),
            treatment_season: square(self.treatment_season),
            main_plot_season: square(self.main_plot_season),
            plot_season: square(self.plot_season),
            tree_season: square(self.tree_season),
        }
    }
}

/// Computes the trade-off and shows it.
pub fn execute(args: &SizeArgs) -> Result<Outcome, Failure> {
    if let Some(difference) = args.difference
        && !(difference > 0.0 && difference.is_finite())
    {
        return Err(Failure::new(
            format!("--difference {difference} is no difference to be found"),
            "give what the better treatment yields more, per cent of the mean, such as --difference \
             20; without --difference the smallest that each size finds is told",
        ));
    }
    check_per_cents(args)?;
    let Known { components, mut words, plot_limit, at_hand } = known(args)?;
    let request = request(args, components)?;
    let found = trade_off(&request).map_err(refused)?;
    if let Some(limit) = plot_limit {
        words.push(with_limit(&request, &found, limit)?);
    }
    let mut part = part(args, &found, words);
    let within = at_hand::within(&found, &at_hand);
    let section = at_hand::section(args, &within);
    let shown =
        section.as_ref().map(|section| at_hand::text(args, section, &within)).unwrap_or_default();
    part.sections.extend(section);
    if language() != Language::English {
        // Headings of CSV files are English in every language.
        let english = speaking(Language::English, || {
            let mut english = self::part(args, &found, Vec::new());
            english.sections.extend(at_hand::section(args, &within));
            english
        });
        for (own, english) in part.sections.iter_mut().zip(&english.sections) {
            own.file_words_of(english);
        }
    }
    let located = locate::question(args, &request, components)?
        .map(|question| locate::located(args, &question))
        .transpose()
        .map_err(refused)?;
    if let Some(located) = &located {
        part.sections.push(located.section.clone());
    }
    if let Some(out) = &args.out {
        let json = json(&found, &within, located.as_ref())?;
        report::publish(out, report::Writer::Size, |dir| -> Result<(), ReportError> {
            report::write_size(&part, dir)?;
            let path = dir.join("size.json");
            std::fs::write(&path, &json).map_err(|source| ReportError::Write { path, source })
        })
        .map_err(|error| super::from_publish(&error))?;
    }
    let text = match args.format {
        Format::Text => text(args, &part, &found, &shown, located.as_ref()),
        Format::Json => json(&found, &within, located.as_ref())?,
    };
    print_after(&text, args.out.as_deref())?;
    Ok(Outcome::Done)
}

/// What is written as JSON: the trade-off, of a book what the trees of each region find, and where
/// the best level was asked for, its precision.
#[derive(Serialize)]
struct Answer<'a> {
    #[serde(flatten)]
    found: &'a TradeOff,
    #[serde(skip_serializing_if = "<[_]>::is_empty")]
    at_hand: &'a [at_hand::Within],
    #[serde(skip_serializing_if = "Option::is_none")]
    optimum: Option<&'a locate::Answer>,
}

fn json(
    found: &TradeOff,
    at_hand: &[at_hand::Within],
    located: Option<&locate::Located>,
) -> Result<String, Failure> {
    let optimum = located.map(|located| &located.answer);
    serde_json::to_string_pretty(&Answer { found, at_hand, optimum })
        .map(|text| text + "\n")
        .map_err(|error| Failure::new(error, ""))
}

fn refused(error: SizeError) -> Failure {
    Failure::new(error, "anacurve size --help explains the numbers; give others")
}

/// A fraction in per cent, without digits that multiplying adds.
fn in_per_cent(fraction: f64) -> f64 {
    (fraction * 1e10).round() / 1e8
}

/// Refuses a power and a level of the test that are no per cents.
fn check_per_cents(args: &SizeArgs) -> Result<(), Failure> {
    // A smaller power is nothing to plan for, a smaller level none that a trial is tested at, and a smaller difference
    // none that a field of trees is large enough for.
    let of_mean =
        |option, asked: Option<f64>| asked.map(|asked| (option, asked, 1.0, f64::INFINITY, "20"));
    let of_mean = [of_mean("--difference", args.difference), of_mean("--gain", args.gain)];
    for (option, value, least, most, usual) in
        [("--power", args.power, 1.0, 100.0, "80"), ("--alpha", args.alpha, 0.1, 100.0, "5")]
            .into_iter()
            .chain(of_mean.into_iter().flatten())
    {
        if (least..most).contains(&value) {
            continue;
        }
        let hint = if value > 0.0 && value < least {
            format!(
                "per cent is wanted: write {option} {} for {} per cent",
                in_per_cent(value),
                in_per_cent(value)
            )
        } else {
            format!("give per cent, {least} or more and below 100, such as {option} {usual}")
        };
        return Err(Failure::new(format!("{option} {value} is out of range"), hint));
    }
    Ok(())
}

/// What is known of the trees.
struct Known {
    components: Components,
    /// How the components came about.
    words: Vec<String>,
    /// Coefficient of variation between plots that is plausible where it was estimated at 0, %.
    plot_limit: Option<f64>,
    /// Trees that a book has for a new trial.
    at_hand: Vec<at_hand::AtHand>,
}

fn known(args: &SizeArgs) -> Result<Known, Failure> {
    if let Some(path) = &args.components {
        let shown = path.display();
        let hint = "write coefficients of variation in per cent, for example tree = 35; anacurve \
                    size --help lists them";
        let text = std::fs::read_to_string(path)
            .map_err(|error| Failure::new(format!("{shown}: {error}"), hint))?;
        let found: Variations = toml::from_str(&text)
            .map_err(|error| Failure::new(format!("{shown}: {}", error.message()), hint))?;
        if let Some(fault) = found.fault() {
            return Err(Failure::new(format!("{shown}: {fault}"), hint));
        }
        let mut words = vec![say!("Coefficients of variation as given in {shown}.")];
        words.extend(found.doubtful());
        if let Some(covariate) = &found.adjusted_for {
            let covariate = name_in_words(covariate);
            words.push(say!(
                "The components are of values adjusted for {covariate}: the next trial is as precise only if it is adjusted in the same way."
            ));
        }
        let plot_limit = found.plot_limit.filter(|limit| *limit > 0.0);
        let components = found.components();
        return Ok(Known { components, words, plot_limit, at_hand: Vec::new() });
    }
    let Some(book) = &args.book else {
        return Err(Failure::new(
            "neither a record book nor --components is given",
            "name a book whose records tell how much trees vary, or a file of coefficients of \
             variation",
        ));
    };
    let stages = Stages::new();
    let checked = pipeline::check(book, &stages);
    let checked = match checked {
        Ok(checked) => checked,
        Err(failure) => {
            stages.finish();
            return Err(failure);
        }
    };
    let model = advice::yield_model(&checked, 1, &stages);
    stages.finish();
    let model = model?;
    checked.still_holds(book)?;
    match model {
        Some(model) => {
            let table = advice::table_of(&checked)?;
            let (components, words) = components::of_book(&table, &checked, &model)?;
            let at_hand = at_hand::of_book(&checked, &table)?;
            Ok(Known { components, words, plot_limit: None, at_hand })
        }
        None => Err(Failure::new(
            format!("{}: the records are too few to tell how much trees vary", book.display()),
            "give coefficients of variation with --components; 30 to 40 % between trees is common",
        )),
    }
}

/// What the sizes would find if plots varied as much as is plausible still.
fn with_limit(request: &TradeOffRequest, found: &TradeOff, limit: f64) -> Result<String, Failure> {
    let mut request = request.clone();
    request.components.plot = (limit / 100.0).powi(2);
    let worse = trade_off(&request).map_err(refused)?;
    let same = found.least_trees.as_ref().and_then(|cell| {
        let size = |of: &TradeOffCell| (of.seasons, of.trees_per_plot, of.replicates);
        worse.cells.iter().find(|other| size(other) == size(cell))
    });
    Ok(match same.and_then(|cell| Some((cell, cell.power?))) {
        Some((cell, power)) => say!(
            "The variance between plots was estimated at 0, and may be as much as a coefficient of variation of {limit:.1} % (95 %): {}, {}, {} would then have a power of {}.",
            replicates_said(cell.replicates),
            per_plot_said(cell.trees_per_plot),
            seasons_said(cell.seasons),
            percent(power)
        ),
        None => say!(
            "The variance between plots was estimated at 0, and may be as much as a coefficient of variation of {limit:.1} % (95 %): these sizes may find less than is told."
        ),
    })
}

fn request(args: &SizeArgs, components: Components) -> Result<TradeOffRequest, Failure> {
    let split = matches!(
        args.design,
        TrialDesign::SplitPlot | TrialDesign::SplitSplitPlot | TrialDesign::StripPlot
    );
    if split && (args.main < 2 || args.sub < 2) {
        return Err(Failure::new(
            format!("a {} design needs --main and --sub", args.design.words()),
            "give the number of main-plot and of sub-plot treatments, two or more of each, for example --main 3 --sub 4",
        ));
    }
    if !split && args.treatments < 2 {
        return Err(Failure::new(
            if args.treatments == 0 {
                "--treatments is missing"
            } else {
                "--treatments 1 leaves nothing to compare"
            },
            "give the number of treatments, two or more, the control among them",
        ));
    }
    let replicates = args.replicates.first().copied().unwrap_or(4);
    let size = TrialSize {
        main: args.main.max(1),
        sub: args.sub.max(1),
        sub_sub: args.sub_sub.max(1),
        checks: args.checks,
        blocks_per_replicate: args.blocks.max(1),
        efficiency: args.efficiency,
        other_seasons: args.other_seasons,
        ..TrialSize::of(args.design, if split { 1 } else { args.treatments }, replicates)
    };
    let comparison =
        args.compare.unwrap_or(if split { Comparison::Sub } else { Comparison::Treatments });
    Ok(TradeOffRequest {
        size,
        components,
        comparison,
        effect: args.difference.map(|difference| Effect::Difference(difference / 100.0)),
        alpha: args.alpha / 100.0,
        target: args.power / 100.0,
        trees_per_plot: args.trees.clone(),
        replicates: args.replicates.clone(),
        seasons: args.seasons.clone(),
    })
}

/// A number as it was typed, with the decimal mark of the language.
fn typed(number: f64) -> String {
    with_mark(&number.to_string())
}

fn percent(share: f64) -> String {
    format!("{:.0} %", 100.0 * share)
}

fn replicates_said(number: usize) -> String {
    counted(number as u64, text!("replicate"), text!("replicates"))
}

fn per_plot_said(number: usize) -> String {
    counted(number as u64, text!("tree per plot"), text!("trees per plot"))
}

fn seasons_said(number: usize) -> String {
    counted(number as u64, text!("season"), text!("seasons"))
}

fn cell_words(cell: &TradeOffCell) -> String {
    let size = say!(
        "{} of {}, {}, {}: {}",
        replicates_said(cell.replicates),
        counted((cell.plots / cell.replicates.max(1)) as u64, text!("plot"), text!("plots")),
        per_plot_said(cell.trees_per_plot),
        seasons_said(cell.seasons),
        counted(cell.trees as u64, text!("tree"), text!("trees"))
    );
    let sed = 100.0 * cell.sed;
    match cell.power {
        Some(power) => say!(
            "{size}; power {}, a difference of two means has a standard error of {sed:.1} % of the mean",
            percent(power)
        ),
        None => say!(
            "{size}, which find a difference of {}; a difference of two means has a standard error of {sed:.1} % of the mean",
            percent(cell.detectable)
        ),
    }
}

fn finding(args: &SizeArgs, found: &TradeOff) -> String {
    let Some(difference) = args.difference else {
        let least = |a: &&TradeOffCell, b: &&TradeOffCell| a.detectable.total_cmp(&b.detectable);
        let best = found.cells.iter().min_by(least);
        let best = best.map(cell_words).unwrap_or_default();
        return say!(
            "Of the sizes tried, the smallest difference of two means, in per cent of the mean, is found with {} % probability at {} % by {best}.",
            typed(args.power),
            typed(args.alpha)
        );
    };
    let asked = say!(
        "To find a difference of {} % of the mean with {} % probability at {} %",
        typed(difference),
        typed(args.power),
        typed(args.alpha)
    );
    match &found.least_trees {
        Some(cell) => say!("{asked}, the fewest trees are {}.", cell_words(cell)),
        None => {
            let power = |cell: &TradeOffCell| cell.power.unwrap_or_default();
            let most = found.cells.iter().max_by(|a, b| power(a).total_cmp(&power(b)));
            let best = most
                .map_or_else(String::new, |cell| say!(" The most powerful: {}.", cell_words(cell)));
            say!("{asked}, none of these sizes suffices.{best}")
        }
    }
}

fn part(args: &SizeArgs, found: &TradeOff, words: Vec<String>) -> TrialPart {
    let heads = [
        text!("Seasons"),
        text!("#Trees per plot"),
        text!("#Replicates"),
        text!("#Plots"),
        text!("#Trees"),
        text!("#Trees x seasons"),
        text!("#SEd, % of the mean"),
        text!("#df"),
        text!("#Smallest found, %"),
        text!("#Power, %"),
    ];
    let design = args.design.name();
    let caption = match args.difference {
        Some(difference) => say!(
            "Power for a difference of {} % of the mean at {} %: {}",
            typed(difference),
            typed(args.alpha),
            design
        ),
        None => say!(
            "Smallest difference, % of the mean, found with {} % probability at {} %: {}",
            typed(args.power),
            typed(args.alpha),
            design
        ),
    };
    let shown = heads.len() - usize::from(args.difference.is_none());
    let mut table = TrialTable::new("trade-off", caption, &heads[..shown]);
    for cell in &found.cells {
        let mut row = vec![
            TrialCell::Text(cell.seasons.to_string()),
            TrialCell::Number(Some(cell.trees_per_plot as f64), 0),
            TrialCell::Number(Some(cell.replicates as f64), 0),
            TrialCell::Number(Some(cell.plots as f64), 0),
            TrialCell::Number(Some(cell.trees as f64), 0),
            TrialCell::Number(Some(cell.tree_seasons as f64), 0),
            TrialCell::Number(Some(100.0 * cell.sed), 1),
            TrialCell::Number(Some(cell.df), 1),
            TrialCell::Number(Some(100.0 * cell.detectable), 1),
            TrialCell::Number(cell.power.map(|power| 100.0 * power), 0),
        ];
        row.truncate(shown);
        table.rows.push(row);
    }
    let mut paragraphs = words;
    if let Some(cell) = &found.least_tree_seasons {
        paragraphs
            .push(say!("Fewest trees to prune and pick over the seasons: {}.", cell_words(cell)));
    }
    paragraphs.push(say!(
        "Power by the exact noncentral F distribution, of one pair of means chosen in advance: no adjustment for the number of comparisons, for which more trees are needed; the error of a difference by components (plot + tree / trees per plot + season parts / seasons, over replicates)."
    ));
    TrialPart {
        heading: say!("Size of the next trial"),
        slug: "size".to_owned(),
        finding: finding(args, found),
        refused: None,
        sections: vec![TrialSection {
            heading: say!("Trees, replicates and seasons"),
            paragraphs,
            tables: vec![table],
            plots: args.seasons.iter().map(|&seasons| plot(args, found, seasons)).collect(),
        }],
        files: Vec::new(),
    }
}

/// Power against replicates for one number of seasons, a line for each number of trees per plot.
fn plot(args: &SizeArgs, found: &TradeOff, seasons: usize) -> TrialPlot {
    let series = args.trees.iter().map(|&trees| {
        let own = found
            .cells
            .iter()
            .filter(|cell| cell.seasons == seasons && cell.trees_per_plot == trees);
        TrialSeries {
            name: per_plot_said(trees),
            points: own
                .map(|cell| TrialPoint {
                    x: cell.replicates as f64,
                    y: 100.0 * cell.power.unwrap_or(cell.detectable),
                    name: replicates_said(cell.replicates),
                })
                .collect(),
            joined: true,
        }
    });
    let seasons_said = seasons_said(seasons);
    let (name, title, caption, y_title) = match args.difference {
        Some(_) => (
            "power",
            say!("Power with {}", seasons_said),
            say!("Probability of finding the difference; the dashed line is what was asked for."),
            say!("Power (%)"),
        ),
        None => (
            "smallest",
            say!("Smallest difference found with {}", seasons_said),
            say!("Per cent of the mean, found with {} % probability.", typed(args.power)),
            say!("Smallest difference (%)"),
        ),
    };
    TrialPlot {
        name: format!("{name}-{seasons}"),
        title,
        caption,
        x_title: say!("Replicates"),
        y_title,
        categories: Vec::new(),
        series: series.collect(),
        curves: Vec::new(),
        bar: None,
        levels: args.difference.map(|_| args.power).into_iter().collect(),
        span: None,
    }
}

fn text(
    args: &SizeArgs,
    part: &TrialPart,
    found: &TradeOff,
    at_hand: &str,
    located: Option<&locate::Located>,
) -> String {
    let mut out = format!("{}\n", part.finding);
    for paragraph in part.sections.first().iter().flat_map(|section| &section.paragraphs) {
        out.push_str(&format!("{paragraph}\n"));
    }
    for &seasons in &args.seasons {
        let shown = match args.difference {
            Some(_) => text!("Power in per cent"),
            None => text!("Smallest difference found, per cent of the mean"),
        };
        let head = name_in_words("replicates");
        let per_plot: Vec<String> =
            args.trees.iter().map(|trees| format!("{trees:>3} {}", text!("per plot"))).collect();
        let names = per_plot.iter().chain([&head]).map(|name| name.chars().count());
        let width = names.max().unwrap_or(0);
        out.push_str(&format!("\n{shown}, {}\n  {head:width$}", seasons_said(seasons)));
        for replicates in &args.replicates {
            out.push_str(&format!("{replicates:>5}"));
        }
        out.push('\n');
        for (&trees, name) in args.trees.iter().zip(&per_plot) {
            out.push_str(&format!("  {name:width$}"));
            for &replicates in &args.replicates {
                let cell = found.cells.iter().find(|cell| {
                    (cell.seasons, cell.trees_per_plot, cell.replicates)
                        == (seasons, trees, replicates)
                });
                match cell {
                    Some(cell) => {
                        let shown = cell.power.unwrap_or(cell.detectable);
                        out.push_str(&format!("{:>5.0}", 100.0 * shown));
                    }
                    None => out.push_str("    -"),
                }
            }
            out.push('\n');
        }
    }
    out.push_str(at_hand);
    out.push_str(&located.map(locate::text).unwrap_or_default());
    if let Some(dir) = &args.out {
        out.push_str(&say!("Page: {}", dir.join("size.html").display()));
        out.push('\n');
    }
    out
}
