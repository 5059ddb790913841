//! An invented report: six regions, every verdict, hostile names, one region that supports nothing.

use advise::*;
use jiff::civil::date;
use records::work::{Product, ProductKind, Tool, ToolKind, Treats, WorkSettings};
use records::{Code, MeasuredAs, Place, PracticeBefore, Problem, Severity};
use report::*;
use workplan::crew_sheet::{Apart, HowMuch, InTrial, Work};
use workplan::economics::{BreakEven, Pays, PracticeCost, SeasonSums, WhatIf, WorkRate};
use workplan::plan::{Plan, PlanBlock, build};
use workplan::tools::{CountedTree, CutRates};
use workplan::young::YoungBlock;

fn interval(median: f64, half: f64) -> Interval {
    Interval { median, low: median - half, high: median + half, level: 0.9 }
}

fn optimum(median: f64, half: f64) -> Optimum {
    Optimum {
        median,
        low: (median - half).max(0.0),
        high: (median + half).min(0.6),
        level: 0.9,
        p_lower_edge: 0.03,
        p_inside: 0.83,
        p_upper_edge: 0.14,
        p_bends_down: 0.97,
    }
}

fn region(
    id: &str,
    name: &str,
    verdict: Verdict,
    best: f64,
    present: f64,
    gain: f64,
) -> RegionAdvice {
    let advised = (verdict != Verdict::Trial).then(|| Advised {
        intensity: best,
        lead_days: Some(112.0),
        window: Some([date(2026, 5, 3), date(2026, 5, 24)]),
    });
    RegionAdvice {
        region: id.into(),
        name: name.into(),
        season: 2026,
        verdict,
        reason: match verdict {
            Verdict::Prune => "Moving from light to moderate pruning earns more in nearly every reading of the records.",
            Verdict::Keep => "No other intensity earns clearly more than what is done now.",
            Verdict::Trial => "The interval of the gain reaches well below zero, and pruning hardly varied.",
        }
        .into(),
        evidence: if best > 0.3 { Evidence::Mixed } else { Evidence::Routine },
        rows: 5184,
        trees: 1296,
        seasons: 4,
        tested_intensity: Some([0.0, 0.45]),
        untried_intensity: (best > 0.3).then_some([0.05, 0.4]),
        tested_lead: Some([60.0, 150.0]),
        present: Present { intensity: present, lead_days: Some(95.0), share_pruned: 0.85, middle: Some([0.0, 2.0 * present]), season: Some(2025), in_turn: 1, before: Some(PracticeBefore { share_pruned: 0.4, intensity: 0.1 }), left_to_compare: 0, younger: 0, is_assumed: false },
        yield_optimum: Some(optimum(best + 0.03, 0.11)),
        net_optimum: Some(optimum(best, 0.09)),
        lead_optimum: Some(interval(104.0, 31.0)),
        gains_lead_days: Some(112.0),
        keeps_usual_dates: true,
        other_dates: (best > 0.3).then(|| OtherDates {
            lead_days: 88.0,
            net_gain: interval(0.4, 0.6),
            chance: 0.93,
        }),
        inversion_set: Some(InversionSet { kind: InversionKind::Interval, bounds: vec![best - 0.1, best + 0.2], level: 0.9 }),
        band: Some([best - 0.06, best + 0.07]),
        interim: (verdict == Verdict::Trial && best > 0.25).then(|| Advised {
            intensity: best,
            lead_days: Some(112.0),
            window: Some([date(2026, 5, 3), date(2026, 5, 24)]),
        }),
        advised,
        present_yield_kg: Some(interval(5.2, 1.1)),
        gain_over_unpruned_kg: Some(interval(gain + 0.3, 0.4)),
        gain_over_present_kg: Some(interval(gain, 0.3)),
        net_gain_over_present: Some(MoneyInterval { amount: interval(gain * 110.0 - 6.0, 31.0), currency: "INR".into() }),
        p_gain: Some(if verdict == Verdict::Prune { 0.97 } else { 0.58 }),
        returns: Some(RegionReturns {
            mean_net_gain: gain * 110.0 - 6.0,
            wood_gain: 0.0,
            mean_net_over_unpruned: Some(gain * 110.0 + 20.0),
            net_gain_per_ha: Some(interval(gain * 17_000.0, 4000.0)),
            odds_of_loss: 0.03,
            break_even_price: even(Pays::Above, 42.0),
            break_even_wage: Some(even(Pays::Below, 260.0)),
        }),
        lateness: vec![
            Lateness {
                days: 14,
                loss_kg: Some(interval(0.1, 0.08)),
                net_loss: Some(interval(11.0, 8.8)),
            },
            Lateness {
                days: 28,
                loss_kg: (best < 0.3).then(|| interval(0.4, 0.2)),
                net_loss: (best < 0.3).then(|| interval(44.0, 22.0)),
            },
        ],
        late_per_day: Some(interval(1.5, 0.7)),
        horizon: Some(Horizon {
            seasons: 3,
            best_intensity: best + 0.02,
            net_gain: interval(3.0 * (gain * 110.0 - 6.0), 90.0),
        }),
        trials_waiting: vec!["X-7".to_owned()],
        last_record: Some(date(2026, 4, 30)),
    }
}

