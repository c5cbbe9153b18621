//! How a set is written: rounded numbers, and short lines that read well in a diff.

use super::set::{Band, Figures, Interval, Predicted, Waveforms};
use crate::drive::{Erase, Field, Stroke};

/// Decimals of the file.
pub(crate) const LSTAR: i32 = 4;
const VOLTS: i32 = 4;
const DEGREES: i32 = 3;
/// Microseconds in seconds, nanoseconds in milliseconds.
const DURATION: i32 = 6;
const FACTOR: i32 = 6;

/// `x` to so many decimals, halves away from zero; as it is where that would overflow.
pub(crate) fn round(x: f64, decimals: i32) -> f64 {
    let unit = 10f64.powi(decimals);
    let scaled = x * unit;
    if scaled.is_finite() {
        scaled.round() / unit
    } else {
        x
    }
}

fn round_all(row: &mut [f64], decimals: i32) {
    for x in row {
        *x = round(*x, decimals);
    }
}

impl Waveforms {
    /// The set as its file holds it: L* and volts to 4 decimals, °C to 3, durations and stretch
    /// factors to 6.
    pub fn rounded(&self) -> Waveforms {
        let mut set = self.clone();
        set.panel.field_settle_ms = round(set.panel.field_settle_ms, DURATION);
        round_all(&mut set.targets_lstar, LSTAR);
        set.bands.iter_mut().for_each(round_band);
        set
    }
}

fn round_band(band: &mut Band) {
    let Interval { low, design, high } = &mut band.temperature_c;
    for t in [low, design, high] {
        *t = round(*t, DEGREES);
    }
    band.refresh_s = round(band.refresh_s, DURATION);
    for s in &mut band.stretch {
        s.temperature_c = round(s.temperature_c, DEGREES);
        s.factor = round(s.factor, FACTOR);
    }
    round_erase(&mut band.erase);
    band.fields.iter_mut().for_each(round_field);
    if let Some(v) = &mut band.resting_balance_v {
        *v = round(*v, VOLTS);
    }
    if let Some(targets) = &mut band.targets_lstar {
        round_all(targets, LSTAR);
    }
    round_predicted(&mut band.predicted);
    round_figures(&mut band.figures);
}

fn round_erase(erase: &mut Erase) {
    for Stroke { pixel_v, ms } in &mut erase.strokes {
        *pixel_v = round(*pixel_v, VOLTS);
        *ms = round(*ms, DURATION);
    }
    erase.rest_ms = round(erase.rest_ms, DURATION);
}

fn round_field(field: &mut Field) {
    field.select_v = round(field.select_v, VOLTS);
    field.data_v = round(field.data_v, VOLTS);
}

fn round_predicted(p: &mut Predicted) {
    for row in [
        &mut p.lstar,
        &mut p.low_lstar,
        &mut p.high_lstar,
        &mut p.expanded_u_lstar,
    ] {
        round_all(row, LSTAR);
    }
}

fn round_figures(f: &mut Figures) {
    for x in [
        &mut f.step_lstar,
        &mut f.worst_error_lstar,
        &mut f.worst_error_steps,
        &mut f.ghost_lstar,
        &mut f.net_impulse_vs,
        &mut f.energy_mj,
    ] {
        *x = round(*x, LSTAR);
    }
}

/// Lays out compact JSON: a list or an object that holds no other stands on one line, every other
/// one gives each of its entries a line of its own. Ends in a newline.
pub(crate) fn lay_out(compact: &str) -> String {
    let bytes = compact.as_bytes();
    let mut out = String::with_capacity(compact.len() * 2);
    let mut open = Vec::new();
    let mut in_string = false;
    let mut escaped = false;
    for (at, c) in compact.char_indices() {
        if in_string {
            out.push(c);
            in_string = escaped || c != '"';
            escaped = !escaped && c == '\\';
            continue;
        }
        match c {
            '{' | '[' => {
                out.push(c);
                open.push(holds_another(&bytes[at + 1..]));
                break_line(&mut out, &open, c == '{');
            }
            '}' | ']' => {
                let tall = open.pop().unwrap_or(false);
                if tall {
                    out.push('\n');
                    out.push_str(&"  ".repeat(open.len()));
                } else if c == '}' {
                    out.push(' ');
                }
                out.push(c);
            }
            ',' => {
                out.push(',');
                break_line(&mut out, &open, true);
            }
            ':' => out.push_str(": "),
            _ => {
                in_string = c == '"';
                out.push(c);
            }
        }
    }
    out.push('\n');
    out
}

/// A new line inside a tall list or object, else a blank where `spaced`.
fn break_line(out: &mut String, open: &[bool], spaced: bool) {
    if open.last() == Some(&true) {
        out.push('\n');
        out.push_str(&"  ".repeat(open.len()));
    } else if spaced {
        out.push(' ');
    }
}

/// Whether a list or object opens before the one whose inside begins `rest` closes.
fn holds_another(rest: &[u8]) -> bool {
    let mut in_string = false;
    let mut bytes = rest.iter();
    while let Some(byte) = bytes.next() {
        match byte {
            b'\\' if in_string => {
                bytes.next();
            }
            b'"' => in_string = !in_string,
            _ if in_string => {}
            b'{' | b'[' => return true,
            b'}' | b']' => return false,
            _ => {}
        }
    }
    false
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn inner_rows_stay_on_one_line() {
        let laid = lay_out(r#"{"a":[[1,2],[3]],"n":"x,\"{:","o":{"p":1},"e":[]}"#);
        let expected = "{\n  \"a\": [\n    [1, 2],\n    [3]\n  ],\n  \"n\": \"x,\\\"{:\",\n  \"o\": { \"p\": 1 },\n  \"e\": []\n}\n";
        assert_eq!(laid, expected);
    }
}
