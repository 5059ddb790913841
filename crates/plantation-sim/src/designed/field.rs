//! Draws the plots of a designed trial.

use super::{DesignedTrial, Stratum, Treatment};
use crate::dice::Dice;

/// A plot of one site, from 0.
pub(crate) struct Plot {
    pub(crate) replicate: usize,
    /// Main plot within the replicate, where there are some.
    pub(crate) main_plot: Option<usize>,
    /// Plot within the replicate, in the order in which they stand.
    pub(crate) plot: usize,
    pub(crate) treatment: Treatment,
    /// Whether a storm took it.
    pub(crate) lost: bool,
}

impl DesignedTrial {
    /// Plots of one site, replicate by replicate in the order in which they stand: main plots in
    /// random order, and plots in random order within them.
    pub(crate) fn plots(&self, dice: &mut Dice) -> Vec<Plot> {
        let mut plots = Vec::new();
        for replicate in 0..self.replicates {
            let mut plot = 0;
            let mut mains = self.combinations(Stratum::Main);
            dice.shuffle(&mut mains);
            for (number, main) in mains.into_iter().enumerate() {
                let mut within = self.combinations(Stratum::Plot);
                if self.control {
                    within.push(self.control_levels());
                }
                dice.shuffle(&mut within);
                for mut levels in within {
                    levels.extend(main.clone());
                    plots.push(Plot {
                        replicate,
                        main_plot: self.has_main_plots().then_some(number),
                        plot,
                        treatment: self.treatment(&levels),
                        lost: false,
                    });
                    plot += 1;
                }
            }
        }
        let mut order: Vec<usize> = (0..plots.len()).collect();
        dice.shuffle(&mut order);
        for &lost in order.iter().take(self.lost_plots) {
            if let Some(plot) = plots.get_mut(lost) {
                plot.lost = true;
            }
        }
        plots
    }

    /// Plots of each replicate.
    pub(crate) fn plots_per_replicate(&self) -> usize {
        let of = |stratum| self.combinations(stratum).len();
        of(Stratum::Main) * (of(Stratum::Plot) + usize::from(self.control))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::TrialFactor;
    use records::TrialDesign;
    use std::collections::BTreeSet;

    fn trial(factors: Vec<TrialFactor>, control: bool) -> DesignedTrial {
        DesignedTrial {
            id: "t".to_owned(),
            title: "t".to_owned(),
            design: TrialDesign::RandomisedBlocks,
            factors,
            control,
            lead_days: 40.0,
            replicates: 3,
            sites: 1,
            trees_per_plot: 2,
            first_season: 2024,
            lost_plots: 2,
            framed: false,
            covariate: None,
            tree_cv: 0.3,
            replicate_cv: 0.1,
            main_plot_cv: 0.1,
            plot_cv: 0.1,
        }
    }

    #[test]
    fn every_replicate_holds_every_treatment_once_and_main_plots_keep_their_level() {
        let split = trial(
            vec![TrialFactor::dates(&[10.0, 45.0, 80.0]), TrialFactor::intensities(&[0.15, 0.3])],
            false,
        );
        let factorial =
            trial(vec![TrialFactor::intensities(&[0.15, 0.3]), TrialFactor::dressing(1.05)], true);
        for (trial, treatments) in [(split, 6), (factorial, 5)] {
            let plots = trial.plots(&mut Dice::stream(3, 1));
            assert_eq!(trial.plots_per_replicate(), treatments);
            assert_eq!(plots.len(), 3 * treatments);
            assert_eq!(plots.iter().filter(|plot| plot.lost).count(), 2);
            for replicate in 0..3 {
                let own = || plots.iter().filter(move |plot| plot.replicate == replicate);
                let levels: BTreeSet<_> = own().map(|plot| &plot.treatment.levels).collect();
                assert_eq!(levels.len(), treatments);
                for main in own().filter_map(|plot| plot.main_plot) {
                    let leads: BTreeSet<_> = own()
                        .filter(|plot| plot.main_plot == Some(main))
                        .map(|plot| plot.treatment.levels["lead_days"].clone())
                        .collect();
                    assert_eq!(leads.len(), 1);
                }
            }
        }
    }

    #[test]
    fn a_control_is_untouched_and_empty_in_the_other_factors() {
        let trial =
            trial(vec![TrialFactor::intensities(&[0.15, 0.3]), TrialFactor::dressing(1.05)], true);
        let control = &trial.treatments()[0];
        assert_eq!(control.levels.len(), 1);
        assert!(control.intensity.abs() < 1e-12 && (control.ratio - 1.0).abs() < 1e-12);
        assert_eq!(control.dressed, None);
        let best = &trial.treatments()[4];
        assert!((best.intensity - 0.3).abs() < 1e-12 && (best.ratio - 1.05).abs() < 1e-12);
    }
}
