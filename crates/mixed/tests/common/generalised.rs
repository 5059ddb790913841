//! Reads the reference cases of generalised models.

use mixed::{Covariance, Factor, FixedColumn, GeneralisedData, RandomEffect};
use std::collections::BTreeMap;
use std::path::PathBuf;

fn read(file: &str) -> String {
    let folder =
        PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../tests/reference/generalised");
    std::fs::read_to_string(folder.join(file)).unwrap()
}

/// Columns of one case, and its level codes.
pub struct Case {
    independent: bool,
    columns: Vec<(String, Vec<f64>)>,
    pub codes: Vec<(String, Vec<u32>)>,
}

impl Case {
    pub fn read(name: &str) -> Case {
        let text = read(&format!("{name}.csv"));
        let mut lines = text.lines();
        let names = lines.next().unwrap().split(',');
        let mut columns: Vec<(String, Vec<f64>)> =
            names.map(|n| (n.to_owned(), Vec::new())).collect();
        for line in lines {
            for (column, cell) in columns.iter_mut().zip(line.split(',')) {
                column.1.push(cell.trim().parse().unwrap());
            }
        }
        let codes = columns.iter().filter_map(|(name, values)| {
            let factor = name.strip_prefix("g:")?.to_owned();
            Some((factor, values.iter().map(|v| *v as u32).collect()))
        });
        let codes = codes.collect();
        Case { independent: name == "owls-slopes", columns, codes }
    }

    pub fn get(&self, name: &str) -> &[f64] {
        &self.columns.iter().find(|c| c.0 == name).unwrap().1
    }

    fn with_prefix(&self, prefix: &'static str) -> impl Iterator<Item = (&str, &[f64])> {
        let named = self.columns.iter();
        named.filter_map(move |(name, v)| Some((name.strip_prefix(prefix)?, v.as_slice())))
    }

    pub fn fixed(&self) -> impl Iterator<Item = (&str, &[f64])> {
        self.with_prefix("x:")
    }

    pub fn slopes(&self) -> impl Iterator<Item = (&str, &[f64])> {
        self.with_prefix("z:")
    }

    /// The model of the reference.
    pub fn data(&self, with_units: bool) -> GeneralisedData<'_> {
        let mut data =
            GeneralisedData::new(self.get("y")).offset(self.get("offset")).weights(self.get("w"));
        for (name, values) in self.fixed() {
            let column = FixedColumn::new(name, values);
            let units = with_units && name != "intercept";
            data = data.column(if units { column.units(0.7, 3.0) } else { column });
        }
        for (name, codes) in &self.codes {
            let mut effects = vec![RandomEffect::Intercept];
            effects.extend(
                self.slopes()
                    .map(|(name, values)| RandomEffect::Slope { name: name.to_owned(), values }),
            );
            data = data.factor(Factor {
                name: name.clone(),
                codes,
                levels: *codes.iter().max().unwrap() as usize + 1,
                effects,
                covariance: if self.independent {
                    Covariance::Independent
                } else {
                    Covariance::Correlated
                },
            });
        }
        data
    }
}

/// Reference values of one case.
pub struct Reference(BTreeMap<(String, String), f64>);

impl Reference {
    pub fn read(case: &str) -> Reference {
        let mut map = BTreeMap::new();
        for line in read("values.csv").lines().skip(1) {
            let cells: Vec<&str> = line.split(',').collect();
            if cells[0] == case {
                let value = cells[3].trim().parse().unwrap();
                map.insert((cells[1].to_owned(), cells[2].to_owned()), value);
            }
        }
        Reference(map)
    }

    pub fn find(&self, quantity: &str, term: &str) -> Option<f64> {
        self.0.get(&(quantity.to_owned(), term.to_owned())).copied()
    }

    pub fn get(&self, quantity: &str, term: &str) -> f64 {
        self.find(quantity, term).unwrap_or_else(|| panic!("no reference for {quantity} {term}"))
    }
}
