//! What a person must settle before the result of a trial is used: it is analysed all the same.

use ::trials::{amount_words, name_in_words};
use ::words::{say, text};
use ingest_seasons::TrialTree;
use model::TreeSeasons;
use records::{Place, TrialDeclaration, counted, is_per_cent, written_amount};
use std::collections::{BTreeMap, BTreeSet};

/// A recorded intensity further from the treatment's than this is told, fraction.
const NEAR: f64 = 0.1;
/// A recorded lead further from the treatment's than this is told, days.
const NEAR_DAYS: f64 = 10.0;

/// One such matter.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Doubt {
    /// First row of the trial table that shows it.
    pub place: Place,
    /// What is odd, in a sentence.
    pub what: String,
    /// What to do.
    pub remedy: String,
}

/// A tree in a season, with its row of the linked table.
type At<'a> = (&'a TrialTree, i32, Option<usize>);

/// What levels are held against: how, and how near.
struct Held<'a> {
    factor: &'a str,
    /// Unit of the levels as recorded, `fraction` or `days`.
    unit: &'static str,
    near: f64,
    /// What a level as declared is times, to be in that unit.
    times: f64,
}

impl Held<'_> {
    /// The level of a tree's treatment, in the unit of what is recorded.
    fn level(&self, declared: &str, tree: &TrialTree) -> Option<f64> {
        let text = tree.columns.get(self.factor).and_then(Option::as_deref)?;
        written_amount(text, declared).map(|amount| amount * self.times)
    }
}

/// Trees whose pruning was not that of their treatment: in depth, and in date. A factor in per cent, or in days
/// without `lead` in its name, may be of something else: it is held against the prunings where these are plainly
/// its levels.
pub(super) fn off_treatment(
    declaration: &TrialDeclaration,
    at: &[At<'_>],
    table: &TreeSeasons,
) -> Vec<Doubt> {
    let wanted = declaration.amounts.iter().filter_map(|(factor, unit)| {
        let held = |unit, near, times| Held { factor, unit, near, times };
        let (held, is_sure) = match unit.as_str() {
            "fraction" => (held("fraction", NEAR, 1.0), true),
            "days" => (held("days", NEAR_DAYS, 1.0), factor.contains("lead")),
            per_cent if is_per_cent(per_cent) => (held("fraction", NEAR, 0.01), false),
            _ => return None,
        };
        Some((held, unit, is_sure))
    });
    wanted
        .filter_map(|(held, declared, is_sure)| {
            let column = if held.unit == "days" { &table.lead_days } else { &table.intensity };
            let pairs: Vec<Pair<'_>> = at
                .iter()
                .filter_map(|(tree, season, row)| {
                    let recorded = column.get((*row)?).copied().filter(|of| of.is_finite())?;
                    let level = held.level(declared, tree)?;
                    Some(Pair { tree, season: *season, level, recorded })
                })
                .collect();
            (is_sure || plainly(&pairs, held.near)).then(|| off(declaration, &held, &pairs))?
        })
        .collect()
}

/// The level of a tree's treatment beside what was recorded of it in a season.
struct Pair<'a> {
    tree: &'a TrialTree,
    season: i32,
    level: f64,
    recorded: f64,
}

/// Whether what was recorded of two in three or more lies near their own level, and nearer than to any other level:
/// levels of something else would meet the prunings of some by chance. Ours: a convention.
fn plainly(pairs: &[Pair<'_>], near: f64) -> bool {
    let own = |pair: &&Pair<'_>| {
        let away = (pair.level - pair.recorded).abs();
        away <= near && pairs.iter().all(|other| (other.level - pair.recorded).abs() >= away)
    };
    let is_varied = pairs.iter().any(|pair| pairs.first().is_some_and(|a| a.level != pair.level));
    is_varied && 3 * pairs.iter().filter(own).count() >= 2 * pairs.len()
}

