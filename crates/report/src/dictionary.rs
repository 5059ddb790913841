//! What every field of the result files, and every number of the pages, means: place, column, unit.

use words::{Text, constant};

/// One field of a result file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Field {
    /// Path in `advice.json` or `laterals.json`, `[]` standing for each element of a list; file of a
    /// table of the plan; place on a page; empty for fields of `workplan.csv`.
    pub path: &'static str,
    /// Column in the CSV, Parquet or XLSX table; empty when it has none.
    pub column: &'static str,
    /// Name for people of a number of the pages; empty for fields of files.
    pub title: Text,
    /// Unit or kind of value.
    pub unit: Text,
    /// Meaning, and when it is empty.
    pub meaning: Text,
}

macro_rules! fields {
    ($name:ident, $doc:literal: $($path:literal $column:literal $unit:literal $meaning:literal;)*) => {
        #[doc = $doc]
        #[must_use]
        pub fn $name() -> &'static [Field] {
            const FIELDS: &[Field] = &[$(Field {
                path: $path,
                column: $column,
                title: Text::same(""),
                unit: constant!($unit),
                meaning: constant!($meaning),
            },)*];
            FIELDS
        }
    };
}

/// Numbers of the pages: place, title, unit, meaning.
macro_rules! numbers {
    ($name:ident, $doc:literal: $($path:literal $title:literal $unit:literal $meaning:literal;)*) => {
        #[doc = $doc]
        #[must_use]
        pub fn $name() -> &'static [Field] {
            const FIELDS: &[Field] = &[$(Field {
                path: $path,
                column: "",
                title: constant!($title),
                unit: constant!($unit),
                meaning: constant!($meaning),
            },)*];
            FIELDS
        }
    };
}

mod page;

pub use page::{page_fields, review_fields, trial_fields};

