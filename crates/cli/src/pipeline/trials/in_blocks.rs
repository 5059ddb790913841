//! A small trial in complete blocks, for tests.

use std::collections::BTreeMap;
use trials::{Observations, Trait, TraitKind};

/// Nut yields of `levels` levels in `blocks` complete blocks, `value` of a level and a block each.
pub(super) fn in_blocks(
    levels: usize,
    blocks: usize,
    value: impl Fn(usize, usize) -> f64,
) -> Observations {
    let plots = || (0..levels).flat_map(|level| (0..blocks).map(move |block| (level, block)));
    let named = |name: &str, of: &dyn Fn((usize, usize)) -> String| {
        (name.to_owned(), plots().map(|plot| Some(of(plot))).collect())
    };
    let n = levels * blocks;
    Observations {
        trial: "T".to_owned(),
        observed: Trait {
            id: "nut-yield".to_owned(),
            name: "nut yield".to_owned(),
            unit: "kg per tree".to_owned(),
            kind: TraitKind::Measured,
        },
        values: plots().map(|(level, block)| value(level, block)).collect(),
        exposure: None,
        columns: BTreeMap::from([
            named("level", &|(level, _)| format!("L{level}")),
            named("replicate", &|(_, block)| format!("R{block}")),
        ]),
        numbers: BTreeMap::new(),
        tree: (0..n).map(|tree| format!("T{tree}")).collect(),
        season: vec![None; n],
        place: vec![String::new(); n],
    }
}
