//! `panel.toml`: the panel, its drivers, erases, limits and instrument.

use super::input_file::InputFile;
use super::keys::{self, Keys};
use super::limits::*;
use super::types::*;
use crate::drive::{Erase, Stroke};
use crate::error::Result;
use std::collections::BTreeSet;
use std::path::Path;

/// The erase that a chart names to get that of a finished set's band; no erase of a panel may be called so.
pub const BAND_ERASE: &str = "band";

/// Reads and checks the description of a panel. Errs with every wrong place of the file.
pub fn read_panel(path: &Path) -> Result<Panel> {
    let file = InputFile::read(path, "read the panel's description", PANEL_BYTES_MAX)?;
    let panel = keys::parse(&file).and_then(|table| panel(Keys::root(&file, &table)));
    file.finish(panel)
}

fn panel(mut keys: Keys) -> Option<Panel> {
    let name = keys.name("name");
    let rows = keys.count("rows", LINES);
    let columns = keys.count("columns", LINES);
    let pixel_pitch_um = keys.number("pixel_pitch_um", PITCH_UM);
    let lines = keys.table("lines").and_then(lines);
    let drivers = keys.table("drivers").and_then(drivers);
    let erases = keys.tables("erase", CHOICES).and_then(erases);
    let limits = keys.table("limits").and_then(limits);
    let instrument = keys.table("instrument").and_then(instrument);
    let spread = match keys.has("spread") {
        true => keys.optional_table("spread").and_then(spread),
        false => Some(UnitSpread::default()),
    };
    keys.done();
    Some(Panel {
        name: name?,
        rows: rows? as usize,
        columns: columns? as usize,
        pixel_pitch_um: pixel_pitch_um?,
        lines: lines?,
        drivers: drivers?,
        erases: erases?,
        limits: limits?,
        instrument: instrument?,
        spread: spread?,
    })
}

fn lines(mut keys: Keys) -> Option<Lines> {
    let row_ohm = keys.number("row_ohm", LINE_OHM);
    let column_ohm = keys.number("column_ohm", LINE_OHM);
    let pixel_f = keys.number("pixel_f", PIXEL_F);
    let driver_ohm = keys.number("driver_ohm", LINE_OHM);
    keys.done();
    Some(Lines {
        row_ohm: row_ohm?,
        column_ohm: column_ohm?,
        pixel_f: pixel_f?,
        driver_ohm: driver_ohm?,
    })
}

fn drivers(mut keys: Keys) -> Option<Drivers> {
    let select_v = keys.table("select_v").and_then(|k| rail(k, VOLTAGE_V));
    let data_v = keys.table("data_v").and_then(|k| rail(k, DATA_V));
    let tick_us = keys.counts("tick_us", TICK_US, CHOICES);
    let slot_ticks_max = keys.count("slot_ticks_max", SLOT_TICKS);
    let guard_ticks_max = keys.count("guard_ticks_max", GUARD_TICKS);
    let fields_max = keys.count("fields_max", FIELDS);
    let zones_max = keys.count_or("zones_max", ZONES, USUAL_ZONES);
    let field_settle_ms = keys.number("field_settle_ms", PAUSE_MS);
    let resting_balance = keys.truth_or("resting_balance", true);
    let stretch = keys.optional_table("stretch").and_then(stretch);
    if tick_us
        .as_ref()
        .is_some_and(|ticks| ticks.iter().collect::<BTreeSet<_>>().len() < ticks.len())
    {
        keys.wrong("tick_us", "each tick once");
    }
    keys.done();
    Some(Drivers {
        select_v: select_v?,
        data_v: data_v?,
        tick_us: tick_us?,
        slot_ticks_max: slot_ticks_max?,
        guard_ticks_max: guard_ticks_max?,
        fields_max: fields_max?,
        zones_max: zones_max?,
        field_settle_ms: field_settle_ms?,
        resting_balance: resting_balance?,
        stretch,
    })
}

fn rail(mut keys: Keys, bounds: Bounds) -> Option<Rail> {
    let min = keys.number("min", bounds);
    let max = keys.number("max", bounds);
    let step = keys.optional_number("step", RAIL_STEP_V);
    check_order(&keys, min, max);
    if let (Some(min), Some(max), Some(step)) = (min, max, step)
        && (max - min) / step > f64::from(RAIL_VALUES.max - 1)
    {
        keys.wrong(
            "step",
            format!(
                "a step with at most {} values from {min} to {max} V",
                RAIL_VALUES.max
            ),
        );
    }
    let last_step_v = step.unwrap_or(0.0);
    if let (Some(0.0), Some(max)) = (min, max)
        && (max == 0.0 || (0.0..last_step_v).contains(&max))
    {
        keys.wrong("max", "a rail with a voltage other than 0");
    }
    keys.done();
    Some(Rail {
        min: min?,
        max: max?,
        step,
    })
}

fn stretch(mut keys: Keys) -> Option<StretchRange> {
    let min = keys.number("min", STRETCH);
    let max = keys.number("max", STRETCH);
    let step = keys.number("step", STRETCH_STEP);
    check_order(&keys, min, max);
    // A band's durations stand as they are at its design temperature.
    if let (Some(min), Some(max)) = (min, max)
        && min <= max
        && !(min..=max).contains(&1.0)
    {
        let key = if min > 1.0 { "min" } else { "max" };
        keys.wrong(key, "a range that holds 1, the clock as it stands");
    }
    keys.done();
    Some(StretchRange {
        min: min?,
        max: max?,
        step: step?,
    })
}

fn check_order(keys: &Keys, min: Option<f64>, max: Option<f64>) {
    if let (Some(min), Some(max)) = (min, max)
        && min > max
    {
        keys.wrong("min", format!("at most max, which is {max}"));
    }
}

