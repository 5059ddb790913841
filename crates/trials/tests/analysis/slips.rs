//! Mistyped levels and blocks: refused where plots melt, told where the design does not contradict.

use crate::support::{declared, names, observed};
use records::{TrialControl, TrialDeclaration, TrialDesign, TrialRoles};
use trials::{Observations, Plan, Refusal, Slip};

const TREES: usize = 4;
const LEVELS: [&str; 5] = ["T1", "T2", "T3", "T4", "T5"];

/// Four blocks R1 to R4 of five treatments with four trees each, block by block.
fn orchard() -> (TrialDeclaration, Observations) {
    let (mut replicate, mut treatment, mut values) = (Vec::new(), Vec::new(), Vec::new());
    for block in 1..=4 {
        for (level, name) in LEVELS.iter().enumerate() {
            for tree in 0..TREES {
                replicate.push(format!("R{block}"));
                treatment.push((*name).to_owned());
                let scatter = (block * 7 + level * 5 + tree * 3) % 11;
                values.push(5.0 + level as f64 * 0.3 + scatter as f64 * 0.1);
            }
        }
    }
    let mut d = declared(TrialDesign::RandomisedBlocks);
    d.factors = names(&["treatment"]);
    (d, observed(&[("replicate", replicate), ("treatment", treatment)], values))
}

/// Writes `text` into a column of every tree of a plot; plots count from 0, block by block.
fn write(data: &mut Observations, column: &str, plot: usize, text: &str) {
    let cells = data.columns.get_mut(column).unwrap();
    cells[plot * TREES..(plot + 1) * TREES].fill(Some(text.to_owned()));
}

fn slips(d: &TrialDeclaration, data: &Observations) -> Vec<Slip> {
    Plan::read(d, data).unwrap().slips
}

#[test]
fn a_tidy_trial_has_no_slip_and_lost_trees_are_none() {
    let (d, mut data) = orchard();
    assert_eq!(slips(&d, &data), []);
    // A plot all of whose trees died stands in the table; so does a block with one plot alive.
    data.values[4..8].fill(f64::NAN);
    data.values[24..40].fill(f64::NAN);
    assert_eq!(slips(&d, &data), []);
}

#[test]
fn a_mislabelled_plot_does_not_melt_into_another() {
    let (mut d, mut data) = orchard();
    write(&mut data, "treatment", 6, "T3");
    match Plan::read(&d, &data).unwrap_err() {
        refusal @ Refusal::PlotsMelted { .. } => {
            let Refusal::PlotsMelted { treatment, block, robbed, trees, usual, lacking, evidence } =
                &refusal
            else {
                panic!()
            };
            assert_eq!(robbed, block);
            assert_eq!((treatment.as_str(), &**block), ("treatment T3", "replicate R2"));
            assert_eq!((*trees, *usual, lacking.as_slice()), (8, 4, &names(&["treatment T2"])[..]));
            let rows: Vec<String> = (26..34).map(|line| format!("trials.csv:{line}")).collect();
            assert_eq!(evidence.places, rows);
            assert!(refusal.remedy().contains("roles = { plot = \"COLUMN\" }"));
        }
        r => panic!("{r}"),
    }
    // Dead trees of the two plots change nothing.
    let mut damaged = data.clone();
    damaged.values[24..27].fill(f64::NAN);
    assert!(matches!(Plan::read(&d, &damaged), Err(Refusal::PlotsMelted { trees: 8, .. })));
    // A plot column tells the two apart, and the design refuses them as two.
    let plots = (0..80).map(|row| Some(format!("P{}", row / TREES))).collect();
    data.columns.insert("plot".to_owned(), plots);
    d.roles.plot = Some("plot".to_owned());
    assert!(matches!(Plan::read(&d, &data), Err(Refusal::TreatmentTwice { times: 2, .. })));
    // A large plot in a block that lacks nothing is a large plot.
    let (d, mut data) = orchard();
    for column in ["replicate", "treatment"] {
        let cells = data.columns.get_mut(column).unwrap();
        let more: Vec<Option<String>> = cells[24..28].to_vec();
        cells.extend(more);
    }
    data.values.extend([5.5, 5.6, 5.1, 5.2]);
    data.tree.extend(names(&["X1", "X2", "X3", "X4"]));
    data.season.extend([None; 4]);
    data.place.extend(names(&["x:1", "x:2", "x:3", "x:4"]));
    assert_eq!(slips(&d, &data), []);
}

