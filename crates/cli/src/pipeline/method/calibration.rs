//! Words about how often the odds hold, from the committed results of the calibration study.

use words::say;

/// One line per target, as the study writes it.
const TARGETS: &str =
    include_str!("../../../../../notebooks-free-scripts/calibration/results/targets.md");

/// What the study found, target by target.
pub(super) fn calibration() -> String {
    let found: Vec<&str> = TARGETS
        .lines()
        .filter_map(|line| line.strip_prefix("- "))
        // The names of single cells are for the study's own page.
        .map(|line| line.split(" cells (").next().unwrap_or(line))
        .collect();
    say!(
        "Simulated plantations with known truth were sent through this whole path: peaked, skewed, plateau, flat and beyond-range effects of pruning; randomised, routine and habit-ridden records of 2, 4 and 8 seasons; with and without alternate bearing, heavy tails and gaps. Against the targets set beforehand (cells are kinds of truth, assignment and seasons): {}. Tables and plot: notebooks-free-scripts/calibration/results in the source.",
        found.join("; ")
    )
}

#[cfg(test)]
mod tests {
    #[test]
    fn every_target_is_quoted_without_its_cells() {
        let words = super::calibration();
        assert!(words.contains("95 % interval of the net gain"));
        assert!(!words.contains("cells ("));
    }
}