fn erases(tables: Vec<Keys>) -> Option<Vec<Erase>> {
    let mut erases: Vec<Erase> = Vec::new();
    let mut complete = true;
    for mut keys in tables {
        let name = keys.name("name");
        if name.as_deref() == Some(BAND_ERASE) {
            keys.wrong(
                "name",
                "another name: `band` stands for the erase of a finished set",
            );
        }
        if let Some(earlier) = erases.iter().position(|e| Some(&e.name) == name.as_ref()) {
            keys.wrong(
                "name",
                format!("a name of its own: erase[{}] has this one", earlier + 1),
            );
        }
        match erase(keys, name) {
            Some(erase) => erases.push(erase),
            None => complete = false,
        }
    }
    complete.then_some(erases)
}

fn erase(mut keys: Keys, name: Option<String>) -> Option<Erase> {
    let strokes = keys.tables("strokes", STROKES).and_then(|tables| {
        let strokes: Vec<Option<Stroke>> = tables.into_iter().map(stroke).collect();
        strokes.into_iter().collect()
    });
    let rest_ms = keys.number("rest_ms", PAUSE_MS);
    keys.done();
    Some(Erase {
        name: name?,
        strokes: strokes?,
        rest_ms: rest_ms?,
    })
}

fn stroke(mut keys: Keys) -> Option<Stroke> {
    let pixel_v = keys.number("pixel_v", VOLTAGE_V);
    let ms = keys.number("ms", STROKE_MS);
    keys.done();
    Some(Stroke {
        pixel_v: pixel_v?,
        ms: ms?,
    })
}

fn limits(mut keys: Keys) -> Option<Limits> {
    let refresh_s = keys.number("refresh_s", REFRESH_S);
    let ghost_lstar = keys.number("ghost_lstar", GHOST_LSTAR);
    let net_impulse_vs = keys.number("net_impulse_vs", NET_IMPULSE_VS);
    let temperature_c = keys.table("temperature_c").and_then(temperatures);
    keys.done();
    let (temperature_min_c, temperature_max_c) = temperature_c?;
    Some(Limits {
        refresh_s: refresh_s?,
        ghost_lstar: ghost_lstar?,
        net_impulse_vs: net_impulse_vs?,
        temperature_min_c,
        temperature_max_c,
    })
}

fn temperatures(mut keys: Keys) -> Option<(f64, f64)> {
    let min = keys.number("min", TEMPERATURE_C);
    let max = keys.number("max", TEMPERATURE_C);
    check_order(&keys, min, max);
    keys.done();
    min.zip(max)
}

fn instrument(mut keys: Keys) -> Option<Instrument> {
    let geometry = keys.name("geometry");
    let illuminant = keys
        .text("illuminant", "D50 or D65")
        .and_then(|text| match text {
            "D50" => Some(Illuminant::D50),
            "D65" => Some(Illuminant::D65),
            _ => {
                keys.wrong("illuminant", "D50 or D65");
                None
            }
        });
    let repeatability_lstar = keys.number("repeatability_lstar", REPEATABILITY_LSTAR);
    let aperture_mm = keys.number_or("aperture_mm", APERTURE_MM, USUAL_APERTURE_MM);
    let lstar_per_c = keys.number_or("lstar_per_c", LSTAR_PER_C, 0.0);
    let temperature_u_c = keys.number_or("temperature_u_c", TEMPERATURE_U_C, 0.0);
    let with_cover = keys.has("cover");
    let cover = keys.optional_table("cover").and_then(cover);
    let converted = keys.has("to_45_0");
    let to_45_0 = keys.optional_table("to_45_0").and_then(to_45_0);
    keys.done();
    if with_cover && cover.is_none() || converted && to_45_0.is_none() {
        return None;
    }
    Some(Instrument {
        geometry: geometry?,
        illuminant: illuminant?,
        aperture_mm: aperture_mm?,
        repeatability_lstar: repeatability_lstar?,
        lstar_per_c: lstar_per_c?,
        temperature_u_c: temperature_u_c?,
        cover,
        to_45_0,
    })
}

fn spread(mut keys: Keys) -> Option<UnitSpread> {
    let threshold_v = keys.number_or("threshold_v", UNIT_SPREAD, 0.0);
    let speed = keys.number_or("speed", UNIT_SPREAD, 0.0);
    keys.done();
    Some(UnitSpread {
        threshold_v: threshold_v?,
        speed: speed?,
    })
}

fn cover(mut keys: Keys) -> Option<Cover> {
    let reflectance = keys.number("reflectance", COVER_REFLECTANCE);
    let transmittance = match keys.has("transmittance") {
        true => keys.number("transmittance", COVER_TRANSMITTANCE),
        false => reflectance.map(|r| 1.0 - r),
    };
    let u = keys.number_or("u", READING_U, 0.0);
    if let (Some(r), Some(t)) = (reflectance, transmittance)
        && r + t > 1.0
    {
        keys.wrong(
            "transmittance",
            format!("at most 1 less the reflectance, {}", 1.0 - r),
        );
    }
    keys.done();
    Some(Cover {
        reflectance: reflectance?,
        transmittance: transmittance?,
        u: u?,
    })
}

fn to_45_0(mut keys: Keys) -> Option<ToNormal> {
    let gain = keys.number("gain", GEOMETRY_GAIN);
    let specular = keys.number("specular", COVER_REFLECTANCE);
    let u = keys.number_or("u", READING_U, 0.0);
    keys.done();
    Some(ToNormal {
        gain: gain?,
        specular: specular?,
        u: u?,
    })
}
