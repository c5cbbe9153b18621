//! What a fit and its design come to, as one result with two writers: JSON for machines and a summary for people.

mod beyond_words;
mod by_input;
mod certificate_report;
mod chart_report;
mod check_report;
mod compared;
mod design_words;
mod ends_report;
mod image_report;
mod intake_report;
mod levels;
mod lines;
mod rehearsal_report;
mod request;
mod response_report;
mod scan_frame_report;
mod summary;
mod sweep_report;
mod temperature_words;
mod trim_report;
mod words;

pub use by_input::{Bin, ByInput};
pub use certificate_report::CertificateReport;
pub use chart_report::{ChartReport, Forecast, ParameterForecast};
pub use check_report::CheckReport;
pub use compared::{Compared, fitted, held_out};
pub use ends_report::EndsReport;
pub use image_report::ImageReport;
pub use intake_report::{IntakeReport, ScanReport};
pub use levels::levels_csv;
pub use rehearsal_report::RehearsalReport;
pub use request::RequestReport;
pub use response_report::{
    Correlation, Errors, HoldoutReport, KindReport, Moved, OddPage, ParameterReport, ReadingCount,
    ResponseReport, RungReport, StrayReport,
};
pub use scan_frame_report::ScanFrameReport;
pub use sweep_report::{SweepReport, sweep_csv};
pub use trim_report::{TrimBandReport, TrimReport};

use crate::design::Design;
use crate::project::Limits;
use serde::Serialize;

/// Everything that `greyloom fit` tells.
#[derive(Debug, Clone, Serialize)]
pub struct FitReport<'a> {
    pub request: RequestReport,
    /// What a quick run left out; nothing of a whole one.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub left_out: Vec<String>,
    pub response: ResponseReport,
    pub design: &'a Design,
    #[serde(skip)]
    pub limits: Limits,
    /// Where each file stands, in the order of their names.
    pub files: Vec<String>,
}

impl FitReport<'_> {
    /// One JSON document, two spaces deep, newline at the end.
    pub fn to_json(&self) -> String {
        to_json(self)
    }
}

/// Lines behind labels, broken between words.
pub fn passages(rows: &[(&str, String)]) -> String {
    rows.iter()
        .map(|(label, text)| lines::passage(label, text))
        .collect()
}

/// Numbers, strings and lists only, so serialising can't fail.
fn to_json(value: &impl Serialize) -> String {
    let compact = serde_json::to_string(value).unwrap_or_default();
    crate::waveforms::lay_out(&compact)
}