/// The plot's block is mistyped and not its treatment: it melts into that treatment's plot elsewhere.
#[test]
fn a_plot_of_a_mistyped_block_does_not_melt_into_another() {
    let (d, mut data) = orchard();
    write(&mut data, "replicate", 6, "R3");
    let refusal = Plan::read(&d, &data).unwrap_err();
    let Refusal::PlotsMelted { treatment, block, robbed, trees: 8, lacking, .. } = &refusal else {
        panic!("{refusal}")
    };
    assert_eq!((&**block, &**robbed), ("replicate R3", "replicate R2"));
    assert_eq!(lacking.as_slice(), std::slice::from_ref(treatment));
    assert!(refusal.to_string().contains("replicate R2 has no treatment T2"), "{refusal}");
}

/// Two of the four trees of a plot carry another treatment's word.
#[test]
fn trees_that_bear_another_plots_label_are_told() {
    let (d, mut data) = orchard();
    let cells = data.columns.get_mut("treatment").unwrap();
    cells[6 * TREES..6 * TREES + 2].fill(Some("T3".to_owned()));
    let found = slips(&d, &data);
    let [slip @ Slip::UnevenPlots { treatment, block, other, other_block, evidence, .. }] =
        found.as_slice()
    else {
        panic!("{found:?}")
    };
    assert_eq!((treatment.as_str(), other.as_str()), ("treatment T3", "treatment T2"));
    assert_eq!((block.as_str(), other_block.as_str()), ("replicate R2", "replicate R2"));
    assert!(matches!(slip, Slip::UnevenPlots { trees: 6, left: 2, usual: 4, .. }));
    assert_eq!(evidence.places.len(), 6);
    assert!(evidence.places.contains(&"trials.csv:26".to_owned()), "{evidence}");
    // A remedy that the book has followed is none.
    assert!(slip.remedy().contains("declare the column"), "{}", slip.remedy());
    let declared = TrialDeclaration {
        roles: TrialRoles { plot: Some("plot".to_owned()), ..d.roles.clone() },
        ..d
    };
    // Plot and treatment are the neighbour's.
    let of = |name: &str| data.columns[name].iter().map(|cell| cell.clone().unwrap());
    let plots =
        of("replicate").zip(of("treatment")).map(|(block, own)| Some(format!("{block}-{own}")));
    let plots = plots.collect();
    data.columns.insert("plot".to_owned(), plots);
    let told = slips(&declared, &data);
    let uneven = told.iter().find(|own| matches!(own, Slip::UnevenPlots { .. }));
    let remedy = uneven.unwrap().remedy();
    assert!(remedy.contains("map or field sheets") && !remedy.contains("declare"), "{remedy}");
    // The block is mistyped instead.
    let (d, mut data) = orchard();
    let cells = data.columns.get_mut("replicate").unwrap();
    cells[6 * TREES] = Some("R3".to_owned());
    let found = slips(&d, &data);
    let [Slip::UnevenPlots { block, other_block, trees: 5, left: 3, .. }] = found.as_slice() else {
        panic!("{found:?}")
    };
    assert_eq!((block.as_str(), other_block.as_str()), ("replicate R3", "replicate R2"));
    // A tree too few alone is a tree that was not planted.
    let (d, mut data) = orchard();
    data.values.pop();
    data.tree.pop();
    data.season.pop();
    data.place.pop();
    for cells in data.columns.values_mut() {
        cells.pop();
    }
    assert_eq!(slips(&d, &data), []);
}

/// Without blocks nothing but the number of plots and of their trees shows a wrong label.
#[test]
fn plots_without_blocks_that_bear_another_label_are_told() {
    let (mut d, mut data) = orchard();
    d.design = TrialDesign::CompletelyRandomised;
    d.roles.plot = Some("plot".to_owned());
    let plots = (0..80).map(|row| Some(format!("P{}", row / TREES))).collect();
    data.columns.insert("plot".to_owned(), plots);
    assert_eq!(slips(&d, &data), []);
    // A plot of T2 labelled T3, with the column of plots and with every tree a plot.
    let mut typed = data.clone();
    write(&mut typed, "treatment", 6, "T3");
    let found = slips(&d, &typed);
    let [Slip::UnevenTreatments { treatment, plots: 5, other, left: 3, usual: 4, .. }] =
        found.as_slice()
    else {
        panic!("{found:?}")
    };
    assert_eq!((treatment.as_str(), other.as_str()), ("treatment T3", "treatment T2"));
    let mut trees = d.clone();
    trees.roles.plot = None;
    assert!(matches!(
        slips(&trees, &typed)[..],
        [Slip::UnevenTreatments { plots: 20, left: 12, usual: 16, .. }]
    ));
    // The plot's id is mistyped as that of another plot of its treatment: two melt into one.
    write(&mut data, "plot", 6, "P1");
    let found = slips(&d, &data);
    let [slip @ Slip::LargePlot { plot, trees: 8, usual: 4, plots: 3, usual_plots: 4, .. }] =
        found.as_slice()
    else {
        panic!("{found:?}")
    };
    assert_eq!(plot, "plot P1");
    assert!(slip.what().contains("trials.csv:6") && slip.remedy().len() > 20, "{}", slip.what());
    // Replication that was meant to differ is no slip.
    let (mut d, mut data) = orchard();
    d.design = TrialDesign::CompletelyRandomised;
    write(&mut data, "treatment", 6, "T1");
    write(&mut data, "treatment", 7, "T1");
    assert_eq!(slips(&d, &data), []);
}

