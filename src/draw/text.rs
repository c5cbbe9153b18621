//! Lines of text from the font that the program carries (DejaVu Sans Condensed).

use ab_glyph::{Font, FontRef, Glyph, GlyphId, PxScale, ScaleFont, point};
use std::sync::LazyLock;

/// Heights above and below the baseline, in em, that a line is given.
pub(super) const ASCENT_EM: f64 = 0.76;
pub(super) const DESCENT_EM: f64 = 0.24;
/// Height of capitals and digits, in em: what the eye centres on.
pub(super) const CAPITAL_EM: f64 = 0.729;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Face {
    Regular,
    Bold,
}

static REGULAR: LazyLock<Option<FontRef<'static>>> =
    LazyLock::new(|| FontRef::try_from_slice(dejavu::sans_condensed::regular()).ok());
static BOLD: LazyLock<Option<FontRef<'static>>> =
    LazyLock::new(|| FontRef::try_from_slice(dejavu::sans_condensed::bold()).ok());

impl Face {
    fn font(self) -> Option<&'static FontRef<'static>> {
        match self {
            Face::Regular => REGULAR.as_ref(),
            Face::Bold => BOLD.as_ref(),
        }
    }
}

/// A line with every glyph at its place, in pixels, the baseline starting at (0, 0).
pub(super) struct Line {
    face: Face,
    glyphs: Vec<Glyph>,
    pub width: f64,
}

impl Line {
    /// Sets `text` at `size` pixels to the em, with the font's side bearings and kerning.
    pub fn set(text: &str, face: Face, size: f64) -> Line {
        let mut line = Line {
            face,
            glyphs: Vec::new(),
            width: 0.0,
        };
        let Some(font) = face.font() else {
            return line;
        };
        let em = font.height_unscaled() / font.units_per_em().unwrap_or(2048.0);
        let scale = PxScale::from(size as f32 * em);
        let scaled = font.as_scaled(scale);
        let mut x = 0.0;
        let mut before: Option<GlyphId> = None;
        for c in text.chars() {
            let id = font.glyph_id(c);
            x += before.map_or(0.0, |b| scaled.kern(b, id));
            line.glyphs
                .push(id.with_scale_and_position(scale, point(x, 0.0)));
            x += scaled.h_advance(id);
            before = Some(id);
        }
        line.width = f64::from(x);
        line
    }

    /// Calls `dot(x, y, coverage)` for every pixel of the line, its origin moved to `(x, y)`.
    ///
    /// The move is made before glyphs become pixels, so fractions of a pixel are kept.
    pub fn paint(&self, (x, y): (f64, f64), mut dot: impl FnMut(i32, i32, f64)) {
        let Some(font) = self.face.font() else {
            return;
        };
        for glyph in &self.glyphs {
            let mut glyph = glyph.clone();
            glyph.position.x += x as f32;
            glyph.position.y += y as f32;
            if let Some(outline) = font.outline_glyph(glyph) {
                let min = outline.px_bounds().min;
                let (left, top) = (min.x as i32, min.y as i32);
                outline.draw(|gx, gy, c| dot(left + gx as i32, top + gy as i32, f64::from(c)));
            }
        }
    }
}

/// Width of a text, in units of `size`.
pub(super) fn width(text: &str, face: Face, size: f64) -> f64 {
    Line::set(text, face, size).width
}

/// `text` in lines no wider than `max`, broken at blanks; a longer word is cut with an ellipsis.
pub(super) fn wrapped(text: &str, face: Face, size: f64, max: f64) -> Vec<String> {
    let mut lines = Vec::new();
    let mut line = String::new();
    for word in text.split_whitespace() {
        let longer = if line.is_empty() {
            word.to_owned()
        } else {
            format!("{line} {word}")
        };
        if line.is_empty() || width(&longer, face, size) <= max {
            line = longer;
        } else {
            lines.push(std::mem::replace(&mut line, word.to_owned()));
        }
    }
    lines.push(line);
    lines.retain(|l| !l.is_empty());
    lines.iter().map(|l| cut(l, face, size, max)).collect()
}

/// `text`, or as much of its beginning as fits with an ellipsis.
pub(super) fn cut(text: &str, face: Face, size: f64, max: f64) -> String {
    if width(text, face, size) <= max {
        return text.to_owned();
    }
    let mut kept = String::new();
    for c in text.chars() {
        let longer = format!("{kept}{c}…");
        if width(&longer, face, size) > max {
            break;
        }
        kept.push(c);
    }
    kept.trim_end().to_owned() + "…"
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_font_holds_every_sign_that_is_drawn() {
        for face in [Face::Regular, Face::Bold] {
            let font = face.font().expect("the font that is carried");
            for c in "−±…°×·≤→Δσ²µ–:%*√".chars() {
                assert_ne!(font.glyph_id(c).0, 0, "{c}");
            }
        }
    }

    #[test]
    fn width_is_proportional_to_size_and_grows_with_text() {
        let at = |size| width("Lightness", Face::Regular, size);
        assert!((at(30.0) / at(10.0) - 3.0).abs() < 1e-4);
        assert!(width("Lightness L*", Face::Regular, 10.0) > at(10.0));
        assert!((30.0..60.0).contains(&at(10.0)), "{}", at(10.0));
    }

    #[test]
    fn wrapped_lines_fit() {
        let text = "one two three four five six seven incomprehensibilities-of-length";
        let lines = wrapped(text, Face::Regular, 12.0, 80.0);
        assert!(lines.len() > 3);
        assert!(lines.iter().all(|l| width(l, Face::Regular, 12.0) <= 80.0));
        assert!(lines.last().is_some_and(|l| l.ends_with('…')));
        assert!(wrapped(" ", Face::Regular, 12.0, 80.0).is_empty());
    }
}
