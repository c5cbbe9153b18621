//! Which ticks make which level: the exact search over the reachable intervals, and the widest ladder they carry.

pub use super::spans::{Span, common, united};
use super::spans::{intersect, unite};

/// What a choice of ticks shows: middle and half-width of its lightness over rows, contents and temperatures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spot {
    pub mid_lstar: f64,
    pub half_lstar: f64,
    /// Standard uncertainty of what readings of levels add to it; 0 without any.
    pub unsure_lstar: f64,
    /// Index of the choice in its reach.
    pub choice: usize,
}

impl Spot {
    /// Of a choice that shows from `low_lstar` to `high_lstar`.
    pub fn between(low_lstar: f64, high_lstar: f64, choice: usize) -> Self {
        Spot {
            mid_lstar: 0.5 * (high_lstar + low_lstar),
            half_lstar: 0.5 * (high_lstar - low_lstar),
            unsure_lstar: 0.0,
            choice,
        }
    }

    /// The largest distance from a target, |mid − target| + half-width.
    pub fn worst_error_lstar(&self, target_lstar: f64) -> f64 {
        (self.mid_lstar - target_lstar).abs() + self.half_lstar
    }
}

/// Even levels: their number and the worst error allowed in steps.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Demand {
    /// ≥ 2.
    pub levels: usize,
    /// > 0.
    pub tolerance_steps: f64,
}

/// The choices of ticks of one scheme, by rising middle.
#[derive(Debug, Clone, Default)]
pub struct Spots {
    sorted: Vec<Spot>,
    ordinary: Option<Ordinary>,
}

/// What every choice shows in an ordinary picture, and how closely a target must be met there.
#[derive(Debug, Clone)]
struct Ordinary {
    /// By index of the choice; moved so that on the whole it agrees with the middles, since evenness asks for no more.
    lstar: Vec<f64>,
    /// Of the worst error allowed.
    share: f64,
}

impl Spots {
    /// The choices by rising middle; those whose lightness is not a number are left out.
    pub fn new(mut spots: Vec<Spot>) -> Self {
        spots.retain(|s| s.mid_lstar.is_finite() && s.half_lstar.is_finite());
        spots.sort_by(|a, b| {
            a.mid_lstar
                .total_cmp(&b.mid_lstar)
                .then(a.choice.cmp(&b.choice))
        });
        Spots {
            sorted: spots,
            ordinary: None,
        }
    }

    /// Those of the choices that `keep` has.
    pub fn only(mut self, keep: impl Fn(usize) -> bool) -> Spots {
        self.sorted.retain(|s| keep(s.choice));
        self
    }

    /// The same with at most one choice in each `bucket_lstar` of middles, that with the smallest half-width.
    pub fn thinned(self, bucket_lstar: f64) -> Spots {
        let mut sorted: Vec<Spot> = Vec::with_capacity(self.sorted.len());
        let mut bucket = f64::NAN;
        for spot in &self.sorted {
            let own = (spot.mid_lstar / bucket_lstar).floor();
            match sorted.last_mut() {
                Some(last) if own == bucket => {
                    if spot.half_lstar < last.half_lstar {
                        *last = *spot;
                    }
                }
                _ => sorted.push(*spot),
            }
            bucket = own;
        }
        Spots {
            sorted,
            ordinary: self.ordinary,
        }
    }

