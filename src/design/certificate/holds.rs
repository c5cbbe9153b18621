//! What every class does in 0, 1, 2, … ticks at every pixel voltage of a lattice, at one climate.

use crate::design::reach::Climate;
use crate::pigment::{Map, Mover};
use crate::response::Response;
use crate::waveforms::{FieldAxes, Lattice};
use rayon::prelude::*;
use std::collections::BTreeMap;

/// Pixel voltages that are closer than this are one, V.
const APART_V: f64 = 1e-6;

/// Maps of a number of ticks at a voltage, one a class.
#[derive(Debug)]
pub struct Holds {
    pub classes: usize,
    places: BTreeMap<(i64, u32), usize>,
    /// `tables[place][ticks · classes + class]`.
    tables: Vec<Vec<Map>>,
}

impl Holds {
    /// Of all pixel voltages that own and other slots of the lattice's fields can have, and 0 V.
    pub fn new(lattice: &Lattice, response: &Response, climate: Climate) -> Self {
        let movers = response.movers(climate.temperature_c, climate.stretch);
        let mut wanted: BTreeMap<(i64, u32), (f64, u32)> = BTreeMap::new();
        let most = |axes: &FieldAxes| {
            let guards = axes.guard_ticks.iter().copied().max().unwrap_or(0);
            lattice.slot_ticks_max.max(guards)
        };
        for axes in lattice.kinds.iter().flat_map(|k| &k.fields) {
            for &tick_us in &axes.tick_us {
                let mut want = |pixel_v: f64| {
                    let entry = wanted.entry(key(pixel_v, tick_us)).or_insert((pixel_v, 0));
                    entry.1 = entry.1.max(most(axes));
                };
                want(0.0);
                for &data_v in &axes.data_v {
                    want(data_v);
                    want(-data_v);
                    for &select_v in &axes.select_v {
                        want(select_v + data_v);
                        want(select_v - data_v);
                    }
                }
            }
        }
        let places = wanted.keys().enumerate().map(|(i, k)| (*k, i)).collect();
        let all: Vec<((i64, u32), (f64, u32))> = wanted.into_iter().collect();
        let table = |&((_, tick_us), (pixel_v, ticks)): &((i64, u32), (f64, u32))| {
            powers(&movers, pixel_v, f64::from(tick_us) * 1e-6, ticks)
        };
        Holds {
            classes: movers.len(),
            places,
            tables: all.par_iter().map(table).collect(),
        }
    }

    /// Where the maps of a pixel voltage and a tick stand, for [`Holds::of`]; only those of the lattice's fields are there.
    pub fn place(&self, pixel_v: f64, tick_us: u32) -> usize {
        self.places[&key(pixel_v, tick_us)]
    }

    /// The maps of so many ticks, one a class.
    #[inline]
    pub fn of(&self, place: usize, ticks: u32) -> &[Map] {
        let from = ticks as usize * self.classes;
        &self.tables[place][from..from + self.classes]
    }
}

fn key(pixel_v: f64, tick_us: u32) -> (i64, u32) {
    ((pixel_v / APART_V).round() as i64, tick_us)
}

fn powers(movers: &[Mover], pixel_v: f64, tick_s: f64, ticks: u32) -> Vec<Map> {
    let ones: Vec<Map> = movers.iter().map(|m| m.hold(pixel_v, tick_s)).collect();
    let mut all = vec![Map::IDENTITY; movers.len()];
    for n in 0..ticks as usize {
        let from = n * ones.len();
        for (k, one) in ones.iter().enumerate() {
            all.push(all[from + k].then(one));
        }
    }
    all
}
