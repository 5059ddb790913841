//! Cross-products of every group of the eliminated factor, side by side in one arena.

/// No group yet.
const NONE: u32 = u32::MAX;

/// Where the columns met by a group lie in the arena.
#[derive(Debug, Clone, Copy, Default)]
struct Span {
    start: usize,
    length: u32,
    room: u32,
}

/// Weighted cross-products of the groups met so far.
#[derive(Debug, Clone)]
pub(crate) struct Groups {
    /// Effects per group.
    k: usize,
    /// Padded number of [X | y] columns.
    stride: usize,
    slot_of_level: Vec<u32>,
    level_of_slot: Vec<u32>,
    /// Per slot: Z_g'WZ_g (k x k by row), then Z_g'W[X | y] (k x stride by row).
    fixed: Vec<f64>,
    spans: Vec<Span>,
    /// Columns of Z_other met, ascending within a span.
    columns: Vec<u32>,
    /// Z_g'WZ_other, k values per column.
    sparse: Vec<f64>,
}

/// One group, borrowed.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Group<'a> {
    /// Z_g' W Z_g, k x k by row.
    pub zz: &'a [f64],
    /// Columns of Z_other that meet the group, ascending.
    pub columns: &'a [u32],
    /// Z_g' W Z_other for those columns, k values per column.
    pub sparse: &'a [f64],
    /// Z_g' W [X | y], k rows of `stride` values.
    pub dense: &'a [f64],
}

impl Groups {
    /// Room for `levels` groups of `k` effects.
    pub fn new(levels: usize, k: usize, stride: usize) -> Groups {
        Groups {
            k,
            stride,
            slot_of_level: vec![NONE; levels],
            level_of_slot: Vec::new(),
            fixed: Vec::new(),
            spans: Vec::new(),
            columns: Vec::new(),
            sparse: Vec::new(),
        }
    }

    /// Values per slot of `fixed`.
    fn block(&self) -> usize {
        self.k * (self.k + self.stride)
    }

    /// Slot of a level, made if there is none.
    #[inline(always)]
    pub fn slot(&mut self, level: usize) -> usize {
        let slot = self.slot_of_level[level];
        if slot == NONE { self.make(level) } else { slot as usize }
    }

    #[cold]
    fn make(&mut self, level: usize) -> usize {
        let slot = self.level_of_slot.len();
        self.slot_of_level[level] = slot as u32;
        self.level_of_slot.push(level as u32);
        self.fixed.resize(self.fixed.len() + self.block(), 0.0);
        self.spans.push(Span { start: self.columns.len(), length: 0, room: 0 });
        slot
    }

    /// Z_g'WZ_g and Z_g'W[X | y] of a slot.
    #[inline(always)]
    pub fn fixed_mut(&mut self, slot: usize) -> (&mut [f64], &mut [f64]) {
        let (block, zz) = (self.block(), self.k * self.k);
        self.fixed[slot * block..(slot + 1) * block].split_at_mut(zz)
    }

    /// The k values of a column of a slot, made if there are none. `hint` is
    /// the place within the span where a column was last found.
    #[inline(always)]
    pub fn sparse_mut(&mut self, slot: usize, column: u32, hint: &mut usize) -> &mut [f64] {
        let span = self.spans[slot];
        let columns = &self.columns[span.start..span.start + span.length as usize];
        // Rows of a group meet most columns again, shifted by those inserted
        // since, and new ones in ascending order.
        let (here, next) = (columns.get(*hint), columns.get(*hint + 1));
        let at = if here == Some(&column) {
            *hint
        } else if next == Some(&column) {
            *hint + 1
        } else if here.is_some_and(|c| *c < column) && next.is_none_or(|c| column < *c) {
            self.insert(slot, column, *hint + 1);
            *hint + 1
        } else {
            match columns.binary_search(&column) {
                Ok(at) => at,
                Err(at) => {
                    self.insert(slot, column, at);
                    at
                }
            }
        };
        *hint = at;
        let first = (self.spans[slot].start + at) * self.k;
        &mut self.sparse[first..first + self.k]
    }

    fn insert(&mut self, slot: usize, column: u32, at: usize) {
        let k = self.k;
        let mut span = self.spans[slot];
        let length = span.length as usize;
        if span.length == span.room {
            let end = span.start + length;
            let extra = length.clamp(4, 64);
            if end != self.columns.len() {
                // Not the last span: it moves to the end.
                self.columns.extend_from_within(span.start..end);
                self.sparse.extend_from_within(span.start * k..end * k);
                span.start = self.columns.len() - length;
            }
            self.columns.resize(span.start + length + extra, 0);
            self.sparse.resize((span.start + length + extra) * k, 0.0);
            span.room += extra as u32;
        }
        let (from, end) = (span.start + at, span.start + length);
        self.columns.copy_within(from..end, from + 1);
        self.columns[from] = column;
        self.sparse.copy_within(from * k..end * k, (from + 1) * k);
        self.sparse[from * k..(from + 1) * k].fill(0.0);
        span.length += 1;
        self.spans[slot] = span;
    }

    /// Adds the groups of another chunk.
    pub fn merge(&mut self, other: &Groups) {
        let k = self.k;
        for slot in 0..other.level_of_slot.len() {
            let theirs = other.at(slot);
            let mine = self.slot(other.level_of_slot[slot] as usize);
            let (zz, dense) = self.fixed_mut(mine);
            super::add(zz, theirs.zz);
            super::add(dense, theirs.dense);
            let mut hint = 0;
            for (column, values) in theirs.columns.iter().zip(theirs.sparse.chunks_exact(k)) {
                super::add(self.sparse_mut(mine, *column, &mut hint), values);
                hint += 1;
            }
        }
    }

    fn at(&self, slot: usize) -> Group<'_> {
        let (block, k) = (self.block(), self.k);
        let (zz, dense) = self.fixed[slot * block..(slot + 1) * block].split_at(k * k);
        let span = self.spans[slot];
        let (start, end) = (span.start, span.start + span.length as usize);
        Group {
            zz,
            columns: &self.columns[start..end],
            sparse: &self.sparse[start * k..end * k],
            dense,
        }
    }

    /// Groups with rows, by ascending level.
    pub fn iter(&self) -> impl Iterator<Item = (usize, Group<'_>)> {
        let slots = self.slot_of_level.iter().enumerate().filter(|(_, slot)| **slot != NONE);
        slots.map(|(level, slot)| (level, self.at(*slot as usize)))
    }

    /// Declared levels.
    pub fn levels(&self) -> usize {
        self.slot_of_level.len()
    }

    /// Effects per group.
    pub fn k(&self) -> usize {
        self.k
    }

    /// Padded number of [X | y] columns.
    pub fn stride(&self) -> usize {
        self.stride
    }
}
