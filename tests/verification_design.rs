//! Designs for a small panel, end to end, checked by following pixels slot by slot through the finished set.

#[path = "small_panel/numbers.rs"]
mod numbers;
#[path = "small_panel/slot_table.rs"]
mod slot_table;
mod twelve_rows;

use greyloom::design::certificate::recheck::recheck;
use greyloom::design::edges::EdgeError;
use greyloom::design::pins::Pins;
use greyloom::design::reach::Scheme;
use greyloom::design::{Design, LadderShare, Request, Standing, TrialOutcome, design, redesign};
use greyloom::error::{Error, Unmet};
use greyloom::project::{Panel, Project, Rail};
use greyloom::waveforms::{Band, Waveforms};
use numbers::Numbers;
use slot_table::SlotTable;
use std::path::Path;
use std::sync::LazyLock;
use twelve_rows::{ROWS, known, project};

const LEVELS: usize = 8;
const BUDGET_S: f64 = 3.5;
const TOLERANCE_STEPS: f64 = 0.25;
/// A set is rounded to 4 decimals.
const ROUNDED: f64 = 1e-4;
/// Steps: between the temperatures at which a band is proved a grey may bend a little beyond them.
const BETWEEN_STEPS: f64 = 1e-3;
const CONTENTS: usize = 200;
const TEMPERATURES: usize = 11;

fn request() -> Request {
    Request {
        levels: LEVELS,
        budget_s: BUDGET_S,
        tolerance_steps: TOLERANCE_STEPS,
        share: LadderShare::Common,
        temperature_c: None,
        pins: Pins::NONE,
        contrast: None,
    }
}

fn at_23() -> Request {
    Request {
        temperature_c: Some(23.0),
        ..request()
    }
}

fn designed(project: &Project, request: &Request) -> Result<Design, Error> {
    design(project, &known(), request, &|_| ())
}

fn on_threads(threads: usize) -> Design {
    let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build();
    let pool = pool.expect("threads");
    pool.install(|| designed(&project(), &request()).expect("a design"))
}

static COMMON: LazyLock<Design> = LazyLock::new(|| on_threads(2));
static PER_BAND: LazyLock<Design> = LazyLock::new(|| {
    let share = LadderShare::PerBand;
    designed(&project(), &Request { share, ..request() }).expect("a design")
});
static UNSTRETCHED: LazyLock<Result<Design, Error>> = LazyLock::new(|| {
    let mut project = project();
    project.panel.drivers.stretch = None;
    designed(
        &project,
        &Request {
            levels: 4,
            ..request()
        },
    )
});

/// The factor on durations at a temperature, by hand: linear between entries, 1 without any.
fn factor(band: &Band, temperature_c: f64) -> f64 {
    let Some(last) = band.stretch.last() else {
        return 1.0;
    };
    for w in band.stretch.windows(2) {
        let share =
            (temperature_c - w[0].temperature_c) / (w[1].temperature_c - w[0].temperature_c);
        if (0.0..=1.0).contains(&share) {
            return w[0].factor + share * (w[1].factor - w[0].factor);
        }
    }
    last.factor
}

fn temperatures(band: &Band, count: usize) -> impl Iterator<Item = f64> + '_ {
    let t = band.temperature_c;
    (0..count).map(move |i| t.low + (t.high - t.low) * i as f64 / (count - 1) as f64)
}

fn ladder<'a>(set: &'a Waveforms, band: &'a Band) -> &'a [f64] {
    band.targets_lstar.as_deref().unwrap_or(&set.targets_lstar)
}

/// What columns may show: all on and all off for the whole slot around each level, every level alone, and random mixtures
/// of the levels.
fn contents(band: &Band, numbers: &mut Numbers) -> Vec<Vec<Vec<u32>>> {
    let levels = band.ticks.len();
    let mut all: Vec<Vec<Vec<u32>>> = band.ticks.iter().map(|t| vec![t.clone(); ROWS]).collect();
    let random = |numbers: &mut Numbers| {
        (0..ROWS)
            .map(|_| band.ticks[numbers.below(levels)].clone())
            .collect()
    };
    all.extend((0..CONTENTS).map(|_| random(numbers)));
    all
}

