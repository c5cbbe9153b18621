//! From the scanner's signal to reflectance: its response and the light over the sheet, from the wedge and the blank paper.
//!
//! Light times reflectance is a rising function of the signal. A first shape, gain·signal^γ + offset, and a smooth light
//! (a parabola over the sheet, in the logarithm) are fitted together to all steps and spots of paper; a monotone cubic
//! through the steps then takes what the first shape leaves.

use super::wedge_file::SAME_LSTAR;
use crate::response::least_squares::{Options, Residuals, Solution, solve, solve_from};
use crate::tone::lightness::{lstar_from_reflectance, reflectance_from_lstar};
use crate::tone::pchip::MonotoneCubic;

/// What the first shape is trusted to at a step, and how evenly paper is white, L*; the fit's weights.
const SHAPE_LSTAR: f64 = 0.15;
const PAPER_LSTAR: f64 = 0.15;
/// A step farther than this from the first shape is another step than its label says.
pub const MISLABELLED_LSTAR: f64 = 3.0;
/// Terms of the light's parabola: x, y, x², xy, y².
pub const LIGHT_TERMS: usize = 5;
/// The first of them, which copies of the wedge can tell.
pub const LIGHT_SLOPES: usize = 2;
/// Where a light varies by more than this, prior standard deviation of each term, the fit goes there unwillingly.
const LIGHT_PRIOR: f64 = 1.0;
const FIRST: usize = 3;
/// Steps this near in the first shape make one knot, L*: nearer ones would bend the curve by their own scatter.
const KNOT_LSTAR: f64 = 4.0;

/// A place as the light sees it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spot {
    /// Over the sheet, −1 to 1 each way.
    pub over: (f64, f64),
    /// Signal of the picture of a uniform sheet there, 0 to 1, where there is one.
    pub flat: Option<f64>,
}

/// A region of known reflectance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Known {
    pub spot: Spot,
    /// Steps of one row of the wedge lie side by side.
    pub row: u8,
    /// 0 to 1.
    pub signal: f64,
    pub reflectance: f64,
    /// Of the stated reflectance and of its reading, standard, L*.
    pub u_lstar: f64,
}

/// A spot of blank paper: all have one reflectance, which isn't known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Paper {
    pub spot: Spot,
    pub signal: f64,
}

/// Everything that a scan says of its scanner.
#[derive(Debug, Clone)]
pub struct Evidence {
    pub steps: Vec<Known>,
    pub paper: Vec<Paper>,
    /// Terms of the light to fit: 0, 2 or all.
    pub light_terms: usize,
    /// Signal of the middle of the uniform sheet's picture.
    pub flat_middle: Option<f64>,
}

/// The scanner's response and light.
#[derive(Debug, Clone)]
pub struct Scanner {
    parameters: Vec<f64>,
    light_terms: usize,
    flat_middle: Option<f64>,
    curve: MonotoneCubic,
    knots: Vec<(f64, f64)>,
}

/// Why no response follows from the steps.
#[derive(Debug, Clone, PartialEq)]
pub enum NoScanner {
    /// Steps (by index) of which the one stated lighter gives the same signal or less.
    NotRising { darker: usize, lighter: usize },
    /// A step that looks quite another than stated, L*.
    Mislabelled { step: usize, looks_lstar: f64 },
    /// Too few steps told apart.
    TooFew(usize),
}

impl Scanner {
    /// The response that the evidence asks for.
    pub fn of(evidence: &Evidence) -> Result<Self, NoScanner> {
        check_order(evidence)?;
        let starts: Vec<Vec<f64>> = [1.0f64, 2.2, 0.6].map(|g| evidence.start(g)).to_vec();
        let best = solve_from(evidence, &starts, &options())
            .into_iter()
            .next()
            .map_or_else(|| evidence.start(1.0), |s| s.parameters);
        let scanner = Self::with(evidence, best)?;
        for (step, known) in evidence.steps.iter().enumerate() {
            let off = evidence.shape_off_lstar(&scanner.parameters, known);
            if off.abs() > MISLABELLED_LSTAR.max(5.0 * known.u_lstar) {
                return Err(NoScanner::Mislabelled {
                    step,
                    looks_lstar: lstar_from_reflectance(known.reflectance) + off,
                });
            }
        }
        Ok(scanner)
    }

