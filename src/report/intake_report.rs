//! What an intake comes to: scans, readings, what was left out, the uncertainty budget.

use super::lines::{Side, passage, table};
use super::to_json;
use super::words::{count, listed, number};
use crate::intake::budget::{Budget, Evaluation};
use crate::intake::scan::Scan;
use crate::intake::session::{Outlier, Session};
use crate::project::{Chart, Panel};
use serde::Serialize;
use std::fmt;

/// Spots named one by one, at most.
const SPOTS: usize = 12;
/// Coverage factor of expanded uncertainties.
const COVERAGE_FACTOR: f64 = 2.0;

/// Everything that `greyloom intake` tells.
#[derive(Debug, Clone, Serialize)]
pub struct IntakeReport {
    pub panel: String,
    pub source: String,
    pub scans: Vec<ScanReport>,
    pub patches: Vec<PatchReport>,
    pub outliers: Vec<Outlier>,
    /// Standard deviation of a repeat over all patches read more than once, L*.
    pub repeat_lstar: Option<f64>,
    pub budget: Budget,
    pub combined_u_lstar: f64,
    /// Facts worth a line of their own: a label and its words.
    pub notes: Vec<(String, String)>,
    pub warnings: Vec<String>,
    pub files: Vec<String>,
}

#[derive(Debug, Clone, Serialize)]
pub struct ScanReport {
    pub file: String,
    pub page: String,
    pub width: usize,
    pub height: usize,
    pub bits: u32,
    pub pixels_per_mm: f64,
    pub turned_deg: f64,
    pub marks_residual_mm: f64,
    pub edge_mm: Option<f64>,
    pub gamma: f64,
    pub steps: usize,
    pub step_rms_lstar: f64,
    pub paper_rms_lstar: Option<f64>,
    pub light_ratio: f64,
    pub code_lstar: f64,
    pub patches: usize,
    pub spots: Vec<SpotReport>,
    /// Elements of the map from the frame, mm, to the picture, pixels, row by row.
    pub projection: [f64; 9],
}

#[derive(Debug, Clone, Serialize)]
pub struct SpotReport {
    pub patch: String,
    pub kind: crate::intake::patches::SpotKind,
    /// Middle and size on the frame, mm.
    pub x_mm: f64,
    pub y_mm: f64,
    pub width_mm: f64,
    pub height_mm: f64,
    pub off_lstar: f64,
}

#[derive(Debug, Clone, Serialize)]
pub struct PatchReport {
    pub page: String,
    pub patch: String,
    pub repeats: usize,
    pub lstar: f64,
    pub u_lstar: f64,
}

impl ScanReport {
    pub fn of(scan: &Scan, chart: &Chart) -> Self {
        let page = &chart.pages[scan.page];
        let spots = scan.patches.iter().flat_map(|p| {
            p.reading.left.iter().map(|left| {
                let (x_mm, y_mm) = left.region.centre();
                SpotReport {
                    patch: page.patches[p.patch].name.clone(),
                    kind: left.kind,
                    x_mm,
                    y_mm,
                    width_mm: left.region.width,
                    height_mm: left.region.height,
                    off_lstar: left.off_lstar,
                }
            })
        });
        ScanReport {
            file: scan.file.display().to_string(),
            page: page.name.clone(),
            width: scan.size.0,
            height: scan.size.1,
            bits: scan.bits,
            pixels_per_mm: scan.pixels_per_mm,
            turned_deg: scan.turned_deg,
            marks_residual_mm: scan.found.residual_mm,
            edge_mm: scan.edge_mm,
            gamma: 1.0 / scan.scanner.gamma(),
            steps: scan.evidence.steps.len(),
            step_rms_lstar: scan.step_rms_lstar,
            paper_rms_lstar: scan.paper_rms_lstar,
            light_ratio: scan.light_ratio,
            code_lstar: scan.code_lstar,
            patches: scan.patches.len(),
            spots: spots.collect(),
            projection: scan.found.to_picture.elements(),
        }
    }
}

impl IntakeReport {
    /// `source` says in words what was taken in.
    pub fn of(
        panel: &Panel,
        chart: &Chart,
        source: String,
        scans: Vec<ScanReport>,
        session: &Session,
    ) -> Self {
        let patches = session.merged.iter().map(|m| {
            let page = &chart.pages[m.page];
            PatchReport {
                page: page.name.clone(),
                patch: page.patches[m.patch].name.clone(),
                repeats: m.repeats,
                lstar: m.lstar,
                u_lstar: m.combined_lstar(),
            }
        });
        let budget = session.budget();
        IntakeReport {
            panel: panel.name.clone(),
            source,
            scans,
            patches: patches.collect(),
            outliers: session.outliers.clone(),
            repeat_lstar: session.repeat_lstar.map(|(s, _)| s),
            combined_u_lstar: budget.combined(),
            budget,
            notes: Vec::new(),
            warnings: Vec::new(),
            files: Vec::new(),
        }
    }

    /// One JSON document, two spaces deep, newline at the end.
    pub fn to_json(&self) -> String {
        to_json(self)
    }

