//! Colours that stay apart in lightness, so that they survive grey printing and colour blindness.

use plotters::style::{Color, RGBAColor, RGBColor};

pub const INK: RGBColor = RGBColor(0x1c, 0x24, 0x2b);
pub const PAPER: RGBColor = RGBColor(0xff, 0xff, 0xff);
pub const GRID: RGBColor = RGBColor(0xdd, 0xdf, 0xe0);
pub const CURVE: RGBColor = RGBColor(0x0b, 0x4f, 0x6c);
pub const BAND: RGBColor = RGBColor(0xbf, 0xd9, 0xe3);
pub const ADVISED: RGBColor = RGBColor(0xa8, 0x3a, 0x0b);
pub const PRESENT: RGBColor = RGBColor(0x4a, 0x4f, 0x55);
pub const HATCH: RGBColor = RGBColor(0x8a, 0x91, 0x97);
pub const RANGE: RGBColor = RGBColor(0xe4, 0xe6, 0xe8);
pub const CLASSES: RGBColor = RGBColor(0xc7, 0x8a, 0x00);

/// Low to high, each stop darker than the one before.
const RAMP: [(u8, u8, u8); 5] = [
    (0xfb, 0xf6, 0xdf),
    (0xc5, 0xdf, 0xb6),
    (0x6f, 0xb5, 0xa8),
    (0x2b, 0x7a, 0x92),
    (0x17, 0x3a, 0x66),
];

/// Colour of a share 0 to 1 of the ramp, and whether text on it must be light.
pub fn ramp(share: f64) -> (RGBAColor, bool) {
    let share = if share.is_finite() { share.clamp(0.0, 1.0) } else { 0.0 };
    let place = share * 4.0;
    let step = place.floor().min(3.0);
    let within = place - step;
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 3")]
    let at = step as usize;
    let stop = |i: usize| RAMP.get(i).copied().unwrap_or((0, 0, 0));
    let ((r0, g0, b0), (r1, g1, b1)) = (stop(at), stop(at + 1));
    let mix = |a: u8, b: u8| {
        let value = f64::from(a) + within * (f64::from(b) - f64::from(a));
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 255")]
        {
            value.round() as u8
        }
    };
    (RGBColor(mix(r0, r1), mix(g0, g1), mix(b0, b1)).to_rgba(), share > 0.62)
}