fn extreme_contents(band: &Band) -> Vec<Look> {
    let full: Vec<u32> = band.fields.iter().map(|f| f.slot_ticks).collect();
    let none = vec![0; full.len()];
    let mut all = Vec::new();
    for (level, own) in band.ticks.iter().enumerate() {
        for row in 0..ROWS {
            for others in [&full, &none] {
                let mut content = vec![others.clone(); ROWS];
                content[row] = own.clone();
                all.push((level, row, content));
            }
        }
    }
    all
}

/// Levels, rows and contents that are looked at.
fn looks(band: &Band) -> Vec<Look> {
    let mut looks = extreme_contents(band);
    for content in contents(band, &mut Numbers(11)) {
        for row in 0..ROWS {
            let level = band.ticks.iter().position(|t| *t == content[row]);
            looks.push((level.expect("a level's ticks"), row, content.clone()));
        }
    }
    looks
}

/// Something that a column shows: a level, its row, the ticks of all rows.
type Look = (usize, usize, Vec<Vec<u32>>);

/// The largest error, L*, over some looks, from the dark and from the clear panel, at one temperature with one stretch.
fn error_at_lstar(
    band: &Band,
    targets: &[f64],
    settle_ms: f64,
    looks: &[Look],
    (temperature_c, stretch): (f64, f64),
) -> f64 {
    let response = known().response;
    let scheme = Scheme {
        erase: band.erase.clone(),
        fields: band.fields.clone(),
    };
    let movers = response.movers(temperature_c, stretch);
    let tables: Vec<SlotTable> = movers
        .iter()
        .map(|m| SlotTable::new(m, &scheme, settle_ms))
        .collect();
    let mut worst = 0.0f64;
    for (level, row, content) in looks {
        for start in [response.kinetics.highest(), response.kinetics.lowest()] {
            let covered = tables
                .iter()
                .map(|m| m.coverage(start, *row, content))
                .sum();
            let error = (response.curve.lstar(covered) - targets[*level]).abs();
            assert!(error.is_finite());
            worst = worst.max(error);
        }
    }
    worst
}

/// The same over the temperatures of a band and all that columns may show.
fn worst_error_lstar(band: &Band, targets: &[f64], settle_ms: f64) -> f64 {
    let looks = looks(band);
    let at = |t: f64| error_at_lstar(band, targets, settle_ms, &looks, (t, factor(band, t)));
    temperatures(band, TEMPERATURES).map(at).fold(0.0, f64::max)
}

/// Errors at the edges and the design temperature, by the slots: stretched, on the worse side of half a step of the clock
/// but where the factor is 1 by design, and unstretched.
fn check_edges(project: &Project, design: &Design) {
    let set = &design.set;
    let half_step = project.panel.drivers.stretch.map_or(0.0, |s| 0.5 * s.step);
    for (band, made) in set.bands.iter().zip(&design.bands) {
        let targets = ladder(set, band);
        let step = (targets[set.levels - 1] - targets[0]) / (set.levels - 1) as f64;
        let looks = extreme_contents(band);
        let t = band.temperature_c;
        let here: Vec<f64> = made.edges.iter().map(|e| e.temperature_c).collect();
        for (found, expected) in here.iter().zip([t.low, t.design, t.high]) {
            assert!((found - expected).abs() <= ROUNDED, "{here:?}");
        }
        assert_eq!(here.len(), 3);
        for edge in &made.edges {
            let error = |stretch: f64| {
                let at = (edge.temperature_c, stretch);
                error_at_lstar(band, targets, set.panel.field_settle_ms, &looks, at)
            };
            let off = if edge.temperature_c == here[1] {
                0.0
            } else {
                half_step
            };
            let stretched = [-off, off].map(|by| error(edge.factor + by));
            for (found, expected) in [
                (edge.error_lstar, stretched[0].max(stretched[1])),
                (edge.unstretched_error_lstar, error(1.0)),
                (edge.error_steps * step, edge.error_lstar),
                (
                    edge.unstretched_error_steps * step,
                    edge.unstretched_error_lstar,
                ),
            ] {
                // Ladders and temperatures are rounded in the set.
                assert!(
                    (found - expected).abs() <= 3.0 * ROUNDED,
                    "{edge:?}: {expected}"
                );
            }
            assert!(edge.error_steps <= TOLERANCE_STEPS + ROUNDED, "{edge:?}");
        }
    }
}