fn even(pays: Pays, median: f64) -> BreakEven {
    BreakEven {
        pays,
        median: Some(median),
        low: Some(0.5 * median),
        high: None,
        level: 0.9,
        never: 0.04,
        always: 0.0,
    }
}

fn as_planned(id: &str) -> AsPlanned {
    let present = [5.0, 5.2, 4.9, 5.1];
    let sums = (1..=3).filter_map(|n| {
        let n = f64::from(n);
        SeasonSums::of(&[5.9 * n, 5.4 * n, 5.2 * n, 4.8 * n], &present.map(|kg| kg * n), f64::NAN)
    });
    AsPlanned {
        price_per_kg: 110.0,
        wage_per_hour: 60.0,
        what_if: WhatIf {
            region: id.into(),
            price_factor: 1.0,
            trees_per_ha: Some(156.0),
            advised: PracticeCost { hours: 0.2, other: 2.0 },
            present: PracticeCost { hours: 0.1, other: 1.5 },
            seasons: sums.collect(),
        },
    }
}

/// Fourteen blocks of every kind of work; the crew is too small for them.
fn plan(hostile: &str) -> Plan {
    let how_much = HowMuch {
        intensity: 0.22,
        measured_as: MeasuredAs::CanopyFraction,
        canopy_m: Some([4.0, 6.0]),
    };
    let blocks: Vec<PlanBlock> = (0..14)
        .map(|k| {
            let tasks = YoungBlock {
                ages_years: vec![0.5; 40],
                training: None,
                spacing_m: None,
                topping_height_m: None,
            }
            .tasks();
            let work = match k % 4 {
                0 => Work::Prune(how_much),
                1 => Work::Keep(how_much),
                2 => Work::Trial(HowMuch { intensity: 0.0, ..how_much }),
                _ => Work::Train { tasks, training_stated: false },
            };
            PlanBlock {
                region: format!("r{}", k % 6 + 1),
                region_name: format!("Region {}", k % 6 + 1),
                site: "East farm".into(),
                block: if k == 0 { hostile.into() } else { format!("B{k:02}") },
                work,
                trees: 320 + k as u64,
                share_pruned: 0.9,
                window: (k % 4 < 2).then(|| [date(2026, 5, 3), date(2026, 5, 24)]),
                rate: Some(WorkRate { minutes_per_tree: 4.0, minutes_full_canopy: 30.0 }),
                canopy_m3: Some(60.0),
                cut_rates: CutRates::of(&[CountedTree {
                    intensity: 0.2,
                    cuts: [Some(12.0), Some(5.0), Some(2.0), Some(0.5)],
                }]),
                ladders: true,
                wage_per_hour: 60.0,
                materials_per_tree: 2.0,
                delay_loss_per_day: Some(100.0 - k as f64),
                value: 9000.0,
                in_trials: if k == 1 {
                    vec![InTrial { trial: hostile.into(), ids: vec![hostile.into(); 12] }]
                } else {
                    Vec::new()
                },
                apart: Apart {
                    pruned_already: if k == 3 { vec![hostile.into(); 7] } else { Vec::new() },
                    younger: if k == 3 { vec![hostile.into(); 2] } else { Vec::new() },
                },
                ids: None,
                best_day: None,
                youngest_recorded: (k == 2).then_some(8.5),
            }
        })
        .collect();
    let tool = |tool: &str, up_to_cm, kind| Tool { tool: tool.into(), up_to_cm, kind };
    let settings = WorkSettings {
        crew_size: Some(2.0),
        tools: vec![
            tool(&format!("knife {hostile}"), Some(3.0), ToolKind::Hand),
            tool("power saw", None, ToolKind::Power),
        ],
        ..WorkSettings::default()
    };
    let product = |kind| Product {
        kind,
        treats: Treats::Pruned,
        strength_pct: Some(5.0),
        target_pct: Some(0.003),
        usual_pct: Some(0.003),
        volume_l_per_tree: Some(6.0),
        ml_per_cut: Some(15.0),
        applications: 2,
        package_l: Some(0.5),
        copper_sulphate_package_kg: Some(1.0),
        hydrated_lime_package_kg: None,
        re_entry_days: Some(2),
        pre_harvest_days: None,
    };
    let unknown = Product { strength_pct: None, ..product(ProductKind::InsectProtection) };
    let products = [
        (format!("guard {hostile}"), product(ProductKind::InsectProtection)),
        ("paste".to_owned(), product(ProductKind::CopperPaste)),
        ("unknown".to_owned(), unknown),
    ];
    build(&blocks, &settings, &products.into(), None, 7.0)
}

