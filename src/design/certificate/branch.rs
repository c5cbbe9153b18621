//! Branch and bound over a lattice: every scheme is either ruled out by a bound or judged as the search judges it.

use super::bound::{Asked, Bounds, Verdict};
use super::exact::{Outer, span_beyond};
use super::holds::Holds;
use super::region::Region;
use crate::design::choice::Demand;
use crate::design::reach::{Climate, Reach, Scheme, Scope};
use crate::design::search::{CurveTable, spots_of};
use crate::response::Response;
use crate::waveforms::{FIELDS_MAX, Frame, Lattice, Tally, Why};
use rayon::prelude::*;

/// Frames that are gone through with one and the same best scheme, so that any number of threads does the same.
const BATCH: usize = 64;

/// A region that holds no ladder wider than `beyond_lstar`.
#[derive(Debug, Clone, PartialEq)]
pub struct RuledOut {
    pub frame: usize,
    pub region: Region,
    pub why: Why,
    pub beyond_lstar: f64,
}

/// A scheme of the lattice with its ladder.
#[derive(Debug, Clone, PartialEq)]
pub struct Best {
    pub frame: usize,
    pub places: Vec<usize>,
    pub span_lstar: f64,
}

impl Best {
    /// The scheme itself.
    pub fn scheme(&self, lattice: &Lattice) -> Scheme {
        scheme(lattice, &lattice.frames()[self.frame], &self.places)
    }
}

/// What work is counted in: bounding one region. A look for a ladder, and judging in full, take as long as so many where there
/// are so many pairs of a choice of ticks and a level; in mirrored fields, where contents have to be sought, several times that.
struct Work;

impl Work {
    const LADDER: u64 = 20;
    const JUDGED: u64 = 80;
    const PAIRS: u64 = 20_000;
    const MIRRORED: u64 = 16;
    /// Of what is left, one frame gets this part at most; and never less than this.
    const SHARE: u64 = 8;
    const LEAST: u64 = 200;

    /// Of so many regions, to look at a scheme for a ladder or to judge it.
    fn of(regions: u64, scheme: &Scheme, levels: usize) -> u64 {
        let pairs = (scheme.choices() * levels) as u64;
        let mirrored = scheme.is_mirrored();
        let times = if mirrored { Self::MIRRORED } else { 1 };
        (times * regions * pairs / Self::PAIRS).max(1)
    }
}

/// How many times the regions to be kept are gathered before they are thinned.
const THINNED: usize = 64;

/// What came of going through a lattice.
#[derive(Debug, Clone, Default)]
pub struct Outcome {
    /// The best scheme wider than what was asked to beat; `None` where there is none.
    pub best: Option<Best>,
    pub tally: Tally,
    /// No open region holds a wider ladder than this, L*; 0 where none is open.
    pub open_lstar: f64,
    /// Some of the regions ruled out, chosen by their place alone.
    pub sample: Vec<RuledOut>,
    /// As [`Branching::work`] counts it.
    pub work: u64,
}

/// Spans wider than a given one that a scheme really carries, L*.
pub type Judge<'a> = dyn Fn(&Scheme, f64) -> Option<f64> + Sync + 'a;

/// What a lattice is gone through for.
pub struct Branching<'a> {
    pub lattice: &'a Lattice,
    pub response: &'a Response,
    /// The climate of the bounds: one of those that judging covers.
    pub climate: Climate,
    pub demand: Demand,
    /// Must cover `climate` and the last row.
    pub judge: &'a Judge<'a>,
    /// Work on the whole lattice, about, counted in regions bounded. No frame gets more than a share of what is left, and every frame a little.
    pub work: u64,
    /// Regions ruled out that are kept for another look: of a frame, and in all.
    pub sample: (usize, usize),
}

