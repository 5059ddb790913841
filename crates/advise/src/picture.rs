//! What the report draws for a region; every number is computed before it gets here.

pub use model::ObservedClass as ClassMean;
use serde::{Deserialize, Serialize};
use workplan::economics::WhatIf;

/// The figures of one region.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RegionPicture {
    /// Region id.
    pub region: String,
    /// Intensity of the advised or best supported practice.
    pub best_intensity: f64,
    /// Lead, days, at which the curve is drawn (the advised or best supported one).
    pub curve_lead_days: Option<f64>,
    /// Expected yield against intensity over the supported range, kg per tree, with band.
    pub yield_curve: Vec<CurvePoint>,
    /// Expected net return against intensity over the supported range, money per tree, with band.
    pub net_curve: Vec<CurvePoint>,
    /// Observed means by intensity class.
    pub classes: Vec<ClassMean>,
    /// Odds of each intensity class being best.
    pub odds: Vec<OddsBar>,
    /// Expected gain over unpruned on the intensity x lead grid; `None` when leads do not vary.
    pub surface: Option<Surface>,
    /// What other prices, wages, yields and horizons would make of the advised or best supported
    /// practice; `None` without draws.
    pub what_if: Option<AsPlanned>,
}

/// The what-if of a region with the price and wage of the book.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AsPlanned {
    /// Price per kg as quoted.
    pub price_per_kg: f64,
    /// Wage per hour.
    pub wage_per_hour: f64,
    /// Costs and yields to reckon with.
    pub what_if: WhatIf,
}

/// One point of a curve with its pointwise band.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct CurvePoint {
    /// Fraction of the canopy removed.
    pub intensity: f64,
    /// Posterior median.
    pub median: f64,
    /// Lower limit of the band.
    pub low: f64,
    /// Upper limit of the band.
    pub high: f64,
}

/// Odds that the best intensity falls into a class.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct OddsBar {
    /// Lower end of the class (the unpruned class runs from 0 to 0).
    pub from: f64,
    /// Upper end of the class.
    pub to: f64,
    /// Probability that the highest yield lies in it.
    pub p_yield: f64,
    /// Probability that the highest net return lies in it.
    pub p_net: f64,
}

/// Expected gain over unpruned on a grid of tested practices.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Surface {
    /// Intensities, ascending; length I.
    pub intensities: Vec<f64>,
    /// Leads in days, ascending; length L.
    pub leads: Vec<f64>,
    /// Expected gain (mean over draws), kg per tree, 0 where not supported; row by lead: index l x I + i.
    pub gain_kg: Vec<f64>,
    /// Whether the records support the cell; same order.
    pub supported: Vec<bool>,
}
