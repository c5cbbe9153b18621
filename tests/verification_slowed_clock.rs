//! Durations played longer, so that a step of the clock is a smaller part of them: what is shown stays what it was, and a
//! coarse clock serves levels that it otherwise could not.

mod twelve_rows;

use greyloom::design::climate::BandClimate;
use greyloom::design::erases::sized;
use greyloom::design::pins::Pins;
use greyloom::design::reach::{Climate, Reach, Scheme, Scope};
use greyloom::design::{LadderShare, Request, design};
use greyloom::drive::{Erase, Field, Stroke};
use greyloom::project::{Project, StretchRange};
use twelve_rows::known;

fn stretch(max: f64, step: f64) -> Option<StretchRange> {
    Some(StretchRange {
        min: 0.5,
        max,
        step,
    })
}

fn project(max: f64, step: f64) -> Project {
    let mut project = twelve_rows::project();
    project.panel.drivers.stretch = stretch(max, step);
    project.panel.limits.temperature_min_c = 15.0;
    project.panel.limits.temperature_max_c = 30.0;
    project
}

fn bands(project: &Project, count: usize) -> Vec<BandClimate> {
    let law = known().response.kinetics.temperature;
    BandClimate::split(15.0, 30.0, count, law, &project.panel.drivers)
}

fn slowed(project: &Project, band: BandClimate) -> Option<BandClimate> {
    band.slowed(
        known().response.kinetics.temperature,
        &project.panel.drivers,
    )
}

#[test]
fn a_factor_is_one_of_the_clocks_and_leaves_the_cold_end_its_stretch() {
    let project = project(2.0, 0.07);
    let law = known().response.kinetics.temperature;
    for count in [1, 2, 4, 12] {
        for band in bands(&project, count) {
            let slowed = slowed(&project, band).expect("room");
            let steps = (slowed.factor - 1.0) / 0.07;
            assert!((steps - steps.round()).abs() < 1e-9, "{slowed:?}");
            let cold = slowed.factor * law.speed(band.design_c) / law.speed(band.low_c);
            assert!(slowed.factor > 1.0 && cold <= 2.0, "{slowed:?}: {cold}");
            // One step more would leave the cold end less than thresholds may take, 2 %.
            assert!((slowed.factor + 0.07) / slowed.factor * cold * 1.02 > 2.0);
            assert_eq!((slowed.low_c, slowed.high_c), (band.low_c, band.high_c));
        }
    }
}

#[test]
fn a_clock_without_room_or_stretch_leaves_durations_as_they_are() {
    let narrow = project(1.15, 0.01);
    assert_eq!(slowed(&narrow, bands(&narrow, 4)[0]), None);
    let mut fixed = project(2.0, 0.01);
    fixed.panel.drivers.stretch = None;
    assert_eq!(slowed(&fixed, bands(&fixed, 4)[0]), None);
    let any = project(2.0, 0.01);
    assert_eq!(slowed(&any, BandClimate::point(20.0)), None);
}

/// Coverages agree to this: the same durations, as products of other factors.
const ROUNDING: f64 = 1e-12;