#[test]
fn errors_at_the_edges_are_those_of_the_pixels() {
    check_edges(&project(), &COMMON);
    check_edges(&project(), &PER_BAND);
    // Without stretching the liquid's speed shows at the worse end; the other may pull against what is worst there.
    for band in &COMMON.bands {
        let worse = |of: fn(&EdgeError) -> f64| of(&band.edges[0]).max(of(&band.edges[2]));
        let gained = worse(|e| e.unstretched_error_steps) - worse(|e| e.error_steps);
        assert!(gained > 0.5 * TOLERANCE_STEPS, "{:?}", band.edges);
    }
}

#[test]
fn the_numbers_of_bands_that_were_considered_are_told() {
    let tried = &COMMON.bands_tried;
    // As many bands with durations played longer stand last.
    let (plain, slowed): (Vec<_>, Vec<_>) = tried.iter().partition(|t| t.factor == 1.0);
    assert!(
        plain.windows(2).all(|w| w[0].bands < w[1].bands),
        "{tried:?}"
    );
    assert_eq!(tried.iter().skip(plain.len()).collect::<Vec<_>>(), slowed);
    let kept = tried.iter().find(|t| t.bands == COMMON.set.bands.len());
    let kept = kept.expect("the number that was kept");
    assert_eq!(kept.outcome, TrialOutcome::Searched);
    assert!(
        kept.span_lstar
            .is_some_and(|s| s >= COMMON.bands[0].span_lstar - 0.5),
        "{tried:?}"
    );
    // The fewer the bands the more temperature alone moves a grey.
    assert!(
        plain
            .windows(2)
            .all(|w| w[0].temperature_steps > w[1].temperature_steps),
        "{tried:?}"
    );
    // The finer clock takes a little of that off.
    for slow in slowed {
        let alike = plain.iter().find(|t| t.bands == slow.bands);
        assert!(alike.is_some_and(|p| slow.temperature_steps < p.temperature_steps));
    }
    let unsearched = tried.iter().filter(|t| t.outcome == TrialOutcome::TooWide);
    assert!(unsearched.into_iter().all(|t| t.span_lstar.is_none()));
    assert_eq!(
        designed(&project(), &at_23())
            .expect("a design")
            .bands_tried,
        []
    );
}

#[test]
fn levels_finer_than_readings_can_tell_apart_are_warned_of() {
    let warned = |repeatability_lstar: f64| {
        let mut project = project();
        project.panel.instrument.repeatability_lstar = repeatability_lstar;
        let design = designed(&project, &at_23()).expect("a design");
        let told = design.bands[0].known.told_apart;
        let warning = design
            .notes
            .iter()
            .find(|n| n.starts_with("Levels: "))
            .cloned();
        (told, warning)
    };
    let (fine, silence) = warned(0.15);
    assert_eq!((fine.levels, silence), (LEVELS, None));
    let repeatability = fine.step_lstar / 2.0;
    let (coarse, warning) = warned(repeatability);
    // 2·√2 times half a step: 1.41 steps, so that 7 steps hold 4 of them.
    assert_eq!(coarse.levels, 5);
    let warning = warning.expect("a warning");
    assert!(
        warning.contains("8 are finer") && warning.contains("5 levels could"),
        "{warning}"
    );
}

fn check_merit(design: &Design) {
    let set = &design.set;
    for band in &set.bands {
        let targets = ladder(set, band);
        let step = (targets[set.levels - 1] - targets[0]) / (set.levels - 1) as f64;
        let worst = worst_error_lstar(band, targets, set.panel.field_settle_ms);
        let beyond = |limit: f64| worst - limit * step - ROUNDED;
        assert!(
            beyond(TOLERANCE_STEPS) <= BETWEEN_STEPS * step,
            "{worst} of {step}"
        );
        assert!(
            beyond(band.figures.worst_error_steps) <= BETWEEN_STEPS * step,
            "{worst} of {step}"
        );
        // The figure is a bound over rounding of the clock too, but not a slack one.
        assert!(worst >= 0.5 * band.figures.worst_error_lstar, "{worst}");
    }
}

/// Seconds at a temperature, from the strokes, slots and pauses by hand.
fn refresh_s(set: &Waveforms, band: &Band, temperature_c: f64) -> f64 {
    let strokes: f64 = band.erase.strokes.iter().map(|s| s.ms * 1e-3).sum();
    let fields = band.fields.iter().map(|f| {
        let slot = f64::from(f.slot_ticks + f.guard_ticks) * f64::from(f.tick_us) * 1e-6;
        set.panel.rows as f64 * slot + set.panel.field_settle_ms * 1e-3
    });
    let whole = strokes + fields.sum::<f64>() + band.erase.rest_ms * 1e-3;
    // The clock plays the nearest of its steps, which count from 1.
    let step = project().panel.drivers.stretch.map_or(1e-9, |s| s.step);
    whole * (1.0 + ((factor(band, temperature_c) - 1.0) / step).round() * step)
}

