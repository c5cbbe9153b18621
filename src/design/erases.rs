//! Which of the panel's erases a design may use, and how long they have to be.

use super::climate::BandClimate;
use super::reach::Climate;
use crate::drive::{Erase, Stroke};
use crate::project::Panel;
use crate::response::{Response, strokes_map};

/// Share of the weakest erase that readings saw, in what it drives, that a sized one keeps at least: assumed. On test panels
/// of five makes half as long an erase left nothing to see; the response foresaw too little at a fifth or less.
const LEAST_SHARE: f64 = 0.5;
/// Lengths of a sized stroke are multiples of this, ms.
const LENGTH_MS: f64 = 10.0;
/// The longest that a clearing stroke is made, ms.
const LONGEST_MS: f64 = 20_000.0;
/// Parts of a length that are rounding.
const ROUNDING: f64 = 1e-9;
/// Halvings of the interval in which the length lies.
const HALVINGS: usize = 24;
/// Parts of the response curve among which its steepest is looked for.
const CURVE_PARTS: usize = 512;

/// Those that end gently, where there are any; else all.
///
/// The first row is driven right after the erase's last stroke, every other row after another row's slot. What a stroke
/// stronger than any disturb leaves behind therefore shows in the first row alone, and no reading tells of it, since a patch is
/// many rows high.
pub fn usable(panel: &Panel) -> Vec<Erase> {
    let gentle: Vec<Erase> = panel
        .erases
        .iter()
        .filter(|e| ends_gently(e, panel))
        .cloned()
        .collect();
    if gentle.is_empty() || rows_seen_alone(panel) {
        panel.erases.clone()
    } else {
        gentle
    }
}

/// Whether some of the panel's erases are passed over, and why; `None` where all are usable.
pub fn passed_over(panel: &Panel) -> Option<String> {
    let usable = usable(panel);
    let left = panel.erases.iter().filter(|e| !usable.contains(e));
    let names: Vec<String> = left.map(|e| format!("`{}`", e.name)).collect();
    (!names.is_empty()).then(|| {
        format!(
            "Erase: {} not used: its last stroke is stronger than any data voltage, the first row alone is driven right after \
             it, and a patch of the instrument is too high to see that row alone.",
            names.join(", ")
        )
    })
}

/// The usable erases with clearing strokes next to nothing: no sized one is shorter.
pub fn barely_cleared(panel: &Panel) -> Vec<Erase> {
    let mut erases = usable(panel);
    let strokes = erases.iter_mut().flat_map(|e| clearing(e, panel));
    strokes.for_each(|s| s.ms = s.ms.min(LENGTH_MS));
    erases
}

/// The strokes that clear: stronger than any disturb.
fn clearing<'e>(erase: &'e mut Erase, panel: &Panel) -> impl Iterator<Item = &'e mut Stroke> {
    let disturb_v = panel.drivers.data_v.max.abs();
    let strokes = erase.strokes.iter_mut();
    strokes.filter(move |s| s.pixel_v < -disturb_v)
}

/// The erases that a band's schemes may use: first the panel's own, their clearing strokes longer where its limit on ghosts
/// asks so; then each as short as that limit allows, and halfway there (geometric mean).
///
/// Never shorter than half of what readings saw at the coldest: by the superposition of time and temperature an erase in the
/// heat drives the pigment further than the same in the cold. An erase stands as it is where no length will do. Where durations
/// are played longer, all that an erase has is as much shorter.
pub fn sized(panel: &Panel, response: &Response, band: &BandClimate) -> Vec<Erase> {
    let climates = band.corners(&band.by_speed(response, &panel.drivers));
    let usable: Vec<Erase> = usable(panel)
        .into_iter()
        .map(|e| shortened(e, band.factor))
        .collect();
    let sizing = |erase| Sizing {
        erase,
        panel,
        response,
        climates: &climates,
        factor: band.factor,
    };
    let least: Vec<f64> = usable.iter().map(|e| sizing(e).least_factor()).collect();
    let lengths: [fn(f64) -> f64; 3] = [
        |least| least.max(1.0),
        |least| least,
        |least| least.sqrt().max(least),
    ];
    let all = lengths.iter().flat_map(|length| {
        let each = usable.iter().zip(&least);
        each.map(|(erase, &least)| sizing(erase).scaled(length(least)))
    });
    all.collect()
}

/// An erase that, played `factor` times as long, lasts as long as it did, or a little longer.
fn shortened(mut erase: Erase, factor: f64) -> Erase {
    if factor == 1.0 {
        return erase;
    }
    let shorter = |ms: f64| (ms / factor / LENGTH_MS - ROUNDING).ceil() * LENGTH_MS;
    erase.strokes.iter_mut().for_each(|s| s.ms = shorter(s.ms));
    erase.rest_ms = shorter(erase.rest_ms);
    erase
}