#[test]
fn half_as_long_durations_played_twice_as_long_show_the_same() {
    let fit = known();
    let scheme = |parts: u32| Scheme {
        erase: Erase {
            name: "primed".into(),
            strokes: twelve_rows::project().panel.erases[0]
                .strokes
                .iter()
                .map(|s| Stroke {
                    ms: s.ms / f64::from(parts),
                    ..*s
                })
                .collect(),
            rest_ms: 1000.0 / f64::from(parts),
        },
        fields: [(8.0, 2.5, 10, 4), (6.0, 2.0, 5, 1)]
            .map(|(select_v, data_v, slot_ticks, guard_ticks)| Field {
                select_v,
                data_v,
                tick_us: 1000 / parts,
                slot_ticks,
                guard_ticks,
                mirrored: false,
            })
            .to_vec(),
    };
    let reach = |band: BandClimate, parts: u32| {
        let at = |temperature_c: f64, by: f64| Climate {
            temperature_c,
            stretch: band.factor * by,
        };
        let scope = Scope {
            response: &fit.response,
            panel_rows: 12,
            settle_ms: 0.0,
            climates: band.corners(&[at(15.0, 1.1), at(21.0, 0.9)]),
            rows: (0..12).collect(),
        };
        Reach::new(&scope, &scheme(parts))
    };
    let plain = BandClimate {
        low_c: 15.0,
        design_c: 18.0,
        high_c: 21.0,
        factor: 1.0,
        rounding: 0.02,
    };
    // The clock's step stays, so that it is half as much of what is played.
    let coarse = BandClimate {
        factor: 2.0,
        rounding: 0.04,
        ..plain
    };
    let fine = BandClimate {
        factor: 2.0,
        ..plain
    };
    let (as_it_stands, twice) = (reach(plain, 1), reach(coarse, 2));
    let each = as_it_stands.low.iter().zip(&twice.low);
    for (a, b) in each.chain(as_it_stands.high.iter().zip(&twice.high)) {
        assert!((a - b).abs() <= ROUNDING, "{a} {b}");
    }
    let finer = reach(fine, 2);
    let wide = |r: &Reach| -> f64 { r.high.iter().zip(&r.low).map(|(h, l)| h - l).sum() };
    assert!(wide(&finer) < 0.99 * wide(&as_it_stands));
}

#[test]
fn erases_last_as_long_as_without_or_a_little_longer() {
    const LENGTH_MS: f64 = 10.0;
    let project = project(2.0, 0.05);
    let fit = known();
    for band in bands(&project, 4) {
        let slowed = slowed(&project, band).expect("room");
        let of = |band: &BandClimate| sized(&project.panel, &fit.response, band);
        let (plain, slow) = (of(&band), of(&slowed));
        assert_eq!(plain.len(), slow.len());
        for (plain, slow) in plain.iter().zip(&slow) {
            let ms = |e: &Erase| -> Vec<f64> {
                let strokes = e.strokes.iter().map(|s| s.ms);
                strokes.chain([e.rest_ms]).collect()
            };
            for (plain, slow) in ms(plain).into_iter().zip(ms(slow)) {
                let played = slowed.factor * slow;
                let off = (played - plain) / slowed.factor;
                assert!(off.abs() <= 2.0 * LENGTH_MS, "{plain} {played}");
            }
            assert!(slowed.factor * slow.rest_ms >= plain.rest_ms - 1e-9);
        }
    }
}

#[test]
fn a_coarse_clock_serves_what_it_could_not_with_durations_as_they_are() {
    const STEP: f64 = 0.05;
    let request = Request {
        levels: 20,
        budget_s: 4.4,
        tolerance_steps: 0.25,
        share: LadderShare::Common,
        temperature_c: None,
        pins: Pins::NONE,
        contrast: None,
    };
    let project = project(2.0, STEP);
    let found = design(&project, &known(), &request, &|_| ()).expect("a design");
    let as_they_are = found.bands_tried.iter().filter(|t| t.factor == 1.0);
    let spans: Vec<Option<f64>> = as_they_are.map(|t| t.span_lstar).collect();
    assert!(
        spans.len() > 1 && spans.iter().all(Option::is_none),
        "{spans:?}"
    );
    for band in &found.set.bands {
        let factor = band.stretch_factor(band.temperature_c.design);
        assert!(factor > 1.2, "{factor}");
        // The file's factors are the clock's, from the cold end to the warm one.
        assert!(band.stretch.iter().all(|s| (0.5..=2.0).contains(&s.factor)));
        assert!(band.figures.worst_error_steps <= request.tolerance_steps);
        assert!(band.refresh_s <= request.budget_s);
    }
}
