//! Where the values of a fixed column come from: enough to compute them elsewhere.

/// A number of a tree-season that enters by its logarithm.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Quantity {
    /// Age, of at least half a year, over 10 years.
    Age,
    /// Trunk girth over 80 cm.
    Girth,
    /// Trees per hectare.
    Density,
}

/// A logarithm with the constants that the rows gave it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Logarithm {
    /// Of what.
    pub quantity: Quantity,
    /// Value where the number is missing.
    pub fill: f64,
    /// Subtracted at the end.
    pub centre: f64,
}

/// How a column is computed from a tree-season.
#[derive(Debug, Clone, PartialEq)]
pub enum Source {
    /// 1 everywhere.
    One,
    /// 1 in a region.
    Region(String),
    /// 1 for a variety; an empty label is an unknown one.
    Variety(String),
    /// Intensity where it was measured on this basis.
    Basis(String),
    /// A column of the pruning surface, by position.
    Shape(usize),
    /// A column of the surface times a logarithm.
    ShapeByLog(usize, Logarithm),
    /// A logarithm.
    Log(Logarithm),
    /// Its square.
    LogSquared(Logarithm),
    /// 1 where the number is missing.
    Unknown(Quantity),
    /// Mean of a column of the surface over the routine seasons of a tree in a region, less a
    /// constant; 0 elsewhere.
    Habit {
        /// Column of the surface, by position.
        shape: usize,
        /// Region.
        region: String,
        /// Mean over trees.
        centre: f64,
    },
    /// Deviation of the crop before in a region.
    EarlierCrop(String),
    /// Values given, with no rule.
    Given,
}