fn check_time(design: &Design) {
    for band in &design.set.bands {
        let times = temperatures(band, 101).map(|t| refresh_s(&design.set, band, t));
        let longest = times.fold(0.0, f64::max);
        assert!(longest <= BUDGET_S, "{longest}");
        assert!(
            (longest - band.refresh_s).abs() <= ROUNDED,
            "{longest} for {}",
            band.refresh_s
        );
    }
}

fn check_ladder(set: &Waveforms, band: &Band) {
    let targets = ladder(set, band);
    assert_eq!((targets.len(), band.ticks.len()), (set.levels, set.levels));
    let step = (targets[set.levels - 1] - targets[0]) / (set.levels - 1) as f64;
    assert!(step > 1.0, "{step}");
    for (i, target) in targets.iter().enumerate() {
        let even = targets[0] + i as f64 * step;
        assert!((target - even).abs() <= ROUNDED, "{target} for {even}");
    }
    assert!((band.figures.step_lstar - step).abs() <= ROUNDED);
    assert!(band.figures.worst_error_steps <= TOLERANCE_STEPS + ROUNDED);
    let p = &band.predicted;
    assert!(p.lstar.windows(2).all(|w| w[0] < w[1]), "{:?}", p.lstar);
    for (i, target) in targets.iter().enumerate() {
        let (low, high) = (p.low_lstar[i], p.high_lstar[i]);
        assert!(low <= p.lstar[i] && p.lstar[i] <= high);
        let error = (low - target).abs().max((high - target).abs());
        assert!(
            error <= band.figures.worst_error_lstar + 2.0 * ROUNDED,
            "{i}: {error}"
        );
    }
}

fn check_cover(set: &Waveforms, low_c: f64, high_c: f64) {
    let bands = &set.bands;
    assert_eq!(bands[0].temperature_c.low, low_c);
    assert_eq!(bands[bands.len() - 1].temperature_c.high, high_c);
    for w in bands.windows(2) {
        assert_eq!(w[0].temperature_c.high, w[1].temperature_c.low);
    }
    for band in bands {
        let t = band.temperature_c;
        assert!(t.low <= t.design && t.design <= t.high && t.low < t.high);
    }
}

/// One of the panel's erases; only its clearing stroke may be of another length, no shorter than half of it at the coldest, less
/// what the liquid is faster by, and in steps of 10 ms.
fn check_erase(panel: &Panel, band: &Band) {
    let mut own = panel.erases[0].clone();
    assert_eq!(own.strokes[1].pixel_v, -18.0);
    let (own_ms, is_ms) = (own.strokes[1].ms, band.erase.strokes[1].ms);
    let speed = |t: f64| known().response.kinetics.temperature.speed(t);
    let faster = speed(band.temperature_c.high) / speed(panel.limits.temperature_min_c);
    assert!(
        is_ms <= own_ms && is_ms >= 0.5 * own_ms / faster,
        "{is_ms} ms"
    );
    assert!(is_ms == own_ms || is_ms % 10.0 == 0.0, "{is_ms} ms");
    own.strokes[1].ms = is_ms;
    assert_eq!(own, band.erase);
    assert!(band.figures.ghost_lstar <= panel.limits.ghost_lstar);
}

fn check_drivers(project: &Project, set: &Waveforms) {
    let drivers = &project.panel.drivers;
    let on = |rail: &Rail, v: f64| {
        let steps = (v - rail.min) / rail.step.expect("a step");
        (rail.min..=rail.max).contains(&v) && (steps - steps.round()).abs() < ROUNDED
    };
    for band in &set.bands {
        check_erase(&project.panel, band);
        assert!((1..=drivers.fields_max as usize).contains(&band.fields.len()));
        for (f, field) in band.fields.iter().enumerate() {
            assert!(on(&drivers.select_v, field.select_v) && on(&drivers.data_v, field.data_v));
            assert!(drivers.tick_us.contains(&field.tick_us));
            assert!((1..=drivers.slot_ticks_max).contains(&field.slot_ticks));
            assert!(field.guard_ticks <= drivers.guard_ticks_max);
            assert!(band.ticks.iter().all(|t| t[f] <= field.slot_ticks));
        }
        for entry in &band.stretch {
            let range = drivers.stretch.expect("a range");
            assert!((range.min..=range.max).contains(&entry.factor));
        }
    }
}

