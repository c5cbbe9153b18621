//! Ranges of voltages at fixed durations.

use crate::waveforms::{FIELDS_MAX, Frame, Lattice};

/// Ranges of places on the axes of a frame, both ends included: select and data in turn, field by field.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Region {
    pub low: [u16; 2 * FIELDS_MAX],
    pub high: [u16; 2 * FIELDS_MAX],
    pub axes: usize,
}

impl Region {
    /// All voltages of a frame.
    pub fn whole(lattice: &Lattice, frame: &Frame) -> Self {
        let axes = &lattice.kinds[frame.kind].fields;
        let mut high = [0; 2 * FIELDS_MAX];
        for (f, axes) in axes.iter().enumerate() {
            high[2 * f] = (axes.select_v.len() - 1) as u16;
            high[2 * f + 1] = (axes.data_v.len() - 1) as u16;
        }
        Region {
            low: [0; 2 * FIELDS_MAX],
            high,
            axes: 2 * axes.len(),
        }
    }

    /// Schemes in the region.
    pub fn schemes(&self) -> u64 {
        let each = self.low.iter().zip(&self.high).take(self.axes);
        each.map(|(l, h)| u64::from(h - l) + 1).product()
    }

    /// Its only scheme's places, where there is just one.
    pub fn single(&self) -> Option<Vec<usize>> {
        let places = self.low[..self.axes].iter().map(|&p| usize::from(p));
        (self.low == self.high).then(|| places.collect())
    }

    /// The first and the last place of every axis.
    pub fn ends(&self) -> [Vec<usize>; 2] {
        [&self.low, &self.high].map(|p| p[..self.axes].iter().map(|&p| usize::from(p)).collect())
    }

    /// Two halves along an axis.
    pub fn halves(&self, axis: usize) -> [Region; 2] {
        let middle = (self.low[axis] + self.high[axis]) / 2;
        let (mut first, mut second) = (*self, *self);
        first.high[axis] = middle;
        second.low[axis] = middle + 1;
        [first, second]
    }
}
