//! The plantations behind the small example books; invented like the demo's.

use crate::demo::{plain_economics, randomised_blocks, response};
use crate::{
    Assignment, DesignedTrial, Moisture, Plantation, RecordStyle, RegionPlan, Routine, TrialFactor,
    TrueCurve, Variety,
};

/// A crew and its tools.
const WORK: &str = r#"
# Who prunes when. Without crew_size the plan has quantities but no dates of its own.
[work]
crew_size = 2
# Days without work: one date, or a day of every year.
rest_dates = ["12-25", "01-01"]

# Tools from thin to thick cuts; the last one without a limit. kind: "hand", "pole" or "power".
[[work.tools]]
tool = "secateurs"
up_to_cm = 3
kind = "hand"

[[work.tools]]
tool = "pruning saw"
kind = "hand"
"#;

fn plantation(name: &str, region: RegionPlan) -> Plantation {
    Plantation {
        name: name.to_owned(),
        economics: plain_economics(),
        work: WORK,
        reference_moisture_pct: 9.0,
        tolerance_pct: 2.0,
        advise_season: region.last_season + 1,
        regions: vec![region],
    }
}

/// A region as small books have it: a few even blocks, trees of like size.
fn region(id: &str, name: &str) -> RegionPlan {
    RegionPlan {
        name: name.to_owned(),
        sites: 1,
        blocks_per_site: 4,
        trees_per_block: 32,
        spacings_m: vec![(8.0, 8.0)],
        varieties: vec![Variety { name: "Clone A".to_owned(), factor: 1.0 }],
        planted: vec![2010, 2012],
        practice: Assignment::Routine(Routine { share_pruned_last: 0.25, ..Routine::typical() }),
        work_recorded: false,
        tree_cv: 0.25,
        error_cv: 0.18,
        ..RegionPlan::typical(id)
    }
}

/// One farm that pruned its rows differently from year to year.
pub(crate) fn first() -> Plantation {
    let farm = RegionPlan {
        first_season: 2023,
        response: response(TrueCurve::Peaked { gain: 0.30, at: 0.30 }, 48.0, 80.0),
        ..region("hessel_brook", "Hessel Brook")
    };
    plantation("Hessel Brook Farm (invented)", farm)
}

/// A trial field: five depths of cut in six blocks of four-tree plots, two seasons after one of
/// rest.
pub(crate) fn trial() -> Plantation {
    let field = RegionPlan {
        first_season: 2024,
        blocks_per_site: 0,
        response: response(TrueCurve::Peaked { gain: 0.30, at: 0.35 }, 45.0, 80.0),
        designed: vec![DesignedTrial {
            id: "OT-depth".to_owned(),
            title: "How much canopy to remove".to_owned(),
            factors: vec![TrialFactor::intensities(&[0.0, 0.15, 0.30, 0.45, 0.60])],
            replicates: 6,
            trees_per_plot: 4,
            first_season: 2025,
            covariate: Some("earlier_crop".to_owned()),
            ..randomised_blocks()
        }],
        ..region("ombra_terrace", "Ombra Terrace")
    };
    plantation("Ombra Terrace Trial Field (invented)", field)
}

/// Groves that weigh wet nuts in grams and keep their visits and picks in spreadsheets.
pub(crate) fn untidy() -> Plantation {
    let groves = RegionPlan {
        first_season: 2023,
        sites: 2,
        blocks_per_site: 2,
        response: response(TrueCurve::Peaked { gain: 0.28, at: 0.25 }, 50.0, 80.0),
        moisture: Moisture::Wet { low: 18.0, high: 25.0 },
        style: RecordStyle::Workbook,
        ..region("dunmarrow", "Dunmarrow")
    };
    plantation("Dunmarrow Groves (invented)", groves)
}
