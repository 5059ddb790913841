//! Which plots of the field form replicates, blocks, main plots and sub plots.

use super::augmented;
use super::cut::{Groups, cut, one_per_patch, tiles, within_patches};
use super::error::LayoutError;
use super::field::{Slot, Slots};
use super::numbers::{check_numbers, replication};
use super::request::{Blocking, Covariate, LayoutRequest};
use super::treatments::Treatments;
use records::TrialDesign;
use words::{say, text};

/// One plot of the trial. Indices count from 0: `main` within the replicate, `sub` within the main
/// plot (strips: within the replicate), `within` in the smallest group.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Cell {
    pub slot: usize,
    pub replicate: usize,
    /// Incomplete block within the replicate, main plot, strip one way, or row of a square.
    pub main: usize,
    /// Sub plot, strip across, or column of a square.
    pub sub: usize,
    pub within: usize,
}

/// The plots of the trial, in the order that `Scheme` assigns treatments to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Plan {
    pub cells: Vec<Cell>,
    /// Number of plots in each block of the design, by replicate, for designs in blocks.
    pub block_sizes: Vec<Vec<usize>>,
}

impl Plan {
    pub(super) fn of(
        request: &LayoutRequest,
        treatments: &Treatments,
        slots: &Slots,
    ) -> Result<Self, LayoutError> {
        check_numbers(request, treatments)?;
        if let Some(many) = std::iter::once(request.replicates)
            .chain(request.replication.values().copied())
            .find(|&many| many > slots.list.len())
        {
            return Err(LayoutError::fit(
                say!("{many} replicates do not fit a field of {} plots", slots.list.len()),
                text!("fewer replicates, smaller plots, fewer guard trees, or a larger field"),
            ));
        }
        let v = treatments.list.len();
        let r = request.replicates;
        let [a, b, c] = treatments.strata;
        let field = Fields { request, slots: &slots.list };
        match request.design {
            TrialDesign::CompletelyRandomised => {
                let n = replication(request, treatments).iter().sum();
                Ok(Self::flat(&field.groups(&[n], text!("plots of all treatments"))?))
            }
            TrialDesign::RandomisedBlocks => Ok(Self::flat(
                &field.groups(&vec![v; r], &say!("{r} replicates x {v} treatments"))?,
            )),
            TrialDesign::LatinSquare => {
                let square = field.tiles(v, v, 1, false)?;
                Ok(Self::crossed(&square, &[false], v, v))
            }
            TrialDesign::SplitPlot => field.nested(r, [a, b, 1]),
            TrialDesign::SplitSplitPlot => field.nested(r, [a, b, c]),
            TrialDesign::StripPlot => {
                let (groups, turned) = match field.tiles(a, b, r, false) {
                    Ok(groups) => (groups, false),
                    Err(refusal) => (field.tiles(b, a, r, true).map_err(|_| refusal)?, true),
                };
                Ok(Self::crossed(&groups, &vec![turned; r], a, b))
            }
            TrialDesign::IncompleteBlocks => {
                let k = request.plots_per_block.unwrap_or(0);
                let sizes = block_sizes(v, k);
                let top = field.groups(&vec![v; r], &say!("{r} replicates x {v} treatments"))?;
                field.blocks(&top, &vec![sizes; r])
            }
            TrialDesign::AugmentedBlocks => {
                let sizes = augmented::block_sizes(request, treatments)?;
                let what = say!("{} blocks", sizes.len());
                let groups = field.groups(&sizes, &what)?;
                let mut plan = Self::flat(&groups);
                plan.block_sizes = vec![sizes];
                Ok(plan)
            }
        }
    }

    fn flat(groups: &Groups) -> Self {
        let cells = groups
            .iter()
            .enumerate()
            .flat_map(|(replicate, group)| {
                group.iter().enumerate().map(move |(within, &slot)| Cell {
                    slot,
                    replicate,
                    main: 0,
                    sub: 0,
                    within,
                })
            })
            .collect();
        Self { cells, block_sizes: Vec::new() }
    }

