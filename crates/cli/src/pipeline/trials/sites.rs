//! Where the trees of a trial stand by the book, against the sites that the trial declares and states.

use super::doubts::Doubt;
use super::plot_of::Places;
use ::words::{say, text};
use ingest_seasons::TrialTree;
use records::{TrialDeclaration, common_form, counted};
use std::collections::{BTreeMap, BTreeSet};

/// Sites named one by one.
const SHOWN: usize = 6;
/// Trees of a stated site, as a part of all of it, above which another site of the book is no slip but a grouping
/// of the trial's own: one in so many. Ours: a convention.
const ONE_IN: usize = 4;

/// Trees at several sites of the book in a trial that declares no site: it is analysed as one, with equal names
/// of replicates melted into each other. Sites that are a block each are replicates, and nothing is odd.
pub(super) fn undeclared(
    declaration: &TrialDeclaration,
    trees: &[&TrialTree],
    places: &Places<'_>,
) -> Option<Doubt> {
    if declaration.roles.site.is_some() {
        return None;
    }
    let replicate = declaration.roles.replicate.as_str();
    let (mut blocks_of, mut sites_of) = (BTreeMap::new(), BTreeMap::new());
    let mut first: Option<(&str, &TrialTree)> = None;
    let mut other: Option<&TrialTree> = None;
    for tree in trees {
        let Some(site) = places.site(&tree.tree) else { continue };
        let block = tree.columns.get(replicate).and_then(Option::as_deref);
        blocks_of.entry(site).or_insert_with(BTreeSet::new).insert(block);
        sites_of.entry(block).or_insert_with(BTreeSet::new).insert(site);
        let (own, _) = *first.get_or_insert((site, tree));
        if own != site && other.is_none() {
            other = Some(tree);
        }
    }
    let place = other?.place.clone();
    let melted = sites_of.iter().find(|(block, sites)| block.is_some() && sites.len() > 1);
    let no_blocks = sites_of.contains_key(&None);
    if melted.is_none() && !no_blocks && blocks_of.values().all(|blocks| blocks.len() == 1) {
        return None;
    }
    let mut words = blocks_of.keys().take(SHOWN).copied().collect::<Vec<_>>().join(", ");
    if blocks_of.len() > SHOWN {
        words = say!("{words} and {} more", blocks_of.len() - SHOWN);
    }
    let what = match melted {
        Some((Some(block), _)) => say!(
            "Its trees stand at {} of the book ({words}), and no role names the site: replicate {block} of several sites counts as one block, and differences between sites as error.",
            counted(blocks_of.len() as u64, text!("site"), text!("sites"))
        ),
        _ => say!(
            "Its trees stand at {} of the book ({words}), and no role names the site: they are analysed as one, without a word on each or on whether they differ in what the treatments do.",
            counted(blocks_of.len() as u64, text!("site"), text!("sites"))
        ),
    };
    let remedy = text!(
        "write roles = { site = \"site\" } into the trial's section of book.toml, beside its other roles; leave it if the sites are to count as one"
    );
    Some(Doubt { place, what, remedy: remedy.to_owned() })
}

