//! The drivers' grid: schemes as places on it, moves between them, and the budget they must keep.

use crate::design::pins::Pins;
use crate::design::reach::Scheme;
use crate::drive::{Erase, Field, Timing};
use crate::project::{Drivers, Rail};

/// Values that stand for a rail without a step.
const CONTINUOUS_PARTS: f64 = 160.0;

/// The voltages of a rail, V, rising.
pub fn rail_values(rail: &Rail) -> Vec<f64> {
    let step = rail
        .step
        .unwrap_or((rail.max - rail.min) / CONTINUOUS_PARTS);
    if step <= 0.0 {
        return vec![rail.min];
    }
    let count = ((rail.max - rail.min) / step + 1e-9).floor() as usize;
    // Rounded so that 0.1 + 2·0.1 prints as 0.3.
    let at = |i: usize| ((rail.min + i as f64 * step) * 1e9).round() / 1e9;
    (0..=count).map(at).collect()
}

/// Choices of ticks that a scheme may have at most: more take long to evaluate and resolve nothing further.
const CHOICES_MAX: u64 = 1 << 16;
/// Voltages closer than this are one, V.
const SAME_V: f64 = 1e-6;

/// Whether two voltages are one.
pub fn same_v(a: f64, b: f64) -> bool {
    (a - b).abs() < SAME_V
}

/// A scheme as a place on the grid.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Place {
    pub(super) erase: usize,
    pub(super) fields: Vec<FieldPlace>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct FieldPlace {
    pub select: usize,
    pub data: usize,
    pub tick: usize,
    pub slot: u32,
    pub guard: u32,
    pub mirrored: bool,
}

/// What a move changes in a field.
#[derive(Debug, Clone, Copy)]
enum Gene {
    Select,
    Data,
    Tick,
    Slot,
    Guard,
}

const GENES: [Gene; 5] = [
    Gene::Select,
    Gene::Data,
    Gene::Tick,
    Gene::Slot,
    Gene::Guard,
];
const STRIDES: [i64; 6] = [1, -1, 3, -3, 8, -8];

/// The places that the drivers, the erases and the budget allow.
#[derive(Debug, Clone)]
pub(super) struct Grid<'a> {
    pub drivers: &'a Drivers,
    pub erases: Vec<Erase>,
    pub rows: usize,
    /// Longest refresh at any temperature, s.
    pub budget_s: f64,
    /// The stretch that the budget must allow for.
    pub stretch: f64,
    pub select_v: Vec<f64>,
    pub data_v: Vec<f64>,
    pub pins: &'a Pins,
}

