//! The grid that a certificate speaks of: the drivers' own, thinned where a finer one would change little.

use crate::design::pins::{FieldPins, Pins};
use crate::design::search::rail_values;
use crate::drive::Erase;
use crate::project::Drivers;
use crate::waveforms::{FIELDS_MAX, FieldAxes, Kind, Lattice};

/// How fine the grid is: values on the axes of a field that fills the time, of a short one beside it, and of the short ones of
/// three, at most.
#[derive(Debug, Clone, Copy)]
pub struct Mesh {
    /// Select and data voltages.
    pub filling: (usize, usize),
    pub short: (usize, usize),
    pub shorter: (usize, usize),
}

impl Mesh {
    /// For certificates.
    pub const FINE: Mesh = Mesh {
        filling: (33, 19),
        short: (13, 5),
        shorter: (6, 3),
    };
    /// To find a start.
    pub const COARSE: Mesh = Mesh {
        filling: (11, 9),
        short: (9, 4),
        shorter: (4, 2),
    };
    /// To see what other kinds of schemes come to.
    pub const SPARSE: Mesh = Mesh {
        filling: (8, 6),
        short: (6, 3),
        shorter: (3, 2),
    };
}

/// Ticks of the slots of a field beside the one that fills the time, and of two.
const SHORT_SLOTS: [u32; 3] = [2, 6, 18];
const SHORTER_SLOTS: [u32; 2] = [4, 16];

/// What a lattice is laid over.
#[derive(Debug, Clone, Copy)]
pub struct Ground<'a> {
    pub drivers: &'a Drivers,
    pub erases: &'a [Erase],
    pub rows: usize,
    /// Before stretching, s.
    pub refresh_s: f64,
    pub pins: &'a Pins,
}

impl Ground<'_> {
    /// Every number of fields that the drivers have, up to three; each order of a field that fills the time and shorter ones;
    /// lightening fields after a darkening one where the rails go below zero; plain, and all fields mirrored.
    pub fn lattice(&self, mesh: &Mesh) -> Lattice {
        let mut kinds = Vec::new();
        for count in 1..=FIELDS_MAX.min(self.drivers.fields_max as usize) {
            if !self.pins.admit_fields(count) {
                continue;
            }
            for filling in 0..count {
                for lightening in 0..1u32 << (count - 1) {
                    for mirrored in [false, true] {
                        kinds.extend(self.kind(mesh, count, filling, lightening << 1, mirrored));
                    }
                }
            }
        }
        Lattice {
            rows: self.rows,
            settle_ms: self.drivers.field_settle_ms,
            refresh_s: self.refresh_s,
            slot_ticks_max: self.drivers.slot_ticks_max,
            erases: self.erases.to_vec(),
            kinds,
        }
    }

    fn kind(
        &self,
        mesh: &Mesh,
        count: usize,
        filling: usize,
        lightening: u32,
        mirrored: bool,
    ) -> Option<Kind> {
        let fields = (0..count).map(|f| {
            let pins = self.pins.field(f);
            if pins.mirrored.is_some_and(|m| m != mirrored) {
                return None;
            }
            let (volts, slots): (_, &[u32]) = if f == filling {
                (mesh.filling, &[])
            } else if count < 3 {
                (mesh.short, &SHORT_SLOTS)
            } else {
                (mesh.shorter, &SHORTER_SLOTS)
            };
            self.axes(volts, slots, lightening >> f & 1 == 1, &pins, count)
        });
        Some(Kind {
            fields: fields.collect::<Option<_>>()?,
            filling,
            mirrored,
        })
    }

    /// The axes of one field; `None` where its rails have no such voltage.
    fn axes(
        &self,
        (selects, datas): (usize, usize),
        slots: &[u32],
        lightening: bool,
        pins: &FieldPins,
        count: usize,
    ) -> Option<FieldAxes> {
        let drivers = self.drivers;
        let of_sign = |v: &f64| if lightening { *v < 0.0 } else { *v > 0.0 };
        let select_v = rail_values(&drivers.select_v).into_iter().filter(of_sign);
        let select_v = spread(&select_v.collect::<Vec<_>>(), selects);
        let data_v = spread(&rail_values(&drivers.data_v), datas);
        let mut ticks = drivers.tick_us.clone();
        ticks.sort_unstable();
        let ticks = match (ticks.first(), ticks.last()) {
            (Some(&shortest), Some(&longest)) if shortest != longest && count < 3 => {
                vec![shortest, longest]
            }
            _ if slots.is_empty() => ticks.last().copied().into_iter().collect(),
            _ => ticks.first().copied().into_iter().collect(),
        };
        let most = drivers.guard_ticks_max;
        let mut guards = vec![0, most / 2];
        guards.extend(slots.is_empty().then_some(most));
        guards.dedup();
        let slots = slots.iter().copied();
        let slots: Vec<u32> = slots.filter(|&s| s <= drivers.slot_ticks_max).collect();
        let select_v = match pins.select_v {
            Some(pinned) if (pinned < 0.0) == lightening => vec![pinned],
            Some(_) => Vec::new(),
            None => select_v,
        };
        let axes = FieldAxes {
            select_v,
            data_v: pins.data_v.map_or(data_v, |v| vec![v]),
            tick_us: pins.tick_us.map_or(ticks, |t| vec![t]),
            slot_ticks: pins.slot_ticks.map_or(slots, |s| vec![s]),
            guard_ticks: pins.guard_ticks.map_or(guards, |g| vec![g]),
        };
        (!axes.select_v.is_empty() && !axes.data_v.is_empty()).then_some(axes)
    }
}

/// At most so many of some values, evenly spread, both ends among them.
fn spread(values: &[f64], most: usize) -> Vec<f64> {
    if values.len() <= most {
        return values.to_vec();
    }
    let last = values.len() - 1;
    (0..most).map(|i| values[i * last / (most - 1)]).collect()
}