    /// Indices of the choices, by rising middle.
    pub fn choices(&self) -> impl Iterator<Item = usize> + '_ {
        self.sorted.iter().map(|s| s.choice)
    }

    /// Darkest and lightest middle.
    pub fn ends(&self) -> Option<Span> {
        let (first, last) = (self.sorted.first()?, self.sorted.last()?);
        Some(Span {
            low: first.mid_lstar,
            high: last.mid_lstar,
        })
    }

    /// The smallest half-width of the choices near the middle of the reach, L*.
    pub fn middle_blur_lstar(&self) -> f64 {
        let Some(ends) = self.ends() else { return 0.0 };
        let middle = 0.5 * (ends.low + ends.high);
        let near = 0.1 * (ends.high - ends.low);
        let close = |s: &&Spot| (s.mid_lstar - middle).abs() <= near;
        let halves = self.sorted.iter().filter(close).map(|s| s.half_lstar);
        halves.reduce(f64::min).unwrap_or(0.0)
    }

    /// The choice with the smallest worst error |mid − target| + half-width, and that error.
    pub fn best_for(&self, target_lstar: f64) -> Option<(Spot, f64)> {
        let error = |s: &Spot| self.error(s, target_lstar);
        let from = self.sorted.partition_point(|s| s.mid_lstar < target_lstar);
        let mut best: Option<(Spot, f64)> = None;
        // Away from the target on both sides, until the distance alone exceeds the best error.
        let mut see = |spots: &mut dyn Iterator<Item = &Spot>| {
            for s in spots {
                if best.is_some_and(|(_, e)| (s.mid_lstar - target_lstar).abs() > e) {
                    break;
                }
                if best.is_none_or(|(_, e)| error(s) < e) {
                    best = Some((*s, error(s)));
                }
            }
        };
        see(&mut self.sorted[from..].iter());
        see(&mut self.sorted[..from].iter().rev());
        best
    }

    /// The choices that serve a target with a worst error of at most `error_lstar`, those with the smallest first.
    pub fn keeping(&self, target_lstar: f64, error_lstar: f64) -> Vec<Spot> {
        let error = |s: &Spot| s.worst_error_lstar(target_lstar);
        let from = self
            .sorted
            .partition_point(|s| s.mid_lstar < target_lstar - error_lstar);
        let mut kept: Vec<Spot> = self.sorted[from..]
            .iter()
            .take_while(|s| s.mid_lstar <= target_lstar + error_lstar)
            .filter(|s| error(s) <= error_lstar)
            .copied()
            .collect();
        kept.sort_by(|a, b| error(a).total_cmp(&error(b)));
        kept
    }

    /// The targets that some choice serves with a worst error of at most `error_lstar`: disjoint, rising.
    pub fn served(&self, error_lstar: f64) -> Vec<Span> {
        let mut served = Vec::with_capacity(self.sorted.len());
        for spot in &self.sorted {
            let slack = error_lstar - spot.half_lstar;
            if slack < 0.0 {
                continue;
            }
            let around = Span {
                low: spot.mid_lstar - slack,
                high: spot.mid_lstar + slack,
            };
            let span = self.ordinarily(spot, error_lstar, around);
            if span.low <= span.high {
                unite(&mut served, span);
            }
        }
        served
    }

    /// The same choices, each serving only targets that it comes near to in an ordinary picture as well: within `share` of the
    /// worst error allowed. `lstar` is what they show there, by index of the choice.
    ///
    /// An offset and a slope between what is shown there and the middles leave a ladder even, and are taken out.
    pub fn even_in(self, mut lstar: Vec<f64>, share: f64) -> Spots {
        let offsets = self
            .sorted
            .iter()
            .map(|s| (s.mid_lstar, lstar[s.choice] - s.mid_lstar, s.half_lstar));
        let (at, slope, offset) = trend(offsets);
        for spot in &self.sorted {
            lstar[spot.choice] -= offset + slope * (spot.mid_lstar - at);
        }
        Spots {
            ordinary: Some(Ordinary { lstar, share }),
            ..self
        }
    }

    /// The same with another share; see [`Spots::even_in`].
    pub fn as_even_as(mut self, share: f64) -> Spots {
        if let Some(ordinary) = &mut self.ordinary {
            ordinary.share = share;
        }
        self
    }

    /// Worst error of a choice on a target, or what it is off in an ordinary picture over the share allowed there.
    fn error(&self, spot: &Spot, target_lstar: f64) -> f64 {
        let worst = spot.worst_error_lstar(target_lstar);
        self.ordinary.as_ref().map_or(worst, |o| {
            worst.max((o.lstar[spot.choice] - target_lstar).abs() / o.share)
        })
    }

    /// What of a span of targets a choice serves in an ordinary picture as well.
    fn ordinarily(&self, spot: &Spot, error_lstar: f64, span: Span) -> Span {
        let Some(ordinary) = &self.ordinary else {
            return span;
        };
        let (shown, near) = (ordinary.lstar[spot.choice], ordinary.share * error_lstar);
        Span {
            low: span.low.max(shown - near),
            high: span.high.min(shown + near),
        }
    }

    /// Where the darkest target of a ladder of this step may lie: every target served, the outer two no farther out than
    /// some choice's middle.
    pub fn darkest_targets(&self, demand: Demand, step_lstar: f64) -> Vec<Span> {
        let Some(ends) = self.ends() else {
            return Vec::new();
        };
        let within = Span {
            low: ends.low,
            high: ends.high - (demand.levels - 1) as f64 * step_lstar,
        };
        if within.high < within.low {
            return Vec::new();
        }
        self.darkest_within(demand, step_lstar, within)
    }

    /// The same with the darkest target within a span, and no word on the outer two but that they are served.
    pub fn darkest_within(&self, demand: Demand, step_lstar: f64, within: Span) -> Vec<Span> {
        let served = self.served(demand.tolerance_steps * step_lstar);
        let mut left = common(&served, &[within]);
        let mut fewer = Vec::with_capacity(left.len());
        for level in 1..demand.levels {
            if left.is_empty() {
                break;
            }
            intersect(&left, &served, level as f64 * step_lstar, &mut fewer);
            std::mem::swap(&mut left, &mut fewer);
        }
        left
    }

    /// Whether some choice has a half-width of at most `half_lstar` and a middle between two lightnesses.
    pub fn any_between(&self, low_lstar: f64, high_lstar: f64, half_lstar: f64) -> bool {
        let from = self.sorted.partition_point(|s| s.mid_lstar < low_lstar);
        let near = self.sorted[from..].iter();
        near.take_while(|s| s.mid_lstar <= high_lstar)
            .any(|s| s.half_lstar <= half_lstar)
    }

    /// The darkest and lightest target that some choice may serve with this error.
    pub fn outermost(&self, error_lstar: f64) -> Option<Span> {
        let narrow = self.sorted.iter().filter(|s| s.half_lstar <= error_lstar);
        let ends = narrow.map(|s| {
            let slack = error_lstar - s.half_lstar;
            (s.mid_lstar - slack, s.mid_lstar + slack)
        });
        ends.map(|(low, high)| Span { low, high })
            .reduce(|a, b| Span {
                low: a.low.min(b.low),
                high: a.high.max(b.high),
            })
    }
}

