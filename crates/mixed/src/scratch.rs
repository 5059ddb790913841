//! Long buffers used again and again, because fresh pages cost more than the arithmetic on them.

use std::ops::{Deref, DerefMut};
use std::sync::{Arc, Mutex, PoisonError};

/// Buffers at rest, shared by all that work on one system.
#[derive(Debug, Clone, Default)]
pub(crate) struct Scratch(Arc<Mutex<Vec<Vec<f64>>>>);

/// A buffer that goes back to its scratch when dropped.
#[derive(Debug)]
pub(crate) struct Buffer {
    values: Vec<f64>,
    home: Scratch,
}

/// Lengths under this are not worth keeping.
const SHORT: usize = 4096;

impl Scratch {
    /// A buffer with arbitrary finite or other contents: the caller writes
    /// every entry that is read.
    pub fn take(&self, length: usize) -> Buffer {
        let found = if length < SHORT { None } else { self.find(length) };
        let mut values = found.unwrap_or_default();
        values.resize(length, 0.0);
        Buffer { values, home: self.clone() }
    }

    /// A buffer of zeros.
    pub fn zeros(&self, length: usize) -> Buffer {
        let mut out = self.take(length);
        out.fill(0.0);
        out
    }

    /// A buffer with the contents of a slice.
    pub fn copy(&self, values: &[f64]) -> Buffer {
        let mut out = self.take(values.len());
        out.copy_from_slice(values);
        out
    }

    /// Gives the memory of the buffers at rest back.
    pub fn clear(&self) {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).clear();
    }

    /// Leaves buffers full of NaN at rest.
    #[cfg(test)]
    pub fn soil(&self, lengths: &[usize]) {
        let buffers: Vec<Buffer> = lengths.iter().map(|n| self.take(*n)).collect();
        for mut buffer in buffers {
            buffer.fill(f64::NAN);
        }
    }

    /// The smallest buffer at rest with room for this length.
    fn find(&self, length: usize) -> Option<Vec<f64>> {
        let mut rest = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let fits = rest.iter().enumerate().filter(|(_, v)| v.capacity() >= length);
        let at = fits.min_by_key(|(_, v)| v.capacity())?.0;
        Some(rest.swap_remove(at))
    }
}

impl Buffer {
    /// Where it came from.
    pub fn home(&self) -> &Scratch {
        &self.home
    }
}

impl Drop for Buffer {
    fn drop(&mut self) {
        if self.values.len() >= SHORT {
            let values = std::mem::take(&mut self.values);
            self.home.0.lock().unwrap_or_else(PoisonError::into_inner).push(values);
        }
    }
}

impl Clone for Buffer {
    fn clone(&self) -> Buffer {
        self.home.copy(&self.values)
    }
}

impl Deref for Buffer {
    type Target = [f64];

    fn deref(&self) -> &[f64] {
        &self.values
    }
}

impl DerefMut for Buffer {
    fn deref_mut(&mut self) -> &mut [f64] {
        &mut self.values
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Memory that comes back is used again, and zeros are zeros all the same.
    #[test]
    fn buffers_come_back() {
        let scratch = Scratch::default();
        let mut first = scratch.take(2 * SHORT);
        first.fill(7.0);
        let address = first.as_ptr();
        let copy = first.clone();
        drop(first);
        let second = scratch.zeros(SHORT);
        assert_eq!(second.as_ptr(), address);
        assert!(second.iter().all(|x| *x == 0.0) && copy.iter().all(|x| *x == 7.0));
        drop(second);
        scratch.clear();
        assert!(scratch.find(1).is_none());
    }
}
