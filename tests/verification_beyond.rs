//! What goes beyond the request. A tolerance for a share of panels like this one: planted spreads, and panels followed slot by slot.
//! Polished voltages: never a narrower ladder, on the rails, within budget and charge, the same on any number of threads.

#[path = "small_panel/numbers.rs"]
mod numbers;
#[path = "small_panel/slot_table.rs"]
mod slot_table;
mod twelve_rows;

use greyloom::design::assurance::{Assurance, CONFIDENCE, PANELS, drawn};
use greyloom::design::pins::Pins;
use greyloom::design::reach::Scheme;
use greyloom::design::{Design, LadderShare, Manner, Request, design, design_in};
use greyloom::error::Error;
use greyloom::project::{Project, Rail, UnitSpread};
use greyloom::response::Response;
use greyloom::response::beta::least_share;
use greyloom::response::fit::Fit;
use greyloom::waveforms::{Band, Waveforms};
use nalgebra::DMatrix;
use numbers::Numbers;
use slot_table::SlotTable;
use std::sync::LazyLock;
use twelve_rows::{known, project};

/// Eight levels in 3.5 s at 23 °C.
fn at_23() -> Request {
    Request {
        levels: 8,
        budget_s: 3.5,
        tolerance_steps: 0.25,
        share: LadderShare::Common,
        temperature_c: Some(23.0),
        pins: Pins::NONE,
        contrast: None,
    }
}

fn spread_project(threshold_v: f64, speed: f64) -> Project {
    let mut project = project();
    project.panel.spread = UnitSpread { threshold_v, speed };
    project
}

fn assured(project: &Project, share: f64) -> Result<Design, Error> {
    let manner = Manner {
        quick: false,
        assure: Some(share),
    };
    design_in(manner, project, &known(), &at_23(), &|_| ())
}

#[test]
fn panels_that_are_all_alike_change_nothing() {
    let plain = design(&project(), &known(), &at_23(), &|_| ()).expect("a design");
    let with = assured(&project(), 0.95).expect("a design");
    assert_eq!(with.set, plain.set);
    let told = with.assured.expect("told");
    assert_eq!((told.within, told.panels), (PANELS, PANELS));
    assert_eq!(told.at_least, least_share(PANELS, PANELS, CONFIDENCE));
    assert_eq!(told.inner_tolerance_steps, 0.25);
    // The middle panel is the fitted one, whose own ladder suits it at least as well as the targets.
    let proved = plain.set.bands[0].figures.worst_error_steps;
    let middle = told.middle_merit_steps;
    assert!(middle <= proved + 1e-4, "{middle} and {proved}");
    let ranges = ranges_slot_by_slot(&plain.set, &known().response);
    let brute = even_merit(&plain.set, &ranges);
    // Steps: the grid of ladders is coarser than the program's search, and rows between those judged may add a little.
    assert!((middle - brute).abs() < 0.005, "{middle} and {brute}");
    assert!(plain.assured.is_none());
}

#[test]
fn panels_that_differ_wildly_end_with_what_would_do() {
    let error = assured(&spread_project(0.3, 0.5), 0.95).expect_err("no design");
    assert_eq!(error.exit_code(), 4);
    let Error::Unmet(unmet) = error else {
        panic!("{error}")
    };
    assert!(
        unmet.request.contains("0.95 of panels like this one"),
        "{unmet}"
    );
    assert!(
        unmet.binding.contains("0.3") && unmet.binding.contains("0.5"),
        "{unmet}"
    );
    assert!(!unmet.would_do.is_empty());
}

fn slot_tables(set: &Waveforms, response: &Response) -> Vec<SlotTable> {
    let band = &set.bands[0];
    let scheme = Scheme {
        erase: band.erase.clone(),
        fields: band.fields.clone(),
    };
    let movers = response.movers(band.temperature_c.design, 1.0);
    let table = |m| SlotTable::new(m, &scheme, set.panel.field_settle_ms);
    movers.iter().map(table).collect()
}

