//! Drives of pages: what the rails, the clock and the time of a refresh allow.

use super::chance::Chance;
use crate::design::search::rail_values;
use crate::drive::{Erase, Field, Timing};
use crate::project::{Page, Panel};

/// A page may take this much longer than the longest refresh of the panel.
const LONGER: f64 = 1.5;
/// One page in so many is mirrored.
const MIRRORED: f64 = 0.1;
const TWO_FIELDS: f64 = 0.5;
/// Pixels outside the patches: off, some on, half on, all on.
const FILLS: [f64; 4] = [0.0, 0.25, 0.5, 1.0];

/// What drives are made from.
#[derive(Debug, Clone)]
pub struct Rails<'a> {
    panel: &'a Panel,
    select_v: Vec<f64>,
    data_v: Vec<f64>,
}

impl<'a> Rails<'a> {
    pub fn of(panel: &'a Panel) -> Self {
        let select_v = rail_values(&panel.drivers.select_v);
        Rails {
            panel,
            select_v: select_v.into_iter().filter(|&v| v > 0.0).collect(),
            data_v: rail_values(&panel.drivers.data_v),
        }
    }

    /// Whether darkening fields can be driven at all.
    pub fn darkens(&self) -> bool {
        !self.select_v.is_empty()
    }

    /// A scheme as a design might come to for a threshold of about `threshold_v`: a strong field whose data stay below it,
    /// mostly with a weak one.
    pub fn scheme(&self, threshold_v: f64, chance: &mut Chance) -> Option<Page> {
        let budget_s = self.panel.limits.refresh_s;
        let strong = (chance.between(0.25, 0.7), chance.between(1.2, 2.8));
        let weak = (chance.between(0.15, 0.5), chance.between(0.9, 1.9));
        let mut fields = vec![self.field(threshold_v, strong, chance)?];
        if self.panel.drivers.fields_max > 1 && chance.happens(0.7) {
            let short_s = chance.between_log(0.03, 0.3);
            let mut field = self.field(threshold_v, weak, chance)?;
            field.slot_ticks = self.slot_ticks(&field, short_s * budget_s);
            fields.insert(chance.below(2), field);
        }
        let erase = self
            .panel
            .erases
            .get(chance.below(self.panel.erases.len()))?;
        let share = chance.between(0.6, 1.0);
        self.page(erase, fields, share * budget_s)
    }

    /// A field whose data voltage and voltage while on are so many thresholds; the longest slot.
    fn field(
        &self,
        threshold_v: f64,
        (data, on): (f64, f64),
        chance: &mut Chance,
    ) -> Option<Field> {
        let data_v = nearest(&self.data_v, data * threshold_v)?;
        Some(Field {
            select_v: nearest(&self.select_v, on * threshold_v - data_v)?,
            data_v,
            tick_us: chance.of(&self.panel.drivers.tick_us)?,
            slot_ticks: self.panel.drivers.slot_ticks_max,
            guard_ticks: chance.below(self.panel.drivers.guard_ticks_max as usize + 1) as u32,
            mirrored: false,
        })
    }

    /// Any drive that a careful operator might try: voltages over the whole rails, data below select, any slot.
    pub fn any(&self, chance: &mut Chance) -> Option<Page> {
        let drivers = &self.panel.drivers;
        let longest_s = LONGER * self.panel.limits.refresh_s;
        let count = if drivers.fields_max > 1 && chance.happens(TWO_FIELDS) {
            2
        } else {
            1
        };
        let mirrored = chance.happens(MIRRORED);
        let mut fields = Vec::new();
        for _ in 0..count {
            let ends = |values: &[f64]| Some((*values.first()?, *values.last()?));
            let (low, high) = ends(&self.select_v)?;
            let select_v = nearest(&self.select_v, chance.between_log(low, high))?;
            let (low, high) = ends(&self.data_v)?;
            let data_v = chance.between_log(low, high.min(select_v).max(low));
            let mut field = Field {
                select_v,
                data_v: nearest(&self.data_v, data_v)?,
                tick_us: chance.of(&drivers.tick_us)?,
                slot_ticks: drivers.slot_ticks_max,
                guard_ticks: chance.below(drivers.guard_ticks_max as usize + 1) as u32,
                mirrored,
            };
            let seconds = longest_s * chance.between_log(0.05, 0.9);
            field.slot_ticks = self.slot_ticks(&field, seconds);
            fields.push(field);
        }
        let erase = self
            .panel
            .erases
            .get(chance.below(self.panel.erases.len()))?;
        self.page(erase, fields, longest_s)
    }

    /// The most ticks of a slot, 1 or more, with which a field lasts no longer than so many seconds.
    fn slot_ticks(&self, field: &Field, seconds: f64) -> u32 {
        let per_row = seconds / (self.panel.rows as f64 * field.tick_s());
        let slots = per_row - f64::from(field.guard_ticks);
        let ticks = slots / if field.mirrored { 2.0 } else { 1.0 };
        (ticks.floor().max(1.0) as u32).clamp(1, self.panel.drivers.slot_ticks_max)
    }

    /// A page without patches; the longer field is shortened until it fits into `longest_s`, `None` where that won't do.
    fn page(&self, erase: &Erase, mut fields: Vec<Field>, longest_s: f64) -> Option<Page> {
        let settle_ms = self.panel.drivers.field_settle_ms;
        let seconds =
            |fields: &[Field]| Timing::of(erase, fields, self.panel.rows, settle_ms).total_s();
        let at = (0..fields.len()).max_by_key(|&i| fields[i].slot_ticks * fields[i].tick_us)?;
        let others_s = seconds(&fields) - fields[at].seconds(self.panel.rows);
        fields[at].slot_ticks = fields[at]
            .slot_ticks
            .min(self.slot_ticks(&fields[at], longest_s - others_s));
        (seconds(&fields) <= longest_s).then(|| Page {
            name: String::new(),
            temperature_c: 0.0,
            stretch: 1.0,
            erase: erase.clone(),
            fill_ticks: vec![0; fields.len()],
            fields,
            patches: Vec::new(),
        })
    }

    /// The page with one of the usual contents outside its patches.
    pub fn filled(&self, page: &Page, chance: &mut Chance) -> Page {
        let share = chance.of(&FILLS).unwrap_or(0.0);
        Page {
            fill_ticks: ticks_at(&page.fields, share),
            ..page.clone()
        }
    }
}

/// Ticks at a share of every slot.
pub fn ticks_at(fields: &[Field], share: f64) -> Vec<u32> {
    let ticks = |f: &Field| (share * f64::from(f.slot_ticks)).round() as u32;
    fields.iter().map(ticks).collect()
}

fn nearest(values: &[f64], to: f64) -> Option<f64> {
    let apart = |v: &f64| (v - to).abs();
    values
        .iter()
        .copied()
        .min_by(|a, b| apart(a).total_cmp(&apart(b)))
}
