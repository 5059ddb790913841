//! Names of strata, errors and terms as people read them.
//!
//! Within an analysis a name is a key and stays English; it is put into words where it is shown.

use words::{say, text};

/// The name of a stratum, an error or a term in the language being spoken. Names of the trial's own
/// factors are kept, with spaces for their underscores.
#[must_use]
pub fn name_in_words(name: &str) -> String {
    let inside = |prefix: &str, suffix: &str| name.strip_prefix(prefix)?.strip_suffix(suffix);
    if let Some(stratum) = inside("error (", ")") {
        return say!("error ({stratum})", stratum = name_in_words(stratum));
    }
    if let Some(stratum) = inside("", " within environments") {
        return say!("{stratum} within environments", stratum = name_in_words(stratum));
    }
    if let Some(stratum) = inside("", " within sites") {
        return say!("{stratum} within sites", stratum = name_in_words(stratum));
    }
    if let Some(covariate) = inside("covariate ", "") {
        return say!("covariate {covariate}", covariate = name_in_words(covariate));
    }
    if let Some(slope) = inside("slope of ", "") {
        return say!("slope of {slope}", slope = name_in_words(slope));
    }
    name.split(" x ").map(part).collect::<Vec<_>>().join(" x ")
}

/// A place among the units of a trial, such as `replicate 1, main plot 3`, with its words in the
/// language being spoken and its ids as they are.
#[must_use]
pub fn place_in_words(place: &str) -> String {
    // The longer names first: a sub-sub plot is no plot.
    const UNITS: [&str; 10] = [
        "sub plot",
        "main plot",
        "replicate",
        "square",
        "column",
        "season",
        "block",
        "plot",
        "tree",
        "row",
    ];
    let said = place.split(", ").map(|part| {
        let unit = UNITS.iter().find_map(|unit| {
            let id = part.strip_prefix(unit)?.strip_prefix(' ')?;
            Some(format!("{} {id}", name_in_words(unit)))
        });
        unit.unwrap_or_else(|| part.to_owned())
    });
    said.collect::<Vec<_>>().join(", ")
}

fn part(name: &str) -> String {
    if name.ends_with(" against the rest") {
        return say!("control against the rest");
    }
    let known = match name {
        "replicates" => text!("replicates"),
        "replicate" => text!("replicate"),
        "squares" => text!("squares"),
        "rows" => text!("rows"),
        "columns" => text!("columns"),
        "blocks" => text!("blocks"),
        "block" => text!("block"),
        "blocks within replicates" => text!("blocks within replicates"),
        "square" => text!("square"),
        "row" => text!("row"),
        "column" => text!("column"),
        "main plot" => text!("main plot"),
        "sub plot" => text!("sub plot"),
        "tree" => text!("tree"),
        "checks against new entries" => text!("checks against new entries"),
        "among checks" => text!("among checks"),
        "among new entries" => text!("among new entries"),
        "main plots" => text!("main plots"),
        "sub plots" => text!("sub plots"),
        "sub-sub plots" => text!("sub-sub plots"),
        "strips one way" => text!("strips one way"),
        "strips across" => text!("strips across"),
        "crossings of strips" => text!("crossings of strips"),
        "plots" => text!("plots"),
        "plot" => text!("plot"),
        "trees" => text!("trees"),
        "trees within plots" => text!("trees within plots"),
        "season" => text!("season"),
        "seasons" => text!("seasons"),
        "site" => text!("site"),
        "sites" => text!("sites"),
        "environment" => text!("environment"),
        "environments" => text!("environments"),
        "treatment" => text!("treatment"),
        "treatments" => text!("treatments"),
        "earlier_crop" | "earlier crop" => text!("earlier crop"),
        "girth_cm" => text!("girth cm"),
        "girth" => text!("girth"),
        "intensity" => text!("intensity"),
        "lead" => text!("lead"),
        "lead_days" => text!("lead days"),
        "control" => text!("control"),
        "check" => text!("check"),
        "new entry" => text!("new entry"),
        "group" => text!("group"),
        "residual" => text!("residual"),
        "total" => text!("total"),
        "pooled error" => text!("pooled error"),
        "other differences of treatments" => text!("other differences of treatments"),
        own => return own.replace('_', " "),
    };
    known.to_owned()
}
