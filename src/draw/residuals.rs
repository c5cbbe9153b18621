//! Measured against predicted, and residuals against every input.

use super::axes::{Axes, Chart, NUMBER, axes, chart, padded, scatter};
use super::fit::{DRAWABLE_MAX, FitPoint, Frame};
use super::pen::{INK, QUIET, Type, path, text};
use super::sheet::{Area, Drawn, SCALE};
use super::text::{Face, cut, width};
use plotters::prelude::{Color, RGBColor, Rectangle};
use plotters_backend::text_anchor::{HPos, VPos};

/// Under the points: where 95 % of the readings should lie.
pub(super) const SHADE: RGBColor = RGBColor(232, 237, 242);

const NAME: Type = Type::regular(11.0, INK);
/// Room between two names side by side, or a name and the ring of another.
const NAME_GAP: f64 = 6.0;

/// An input with this many values or fewer is drawn as a row of groups, if these hold enough points.
const GROUPS_MAX: usize = 12;
const GROUP_POINTS_MIN: usize = 3;
/// Share of the gap between two groups over which the points of one are spread.
const GROUP_SPREAD: f64 = 0.5;
/// Stretches of a continuous input over which means are taken, and points that one needs.
const STRETCHES: usize = 10;
const STRETCH_POINTS_MIN: usize = 3;

/// Measured against predicted, with the line on which both are the same.
pub(super) fn identity(area: &Area, frame: &Frame, points: &[&FitPoint]) -> Drawn {
    let both = || {
        points
            .iter()
            .flat_map(|p| [p.measured_lstar, p.predicted_lstar])
    };
    let range = padded(both(), 0.5);
    let spec = Axes {
        title: "Measured against predicted",
        x: range.clone(),
        y: range.clone(),
        x_words: "predicted lightness, L*",
        y_words: "measured lightness, L*",
    };
    let chart = axes(area, frame, &spec)?;
    let ends = [range.start, range.end].map(|x| chart.backend_coord(&(x, x)));
    path(area, ends.to_vec(), 1.2, QUIET.to_rgba())?;
    let placed: Vec<_> = points
        .iter()
        .map(|p| (*p, p.predicted_lstar, p.measured_lstar))
        .collect();
    scatter(area, &chart, &placed)
}

/// An input against which residuals are drawn.
pub(super) struct Inputs {
    title: &'static str,
    words: &'static str,
    of: fn(&FitPoint) -> Option<f64>,
    /// Whether strays are named here.
    names: bool,
}

impl Inputs {
    pub const PREDICTED: Inputs = Inputs {
        title: "Residual against prediction",
        words: "predicted lightness, L*",
        of: |p| Some(p.predicted_lstar),
        names: true,
    };
    pub const TEMPERATURE: Inputs = Inputs {
        title: "Residual against temperature",
        words: "temperature, °C",
        of: |p| Some(p.temperature_c),
        names: false,
    };
    pub const ROW: Inputs = Inputs {
        title: "Residual against row",
        words: "middle row of the patch",
        of: |p| p.row,
        names: false,
    };
    pub const SELECT: Inputs = Inputs {
        title: "Residual against select voltage",
        words: "select voltage of the first field, V",
        of: |p| p.select_v,
        names: false,
    };
    pub const OWN_TICKS: Inputs = Inputs {
        title: "Residual against own ticks",
        words: "own on-time, share of the slots",
        of: |p| p.own_ticks_share,
        names: false,
    };
    pub const CONTENT: Inputs = Inputs {
        title: "Residual against content",
        words: "on-time of the column’s other rows, share",
        of: |p| p.content_share,
        names: false,
    };
}

/// The points with the axis that all residual panels share.
pub(super) struct Residuals<'p> {
    points: &'p [&'p FitPoint],
    half_range: f64,
    two_u: f64,
}

