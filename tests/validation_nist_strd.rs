//! The least-squares code of the response fit against the certified nonlinear regressions of the NIST Statistical
//! Reference Datasets, each from both of its starting points.
//!
//! NIST's certified values carry 11 digits. They are checked through the default options and difference
//! Jacobian, which are those of the response fit.

use std::path::Path;

use greyloom::response::least_squares::{Options, Residuals, Solution, solve};

/// Digits asked of every parameter and of the residual sum of squares. Dimensionless. Six is what NIST asks of good
/// software in double precision; the fit ends where its own error is some 1e-8 of a standard deviation.
const PARAMETER_DIGITS: f64 = 6.0;

/// Digits asked of every standard deviation: differences carry the Jacobian to about ten digits, of which a nearly
/// singular one (MGH10, Lanczos3) takes several away.
const DEVIATION_DIGITS: f64 = 4.0;

/// A certified set read from its file.
struct Set {
    name: &'static str,
    model: fn(&[f64], f64) -> f64,
    starts: [Vec<f64>; 2],
    certified: Vec<f64>,
    certified_deviations: Vec<f64>,
    certified_sum: f64,
    certified_residual_deviation: f64,
    x: Vec<f64>,
    y: Vec<f64>,
}

impl Residuals for Set {
    fn len(&self) -> usize {
        self.y.len()
    }

    fn residuals(&self, b: &[f64]) -> Option<Vec<f64>> {
        Some(
            self.x
                .iter()
                .zip(&self.y)
                .map(|(&x, y)| (self.model)(b, x) - y)
                .collect(),
        )
    }
}

fn numbers(line: &str) -> Vec<f64> {
    line.split_whitespace()
        .map(|word| word.parse().unwrap())
        .collect()
}

fn after<'a>(text: &'a str, mark: &str) -> &'a str {
    let line = text.lines().find(|line| line.starts_with(mark)).unwrap();
    line[mark.len()..].trim()
}

fn read(name: &'static str, model: fn(&[f64], f64) -> f64) -> Set {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data/nist-strd")
        .join(name)
        .with_extension("dat");
    let text = std::fs::read_to_string(path).unwrap();
    let parameters: Vec<Vec<f64>> = text
        .lines()
        .skip(40)
        .map_while(|line| line.split_once('=').map(|(_, values)| numbers(values)))
        .collect();
    let data: Vec<Vec<f64>> = text
        .lines()
        .skip(60)
        .map(numbers)
        .filter(|row| !row.is_empty())
        .collect();
    let column = |k: usize| parameters.iter().map(|row| row[k]).collect::<Vec<f64>>();
    Set {
        name,
        model,
        starts: [column(0), column(1)],
        certified: column(2),
        certified_deviations: column(3),
        certified_sum: after(&text, "Residual Sum of Squares:").parse().unwrap(),
        certified_residual_deviation: after(&text, "Residual Standard Deviation:")
            .parse()
            .unwrap(),
        y: data.iter().map(|row| row[0]).collect(),
        x: data.iter().map(|row| row[1]).collect(),
    }
}

/// Digits shared with the certified value: −log10 of the relative error, −∞ for a value that isn't a number.
fn shared_digits(value: f64, certified: f64) -> f64 {
    let error = ((value - certified) / certified).abs();
    if error.is_nan() {
        f64::NEG_INFINITY
    } else {
        -error.log10()
    }
}

fn fewest(values: &[f64], certified: &[f64]) -> f64 {
    assert_eq!(values.len(), certified.len());
    let digits = values
        .iter()
        .zip(certified)
        .map(|(v, c)| shared_digits(*v, *c));
    digits.fold(f64::INFINITY, f64::min)
}

#[test]
fn not_a_number_shares_no_digits() {
    assert_eq!(fewest(&[f64::NAN, 1.0], &[1.0, 1.0]), f64::NEG_INFINITY);
    assert_eq!(fewest(&[1.0, 0.0], &[1.0, 1.0]), 0.0);
}

