//! The stated grid: every scheme that an exhaustive search has to answer for.

use crate::drive::{Erase, Field, Timing};
use serde::{Deserialize, Serialize};

/// Fields of a scheme on a grid, and fields that can be pinned, at most.
pub const FIELDS_MAX: usize = 3;

/// Ticks by which time may be missed in rounding.
const ROUNDING: f64 = 1e-9;

/// What one field may be.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FieldAxes {
    /// Rising, all of one sign.
    pub select_v: Vec<f64>,
    /// Rising, above 0.
    pub data_v: Vec<f64>,
    pub tick_us: Vec<u32>,
    /// Empty of the field that fills the time: its slot is as long as that allows.
    pub slot_ticks: Vec<u32>,
    pub guard_ticks: Vec<u32>,
}

/// Schemes of one kind: so many fields in this order.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Kind {
    pub fields: Vec<FieldAxes>,
    /// Index of the field whose slot is as long as the time allows.
    pub filling: usize,
    /// Of all fields.
    pub mirrored: bool,
}

/// Everything that an exhaustive search goes through, for one band.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Lattice {
    pub rows: usize,
    pub settle_ms: f64,
    /// What a refresh may take before stretching, s.
    pub refresh_s: f64,
    pub slot_ticks_max: u32,
    pub erases: Vec<Erase>,
    pub kinds: Vec<Kind>,
}

/// A kind with all durations fixed: what is left are the voltages.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Frame {
    pub kind: usize,
    pub erase: usize,
    pub fields: Vec<FieldTiming>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FieldTiming {
    pub tick_us: u32,
    pub slot_ticks: u32,
    pub guard_ticks: u32,
}

impl FieldTiming {
    /// A field of these durations.
    pub fn field(&self, select_v: f64, data_v: f64, mirrored: bool) -> Field {
        Field {
            select_v,
            data_v,
            tick_us: self.tick_us,
            slot_ticks: self.slot_ticks,
            guard_ticks: self.guard_ticks,
            mirrored,
        }
    }
}

impl Kind {
    /// Which of the fields lighten.
    pub fn lightening(&self) -> Vec<bool> {
        let of = |f: &FieldAxes| f.select_v.first().is_some_and(|&s| s < 0.0);
        self.fields.iter().map(of).collect()
    }

    /// Voltages of the select and data axes of each field: S₁ × D₁ × S₂ × …
    pub fn voltages(&self) -> u64 {
        let of = |f: &FieldAxes| (f.select_v.len() * f.data_v.len()) as u64;
        self.fields.iter().map(of).fold(1, u64::saturating_mul)
    }
}

impl Lattice {
    /// Every frame that leaves the filling field at least one tick.
    pub fn frames(&self) -> Vec<Frame> {
        let mut frames = Vec::new();
        for erase in 0..self.erases.len() {
            for kind in 0..self.kinds.len() {
                self.add_frames(erase, kind, &mut Vec::new(), &mut frames);
            }
        }
        frames
    }

    /// No more frames than this: those that time leaves out with them.
    pub fn frames_at_most(&self) -> u64 {
        let of = |f: &FieldAxes| {
            let slots = f.slot_ticks.len().max(1);
            (f.tick_us.len() * f.guard_ticks.len()).saturating_mul(slots) as u64
        };
        let kind = |k: &Kind| k.fields.iter().map(of).fold(1, u64::saturating_mul);
        let kinds = self.kinds.iter().map(kind).fold(0, u64::saturating_add);
        kinds.saturating_mul(self.erases.len() as u64)
    }

    /// Schemes in a frame.
    pub fn schemes_in(&self, frame: &Frame) -> u64 {
        self.kinds[frame.kind].voltages()
    }

    /// Schemes of the whole lattice.
    pub fn schemes(&self) -> u64 {
        let each = self.frames();
        each.iter()
            .map(|f| self.schemes_in(f))
            .fold(0, u64::saturating_add)
    }

    /// The fields of a frame at these places on its axes, select and data in turn, field by field.
    pub fn fields(&self, frame: &Frame, places: &[usize]) -> Vec<Field> {
        let kind = &self.kinds[frame.kind];
        let each = frame.fields.iter().zip(&kind.fields).zip(places.chunks(2));
        let field = |((timing, axes), place): ((&FieldTiming, &FieldAxes), &[usize])| {
            let (select_v, data_v) = (axes.select_v[place[0]], axes.data_v[place[1]]);
            timing.field(select_v, data_v, kind.mirrored)
        };
        each.map(field).collect()
    }

    fn add_frames(
        &self,
        erase: usize,
        kind: usize,
        done: &mut Vec<FieldTiming>,
        frames: &mut Vec<Frame>,
    ) {
        let of = &self.kinds[kind];
        let Some(axes) = of.fields.get(done.len()) else {
            if let Some(fields) = self.filled(erase, of, done) {
                frames.push(Frame {
                    kind,
                    erase,
                    fields,
                });
            }
            return;
        };
        let slots: &[u32] = if axes.slot_ticks.is_empty() {
            &[0]
        } else {
            &axes.slot_ticks
        };
        for &tick_us in &axes.tick_us {
            for &slot_ticks in slots {
                for &guard_ticks in &axes.guard_ticks {
                    done.push(FieldTiming {
                        tick_us,
                        slot_ticks,
                        guard_ticks,
                    });
                    self.add_frames(erase, kind, done, frames);
                    done.pop();
                }
            }
        }
    }

    /// The timings with the filling field's slot as long as the time allows, where it isn't given.
    fn filled(&self, erase: usize, kind: &Kind, done: &[FieldTiming]) -> Option<Vec<FieldTiming>> {
        let fields: Vec<Field> = done
            .iter()
            .map(|t| t.field(1.0, 1.0, kind.mirrored))
            .collect();
        let erase = &self.erases[erase];
        let taken_s = Timing::of(erase, &fields, self.rows, self.settle_ms).total_s();
        let mut filled = done.to_vec();
        let filling = &mut filled[kind.filling];
        let halves = if kind.mirrored { 2.0 } else { 1.0 };
        let slot_tick_s = self.rows as f64 * f64::from(filling.tick_us) * 1e-6 * halves;
        let left = (self.refresh_s - taken_s) / slot_tick_s + ROUNDING;
        if filling.slot_ticks > 0 {
            return (left >= 0.0).then_some(filled);
        }
        let ticks = left.floor().min(f64::from(self.slot_ticks_max));
        filling.slot_ticks = ticks.max(0.0) as u32;
        (filling.slot_ticks > 0).then_some(filled)
    }
}
