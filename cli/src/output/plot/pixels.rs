//! The plot library's drawing calls on pixels, with smooth edges.
//!
//! Lines cover a pixel by its distance from them, letters and polygons by the area that they have in it.

use std::convert::Infallible;

use ab_glyph_rasterizer::{Rasterizer, point};
use plotters::prelude::DrawingBackend;
use plotters_backend::text_anchor::{HPos, VPos};
use plotters_backend::{
    BackendColor, BackendCoord, BackendStyle, BackendTextStyle, DrawingErrorKind, FontStyle, FontTransform,
};

use super::PlotError;
use super::glyphs::{Font, Point};

type Drawn = Result<(), DrawingErrorKind<Infallible>>;

/// A rectangle of pixels; the right and lower bounds are outside.
#[derive(Clone, Copy)]
struct Region {
    left: usize,
    top: usize,
    right: usize,
    bottom: usize,
}

/// A picture: rows of red, green and blue.
pub(super) struct Pixels {
    pub width: usize,
    pub height: usize,
    pub rgb: Vec<u8>,
    /// Units of the drawing calls in a pixel.
    unit: f32,
    font: Font,
}

impl Pixels {
    /// A white picture.
    pub fn new(width: usize, height: usize, unit: f32) -> Result<Self, PlotError> {
        Ok(Self { width, height, rgb: vec![255; 3 * width * height], unit, font: Font::new()? })
    }

    fn place(&self, p: BackendCoord) -> Point {
        (p.0 as f32 / self.unit, p.1 as f32 / self.unit)
    }

    /// The pixels that points reach, with a margin, inside the picture; `None`: none.
    fn region(&self, points: &[Point], margin: f32) -> Option<Region> {
        let bounds = |of: fn(&Point) -> f32, most: usize| {
            let low = points.iter().map(of).fold(f32::INFINITY, f32::min) - margin;
            let high = points.iter().map(of).fold(f32::NEG_INFINITY, f32::max) + margin;
            let (low, high) = (low.floor().max(0.0), high.ceil().min(most as f32));
            (low < high).then_some((low as usize, high as usize))
        };
        let ((left, right), (top, bottom)) = (bounds(|p| p.0, self.width)?, bounds(|p| p.1, self.height)?);
        Some(Region { left, top, right, bottom })
    }

    /// Lays a colour over a pixel that it covers in part.
    fn blend(&mut self, x: usize, y: usize, cover: f32, colour: BackendColor) {
        let share = (cover * colour.alpha as f32).clamp(0.0, 1.0);
        let at = 3 * (y * self.width + x);
        let (r, g, b) = colour.rgb;
        for (old, new) in self.rgb[at..at + 3].iter_mut().zip([r, g, b]) {
            let (from, to) = (f32::from(*old), f32::from(new));
            *old = (from + share * (to - from)).round() as u8;
        }
    }

    /// Pixels by how far they are inside of something: half a pixel inside is covered, half a pixel outside is not.
    fn within(&mut self, region: Region, colour: BackendColor, inside: impl Fn(Point) -> f32) {
        for y in region.top..region.bottom {
            for x in region.left..region.right {
                let depth = inside((x as f32 + 0.5, y as f32 + 0.5));
                if depth > -0.5 {
                    self.blend(x, y, depth + 0.5, colour);
                }
            }
        }
    }