fn check_whole(project: &Project, design: &Design) {
    let limits = &project.panel.limits;
    let set = &design.set;
    check_cover(set, limits.temperature_min_c, limits.temperature_max_c);
    check_drivers(project, set);
    set.bands.iter().for_each(|b| check_ladder(set, b));
    check_time(design);
    check_merit(design);
}

#[test]
fn a_common_ladder_holds_on_every_row_content_and_temperature() {
    check_whole(&project(), &COMMON);
    assert!(COMMON.set.bands.iter().all(|b| b.targets_lstar.is_none()));
    let dullest = COMMON
        .bands
        .iter()
        .map(|b| b.span_alone_lstar)
        .fold(f64::INFINITY, f64::min);
    let span = COMMON.bands[0].span_lstar;
    assert!(span <= dullest + ROUNDED, "{span} beyond {dullest}");
}

#[test]
fn ladders_of_their_own_are_no_narrower() {
    check_whole(&project(), &PER_BAND);
    let common = COMMON.bands[0].span_lstar;
    for band in &PER_BAND.bands {
        assert!(
            band.span_lstar >= common - 0.1,
            "{} < {common}",
            band.span_lstar
        );
    }
    let widest = PER_BAND
        .bands
        .iter()
        .map(|b| b.span_lstar)
        .fold(0.0, f64::max);
    assert!(
        widest > common + 1.0,
        "{widest}: warmer bands reach further"
    );
}

#[test]
fn one_thread_writes_the_same_bytes() {
    assert_eq!(on_threads(1).set.to_json(), COMMON.set.to_json());
}

#[test]
fn without_stretching_bands_are_narrower_or_the_request_is_refused() {
    match &*UNSTRETCHED {
        Ok(design) => {
            let mut project = project();
            project.panel.drivers.stretch = None;
            check_whole(&project, design);
            assert!(design.set.bands.iter().all(|b| b.stretch.is_empty()));
            assert!(design.set.bands.len() > 1);
        }
        Err(Error::Unmet(unmet)) => assert!(!unmet.would_do.is_empty()),
        Err(other) => panic!("{other}"),
    }
}

#[test]
fn a_laxer_tolerance_is_no_narrower() {
    let span = |tolerance_steps| {
        let request = Request {
            tolerance_steps,
            ..at_23()
        };
        let design = designed(&project(), &request).expect("a design");
        assert!(design.set.bands[0].figures.worst_error_steps <= tolerance_steps + ROUNDED);
        design.bands[0].span_lstar
    };
    let spans = [0.1, 0.25, 0.45].map(span);
    // L*: a descent may end a little below the best.
    assert!(spans.windows(2).all(|w| w[1] >= w[0] - 0.5), "{spans:?}");
}

#[test]
fn a_design_keeps_what_is_pinned() {
    let mut pins = Pins::NONE;
    pins.fields = Some(2);
    let first = pins.field_mut(0).expect("a first field");
    (first.select_v, first.guard_ticks) = (Some(8.0), Some(1));
    let second = pins.field_mut(1).expect("a second field");
    (second.data_v, second.slot_ticks) = (Some(2.5), Some(6));
    let pinned = designed(&project(), &Request { pins, ..at_23() }).expect("a design");
    let free = designed(&project(), &at_23()).expect("a design");
    let fields = &pinned.set.bands[0].fields;
    assert_eq!(fields.len(), 2);
    assert_eq!((fields[0].select_v, fields[0].guard_ticks), (8.0, 1));
    assert_eq!((fields[1].data_v, fields[1].slot_ticks), (2.5, 6));
    check_merit(&pinned);
    check_time(&pinned);
    assert!(pinned.bands[0].span_lstar <= free.bands[0].span_lstar + ROUNDED);
}