/// What each level shows at least and at most on a panel, by following every row and both extreme contents slot by slot.
fn ranges_slot_by_slot(set: &Waveforms, response: &Response) -> Vec<(f64, f64)> {
    let band = &set.bands[0];
    let (rows, tables) = (set.panel.rows, slot_tables(set, response));
    let mut ranges = vec![(f64::INFINITY, f64::NEG_INFINITY); set.levels];
    for on in [false, true] {
        let others = band
            .fields
            .iter()
            .map(|f| if on { f.slot_ticks } else { 0 });
        let others: Vec<u32> = others.collect();
        let start = match on {
            true => response.kinetics.highest(),
            false => response.kinetics.lowest(),
        };
        for (level, range) in ranges.iter_mut().enumerate() {
            for row in 0..rows {
                let mut content = vec![others.clone(); rows];
                content[row] = band.ticks[level].clone();
                let coverage: f64 = tables
                    .iter()
                    .map(|t| t.coverage(start, row, &content))
                    .sum();
                let lstar = response.curve.lstar(coverage);
                *range = (range.0.min(lstar), range.1.max(lstar));
            }
        }
    }
    ranges
}

/// Worst error of some ranges against an even ladder, steps.
fn worst_steps(ranges: &[(f64, f64)], dark: f64, step: f64) -> f64 {
    let error = |(k, (low, high)): (usize, &(f64, f64))| {
        let target = dark + k as f64 * step;
        (target - low).max(high - target) / step
    };
    ranges.iter().enumerate().map(error).fold(0.0, f64::max)
}

/// Worst error of a set against its targets, steps.
fn merit(set: &Waveforms, ranges: &[(f64, f64)]) -> f64 {
    let step = set.targets_lstar[1] - set.targets_lstar[0];
    worst_steps(ranges, set.targets_lstar[0], step)
}

/// The least of a fine grid of even ladders, and of a finer one about the best.
fn even_merit(set: &Waveforms, ranges: &[(f64, f64)]) -> f64 {
    let middle = |r: (f64, f64)| 0.5 * (r.0 + r.1);
    let (dark, light) = (middle(ranges[0]), middle(ranges[set.levels - 1]));
    let step = (light - dark) / (set.levels - 1) as f64;
    let mut best = (f64::INFINITY, dark, step);
    for reach in [0.4, 0.04] {
        let (_, dark, step) = best;
        for i in -20..=20 {
            for j in -20..=20 {
                let d = dark + f64::from(i) / 20.0 * reach * step;
                let s = step * (1.0 + f64::from(j) / 20.0 * reach / 5.0);
                let worst = worst_steps(ranges, d, s);
                if worst < best.0 {
                    best = (worst, d, s);
                }
            }
        }
    }
    best.0
}

/// A picture by chance strays no further than the extreme ones.
#[test]
fn no_picture_by_chance_is_worse_than_the_extreme_ones() {
    let design = design(&project(), &known(), &at_23(), &|_| ()).expect("a design");
    let (set, band, response) = (&design.set, &design.set.bands[0], known().response);
    let merit = merit(set, &ranges_slot_by_slot(set, &response));
    let tables = slot_tables(set, &response);
    let step = set.targets_lstar[1] - set.targets_lstar[0];
    let mut numbers = Numbers(5);
    for _ in 0..200 {
        let levels: Vec<usize> = (0..set.panel.rows)
            .map(|_| numbers.below(set.levels))
            .collect();
        let content: Vec<Vec<u32>> = levels.iter().map(|&l| band.ticks[l].clone()).collect();
        let row = numbers.below(set.panel.rows);
        let start = response.kinetics.highest();
        let coverage: f64 = tables
            .iter()
            .map(|t| t.coverage(start, row, &content))
            .sum();
        let error = (response.curve.lstar(coverage) - set.targets_lstar[levels[row]]).abs() / step;
        assert!(error <= merit + 1e-9, "{error} and {merit}");
    }
}

/// A panel of another chance than the program's own, the spread put in by hand.
fn panel_by_hand(spread: UnitSpread, mut normal: impl FnMut() -> f64) -> Response {
    let mut response = known().response;
    let (t, s) = (
        (spread.threshold_v * normal()).exp(),
        (spread.speed * normal()).exp(),
    );
    let k = &mut response.kinetics;
    k.crossing.threshold_v *= t;
    k.returning.threshold_v *= t;
    k.crossing.rate_per_vs *= s;
    k.returning.rate_per_vs *= s;
    k.store.as_mut().expect("a store").rate_per_s *= s;
    k.window.as_mut().expect("a window").rate_per_s *= s;
    response
}

