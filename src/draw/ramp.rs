//! The grey ramp as the panel will show it, and how even its steps are.

use super::grey::grey_byte;
use super::pen::{
    BLUE, HAIR, Heading, INK, QUIET, Type, VERMILION, dashes, disc, fill, raster, rule, text,
    upright,
};
use super::sheet::{Area, Drawn, Page};
use super::text::{cut, width};
use crate::error::{Error, Result, Unmet};
use crate::tone::reflectance_from_lstar;
use crate::waveforms::{Band, LEVELS, Waveforms};
use plotters::style::RGBColor;
use plotters_backend::text_anchor::{HPos, VPos};

const FILE: &str = "ramp.png";

/// Levels side by side; more go to further rows.
const LEVELS_A_ROW: usize = 32;

const PAGE: u32 = 1280;
const LEFT: f64 = 74.0;
const RIGHT: f64 = 1244.0;

const BAND_TITLE: Type = Type::bold(15.0);
const BAND_FACTS: Type = Type::regular(13.0, QUIET);
const NUMBER: Type = Type::regular(11.0, QUIET);
const LIGHTNESS: Type = Type::regular(11.5, INK);
const SCALE_NUMBER: Type = Type::regular(11.0, QUIET);
const NOTE: Type = Type::regular(12.5, QUIET);

/// A set holds L* to 4 decimals: the error of a level, less its target, may be off by this.
const ROUNDED_LSTAR: f64 = 1e-4;

/// From top to bottom of one row of levels.
const BAND_HEAD: f64 = 34.0;
const NUMBERS: f64 = 17.0;
const SWATCH: f64 = 96.0;
/// Where a band has more rows than two.
const SWATCH_LOW: f64 = 56.0;
const LIGHTNESSES: f64 = 28.0;
const STRIP: f64 = 76.0;
const ROW_GAP: f64 = 20.0;
const FOOT: f64 = 74.0;

/// One level as predicted: middle, worst low and high over contents, rows and temperatures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RampLevel {
    pub lstar: f64,
    pub low_lstar: f64,
    pub high_lstar: f64,
    pub target_lstar: f64,
}

/// The levels of one band, darkest first.
#[derive(Debug, Clone, PartialEq)]
pub struct RampBand {
    /// Such as "5 … 14 °C".
    pub title: String,
    pub levels: Vec<RampLevel>,
}

impl RampBand {
    /// The ramp of a band of a finished set, titled by its temperatures.
    pub fn of(set: &Waveforms, band: &Band) -> RampBand {
        let t = &band.temperature_c;
        let title = if t.low == t.high {
            format!("{} °C", t.low)
        } else {
            format!("{} … {} °C", t.low, t.high)
        };
        let p = &band.predicted;
        let ranges = p.low_lstar.iter().zip(&p.high_lstar);
        let rows = p.lstar.iter().zip(band.targets(set)).zip(ranges);
        let level = |((lstar, target), (low, high)): ((&f64, &f64), (&f64, &f64))| RampLevel {
            lstar: *lstar,
            low_lstar: *low,
            high_lstar: *high,
            target_lstar: *target,
        };
        RampBand {
            title,
            levels: rows.map(level).collect(),
        }
    }

    /// Mean step of the targets, L*.
    fn step_lstar(&self) -> f64 {
        let ends = self.levels.first().zip(self.levels.last());
        let span = ends.map_or(f64::NAN, |(a, b)| b.target_lstar - a.target_lstar);
        span / (self.levels.len() as f64 - 1.0)
    }

    /// Distances from the target in steps: of low, middle, high.
    fn deviations(&self) -> impl Iterator<Item = [f64; 3]> {
        let step = self.step_lstar();
        self.levels
            .iter()
            .map(move |l| [l.low_lstar, l.lstar, l.high_lstar].map(|x| (x - l.target_lstar) / step))
    }

    fn worst_steps(&self) -> f64 {
        self.deviations()
            .flatten()
            .map(f64::abs)
            .fold(0.0, f64::max)
    }

    fn facts(&self) -> String {
        let Some((dark, light)) = self.levels.first().zip(self.levels.last()) else {
            return String::new();
        };
        format!(
            "targets {:.1} … {:.1} L*   ·   step {:.2} L*   ·   contrast {:.1} : 1   ·   worst error {:.3} step",
            dark.target_lstar,
            light.target_lstar,
            self.step_lstar(),
            reflectance_from_lstar(light.target_lstar) / reflectance_from_lstar(dark.target_lstar),
            self.worst_steps(),
        )
    }

