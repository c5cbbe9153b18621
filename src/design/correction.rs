//! What readings of a finished set add to a response: a smooth difference in lightness, for one band.

use super::climate::BandClimate;
use super::reach::Corner;
use crate::drive::Field;
use crate::response::propagation::carried;
use nalgebra::{DMatrix, DVector};

/// What the difference may depend on beside lightness: 1, row, content, warmth, warmth², split, idle, faint, split²,
/// faint·split.
pub const TERMS: usize = 10;

/// Pulses of the strongest field as short as this are its first.
const FAINT_S: f64 = 1.5e-3;

/// Places of the split and of the first pulses among the terms.
const SPLIT: usize = 5;
const FAINT: usize = 7;
/// What a whole term's distance to the nearest ticks that were read may hide, standard, L*: of the split, and of the first pulses.
/// Assumed, from what untried ticks showed on the test panel; the smooth curves alone are too sure of them.
const UNTRIED_SPLIT_LSTAR: f64 = 0.05;
const UNTRIED_FAINT_LSTAR: f64 = 0.8;
/// The same for each L* between the greys, L*.
const UNTRIED_GREY: f64 = 0.03;

/// One value a term for a pixel; see [`Frame::terms`].
pub type Terms = [f64; TERMS];

/// How places of a band become terms of about −1…1.
#[derive(Debug, Clone, PartialEq)]
pub struct Frame {
    rows: usize,
    middle_c: f64,
    half_c: f64,
    fields: Vec<Field>,
}

impl Frame {
    pub fn new(rows: usize, band: &BandClimate, fields: &[Field]) -> Self {
        Frame {
            rows,
            middle_c: 0.5 * (band.low_c + band.high_c),
            half_c: 0.5 * (band.high_c - band.low_c),
            fields: fields.to_vec(),
        }
    }

    /// The terms of a pixel: its row from 0; what the other rows show, −1 lightest … 1 darkest; temperature, °C; its ticks.
    pub fn terms(&self, row: f64, content: f64, temperature_c: f64, ticks: &[u32]) -> Terms {
        let warmth = if self.half_c > 0.0 {
            (temperature_c - self.middle_c) / self.half_c
        } else {
            0.0
        };
        let row = (2.0 * row + 1.0) / self.rows as f64 - 1.0;
        let ((split, idle), faint) = (self.weaker(ticks), self.faint(ticks));
        [
            1.0,
            row,
            content,
            warmth,
            warmth * warmth,
            split,
            idle,
            faint,
            split * split,
            faint * split,
        ]
    }

    /// What some rows show, −1 lightest … 1 darkest: the mean of their data over a refresh, weighted by the disturb's impulse.
    pub fn content(&self, ticks: &[u32]) -> f64 {
        let weight = |f: &Field| f.data_v * f64::from(f.slot_ticks) * f.tick_s();
        let total: f64 = self.fields.iter().map(weight).sum();
        let of = |(f, &d): (&Field, &u32)| {
            weight(f) * f.direction() * (2.0 * f64::from(d) / f64::from(f.slot_ticks) - 1.0)
        };
        self.fields.iter().zip(ticks).map(of).sum::<f64>() / total
    }

    /// How near the strongest field is to staying off, 1 … 0: its first pulses find pigment that later ones don't.
    fn faint(&self, ticks: &[u32]) -> f64 {
        let fields = self.fields.iter().zip(ticks);
        let strongest = fields.max_by(|a, b| reach(a.0).total_cmp(&reach(b.0)));
        strongest.map_or(0.0, |(f, &d)| (-f64::from(d) * f.tick_s() / FAINT_S).exp())
    }

