//! Arithmetic of the finite fields behind orthogonal Latin squares.

/// Finite field of a prime power order: elements 0 to q - 1 are polynomials over the prime, written
/// in base p.
#[derive(Debug, Clone, Copy)]
pub(super) struct Galois {
    p: usize,
    degree: usize,
    /// Lower coefficients of the monic irreducible polynomial, in base p.
    modulus: usize,
}

impl Galois {
    /// The field of order `q`, or `None` when `q` is no prime power or one beyond the table of
    /// irreducible polynomials (Lidl and Niederreiter, Finite Fields, 1997, table C).
    pub(super) fn of_order(q: usize) -> Option<Self> {
        if q < 2 {
            return None;
        }
        if (2..).take_while(|d| d * d <= q).all(|d| !q.is_multiple_of(d)) {
            return Some(Self { p: q, degree: 1, modulus: 0 });
        }
        // x^2+x+1, x^3+x+1, x^2+1, x^4+x+1, x^2+2, x^3+2x+1, x^5+x^2+1, x^2+1
        let (p, degree, modulus) = match q {
            4 => (2, 2, 3),
            8 => (2, 3, 3),
            9 => (3, 2, 1),
            16 => (2, 4, 3),
            25 => (5, 2, 2),
            27 => (3, 3, 7),
            32 => (2, 5, 5),
            49 => (7, 2, 1),
            _ => return None,
        };
        Some(Self { p, degree, modulus })
    }

    fn digits(self, mut value: usize) -> Vec<usize> {
        (0..self.degree)
            .map(|_| {
                let digit = value % self.p;
                value /= self.p;
                digit
            })
            .collect()
    }

    fn number(self, digits: &[usize]) -> usize {
        digits.iter().rev().fold(0, |sum, digit| sum * self.p + digit)
    }

    pub(super) fn add(self, a: usize, b: usize) -> usize {
        let sum: Vec<usize> =
            self.digits(a).iter().zip(self.digits(b)).map(|(x, y)| (x + y) % self.p).collect();
        self.number(&sum)
    }

    pub(super) fn subtract(self, a: usize, b: usize) -> usize {
        let sum: Vec<usize> = self
            .digits(a)
            .iter()
            .zip(self.digits(b))
            .map(|(x, y)| (x + self.p - y) % self.p)
            .collect();
        self.number(&sum)
    }

    pub(super) fn multiply(self, a: usize, b: usize) -> usize {
        let (a, b) = (self.digits(a), self.digits(b));
        let mut product = vec![0; 2 * self.degree];
        for (i, x) in a.iter().enumerate() {
            for (j, y) in b.iter().enumerate() {
                product[i + j] = (product[i + j] + x * y) % self.p;
            }
        }
        let modulus = self.digits(self.modulus);
        for high in (self.degree..2 * self.degree).rev() {
            let lead = product[high];
            product[high] = 0;
            for (i, m) in modulus.iter().enumerate() {
                let place = &mut product[high - self.degree + i];
                *place = (*place + lead * (self.p - m)) % self.p;
            }
        }
        self.number(&product[..self.degree])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Witness: the axioms. A reducible polynomial would give divisors of zero.
    #[test]
    fn every_order_is_a_field() {
        for q in [2, 3, 4, 5, 7, 8, 9, 11, 13, 16, 25, 27, 32, 49] {
            let field = Galois::of_order(q).unwrap();
            for a in 1..q {
                let mut row: Vec<usize> = (0..q).map(|b| field.multiply(a, b)).collect();
                assert_eq!(field.multiply(a, 1), a);
                row.sort_unstable();
                assert_eq!(row, (0..q).collect::<Vec<_>>(), "{q} {a}");
                assert_eq!(field.add(field.subtract(0, a), a), 0);
                let b = (a * 7 + 3) % q;
                let c = (a * 5 + 1) % q;
                assert_eq!(
                    field.multiply(a, field.add(b, c)),
                    field.add(field.multiply(a, b), field.multiply(a, c))
                );
            }
        }
        for q in [0, 1, 6, 10, 12, 14, 15, 18] {
            assert!(Galois::of_order(q).is_none());
        }
    }
}