impl Grid<'_> {
    /// The place of a scheme; `None` where it has none.
    pub fn place_of(&self, scheme: &Scheme) -> Option<Place> {
        let at = |values: &[f64], v: f64| values.iter().position(|&x| same_v(x, v));
        let field = |f: &Field| {
            Some(FieldPlace {
                select: at(&self.select_v, f.select_v)?,
                data: at(&self.data_v, f.data_v)?,
                tick: self.drivers.tick_us.iter().position(|&t| t == f.tick_us)?,
                slot: f.slot_ticks,
                guard: f.guard_ticks,
                mirrored: f.mirrored,
            })
        };
        Some(Place {
            erase: self.erases.iter().position(|e| *e == scheme.erase)?,
            fields: scheme.fields.iter().map(field).collect::<Option<_>>()?,
        })
    }

    pub fn scheme(&self, place: &Place) -> Scheme {
        let field = |f: &FieldPlace| Field {
            select_v: self.select_v[f.select],
            data_v: self.data_v[f.data],
            tick_us: self.drivers.tick_us[f.tick],
            slot_ticks: f.slot,
            guard_ticks: f.guard,
            mirrored: f.mirrored,
        };
        Scheme {
            erase: self.erases[place.erase].clone(),
            fields: place.fields.iter().map(field).collect(),
        }
    }

    /// Whether a place has what is pinned.
    pub fn admits(&self, place: &Place) -> bool {
        let free = |pin: Option<f64>, v: f64| pin.is_none_or(|p| same_v(p, v));
        let field = |(f, at): (usize, &FieldPlace)| {
            let pins = self.pins.field(f);
            free(pins.select_v, self.select_v[at.select])
                && free(pins.data_v, self.data_v[at.data])
                && pins
                    .tick_us
                    .is_none_or(|t| t == self.drivers.tick_us[at.tick])
                && pins.slot_ticks.is_none_or(|s| s == at.slot)
                && pins.guard_ticks.is_none_or(|g| g == at.guard)
                && pins.mirrored.is_none_or(|m| m == at.mirrored)
        };
        self.pins.admit_fields(place.fields.len()) && place.fields.iter().enumerate().all(field)
    }

    /// A field with what is pinned of the `f`-th; as it is where the drivers have no such value.
    pub fn pinned(&self, f: usize, mut field: FieldPlace) -> FieldPlace {
        let pins = self.pins.field(f);
        let at = |values: &[f64], pin: Option<f64>| {
            pin.and_then(|p| values.iter().position(|&v| same_v(v, p)))
        };
        let ticks = &self.drivers.tick_us;
        let tick = pins
            .tick_us
            .and_then(|p| ticks.iter().position(|&t| t == p));
        field.select = at(&self.select_v, pins.select_v).unwrap_or(field.select);
        field.data = at(&self.data_v, pins.data_v).unwrap_or(field.data);
        field.tick = tick.unwrap_or(field.tick);
        field.guard = pins.guard_ticks.unwrap_or(field.guard);
        field.mirrored = pins.mirrored.unwrap_or(field.mirrored);
        field
    }

    /// Refresh before stretching, s.
    pub fn unstretched_s(&self, scheme: &Scheme) -> f64 {
        Timing::of(
            &scheme.erase,
            &scheme.fields,
            self.rows,
            self.drivers.field_settle_ms,
        )
        .total_s()
    }

    /// What the budget leaves, s, before stretching.
    fn spare_s(&self, place: &Place) -> f64 {
        self.budget_s / self.stretch - self.unstretched_s(&self.scheme(place))
    }

    /// Ticks of a field's slot that fill `seconds` over all rows, possibly negative.
    fn ticks_in(&self, field: &FieldPlace, seconds: f64) -> i64 {
        (seconds / (self.rows as f64 * self.tick_s(field)) + 1e-9).floor() as i64
    }

    /// Seconds of one tick of a slot, its mirror image with it.
    fn tick_s(&self, field: &FieldPlace) -> f64 {
        let halves = if field.mirrored { 2.0 } else { 1.0 };
        halves * f64::from(self.drivers.tick_us[field.tick]) * 1e-6
    }

    pub fn longest_tick(&self) -> usize {
        let ticks = &self.drivers.tick_us;
        (0..ticks.len()).max_by_key(|&i| ticks[i]).unwrap_or(0)
    }

    /// The fields with slots that fill the budget in these shares; none where a field gets no tick.
    pub fn filled(&self, erase: usize, fields: &[FieldPlace], shares: &[f64]) -> Option<Place> {
        let mut place = Place {
            erase,
            fields: fields.to_vec(),
        };
        let pinned: Vec<Option<u32>> = (0..fields.len())
            .map(|f| self.pins.field(f).slot_ticks)
            .collect();
        for (field, pinned) in place.fields.iter_mut().zip(&pinned) {
            field.slot = pinned.unwrap_or(0);
        }
        let left_s = self.spare_s(&place);
        let free = shares.iter().zip(&pinned).filter(|(_, p)| p.is_none());
        let whole: f64 = free.map(|(share, _)| share).sum();
        for ((field, share), pinned) in place.fields.iter_mut().zip(shares).zip(&pinned) {
            if pinned.is_none() {
                let ticks = self.ticks_in(field, left_s * share / whole);
                field.slot = ticks.clamp(0, i64::from(self.drivers.slot_ticks_max)) as u32;
            }
        }
        if left_s < 0.0 {
            return None;
        }
        (place.fields.iter().all(|f| f.slot > 0) && is_countable(&place)).then_some(place)
    }

    /// The place itself where it keeps the budget, else with its slots shortened alike.
    pub fn brought_into_budget(&self, place: Place) -> Option<Place> {
        if self.spare_s(&place) >= 0.0 {
            return Some(place);
        }
        let seconds: Vec<f64> = place
            .fields
            .iter()
            .map(|f| f64::from(f.slot) * self.tick_s(f))
            .collect();
        let whole: f64 = seconds.iter().sum();
        let shares: Vec<f64> = seconds
            .iter()
            .map(|s| s / whole.max(f64::MIN_POSITIVE))
            .collect();
        self.filled(place.erase, &place.fields, &shares)
    }

    /// Places one move away that keep the budget: another erase; each part of a field alone and of all fields together,
    /// by several strides; select and data of a field together.
    pub fn neighbours(&self, place: &Place) -> Vec<Place> {
        let with_erase = |erase| {
            Some(Place {
                erase,
                ..place.clone()
            })
        };
        let mut near: Vec<Option<Place>> = (0..self.erases.len()).map(with_erase).collect();
        for stride in STRIDES {
            for gene in GENES {
                let mut everywhere = Some(place.clone());
                for f in 0..place.fields.len() {
                    near.push(self.moved(place, f, gene, stride));
                    everywhere = everywhere.and_then(|p| self.moved(&p, f, gene, stride));
                }
                near.push(everywhere);
            }
            for f in 0..place.fields.len() {
                // S − D or S + D stays about where it was.
                let selected = self.moved(place, f, Gene::Select, stride);
                for data in [2 * stride, -2 * stride] {
                    near.push(
                        selected
                            .as_ref()
                            .and_then(|p| self.moved(p, f, Gene::Data, data)),
                    );
                }
            }
        }
        let mut all: Vec<Place> = Vec::new();
        for p in near.into_iter().flatten().flat_map(|p| self.fitted(p)) {
            if p != *place && is_countable(&p) && self.admits(&p) && !all.contains(&p) {
                all.push(p);
            }
        }
        all
    }

    fn moved(&self, place: &Place, f: usize, gene: Gene, stride: i64) -> Option<Place> {
        let mut moved = place.clone();
        let field = &mut moved.fields[f];
        let drivers = self.drivers;
        let step = |at: usize, len: usize| {
            let to = at as i64 + stride;
            (0..len as i64).contains(&to).then_some(to as usize)
        };
        let count = |at: u32, most: u32| step(at as usize, most as usize + 1).map(|to| to as u32);
        match gene {
            Gene::Select => field.select = step(field.select, self.select_v.len())?,
            Gene::Data => field.data = step(field.data, self.data_v.len())?,
            Gene::Tick => {
                let was = u64::from(drivers.tick_us[field.tick]);
                field.tick = step(field.tick, drivers.tick_us.len())?;
                let is = u64::from(drivers.tick_us[field.tick]);
                let scaled =
                    |t: u32, most: u32| (u64::from(t) * was / is).min(u64::from(most)) as u32;
                field.slot = scaled(field.slot, drivers.slot_ticks_max).max(1);
                field.guard = scaled(field.guard, drivers.guard_ticks_max);
            }
            Gene::Slot => field.slot = count(field.slot, drivers.slot_ticks_max)?,
            Gene::Guard => field.guard = count(field.guard, drivers.guard_ticks_max)?,
        }
        (moved.fields[f].slot > 0).then_some(moved)
    }

    /// The place with each field's slot in turn made as long as the budget allows, or shortened to fit; and as it
    /// stands where it fits.
    fn fitted(&self, place: Place) -> Vec<Place> {
        let spare_s = self.spare_s(&place);
        let mut all = Vec::new();
        for (f, field) in place.fields.iter().enumerate() {
            let slot = i64::from(field.slot) + self.ticks_in(field, spare_s);
            if slot >= 1 {
                let mut fitted = place.clone();
                fitted.fields[f].slot = slot.min(i64::from(self.drivers.slot_ticks_max)) as u32;
                all.push(fitted);
            }
        }
        if spare_s >= 0.0 {
            all.push(place);
        }
        all
    }
}

fn is_countable(place: &Place) -> bool {
    place
        .fields
        .iter()
        .map(|f| u64::from(f.slot) + 1)
        .product::<u64>()
        <= CHOICES_MAX
}