    fn scans_table(&self) -> String {
        let head = [
            "scan",
            "page",
            "bits",
            "px/mm",
            "turned, °",
            "marks, mm",
            "edge, mm",
            "light",
            "gamma",
            "steps, L*",
            "paper, L*",
            "code, L*",
            "patches",
            "spots",
        ];
        let mut rows = vec![head.map(str::to_owned).to_vec()];
        let or_dash = |v: Option<f64>| v.map_or("–".to_owned(), |v| format!("{v:.2}"));
        rows.extend(self.scans.iter().map(|s| {
            let name = std::path::Path::new(&s.file).file_name();
            vec![
                name.map_or(s.file.clone(), |n| n.to_string_lossy().into_owned()),
                s.page.clone(),
                s.bits.to_string(),
                format!("{:.2}", s.pixels_per_mm),
                format!("{:.1}", s.turned_deg),
                format!("{:.3}", s.marks_residual_mm),
                or_dash(s.edge_mm),
                format!("{:.2}", s.light_ratio),
                format!("{:.2}", s.gamma),
                format!("{:.3}", s.step_rms_lstar),
                or_dash(s.paper_rms_lstar),
                format!("{:.3}", s.code_lstar),
                s.patches.to_string(),
                s.spots.len().to_string(),
            ]
        }));
        let mut sides = [Side::Right; 14];
        sides[..2].fill(Side::Left);
        table(&sides, &rows, 4)
    }

    fn budget_table(&self) -> String {
        let head = ["source", "type", "distribution", "u, L*", "share, %"];
        let mut rows = vec![head.map(str::to_owned).to_vec()];
        let whole = self.combined_u_lstar.powi(2).max(f64::MIN_POSITIVE);
        let counted = || {
            self.budget
                .sources
                .iter()
                .filter(|s| s.contribution() > 0.0)
        };
        rows.extend(counted().map(|s| {
            vec![
                s.name.clone(),
                match s.evaluation {
                    Evaluation::A => "A".to_owned(),
                    Evaluation::B => "B".to_owned(),
                },
                s.distribution.to_owned(),
                format!("{:.4}", s.contribution()),
                format!("{:.1}", 100.0 * s.contribution().powi(2) / whole),
            ]
        }));
        let line = |name: String, value: f64| {
            vec![
                name,
                String::new(),
                String::new(),
                format!("{value:.4}"),
                String::new(),
            ]
        };
        rows.push(line("combined".into(), self.combined_u_lstar));
        rows.push(line(
            format!("expanded, k = {COVERAGE_FACTOR}"),
            COVERAGE_FACTOR * self.combined_u_lstar,
        ));
        let freedom = self.budget.effective_freedom();
        let freedom = if freedom.is_finite() && freedom < 1e4 {
            format!("{freedom:.0} degrees of freedom")
        } else {
            "many degrees of freedom".to_owned()
        };
        rows.push(line(
            format!("expanded, 95 % ({freedom})"),
            self.budget.expanded(0.95),
        ));
        table(
            &[Side::Left, Side::Left, Side::Left, Side::Right, Side::Right],
            &rows,
            4,
        )
    }

    /// Sources that add nothing, because nothing is stated of them or they don't occur.
    fn nothing_of(&self) -> String {
        let none = self
            .budget
            .sources
            .iter()
            .filter(|s| s.contribution() <= 0.0);
        let names: Vec<String> = none.map(|s| s.name.clone()).collect();
        listed(&names)
    }

    fn left_out(&self) -> Vec<(String, String)> {
        let all: Vec<(&ScanReport, &SpotReport)> = self
            .scans
            .iter()
            .flat_map(|s| s.spots.iter().map(move |spot| (s, spot)))
            .collect();
        let mut lines: Vec<(String, String)> = all
            .iter()
            .take(SPOTS)
            .map(|(scan, s)| {
                let kind = format!("{:?}", s.kind).to_lowercase();
                let text = format!(
                    "page `{}`, patch `{}`: {:.1} × {:.1} mm, {:+.1} L*, at {:.1}, {:.1} mm of the frame",
                    scan.page, s.patch, s.width_mm, s.height_mm, s.off_lstar, s.x_mm, s.y_mm
                );
                (kind, text)
            })
            .collect();
        if all.len() > SPOTS {
            let more = format!("{} more, all drawn in the pictures", all.len() - SPOTS);
            lines.push(("and".into(), more));
        }
        lines.extend(self.outliers.iter().map(|o| {
            let text = format!(
                "page `{}`, patch `{}`: {:.2} L* from {} (Grubbs: G {:.2}, critical {:.2})",
                o.page, o.patch, o.lstar, o.from, o.g, o.critical
            );
            ("outlier".to_owned(), text)
        }));
        lines
    }
}

impl fmt::Display for IntakeReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "{}: {}\n", self.panel, self.source)?;
        if !self.scans.is_empty() {
            writeln!(f, "{}", self.scans_table())?;
        }
        let lstar = || self.patches.iter().map(|p| p.lstar);
        let u = self.patches.iter().map(|p| p.u_lstar).fold(0.0, f64::max);
        let range = format!(
            "{}, {:.2} to {:.2} L*, each to ±{} L* or better (expanded, k = {COVERAGE_FACTOR})",
            count(self.patches.len(), "patch"),
            lstar().fold(f64::INFINITY, f64::min),
            lstar().fold(f64::NEG_INFINITY, f64::max),
            number(COVERAGE_FACTOR * u, 2)
        );
        f.write_str(&passage("read", &range))?;
        if let Some(s) = self.repeat_lstar {
            let text = format!("standard deviation {s:.3} L*");
            f.write_str(&passage("repeats", &text))?;
        }
        for (label, text) in &self.notes {
            f.write_str(&passage(label, text))?;
        }
        let left_out = self.left_out();
        if !left_out.is_empty() {
            f.write_str("\nLeft out\n")?;
            for (label, text) in left_out {
                f.write_str(&passage(&label, &text))?;
            }
        }
        write!(
            f,
            "\nUncertainty of a usual patch (rms over all; JCGM 100)\n{}\n",
            self.budget_table()
        )?;
        let nothing = self.nothing_of();
        if !nothing.is_empty() {
            f.write_str(&passage("no share", &nothing))?;
        }
        for file in &self.files {
            f.write_str(&passage("written", file))?;
        }
        Ok(())
    }
}
