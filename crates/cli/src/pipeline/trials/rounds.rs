//! Rounds of picking: plots that lack one of those that others have, and a crop that may not be
//! whole yet. A sum over fewer rounds looks like a smaller crop.

use super::doubts::Doubt;
use super::plot_of::plot_of;
use ::words::{counted, date, say, span, text};
use ingest_seasons::TrialTree;
use jiff::civil::Date;
use model::TreeSeasons;
use records::{Book, Calendar, TrialDeclaration};
use std::collections::{BTreeMap, BTreeSet};

/// Days on which the picks of one round follow each other, at most.
const WITHIN: i32 = 4;
/// Fewer plots do not tell what is usual.
const PLOTS: usize = 4;
/// Plots named one by one in a note.
const SHOWN: usize = 6;
/// Rounds told of a season.
const TOLD: usize = 3;

/// Picks of every tree by day, with the calendars of their regions.
pub(super) struct Rounds {
    days: BTreeMap<String, BTreeSet<Date>>,
    calendars: BTreeMap<String, Calendar>,
    grace: i32,
}

/// What rounds tell of a trial.
pub(super) struct Short {
    /// Plots without a round that others have.
    pub(super) doubts: Vec<Doubt>,
    /// Seasons of these.
    pub(super) told: BTreeSet<i32>,
    /// That the last season may go on: no doubt, since a crop may end early.
    pub(super) unfinished: Option<String>,
}

/// A season at a site.
type InSeason<'a> = (i32, Option<&'a str>);

/// A plot in a season.
struct Plot<'a> {
    name: String,
    first: &'a TrialTree,
    /// Levels of its factors.
    treatment: Vec<Option<&'a str>>,
    /// Trees with a pick.
    trees: usize,
    days: BTreeSet<Date>,
    /// Rounds that it has, by position.
    rounds: BTreeSet<usize>,
}

impl Rounds {
    pub(super) fn new(
        days: BTreeMap<String, BTreeSet<Date>>,
        book: &Book,
        table: &TreeSeasons,
    ) -> Self {
        let mut calendars = BTreeMap::new();
        for row in 0..table.len() {
            let region = book.regions.get(table.region.label(row));
            if let Some(calendar) = region.and_then(|region| region.calendar()) {
                calendars.entry(table.tree.label(row).to_owned()).or_insert(calendar);
            }
        }
        Self { days, calendars, grace: book.options.harvest_grace_days }
    }

    /// Plots without a round that others have, season by season, with the seasons told; and what is
    /// said of the last season.
    pub(super) fn short(
        &self,
        declaration: &TrialDeclaration,
        trees: &[&TrialTree],
        seasons: &[i32],
    ) -> Short {
        let (mut found, mut told) = (Vec::new(), BTreeSet::new());
        let mut usual: BTreeMap<i32, usize> = BTreeMap::new();
        for ((season, _), mut plots) in self.by_season(declaration, trees) {
            let rounds = into_rounds(&mut plots);
            let most = plots.iter().map(|plot| plot.rounds.len()).max().unwrap_or_default();
            let known = usual.entry(season).or_default();
            *known = most.max(*known);
            if plots.len() < PLOTS || !seasons.contains(&season) {
                continue;
            }
            let own: Vec<Doubt> = rounds
                .iter()
                .enumerate()
                .filter_map(|(number, round)| lacking(season, number, *round, &plots))
                .take(TOLD)
                .collect();
            if !own.is_empty() {
                told.insert(season);
                found.extend(own);
            }
        }
        let unfinished = self.unfinished(trees, seasons, &usual);
        Short { doubts: found, told, unfinished }
    }

    /// Seasons in which a tree has a pick on record.
    pub(super) fn picked(&self, trees: &[&TrialTree]) -> BTreeSet<i32> {
        trees.iter().flat_map(|tree| self.of_tree(tree).map(|(season, _)| season)).collect()
    }

    /// The days of a tree's picks in its seasons.
    fn of_tree(&self, tree: &TrialTree) -> impl Iterator<Item = (i32, Date)> {
        let calendar = self.calendars.get(&tree.tree);
        let days = self.days.get(&tree.tree).into_iter().flatten();
        days.filter_map(move |day| {
            let season = calendar?.season_of_pick(*day, self.grace)?;
            Some((i32::from(season), *day))
        })
    }

    /// Plots with a pick, by season and site: each site is picked on its own days.
    fn by_season<'a>(
        &self,
        declaration: &TrialDeclaration,
        trees: &[&'a TrialTree],
    ) -> BTreeMap<InSeason<'a>, Vec<Plot<'a>>> {
        let mut seasons: BTreeMap<InSeason<'a>, BTreeMap<Vec<Option<&str>>, Plot<'a>>> =
            BTreeMap::new();
        for tree in trees {
            let mut own: BTreeMap<i32, BTreeSet<Date>> = BTreeMap::new();
            for (season, day) in self.of_tree(tree) {
                own.entry(season).or_default().insert(day);
            }
            for (season, days) in own {
                let site = tree.columns.get("site").and_then(Option::as_deref);
                let plots = seasons.entry((season, site)).or_default();
                let plot = plots.entry(plot_of(declaration, tree)).or_insert_with(|| Plot {
                    name: name_of(declaration, tree),
                    first: tree,
                    treatment: treatment_of(declaration, tree),
                    trees: 0,
                    days: BTreeSet::new(),
                    rounds: BTreeSet::new(),
                });
                // A plot is named and placed by its first row, whatever the order of ids.
                if tree.place < plot.first.place {
                    plot.first = tree;
                    plot.name = name_of(declaration, tree);
                }
                plot.trees += 1;
                plot.days.extend(days);
            }
        }
        seasons.into_iter().map(|(of, plots)| (of, plots.into_values().collect())).collect()
    }