/// Without blocks a mistyped level is a treatment of one plot.
#[test]
fn a_level_on_one_plot_is_told_by_its_digits() {
    let (mut d, mut data) = orchard();
    d.design = TrialDesign::CompletelyRandomised;
    d.roles.plot = Some("plot".to_owned());
    let plots = (0..80).map(|row| Some(format!("P{}", row / TREES))).collect();
    data.columns.insert("plot".to_owned(), plots);
    d.amounts.insert("treatment".to_owned(), "g".to_owned());
    let amounts = ["0", "250", "500", "750", "1000"].iter().cycle();
    for (plot, amount) in amounts.take(20).enumerate() {
        write(&mut data, "treatment", plot, amount);
    }
    assert_eq!(slips(&d, &data), []);
    let lone = |amount: &str| {
        let mut typed = data.clone();
        write(&mut typed, "treatment", 8, amount);
        let found = slips(&d, &typed);
        let [slip @ Slip::LevelOnOnePlot { usual: 4, level, slipped, evidence, .. }] =
            found.as_slice()
        else {
            panic!("{found:?}")
        };
        assert_eq!(evidence.places[0], "trials.csv:34");
        assert!(slip.what().contains("trials.csv:34") && slip.remedy().len() > 20);
        (level.clone(), slipped.clone())
    };
    let words = |level: &str, slipped: Option<&str>| (level.to_owned(), slipped.map(str::to_owned));
    assert_eq!(lone("75"), words("75 g", Some("750 g")));
    assert_eq!(lone("7500"), words("7500 g", Some("750 g")));
    assert_eq!(lone("760"), words("760 g", None));
    // Levels that stand on one plot each by design are no slips.
    for plot in 0..20 {
        let own = if plot < 8 { "0".to_owned() } else { format!("{}", 100 * plot) };
        write(&mut data, "treatment", plot, &own);
    }
    assert_eq!(slips(&d, &data), []);
    // In incomplete blocks too, where blocks tell plots apart.
    d.design = TrialDesign::IncompleteBlocks;
    d.roles.plot = None;
    d.roles.block = Some("replicate".to_owned());
    let amounts = ["0", "250", "500", "750", "1000"].iter().cycle();
    for (plot, amount) in amounts.take(20).enumerate() {
        write(&mut data, "treatment", plot, amount);
    }
    assert_eq!(slips(&d, &data), []);
    write(&mut data, "treatment", 8, "75");
    assert!(matches!(slips(&d, &data)[..], [Slip::LevelOnOnePlot { slipped: Some(_), .. }]));
}

/// Over two seasons trees differ lastingly and from season to season; the variance between the trees of a
/// plot in one season is that of both, as the raw values show it.
#[test]
fn trees_of_a_plot_differ_lastingly_too() {
    let (d, first) = orchard();
    let (mut data, rows) = (first.clone(), first.len());
    // Lasting differences of standard deviation 1 and more, those of a season a tenth of it.
    let scatter =
        |k: usize, by: f64| 2.0 * ((k as f64 * by).sin() * 43_758.545_3).rem_euclid(1.0) - 1.0;
    for (name, cells) in &first.columns {
        data.columns.get_mut(name).unwrap().extend(cells.clone());
    }
    data.tree.extend(first.tree.clone());
    data.place.extend(first.place.clone());
    data.season = [2023, 2024].into_iter().flat_map(|year| vec![Some(year); rows]).collect();
    data.values = (0..2 * rows)
        .map(|k| {
            20.0 + 3.0 * scatter(k % rows / TREES, 4.1414)
                + 2.0 * scatter(k % rows, 12.9898)
                + 0.2 * scatter(k, 78.233)
        })
        .collect();
    data.values[5] = f64::NAN;
    let a = trials::analyse(&Plan::read(&d, &data).unwrap()).unwrap();
    let (mut squares, mut df) = (0.0, 0.0);
    for plot in data.values.chunks(TREES) {
        let own: Vec<f64> = plot.iter().copied().filter(|value| value.is_finite()).collect();
        let mean = own.iter().sum::<f64>() / own.len() as f64;
        squares += own.iter().map(|value| (value - mean).powi(2)).sum::<f64>();
        df += own.len() as f64 - 1.0;
    }
    let found = a.sampling.unwrap();
    assert_eq!((found.trees, found.df as f64), (159, df));
    assert!((found.tree_variance / (squares / df) - 1.0).abs() < 0.05, "{}", found.tree_variance);
}

