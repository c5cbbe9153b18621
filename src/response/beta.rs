//! The incomplete beta function, and the bound on a share that follows from it.

/// The regularised incomplete beta function by Lentz's continued fraction. Source: Abramowitz & Stegun 26.5.8; W. H. Press
/// et al., Numerical Recipes, 6.4 (from memory).
pub fn incomplete_beta(x: f64, a: f64, b: f64) -> f64 {
    if x <= 0.0 || x >= 1.0 {
        return x.clamp(0.0, 1.0);
    }
    if x > (a + 1.0) / (a + b + 2.0) {
        return 1.0 - incomplete_beta(1.0 - x, b, a);
    }
    let front = ln_gamma(a + b) - ln_gamma(a) - ln_gamma(b) + a * x.ln() + b * (1.0 - x).ln();
    const TINY: f64 = 1e-300;
    let safe = |v: f64| if v.abs() < TINY { TINY } else { v };
    let (mut c, mut d) = (1.0, 1.0 / safe(1.0 - (a + b) * x / (a + 1.0)));
    let mut h = d;
    for m in 1..10_000 {
        let m = f64::from(m);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        d = 1.0 / safe(1.0 + even * d);
        c = safe(1.0 + even / c);
        h *= d * c;
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        d = 1.0 / safe(1.0 + odd * d);
        c = safe(1.0 + odd / c);
        h *= d * c;
        if (d * c - 1.0).abs() < 1e-15 {
            break;
        }
    }
    front.exp() * h / a
}

/// Lanczos' approximation, g = 7. Source: W. H. Press et al., Numerical Recipes, 6.1; coefficients of P. Godfrey (from memory).
fn ln_gamma(x: f64) -> f64 {
    const C: [f64; 9] = [
        0.999_999_999_999_809_9,
        676.520_368_121_885_1,
        -1_259.139_216_722_402_8,
        771.323_428_777_653_1,
        -176.615_029_162_140_6,
        12.507_343_278_686_905,
        -0.138_571_095_265_720_12,
        9.984_369_578_019_572e-6,
        1.505_632_735_149_311_6e-7,
    ];
    let x = x - 1.0;
    let t = x + 7.5;
    let sum = (1..9).fold(C[0], |sum, k| sum + C[k] / (x + k as f64));
    0.5 * (2.0 * std::f64::consts::PI).ln() + (x + 0.5) * t.ln() - t + sum.ln()
}

/// The largest share of which it can be said with `confidence` that at least so much of all is within, where `within` of
/// `tried`, drawn by chance, are: one-sided, exact.
///
/// The p with P(X ≥ within) = 1 − confidence, X binomial of `tried` and p, which is I_p(within, tried − within + 1).
/// Source: C. J. Clopper, E. S. Pearson, Biometrika 26 (1934) 404–413 (from memory).
pub fn least_share(within: usize, tried: usize, confidence: f64) -> f64 {
    if within == 0 || within > tried {
        return 0.0;
    }
    let (a, b) = (within as f64, (tried - within + 1) as f64);
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if incomplete_beta(middle, a, b) < 1.0 - confidence {
            low = middle;
        } else {
            high = middle;
        }
    }
    low
}
