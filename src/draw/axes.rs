//! Axes of a panel, and the points on them.

use super::fit::{FitPoint, Frame, PointKind};
use super::marks::{mark, ring};
use super::pen::{HAIR, INK, QUIET, Type, raster, text};
use super::sheet::{Area, DrawError, Drawn, SCALE, Sheet};
use plotters::chart::{ChartBuilder, ChartContext};
use plotters::coord::types::RangedCoordf64;
use plotters::prelude::{Cartesian2d, Color};
use plotters_backend::text_anchor::{HPos, VPos};
use std::ops::Range;

const TITLE: Type = Type::bold(14.0);
const AXIS: Type = Type::regular(12.5, INK);
pub(super) const NUMBER: Type = Type::regular(11.5, QUIET);

/// Margin on either side of a single value, in the unit of its axis.
const LONE_MARGIN: f64 = 0.5;
/// Numbers closer than this are one: their axis would have no length.
const SPAN_MIN: f64 = 1e-3;

/// Room for the title, for the numbers and words of the axes, and beside the last number.
const HEAD: f64 = 28.0;
const X_AREA: f64 = 40.0;
const Y_AREA: f64 = 52.0;
const MARGIN: f64 = 8.0;

pub(super) type Chart<'a> =
    ChartContext<'a, Sheet<'a>, Cartesian2d<RangedCoordf64, RangedCoordf64>>;

pub(super) struct Axes<'s> {
    pub title: &'s str,
    pub x: Range<f64>,
    pub y: Range<f64>,
    pub x_words: &'s str,
    pub y_words: &'s str,
}

/// Where values come to lie on a panel.
pub(super) fn chart<'a>(
    area: &Area<'a>,
    frame: &Frame,
    axes: &Axes,
) -> Result<Chart<'a>, DrawError> {
    let corner = (raster(frame.left), raster(frame.top + HEAD));
    let size = (raster(frame.width), raster(frame.height - HEAD));
    ChartBuilder::on(&area.clone().shrink(corner, size))
        .margin_right(raster(MARGIN))
        .x_label_area_size(raster(X_AREA))
        .y_label_area_size(raster(Y_AREA))
        .build_cartesian_2d(axes.x.clone(), axes.y.clone())
}

/// Draws title, grid and axes.
pub(super) fn axes<'a>(
    area: &Area<'a>,
    frame: &Frame,
    axes: &Axes,
) -> Result<Chart<'a>, DrawError> {
    text(
        area,
        (frame.left + Y_AREA, frame.top + 14.0),
        axes.title,
        TITLE,
        HPos::Left,
        VPos::Center,
    )?;
    let mut chart = chart(area, frame, axes)?;
    let hair = HAIR.mix(0.75).stroke_width(SCALE);
    chart
        .configure_mesh()
        .x_labels(7)
        .y_labels(7)
        .max_light_lines(0)
        .bold_line_style(hair)
        .axis_style(QUIET.stroke_width(SCALE))
        .set_all_tick_mark_size(raster(4.0))
        .x_label_formatter(&|x| number(*x))
        .y_label_formatter(&|y| number(*y))
        .label_style(NUMBER.style(HPos::Left, VPos::Top))
        .axis_desc_style(AXIS.style(HPos::Left, VPos::Top))
        .x_desc(axes.x_words)
        .y_desc(axes.y_words)
        .draw()?;
    Ok(chart)
}

/// A key point of an axis, without the dust of its arithmetic.
fn number(x: f64) -> String {
    let clean = (x * 1e6).round() / 1e6 + 0.0;
    clean.to_string().replace('-', "−")
}

/// The range of some numbers with a twentieth of it on either side.
pub(super) fn padded(values: impl Iterator<Item = f64>, least: f64) -> Range<f64> {
    let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), x| {
        (l.min(x), h.max(x))
    });
    if low > high {
        return 0.0..1.0;
    }
    let margin = if high - low > SPAN_MIN {
        0.05 * (high - low)
    } else {
        LONE_MARGIN
    };
    let margin = margin.max(least);
    low - margin..high + margin
}

/// Points of every kind, those held out on top, then the rings of the strays.
pub(super) fn scatter(area: &Area, chart: &Chart, points: &[(&FitPoint, f64, f64)]) -> Drawn {
    for kind in PointKind::ALL {
        for (_, x, y) in points.iter().filter(|(p, ..)| p.kind == kind) {
            mark(area, kind, chart.backend_coord(&(*x, *y)))?;
        }
    }
    points
        .iter()
        .filter(|(p, ..)| p.stray)
        .try_for_each(|(_, x, y)| ring(area, chart.backend_coord(&(*x, *y))))
}
