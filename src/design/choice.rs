//! Which ticks make which level: the exact search over the reachable intervals, and the widest ladder they carry.

/// What a choice of ticks shows: middle and half-width of its lightness over rows, contents and temperatures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spot {
    pub mid_lstar: f64,
    pub half_lstar: f64,
    /// Index of the choice in its reach.
    pub choice: usize,
}

/// A range of lightness, both ends included.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Span {
    pub low: f64,
    pub high: f64,
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
        Spots { sorted: spots }
    }

    /// The same with at most one choice in each `bucket_lstar` of middles, that with the smallest half-width.
    pub fn thinned(&self, bucket_lstar: f64) -> Spots {
        let bucket = |s: &Spot| (s.mid_lstar / bucket_lstar).floor();
        let mut sorted: Vec<Spot> = Vec::new();
        for spot in &self.sorted {
            match sorted.last_mut() {
                Some(last) if bucket(last) == bucket(spot) => {
                    if spot.half_lstar < last.half_lstar {
                        *last = *spot;
                    }
                }
                _ => sorted.push(*spot),
            }
        }
        Spots { sorted }
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
        let error = |s: &Spot| (s.mid_lstar - target_lstar).abs() + s.half_lstar;
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

    /// The targets that some choice serves with a worst error of at most `error_lstar`: disjoint, rising.
    pub fn served(&self, error_lstar: f64) -> Vec<Span> {
        let spans = self
            .sorted
            .iter()
            .filter(|s| s.half_lstar <= error_lstar)
            .map(|s| {
                let slack = error_lstar - s.half_lstar;
                Span {
                    low: s.mid_lstar - slack,
                    high: s.mid_lstar + slack,
                }
            });
        united(std::iter::once(spans.collect()))
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
        let served = self.served(demand.tolerance_steps * step_lstar);
        let mut left = common(&served, &[within]);
        for level in 1..demand.levels {
            if left.is_empty() {
                break;
            }
            left = intersect(&left, &served, level as f64 * step_lstar);
        }
        left
    }
}

/// Points x of `a` for which x + shift lies in `b`; both disjoint and rising, and so is the result.
fn intersect(a: &[Span], b: &[Span], shift: f64) -> Vec<Span> {
    let (mut i, mut j, mut both) = (0, 0, Vec::new());
    while let (Some(x), Some(y)) = (a.get(i), b.get(j)) {
        let (low, high) = (x.low.max(y.low - shift), x.high.min(y.high - shift));
        if low <= high {
            both.push(Span { low, high });
        }
        if x.high < y.high - shift {
            i += 1
        } else {
            j += 1
        }
    }
    both
}

/// Points in both; both disjoint and rising.
pub fn common(a: &[Span], b: &[Span]) -> Vec<Span> {
    intersect(a, b, 0.0)
}

/// The union of several lists of spans: disjoint, rising.
pub fn united(lists: impl Iterator<Item = Vec<Span>>) -> Vec<Span> {
    let mut spans: Vec<Span> = lists.flatten().collect();
    spans.sort_by(|a, b| a.low.total_cmp(&b.low));
    let mut union: Vec<Span> = Vec::new();
    for span in spans {
        match union.last_mut() {
            Some(last) if span.low <= last.high => last.high = last.high.max(span.high),
            _ => union.push(span),
        }
    }
    union
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
