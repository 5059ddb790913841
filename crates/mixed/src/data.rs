//! The model and its columns, as slices: response, weights, fixed columns and grouping factors.

use std::borrow::Cow;

/// One data chunk of the model y = X b + Z u + e, var(e_i) = sigma^2 / w_i.
///
/// All columns hold one value per row. Rows with a missing (not finite)
/// response, fixed value or slope value are set aside and counted.
#[derive(Debug, Clone)]
pub struct Data<'a> {
    /// Response y, in user units.
    pub response: &'a [f64],
    /// Constant subtracted from the response before accumulating; 0 for none.
    pub response_centre: f64,
    /// Constant that divides the centred response; 1 for none.
    pub response_scale: f64,
    /// Prior weights w (for example the number of trees behind a mean).
    pub weights: Option<&'a [f64]>,
    /// Fixed columns; an intercept is a column of ones, see [`FixedColumn::intercept`].
    pub fixed: Vec<FixedColumn<'a>>,
    /// Grouping factors, nested or crossed, in the order in which theta lists them.
    pub factors: Vec<Factor<'a>>,
}

impl<'a> Data<'a> {
    /// A model of `response` without weights, columns or factors.
    pub fn new(response: &'a [f64]) -> Self {
        Data {
            response,
            response_centre: 0.0,
            response_scale: 1.0,
            weights: None,
            fixed: Vec::new(),
            factors: Vec::new(),
        }
    }

    /// Declares the constants with which the response is centred and scaled inside.
    #[must_use]
    pub fn response_units(mut self, centre: f64, scale: f64) -> Self {
        self.response_centre = centre;
        self.response_scale = scale;
        self
    }

    /// Sets prior weights.
    #[must_use]
    pub fn weights(mut self, weights: &'a [f64]) -> Self {
        self.weights = Some(weights);
        self
    }

    /// Adds a column of ones named `intercept`.
    #[must_use]
    pub fn intercept(mut self) -> Self {
        self.fixed.push(FixedColumn::intercept(self.response.len()));
        self
    }

    /// Adds a fixed column.
    #[must_use]
    pub fn column(mut self, column: FixedColumn<'a>) -> Self {
        self.fixed.push(column);
        self
    }

    /// Adds a grouping factor.
    #[must_use]
    pub fn factor(mut self, factor: Factor<'a>) -> Self {
        self.factors.push(factor);
        self
    }
}

/// One column of the fixed design, with the constants that keep its cross-products accurate.
#[derive(Debug, Clone)]
pub struct FixedColumn<'a> {
    /// Unique name of the coefficient.
    pub name: String,
    /// Values in user units, one per row.
    pub values: Cow<'a, [f64]>,
    /// Declared constant subtracted before accumulating (needs an intercept column).
    pub centre: f64,
    /// Declared constant dividing the centred values.
    pub scale: f64,
}

impl<'a> FixedColumn<'a> {
    /// A column with centre 0 and scale 1; takes `&[f64]` or `Vec<f64>`.
    pub fn new(name: impl Into<String>, values: impl Into<Cow<'a, [f64]>>) -> Self {
        FixedColumn { name: name.into(), values: values.into(), centre: 0.0, scale: 1.0 }
    }

    /// A column of `rows` ones named `intercept`.
    pub fn intercept(rows: usize) -> Self {
        FixedColumn::new("intercept", vec![1.0; rows])
    }

    /// Declares centre and scale. Results stay in user units.
    #[must_use]
    pub fn units(mut self, centre: f64, scale: f64) -> Self {
        self.centre = centre;
        self.scale = scale;
        self
    }
}

/// Whether the random effects of a factor may be correlated.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
pub enum Covariance {
    /// Unstructured covariance: k (k + 1) / 2 parameters.
    Correlated,
    /// Diagonal covariance: k parameters.
    Independent,
}

/// A grouping factor with its random effects.
#[derive(Debug, Clone)]
pub struct Factor<'a> {
    /// Unique name.
    pub name: String,
    /// Level of each row, 0 to `levels - 1`.
    pub codes: &'a [u32],
    /// Number of levels (levels without rows are allowed; their effects have mode 0).
    pub levels: usize,
    /// Random effects of each level.
    pub effects: Vec<RandomEffect<'a>>,
    /// Covariance structure of the effects of one level.
    pub covariance: Covariance,
}

impl<'a> Factor<'a> {
    /// A factor with a random intercept.
    pub fn intercept(name: impl Into<String>, codes: &'a [u32], levels: usize) -> Self {
        Factor {
            name: name.into(),
            codes,
            levels,
            effects: vec![RandomEffect::Intercept],
            covariance: Covariance::Correlated,
        }
    }

    /// Adds a random slope.
    #[must_use]
    pub fn slope(mut self, name: impl Into<String>, values: &'a [f64]) -> Self {
        self.effects.push(RandomEffect::Slope { name: name.into(), values });
        self
    }

    /// Makes the effects of a level independent of each other.
    #[must_use]
    pub fn independent(mut self) -> Self {
        self.covariance = Covariance::Independent;
        self
    }
}

/// One random effect of every level of a factor.
#[derive(Debug, Clone)]
pub enum RandomEffect<'a> {
    /// A shift of the level.
    Intercept,
    /// A coefficient of the level on a column (used as given, not centred).
    Slope {
        /// Name, unique within the factor.
        name: String,
        /// Values in user units, one per row.
        values: &'a [f64],
    },
}

impl RandomEffect<'_> {
    /// Name of the effect; `intercept` for an intercept.
    pub fn name(&self) -> &str {
        match self {
            RandomEffect::Intercept => "intercept",
            RandomEffect::Slope { name, .. } => name,
        }
    }
}