    /// Rows x columns of strips or of a square; tiles are listed row by row. A turned tile has
    /// `a` columns and `b` rows.
    fn crossed(groups: &Groups, turned: &[bool], a: usize, b: usize) -> Self {
        let mut cells = Vec::new();
        for (replicate, (group, turned)) in groups.iter().zip(turned).enumerate() {
            for (within, &slot) in group.iter().enumerate() {
                let (main, sub) =
                    if *turned { (within % a, within / a) } else { (within / b, within % b) };
                cells.push(Cell { slot, replicate, main, sub, within });
            }
        }
        cells.sort_by_key(|cell| (cell.replicate, cell.main, cell.sub));
        Self { cells, block_sizes: Vec::new() }
    }
}

struct Fields<'a> {
    request: &'a LayoutRequest,
    slots: &'a [Slot],
}

impl Fields<'_> {
    fn plot(&self) -> (usize, usize) {
        (self.request.trees_per_plot.rows, self.request.trees_per_plot.columns)
    }

    fn all(&self) -> Vec<usize> {
        (0..self.slots.len()).collect()
    }

    fn enough(&self, needed: usize, what: &str) -> Result<(), LayoutError> {
        let available = self.slots.len();
        if needed <= available {
            return Ok(());
        }
        let (rows, columns) = self.plot();
        Err(LayoutError::fit(
            say!(
                "{what}: {needed} plots of {rows} x {columns} trees are needed, the field has {available}"
            ),
            text!("fewer replicates, smaller plots, fewer guard trees, or a larger field"),
        ))
    }

    /// Top-level groups by the blocking asked for.
    fn groups(&self, sizes: &[usize], what: &str) -> Result<Groups, LayoutError> {
        self.enough(sizes.iter().sum(), what)?;
        let single = sizes.len() == 1;
        match self.request.blocking {
            Blocking::Position => cut(self.slots, &self.all(), sizes, self.plot()),
            _ if single => {
                return Err(LayoutError::request(
                    "blocking",
                    text!("the design has no blocks"),
                    text!("choose randomised blocks, or balance the covariate"),
                ));
            }
            Blocking::PlantationBlock => {
                let size = sizes.iter().copied().max().unwrap_or(0);
                let groups =
                    one_per_patch(self.slots, &self.all(), size, sizes.len(), self.plot());
                return groups
                    .map(|groups| {
                        groups
                            .into_iter()
                            .zip(sizes)
                            .map(|(group, &size)| group.into_iter().take(size).collect())
                            .collect()
                    })
                    .ok_or_else(|| {
                        LayoutError::fit(
                            say!(
                                "{} replicate(s) of {size} plots need as many plantation blocks of {size} plots; not so many hold that",
                                sizes.len()
                            ),
                            text!("fewer replicates, or block by position"),
                        )
                    });
            }
            Blocking::EarlierCrop => self.sorted(Covariate::EarlierCrop, sizes)?,
            Blocking::Girth => self.sorted(Covariate::GirthCm, sizes)?,
        }
        .ok_or_else(|| cannot_cut(sizes))
    }

    /// Sort and cut: plots ranked by the covariate; with more plots than needed those farthest from
    /// the median are left out, so that blocks are more alike within.
    fn sorted(&self, by: Covariate, sizes: &[usize]) -> Result<Option<Groups>, LayoutError> {
        let mut ranked = Vec::new();
        for (index, slot) in self.slots.iter().enumerate() {
            let Some(value) = slot.before.get(&by).copied().flatten() else {
                let tree = slot.trees.first().map_or("", |tree| &tree.tree);
                return Err(LayoutError::request(
                    "blocking",
                    say!("no {} is known for all trees of the plot with tree {tree}", by.as_str()),
                    text!("record it, leave those trees out, or block by position"),
                ));
            };
            ranked.push((value, index));
        }
        ranked.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        let spare = ranked.len() - sizes.iter().sum::<usize>();
        let middle = ranked.get(ranked.len() / 2).map_or(0.0, |item| item.0);
        for _ in 0..spare {
            let low = ranked.first().map_or(0.0, |item| middle - item.0);
            let high = ranked.last().map_or(0.0, |item| item.0 - middle);
            if low > high {
                ranked.remove(0);
            } else {
                ranked.pop();
            }
        }
        let mut groups = within_patches(&[ranked.into_iter().map(|item| item.1).collect()], sizes);
        for group in groups.iter_mut().flatten() {
            group.sort_unstable();
        }
        Ok(groups)
    }

    fn by_position_only(&self, why: &str) -> Result<(), LayoutError> {
        if matches!(self.request.blocking, Blocking::EarlierCrop | Blocking::Girth) {
            return Err(LayoutError::request(
                "blocking",
                say!("{why}, which plots sorted by earlier crop or girth do not"),
                text!("block by position and balance the covariate"),
            ));
        }
        Ok(())
    }

    fn nested(&self, replicates: usize, [a, b, c]: [usize; 3]) -> Result<Plan, LayoutError> {
        self.by_position_only(text!("plots of a main plot stand together"))?;
        let size = a * b * c;
        let inside = if c > 1 { format!("{a} x {b} x {c}") } else { format!("{a} x {b}") };
        let top = self
            .groups(&vec![size; replicates], &say!("{replicates} replicates x {inside} plots"))?;
        let mut cells = Vec::new();
        for (replicate, group) in top.iter().enumerate() {
            let mains = cut(self.slots, group, &vec![b * c; a], self.plot())
                .ok_or_else(|| cannot_cut(&[b * c]))?;
            for (main, group) in mains.iter().enumerate() {
                let subs = cut(self.slots, group, &vec![c; b], self.plot())
                    .ok_or_else(|| cannot_cut(&[c]))?;
                for (sub, group) in subs.iter().enumerate() {
                    for (within, &slot) in group.iter().enumerate() {
                        cells.push(Cell { slot, replicate, main, sub, within });
                    }
                }
            }
        }
        Ok(Plan { cells, block_sizes: Vec::new() })
    }

    fn blocks(&self, top: &Groups, sizes: &[Vec<usize>]) -> Result<Plan, LayoutError> {
        let sorted = matches!(self.request.blocking, Blocking::EarlierCrop | Blocking::Girth);
        let by = if self.request.blocking == Blocking::Girth {
            Covariate::GirthCm
        } else {
            Covariate::EarlierCrop
        };
        let mut cells = Vec::new();
        for (replicate, (group, sizes)) in top.iter().zip(sizes).enumerate() {
            let groups = if sorted {
                let mut group = group.clone();
                let value = |&index: &usize| {
                    self.slots[index].before.get(&by).copied().flatten().unwrap_or(0.0)
                };
                group.sort_by(|a, b| value(a).total_cmp(&value(b)).then(a.cmp(b)));
                within_patches(&[group], sizes)
            } else {
                cut(self.slots, group, sizes, self.plot())
            };
            for (main, group) in groups.ok_or_else(|| cannot_cut(sizes))?.iter().enumerate() {
                for (within, &slot) in group.iter().enumerate() {
                    cells.push(Cell { slot, replicate, main, sub: 0, within });
                }
            }
        }
        Ok(Plan { cells, block_sizes: sizes.to_vec() })
    }

    /// `count` tiles of rows x columns plots.
    fn tiles(
        &self,
        rows: usize,
        columns: usize,
        count: usize,
        turned: bool,
    ) -> Result<Groups, LayoutError> {
        self.by_position_only(text!("rows and columns stand in lines"))?;
        self.enough(rows * columns * count, &say!("{count} x {rows} rows x {columns} columns"))?;
        let whole = if self.request.blocking == Blocking::PlantationBlock {
            one_per_patch(self.slots, &self.all(), rows * columns, count, (1, 1)).filter(|groups| {
                groups.iter().all(|group| tiles(self.slots, group, (rows, columns), 1).is_some())
            })
        } else {
            tiles(self.slots, &self.all(), (rows, columns), count)
        };
        whole.ok_or_else(|| {
            let other = if turned { String::new() } else { say!(" (or {columns} x {rows})") };
            LayoutError::fit(
                say!("the field holds no {count} full rectangle(s) of {rows} x {columns} plots{other}"),
                say!("a field of {rows} rows and a multiple of {columns} columns of plots would"),
            )
        })
    }
}

fn cannot_cut(sizes: &[usize]) -> LayoutError {
    LayoutError::fit(
        say!("groups of {sizes:?} plots cannot be cut from the field"),
        text!("change the number of rows and columns of plots"),
    )
}

/// Sizes of the blocks of a replicate: as few blocks as hold `v` plots, sizes `k` and `k - 1`.
pub(super) fn block_sizes(v: usize, k: usize) -> Vec<usize> {
    let s = v.div_ceil(k.max(1));
    let short = s * k - v;
    (0..s).map(|block| if block < s - short.min(s) { k } else { k - 1 }).collect()
}
