//! The demo: an invented company in invented places.

use crate::{
    Assignment, DesignedTrial, ErrorTails, Moisture, Plantation, RecordStyle, RegionPlan, Response,
    Routine, Timing, TrialFactor, TrialPlan, TrueCurve, Variety,
};
use records::work::CutWood;
use records::{Economics, PruningTime, TrialDesign};

/// Seed of the committed demo book. Picked among ten because a within-tree least squares comes
/// within about one standard error of the truth in every region: the demo shows the method, not
/// luck, and is therefore no evidence of calibration.
pub const DEMO_SEED: u64 = 6;

/// Crews, tools and products of the demo, with remarks. Products are invented.
const WORK: &str = r#"
# Who prunes when. Without crew_size the plan has quantities but no dates of its own.
[work]
# People of the crew that goes round all sites without a crew of their own.
crew_size = 4
# Monday to Saturday when left out.
working_days = ["monday", "tuesday", "wednesday", "thursday", "friday", "saturday"]
# Days without work: one date, or a day of every year.
rest_dates = ["2026-08-15", "12-25", "01-01"]
# Training a young tree. Left out, young blocks get tasks but no person-days.
minutes_per_young_tree = 3
# Uncomment to top modified leaders at one height instead of by spacing, m.
# topping_height_m = 3.0

# A site with a crew of its own; its working days and rest dates may differ too. One person who
# comes on Saturdays, and not on all, is too few here: the plan says so, and what to leave undone
# first.
[work.sites."Talu Downs site 1"]
crew_size = 1
working_days = ["saturday"]
rest_dates = ["2027-03-06", "2027-03-13"]

# Tools from thin to thick cuts; the last one without a limit. kind: "hand", "pole" or "power".
[[work.tools]]
tool = "secateurs"
up_to_cm = 3
kind = "hand"

[[work.tools]]
tool = "pruning saw"
up_to_cm = 10
kind = "hand"

[[work.tools]]
tool = "power saw"
kind = "power"

# Dressings and sprays. Nothing is dosed without what the product's own label states; the numbers
# below belong to invented products. kind: "copper_paste", "copper_spray" or "insect_protection".
[products.wound_paste]
kind = "copper_paste"
# Paste per cut end of 5 cm and more.
ml_per_cut = 15
copper_sulphate_package_kg = 1
hydrated_lime_package_kg = 5
# Waiting times come from the label; a missing one is shown as missing.
re_entry_days = 1
pre_harvest_days = 14

[products.leafward]
kind = "insect_protection"
# "pruned" (the default) or "all" trees.
treats = "pruned"
# Active ingredient of the bought product, g in 100 mL.
strength_pct = 5
# Active ingredient of the spray, and what the label calls usual.
target_pct = 0.003
usual_pct = 0.003
volume_l_per_tree = 6
applications = 2
package_l = 0.5
re_entry_days = 2
# The days before harvest were not copied from the label yet: the plan says so.
# pre_harvest_days = 21
"#;

/// Six regions: one well recorded with a trial, one on a southern calendar, one without effect,
/// one whose optimum lies beyond what was tried, one where vigorous trees were pruned harder and
/// one with little data.
#[must_use]
pub fn demo() -> Plantation {
    Plantation {
        name: "Velmara Nut Estates (invented)".to_owned(),
        economics: Economics {
            // Wood that pays for its own haulage and nuts of the quoted outturn leave the written
            // truth as it is.
            cut_wood: Some(CutWood {
                stacked_per_canopy: 0.02,
                haulage_per_m3: 0.05,
                value_per_m3: 0.05,
                load_m3: Some(6.0),
            }),
            outturn_lb: Some(48.0),
            price_outturn_lb: Some(48.0),
            ..plain_economics()
        },
        work: WORK,
        reference_moisture_pct: 9.0,
        tolerance_pct: 2.0,
        advise_season: 2027,
        regions: vec![coast(), downs(), flats(), ridge(), vale(), island()],
    }
}

