//! Simulated tree-seasons with every kind of column and gap.

use arrow::array::{ArrayRef, BooleanArray, Float64Array, Int32Array, RecordBatch, StringArray};
use arrow::error::ArrowError;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;
use records::tree_season as ts;
use std::sync::Arc;

/// Labels with quotes and letters of other languages, which queries must carry.
const REGIONS: [&str; 3] = ["O'Hara", "Par\u{e1} norte", "delta"];

/// Columns under way.
#[derive(Default)]
struct Rows {
    text: [Vec<String>; 7],
    season: Vec<i32>,
    real: [Vec<Option<f64>>; 8],
    young: Vec<bool>,
}

/// What is simulated.
#[derive(Debug, Clone, Copy)]
pub struct Plan {
    /// Seed.
    pub seed: u64,
    /// Regions, at most 3.
    pub regions: usize,
    /// Trees.
    pub trees: usize,
    /// Seasons.
    pub seasons: i32,
    /// Whether some trees bear nothing, which rules out the logarithm.
    pub zeros: bool,
    /// Whether the gain levels out at three tenths of the canopy, rather than fall again.
    pub plateau: bool,
}

/// Tree-seasons of a plan.
///
/// # Errors
/// None but those of arrow.
pub fn simulated(plan: Plan) -> Result<RecordBatch, ArrowError> {
    let Plan { seed, regions, trees, seasons, zeros, plateau } = plan;
    let mut rng = ChaCha12Rng::seed_from_u64(seed);
    let mut draw = move || rng.random::<f64>();
    let mut rows = Rows::default();
    let weather: Vec<f64> = (0..seasons as usize * 2 * regions).map(|_| draw() - 0.5).collect();
    for tree in 0..trees {
        let region = tree % regions;
        let site = tree / regions % 2;
        let block = 2 * region + site + 2 * regions * (tree / regions / 2 % 3);
        let own = draw() - 0.5 + 0.2 * (block as f64 * 1.7).sin();
        let habit = 0.3 * draw();
        let girth = (draw() < 0.8).then(|| 50.0 + 60.0 * draw());
        let age = (draw() < 0.95).then(|| (4.0 + 30.0 * draw()).floor());
        let density = 80.0 + 40.0 * (block as f64 * 0.9).cos();
        let variety = ["", "V1", "V\u{e3}o 2"][block % 3];
        let trial = draw() < 0.2;
        let mut before: Option<f64> = None;
        for season in 0..seasons {
            // Some seasons of a tree are not recorded.
            if draw() < 0.1 {
                before = None;
                continue;
            }
            let intensity = if draw() < 0.35 { 0.0 } else { (habit + 0.35 * draw()).min(0.6) };
            let lead = (intensity > 0.0).then(|| (20.0 + 60.0 * draw()).floor());
            let u = intensity / 0.25;
            let timing = lead.map_or(0.0, |lead| (lead - 45.0) / 30.0);
            let x = (intensity / 0.3).min(1.0);
            let curve = if plateau { 2.0 * x * (2.0 - x) } else { u * (2.0 - u) };
            let effect = curve * (0.3 + 0.1 * region as f64) * (1.0 + 0.1 * timing);
            let at = (season as usize * 2 + site) * regions + region;
            let noise = draw() + draw() + draw() - 1.5;
            let growth = age.map_or(0.0, |age: f64| 0.3 * (age / 10.0).ln());
            let level = 1.8 + 0.4 * own + 0.5 * weather[at] + effect + growth + 0.3 * noise
                - 0.2 * before.unwrap_or(0.0);
            before = Some(noise * 0.3 + 0.4 * own);
            let kg = if zeros && draw() < 0.01 { 0.0 } else { level.exp() };
            let basis = match (intensity > 0.0, region) {
                (false, _) => "none",
                (true, 1) => "shoots",
                (true, _) => "canopy_fraction",
            };
            let evidence = if trial { "trial" } else { "routine" };
            let texts = [
                REGIONS[region].to_owned(),
                format!("site {region}{site}"),
                format!("block {block}"),
                format!("tree {tree}"),
                basis.to_owned(),
                variety.to_owned(),
                evidence.to_owned(),
            ];
            for (column, text) in rows.text.iter_mut().zip(texts) {
                column.push(text);
            }
            rows.season.push(2015 + season);
            let age = age.map(|age| age + f64::from(season));
            let reals = [Some(kg), Some(intensity), lead, None, age, Some(density), girth, None];
            for (column, real) in rows.real.iter_mut().zip(reals) {
                column.push(real);
            }
            rows.young.push(draw() < 0.03);
        }
    }
    let text = |at: usize| -> ArrayRef {
        // An unknown variety is null.
        let known = rows.text[at].iter().map(|text| (!text.is_empty()).then_some(text.as_str()));
        Arc::new(known.collect::<StringArray>())
    };
    let real = |at: usize| -> ArrayRef {
        Arc::new(rows.real[at].iter().copied().collect::<Float64Array>())
    };
    RecordBatch::try_from_iter([
        (ts::REGION, text(0)),
        (ts::SITE, text(1)),
        (ts::BLOCK, text(2)),
        (ts::TREE, text(3)),
        (ts::BASIS, text(4)),
        (ts::VARIETY, text(5)),
        (ts::EVIDENCE, text(6)),
        (ts::SEASON, Arc::new(Int32Array::from(rows.season.clone())) as ArrayRef),
        (ts::YIELD_KG, real(0)),
        (ts::INTENSITY, real(1)),
        (ts::LEAD_DAYS, real(2)),
        (ts::MINUTES, real(3)),
        (ts::AGE_YEARS, real(4)),
        (ts::TREES_PER_HA, real(5)),
        (ts::GIRTH_CM, real(6)),
        (ts::PREVIOUS_INTENSITY, real(7)),
        (ts::YOUNG, Arc::new(BooleanArray::from(rows.young.clone()))),
    ])
}
