//! Sites with errors of their own: rates of error by simulation, and degrees of freedom by hand.
#![allow(clippy::expect_used, clippy::panic)]

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;
use records::TrialDeclaration;
use std::collections::BTreeMap;
use trials::pooled::{Environment, EnvironmentsAre, Pooled, PooledMethod, Weighting, combine};
use trials::{Analysis, Observations, Plan, Trait, TraitKind, analyse};

const LEVELS: usize = 5;
const BLOCKS: usize = 3;
/// Error mean squares that a trial at three sites had.
const VARIANCES: [f64; 3] = [30.5, 2.6, 1.7];

/// A site without any effect of the treatments, without the plots of `lost`.
fn site(rng: &mut ChaCha8Rng, variance: f64, lost: &[usize]) -> Analysis {
    let declaration: TrialDeclaration = serde_json::from_str(
        r#"{"title": null, "design": "randomised_blocks", "factors": ["level"],
            "amounts": {"level": "fraction"}, "control": null, "covariate": null}"#,
    )
    .expect("a declaration");
    let rows: Vec<usize> = (0..LEVELS * BLOCKS).filter(|row| !lost.contains(row)).collect();
    let n = rows.len();
    let column = |of: &dyn Fn(usize) -> String| rows.iter().map(|row| Some(of(*row))).collect();
    let observed = Observations {
        trial: "T".to_owned(),
        observed: Trait {
            id: "nut-yield".to_owned(),
            name: "nut yield".to_owned(),
            unit: "kg per tree".to_owned(),
            kind: TraitKind::Measured,
        },
        values: rows
            .iter()
            .map(|row| {
                10.0 + (row / LEVELS) as f64
                    + variance.sqrt() * rng.sample::<f64, _>(StandardNormal)
            })
            .collect(),
        exposure: None,
        columns: BTreeMap::from([
            ("replicate".to_owned(), column(&|row| (row / LEVELS).to_string())),
            ("level".to_owned(), column(&|row| format!("0.{}", 1 + row % LEVELS))),
        ]),
        numbers: BTreeMap::new(),
        tree: rows.iter().map(ToString::to_string).collect(),
        season: vec![None; n],
        place: vec![String::new(); n],
    };
    analyse(&Plan::read(&declaration, &observed).expect("a plan")).expect("an analysis")
}

fn three(rng: &mut ChaCha8Rng, lost: &[usize]) -> Pooled {
    let each = VARIANCES.map(|variance| site(rng, variance, lost));
    let environments: Vec<Environment<'_>> = each
        .iter()
        .zip(["a", "b", "c"])
        .map(|(analysis, name)| Environment { name, site: Some(name), season: None, analysis })
        .collect();
    combine(&environments, EnvironmentsAre::Fixed, Weighting::InverseErrorVariance)
        .expect("combined")
}

/// Of complete blocks every difference has the variance 2 (MS1 + MS2 + MS3) / (9 blocks), whose df Satterthwaite's
/// rule gives; the F of the treatments is the mean square of their means by the same.
#[test]
fn complete_blocks_have_the_df_of_satterthwaite() {
    let found = three(&mut ChaCha8Rng::seed_from_u64(1), &[]);
    assert_eq!(found.method, PooledMethod::OwnErrors);
    let squares: Vec<f64> = found.homogeneity.errors.iter().map(|own| own.mean_square).collect();
    let (sum, spread) =
        squares.iter().fold((0.0, 0.0), |(sum, spread), ms| (sum + ms, spread + ms * ms / 8.0));
    let df = sum * sum / spread;
    let sed = (2.0 * sum / (9.0 * BLOCKS as f64)).sqrt();
    for row in &found.differences.rows {
        assert!((row.std_error - sed).abs() < 1e-9 * sed, "{} {sed}", row.std_error);
        assert!((row.df.expect("finite") - df).abs() < 1e-6 * df, "{:?} {df}", row.df);
    }
    let means: Vec<f64> = found.means.iter().map(|own| own.mean).collect();
    let middle = means.iter().sum::<f64>() / LEVELS as f64;
    let between: f64 = means.iter().map(|m| (m - middle).powi(2)).sum::<f64>() / 4.0;
    let term = &found.table[0];
    let f = between / (sed * sed / 2.0);
    assert!((term.f.expect("tested") - f).abs() < 1e-8 * f, "{term:?} {f}");
    assert!((term.df_denominator.expect("tested") - df).abs() < 1e-6 * df, "{term:?} {df}");
}

/// A true null is rejected as often as the level says: 5 % of 1500 within three binomial standard errors (0.56 % each).
/// Weights taken as known rejected 8.4 %.
#[test]
fn nulls_are_rejected_at_their_level() {
    for lost in [&[][..], &[7]] {
        let mut rng = ChaCha8Rng::seed_from_u64(20_260);
        let runs = 1500;
        let (mut treatments, mut pairs, mut linear, mut sites) = (0, 0, 0, 0);
        for _ in 0..runs {
            let found = three(&mut rng, lost);
            assert_eq!(found.method, PooledMethod::OwnErrors);
            let is_below = |p: Option<f64>| usize::from(p.expect("tested") < 0.05);
            treatments += is_below(found.table[0].p);
            sites += is_below(found.table[1].p);
            pairs += is_below(found.differences.rows[0].p_value);
            linear += is_below(Some(found.polynomials[0].components[0].p));
        }
        for (what, rejected) in [("treatments", treatments), ("pair", pairs), ("linear", linear)] {
            let rate = rejected as f64 / runs as f64;
            assert!((0.033..=0.067).contains(&rate), "{what}, {} lost: {rate}", lost.len());
        }
        // Eight contrasts of three unlike errors: an approximation of more parts.
        let rate = sites as f64 / runs as f64;
        assert!((0.03..=0.075).contains(&rate), "by sites, {} lost: {rate}", lost.len());
    }
}