    /// The same for slightly other evidence.
    fn again(&self, evidence: &Evidence) -> Option<Self> {
        let found: Solution = solve(evidence, &self.parameters, &options());
        Self::with(evidence, found.parameters).ok()
    }

    fn with(evidence: &Evidence, parameters: Vec<f64>) -> Result<Self, NoScanner> {
        let shape = |k: &Known| {
            let lit = evidence.light(&parameters, &k.spot) * k.reflectance;
            let x = lstar_from_reflectance(first_shape(&parameters, k.signal));
            (x, lstar_from_reflectance(lit), k.u_lstar.max(0.01).powi(-2))
        };
        let mut points: Vec<(f64, f64, f64)> = evidence.steps.iter().map(shape).collect();
        points.sort_by(|a, b| a.0.total_cmp(&b.0));
        let knots = merged(&points);
        let (x, y) = knots.iter().copied().unzip();
        let Ok(curve) = MonotoneCubic::new(x, y) else {
            return Err(not_rising(evidence, &parameters));
        };
        Ok(Scanner {
            parameters,
            light_terms: evidence.light_terms,
            flat_middle: evidence.flat_middle,
            curve,
            knots,
        })
    }

    /// Light times reflectance of a signal, 0 to 1.
    pub fn lit(&self, signal: f64) -> f64 {
        let x = lstar_from_reflectance(first_shape(&self.parameters, signal));
        reflectance_from_lstar(self.taken(x))
    }

    /// The curve through the knots, straight on past its ends.
    fn taken(&self, x: f64) -> f64 {
        let (first, last) = (self.knots[0], self.knots[self.knots.len() - 1]);
        self.curve.value(x) + (x - x.clamp(first.0, last.0))
    }

    /// By how much a straight line between the knots would read otherwise, L*: how far the shape between them is open.
    pub fn open_lstar(&self, signal: f64) -> f64 {
        let x = lstar_from_reflectance(first_shape(&self.parameters, signal));
        let k = self.knots.partition_point(|knot| knot.0 <= x);
        if k == 0 || k == self.knots.len() {
            return 0.0;
        }
        let (a, b) = (self.knots[k - 1], self.knots[k]);
        self.curve.value(x) - (a.1 + (b.1 - a.1) * (x - a.0) / (b.0 - a.0))
    }

    /// Light at a place, relative.
    pub fn light(&self, spot: &Spot) -> f64 {
        light(&self.parameters, self.light_terms, self.flat_middle, spot)
    }

    pub fn lstar(&self, signal: f64, spot: &Spot) -> f64 {
        lstar_from_reflectance(self.lit(signal) / self.light(spot))
    }

    /// What the exponent of the first shape is: 1 for a scanner that is linear already.
    pub fn gamma(&self) -> f64 {
        self.parameters[1].exp()
    }

    /// Lightness that the wedge reaches, darkest and lightest, as lit in the middle.
    pub fn reach_lstar(&self) -> (f64, f64) {
        (self.knots[0].1, self.knots[self.knots.len() - 1].1)
    }

    /// What each step reads, less what is stated, L*.
    pub fn step_residuals_lstar(&self, evidence: &Evidence) -> Vec<f64> {
        let off = |k: &Known| self.lstar(k.signal, &k.spot) - lstar_from_reflectance(k.reflectance);
        evidence.steps.iter().map(off).collect()
    }

    /// What each spot of paper reads, less their mean, L*.
    pub fn paper_residuals_lstar(&self, evidence: &Evidence) -> Vec<f64> {
        let read: Vec<f64> = evidence
            .paper
            .iter()
            .map(|p| self.lstar(p.signal, &p.spot))
            .collect();
        let mean = read.iter().sum::<f64>() / read.len().max(1) as f64;
        read.into_iter().map(|l| l - mean).collect()
    }