/// Price, wage and working time of the invented books.
pub(crate) fn plain_economics() -> Economics {
    Economics {
        currency: "crowns".to_owned(),
        price_per_kg: 1.2,
        wage_per_hour: 0.9,
        pruning_time: Some(PruningTime { minutes_per_tree: 4.0, minutes_full_canopy: 30.0 }),
        materials_per_pruned_tree: 0.04,
        cut_wood: None,
        outturn_lb: None,
        price_outturn_lb: None,
    }
}

pub(crate) fn response(curve: TrueCurve, best_lead_days: f64, width_days: f64) -> Response {
    Response { curve, timing: Timing { best_lead_days, width_days } }
}

/// The start from which the demo's designed trials change a few fields.
pub(crate) fn randomised_blocks() -> DesignedTrial {
    DesignedTrial {
        id: String::new(),
        title: String::new(),
        design: TrialDesign::RandomisedBlocks,
        factors: Vec::new(),
        control: false,
        lead_days: 45.0,
        replicates: 4,
        sites: 1,
        trees_per_plot: 2,
        first_season: 2024,
        lost_plots: 0,
        framed: false,
        covariate: None,
        // Trees of like size were chosen.
        tree_cv: 0.15,
        replicate_cv: 0.10,
        main_plot_cv: 0.05,
        plot_cv: 0.05,
    }
}

fn coast() -> RegionPlan {
    RegionPlan {
        name: "Orrin Coast".to_owned(),
        sites: 4,
        young_block: Some(2024),
        response: response(TrueCurve::Peaked { gain: 0.24, at: 0.30 }, 48.0, 75.0),
        practice: Assignment::Routine(Routine { share_pruned_last: 0.30, ..Routine::typical() }),
        trial: Some(TrialPlan {
            id: "OC-levels".to_owned(),
            levels: vec![0.0, 0.15, 0.30, 0.45],
            lead_days: 48.0,
        }),
        trial_sites: 2,
        designed: vec![DesignedTrial {
            id: "OC-depth".to_owned(),
            title: "How much canopy to remove".to_owned(),
            factors: vec![TrialFactor::intensities(&[0.0, 0.15, 0.30, 0.45, 0.60])],
            lead_days: 48.0,
            replicates: 6,
            trees_per_plot: 3,
            first_season: 2024,
            framed: true,
            covariate: Some("earlier_crop".to_owned()),
            ..randomised_blocks()
        }],
        second_visits: 0.06,
        alternation: 0.45,
        moisture: Moisture::Wet { low: 18.0, high: 25.0 },
        framed_trees: 0.3,
        ..RegionPlan::typical("orrin_coast")
    }
}

fn downs() -> RegionPlan {
    RegionPlan {
        name: "Talu Downs".to_owned(),
        calendar: RegionPlan::southern_calendar(),
        wage_per_hour: Some(1.0),
        first_season: 2021,
        last_season: 2025,
        trees_per_block: 48,
        spacings_m: vec![(8.0, 8.0), (9.0, 8.0)],
        base_kg: 5.4,
        response: response(TrueCurve::Peaked { gain: 0.25, at: 0.35 }, 46.0, 75.0),
        practice: Assignment::Routine(Routine { share_pruned_last: 0.25, ..Routine::typical() }),
        alternation: 0.35,
        designed: vec![DesignedTrial {
            id: "TD-date".to_owned(),
            title: "Date and intensity of the cut".to_owned(),
            design: TrialDesign::SplitPlot,
            factors: vec![
                TrialFactor::dates(&[10.0, 45.0, 80.0]),
                TrialFactor::intensities(&[0.15, 0.30, 0.45]),
            ],
            replicates: 4,
            trees_per_plot: 2,
            first_season: 2024,
            lost_plots: 2,
            covariate: Some("earlier_crop".to_owned()),
            ..randomised_blocks()
        }],
        shoots_blocks: 3,
        framed_trees: 0.2,
        style: RecordStyle::DecimalComma,
        ..RegionPlan::typical("talu_downs")
    }
}