fn picture(id: &str, best: f64, level: f64) -> RegionPicture {
    let kg = |i: f64| level + 0.9 - 14.0 * (i - best).powi(2);
    let points = |scale: f64, fee: f64| {
        (0..=45)
            .map(|k| {
                let i = f64::from(k) / 100.0;
                let median = scale * kg(i) - fee * i;
                let half = scale * (0.15 + 1.6 * (i - 0.2).powi(2));
                CurvePoint { intensity: i, median, low: median - half, high: median + half }
            })
            .collect::<Vec<_>>()
    };
    let classes = [
        (0.0, 0.0, 180),
        (0.0, 0.1, 240),
        (0.1, 0.2, 420),
        (0.2, 0.3, 310),
        (0.3, 0.4, 96),
        (0.4, 0.5, 12),
    ];
    let intensities: Vec<f64> = (0..10).map(|k| f64::from(k) * 0.05).collect();
    let leads: Vec<f64> = (0..7).map(|k| 30.0 + 20.0 * f64::from(k)).collect();
    let (mut gain_kg, mut supported) = (Vec::new(), Vec::new());
    for lead in &leads {
        for i in &intensities {
            gain_kg.push(kg(*i) - kg(0.0) - ((lead - 110.0) / 90.0).powi(2) * i * 4.0);
            supported
                .push((60.0..=150.0).contains(lead) && (*i < 0.42) && !(*lead > 120.0 && *i > 0.3));
        }
    }
    RegionPicture {
        region: id.into(),
        best_intensity: 0.2,
        curve_lead_days: Some(112.0),
        yield_curve: points(1.0, 0.0),
        net_curve: points(110.0, 180.0),
        classes: classes
            .iter()
            .map(|&(from, to, trees)| {
                let mean_intensity = f64::midpoint(from, to);
                let adjusted_kg = kg(mean_intensity) + 0.1 * (f64::from(trees) / 50.0).sin();
                ClassMean {
                    from,
                    to,
                    mean_intensity,
                    mean_kg: adjusted_kg + 0.2,
                    adjusted_kg,
                    trees: trees as u64,
                    tree_seasons: 3 * trees as u64,
                }
            })
            .collect(),
        odds: classes
            .iter()
            .zip([0.004, 0.03, 0.31, 0.52, 0.11, 0.026])
            .map(|(&(from, to, _), p)| OddsBar { from, to, p_yield: p * 0.8 + 0.03, p_net: p })
            .collect(),
        surface: Some(Surface { intensities, leads, gain_kg, supported }),
        what_if: Some(as_planned(id)),
    }
}

