//! What a set must hold beyond the shape of its JSON.

use super::set::{Band, FORMAT, Interval, Predicted, StretchAt, VERSION, Waveforms};
use crate::drive::{Erase, Field, ZONES_MAX, Zone};
use std::fmt::Display;

/// Fewest and most levels of a set.
pub const LEVELS: std::ops::RangeInclusive<usize> = 2..=256;

/// Lightness that a set may speak of: that of a reflectance of 1.2 is 107.
const LSTAR_MAX: f64 = 110.0;

/// A value that is not what it must be.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Fault {
    /// Dotted: `bands[1].ticks[3][0]`.
    pub path: String,
    pub value: String,
    pub expected: String,
}

/// Everything that is wrong with a set, in the order of its file.
pub(super) fn faults(set: &Waveforms) -> Vec<Fault> {
    let mut list = Faults(Vec::new());
    list.header(set);
    list.ladder("targets_lstar", &set.targets_lstar, set.levels);
    list.want(!set.bands.is_empty(), "bands", "[]", "at least one band");
    for (i, band) in set.bands.iter().enumerate() {
        list.band(&format!("bands[{i}]"), band, set);
    }
    list.order(&set.bands);
    if let Some(certificate) = &set.certificate {
        list.certificate(certificate, set.bands.len(), set.panel.rows);
    }
    list.0
}

/// What was found so far.
pub(super) struct Faults(Vec<Fault>);

impl Faults {
    pub(super) fn want(
        &mut self,
        holds: bool,
        path: impl Display,
        value: impl Display,
        expected: impl Display,
    ) {
        if !holds {
            self.0.push(Fault {
                path: path.to_string(),
                value: value.to_string(),
                expected: expected.to_string(),
            });
        }
    }

    fn within(&mut self, path: impl Display, x: f64, min: f64, max: f64, what: &str) {
        let holds = x.is_finite() && x >= min && x <= max;
        self.want(holds, path, x, format_args!("{what} from {min} to {max}"));
    }

    pub(super) fn finite(&mut self, path: impl Display, x: f64) {
        self.want(x.is_finite(), path, x, "a finite number");
    }

    pub(super) fn not_negative(&mut self, path: impl Display, x: f64, unit: &str) {
        let holds = x.is_finite() && x >= 0.0;
        self.want(holds, path, x, format_args!("0 {unit} or more"));
    }

    pub(super) fn positive(&mut self, path: impl Display, x: f64, what: &str) {
        let holds = x.is_finite() && x > 0.0;
        self.want(holds, path, x, format_args!("{what} above 0"));
    }

    fn header(&mut self, set: &Waveforms) {
        self.want(set.format == FORMAT, "format", &set.format, FORMAT);
        let version = format_args!("{VERSION}, the version this program writes");
        self.want(set.version == VERSION, "version", set.version, version);
        self.want(set.panel.rows > 0, "panel.rows", 0, "at least one row");
        let columns = set.panel.columns;
        self.want(columns > 0, "panel.columns", 0, "at least one column");
        self.not_negative("panel.field_settle_ms", set.panel.field_settle_ms, "ms");
        let (min, max) = LEVELS.into_inner();
        let expected = format_args!("{min} to {max} levels");
        self.want(LEVELS.contains(&set.levels), "levels", set.levels, expected);
    }

    /// One entry a level.
    fn length(&mut self, path: &str, got: usize, levels: usize) -> bool {
        let value = format_args!("{got} entries");
        self.want(
            got == levels,
            path,
            value,
            format_args!("{levels} entries, one a level"),
        );
        got == levels
    }

    fn ladder(&mut self, path: &str, targets: &[f64], levels: usize) {
        self.length(path, targets.len(), levels);
        self.lightness(path, targets);
        self.rising(path, targets, "L*");
    }

    fn lightness(&mut self, path: &str, row: &[f64]) {
        for (i, x) in row.iter().enumerate() {
            self.within(format_args!("{path}[{i}]"), *x, 0.0, LSTAR_MAX, "L*");
        }
    }

    fn rising(&mut self, path: &str, row: &[f64], what: &str) {
        for (i, pair) in row.windows(2).enumerate() {
            if let [a, b] = pair {
                let path = format_args!("{path}[{}]", i + 1);
                let expected = format_args!("{what} above {a} of the entry before");
                self.want(b > a, path, b, expected);
            }
        }
    }