    fn check(&self) -> Result<()> {
        let count = self.levels.len();
        if !LEVELS.contains(&count) {
            return Err(cannot(format!(
                "{} has {count} levels, not 2 to 256",
                self.title
            )));
        }
        let whole = self.deviations().flatten().all(f64::is_finite) && self.step_lstar() > 0.0;
        let lightness = self.levels.iter().all(|l| l.lstar.is_finite());
        if whole && lightness {
            return Ok(());
        }
        Err(cannot(format!(
            "{}: levels without a finite lightness, or targets that don't rise",
            self.title
        )))
    }
}

fn cannot(binding: String) -> Error {
    Error::Unmet(Unmet {
        request: FILE.into(),
        binding,
        would_do: Vec::new(),
    })
}

/// The grey ramp of every band as PNG, the same bytes for the same data.
///
/// Swatches are the predicted lightness in sRGB, white standing for the perfect diffuser. Above each
/// stands its level, below its L*; under that, in steps of the ladder, how far its middle and its
/// worst low and high lie from the target, with dashes at ±`tolerance_steps`.
///
/// # Errors
/// [`Error::Unmet`] when there is no band, a band has not 2 to 256 levels, or a number is not finite.
pub fn ramp_png(
    bands: &[RampBand],
    tolerance_steps: f64,
    title: &str,
    caption: &str,
) -> Result<Vec<u8>> {
    if bands.is_empty() || !(tolerance_steps > 0.0 && tolerance_steps.is_finite()) {
        return Err(cannot("it needs a band and a tolerance above 0".into()));
    }
    bands.iter().try_for_each(RampBand::check)?;
    let worst = bands.iter().map(RampBand::worst_steps).fold(0.0, f64::max);
    let scale = Scale::holding(worst, tolerance_steps);
    let mut page = Page::new(FILE, PAGE);
    let heading = Heading::new(title, caption, RIGHT - LEFT);
    page.strip(heading.height() as u32, |area| heading.draw(area, LEFT))?;
    for band in bands {
        draw_band(&mut page, band, &scale)?;
    }
    page.strip(FOOT as u32, |area| draw_foot(area, tolerance_steps))?;
    page.png()
}

/// The axis of the strips, in steps, the same for all of them.
struct Scale {
    tolerance: f64,
    half_range: f64,
}

impl Scale {
    /// A little more than the tolerance, or than `worst` needs.
    fn holding(worst: f64, tolerance: f64) -> Scale {
        let half_range = (1.25 * tolerance).max(1.05 * worst);
        Scale {
            tolerance,
            half_range,
        }
    }

    /// Pixels above the middle of the strip.
    fn rise(&self, steps: f64) -> f64 {
        steps / self.half_range * STRIP / 2.0
    }

    /// Whether the tolerance lines stand far enough from the middle to carry a number.
    fn tells_tolerance(&self) -> bool {
        self.rise(self.tolerance) >= 1.1 * SCALE_NUMBER.size
    }
}

fn draw_band(page: &mut Page, band: &RampBand, scale: &Scale) -> Result<()> {
    page.strip(BAND_HEAD as u32, |area| draw_band_head(area, band))?;
    let rows = band.levels.len().div_ceil(LEVELS_A_ROW);
    let a_row = band.levels.len().div_ceil(rows);
    let deviations: Vec<[f64; 3]> = band.deviations().collect();
    let allowed = scale.tolerance + ROUNDED_LSTAR / band.step_lstar();
    for (i, (levels, deviations)) in band
        .levels
        .chunks(a_row)
        .zip(deviations.chunks(a_row))
        .enumerate()
    {
        let cells = Cells {
            first: i * a_row,
            width: (RIGHT - LEFT) / a_row as f64,
            swatch: if rows > 2 { SWATCH_LOW } else { SWATCH },
        };
        page.strip(cells.height() as u32, |area| {
            draw_levels(area, levels, &cells)?;
            draw_strip(area, deviations, &cells, scale, allowed)
        })?;
    }
    Ok(())
}

fn draw_band_head(area: &Area, band: &RampBand) -> Drawn {
    let facts = band.facts();
    let room = RIGHT - LEFT - width(&facts, BAND_FACTS.face, BAND_FACTS.size) - 24.0;
    let title = cut(&band.title, BAND_TITLE.face, BAND_TITLE.size, room);
    rule(area, (LEFT, 1.0), (RIGHT, 1.0), 1.0, HAIR)?;
    let y = BAND_HEAD / 2.0 + 3.0;
    text(
        area,
        (LEFT, y),
        &title,
        BAND_TITLE,
        HPos::Left,
        VPos::Center,
    )?;
    text(
        area,
        (RIGHT, y),
        &facts,
        BAND_FACTS,
        HPos::Right,
        VPos::Center,
    )
}

/// A row of levels: the number of its first, how wide each is and how tall its swatch.
struct Cells {
    first: usize,
    width: f64,
    swatch: f64,
}

impl Cells {
    /// On whole pixels, so that a swatch is one grey up to its edge.
    fn left(&self, i: usize) -> f64 {
        (LEFT + i as f64 * self.width).round()
    }

