//! Seasons in which a trait was recorded of a part of a trial alone: one that holds a replicate or two beside a season
//! of all of them compares other plots, and may be of rows dated a year off.

use super::doubts::Doubt;
use super::plot_of::plot_of;
use ::trials::name_in_words;
use ::words::{counted, say, text};
use ingest_seasons::TrialTree;
use records::{Place, TrialDeclaration};
use std::collections::{BTreeMap, BTreeSet};

/// Fewer replicates do not stand for a season. Ours: a convention.
const LEAST: usize = 2;

/// Replicates and plots with a value.
#[derive(Default)]
struct Seen<'a> {
    replicates: BTreeSet<&'a str>,
    plots: BTreeSet<Vec<Option<&'a str>>>,
}

/// What is told of a season at a site, whichever the trait.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
struct Finding {
    season: i32,
    site: Option<String>,
    /// The season of the most replicates and plots.
    fullest: i32,
    is_left_out: bool,
    /// Replicates with a value where the season is left out, else those without one.
    replicates: Vec<String>,
    /// Plots with a value in this season and in the fullest.
    plots: [usize; 2],
    /// Another season that lacks just these replicates.
    meant: Option<i32>,
    place: Place,
}

/// Findings of the traits of a trial, one sentence for all traits that show the same.
#[derive(Default)]
pub(super) struct Partial {
    found: BTreeMap<Finding, Vec<String>>,
}

impl Partial {
    /// Looks through the values of a trait, one of each tree and season, and tells which of these count: those of a
    /// season without any at the site are not missing, and those of a season of too few plots stand for none.
    pub(super) fn counting(
        &mut self,
        declaration: &TrialDeclaration,
        at: &[(&TrialTree, i32, Option<usize>)],
        name: &str,
        values: &[f64],
    ) -> Vec<bool> {
        let site_of = |tree: &TrialTree| -> Option<String> {
            tree.columns.get(declaration.roles.site.as_ref()?)?.clone()
        };
        let mut sites: BTreeMap<Option<String>, BTreeMap<i32, Seen<'_>>> = BTreeMap::new();
        let mut standing: BTreeMap<Option<String>, BTreeMap<&str, &TrialTree>> = BTreeMap::new();
        for ((tree, season, _), value) in at.iter().zip(values) {
            let replicate =
                tree.columns.get(&declaration.roles.replicate).and_then(Option::as_deref);
            if let Some(replicate) = replicate.filter(|_| tree.gone.is_none()) {
                standing.entry(site_of(tree)).or_default().entry(replicate).or_insert(tree);
            }
            if value.is_finite() {
                let seasons = sites.entry(site_of(tree)).or_default();
                let seen = seasons.entry(*season).or_default();
                seen.replicates.extend(replicate);
                seen.plots.insert(plot_of(declaration, tree));
            }
        }
        let mut counting: BTreeSet<(Option<String>, i32)> = BTreeSet::new();
        for (site, seasons) in &sites {
            let own = standing.get(site);
            let found = findings(site, seasons, own.unwrap_or(&BTreeMap::new()));
            let left_out: BTreeSet<i32> =
                found.iter().filter(|own| own.is_left_out).map(|own| own.season).collect();
            let kept = seasons.keys().filter(|season| !left_out.contains(season));
            counting.extend(kept.map(|season| (site.clone(), *season)));
            for finding in found {
                self.found.entry(finding).or_default().push(name.to_owned());
            }
        }
        at.iter().map(|(tree, season, _)| counting.contains(&(site_of(tree), *season))).collect()
    }

    /// What a person must settle.
    pub(super) fn doubts(self, declaration: &TrialDeclaration) -> Vec<Doubt> {
        let replicate = name_in_words(&declaration.roles.replicate);
        self.found
            .into_iter()
            .map(|(own, traits)| own.doubt(&traits.join(", "), &replicate))
            .collect()
    }
}

