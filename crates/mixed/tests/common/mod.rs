//! Reads the reference tables and builds fits from them.
#![allow(dead_code, clippy::unwrap_used, clippy::panic)]

pub mod generalised;

use mixed::{Covariance, Data, Factor, FixedColumn, RandomEffect};
use std::collections::BTreeMap;
use std::path::PathBuf;

pub fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../tests/reference/mixed")
}

/// Columns of a comma-separated file, in order.
pub struct Table {
    pub columns: Vec<(String, Vec<f64>)>,
}

impl Table {
    pub fn read(case: &str) -> Table {
        let text = std::fs::read_to_string(folder().join(format!("{case}.csv"))).unwrap();
        let mut lines = text.lines();
        let names = lines.next().unwrap().split(',');
        let mut columns: Vec<(String, Vec<f64>)> =
            names.map(|n| (n.to_owned(), Vec::new())).collect();
        for line in lines {
            for (column, cell) in columns.iter_mut().zip(line.split(',')) {
                column.1.push(cell.trim().parse().unwrap());
            }
        }
        Table { columns }
    }

    pub fn get(&self, name: &str) -> &[f64] {
        &self.columns.iter().find(|c| c.0 == name).unwrap().1
    }

    pub fn codes(&self, factor: &str) -> Vec<u32> {
        self.get(&format!("g:{factor}")).iter().map(|x| *x as u32).collect()
    }
}

/// Reference values: quantity -> term -> value.
pub struct Values(BTreeMap<(String, String), f64>);

impl Values {
    pub fn read(case: &str) -> Values {
        let read = |name: &str| std::fs::read_to_string(folder().join(name)).unwrap();
        let texts = [read("values.csv"), read("inference.csv")];
        let mut map = BTreeMap::new();
        for line in texts.iter().flat_map(|t| t.lines().skip(1)) {
            let cells: Vec<&str> = line.split(',').collect();
            if cells[0] == case {
                // What R leaves open is no number here.
                let value = cells[3].trim();
                let value = if value == "NA" { f64::NAN } else { value.parse().unwrap() };
                map.insert((cells[1].to_owned(), cells[2].to_owned()), value);
            }
        }
        Values(map)
    }

    pub fn get(&self, quantity: &str, term: &str) -> f64 {
        *self
            .0
            .get(&(quantity.to_owned(), term.to_owned()))
            .unwrap_or_else(|| panic!("no reference for {quantity} {term}"))
    }

    pub fn all(&self, quantity: &str) -> Vec<(String, f64)> {
        let mine = self.0.iter().filter(|(k, _)| k.0 == quantity);
        mine.map(|(k, v)| (k.1.clone(), *v)).collect()
    }
}

/// A factor of a reference case: its name, and slopes beside the intercept.
pub struct Shape {
    pub name: &'static str,
    pub slopes: &'static [&'static str],
    pub covariance: Covariance,
}

pub fn intercept(name: &'static str) -> Shape {
    Shape { name, slopes: &[], covariance: Covariance::Correlated }
}

/// Owns what a [`Data`] borrows.
pub struct Case {
    pub table: Table,
    pub shapes: Vec<Shape>,
    pub codes: Vec<Vec<u32>>,
}

impl Case {
    pub fn new(case: &str, shapes: Vec<Shape>) -> Case {
        let table = Table::read(case);
        let codes = shapes.iter().map(|s| table.codes(s.name)).collect();
        Case { table, shapes, codes }
    }

    pub fn data(&self) -> Data<'_> {
        let mut data = Data::new(self.table.get("y"));
        if self.table.get("w").iter().any(|w| *w != 1.0) {
            data = data.weights(self.table.get("w"));
        }
        for (name, values) in &self.table.columns {
            if let Some(name) = name.strip_prefix("x:") {
                data = data.column(FixedColumn::new(name, values.as_slice()));
            }
        }
        for (shape, codes) in self.shapes.iter().zip(&self.codes) {
            let mut effects = vec![RandomEffect::Intercept];
            for slope in shape.slopes {
                effects.push(RandomEffect::Slope {
                    name: (*slope).to_owned(),
                    values: self.table.get(&format!("z:{slope}")),
                });
            }
            data = data.factor(Factor {
                name: shape.name.to_owned(),
                codes,
                levels: *codes.iter().max().unwrap() as usize + 1,
                effects,
                covariance: shape.covariance,
            });
        }
        data
    }
}

/// |a - b| within `relative` of |b|, or within `relative` itself when b is 0.
#[track_caller]
pub fn close(what: &str, a: f64, b: f64, relative: f64) {
    let scale = if b == 0.0 { 1.0 } else { b.abs() };
    assert!(
        (a - b).abs() <= relative * scale,
        "{what}: {a:.15e} against {b:.15e}, off by {:.2e} relative",
        (a - b).abs() / scale
    );
}
