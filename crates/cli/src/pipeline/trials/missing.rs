//! What a declared trial lacks: rows, harvests, values.

use ::words::{say, text};
use ingest_seasons::TrialTree;
use records::{TrialDeclaration, counted};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// Trees named one by one in a note.
const SHOWN: usize = 12;

/// Why a trial, or one of its traits, is not analysed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct NotAnalysed {
    /// Key of `[trials.ID]` that it lies with; none where it lies with the section as a whole.
    #[serde(skip)]
    pub key: Option<&'static str>,
    /// What is missing.
    pub what: String,
    /// What to do.
    pub remedy: String,
    /// Whether nothing is wrong but that the harvest is yet to come.
    pub waits: bool,
}

impl NotAnalysed {
    /// Of a trial without a linked row; `rows` are in the table, and were set aside.
    pub(super) fn of_rows(rows: u64) -> Self {
        let (what, remedy) = if rows == 0 {
            (
                say!("The trial table has no row of it."),
                text!(
                    "add its plots to the trial table, or remove the section; ids must match letter by letter"
                ),
            )
        } else {
            (
                say!(
                    "None of its rows is left to analyse: {} set aside.",
                    counted(rows, text!("row is"), text!("rows are"))
                ),
                text!("mend the rows set aside; each is told with its line"),
            )
        };
        Self { key: None, what, remedy: remedy.to_owned(), waits: false }
    }

    /// Of a trial without a season to analyse, whose trees were `picked` in some, whether or not that counts;
    /// `set_aside` rows of it could not be read or linked.
    pub(super) fn of_seasons(
        declaration: &TrialDeclaration,
        harvested: &BTreeSet<i32>,
        picked: &BTreeSet<i32>,
        set_aside: u64,
    ) -> Self {
        let declared: BTreeSet<i32> = declaration.seasons.iter().map(|&s| i32::from(s)).collect();
        let uncounted: BTreeSet<i32> = declared.intersection(picked).copied().collect();
        // The season after the last harvest is that of a trial in the field; a later one is a slip.
        let waits = uncounted.is_empty()
            && declared
                .first()
                .zip(harvested.last())
                .is_some_and(|(first, last)| *first == last + 1);
        let (key, what, remedy) = if !uncounted.is_empty() && set_aside > 0 {
            (
                None,
                say!(
                    "Its trees have picks of {} on record, and none of them counts: {} set aside, so that nobody knows how its trees were cut or what they bore.",
                    listed(&uncounted),
                    counted(
                        set_aside,
                        text!("row of this trial and its trees was"),
                        text!("rows of this trial and its trees were")
                    )
                ),
                text!("mend the rows set aside; each is told with its line"),
            )
        } else if declared.is_empty() && set_aside > 0 {
            (
                None,
                say!(
                    "No tree of it has a harvest after a pruning left to analyse; {} set aside.",
                    counted(
                        set_aside,
                        text!("row of this trial and its trees was"),
                        text!("rows of this trial and its trees were")
                    )
                ),
                text!("mend the rows set aside; each is told with its line"),
            )
        } else if harvested.is_empty() {
            (
                None,
                say!("No tree of it has a harvest yet, so there is nothing to analyse."),
                text!(
                    "add the harvests of its trees; ids of trees must match those of the harvests letter by letter"
                ),
            )
        } else if declared.is_empty() {
            (
                None,
                say!(
                    "No tree of it has a harvest after a pruning yet, so there is nothing to analyse."
                ),
                text!(
                    "add the prunings of its trees, or write seasons = [YEAR, ..] with the harvests to analyse into its section of book.toml"
                ),
            )
        } else if waits {
            (
                Some("seasons"),
                say!("It waits for the harvest of {}.", listed(&declared)),
                text!("add the harvests when they are in"),
            )
        } else {
            (
                Some("seasons"),
                say!(
                    "No tree of it has a harvest of {}, the seasons that book.toml declares; its harvests are of {}.",
                    listed(&declared),
                    listed(harvested)
                ),
                text!(
                    "declare seasons that were harvested, or add the harvests; without the line every season from the first after a pruning on is analysed"
                ),
            )
        };
        Self { key, what, remedy: remedy.to_owned(), waits }
    }

    /// Of a declared trait without any value.
    pub(super) fn of_trait(name: &str) -> Self {
        Self {
            key: Some("traits"),
            what: say!("No tree of the trial has a value of {name}."),
            remedy: text!("record it in the seasons analysed, or take it out of traits in the trial's section of book.toml").to_owned(),
            waits: false,
        }
    }
}

/// Declared seasons that are left out because nothing was harvested in them, but for those `told` already.
pub(super) fn seasons_without_harvest(
    declaration: &TrialDeclaration,
    harvested: &BTreeSet<i32>,
    told: &BTreeSet<i32>,
) -> Option<String> {
    let declared = declaration.seasons.iter().map(|&season| i32::from(season));
    let absent: BTreeSet<i32> =
        declared.filter(|season| !harvested.contains(season) && !told.contains(season)).collect();
    (!absent.is_empty()).then(|| {
        say!("No tree of it has a harvest of {}, which book.toml declares.", listed(&absent))
    })
}