    /// How the lightness of some readings moves when each step, and each spot of paper, moves by its own standard uncertainty:
    /// one list a source, steps first, one value a reading, L*. The whole response is fitted anew each time.
    pub fn shifts_lstar(&self, evidence: &Evidence, readings: &[(f64, Spot)]) -> Shifts {
        let at = |scanner: &Scanner| -> Vec<f64> {
            readings
                .iter()
                .map(|(s, spot)| scanner.lstar(*s, spot))
                .collect()
        };
        let here = at(self);
        let moved = |changed: Evidence| -> Vec<f64> {
            let there = self
                .again(&changed)
                .map_or_else(|| here.clone(), |s| at(&s));
            here.iter().zip(there).map(|(a, b)| b - a).collect()
        };
        let step = |k: usize| {
            let mut changed = evidence.clone();
            let known = &mut changed.steps[k];
            let lstar = lstar_from_reflectance(known.reflectance) + known.u_lstar;
            known.reflectance = reflectance_from_lstar(lstar);
            moved(changed)
        };
        let paper_u = self.paper_u_lstar(evidence);
        let paper = |k: usize| {
            let mut changed = evidence.clone();
            let p = &mut changed.paper[k];
            let lstar = self.lstar(p.signal, &p.spot);
            let nudge = 1e-3;
            let slope = (self.lstar(p.signal + nudge, &p.spot) - lstar) / nudge;
            p.signal += paper_u / slope.max(1.0);
            moved(changed)
        };
        Shifts {
            steps: (0..evidence.steps.len()).map(step).collect(),
            paper: (0..evidence.paper.len()).map(paper).collect(),
        }
    }

    /// Standard deviation of the paper about the light, L*.
    pub fn paper_u_lstar(&self, evidence: &Evidence) -> f64 {
        let off = self.paper_residuals_lstar(evidence);
        let freedom = off.len().saturating_sub(1 + self.light_terms).max(1) as f64;
        (off.iter().map(|r| r * r).sum::<f64>() / freedom).sqrt()
    }
}

/// See [`Scanner::shifts_lstar`].
#[derive(Debug, Clone, PartialEq)]
pub struct Shifts {
    pub steps: Vec<Vec<f64>>,
    pub paper: Vec<Vec<f64>>,
}

impl Shifts {
    /// Root of the sum of squares over the sources, for one reading.
    pub fn combined(sources: &[Vec<f64>], reading: usize) -> f64 {
        let squares = sources.iter().filter_map(|s| s.get(reading)).map(|v| v * v);
        squares.sum::<f64>().sqrt()
    }
}

impl Evidence {
    fn start(&self, gamma: f64) -> Vec<f64> {
        let brightest = self
            .steps
            .iter()
            .max_by(|a, b| a.signal.total_cmp(&b.signal));
        let (signal, reflectance) = brightest.map_or((1.0, 1.0), |k| (k.signal, k.reflectance));
        let gain = reflectance.max(1e-3) / signal.max(1e-3).powf(gamma);
        let mut start = vec![gain.ln(), gamma.ln(), 0.0, (0.85f64).ln()];
        start.extend(vec![0.0; self.light_terms]);
        start
    }

    fn light(&self, parameters: &[f64], spot: &Spot) -> f64 {
        light(parameters, self.light_terms, self.flat_middle, spot)
    }

    fn shape_off_lstar(&self, parameters: &[f64], k: &Known) -> f64 {
        let lit = self.light(parameters, &k.spot) * k.reflectance;
        lstar_from_reflectance(first_shape(parameters, k.signal)) - lstar_from_reflectance(lit)
    }
}

impl Residuals for Evidence {
    fn len(&self) -> usize {
        self.steps.len() + self.paper.len() + 1 + self.light_terms
    }

    fn residuals(&self, parameters: &[f64]) -> Option<Vec<f64>> {
        let step = |k: &Known| self.shape_off_lstar(parameters, k) / k.u_lstar.hypot(SHAPE_LSTAR);
        let paper = |p: &Paper| {
            let lit = self.light(parameters, &p.spot) * parameters[FIRST].exp();
            let read = lstar_from_reflectance(first_shape(parameters, p.signal));
            (read - lstar_from_reflectance(lit)) / PAPER_LSTAR
        };
        let mut residuals: Vec<f64> = self.steps.iter().map(step).collect();
        residuals.extend(self.paper.iter().map(paper));
        // Paper is white to a factor of e; it matters only where none was read.
        residuals.push(parameters[FIRST] - (0.85f64).ln());
        let terms = &parameters[FIRST + 1..];
        residuals.extend(terms.iter().map(|t| t / LIGHT_PRIOR));
        Some(residuals)
    }

