//! How large the residuals are over each input.

use super::compared::Compared;
use super::words::significant;
use serde::Serialize;

/// An input with this many values or fewer gets a bin for each.
const SINGLE_VALUES_MAX: usize = 6;
/// Bins of any other input.
const BINS: usize = 4;
const DIGITS: usize = 4;

/// Residuals over one stretch of an input, both ends within it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Bin {
    pub from: f64,
    pub to: f64,
    pub readings: usize,
    pub rms_lstar: f64,
    /// Mean of measured less predicted.
    pub mean_lstar: f64,
}

/// Residuals over one input.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ByInput {
    pub input: &'static str,
    pub unit: &'static str,
    pub bins: Vec<Bin>,
}

type Pick = fn(&Compared) -> Option<f64>;

const INPUTS: [(&str, &str, Pick); 6] = [
    ("pixel voltage", "V", |c| Some(c.drive_v)),
    ("time on", "ms", |c| Some(c.drive_ms)),
    ("temperature", "°C", |c| Some(c.point.temperature_c)),
    ("row", "", |c| c.point.row),
    ("content", "", |c| c.point.content_share),
    ("predicted", "L*", |c| Some(c.point.predicted_lstar)),
];

/// The residuals over every input, strays left out; an input that no reading has is left out too.
pub(super) fn by_input(compared: &[Compared]) -> Vec<ByInput> {
    let of = |(input, unit, pick): (&'static str, &'static str, Pick)| {
        let kept = compared.iter().filter(|c| !c.point.stray);
        let pairs = kept.filter_map(|c| Some((pick(c)?, c.point.residual_lstar())));
        ByInput {
            input,
            unit,
            bins: bins(pairs.collect()),
        }
    };
    let all = INPUTS.into_iter().map(of);
    all.filter(|b| !b.bins.is_empty()).collect()
}

/// Bins of (input, residual): one a value, or of nearly equal count with equal values together.
fn bins(mut pairs: Vec<(f64, f64)>) -> Vec<Bin> {
    pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
    let groups: Vec<&[(f64, f64)]> = pairs.chunk_by(|a, b| a.0 == b.0).collect();
    if groups.len() <= SINGLE_VALUES_MAX {
        return groups.into_iter().filter_map(bin).collect();
    }
    let mut found: Vec<Vec<(f64, f64)>> = vec![Vec::new()];
    let mut left = pairs.len();
    for group in groups {
        let bins_left = (BINS + 1).saturating_sub(found.len()).max(1);
        match found.last_mut() {
            Some(last) if last.len() * bins_left < left => last.extend(group),
            last => {
                left -= last.map_or(0, |l| l.len());
                found.push(group.to_vec());
            }
        }
    }
    found.iter().filter_map(|pairs| bin(pairs)).collect()
}

fn bin(pairs: &[(f64, f64)]) -> Option<Bin> {
    let (first, last) = (pairs.first()?, pairs.last()?);
    let n = pairs.len() as f64;
    let mean = pairs.iter().map(|(_, r)| r).sum::<f64>() / n;
    let squares: f64 = pairs.iter().map(|(_, r)| r * r).sum();
    Some(Bin {
        from: significant(first.0, DIGITS),
        to: significant(last.0, DIGITS),
        readings: pairs.len(),
        rms_lstar: significant((squares / n).sqrt(), DIGITS),
        mean_lstar: significant(mean, DIGITS),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn few_values_stand_alone_and_many_share_bins_of_equal_count() {
        let few = bins(vec![(5.0, 1.0), (23.0, -3.0), (5.0, -1.0), (23.0, 3.0)]);
        assert_eq!(few.len(), 2);
        assert_eq!((few[1].from, few[1].to, few[1].readings), (23.0, 23.0, 2));
        assert_eq!((few[1].rms_lstar, few[1].mean_lstar), (3.0, 0.0));
        let many = bins((0..100).map(|i| (f64::from(i), 1.0)).collect());
        let counts: Vec<usize> = many.iter().map(|b| b.readings).collect();
        assert_eq!(counts, [25; 4]);
        assert_eq!((many[3].from, many[3].to), (75.0, 99.0));
    }

    #[test]
    fn equal_values_stay_in_one_bin() {
        let pairs = (0..90).map(|i| (f64::from(i.max(60)), 1.0)).collect();
        let found = bins(pairs);
        let counts: Vec<usize> = found.iter().map(|b| b.readings).collect();
        assert_eq!(counts, [61, 10, 10, 9]);
    }
}