fn flats() -> RegionPlan {
    RegionPlan {
        name: "Pellan Flats".to_owned(),
        // Dear labour: pruning that brings nothing is plainly not worth its cost.
        wage_per_hour: Some(1.4),
        first_season: 2021,
        sites: 5,
        blocks_per_site: 2,
        trees_per_block: 48,
        base_kg: 5.8,
        response: response(TrueCurve::Flat, 48.0, 80.0),
        practice: Assignment::Routine(Routine {
            targets: (0.03, 0.45),
            lean: 1.0,
            tree_sd: 0.04,
            share_pruned: 0.55,
            share_pruned_last: 0.18,
        }),
        tested_max: 0.5,
        error_cv: 0.20,
        tree_cv: 0.30,
        ..RegionPlan::typical("pellan_flats")
    }
}

fn ridge() -> RegionPlan {
    RegionPlan {
        name: "Vesk Ridge".to_owned(),
        calendar: RegionPlan::late_northern_calendar(),
        first_season: 2023,
        trees_per_block: 40,
        base_kg: 5.0,
        response: response(TrueCurve::BeyondRange { gain: 0.30, at: 0.50 }, 60.0, 95.0),
        practice: Assignment::Routine(Routine {
            targets: (0.02, 0.25),
            lean: 0.9,
            tree_sd: 0.02,
            share_pruned: 0.7,
            share_pruned_last: 0.5,
        }),
        tested_max: 0.25,
        leads: (10.0, 105.0),
        moisture: Moisture::Wet { low: 19.0, high: 24.0 },
        alternation: 0.3,
        work_recorded: false,
        style: RecordStyle::OddUnits,
        ..RegionPlan::typical("vesk_ridge")
    }
}

fn vale() -> RegionPlan {
    RegionPlan {
        name: "Mirrow Vale".to_owned(),
        first_season: 2021,
        base_kg: 6.2,
        response: response(TrueCurve::Peaked { gain: 0.23, at: 0.25 }, 45.0, 75.0),
        practice: Assignment::Habit {
            routine: Routine {
                targets: (0.02, 0.42),
                lean: 1.2,
                tree_sd: 0.05,
                share_pruned: 0.75,
                share_pruned_last: 0.30,
            },
            vigour: 0.08,
            earlier_crop: 0.01,
        },
        designed: vec![DesignedTrial {
            id: "MV-dressing".to_owned(),
            title: "Intensity and dressing of the cuts".to_owned(),
            factors: vec![TrialFactor::intensities(&[0.15, 0.30]), TrialFactor::dressing(1.02)],
            control: true,
            lead_days: 45.0,
            replicates: 4,
            sites: 2,
            trees_per_plot: 2,
            first_season: 2025,
            covariate: Some("earlier_crop".to_owned()),
            ..randomised_blocks()
        }],
        tested_max: 0.5,
        tree_cv: 0.38,
        error_cv: 0.24,
        style: RecordStyle::Spreadsheet,
        ..RegionPlan::typical("mirrow_vale")
    }
}

fn island() -> RegionPlan {
    RegionPlan {
        name: "Quill Island".to_owned(),
        first_season: 2025,
        sites: 1,
        blocks_per_site: 2,
        trees_per_block: 12,
        varieties: vec![Variety { name: "Seedling".to_owned(), factor: 0.9 }],
        tree_cv: 0.55,
        tails: ErrorTails::Heavy,
        practice: Assignment::Routine(Routine {
            targets: (0.14, 0.16),
            lean: 1.0,
            tree_sd: 0.01,
            share_pruned: 1.0,
            share_pruned_last: 1.0,
        }),
        tested_max: 0.2,
        leads: (40.0, 55.0),
        work_recorded: false,
        ..RegionPlan::typical("quill_island")
    }
}
