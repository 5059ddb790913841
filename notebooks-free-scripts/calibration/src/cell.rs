//! A cell of the factorial: what kind of plantation is simulated.

use std::fmt;

/// Kind of true response.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum TruthKind {
    /// Parabola with its peak inside.
    Peaked,
    /// Quick rise, slow fall.
    Skewed,
    /// Level beyond the end of its rise.
    Plateau,
    /// No effect.
    Flat,
    /// Still rising at the highest intensity tried.
    Beyond,
}

/// How trees came by their intensity.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum AssignmentKind {
    /// By lot.
    Randomised,
    /// By rows and crews.
    Routine,
    /// By rows and crews, harder on vigorous trees and after a heavy crop.
    Habit,
}

/// One combination of the factors.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Cell {
    /// True response.
    pub truth: TruthKind,
    /// Assignment.
    pub assignment: AssignmentKind,
    /// Recorded seasons.
    pub seasons: u8,
    /// Regions.
    pub regions: u8,
    /// Whether trees bear in alternate years.
    pub alternating: bool,
    /// Whether errors are heavy-tailed.
    pub heavy: bool,
    /// Whether one harvest in ten was not recorded.
    pub missing: bool,
}

/// True responses, in order.
pub const TRUTHS: [TruthKind; 5] =
    [TruthKind::Peaked, TruthKind::Skewed, TruthKind::Plateau, TruthKind::Flat, TruthKind::Beyond];
/// Assignments, in order.
pub const ASSIGNMENTS: [AssignmentKind; 3] =
    [AssignmentKind::Randomised, AssignmentKind::Routine, AssignmentKind::Habit];
/// Recorded seasons, in order.
pub const SEASONS: [u8; 3] = [2, 4, 8];
/// Cells of truth x assignment x seasons.
const MAIN: usize = 45;
/// Combinations of the four two-level factors. Neighbours are complements, so that every pair is
/// balanced in each factor; the first eight are an orthogonal half.
const MINOR: [usize; 16] = [0, 15, 3, 12, 5, 10, 6, 9, 1, 14, 2, 13, 4, 11, 7, 8];

impl TruthKind {
    /// Its word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Peaked => "peaked",
            Self::Skewed => "skewed",
            Self::Plateau => "plateau",
            Self::Flat => "flat",
            Self::Beyond => "beyond",
        }
    }
}

impl AssignmentKind {
    /// Its word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Randomised => "randomised",
            Self::Routine => "routine",
            Self::Habit => "habit",
        }
    }
}

impl Cell {
    /// All 720 cells in an order whose beginning is balanced in every factor, so that a sample is
    /// a beginning and a run that was cut off is a sample.
    pub fn all() -> Vec<Self> {
        let mut cells = Vec::with_capacity(MAIN * MINOR.len());
        for round in 0..MINOR.len() {
            // 17 has no factor in common with 45: truths, assignments and seasons take turns.
            cells.extend((0..MAIN).map(|step| Self::at(17 * step % MAIN, round)));
        }
        cells
    }

    fn at(main: usize, round: usize) -> Self {
        // Shifting by the cell spreads the combinations over the cells within a round.
        let minor = MINOR.get(round).copied().unwrap_or(0) ^ (7 * main % MINOR.len());
        let on = |bit: usize| minor >> bit & 1 == 1;
        Self {
            truth: TRUTHS.get(main / 9).copied().unwrap_or(TruthKind::Peaked),
            assignment: ASSIGNMENTS.get(main / 3 % 3).copied().unwrap_or(AssignmentKind::Routine),
            seasons: SEASONS.get(main % 3).copied().unwrap_or(4),
            regions: if on(0) { 8 } else { 3 },
            alternating: on(1),
            heavy: on(2),
            missing: on(3),
        }
    }

    /// Words of the levels, in the order of the columns of the results.
    pub fn words(&self) -> [String; 7] {
        let two = |yes: bool, on: &str, off: &str| if yes { on } else { off }.to_owned();
        [
            self.truth.word().to_owned(),
            self.assignment.word().to_owned(),
            format!("s{}", self.seasons),
            format!("r{}", self.regions),
            two(self.alternating, "alternating", "steady"),
            two(self.heavy, "heavy", "normal"),
            two(self.missing, "missing", "whole"),
        ]
    }

    /// Seed of a replicate: fixed by the levels alone, so that neither order nor selection matters.
    pub fn seed(&self, replicate: u32) -> u64 {
        let levels = [
            self.truth as u64,
            self.assignment as u64,
            u64::from(self.seasons),
            u64::from(self.regions),
            u64::from(self.alternating),
            u64::from(self.heavy),
            u64::from(self.missing),
            u64::from(replicate),
        ];
        levels.iter().fold(0x0CA5_4E00, |state, level| mix(state ^ mix(level + 1)))
    }
}

/// One step of SplitMix64 (Steele, Lea and Flood, 2014, OOPSLA): neighbours get unrelated seeds.
fn mix(value: u64) -> u64 {
    let z = value.wrapping_add(0x9E37_79B9_7F4A_7C15);
    let z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    let z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

impl fmt::Display for Cell {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.words().join("."))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn the_factorial_is_full_and_its_beginnings_are_balanced() {
        let cells = Cell::all();
        let distinct: BTreeSet<Cell> = cells.iter().copied().collect();
        assert_eq!((cells.len(), distinct.len()), (720, 720));
        let seeds: BTreeSet<u64> =
            cells.iter().flat_map(|cell| [cell.seed(0), cell.seed(1)]).collect();
        assert_eq!(seeds.len(), 1440);
        for n in [90, 120, 180, 360] {
            let mut counts = std::collections::BTreeMap::new();
            for cell in cells.iter().take(n) {
                for word in cell.words() {
                    *counts.entry(word).or_insert(0_usize) += 1;
                }
            }
            for (word, count) in counts {
                let levels = match word.as_str() {
                    "peaked" | "skewed" | "plateau" | "flat" | "beyond" => 5,
                    "randomised" | "routine" | "habit" | "s2" | "s4" | "s8" => 3,
                    _ => 2,
                };
                let even = n / levels;
                assert!(count.abs_diff(even) <= 2, "{n} {word}: {count} of {even}");
            }
        }
    }
}
