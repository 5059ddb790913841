//! Tables of sums made by slow loops, fitted and refused.

use super::declared::{DeclaredFactor, DeclaredModel};
use super::sums::{SumLine, SumsError, count};
use crate::curve::{IntensityShape, Knots};
use crate::scale::Scale;
use mixed::{Data, DeclaredBasis, Factor, FixedColumn, RandomEffect, Settings};
use std::collections::BTreeMap;

/// Rows of 24 trees in 4 blocks and 2 regions; of some rows the tree carries a part.
struct Rows {
    x: Vec<f64>,
    y: Vec<f64>,
    tree: Vec<u32>,
    block: Vec<u32>,
    region: Vec<u32>,
    part: Vec<bool>,
}

const SHARE: f64 = 0.7;
const TREE: usize = 1;

fn rows() -> Rows {
    let wave = |i: usize, step: f64| ((i as f64 + 1.0) * step).sin();
    // Trees have three rows or two.
    let at: Vec<(usize, usize)> =
        (0..24).flat_map(|tree| (0..3 - tree % 5 / 4).map(move |season| (tree, season))).collect();
    let of = |f: &dyn Fn(usize, usize, usize) -> f64| -> Vec<f64> {
        at.iter().enumerate().map(|(row, (tree, season))| f(row, *tree, *season)).collect()
    };
    Rows {
        x: of(&|row, _, season| 40.0 + wave(row, 1.3) + season as f64),
        y: of(&|row, tree, _| {
            1.0 + 0.3 * wave(row, 1.3) + wave(tree, 2.1) + wave(tree % 4, 5.0) + wave(row, 7.7)
        }),
        tree: at.iter().map(|(tree, _)| *tree as u32).collect(),
        block: at.iter().map(|(tree, _)| (tree % 4) as u32).collect(),
        region: at.iter().map(|(tree, _)| (tree % 2) as u32).collect(),
        part: at.iter().map(|(tree, season)| tree % 2 == 1 && *season > 0).collect(),
    }
}

fn loading(rows: &Rows) -> Vec<f64> {
    rows.part.iter().map(|part| if *part { SHARE } else { 1.0 }).collect()
}

fn data<'a>(rows: &'a Rows, loading: &'a [f64]) -> Data<'a> {
    let slope = RandomEffect::Slope { name: "hump".into(), values: &rows.x };
    let region = Factor { effects: vec![slope], ..Factor::intercept("region", &rows.region, 2) };
    let whole = RandomEffect::Slope { name: "intercept".into(), values: loading };
    let tree = Factor { effects: vec![whole], ..Factor::intercept("tree", &rows.tree, 24) };
    Data::new(&rows.y)
        .response_units(0.9, 2.0)
        .intercept()
        .column(FixedColumn::new("x", rows.x.as_slice()))
        .factor(Factor::intercept("block", &rows.block, 4))
        .factor(tree)
        .factor(region.independent())
}

fn model(rows: &Rows) -> DeclaredModel {
    let loading = loading(rows);
    let factor = |name: &str, effect: &str, independent| DeclaredFactor {
        name: name.into(),
        effects: vec![effect.into()],
        independent,
    };
    DeclaredModel {
        format: 1,
        checksum: 77,
        scale: Scale::Identity,
        family: IntensityShape::Quadratic,
        knots: Knots::default(),
        response_units: [0.9, 2.0],
        fixed: vec!["intercept".into(), "x".into()],
        factors: vec![
            factor("block", "intercept", false),
            factor("tree", "intercept", false),
            factor("region", "hump", true),
        ],
        pooled: "tree".into(),
        loadings: vec![1.0, SHARE],
        basis: DeclaredBasis::of(&data(rows, &loading)).unwrap(),
        rows: rows.y.len() as u64,
        left_out: Vec::new(),
    }
}

fn line(kind: &str, cell: usize, amount: f64) -> SumLine {
    SumLine {
        kind: kind.into(),
        n_whole: 0.0,
        n_part: 0.0,
        part_class: 0.0,
        factor_a: -1.0,
        level_a: String::new(),
        factor_b: -1.0,
        level_b: String::new(),
        cell: cell as f64,
        amount,
        n_lines: 0.0,
    }
}

/// A place in the table: factor (-1 for a column), level, position of the column.
type Key = (i32, String, usize);