fn laterals(id: &str, best: f64) -> RegionLaterals {
    let points = |level: f64, gain: f64| -> Vec<CurvePoint> {
        (0..=45)
            .map(|k| {
                let intensity = f64::from(k) / 100.0;
                let median = level * (1.0 + gain * intensity * (2.0 * best - intensity));
                let half = 0.06 * level * (1.0 + intensity);
                CurvePoint { intensity, median, low: median - half, high: median + half }
            })
            .collect()
    };
    let class = |(from, to, frames): (f64, f64, u64)| {
        let mean_intensity = f64::midpoint(from, to);
        let laterals_per_m2 = 20.0 * (1.0 + 1.2 * mean_intensity);
        CountMean { from, to, mean_intensity, frames, laterals_per_m2, share: Some(0.61) }
    };
    let effects = |unit: f64| Effects {
        total: interval(0.42 * unit, 0.3 * unit),
        indirect: interval(0.17 * unit, 0.09 * unit),
        direct: interval(0.25 * unit, 0.31 * unit),
    };
    RegionLaterals {
        region: id.into(),
        frames: 720,
        trees: 72,
        tree_seasons: 360,
        missing: None,
        tested_intensity: Some([0.0, 0.42]),
        lead_days: Some(112.0),
        laterals: points(20.0, 4.0),
        flowering: points(12.0, 3.0),
        share: points(0.62, -0.5),
        classes: [(0.0, 0.0, 200), (0.0, 0.1, 160), (0.1, 0.2, 220), (0.2, 0.3, 140)]
            .map(class)
            .to_vec(),
        path_missing: None,
        path: Some(Path {
            intensity: best,
            lead_days: Some(112.0),
            before_kg: 4.6,
            kg: effects(1.0),
            per_cent: effects(21.0),
            flowering_ratio: interval(1.11, 0.06),
            share: Some(interval(0.4, 0.3)),
            undone_at: Some(0.21),
            slope: PathSlope {
                slope: interval(0.41, 0.13),
                reliability: 0.31,
                tree_seasons: 1280,
                within_trees: true,
            },
        }),
    }
}

/// A trial with every part that a page can have.
fn trial(hostile: &str) -> TrialReport {
    let mut anova = TrialTable::new("anova", "Analysis of variance", &["Source", "#F", "#p"]);
    anova.rows.push(vec![
        TrialCell::Text(hostile.to_owned()),
        TrialCell::Number(Some(3.25), 2),
        TrialCell::P(Some(0.000_2)),
    ]);
    anova.rows.push(
        vec!["Error".to_owned()]
            .into_iter()
            .map(TrialCell::Text)
            .chain([TrialCell::Number(None, 2), TrialCell::P(None)])
            .collect(),
    );
    anova.notes.push(format!("about {hostile}"));
    let point = |x: f64, y: f64| TrialPoint { x, y, name: hostile.to_owned() };
    let series = |name: &str| TrialSeries {
        name: name.to_owned(),
        points: vec![point(0.0, 4.1), point(1.0, 5.2), point(2.0, f64::NAN)],
        joined: true,
    };
    let plot = TrialPlot {
        name: "means".to_owned(),
        title: format!("Means {hostile}"),
        caption: "Means with the critical difference.".to_owned(),
        x_title: "Level".to_owned(),
        y_title: "kg per tree".to_owned(),
        categories: vec!["bare".to_owned(), hostile.to_owned(), "dressed".to_owned()],
        series: vec![series("early"), series(hostile)],
        curves: vec![series("fitted")],
        bar: Some((0.8, "CD 5 %".to_owned())),
        levels: vec![4.5],
        span: Some((0.5, 1.5, "set of the optimum".to_owned())),
    };
    let section = TrialSection {
        heading: "Analysis".to_owned(),
        paragraphs: vec![format!("In words: {hostile}")],
        tables: vec![anova],
        plots: vec![plot],
    };
    let part = TrialPart {
        heading: format!("Nut yield, {hostile}"),
        slug: "nut-yield".to_owned(),
        finding: format!("{hostile} differs"),
        refused: None,
        sections: vec![section],
        files: Vec::new(),
    };
    let refused = TrialPart {
        slug: "laterals".to_owned(),
        refused: Some((format!("{hostile} twice in a block"), "correct the treatment".to_owned())),
        sections: Vec::new(),
        ..part.clone()
    };
    TrialReport {
        id: hostile.to_owned(),
        title: format!("Trial of {hostile}"),
        sentence: format!("{hostile} is highest"),
        facts: vec![("Design".to_owned(), hostile.to_owned())],
        notes: vec![hostile.to_owned()],
        parts: vec![part, refused],
    }
}

