//! What a scheme reaches against slot-by-slot stepping, against every content, and against the proof's own way.

mod primed;
mod slow_fields;
mod small_panel;

use greyloom::design::Content;
use greyloom::design::climate::BandClimate;
use greyloom::design::proof::{Extremes, Finished};
use greyloom::design::reach::{Climate, Reach, Scheme, Scope, lstars_of};
use greyloom::drive::Field;
use greyloom::pigment::{Mover, State, step_pieces};
use greyloom::response::Rung;
use greyloom::response::{Response, coverage_of};
use primed::erase;
use slow_fields::plain as field;
use small_panel::{Numbers, RUNG, SlotTable, response};

const ROWS: usize = 5;
const SETTLE_MS: f64 = 2.0;
/// Coverage: rounding of some hundred compositions.
const ROUNDING: f64 = 1e-12;
/// L*: the same, through the curve.
const ROUNDING_LSTAR: f64 = 1e-9;

fn scheme(erase_ms: f64, fields: &[Field]) -> Scheme {
    Scheme {
        erase: erase(erase_ms),
        fields: fields.to_vec(),
    }
}

const LONG_MS: f64 = 1100.0;
/// Leaves nothing of what stood before, to rounding.
const FORGETTING_MS: f64 = 30_000.0;
/// Leaves some of what stood before.
const SHORT_MS: f64 = 150.0;

fn climate((temperature_c, stretch): (f64, f64)) -> Climate {
    Climate {
        temperature_c,
        stretch,
    }
}

fn climates() -> Vec<Climate> {
    [(5.0, 1.37), (14.0, 1.1), (23.0, 1.0), (40.0, 0.62)]
        .map(climate)
        .to_vec()
}

/// One, two and three fields, with and without guard ticks, strong and weak, S below D.
fn darkening() -> Vec<Scheme> {
    let (strong, weak) = (field(9.0, 3.0, 12, 0), field(5.5, 2.25, 4, 2));
    vec![
        scheme(LONG_MS, &[strong]),
        scheme(SHORT_MS, &[field(9.0, 4.0, 9, 3)]),
        scheme(LONG_MS, &[strong, weak]),
        scheme(FORGETTING_MS, &[weak, strong]),
        scheme(
            LONG_MS,
            &[field(8.0, 2.0, 3, 1), field(4.0, 6.0, 2, 0), weak],
        ),
    ]
}

fn lightening() -> Vec<Scheme> {
    let (strong, back) = (field(9.0, 3.0, 6, 1), field(-7.0, 2.5, 3, 0));
    vec![
        scheme(SHORT_MS, &[back]),
        scheme(LONG_MS, &[strong, back]),
        scheme(LONG_MS, &[back, strong, field(-4.0, 5.0, 2, 1)]),
    ]
}

/// What a pixel's column shows: `content[row]` is the ticks of a row, one a field.
struct Refresh<'a> {
    response: &'a Response,
    scheme: &'a Scheme,
    settle_ms: f64,
    climate: Climate,
    content: &'a [Vec<u32>],
    row: usize,
}

impl Refresh<'_> {
    /// Coverage at the end from `start` before the erase, every slot and piece one after another.
    fn coverage(&self, start: State) -> f64 {
        let Climate {
            temperature_c,
            stretch,
        } = self.climate;
        let movers = self.response.movers(temperature_c, stretch);
        let seen = |m: &Mover| m.class.share * coverage_of(&self.end(m, start));
        movers.iter().map(seen).sum()
    }

    fn end(&self, mover: &Mover, mut x: State) -> State {
        let erase = &self.scheme.erase;
        for stroke in &erase.strokes {
            x = mover.hold(stroke.pixel_v, stroke.ms * 1e-3).apply(&x);
        }
        for (f, field) in self.scheme.fields.iter().enumerate() {
            for (row, ticks) in self.content.iter().enumerate() {
                let pieces = if row == self.row {
                    field.own_slot(ticks[f])
                } else {
                    field.other_slot(ticks[f])
                };
                x = step_pieces(mover, field.tick_s(), &pieces, x);
            }
            x = mover.hold(0.0, self.settle_ms * 1e-3).apply(&x);
        }
        mover.hold(0.0, erase.rest_ms * 1e-3).apply(&x)
    }
}

