//! Readings beside their predictions, with the inputs that a residual is judged against.

use crate::draw::{FitPoint, PointKind};
use crate::drive::{Field, Stroke};
use crate::project::{Measured, Page, Patch, Project, Train};
use crate::response::fit::{Fit, Residual};
use crate::response::{Response, Source, holdout};

/// A reading beside its prediction.
#[derive(Debug, Clone, PartialEq)]
pub struct Compared {
    pub point: FitPoint,
    /// Whether its page has a mirrored field.
    pub mirrored: bool,
    /// The voltage that drove it: of the first field's own slot while on, or of a train's strongest step.
    pub drive_v: f64,
    /// For how long: on-time in the own slots, or the steps of a train that aren't at 0 V.
    pub drive_ms: f64,
}

/// The readings that were fitted, in the order of the fit.
pub fn fitted(project: &Project, fit: &Fit) -> Vec<Compared> {
    fit.residuals
        .iter()
        .filter_map(|residual| of_residual(project, residual))
        .collect()
}

/// The readings that were never fitted, in the order of their file; none without held-out pages.
pub fn held_out(project: &Project, response: &Response) -> Vec<Compared> {
    let Some(measured) = &project.holdout else {
        return Vec::new();
    };
    let pairs = holdout::predict(response, measured, &project.panel);
    let readings = measured.readings.iter().zip(pairs);
    readings
        .filter_map(|(reading, lstar)| {
            let mut compared = on_page(project, measured, reading.page, reading.patch, lstar)?;
            compared.point.kind = PointKind::Holdout;
            compared.point.u_lstar = reading.u_lstar.unwrap_or(compared.point.u_lstar);
            Some(compared)
        })
        .collect()
}

fn of_residual(project: &Project, residual: &Residual) -> Option<Compared> {
    let lstar = (residual.measured_lstar, residual.predicted_lstar);
    let mut compared = match residual.source {
        Source::Patch {
            page,
            patch,
            reading,
        } => {
            let mut compared = on_page(project, &project.measured, page, patch, lstar)?;
            let reading = project.measured.readings.get(reading);
            let stated = reading.and_then(|r| r.u_lstar);
            compared.point.u_lstar = stated.unwrap_or(compared.point.u_lstar);
            compared
        }
        Source::Train { train, .. } => on_cell(project, project.trains.get(train)?, lstar),
    };
    compared.point.stray = residual.stray;
    Some(compared)
}

fn on_page(
    project: &Project,
    measured: &Measured,
    page: usize,
    patch: usize,
    (measured_lstar, predicted_lstar): (f64, f64),
) -> Option<Compared> {
    let page = measured.chart.pages.get(page)?;
    let patch = page.patches.get(patch)?;
    let mirrored = page.fields.iter().any(|f| f.mirrored);
    let first = page.fields.first();
    let slots: u32 = page.fields.iter().map(|f| f.slot_ticks).sum();
    Some(Compared {
        point: FitPoint {
            name: format!("{}/{}", page.name, patch.name),
            measured_lstar,
            predicted_lstar,
            u_lstar: project.panel.instrument.repeatability_lstar,
            temperature_c: page.temperature_c,
            row: Some((patch.row_first + patch.row_last) as f64 / 2.0),
            select_v: first.map(|f| f.select_v),
            own_ticks_share: (slots > 0)
                .then(|| f64::from(patch.ticks.iter().sum::<u32>()) / f64::from(slots)),
            content_share: content_share(page, patch, project.panel.rows),
            kind: if mirrored {
                PointKind::Mirrored
            } else {
                PointKind::Page
            },
            stray: false,
        },
        mirrored,
        drive_v: first.map_or(0.0, Field::own_on_v),
        drive_ms: 1e-3 * on_us(&page.fields, &patch.ticks),
    })
}

fn on_cell(
    project: &Project,
    train: &Train,
    (measured_lstar, predicted_lstar): (f64, f64),
) -> Compared {
    let driven = || train.steps.iter().filter(|s| s.pixel_v != 0.0);
    let stronger = |a: &&Stroke, b: &&Stroke| a.pixel_v.abs().total_cmp(&b.pixel_v.abs());
    Compared {
        point: FitPoint {
            name: train.name.clone(),
            measured_lstar,
            predicted_lstar,
            u_lstar: project.panel.instrument.repeatability_lstar,
            temperature_c: train.temperature_c,
            row: None,
            select_v: None,
            own_ticks_share: None,
            content_share: None,
            kind: PointKind::Cell,
            stray: false,
        },
        mirrored: false,
        drive_v: driven().max_by(stronger).map_or(0.0, |s| s.pixel_v),
        drive_ms: driven().map(|s| s.ms).sum(),
    }
}

/// Time for which a column is on, µs, with these ticks in each field.
fn on_us(fields: &[Field], ticks: &[u32]) -> f64 {
    let times = fields.iter().zip(ticks);
    times
        .map(|(f, &t)| f64::from(t) * f64::from(f.tick_us))
        .sum()
}

/// On-time of the other rows of the patch's columns over all their time, 0…1; none on a panel of one row.
fn content_share(page: &Page, patch: &Patch, rows: usize) -> Option<f64> {
    let columns = patch.column_first..=patch.column_last;
    let width = columns.clone().count() as f64;
    let on: f64 = columns.map(|c| column_on_us(page, rows, c)).sum();
    let others = on / width - on_us(&page.fields, &patch.ticks);
    let slot_us: f64 = page
        .fields
        .iter()
        .map(|f| f64::from(f.slot_ticks) * f64::from(f.tick_us))
        .sum();
    let share = others / (rows.saturating_sub(1) as f64 * slot_us);
    share.is_finite().then_some(share)
}

/// On-time of all rows of one column together, µs.
fn column_on_us(page: &Page, rows: usize, column: usize) -> f64 {
    let here = |p: &&Patch| (p.column_first..=p.column_last).contains(&column);
    let patches = || page.patches.iter().filter(here);
    let height = |p: &Patch| p.row_last + 1 - p.row_first;
    let covered: usize = patches().map(height).sum();
    let patched: f64 = patches()
        .map(|p| height(p) as f64 * on_us(&page.fields, &p.ticks))
        .sum();
    patched + rows.saturating_sub(covered) as f64 * on_us(&page.fields, &page.fill_ticks)
}
