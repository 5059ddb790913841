//! Words about how often the odds hold, from the committed results of the calibration study.

use words::{say, text, with_mark};

/// One line per target, as the study writes it.
const TARGETS: &str =
    include_str!("../../../../../notebooks-free-scripts/calibration/results/targets.md");

/// What the study found, target by target.
pub(super) fn calibration() -> String {
    let found: Vec<String> = lines().filter_map(in_words).collect();
    say!(
        "Simulated plantations with known truth were sent through this whole path: peaked, skewed, plateau, flat and beyond-range effects of pruning; randomised, routine and habit-ridden records of 2, 4 and 8 seasons; with and without alternate bearing, heavy tails and gaps. Against the targets set beforehand (cells are kinds of truth, assignment and seasons): {}. Tables and plot: notebooks-free-scripts/calibration/results in the source.",
        found.join("; ")
    )
}

/// The study's lines, without the names of single cells, which are for its own page.
fn lines() -> impl Iterator<Item = &'static str> {
    let lines = TARGETS.lines().filter_map(|line| line.strip_prefix("- "));
    lines.map(|line| line.split(" cells (").next().unwrap_or(line))
}

/// A line of the study (whether met, target, result) in the language being spoken.
fn in_words(line: &str) -> Option<String> {
    let (met, rest) = line.split_once(": ")?;
    let (name, result) = rest.rsplit_once(": ")?;
    let met = if met == "met" { text!("met") } else { text!("MISSED") };
    let result = with_mark(result)
        .replace("and advice to stop in", text!("and advice to stop in"))
        .replace("standard error", text!("standard error"))
        .replace("missed in", text!("missed in"))
        .replace(" of ", text!(" of "))
        .replace("regions", text!("regions"));
    Some(format!("{met}: {}: {result}", target(name)))
}

fn target(name: &str) -> &str {
    match name {
        "randomised and routine, 80 % interval of the optimum inside the tested range holds the truth in 77 to 83 %" =>
        {
            text!(
                "randomised and routine, 80 % interval of the optimum inside the tested range holds the truth in 77 to 83 %"
            )
        }
        "randomised and routine, 95 % interval of the optimum inside the tested range holds the truth in 93 to 97 %" =>
        {
            text!(
                "randomised and routine, 95 % interval of the optimum inside the tested range holds the truth in 93 to 97 %"
            )
        }
        "randomised and routine, 80 % interval of the net gain holds the truth in 77 to 83 %" => {
            text!(
                "randomised and routine, 80 % interval of the net gain holds the truth in 77 to 83 %"
            )
        }
        "randomised and routine, 95 % interval of the net gain holds the truth in 93 to 97 %" => {
            text!(
                "randomised and routine, 95 % interval of the net gain holds the truth in 93 to 97 %"
            )
        }
        "habit, 95 % interval of the optimum inside the tested range holds the truth in at least 90 %" =>
        {
            text!(
                "habit, 95 % interval of the optimum inside the tested range holds the truth in at least 90 %"
            )
        }
        "habit, 95 % interval of the net gain holds the truth in at least 90 %" => {
            text!("habit, 95 % interval of the net gain holds the truth in at least 90 %")
        }
        "four or more seasons, regret of what the verdict says at most half of that of the best class in every cell" =>
        {
            text!(
                "four or more seasons, regret of what the verdict says at most half of that of the best class in every cell"
            )
        }
        "four or more seasons, regret of what the verdict says at most half of that of the separate quadratic in every cell" =>
        {
            text!(
                "four or more seasons, regret of what the verdict says at most half of that of the separate quadratic in every cell"
            )
        }
        "four or more seasons, regret of the best supported practice at most half of that of the best class in every cell" =>
        {
            text!(
                "four or more seasons, regret of the best supported practice at most half of that of the best class in every cell"
            )
        }
        "four or more seasons, regret of the best supported practice at most half of that of the separate quadratic in every cell" =>
        {
            text!(
                "four or more seasons, regret of the best supported practice at most half of that of the separate quadratic in every cell"
            )
        }
        "flat truth, `prune` in at most 5 % of regions" => {
            text!("flat truth, `prune` in at most 5 % of regions")
        }
        "truth beyond the tested range, no advised intensity outside it" => {
            text!("truth beyond the tested range, no advised intensity outside it")
        }
        other => other,
    }
}

#[cfg(test)]
mod tests {
    #[test]
    fn every_target_is_quoted_without_its_cells() {
        let words = super::calibration();
        assert!(words.contains("95 % interval of the net gain"));
        assert!(!words.contains("cells ("));
    }

    #[test]
    fn every_target_is_known_in_every_language() {
        words::speaking(words::Language::Portuguese, || {
            for line in super::lines() {
                let name = line.split_once(": ").unwrap().1.rsplit_once(": ").unwrap().0;
                assert_ne!(super::target(name), name);
                assert!(super::in_words(line).is_some());
            }
        });
    }
}
