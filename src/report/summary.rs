//! The summary that a person reads: the fit, then the design, then the files.

use super::FitReport;
use super::beyond_words::{assured, polish};
use super::by_input::{Bin, ByInput};
use super::certificate_report::certificate_words;
use super::design_words::{band, erases, ladder, overview, overview_note, rows};
use super::lines::{Side, passage, table};
use super::response_report::{Errors, OddPage, ReadingCount, ResponseReport, STRONG_CORRELATION};
use super::temperature_words::{bands_tried, edges};
use super::words::{count, listed, number, with_spread};
use std::fmt;

/// Strays, and patches without a reading, that are named one by one.
const NAMED_MAX: usize = 12;

impl fmt::Display for FitReport<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(
            f,
            "Panel {}: {}",
            self.response.panel,
            self.request.in_words()
        )?;
        let labels = std::iter::once("quick").chain(std::iter::repeat(""));
        for (text, label) in self.left_out.iter().zip(labels) {
            f.write_str(&passage(label, text))?;
        }
        write!(f, "\nResponse\n{}", self.response)?;
        write!(f, "\nDesign\n{}{}", overview(self), overview_note(self))?;
        f.write_str(&bands_tried(self))?;
        if let Some(certificate) = &self.design.set.certificate {
            f.write_str(&certificate_words(certificate))?;
        }
        f.write_str(&ladder(self))?;
        f.write_str(&erases(self))?;
        f.write_str(&rows(self))?;
        f.write_str(&polish(self))?;
        f.write_str(&assured(self))?;
        f.write_str(&edges(self))?;
        let bands = self.design.set.bands.iter().zip(&self.design.bands);
        for (i, (set, made)) in bands.enumerate() {
            write!(f, "\n{}", band(self, i, set, made))?;
        }
        f.write_str("\n")?;
        for note in &self.design.notes {
            f.write_str(&passage("caution", note))?;
        }
        f.write_str(&passage("written", &self.files.join(" ")))
    }
}

impl fmt::Display for ResponseReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&passage("readings", &self.readings.in_words()))?;
        f.write_str(&self.odd_pages_named())?;
        f.write_str(&self.strays_named())?;
        f.write_str(&passage("fit", &self.quality()))?;
        f.write_str(&self.held_out())?;
        write!(f, "\n{}", self.models_table())?;
        write!(f, "\n{}", self.parameter_table())?;
        f.write_str(&self.correlations_named())?;
        write!(f, "\n{}", self.residual_table())
    }
}

impl ReadingCount {
    fn in_words(&self) -> String {
        let mut text = format!(
            "{} of {} on {}",
            count(self.patch_readings, "reading"),
            count(self.patches, "patch"),
            count(self.pages, "page")
        );
        if self.train_readings > 0 {
            let trains = count(self.trains, "test-cell train");
            text += &format!(", {} of {trains}", count(self.train_readings, "reading"));
        }
        let degrees: Vec<String> = self.temperatures_c.iter().map(|&t| number(t, 2)).collect();
        text += &format!(", at {} °C", listed(&degrees));
        let unread = &self.patches_without_reading;
        if !unread.is_empty() {
            text += &format!("; no reading of {}", named(unread));
        }
        text
    }
}

/// The first few names, and how many more there are.
fn named(names: &[String]) -> String {
    let shown = &names[..names.len().min(NAMED_MAX)];
    match names.len() - shown.len() {
        0 => shown.join(", "),
        more => format!("{} and {more} more", shown.join(", ")),
    }
}

impl ResponseReport {
    /// Nothing where every page is followed.
    fn odd_pages_named(&self) -> String {
        let name = |p: &OddPage| format!("{} (rms {} L*)", p.page, p.rms_lstar);
        let names: Vec<String> = self.odd_pages.iter().map(name).collect();
        if names.is_empty() {
            return String::new();
        }
        let text = format!(
            "{}, left out of the fit: far from what the models of the ladder follow, which decide by the other pages; drives \
             well beyond those of a design often are",
            listed(&names)
        );
        passage("odd pages", &text)
    }

    fn strays_named(&self) -> String {
        let describe = |s: &super::StrayReport| {
            format!(
                "{} ({} line {}) read {:.2}, predicted {:.2}: {:+.2} L*, {:.1} σ",
                s.reading,
                s.file,
                s.line,
                s.measured_lstar,
                s.predicted_lstar,
                s.measured_lstar - s.predicted_lstar,
                s.standardised
            )
        };
        let mut names: Vec<String> = self.strays.iter().take(NAMED_MAX).map(describe).collect();
        if !names.is_empty() {
            names.insert(
                0,
                format!(
                    "{}, left out of the fit:",
                    count(self.strays.len(), "reading")
                ),
            );
        }
        if self.strays.len() > NAMED_MAX {
            let more = self.strays.len() - NAMED_MAX;
            names.push(format!("and {more} more, all in response.json"));
        }
        if names.is_empty() {
            names.push("none".into());
        }
        let labels = std::iter::once("strays").chain(std::iter::repeat(""));
        names
            .iter()
            .zip(labels)
            .map(|(name, label)| passage(label, name))
            .collect()
    }

