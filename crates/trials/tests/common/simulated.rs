//! Observations of a layout, simulated from variance components: what a filled trial table holds.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;
use std::collections::BTreeMap;
use trials::layout::Layout;
use trials::size::Components;
use trials::{Observations, Trait, TraitKind};

/// Columns of the trial table as text, as ingest hands them on.
pub fn observations(layout: &Layout, values: Vec<f64>) -> Observations {
    let table = layout.trial_table();
    let n = table.rows.len();
    assert_eq!(values.len(), n);
    let columns = table
        .columns
        .iter()
        .enumerate()
        .map(|(at, name)| {
            let cells = table
                .rows
                .iter()
                .map(|row| (!row[at].is_empty()).then(|| row[at].clone()))
                .collect();
            (name.clone(), cells)
        })
        .collect();
    Observations {
        trial: layout.trial.clone(),
        observed: Trait {
            id: "nut-yield".into(),
            name: "nut yield".into(),
            unit: "kg per tree".into(),
            kind: TraitKind::Measured,
        },
        values,
        exposure: None,
        columns,
        numbers: BTreeMap::new(),
        tree: table.rows.iter().map(|row| row[1].clone()).collect(),
        season: vec![None; n],
        place: (0..n).map(|row| format!("trials.csv:{}", row + 2)).collect(),
    }
}

/// One season of tree values: means by treatment plus one normal draw per replicate, main plot, sub
/// plot (or strip), plot and tree.
pub fn values(layout: &Layout, means: &[f64], c: &Components, seed: u64) -> Vec<f64> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut drawn: BTreeMap<String, f64> = BTreeMap::new();
    let mut effect = |kind: &str, name: Option<&String>, variance: f64| -> f64 {
        let Some(name) = name else { return 0.0 };
        let draw: f64 = rng.sample(StandardNormal);
        variance.sqrt() * *drawn.entry(format!("{kind} {name}")).or_insert(draw)
    };
    let mut values = Vec::new();
    for plot in &layout.plots {
        let base = means[plot.treatment]
            + effect("replicate", Some(&plot.replicate), c.replicate)
            + effect("main", plot.main_plot.as_ref(), c.main_plot)
            + effect("sub", plot.sub_plot.as_ref(), c.sub_plot)
            + effect("plot", Some(&plot.plot), c.plot);
        for tree in &plot.trees {
            values.push(base + effect("tree", Some(&tree.tree), c.tree));
        }
    }
    values
}