/// Weighted line through (x, y, half-width): its middle x, slope and value there; what is narrow counts most.
fn trend(points: impl Iterator<Item = (f64, f64, f64)>) -> (f64, f64, f64) {
    const NARROW_LSTAR: f64 = 0.1;
    let (mut w, mut wx, mut wy, mut wxx, mut wxy) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for (x, y, half) in points {
        let weight = 1.0 / (half + NARROW_LSTAR).powi(2);
        w += weight;
        wx += weight * x;
        wy += weight * y;
        wxx += weight * x * x;
        wxy += weight * x * y;
    }
    if w <= 0.0 {
        return (0.0, 0.0, 0.0);
    }
    let (x, y) = (wx / w, wy / w);
    let spread = wxx / w - x * x;
    let slope = if spread > 0.0 {
        (wxy / w - x * y) / spread
    } else {
        0.0
    };
    (x, slope, y)
}

/// Mean step of a ladder, L*.
pub fn step_of(targets_lstar: &[f64]) -> f64 {
    match targets_lstar {
        [first, .., last] => (last - first) / (targets_lstar.len() - 1) as f64,
        _ => f64::NAN,
    }
}

/// How finely the widest ladder is sought: steps from above, and to what it is then refined, both as spans, L*.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fineness {
    pub coarse_lstar: f64,
    pub fine_lstar: f64,
}

/// The widest ladder for which `darkest` (step → places of the darkest target) leaves a place, its span a multiple of
/// the fine step within `bounds`: (darkest target, step). The lightest place is taken, so that whites stay white.
///
/// Spans are tried from the top in coarse steps, then bisected to fine ones between the first that is feasible and the
/// one above it.
pub fn widest(
    levels: usize,
    bounds: Span,
    fineness: Fineness,
    darkest: impl Fn(f64) -> Vec<Span>,
) -> Option<(f64, f64)> {
    let (steps, fine) = ((levels - 1) as f64, fineness.fine_lstar);
    let at = |place: i64| {
        let step = place as f64 * fine / steps;
        darkest(step).last().map(|s| (s.high, step))
    };
    let lowest = ((bounds.low / fine).ceil() as i64).max(1);
    let stride = ((fineness.coarse_lstar / fine).round() as i64).max(1);
    let mut place = (bounds.high / fine).floor() as i64;
    let mut above = place + 1;
    if place < lowest {
        return None;
    }
    let mut found = at(place);
    while found.is_none() {
        if place == lowest {
            return None;
        }
        above = place;
        place = (place - stride).max(lowest);
        found = at(place);
    }
    while above - place > 1 {
        let middle = place + (above - place) / 2;
        match at(middle) {
            Some(better) => {
                found = Some(better);
                place = middle;
            }
            None => above = middle,
        }
    }
    found
}
