//! Numbers of the pages that stand in no result file: what they are and how they were computed.

use super::Field;
use words::constant;

numbers! { page_fields, "Numbers of `index.html` without a field in a result file, by their place.":
    "figure.response" "Yield against pruning intensity" "kg per tree" "Expected crop at each intensity and the stated lead: the median of the posterior draws and its interval. Circles are means of recorded crops after taking out site, season, block, tree, age and variety.";
    "figure.odds" "Which intensity is best?" "per cent of draws" "Share of the posterior draws in which an intensity of the class has the highest net return, or yield, within the tested range.";
    "figure.surface" "Intensity and timing together" "kg per tree" "Expected gain over leaving trees unpruned at every intensity and lead that the region's records support: median of the posterior draws.";
    "figure.net" "Net return against pruning intensity" "money per tree" "Price times expected crop, less the cost of pruning, with its interval over the posterior draws.";
    "what-if" "What if" "money per tree, money per ha, probability" "Each posterior draw of the yields is multiplied by the asked level and paid with the asked price and wage; shown are the median gain and the share of draws in which the practice earns less than present practice, for the book's own numbers and one season those of the advice. Present practice is the median over the draws, advised practice that and the gain. Between quantiles of one per cent the share is read along a straight line. Several seasons are added up, with what each cut leaves to the next; nothing is discounted.";
    "files.read" "Read" "rows" "Rows of the file below its header.";
    "files.kept" "Kept" "rows" "Rows that became records.";
    "files.not-drawn" "Trees not drawn" "rows" "Rows of trees that were not drawn, where a share of the trees was asked for.";
    "files.set-aside" "Set aside" "rows" "Rows that did not, each with its reason in quarantine.csv.";
    "files.repairs" "Repairs" "cells" "Cells read after a repair, such as a decimal comma, by kind and column; cells that were read as book.toml states, such as a date given once for all rows, are counted apart.";
    "linked.readable" "Readable" "rows" "Rows that could be read, by table.";
    "linked.linked" "Linked" "rows" "Rows that belong to a tree-season.";
    "linked.not-linked" "Not linked" "rows" "Rows that do not, by reason.";
    "findings" "Findings" "count" "Problems of one kind over all files; the first places are listed.";
    "fit.facts" "The fit" "tree-seasons" "How the fit ended, on which scale yields were modelled, and the tree-seasons used and left out, by reason.";
    "coefficients.estimate" "Estimate" "model scale" "Restricted maximum likelihood estimate of a fixed effect. Intensities and leads enter centred and scaled, so a coefficient alone is not a gain in kilograms.";
    "coefficients.std-error" "Standard error" "model scale" "Square root of its variance.";
    "coefficients.df" "df" "degrees of freedom" "Denominator degrees of freedom by the stated method.";
    "coefficients.statistic" "Statistic" "t" "Estimate over standard error.";
    "coefficients.p" "p" "probability" "Two-sided, of a value as far from zero without an effect.";
    "coefficients.limits" "Lower, upper" "model scale" "Limits of the 95 % confidence interval by t.";
    "spreads" "Standard deviations" "model scale" "Restricted maximum likelihood estimates of the spread between groups; where it is estimated at zero, the one-sided 95 % upper limit by profile.";
}