/// Strokes of the shortest erase that a band's schemes may use, s.
pub fn shortest_s(panel: &Panel, response: &Response, band: &BandClimate) -> f64 {
    let erases = sized(panel, response, band);
    let strokes_ms = |e: &Erase| e.strokes.iter().map(|s| s.ms).sum::<f64>();
    erases.iter().map(strokes_ms).fold(f64::INFINITY, f64::min) * 1e-3
}

/// One erase in a band.
struct Sizing<'a> {
    erase: &'a Erase,
    panel: &'a Panel,
    response: &'a Response,
    climates: &'a [Climate],
    /// How many times as long durations are played.
    factor: f64,
}

impl Sizing<'_> {
    /// The erase with its clearing strokes `factor` as long.
    fn scaled(&self, factor: f64) -> Erase {
        let mut scaled = self.erase.clone();
        if factor == 1.0 {
            return scaled;
        }
        for stroke in clearing(&mut scaled, self.panel) {
            let steps = (stroke.ms * factor / LENGTH_MS - ROUNDING).ceil();
            stroke.ms = steps * LENGTH_MS;
        }
        scaled
    }

    /// The least factor on the clearing strokes that the limit allows; 1 where no length will do.
    fn least_factor(&self) -> f64 {
        let mut own = self.erase.clone();
        let lengths_ms = clearing(&mut own, self.panel).map(|s| s.ms);
        let longest_ms = lengths_ms.fold(0.0, f64::max);
        let most = LONGEST_MS / longest_ms;
        let kept = |factor: f64| {
            let left = left_lstar(&self.scaled(factor), self.response, self.climates);
            left <= self.panel.limits.ghost_lstar
        };
        let weakest = weakest(self.climates, self.panel, self.response);
        let mut short = LEAST_SHARE * self.factor * weakest;
        if longest_ms == 0.0 || most <= short || !kept(most) {
            return 1.0;
        }
        if kept(short) {
            return short.min(1.0);
        }
        let mut long = most;
        for _ in 0..HALVINGS {
            let middle = 0.5 * (short + long);
            if kept(middle) {
                long = middle;
            } else {
                short = middle;
            }
        }
        long
    }
}

/// How much shorter an erase may be than the panel's own to drive the pigment, in the slowest of some climates, as far as the
/// panel's own does at the coldest.
fn weakest(climates: &[Climate], panel: &Panel, response: &Response) -> f64 {
    let speed = |temperature_c: f64| response.kinetics.temperature.speed(temperature_c);
    let driven = climates
        .iter()
        .map(|c| speed(c.temperature_c) * c.stretch)
        .fold(f64::INFINITY, f64::min);
    speed(panel.limits.temperature_min_c) / driven
}

/// What can still show after an erase of what stood before it, whatever fields follow, L*: a bound.
///
/// Σ classes, share · largest difference of the cumulative shares, times the curve at its steepest. Fields can't raise the largest
/// difference: their maps are non-negative, and take no difference of all shares by 1 to more than 1.
pub fn left_lstar(erase: &Erase, response: &Response, climates: &[Climate]) -> f64 {
    let kinetics = &response.kinetics;
    let left = |c: &Climate| -> f64 {
        let movers = response.movers(c.temperature_c, c.stretch);
        let each = movers.iter().map(|mover| {
            let erased = strokes_map(mover, &erase.strokes);
            let dark = erased.apply(&kinetics.highest());
            let clear = erased.apply(&kinetics.lowest());
            let apart = dark.iter().zip(&clear).map(|(d, c)| (d - c).abs());
            mover.class.share * apart.fold(0.0, f64::max)
        });
        each.sum()
    };
    let most = climates.iter().map(left).fold(0.0, f64::max);
    let at = |i: usize| i as f64 / CURVE_PARTS as f64;
    let fall = |i| response.curve.lstar(at(i)) - response.curve.lstar((at(i) + most).min(1.0));
    (0..CURVE_PARTS).map(fall).fold(0.0, f64::max)
}

/// Whether the last stroke is no stronger than the disturb that every row but the first has had before its slot.
fn ends_gently(erase: &Erase, panel: &Panel) -> bool {
    let last = erase.strokes.last();
    last.is_none_or(|s| s.pixel_v.abs() <= panel.drivers.data_v.max.abs())
}

/// Whether the instrument can read one row alone.
fn rows_seen_alone(panel: &Panel) -> bool {
    panel.instrument.aperture_mm * 1e3 <= panel.pixel_pitch_um
}
