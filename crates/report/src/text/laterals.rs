//! Fixed words about laterals and the path from pruning to yield.

use words::{Text, constant, say};

pub const HEADING: Text = constant!("Shoots, flowers and the path to yield");
pub const F_DENSITY: Text = constant!("Laterals against pruning intensity");
pub const F_SHARE: Text = constant!("Share of laterals that flower");
pub const T_DENSITY: Text = constant!("Laterals and flowering laterals per m2 of canopy surface");
pub const T_SHARE: Text = constant!("Flowering laterals, per cent of laterals");
pub const AXIS_DENSITY: Text = constant!("Laterals (per m2)");
pub const AXIS_SHARE: Text = constant!("Flowering (% of laterals)");
pub const L_CLASSES: Text = constant!("counted, n frames");
pub const CAPTION_DENSITY: Text = constant!(
    "Expected laterals per m2 of canopy surface for an average tree in the latest season, with the interval. Circles are the counts themselves over their frame area, nothing taken out; the number beside each is the frames behind it."
);
pub const CAPTION_SHARE: Text = constant!(
    "Expected share of laterals that flower, with the interval. Circles are the counts themselves."
);

pub const T_EFFECTS: Text =
    constant!("What the change does to yield, by path (middle values need not add up exactly)");
pub const R_INDIRECT: Text = constant!("Through flowering laterals");
pub const R_DIRECT: Text = constant!("By everything else");
pub const R_TOTAL: Text = constant!("Together");

pub const ASSUMPTION: Text = constant!(
    "The split takes the link between flowering and yield as cause. It holds if nothing unmeasured drives both the flowering and the yield of a tree in the same season, such as a pest or a wet corner of a block, and if the pruning is not itself a sign of such a thing."
);
pub const WITHIN: Text = constant!(
    "What a tree always is, and what a site has in a season, is taken out first: the link rests on how one tree differs from season to season."
);
pub const BETWEEN: Text = constant!(
    "Trees have frames in one season only, so differences that always stand between trees, such as vigour, could not be taken out: read the split with caution."
);
pub const UNDONE_ALREADY: Text = constant!(
    "The interval of the part through flowering includes zero as it stands, so no hidden cause is needed to undo it."
);
pub const NEVER_UNDONE: Text = constant!(
    "No hidden cause with a correlation up to 0.95 would bring the interval of the part through flowering to zero (Imai, Keele and Yamamoto 2010)."
);

/// How strong a hidden cause would have to be.
pub fn undone(rho: &str, share: &str) -> String {
    say!(
        "How sure: a hidden cause would have to tie flowering and yield together with a correlation of {rho} in what the models leave unexplained (as if it stood behind {share} of the unexplained variation of each) before the interval of the part through flowering reached zero (Imai, Keele and Yamamoto 2010)."
    )
}

/// What the slope rests on.
pub fn slope(tree_seasons: &str, reliability: &str) -> String {
    say!(
        "The link rests on {tree_seasons} tree-seasons with frames and yield. A few frames measure a tree with error: they show {reliability} of the true differences between the seasons of a tree, and the rest is allowed for by regression calibration, not ignored."
    )
}

/// What was counted.
pub fn counted(frames: &str, trees: &str, tree_seasons: &str) -> String {
    say!("{frames} frame counts on {trees} trees ({tree_seasons} tree-seasons).")
}

/// Why there are no curves.
pub fn missing(why: &str) -> String {
    say!(
        "No curve of laterals is shown: {why}. Counting two frames a season on at least 30 trees, pruned and unpruned, would show it."
    )
}

/// Why there is no path.
pub fn no_path(why: &str) -> String {
    say!("How much of the effect on yield runs through flowering is not shown: {why}.")
}
