//! The season just closed: yields against expectation, rankings, trees that need a look, last advice scored, and zones for blocks without a region.

mod bearing;
mod columns;
mod decomposition;
mod error;
mod kept;
mod plan_kept;
mod ranking;
mod scale;
mod score;
#[cfg(test)]
mod simulated;
mod watch;
mod zones;

pub use bearing::{Bearing, BearingTrees, TreeBearing, bearing};
pub use columns::{Labels, TreeSeasons};
pub use decomposition::{
    EarlierCrop, GroupReview, Grouping, Part, PartKg, SeasonReview, TreeLevel, TreeReview,
    attribute,
};
pub use error::ReviewError;
pub use kept::{
    KEPT_FORMAT, KeptAdvice, KeptBlock, KeptCuts, KeptPractice, KeptPresent, KeptRegion,
    PresentTrees, Treated, Unscored, UnscoredReason,
};
pub use plan_kept::{BlockKept, Kept, PlanKept, Planned, Pruned, Tolerance, plan_kept};
pub use ranking::{RankSettings, Ranked, Ranking, rank};
pub use scale::Scale;
pub use score::{
    Appended, Comparison, HitRate, InSeason, Predicted, Quantity, Realised, ScoreRecord, ScoreRow,
    Side, binomial_interval, interval_score, realised_gain, score,
};
pub use watch::{
    Place, Places, PoorTree, SuddenTree, Suspect, SuspectKind, Watch, WatchSettings,
    benjamini_hochberg, watch, worst_share,
};
pub use zones::{
    FeatureKind, Features, GapPoint, Groups, OtherGroup, Zone, ZoneCount, ZoneFeature,
    ZoneSettings, Zones, adjusted_rand_index, average_linkage, gap_statistic, k_means, propose,
    silhouette,
};
