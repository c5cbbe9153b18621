//! `--pin`: parts of a scheme that are given.

use crate::design::pins::Pins;
use crate::design::search::{rail_values, same_v};
use crate::error::{Error, Result};
use crate::project::{Panel, Rail};
use crate::waveforms::FIELDS_MAX;
use std::path::Path;

/// The pins of the command line, each `PART=VALUE`, for a panel. Errs where a part is unknown, twice given or contradicts another,
/// and where the panel has no such value.
pub(super) fn pins(given: &[String], panel: &Panel, project: &Path) -> Result<Pins> {
    let mut pins = Pins::NONE;
    let mut seen: Vec<&str> = Vec::new();
    let file = project.join("panel.toml");
    for pin in given {
        let wrong = |expected: String| Error::Usage(format!("--pin {pin}: expected {expected}"));
        let (part, value) = pin.split_once('=').ok_or_else(|| wrong(FORM.into()))?;
        let (part, value) = (part.trim(), value.trim());
        if seen.contains(&part) {
            return Err(wrong(format!("`{part}` once, not twice")));
        }
        seen.push(part);
        let asked = Asked {
            value,
            panel,
            file: &file,
        };
        asked.put(part, &mut pins).map_err(wrong)?;
    }
    let least = pins.least_fields();
    if let Some(fields) = pins.fields.filter(|&f| f < least) {
        return Err(Error::Usage(format!(
            "--pin fields={fields}: expected {least} or more, since field{least} is pinned too"
        )));
    }
    Ok(pins)
}

const FORM: &str = "PART=VALUE, where PART is `erase`, `fields`, or `field1.` to `field3.` with `select_v`, `data_v`, `tick_us`, \
                    `slot_ticks`, `guard_ticks` or `mirrored`";

struct Asked<'a> {
    value: &'a str,
    panel: &'a Panel,
    file: &'a Path,
}

impl Asked<'_> {
    /// Puts the value where it belongs, or says what was expected.
    fn put(&self, part: &str, pins: &mut Pins) -> std::result::Result<(), String> {
        let drivers = &self.panel.drivers;
        match part {
            "erase" => {
                let names: Vec<&str> = self.panel.erases.iter().map(|e| e.name.as_str()).collect();
                let known = names.contains(&self.value);
                let told = format!("an erase of {}: {}", self.file.display(), names.join(", "));
                pins.erase = Some(known.then(|| self.value.to_owned()).ok_or(told)?);
            }
            "fields" => {
                let most = drivers.fields_max.min(FIELDS_MAX as u32);
                pins.fields = Some(self.whole(1, most, "drivers.fields_max")? as usize);
            }
            _ => self.put_field(part, pins)?,
        }
        Ok(())
    }

    fn put_field(&self, part: &str, pins: &mut Pins) -> std::result::Result<(), String> {
        let drivers = &self.panel.drivers;
        let (field, name) = part
            .strip_prefix("field")
            .and_then(|rest| rest.split_once('.'))
            .and_then(|(number, name)| Some((number.parse::<usize>().ok()?.checked_sub(1)?, name)))
            .ok_or(FORM)?;
        if field >= drivers.fields_max as usize {
            return Err(format!(
                "a field from 1 to {}, the drivers.fields_max of {}",
                drivers.fields_max,
                self.file.display()
            ));
        }
        let to = pins.field_mut(field).ok_or(FORM)?;
        match name {
            "select_v" => to.select_v = Some(self.rail(&drivers.select_v, "drivers.select_v")?),
            "data_v" => to.data_v = Some(self.rail(&drivers.data_v, "drivers.data_v")?),
            "tick_us" => {
                let ticks: Vec<String> = drivers.tick_us.iter().map(u32::to_string).collect();
                let found = drivers.tick_us.iter().find(|t| t.to_string() == self.value);
                let told = format!(
                    "one of {} µs, the drivers.tick_us of {}",
                    ticks.join(", "),
                    self.file.display()
                );
                to.tick_us = Some(*found.ok_or(told)?);
            }
            "slot_ticks" => {
                to.slot_ticks =
                    Some(self.whole(1, drivers.slot_ticks_max, "drivers.slot_ticks_max")?);
            }
            "guard_ticks" => {
                to.guard_ticks =
                    Some(self.whole(0, drivers.guard_ticks_max, "drivers.guard_ticks_max")?);
            }
            "mirrored" => to.mirrored = Some(self.value.parse().map_err(|_| "true or false")?),
            _ => return Err(FORM.into()),
        }
        Ok(())
    }

    fn whole(&self, least: u32, most: u32, key: &str) -> std::result::Result<u32, String> {
        let number = self
            .value
            .parse()
            .ok()
            .filter(|n| (least..=most).contains(n));
        number.ok_or_else(|| {
            format!(
                "a whole number from {least} to {most}, the {key} of {}",
                self.file.display()
            )
        })
    }

    /// A voltage that a rail has.
    fn rail(&self, rail: &Rail, key: &str) -> std::result::Result<f64, String> {
        let step = rail
            .step
            .map_or(String::new(), |s| format!(" in steps of {s} V"));
        let told = format!(
            "a voltage from {} to {} V{step}, the {key} of {}",
            rail.min,
            rail.max,
            self.file.display()
        );
        let asked: f64 = self.value.parse().map_err(|_| told.clone())?;
        let nearest = rail_values(rail)
            .into_iter()
            .min_by(|a, b| (a - asked).abs().total_cmp(&(b - asked).abs()));
        let near = nearest.ok_or_else(|| told.clone())?;
        if asked == 0.0 || !asked.is_finite() || !same_v(near, asked) {
            return Err(format!("{told}; the nearest is {near} V"));
        }
        Ok(near)
    }
}