fn reach(response: &Response, scheme: &Scheme, climates: Vec<Climate>, rows: Vec<usize>) -> Reach {
    let scope = Scope {
        response,
        panel_rows: ROWS,
        settle_ms: SETTLE_MS,
        climates,
        rows,
    };
    Reach::new(&scope, scheme)
}

fn choices(scheme: &Scheme) -> usize {
    scheme
        .fields
        .iter()
        .map(|f| f.slot_ticks as usize + 1)
        .product()
}

/// Ticks of the others at which they feel the lowest or the highest voltage all slot long.
fn extreme_ticks(field: &Field, high: bool) -> u32 {
    if (field.select_v > 0.0) == high {
        field.slot_ticks
    } else {
        0
    }
}

fn extreme_content(scheme: &Scheme, own: &[u32], row: usize, high: bool) -> Vec<Vec<u32>> {
    let ticks = |f: &Field| extreme_ticks(f, high);
    let mut content = vec![scheme.fields.iter().map(ticks).collect::<Vec<u32>>(); ROWS];
    content[row] = own.to_vec();
    content
}

fn stepped(
    response: &Response,
    scheme: &Scheme,
    climate: Climate,
    row: usize,
    content: &[Vec<u32>],
    start: State,
) -> f64 {
    Refresh {
        response,
        scheme,
        settle_ms: SETTLE_MS,
        climate,
        content,
        row,
    }
    .coverage(start)
}

/// Lowest coverage of a choice after a clear panel and highest after a dark one, stepped.
fn stepped_extremes(
    response: &Response,
    scheme: &Scheme,
    climates: &[Climate],
    rows: &[usize],
    own: &[u32],
) -> (f64, f64) {
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    for &climate in climates {
        for &row in rows {
            let at = |up, start| {
                let content = extreme_content(scheme, own, row, up);
                stepped(response, scheme, climate, row, &content, start)
            };
            let kinetics = &response.kinetics;
            low = low.min(at(false, kinetics.lowest()));
            high = high.max(at(true, kinetics.highest()));
        }
    }
    (low, high)
}

fn check_against_stepping(response: &Response, scheme: &Scheme, rows: &[usize]) {
    let got = reach(response, scheme, climates(), rows.to_vec());
    assert_eq!(
        (got.low.len(), got.high.len()),
        (choices(scheme), choices(scheme))
    );
    for choice in 0..choices(scheme) {
        let own = scheme.ticks_of(choice);
        let (low, high) = stepped_extremes(response, scheme, &climates(), rows, &own);
        let (l, h) = (got.low[choice], got.high[choice]);
        let both = (l - low).abs() <= ROUNDING && (h - high).abs() <= ROUNDING;
        assert!(
            both,
            "{}, {own:?}: {l}…{h} for {low}…{high}",
            scheme.in_words()
        );
    }
}

#[test]
fn choices_are_numbered_with_the_last_field_fastest() {
    for scheme in darkening() {
        let sizes: Vec<usize> = scheme
            .fields
            .iter()
            .map(|f| f.slot_ticks as usize + 1)
            .collect();
        for choice in 0..choices(&scheme) {
            let ticks = scheme.ticks_of(choice);
            let back = ticks
                .iter()
                .zip(&sizes)
                .fold(0, |n, (t, size)| n * size + *t as usize);
            assert_eq!(back, choice, "{ticks:?}");
            assert!(
                ticks
                    .iter()
                    .zip(&sizes)
                    .all(|(t, size)| (*t as usize) < *size)
            );
        }
    }
}

#[test]
fn reach_is_slot_by_slot_stepping() {
    let response = response(RUNG, 3);
    for scheme in darkening() {
        check_against_stepping(&response, &scheme, &[0, 1, 2, 3, 4]);
        check_against_stepping(&response, &scheme, &[3]);
    }
}

#[test]
fn reach_is_slot_by_slot_stepping_where_a_field_lightens() {
    let response = response(RUNG, 3);
    for scheme in lightening() {
        check_against_stepping(&response, &scheme, &[0, 1, 2, 3, 4]);
    }
}

