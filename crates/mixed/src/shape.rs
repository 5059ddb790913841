//! The pattern of the reduced system: blocks of columns that meet only through a common border.

use crate::Covariance;
use crate::gram::Gram;
use crate::group_list::GroupList;
use crate::layout::Layout;

/// Smallest block that is worth its own factorisation; smaller ones are joined.
const SMALLEST_BLOCK: usize = 16;
/// Share of the dense cost that the blocks must stay under to be used.
const WORTHWHILE: f64 = 0.5;
/// Multiplications that handling one block costs beside its arithmetic.
const BLOCK_OVERHEAD: f64 = 4000.0;

/// Share of the border under which the rows that a block meets are worth gathering.
const FEW_MET: f64 = 0.7;

/// Which pattern to use; the tests force each.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Pattern {
    /// The cheaper one.
    Cheapest,
    /// Everything in the border.
    #[cfg(test)]
    Dense,
    /// Blocks of any size.
    #[cfg(test)]
    Blocks,
}

/// A run of columns: a block, or the border itself.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Part {
    /// First position.
    pub start: usize,
    /// Columns.
    pub size: usize,
    /// Rows kept of each column: its own part's, then the border's.
    pub height: usize,
    /// Start of its panel (height x size, by column).
    pub panel: usize,
    /// Start of its packed lower columns.
    pub packed: usize,
    /// Levels with several effects: (first row in the part, factor).
    pub wide: Vec<(usize, usize)>,
    /// Rows of the border that a block meets, ascending, where these are few: those of one region do
    /// not meet the columns of another. `None` stands for all.
    pub met: Option<Vec<usize>>,
}

impl Part {
    /// Packed place of the diagonal entry of a column of the part.
    pub fn diagonal(&self, column: usize) -> usize {
        self.packed + column * self.height - column * column.saturating_sub(1) / 2
    }

    /// The part's panel among all.
    pub fn range(&self) -> std::ops::Range<usize> {
        self.panel..self.panel + self.height * self.size
    }
}

/// Order of the columns of [Z_other | X | y] and storage of symmetric matrices
/// over them: per column, the rows of its own part from the diagonal on, then
/// those of the border. With no block everything is border, that is dense.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Shape {
    /// Position of each column of the system.
    pub place: Vec<usize>,
    /// Blocks, then the border, which ends with the fixed columns and the response.
    pub parts: Vec<Part>,
    /// Part of each position.
    pub part_of: Vec<u32>,
    /// Random columns of the border.
    pub border_random: usize,
    /// Factor and effect of each position, when the effects of a level do not
    /// mix: a single one, or independent ones.
    pub single: Vec<Option<(usize, usize)>>,
    /// Length of a packed matrix.
    pub packed_len: usize,
    /// Length of all panels.
    pub panels_len: usize,
}

impl Shape {
    /// Chooses the blocks: factors with few columns go to the border until the
    /// levels of the others fall apart.
    pub fn of(layout: &Layout, groups: &GroupList, rank: usize, pattern: Pattern) -> Shape {
        let dense = Shape::build(layout, rank, &[]);
        let mut others: Vec<usize> =
            (0..layout.factors.len()).filter(|f| layout.eliminated != Some(*f)).collect();
        others.sort_by_key(|f| layout.factors[*f].k() * layout.factors[*f].levels);
        let mut best = (dense, pattern == Pattern::Cheapest, 0.0);
        best.2 = if best.1 { WORTHWHILE * best.0.cost() } else { f64::INFINITY };
        #[cfg(test)]
        if pattern == Pattern::Dense {
            return best.0;
        }
        let smallest = if best.1 { SMALLEST_BLOCK } else { 1 };
        for border in 0..others.len() {
            let found = blocks(layout, groups, &others[border..], smallest);
            if found.len() < 2 {
                continue;
            }
            let shape = Shape::build(layout, rank, &found);
            let cost = shape.cost();
            if cost < best.2 {
                best = (shape, best.1, cost);
            }
        }
        best.0
    }

