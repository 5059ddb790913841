//! The example books: the whole demo and three small ones, each for one first step.

use crate::{DEMO_SEED, Plantation, Tidiness, demo, small};

/// An example book.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Example {
    /// Six regions with every kind of table and trouble.
    Demo,
    /// One farm, four plain tables, nothing wrong in them.
    First,
    /// A trial field and nothing else.
    Trial,
    /// Two sites whose visits and picks are kept in spreadsheets, with slips.
    Untidy,
}

impl Example {
    /// Every example, the largest first.
    pub const ALL: [Self; 4] = [Self::Demo, Self::First, Self::Trial, Self::Untidy];

    /// Its word on the command line.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Demo => "demo",
            Self::First => "first",
            Self::Trial => "trial",
            Self::Untidy => "untidy",
        }
    }

    /// What is simulated.
    #[must_use]
    pub fn plantation(self) -> Plantation {
        match self {
            Self::Demo => demo(),
            Self::First => small::first(),
            Self::Trial => small::trial(),
            Self::Untidy => small::untidy(),
        }
    }

    /// Seed of the book as its README describes it. The small books take the first seed: nothing
    /// was picked.
    #[must_use]
    pub fn seed(self) -> u64 {
        match self {
            Self::Demo => DEMO_SEED,
            Self::First | Self::Trial | Self::Untidy => 1,
        }
    }

    /// How it is written.
    #[must_use]
    pub fn tidiness(self) -> Tidiness {
        match self {
            Self::Demo => Tidiness::Demo,
            Self::First | Self::Trial => Tidiness::Tidy,
            Self::Untidy => Tidiness::Untidy,
        }
    }
}
