//! Draws of layouts that honour the restrictions.

use super::draw::Draw;
use super::error::LayoutError;
use super::neighbours::Neighbours;
use super::scheme::{Scheme, State};

/// Fresh randomisations tried before the search turns to exchanges.
const FRESH: usize = 3_000;
/// Exchanges tried to find a first valid layout.
const SEARCH: usize = 200_000;
/// Rounds of exchanges per place between two draws of the chain.
const ROUNDS: usize = 20;

/// Source of layouts that honour the restrictions.
pub(super) struct Valid<'a> {
    scheme: &'a Scheme,
    neighbours: Option<&'a Neighbours>,
    /// Last layout of the chain, once fresh randomisations proved too seldom valid.
    chain: Option<State>,
    /// Fresh randomisations made, and how many of them were valid.
    pub tried: usize,
    pub kept: usize,
    places: usize,
}

impl<'a> Valid<'a> {
    pub(super) fn new(
        scheme: &'a Scheme,
        neighbours: Option<&'a Neighbours>,
        places: usize,
    ) -> Self {
        Self { scheme, neighbours, chain: None, tried: 0, kept: 0, places }
    }

    /// Whether draws come from the chain of exchanges.
    pub(super) fn by_chain(&self) -> bool {
        self.chain.is_some()
    }

    /// The next valid layout: fresh randomisations until one is valid, which makes all valid
    /// layouts equally likely; when those are too rare, a chain of random exchanges that stays
    /// among valid layouts, whose limit is uniform over those that it can reach.
    pub(super) fn next(&mut self, draw: &mut Draw) -> Result<Vec<usize>, LayoutError> {
        let Some(neighbours) = self.neighbours else {
            self.tried += 1;
            self.kept += 1;
            return Ok(self.scheme.assign(&self.scheme.draw(draw)));
        };
        if self.chain.is_none() {
            for _ in 0..FRESH {
                self.tried += 1;
                let assigned = self.scheme.assign(&self.scheme.draw(draw));
                if neighbours.broken(&assigned) == 0 {
                    self.kept += 1;
                    return Ok(assigned);
                }
            }
            self.chain = Some(self.search(neighbours, draw)?);
        }
        let Some(mut state) = self.chain.take() else { return Ok(Vec::new()) };
        for _ in 0..ROUNDS * self.places {
            let mut other = state.clone();
            self.scheme.exchange(&mut other, draw);
            if neighbours.broken(&self.scheme.assign(&other)) == 0 {
                state = other;
            }
        }
        let assigned = self.scheme.assign(&state);
        self.chain = Some(state);
        Ok(assigned)
    }

    /// Exchanges that break no more than before, or now and then a few more, from several starts.
    fn search(&self, neighbours: &Neighbours, draw: &mut Draw) -> Result<State, LayoutError> {
        let mut fewest = usize::MAX;
        for start in 0..10_usize {
            let mut state = self.scheme.draw(draw);
            let mut broken = neighbours.broken(&self.scheme.assign(&state));
            for step in 0..SEARCH / 10 {
                if broken == 0 {
                    return Ok(state);
                }
                fewest = fewest.min(broken);
                let mut other = state.clone();
                self.scheme.exchange(&mut other, draw);
                let now = neighbours.broken(&self.scheme.assign(&other));
                // A worse layout is taken once in 20 steps at first, never towards the end.
                let bold = step < SEARCH / 20 && draw.index(20 + start) == 0 && now <= broken + 1;
                if now <= broken || bold {
                    (state, broken) = (other, now);
                }
            }
        }
        Err(LayoutError::Restriction {
            problem: format!(
                "{FRESH} fresh randomisations and {SEARCH} exchanges left {fewest} of {} neighbouring pairs forbidden at best",
                neighbours.pairs()
            ),
            hint: "forbid fewer pairs, or arrange replicates so that they touch less".to_owned(),
        })
    }
}