/// The table, by adding up products row by row and tree by tree.
fn table(rows: &Rows, model: &DeclaredModel) -> Vec<SumLine> {
    let used = rows.y.len() as f64;
    let mut lines = vec![line("used", 0, used), line("split", 0, 0.0)];
    for (cell, amount) in [
        (count::CHECKSUM, 77.0),
        (count::READ, used + 3.0),
        (count::APART, 2.0),
        (count::UNWEIGHED, 1.0),
        (count::ZERO_ON_LOG, 0.0),
        (count::UNKNOWN_LABEL, 0.0),
    ] {
        lines.push(line("count", cell, amount));
    }
    let entries = |row: usize| -> Vec<(Key, f64)> {
        let x = [1.0, rows.x[row]];
        let turned = |column: &[f64]| column.iter().zip(x).map(|(t, x)| t * x).sum::<f64>();
        let basis = &model.basis;
        let y = ((rows.y[row] - 0.9) / 2.0 - turned(&basis.start)) / basis.response_scale;
        let column = |at: usize| (-1, String::new(), at);
        vec![
            (column(0), turned(&basis.columns[0])),
            (column(1), turned(&basis.columns[1])),
            (column(2), y),
            // Labels that sort otherwise than their numbers.
            ((0, format!("b{}", 9 - rows.block[row]), 0), 1.0),
            ((2, format!("r{}", rows.region[row]), 0), rows.x[row]),
        ]
    };
    let mut trees: BTreeMap<u32, (f64, f64, BTreeMap<Key, f64>)> = BTreeMap::new();
    for row in 0..rows.y.len() {
        let entries = entries(row);
        lines.extend(products(&entries, line("sum", 0, 0.0)));
        let tree = trees.entry(rows.tree[row]).or_default();
        let share = if rows.part[row] { SHARE } else { 1.0 };
        *(if rows.part[row] { &mut tree.1 } else { &mut tree.0 }) += 1.0;
        for (key, value) in entries {
            *tree.2.entry(key).or_insert(0.0) += share * value;
        }
    }
    for (whole, part, sums) in trees.into_values() {
        let own = SumLine {
            n_whole: whole,
            n_part: part,
            part_class: if part > 0.0 { 1.0 } else { 0.0 },
            ..line("pooled", 0, 0.0)
        };
        lines.push(SumLine { kind: "groups".into(), amount: 1.0, ..own.clone() });
        lines.extend(products(&sums.into_iter().collect::<Vec<_>>(), own));
    }
    say_how_many(&mut lines);
    lines
}

/// Every line says how many there are of its kind and factors.
fn say_how_many(lines: &mut [SumLine]) {
    let block = |line: &SumLine| (line.kind.clone(), line.factor_a as i64, line.factor_b as i64);
    let mut many = BTreeMap::new();
    for line in lines.iter() {
        *many.entry(block(line)).or_insert(0.0) += 1.0;
    }
    for line in lines {
        line.n_lines = many[&block(line)];
    }
}

/// Lines of every product that the query sums: columns once, factors before columns, two levels of
/// one factor in both orders.
fn products(entries: &[(Key, f64)], like: SumLine) -> Vec<SumLine> {
    let mut out = Vec::new();
    for ((fa, la, i), x) in entries {
        for ((fb, lb, j), y) in entries {
            let columns = *fa < 0 && *fb < 0 && j <= i;
            let mixed = *fa >= 0 && *fb < 0;
            let factors = *fa >= 0 && *fb >= *fa;
            if columns || mixed || factors {
                let across = if *fb < 0 { 3 } else { 1 };
                out.push(SumLine {
                    factor_a: f64::from(*fa),
                    level_a: la.clone(),
                    factor_b: f64::from(*fb),
                    level_b: lb.clone(),
                    cell: (i * across + j) as f64,
                    amount: x * y,
                    ..like.clone()
                });
            }
        }
    }
    out
}

#[test]
fn a_table_of_sums_gives_the_fit_of_its_rows() {
    let rows = rows();
    let model = model(&rows);
    let loading = loading(&rows);
    let whole = mixed::fit(&data(&rows, &loading), &Settings::default()).unwrap();
    let mut lines = table(&rows, &model);
    for order in 0..2 {
        let fit = model.fit(&lines, &Settings::default()).unwrap();
        let near = |a: f64, b: f64| (a - b).abs() <= 1e-10 * (1.0 + b.abs());
        assert_eq!(fit.n_rows(), whole.n_rows());
        assert!(near(fit.criterion(), whole.criterion()), "order {order}");
        assert!(near(fit.sigma(), whole.sigma()));
        for (a, b) in fit.theta().iter().zip(whole.theta()) {
            assert!(a.name == b.name && near(a.value, b.value), "{a:?} {b:?}");
        }
        for (a, b) in fit.estimates().iter().zip(whole.estimates()) {
            assert!(near(*a, b), "{a} {b}");
        }
        let modes = |fit: &mixed::Fit| fit.conditional_modes("block").unwrap().modes;
        // Labels run against the codes of the rows.
        for level in 0..4 {
            assert!(near(modes(&fit)[(level, 0)], modes(&whole)[(3 - level, 0)]));
        }
        lines.reverse();
    }
}