    fn band(&mut self, path: &str, band: &Band, set: &Waveforms) {
        self.interval(&format!("{path}.temperature_c"), &band.temperature_c);
        self.positive(format_args!("{path}.refresh_s"), band.refresh_s, "a time");
        self.stretch(&format!("{path}.stretch"), &band.stretch);
        self.erase(&format!("{path}.erase"), &band.erase);
        let fields = format!("{path}.fields");
        self.want(!band.fields.is_empty(), &fields, "[]", "at least one field");
        for (i, field) in band.fields.iter().enumerate() {
            self.field(&format!("{fields}[{i}]"), field);
        }
        if band.zones.is_empty() {
            self.ticks(
                &format!("{path}.ticks"),
                &band.ticks,
                &band.fields,
                set.levels,
            );
        } else {
            self.zones(path, band, set);
        }
        if let Some(v) = band.resting_balance_v {
            self.positive(format_args!("{path}.resting_balance_v"), v, "a voltage");
        }
        if let Some(targets) = &band.targets_lstar {
            self.ladder(&format!("{path}.targets_lstar"), targets, set.levels);
        }
        self.predicted(&format!("{path}.predicted"), &band.predicted, set.levels);
        self.figures(&format!("{path}.figures"), band);
    }

    fn interval(&mut self, path: &str, t: &Interval) {
        self.finite(format_args!("{path}.low"), t.low);
        let high = format_args!("a temperature of {} °C or more, the low end", t.low);
        self.want(
            t.high.is_finite() && t.low <= t.high,
            format_args!("{path}.high"),
            t.high,
            high,
        );
        let design = format_args!("a temperature from {} to {} °C", t.low, t.high);
        let inside = t.low <= t.design && t.design <= t.high;
        self.want(inside, format_args!("{path}.design"), t.design, design);
    }

    fn stretch(&mut self, path: &str, entries: &[StretchAt]) {
        for (i, s) in entries.iter().enumerate() {
            self.finite(format_args!("{path}[{i}].temperature_c"), s.temperature_c);
            self.positive(format_args!("{path}[{i}].factor"), s.factor, "a factor");
        }
        for (i, pair) in entries.windows(2).enumerate() {
            if let [a, b] = pair {
                let rises = b.temperature_c > a.temperature_c;
                let path = format_args!("{path}[{}].temperature_c", i + 1);
                let expected = format_args!("a temperature above {} °C", a.temperature_c);
                self.want(rises, path, b.temperature_c, expected);
            }
        }
    }

    pub(super) fn erase(&mut self, path: &str, erase: &Erase) {
        for (i, stroke) in erase.strokes.iter().enumerate() {
            self.finite(format_args!("{path}.strokes[{i}].pixel_v"), stroke.pixel_v);
            self.positive(format_args!("{path}.strokes[{i}].ms"), stroke.ms, "ms");
        }
        self.not_negative(format_args!("{path}.rest_ms"), erase.rest_ms, "ms");
    }

    fn field(&mut self, path: &str, field: &Field) {
        let drives = field.select_v.is_finite() && field.select_v != 0.0;
        let volts = "a voltage other than 0";
        self.want(
            drives,
            format_args!("{path}.select_v"),
            field.select_v,
            volts,
        );
        self.positive(format_args!("{path}.data_v"), field.data_v, "a voltage");
        let least = "at least 1";
        self.want(field.tick_us > 0, format_args!("{path}.tick_us"), 0, least);
        self.want(
            field.slot_ticks > 0,
            format_args!("{path}.slot_ticks"),
            0,
            least,
        );
    }

    /// Zones cover the panel's rows in order, each with a whole table.
    fn zones(&mut self, path: &str, band: &Band, set: &Waveforms) {
        let alone = "no ticks beside zones, each of which has its own";
        let value = format_args!("{} entries", band.ticks.len());
        self.want(
            band.ticks.is_empty(),
            format_args!("{path}.ticks"),
            value,
            alone,
        );
        let zones = format!("{path}.zones");
        let (count, rows) = (band.zones.len(), set.panel.rows);
        let value = format_args!("{count} entries");
        let most = format_args!("1 to {ZONES_MAX} zones");
        self.want(count <= ZONES_MAX, &zones, value, most);
        let mut next = 0;
        for (i, zone) in band.zones.iter().enumerate() {
            let at = format!("{zones}[{i}]");
            self.zone_rows(&at, zone, next, rows);
            self.ticks(
                &format!("{at}.ticks"),
                &zone.ticks,
                &band.fields,
                set.levels,
            );
            next = zone.row_last.saturating_add(1);
        }
        if let Some(last) = band.zones.last().filter(|_| next < rows) {
            let at = format_args!("{zones}[{}].row_last", count - 1);
            let expected = format_args!("{}, the panel's last row", rows - 1);
            self.want(false, at, last.row_last, expected);
        }
    }