    /// The shape with these blocks of system columns; the rest is border.
    fn build(layout: &Layout, rank: usize, blocks: &[Vec<usize>]) -> Shape {
        let width = layout.q + rank + 1;
        let mut place = vec![usize::MAX; width];
        let mut order: Vec<usize> = Vec::with_capacity(width);
        for column in blocks.iter().flatten() {
            place[*column] = order.len();
            order.push(*column);
        }
        let border = order.len();
        for (column, slot) in place.iter_mut().enumerate() {
            if *slot == usize::MAX {
                *slot = order.len();
                order.push(column);
            }
        }
        let height = width - border;
        let mut parts = Vec::with_capacity(blocks.len() + 1);
        let mut start = 0;
        for size in blocks.iter().map(Vec::len) {
            parts.push((start, size, size + height));
            start += size;
        }
        parts.push((border, height, height));
        let (mut panel, mut packed) = (0, 0);
        let mut part_of = Vec::with_capacity(width);
        let parts = parts
            .into_iter()
            .enumerate()
            .map(|(at, (start, size, height))| {
                let part = Part { start, size, height, panel, packed, wide: Vec::new(), met: None };
                panel += height * size;
                packed += size * height - size * size.saturating_sub(1) / 2;
                part_of.resize(start + size, at as u32);
                part
            })
            .collect();
        let mut shape = Shape {
            place,
            parts,
            part_of,
            border_random: layout.q - border,
            single: vec![None; width],
            packed_len: packed,
            panels_len: panel,
        };
        shape.find_levels(layout);
        shape
    }

    fn find_levels(&mut self, layout: &Layout) {
        for (f, factor) in layout.factors.iter().enumerate() {
            let Some(first) = factor.column_start else { continue };
            let k = factor.k();
            for level in 0..factor.levels {
                let position = self.place[first + level * k];
                if k == 1 || factor.covariance == Covariance::Independent {
                    for e in 0..k {
                        self.single[position + e] = Some((f, e));
                    }
                } else {
                    let part = &mut self.parts[self.part_of[position] as usize];
                    part.wide.push((position - part.start, f));
                }
            }
        }
    }

    /// Notes which rows of the border each block meets, in the packed sums over all rows or in a
    /// group. Levels of the border that mix their effects may meet by one what they do not by
    /// another: then all count.
    pub fn note_met(&mut self, packed: &[f64], groups: &GroupList) {
        let border = self.border().clone();
        if self.blocks().is_empty() || !border.wide.is_empty() {
            return;
        }
        let mut met = vec![vec![false; border.size]; self.blocks().len()];
        for (part, met) in self.blocks().iter().zip(&mut met) {
            for j in 0..part.size {
                let own = part.diagonal(j) + part.size - j;
                let below = &packed[own..own + border.size];
                met.iter_mut().zip(below).for_each(|(met, x)| *met |= *x != 0.0);
            }
        }
        groups.products(&mut |columns| {
            let positions = || columns.iter().map(|column| self.place[*column]);
            let at_border = || positions().filter_map(|place| place.checked_sub(border.start));
            let mut last = usize::MAX;
            for place in positions().filter(|place| *place < border.start) {
                let part = self.part_of[place] as usize;
                // Columns of a group mostly lie in one block.
                if part != last {
                    at_border().for_each(|row| met[part][row] = true);
                    last = part;
                }
            }
        });
        for (part, met) in self.parts.iter_mut().zip(met) {
            let rows: Vec<usize> = (0..border.size).filter(|row| met[*row]).collect();
            if (rows.len() as f64) < FEW_MET * border.size as f64 {
                part.met = Some(rows);
            }
        }
    }

    /// Whether no level mixes its effects.
    pub fn is_diagonal(&self) -> bool {
        self.parts.iter().all(|p| p.wide.is_empty())
    }

    /// Multiplications of a factorisation, roughly.
    fn cost(&self) -> f64 {
        let (border, blocks) = (self.border().size as f64, self.blocks());
        let block = |p: &Part| {
            let c = p.size as f64;
            c * c * c / 3.0 + c * c * border + c * border * border + BLOCK_OVERHEAD
        };
        blocks.iter().map(block).sum::<f64>() + border * border * border / 3.0
    }

    /// The parts before the border.
    pub fn blocks(&self) -> &[Part] {
        &self.parts[..self.parts.len() - 1]
    }

