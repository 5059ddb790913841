//! The used rows in the order of the eliminated factor, with the columns of the other factors that each group meets.

use super::family::ways;
use super::rows::{Checked, GeneralisedData};
use crate::layout::{Layout, effect_value};

/// Rows sorted by group, in internal units. Everything that a sweep reads
/// lies in memory in the order in which it is read.
#[derive(Debug, Clone)]
pub(crate) struct Design {
    pub n: usize,
    pub p: usize,
    /// Effects per group of the eliminated factor.
    pub k: usize,
    /// Effects of the other factors that a row meets.
    pub other: usize,
    /// Columns of the other factors.
    pub q: usize,
    /// Position of each sorted row in the data given.
    pub order: Vec<usize>,
    pub response: Vec<f64>,
    pub weight: Vec<f64>,
    pub offset: Vec<f64>,
    /// n x p by row.
    pub fixed: Vec<f64>,
    /// Values of the eliminated factor's effects, n x k by row.
    pub own: Vec<f64>,
    /// Values of the other factors' effects, n x other by row.
    pub others: Vec<f64>,
    /// Where each of them stands among its group's columns, n x other.
    pub slot: Vec<u32>,
    /// First row of each group, and the end.
    pub rows: Vec<usize>,
    /// Level of the eliminated factor of each group.
    pub level: Vec<usize>,
    /// First column entry of each group, and the end.
    pub slots: Vec<usize>,
    /// Columns of the other factors that a group meets, ascending per group.
    pub columns: Vec<u32>,
    /// Distinct responses, ascending, and the weight of each.
    pub distinct: Vec<f64>,
    pub distinct_weight: Vec<f64>,
    /// Whether responses are shares of the weights, and then their [`ways`].
    shares: bool,
    pub ways: f64,
}

impl Design {
    pub fn new(data: &GeneralisedData<'_>, checked: &Checked) -> Design {
        let layout = &checked.layout;
        let group = |row: usize| layout.eliminated.map_or(0, |f| data.factors[f].codes[row]);
        let mut order = checked.kept.clone();
        order.sort_by_key(|row| group(*row));
        let n = order.len();
        let others: Vec<usize> =
            (0..layout.factors.len()).filter(|f| Some(*f) != layout.eliminated).collect();
        let other = others.iter().map(|f| layout.factors[*f].k()).sum();
        let mut design = Design {
            n,
            p: layout.p(),
            k: layout.k(),
            other,
            q: layout.q,
            response: order.iter().map(|i| data.response[*i]).collect(),
            weight: order.iter().map(|i| data.weights.map_or(1.0, |w| w[*i])).collect(),
            offset: order.iter().map(|i| data.offset.map_or(0.0, |o| o[*i])).collect(),
            fixed: Vec::with_capacity(n * layout.p()),
            own: Vec::with_capacity(n * layout.k()),
            others: Vec::with_capacity(n * other),
            slot: Vec::with_capacity(n * other),
            rows: vec![0],
            level: Vec::new(),
            slots: vec![0],
            columns: Vec::new(),
            distinct: Vec::new(),
            distinct_weight: Vec::new(),
            shares: false,
            ways: 0.0,
            order,
        };
        design.fill_values(data, layout, &others);
        design.fill_groups(data, layout, &others, &group);
        design.set_response(design.response.clone());
        design
    }

    fn fill_values(&mut self, data: &GeneralisedData<'_>, layout: &Layout, others: &[usize]) {
        for row in &self.order {
            for (column, units) in data.fixed.iter().zip(&layout.fixed) {
                self.fixed.push((column.values[*row] - units.centre) / units.scale);
            }
            if let Some(f) = layout.eliminated {
                self.own.extend(data.factors[f].effects.iter().map(|e| effect_value(e, *row)));
            }
            for f in others {
                self.others.extend(data.factors[*f].effects.iter().map(|e| effect_value(e, *row)));
            }
        }
    }

    fn fill_groups(
        &mut self,
        data: &GeneralisedData<'_>,
        layout: &Layout,
        others: &[usize],
        group: &dyn Fn(usize) -> u32,
    ) {
        let mut met: Vec<u32> = Vec::new();
        let mut start = 0;
        while start < self.n {
            let code = group(self.order[start]);
            let end = (start..self.n).find(|i| group(self.order[*i]) != code).unwrap_or(self.n);
            met.clear();
            for row in &self.order[start..end] {
                for f in others {
                    let shape = &layout.factors[*f];
                    let first = shape.column_start.unwrap_or(0)
                        + data.factors[*f].codes[*row] as usize * shape.k();
                    met.extend((first..first + shape.k()).map(|c| c as u32));
                }
            }
            let mut columns = met.clone();
            columns.sort_unstable();
            columns.dedup();
            // Every column met is in the list.
            self.slot.extend(met.iter().map(|c| columns.partition_point(|x| x < c) as u32));
            self.columns.extend(&columns);
            self.slots.push(self.columns.len());
            self.rows.push(end);
            self.level.push(code as usize);
            start = end;
        }
    }

    /// Replaces the responses (in sorted order), for simulated data.
    pub fn set_response(&mut self, response: Vec<f64>) {
        let mut pairs: Vec<(f64, f64)> =
            response.iter().copied().zip(self.weight.iter().copied()).collect();
        pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
        self.distinct.clear();
        self.distinct_weight.clear();
        for (y, w) in pairs {
            match (self.distinct.last(), self.distinct_weight.last_mut()) {
                (Some(last), Some(weight)) if *last == y => *weight += w,
                _ => {
                    self.distinct.push(y);
                    self.distinct_weight.push(w);
                }
            }
        }
        self.response = response;
        self.ways = if self.shares { ways(&self.response, &self.weight) } else { 0.0 };
    }

    /// Takes responses as shares of the weights.
    pub fn set_shares(&mut self) {
        self.shares = true;
        self.ways = ways(&self.response, &self.weight);
    }

    pub fn groups(&self) -> usize {
        self.level.len()
    }

    /// Columns of the other factors that group `g` meets.
    pub fn met(&self, g: usize) -> &[u32] {
        &self.columns[self.slots[g]..self.slots[g + 1]]
    }
}
