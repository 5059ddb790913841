//! The field map: plots where they stand, trees in them, guards around.

use super::{code, treatment_of};
use crate::names::is_printable;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::{self, Write as _};
use trials::layout::{Layout, LayoutPlot, LayoutTree};
use words::{say, text};

/// Least and largest size of a tree's cell, and the margins, px.
const CELL: [f64; 2] = [40.0, 96.0];
/// Height of a line of notes, and a letter's width at most, pixels.
const LINE: f64 = 16.0;
const LETTER: f64 = 7.0;
const MARGIN: f64 = 46.0;
const HEADING: f64 = 26.0;
/// Below a block: its note, and the room to the next one.
const FOOT: f64 = 46.0;
/// Pale fills that differ in lightness and hue; the code in the plot says the same. From the eleventh
/// treatment on they come again under hatching.
const FILLS: [&str; 10] = [
    "#ffffff", "#cfe6f2", "#f0d9ac", "#cde6bb", "#f6d5ca", "#dcd2ef", "#a5cdc8", "#faf5b8",
    "#c6c6c6", "#d8a3b4",
];

/// Sides of the squares of hatching, drawn over in [`HATCHES`] ways before it gets wider, pixels.
const HATCH: f64 = 8.0;
const HATCHES: usize = 5;

/// The fill of a treatment, and the number of the hatching over it, from 1; 0 for none.
fn look(treatment: usize) -> (&'static str, usize) {
    (FILLS[treatment % FILLS.len()], treatment / FILLS.len())
}

/// One square of a hatching: its side, and the lines that are drawn over it.
fn hatching(number: usize) -> (f64, String) {
    let way = number.saturating_sub(1);
    let side = HATCH + 5.0 * (way / HATCHES) as f64;
    let middle = side / 2.0;
    let lines = match way % HATCHES {
        0 => format!(
            "M0 {side}L{side} 0M-1 1L1 -1M{} {}L{} {}",
            side - 1.0,
            side + 1.0,
            side + 1.0,
            side - 1.0
        ),
        1 => format!(
            "M0 0L{side} {side}M-1 {}L1 {}M{} -1L{} 1",
            side - 1.0,
            side + 1.0,
            side - 1.0,
            side + 1.0
        ),
        2 => format!("M0 {middle}H{side}"),
        3 => format!("M{middle} 0V{side}"),
        _ => format!("M0 {middle}H{side}M{middle} 0V{side}"),
    };
    (side, lines)
}

/// The hatchings of a map.
fn draw_hatchings(out: &mut String, treatments: usize) -> fmt::Result {
    let most = look(treatments.saturating_sub(1)).1;
    for number in 1..=most {
        let (side, lines) = hatching(number);
        writeln!(
            out,
            r##"<defs><pattern id="hatch-{number}" width="{side}" height="{side}" patternUnits="userSpaceOnUse"><path d="{lines}" fill="none" stroke="#9aa4ac"/></pattern></defs>"##
        )?;
    }
    Ok(())
}