/// Sites without any harvest in a season that others have, and rows of trees that stand: the sites are no longer
/// means over the same seasons.
pub(super) fn sites_without_season(declaration: &TrialDeclaration, at: &[At<'_>]) -> Vec<Doubt> {
    let Some(column) = &declaration.roles.site else { return Vec::new() };
    let mut found: BTreeMap<(&str, i32), (bool, &TrialTree)> = BTreeMap::new();
    for (tree, season, row) in at {
        if let Some(site) = tree.columns.get(column).and_then(Option::as_deref) {
            found.entry((site, *season)).or_insert((false, tree)).0 |= row.is_some();
        }
    }
    let lacking = found.into_iter().filter(|(_, (is_harvested, _))| !is_harvested);
    lacking
        .map(|((site, season), (_, tree))| Doubt {
            place: tree.place.clone(),
            what: say!(
                "No tree at {site} has a harvest of {season}, which other sites have: its mean is of other seasons than theirs. Picks of it may stand under another year."
            ),
            remedy: text!(
                "add the picks of that season, or correct their year; if there was no harvest, take the season out of the trial's seasons to compare the sites alike"
            )
            .to_owned(),
        })
        .collect()
}

/// A replicate of which no row is left: a number missing between those of the others, or a name that every other of
/// several sites has.
pub(super) fn absent_replicates(
    declaration: &TrialDeclaration,
    trees: &[&TrialTree],
) -> Vec<Doubt> {
    let cell = |tree: &TrialTree, column: &str| tree.columns.get(column).cloned().flatten();
    let mut sites: BTreeMap<Option<String>, (BTreeSet<String>, &Place)> = BTreeMap::new();
    for tree in trees {
        let site = declaration.roles.site.as_deref().and_then(|column| cell(tree, column));
        if let Some(replicate) = cell(tree, &declaration.roles.replicate) {
            sites.entry(site).or_insert((BTreeSet::new(), &tree.place)).0.insert(replicate);
        }
    }
    let mut found = Vec::new();
    for (site, (own, place)) in &sites {
        let others: Vec<&BTreeSet<String>> =
            sites.iter().filter(|(name, _)| *name != site).map(|(_, (names, _))| names).collect();
        let everywhere = others.iter().copied().cloned().reduce(|a, b| &a & &b).unwrap_or_default();
        // Sites that number on from each other have no name in common.
        let is_shared = others.iter().all(|names| !names.is_disjoint(own));
        let mut absent: BTreeSet<String> = between(own)
            .filter(|name| is_shared || !others.iter().any(|names| names.contains(name)))
            .into_iter()
            .collect();
        if others.len() > 1 && is_shared {
            absent.extend(everywhere.difference(own).cloned());
        }
        found.extend(absent.into_iter().map(|name| Doubt {
            place: (*place).clone(),
            what: match site {
                Some(site) => say!(
                    "No row at {site} is of replicate {name}, which its other replicates or the other sites lead to expect."
                ),
                None => say!(
                    "No row is of replicate {name}, a number between those of the other replicates."
                ),
            },
            remedy: text!(
                "add the rows of that replicate, or look for them among the rows set aside; leave it if there was none"
            )
            .to_owned(),
        }));
    }
    found
}

/// The one number that is missing in names that are otherwise numbered through, three of them at least.
fn between(names: &BTreeSet<String>) -> Option<String> {
    let split = |name: &str| -> Option<(String, i64)> {
        let start = name.trim_end_matches(|sign: char| sign.is_ascii_digit());
        Some((start.to_owned(), name.strip_prefix(start)?.parse().ok()?))
    };
    let numbered: BTreeSet<(String, i64)> =
        names.iter().map(|name| split(name)).collect::<Option<_>>()?;
    let ((start, low), (end, high)) = numbered.first().zip(numbered.last())?;
    let known = i64::try_from(numbered.len()).ok()?;
    if start != end || known < 3 || high - low != known {
        return None;
    }
    let absent = (*low..*high).find(|number| !numbered.contains(&(start.clone(), *number)))?;
    let width = names.first()?.len() - start.len();
    Some(format!("{start}{absent:0width$}"))
}

fn off(declaration: &TrialDeclaration, held: &Held<'_>, pairs: &[Pair<'_>]) -> Option<Doubt> {
    let Held { factor, unit, near, .. } = *held;
    let (mut off, known, mut first) = (0_u64, pairs.len(), None);
    // Tree-seasons off their treatment, and all, by season.
    let mut seasons: BTreeMap<i32, (usize, usize)> = BTreeMap::new();
    for Pair { tree, season, level, recorded } in pairs {
        let of_season = seasons.entry(*season).or_default();
        of_season.1 += 1;
        if (level - recorded).abs() > near {
            off += 1;
            of_season.0 += 1;
            // Whole days, and whole per cent.
            let shown = if unit == "days" { 1.0 } else { 100.0 };
            first.get_or_insert_with(|| {
                let said = say!(
                    "first {} in {season}: treatment {}, recorded {}; {}",
                    tree.tree,
                    amount_words(*level, unit),
                    amount_words((shown * recorded).round() / shown, unit),
                    tree.place
                );
                (tree.place.clone(), said)
            });
        }
    }
    let (place, first) = first?;
    let trees = records::noun(
        off,
        &say!("{off} tree-season of {known} with a harvest was"),
        &say!("{off} tree-seasons of {known} with a harvest were"),
    )
    .to_owned();
    let near = amount_words(near, unit);
    let factor = named(declaration, factor);
    let what = if unit == "days" {
        say!(
            "{} pruned more than {near} off the treatment's {factor} ({first}). Trees are analysed by the treatment of the trial table.",
            trees
        )
    } else {
        say!(
            "{} pruned more than {near} of the canopy off the treatment's {factor} ({first}). Trees are analysed by the treatment of the trial table.",
            trees
        )
    };
    // Whole seasons off their treatment, beside others that are not, were before the trial or after it.
    let (others, own): (Vec<_>, Vec<_>) =
        seasons.into_iter().partition(|(_, (off, known))| 2 * off > *known);
    let listed = |of: Vec<(i32, (usize, usize))>| {
        of.into_iter().map(|(season, _)| season.to_string()).collect::<Vec<_>>().join(", ")
    };
    let compare = text!(
        "compare trial table and prunings with the field book, and correct the one that is wrong; leave it if the trees were cut so"
    );
    let remedy = if declaration.seasons.is_empty() && !others.is_empty() && !own.is_empty() {
        let own = listed(own);
        say!(
            "most trees were off in {}, and were not in {own}: if the trial is of those alone, write seasons = [{own}] into its section of book.toml; else {compare}",
            listed(others)
        )
    } else {
        compare.to_owned()
    };
    Some(Doubt { place, what, remedy })
}