fields! { advice_fields, "Fields of `advice.json`, in its order, with their columns in `advice.csv` and `advice.parquet`.":
    "book" "book" "text" "Name of the record book.";
    "season" "latest_season" "year" "Latest season that advice is for in any region, not the last one on record: the year in which its harvest window opens.";
    "seed" "seed" "whole number" "Seed of every random draw; the same records and seed give the same files.";
    "version" "version" "text" "Version of the program.";
    "inputs" "inputs_fingerprint" "text" "One fingerprint of all input files: equal fingerprints, equal records. manifest.json has that of each file.";
    "currency" "currency" "text" "Currency of every money amount.";
    "tolerance_pct" "tolerance_pct" "per cent" "Loss tolerated, per cent of the best net return.";
    "regions" "" "list" "One entry per region, sorted by region id; one row per region in the tables.";
    "regions[].region" "region" "text" "Region id of the record book.";
    "regions[].name" "name" "text" "Region name for people.";
    "regions[].season" "season" "year" "Season advised for in this region: the year in which its harvest window opens.";
    "regions[].verdict" "verdict" "prune, keep, trial" "prune: the records support a change; keep: the present practice is within tolerance of the best; trial: the records cannot tell.";
    "regions[].reason" "reason" "text" "Why, in one sentence.";
    "regions[].evidence" "evidence" "trial, routine, mixed" "Whether the trees behind the advice come from randomised trials, everyday pruning records, or both.";
    "regions[].rows" "rows" "count" "Tree-seasons used by the yield model.";
    "regions[].trees" "trees" "count" "Trees behind them.";
    "regions[].seasons" "seasons" "count" "Seasons behind them.";
    "regions[].tested_intensity" "" "list of two, or empty" "Lowest and highest canopy fraction the records support; empty when they support none.";
    "regions[].tested_intensity[0]" "tested_intensity_low" "fraction 0 to 1" "Lowest supported canopy fraction.";
    "regions[].tested_intensity[1]" "tested_intensity_high" "fraction 0 to 1" "Highest supported canopy fraction.";
    "regions[].untried_intensity" "" "list of two, or empty" "Widest stretch between these in which no cut was tried, where it is wider than 30 % of the canopy.";
    "regions[].untried_intensity[0]" "untried_intensity_low" "fraction 0 to 1" "Its lower end.";
    "regions[].untried_intensity[1]" "untried_intensity_high" "fraction 0 to 1" "Its upper end.";
    "regions[].tested_lead" "" "list of two, or empty" "Lowest and highest supported lead; empty when nothing was pruned.";
    "regions[].tested_lead[0]" "tested_lead_low" "days before flush" "Lowest supported lead; negative after the flush began.";
    "regions[].tested_lead[1]" "tested_lead_high" "days before flush" "Highest supported lead.";
    "regions[].present" "" "group" "Present practice.";
    "regions[].present.intensity" "present_intensity" "fraction 0 to 1" "Mean canopy fraction removed over all trees, unpruned ones counting 0.";
    "regions[].present.lead_days" "present_lead_days" "days before flush" "Mean lead weighted by intensity; empty when nothing was pruned.";
    "regions[].present.share_pruned" "present_share_pruned" "fraction 0 to 1" "Share of trees pruned at all.";
    "regions[].present.middle" "" "list of two, or empty" "Canopy fractions between which nine trees in ten lie; empty in advice of an earlier version.";
    "regions[].present.middle[0]" "present_middle_low" "fraction 0 to 1" "Canopy fraction below which one tree in twenty lies.";
    "regions[].present.middle[1]" "present_middle_high" "fraction 0 to 1" "Canopy fraction above which one tree in twenty lies.";
    "regions[].present.season" "present_season" "year" "Season it was read from; empty when stated in book.toml or assumed unpruned.";
    "regions[].present.in_turn" "present_in_turn" "seasons" "Seasons up to that one that it was read from together, as every tree is pruned in one of them; 1 where trees are not pruned in turn.";
    "regions[].present.before" "" "group, or empty" "The season before, where quite another practice was recorded then: a share of trees pruned that differs by more than 0.25, or a mean intensity that differs by more than 0.1.";
    "regions[].present.before.share_pruned" "present_before_share_pruned" "fraction 0 to 1" "Share of trees pruned at all in that season.";
    "regions[].present.before.intensity" "present_before_intensity" "fraction 0 to 1" "Mean canopy fraction removed in that season over all trees, unpruned ones counting 0.";
    "regions[].present.left_to_compare" "present_left_to_compare" "trees" "Trees of that season that are not counted, as they were treated unlike the advice kept for it, to be compared with the others.";
    "regions[].present.younger" "present_younger" "trees" "Trees of that season that are not counted, as they are younger than the trees on record that were cut about as hard as is usual (the third youngest of these).";
    "regions[].present.is_assumed" "present_is_assumed" "true or false" "Whether neither records nor book.toml tell it, so that trees are taken to be left unpruned.";
    "regions[].yield_optimum" "" "group, or empty" "Intensity of the highest expected yield within the supported range; empty when nothing is supported.";
    "regions[].yield_optimum.median" "yield_optimum_median" "fraction 0 to 1" "Posterior median of that intensity.";
    "regions[].yield_optimum.low" "yield_optimum_low" "fraction 0 to 1" "Lower limit.";
    "regions[].yield_optimum.high" "yield_optimum_high" "fraction 0 to 1" "Upper limit.";
    "regions[].yield_optimum.level" "yield_optimum_level" "probability" "Probability content of the limits.";
    "regions[].yield_optimum.p_lower_edge" "yield_optimum_p_lower_edge" "probability" "That the optimum lies at the lower edge of the supported range.";
    "regions[].yield_optimum.p_inside" "yield_optimum_p_inside" "probability" "That it lies inside.";
    "regions[].yield_optimum.p_upper_edge" "yield_optimum_p_upper_edge" "probability" "That it lies at the upper edge.";
    "regions[].yield_optimum.p_bends_down" "yield_optimum_p_bends_down" "probability" "That the curve bends down at all.";
    "regions[].net_optimum" "" "group, or empty" "Intensity of the highest expected net return within the supported range; empty when nothing is supported.";
    "regions[].net_optimum.median" "net_optimum_median" "fraction 0 to 1" "Posterior median of that intensity.";
    "regions[].net_optimum.low" "net_optimum_low" "fraction 0 to 1" "Lower limit.";
    "regions[].net_optimum.high" "net_optimum_high" "fraction 0 to 1" "Upper limit.";
    "regions[].net_optimum.level" "net_optimum_level" "probability" "Probability content of the limits.";
    "regions[].net_optimum.p_lower_edge" "net_optimum_p_lower_edge" "probability" "That the optimum lies at the lower edge of the supported range.";
    "regions[].net_optimum.p_inside" "net_optimum_p_inside" "probability" "That it lies inside.";
    "regions[].net_optimum.p_upper_edge" "net_optimum_p_upper_edge" "probability" "That it lies at the upper edge.";
    "regions[].net_optimum.p_bends_down" "net_optimum_p_bends_down" "probability" "That the curve bends down at all.";
    "regions[].lead_optimum" "" "group, or empty" "Lead of the highest expected net return within the supported range; empty when timing is not part of the model.";
    "regions[].lead_optimum.median" "lead_optimum_median" "days before flush" "Posterior median.";
    "regions[].lead_optimum.low" "lead_optimum_low" "days before flush" "Lower limit.";
    "regions[].lead_optimum.high" "lead_optimum_high" "days before flush" "Upper limit.";
    "regions[].lead_optimum.level" "lead_optimum_level" "probability" "Probability content of the limits.";
    "regions[].gains_lead_days" "gains_lead_days" "days before flush" "Day for which the gains are reckoned; empty where nothing is pruned.";
    "regions[].keeps_usual_dates" "keeps_usual_dates" "true or false" "Whether that is near the region's usual dates because no others earn more, by over the tolerated loss, with a chance of 97.5 %.";
    "regions[].other_dates" "" "group, or empty" "Dates expected to earn more than the usual ones by over the tolerated loss, though with a smaller chance than moving to them needs.";
    "regions[].other_dates.lead_days" "other_dates_lead_days" "days before flush" "Lead of these dates.";
    "regions[].other_dates.net_gain" "" "group" "What they earn more.";
    "regions[].other_dates.net_gain.median" "other_dates_net_gain" "money per tree" "Posterior median.";
    "regions[].other_dates.net_gain.low" "other_dates_net_gain_low" "money per tree" "Lower limit.";
    "regions[].other_dates.net_gain.high" "other_dates_net_gain_high" "money per tree" "Upper limit.";
    "regions[].other_dates.net_gain.level" "other_dates_net_gain_level" "probability" "Probability content of the limits.";
    "regions[].other_dates.chance" "other_dates_chance" "probability" "Chance that they earn more.";
    "regions[].inversion_set" "" "group, or empty" "Confidence set of the curve's turning point by inverting the test of a zero slope, not limited to the tested range.";
    "regions[].inversion_set.kind" "inversion_set_kind" "interval, two_rays, whole_line, empty" "Its shape: from the first bound to the second; up to the first and from the second on; every intensity; none.";
    "regions[].inversion_set.bounds" "" "list" "Bounds in the order the shape names them; empty for the whole line.";
    "regions[].inversion_set.bounds[0]" "inversion_set_bound_1" "fraction" "First bound; may lie outside 0 to 1.";
    "regions[].inversion_set.bounds[1]" "inversion_set_bound_2" "fraction" "Second bound; may lie outside 0 to 1.";
    "regions[].inversion_set.level" "inversion_set_level" "probability" "Confidence level.";
    "regions[].band" "" "list of two, or empty" "Intensities whose expected loss of net return stays under the tolerance.";
    "regions[].band[0]" "band_low" "fraction 0 to 1" "Lowest of them.";
    "regions[].band[1]" "band_high" "fraction 0 to 1" "Highest of them.";
    "regions[].advised" "" "group, or empty" "What to do; empty when the verdict is trial.";
    "regions[].advised.intensity" "advised_intensity" "fraction 0 to 1" "Fraction of the canopy to remove.";
    "regions[].advised.lead_days" "advised_lead_days" "days before flush" "When; empty when the advice is to leave trees unpruned.";
    "regions[].advised.window" "" "list of two, or empty" "First and last date of the pruning window; empty when the advice is to leave trees unpruned.";
    "regions[].advised.window[0]" "advised_window_from" "date" "First day.";
    "regions[].advised.window[1]" "advised_window_to" "date" "Last day.";
    "regions[].interim" "" "group, or empty" "What to do until the trial is read, inside the tested range; empty unless the verdict is trial for the odds alone or because the best intensity lies beyond what was tried, and this practice has at least three chances in four of earning more than the present one.";
    "regions[].interim.intensity" "interim_intensity" "fraction 0 to 1" "Fraction of the canopy to remove.";
    "regions[].interim.lead_days" "interim_lead_days" "days before flush" "When.";
    "regions[].interim.window" "" "list of two, or empty" "First and last date.";
    "regions[].interim.window[0]" "interim_window_from" "date" "First day.";
    "regions[].interim.window[1]" "interim_window_to" "date" "Last day.";
    "regions[].present_yield_kg" "" "group, or empty" "Expected yield of present practice: the trees, blocks and ages of the latest season, in an average season. The limits are those of what is expected; the yield of one season varies more.";
    "regions[].present_yield_kg.median" "present_yield_kg_median" "kg per tree" "Posterior median.";
    "regions[].present_yield_kg.low" "present_yield_kg_low" "kg per tree" "Lower limit.";
    "regions[].present_yield_kg.high" "present_yield_kg_high" "kg per tree" "Upper limit.";
    "regions[].present_yield_kg.level" "present_yield_kg_level" "probability" "Probability content of the limits.";
    "regions[].gain_over_unpruned_kg" "" "group, or empty" "Gain in yield of the advised practice (for keep and trial, the best supported one) over leaving trees unpruned.";
    "regions[].gain_over_unpruned_kg.median" "gain_over_unpruned_kg_median" "kg per tree" "Posterior median.";
    "regions[].gain_over_unpruned_kg.low" "gain_over_unpruned_kg_low" "kg per tree" "Lower limit.";
    "regions[].gain_over_unpruned_kg.high" "gain_over_unpruned_kg_high" "kg per tree" "Upper limit.";
    "regions[].gain_over_unpruned_kg.level" "gain_over_unpruned_kg_level" "probability" "Probability content of the limits.";
    "regions[].gain_over_present_kg" "" "group, or empty" "Gain in yield of the same practice over present practice.";
    "regions[].gain_over_present_kg.median" "gain_over_present_kg_median" "kg per tree" "Posterior median.";
    "regions[].gain_over_present_kg.low" "gain_over_present_kg_low" "kg per tree" "Lower limit.";
    "regions[].gain_over_present_kg.high" "gain_over_present_kg_high" "kg per tree" "Upper limit.";
    "regions[].gain_over_present_kg.level" "gain_over_present_kg_level" "probability" "Probability content of the limits.";
    "regions[].net_gain_over_present" "" "group, or empty" "Gain in net return of the same practice over present practice.";
    "regions[].net_gain_over_present.median" "net_gain_over_present_median" "money per tree" "Posterior median.";
    "regions[].net_gain_over_present.low" "net_gain_over_present_low" "money per tree" "Lower limit.";
    "regions[].net_gain_over_present.high" "net_gain_over_present_high" "money per tree" "Upper limit.";
    "regions[].net_gain_over_present.level" "net_gain_over_present_level" "probability" "Probability content of the limits.";
    "regions[].net_gain_over_present.currency" "net_gain_over_present_currency" "text" "Currency of the amounts.";
    "regions[].p_gain" "p_gain" "probability" "That the advised (without advice, the best supported) practice earns more than present practice.";
    "regions[].returns" "" "group, or empty" "What the advised (without advice, the best supported) practice brings beside present practice; empty where the gains are.";
    "regions[].returns.mean_net_gain" "mean_net_gain" "money per tree" "Expected net gain over present practice.";
    "regions[].returns.wood_gain" "wood_gain" "money per tree" "What the wood cut more than at present brings of the gain, after haulage.";
    "regions[].returns.mean_net_over_unpruned" "mean_net_over_unpruned" "money per tree" "Expected net gain over leaving trees unpruned; empty when the records hold no unpruned trees.";
    "regions[].returns.net_gain_per_ha" "" "group, or empty" "Net gain over present practice per ha; empty without spacings.";
    "regions[].returns.net_gain_per_ha.median" "net_gain_per_ha_median" "money per ha" "Posterior median.";
    "regions[].returns.net_gain_per_ha.low" "net_gain_per_ha_low" "money per ha" "Lower limit.";
    "regions[].returns.net_gain_per_ha.high" "net_gain_per_ha_high" "money per ha" "Upper limit.";
    "regions[].returns.net_gain_per_ha.level" "net_gain_per_ha_level" "probability" "Probability content of the limits.";
    "regions[].returns.odds_of_loss" "odds_of_loss" "probability" "That the practice earns less than present practice.";
    "regions[].returns.break_even_price" "" "group" "Quoted price at which the practice earns as much as present practice, the wage as stated.";
    "regions[].returns.break_even_price.pays" "break_even_price_pays" "above, below" "Side of the break-even price on which the practice pays.";
    "regions[].returns.break_even_price.median" "break_even_price_median" "money per kg" "Posterior median; empty when it lies beyond every price.";
    "regions[].returns.break_even_price.low" "break_even_price_low" "money per kg" "Lower limit; empty when it lies beyond every price.";
    "regions[].returns.break_even_price.high" "break_even_price_high" "money per kg" "Upper limit; empty when it lies beyond every price.";
    "regions[].returns.break_even_price.level" "break_even_price_level" "probability" "Probability content of the limits.";
    "regions[].returns.break_even_price.never" "break_even_price_never" "probability" "That it pays at no price.";
    "regions[].returns.break_even_price.always" "break_even_price_always" "probability" "That it pays at every price.";
    "regions[].returns.break_even_wage" "" "group, or empty" "Wage at which the practice earns as much as present practice, the price as stated; empty when it takes the same hours.";
    "regions[].returns.break_even_wage.pays" "break_even_wage_pays" "above, below" "Side of the break-even wage on which the practice pays.";
    "regions[].returns.break_even_wage.median" "break_even_wage_median" "money per hour" "Posterior median; empty when it lies beyond every wage.";
    "regions[].returns.break_even_wage.low" "break_even_wage_low" "money per hour" "Lower limit; empty when it lies beyond every wage.";
    "regions[].returns.break_even_wage.high" "break_even_wage_high" "money per hour" "Upper limit; empty when it lies beyond every wage.";
    "regions[].returns.break_even_wage.level" "break_even_wage_level" "probability" "Probability content of the limits.";
    "regions[].returns.break_even_wage.never" "break_even_wage_never" "probability" "That it pays at no wage.";
    "regions[].returns.break_even_wage.always" "break_even_wage_always" "probability" "That it pays at every wage.";
    "regions[].lateness" "" "list" "What pruning later than the advised (without advice, the best supported) date costs: two entries; none when timing is not part of the model or nothing is to be pruned.";
    "regions[].lateness[0]" "" "group" "First delay.";
    "regions[].lateness[0].days" "late_1_days" "days" "Days after the date.";
    "regions[].lateness[0].loss_kg" "" "group, or empty" "Yield lost by it; empty where no pruning so late at this intensity is recorded.";
    "regions[].lateness[0].loss_kg.median" "late_1_loss_kg_median" "kg per tree" "Posterior median.";
    "regions[].lateness[0].loss_kg.low" "late_1_loss_kg_low" "kg per tree" "Lower limit.";
    "regions[].lateness[0].loss_kg.high" "late_1_loss_kg_high" "kg per tree" "Upper limit.";
    "regions[].lateness[0].loss_kg.level" "late_1_loss_kg_level" "probability" "Probability content of the limits.";
    "regions[].lateness[0].net_loss" "" "group, or empty" "Net return lost by it.";
    "regions[].lateness[0].net_loss.median" "late_1_net_loss_median" "money per tree" "Posterior median.";
    "regions[].lateness[0].net_loss.low" "late_1_net_loss_low" "money per tree" "Lower limit.";
    "regions[].lateness[0].net_loss.high" "late_1_net_loss_high" "money per tree" "Upper limit.";
    "regions[].lateness[0].net_loss.level" "late_1_net_loss_level" "probability" "Probability content of the limits.";
    "regions[].lateness[1]" "" "group" "Second delay.";
    "regions[].lateness[1].days" "late_2_days" "days" "Days after the date.";
    "regions[].lateness[1].loss_kg" "" "group, or empty" "Yield lost by it; empty where no pruning so late at this intensity is recorded.";
    "regions[].lateness[1].loss_kg.median" "late_2_loss_kg_median" "kg per tree" "Posterior median.";
    "regions[].lateness[1].loss_kg.low" "late_2_loss_kg_low" "kg per tree" "Lower limit.";
    "regions[].lateness[1].loss_kg.high" "late_2_loss_kg_high" "kg per tree" "Upper limit.";
    "regions[].lateness[1].loss_kg.level" "late_2_loss_kg_level" "probability" "Probability content of the limits.";
    "regions[].lateness[1].net_loss" "" "group, or empty" "Net return lost by it.";
    "regions[].lateness[1].net_loss.median" "late_2_net_loss_median" "money per tree" "Posterior median.";
    "regions[].lateness[1].net_loss.low" "late_2_net_loss_low" "money per tree" "Lower limit.";
    "regions[].lateness[1].net_loss.high" "late_2_net_loss_high" "money per tree" "Upper limit.";
    "regions[].lateness[1].net_loss.level" "late_2_net_loss_level" "probability" "Probability content of the limits.";
    "regions[].late_per_day" "" "group, or empty" "Net return lost per day of delay: the line through no loss at no delay and these delays, in each draw; below 0 where being late gains; empty where no pruning so late is recorded.";
    "regions[].late_per_day.median" "late_per_day_median" "money per tree and day" "Posterior median.";
    "regions[].late_per_day.low" "late_per_day_low" "money per tree and day" "Lower limit.";
    "regions[].late_per_day.high" "late_per_day_high" "money per tree and day" "Upper limit.";
    "regions[].late_per_day.level" "late_per_day_level" "probability" "Probability content of the limits.";
    "regions[].horizon" "" "group, or empty" "The practice repeated over several seasons, with what each cut leaves to the next; undiscounted, at constant prices; empty when the records show no carry-over.";
    "regions[].horizon.seasons" "horizon_seasons" "count" "Seasons added up (horizon_seasons of book.toml).";
    "regions[].horizon.best_intensity" "horizon_best_intensity" "fraction 0 to 1" "Intensity with the highest expected net return over them.";
    "regions[].horizon.net_gain" "" "group" "Gain of the advised (without advice, the best supported) practice over repeating present practice, over all seasons.";
    "regions[].horizon.net_gain.median" "horizon_net_gain_median" "money per tree" "Posterior median.";
    "regions[].horizon.net_gain.low" "horizon_net_gain_low" "money per tree" "Lower limit.";
    "regions[].horizon.net_gain.high" "horizon_net_gain_high" "money per tree" "Upper limit.";
    "regions[].horizon.net_gain.level" "horizon_net_gain_level" "probability" "Probability content of the limits.";
    "regions[].trials_waiting" "" "list" "Ids of declared trials on trees of the region that wait for the harvest of the season advised for; the work plan leaves their trees to them.";
    "regions[].trials_waiting[0]" "" "text" "The first of them, as the others.";
    "regions[].last_record" "last_record" "date" "Day of the book's last record: a window that ends before it is over; empty where no record has a day.";
}

