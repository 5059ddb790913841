//! Words about what the season before leaves behind.

use super::super::Checked;
use super::{Advised, p_text};
use mixed::Contrast;
use model::Scale;
use words::{say, text};

/// Alternate bearing, and what the advice would be without it.
pub(super) fn alternation(checked: &Checked, advised: &Advised) -> String {
    let model = &advised.model;
    if model.alternation.is_empty() {
        return say!(
            "The records are too short to tell alternate bearing from the trees' own levels: it takes three seasons in a region."
        );
    }
    let name = |region: &str| checked.tables.book.region_name(region).to_owned();
    let effects: Vec<String> = model
        .alternation
        .iter()
        .map(|(region, effect)| match effect {
            Contrast::Estimated(effect) => {
                say!("{} {:+.2} ({})", name(region), effect.estimate, p_text(effect.p_value))
            }
            Contrast::NotEstimable => say!("{} not estimable", name(region)),
        })
        .collect();
    let mut text = say!(
        "How far a tree's crop of the season before lay from its expectation enters each region with three seasons or more, so that the off year after a heavy crop is not blamed on the saw. Effect per unit of that deviation, on the model's scale (negative: alternate bearing): {}.",
        effects.join("; ")
    );
    if let Some([with, without]) = &model.adjustment {
        let changes: Vec<String> = advised
            .pictures
            .iter()
            .filter_map(|picture| {
                let (region, best) = (&picture.region, picture.best_intensity);
                let lead = picture.curve_lead_days.unwrap_or(f64::NAN);
                let effect = |curves: &model::PointCurves| curves.effect(region, best, lead);
                Some(say!(
                    "{} {} with, {} without",
                    name(region),
                    effect_words(model.scale, effect(with)?),
                    effect_words(model.scale, effect(without)?)
                ))
            })
            .collect();
        text.push_str(&say!(
            " As a check, the estimated effect of each region's best supported practice against unpruned, with and without adjusting for girth and earlier crop: {}.",
            changes.join("; ")
        ));
    }
    text
}

fn effect_words(scale: Scale, effect: f64) -> String {
    match scale {
        Scale::Log => say!("{:+.1} %", effect.exp_m1() * 100.0),
        Scale::SquareRoot => say!("{effect:+.3} on the square root"),
        Scale::Identity => say!("{effect:+.2} kg"),
    }
}

/// Effect of last season's pruning and the account over several seasons.
pub(super) fn carry_over(checked: &Checked, advised: &Advised) -> String {
    let seasons = checked.tables.book.options.horizon_seasons;
    let Some(carry) = &advised.model.carry_over else {
        return say!(
            "Too few trees are recorded in successive seasons with varying pruning to show what a cut does a year later."
        );
    };
    let reading = if carry.p_value >= 0.05 {
        text!("no clear effect a year later")
    } else if carry.estimate > 0.0 {
        text!("hard pruning pays a year later as well")
    } else {
        text!("hard pruning costs a year later")
    };
    say!(
        "Last season's intensity was added to the leading model in a separate fit, one effect for all regions, on {} tree-seasons whose season before is recorded: removing the whole canopy last season changes this season's yield by {} (limits {} to {}, {}): {reading}. Where trees keep their treatment over the years, as in a trial, this season's and last season's effect cannot be told apart and the limits are wide. The account over {seasons} seasons adds this effect, with its uncertainty, to the curve of every season after the first; it assumes constant prices, no discounting, average seasons and no effect older than one season. The advice itself is for the coming season.",
        carry.tree_seasons,
        effect_words(advised.model.scale, carry.estimate),
        effect_words(advised.model.scale, carry.limits[0]),
        effect_words(advised.model.scale, carry.limits[1]),
        p_text(carry.p_value)
    )
}