    /// Fills what closed lines surround.
    fn fill(&mut self, contours: &[Vec<Point>], colour: BackendColor) {
        let all = contours.concat();
        let Some(region) = self.region(&all, 1.0) else { return };
        // The whole shape is worked out, also where it leaves the picture.
        let low = all.iter().fold((f32::MAX, f32::MAX), |l, p| (l.0.min(p.0), l.1.min(p.1)));
        let high = all.iter().fold((f32::MIN, f32::MIN), |h, p| (h.0.max(p.0), h.1.max(p.1)));
        let corner = (low.0.floor() - 1.0, low.1.floor() - 1.0);
        let size = ((high.0 - corner.0).ceil() as usize + 1, (high.1 - corner.1).ceil() as usize + 1);
        let mut cover = Rasterizer::new(size.0, size.1);
        let at = |p: &Point| point(p.0 - corner.0, p.1 - corner.1);
        for contour in contours {
            for (k, p) in contour.iter().enumerate() {
                cover.draw_line(at(p), at(&contour[(k + 1) % contour.len()]));
            }
        }
        cover.for_each_pixel_2d(|x, y, covered| {
            let (x, y) = (corner.0 + x as f32, corner.1 + y as f32);
            let across = (region.left as f32..region.right as f32).contains(&x);
            if covered > 0.0 && across && (region.top as f32..region.bottom as f32).contains(&y) {
                self.blend(x as usize, y as usize, covered, colour);
            }
        });
    }

    /// Draws a polyline with round joins; it ends flat, where it is not closed.
    fn stroke(&mut self, points: &[Point], width: f32, colour: BackendColor) {
        let half = 0.5 * width;
        let Some(region) = self.region(points, half + 1.0) else { return };
        let columns = region.right - region.left;
        // Where pieces overlap, the one that covers most counts.
        let mut cover = vec![0f32; columns * (region.bottom - region.top)];
        let pieces: Vec<(Point, Point)> =
            points.windows(2).filter(|w| w[0] != w[1]).map(|w| (w[0], w[1])).collect();
        let open = points.first() != points.last();
        let reach = half + 0.5;
        for (k, &(a, b)) in pieces.iter().enumerate() {
            let (flat_start, flat_end) = (open && k == 0, open && k + 1 == pieces.len());
            let length = (b.0 - a.0).hypot(b.1 - a.1);
            let along = ((b.0 - a.0) / length, (b.1 - a.1) / length);
            for y in region.top..region.bottom {
                let middle = y as f32 + 0.5;
                let Some((from, to)) = band(a, b, middle - reach, middle + reach) else { continue };
                let first = ((from - reach).floor().max(region.left as f32)) as usize;
                let last = ((to + reach).ceil().min(region.right as f32)) as usize;
                for x in first..last {
                    let p = (x as f32 + 0.5 - a.0, middle - a.1);
                    let (at, off) = (p.0 * along.0 + p.1 * along.1, (p.0 * along.1 - p.1 * along.0).abs());
                    // How far beyond an end; a flat one cuts, a joined one is round.
                    let (before, after) = (-at, at - length);
                    let cut =
                        |beyond: f32, flat: bool| if flat { (0.5 - beyond).clamp(0.0, 1.0) } else { 1.0 };
                    let round = match () {
                        () if before > 0.0 && !flat_start => before,
                        () if after > 0.0 && !flat_end => after,
                        () => 0.0,
                    };
                    let side = (reach - off.hypot(round)).clamp(0.0, 1.0);
                    let covered = side * cut(before, flat_start) * cut(after, flat_end);
                    let old = &mut cover[(y - region.top) * columns + x - region.left];
                    *old = old.max(covered);
                }
            }
        }
        for (k, covered) in cover.into_iter().enumerate().filter(|c| c.1 > 0.0) {
            self.blend(region.left + k % columns, region.top + k / columns, covered, colour);
        }
    }
}

/// The stretch across that a segment takes in a band of heights.
fn band(a: Point, b: Point, top: f32, bottom: f32) -> Option<(f32, f32)> {
    let (upper, lower) = if a.1 <= b.1 { (a, b) } else { (b, a) };
    if upper.1 > bottom || lower.1 < top {
        return None;
    }
    let fall = lower.1 - upper.1;
    let at = |y: f32| {
        if fall > 0.0 {
            upper.0 + ((y - upper.1) / fall).clamp(0.0, 1.0) * (lower.0 - upper.0)
        } else {
            upper.0
        }
    };
    let (p, q) = if fall > 0.0 { (at(top), at(bottom)) } else { (a.0, b.0) };
    Some((p.min(q), p.max(q)))
}