fields! { laterals_fields, "Fields of `laterals.json`, in its order; `[]` stands for each element of a list.":
    "[].region" "" "text" "Region id of the record book.";
    "[].frames" "" "count" "Frame counts used.";
    "[].trees" "" "count" "Trees behind them.";
    "[].tree_seasons" "" "count" "Tree-seasons behind them.";
    "[].missing" "" "text, or empty" "Why there are no curves; empty when there are.";
    "[].tested_intensity" "" "list of two, or empty" "Lowest and highest canopy fraction on trees with frames; empty without frames.";
    "[].lead_days" "" "days before flush" "At which the curves are drawn; empty where nothing was pruned.";
    "[].laterals" "" "list" "Expected laterals per m2 of canopy surface against intensity, for an average tree in the latest season.";
    "[].laterals[].intensity" "" "fraction 0 to 1" "Canopy fraction removed.";
    "[].laterals[].median" "" "1/m2" "Posterior median.";
    "[].laterals[].low" "" "1/m2" "Lower limit of the band.";
    "[].laterals[].high" "" "1/m2" "Upper limit of the band.";
    "[].flowering" "" "list" "Expected flowering laterals per m2 against intensity; an empty list when they were not counted.";
    "[].flowering[].intensity" "" "fraction 0 to 1" "Canopy fraction removed.";
    "[].flowering[].median" "" "1/m2" "Posterior median.";
    "[].flowering[].low" "" "1/m2" "Lower limit of the band.";
    "[].flowering[].high" "" "1/m2" "Upper limit of the band.";
    "[].share" "" "list" "Expected share of laterals that flower against intensity; an empty list when not counted.";
    "[].share[].intensity" "" "fraction 0 to 1" "Canopy fraction removed.";
    "[].share[].median" "" "fraction 0 to 1" "Posterior median.";
    "[].share[].low" "" "fraction 0 to 1" "Lower limit of the band.";
    "[].share[].high" "" "fraction 0 to 1" "Upper limit of the band.";
    "[].classes" "" "list" "Counts by intensity class, nothing taken out.";
    "[].classes[].from" "" "fraction 0 to 1" "Lower end of the class (unpruned: 0).";
    "[].classes[].to" "" "fraction 0 to 1" "Upper end of the class (unpruned: 0).";
    "[].classes[].mean_intensity" "" "fraction 0 to 1" "Mean over the frames.";
    "[].classes[].frames" "" "count" "Frames.";
    "[].classes[].laterals_per_m2" "" "1/m2" "Laterals over frame area.";
    "[].classes[].share" "" "fraction 0 to 1, or empty" "Flowering laterals over laterals; empty when not counted.";
    "[].path_missing" "" "text, or empty" "Why there is no path; empty when there is.";
    "[].path" "" "group, or empty" "Effect of moving from present practice to the advised (for keep and trial, the best supported) one, split by path.";
    "[].path.intensity" "" "fraction 0 to 1" "Canopy fraction moved to.";
    "[].path.lead_days" "" "days before flush" "Lead moved to; empty when nothing is cut.";
    "[].path.before_kg" "" "kg per tree" "Expected yield under present practice.";
    "[].path.kg" "" "group" "Effects in kg.";
    "[].path.kg.total" "" "group" "All of the effect.";
    "[].path.kg.total.median" "" "kg per tree" "Posterior median.";
    "[].path.kg.total.low" "" "kg per tree" "Lower limit.";
    "[].path.kg.total.high" "" "kg per tree" "Upper limit.";
    "[].path.kg.total.level" "" "probability" "Probability content of the limits.";
    "[].path.kg.indirect" "" "group" "Through more or fewer flowering laterals.";
    "[].path.kg.indirect.median" "" "kg per tree" "Posterior median.";
    "[].path.kg.indirect.low" "" "kg per tree" "Lower limit.";
    "[].path.kg.indirect.high" "" "kg per tree" "Upper limit.";
    "[].path.kg.indirect.level" "" "probability" "Probability content of the limits.";
    "[].path.kg.direct" "" "group" "Through everything else.";
    "[].path.kg.direct.median" "" "kg per tree" "Posterior median.";
    "[].path.kg.direct.low" "" "kg per tree" "Lower limit.";
    "[].path.kg.direct.high" "" "kg per tree" "Upper limit.";
    "[].path.kg.direct.level" "" "probability" "Probability content of the limits.";
    "[].path.per_cent" "" "group" "Effects in per cent of the yield under present practice.";
    "[].path.per_cent.total" "" "group" "All of the effect.";
    "[].path.per_cent.total.median" "" "per cent" "Posterior median.";
    "[].path.per_cent.total.low" "" "per cent" "Lower limit.";
    "[].path.per_cent.total.high" "" "per cent" "Upper limit.";
    "[].path.per_cent.total.level" "" "probability" "Probability content of the limits.";
    "[].path.per_cent.indirect" "" "group" "Through more or fewer flowering laterals.";
    "[].path.per_cent.indirect.median" "" "per cent" "Posterior median.";
    "[].path.per_cent.indirect.low" "" "per cent" "Lower limit.";
    "[].path.per_cent.indirect.high" "" "per cent" "Upper limit.";
    "[].path.per_cent.indirect.level" "" "probability" "Probability content of the limits.";
    "[].path.per_cent.direct" "" "group" "Through everything else.";
    "[].path.per_cent.direct.median" "" "per cent" "Posterior median.";
    "[].path.per_cent.direct.low" "" "per cent" "Lower limit.";
    "[].path.per_cent.direct.high" "" "per cent" "Upper limit.";
    "[].path.per_cent.direct.level" "" "probability" "Probability content of the limits.";
    "[].path.flowering_ratio" "" "group" "Flowering laterals per m2 after over before.";
    "[].path.flowering_ratio.median" "" "ratio" "Posterior median.";
    "[].path.flowering_ratio.low" "" "ratio" "Lower limit.";
    "[].path.flowering_ratio.high" "" "ratio" "Upper limit.";
    "[].path.flowering_ratio.level" "" "probability" "Probability content of the limits.";
    "[].path.share" "" "group, or empty" "Share of the total that runs through flowering laterals; empty unless the interval of the total excludes 0.";
    "[].path.share.median" "" "ratio" "Posterior median.";
    "[].path.share.low" "" "ratio" "Lower limit.";
    "[].path.share.high" "" "ratio" "Upper limit.";
    "[].path.share.level" "" "probability" "Probability content of the limits.";
    "[].path.undone_at" "" "correlation, or empty" "Hidden correlation between what the models leave unexplained of flowering and yield at which the interval of the indirect effect reaches 0; 0 when it does so as it stands, empty when none up to 0.95 does.";
    "[].path.slope" "" "group" "The slope of yield on flowering, common to all regions.";
    "[].path.slope.slope" "" "group" "Yield on the scale of the yield model per unit of log flowering laterals per m2: an elasticity on the log scale.";
    "[].path.slope.slope.median" "" "yield scale per log unit" "Posterior median.";
    "[].path.slope.slope.low" "" "yield scale per log unit" "Lower limit.";
    "[].path.slope.slope.high" "" "yield scale per log unit" "Upper limit.";
    "[].path.slope.slope.level" "" "probability" "Probability content of the limits.";
    "[].path.slope.reliability" "" "fraction 0 to 1" "Share of the variance between tree-seasons that the frames show.";
    "[].path.slope.tree_seasons" "" "count" "Tree-seasons with frames and yield, of all regions.";
    "[].path.slope.within_trees" "" "true or false" "Whether it rests on differences between the seasons of a tree.";
}