/// A factor as `book.toml` names it, in words where it has any.
fn named(declaration: &TrialDeclaration, factor: &str) -> String {
    let is_factor = declaration.keyed_factors().any(|(_, own)| own == factor);
    if is_factor { name_in_words(factor) } else { factor.to_owned() }
}

/// Levels and replicates of which no tree has a value: the analysis goes on without a word of them.
pub(super) fn without_values(
    declaration: &TrialDeclaration,
    at: &[At<'_>],
    values: &[f64],
) -> Vec<Doubt> {
    let replicate = declaration.roles.replicate.as_str();
    let columns: Vec<&str> =
        declaration.keyed_factors().map(|(_, factor)| factor).chain([replicate]).collect();
    let mut found = Vec::new();
    for column in columns {
        let mut levels: BTreeMap<&str, (bool, &Place, BTreeSet<&str>)> = BTreeMap::new();
        for ((tree, ..), value) in at.iter().zip(values) {
            let Some(level) = tree.columns.get(column).and_then(Option::as_deref) else { continue };
            let seen = levels.entry(level).or_insert((false, &tree.place, BTreeSet::new()));
            seen.0 |= value.is_finite();
            seen.2.insert(&tree.tree);
        }
        let empty = levels.into_iter().filter(|(_, (seen, ..))| !seen);
        found.extend(empty.map(|(level, (_, place, trees))| Doubt {
            place: place.clone(),
            what: say!(
                "No tree of {} {level} ({}) has a value: the result says nothing of it.",
                name_in_words(column),
                counted(trees.len() as u64, text!("tree"), text!("trees"))
            ),
            remedy: text!(
                "look for the picks and prunings of these trees among the rows set aside, or add them; leave it if all of it was lost"
            )
            .to_owned(),
        }));
    }
    found
}

/// Plots of which every tree was picked half as often in a season as the trial's trees are, or less: a
/// round of theirs is missing. `picks` are by row of the linked table.
pub(super) fn short_of_picks(
    declaration: &TrialDeclaration,
    at: &[At<'_>],
    picks: &[i32],
) -> Vec<Doubt> {
    let columns: Vec<&str> = declaration
        .keyed_factors()
        .map(|(_, factor)| factor)
        .chain([declaration.roles.replicate.as_str()])
        .collect();
    type Plot<'a> = Vec<(&'a TrialTree, i32)>;
    let mut seasons: BTreeMap<i32, BTreeMap<Vec<Option<&str>>, Plot<'_>>> = BTreeMap::new();
    for (tree, season, row) in at {
        let Some(own) = row.and_then(|row| picks.get(row)) else { continue };
        let cell = |column: &&str| tree.columns.get(*column).and_then(Option::as_deref);
        let plot = columns.iter().map(cell).collect();
        seasons.entry(*season).or_default().entry(plot).or_default().push((tree, *own));
    }
    let mut found = Vec::new();
    for (season, plots) in seasons {
        let mut all: Vec<i32> = plots.values().flatten().map(|(_, own)| *own).collect();
        all.sort_unstable();
        let usual = all.get(all.len() / 2).copied().unwrap_or_default();
        let short = plots
            .values()
            .filter(|plot| plot.len() > 1 && plot.iter().all(|(_, own)| 2 * own <= usual));
        let trees: Vec<&(&TrialTree, i32)> = short.flatten().collect();
        let Some((first, own)) = trees.first() else { continue };
        found.push(Doubt {
            place: first.place.clone(),
            what: say!(
                "{} of whole plots in {season} with half the picks of the others or fewer, first {}: {own} where {usual} are usual. A round may be missing.",
                counted(trees.len() as u64, text!("tree"), text!("trees")),
                first.tree
            ),
            remedy: text!(
                "look for the missing picks among the rows set aside, or add them; leave it if nothing was left to pick"
            )
            .to_owned(),
        });
    }
    found
}

/// Trees that by the tree table no longer stand and count with a yield of nothing.
pub(super) fn dead_with_nothing(at: &[At<'_>], values: &[f64]) -> Option<Doubt> {
    let dead = at.iter().zip(values).filter(|((tree, ..), kg)| tree.gone.is_some() && **kg == 0.0);
    let trees: BTreeSet<&str> = dead.clone().map(|((tree, ..), _)| tree.tree.as_str()).collect();
    let (first, ..) = dead.map(|(at, _)| at).next()?;
    Some(Doubt {
        place: first.place.clone(),
        what: say!(
            "{} of the trial, first {}, by the tree table no longer there, with 0 kg: a dead tree has no yield, not one of nothing.",
            counted(trees.len() as u64, text!("tree"), text!("trees")),
            first.tree
        ),
        remedy: text!("take out its picks of 0 kg; the analysis allows for lost trees").to_owned(),
    })
}

/// Trees that stand under an id which looks like the trial's and is another.
pub(super) fn under_other_ids(id: &str, trees: &[TrialTree]) -> Vec<Doubt> {
    let plain = |id: &str| -> String {
        id.chars().filter(|sign| sign.is_alphanumeric()).flat_map(char::to_lowercase).collect()
    };
    let own = plain(id);
    let mut others: BTreeMap<&str, (u64, &Place)> = BTreeMap::new();
    for tree in trees.iter().filter(|tree| tree.trial != id && plain(&tree.trial) == own) {
        others.entry(&tree.trial).or_insert((0, &tree.place)).0 += 1;
    }
    let told = others.into_iter().map(|(other, (rows, place))| Doubt {
        place: place.clone(),
        what: say!(
            "{} of the trial table under '{other}', an id that looks like this one, and no part of the trial.",
            counted(rows, text!("row"), text!("rows"))
        ),
        remedy: text!("write the id in one way, if both mean one trial").to_owned(),
    });
    told.collect()
}