    /// The border: the last part.
    pub fn border(&self) -> &Part {
        &self.parts[self.parts.len() - 1]
    }

    /// All columns, the response among them.
    pub fn width(&self) -> usize {
        self.place.len()
    }

    /// A vector by position, from one by column of the system (response or not).
    pub fn ordered(&self, v: &[f64]) -> Vec<f64> {
        let mut out = vec![0.0; v.len()];
        for (x, place) in v.iter().zip(&self.place) {
            out[*place] = *x;
        }
        out
    }

    /// A vector by column of the system, from one by position.
    pub fn restored(&self, v: &[f64]) -> Vec<f64> {
        self.place[..v.len()].iter().map(|place| v[*place]).collect()
    }

    /// Packed place of the entry of two positions, the first not the later;
    /// `None` outside the pattern.
    pub fn packed_place(&self, first: usize, second: usize) -> Option<usize> {
        let part = &self.parts[self.part_of[first] as usize];
        let (column, end) = (first - part.start, part.start + part.size);
        let row = if second < end {
            second - part.start
        } else {
            part.size + second.checked_sub(self.border().start)?
        };
        Some(part.diagonal(column) + row - column)
    }

    /// Packs a matrix by column of the system; entries outside the pattern are 0.
    pub fn pack(&self, gram: &Gram) -> Vec<f64> {
        let mut packed = vec![0.0; self.packed_len];
        let mut put = |i: usize, j: usize, x: f64| {
            let (a, b) = (self.place[i], self.place[j]);
            if let Some(at) = self.packed_place(a.min(b), a.max(b)) {
                packed[at] = x;
            }
        };
        for i in 0..gram.q() {
            gram.random.line(i).for_each(|(j, x)| put(i, j, x));
        }
        for i in gram.fixed() {
            let line = gram.dense.row(i - gram.q());
            line[..=i].iter().enumerate().for_each(|(j, x)| put(i, j, *x));
        }
        packed
    }

    /// Panels of a packed matrix: the lower triangle of each part, zeros above.
    pub fn unpack(&self, packed: &[f64], panels: &mut [f64]) {
        for part in &self.parts {
            for j in 0..part.size {
                let (from, length) = (part.diagonal(j), part.height - j);
                let to = part.panel + j * part.height + j;
                panels[to - j..to].fill(0.0);
                panels[to..to + length].copy_from_slice(&packed[from..from + length]);
            }
        }
    }

    /// The packed lower triangle of panels, off-diagonal entries doubled: sums
    /// of products with it count each pair (i, j) and (j, i).
    pub fn pack_doubled(&self, panels: &[f64], packed: &mut [f64]) {
        for part in &self.parts {
            for (j, column) in panels[part.range()].chunks_exact(part.height).enumerate() {
                let at = part.diagonal(j);
                packed[at] = column[j];
                for (to, x) in packed[at + 1..at + part.height - j].iter_mut().zip(&column[j + 1..])
                {
                    *to = 2.0 * x;
                }
            }
        }
    }

    /// w w' packed, off-diagonal entries doubled, w by position.
    pub fn doubled_square(&self, w: &[f64], packed: &mut [f64]) {
        for part in &self.parts {
            let own = &w[part.start..part.start + part.size];
            let border = if part.height > part.size { &w[self.border().start..] } else { &[] };
            for (j, x) in own.iter().enumerate() {
                let at = part.diagonal(j);
                packed[at] = x * x;
                let (mine, rest) =
                    packed[at + 1..at + part.height - j].split_at_mut(own.len() - j - 1);
                for (to, y) in mine.iter_mut().zip(&own[j + 1..]) {
                    *to = 2.0 * x * y;
                }
                for (to, y) in rest.iter_mut().zip(border) {
                    *to = 2.0 * x * y;
                }
            }
        }
    }

    /// First row in a part of each run of effects that may mix: (row, factor,
    /// first effect, number of effects).
    pub fn levels(&self, part: &Part, layout: &Layout) -> Vec<(usize, usize, usize, usize)> {
        let single = self.single[part.start..part.start + part.size].iter().enumerate();
        let single = single.filter_map(|(row, s)| s.map(|(f, e)| (row, f, e, 1)));
        let wide = part.wide.iter().map(|(row, f)| (*row, *f, 0, layout.factors[*f].k()));
        single.chain(wide).collect()
    }