    fn quality(&self) -> String {
        format!(
            "χ² per degree of freedom {:.2} ({} degrees), rms {:.3} L* where a reading carries {}; {}",
            self.reduced_chi_square,
            self.degrees_of_freedom,
            self.rms_lstar,
            number(self.readings.repeatability_lstar, 3),
            self.ending
        )
    }

    fn held_out(&self) -> String {
        let Some(h) = &self.holdout else {
            return passage(
                "held out",
                "no pages held out: nothing tests the prediction",
            );
        };
        let describe = |e: &Errors| {
            format!(
                "rms {:.3}, largest {:.3} L* ({} readings)",
                e.rms_lstar, e.max_lstar, e.readings
            )
        };
        let mut parts = vec![format!(
            "{} never fitted: {}, at {}",
            count(h.pages, "page"),
            describe(&h.all),
            h.worst
        )];
        match (&h.plain, &h.mirrored) {
            (Some(plain), Some(mirrored)) => {
                parts.push(format!("plain pages {}", describe(plain)));
                parts.push(format!("mirrored pages {}", describe(mirrored)));
            }
            (None, _) => parts.push("all of them mirrored".into()),
            (_, None) => parts.push("none of them mirrored".into()),
        }
        let kept = self.models.iter().find(|m| m.kept);
        if let Some(rms) = kept.and_then(|m| m.left_out_mirrored_rms_lstar) {
            parts.push(format!(
                "mirrored pages of the chart, each left out of the fit in turn: rms {rms:.3}"
            ));
        }
        passage("held out", &parts.join("; "))
    }

    fn models_table(&self) -> String {
        let head = [
            "  model",
            "parameters",
            "rms, L*",
            "left out, L*",
            "χ²/dof",
            "",
        ];
        let mut rows = vec![head.map(str::to_owned).to_vec()];
        rows.extend(self.models.iter().map(|m| {
            let mark = if m.kept { "* " } else { "  " };
            vec![
                format!("{mark}{}", m.name),
                m.parameters.to_string(),
                format!("{:.3}", m.rms_lstar),
                format!("{:.3}", m.left_out_rms_lstar),
                format!("{:.2}", m.reduced_chi_square),
                if m.kept { "kept".into() } else { String::new() },
            ]
        }));
        use Side::{Left, Right};
        table(&[Left, Right, Right, Right, Right, Left], &rows, 2)
    }

    fn parameter_table(&self) -> String {
        let head = ["parameter", "value", "± std. dev.", "unit", "", ""];
        let mut rows = vec![head.map(str::to_owned).to_vec()];
        rows.extend(self.parameters.iter().map(|p| {
            let (value, spread) = with_spread(p.value, p.standard_deviation);
            let mark = if p.held_at_prior { "held at prior" } else { "" };
            [p.symbol, &value, &spread, p.unit, p.meaning, mark]
                .map(str::to_owned)
                .to_vec()
        }));
        use Side::{Left, Right};
        table(&[Left, Right, Right, Left, Left, Left], &rows, 2)
    }

    fn correlations_named(&self) -> String {
        if self.strong_correlations.is_empty() {
            return String::new();
        }
        let pairs = self.strong_correlations.iter();
        let pairs: Vec<String> = pairs
            .map(|c| format!("{} with {} {:+.3}", c.of, c.with, c.correlation))
            .collect();
        let text = format!(
            "known better together than apart (correlation beyond ±{STRONG_CORRELATION}): {}",
            pairs.join(", ")
        );
        passage("warning", &text)
    }

    fn residual_table(&self) -> String {
        let kinds = self.kinds.iter().map(|k| cell(k.kind, k.errors.rms_lstar));
        let kinds: Vec<String> = kinds.collect();
        let mut rows = vec![vec!["kind".to_owned(), kinds.join("   ")]];
        rows.extend(self.residuals.iter().map(input_row));
        let head = "  residual rms, L*, strays left out, by\n";
        head.to_owned() + &table(&[Side::Left, Side::Left], &rows, 4)
    }
}

fn input_row(by: &ByInput) -> Vec<String> {
    let unit = if by.unit.is_empty() {
        String::new()
    } else {
        format!(", {}", by.unit)
    };
    let bin = |bin: &Bin| {
        let (from, to) = (number(bin.from, 3), number(bin.to, 3));
        let range = if from == to {
            from
        } else {
            format!("{from}…{to}")
        };
        cell(&range, bin.rms_lstar)
    };
    let cells: Vec<String> = by.bins.iter().map(bin).collect();
    vec![format!("{}{unit}", by.input), cells.join("   ")]
}

fn cell(what: &str, rms_lstar: f64) -> String {
    format!("{what}: {rms_lstar:.3}")
}
