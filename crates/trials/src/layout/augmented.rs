//! Augmented blocks (Federer 1956): checks in every block, new treatments once.

use super::error::LayoutError;
use super::request::LayoutRequest;
use super::treatments::Treatments;

/// Whether each treatment is a check.
pub(super) fn checks(
    request: &LayoutRequest,
    treatments: &Treatments,
) -> Result<Vec<bool>, LayoutError> {
    let mut is_check = vec![false; treatments.list.len()];
    for label in &request.checks {
        let slot = treatments.find(label).and_then(|index| is_check.get_mut(index));
        match slot {
            Some(slot) => *slot = true,
            None => {
                return Err(LayoutError::request(
                    "checks",
                    format!("`{label}` is no treatment"),
                    format!("the treatments are {}", treatments.labels()),
                ));
            }
        }
    }
    Ok(is_check)
}

/// Plots of each block: checks and a share of the new treatments, sizes differing by one at most.
pub(super) fn block_sizes(
    request: &LayoutRequest,
    treatments: &Treatments,
) -> Result<Vec<usize>, LayoutError> {
    let is_check = checks(request, treatments)?;
    let c = is_check.iter().filter(|check| **check).count();
    let new = is_check.len() - c;
    let blocks = request.replicates;
    if c < 2 {
        return Err(LayoutError::fit(
            format!(
                "{c} check(s) x {blocks} blocks leave ({c} - 1) x ({blocks} - 1) = 0 degrees of freedom for error"
            ),
            "name two checks or more",
        ));
    }
    if new == 0 {
        return Err(LayoutError::request(
            "checks",
            "every treatment is a check",
            "leave new treatments out of `checks`, or choose randomised blocks",
        ));
    }
    if let Some(k) = request.plots_per_block
        && blocks.saturating_mul(k.saturating_sub(c)) < new
    {
        return Err(LayoutError::fit(
            format!(
                "{new} new treatments do not fit {blocks} blocks of {k} plots: {c} checks leave {blocks} x {} = {} plots",
                k.saturating_sub(c),
                blocks * k.saturating_sub(c)
            ),
            format!("{} plots per block would do", c + new.div_ceil(blocks)),
        ));
    }
    Ok((0..blocks).map(|block| c + new / blocks + usize::from(block < new % blocks)).collect())
}
