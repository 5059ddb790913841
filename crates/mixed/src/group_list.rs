//! The groups of the eliminated factor in the columns of the reduced system.

use crate::moments::{Group, Groups, Moments};
use crate::pooled::{PooledGroups, kept_place};
use std::sync::{Arc, OnceLock};

/// One group's cross-products with the columns of the reduced system that it meets.
#[derive(Debug, Clone)]
pub(crate) struct GroupCross {
    /// Z_g' W Z_g, k x k.
    pub zz: Vec<f64>,
    /// Columns met, ascending, the response last.
    pub columns: Vec<u32>,
    /// S_g = Z_g' W R, k values per column.
    pub cross: Vec<f64>,
}

impl GroupCross {
    /// S_g w for a vector over all columns of the reduced system.
    pub fn times(&self, w: &[f64], k: usize) -> Vec<f64> {
        let mut out = vec![0.0; k];
        for (place, column) in self.columns.iter().enumerate() {
            let x = w[*column as usize];
            for (o, s) in out.iter_mut().zip(&self.cross[place * k..(place + 1) * k]) {
                *o += s * x;
            }
        }
        out
    }
}

/// All groups with rows, in order of level, without the columns left out of
/// the fit; laid out one by one when first asked for.
#[derive(Debug, Clone)]
pub(crate) struct GroupList {
    pub source: Arc<Groups>,
    kept: Vec<usize>,
    pub q: usize,
    p: usize,
    count: usize,
    /// Sums of groups by design, where the groups themselves are not known.
    pub pooled: Option<Arc<PooledGroups>>,
    made: OnceLock<Vec<GroupCross>>,
}

impl GroupList {
    /// The groups, with the place of each level in the list.
    pub fn new(moments: &Moments, kept: &[usize]) -> (GroupList, Vec<Option<usize>>) {
        let source = Arc::clone(moments.groups());
        let mut of_level = vec![None; source.levels()];
        let mut count = 0;
        for (level, _) in source.iter() {
            of_level[level] = Some(count);
            count += 1;
        }
        let (q, p) = (moments.layout.q, moments.layout.p());
        let kept = kept.to_vec();
        let made = OnceLock::new();
        (GroupList { source, kept, q, p, count, pooled: None, made }, of_level)
    }

    /// Groups of which only the sums by design are known; `arena` holds none of them.
    pub fn pooled(
        arena: Arc<Groups>,
        pooled: Arc<PooledGroups>,
        kept: &[usize],
        (q, p): (usize, usize),
    ) -> GroupList {
        let count = pooled.count();
        let (kept, made) = (kept.to_vec(), OnceLock::new());
        GroupList { source: arena, kept, q, p, count, pooled: Some(pooled), made }
    }

    pub fn len(&self) -> usize {
        self.count
    }

    /// Sum over groups of a diagonal entry of Z_g'WZ_g.
    pub fn squares(&self, effect: usize) -> f64 {
        let k = self.source.k();
        match &self.pooled {
            Some(groups) => groups.pools.iter().map(|pool| pool.zz * pool.count as f64).sum(),
            None => self.source.iter().map(|(_, group)| group.zz[effect * k + effect]).sum(),
        }
    }

    /// Calls `f` with sets of columns of Z_other that meet in a group.
    pub fn meetings(&self, f: &mut dyn FnMut(&[u32])) {
        if let Some(groups) = &self.pooled {
            for (a, b) in groups.pools.iter().flat_map(|pool| pool.cross.keys()) {
                if (*a as usize) < self.q {
                    f(&[*b, *a]);
                }
            }
            return;
        }
        let mut before: &[u32] = &[];
        for (_, group) in self.source.iter() {
            // Neighbouring groups often meet the same columns.
            if group.columns != before {
                before = group.columns;
                f(group.columns);
            }
        }
    }

    /// Calls `f` with sets of columns of the reduced system, the response among them, whose products
    /// within a group are not 0.
    pub fn products(&self, f: &mut dyn FnMut(&[usize])) {
        if let Some(groups) = &self.pooled {
            for ((a, b), x) in groups.pools.iter().flat_map(|pool| &pool.cross) {
                if let (true, Some(a), Some(b)) = (*x != 0.0, self.place(*a), self.place(*b)) {
                    f(&[a, b]);
                }
            }
            return;
        }
        let (k, stride) = (self.source.k(), self.source.stride());
        let dense: Vec<usize> = self.dense().collect();
        let mut columns = Vec::new();
        for (_, group) in self.source.iter() {
            columns.clear();
            let random = group.columns.iter().zip(group.sparse.chunks_exact(k));
            let random = random.filter(|(_, values)| values.iter().any(|x| *x != 0.0));
            columns.extend(random.map(|(column, _)| *column as usize));
            let fixed = dense.iter().enumerate();
            let fixed = fixed.filter(|(_, j)| (0..k).any(|a| group.dense[a * stride + **j] != 0.0));
            columns.extend(fixed.map(|(at, _)| self.q + at));
            f(&columns);
        }
    }

    /// Place in the reduced system of a column of [Z_other | X | y].
    pub fn place(&self, column: u32) -> Option<usize> {
        kept_place(column as usize, self.q, self.p, &self.kept)
    }

    /// Columns of [kept X | y] among those of [X | y].
    pub fn dense(&self) -> impl Iterator<Item = usize> {
        self.kept.iter().copied().chain([self.p])
    }
}

impl std::ops::Deref for GroupList {
    type Target = [GroupCross];

    fn deref(&self) -> &[GroupCross] {
        self.made.get_or_init(|| {
            let (k, stride) = (self.source.k(), self.source.stride());
            let made = |(_, group): (usize, Group<'_>)| {
                let mut columns = group.columns.to_vec();
                let mut cross = group.sparse.to_vec();
                for (at, j) in self.dense().enumerate() {
                    columns.push((self.q + at) as u32);
                    cross.extend((0..k).map(|a| group.dense[a * stride + j]));
                }
                GroupCross { zz: group.zz.to_vec(), columns, cross }
            };
            self.source.iter().map(made).collect()
        })
    }
}