/// One set on panels that differ more and more: the shares told are those of other panels, followed slot by slot.
#[test]
fn the_shares_told_are_those_of_panels_followed_slot_by_slot() {
    const BRUTE: usize = 200;
    let (project, fit) = (project(), known());
    let design = design(&project, &fit, &at_23(), &|_| ()).expect("a design");
    let mut numbers = Numbers(11);
    let mut normal = move || {
        let radius = (-2.0 * (1.0 - numbers.share()).ln()).sqrt();
        radius * (std::f64::consts::TAU * numbers.share()).cos()
    };
    // Whether a sample of panels told the two apart from none and from all.
    let mut telling = [false; 2];
    for scale in [1.0, 3.0, 9.0, 27.0] {
        let spread = UnitSpread {
            threshold_v: 0.002 * scale,
            speed: 0.006 * scale,
        };
        let told = Assurance::new(&fit, spread, 0.5, 0.25);
        let told = told.judge(&design, &project.panel.drivers, &fit.response);
        let mut within = [0; 2];
        for _ in 0..BRUTE {
            let response = panel_by_hand(spread, &mut normal);
            let ranges = ranges_slot_by_slot(&design.set, &response);
            within[0] += usize::from(even_merit(&design.set, &ranges) <= 0.25);
            within[1] += usize::from(merit(&design.set, &ranges) <= 0.25);
        }
        for (k, told_within) in [told.within, told.targets_within].into_iter().enumerate() {
            let (p, q) = (
                within[k] as f64 / BRUTE as f64,
                told_within as f64 / told.panels as f64,
            );
            let both = (within[k] + told_within) as f64 / (BRUTE + told.panels) as f64;
            let sigma =
                (both * (1.0 - both) * (1.0 / BRUTE as f64 + 1.0 / told.panels as f64)).sqrt();
            // A panel or two may lie within the fineness of a best ladder.
            assert!(
                (p - q).abs() < 3.5 * sigma + 0.01,
                "{scale}, {k}: {p} and {q}, σ {sigma}"
            );
            telling[k] |= p > 0.05 && p < 0.95;
        }
        assert!(told.at_least <= told.within as f64 / told.panels as f64);
    }
    assert_eq!(telling, [true; 2], "no spread told panels apart");
}

/// A greater share asked leaves no wider ladder and a smaller inner tolerance.
#[test]
fn more_panels_cost_span() {
    let project = spread_project(0.003, 0.01);
    let designs = [0.5, 0.9].map(|share| assured(&project, share));
    let [Ok(half), Ok(most)] = designs else {
        panic!("{designs:?}")
    };
    let inner = |d: &Design| d.assured.as_ref().map(|a| a.inner_tolerance_steps);
    assert!(inner(&most) <= inner(&half));
    assert!(most.bands[0].span_lstar <= half.bands[0].span_lstar + 1e-9);
    assert!(most.assured.expect("told").at_least >= 0.9);
}

/// The covariance is drawn as it stands: planted, found again in the draws.
#[test]
fn draws_have_the_covariance_of_the_fit() {
    use greyloom::response::fit::Estimate;
    use greyloom::response::parameters::{Scene, parameters};
    let scene = Scene {
        on_v: 15.0,
        data_v: 3.0,
        slot_s: 0.05,
        erase_s: 1.25,
    };
    let list = parameters(known().rung, &scene);
    let at = |symbol: &str| list.iter().position(|p| p.symbol == symbol).expect(symbol);
    let estimates: Vec<Estimate> = list
        .iter()
        .map(|p| Estimate {
            parameter: *p,
            value: p.prior,
            sigma: 0.0,
            undetermined: false,
        })
        .collect();
    let n = list.len();
    let (a, b) = (at("E_A"), at("k_store"));
    let mut covariance = DMatrix::zeros(n, n);
    (covariance[(a, a)], covariance[(b, b)]) = (0.0004, 0.0009);
    (covariance[(a, b)], covariance[(b, a)]) = (0.0003, 0.0003);
    let moved = list.iter().map(|p| p.scale.inward(p.prior)).collect();
    let fit = Fit {
        estimates,
        covariance,
        moved,
        ..known()
    };
    const COUNT: usize = 4000;
    let panels = drawn(&fit, UnitSpread::default(), COUNT, 3);
    let prior = |i: usize| list[i].prior;
    let logs: Vec<(f64, f64)> = panels
        .iter()
        .flatten()
        .map(|r| {
            let greyloom::pigment::TemperatureLaw::Arrhenius {
                activation_kj_per_mol: e,
            } = r.kinetics.temperature
            else {
                panic!("Arrhenius")
            };
            let k = r.kinetics.store.expect("a store").rate_per_s;
            ((e / prior(a)).ln(), (k / prior(b)).ln())
        })
        .collect();
    assert_eq!(logs.len(), COUNT);
    let mean = |of: &dyn Fn(&(f64, f64)) -> f64| logs.iter().map(of).sum::<f64>() / COUNT as f64;
    // Standard error of a variance: σ²·√(2/n), 2.2 %; four of them.
    let near = |found: f64, planted: f64| (found / planted - 1.0).abs() < 0.09;
    assert!(near(mean(&|l| l.0 * l.0), 0.0004));
    assert!(near(mean(&|l| l.1 * l.1), 0.0009));
    assert!(near(mean(&|l| l.0 * l.1), 0.0003) || (mean(&|l| l.0 * l.1) - 0.0003).abs() < 4e-5);
}