/// Lowest and highest coverage of every choice over every combination of ticks of the four others, all rows, one
/// climate, dark or clear before; and the largest difference that dark or clear before the erase makes, L*.
struct BruteForce {
    low: Vec<f64>,
    high: Vec<f64>,
    ghost_lstar: f64,
}

fn brute_force(response: &Response, scheme: &Scheme, climate: Climate) -> BruteForce {
    let movers = response.movers(climate.temperature_c, climate.stretch);
    let tables: Vec<SlotTable> = movers
        .iter()
        .map(|m| SlotTable::new(m, scheme, SETTLE_MS))
        .collect();
    let starts = [response.kinetics.highest(), response.kinetics.lowest()];
    let n = choices(scheme);
    let mut all = BruteForce {
        low: vec![f64::INFINITY; n],
        high: vec![f64::NEG_INFINITY; n],
        ghost_lstar: 0.0,
    };
    for others in 0..n.pow(ROWS as u32 - 1) {
        for row in 0..ROWS {
            let mut content: Vec<Vec<u32>> = (0..ROWS as u32 - 1)
                .map(|k| scheme.ticks_of(others / n.pow(k) % n))
                .collect();
            content.insert(row, Vec::new());
            for choice in 0..n {
                content[row] = scheme.ticks_of(choice);
                let [dark, clear] = starts.map(|s| {
                    tables
                        .iter()
                        .map(|t| t.coverage(s, row, &content))
                        .sum::<f64>()
                });
                all.low[choice] = all.low[choice].min(dark).min(clear);
                all.high[choice] = all.high[choice].max(dark).max(clear);
                let ghost = response.curve.lstar(clear) - response.curve.lstar(dark);
                all.ghost_lstar = all.ghost_lstar.max(ghost);
            }
        }
    }
    all
}

fn check_against_every_content(response: &Response, scheme: &Scheme) {
    let at = climate((14.0, 1.1));
    let got = reach(response, scheme, vec![at], (0..ROWS).collect());
    let all = brute_force(response, scheme, at);
    for choice in 0..choices(scheme) {
        let (low, high) = (all.low[choice], all.high[choice]);
        let exact = (got.low[choice] - low).abs() <= ROUNDING
            && (got.high[choice] - high).abs() <= ROUNDING;
        assert!(
            exact,
            "{}, {:?}: {low}…{high}",
            scheme.in_words(),
            scheme.ticks_of(choice)
        );
    }
    // Contents matter, so that the extremes are more than one number.
    let widest = (0..choices(scheme))
        .map(|i| all.high[i] - all.low[i])
        .fold(0.0, f64::max);
    assert!(widest > 1e-3, "{widest}");
}

#[test]
fn no_content_of_a_small_column_goes_beyond_its_reach() {
    let crossing = Rung {
        store: false,
        window: false,
        ..RUNG
    };
    let rungs = [
        (response(RUNG, 2), vec![field(9.0, 3.0, 5, 1)]),
        (
            response(RUNG, 2),
            vec![field(8.0, 2.5, 2, 0), field(5.5, 2.25, 1, 1)],
        ),
        (response(crossing, 2), vec![field(9.0, 4.0, 4, 0)]),
    ];
    for (response, fields) in rungs {
        check_against_every_content(&response, &scheme(LONG_MS, &fields));
    }
}

#[test]
fn no_content_of_a_small_column_goes_beyond_its_reach_where_a_field_lightens() {
    let fields = [field(9.0, 3.0, 2, 1), field(-7.0, 2.5, 1, 0)];
    check_against_every_content(&response(RUNG, 2), &scheme(LONG_MS, &fields));
}