fields! { work_plan_fields, "Columns of `workplan.csv` and of the first sheet of `workplan.xlsx`, in their order.":
    "" "region" "text" "Region id.";
    "" "site" "text" "Site.";
    "" "block" "text" "Block. A block with young and grown trees has a line for each.";
    "" "action" "prune, keep, leave, trial, train, of_trials" "prune: to the stated intensity inside the window; keep: as at present; leave: the trees are left unpruned, by the advice or because it is not their turn; trial: a trial is needed, and until it is read prune as stated; train: too young for a yield-based intensity; of_trials: every tree belongs to a designed trial and is cut by its field sheet alone.";
    "" "intensity" "fraction 0 to 1" "Fraction of the canopy to remove from a pruned tree; empty for young trees and for those of trials.";
    "" "measured_as" "canopy_fraction, shoots, spread, headed_length" "How the block's crew measures it.";
    "" "window_from" "date" "First day allowed; empty without a window.";
    "" "window_to" "date" "Last day allowed.";
    "" "work_from" "date" "First day scheduled; empty without a crew, a window or known hours.";
    "" "work_to" "date" "Last day scheduled.";
    "" "left_undone" "fraction 0 to 1" "Share of the work that the window cannot hold.";
    "" "trees" "count" "Trees of the tree table that stand, those of trial_trees left out.";
    "" "trees_worked" "count" "Those of them worked on.";
    "" "minutes_per_tree" "minutes" "Working time of one of them, for the block's mean tree size where recorded.";
    "" "hours" "hours" "Working hours; empty when neither recorded minutes nor a stated rate exists.";
    "" "person_days" "person-days" "The same at the book's hours per day.";
    "" "people" "count" "People of the crew.";
    "" "cost_after_wood" "money" "Cost after wood: wages, materials_cost and haulage less wood_value, in the book's currency; below 0 where the wood is worth more than the work.";
    "" "delay_loss_per_day" "money per day" "Expected loss when the whole block is done a day later, never below 0; empty where no pruning so late is recorded or nothing is pruned.";
    "" "cuts_to_3cm" "count" "Cuts expected up to 3 cm; empty when never counted.";
    "" "cuts_3_to_5cm" "count" "Cuts expected of 3 to 5 cm.";
    "" "cuts_5_to_10cm" "count" "Cuts expected of 5 to 10 cm.";
    "" "cuts_over_10cm" "count" "Cuts expected over 10 cm.";
    "" "cut_wood_m3" "m3" "Cut wood and brush, stacked; empty where stacked_per_canopy or the size of the trees is not stated.";
    "" "loads" "count" "Loads to haul, where a load and stacked_per_canopy are stated.";
    "" "wages" "money" "The wage bill: hours times the wage per hour.";
    "" "materials_cost" "money" "Materials of the pruned trees, as stated per tree.";
    "" "haulage" "money" "Hauling the cut wood; empty where none is computed.";
    "" "wood_value" "money" "What the cut wood is worth, as stated per m3; empty where none is computed.";
    "" "trial_trees" "count" "Trees of the block that designed trials treat in the season advised for, on every line of the block: cut by the field sheets of the trials and by nobody else, and in no other column.";
    "" "trials" "text" "The trials, by their ids.";
    "" "youngest_recorded_years" "years" "Age of the third youngest tree on which the records of the region show a cut about as hard as asked of grown trees (less 5 points of the canopy at most), where the trees of the line are younger: what it does to them is not known, and they are cut neither harder than at present nor harder than any tree of their age was; empty elsewhere.";
}