/// A plot or sign of the legend in the look of its treatment.
fn draw_box(
    out: &mut String,
    treatment: usize,
    [left, top, width, height]: [f64; 4],
    line: f64,
) -> fmt::Result {
    let (fill, hatch) = look(treatment);
    let place =
        format!(r#"x="{left:.1}" y="{top:.1}" width="{width:.1}" height="{height:.1}" rx="3""#);
    if hatch > 0 {
        writeln!(out, r#"<rect {place} fill="{fill}"/>"#)?;
        writeln!(
            out,
            r##"<rect {place} fill="url(#hatch-{hatch})" stroke="#1c242b" stroke-width="{line}"/>"##
        )
    } else {
        writeln!(out, r##"<rect {place} fill="{fill}" stroke="#1c242b" stroke-width="{line}"/>"##)
    }
}

/// A plot as a rectangle of cells.
struct Drawn<'a> {
    plot: &'a LayoutPlot,
    /// First and last row and column, from the patch's least.
    cells: [i64; 4],
    trees: Vec<(i64, i64, bool)>,
}

/// One plantation block, or the whole of a new field.
struct Patch<'a> {
    name: String,
    plots: Vec<Drawn<'a>>,
    guards: Vec<(i64, i64)>,
    rows: i64,
    columns: i64,
    /// Row and column that the patch's first cell stands for.
    first: (i64, i64),
    unit: &'static str,
    /// Size of a cell, pixels.
    cell: f64,
}

/// Size of the cells in which code and number of every plot stand beside each other, pixels.
fn cell_of(patches: &[Patch<'_>]) -> f64 {
    let needed = |drawn: &Drawn<'_>| {
        let letters = code(drawn.plot.treatment).chars().count() + drawn.plot.plot.chars().count();
        let columns = (drawn.cells[3] - drawn.cells[1] + 1) as f64;
        (LETTER * (letters as f64 + 1.5) + 4.0) / columns
    };
    let plots = patches.iter().flat_map(|patch| &patch.plots);
    plots.map(needed).fold(CELL[0], f64::max).min(CELL[1])
}

fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            c if !is_printable(c) => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

fn at(tree: &LayoutTree) -> Option<(i64, i64)> {
    Some((tree.row?, tree.column?))
}

/// The map as an SVG document.
pub fn map_svg(layout: &Layout) -> String {
    let mut out = String::new();
    // Writing to a String cannot fail.
    let _ = draw(&mut out, layout);
    out
}

fn draw(out: &mut String, layout: &Layout) -> fmt::Result {
    let mut patches = patches(layout);
    let cell = cell_of(&patches);
    patches.iter_mut().for_each(|patch| patch.cell = cell);
    let width =
        patches.iter().map(|p| p.columns as f64 * cell).fold(460.0, f64::max) + 2.0 * MARGIN;
    let scattered = are_scattered(&patches);
    let notes = notes(width - 2.0 * MARGIN, scattered);
    let legend = 24.0 * (layout.treatments.len() as f64 + 1.0) + LINE * notes.len() as f64;
    let height: f64 = patches.iter().map(|p| p.rows as f64 * cell + HEADING + FOOT).sum::<f64>();
    let height = height + legend + 2.0 * MARGIN;
    let title = escaped(layout.title.as_deref().unwrap_or(&layout.trial));
    writeln!(
        out,
        r##"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0} {height:.0}" width="{width:.0}" height="{height:.0}" role="img" aria-labelledby="map-title map-desc" font-family="system-ui, 'DejaVu Sans', sans-serif" font-size="12">
<title id="map-title">{}</title>
<desc id="map-desc">{}</desc>
<rect width="100%" height="100%" fill="#fff"/>
<text x="{MARGIN}" y="28" font-size="16" font-weight="600">{title}</text>"##,
        say!("Field map of {title}"),
        say!(
            "{} plots; every plot is listed with its trees in the field sheets.",
            layout.plots.len()
        )
    )?;
    draw_hatchings(out, layout.treatments.len())?;
    let mut top = MARGIN;
    for patch in &patches {
        draw_patch(out, patch, scattered, top)?;
        top += patch.rows as f64 * cell + HEADING + FOOT;
    }
    draw_legend(out, layout, &notes, top + 10.0)?;
    writeln!(out, "</svg>")
}

fn patches(layout: &Layout) -> Vec<Patch<'_>> {
    let every_tree = layout.plots.iter().all(|plot| {
        !plot.trees.is_empty() && plot.trees.iter().chain(&plot.border).all(|t| at(t).is_some())
    });
    let placed = layout.plots.iter().all(|plot| plot.row.is_some() && plot.column.is_some());
    let mut names: BTreeSet<&str> = layout.plots.iter().map(|plot| plot.patch.as_str()).collect();
    if every_tree {
        names.extend(layout.guards.iter().filter(|g| at(g).is_some()).map(|g| g.block.as_str()));
    }
    let mut order: BTreeMap<&str, i64> = BTreeMap::new();
    let mut found = Vec::new();
    for name in names {
        let mut patch = Patch {
            name: name.to_owned(),
            plots: Vec::new(),
            guards: Vec::new(),
            rows: 1,
            columns: 1,
            first: (1, 1),
            unit: if every_tree { "tree" } else { "plot" },
            cell: CELL[0],
        };
        for plot in layout.plots.iter().filter(|plot| plot.patch == name) {
            let trees = |list: &[LayoutTree], border: bool| -> Vec<(i64, i64, bool)> {
                list.iter().filter_map(at).map(|(row, column)| (row, column, border)).collect()
            };
            let (cells, trees) = if every_tree {
                let mut trees_of = trees(&plot.trees, false);
                trees_of.extend(trees(&plot.border, true));
                let span = |of: fn(&(i64, i64, bool)) -> i64| {
                    let values = trees_of.iter().map(of);
                    (values.clone().min().unwrap_or(1), values.max().unwrap_or(1))
                };
                let ((r0, r1), (c0, c1)) = (span(|t| t.0), span(|t| t.1));
                ([r0, c0, r1, c1], trees_of)
            } else {
                let (row, column) = if placed {
                    (plot.row.unwrap_or(1) as i64, plot.column.unwrap_or(1) as i64)
                } else {
                    // Plots without a place: a line for each replicate.
                    let rows = order.len() as i64 + 1;
                    let line = order.keys().position(|key| *key == plot.replicate.as_str());
                    let next = order.entry(plot.replicate.as_str()).or_insert(0);
                    *next += 1;
                    (line.map_or(rows, |line| line as i64 + 1), *next)
                };
                ([row, column, row, column], Vec::new())
            };
            patch.plots.push(Drawn { plot, cells, trees });
        }
        if every_tree {
            let own = layout.guards.iter().filter(|guard| guard.block == name);
            patch.guards = own.filter_map(at).collect();
        }
        settle(&mut patch);
        found.push(patch);
    }
    found
}