numbers! { trial_fields, "Tables and figures of `trials.html`, by the beginning of their file names.":
    "facts" "Design and trees" "counts" "What the trial was, as declared in book.toml and found in its rows.";
    "anova" "Analysis of variance, tests of the terms" "squared unit of the trait" "Sums of squares, mean squares and F of each term against its own error; where the trial is unbalanced, tests of the mixed model with Kenward-Roger degrees of freedom.";
    "variation" "Variation by stratum" "per cent of the mean" "Variance of each stratum in the squared unit of the trait, and CV: its square root over the grand mean, by the stated convention.";
    "next-size" "For the size of the next trial" "per cent of the mean" "Square roots of the variance components over the mean, as `anacurve size --components` takes them: between plots, between trees of a plot (lasting, and from season to season), between main plots and between replicates; estimates below 0 count as 0.";
    "means" "Means" "unit of the trait" "Treatment means with their standard errors; adjusted where plots are missing or a covariate is used, with the plain means beside them.";
    "cd" "Comparing means" "unit of the trait" "SEm: standard error of a mean; SEd: of a difference; CD: critical difference, SEd times the two-sided t at 5 or 1 % for the stated degrees of freedom. Where pairs of means differ in precision, SEd is their root mean square.";
    "differences" "Differences" "unit of the trait" "Every pair, or each treatment against the control: difference, its error and limits, with p adjusted for the number of comparisons.";
    "components" "Polynomial components" "squared unit of the trait" "Linear, quadratic and higher parts of a quantitative factor, by the actual spacing of its amounts: contrasts of the adjusted means in which every mean counts alike, judged with their covariance, so that trees lost change no question (Searle, Speed and Milliken 1980). In a balanced trial their sums of squares add up to that of the term; where plots were lost they need not.";
    "curves" "Quadratic curves" "unit of the trait" "Least-squares quadratic through the adjusted means, each counting alike, judged with their covariance; the amount at its maximum with the 95 % set by Fieller's method, which may be an interval, two rays or the whole line.";
    "curve" "Fitted curve" "unit of the trait" "The quadratic and the means it was fitted to.";
    "covariate" "Adjustment by a covariate" "F" "Test of the covariate's slope within treatments and of equal slopes.";
    "checks" "Tests of the assumptions" "p" "Tests on the residuals: normality, equal variances, additivity, pattern in the field.";
    "residuals" "Residuals" "unit of the trait" "Observed less fitted value of each plot.";
    "residuals-in-the-field" "Residuals where the plots stand" "unit of the trait" "Observed less fitted value of each plot at its place in the field.";
    "normal-scores" "Residuals against normal scores" "unit of the trait" "Ordered residuals against what a normal sample of that size is expected to give.";
    "pooled" "Combined analysis" "squared unit of the trait" "Several seasons or sites together: each term against the stated mean square.";
    "each" "Tests of each by itself" "unit of the trait" "Each season or site analysed by itself: F and p of every treatment term, with SEm, SEd and the critical difference at 5 % of its first kind of comparison, and CV of its smallest units.";
    "errors" "Error of each by itself" "squared unit of the trait" "Error mean square, its degrees of freedom and CV of each season or site before pooling, and the test that they are equal.";
    "stability" "Stability" "unit of the trait" "Slope on the means of sites or seasons (Finlay and Wilkinson 1963), ecovalence (Wricke 1962) and stability variance (Shukla 1972) of each treatment.";
    "efficiency" "What blocking brought" "ratio" "Error variance expected without the blocks over the one found, and the same corrected for degrees of freedom.";
    "natural-test" "All treatments alike" "F" "Tests on the scale of analysis, term by term, that treatments are alike; small p speak against it.";
    "natural-anova" "Analysis of variance, tests of the terms" "squared unit of the scale of analysis" "The analysis of variance of the transformed values: each term against its own error on the scale that suits the trait.";
    "natural-means-seasons" "Means over the seasons on the natural scale" "unit of the trait" "Means of a counted trait over equally weighted seasons, brought back, with limits.";
    "natural-means" "Means on the natural scale" "unit of the trait" "Means of a transformed or counted trait brought back, with limits.";
    "natural-differences" "Differences of treatments" "scale of analysis" "Differences on the scale of analysis and, where it is logarithmic, as ratios.";
    "trade-off" "Power of a trial" "probability" "Chance of finding the asked difference at 5 % with the stated trees, replicates and seasons, from the book's own variation.";
    "power" "Power against size" "probability" "The same chances as a plot.";
    "optimum" "Locating the best level" "count" "Fewest replicates with which the best level is found within the asked distance as often as asked, by simulated trials with the book's own variation.";
}

numbers! { review_fields, "Tables and figures of `review.html`, by the beginning of their file names.":
    "by" "Yield against expectation" "kg per tree" "Means over the trees harvested in the season. Expected is the mean yield of the region's trees in all earlier seasons; each part is its mean marginal value over all orders in which the parts can become known (Shapley 1953), so that the parts add up to observed less expected.";
    "parts" "What explains the difference" "kg per tree" "The same parts as bars: those that add right of zero, those that take away left of it.";
    "blocks-ranked" "Blocks compared" "kg per tree" "Difference of each block from the other blocks of its region, season, age, pruning and earlier crop taken out; shrunk by what chance does to a block of its size (empirical Bayes), ranks from joint draws (Laird and Louis 1989).";
    "bearing" "Alternate bearing" "0 to 1" "Difference of two successive crops over their sum, averaged over the pairs of a tree and then over the trees (Hoblyn and others 1936).";
    "poor-trees" "Persistently poor trees" "kg per tree" "Level of a tree within its block after season, age, pruning and earlier crop, and the posterior probability that it is among the worst tenth (Shen and Louis 1998).";
    "failing-trees" "Suddenly failing trees" "kg per tree" "Yield far below what level, season, age and earlier crop predict; the share of false alarms among trees at least as far off is at most the one given (Benjamini and Hochberg 1995).";
    "map" "Trees where they stand" "row and position" "Rows and positions of the tree table; marked are the trees of the two lists.";
    "records-to-check" "Records to check" "kg per tree" "Yields that a factor of 10, 100, 1000 or of pounds brings near the prediction, yields far above it, and trees whose yields agree to the last digit in every season.";
    "plan" "Pruning done against planned" "trees, per cent" "Kept advice held against the prunings recorded. Intensity kept: within a twentieth of the canopy. Days off the schedule: mean days before (negative) or after the days scheduled for the block, which lie inside the advised window; the window itself where no days were scheduled. On schedule: share of the trees to prune that were pruned within a week of those days.";
    "advice-scored" "Last advice scored" "kg per tree" "Predicted gain against the difference between trees that followed the advice and trees left unpruned, or treated as before, each kind by its share of present practice; level, age and earlier crop are taken into account, and the gain is put at the yields of an average season, for which it was predicted. A hit lies within limits that allow for both errors.";
}
