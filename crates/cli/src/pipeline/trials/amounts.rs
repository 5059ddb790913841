//! Components of amounts, fitted curves and their optimum, as tables and plots.

use super::plots::{axis, empty};
use super::tables::slug;
use super::words::{decimals, factor_words, optimum_words, written_amount};
use ::words::{capital, say, text};
use records::TrialDeclaration;
use report::{TrialCell, TrialPlot, TrialPoint, TrialSection, TrialSeries, TrialTable};
use std::collections::BTreeMap;
use trials::pooled::Pooled;
use trials::{
    Analysis, Curve, Optimum, OptimumSet, Peak, Polynomial, Trait, amount_words, estimated_amount,
    unit_words,
};

/// Points of a drawn curve.
const POINTS: usize = 41;

/// Polynomial components and curves; `None` where no factor is an amount.
pub fn section(analysis: &Analysis) -> Option<TrialSection> {
    if analysis.polynomials.is_empty() && analysis.curves.is_empty() {
        return None;
    }
    let averaged = || analysis.curves.iter().filter(|curve| curve.within.is_none());
    let mean = analysis.grand_mean;
    let units: &Units = &analysis
        .plan
        .factors
        .iter()
        .filter_map(|factor| Some((factor.name.clone(), factor.amounts.as_ref()?.unit.clone())))
        .collect();
    let told = analysis.curves.iter().map(|curve| curve_words(curve, units));
    let tables = polynomials(&analysis.polynomials).into_iter();
    Some(TrialSection {
        heading: say!("Curves over amounts"),
        paragraphs: told.chain(priced(&analysis.curves)).collect(),
        tables: tables.chain(curves(&analysis.curves, units, mean)).collect(),
        plots: averaged().map(|curve| plot(curve, "", axis(&analysis.plan.observed))).collect(),
    })
}

/// Adds the components and curves of the sites together to their section.
pub fn together(
    declaration: &TrialDeclaration,
    found: &Pooled,
    observed: &Trait,
    section: &mut TrialSection,
) {
    let mean = found.means.first().map_or(0.0, |mean| mean.mean);
    let units = &declaration.amounts;
    let averaged = found.curves.iter().filter(|curve| curve.within.is_none());
    section.paragraphs.extend(found.curves.iter().map(|curve| curve_words(curve, units)));
    section.paragraphs.extend(priced(&found.curves));
    section.tables.extend(polynomials(&found.polynomials));
    section.tables.extend(curves(&found.curves, units, mean));
    section.plots.extend(averaged.map(|curve| plot(curve, "sites-", axis(observed))));
}

/// Unit of every factor of amounts, by its name.
type Units = BTreeMap<String, String>;

/// What a curve tells, after the place it is of.
pub(super) fn curve_words(curve: &Curve, units: &Units) -> String {
    let optima = [Some(&curve.maximum), curve.economic.as_ref()];
    let words = optima.into_iter().flatten().map(|own| optimum_words(curve, own));
    format!("{}: {}", place(units, curve), words.collect::<Vec<_>>().join(" "))
}

/// What the economic optima rest on.
fn priced(curves: &[Curve]) -> Option<String> {
    let optimum = curves.iter().find_map(|curve| curve.economic.as_ref())?;
    Some(say!(
        "Economic: by the book's working time, wage, haulage and price, removing a whole canopy costs as much as {:.2} kg of nuts; coefficients are per unit of the amount, fractions as fractions.",
        optimum.price_ratio
    ))
}

fn place(units: &Units, curve: &Curve) -> String {
    let factor = capital(&factor_words(&curve.factor));
    match &curve.within {
        None => factor,
        Some((other, level)) => {
            let level = match units.get(other) {
                Some(unit) => written_amount(unit, level),
                None => level.clone(),
            };
            say!("{factor} at {} {level}", factor_words(other))
        }
    }
}

/// A component as people read it.
fn component_words(name: &str) -> String {
    match name {
        "linear" => say!("linear"),
        "quadratic" => say!("quadratic"),
        "cubic" => say!("cubic"),
        "deviations" => say!("deviations"),
        other => other.to_owned(),
    }
}

/// A component with the factor it is of, where its term holds others too: `nitrogen x linear
/// pruning`.
fn component_of(polynomial: &Polynomial, name: &str) -> String {
    let component = component_words(name);
    if polynomial.term == polynomial.factor {
        return component;
    }
    let parts = polynomial.term.split(" x ").map(|part| {
        let words = factor_words(part);
        if part == polynomial.factor { say!("{component} {words}") } else { words }
    });
    parts.collect::<Vec<_>>().join(" x ")
}

/// Decimals that show a coefficient with three significant digits, `least` at the fewest.
fn significant(value: f64, least: usize) -> usize {
    /// Most decimals: a coefficient of a smaller size is one of a unit badly chosen.
    const MOST: f64 = 12.0;
    if value == 0.0 || !value.is_finite() {
        return least;
    }
    let needed = (2.0 - value.abs().log10().floor()).clamp(0.0, MOST);
    least.max(needed as usize)
}

fn polynomials(polynomials: &[Polynomial]) -> Option<TrialTable> {
    let heads = [
        text!("Term"),
        text!("Component"),
        text!("#df"),
        text!("#Denominator df"),
        text!("#SS"),
        "#F",
        "#p",
        text!("#Estimate"),
        text!("#SE"),
    ];
    let caption = text!("Polynomial components by the actual spacing of the amounts");
    let mut table = TrialTable::new("components", caption, &heads);
    for polynomial in polynomials {
        for component in &polynomial.components {
            let digits = significant(component.std_error.unwrap_or(0.0), 4);
            table.rows.push(vec![
                TrialCell::Text(factor_words(&polynomial.term)),
                TrialCell::Text(component_of(polynomial, &component.name)),
                TrialCell::Number(Some(component.df), 0),
                TrialCell::Number(Some(component.df_denominator), 1),
                TrialCell::Number(component.ss, 3),
                TrialCell::Number(Some(component.f), 2),
                TrialCell::P(Some(component.p)),
                TrialCell::Number(component.estimate, digits),
                TrialCell::Number(component.std_error, digits),
            ]);
        }
    }
    (!table.rows.is_empty()).then_some(table)
}

