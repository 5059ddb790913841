//! The README beside a demo book.

use super::Tidiness;
use crate::{Truth, Verdict};
use std::fmt::Write as _;

const DEMO: &str = "\
Everything here is invented: company, places, trees and numbers. The records were simulated from
known truths with a fixed seed, then written as untidily as real offices do (semicolons and
decimal commas, another language's header, a spreadsheet with a title row and day numbers, grams
and per cents, wet and dry weights) with about one bad row in a hundred. Good rows are never
altered: a bad row is an added, spoiled copy. The seed was picked among ten for records that stray
little from the truth, so a right answer here is no evidence of calibration.

`anacurve demo DIR` writes the same files again, byte for byte.
";

const TIDY: &str = "\
Everything here is invented: company, places, trees and numbers. The records were simulated from
known truths with a fixed seed and written as plain CSV files in which nothing is wrong: a pattern
for records of your own.
";

const UNTIDY: &str = "\
Everything here is invented: company, places, trees and numbers. The records were simulated from
known truths with a fixed seed. Prunings and harvests are spreadsheets with a title row, headings
of their own, day numbers, grams and per cents (book.toml says how to read them) and about one bad
row in a hundred. Good rows are never altered: a bad row is an added, spoiled copy.
";

const BESIDE_DEMO: &str = "
## climate_normals.csv and kept

Climate normals of the sites, invented like the rest: `anacurve zones climate_normals.csv` proposes
regions from them; a run does not read the file. `kept`, in the book of the repository, holds what
the program advised from the records of the first seasons (`anacurve run BOOK --through 2024 --keep`,
then `--through 2025`): the season review scores it.
";

/// What the book is and what `truth.json` holds.
pub(super) fn readme(truth: &Truth, tidiness: Tidiness) -> String {
    let (what, beside) = match tidiness {
        Tidiness::Clean | Tidiness::Tidy => (TIDY, ""),
        Tidiness::Untidy => (UNTIDY, ""),
        Tidiness::Demo => (DEMO, BESIDE_DEMO),
    };
    let mut table = String::new();
    for region in &truth.regions {
        let verdict = match region.verdict {
            Verdict::Prune => "prune",
            Verdict::Keep => "keep",
            Verdict::Trial => "trial",
        };
        // Writing to a String cannot fail.
        let _ = writeln!(
            table,
            "| {} | {} | {verdict} | {} |",
            region.region, region.tree_seasons, region.reason
        );
    }
    format!(
        r"# {name}: a record book to try things on

{what}
| region | mature tree-seasons | expected verdict | why |
| --- | --- | --- | --- |
{table}{beside}
## truth.json

What a good analysis should find. No command reads it; tests and curious people do.

- `regions[].response`: the true effect of pruning on yield as a ratio to the unpruned tree,
  f(intensity, lead) = 1 + g(intensity) x h(lead) with h = max(0, 1 - ((lead - best) / width)^2).
  `peaked` and `beyond_range`: g = gain x (2 x - x^2) with x = intensity / at. `flat`: g = 0.
- `unpruned`, `yield_optimum`, `net_optimum`, each with intensity, lead, kg per tree and net return
  per tree: kg is the expected yield of the region's average mature tree in the advised season
  times f; net = price x kg - (intensity > 0 ? wage / 60 x (minutes_per_tree + minutes_full_canopy
  x intensity) + materials : 0). `yield_optimum` looks at every intensity, `net_optimum` only at
  the tested range.
- `present`: practice of the last recorded season without trial trees, kg and net averaged over
  its trees; `loss_pct` is its loss against the net optimum, per cent of the best net return.
- `gain_over_unpruned_kg`, `gain_over_present_kg`, `gain_over_present_net`: the net optimum against
  the two, per tree.
- `through_laterals`: share of the effect, on the log scale, that runs through flowering laterals.
- `verdict`: `trial` with fewer than 200 tree-seasons, with a standard deviation of intensity
  under 0.03 or with the net optimum at the highest intensity tried; else `keep` when the present
  practice loses no more than `tolerance_pct`; else `prune`.
- `rows_written` and `bad_rows`: rows of each file with the bad ones, and the bad ones by kind.
",
        name = truth.name
    )
}