impl<'p> Residuals<'p> {
    pub fn of(points: &'p [&'p FitPoint]) -> Self {
        let usual = points.iter().filter(|p| !p.stray);
        let largest = usual.map(|p| p.residual_lstar().abs()).fold(0.0, f64::max);
        let mean_square =
            points.iter().map(|p| p.u_lstar.powi(2)).sum::<f64>() / points.len() as f64;
        let two_u = 2.0 * mean_square.sqrt();
        // Strays may lie far beyond; they are put at the edge.
        let half_range = 1.25 * largest.max(1.5 * two_u);
        Residuals {
            points,
            half_range,
            two_u,
        }
    }

    pub fn panel(&self, area: &Area, frame: &Frame, input: &Inputs) -> Drawn {
        let known = self.points.iter().filter_map(|p| {
            let x = (input.of)(p).filter(|x| x.abs() <= DRAWABLE_MAX)?;
            let edge = 0.93 * self.half_range;
            Some((*p, x, p.residual_lstar().clamp(-edge, edge)))
        });
        let known: Vec<(&FitPoint, f64, f64)> = known.collect();
        let groups = Groups::of(known.iter().map(|(_, x, _)| *x));
        let x_words = groups.words(input.words);
        let spec = Axes {
            title: input.title,
            x: padded(known.iter().map(|(_, x, _)| *x), groups.margin()),
            y: -self.half_range..self.half_range,
            x_words: &x_words,
            y_words: "measured − predicted, L*",
        };
        self.shade(area, frame, &spec)?;
        let chart = axes(area, frame, &spec)?;
        if known.is_empty() {
            let middle = (
                frame.left + frame.width / 2.0 + 22.0,
                frame.top + frame.height / 2.0 - 20.0,
            );
            return text(
                area,
                middle,
                "no reading has this input",
                NUMBER,
                HPos::Center,
                VPos::Center,
            );
        }
        let spread: Vec<_> = known
            .iter()
            .enumerate()
            .map(|(i, (p, x, y))| (*p, groups.moved(i, *x), *y))
            .collect();
        scatter(area, &chart, &spread)?;
        let means: Vec<_> = groups
            .means(&known)
            .iter()
            .map(|m| chart.backend_coord(m))
            .collect();
        path(area, means, 1.6, INK.to_rgba())?;
        if input.names {
            name_strays(area, &chart, &spread)
        } else {
            Ok(())
        }
    }

    /// ±2 u, and the line of no residual, before the grid so that it lies above.
    fn shade(&self, area: &Area, frame: &Frame, spec: &Axes) -> Drawn {
        let chart = chart(area, frame, spec)?;
        let corners = [(spec.x.start, self.two_u), (spec.x.end, -self.two_u)];
        area.draw(&Rectangle::new(
            corners.map(|c| chart.backend_coord(&c)),
            SHADE.filled(),
        ))?;
        let zero = [spec.x.start, spec.x.end].map(|x| chart.backend_coord(&(x, 0.0)));
        path(area, zero.to_vec(), 1.2, QUIET.to_rgba())
    }
}

/// The values of an input, where they are few.
struct Groups {
    values: Vec<f64>,
    gap: f64,
}

impl Groups {
    fn of(values: impl Iterator<Item = f64>) -> Groups {
        let mut values: Vec<f64> = values.collect();
        let count = values.len();
        values.sort_by(f64::total_cmp);
        values.dedup();
        let gaps = values.windows(2).map(|w| w[1] - w[0]);
        let gap = gaps.fold(f64::INFINITY, f64::min);
        if values.len() > GROUPS_MAX || values.len() * GROUP_POINTS_MIN > count {
            values.clear();
        }
        let gap = if gap.is_finite() { gap } else { 1.0 };
        Groups { values, gap }
    }

    /// The words of the axis, which say that points don't stand at their exact value.
    fn words(&self, input: &str) -> String {
        if self.values.is_empty() {
            input.to_owned()
        } else {
            format!("{input}; equal values spread sideways")
        }
    }

    /// Room beside the first and last group.
    fn margin(&self) -> f64 {
        if self.values.is_empty() {
            0.0
        } else {
            0.5 * self.gap
        }
    }

