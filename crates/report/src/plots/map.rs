//! The trees of a block where they stand, those to look at marked by shape.

use super::canvas::{AxesSpec, Label, axes, draw};
use super::legend::{self, Sample};
use super::marks::{Shape, marker};
use super::palette::{ADVISED, CURVE, HATCH};
use crate::error::ReportError;
use crate::review::{BlockMap, TreeFlag};

/// Height of a row of trees, drawing units, and of the least map.
const ROW: u32 = 54;
const LEAST: u32 = 260;
/// The tallest map; rows crowd beyond it.
const MOST: u32 = 1500;

/// Positions along the row to the right, rows downwards.
pub fn map_plot(label: Label<'_>, of: &BlockMap) -> Result<String, ReportError> {
    let [plain, poor, sudden] = &of.legend;
    let has = |flag| of.trees.iter().any(|tree| tree.flag == flag);
    let all = [
        (TreeFlag::Plain, Sample::Marker(Shape::Dot, HATCH), plain.as_str()),
        (TreeFlag::Poor, Sample::Marker(Shape::Triangle, ADVISED), poor),
        (TreeFlag::Sudden, Sample::Marker(Shape::Square, CURVE), sudden),
    ];
    let items: Vec<(Sample, &str)> = all
        .into_iter()
        .filter(|(flag, ..)| has(*flag))
        .map(|(_, sample, words)| (sample, words))
        .collect();
    let span = |of: &mut dyn Iterator<Item = u32>| {
        let (low, high) = of.fold((u32::MAX, 0), |(low, high), at| (low.min(at), high.max(at)));
        (low.min(high), high)
    };
    let rows = span(&mut of.trees.iter().map(|tree| tree.row));
    let columns = span(&mut of.trees.iter().map(|tree| tree.column));
    let top = legend::height(&items);
    let tall = ((rows.1 - rows.0).saturating_add(2)).saturating_mul(ROW).clamp(LEAST, MOST);
    let [x_title, y_title] = &of.axes;
    draw(label, top.unsigned_abs() + tall + 104, |root| {
        let axes = axes(
            root,
            &AxesSpec {
                x_title,
                y_title,
                x: (f64::from(columns.0) - 1.0, f64::from(columns.1) + 1.0),
                y: (f64::from(rows.1) + 1.0, f64::from(rows.0) - 1.0),
                top,
                left: 136,
                x_numbers: true,
                y_numbers: true,
            },
        )?;
        for tree in &of.trees {
            let at = axes.at(f64::from(tree.column), f64::from(tree.row));
            match tree.flag {
                TreeFlag::Plain => marker(root, Shape::Dot, at, 6, HATCH)?,
                TreeFlag::Poor => marker(root, Shape::Triangle, at, 14, ADVISED)?,
                TreeFlag::Sudden => marker(root, Shape::Square, at, 13, CURVE)?,
            }
        }
        legend::draw(root, &items)
    })
}
