//! Lines, signs and text at places given in CSS pixels, x to the right and y downwards from the upper left corner.
//!
//! Drawing fails only where the backend does ([`PlotError::Library`]). Numbers that are not finite are left out: a line
//! is cut there, a sign is not drawn.

use plotters::prelude::{DrawingBackend, RGBColor};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color, FontStyle, FontTransform, IntoFont, ShapeStyle, TextStyle};

use super::{Line, Marker, PlotError};
use crate::diagnostic::printable;

/// A colour.
pub(super) type Colour = (u8, u8, u8);

/// The Okabe–Ito colours without yellow, which is lost on white: blue, vermilion, bluish green, reddish purple,
/// orange, sky blue, black.
const COLOURS: [Colour; 7] =
    [(0, 114, 178), (213, 94, 0), (0, 158, 115), (204, 121, 167), (230, 159, 0), (86, 180, 233), (0, 0, 0)];
/// Text.
pub(super) const INK: Colour = (34, 34, 34);
/// Small print and ticks.
pub(super) const GREY: Colour = (90, 90, 90);
/// Frame and axes.
pub(super) const AXIS: Colour = (120, 120, 120);
/// Grid.
pub(super) const GRID: Colour = (222, 222, 222);
/// Grid between labelled lines.
pub(super) const FAINT: Colour = (240, 240, 240);
/// Shaded stretches.
pub(super) const SHADE: Colour = (236, 241, 245);
/// Ground.
pub(super) const WHITE: Colour = (255, 255, 255);

/// The colour of this number.
pub(super) fn colour(number: usize) -> Colour {
    COLOURS[number % COLOURS.len()]
}

/// A place, CSS px from the upper left corner.
pub(super) type Place = (f64, f64);

/// A rectangle: left, top, right, bottom, CSS px.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Area {
    pub left: f64,
    pub top: f64,
    pub right: f64,
    pub bottom: f64,
}

impl Area {
    pub fn width(&self) -> f64 {
        self.right - self.left
    }
    pub fn height(&self) -> f64 {
        self.bottom - self.top
    }

    /// The part of a segment inside (Liang & Barsky 1984); `None` also for what has no place.
    pub fn clip(&self, a: Place, b: Place) -> Option<(Place, Place)> {
        if ![a.0, a.1, b.0, b.1].iter().all(|x| x.is_finite()) {
            return None;
        }
        let (dx, dy) = (b.0 - a.0, b.1 - a.1);
        let (mut t0, mut t1) = (0.0f64, 1.0f64);
        let sides =
            [(-dx, a.0 - self.left), (dx, self.right - a.0), (-dy, a.1 - self.top), (dy, self.bottom - a.1)];
        for (p, q) in sides {
            if p == 0.0 {
                if q < 0.0 {
                    return None;
                }
            } else if p < 0.0 {
                t0 = t0.max(q / p);
            } else {
                t1 = t1.min(q / p);
            }
        }
        (t0 <= t1).then_some(((a.0 + t0 * dx, a.1 + t0 * dy), (a.0 + t1 * dx, a.1 + t1 * dy)))
    }
}

/// Where a text hangs from its place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Hang {
    /// Begins there; the place is at half height.
    Right,
    /// Ends there; the place is at half height.
    Left,
    /// Centred, below the place.
    Below,
    /// Begins there, below the place.
    BelowRight,
    /// Centred, above the place.
    Above,
    /// Centred on the place and turned a quarter, to be read from below.
    Turned,
}

/// Text size, CSS px.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Letters {
    pub size: f64,
    pub colour: Colour,
    pub bold: bool,
}

impl Letters {
    pub const fn new(size: f64, colour: Colour) -> Self {
        Self { size, colour, bold: false }
    }
    pub const fn bold(self) -> Self {
        Self { bold: true, ..self }
    }
    /// Width of a text, about: no font is at hand, so the mean width of a sans-serif letter serves.
    pub fn width(&self, text: &str) -> f64 {
        let em = |c: char| match c {
            'i' | 'j' | 'l' | 't' | 'f' | 'I' | '.' | ',' | ':' | ';' | '|' | '\'' | ' ' | '(' | ')' => 0.33,
            'm' | 'M' | 'w' | 'W' | '@' | '%' => 0.9,
            'A'..='Z' => 0.69,
            '0'..='9' => 0.64,
            c if c as u32 > 0x2e80 => 1.0,
            _ => 0.57,
        };
        self.size * text.chars().map(em).sum::<f64>() * if self.bold { 1.15 } else { 1.0 }
    }
}

/// Draws on a backend of the library, `fine` of whose pixels make a CSS pixel.
pub(super) struct Canvas<'a, B: DrawingBackend> {
    backend: &'a mut B,
    fine: f64,
}

type Drawn = Result<(), PlotError>;

fn failed(error: impl std::fmt::Display) -> PlotError {
    PlotError::Library(error.to_string())
}

impl<'a, B: DrawingBackend> Canvas<'a, B> {
    pub fn new(backend: &'a mut B, fine: f64) -> Self {
        Self { backend, fine }
    }

    pub fn finish(&mut self) -> Drawn {
        self.backend.present().map_err(failed)
    }

    fn at(&self, p: Place) -> (i32, i32) {
        ((p.0 * self.fine).round() as i32, (p.1 * self.fine).round() as i32)
    }

    fn stroke(&self, (r, g, b): Colour, width: f64) -> ShapeStyle {
        RGBColor(r, g, b).stroke_width((width * self.fine).round().max(1.0) as u32)
    }

