//! The answer: all regions in one table and three comparison plots.

use super::table::{Cell, Figure, Head, Table};
use crate::content::Report;
use crate::error::ReportError;
use crate::how::advice as how;
use crate::number::percent;
use crate::plots::{DumbbellRow, GainRow, Label, dumbbell_plot, gain_plot};
use crate::sentence::{chance_of_more, gain, gain_of, intensity_range, money_gain, remove, window};
use crate::text;
use words::text;

/// One row per region: what, how hard, when, and what it is worth.
pub fn answer(report: &Report) -> Table {
    let advice = &report.advice;
    let mut table = Table::new(
        text::T_ANSWER.get(),
        [
            Head::from(text::C_REGION.get()),
            Head::from(text::C_VERDICT.get()).how(how("verdict")),
            Head::from(format!("#{}", text::C_REMOVE.get())).how(how("advised.intensity")),
            Head::from(text::C_WHEN.get()).how(how("advised.window")),
            Head::from(format!("#{}", text::C_GAIN.get())).how(how("gain_over_present_kg")),
            Head::from(format!("#{}", text::c_net(&advice.currency)))
                .how(how("net_gain_over_present")),
            Head::from(format!("#{}", text::C_CHANCE.get())).how(how("p_gain")),
        ],
    );
    table.cards = true;
    for (i, r) in advice.regions.iter().enumerate() {
        table.row([
            Cell { text: r.name.clone(), link: format!("#region-{}", i + 1), ..Cell::default() },
            Cell {
                text: text::verdict(r.verdict).to_owned(),
                shape: text::verdict_shape(r.verdict),
                ..Cell::default()
            },
            remove(r.advised.as_ref(), r.interim.as_ref()).into(),
            window(r.advised.as_ref(), r.interim.as_ref()).into(),
            gain_of(r, &report.pictures).into(),
            money_gain(r.net_gain_over_present.as_ref()).into(),
            chance_of_more(r).into(),
        ]);
    }
    table
}

/// Gains in kg and money, and the intensities, of all regions.
pub fn figures(report: &Report) -> Result<Vec<Figure>, ReportError> {
    let advice = &report.advice;
    if advice.regions.is_empty() {
        return Ok(Vec::new());
    }
    let row = |r: &'_ advise::RegionAdvice, gain| (r.verdict, gain);
    let kg: Vec<_> = advice
        .regions
        .iter()
        .map(|r| (r.name.as_str(), row(r, r.gain_over_present_kg.as_ref())))
        .collect();
    let net: Vec<_> = advice
        .regions
        .iter()
        .map(|r| (r.name.as_str(), row(r, r.net_gain_over_present.as_ref().map(|m| &m.amount))))
        .collect();
    let mut figures = Vec::new();
    if kg.iter().any(|(_, (_, gain))| gain.is_some()) {
        figures.push(
            gain_figure("compare-yield", text::F_GAIN_KG.get(), text::AXIS_GAIN.get(), &kg)?
                .how(how("gain_over_present_kg")),
        );
    }
    if net.iter().any(|(_, (_, gain))| gain.is_some()) {
        let axis = text::c_net(&advice.currency);
        figures.push(
            gain_figure("compare-net", text::F_GAIN_NET.get(), &axis, &net)?
                .how(how("net_gain_over_present")),
        );
    }
    figures.push(intensities(report)?);
    Ok(figures)
}

type NamedGain<'a> = (&'a str, (advise::Verdict, Option<&'a advise::Interval>));

fn gain_figure(
    id: &str,
    title: &str,
    axis: &str,
    gains: &[NamedGain<'_>],
) -> Result<Figure, ReportError> {
    let rows: Vec<GainRow<'_>> = gains
        .iter()
        .map(|(name, (verdict, gain))| GainRow { name, verdict: *verdict, gain: *gain })
        .collect();
    let mut table = Table::new(title, [text::C_REGION.get(), &format!("#{axis}")]);
    for (name, (_, interval)) in gains {
        table.row([(*name).to_owned(), gain(*interval)]);
    }
    let label = Label { id, title, description: text::CAPTION_GAIN.get() };
    Ok(Figure {
        file: format!("{id}.svg"),
        title: title.to_owned(),
        caption: text::CAPTION_GAIN.get().to_owned(),
        how: String::new(),
        svg: gain_plot(label, axis, &rows)?,
        table,
    })
}

fn intensities(report: &Report) -> Result<Figure, ReportError> {
    let regions = &report.advice.regions;
    let rows: Vec<DumbbellRow<'_>> = regions
        .iter()
        .map(|r| DumbbellRow {
            name: &r.name,
            present: r.present.intensity,
            // What is to be done until a trial is read stands in brackets in the table.
            advised: r.advised.as_ref().or(r.interim.as_ref()).map(|a| a.intensity),
            tested: r.tested_intensity,
        })
        .collect();
    let mut table = Table::new(
        text::F_DUMBBELL.get(),
        [
            text::C_REGION.get(),
            text!("#Present (%)"),
            text!("#Advised (%)"),
            text!("#Tested range (%)"),
        ],
    );
    for r in regions {
        table.row([
            r.name.clone(),
            percent(r.present.intensity),
            remove(r.advised.as_ref(), r.interim.as_ref()),
            intensity_range(r.tested_intensity),
        ]);
    }
    let id = "compare-intensity";
    let label =
        Label { id, title: text::F_DUMBBELL.get(), description: text::CAPTION_DUMBBELL.get() };
    Ok(Figure {
        file: format!("{id}.svg"),
        title: text::F_DUMBBELL.get().to_owned(),
        caption: text::CAPTION_DUMBBELL.get().to_owned(),
        how: String::new(),
        svg: dumbbell_plot(label, &rows)?,
        table,
    }
    .how(how("advised.intensity")))
}
