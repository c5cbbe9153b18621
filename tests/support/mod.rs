//! A made-up set of waveforms for an invented harbour pier's departures tile.

use greyloom::drive::{Erase, Field, Stroke};
use greyloom::waveforms::{
    Band, FORMAT, Figures, Interval, PanelSize, Predicted, StretchAt, VERSION, Waveforms,
};

const LEVELS: usize = 32;

/// 32 levels, three bands from 5 to 40 °C, two fields each; the middle band has a ladder of its own.
pub fn harbour_tile() -> Waveforms {
    let targets = ladder(37.0, 85.0);
    let bands = vec![
        band(5.0, 14.0, 2.0, &targets, None),
        band(
            14.0,
            25.0,
            1.2,
            &ladder(36.2, 85.6),
            Some(ladder(36.2, 85.6)),
        ),
        band(25.0, 40.0, 0.7, &targets, None),
    ];
    Waveforms {
        format: FORMAT.into(),
        version: VERSION,
        panel: PanelSize {
            name: "harbour-tile".into(),
            rows: 80,
            columns: 120,
            field_settle_ms: 2.0,
        },
        levels: LEVELS,
        targets_lstar: targets,
        bands,
        certificate: None,
    }
}

fn ladder(dark: f64, light: f64) -> Vec<f64> {
    let step = (light - dark) / (LEVELS - 1) as f64;
    (0..LEVELS).map(|i| dark + step * i as f64).collect()
}

fn band(low: f64, high: f64, slow: f64, ladder: &[f64], own: Option<Vec<f64>>) -> Band {
    let design = ((low + high) / 2.0).round();
    let stretch = |(temperature_c, share): (f64, f64)| StretchAt {
        temperature_c,
        factor: 1.0 + share / 3.0,
    };
    Band {
        temperature_c: Interval { low, design, high },
        refresh_s: 9.4125 * slow.sqrt(),
        stretch: [(low, 0.31), (design, 0.0), (high, -0.43)]
            .map(stretch)
            .to_vec(),
        erase: erase(slow),
        fields: vec![field(9.0, 3.0, 70, 8), field(5.5, 2.25, 32, 8)],
        ticks: (0..LEVELS as u32)
            .map(|level| vec![70 - 2 * level, (level * 7) % 33])
            .collect(),
        zones: Vec::new(),
        resting_balance_v: (slow > 1.0).then_some(1.5),
        targets_lstar: own,
        predicted: predicted(ladder),
        figures: Figures {
            step_lstar: 1.5484,
            worst_error_lstar: 0.3716,
            worst_error_steps: 0.24,
            ghost_lstar: 0.31,
            net_impulse_vs: -11.25,
            energy_mj: 4.75,
        },
    }
}

fn erase(slow: f64) -> Erase {
    let stroke = |(pixel_v, ms): (f64, f64)| Stroke { pixel_v, ms };
    Erase {
        name: "primed".into(),
        strokes: [
            (18.0, 150.0 * slow),
            (-18.0, 1100.0 * slow),
            (-2.0, 200.1234),
        ]
        .map(stroke)
        .to_vec(),
        rest_ms: 1000.0 * slow,
    }
}

fn field(select_v: f64, data_v: f64, slot_ticks: u32, guard_ticks: u32) -> Field {
    Field {
        select_v,
        data_v,
        tick_us: 1000,
        slot_ticks,
        guard_ticks,
        mirrored: false,
    }
}

/// Middles that sway about the ladder, with a range that is wider in the dark.
fn predicted(ladder: &[f64]) -> Predicted {
    let middle = |(i, t): (usize, &f64)| t + 0.12 * (i as f64 * 1.7).sin();
    let lstar: Vec<f64> = ladder.iter().enumerate().map(middle).collect();
    let half = |i: usize| 0.05 + 0.18 / (1.0 + i as f64 / 6.0);
    let moved = |sign: f64| -> Vec<f64> {
        lstar
            .iter()
            .enumerate()
            .map(|(i, x)| x + sign * half(i))
            .collect()
    };
    Predicted {
        low_lstar: moved(-1.0),
        high_lstar: moved(1.0),
        expanded_u_lstar: (0..LEVELS).map(|i| 0.11 + 0.002 * i as f64).collect(),
        lstar,
    }
}
