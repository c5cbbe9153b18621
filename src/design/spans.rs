//! Ranges of lightness, alone and in lists: disjoint and rising.

/// A range of lightness, both ends included.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Span {
    pub low: f64,
    pub high: f64,
}

/// Leaves in `both` the points x of `a` for which x + shift lies in `b`; both disjoint and rising, and so is the result.
pub(super) fn intersect(a: &[Span], b: &[Span], shift: f64, both: &mut Vec<Span>) {
    both.clear();
    let from = a.first().map_or(f64::INFINITY, |x| x.low + shift);
    let mut i = 0;
    let mut j = b.partition_point(|y| y.high < from);
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
}

/// Points in both; both disjoint and rising.
pub fn common(a: &[Span], b: &[Span]) -> Vec<Span> {
    let mut both = Vec::new();
    intersect(a, b, 0.0, &mut both);
    both
}

/// The union of several lists of spans: disjoint, rising.
pub fn united(lists: impl Iterator<Item = Vec<Span>>) -> Vec<Span> {
    let mut spans: Vec<Span> = lists.flatten().collect();
    spans.sort_by(|a, b| a.low.total_cmp(&b.low));
    let mut union = Vec::new();
    spans.into_iter().for_each(|span| unite(&mut union, span));
    union
}

/// Adds a span to disjoint rising ones; quick where it lies near the last of them.
pub(super) fn unite(union: &mut Vec<Span>, mut span: Span) {
    let mut end = union.len();
    while end > 0 && union[end - 1].low > span.high {
        end -= 1;
    }
    let mut begin = end;
    while begin > 0 && union[begin - 1].high >= span.low {
        begin -= 1;
        span.low = span.low.min(union[begin].low);
        span.high = span.high.max(union[begin].high);
    }
    if end == union.len() {
        union.truncate(begin);
        union.push(span);
    } else {
        union.splice(begin..end, [span]);
    }
}