    /// Share of on time in the weaker fields, −1…1, since the same grey comes from several splits; and whether they stay
    /// off altogether, 1 or 0, since the first pulse of a field counts for more than the next.
    fn weaker(&self, ticks: &[u32]) -> (f64, f64) {
        let strongest = self.fields.iter().map(reach).fold(0.0, f64::max);
        let fields = self.fields.iter().zip(ticks);
        let weaker: Vec<f64> = fields
            .filter(|(f, _)| reach(f) < strongest)
            .map(|(f, &d)| f64::from(d) / f64::from(f.slot_ticks))
            .collect();
        if weaker.is_empty() {
            return (0.0, 0.0);
        }
        let share = weaker.iter().sum::<f64>() / weaker.len() as f64;
        (2.0 * share - 1.0, if share == 0.0 { 1.0 } else { 0.0 })
    }
}

/// The impulse that a field can give a pixel, V·s: which of several is the strongest.
fn reach(f: &Field) -> f64 {
    f.own_on_v().abs() * f64::from(f.slot_ticks) * f.tick_s()
}

/// Bumps of equal width at even places: with normal weights their sums are the smooth curves of a Gaussian process of
/// squared-exponential covariance (Rasmussen & Williams, Gaussian Processes for Machine Learning, 2006, 4.2.1).
#[derive(Debug, Clone, PartialEq)]
pub struct Bumps {
    pub first_lstar: f64,
    pub apart_lstar: f64,
    pub count: usize,
    /// Length over which the process forgets, L*; a bump's own deviation is 1/√2 of it.
    pub length_lstar: f64,
}

impl Bumps {
    /// Enough bumps for lightness from `low_lstar` to `high_lstar`.
    pub fn over(low_lstar: f64, high_lstar: f64, length_lstar: f64) -> Self {
        let apart_lstar = APART * length_lstar;
        let first_lstar = low_lstar - BEYOND * length_lstar;
        let reach = high_lstar + BEYOND * length_lstar - first_lstar;
        Bumps {
            first_lstar,
            apart_lstar,
            count: (reach / apart_lstar).ceil() as usize + 1,
            length_lstar,
        }
    }

    /// Value of each bump at a lightness, scaled so that unit normal weights give unit variance.
    pub fn at(&self, lstar: f64) -> Vec<f64> {
        let scale = (APART * (2.0 / std::f64::consts::PI).sqrt()).sqrt();
        let bump = |k: usize| {
            let z = (lstar - self.first_lstar - k as f64 * self.apart_lstar) / self.length_lstar;
            scale * (-z * z).exp()
        };
        (0..self.count).map(bump).collect()
    }
}

/// Bumps stand this share of the length apart, and go on this many lengths beyond the readings.
const APART: f64 = 0.5;
const BEYOND: f64 = 1.5;
/// The curves are tabulated at steps of this, L*.
const TABLE_LSTAR: f64 = 0.1;

/// A smooth difference with its uncertainty: Σ terms_j · scale_j · Σ weights_jk · bump_k(lightness).
#[derive(Debug, Clone, PartialEq)]
pub struct Correction {
    pub frame: Frame,
    bumps: Bumps,
    /// Standard deviation of each term's curve before any reading, L*.
    scales: Terms,
    /// Covariance of the weights, terms × bumps.
    covariance: DMatrix<f64>,
    /// Each term's curve, at [`TABLE_LSTAR`] from the first bump on.
    curves: Vec<Terms>,
    /// Where readings were taken: predicted lightness and terms.
    read: Vec<(f64, Terms)>,
}

impl Correction {
    pub fn new(
        frame: Frame,
        bumps: Bumps,
        scales: Terms,
        weights: &DVector<f64>,
        covariance: DMatrix<f64>,
        read: Vec<(f64, Terms)>,
    ) -> Self {
        let length = bumps.apart_lstar * (bumps.count - 1) as f64;
        let curves = (0..=(length / TABLE_LSTAR).ceil() as usize).map(|i| {
            let at = bumps.at(bumps.first_lstar + i as f64 * TABLE_LSTAR);
            std::array::from_fn(|j| {
                let of = |(k, bump): (usize, &f64)| weights[j * bumps.count + k] * bump;
                scales[j] * at.iter().enumerate().map(of).sum::<f64>()
            })
        });
        Correction {
            frame,
            curves: curves.collect(),
            bumps,
            scales,
            covariance,
            read,
        }
    }