/// Moves the patch to its own first row and column.
fn settle(patch: &mut Patch<'_>) {
    let rows = patch.plots.iter().flat_map(|p| [p.cells[0], p.cells[2]]);
    let columns = patch.plots.iter().flat_map(|p| [p.cells[1], p.cells[3]]);
    let rows: Vec<i64> = rows.chain(patch.guards.iter().map(|g| g.0)).collect();
    let columns: Vec<i64> = columns.chain(patch.guards.iter().map(|g| g.1)).collect();
    let least = |of: &[i64]| of.iter().copied().min().unwrap_or(1);
    let most = |of: &[i64]| of.iter().copied().max().unwrap_or(1);
    patch.first = (least(&rows), least(&columns));
    patch.rows = most(&rows) - patch.first.0 + 1;
    patch.columns = most(&columns) - patch.first.1 + 1;
}

fn draw_patch(out: &mut String, patch: &Patch<'_>, scattered: bool, top: f64) -> fmt::Result {
    let ((r0, c0), cell) = (patch.first, patch.cell);
    let x = |column: i64| MARGIN + (column - c0) as f64 * cell;
    let y = |row: i64| top + HEADING + (row - r0) as f64 * cell;
    if !patch.name.is_empty() {
        let name = escaped(&patch.name);
        writeln!(
            out,
            r#"<text x="{MARGIN}" y="{:.1}" font-weight="600">{}</text>"#,
            top - 2.0,
            say!("Block {name}")
        )?;
    }
    for column in c0..c0 + patch.columns {
        let middle = x(column) + cell / 2.0;
        writeln!(
            out,
            r##"<text x="{middle:.1}" y="{:.1}" text-anchor="middle" fill="#4d565e">{column}</text>"##,
            y(r0) - 6.0
        )?;
    }
    for row in r0..r0 + patch.rows {
        let middle = y(row) + cell / 2.0 + 4.0;
        writeln!(
            out,
            r##"<text x="{:.1}" y="{middle:.1}" text-anchor="end" fill="#4d565e">{row}</text>"##,
            MARGIN - 8.0
        )?;
    }
    for drawn in &patch.plots {
        draw_plot(out, drawn, cell, &x, &y)?;
    }
    draw_borders(out, patch, scattered, &x, &y)?;
    for &(row, column) in &patch.guards {
        let (cx, cy) = (x(column) + cell / 2.0, y(row) + cell / 2.0);
        writeln!(
            out,
            r##"<circle cx="{cx:.1}" cy="{cy:.1}" r="4" fill="none" stroke="#8a9197" stroke-dasharray="2 2"/>"##
        )?;
    }
    let bottom = y(r0 + patch.rows) + 16.0;
    let (across, along) = match patch.unit {
        "tree" => (text!("rows of trees"), text!("trees along the row")),
        _ => (text!("rows of plots"), text!("plots along the row")),
    };
    writeln!(
        out,
        r##"<text x="{MARGIN}" y="{bottom:.1}" fill="#4d565e">{}</text>"##,
        say!("Numbers at the left: {across}; above: {along}.")
    )
}

