//! Storage for the kernels.

use crate::bare::in_large_pages;

/// Numbers that begin at a cache line.
#[derive(Default)]
pub(super) struct Aligned {
    data: Vec<f64>,
    start: usize,
    len: usize,
}

impl Aligned {
    pub fn zeros(len: usize) -> Aligned {
        let mut data = vec![0.0; len + 7];
        in_large_pages(&mut data);
        let start = (data.as_ptr() as usize).wrapping_neg() % 64 / 8;
        Aligned { data, start, len }
    }

    pub fn resize(&mut self, len: usize) {
        if self.len != len {
            *self = Aligned::zeros(len);
        }
    }

    pub fn get(&self) -> &[f64] {
        &self.data[self.start..self.start + self.len]
    }

    pub fn get_mut(&mut self) -> &mut [f64] {
        &mut self.data[self.start..self.start + self.len]
    }
}