impl DrawingBackend for Pixels {
    type ErrorType = Infallible;

    fn get_size(&self) -> (u32, u32) {
        ((self.width as f32 * self.unit) as u32, (self.height as f32 * self.unit) as u32)
    }
    fn ensure_prepared(&mut self) -> Drawn {
        Ok(())
    }
    fn present(&mut self) -> Drawn {
        Ok(())
    }

    fn draw_pixel(&mut self, at: BackendCoord, colour: BackendColor) -> Drawn {
        self.draw_rect(at, (at.0 + 1, at.1 + 1), &colour, true)
    }

    fn draw_line<S: BackendStyle>(&mut self, from: BackendCoord, to: BackendCoord, style: &S) -> Drawn {
        self.draw_path([from, to], style)
    }

    fn draw_rect<S: BackendStyle>(
        &mut self,
        a: BackendCoord,
        b: BackendCoord,
        style: &S,
        fill: bool,
    ) -> Drawn {
        let corners = [a, (b.0, a.1), b, (a.0, b.1)];
        if fill {
            self.fill_polygon(corners, style)
        } else {
            self.draw_path([corners, [a; 4]].concat(), style)
        }
    }

    fn draw_path<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(
        &mut self,
        path: I,
        style: &S,
    ) -> Drawn {
        let points: Vec<Point> = path.into_iter().map(|p| self.place(p)).collect();
        self.stroke(&points, style.stroke_width() as f32 / self.unit, style.color());
        Ok(())
    }

    fn draw_circle<S: BackendStyle>(
        &mut self,
        at: BackendCoord,
        radius: u32,
        style: &S,
        fill: bool,
    ) -> Drawn {
        let (centre, radius) = (self.place(at), radius as f32 / self.unit);
        let half = 0.5 * style.stroke_width() as f32 / self.unit;
        let Some(region) = self.region(&[centre], radius + half + 1.0) else { return Ok(()) };
        self.within(region, style.color(), |p| {
            let out = (p.0 - centre.0).hypot(p.1 - centre.1) - radius;
            if fill { -out } else { half - out.abs() }
        });
        Ok(())
    }

    fn fill_polygon<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(
        &mut self,
        path: I,
        style: &S,
    ) -> Drawn {
        let points: Vec<Point> = path.into_iter().map(|p| self.place(p)).collect();
        self.fill(&[points], style.color());
        Ok(())
    }