fn draw_plot(
    out: &mut String,
    drawn: &Drawn<'_>,
    cell: f64,
    x: &dyn Fn(i64) -> f64,
    y: &dyn Fn(i64) -> f64,
) -> fmt::Result {
    let [row, column, last_row, last_column] = drawn.cells;
    let (left, top) = (x(column) + 2.0, y(row) + 2.0);
    let (width, height) = (x(last_column + 1) - left - 2.0, y(last_row + 1) - top - 2.0);
    draw_box(out, drawn.plot.treatment, [left, top, width, height], 1.4)?;
    for &(row, column, border) in &drawn.trees {
        let (cx, cy) = (x(column) + cell / 2.0, y(row) + cell / 2.0 + 9.0);
        let (radius, fill) = if border { (2.5, "none") } else { (3.0, "#0b4f6c") };
        writeln!(
            out,
            r##"<circle cx="{cx:.1}" cy="{cy:.1}" r="{radius}" fill="{fill}" stroke="#0b4f6c"/>"##
        )?;
    }
    let middle = left + width / 2.0;
    writeln!(
        out,
        r#"<text x="{middle:.1}" y="{:.1}" text-anchor="middle"><tspan font-weight="700" font-size="12">{}</tspan><tspan font-size="11"> {}</tspan></text>"#,
        top + 12.5,
        code(drawn.plot.treatment),
        escaped(&drawn.plot.plot)
    )
}

/// What the signs of the map mean, in lines of a width.
fn notes(width: f64, scattered: bool) -> Vec<String> {
    let letters = (width / LETTER) as usize;
    let lines_part = if scattered {
        text!(
            "In a plot: treatment, then number of the plot. Replicates hold plots wherever they stand; the trial table names the replicate of each."
        )
    } else {
        text!(
            "In a plot: treatment, then number of the plot. Heavy lines part replicates, dashed ones main plots or blocks."
        )
    };
    let mut lines = Vec::new();
    for note in [
        lines_part,
        text!("Filled: trees to observe; open: same treatment, not observed; dashed: guard."),
    ] {
        let mut line = String::new();
        for word in note.split(' ') {
            if !line.is_empty() && line.chars().count() + 1 + word.chars().count() > letters {
                lines.push(std::mem::take(&mut line));
            }
            if !line.is_empty() {
                line.push(' ');
            }
            line.push_str(word);
        }
        lines.push(line);
    }
    lines
}

fn draw_legend(out: &mut String, layout: &Layout, notes: &[String], top: f64) -> fmt::Result {
    for (number, note) in notes.iter().enumerate() {
        let y = top + 14.0 + LINE * number as f64;
        writeln!(out, r#"<text x="{MARGIN}" y="{y:.1}">{note}</text>"#)?;
    }
    let top = top + LINE * notes.len() as f64 - 24.0;
    for number in 0..layout.treatments.len() {
        let (code, words) = treatment_of(layout, number);
        let y = top + 24.0 * (number as f64 + 1.0) + 16.0;
        draw_box(out, number, [MARGIN, y, 24.0, 18.0], 1.0)?;
        writeln!(
            out,
            r##"<text x="{:.1}" y="{:.1}" text-anchor="middle" font-weight="700">{code}</text><text x="{:.1}" y="{:.1}">{}</text>"##,
            MARGIN + 12.0,
            y + 13.0,
            MARGIN + 34.0,
            y + 13.0,
            escaped(&words)
        )?;
    }
    Ok(())
}

/// The plot of each cell of a patch.
fn cells_of<'a>(patch: &Patch<'a>) -> BTreeMap<(i64, i64), &'a LayoutPlot> {
    let mut cells: BTreeMap<(i64, i64), &LayoutPlot> = BTreeMap::new();
    for drawn in &patch.plots {
        let [row, column, last_row, last_column] = drawn.cells;
        if drawn.trees.is_empty() {
            for r in row..=last_row {
                cells.extend((column..=last_column).map(|c| ((r, c), drawn.plot)));
            }
        }
        cells.extend(drawn.trees.iter().map(|&(r, c, _)| ((r, c), drawn.plot)));
    }
    cells
}

