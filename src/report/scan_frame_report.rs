//! What is printed for scanning, and what to do with it.

use super::lines::passage;
use super::to_json;
use super::words::{count, number};
use crate::intake::frame::{Frame, WINDOW_EDGE_MM};
use crate::project::{Chart, Panel};
use serde::Serialize;
use std::fmt;
use std::path::PathBuf;

/// Everything that `greyloom chart --scan-frame` tells.
#[derive(Debug, Clone, Serialize)]
pub struct ScanFrameReport {
    pub panel: String,
    pub width_mm: f64,
    pub height_mm: f64,
    pub window_width_mm: f64,
    pub window_height_mm: f64,
    pub pages: usize,
    pub files: Vec<String>,
}

impl ScanFrameReport {
    pub fn of(panel: &Panel, chart: &Chart, files: &[PathBuf]) -> Self {
        let frame = Frame::of(panel);
        let window = frame.panel.grown(WINDOW_EDGE_MM);
        ScanFrameReport {
            panel: panel.name.clone(),
            width_mm: frame.width_mm,
            height_mm: frame.height_mm,
            window_width_mm: window.width,
            window_height_mm: window.height,
            pages: chart.pages.len(),
            files: files.iter().map(|f| f.display().to_string()).collect(),
        }
    }

    /// One JSON document, two spaces deep, newline at the end.
    pub fn to_json(&self) -> String {
        to_json(self)
    }
}

impl fmt::Display for ScanFrameReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "{}: a frame for scanning\n", self.panel)?;
        let size = |w: f64, h: f64| format!("{} × {} mm", number(w, 1), number(h, 1));
        let frame = format!(
            "{}, window {}, {WINDOW_EDGE_MM} mm larger than the panel's pixels on each side; six discs tell how it lies",
            size(self.width_mm, self.height_mm),
            size(self.window_width_mm, self.window_height_mm)
        );
        let strips = format!("{} to cut out", count(self.pages, "strip"));
        let how = "print all at true size (a bar of 50 mm checks it) on matt white paper; cut out the window; glue the wedge's steps onto \
                   the places A1 to A12 and, for a second copy, B1 to B12, and list them in wedge.csv (place,reflectance,reflectance_u); \
                   for each page drive the panel, lay its pixels into the middle of the window and the page's strip into its field, and \
                   scan with 16 bits, automatic contrast and sharpening off";
        for (label, text) in [
            ("frame", frame),
            ("page strips", strips),
            ("use", how.to_owned()),
            ("written", self.files.join(" ")),
        ] {
            f.write_str(&passage(label, &text))?;
        }
        Ok(())
    }
}