/// Rows that state another site than that of the tree's block. A trial may call sites its own way: names that the
/// book does not have are held against where most trees of that name stand.
pub(super) fn stated(
    declaration: &TrialDeclaration,
    trees: &[&TrialTree],
    places: &Places<'_>,
) -> Option<Doubt> {
    let column = declaration.roles.site.as_deref().unwrap_or("site");
    let rows: Vec<(&TrialTree, &str, &str)> = trees
        .iter()
        .filter_map(|tree| {
            let stated = tree.columns.get(column)?.as_deref()?;
            Some((*tree, stated, places.site(&tree.tree)?))
        })
        .collect();
    let known: BTreeMap<String, &str> =
        places.sites().map(|site| (common_form(site), site)).collect();
    let mut standing: BTreeMap<&str, BTreeMap<&str, usize>> = BTreeMap::new();
    for (_, stated, site) in &rows {
        *standing.entry(stated).or_default().entry(site).or_default() += 1;
    }
    // Where the trees of each stated name ought to stand.
    let meant = |stated: &str| -> Option<&str> {
        if let Some(site) = known.get(&common_form(stated)) {
            return Some(site);
        }
        let counts = standing.get(stated)?;
        let all: usize = counts.values().sum();
        let (site, most) = counts.iter().max_by_key(|(_, count)| **count)?;
        (ONE_IN * (all - most) <= all).then_some(*site)
    };
    let off: Vec<&(&TrialTree, &str, &str)> = rows
        .iter()
        .filter(|(_, stated, site)| meant(stated).is_some_and(|meant| meant != *site))
        .collect();
    let (tree, stated, site) = off.first()?;
    Some(Doubt {
        place: tree.place.clone(),
        what: say!(
            "{} at another site than that of the tree's block, first {}: {stated} here, {site} in the block table. It is analysed at the site of the trial table.",
            counted(off.len() as u64, text!("row stands"), text!("rows stand")),
            tree.tree
        ),
        remedy: text!("correct the site of the row, the tree, or the tree's block").to_owned(),
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::expect_used)]

    use super::*;
    use ingest_seasons::{HeldBlock, StandingTree};
    use records::Place;

    /// What is told of rows of tree, block, replicate and stated site, with `site` declared or not.
    fn told(
        is_declared: bool,
        rows: &[(&str, &str, &str, &str)],
    ) -> (Option<Doubt>, Option<Doubt>) {
        let site = if is_declared { "\"site\"" } else { "null" };
        let declaration: TrialDeclaration = serde_json::from_str(&format!(
            r#"{{"title": null, "design": "randomised_blocks", "factors": ["cut"], "roles":
                {{"replicate": "replicate", "block": null, "row": null, "column": null,
                 "main_plot": null, "sub_plot": null, "plot": null, "site": {site}}},
                "control": null, "covariate": null}}"#,
        ))
        .expect("a declaration");
        let block = |block: &str, site: &str| HeldBlock {
            block: block.to_owned(),
            site: site.to_owned(),
            region: "r".to_owned(),
            spacing_m: None,
            planted: None,
            training: None,
            trees: Vec::new(),
        };
        let held = [block("N1", "North"), block("S1", "South")];
        let standing: Vec<StandingTree> = rows
            .iter()
            .map(|(tree, block, ..)| StandingTree {
                tree: (*tree).to_owned(),
                block: (*block).to_owned(),
                row: None,
                column: None,
                girth_cm: None,
                status: None,
            })
            .collect();
        let trees: Vec<TrialTree> = rows
            .iter()
            .zip(2..)
            .map(|((tree, _, replicate, site), line)| TrialTree {
                trial: "A".to_owned(),
                tree: (*tree).to_owned(),
                place: Place::line("trials.csv", line),
                columns: [("replicate", *replicate), ("site", *site)]
                    .map(|(name, text)| (name.to_owned(), Some(text.to_owned())))
                    .into(),
                girth_cm: None,
                gone: None,
            })
            .collect();
        let trees: Vec<&TrialTree> = trees.iter().collect();
        let places = Places::of(&standing, &held);
        (undeclared(&declaration, &trees, &places), stated(&declaration, &trees, &places))
    }

    #[test]
    fn a_trial_at_two_sites_without_the_role_is_told() {
        let rows = [
            ("T1", "N1", "R1", "North"),
            ("T2", "N1", "R2", "North"),
            ("T3", "S1", "R1", "South"),
            ("T4", "S1", "R2", "South"),
        ];
        let (doubt, other) = told(false, &rows);
        let doubt = doubt.expect("told");
        assert_eq!((doubt.place, other), (Place::line("trials.csv", 4), None));
        assert!(doubt.what.contains("at 2 sites of the book (North, South)"), "{}", doubt.what);
        assert!(doubt.what.contains("replicate R1 of several sites"), "{}", doubt.what);
        assert!(doubt.remedy.contains("roles = { site = \"site\" }"), "{}", doubt.remedy);
        assert_eq!(told(true, &rows), (None, None));
        // Names of their own melt nothing, and say nothing of the sites either.
        let apart = rows.map(|(tree, block, replicate, site)| {
            (tree, block, if block == "S1" && replicate == "R1" { "R3" } else { replicate }, site)
        });
        let (doubt, _) = told(false, &[apart[0], apart[2]]);
        assert_eq!(doubt, None, "a site that is a block is a replicate");
        let (doubt, _) = told(false, &apart[..3]);
        assert!(doubt.expect("told").what.contains("without a word on each"));
        assert_eq!(told(false, &rows[..2]), (None, None));
    }

    #[test]
    fn a_row_that_states_another_site_than_its_tree_has_is_told() {
        let rows =
            [("T1", "N1", "R1", "North"), ("T2", "N1", "R2", "South"), ("T3", "S1", "R1", "South")];
        let doubt = told(true, &rows).1.expect("told");
        assert_eq!(doubt.place, Place::line("trials.csv", 3));
        assert!(doubt.what.contains("T2: South here, North in the block table"), "{}", doubt.what);
        // Another name for a site is no slip, one that stands at two sites by halves neither.
        let named = rows.map(|(tree, block, replicate, _)| {
            (tree, block, replicate, if block == "N1" { "Hill" } else { "Coast" })
        });
        assert_eq!(told(true, &named), (None, None));
        let both = rows.map(|(tree, block, replicate, _)| (tree, block, replicate, "Both"));
        assert_eq!(told(true, &[both[0], both[2]]).1, None);
        let mut off = vec![("T9", "S1", "R1", "Hill")];
        off.extend(["T1", "T2", "T3", "T4"].map(|tree| (tree, "N1", "R1", "Hill")));
        assert_eq!(told(true, &off).1.map(|doubt| doubt.place), Some(Place::line("trials.csv", 2)));
    }
}
