//! The exact way and the mixed model agree wherever both apply.

use crate::support::{declared, names, observed};
use proptest::prelude::*;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use records::TrialDesign;
use trials::{Analysis, AnalysisOptions, MethodUsed, Plan, analyse, analyse_with};

/// A split plot of `r` replicates, `a` main and `b` sub levels.
fn plan(r: usize, a: usize, b: usize, seed: u64) -> Plan {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut noise = || -> f64 { StandardNormal.sample(&mut rng) };
    let mut columns: [Vec<String>; 3] = Default::default();
    let mut values = Vec::new();
    for i in 0..r {
        for j in 0..a {
            // Main plots differ enough for their variance to be above 0.
            let main = 3.0 * noise();
            for k in 0..b {
                for (column, code) in columns.iter_mut().zip([i, j, k]) {
                    column.push(format!("L{code}"));
                }
                values.push(10.0 + main + noise() + 0.3 * (j * k) as f64);
            }
        }
    }
    let [replicate, main, sub] = columns;
    let data = observed(&[("replicate", replicate), ("date", main), ("cut", sub)], values);
    let mut d = declared(TrialDesign::SplitPlot);
    d.main_factors = names(&["date"]);
    d.sub_factors = names(&["cut"]);
    Plan::read(&d, &data).unwrap()
}

fn same(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-6 * (1.0 + a.abs())
}

fn compare(exact: &Analysis, mixed: &Analysis) -> Result<(), TestCaseError> {
    for line in &mixed.anova {
        let other = exact.anova.iter().find(|l| l.source == line.source).unwrap();
        prop_assert!(same(line.f.unwrap(), other.f.unwrap()), "F {line:?} {other:?}");
        let (df, other) = (line.df_denominator.unwrap(), other.df_denominator.unwrap());
        prop_assert!(same(df, other), "df {df} {other}");
    }
    for (m, e) in mixed.means.iter().zip(&exact.means) {
        for (p, q) in m.pairs.iter().zip(&e.pairs) {
            prop_assert!(same(p.difference, q.difference));
            prop_assert!(same(p.std_error, q.std_error), "{p:?} {q:?}");
            prop_assert!(same(p.df, q.df), "{p:?} {q:?}");
        }
        for (p, q) in m.means.iter().zip(&e.means) {
            prop_assert!(same(p.mean.unwrap(), q.mean.unwrap()));
            prop_assert!(same(p.std_error.unwrap(), q.std_error.unwrap()));
        }
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 40, ..ProptestConfig::default() })]
    #[test]
    fn strata_and_kenward_roger(
        r in 3usize..6, a in 2usize..4, b in 2usize..5,
        seed in 0..u64::MAX,
    ) {
        let plan = plan(r, a, b, seed);
        let exact = analyse(&plan).unwrap();
        prop_assert_eq!(exact.method.used, MethodUsed::Strata);
        // REML equals the mean squares only where no component is below 0, and settles on the
        // boundary slowly near it.
        let main = exact.components.iter().find(|c| c.stratum == "main plots").unwrap().variance;
        let sub = exact.components.iter().find(|c| c.stratum == "sub plots").unwrap().variance;
        prop_assume!(main > 0.05 * sub);
        let options = AnalysisOptions { mixed_model: true, ..AnalysisOptions::default() };
        let mixed = analyse_with(&plan, &options).unwrap();
        compare(&exact, &mixed)?;
    }
}