fn review(hostile: &str) -> ReviewReport {
    let mut table = TrialTable::new("by-region", format!("Parts of {hostile}"), &["Region", "#kg"]);
    table.rows.push(vec![TrialCell::Text(hostile.to_owned()), TrialCell::Number(Some(-0.2), 2)]);
    let figures = vec![
        ReviewFigure::Parts(PartsPlot {
            name: "parts-by-region".to_owned(),
            title: format!("Parts of {hostile}"),
            caption: hostile.to_owned(),
            parts: vec!["Season".to_owned(), hostile.to_owned()],
            sum: "Difference".to_owned(),
            rows: vec![
                PartsRow { name: hostile.to_owned(), parts: vec![-0.4, 0.2] },
                PartsRow { name: "empty".to_owned(), parts: vec![f64::NAN, 0.0] },
            ],
            axis: "kg per tree".to_owned(),
            group: "Region".to_owned(),
        }),
        ReviewFigure::Intervals(Intervals {
            name: "advice-scored".to_owned(),
            title: "Predicted and realised".to_owned(),
            caption: hostile.to_owned(),
            axis: "kg per tree".to_owned(),
            row: "What".to_owned(),
            names: ["predicted".to_owned(), "realised".to_owned()],
            rows: vec![IntervalRow {
                name: hostile.to_owned(),
                middle: 0.4,
                limits: [0.1, 0.7],
                realised: Some(0.9),
            }],
        }),
        ReviewFigure::Map(BlockMap {
            name: "map-1".to_owned(),
            title: format!("Block {hostile}"),
            caption: hostile.to_owned(),
            legend: ["tree", "poor", "failing"].map(str::to_owned),
            axes: ["Position", "Row"].map(str::to_owned),
            heads: ["Tree", "Row", "Position", "Why"].map(str::to_owned),
            trees: vec![
                MappedTree { tree: hostile.to_owned(), row: 1, column: 2, flag: TreeFlag::Poor },
                MappedTree { tree: "b".to_owned(), row: 2, column: 1, flag: TreeFlag::Plain },
            ],
        }),
    ];
    ReviewReport {
        book: hostile.to_owned(),
        title: "review of season 2025".to_owned(),
        answers: vec![format!("{hostile}: 5.1 kg per tree")],
        sections: vec![ReviewSection {
            id: "expectation",
            of: TrialSection {
                heading: "Yield [against]: expectation".to_owned(),
                paragraphs: vec![hostile.to_owned()],
                tables: vec![table],
                ..TrialSection::default()
            },
            figures,
            work: true,
        }],
    }
}