/// What the certificate says holds when looked at another way, and not once the file is bent.
#[test]
fn a_certificate_stands_another_look_and_a_bent_one_does_not() {
    let design = designed(&project(), &at_23()).expect("a design");
    let certificate = design.set.certificate.as_deref().expect("a certificate");
    assert!(
        certificate.tally.schemes() >= 1000,
        "{:?}",
        certificate.tally
    );
    assert!(certificate.bound_lstar >= design.bands[0].span_lstar - ROUNDED);
    let again = recheck(&design.set, certificate);
    assert!(again.holds(), "{again:?}");
    assert!(again.drawn > 0);
    let mut bent = design.set.clone();
    let top = bent.bands[0].ticks.len() / 2;
    bent.bands[0].ticks[top] = bent.bands[0].ticks[0].clone();
    assert!(!recheck(&bent, certificate).holds());
    let mut bent = certificate.clone();
    bent.tally.reach += 1;
    assert!(!recheck(&design.set, &bent).holds());
    let mut bent = certificate.clone();
    bent.ruled_out.iter_mut().for_each(|r| r.beyond_lstar = 0.0);
    assert!(!recheck(&design.set, &bent).holds());
}

fn unmet(request: &Request) -> Unmet {
    match designed(&project(), request) {
        Err(Error::Unmet(unmet)) => unmet,
        Err(other) => panic!("{other}"),
        Ok(design) => panic!("met: {:?}", design.bands),
    }
}

/// The number that stands before `after` in a proposal.
fn number_before(unmet: &Unmet, after: &str) -> Option<f64> {
    let proposal = |w: &String| w.split_once(after)?.0.rsplit(' ').next()?.parse().ok();
    unmet.would_do.iter().find_map(proposal)
}

/// Asks for too much, and then for what is said to do.
fn check_proposals(asked: Request) {
    let unmet = unmet(&asked);
    assert!(!unmet.binding.is_empty() && !unmet.would_do.is_empty());
    let met = |request: Request| designed(&project(), &request).is_ok();
    let levels = number_before(&unmet, " levels over").expect("fewer levels") as usize;
    assert!((2..asked.levels).contains(&levels), "{levels}");
    let fewer = |levels| Request {
        levels,
        ..asked.clone()
    };
    // One level less is forgiven: a proposal is told before the last proof.
    assert!(met(fewer(levels)) || met(fewer(levels - 1)), "{unmet}");
    if let Some(tolerance_steps) = number_before(&unmet, " step, over") {
        let laxer = Request {
            tolerance_steps,
            ..asked.clone()
        };
        assert!(met(laxer), "{unmet}");
    }
    if let Some(budget_s) = number_before(&unmet, " s: ") {
        // Told to a tenth.
        let longer = Request {
            budget_s: budget_s + 0.05,
            ..asked
        };
        assert!(met(longer), "{unmet}");
    }
}

#[test]
fn what_would_do_at_one_temperature_does() {
    check_proposals(Request {
        levels: 45,
        ..at_23()
    });
}

#[test]
fn a_budget_below_the_erase_is_refused_in_its_own_words() {
    let unmet = unmet(&Request {
        budget_s: 1.6,
        ..at_23()
    });
    // 0.15 + 0.2 s of other strokes, 1 s of rest, half of 1.1 s of clearing at 5 °C less what the liquid is faster by.
    let speed = |t: f64| known().response.kinetics.temperature.speed(t);
    let clearing_s = (0.5 * 110.0 * speed(5.0) / speed(23.0)).ceil() / 100.0;
    let shortest = format!("at least {:.2} s and one tick", 1.35 + clearing_s);
    assert!(unmet.binding.contains(&shortest), "{shortest}: {unmet}");
    assert!(!unmet.would_do.is_empty());
}

/// Band edges are rounded for people; that must not push an edge out of a narrow range.
#[test]
fn a_narrow_range_makes_a_set_that_reads_back() {
    for (min_c, max_c) in [(23.05, 23.05), (20.0, 20.02), (20.0, 20.5)] {
        let mut project = project();
        let limits = &mut project.panel.limits;
        (limits.temperature_min_c, limits.temperature_max_c) = (min_c, max_c);
        let made = design(&project, &known(), &request(), &|_| {}).expect("a design");
        let (first, last) = (
            &made.set.bands[0],
            &made.set.bands[made.set.bands.len() - 1],
        );
        assert_eq!(
            (first.temperature_c.low, last.temperature_c.high),
            (min_c, max_c)
        );
        let json = made.set.to_json();
        let read = Waveforms::parse(Path::new("set.json"), json.as_bytes()).expect("a set");
        assert_eq!(read.to_json(), json);
    }
}

