//! How well a fitted response tells the readings: one page of panels.

use super::histogram::Histogram;
use super::marks::{mark, ring};
use super::pen::{
    BLUE, HAIR, Heading, INK, QUIET, Type, VERMILION, fill, path, raster, rule, text,
};
use super::residuals::{Inputs, Residuals, SHADE, identity, signed};
use super::sheet::{Area, DrawError, Drawn, Page};
use super::text::cut;
use crate::error::{Error, Result, Unmet};
use plotters::style::Color;
use plotters_backend::text_anchor::{HPos, VPos};

const FILE: &str = "fit.png";

const PAGE: u32 = 1440;
const LEFT: f64 = 40.0;
const GAP: f64 = 34.0;
const PANEL_WIDTH: f64 = (PAGE as f64 - 2.0 * LEFT - 2.0 * GAP) / 3.0;
const PANEL_HEIGHT: f64 = 340.0;
const ROW_GAP: f64 = 22.0;

/// Beyond this no axis is of use, whatever its unit.
pub(super) const DRAWABLE_MAX: f64 = 1e6;

/// Strays listed by name in the legend.
const STRAYS_LISTED: usize = 5;

/// What a reading was taken from, and whether it was fitted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PointKind {
    /// A patch of a page with plain fields.
    Page,
    /// A patch of a page with a mirrored field.
    Mirrored,
    /// A train on a test cell.
    Cell,
    /// A patch of a page held out, whatever its fields.
    Holdout,
}

/// One reading beside its prediction. What a test cell doesn't have is `None`.
#[derive(Debug, Clone, PartialEq)]
pub struct FitPoint {
    /// Such as "page/patch", to name it where it strays.
    pub name: String,
    pub measured_lstar: f64,
    pub predicted_lstar: f64,
    /// Standard uncertainty of the reading.
    pub u_lstar: f64,
    pub temperature_c: f64,
    /// Middle row of the patch, counted from 0.
    pub row: Option<f64>,
    /// Of the first field.
    pub select_v: Option<f64>,
    /// Own on-ticks over the ticks of the slots, 0 … 1, all fields together.
    pub own_ticks_share: Option<f64>,
    /// On-time of the column's other rows over all their time, 0 … 1.
    pub content_share: Option<f64>,
    pub kind: PointKind,
    pub stray: bool,
}

impl FitPoint {
    /// Measured less predicted, L*.
    pub fn residual_lstar(&self) -> f64 {
        self.measured_lstar - self.predicted_lstar
    }

    /// The residual in standard uncertainties.
    pub(super) fn standardised(&self) -> f64 {
        self.residual_lstar() / self.u_lstar
    }

    pub(super) fn fitted(&self) -> bool {
        self.kind != PointKind::Holdout
    }

    fn drawable(&self) -> bool {
        let numbers = [self.measured_lstar, self.predicted_lstar, self.u_lstar];
        numbers.iter().all(|x| x.abs() <= DRAWABLE_MAX) && self.standardised().is_finite()
    }
}

/// A page of panels as PNG: measured against predicted, residuals against every input, their histogram.
///
/// Points whose numbers are not finite, or beyond a million, are left out and counted in the caption.
///
/// # Errors
/// [`Error::Unmet`] when no point is left to draw.
pub fn fit_png(points: &[FitPoint], title: &str, caption: &str) -> Result<Vec<u8>> {
    let shown: Vec<&FitPoint> = points.iter().filter(|p| p.drawable()).collect();
    if shown.is_empty() {
        return Err(Error::Unmet(Unmet {
            request: FILE.into(),
            binding: "there is no reading with a usable prediction to draw".into(),
            would_do: Vec::new(),
        }));
    }
    let caption = match points.len() - shown.len() {
        0 => caption.to_owned(),
        lost => format!("{caption} Not shown: {lost} points without a usable value."),
    };
    let mut page = Page::new(FILE, PAGE);
    let heading = Heading::new(title, &caption, f64::from(PAGE) - 2.0 * LEFT);
    page.strip(heading.height() as u32, |area| heading.draw(area, LEFT))?;
    let residuals = Residuals::of(&shown);
    row(
        &mut page,
        [
            &|area, frame| identity(area, frame, &shown),
            &|area, frame| residuals.panel(area, frame, &Inputs::PREDICTED),
            &|area, frame| Histogram::of(&shown).panel(area, frame),
        ],
    )?;
    row(
        &mut page,
        [
            &|area, frame| residuals.panel(area, frame, &Inputs::TEMPERATURE),
            &|area, frame| residuals.panel(area, frame, &Inputs::ROW),
            &|area, frame| residuals.panel(area, frame, &Inputs::SELECT),
        ],
    )?;
    row(
        &mut page,
        [
            &|area, frame| residuals.panel(area, frame, &Inputs::OWN_TICKS),
            &|area, frame| residuals.panel(area, frame, &Inputs::CONTENT),
            &|area, frame| legend(area, frame, &shown),
        ],
    )?;
    page.png()
}

/// Place of a panel on its strip, in pixels of the picture.
#[derive(Debug, Clone, Copy)]
pub(super) struct Frame {
    pub left: f64,
    pub top: f64,
    pub width: f64,
    pub height: f64,
}

type Panel<'p> = &'p dyn Fn(&Area, &Frame) -> Drawn;

fn row(page: &mut Page, panels: [Panel; 3]) -> Result<()> {
    page.strip((PANEL_HEIGHT + ROW_GAP) as u32, |area| {
        panels.iter().enumerate().try_for_each(|(i, panel)| {
            let frame = Frame {
                left: LEFT + i as f64 * (PANEL_WIDTH + GAP),
                top: 0.0,
                width: PANEL_WIDTH,
                height: PANEL_HEIGHT,
            };
            panel(area, &frame)
        })
    })
}

