//! The odds of each intensity class being best.

use super::canvas::{AxesSpec, Label, TICK, axes, draw, font, write};
use super::legend::{self, Sample};
use super::marks::{Shape, marker, rect};
use super::palette::{ADVISED, CURVE, INK};
use crate::error::ReportError;
use crate::number::{DASH, fixed};
use crate::text;
use advise::OddsBar;
use plotters::style::text_anchor::{HPos, VPos};

/// Name of a class in per cent, the unpruned one in a word.
pub fn class_name(from: f64, to: f64) -> String {
    if !(from.is_finite() && to.is_finite()) {
        DASH.to_owned()
    } else if to <= 0.0 {
        text::UNPRUNED.get().to_owned()
    } else {
        format!("{}–{}", fixed(100.0 * from, 0), fixed(100.0 * to, 0))
    }
}

/// Bars for net return, diamonds for yield.
pub fn odds_plot(label: Label<'_>, bars: &[OddsBar]) -> Result<String, ReportError> {
    let items = [
        (Sample::Bar(CURVE), text::L_NET_ODDS.get()),
        (Sample::Marker(Shape::Diamond, ADVISED), text::L_YIELD_ODDS.get()),
    ];
    let top = legend::height(&items) + 26;
    let highest = bars
        .iter()
        .flat_map(|b| [b.p_net, b.p_yield])
        .filter(|p| p.is_finite())
        .fold(0.05, f64::max);
    let y_end = ((highest * 10.0).ceil() * 10.0).min(100.0);
    let count = u32::try_from(bars.len()).unwrap_or(u32::MAX).max(1);
    draw(label, 600, |root| {
        let axes = axes(
            root,
            &AxesSpec {
                x_title: text::AXIS_INTENSITY.get(),
                y_title: text::AXIS_ODDS.get(),
                x: (0.0, f64::from(count)),
                y: (0.0, y_end),
                top,
                left: 136,
                x_numbers: false,
                y_numbers: true,
            },
        )?;
        let bottom = axes.frame().3;
        // Names of many classes would run into each other: then every second or third is shown.
        let every = count.div_ceil(7) as usize;
        for (i, (place, bar)) in (0_u32..).zip(bars).enumerate() {
            let place = f64::from(place);
            let middle = axes.at(place + 0.5, 0.0).0;
            if bar.p_net.is_finite() {
                let high = 100.0 * bar.p_net;
                let corner = axes.at(place + 0.2, high);
                rect(root, corner, axes.at(place + 0.8, 0.0), &CURVE)?;
                let above = (middle, corner.1 - 20);
                // Draws never show certainty.
                let value = match high {
                    high if high < 0.5 => "<1".to_owned(),
                    high if high > 99.5 => ">99".to_owned(),
                    high => fixed(high, 0),
                };
                write(root, &value, above, &font(TICK, INK), (HPos::Center, VPos::Center))?;
            }
            if bar.p_yield.is_finite() {
                let at = axes.at(place + 0.86, 100.0 * bar.p_yield);
                marker(root, Shape::Diamond, at, 11, ADVISED)?;
            }
            if i % every == 0 {
                let name = class_name(bar.from, bar.to);
                let at = (middle, bottom + 26);
                write(root, &name, at, &font(TICK, INK), (HPos::Center, VPos::Center))?;
            }
        }
        legend::draw(root, &items)
    })
}
