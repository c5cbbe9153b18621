//! Schemes that were found for another request, as places on the grid at hand.

use super::grid::{FieldPlace, Grid, Place};
use super::{PRICE_LSTAR, Ranked, Search};
use crate::design::reach::Scheme;
use crate::drive::{Erase, Field};

impl Search<'_> {
    /// The place on the grid that comes nearest to a scheme with its durations `factor` as long, and keeps the budget; none
    /// where the grid has no such field.
    pub fn nearest(&self, scheme: &Scheme, factor: f64) -> Option<Place> {
        let fields_max = self.space.drivers.fields_max as usize;
        let own = scheme.fields.iter().take(fields_max).enumerate();
        let fields = own.map(|(i, f)| {
            let near = self.grid.nearest_field(f, factor)?;
            Some(self.grid.pinned(i, near))
        });
        let place = Place {
            erase: self.grid.nearest_erase(&scheme.erase, factor)?,
            fields: fields.collect::<Option<_>>()?,
        };
        let place = self.grid.brought_into_budget(place)?;
        self.grid.admits(&place).then_some(place)
    }

    /// A place as it stands, judged but not moved.
    pub fn standing(&self, place: Place) -> Ranked {
        self.ranked(place, PRICE_LSTAR)
    }
}

impl Grid<'_> {
    /// That of the same name, or any, whose strokes last most nearly as long.
    fn nearest_erase(&self, erase: &Erase, factor: f64) -> Option<usize> {
        let strokes_ms = |e: &Erase| e.strokes.iter().map(|s| s.ms).sum::<f64>();
        let far = |e: &Erase| {
            let longer_ms = (strokes_ms(e) - factor * strokes_ms(erase)).abs();
            (e.name != erase.name, longer_ms)
        };
        (0..self.erases.len()).min_by(|&a, &b| {
            let (a, b) = (far(&self.erases[a]), far(&self.erases[b]));
            a.0.cmp(&b.0).then(a.1.total_cmp(&b.1))
        })
    }

    fn nearest_field(&self, field: &Field, factor: f64) -> Option<FieldPlace> {
        let ticks: Vec<f64> = self.drivers.tick_us.iter().map(|&t| f64::from(t)).collect();
        let tick = nearest(&ticks, f64::from(field.tick_us))?;
        let scaled = |count: u32, most: u32| {
            let was_us = factor * f64::from(count) * f64::from(field.tick_us);
            ((was_us / ticks[tick]).round() as u32).min(most)
        };
        Some(FieldPlace {
            select: nearest(&self.select_v, field.select_v)?,
            data: nearest(&self.data_v, field.data_v)?,
            tick,
            slot: scaled(field.slot_ticks, self.drivers.slot_ticks_max).max(1),
            guard: scaled(field.guard_ticks, self.drivers.guard_ticks_max),
            mirrored: field.mirrored,
        })
    }
}

/// Index of the entry nearest to a value.
fn nearest(values: &[f64], value: f64) -> Option<usize> {
    let far = |i: &usize| (values[*i] - value).abs();
    (0..values.len()).min_by(|a, b| far(a).total_cmp(&far(b)))
}