    /// `next` is the first row that no zone before covers.
    fn zone_rows(&mut self, path: &str, zone: &Zone, next: usize, rows: usize) {
        let (first, last) = (zone.row_first, zone.row_last);
        let expected = match next {
            0 => "0, the panel's first row".to_owned(),
            _ => format!("{next}, the row after the zone before: no gap, no overlap"),
        };
        self.want(
            first == next,
            format_args!("{path}.row_first"),
            first,
            expected,
        );
        let most = rows.saturating_sub(1);
        let expected = format_args!(
            "a row from {first} to {most}: not before the zone's first, not beyond the panel"
        );
        let holds = first <= last && last < rows;
        self.want(holds, format_args!("{path}.row_last"), last, expected);
    }

    fn ticks(&mut self, path: &str, ticks: &[Vec<u32>], fields: &[Field], levels: usize) {
        self.length(path, ticks.len(), levels);
        let count = fields.len();
        for (level, row) in ticks.iter().enumerate() {
            let at = format!("{path}[{level}]");
            let value = format_args!("{} numbers", row.len());
            let expected = format_args!("{count} numbers, one a field");
            self.want(row.len() == count, &at, value, expected);
            for (f, (ticks, field)) in row.iter().zip(fields).enumerate() {
                let slot = field.slot_ticks;
                let expected = format_args!("0 to {slot} ticks, the slot of field {f}");
                self.want(*ticks <= slot, format_args!("{at}[{f}]"), ticks, expected);
            }
        }
    }

    fn predicted(&mut self, path: &str, p: &Predicted, levels: usize) {
        let [low, middle, high, u] =
            ["low_lstar", "lstar", "high_lstar", "expanded_u_lstar"].map(|k| format!("{path}.{k}"));
        self.length(&middle, p.lstar.len(), levels);
        self.lightness(&middle, &p.lstar);
        self.rising(&middle, &p.lstar, "L*");
        self.length(&low, p.low_lstar.len(), levels);
        self.lightness(&low, &p.low_lstar);
        self.length(&high, p.high_lstar.len(), levels);
        self.lightness(&high, &p.high_lstar);
        self.around(&low, &p.low_lstar, &high, &p.high_lstar, &p.lstar);
        self.length(&u, p.expanded_u_lstar.len(), levels);
        for (i, x) in p.expanded_u_lstar.iter().enumerate() {
            self.not_negative(format_args!("{u}[{i}]"), *x, "L*");
        }
    }

    /// low ≤ middle ≤ high at every level.
    fn around(&mut self, low: &str, lows: &[f64], high: &str, highs: &[f64], middles: &[f64]) {
        for (i, middle) in middles.iter().enumerate() {
            if let Some(x) = lows.get(i) {
                let expected = format_args!("L* of {middle} or less, the level's middle");
                self.want(x <= middle, format_args!("{low}[{i}]"), x, expected);
            }
            if let Some(x) = highs.get(i) {
                let expected = format_args!("L* of {middle} or more, the level's middle");
                self.want(x >= middle, format_args!("{high}[{i}]"), x, expected);
            }
        }
    }

    fn figures(&mut self, path: &str, band: &Band) {
        let f = &band.figures;
        self.positive(format_args!("{path}.step_lstar"), f.step_lstar, "L*");
        for (key, x, unit) in [
            ("worst_error_lstar", f.worst_error_lstar, "L*"),
            ("worst_error_steps", f.worst_error_steps, "steps"),
            ("ghost_lstar", f.ghost_lstar, "L*"),
            ("energy_mj", f.energy_mj, "mJ"),
        ] {
            self.not_negative(format_args!("{path}.{key}"), x, unit);
        }
        self.finite(format_args!("{path}.net_impulse_vs"), f.net_impulse_vs);
    }

    /// Bands rise in temperature and each begins where the one before ends.
    fn order(&mut self, bands: &[Band]) {
        for (i, pair) in bands.windows(2).enumerate() {
            let [a, b] = pair else { continue };
            let (end, low) = (a.temperature_c.high, b.temperature_c.low);
            let expected = format_args!("{end} °C, where the band before ends: no gap, no overlap");
            let path = format_args!("bands[{}].temperature_c.low", i + 1);
            self.want(low == end, path, low, expected);
        }
        let wide = |b: &&Band| b.temperature_c.low < b.temperature_c.high;
        if bands.len() > 1
            && let Some(i) = bands.iter().position(|b| !wide(&b))
        {
            let at = &bands[i].temperature_c;
            let expected = format_args!("a temperature above {} °C: the band is empty", at.low);
            self.want(
                false,
                format_args!("bands[{i}].temperature_c.high"),
                at.high,
                expected,
            );
        }
    }
}