fn check(set: &Set, found: &Solution) {
    let name = set.name;
    let deviations = found.standard_deviations(true);
    let residual_deviation = found.reduced_chi_square().sqrt();
    let parameters = fewest(&found.parameters, &set.certified);
    let spread = fewest(&deviations, &set.certified_deviations);
    let sum = shared_digits(found.sum_of_squares, set.certified_sum);
    let residual = shared_digits(residual_deviation, set.certified_residual_deviation);
    println!(
        "{name:9} digits: parameters {parameters:.1}, deviations {spread:.1}, sum {sum:.1}, residual {residual:.1}; \
         {:?} after {} trials, offset {:.1e}",
        found.ending, found.evaluations, found.relative_offset,
    );
    assert!(found.ending.converged(), "{name}: {:?}", found.ending);
    assert!(
        found.undetermined().is_empty(),
        "{name}: {:?}",
        found.undetermined()
    );
    assert!(
        parameters >= PARAMETER_DIGITS,
        "{name}: {:?}",
        found.parameters
    );
    assert!(spread >= DEVIATION_DIGITS, "{name}: {deviations:?}");
    assert!(sum >= PARAMETER_DIGITS, "{name}: {}", found.sum_of_squares);
    assert!(residual >= PARAMETER_DIGITS, "{name}: {residual_deviation}");
}

fn validate(set: &Set) {
    for start in &set.starts {
        check(set, &solve(set, start, &Options::default()));
    }
}

#[test]
fn misra1a_saturating_exponential() {
    validate(&read("Misra1a", |b, x| b[0] * (1.0 - (-b[1] * x).exp())));
}

#[test]
fn misra1c_saturating_root() {
    validate(&read("Misra1c", |b, x| {
        b[0] * (1.0 - (1.0 + 2.0 * b[1] * x).powf(-0.5))
    }));
}

#[test]
fn chwirut2_decay_over_a_line() {
    validate(&read("Chwirut2", |b, x| {
        (-b[0] * x).exp() / (b[1] + b[2] * x)
    }));
}

#[test]
fn danwood_power() {
    validate(&read("DanWood", |b, x| b[0] * x.powf(b[1])));
}

#[test]
fn boxbod_saturating_exponential() {
    validate(&read("BoxBOD", |b, x| b[0] * (1.0 - (-b[1] * x).exp())));
}

#[test]
fn eckerle4_bell() {
    let bell = |b: &[f64], x: f64| b[0] / b[1] * (-0.5 * ((x - b[2]) / b[1]).powi(2)).exp();
    validate(&read("Eckerle4", bell));
}

#[test]
fn lanczos3_three_exponentials() {
    let sum = |b: &[f64], x: f64| {
        b[0] * (-b[1] * x).exp() + b[2] * (-b[3] * x).exp() + b[4] * (-b[5] * x).exp()
    };
    validate(&read("Lanczos3", sum));
}

#[test]
fn mgh10_vogel_fulcher_tammann() {
    validate(&read("MGH10", |b, x| b[0] * (b[1] / (x + b[2])).exp()));
}

#[test]
fn mgh17_two_time_constants() {
    let sum = |b: &[f64], x: f64| b[0] + b[1] * (-x * b[3]).exp() + b[2] * (-x * b[4]).exp();
    validate(&read("MGH17", sum));
}

#[test]
fn rat42_sigmoid() {
    validate(&read("Rat42", |b, x| {
        b[0] / (1.0 + (b[1] - b[2] * x).exp())
    }));
}

#[test]
fn rat43_sigmoid_with_shape() {
    let set = read("Rat43", |b, x| {
        b[0] / (1.0 + (b[1] - b[2] * x).exp()).powf(1.0 / b[3])
    });
    validate(&set);
}

#[test]
fn thurber_ratio_of_cubics() {
    let ratio = |b: &[f64], x: f64| {
        (b[0] + x * (b[1] + x * (b[2] + x * b[3]))) / (1.0 + x * (b[4] + x * (b[5] + x * b[6])))
    };
    validate(&read("Thurber", ratio));
}