/// The lightness that stands for the whole scheme while a stretch is fitted.
#[test]
fn the_last_row_s_lightness_is_stepped_lightness() {
    let response = response(RUNG, 3);
    for scheme in darkening().iter().chain(&lightening()) {
        for climate in climates() {
            let ticks = |f: &Field| f.slot_ticks.div_ceil(2);
            let own: Vec<u32> = scheme.fields.iter().map(ticks).collect();
            let both = lstars_of(&response, scheme, ROWS, SETTLE_MS, climate, ticks);
            for (on, got) in [false, true].into_iter().zip(both) {
                let all = |f: &Field| if on { f.slot_ticks } else { 0 };
                let mut content = vec![scheme.fields.iter().map(all).collect::<Vec<u32>>(); ROWS];
                content[ROWS - 1] = own.clone();
                let dark = response.kinetics.highest();
                let covered = stepped(&response, scheme, climate, ROWS - 1, &content, dark);
                let wanted = response.curve.lstar(covered);
                assert!((got - wanted).abs() <= ROUNDING_LSTAR, "{got} for {wanted}");
            }
        }
    }
}

/// A band with a stretch table as a design makes them.
fn band() -> (BandClimate, Vec<Climate>) {
    let band = BandClimate {
        low_c: 12.0,
        design_c: 18.0,
        factor: 1.0,
        high_c: 25.0,
        rounding: 0.005,
    };
    (
        band,
        [(12.0, 1.09), (18.0, 1.0), (25.0, 0.91)]
            .map(climate)
            .to_vec(),
    )
}

/// Parts of the band at whose ends a proof looks, as the proof has them.
const PROOF_PARTS: usize = 8;

/// All choices as levels of a finished scheme, and its extremes over the band.
fn extremes_of(response: &Response, scheme: &Scheme) -> (Vec<Vec<u32>>, Extremes) {
    let ticks: Vec<Vec<u32>> = (0..choices(scheme)).map(|i| scheme.ticks_of(i)).collect();
    let (band, stretch) = band();
    let finished = Finished {
        response,
        scheme,
        rows: ROWS,
        settle_ms: SETTLE_MS,
        ticks: (&ticks).into(),
        correction: None,
    };
    let extremes = finished.extremes(&band, &stretch);
    (ticks, extremes)
}

#[test]
fn the_proof_and_the_reach_say_the_same() {
    let response = response(RUNG, 3);
    let (band, stretch) = band();
    let climates = band.proof(&stretch, PROOF_PARTS);
    assert_eq!(climates.len(), 2 * (PROOF_PARTS + 1));
    for scheme in darkening().into_iter().chain(lightening()) {
        let (ticks, extremes) = extremes_of(&response, &scheme);
        let got = reach(&response, &scheme, climates.clone(), (0..ROWS).collect());
        let lstar = |coverage: f64| response.curve.lstar(coverage);
        for (level, ticks) in ticks.iter().enumerate() {
            // The darkest stand is reached from the dark panel; the lightest may come from the clear one.
            let low = extremes.lowest[level].lstar - lstar(got.high[level]);
            let high = extremes.highest[level].lstar - lstar(got.low[level]);
            assert!(low.abs() <= ROUNDING_LSTAR, "{ticks:?}: {low}");
            let ghost = extremes.ghost_lstar;
            assert!(
                (-ROUNDING_LSTAR..=ghost + ROUNDING_LSTAR).contains(&high),
                "{ticks:?}: {high}"
            );
        }
        if scheme.erase.strokes[1].ms == FORGETTING_MS {
            assert!(extremes.ghost_lstar <= ROUNDING_LSTAR, "both are exact");
        }
    }
}

#[test]
fn a_place_of_the_proof_shows_what_it_says() {
    let response = response(RUNG, 3);
    let (band, stretch) = band();
    let starts = [response.kinetics.highest(), response.kinetics.lowest()];
    for scheme in darkening().into_iter().chain(lightening()) {
        let (ticks, extremes) = extremes_of(&response, &scheme);
        let places = extremes.lowest.iter().zip(&extremes.highest).zip(&ticks);
        for (place, own) in places.flat_map(|((low, high), own)| [(low, own), (high, own)]) {
            let content = extreme_content(&scheme, own, place.row, place.content == Content::AllOn);
            let climates = band.proof(&stretch, PROOF_PARTS);
            let here = climates
                .into_iter()
                .filter(|c| c.temperature_c == place.temperature_c);
            let shown = here.flat_map(|climate| {
                let refresh = Refresh {
                    response: &response,
                    scheme: &scheme,
                    settle_ms: SETTLE_MS,
                    climate,
                    content: &content,
                    row: place.row,
                };
                starts.map(|s| response.curve.lstar(refresh.coverage(s)))
            });
            let off = shown
                .map(|l| (l - place.lstar).abs())
                .fold(f64::INFINITY, f64::min);
            assert!(off <= ROUNDING_LSTAR, "{place:?}: {off}");
        }
    }
}