/// The report; `hostile` stands in names, reasons and problem texts.
pub fn report(hostile: &str) -> Report {
    let mut regions = vec![
        region("r1", "North <b>Ridge</b> & \"Plateau\"", Verdict::Prune, 0.22, 0.09, 0.42),
        region("r2", "Coast", Verdict::Keep, 0.18, 0.17, 0.02),
        region("r3", "River lowland with a long name", Verdict::Trial, 0.3, 0.05, 0.21),
        region("r4", hostile, Verdict::Prune, 0.33, 0.2, 0.61),
        region("r5", "Southern hills", Verdict::Prune, 0.0, 0.24, 0.15),
        region("r6", "New blocks", Verdict::Trial, 0.2, 0.0, 0.0),
    ];
    regions[4].advised = Some(Advised { intensity: 0.0, lead_days: None, window: None });
    regions[2].inversion_set =
        Some(InversionSet { kind: InversionKind::WholeLine, bounds: vec![], level: 0.9 });
    let bare = &mut regions[5];
    (bare.tested_intensity, bare.tested_lead, bare.band, bare.inversion_set) =
        (None, None, None, None);
    (bare.yield_optimum, bare.net_optimum, bare.p_gain) = (None, None, None);
    bare.present_yield_kg = None;
    (bare.gain_over_unpruned_kg, bare.gain_over_present_kg, bare.net_gain_over_present) =
        (None, None, None);
    (bare.lateness, bare.horizon, bare.lead_optimum) = (Vec::new(), None, None);
    bare.present = Present {
        intensity: 0.0,
        lead_days: None,
        share_pruned: 0.0,
        middle: Some([0.0, 0.0]),
        season: None,
        in_turn: 1,
        before: None,
        left_to_compare: 0,
        younger: 0,
        is_assumed: false,
    };
    bare.reason = "No tree of this region was pruned in the recorded seasons.".into();
    let empty = RegionPicture {
        region: "r6".into(),
        best_intensity: 0.2,
        curve_lead_days: None,
        yield_curve: vec![],
        net_curve: vec![],
        classes: vec![],
        odds: vec![],
        surface: None,
        what_if: None,
    };
    let findings = (1..9)
        .map(|k| {
            let (severity, code) = if k < 7 {
                (Severity::Quarantined, Code::TreeUnknown)
            } else {
                (Severity::Warning, Code::UnitSuspect)
            };
            Problem::new(
                Place::cell("harvests.csv", 40 + k, 3),
                severity,
                code,
                format!("tree {hostile} is not listed"),
                "Add it to trees.csv or correct the id.",
            )
        })
        .collect();
    let coefficient = |term: &str, estimate: f64| CoefficientRow {
        term: term.into(),
        estimate: Some(estimate),
        std_error: Some(0.0412),
        df: Some(211.4),
        statistic: Some(estimate / 0.0412),
        p_value: Some(0.000_04),
        conf_low: Some(estimate - 0.08),
        conf_high: None,
    };
    Report {
        pictures: vec![picture("r1", 0.22, 4.6), picture("r2", 0.18, 5.9), picture("r3", 0.3, 2.4), picture("r4", 0.33, 7.2), picture("r5", 0.02, 3.1), empty],
        advice: Advice { book: format!("Demo {hostile}"), season: 2026, seed: 20_260_101, version: "0.1.0".into(), inputs: "00c0ffee00c0ffee".into(), currency: "INR".into(), tolerance_pct: 2.0, regions },
        laterals: vec![
            laterals("r1", 0.22),
            RegionLaterals {
                missing: Some(format!("12 frame counts of 3 trees are too few {hostile}")),
                laterals: vec![],
                flowering: vec![],
                share: vec![],
                path: None,
                ..laterals("r3", 0.2)
            },
        ],
        trials: vec![trial(hostile)],
        beside: vec![BesideTrial {
            region: "r1".into(),
            trial: "T1".into(),
            basis: format!("The advice for {hostile} rests on all records."),
            words: format!("Trial {hostile} puts the highest yield at 30 %."),
            together: String::new(),
        }],
        review: review(hostile),
        plan: plan(hostile),
        quality: Quality {
            files: vec![
                FileLine { file: "harvests.csv".into(), table: "harvests".into(), rows_read: 52_104, rows_kept: 52_098, rows_quarantined: 6, rows_not_drawn: 0, repairs: vec![("decimal-comma".into(), "nut_kg".into(), 1204)], fingerprint: "9f2c61d0a7b3e8451c0d".into() },
                FileLine { file: "prunings.xlsx#2025".into(), table: "prunings".into(), rows_read: 9120, rows_kept: 9120, ..FileLine::default() },
            ],
            linked: vec![LinkLine { table: "harvests".into(), kept: 52_098, linked: 52_010, not_linked: vec![("outside every harvest window".into(), 88)] }],
            findings,
            quarantine_rows: 6,
        },
        method: Method {
            sentences: vec![MethodItem { id: "surface", heading: "Model".into(), text: "A mixed model of yield with a curve in intensity for each region, partly pooled.".into() }],
            coefficients: vec![coefficient("intensity", 1.234), coefficient("intensity squared", -2.5)],
            spreads: vec![SpreadRow { group: "tree".into(), term: "intercept".into(), sd: Some(0.31), low: Some(0.28), high: Some(0.35), note: String::new() }],
            status: "Interior: the optimum lies inside the parameter space.".into(),
            limits: vec!["It does not know next season's weather.".into(), "Prices are taken as stated.".into()],
            df_method: "Satterthwaite".into(),
            scale: "square root of kg per tree".into(),
            rows_used: 20_736,
            rows_dropped: vec![("young trees".into(), 412)],
        },
    }
}