const HEAD: Type = Type::bold(14.0);
const WORDS: Type = Type::regular(12.5, INK);
const NOTE: Type = Type::regular(12.0, QUIET);
const LINE: f64 = 22.0;

/// Right edges of the columns of numbers, from the left of the frame.
const COLUMNS: [(f64, &str); 4] = [
    (212.0, "n"),
    (278.0, "rms, L*"),
    (356.0, "largest, L*"),
    (422.0, "rms ÷ u"),
];

/// Marks and figures of each kind, what the lines mean, and the strays by name.
fn legend(area: &Area, frame: &Frame, points: &[&FitPoint]) -> Drawn {
    let left = frame.left + 10.0;
    let mut y = frame.top + 14.0;
    text(
        area,
        (left, y),
        "Residuals by kind",
        HEAD,
        HPos::Left,
        VPos::Center,
    )?;
    for (x, head) in COLUMNS {
        text(area, (left + x, y), head, NOTE, HPos::Right, VPos::Center)?;
    }
    y += 14.0;
    for kind in PointKind::ALL {
        let these: Vec<&&FitPoint> = points.iter().filter(|p| p.kind == kind).collect();
        if !these.is_empty() {
            y += LINE;
            kind_line(area, (left, y), kind, &these)?;
        }
    }
    y = lines_explained(area, left, y + LINE + 12.0)?;
    strays_named(area, left, y, frame, points)
}

fn kind_line(area: &Area, (left, y): (f64, f64), kind: PointKind, points: &[&&FitPoint]) -> Drawn {
    mark(area, kind, (raster(left + 6.0), raster(y)))?;
    text(
        area,
        (left + 20.0, y),
        kind.words(),
        WORDS,
        HPos::Left,
        VPos::Center,
    )?;
    let rms = |of: &dyn Fn(&FitPoint) -> f64| {
        let sum: f64 = points.iter().map(|p| of(p).powi(2)).sum();
        (sum / points.len() as f64).sqrt()
    };
    let largest = points
        .iter()
        .map(|p| p.residual_lstar().abs())
        .fold(0.0, f64::max);
    let figures = [
        points.len().to_string(),
        format!("{:.3}", rms(&FitPoint::residual_lstar)),
        format!("{largest:.3}"),
        format!("{:.2}", rms(&FitPoint::standardised)),
    ];
    for ((x, _), figure) in COLUMNS.iter().zip(&figures) {
        text(
            area,
            (left + x, y),
            figure,
            WORDS,
            HPos::Right,
            VPos::Center,
        )?;
    }
    Ok(())
}

/// Gives where the next line stands.
fn lines_explained(area: &Area, left: f64, mut y: f64) -> std::result::Result<f64, DrawError> {
    let words = |y: f64, words: &str| {
        text(
            area,
            (left + 36.0, y),
            words,
            NOTE,
            HPos::Left,
            VPos::Center,
        )
    };
    let level = vec![(raster(left), raster(y)), (raster(left + 26.0), raster(y))];
    path(area, level, 1.6, INK.to_rgba())?;
    words(
        y,
        "mean of the fitted points; in the histogram, the normal curve",
    )?;
    y += LINE;
    fill(area, (left, y - 6.0), (left + 26.0, y + 6.0), SHADE)?;
    words(y, "±2 u, u the standard uncertainty of a reading")?;
    y += LINE;
    fill(area, (left, y - 6.0), (left + 11.0, y + 6.0), BLUE.mix(0.4))?;
    let stairs = [(15.0, 6.0), (15.0, -6.0), (26.0, -6.0), (26.0, 6.0)];
    let stairs = stairs.map(|(dx, dy)| (raster(left + dx), raster(y + dy)));
    path(area, stairs.to_vec(), 1.6, VERMILION.to_rgba())?;
    words(y, "histogram: fitted, held out")?;
    y += LINE;
    ring(area, (raster(left + 13.0), raster(y)))?;
    words(
        y,
        "stray, named; at the edge of a panel where it lies beyond",
    )?;
    Ok(y + LINE)
}

fn strays_named(area: &Area, left: f64, mut y: f64, frame: &Frame, points: &[&FitPoint]) -> Drawn {
    let strays: Vec<&&FitPoint> = points.iter().filter(|p| p.stray).collect();
    rule(
        area,
        (left, y - 6.0),
        (frame.left + frame.width, y - 6.0),
        1.0,
        HAIR,
    )?;
    y += 10.0;
    if strays.is_empty() {
        return text(
            area,
            (left, y),
            "No strays.",
            NOTE,
            HPos::Left,
            VPos::Center,
        );
    }
    for stray in strays.iter().take(STRAYS_LISTED) {
        let residual = format!("{} L*", signed(stray.residual_lstar()));
        let name = cut(&stray.name, NOTE.face, NOTE.size, frame.width - 120.0);
        text(area, (left, y), &name, WORDS, HPos::Left, VPos::Center)?;
        text(
            area,
            (frame.left + frame.width, y),
            &residual,
            WORDS,
            HPos::Right,
            VPos::Center,
        )?;
        y += 17.0;
    }
    if strays.len() > STRAYS_LISTED {
        let more = format!("and {} more", strays.len() - STRAYS_LISTED);
        text(area, (left, y), &more, NOTE, HPos::Left, VPos::Center)?;
    }
    Ok(())
}