    /// The regressors of one place: what the weights are multiplied with.
    pub fn regressors(bumps: &Bumps, scales: &Terms, lstar: f64, terms: &Terms) -> DVector<f64> {
        let at = bumps.at(lstar);
        DVector::from_fn(TERMS * bumps.count, |i, _| {
            let (j, k) = (i / bumps.count, i % bumps.count);
            terms[j] * scales[j] * at[k]
        })
    }

    /// What is added to a predicted lightness, L*.
    pub fn added_lstar(&self, lstar: f64, terms: &Terms) -> f64 {
        let place = (lstar - self.bumps.first_lstar) / TABLE_LSTAR;
        let last = self.curves.len() - 2;
        let at = (place.max(0.0) as usize).min(last);
        let share = (place - at as f64).clamp(0.0, 1.0);
        let between = |j: usize| {
            let (low, high) = (self.curves[at][j], self.curves[at + 1][j]);
            low + share * (high - low)
        };
        (0..TERMS).map(|j| terms[j] * between(j)).sum()
    }

    /// Standard uncertainty of what is added, L*.
    pub fn standard_u_lstar(&self, lstar: f64, terms: &Terms) -> f64 {
        let x = Self::regressors(&self.bumps, &self.scales, lstar, terms);
        let smooth = x.dot(&(&self.covariance * &x)).max(0.0);
        (smooth + self.untried_lstar2(lstar, terms)).sqrt()
    }

    /// What ticks unlike those that were read may hide, L*².
    fn untried_lstar2(&self, lstar: f64, terms: &Terms) -> f64 {
        let apart = |(read_lstar, read): &(f64, Terms)| {
            let split = UNTRIED_SPLIT_LSTAR * (terms[SPLIT] - read[SPLIT]);
            let faint = UNTRIED_FAINT_LSTAR * (terms[FAINT] - read[FAINT]);
            let grey = UNTRIED_GREY * (lstar - read_lstar);
            split * split + faint * faint + grey * grey
        };
        self.read
            .iter()
            .map(apart)
            .reduce(f64::min)
            .unwrap_or_default()
    }

    /// Covariance of what is added at some places, each a predicted lightness with its terms, L*².
    pub fn covariance_lstar(&self, places: &[(f64, Terms)]) -> DMatrix<f64> {
        let regressors: Vec<DVector<f64>> = places
            .iter()
            .map(|(lstar, terms)| Self::regressors(&self.bumps, &self.scales, *lstar, terms))
            .collect();
        let rows: Vec<_> = regressors.iter().map(DVector::transpose).collect();
        if rows.is_empty() {
            return DMatrix::zeros(0, 0);
        }
        let untried = places
            .iter()
            .map(|(l, terms)| self.untried_lstar2(*l, terms));
        carried(&DMatrix::from_rows(&rows), &self.covariance)
            + DMatrix::from_diagonal(&DVector::from_iterator(places.len(), untried))
    }

    /// A predicted lightness, corrected: of a pixel in a row from 0, among `content`, at a temperature, with its ticks.
    pub fn corrected(
        &self,
        lstar: f64,
        row: f64,
        content: f64,
        temperature_c: f64,
        ticks: &[u32],
    ) -> f64 {
        lstar + self.added_lstar(lstar, &self.frame.terms(row, content, temperature_c, ticks))
    }

    /// The same at a corner.
    pub fn corrected_at(&self, lstar: f64, corner: &Corner, ticks: &[u32]) -> f64 {
        let content = if corner.on { 1.0 } else { -1.0 };
        let (row, temperature_c) = (corner.row as f64, corner.climate.temperature_c);
        self.corrected(lstar, row, content, temperature_c, ticks)
    }
}