    /// A last season of fewer rounds than each of two or more before it, whose window was open still
    /// after the last pick.
    fn unfinished(
        &self,
        trees: &[&TrialTree],
        seasons: &[i32],
        usual: &BTreeMap<i32, usize>,
    ) -> Option<String> {
        let (last, own) = usual.last_key_value().filter(|(last, _)| seasons.contains(last))?;
        let earlier = || usual.range(..last).map(|(_, rounds)| *rounds);
        let least = earlier().min().filter(|least| own < least && earlier().count() > 1)?;
        let (tree, day) = trees
            .iter()
            .flat_map(|tree| self.of_tree(tree).map(|(_, day)| (*tree, day)))
            .max_by_key(|(_, day)| *day)?;
        let year = i16::try_from(*last).ok()?;
        let closes = self.calendars.get(&tree.tree)?.harvest.close_of(year);
        // A book that goes on after the window tells of a crop that is in: its total may stand in one row.
        let is_over = self.days.values().flatten().any(|other| *other > closes);
        (day < closes && !is_over).then(|| {
            say!(
                "The harvest of {last} has {} so far, the last on {}, where earlier seasons had {least} or more, and its window is open until {}: the crop may not be whole.",
                counted(*own as u64, text!("round of picks"), text!("rounds of picks")),
                date(day),
                date(closes)
            )
        })
    }
}

fn treatment_of<'a>(declaration: &TrialDeclaration, tree: &'a TrialTree) -> Vec<Option<&'a str>> {
    let level = |factor: &str| tree.columns.get(factor).and_then(Option::as_deref);
    declaration.keyed_factors().map(|(_, factor)| level(factor)).collect()
}

fn name_of(declaration: &TrialDeclaration, tree: &TrialTree) -> String {
    let plot = declaration.roles.plot.as_ref().and_then(|column| tree.columns.get(column));
    match plot.and_then(Option::as_ref) {
        Some(plot) => say!("plot {plot}"),
        None => say!("the plot of tree {}", tree.tree),
    }
}

fn median(numbers: impl Iterator<Item = usize>) -> usize {
    let mut all: Vec<usize> = numbers.collect();
    all.sort_unstable();
    all.get(all.len() / 2).copied().unwrap_or_default()
}

fn days_apart(from: Date, to: Date) -> i32 {
    from.until(to).map_or(i32::MAX, |span| span.get_days())
}

/// First and last day of every round: days that follow each other closely, whatever the plot.
fn into_rounds(plots: &mut [Plot<'_>]) -> Vec<[Date; 2]> {
    let days: BTreeSet<Date> = plots.iter().flat_map(|plot| &plot.days).copied().collect();
    let mut rounds: Vec<[Date; 2]> = Vec::new();
    for day in days {
        match rounds.last_mut() {
            Some([_, last]) if days_apart(*last, day) <= WITHIN => *last = day,
            _ => rounds.push([day, day]),
        }
    }
    for plot in plots {
        let has = |[from, to]: &[Date; 2]| plot.days.range(*from..=*to).next().is_some();
        let own = rounds.iter().enumerate().filter(|(_, round)| has(round));
        plot.rounds = own.map(|(number, _)| number).collect();
    }
    rounds
}

/// Plots without a round that a quarter of the plots have, and with fewer rounds than these: a block
/// picked on days of its own lacks nothing. A tree alone may have had nothing to pick, and what every
/// plot of a treatment lacks may be the treatment's doing: late cuts ripen late.
fn lacking(season: i32, number: usize, round: [Date; 2], plots: &[Plot<'_>]) -> Option<Doubt> {
    let holders = || plots.iter().filter(|plot| plot.rounds.contains(&number));
    let with = holders().count();
    let typical = median(holders().map(|plot| plot.rounds.len()));
    let of_treatment = |own: &Plot<'_>| {
        let mut alike = plots.iter().filter(|plot| plot.treatment == own.treatment);
        alike.clone().count() > 1 && alike.all(|plot| !plot.rounds.contains(&number))
    };
    let short: Vec<&Plot<'_>> = plots
        .iter()
        .filter(|plot| plot.trees > 1 && !plot.rounds.contains(&number))
        .filter(|plot| plot.rounds.len() < typical && !of_treatment(plot))
        .collect();
    let first = short.iter().min_by(|a, b| a.first.place.cmp(&b.first.place))?;
    if with < 2 || 4 * with < plots.len() {
        return None;
    }
    let (days, all) = (span(round[0], round[1]), plots.len());
    let what = if 2 * with > all && short.len() <= SHOWN {
        let names: Vec<&str> = short.iter().map(|plot| plot.name.as_str()).collect();
        say!(
            "No tree of {} has a pick of the round of {days}, which {with} of {all} plots have: what was picked is summed as a whole crop.",
            names.join(", ")
        )
    } else {
        say!(
            "{} of {all} plots, first {}, have no pick of the round of {days}: sums of {season} over fewer rounds stand beside those over more, and differences between treatments are not those of whole crops.",
            short.len(),
            first.name
        )
    };
    Some(Doubt {
        place: first.first.place.clone(),
        what,
        remedy: text!(
            "add the missing picks, or look for them among the rows set aside; wait if these plots are still to be picked; leave it if nothing was left to pick"
        )
        .to_owned(),
    })
}
