//! The randomisation of each design, as random orders that can be drawn anew or changed a little.

use super::augmented;
use super::blocks_of_treatments::{BlocksOf, incomplete};
use super::draw::Draw;
use super::efficiency::{BlockEfficiency, IncompleteMethod};
use super::error::LayoutError;
use super::numbers::replication;
use super::plan::Plan;
use super::request::LayoutRequest;
use super::squares::{LatinMethod, LatinSquares};
use super::treatments::Treatments;
use records::TrialDesign;
use words::{say, text};

/// What is randomised.
#[derive(Debug, Clone)]
enum Kind {
    /// Treatments, some repeated, to the plots of each group.
    Groups {
        treatments: Vec<Vec<usize>>,
    },
    Square {
        squares: LatinSquares,
    },
    /// Main levels in replicates, sub levels in main plots, sub-sub levels in sub plots.
    Nested {
        replicates: usize,
        strata: [usize; 3],
    },
    Strips {
        replicates: usize,
        strata: [usize; 2],
    },
    Blocks {
        base: BlocksOf,
    },
    Augmented {
        checks: Vec<usize>,
        new: Vec<usize>,
        sizes: Vec<usize>,
    },
}

/// The random part of a layout: a base square where there is one, and random orders.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct State {
    square: Vec<usize>,
    orders: Vec<Vec<usize>>,
}

/// The randomisation of a design.
#[derive(Debug, Clone)]
pub(super) struct Scheme {
    kind: Kind,
    /// Lengths of the random orders.
    lengths: Vec<usize>,
    /// What was done, for the methods.
    pub words: String,
    pub blocks: Option<(IncompleteMethod, BlockEfficiency)>,
    pub latin: Option<LatinMethod>,
}

impl Scheme {
    pub(super) fn of(
        request: &LayoutRequest,
        treatments: &Treatments,
        plan: &Plan,
        draw: &mut Draw,
    ) -> Result<Self, LayoutError> {
        let v = treatments.list.len();
        let r = request.replicates;
        let [a, b, c] = treatments.strata;
        let mut blocks = None;
        let mut latin = None;
        let (kind, words) = match request.design {
            TrialDesign::CompletelyRandomised => {
                let counts = replication(request, treatments);
                let all = counts
                    .iter()
                    .enumerate()
                    .flat_map(|(treatment, &count)| vec![treatment; count])
                    .collect();
                (
                    Kind::Groups { treatments: vec![all] },
                    say!("treatments were put on all plots in random order"),
                )
            }
            TrialDesign::RandomisedBlocks => (
                Kind::Groups { treatments: vec![(0..v).collect(); r] },
                say!("treatments were put in random order within each replicate"),
            ),
            TrialDesign::LatinSquare => {
                let squares = LatinSquares::of_order(v);
                latin = Some(squares.method());
                let words = match squares.method() {
                    LatinMethod::Uniform => say!(
                        "a Latin square was drawn, every square of order {v} being equally likely"
                    ),
                    LatinMethod::Chain => say!(
                        "a Latin square was drawn by the chain of Jacobson and Matthews (1996), {} proper squares long, and its rows, columns and letters were put in random order",
                        v * v * v
                    ),
                };
                (Kind::Square { squares }, words)
            }
            TrialDesign::SplitPlot => (
                Kind::Nested { replicates: r, strata: [a, b, 1] },
                say!(
                    "main-plot treatments were put in random order within each replicate, and sub-plot treatments within each main plot"
                ),
            ),
            TrialDesign::SplitSplitPlot => (
                Kind::Nested { replicates: r, strata: [a, b, c] },
                say!(
                    "main-plot treatments were put in random order within each replicate, sub-plot treatments within each main plot and sub-sub-plot treatments within each sub plot"
                ),
            ),
            TrialDesign::StripPlot => (
                Kind::Strips { replicates: r, strata: [a, b] },
                say!(
                    "within each replicate the treatments of the strips one way and those of the strips across were put in random order independently"
                ),
            ),
            TrialDesign::IncompleteBlocks => {
                let k = request.plots_per_block.unwrap_or(0);
                let (method, base) = incomplete(v, k, r, draw);
                let Some(efficiency) = base.efficiency() else {
                    return Err(LayoutError::fit(
                        format!(
                            "{r} replicates of {v} treatments in blocks of {k} plots leave some treatments without comparison within blocks"
                        ),
                        "more replicates or larger blocks",
                    ));
                };
                blocks = Some((method, efficiency));
                let named = match method {
                    IncompleteMethod::SquareLattice => text!("a square lattice (Yates 1936)"),
                    IncompleteMethod::RectangularLattice => {
                        text!("a rectangular lattice (Harshbarger 1947)")
                    }
                    IncompleteMethod::Alpha => text!(
                        "an alpha design (Patterson and Williams 1976), the best of a seeded search"
                    ),
                };
                let words = say!(
                    "incomplete blocks follow {named}; treatments were given to its numbers, replicates to its replicates, blocks to the blocks of each replicate and treatments to the plots of each block in random order"
                );
                (Kind::Blocks { base }, words)
            }
            TrialDesign::AugmentedBlocks => {
                let is_check = augmented::checks(request, treatments)?;
                let (checks, new) = (0..v).partition(|&index| is_check[index]);
                let sizes = plan.block_sizes.first().cloned().unwrap_or_default();
                (
                    Kind::Augmented { checks, new, sizes },
                    say!(
                        "new treatments were dealt to blocks in random order, and the treatments of each block put in random order"
                    ),
                )
            }
        };
        let mut scheme = Self { kind, lengths: Vec::new(), words, blocks, latin };
        scheme.lengths = scheme.lengths();
        Ok(scheme)
    }