impl Branching<'_> {
    /// Goes through the whole lattice for ladders wider than `beyond_lstar`; `progress` is told the share done.
    pub fn run(&self, beyond_lstar: f64, progress: &dyn Fn(f64)) -> Outcome {
        let holds = Holds::new(self.lattice, self.response, self.climate);
        let curve = CurveTable::new(self.response);
        let frames = self.lattice.frames();
        let mut outcome = Outcome::default();
        let mut beyond = beyond_lstar;
        for (batch, some) in frames.chunks(BATCH).enumerate() {
            progress((batch * BATCH) as f64 / frames.len() as f64);
            let left = self.work.saturating_sub(outcome.work);
            let work = (left / Work::SHARE).max(Work::LEAST.min(self.work));
            let of = |(i, frame): (usize, &Frame)| {
                self.frame(batch * BATCH + i, frame, (beyond, work), &holds, &curve)
            };
            let each: Vec<Outcome> = some.par_iter().enumerate().map(of).collect();
            for one in each {
                outcome.merge(one);
            }
            if let Some(best) = &outcome.best {
                beyond = beyond.max(best.span_lstar);
            }
            outcome.thin(self.sample.1);
        }
        outcome
    }

    fn frame(
        &self,
        index: usize,
        frame: &Frame,
        (beyond_lstar, work): (f64, u64),
        holds: &Holds,
        curve: &CurveTable,
    ) -> Outcome {
        let (lattice, response) = (self.lattice, self.response);
        let mut bounds = Bounds::new(lattice, frame, response, self.climate, holds, curve);
        let mut outcome = Outcome::default();
        let mut asked = Asked {
            demand: self.demand,
            beyond_lstar,
        };
        let weights = weights(lattice, frame);
        let mut left = vec![Region::whole(lattice, frame)];
        while let Some(region) = left.pop() {
            outcome.tally.regions += 1;
            outcome.work += 1;
            let verdict = bounds.verdict(&region, &asked);
            let one = RuledOut {
                frame: index,
                region,
                why: Why::Reach,
                beyond_lstar: asked.beyond_lstar,
            };
            match verdict {
                Verdict::Reach => outcome.rule_out(one),
                Verdict::Level => outcome.rule_out(RuledOut {
                    why: Why::Level,
                    ..one
                }),
                Verdict::Open(most) => match region.single() {
                    _ if outcome.work >= work => {
                        outcome.tally.open += region.schemes();
                        outcome.open_lstar = outcome.open_lstar.max(most);
                    }
                    None => left.extend(region.halves(axis(&region, &weights))),
                    Some(places) => {
                        let scheme = scheme(lattice, frame, &places);
                        let levels = self.demand.levels;
                        outcome.work += Work::of(Work::LADDER, &scheme, levels);
                        if !self.has_ladder(&scheme, asked.beyond_lstar, curve) {
                            outcome.rule_out(RuledOut {
                                why: Why::Ladder,
                                ..one
                            });
                            continue;
                        }
                        outcome.tally.judged += 1;
                        outcome.work += Work::of(Work::JUDGED, &scheme, levels);
                        if let Some(span_lstar) = (self.judge)(&scheme, asked.beyond_lstar) {
                            asked.beyond_lstar = span_lstar;
                            outcome.best = Some(Best {
                                frame: index,
                                places,
                                span_lstar,
                            });
                        }
                    }
                },
            }
            if outcome.sample.len() > self.sample.0.saturating_mul(THINNED) {
                outcome.thin(self.sample.0);
            }
        }
        outcome.thin(self.sample.0);
        outcome
    }

    /// Whether the last row at the bounds' climate has a ladder wider than asked.
    fn has_ladder(&self, scheme: &Scheme, beyond_lstar: f64, curve: &CurveTable) -> bool {
        let scope = Scope {
            response: self.response,
            panel_rows: self.lattice.rows,
            settle_ms: self.lattice.settle_ms,
            climates: vec![self.climate],
            rows: vec![self.lattice.rows - 1],
        };
        let spots = spots_of(|a| curve.lstar(a), &Reach::new(&scope, scheme));
        span_beyond(&spots, self.demand, beyond_lstar, Outer::Served).is_some()
    }
}

/// The scheme of a frame at these places on its axes.
pub fn scheme(lattice: &Lattice, frame: &Frame, places: &[usize]) -> Scheme {
    Scheme {
        erase: lattice.erases[frame.erase].clone(),
        fields: lattice.fields(frame, places),
    }
}

/// How much of a region's width an axis counts for: the filling field moves the greys farthest.
fn weights(lattice: &Lattice, frame: &Frame) -> [f64; 2 * FIELDS_MAX] {
    let kind = &lattice.kinds[frame.kind];
    let mut weights = [0.0; 2 * FIELDS_MAX];
    for (f, (axes, timing)) in kind.fields.iter().zip(&frame.fields).enumerate() {
        let span = |v: &[f64]| v.last().unwrap_or(&0.0) - v.first().unwrap_or(&0.0);
        let seconds = f64::from(timing.slot_ticks) * f64::from(timing.tick_us);
        for (axis, v) in [(2 * f, &axes.select_v), (2 * f + 1, &axes.data_v)] {
            weights[axis] = seconds * span(v) / (v.len().max(2) - 1) as f64;
        }
    }
    weights
}

/// The axis along which a region is halved.
fn axis(region: &Region, weights: &[f64; 2 * FIELDS_MAX]) -> usize {
    let width = |a: usize| f64::from(region.high[a] - region.low[a]) * weights[a];
    let splittable = (0..region.axes).filter(|&a| region.high[a] > region.low[a]);
    let best = splittable.reduce(|b, a| if width(a) > width(b) { a } else { b });
    best.unwrap_or(0)
}

impl Outcome {
    fn rule_out(&mut self, one: RuledOut) {
        let tally = &mut self.tally;
        let count = match one.why {
            Why::Reach => &mut tally.reach,
            Why::Level => &mut tally.level,
            Why::Ladder => &mut tally.ladder,
        };
        *count += one.region.schemes();
        self.sample.push(one);
    }

    fn merge(&mut self, other: Outcome) {
        self.tally.add(&other.tally);
        self.work += other.work;
        self.open_lstar = self.open_lstar.max(other.open_lstar);
        self.sample.extend(other.sample);
        let wider = |b: &Best| {
            self.best
                .as_ref()
                .is_none_or(|a| b.span_lstar > a.span_lstar)
        };
        if let Some(best) = other.best.filter(wider) {
            self.best = Some(best);
        }
    }

    /// Keeps so many regions, those whose places come first in a shuffled order.
    fn thin(&mut self, count: usize) {
        self.sample.sort_by_key(RuledOut::shuffled);
        self.sample.truncate(count);
    }
}

impl RuledOut {
    /// A number that depends on the place alone (SplitMix64, Steele, Lea & Flood 2014, from memory).
    fn shuffled(&self) -> u64 {
        let parts = std::iter::once(self.frame as u64)
            .chain(self.region.low.iter().map(|&p| u64::from(p)))
            .chain(self.region.high.iter().map(|&p| u64::from(p)));
        parts.fold(0, |done, part| {
            let mut z = (done ^ part).wrapping_add(0x9e37_79b9_7f4a_7c15);
            z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
            z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
            z ^ (z >> 31)
        })
    }
}