/// What the seasons of a site lack beside the fullest of them.
fn findings(
    site: &Option<String>,
    seasons: &BTreeMap<i32, Seen<'_>>,
    standing: &BTreeMap<&str, &TrialTree>,
) -> Vec<Finding> {
    let size = |of: &Seen<'_>| (of.replicates.len(), of.plots.len());
    // The first of several alike.
    let fullest = seasons.iter().rev().max_by_key(|(_, seen)| size(seen));
    let Some((&fullest, most)) = fullest else { return Vec::new() };
    let lacked = |season: i32| -> BTreeSet<&str> {
        let elsewhere = seasons.iter().filter(|(other, _)| **other != season);
        let elsewhere: BTreeSet<&str> =
            elsewhere.flat_map(|(_, seen)| seen.replicates.iter().copied()).collect();
        let own = seasons.get(&season);
        let is_seen = |name: &&str| own.is_some_and(|own| own.replicates.contains(*name));
        elsewhere.into_iter().filter(|name| !is_seen(name) && standing.contains_key(name)).collect()
    };
    let is_too_few = |seen: &Seen<'_>| {
        (most.replicates.len() >= LEAST && seen.replicates.len() < LEAST)
            || 2 * seen.plots.len() < most.plots.len()
    };
    let mut found = Vec::new();
    let mut explained = BTreeSet::new();
    for (&season, seen) in seasons.iter().filter(|(_, seen)| is_too_few(seen)) {
        let meant = seasons.keys().copied().find(|other| {
            *other != season && !seen.replicates.is_empty() && lacked(*other) == seen.replicates
        });
        explained.extend(meant);
        let first = seen.replicates.iter().find_map(|name| standing.get(name));
        let Some(first) = first.or_else(|| standing.values().next()) else { continue };
        found.push(Finding {
            season,
            site: site.clone(),
            fullest,
            is_left_out: true,
            replicates: seen.replicates.iter().map(|&name| name.to_owned()).collect(),
            plots: [seen.plots.len(), most.plots.len()],
            meant,
            place: first.place.clone(),
        });
    }
    for (&season, seen) in seasons {
        let lacks = lacked(season);
        let first = lacks.iter().find_map(|name| standing.get(name));
        let Some(first) = first.filter(|_| !is_too_few(seen) && !explained.contains(&season))
        else {
            continue;
        };
        found.push(Finding {
            season,
            site: site.clone(),
            fullest,
            is_left_out: false,
            replicates: lacks.iter().map(|&name| name.to_owned()).collect(),
            plots: [seen.plots.len(), most.plots.len()],
            meant: None,
            place: first.place.clone(),
        });
    }
    found
}

impl Finding {
    fn doubt(self, traits: &str, replicate: &str) -> Doubt {
        let Self { season, fullest, plots: [own, most], .. } = self;
        let at = self.site.map_or_else(String::new, |site| say!(" at {site}"));
        let named = format!("{replicate} {}", self.replicates.join(", "));
        let (what, remedy) = if self.is_left_out {
            let meant = self.meant.map_or_else(String::new, |meant| {
                say!(" That is what {meant} lacks: its records may stand under another year.")
            });
            let alone =
                if self.replicates.is_empty() { String::new() } else { say!(" ({named} alone)") };
            (
                say!(
                    "Values of {traits} in {season}{at} are of {}{alone}, where {fullest} has {most}: so few do not stand for a season, and {season} is left out of the analysis of {traits}.{meant}",
                    counted(own as u64, text!("plot"), text!("plots"))
                ),
                text!(
                    "compare the dates of these records with the field book and correct their year, or add the records of the other plots; if no more was recorded, the season stays left out"
                ),
            )
        } else {
            (
                say!(
                    "No tree of {named}{at} has a value of {traits} in {season}, though it has one in another season: the means of {season} are of fewer plots."
                ),
                text!(
                    "look for records of these trees under another year or among the rows set aside, or add them; leave it if nothing was recorded there"
                ),
            )
        };
        Doubt { place: self.place, what, remedy: remedy.to_owned() }
    }
}

#[cfg(test)]
mod tests {
    use super::Partial;
    use ingest_seasons::TrialTree;
    use records::{Book, Place};
    use std::collections::BTreeMap;