#[test]
fn a_mislabelled_plot_of_a_split_plot_is_refused_too() {
    let (mut d, mut data) = orchard();
    // Two dates to a block of four trees each: one tree a plot would be told otherwise.
    let date = (0..80).map(|row| Some(["early", "late"][row % 2].to_owned())).collect();
    data.columns.insert("date".to_owned(), date);
    d.design = TrialDesign::SplitPlot;
    d.factors.clear();
    d.main_factors = names(&["treatment"]);
    d.sub_factors = names(&["date"]);
    assert_eq!(slips(&d, &data), []);
    write(&mut data, "treatment", 6, "T3");
    let refusal = Plan::read(&d, &data).unwrap_err();
    assert!(matches!(refusal, Refusal::PlotsMelted { trees: 4, usual: 2, .. }), "{refusal}");
}

#[test]
fn a_mistyped_level_is_told_by_what_it_looks_like_and_where_it_stands() {
    let (d, mut data) = orchard();
    write(&mut data, "treatment", 6, "T 2");
    let rows: Vec<String> = (26..30).map(|line| format!("trials.csv:{line}")).collect();
    let found = slips(&d, &data);
    let [Slip::Alike { column, first, second, evidence }, lone] = found.as_slice() else {
        panic!("{found:?}")
    };
    assert_eq!((column.as_str(), first.as_str(), second.as_str()), ("treatment", "T2", "T 2"));
    assert_eq!(evidence.places, rows);
    let Slip::LevelInOneBlock { level, block, blocks: 4, evidence, .. } = lone else {
        panic!("{lone:?}")
    };
    assert_eq!((level.as_str(), block.as_str()), ("T 2", "replicate R2"));
    assert_eq!(evidence.places, rows);
    // Case alone, and an amount, which looks like another by no more than its digits.
    write(&mut data, "treatment", 6, "t2");
    assert!(matches!(slips(&d, &data)[0], Slip::Alike { .. }));
    let (mut d, mut data) = orchard();
    for (plot, amount) in ["0", "0.15", "0.3", "0.45", "0.6"].iter().cycle().take(20).enumerate() {
        write(&mut data, "treatment", plot, amount);
    }
    d.amounts.insert("treatment".to_owned(), "fraction".to_owned());
    assert_eq!(slips(&d, &data), []);
    write(&mut data, "treatment", 7, "0.33");
    let found = slips(&d, &data);
    let [Slip::LevelInOneBlock { level, .. }] = found.as_slice() else { panic!("{found:?}") };
    assert_eq!(level, "0.33");
}

#[test]
fn a_mistyped_block_is_told() {
    let (d, mut data) = orchard();
    write(&mut data, "replicate", 2, "R 1");
    let found = slips(&d, &data);
    let [Slip::Alike { second, .. }, Slip::ThinBlock { block, holds: 1, usual: 5, evidence }] =
        found.as_slice()
    else {
        panic!("{found:?}")
    };
    assert_eq!((second.as_str(), block.as_str()), ("R 1", "replicate R 1"));
    let rows: Vec<String> = (10..14).map(|line| format!("trials.csv:{line}")).collect();
    assert_eq!(evidence.places, rows);
    for slip in &found {
        assert!(slip.what().contains("trials.csv:10") && slip.remedy().len() > 20);
    }
}

/// Control, and two doses by two dates; the control has neither dose nor date.
#[test]
fn a_control_beside_a_factorial_is_told_until_it_is_declared() {
    let (mut d, mut data) = orchard();
    let plots = [("0", "-"), ("1", "20"), ("1", "50"), ("2", "20"), ("2", "50")];
    let column = |of: fn(&(&str, &str)) -> String| -> Vec<Option<String>> {
        (0..80).map(|row| Some(of(&plots[row / TREES % 5]))).collect()
    };
    data.columns.insert("dose".to_owned(), column(|p| p.0.to_owned()));
    data.columns.insert("date".to_owned(), column(|p| p.1.to_owned()));
    d.factors = names(&["dose", "date"]);
    let found = slips(&d, &data);
    let [slip @ Slip::Undeclared { factor, level, .. }] = found.as_slice() else {
        panic!("{found:?}")
    };
    assert_eq!((factor.as_str(), level.as_str()), ("dose", "0"));
    let line = "control = { factor = \"dose\", level = \"0\", beside_factorial = true }";
    assert!(slip.remedy().contains(line), "{}", slip.remedy());
    d.control = Some(TrialControl {
        factor: "dose".to_owned(),
        level: "0".to_owned(),
        beside_factorial: true,
    });
    assert_eq!(slips(&d, &data), []);
}
