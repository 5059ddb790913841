//! Total, indirect and direct effect of a change, in kilograms, from effects on the response scale.

use crate::scale::Scale;

/// Effects of a change on an expected yield, kg per tree; total = indirect + direct.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Effects {
    /// Yield after the change minus yield before.
    pub total: f64,
    /// What runs through the mediator.
    pub indirect: f64,
    /// What does not.
    pub direct: f64,
}

/// Splits a change. `before` and `after` are the expected yields in kg, and on the scale the change
/// adds `indirect` through the mediator; `variance` lies around the value on the scale.
///
/// With Y(t, m) the yield under practice t and the mediator that practice m brings, the indirect
/// effect is the mean of Y(1, 1) - Y(1, 0) and Y(0, 1) - Y(0, 0), the direct one the mean of
/// Y(1, 1) - Y(0, 1) and Y(1, 0) - Y(0, 0) (Imai, Keele and Tingley, 2010, Psychol. Methods
/// 15:309-334): the averages over both practices, which add up to the total on every scale. On the
/// identity scale they are `indirect` and `after - before - indirect`.
#[must_use]
pub fn split(scale: Scale, [before, after]: [f64; 2], variance: f64, indirect: f64) -> Effects {
    let (y00, y11) = (before, after);
    let [y01, y10] = match scale {
        // A shift of the logarithm multiplies the expected yield.
        Scale::Log => [before * indirect.exp(), after * (-indirect).exp()],
        Scale::SquareRoot | Scale::Identity => [(before, indirect), (after, -indirect)]
            .map(|(kg, shift)| scale.expected_kg(level(scale, kg, variance) + shift, variance)),
    };
    Effects {
        total: y11 - y00,
        indirect: 0.5 * ((y11 - y10) + (y01 - y00)),
        direct: 0.5 * ((y11 - y01) + (y10 - y00)),
    }
}

/// Value on the scale whose expected yield is `kg`: the inverse of [`Scale::expected_kg`].
#[must_use]
pub(crate) fn level(scale: Scale, kg: f64, variance: f64) -> f64 {
    match scale {
        Scale::Log => kg.ln() - variance / 2.0,
        Scale::SquareRoot => (kg - variance).max(0.0).sqrt(),
        Scale::Identity => kg,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Witness: the Gaussian linear model, in which the indirect effect is a b and the direct one
    /// the coefficient c' (Baron and Kenny, 1986, J. Pers. Soc. Psychol. 51:1173-1182).
    #[test]
    fn linear_effects_are_products_and_coefficients() {
        let (a, b, c) = (0.8, 1.7, -0.4);
        let effects = split(Scale::Identity, [5.0, 5.0 + c + a * b], 0.3, a * b);
        assert!((effects.indirect - a * b).abs() < 1e-12);
        assert!((effects.direct - c).abs() < 1e-12);
        assert!((effects.total - (c + a * b)).abs() < 1e-12);
    }

    /// Witness: the definitions, written out for a log scale without variance.
    #[test]
    fn shares_of_a_log_scale_add_up() {
        let (before, total, indirect) = (4.0_f64, 0.2_f64, 0.08_f64);
        for variance in [0.0, 0.2] {
            let effects = split(Scale::Log, [before, before * total.exp()], variance, indirect);
            let expected =
                0.5 * before * ((total.exp() - (total - indirect).exp()) + (indirect.exp() - 1.0));
            assert!((effects.indirect - expected).abs() < 1e-12);
            assert!((effects.indirect + effects.direct - effects.total).abs() < 1e-12);
        }
        // All of a change from 4 kg, at a level of the root of 3.5, that raises the level by 0.1.
        let after = (3.5_f64.sqrt() + 0.1).powi(2) + 0.5;
        let effects = split(Scale::SquareRoot, [4.0, after], 0.5, 0.1);
        assert!(effects.direct.abs() < 1e-12);
        assert!((effects.indirect - (after - 4.0)).abs() < 1e-12);
    }

    #[test]
    fn levels_invert_expectations() {
        for scale in Scale::ALL {
            let kg = scale.expected_kg(1.3, 0.2);
            assert!((level(scale, kg, 0.2) - 1.3).abs() < 1e-12);
        }
    }
}