    /// Four replicates of four plots over two seasons, with a value where `is_seen` says so of replicate and
    /// season: the rows that count by season, and what is told.
    fn looked(is_seen: fn(usize, usize, i32) -> bool, gone: &str) -> ([usize; 2], Vec<String>) {
        let section = "[trials.T]\ndesign = \"randomised_blocks\"\nfactors = [\"level\"]\nseasons = [2025, 2026]\n";
        let book = format!(
            "[book]\nname = \"B\"\n[economics]\ncurrency = \"USD\"\nprice_per_kg = 1.0\nwage_per_hour = 1.0\n[regions.r]\nharvest = [\"02-01\", \"05-31\"]\nflush = [\"09-01\", \"11-30\"]\n{section}"
        );
        let book = Book::parse(&book).unwrap();
        let trees: Vec<TrialTree> = (0..16)
            .map(|tree| TrialTree {
                trial: "T".to_owned(),
                tree: format!("T{tree}"),
                place: Place::file("trials.csv"),
                columns: BTreeMap::from([
                    ("replicate".to_owned(), Some(format!("R{}", tree / 4 + 1))),
                    ("level".to_owned(), Some((tree % 4).to_string())),
                ]),
                girth_cm: None,
                gone: (gone == format!("R{}", tree / 4 + 1)).then(|| "dead".to_owned()),
            })
            .collect();
        let at: Vec<(&TrialTree, i32, Option<usize>)> =
            trees.iter().flat_map(|tree| [2025, 2026].map(|season| (tree, season, None))).collect();
        let seen = |at: usize| is_seen(at / 8 + 1, at / 2 % 4, 2025 + (at % 2) as i32);
        let values: Vec<f64> =
            (0..at.len()).map(|at| if seen(at) { 5.0 } else { f64::NAN }).collect();
        let mut partial = Partial::default();
        let counting = partial.counting(&book.trials["T"], &at, "laterals", &values);
        let rows = |season: i32| {
            let own = at.iter().zip(&counting).filter(|((_, own, _), _)| *own == season);
            own.filter(|(_, counts)| **counts).count()
        };
        let told = partial.doubts(&book.trials["T"]).into_iter().map(|doubt| doubt.what);
        ([rows(2025), rows(2026)], told.collect())
    }

    #[test]
    fn a_replicate_dated_a_year_late_is_no_season() {
        let (counting, told) =
            looked(|replicate, _, season| (replicate == 4) == (season == 2026), "");
        assert_eq!(counting, [16, 0]);
        let [told] = told.as_slice() else { panic!("{told:?}") };
        for part in [
            "Values of laterals in 2026 are of 4 plots (replicate R4 alone), where 2025 has 12",
            "2026 is left out of the analysis of laterals",
            "That is what 2025 lacks: its records may stand under another year.",
        ] {
            assert!(told.contains(part), "{told}");
        }
    }

    #[test]
    fn seasons_that_lack_replicates_are_told_and_others_are_not() {
        let (counting, told) = looked(|replicate, _, season| replicate != 2 || season == 2025, "");
        assert_eq!((counting, told.len()), ([16, 16], 1));
        assert!(told[0].contains("No tree of replicate R2 has a value of laterals in 2026"));
        // Fewer than half the plots stand for no season, whichever the replicates.
        let (counting, told) = looked(|_, plot, season| plot == 0 || season == 2025, "");
        assert_eq!((counting, told.len()), ([16, 0], 1));
        // Single plots that lack a value, a season without any, and a replicate that died are none of it.
        for (is_seen, gone, counting) in [
            (
                (|_, plot, season| plot != 1 || season == 2025) as fn(usize, usize, i32) -> bool,
                "",
                [16, 16],
            ),
            (|_, _, season| season == 2025, "", [16, 0]),
            (|replicate, _, season| replicate != 3 || season == 2025, "R3", [16, 16]),
        ] {
            assert_eq!(looked(is_seen, gone), (counting, Vec::new()));
        }
    }
}