#[test]
fn the_worst_error_is_the_farthest_extreme() {
    let response = response(RUNG, 3);
    let (ticks, extremes) = extremes_of(&response, &darkening()[1]);
    let targets: Vec<f64> = (0..ticks.len()).map(|i| 80.0 - 3.1 * i as f64).collect();
    let worst = extremes.worst(&targets).expect("levels");
    let both = extremes
        .lowest
        .iter()
        .chain(&extremes.highest)
        .zip(targets.iter().cycle());
    let farthest = both.map(|(p, t)| (p.lstar - t).abs()).fold(0.0, f64::max);
    assert_eq!((worst.lstar - worst.target_lstar).abs(), farthest);
    assert_eq!(worst.target_lstar, targets[worst.level]);
}

/// Any history, content, row and temperature of the band stays within the extremes.
#[test]
fn what_stood_before_stays_within_the_extremes() {
    let response = response(RUNG, 3);
    let (band, stretch) = band();
    let climates = band.proof(&stretch, PROOF_PARTS);
    let mut numbers = Numbers(5);
    for scheme in [
        scheme(SHORT_MS, &[field(9.0, 4.0, 9, 3)]),
        darkening()[2].clone(),
    ] {
        let (ticks, extremes) = extremes_of(&response, &scheme);
        for _ in 0..1500 {
            let (row, level) = (numbers.below(ROWS), numbers.below(ticks.len()));
            let mut content: Vec<Vec<u32>> = (0..ROWS)
                .map(|_| ticks[numbers.below(ticks.len())].clone())
                .collect();
            content[row] = ticks[level].clone();
            let mut start = [numbers.share(), numbers.share(), numbers.share()];
            start.sort_by(|a, b| b.total_cmp(a));
            let refresh = Refresh {
                response: &response,
                scheme: &scheme,
                settle_ms: SETTLE_MS,
                climate: climates[numbers.below(climates.len())],
                content: &content,
                row,
            };
            let [dark, shown, clear] = [
                response.kinetics.highest(),
                start,
                response.kinetics.lowest(),
            ]
            .map(|s| response.curve.lstar(refresh.coverage(s)));
            assert!(dark - ROUNDING_LSTAR <= shown && shown <= clear + ROUNDING_LSTAR);
            let (low, high) = (extremes.lowest[level].lstar, extremes.highest[level].lstar);
            assert!(
                low - ROUNDING_LSTAR <= dark && clear <= high + ROUNDING_LSTAR,
                "{dark}…{clear}: {low}…{high}"
            );
        }
    }
}

#[test]
fn the_ghost_is_the_largest_over_every_content() {
    let response = response(RUNG, 2);
    let at = climate((14.0, 1.0));
    for fields in [
        vec![field(9.0, 3.0, 5, 1)],
        vec![field(8.0, 2.5, 2, 0), field(5.5, 2.25, 1, 1)],
    ] {
        let scheme = scheme(SHORT_MS, &fields);
        let ticks: Vec<Vec<u32>> = (0..choices(&scheme)).map(|i| scheme.ticks_of(i)).collect();
        let finished = Finished {
            response: &response,
            scheme: &scheme,
            rows: ROWS,
            settle_ms: SETTLE_MS,
            ticks: (&ticks).into(),
            correction: None,
        };
        let band = BandClimate::point(at.temperature_c);
        let said = finished.extremes(&band, &[at]).ghost_lstar;
        let all = brute_force(&response, &scheme, at).ghost_lstar;
        assert!((said - all).abs() <= ROUNDING_LSTAR, "{said} for {all}");
        assert!(said > 0.1, "nothing left to see: {said}");
    }
}
