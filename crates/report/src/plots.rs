//! Plots as SVG with text as text; legible on a phone, in grey and to colour-blind readers.

mod canvas;
mod comparison;
mod intervals;
mod legend;
mod map;
mod marks;
mod odds;
mod palette;
mod parts;
mod response;
mod scale;
mod surface;
mod trial;

pub use canvas::Label;
pub use comparison::{DumbbellRow, GainRow, dumbbell_plot, gain_plot};
pub use intervals::interval_plot;
pub use map::map_plot;
pub use odds::{class_name, odds_plot};
pub use parts::parts_plot;
pub use response::{CurvePlot, curve_plot};
pub use surface::surface_plot;
pub use trial::trial_plot;
