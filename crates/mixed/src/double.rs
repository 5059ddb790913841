//! Numbers carried as an unevaluated sum of two, about 32 digits.

use std::ops::{Add, AddAssign, Div, Mul, Neg, Sub};

/// hi + lo with |lo| at most half a unit in the last place of hi (Dekker
/// 1971; Hida, Li, Bailey 2001).
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Double {
    pub hi: f64,
    pub lo: f64,
}

/// a + b and its rounding error (Knuth).
fn two_sum(a: f64, b: f64) -> (f64, f64) {
    let s = a + b;
    let t = s - a;
    (s, (a - (s - t)) + (b - t))
}

/// The same for |a| >= |b|.
fn quick_two_sum(a: f64, b: f64) -> Double {
    let hi = a + b;
    Double { hi, lo: b - (hi - a) }
}

/// a b and its rounding error, by a fused multiply-add.
fn two_product(a: f64, b: f64) -> (f64, f64) {
    let p = a * b;
    (p, a.mul_add(b, -p))
}

impl Double {
    pub const ZERO: Double = Double { hi: 0.0, lo: 0.0 };
    pub const ONE: Double = Double { hi: 1.0, lo: 0.0 };

    /// The difference of two plain numbers, exactly.
    pub fn difference(a: f64, b: f64) -> Double {
        let (hi, lo) = two_sum(a, -b);
        Double { hi, lo }
    }

    /// Nearest plain number.
    pub fn round(self) -> f64 {
        self.hi + self.lo
    }

    /// Square root of a number above 0.
    pub fn sqrt(self) -> Double {
        let x = 1.0 / self.hi.sqrt();
        let root = self.hi * x;
        let (p, e) = two_product(root, root);
        let rest = self - Double { hi: p, lo: e };
        quick_two_sum(root, rest.hi * x * 0.5)
    }
}

impl From<f64> for Double {
    fn from(hi: f64) -> Double {
        Double { hi, lo: 0.0 }
    }
}

impl Add for Double {
    type Output = Double;
    fn add(self, other: Double) -> Double {
        let (s, e) = two_sum(self.hi, other.hi);
        let (t, f) = two_sum(self.lo, other.lo);
        let first = quick_two_sum(s, e + t);
        quick_two_sum(first.hi, first.lo + f)
    }
}

impl AddAssign for Double {
    fn add_assign(&mut self, other: Double) {
        *self = *self + other;
    }
}

impl Neg for Double {
    type Output = Double;
    fn neg(self) -> Double {
        Double { hi: -self.hi, lo: -self.lo }
    }
}

impl Sub for Double {
    type Output = Double;
    fn sub(self, other: Double) -> Double {
        self + -other
    }
}

impl Mul for Double {
    type Output = Double;
    fn mul(self, other: Double) -> Double {
        let (p, e) = two_product(self.hi, other.hi);
        quick_two_sum(p, e + (self.hi * other.lo + self.lo * other.hi))
    }
}

impl Div for Double {
    type Output = Double;
    fn div(self, other: Double) -> Double {
        let first = self.hi / other.hi;
        let rest = self - other * Double::from(first);
        let second = rest.hi / other.hi;
        let rest = rest - other * Double::from(second);
        let sum = quick_two_sum(first, second);
        sum + Double::from(rest.hi / other.hi)
    }
}

#[cfg(test)]
mod tests {
    use super::Double;

    /// Quotients and roots give the number back to 30 digits.
    #[test]
    fn operations_undo_each_other() {
        for i in 1..200 {
            let a = Double::from(f64::from(i)) / Double::from(7.0);
            let b = Double::from(0.1 * f64::from(i * i)) - Double::difference(1e9, 3e-7);
            let back = (a * b) / b - a;
            assert!(back.hi.abs() < 1e-30 * a.hi, "{back:?}");
            let root = a.sqrt();
            let square = root * root - a;
            assert!(square.hi.abs() < 1e-30 * a.hi, "{square:?}");
            let sum = (a + b) - b - a;
            assert!(sum.hi.abs() < 1e-30 * b.hi.abs(), "{sum:?}");
        }
    }

    /// A thousand tenths and a large number that comes and goes: the sum of
    /// the plain number 0.1, exactly.
    #[test]
    fn large_terms_cancel() {
        let mut sum = Double::from(1e20);
        for _ in 0..1000 {
            sum += Double::from(0.1);
        }
        sum += Double::from(-1e20);
        let tenth = Double::from(0.1) * Double::from(1000.0);
        assert!((sum - tenth).round().abs() < 1e-11);
        assert_eq!(Double::ONE.round() + Double::ZERO.round(), 1.0);
    }
}