#[test]
fn tables_that_do_not_belong_are_refused() {
    let rows = rows();
    let model = model(&rows);
    let lines = table(&rows, &model);
    let fit = |change: &dyn Fn(&mut Vec<SumLine>)| {
        let mut lines = lines.clone();
        change(&mut lines);
        model.fit(&lines, &Settings::default()).unwrap_err()
    };
    let set = |cell: usize, amount: f64| {
        move |lines: &mut Vec<SumLine>| {
            let own = |line: &&mut SumLine| line.kind == "count" && line.cell == cell as f64;
            lines.iter_mut().find(own).unwrap().amount = amount;
        }
    };
    assert!(matches!(
        fit(&set(count::CHECKSUM, 78.0)),
        SumsError::OtherDesign { found: 78, expected: 77 }
    ));
    assert!(matches!(fit(&set(count::READ, 5.0)), SumsError::Conservation { read: 5, .. }));
    assert!(matches!(fit(&set(count::UNKNOWN_LABEL, 4.0)), SumsError::UnknownLabel { rows: 4 }));
    assert!(matches!(fit(&set(count::ZERO_ON_LOG, 9.0)), SumsError::ZeroOnLog { rows: 9 }));
    assert!(matches!(fit(&|lines| lines[1].amount = 1.0), SumsError::TwoRegions { groups: 1 }));
    assert!(matches!(fit(&|lines| lines.retain(|l| l.kind != "used")), SumsError::Missing("used")));
    assert!(matches!(fit(&|lines| lines[0].kind = "other".into()), SumsError::Foreign { line: 1 }));
    // A factor that is pooled has no levels, a block no second effect.
    let last = |lines: &mut Vec<SumLine>, change: &dyn Fn(&mut SumLine)| {
        change(lines.iter_mut().rev().find(|line| line.kind == "pooled").unwrap());
    };
    assert!(matches!(
        fit(&|lines| last(lines, &|line| line.factor_a = TREE as f64)),
        SumsError::Foreign { .. }
    ));
    assert!(matches!(fit(&|lines| last(lines, &|l| l.cell = 9.0)), SumsError::Foreign { .. }));
    assert!(matches!(
        fit(&|lines| last(lines, &|line| line.amount = f64::NAN)),
        SumsError::Empty { column: "amount", .. }
    ));
}

#[test]
fn a_line_lost_or_there_twice_is_told_with_its_kind() {
    let rows = rows();
    let model = model(&rows);
    let lines = table(&rows, &model);
    let refused = |lines: &[SumLine]| model.fit(lines, &Settings::default()).unwrap_err();
    for at in 0..lines.len() {
        let mut fewer = lines.clone();
        let line = fewer.remove(at);
        let said = refused(&fewer);
        match &said {
            SumsError::Missing(kind) => assert_eq!(**kind, line.kind),
            SumsError::Lines { kind, found, expected, .. } => {
                assert!(**kind == line.kind && found + 1 == *expected, "{said}");
            }
            _ => panic!("{line:?}: {said}"),
        }
    }
    let last = lines.last().unwrap().clone();
    let twice: Vec<SumLine> = lines.iter().cloned().chain([last]).collect();
    let said = refused(&twice).to_string();
    assert!(said.contains("of kind pooled for region by region, and the query gave"), "{said}");
    // A kind of which nothing is left for one pair of factors.
    let mut without = lines.clone();
    without.retain(|line| line.kind != "sum" || line.factor_a < 0.0 || line.factor_b < 0.0);
    assert!(matches!(refused(&without), SumsError::Missing("sum")));
}

#[test]
fn tables_of_parts_follow_one_another() {
    let whole = rows();
    let model = model(&whole);
    // Trees of two parts, summed apart: each table says the number of its own lines.
    let part = |of: u32| {
        let keep: Vec<usize> =
            (0..whole.y.len()).filter(|row| whole.tree[*row] / 16 == of).collect();
        let codes = |column: &[u32]| keep.iter().map(|row| column[*row]).collect();
        let numbers = |column: &[f64]| keep.iter().map(|row| column[*row]).collect();
        let rows = Rows {
            x: numbers(&whole.x),
            y: numbers(&whole.y),
            tree: codes(&whole.tree),
            block: codes(&whole.block),
            region: codes(&whole.region),
            part: keep.iter().map(|row| whole.part[*row]).collect(),
        };
        table(&rows, &model)
    };
    let both = [part(0), part(1)].concat();
    let fit = model.fit(&both, &Settings::default()).unwrap();
    let one = model.fit(&table(&whole, &model), &Settings::default()).unwrap();
    assert!((fit.criterion() - one.criterion()).abs() < 1e-9 * one.criterion().abs());
    // All products of one of the two.
    let mut lost = part(0);
    lost.extend(part(1).into_iter().filter(|line| line.kind != "pooled"));
    let said = model.fit(&lost, &Settings::default()).unwrap_err();
    assert!(matches!(said, SumsError::Lines { kind: "pooled", .. }), "{said}");
}
