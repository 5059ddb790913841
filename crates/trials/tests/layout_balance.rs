//! Rerandomisation balances as theory says and stays valid.

#![allow(clippy::unwrap_used, clippy::panic, reason = "helpers of tests")]

mod common;

use common::{factor, orchard, plain, request};
use records::TrialDesign;
use statrs::distribution::{ChiSquared, ContinuousCDF};
use trials::layout::{Balance, Covariate, PlotOf, lay_out};

/// Witness: Morgan and Rubin (2012), theorem 3.2: accepting the share p of layouts multiplies the
/// variance of the difference in a balanced covariate by P(chi2(k+2) <= a) / P(chi2(k) <= a) with a
/// the p quantile of chi2(k); for several treatments k = covariates x (treatments - 1), and the
/// mean imbalance k is multiplied by the same factor.
#[test]
fn mean_squared_imbalance_falls_as_theory_says() {
    for (treatments, share, on) in [
        (2, 0.1, vec![Covariate::EarlierCrop]),
        (4, 0.05, vec![Covariate::EarlierCrop]),
        (3, 0.1, vec![Covariate::EarlierCrop, Covariate::GirthCm]),
    ] {
        let k = (on.len() * (treatments - 1)) as f64;
        let mut request = plain(TrialDesign::CompletelyRandomised, treatments, 72 / treatments);
        request.field.trees = orchard(9, 8);
        let covariates = on.len();
        request.balance = Some(Balance { on, acceptance: share });
        let (mut kept, mut usual, mut squared, mut draws) = (0.0, 0.0, 0.0, 0.0);
        let seeds = 300;
        for seed in 0..seeds {
            let layout = lay_out(&request, seed).unwrap();
            let report = layout.balance.unwrap();
            assert!(report.imbalance <= report.threshold);
            assert_eq!(report.means.len(), treatments * covariates);
            kept += report.imbalance / f64::from(seeds as u32);
            usual += report.usual_imbalance / f64::from(seeds as u32);
            squared += report.imbalance.powi(2) / f64::from(seeds as u32);
            draws += report.draws as f64 / f64::from(seeds as u32);
        }
        let chi = |df: f64| ChiSquared::new(df).unwrap();
        let a = chi(k).inverse_cdf(share);
        let factor = chi(k + 2.0).cdf(a) / share;
        println!(
            "{treatments} treatments, share {share}: {:.4} of usual, theory {factor:.4}",
            kept / usual
        );
        // Without rerandomisation the criterion has mean k.
        assert!((usual / k - 1.0).abs() < 0.01, "{usual} {k}");
        // Four standard errors of the mean, and 3 % of the threshold for the calibration's own.
        let error = ((squared - kept * kept) / f64::from(seeds as u32)).sqrt();
        assert!((kept - factor * k).abs() < 4.0 * error + 0.03 * a, "{kept} {}", factor * k);
        // As many draws as the share says: geometric, four standard errors.
        assert!((draws * share - 1.0).abs() < 4.0 / (f64::from(seeds as u32)).sqrt(), "{draws}");
    }
}

#[test]
fn split_plots_balance_both_strata_and_declare_the_covariate() {
    let mut asked = request(
        TrialDesign::SplitPlot,
        vec![factor("m", 3, PlotOf::MainPlots), factor("s", 4, PlotOf::SubPlots)],
        4,
    );
    asked.field.trees = orchard(8, 6);
    asked.balance = Some(Balance { on: vec![Covariate::EarlierCrop], acceptance: 0.02 });
    let layout = lay_out(&asked, 6).unwrap();
    assert_eq!(layout.declaration().covariate.as_deref(), Some("earlier_crop"));
    let report = layout.balance.clone().unwrap();
    // Expected without rerandomisation: (3 - 1) + (4 - 1).
    assert!((report.usual_imbalance - 5.0).abs() < 0.3, "{}", report.usual_imbalance);
    assert!(report.imbalance < 1.3);
    assert!(layout.methods.iter().any(|line| line.contains("most balanced 2 % of layouts")));
    // Latin squares and strips have a criterion too.
    let mut square = plain(TrialDesign::LatinSquare, 5, 0);
    square.field.trees = orchard(5, 5);
    square.balance = Some(Balance { on: vec![Covariate::GirthCm], acceptance: 0.05 });
    let report = lay_out(&square, 2).unwrap().balance.unwrap();
    assert!((report.usual_imbalance - 4.0).abs() < 0.4, "{}", report.usual_imbalance);
    assert!(report.imbalance < 2.0);
}