    fn middle(&self, i: usize) -> f64 {
        (self.left(i) + self.left(i + 1)) / 2.0
    }

    /// Top of the strip under the row.
    fn strip(&self) -> f64 {
        NUMBERS + self.swatch + LIGHTNESSES
    }

    fn height(&self) -> f64 {
        self.strip() + STRIP + ROW_GAP
    }
}

fn draw_levels(area: &Area, levels: &[RampLevel], cells: &Cells) -> Drawn {
    let bottom = NUMBERS + cells.swatch;
    for (i, level) in levels.iter().enumerate() {
        let byte = grey_byte(level.lstar);
        let grey = RGBColor(byte, byte, byte);
        let x = cells.middle(i);
        let number = (cells.first + i).to_string();
        let lightness = format!("{:.1}", level.lstar);
        text(
            area,
            (x, NUMBERS / 2.0),
            &number,
            NUMBER,
            HPos::Center,
            VPos::Center,
        )?;
        fill(
            area,
            (cells.left(i), NUMBERS),
            (cells.left(i + 1), bottom),
            grey,
        )?;
        text(
            area,
            (x, bottom + 12.0),
            &lightness,
            LIGHTNESS,
            HPos::Center,
            VPos::Center,
        )?;
    }
    Ok(())
}

/// Levels within `allowed` steps in blue, others in vermilion.
fn draw_strip(
    area: &Area,
    deviations: &[[f64; 3]],
    cells: &Cells,
    scale: &Scale,
    allowed: f64,
) -> Drawn {
    let middle = cells.strip() + STRIP / 2.0;
    let right = cells.left(deviations.len());
    draw_scale(area, middle, right, scale)?;
    for (i, [low, mid, high]) in deviations.iter().enumerate() {
        let within = low.abs().max(high.abs()).max(mid.abs()) <= allowed;
        let ink = if within { BLUE } else { VERMILION };
        let x = cells.middle(i);
        let y = |steps: f64| middle - scale.rise(steps);
        rule(area, (x, y(*high)), (x, y(*low)), 3.0, ink)?;
        disc(area, (raster(x), raster(y(*mid))), 3.4, ink)?;
    }
    Ok(())
}

fn draw_scale(area: &Area, middle: f64, right: f64, scale: &Scale) -> Drawn {
    let rise = scale.rise(scale.tolerance);
    rule(area, (LEFT, middle), (right, middle), 1.0, HAIR)?;
    let number = |y: f64, label: &str| {
        text(
            area,
            (LEFT - 9.0, y),
            label,
            SCALE_NUMBER,
            HPos::Right,
            VPos::Center,
        )
    };
    number(middle, "0")?;
    for (sign, steps) in [("+", rise), ("−", -rise)] {
        dashes(area, (LEFT, middle - steps), right, 1.0, QUIET)?;
        if scale.tells_tolerance() {
            number(middle - steps, &format!("{sign}{}", scale.tolerance))?;
        }
    }
    upright(area, (24.0, middle), "steps", SCALE_NUMBER)
}

/// What the marks mean.
fn draw_foot(area: &Area, tolerance: f64) -> Drawn {
    let y = 12.0;
    let mut x = LEFT;
    rule(area, (x + 4.0, y - 8.0), (x + 4.0, y + 8.0), 3.0, BLUE)?;
    disc(area, (raster(x + 4.0), raster(y)), 3.4, BLUE)?;
    x += 16.0;
    let bar = "middle, and lowest to highest over every content, row and temperature";
    x = note(area, x, y, bar)?;
    rule(area, (x + 4.0, y - 8.0), (x + 4.0, y + 8.0), 3.0, VERMILION)?;
    disc(area, (raster(x + 4.0), raster(y)), 3.4, VERMILION)?;
    x = note(area, x + 16.0, y, "leaves the tolerance")?;
    dashes(area, (x, y), x + 29.0, 1.0, QUIET)?;
    note(
        area,
        x + 38.0,
        y,
        &format!("tolerance, ±{tolerance} step from the target"),
    )?;
    let greys = "Numbers: level above, predicted L* below. Greys: predicted reflectance in sRGB (IEC 61966-2-1); \
                 the white of this page stands for the perfect diffuser.";
    text(
        area,
        (LEFT, y + 24.0),
        greys,
        NOTE,
        HPos::Left,
        VPos::Center,
    )
}

/// Writes a note and gives where the next one begins.
fn note(
    area: &Area,
    x: f64,
    y: f64,
    words: &str,
) -> std::result::Result<f64, super::sheet::DrawError> {
    text(area, (x, y), words, NOTE, HPos::Left, VPos::Center)?;
    Ok(x + width(words, NOTE.face, NOTE.size) + 30.0)
}