    fn scale(&self, _index: usize) -> f64 {
        0.1
    }
}

/// gain·signal^γ + offset.
fn first_shape(parameters: &[f64], signal: f64) -> f64 {
    parameters[0].exp() * signal.max(0.0).powf(parameters[1].exp()) + parameters[2]
}

fn light(parameters: &[f64], terms: usize, flat_middle: Option<f64>, spot: &Spot) -> f64 {
    let (x, y) = spot.over;
    let each = [x, y, x * x, x * y, y * y];
    let smooth: f64 = parameters[FIRST + 1..]
        .iter()
        .zip(each)
        .take(terms)
        .map(|(p, t)| p * t)
        .sum();
    let flat = match (spot.flat, flat_middle) {
        (Some(here), Some(middle)) => {
            let middle = first_shape(parameters, middle);
            first_shape(parameters, here).max(1e-6) / middle.max(1e-6)
        }
        _ => 1.0,
    };
    smooth.exp() * flat
}

/// Points that lie close together as one, weighted; (x, y) rising in x.
fn merged(points: &[(f64, f64, f64)]) -> Vec<(f64, f64)> {
    let mut groups: Vec<Vec<(f64, f64, f64)>> = Vec::new();
    for &point in points {
        match groups.last_mut() {
            Some(group) if point.0 - group[0].0 < KNOT_LSTAR => group.push(point),
            _ => groups.push(vec![point]),
        }
    }
    let mean = |group: &Vec<(f64, f64, f64)>| {
        let weight: f64 = group.iter().map(|p| p.2).sum();
        let of =
            |f: fn(&(f64, f64, f64)) -> f64| group.iter().map(|p| f(p) * p.2).sum::<f64>() / weight;
        (of(|p| p.0), of(|p| p.1))
    };
    groups.iter().map(mean).collect()
}

/// Errs where a step that is stated clearly lighter gives a clearly lower signal than light could explain.
fn check_order(evidence: &Evidence) -> Result<(), NoScanner> {
    let mut order: Vec<usize> = (0..evidence.steps.len()).collect();
    let lstar = |k: usize| lstar_from_reflectance(evidence.steps[k].reflectance);
    order.sort_by(|&a, &b| lstar(a).total_cmp(&lstar(b)));
    // Rows lie apart on the sheet, where the light differs, so each is looked at by itself.
    let mut rows: Vec<u8> = evidence.steps.iter().map(|k| k.row).collect();
    rows.sort_unstable();
    rows.dedup();
    for row in rows {
        let mut own = order.clone();
        own.retain(|&k| evidence.steps[k].row == row);
        for pair in own.windows(2) {
            let (a, b) = (&evidence.steps[pair[0]], &evidence.steps[pair[1]]);
            let apart = lstar(pair[1]) - lstar(pair[0]);
            if apart > SAME_LSTAR && b.signal <= a.signal {
                return Err(NoScanner::NotRising {
                    darker: pair[0],
                    lighter: pair[1],
                });
            }
        }
    }
    Ok(())
}

fn not_rising(evidence: &Evidence, parameters: &[f64]) -> NoScanner {
    let mut order: Vec<usize> = (0..evidence.steps.len()).collect();
    let steps = &evidence.steps;
    let lit = |k: usize| evidence.light(parameters, &steps[k].spot) * steps[k].reflectance;
    order.sort_by(|&a, &b| lit(a).total_cmp(&lit(b)));
    let falls = order
        .windows(2)
        .find(|w| steps[w[1]].signal <= steps[w[0]].signal);
    match falls {
        Some(pair) => NoScanner::NotRising {
            darker: pair[0],
            lighter: pair[1],
        },
        None => NoScanner::TooFew(steps.len()),
    }
}

fn options() -> Options {
    Options {
        max_evaluations: 600,
        ftol: 1e-10,
        xtol: 1e-10,
        step_bounds: vec![10.0],
        max_finish: 3,
        ..Options::default()
    }
}