    /// Copies the lower triangle of the part's own rows onto the upper one.
    pub fn mirror(&self, part: &Part, panel: &mut [f64]) {
        const TILE: usize = 16;
        let (n, h) = (part.size, part.height);
        for j0 in (0..n).step_by(TILE) {
            for i0 in (j0..n).step_by(TILE) {
                for j in j0..(j0 + TILE).min(n) {
                    for i in i0.max(j + 1)..(i0 + TILE).min(n) {
                        panel[i * h + j] = panel[j * h + i];
                    }
                }
            }
        }
    }

    /// w'Aw for a packed A and w by position.
    pub fn quadratic(&self, packed: &[f64], w: &[f64]) -> f64 {
        let border = &w[self.border().start..];
        let mut sum = 0.0;
        for part in &self.parts {
            let own = &w[part.start..part.start + part.size];
            for (j, x) in own.iter().enumerate() {
                let column = &packed[part.diagonal(j)..part.diagonal(j) + part.height - j];
                let (mine, rest) = column.split_at(part.size - j);
                let mut line = crate::vector::long_dot(mine, &own[j..]);
                line -= 0.5 * mine[0] * x;
                if !rest.is_empty() {
                    line += crate::vector::long_dot(rest, border);
                }
                sum += 2.0 * x * line;
            }
        }
        sum
    }

    /// A w for a packed A and w by position.
    pub fn times(&self, packed: &[f64], w: &[f64]) -> Vec<f64> {
        let mut out = vec![0.0; w.len()];
        let first = self.border().start;
        for part in &self.parts {
            for j in 0..part.size {
                let at = part.start + j;
                let column = &packed[part.diagonal(j)..part.diagonal(j) + part.height - j];
                let (mine, rest) = column.split_at(part.size - j);
                let end = part.start + part.size;
                let mut line = crate::vector::long_dot(&mine[1..], &w[at + 1..end]);
                line += mine[0] * w[at];
                crate::vector::add_scaled(&mut out[at + 1..end], w[at], &mine[1..]);
                if !rest.is_empty() {
                    line += crate::vector::long_dot(rest, &w[first..]);
                    crate::vector::add_scaled(&mut out[first..], w[at], rest);
                }
                out[at] += line;
            }
        }
        out
    }
}

/// Columns of these factors' levels, in sets that no group joins; sets are
/// ordered by their first column and joined until they have `smallest` columns.
fn blocks(
    layout: &Layout,
    groups: &GroupList,
    factors: &[usize],
    smallest: usize,
) -> Vec<Vec<usize>> {
    // First column of the level of each column; `None` for the border's.
    let mut level: Vec<Option<usize>> = vec![None; layout.q];
    for f in factors {
        let factor = &layout.factors[*f];
        if let Some(start) = factor.column_start {
            for c in 0..factor.levels * factor.k() {
                level[start + c] = Some(start + c / factor.k() * factor.k());
            }
        }
    }
    let mut parent: Vec<usize> = (0..layout.q).collect();
    groups.meetings(&mut |columns| {
        let mut first = None;
        for column in columns {
            let Some(Some(mine)) = level.get(*column as usize) else { continue };
            let mine = root(&mut parent, *mine);
            match first {
                None => first = Some(mine),
                Some(other) => {
                    let (low, high) = (mine.min(other), mine.max(other));
                    parent[high] = low;
                    first = Some(low);
                }
            }
        }
    });
    let mut sets: Vec<Vec<usize>> = vec![Vec::new(); layout.q];
    for (column, level) in level.iter().enumerate() {
        if let Some(level) = level {
            sets[root(&mut parent, *level)].push(column);
        }
    }
    let mut joined: Vec<Vec<usize>> = Vec::new();
    for mut set in sets.into_iter().filter(|s| !s.is_empty()) {
        match joined.last_mut() {
            Some(last) if last.len() < smallest => last.append(&mut set),
            _ => joined.push(set),
        }
    }
    joined
}

fn root(parent: &mut [usize], mut at: usize) -> usize {
    while parent[at] != at {
        parent[at] = parent[parent[at]];
        at = parent[at];
    }
    at
}
