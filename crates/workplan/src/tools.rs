//! Tools by cut diameter, how many cuts to expect, and what to take along.

use crate::text::{Catalogue, Key};
use records::work::WorkSettings;
pub use records::work::{Tool, ToolKind};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// A diameter class of the pruning table.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct CutClass {
    /// Column of the pruning table.
    pub column: &'static str,
    /// Diameters above this, cm.
    pub over_cm: f64,
    /// Diameters up to this, cm; `None` for no limit.
    pub up_to_cm: Option<f64>,
}

/// The classes of the pruning table, thin to thick.
pub const CUT_CLASSES: [CutClass; 4] = [
    CutClass { column: "cuts_to_3cm", over_cm: 0.0, up_to_cm: Some(3.0) },
    CutClass { column: "cuts_3_to_5cm", over_cm: 3.0, up_to_cm: Some(5.0) },
    CutClass { column: "cuts_5_to_10cm", over_cm: 5.0, up_to_cm: Some(10.0) },
    CutClass { column: "cuts_over_10cm", over_cm: 10.0, up_to_cm: None },
];
/// First class whose cut ends count as large: limbs of 5 cm and more, cut at the collar and dressed.
pub const FIRST_LARGE_CLASS: usize = 2;

const SECATEURS: &str = "secateurs";
const PRUNING_SAW: &str = "pruning saw";
const POWER_SAW: &str = "power saw";

/// A tool's name in a language: those of common practice translated, the book's own as they are.
#[must_use]
pub fn name<'a>(tool: &'a str, words: &Catalogue) -> &'a str {
    match tool {
        SECATEURS => words.text(Key::ToolSecateurs),
        PRUNING_SAW => words.text(Key::ToolPruningSaw),
        POWER_SAW => words.text(Key::ToolPowerSaw),
        own => own,
    }
}

/// Common practice: secateurs to 3 cm, pruning saw to 10 cm, power saw above. Printed lists leave 3
/// to 5 cm open; the saw does them here. The book's `[[work.tools]]` take their place.
#[must_use]
pub fn common_practice() -> Vec<Tool> {
    let tool = |tool: &str, up_to_cm, kind| Tool { tool: tool.to_owned(), up_to_cm, kind };
    vec![
        tool(SECATEURS, Some(3.0), ToolKind::Hand),
        tool(PRUNING_SAW, Some(10.0), ToolKind::Hand),
        tool(POWER_SAW, None, ToolKind::Power),
    ]
}

/// The tools: the book's, else common practice.
#[must_use]
pub fn of(settings: &WorkSettings) -> Vec<Tool> {
    if settings.tools.is_empty() { common_practice() } else { settings.tools.clone() }
}

/// Cuts of one pruned tree; a class that was not counted is `None`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CountedTree {
    /// Fraction of the canopy removed.
    pub intensity: f64,
    /// Cuts by class.
    pub cuts: [Option<f64>; 4],
}

/// Cuts per tree if its whole canopy were removed, by class; `None` where never counted.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct CutRates {
    /// By class of [`CUT_CLASSES`].
    pub full_canopy: [Option<f64>; 4],
    /// Trees behind them.
    pub trees: usize,
}

impl CutRates {
    /// Ratio of all cuts to all intensity (Cochran, 1977, Sampling Techniques, chapter 6); `None`
    /// when no tree was counted.
    #[must_use]
    pub fn of(trees: &[CountedTree]) -> Option<Self> {
        let mut sums = [(0.0, 0.0); 4];
        let mut counted = 0;
        for tree in trees.iter().filter(|tree| tree.intensity > 0.0 && tree.intensity <= 1.0) {
            counted += usize::from(tree.cuts.iter().any(Option::is_some));
            for (sum, cuts) in sums.iter_mut().zip(tree.cuts) {
                if let Some(cuts) = cuts.filter(|cuts| cuts.is_finite() && *cuts >= 0.0) {
                    *sum = (sum.0 + cuts, sum.1 + tree.intensity);
                }
            }
        }
        let full_canopy = sums.map(|(cuts, intensity)| (intensity > 0.0).then(|| cuts / intensity));
        (counted > 0).then_some(Self { full_canopy, trees: counted })
    }

    /// Cuts expected of some trees at an intensity, by class.
    #[must_use]
    pub fn expected(&self, intensity: f64, trees: f64) -> [Option<f64>; 4] {
        self.full_canopy.map(|rate| rate.map(|rate| rate * intensity * trees))
    }
}