    fn lengths(&self) -> Vec<usize> {
        match &self.kind {
            Kind::Groups { treatments } => treatments.iter().map(Vec::len).collect(),
            Kind::Square { squares } => vec![squares.order(); 3],
            Kind::Nested { replicates, strata: [a, b, c] } => {
                let mut lengths = Vec::new();
                for _ in 0..*replicates {
                    lengths.push(*a);
                    for _ in 0..*a {
                        lengths.push(*b);
                        lengths.extend(vec![*c; *b]);
                    }
                }
                lengths
            }
            Kind::Strips { replicates, strata } => strata.repeat(*replicates),
            Kind::Blocks { base } => {
                let mut lengths = vec![base.treatments, base.blocks.len()];
                for replicate in &base.blocks {
                    lengths.push(replicate.len());
                    lengths.extend(replicate.iter().map(Vec::len));
                }
                lengths
            }
            Kind::Augmented { new, sizes, .. } => {
                let mut lengths = vec![new.len()];
                lengths.extend(sizes);
                lengths
            }
        }
    }

    /// A fresh randomisation.
    pub(super) fn draw(&self, draw: &mut Draw) -> State {
        let square = match &self.kind {
            Kind::Square { squares } => squares.draw(draw),
            _ => Vec::new(),
        };
        State { square, orders: self.lengths.iter().map(|&n| draw.permutation(n)).collect() }
    }

    /// Exchanges two places of one order; a proposal as likely as its reverse.
    pub(super) fn exchange(&self, state: &mut State, draw: &mut Draw) {
        let total: usize = self.lengths.iter().filter(|&&n| n > 1).sum();
        let mut at = draw.index(total);
        for order in state.orders.iter_mut().filter(|order| order.len() > 1) {
            if at < order.len() {
                let other = (at + 1 + draw.index(order.len() - 1)) % order.len();
                order.swap(at, other);
                return;
            }
            at -= order.len();
        }
    }

    /// Treatment of each plot of the plan.
    pub(super) fn assign(&self, state: &State) -> Vec<usize> {
        let orders = &state.orders;
        match &self.kind {
            Kind::Groups { treatments } => treatments
                .iter()
                .zip(orders)
                .flat_map(|(group, order)| order.iter().map(|&at| group[at]))
                .collect(),
            Kind::Square { squares } => {
                let n = squares.order();
                orders[0]
                    .iter()
                    .flat_map(|&row| orders[1].iter().map(move |&column| (row, column)))
                    .map(|(row, column)| orders[2][state.square[row * n + column]])
                    .collect()
            }
            Kind::Nested { replicates, strata: [a, b, c] } => {
                let mut assigned = Vec::new();
                let mut orders = orders.iter();
                let mut next = || orders.next().map_or(&[][..], Vec::as_slice);
                for _ in 0..*replicates {
                    for &main in next() {
                        debug_assert!(main < *a);
                        for &sub in next() {
                            for &within in next() {
                                assigned.push((main * b + sub) * c + within);
                            }
                        }
                    }
                }
                assigned
            }
            Kind::Strips { replicates, strata: [_, b] } => (0..*replicates)
                .flat_map(|replicate| {
                    let (mains, subs) = (&orders[2 * replicate], &orders[2 * replicate + 1]);
                    mains.iter().flat_map(move |main| subs.iter().map(move |sub| main * b + sub))
                })
                .collect(),
            Kind::Blocks { base } => {
                let (labels, replicates) = (&orders[0], &orders[1]);
                // Orders of blocks and plots are drawn per replicate of the base design.
                let mut starts = Vec::with_capacity(base.blocks.len());
                let mut at = 2;
                for replicate in &base.blocks {
                    starts.push(at);
                    at += 1 + replicate.len();
                }
                let mut assigned = Vec::new();
                for &replicate in replicates {
                    let start = starts[replicate];
                    for block in base.placed(replicate, &orders[start]) {
                        let plots = &orders[start + 1 + block];
                        let members = &base.blocks[replicate][block];
                        assigned.extend(plots.iter().map(|&plot| labels[members[plot]]));
                    }
                }
                assigned
            }
            Kind::Augmented { checks, new, sizes } => {
                let mut rest = orders[0].as_slice();
                let mut assigned = Vec::new();
                for (size, order) in sizes.iter().zip(&orders[1..]) {
                    let (dealt, after) = rest.split_at(size - checks.len());
                    rest = after;
                    let members: Vec<usize> = checks
                        .iter()
                        .copied()
                        .chain(dealt.iter().map(|&index| new[index]))
                        .collect();
                    assigned.extend(order.iter().map(|&plot| members[plot]));
                }
                assigned
            }
        }
    }
}
