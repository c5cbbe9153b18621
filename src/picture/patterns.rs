//! Patterns that show faults: uneven steps, ragged edges, crosstalk, thin strokes lost.

use super::LevelPicture;
use ab_glyph::{Font, FontRef, PxScale, ScaleFont, point};

/// A built-in picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pattern {
    /// All levels side by side, darkest first.
    Ramp,
    /// Dark and light bars, ever narrower: lying ones above, standing ones below.
    Bars,
    /// Squares of one, two, four and eight pixels, a quarter of the panel each.
    Checker,
    /// A dark and a light window on the middle level.
    Window,
    /// Lines of a departures board, dark on light.
    Text,
}

/// An invented pier's departures.
const LINES: [&str; 4] = [
    "PIER 4",
    "10:42 Lomvi Isle",
    "11:05 Skerry Light",
    "11:30 Outer Bar",
];
/// Ink covers more than this share of a pixel that is drawn.
const INKED: f32 = 0.5;

impl Pattern {
    /// The pattern on `rows` × `columns` pixels of `levels` levels, 2 or more.
    pub fn drawn(self, rows: usize, columns: usize, levels: usize) -> LevelPicture {
        let lightest = levels.saturating_sub(1);
        let mut picture = LevelPicture {
            rows,
            columns,
            levels: vec![lightest as u16; rows * columns],
        };
        if self == Pattern::Text {
            text(&mut picture);
            return picture;
        }
        for row in 0..rows {
            for column in 0..columns {
                let level = match self {
                    Pattern::Ramp => column * levels / columns,
                    Pattern::Bars if 2 * row < rows => bars(row, rows.div_ceil(2), lightest),
                    Pattern::Bars => bars(column, columns, lightest),
                    Pattern::Checker => {
                        let size = 1 << (2 * (2 * row / rows) + 2 * column / columns);
                        lightest * ((row / size + column / size) % 2)
                    }
                    _ => window((row, rows), (column, columns), lightest),
                };
                picture.levels[row * columns + column] = level as u16;
            }
        }
        picture
    }
}

/// Of bars 8, 4, 2 and 1 pixels wide, a quarter of the length each.
fn bars(at: usize, length: usize, lightest: usize) -> usize {
    let width = 8 >> (4 * at / length.max(1)).min(3);
    lightest * (at / width % 2)
}

fn window(
    (row, rows): (usize, usize),
    (column, columns): (usize, usize),
    lightest: usize,
) -> usize {
    let within = |at: usize, length: usize, from: usize, to: usize| {
        let place = 12 * at / length;
        (from..to).contains(&place)
    };
    match () {
        () if !within(row, rows, 4, 8) => lightest / 2,
        () if within(column, columns, 2, 5) => 0,
        () if within(column, columns, 7, 10) => lightest,
        () => lightest / 2,
    }
}

fn text(picture: &mut LevelPicture) {
    let Ok(font) = FontRef::try_from_slice(dejavu::sans_condensed::bold()) else {
        return;
    };
    let height = picture.rows as f32 / LINES.len() as f32;
    let widest = |size: f32| {
        let scaled = font.as_scaled(PxScale::from(size));
        let advance = |line: &&str| -> f32 {
            line.chars()
                .map(|c| scaled.h_advance(font.glyph_id(c)))
                .sum()
        };
        LINES.iter().map(advance).fold(0.0, f32::max)
    };
    // Both the height of a line and the width of the panel bound the size.
    let size = height.min(height * 0.96 * picture.columns as f32 / widest(height).max(1e-3));
    let scaled = font.as_scaled(PxScale::from(size));
    for (k, line) in LINES.iter().enumerate() {
        let mut x = 0.02 * picture.columns as f32;
        let baseline = (k as f32 + 0.5) * height + 0.35 * size;
        for c in line.chars() {
            let id = font.glyph_id(c);
            let glyph = id.with_scale_and_position(PxScale::from(size), point(x, baseline));
            x += scaled.h_advance(id);
            let Some(outline) = font.outline_glyph(glyph) else {
                continue;
            };
            let min = outline.px_bounds().min;
            outline.draw(|gx, gy, ink| {
                let (px, py) = (min.x as i64 + i64::from(gx), min.y as i64 + i64::from(gy));
                let inside = (0..picture.columns as i64).contains(&px)
                    && (0..picture.rows as i64).contains(&py);
                if inside && ink > INKED {
                    picture.levels[py as usize * picture.columns + px as usize] = 0;
                }
            });
        }
    }
}