#[test]
fn requests_keep_their_own_numbers() {
    let request = Request {
        levels: 4,
        ..at_23()
    };
    let manner = Manner {
        quick: true,
        assure: Some(0.9),
    };
    let project = spread_project(0.002, 0.005);
    let design = design_in(manner, &project, &known(), &request, &|_| ()).expect("a design");
    assert_eq!(design.set.levels, 4);
    assert_eq!(design.assured.expect("told").share, 0.9);
}

fn continuous() -> Project {
    let mut project = project();
    project.panel.drivers.data_v = Rail {
        min: 1.0,
        max: 3.0,
        step: None,
    };
    project.panel.drivers.select_v.step = None;
    project
}

fn designed(project: &Project, request: &Request, threads: usize) -> Design {
    let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build();
    let pool = pool.expect("threads");
    pool.install(|| design(project, &known(), request, &|_| ()).expect("a design"))
}

static AT_23: LazyLock<Design> = LazyLock::new(|| designed(&continuous(), &at_23(), 2));

fn assert_kept(project: &Project, request: &Request, band: &Band) {
    let rails = &project.panel.drivers;
    for field in &band.fields {
        let (s, d) = (field.select_v, field.data_v);
        assert!(
            (rails.select_v.min..=rails.select_v.max).contains(&s),
            "{s}"
        );
        assert!((rails.data_v.min..=rails.data_v.max).contains(&d), "{d}");
    }
    let figures = &band.figures;
    assert!(band.refresh_s <= request.budget_s);
    assert!(figures.worst_error_steps <= request.tolerance_steps);
    assert!(figures.net_impulse_vs <= project.panel.limits.net_impulse_vs);
}

#[test]
fn polished_voltages_keep_what_the_grid_keeps_and_never_narrow_the_ladder() {
    let polish = AT_23.polish.as_ref().expect("polished");
    assert!(polish.span_after_lstar >= polish.span_before_lstar);
    assert_eq!(polish.span_after_lstar, AT_23.bands[0].span_lstar);
    assert_eq!(polish.bands.len(), 1);
    let tried = &polish.bands[0].tried;
    assert_eq!(tried.len(), 3);
    assert!(
        tried
            .iter()
            .all(|t| t.gain_lstar >= 0.0 && t.evaluations > 5)
    );
    let best = tried.iter().map(|t| t.gain_lstar).fold(0.0, f64::max);
    assert!(
        best > 0.0,
        "no solver finds anything between 160 places of a rail: {tried:?} {:?}",
        AT_23.set.bands[0].fields
    );
    let kept = polish.bands[0].best.expect("the best is kept");
    assert!(
        tried
            .iter()
            .any(|t| t.solver == kept && t.gain_lstar == best)
    );
    assert_kept(&continuous(), &at_23(), &AT_23.set.bands[0]);
}

/// The coarse grid of half volts lies on the continuous rail, which can only do better, as far as the search finds it.
#[test]
fn one_thread_gives_the_same_design() {
    assert_eq!(designed(&continuous(), &at_23(), 1), *AT_23);
}

#[test]
fn rails_with_steps_are_not_polished() {
    assert_eq!(designed(&project(), &at_23(), 2).polish, None);
}

#[test]
fn a_common_ladder_of_several_bands_is_not_narrower_for_it() {
    let request = Request {
        temperature_c: None,
        ..at_23()
    };
    let mut project = continuous();
    project.panel.limits.temperature_min_c = 18.0;
    project.panel.limits.temperature_max_c = 28.0;
    let design = designed(&project, &request, 2);
    let polish = design.polish.as_ref().expect("polished");
    assert!(polish.span_after_lstar >= polish.span_before_lstar);
    for band in &design.set.bands {
        assert_kept(&project, &request, band);
    }
}
