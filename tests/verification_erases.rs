//! Erases that a design may use: those after which the first row is driven like the others, as long as the limit on ghosts asks.

use greyloom::design::climate::BandClimate;
use greyloom::design::erases::{left_lstar, passed_over, sized, usable};
use greyloom::design::proof::Finished;
use greyloom::design::reach::{Climate, Scheme};
use greyloom::drive::{Erase, Field};
use greyloom::project::{Panel, read_panel};
use greyloom::response::{Response, read_response};
use std::path::Path;

fn panel() -> Panel {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("calibration/harbour-tile/panel.toml");
    read_panel(&file).expect("the shipped panel")
}

fn names(panel: &Panel) -> Vec<String> {
    usable(panel).into_iter().map(|e| e.name).collect()
}

#[test]
fn an_erase_that_ends_strongly_is_passed_over_where_another_ends_gently() {
    let panel = panel();
    assert_eq!(names(&panel), ["primed"]);
    let words = passed_over(&panel).expect("a note");
    assert!(words.contains("`plain`"), "{words}");
}

#[test]
fn all_are_usable_where_none_ends_gently() {
    let mut panel = panel();
    panel.erases.retain(|e| e.name == "plain");
    assert_eq!(names(&panel), ["plain"]);
    assert_eq!(passed_over(&panel), None);
}

#[test]
fn all_are_usable_where_the_instrument_sees_the_first_row_alone() {
    let mut panel = panel();
    panel.pixel_pitch_um = 1e3 * panel.instrument.aperture_mm;
    assert_eq!(names(&panel), ["plain", "primed"]);
    assert_eq!(passed_over(&panel), None);
}

/// The response of the shipped set.
fn response(panel: &Panel) -> Response {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("waveforms/harbour-tile/response.json");
    read_response(&file, &panel.name).expect("the shipped response")
}

/// The length of the clearing stroke of the shortest erase for one temperature, ms.
fn shortest_ms(panel: &Panel, temperature_c: f64) -> f64 {
    let erases = sized(panel, &response(panel), &BandClimate::point(temperature_c));
    let clearing = erases
        .iter()
        .flat_map(|e| &e.strokes)
        .filter(|s| s.pixel_v < -10.0);
    clearing.map(|s| s.ms).fold(f64::INFINITY, f64::min)
}

#[test]
fn an_erase_is_longer_in_the_cold_and_longer_for_a_tighter_limit() {
    let mut panel = panel();
    let lengths = |panel: &Panel| [5.0, 15.0, 25.0, 40.0].map(|t| shortest_ms(panel, t));
    let loose = lengths(&panel);
    assert!(loose.windows(2).all(|w| w[1] < w[0]), "{loose:?}");
    panel.limits.ghost_lstar = 0.002;
    let tight = lengths(&panel);
    assert!(tight.windows(2).all(|w| w[1] < w[0]), "{tight:?}");
    assert!(
        loose.iter().zip(&tight).all(|(l, t)| l < t),
        "{loose:?}, {tight:?}"
    );
}

/// With limits that bind, no picture and no start makes a level show more of what stood before than the limit, and 10 ms less
/// would break the bound.
#[test]
fn what_stood_before_shows_by_no_more_than_the_limit() {
    let field = |select_v, data_v, slot_ticks| Field {
        select_v,
        data_v,
        tick_us: 1000,
        slot_ticks,
        guard_ticks: 4,
        mirrored: false,
    };
    for limit_lstar in [0.001, 0.003] {
        let mut panel = panel();
        panel.limits.ghost_lstar = limit_lstar;
        let response = response(&panel);
        for temperature_c in [5.0, 23.0, 40.0] {
            let climate = Climate {
                temperature_c,
                stretch: 1.0,
            };
            let erases = sized(&panel, &response, &BandClimate::point(temperature_c));
            let shortest = erases
                .iter()
                .min_by(|a, b| length_ms(a).total_cmp(&length_ms(b)));
            let erase = shortest.expect("an erase").clone();
            let mut shorter = erase.clone();
            shorter.strokes[1].ms -= 10.0;
            let bound = |erase: &Erase| left_lstar(erase, &response, &[climate]);
            let (kept, broken) = (bound(&erase), bound(&shorter));
            assert!(
                kept <= limit_lstar && broken > limit_lstar,
                "{temperature_c} °C: {kept}, {broken} of {limit_lstar}"
            );
            for fields in [
                vec![field(8.5, 2.75, 20)],
                vec![field(6.0, 1.5, 4), field(8.0, 2.5, 12)],
            ] {
                let scheme = Scheme {
                    erase: erase.clone(),
                    fields,
                };
                let ticks: Vec<Vec<u32>> =
                    (0..scheme.choices()).map(|c| scheme.ticks_of(c)).collect();
                let finished = Finished {
                    response: &response,
                    scheme: &scheme,
                    rows: 12,
                    settle_ms: 2.0,
                    ticks: (&ticks).into(),
                    correction: None,
                };
                let ghost_lstar = finished.extremes_over(&[climate]).ghost_lstar;
                assert!(
                    ghost_lstar > 0.0 && ghost_lstar <= limit_lstar,
                    "{ghost_lstar}"
                );
            }
        }
    }
}

fn length_ms(erase: &Erase) -> f64 {
    erase.strokes.iter().map(|s| s.ms).sum()
}

#[test]
fn the_panels_own_erases_come_first_and_stand_unless_the_limit_asks_for_more() {
    let mut panel = panel();
    let band = BandClimate::point(5.0);
    let response = response(&panel);
    assert_eq!(sized(&panel, &response, &band)[0], panel.erases[1]);
    panel.limits.ghost_lstar = 1e-6;
    let longer = sized(&panel, &response, &band)[0].clone();
    assert!(longer.strokes[1].ms > panel.erases[1].strokes[1].ms);
    let [first, last] = [0, 2].map(|i| longer.strokes[i] == panel.erases[1].strokes[i]);
    assert!(first && last, "only what clears is sized: {longer:?}");
}

#[test]
fn an_erase_without_a_clearing_stroke_stands_as_it_is() {
    let mut panel = panel();
    panel.erases.retain(|e| e.name == "primed");
    panel.erases[0].strokes.remove(1);
    let erases = sized(&panel, &response(&panel), &BandClimate::point(23.0));
    assert!(erases.iter().all(|e| *e == panel.erases[0]), "{erases:?}");
}