/// Net impulse of a pixel by hand, V·s, tick by tick: strokes, its own slot, and the data of all other rows.
fn impulse_vs(band: &Band, column: &[Vec<u32>], row: usize) -> f64 {
    let mut sum: f64 = band
        .erase
        .strokes
        .iter()
        .map(|s| s.pixel_v * s.ms * 1e-3)
        .sum();
    for (f, field) in band.fields.iter().enumerate() {
        for (other, ticks) in column.iter().enumerate() {
            let select = if other == row { field.select_v } else { 0.0 };
            for tick in 0..field.slot_ticks {
                let data = field.data_v * field.select_v.signum();
                let data = if tick < ticks[f] { data } else { -data };
                sum += (select + data) * field.tick_s();
            }
        }
    }
    sum
}

/// The largest impulse of random and one-level columns, at the band's longest stretch.
fn largest_impulse_vs(band: &Band) -> f64 {
    let mut numbers = Numbers(77);
    let mut columns = contents(band, &mut numbers);
    columns.extend(band.ticks.iter().map(|t| vec![t.clone(); ROWS]));
    let longest = band.stretch.iter().map(|s| s.factor).fold(1.0, f64::max);
    let each = columns
        .iter()
        .map(|c| longest * impulse_vs(band, c, ROWS / 2).abs());
    each.fold(0.0, f64::max)
}

#[test]
fn a_limit_on_charge_is_kept_as_driven_or_by_the_resting_balance() {
    let free = COMMON.set.bands.iter().map(largest_impulse_vs);
    let limit_vs = 0.9 * free.fold(0.0, f64::max);
    let limited = |resting_balance| {
        let mut project = project();
        project.panel.limits.net_impulse_vs = limit_vs;
        project.panel.drivers.resting_balance = resting_balance;
        designed(&project, &request())
    };
    let driven = limited(false).expect("a design within the limit as driven");
    for band in &driven.set.bands {
        assert_eq!(band.resting_balance_v, None);
        let largest = largest_impulse_vs(band);
        assert!(largest <= limit_vs + ROUNDED, "{largest} above {limit_vs}");
        assert!((largest - band.figures.net_impulse_vs).abs() < 0.01 * limit_vs);
    }
    check_merit(&driven);
    let balanced = limited(true).expect("a design with the balance");
    let called = balanced
        .set
        .bands
        .iter()
        .filter(|b| b.resting_balance_v.is_some());
    assert!(called.count() > 0, "no band needs the balance");
    for band in &balanced.set.bands {
        assert!(band.figures.net_impulse_vs <= limit_vs);
        assert_eq!(
            band.resting_balance_v.is_some(),
            largest_impulse_vs(band) > limit_vs
        );
    }
    assert!(balanced.notes.iter().any(|n| n.contains("resting balance")));
    // The balance leaves more choices, so its ladder is no narrower.
    let span = |d: &Design| d.bands[0].span_lstar;
    assert!(
        span(&balanced) >= span(&driven) - 0.05,
        "{} {}",
        span(&balanced),
        span(&driven)
    );
}

/// Ladder and ticks chosen anew for schemes that stand, with nothing read that differs.
#[test]
fn chosen_anew_a_set_keeps_its_limits_and_is_no_less_even() {
    let project = project();
    let stand = |band| Standing {
        band,
        correction: None,
    };
    let standing: Vec<Standing> = COMMON.set.bands.iter().map(stand).collect();
    let again = redesign(
        &project.panel,
        &known(),
        &request(),
        &standing,
        false,
        &|_| (),
    );
    let again = again.expect("the schemes keep the tolerance");
    check_merit(&again);
    check_time(&again);
    for (now, before) in again.set.bands.iter().zip(&COMMON.set.bands) {
        assert_eq!((&now.erase, &now.fields), (&before.erase, &before.fields));
    }
    let worst = |d: &Design| d.bands.iter().map(|b| b.expected_steps).fold(0.0, f64::max);
    let span = |d: &Design| {
        d.bands
            .iter()
            .map(|b| b.span_lstar)
            .fold(f64::INFINITY, f64::min)
    };
    assert!(
        worst(&again) <= worst(&COMMON) + ROUNDED,
        "{} {}",
        worst(&again),
        worst(&COMMON)
    );
    // No more span is given up than a fair picture may cost.
    assert!(
        span(&again) >= 0.92 * span(&COMMON) - ROUNDED,
        "{} {}",
        span(&again),
        span(&COMMON)
    );
}
