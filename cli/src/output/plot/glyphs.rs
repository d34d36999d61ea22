//! Outlines of letters, from the font that the program brings along.

use ttf_parser::{Face, GlyphId, OutlineBuilder};

use super::PlotError;

/// A point, font units or pixels.
pub(super) type Point = (f32, f32);

/// Straight pieces that a curve of an outline is cut into; a letter of a picture is some 20 pixels high.
const PIECES: u8 = 6;

/// Closed lines around a letter.
#[derive(Default)]
struct Outline {
    contours: Vec<Vec<Point>>,
}

impl Outline {
    fn last(&self) -> Point {
        self.contours.last().and_then(|c| c.last()).copied().unwrap_or_default()
    }
    fn push(&mut self, p: Point) {
        if let Some(contour) = self.contours.last_mut() {
            contour.push(p);
        }
    }
    /// Points of a Bézier curve from the last one, by de Casteljau's construction.
    fn curve(&mut self, corners: &[Point]) {
        let from = [&[self.last()], corners].concat();
        for k in 1..=PIECES {
            let t = f32::from(k) / f32::from(PIECES);
            let mut points = from.clone();
            while points.len() > 1 {
                let between = |w: &[Point]| (w[0].0 + t * (w[1].0 - w[0].0), w[0].1 + t * (w[1].1 - w[0].1));
                points = points.windows(2).map(between).collect();
            }
            self.push(points[0]);
        }
    }
}

impl OutlineBuilder for Outline {
    fn move_to(&mut self, x: f32, y: f32) {
        self.contours.push(vec![(x, y)]);
    }
    fn line_to(&mut self, x: f32, y: f32) {
        self.push((x, y));
    }
    fn quad_to(&mut self, x1: f32, y1: f32, x: f32, y: f32) {
        self.curve(&[(x1, y1), (x, y)]);
    }
    fn curve_to(&mut self, x1: f32, y1: f32, x2: f32, y2: f32, x: f32, y: f32) {
        self.curve(&[(x1, y1), (x2, y2), (x, y)]);
    }
    fn close(&mut self) {}
}

/// The outline of a letter where it stands in its line.
pub(super) type Letter = Vec<Vec<Point>>;

/// A line of text, em; it begins at 0 on the base line, y upwards.
pub(super) struct Line {
    pub letters: Vec<Letter>,
    pub width: f32,
}

/// The two faces.
pub(super) struct Font {
    regular: Face<'static>,
    bold: Face<'static>,
}

impl Font {
    /// Only these faces, never the machine's: the same figure gives the same pixels everywhere.
    pub fn new() -> Result<Self, PlotError> {
        let face = |data| Face::parse(data, 0).map_err(|e| PlotError::Library(e.to_string()));
        Ok(Self { regular: face(dejavu::sans::regular())?, bold: face(dejavu::sans::bold())? })
    }

    /// Height of a small letter, em; the table that should tell it says 0.
    pub fn x_height(&self) -> f32 {
        let face = &self.regular;
        let bounds = face.glyph_index('x').and_then(|x| face.glyph_bounding_box(x));
        bounds.map_or(0.5, |b| f32::from(b.y_max) / f32::from(face.units_per_em()))
    }

    /// Sets a line, letter by letter with the font's pairs (kerning); what it lacks is a box.
    pub fn line(&self, text: &str, bold: bool) -> Line {
        let face = if bold { &self.bold } else { &self.regular };
        let em = f32::from(face.units_per_em());
        let mut out = Line { letters: Vec::new(), width: 0.0 };
        let mut before = None;
        for c in text.chars() {
            let glyph = face.glyph_index(c).unwrap_or(GlyphId(0));
            if let Some(closer) = before.and_then(|b| kerning(face, b, glyph)) {
                out.width += f32::from(closer) / em;
            }
            let mut outline = Outline::default();
            if face.outline_glyph(glyph, &mut outline).is_some() {
                let placed = |p: Point| (out.width + p.0 / em, p.1 / em);
                let contours = outline.contours.into_iter().map(|c| c.into_iter().map(placed).collect());
                out.letters.push(contours.collect());
            }
            out.width += f32::from(face.glyph_hor_advance(glyph).unwrap_or(0)) / em;
            before = Some(glyph);
        }
        out
    }
}

fn kerning(face: &Face<'_>, left: GlyphId, right: GlyphId) -> Option<i16> {
    let tables = face.tables().kern?.subtables.into_iter();
    tables.filter(|t| t.horizontal && !t.variable).find_map(|t| t.glyphs_kerning(left, right))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The metrics that the font is published with (DejaVuSans.afm: x-height 547, digits 636 wide; from memory).
    #[test]
    fn letters_have_their_published_size() {
        let font = Font::new().unwrap();
        assert!((font.x_height() - 0.547).abs() < 1e-3);
        let line = font.line("1234567890", false);
        assert!((line.width - 6.36).abs() < 5e-3, "{}", line.width);
        assert_eq!(line.letters.len(), 10);
        // Narrower as a pair than alone.
        let alone = font.line("A", false).width + font.line("V", false).width;
        assert!(font.line("AV", false).width < alone - 0.02);
        assert!(font.line("AV", true).width > alone);
    }
}
