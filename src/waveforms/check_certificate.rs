//! What a certificate must hold beyond the shape of its JSON.

use super::certificate::{Certificate, RuledOut};
use super::check::Faults;
use super::lattice::{FIELDS_MAX, FieldAxes, Kind, Lattice};
use std::fmt::Display;

/// Of a certificate's grid, at most: durations of erase and fields, choices of ticks of one scheme.
const FRAMES_MAX: u64 = 1_000_000;
const CHOICES_MAX: u64 = 1 << 20;

impl Faults {
    pub(super) fn certificate(&mut self, c: &Certificate, bands: usize, panel_rows: usize) {
        self.index("certificate.band", c.band, bands, "a band");
        for (key, x) in [
            ("tolerance_steps", c.tolerance_steps),
            ("span_lstar", c.span_lstar),
            ("bound_lstar", c.bound_lstar),
            ("grid.refresh_s", c.grid.refresh_s),
        ] {
            self.positive(format_args!("certificate.{key}"), x, "a number");
        }
        self.finite("certificate.temperature_c", c.temperature_c);
        self.not_negative("certificate.grid.settle_ms", c.grid.settle_ms, "ms");
        let alike = c.grid.rows == panel_rows;
        let expected = format_args!("{panel_rows}, the panel's rows");
        self.want(alike, "certificate.grid.rows", c.grid.rows, expected);
        for (i, erase) in c.grid.erases.iter().enumerate() {
            self.erase(&format!("certificate.grid.erases[{i}]"), erase);
        }
        for (i, kind) in c.grid.kinds.iter().enumerate() {
            self.kind(&format!("certificate.grid.kinds[{i}]"), kind);
        }
        let frames = c.grid.frames_at_most();
        let expected = format_args!("at most {FRAMES_MAX} durations of erase and fields");
        self.want(frames <= FRAMES_MAX, "certificate.grid", frames, expected);
        for (i, region) in c.ruled_out.iter().enumerate() {
            self.region(&format!("certificate.ruled_out[{i}]"), region, &c.grid);
        }
    }

    fn kind(&mut self, path: &str, kind: &Kind) {
        let fields = kind.fields.len();
        let expected = format_args!("1 to {FIELDS_MAX} fields");
        let some = (1..=FIELDS_MAX).contains(&fields);
        self.want(some, format_args!("{path}.fields"), fields, expected);
        self.index(
            format_args!("{path}.filling"),
            kind.filling,
            fields,
            "a field",
        );
        for (i, axes) in kind.fields.iter().enumerate() {
            self.axes(&format!("{path}.fields[{i}]"), axes);
        }
    }

    fn axes(&mut self, path: &str, axes: &FieldAxes) {
        for (key, volts) in [("select_v", &axes.select_v), ("data_v", &axes.data_v)] {
            let path = format_args!("{path}.{key}");
            self.want(!volts.is_empty(), path, "[]", "at least one");
        }
        for (k, v) in axes.select_v.iter().enumerate() {
            let (path, drives) = (
                format_args!("{path}.select_v[{k}]"),
                v.is_finite() && *v != 0.0,
            );
            self.want(drives, path, v, "a voltage other than 0");
        }
        for (k, v) in axes.data_v.iter().enumerate() {
            self.positive(format_args!("{path}.data_v[{k}]"), *v, "a voltage");
        }
        let ticks = !axes.tick_us.contains(&0);
        self.want(ticks, format_args!("{path}.tick_us"), 0, "at least 1");
    }

    /// A place in a list of so many.
    fn index(&mut self, path: impl Display, at: usize, count: usize, what: &str) {
        let expected = format_args!("{what} from 0 to {}", count.saturating_sub(1));
        self.want(at < count, path, at, expected);
    }

    fn region(&mut self, path: &str, region: &RuledOut, grid: &Lattice) {
        let frame = &region.frame;
        let (kinds, erases) = (grid.kinds.len(), grid.erases.len());
        self.index(
            format_args!("{path}.frame.kind"),
            frame.kind,
            kinds,
            "a kind of the grid",
        );
        self.index(
            format_args!("{path}.frame.erase"),
            frame.erase,
            erases,
            "an erase of the grid",
        );
        let Some(kind) = grid.kinds.get(frame.kind) else {
            return;
        };
        let sizes = kind.fields.iter();
        let sizes: Vec<usize> = sizes
            .flat_map(|f| [f.select_v.len(), f.data_v.len()])
            .collect();
        let whole = frame.fields.len() == kind.fields.len()
            && [region.first.len(), region.last.len()] == [sizes.len(); 2];
        let expected = "those of its kind";
        self.want(whole, path, "other numbers of fields or axes", expected);
        let each = region.first.iter().zip(&region.last).zip(&sizes);
        for (i, ((first, last), size)) in each.enumerate() {
            let expected =
                format_args!("{first} to {}, a place on the axis", size.saturating_sub(1));
            let inside = first <= last && last < size;
            self.want(inside, format_args!("{path}.last[{i}]"), last, expected);
        }
        let choices = frame.fields.iter().map(|f| u64::from(f.slot_ticks) + 1);
        let choices = choices.fold(1, u64::saturating_mul);
        let expected = format_args!("slots of at most {CHOICES_MAX} choices of ticks");
        let few = choices <= CHOICES_MAX;
        self.want(few, format_args!("{path}.frame.fields"), choices, expected);
    }
}
