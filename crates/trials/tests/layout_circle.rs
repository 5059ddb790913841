//! A layout, filled as it is, is read and analysed without hand edits.

#![allow(clippy::unwrap_used, clippy::panic, reason = "helpers of tests")]

mod common;

use common::simulated::{observations, values};
use common::{factor, grid, orchard, plain, request};
use records::{TrialControl, TrialDesign};
use trials::layout::{Balance, Covariate, LayoutRequest, PlotOf, TreesPerPlot, lay_out};
use trials::size::Components;
use trials::{Plan, analyse};

fn designs() -> Vec<LayoutRequest> {
    let mut all = Vec::new();
    all.push(grid(plain(TrialDesign::CompletelyRandomised, 4, 3), 3, 4));
    let mut amounts = grid(plain(TrialDesign::RandomisedBlocks, 4, 3), 3, 4);
    amounts.factors[0].levels = ["0", "0.1", "0.25", "0.5"].map(str::to_owned).to_vec();
    amounts.factors[0].unit = Some("fraction".into());
    amounts.trees_per_plot = TreesPerPlot { rows: 2, columns: 2 };
    all.push(amounts);
    all.push(grid(plain(TrialDesign::LatinSquare, 5, 0), 5, 5));
    let two = || vec![factor("m", 3, PlotOf::MainPlots), factor("s", 4, PlotOf::SubPlots)];
    all.push(grid(request(TrialDesign::SplitPlot, two(), 3), 6, 6));
    all.push(grid(request(TrialDesign::StripPlot, two(), 3), 9, 4));
    let mut three = two();
    three.push(factor("u", 2, PlotOf::SubSubPlots));
    all.push(grid(request(TrialDesign::SplitSplitPlot, three, 3), 6, 12));
    let mut lattice = grid(plain(TrialDesign::IncompleteBlocks, 16, 3), 12, 4);
    lattice.plots_per_block = Some(4);
    all.push(lattice);
    let mut augmented = grid(plain(TrialDesign::AugmentedBlocks, 15, 4), 4, 6);
    augmented.checks = vec!["t1".into(), "t2".into(), "t3".into()];
    all.push(augmented);
    let mut control = request(
        TrialDesign::RandomisedBlocks,
        vec![factor("a", 2, PlotOf::Plots), factor("b", 3, PlotOf::Plots)],
        4,
    );
    control.control = Some(TrialControl {
        factor: "a".into(),
        level: "untreated".into(),
        beside_factorial: true,
    });
    control.field.trees = orchard(7, 4);
    control.balance = Some(Balance { on: vec![Covariate::EarlierCrop], acceptance: 0.1 });
    all.push(control);
    all
}

/// Witness: the means that the values were made from; errors are a thousandth of the differences.
#[test]
fn every_design_is_analysed_as_laid_out() {
    let small = |design| Components {
        // Replicates are no blocks of a completely randomised trial.
        replicate: if design == TrialDesign::CompletelyRandomised { 0.0 } else { 1.0 },
        main_plot: 1e-6,
        sub_plot: 1e-6,
        plot: 1e-6,
        tree: 1e-6,
        ..Components::default()
    };
    for request in designs() {
        let layout = lay_out(&request, 12).unwrap();
        let truth: Vec<f64> =
            (0..layout.treatments.len()).map(|index| 5.0 + ((index * 7) % 5) as f64).collect();
        let mut observed =
            observations(&layout, values(&layout, &truth, &small(request.design), 3));
        let crops: Vec<f64> = layout
            .plots
            .iter()
            .flat_map(|plot| vec![plot.earlier_crop.unwrap_or(f64::NAN); plot.trees.len()])
            .collect();
        observed.numbers.insert("earlier_crop".into(), crops);
        let plan = Plan::read(&layout.declaration(), &observed)
            .unwrap_or_else(|refusal| panic!("{:?}: {refusal}", request.design));
        assert_eq!(plan.plots, layout.plots.len(), "{:?}", request.design);
        assert_eq!(plan.units.len(), layout.plots.len());
        let analysis =
            analyse(&plan).unwrap_or_else(|refusal| panic!("{:?}: {refusal}", request.design));
        assert_eq!(plan.design, request.design);
        let errors: Vec<f64> = analysis
            .anova
            .iter()
            .filter(|row| row.kind == trials::AnovaKind::Error)
            .filter_map(|row| row.ms)
            .collect();
        assert!(errors.iter().all(|&ms| ms < 1e-4), "{:?} {errors:?}", request.design);
        let names: Vec<&String> = request.factors.iter().map(|factor| &factor.name).collect();
        let term = analysis
            .means
            .iter()
            .find(|term| term.parts.iter().collect::<Vec<_>>() == names)
            .or(analysis.means.iter().find(|term| term.term == "treatments"))
            .unwrap_or_else(|| panic!("{:?}", request.design));
        let mut seen = 0;
        let mut shift = None;
        for mean in &term.means {
            let label = mean.levels.join(" x ");
            let at = layout.treatments.iter().position(|t| t.label == label);
            let (Some(at), Some(value)) = (at, mean.mean) else { continue };
            seen += 1;
            // Replicate effects shift all means alike.
            let shift = *shift.get_or_insert(value - truth[at]);
            assert!((value - truth[at] - shift).abs() < 0.02, "{:?} {label}", request.design);
        }
        // The control beside a factorial is not among the factorial's means.
        let beside = usize::from(request.control.is_some());
        assert!(seen >= layout.treatments.len() - beside, "{:?} {seen}", request.design);
    }
}