/// Cut ends of 5 cm and more among cuts by class.
#[must_use]
pub fn large_cuts(cuts: &[Option<f64>; 4]) -> Option<f64> {
    let large: Vec<f64> = cuts.iter().skip(FIRST_LARGE_CLASS).filter_map(|cuts| *cuts).collect();
    (!large.is_empty()).then(|| large.iter().sum())
}

/// A tool to take along.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ToolNeed {
    /// Tool.
    pub tool: String,
    /// What makes it dangerous.
    pub kind: ToolKind,
    /// Cuts expected with it; `None` when never counted.
    pub cuts: Option<f64>,
    /// Pieces for the crew.
    pub pieces: u64,
}

/// Tools for cuts by class. A class takes the thinnest tool that reaches its upper limit. Pieces are a
/// planning rule of ours: the crew's share of the cuts done with the tool, rounded up, at least one;
/// without counts one hand tool for each person, and one power tool for the crew, since nothing says
/// that it will be wanted.
#[must_use]
pub fn needed(tools: &[Tool], cuts: &[Option<f64>; 4], crew_size: f64) -> Vec<ToolNeed> {
    let mut by_tool: BTreeMap<usize, Option<f64>> = BTreeMap::new();
    for (class, cuts) in CUT_CLASSES.iter().zip(cuts) {
        let reaches = |tool: &Tool| match (tool.up_to_cm, class.up_to_cm) {
            (None, _) => true,
            (Some(tool), Some(class)) => tool >= class,
            (Some(_), None) => false,
        };
        if let Some(tool) = tools.iter().position(reaches) {
            let sum = by_tool.entry(tool).or_default();
            *sum = match (*sum, *cuts) {
                (None, cuts) => cuts,
                (sum, None) => sum,
                (Some(a), Some(b)) => Some(a + b),
            };
        }
    }
    let all: f64 = by_tool.values().filter_map(|cuts| *cuts).sum();
    by_tool
        .into_iter()
        // A tool that no cut asks for stays at home.
        .filter(|(_, cuts)| *cuts != Some(0.0))
        .filter_map(|(tool, cuts)| tools.get(tool).map(|tool| (tool, cuts)))
        .map(|(tool, cuts)| {
            let uncounted = if tool.kind == ToolKind::Power { 0.0 } else { 1.0 };
            let share = cuts.map_or(uncounted, |cuts| cuts / all);
            ToolNeed {
                tool: tool.tool.clone(),
                kind: tool.kind,
                cuts,
                pieces: (crew_size * share - 1e-9).ceil().max(1.0) as u64,
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: 30 and 15 thin cuts at 0.4 and 0.2 are 75 a canopy; thick ones counted on one tree only.
    #[test]
    fn cuts_follow_intensity() {
        let trees = [
            CountedTree { intensity: 0.4, cuts: [Some(30.0), None, Some(4.0), Some(0.0)] },
            CountedTree { intensity: 0.2, cuts: [Some(15.0), None, None, None] },
        ];
        let rates = CutRates::of(&trees).unwrap();
        let cuts = rates.expected(0.2, 10.0);
        assert!((cuts[0].unwrap() - 150.0).abs() < 1e-9);
        assert!((cuts[2].unwrap() - 20.0).abs() < 1e-9);
        assert_eq!((cuts[1], cuts[3]), (None, Some(0.0)));
        assert!((large_cuts(&cuts).unwrap() - 20.0).abs() < 1e-9);
        assert_eq!(CutRates::of(&[]), None);
    }

    /// trade.md section 5: secateurs 1.5 to 3 cm, pruning saw 5 to 10 cm, power saw any size.
    #[test]
    fn each_class_has_its_tool() {
        let tools = common_practice();
        records::work::check_tools(&tools).unwrap();
        let needed = needed(&tools, &[Some(600.0), Some(200.0), Some(150.0), Some(50.0)], 5.0);
        let seen: Vec<_> = needed.iter().map(|n| (n.tool.as_str(), n.cuts, n.pieces)).collect();
        assert_eq!(
            seen,
            [
                ("secateurs", Some(600.0), 3),
                ("pruning saw", Some(350.0), 2),
                ("power saw", Some(50.0), 1)
            ]
        );
        let uncounted = super::needed(&tools, &[None; 4], 5.0);
        let pieces: Vec<_> = uncounted.iter().map(|need| need.pieces).collect();
        assert_eq!(pieces, [5, 5, 1], "one power saw for the crew, not one for each person");
    }
}