    /// A straight line.
    pub fn line(&mut self, a: Place, b: Place, colour: Colour, width: f64) -> Drawn {
        let (from, to, style) = (self.at(a), self.at(b), self.stroke(colour, width));
        self.backend.draw_line(from, to, &style).map_err(failed)
    }

    /// A filled rectangle.
    pub fn fill(&mut self, area: Area, colour: Colour) -> Drawn {
        let (a, b) = (self.at((area.left, area.top)), self.at((area.right, area.bottom)));
        let style = self.stroke(colour, 1.0);
        self.backend.draw_rect(a, b, &style, true).map_err(failed)
    }

    /// The sides of a rectangle.
    pub fn frame(&mut self, area: Area, colour: Colour, width: f64) -> Drawn {
        let Area { left, top, right, bottom } = area;
        self.path(&[(left, top), (right, top), (right, bottom), (left, bottom), (left, top)], colour, width)
    }

    /// A polyline.
    pub fn path(&mut self, points: &[Place], colour: Colour, width: f64) -> Drawn {
        if points.len() < 2 {
            return Ok(());
        }
        let places: Vec<(i32, i32)> = points.iter().map(|&p| self.at(p)).collect();
        let style = self.stroke(colour, width);
        self.backend.draw_path(places, &style).map_err(failed)
    }

    /// A polyline in a line style; the pattern runs on around corners.
    pub fn styled(&mut self, points: &[Place], line: Line, colour: Colour, width: f64) -> Drawn {
        let pattern: &[f64] = match line {
            Line::None => return Ok(()),
            Line::Solid => return self.path(points, colour, width),
            Line::Dashed => &[9.0, 4.0],
            Line::Dotted => &[2.0, 3.0],
            Line::DashDot => &[10.0, 3.0, 2.0, 3.0],
        };
        let (mut k, mut left) = (0, pattern[0]);
        let mut piece: Vec<Place> = points.first().copied().into_iter().collect();
        for w in points.windows(2) {
            let (mut a, b) = (w[0], w[1]);
            loop {
                let length = (b.0 - a.0).hypot(b.1 - a.1);
                if length <= left {
                    left -= length;
                    if k % 2 == 0 {
                        piece.push(b);
                    }
                    break;
                }
                let share = left / length;
                a = (a.0 + share * (b.0 - a.0), a.1 + share * (b.1 - a.1));
                if k % 2 == 0 {
                    piece.push(a);
                    self.path(&piece, colour, width)?;
                    piece.clear();
                } else {
                    piece = vec![a];
                }
                k = (k + 1) % pattern.len();
                left = pattern[k];
            }
        }
        self.path(&piece, colour, width)
    }

    /// A sign.
    pub fn marker(&mut self, at: Place, marker: Marker, colour: Colour) -> Drawn {
        const R: f64 = 3.4;
        let style = self.stroke(colour, 1.3);
        let centre = self.at(at);
        let radius = |r: f64| (r * self.fine).round() as u32;
        let corners = |around: &[(f64, f64)]| -> Vec<(i32, i32)> {
            around.iter().map(|d| self.at((at.0 + R * d.0, at.1 + R * d.1))).collect()
        };
        let polygon = match marker {
            Marker::None => return Ok(()),
            Marker::Disc => {
                let r = radius(R);
                return self.backend.draw_circle(centre, r, &style, true).map_err(failed);
            }
            Marker::Ring => {
                let r = radius(R - 0.3);
                let white = self.stroke(WHITE, 1.0);
                self.backend.draw_circle(centre, r, &white, true).map_err(failed)?;
                return self.backend.draw_circle(centre, r, &style, false).map_err(failed);
            }
            Marker::Cross => {
                let (w, place) = (0.95 * R, |x: f64, y: f64| (at.0 + x, at.1 + y));
                self.line(place(-w, -w), place(w, w), colour, 1.5)?;
                return self.line(place(-w, w), place(w, -w), colour, 1.5);
            }
            Marker::Square => corners(&[(-0.9, -0.9), (0.9, -0.9), (0.9, 0.9), (-0.9, 0.9)]),
            Marker::Triangle => corners(&[(0.0, -1.2), (1.15, 0.85), (-1.15, 0.85)]),
            Marker::Diamond => corners(&[(0.0, -1.3), (1.1, 0.0), (0.0, 1.3), (-1.1, 0.0)]),
        };
        self.backend.fill_polygon(polygon, &style).map_err(failed)
    }

    /// Text; control characters are shown as what they are.
    pub fn text(&mut self, text: &str, at: Place, letters: Letters, hang: Hang) -> Drawn {
        let (h, v) = match hang {
            Hang::Right => (HPos::Left, VPos::Center),
            Hang::Left => (HPos::Right, VPos::Center),
            Hang::Below => (HPos::Center, VPos::Top),
            Hang::BelowRight => (HPos::Left, VPos::Top),
            Hang::Above => (HPos::Center, VPos::Bottom),
            Hang::Turned => (HPos::Center, VPos::Center),
        };
        let (r, g, b) = letters.colour;
        let colour = RGBColor(r, g, b);
        // The SVG backend divides sizes by 1.24.
        let font = ("sans-serif", 1.24 * letters.size * self.fine).into_font();
        let font = if letters.bold { font.style(FontStyle::Bold) } else { font };
        let font = if hang == Hang::Turned { font.transform(FontTransform::Rotate270) } else { font };
        let style = TextStyle::from(font).color(&colour).pos(Pos::new(h, v));
        let place = self.at(at);
        self.backend.draw_text(&printable(text), &style, place).map_err(failed)
    }
}
