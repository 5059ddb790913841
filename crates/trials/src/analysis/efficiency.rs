//! What blocking gained over a design without it.

use super::fitted::{Fitted, Judge, Way};
use super::result::Efficiency;
use crate::design::{Plan, StratumKind};
use records::TrialDesign;
use words::{Text, constant, say, text};

const SOURCE: Text = constant!(
    "Cochran and Cox (1957), Experimental Designs; correction for degrees of \
                      freedom by Fisher (1935)"
);

/// Efficiencies of the blocks of a balanced trial with one error, and of incomplete blocks.
pub(super) fn efficiency(plan: &Plan, fitted: &Fitted) -> Vec<Efficiency> {
    if plan.design == TrialDesign::IncompleteBlocks {
        return incomplete(plan, fitted).into_iter().collect();
    }
    let Way::Strata(strata) = &fitted.way else { return Vec::new() };
    let blocks: Vec<usize> =
        (0..plan.strata.len()).filter(|s| plan.strata[*s].kind == StratumKind::Blocks).collect();
    let last = plan.strata.len() - 1;
    let one_error = blocks.len() == last;
    let clean = strata.term_stratum.iter().all(|s| *s == last);
    if !one_error || !clean || blocks.is_empty() {
        return Vec::new();
    }
    let fit = &strata.strata[last];
    let Some(error) = fit.error_ms() else { return Vec::new() };
    let names: Vec<&str> = blocks.iter().map(|s| plan.strata[*s].name.as_str()).collect();
    let mut out = Vec::new();
    let mut without = |dropped: &[usize], words: String| {
        let mut sum = fit.df as f64 * error;
        let mut df = fit.df as f64;
        let mut gained = 0.0;
        for s in dropped {
            let Some(ms) = strata.strata[*s].error_ms() else { return };
            let own = strata.strata[*s].error_df as f64;
            sum += own * ms;
            df += own;
            gained += own;
        }
        let relative = sum / df / error;
        let f1 = fit.error_df as f64;
        let f2 = f1 + gained;
        let correction = (f1 + 1.0) * (f2 + 3.0) / ((f1 + 3.0) * (f2 + 1.0));
        out.push(Efficiency {
            words,
            relative,
            corrected: Some(relative * correction),
            source: SOURCE.get().to_owned(),
        });
    };
    let names: Vec<String> = names.iter().map(|name| crate::name_in_words(name)).collect();
    without(&blocks, say!("{} against complete randomisation", names.join(text!(" and "))));
    if blocks.len() > 1 {
        for (s, name) in blocks.iter().zip(&names) {
            let kept: Vec<&str> = names.iter().filter(|n| *n != name).map(String::as_str).collect();
            let words = say!("{name}, beside {} as blocks", kept.join(text!(" and ")));
            without(&[*s], words);
        }
    }
    out
}

/// Mean variance of a treatment difference in complete replicates over that with blocks.
fn incomplete(plan: &Plan, fitted: &Fitted) -> Option<Efficiency> {
    let mut other = plan.clone();
    other.strata.retain(|s| s.kind != StratumKind::Random);
    let without = Fitted::new(&other).ok()?;
    let cells: Vec<usize> = (0..plan.cells.len()).filter(|c| plan.cells[*c].units > 0).collect();
    let mean = |f: &Fitted| -> Option<f64> {
        let rows: Vec<Vec<f64>> = cells.iter().map(|c| f.columns.mean(&[*c])).collect();
        let (mut sum, mut count) = (0.0, 0.0);
        for i in 0..rows.len() {
            for j in i + 1..rows.len() {
                let l: Vec<f64> = rows[i].iter().zip(&rows[j]).map(|(a, b)| a - b).collect();
                sum += f.estimate(&l)?.std_error.powi(2);
                count += 1.0;
            }
        }
        (count > 0.0).then(|| sum / count)
    };
    Some(Efficiency {
        words: say!("blocks within replicates against complete replicates"),
        relative: mean(&without)? / mean(fitted)?,
        corrected: None,
        source: say!(
            "mean variance of a treatment difference in both analyses (Patterson and Hunter \
                 1983)"
        ),
    })
}