    /// Beside its group, so that points don't hide each other: by the golden ratio, hence evenly.
    fn moved(&self, i: usize, x: f64) -> f64 {
        const GOLDEN: f64 = 0.618_033_988_749_895;
        if self.values.is_empty() {
            return x;
        }
        let place = (i as f64 * GOLDEN).fract() - 0.5;
        x + place * GROUP_SPREAD * self.gap
    }

    /// Mean residual of the fitted points that don't stray, by group or by stretch of the input.
    fn means(&self, points: &[(&FitPoint, f64, f64)]) -> Vec<(f64, f64)> {
        let usual: Vec<(f64, f64)> = points
            .iter()
            .filter(|(p, ..)| p.fitted() && !p.stray)
            .map(|(_, x, y)| (*x, *y))
            .collect();
        let mean = |inside: &dyn Fn(f64) -> bool, least: usize| {
            let here: Vec<_> = usual.iter().filter(|(x, _)| inside(*x)).collect();
            let n = here.len() as f64;
            let sum = here
                .iter()
                .fold((0.0, 0.0), |(a, b), (x, y)| (a + x, b + y));
            (here.len() >= least).then(|| (sum.0 / n, sum.1 / n))
        };
        if !self.values.is_empty() {
            return self
                .values
                .iter()
                .filter_map(|v| mean(&|x| x == *v, 1))
                .collect();
        }
        let range = padded(usual.iter().map(|(x, _)| *x), 0.0);
        let length = (range.end - range.start) / STRETCHES as f64;
        let stretch = |x: f64| (((x - range.start) / length) as usize).min(STRETCHES - 1);
        (0..STRETCHES)
            .filter_map(|k| mean(&|x| stretch(x) == k, STRETCH_POINTS_MIN))
            .collect()
    }
}

/// A residual to two decimals with its sign.
pub(super) fn signed(residual_lstar: f64) -> String {
    let cents = (100.0 * residual_lstar).round() + 0.0;
    format!("{:+.2}", cents / 100.0).replace('-', "−")
}

/// Names and residuals beside their rings, where they leave the panel and each other alone.
fn name_strays(area: &Area, chart: &Chart, points: &[(&FitPoint, f64, f64)]) -> Drawn {
    let (columns, rows) = chart.plotting_area().get_pixel_range();
    let mut taken: Vec<[f64; 4]> = Vec::new();
    for (point, x, y) in points.iter().filter(|(p, ..)| p.stray) {
        let (x, y) = chart.backend_coord(&(*x, *y));
        let (x, y) = (
            f64::from(x) / f64::from(SCALE),
            f64::from(y) / f64::from(SCALE),
        );
        let name = cut(&point.name, Face::Regular, NAME.size, 120.0);
        let name = format!("{name}  {}", signed(point.residual_lstar()));
        let long = width(&name, Face::Regular, NAME.size);
        let places = [
            (10.0, 0.0),
            (-10.0 - long, 0.0),
            (-long / 2.0, -15.0),
            (-long / 2.0, 15.0),
        ];
        let boxes = places.map(|(dx, dy)| [x + dx, y + dy - 7.0, x + dx + long, y + dy + 7.0]);
        let scale = f64::from(SCALE);
        let inside = |b: &[f64; 4]| {
            b[0] * scale >= f64::from(columns.start)
                && b[2] * scale <= f64::from(columns.end)
                && b[1] * scale >= f64::from(rows.start)
                && b[3] * scale <= f64::from(rows.end)
        };
        let free = |b: &[f64; 4]| {
            taken.iter().all(|t| {
                b[2] + NAME_GAP < t[0] || t[2] + NAME_GAP < b[0] || b[3] < t[1] || t[3] < b[1]
            })
        };
        if let Some(b) = boxes.into_iter().find(|b| inside(b) && free(b)) {
            text(
                area,
                (b[0], (b[1] + b[3]) / 2.0),
                &name,
                NAME,
                HPos::Left,
                VPos::Center,
            )?;
            taken.push(b);
        }
    }
    Ok(())
}
