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
    if let Some(covariate) = inside("covariate ", "") {
        return say!("covariate {covariate}", covariate = name_in_words(covariate));
    }
    if let Some(slope) = inside("slope of ", "") {
        return say!("slope of {slope}", slope = name_in_words(slope));
    }
    name.split(" x ").map(part).collect::<Vec<_>>().join(" x ")
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