/// `mean` tells with how many decimals.
fn curves(curves: &[Curve], units: &Units, mean: f64) -> Option<TrialTable> {
    let heads = [
        text!("Curve"),
        text!("#Constant"),
        text!("#Linear"),
        text!("#Quadratic"),
        text!("Maximum at"),
        text!("95 % set of it"),
        text!("#p of lack of fit"),
    ];
    let priced = curves.iter().any(|curve| curve.economic.is_some());
    let money = [text!("Economic optimum at"), text!("95 % set of the economic optimum")];
    let heads: Vec<&str> = heads.into_iter().chain(money.into_iter().filter(|_| priced)).collect();
    let mut table = TrialTable::new("curves", text!("Quadratic curves and their maximum"), &heads);
    for curve in curves {
        let [constant, linear, quadratic] = curve.coefficients;
        let digits = decimals(mean) + 1;
        let at = |optimum: &Optimum| match &optimum.peak {
            Peak::Inside { amount, .. } => estimated_amount(*amount, &curve.unit),
            _ => say!("not inside"),
        };
        let mut cells = vec![
            TrialCell::Text(place(units, curve)),
            TrialCell::Number(Some(constant), digits),
            TrialCell::Number(Some(linear), significant(linear, digits)),
            TrialCell::Number(Some(quadratic), significant(quadratic, digits)),
            TrialCell::Text(at(&curve.maximum)),
            TrialCell::Text(set_words(curve, &curve.maximum)),
            TrialCell::P(curve.lack_of_fit.map(|(.., p)| p)),
        ];
        if priced {
            let own = curve.economic.as_ref();
            let words = |said: Option<String>| TrialCell::Text(said.unwrap_or_default());
            cells.push(words(own.map(at)));
            cells.push(words(own.map(|own| set_words(curve, own))));
        }
        table.rows.push(cells);
    }
    table.notes.push(
        say!("The set holds the tested amounts that the trial cannot tell from the optimum (Fieller 1954); nothing beyond the tested range is advised."),
    );
    (!table.rows.is_empty()).then_some(table)
}

fn set_words(curve: &Curve, optimum: &Optimum) -> String {
    // The ends of the tested range stand as they were given.
    let short = |value: f64| {
        if value == curve.range.0 || value == curve.range.1 {
            amount_words(value, &curve.unit)
        } else {
            estimated_amount(value, &curve.unit)
        }
    };
    match &optimum.set {
        None => say!("no set"),
        Some(OptimumSet::Interval { low, high, .. }) => {
            say!("{from} to {to}", from = short(*low), to = short(*high))
        }
        Some(OptimumSet::TwoPieces { lower_end: low, upper_begin: high }) => {
            say!("up to {} and from {}", short(*low), short(*high))
        }
        Some(OptimumSet::WholeRange) => say!("the whole tested range"),
        Some(OptimumSet::Below) => say!("below the tested range"),
        Some(OptimumSet::Above) => say!("above the tested range"),
        Some(OptimumSet::Nowhere) => {
            say!("none of the tested amounts: the curve bends upwards")
        }
    }
}

/// Means with the fitted curve, and the set of the optimum shaded; `of` sets its name apart.
fn plot(curve: &Curve, of: &str, y_title: String) -> TrialPlot {
    let scale = if curve.unit == "fraction" { 100.0 } else { 1.0 };
    let unit = unit_words(&curve.unit);
    let mut plot = empty(
        &format!("{of}curve-{}", slug(&curve.factor)),
        say!("Fitted curve over {}", factor_words(&curve.factor)),
        text!(
            "Means, the fitted quadratic and the tested amounts that cannot be told from its optimum."
        ),
    );
    plot.x_title = format!("{} ({unit})", capital(&factor_words(&curve.factor)));
    plot.y_title = y_title;
    let points = curve.points.iter().map(|&(amount, mean)| {
        let name = amount_words(amount, &curve.unit);
        TrialPoint { x: amount * scale, y: mean, name }
    });
    plot.series = vec![TrialSeries { name: say!("mean"), points: points.collect(), joined: false }];
    let [constant, linear, quadratic] = curve.coefficients;
    let (low, high) = curve.range;
    let fitted = (0..POINTS).map(|k| {
        let x = low + (high - low) * k as f64 / (POINTS - 1) as f64;
        let y = quadratic.mul_add(x * x, linear.mul_add(x, constant));
        TrialPoint { x: x * scale, y, name: amount_words(x, &curve.unit) }
    });
    plot.curves =
        vec![TrialSeries { name: say!("fitted"), points: fitted.collect(), joined: true }];
    if let Some(OptimumSet::Interval { low, high, .. }) = &curve.maximum.set {
        plot.span = Some((low * scale, high * scale, say!("95 % set of the optimum")));
    }
    plot
}

#[cfg(test)]
mod tests {
    use super::significant;

    #[test]
    fn coefficients_show_three_digits() {
        let shown = |value: f64| format!("{value:.*}", significant(value, 3));
        assert_eq!(shown(-0.000_002_345_6), "-0.00000235");
        assert_eq!(shown(0.004_123), "0.00412");
        assert_eq!(shown(-9.843_7), "-9.844");
        assert_eq!(shown(0.0), "0.000");
        assert_eq!(significant(f64::NAN, 2), 2);
    }
}
