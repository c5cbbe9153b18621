//! The shipped panel's primed erase with clearing strokes of any length.

use greyloom::drive::{Erase, Stroke};

pub fn erase(ms: f64) -> Erase {
    let stroke = |(pixel_v, ms)| Stroke { pixel_v, ms };
    Erase {
        name: "primed".into(),
        strokes: [(18.0, 150.0), (-18.0, ms), (-2.0, 200.0)]
            .map(stroke)
            .to_vec(),
        rest_ms: 1000.0,
    }
}