/// Trees that stand and lack a harvest in a season in which others of their site have one; with `set_aside` that picks
/// of the book, which may be theirs, were set aside.
pub(super) fn unharvested(
    declaration: &TrialDeclaration,
    at: &[(&TrialTree, i32, Option<usize>)],
    set_aside: bool,
) -> Option<String> {
    let site = |tree: &TrialTree| -> Option<String> {
        tree.columns.get(declaration.roles.site.as_ref()?)?.clone()
    };
    let harvested: BTreeSet<(Option<String>, i32)> = at
        .iter()
        .filter(|(.., row)| row.is_some())
        .map(|(tree, season, _)| (site(tree), *season))
        .collect();
    let lacking: Vec<String> = at
        .iter()
        .filter(|(tree, season, row)| {
            row.is_none() && tree.gone.is_none() && harvested.contains(&(site(tree), *season))
        })
        .map(|(tree, season, _)| say!("{} in {season}", tree.tree))
        .collect();
    let mut words = lacking.iter().take(SHOWN).cloned().collect::<Vec<_>>().join(", ");
    if lacking.len() > SHOWN {
        words = say!("{words} and {} more", lacking.len() - SHOWN);
    }
    let theirs = if set_aside {
        text!(
            " Picks of the book were set aside and may be theirs: the check of the book lists them."
        )
    } else {
        ""
    };
    (!lacking.is_empty()).then(|| say!("Without a harvest on record: {words}.{theirs}"))
}

/// Trees without a harvest that the tree table says are no longer there.
pub(super) fn gone(at: &[(&TrialTree, i32, Option<usize>)]) -> Option<String> {
    let mut lost: BTreeMap<(&str, &str), BTreeSet<i32>> = BTreeMap::new();
    for (tree, season, row) in at {
        if let (Some(status), None) = (tree.gone.as_deref(), row) {
            lost.entry((tree.tree.as_str(), status)).or_default().insert(*season);
        }
    }
    let words = lost.iter().take(SHOWN).map(|((tree, status), seasons)| {
        say!("{tree} ({status}, no harvest of {})", listed(seasons))
    });
    let mut words = words.collect::<Vec<_>>().join(", ");
    if lost.len() > SHOWN {
        words = say!("{words} and {} more", lost.len() - SHOWN);
    }
    (!lost.is_empty())
        .then(|| say!("By the tree table, these trees of it no longer stand: {words}."))
}

fn listed(seasons: &BTreeSet<i32>) -> String {
    seasons.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ")
}

#[cfg(test)]
mod tests {
    use super::super::doubts::sites_without_season;
    use super::{NotAnalysed, unharvested};
    use ingest_seasons::TrialTree;
    use records::{Book, Place};
    use std::collections::{BTreeMap, BTreeSet};

    /// Picks that are on record and do not count are not asked for again.
    #[test]
    fn picks_that_do_not_count_are_not_missing() {
        let section =
            "[trials.T]\ndesign = \"randomised_blocks\"\nfactors = [\"level\"]\nseasons = [2027]\n";
        let book = format!(
            "[book]\nname = \"B\"\n[economics]\ncurrency = \"USD\"\nprice_per_kg = 1.0\nwage_per_hour = 1.0\n[regions.r]\nharvest = [\"02-01\", \"05-31\"]\nflush = [\"09-01\", \"11-30\"]\n{section}"
        );
        let declared = Book::parse(&book).unwrap().trials.remove("T").unwrap();
        let (harvested, picked) = (BTreeSet::from([2025]), BTreeSet::from([2025, 2027]));
        let why = NotAnalysed::of_seasons(&declared, &harvested, &picked, 95);
        assert!(why.what.contains("picks of 2027 on record, and none of them counts: 95 rows"));
        assert!(why.remedy.contains("mend the rows set aside") && !why.waits);
        let why = NotAnalysed::of_seasons(&declared, &harvested, &harvested, 95);
        assert!(why.what.contains("No tree of it has a harvest of 2027"), "{}", why.what);
    }

    /// Two trees at each of two sites over two seasons: those harvested, and what is told of the others.
    fn told(is_harvested: fn(&str, i32) -> bool) -> (Option<String>, Vec<String>) {
        let section = "[trials.T]\ndesign = \"randomised_blocks\"\nfactors = [\"level\"]\nroles = { site = \"site\" }\n";
        let book = format!(
            "[book]\nname = \"B\"\n[economics]\ncurrency = \"USD\"\nprice_per_kg = 1.0\nwage_per_hour = 1.0\n[regions.r]\nharvest = [\"02-01\", \"05-31\"]\nflush = [\"09-01\", \"11-30\"]\n{section}"
        );
        let book = Book::parse(&book).unwrap();
        let tree = |tree: &str, site: &str| TrialTree {
            trial: "T".to_owned(),
            tree: tree.to_owned(),
            place: Place::file("trials.csv"),
            columns: BTreeMap::from([("site".to_owned(), Some(site.to_owned()))]),
            girth_cm: None,
            gone: None,
        };
        let trees =
            [tree("N1", "North"), tree("N2", "North"), tree("S1", "South"), tree("S2", "South")];
        let at: Vec<(&TrialTree, i32, Option<usize>)> = trees
            .iter()
            .flat_map(|tree| [2026, 2027].map(|season| (tree, season)))
            .map(|(tree, season)| (tree, season, is_harvested(&tree.tree, season).then_some(0)))
            .collect();
        let declared = &book.trials["T"];
        let doubts = sites_without_season(declared, &at).into_iter().map(|doubt| doubt.what);
        (unharvested(declared, &at, false), doubts.collect())
    }

    #[test]
    fn a_tree_and_a_site_without_a_harvest_are_told_apart() {
        assert_eq!(told(|_, _| true), (None, Vec::new()));
        let (tree, site) = told(|tree, season| (tree, season) != ("N2", 2027));
        assert_eq!(tree.as_deref(), Some("Without a harvest on record: N2 in 2027."));
        assert_eq!(site, Vec::<String>::new());
        let (tree, site) = told(|tree, season| !tree.starts_with('N') || season == 2026);
        assert_eq!((tree, site.len()), (None, 1));
        assert!(site[0].starts_with("No tree at North has a harvest of 2027"), "{site:?}");
    }
}
