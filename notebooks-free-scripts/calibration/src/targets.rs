//! Which targets are met.

use crate::row::Row;
use crate::summary::{Group, Mean, Summary, mean};
use std::fmt::Write as _;

/// Cells that miss are listed by name up to this many.
const LISTED: usize = 30;

/// The targets, one line each, met or missed, with the figure that says so.
pub fn verdict(rows: &[Row], summary: &Summary) -> String {
    let mut text = String::from("# Targets\n\n");
    let lots: Vec<&Row> = rows.iter().filter(|row| row.assignment != "habit").collect();
    let habit: Vec<&Row> = rows.iter().filter(|row| row.assignment == "habit").collect();
    let lots = Group::of("", "", &lots);
    let habit = Group::of("", "", &habit);
    let between = |mean: Mean, low: f64, high: f64| (low..=high).contains(&mean.value);
    let mut line = |met: bool, what: &str, figure: String| {
        // Writing to a string cannot fail.
        let _ = writeln!(text, "- {}: {what}: {figure}", if met { "met" } else { "MISSED" });
    };
    for (what, means) in [("optimum inside the tested range", lots.inside), ("net gain", lots.gain)]
    {
        line(
            between(means[0], 0.77, 0.83),
            &format!(
                "randomised and routine, 80 % interval of the {what} holds the truth in 77 to 83 %"
            ),
            share(means[0]),
        );
        line(
            between(means[1], 0.93, 0.97),
            &format!(
                "randomised and routine, 95 % interval of the {what} holds the truth in 93 to 97 %"
            ),
            share(means[1]),
        );
    }
    for (what, means) in
        [("optimum inside the tested range", habit.inside), ("net gain", habit.gain)]
    {
        line(
            means[1].value >= 0.90,
            &format!("habit, 95 % interval of the {what} holds the truth in at least 90 %"),
            share(means[1]),
        );
    }
    for (practice, name) in
        ["what the verdict says", "the best supported practice"].iter().enumerate()
    {
        for (rule, word) in ["the best class", "the separate quadratic"].iter().enumerate() {
            let cells: Vec<&Group> =
                summary.cells.iter().filter(|cell| !cell.name.ends_with(" s2")).collect();
            let ratio = |cell: &Group| cell.ratios[practice][rule].value;
            let missed: Vec<&str> = cells
                .iter()
                .filter(|cell| ratio(cell).is_nan() || ratio(cell) > 0.5)
                .map(|cell| cell.name.as_str())
                .collect();
            line(
                missed.is_empty(),
                &format!(
                    "four or more seasons, regret of {name} at most half of that of {word} in every cell"
                ),
                format!(
                    "missed in {} of {} cells{}",
                    missed.len(),
                    cells.len(),
                    if missed.is_empty() {
                        String::new()
                    } else {
                        format!(
                            " ({})",
                            missed.iter().take(LISTED).copied().collect::<Vec<_>>().join(", ")
                        )
                    }
                ),
            );
        }
    }
    let flat: Vec<&Row> = rows.iter().filter(|row| row.truth == "flat").collect();
    let harm = mean(&flat, |row| Some(f64::from(u8::from(row.verdict == "prune" && !row.stops()))));
    let stop = mean(&flat, |row| Some(f64::from(u8::from(row.stops()))));
    line(
        harm.value <= 0.05,
        "flat truth, `prune` in at most 5 % of regions",
        format!("{} (and advice to stop in {})", share(harm), share(stop)),
    );
    let outside =
        rows.iter().filter(|row| row.truth == "beyond" && row.outside() == Some(true)).count();
    line(
        outside == 0,
        "truth beyond the tested range, no advised intensity outside it",
        format!("{outside} regions"),
    );
    text
}

fn share(mean: Mean) -> String {
    format!(
        "{:.1} % (standard error {:.1}, {} regions)",
        100.0 * mean.value,
        100.0 * mean.error,
        mean.n
    )
}