fields! { plan_table_fields, "Columns of the other tables of the plan by their file, in their order.":
    "materials.csv" "region" "text" "Region id.";
    "materials.csv" "site" "text" "Site.";
    "materials.csv" "block" "text" "Block.";
    "materials.csv" "product" "text" "Product, by its name in book.toml.";
    "materials.csv" "litres_ready" "L" "Spray or paste ready for use, all applications.";
    "materials.csv" "applications" "count" "Applications.";
    "materials.csv" "item" "text" "What is bought.";
    "materials.csv" "amount" "kg or L" "How much of it.";
    "materials.csv" "unit" "kg, L" "Its unit.";
    "materials.csv" "dose" "text" "The arithmetic of a dose from the product's stated strength; empty for mixtures of our own.";
    "materials.csv" "re_entry_days" "days" "Days before people may enter again, or that they are missing.";
    "materials.csv" "pre_harvest_days" "days" "Days before harvest, or that they are missing.";
    "shopping.csv" "item" "text" "What to buy.";
    "shopping.csv" "needed" "kg or L" "Sum over all blocks.";
    "shopping.csv" "unit" "kg, L" "Its unit.";
    "shopping.csv" "package" "kg or L" "Package size, where stated.";
    "shopping.csv" "packages" "count" "Packages, rounded up.";
    "shopping.csv" "buy" "kg or L" "Whole packages, or what is needed.";
    "tools.csv" "crew" "text" "Site of the crew, or all other sites.";
    "tools.csv" "tool" "text" "Tool.";
    "tools.csv" "kind" "hand, pole, power" "What makes it dangerous.";
    "tools.csv" "pieces" "count" "Pieces that the crew takes along: the most that one block needs.";
    "tools.csv" "cuts" "count" "Cuts expected with it in all blocks; empty when never counted.";
    "alarms.csv" "crew" "text" "Site of the crew, or all other sites.";
    "alarms.csv" "people" "count" "People of the crew.";
    "alarms.csv" "from" "date" "First day of the tightest span.";
    "alarms.csv" "to" "date" "Last day of the tightest span.";
    "alarms.csv" "needed_person_days" "person-days" "Work whose windows lie inside the span.";
    "alarms.csv" "available_person_days" "person-days" "What the crew has in it.";
    "alarms.csv" "people_needed" "count" "People with whom every window would hold its work.";
    "alarms.csv" "leave_undone" "text" "Block to leave undone, the least loss per person-day first.";
    "alarms.csv" "person_days" "person-days" "Work left undone.";
    "alarms.csv" "share" "fraction 0 to 1" "Share of the block left undone.";
    "alarms.csv" "loss" "money" "Money lost by it, expected.";
    "missing.csv" "setting" "text" "Key in book.toml, or column of a table.";
    "missing.csv" "what" "text" "What is missing or refused, with the arithmetic where there is one.";
    "missing.csv" "remedy" "text" "What to do.";
}

fields! { quarantine_fields, "Columns of `quarantine.csv`, in their order.":
    "quarantine.csv" "file" "text" "File of the row that was set aside, and the sheet behind # where it has sheets.";
    "quarantine.csv" "line" "count" "Line of the file or sheet, from 1.";
    "quarantine.csv" "column" "count" "Column of the cell at fault, from 1; empty where it is the row as a whole.";
    "quarantine.csv" "code" "text" "Kind of problem: `anacurve explain CODE` says what it means and what to do.";
    "quarantine.csv" "reason" "text" "What is wrong.";
    "quarantine.csv" "remedy" "text" "What to do.";
    "quarantine.csv" "text" "text" "The row as it stands in the file.";
}
