//! One field of a frame: where the maps of its voltages stand, and what other rows do.

use super::holds::Holds;
use crate::pigment::Map;
use crate::waveforms::{Frame, Lattice};

/// Where the maps of a field's voltages stand.
pub(super) struct FieldPlaces {
    /// +1 darkening, −1 lightening.
    pub direction: f64,
    pub slot_ticks: u32,
    pub datas: usize,
    /// `[select · datas + data]`: select plus and minus data.
    pub plus: Vec<usize>,
    pub minus: Vec<usize>,
    /// Data and its negative.
    pub data: Vec<usize>,
    pub back: Vec<usize>,
    pub guard: Vec<Map>,
    /// All other rows at their lightest and darkest, `[data]`, or `[first half's data · datas + second half's]`; one a class.
    pub others: [Vec<Vec<Map>>; 2],
}

impl FieldPlaces {
    pub fn new(lattice: &Lattice, frame: &Frame, f: usize, holds: &Holds) -> Self {
        let (timing, kind) = (&frame.fields[f], &lattice.kinds[frame.kind]);
        let axes = &kind.fields[f];
        let place = |pixel_v: f64| holds.place(pixel_v, timing.tick_us);
        let both = |sign: f64| {
            let of = |s: &f64| {
                let s = *s;
                axes.data_v.iter().map(move |d| place(s + sign * d))
            };
            axes.select_v.iter().flat_map(of).collect()
        };
        let data: Vec<usize> = axes.data_v.iter().map(|&d| place(d)).collect();
        let back: Vec<usize> = axes.data_v.iter().map(|&d| place(-d)).collect();
        let guard = holds.of(place(0.0), timing.guard_ticks).to_vec();
        let others = |halves: [&[usize]; 2]| -> Vec<Vec<Map>> {
            let ended = |slot: Vec<Map>| -> Vec<Map> {
                let each = slot.iter().zip(&guard);
                each.map(|(s, g)| s.then(g).power(lattice.rows - 1))
                    .collect()
            };
            let half = |place: usize| holds.of(place, timing.slot_ticks);
            if !kind.mirrored {
                return halves[0].iter().map(|&p| ended(half(p).to_vec())).collect();
            }
            let pair = |first: &usize, second: &usize| {
                let each = half(*first).iter().zip(half(*second));
                ended(each.map(|(a, b)| a.then(b)).collect())
            };
            let pairs = |first| halves[1].iter().map(move |second| pair(first, second));
            halves[0].iter().flat_map(pairs).collect()
        };
        FieldPlaces {
            direction: axes.select_v.first().map_or(1.0, |s| s.signum()),
            slot_ticks: timing.slot_ticks,
            datas: axes.data_v.len(),
            plus: both(1.0),
            minus: both(-1.0),
            others: [others([&back, &data]), others([&data, &back])],
            data,
            back,
            guard,
        }
    }

    /// Ticks on that make a slot the `darkness`-th darkest.
    pub fn on_ticks(&self, darkness: u32) -> u32 {
        if self.direction > 0.0 {
            darkness
        } else {
            self.slot_ticks - darkness
        }
    }
}
