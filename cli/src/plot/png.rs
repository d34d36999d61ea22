//! The same picture as pixels, with a font that the program brings along.

use std::sync::{Arc, LazyLock};

use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::{Options, Tree, fontdb::Database};

use super::{Figure, Trouble, svg};

/// Pixels for a CSS pixel.
const SCALE: f32 = 2.0;
/// Family of the fonts below.
const FAMILY: &str = "DejaVu Sans";

/// Only these fonts, never the machine's: the same figure gives the same pixels everywhere.
static FONTS: LazyLock<Arc<Database>> = LazyLock::new(|| {
    let mut fonts = Database::new();
    fonts.load_font_data(dejavu::sans::regular().to_vec());
    fonts.load_font_data(dejavu::sans::bold().to_vec());
    fonts.set_sans_serif_family(FAMILY);
    Arc::new(fonts)
});

/// The figure as a PNG of twice the SVG's width and height.
///
/// # Errors
/// [`Trouble`]: those of [`svg`]; a figure that is too high to be drawn.
pub fn png(figure: &Figure) -> Result<Vec<u8>, Trouble> {
    let refused = |what: &dyn std::fmt::Display| Trouble::Library(what.to_string());
    let picture = svg(figure)?;
    let options = Options { font_family: FAMILY.into(), fontdb: FONTS.clone(), ..Options::default() };
    let tree = Tree::from_str(&picture, &options).map_err(|e| refused(&e))?;
    let size = tree.size();
    let [width, height] = [size.width(), size.height()].map(|x| (x * SCALE).round() as u32);
    let mut pixels = Pixmap::new(width, height)
        .ok_or_else(|| refused(&format!("{width} x {height} pixels are too many")))?;
    resvg::render(&tree, Transform::from_scale(SCALE, SCALE), &mut pixels.as_mut());
    pixels.encode_png().map_err(|e| refused(&e))
}