/// Whether replicates lie among each other, as blocks of like earlier crop do: lines between them would frame every
/// plot. Ours, a convention: the rectangles around them cover more than twice the field.
fn are_scattered(patches: &[Patch<'_>]) -> bool {
    let (mut covered, mut field) = (0, 0);
    for patch in patches {
        let mut around: BTreeMap<&str, [i64; 4]> = BTreeMap::new();
        let cells = cells_of(patch);
        for (&(row, column), plot) in &cells {
            // Of each replicate, and of all under a name that none has.
            for name in [plot.replicate.as_str(), ""] {
                let own = around.entry(name).or_insert([row, column, row, column]);
                let [top, left, bottom, right] = *own;
                *own = [top.min(row), left.min(column), bottom.max(row), right.max(column)];
            }
        }
        let area = |[top, left, bottom, right]: [i64; 4]| (bottom - top + 1) * (right - left + 1);
        field += around.remove("").map_or(0, area);
        covered += around.into_values().map(area).sum::<i64>();
    }
    covered > 2 * field
}

/// Lines between cells of different replicates, and of different main plots of one; none within the field where
/// replicates lie scattered.
fn draw_borders(
    out: &mut String,
    patch: &Patch<'_>,
    scattered: bool,
    x: &dyn Fn(i64) -> f64,
    y: &dyn Fn(i64) -> f64,
) -> fmt::Result {
    let cells = cells_of(patch);
    for (&(row, column), plot) in &cells {
        // Below and to the right, and the outer edges above and to the left.
        let sides = [
            ((row + 1, column), [column, row + 1, column + 1, row + 1], true),
            ((row, column + 1), [column + 1, row, column + 1, row + 1], true),
            ((row - 1, column), [column, row, column + 1, row], false),
            ((row, column - 1), [column, row, column, row + 1], false),
        ];
        for (beside, [c0, r0, c1, r1], inner) in sides {
            let style = match cells.get(&beside) {
                None => r##"stroke="#1c242b" stroke-width="2.6""##,
                Some(_) if !inner || scattered => continue,
                Some(other) if other.replicate != plot.replicate => {
                    r##"stroke="#1c242b" stroke-width="2.6""##
                }
                Some(other) if other.main_plot != plot.main_plot || other.block != plot.block => {
                    r##"stroke="#a83a0b" stroke-width="1.6" stroke-dasharray="5 3""##
                }
                Some(_) => continue,
            };
            writeln!(
                out,
                r#"<line x1="{:.1}" y1="{:.1}" x2="{:.1}" y2="{:.1}" {style}/>"#,
                x(c0),
                y(r0),
                x(c1),
                y(r1)
            )?;
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::{escaped, hatching, look};
    use std::collections::BTreeSet;

    #[test]
    fn no_two_treatments_look_alike() {
        let looks: BTreeSet<(&str, String)> = (0..300)
            .map(look)
            .map(|(fill, hatch)| {
                (fill, if hatch > 0 { format!("{:?}", hatching(hatch)) } else { String::new() })
            })
            .collect();
        assert_eq!(looks.len(), 300);
    }

    #[test]
    fn names_cannot_leave_their_text() {
        assert_eq!(escaped("<a&\"b\">\u{7}"), "&lt;a&amp;&quot;b&quot;&gt; ");
    }
}
