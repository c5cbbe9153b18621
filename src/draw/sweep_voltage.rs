//! The part of the map that tells what lower voltages cost.

use super::axes::{Axes, axes, padded};
use super::fit::Frame;
use super::pen::{BLUE, ORANGE, QUIET, Type, VERMILION, disc, path, raster, text};
use super::sheet::{Area, Drawn};
use super::sweep::{GAP, LABEL, LEFT, PAGE, SweepPicture, place};
use crate::design::sweep::VoltageCost;
use plotters::prelude::{Circle, RGBColor};
use plotters::style::Color;
use plotters_backend::text_anchor::{HPos, VPos};

pub(super) const VOLTAGE_HEIGHT: f64 = 270.0;

/// What a lower select and a lower data voltage cost, side by side.
pub(super) fn voltage_panels(area: &Area, picture: &SweepPicture) -> Drawn {
    let width = (f64::from(PAGE) - 2.0 * LEFT - GAP) / 2.0;
    for (i, rail) in ["select", "data"].into_iter().enumerate() {
        let costs: Vec<&VoltageCost> = picture
            .knees
            .voltage
            .iter()
            .filter(|v| v.rail == rail)
            .collect();
        let frame = Frame {
            left: LEFT + i as f64 * (width + GAP),
            top: 0.0,
            width,
            height: VOLTAGE_HEIGHT,
        };
        if !costs.is_empty() {
            voltage_panel(area, &frame, rail, &costs)?;
        }
    }
    Ok(())
}

fn voltage_panel(area: &Area, frame: &Frame, rail: &str, costs: &[&VoltageCost]) -> Drawn {
    let caps = |v: &&VoltageCost| {
        v.caps
            .iter()
            .map(|c| c.cap_v)
            .chain([v.free_v])
            .collect::<Vec<_>>()
    };
    let volts: Vec<f64> = costs.iter().flat_map(caps).collect();
    let widest = costs.iter().map(|v| v.free_lstar).fold(1.0, f64::max);
    let title = format!("What a lower {rail} voltage costs");
    let words = format!("highest {rail} voltage, V");
    let chart = axes(
        area,
        frame,
        &Axes {
            title: &title,
            x: padded(volts.into_iter(), 0.1),
            y: 0.0..widest * 1.15,
            x_words: &words,
            y_words: "span, L*",
        },
    )?;
    let ring = |at, ink: RGBColor| {
        area.draw(&Circle::new(
            at,
            raster(6.5),
            ink.stroke_width(raster(1.6) as u32),
        ))
    };
    for (i, v) in costs.iter().enumerate() {
        let ink = [BLUE, ORANGE][i % 2];
        let mut line: Vec<(f64, f64)> = v.caps.iter().map(|c| (c.cap_v, c.span_lstar)).collect();
        line.push((v.free_v, v.free_lstar));
        line.sort_by(|a, b| a.0.total_cmp(&b.0));
        let places: Vec<(i32, i32)> = line.iter().map(|p| chart.backend_coord(p)).collect();
        path(area, places.clone(), 1.8, ink.mix(1.0))?;
        for at in &places {
            disc(area, *at, 2.8, ink.mix(1.0))?;
        }
        if let Some(k) = line.iter().position(|p| p.0 == v.enough_v) {
            ring(places[k], VERMILION)?;
        }
        if let Some((x, y)) = places.last().map(|p| place(*p)) {
            let words = format!("{} levels in {} s", v.levels, v.budget_s);
            text(
                area,
                (x, y - 13.0),
                &words,
                LABEL,
                HPos::Right,
                VPos::Center,
            )?;
        }
    }
    let (x, y) = (
        frame.left + frame.width - 12.0,
        frame.top + frame.height - 52.0,
    );
    let quiet = Type::regular(12.0, QUIET);
    text(
        area,
        (x, y),
        "ring: a higher one buys less than 0.3 L*",
        quiet,
        HPos::Right,
        VPos::Center,
    )?;
    Ok(())
}