    /// Places text as the SVG does: its anchor across, a part of its size down.
    fn draw_text<S: BackendTextStyle>(&mut self, text: &str, style: &S, at: BackendCoord) -> Drawn {
        let line = self.font.line(text, matches!(style.style(), FontStyle::Bold));
        // The SVG backend divides sizes by 1.24.
        let size = style.size() as f32 / 1.24 / self.unit;
        let left = match style.anchor().h_pos {
            HPos::Left => 0.0,
            HPos::Center => -0.5 * line.width,
            HPos::Right => -line.width,
        };
        let down = match style.anchor().v_pos {
            VPos::Top => 0.76,
            VPos::Center => 0.5 * self.font.x_height(),
            VPos::Bottom => -0.5 * self.font.x_height(),
        };
        let (turn, place) = (style.transform(), self.place(at));
        let placed = |p: &Point| {
            let (x, y) = (size * (left + p.0), size * (down - p.1));
            let (x, y) = match turn {
                FontTransform::None => (x, y),
                FontTransform::Rotate90 => (-y, x),
                FontTransform::Rotate180 => (-x, -y),
                FontTransform::Rotate270 => (y, -x),
            };
            (place.0 + x, place.1 + y)
        };
        for letter in &line.letters {
            let contours: Vec<Vec<Point>> = letter.iter().map(|c| c.iter().map(placed).collect()).collect();
            self.fill(&contours, style.color());
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const BLACK: BackendColor = BackendColor { alpha: 1.0, rgb: (0, 0, 0) };

    /// The area that was drawn black, pixels.
    fn drawn(draw: impl FnOnce(&mut Pixels)) -> f64 {
        let mut pixels = Pixels::new(80, 60, 1.0).unwrap();
        draw(&mut pixels);
        pixels.rgb.iter().map(|v| f64::from(255 - v)).sum::<f64>() / (3.0 * 255.0)
    }

    fn near(found: f64, area: f64, part: f64) {
        assert!((found / area - 1.0).abs() < part, "{found} pixels where the area is {area}");
    }

    /// Areas of elementary geometry. Rounding to 255 shades leaves a few thousandths.
    #[test]
    fn shapes_cover_their_area() {
        near(
            drawn(|p| p.fill(&[vec![(10.3, 10.2), (50.8, 10.2), (50.8, 30.7), (10.3, 30.7)]], BLACK)),
            40.5 * 20.5,
            2e-3,
        );
        near(
            drawn(|p| p.fill(&[vec![(10.0, 50.0), (40.5, 7.3), (66.0, 50.0)]], BLACK)),
            0.5 * 56.0 * 42.7,
            2e-3,
        );
        // A hole runs the other way round.
        let ring = [
            vec![(10.0, 10.0), (50.0, 10.0), (50.0, 50.0), (10.0, 50.0)],
            vec![(20.5, 20.5), (20.5, 39.5), (39.5, 39.5), (39.5, 20.5)],
        ];
        near(drawn(|p| p.fill(&ring, BLACK)), 1600.0 - 361.0, 2e-3);
        let pi = std::f64::consts::PI;
        near(drawn(|p| p.draw_circle((40, 30), 17, &BLACK, true).unwrap()), pi * 289.0, 5e-3);
        near(drawn(|p| p.draw_circle((40, 30), 17, &BLACK, false).unwrap()), 2.0 * pi * 17.0, 1e-2);
    }

    /// A flat-ended line is a rectangle; a corner is filled by a sector of a circle.
    #[test]
    fn lines_cover_their_length_times_width() {
        for (b, width) in [((70.2, 11.3), 3.6), ((61.0, 48.9), 3.6), ((15.1, 52.0), 2.0), ((70.2, 14.0), 1.0)]
        {
            let a: Point = (12.4, 11.3);
            let length = f64::from((b.0 - a.0).hypot(b.1 - a.1));
            near(drawn(|p| p.stroke(&[a, b], width, BLACK)), length * f64::from(width), 1.5e-2);
            // Cut into pieces it is the same line, and so it is in two dashes that touch.
            let at = |t: f32| (a.0 + t * (b.0 - a.0), a.1 + t * (b.1 - a.1));
            let cut: Vec<Point> = (0..=40).map(|k| at(k as f32 / 40.0)).collect();
            near(drawn(|p| p.stroke(&cut, width, BLACK)), length * f64::from(width), 1.5e-2);
        }
        let corner = [(10.0, 40.0), (40.0, 40.0), (40.0, 10.0)];
        let (half, pi) = (3.0, std::f64::consts::PI);
        // Two rectangles that share a quarter of their ends, and the sector outside.
        let area = 2.0 * 30.0 * 2.0 * half - half * half + 0.25 * pi * half * half;
        near(drawn(|p| p.stroke(&corner, 6.0, BLACK)), area, 5e-3);
    }

    #[test]
    fn what_leaves_the_picture_is_cut() {
        near(
            drawn(|p| p.fill(&[vec![(-20.0, -20.0), (10.0, -20.0), (10.0, 10.0), (-20.0, 10.0)]], BLACK)),
            100.0,
            1e-6,
        );
        near(drawn(|p| p.stroke(&[(-50.0, 30.0), (500.0, 30.0)], 2.0, BLACK)), 160.0, 1e-6);
        assert_eq!(drawn(|p| p.stroke(&[(200.0, 30.0), (500.0, 30.0)], 2.0, BLACK)), 0.0);
        assert_eq!(drawn(|p| p.stroke(&[(20.0, 30.0)], 2.0, BLACK)), 0.0);
    }
}
