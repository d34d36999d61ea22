//! The same picture as pixels, in a PNG file (ISO/IEC 15948).

use std::io::{self, Write};

use flate2::Compression;
use flate2::write::ZlibEncoder;

use super::canvas::Canvas;
use super::pixels::Pixels;
use super::{FINE, Figure, PlotError, WIDTH, frame};

/// Pixels for a CSS pixel.
const SCALE: u32 = 2;
/// The most pixels of a picture: 400 MB of memory.
const MOST: u64 = 1 << 27;

/// The figure as a PNG of twice the SVG's width and height.
///
/// # Errors
/// [`PlotError`]: those of [`svg`](super::svg); a figure that is too high to be drawn.
pub fn png(figure: &Figure) -> Result<Vec<u8>, PlotError> {
    let plan = frame::plan(figure)?;
    let size = (WIDTH * f64::from(SCALE), plan.height.ceil() * f64::from(SCALE));
    if size.0 * size.1 > MOST as f64 {
        return Err(PlotError::Library(format!("{} x {} pixels are too many", size.0, size.1)));
    }
    let mut pixels = Pixels::new(size.0 as usize, size.1 as usize, FINE as f32 / SCALE as f32)?;
    let mut canvas = Canvas::new(&mut pixels, f64::from(FINE));
    frame::draw(&mut canvas, figure, &plan)?;
    canvas.finish()?;
    encoded(&pixels).map_err(|e| PlotError::Library(e.to_string()))
}

fn chunk(out: &mut Vec<u8>, kind: &[u8; 4], data: &[u8]) -> io::Result<()> {
    let length = u32::try_from(data.len()).map_err(io::Error::other)?;
    out.extend(length.to_be_bytes());
    let from = out.len();
    out.extend(kind);
    out.extend(data);
    let sum = crc32fast::hash(&out[from..]);
    out.extend(sum.to_be_bytes());
    Ok(())
}

fn encoded(pixels: &Pixels) -> io::Result<Vec<u8>> {
    let mut head = Vec::new();
    head.extend((pixels.width as u32).to_be_bytes());
    head.extend((pixels.height as u32).to_be_bytes());
    // Eight bits, red, green and blue; deflate; a filter for each row; not interlaced.
    head.extend([8, 2, 0, 0, 0]);
    let mut data = ZlibEncoder::new(Vec::new(), Compression::default());
    let stride = 3 * pixels.width;
    for row in pixels.rgb.chunks_exact(stride) {
        // No filter: even colours pack best as they are.
        data.write_all(&[0])?;
        data.write_all(row)?;
    }
    let mut out = b"\x89PNG\r\n\x1a\n".to_vec();
    chunk(&mut out, b"IHDR", &head)?;
    chunk(&mut out, b"IDAT", &data.finish()?)?;
    chunk(&mut out, b"IEND", &[])?;
    Ok(out)
}

#[cfg(test)]
mod tests {
    use std::io::Read;

    use super::*;

    /// The chunks, and that each has the sum that stands behind it.
    fn chunks(mut file: &[u8]) -> Vec<(&[u8], &[u8])> {
        let number = |b: &[u8]| u32::from_be_bytes(b.try_into().unwrap());
        assert_eq!(file.split_off(..8), Some(&b"\x89PNG\r\n\x1a\n"[..]));
        let mut out = Vec::new();
        while !file.is_empty() {
            let length = number(&file[..4]) as usize;
            let (body, rest) = file[4..].split_at(4 + length);
            assert_eq!(number(&rest[..4]), crc32fast::hash(body));
            out.push(body.split_at(4));
            file = &rest[4..];
        }
        out
    }

    #[test]
    fn a_picture_is_packed_as_the_standard_says() {
        let mut pixels = Pixels::new(3, 2, 1.0).unwrap();
        pixels.rgb.copy_from_slice(&[9, 8, 7, 6, 5, 4, 3, 2, 1, 9, 9, 9, 0, 0, 0, 255, 254, 253]);
        let file = encoded(&pixels).unwrap();
        let found = chunks(&file);
        assert_eq!(found.iter().map(|c| c.0).collect::<Vec<_>>(), [b"IHDR", b"IDAT", b"IEND"]);
        assert_eq!(found[0].1, [0, 0, 0, 3, 0, 0, 0, 2, 8, 2, 0, 0, 0]);
        // The sum of the empty last chunk, as every such file has it.
        assert_eq!(file[file.len() - 4..], [0xae, 0x42, 0x60, 0x82]);
        let mut rows = Vec::new();
        flate2::read::ZlibDecoder::new(found[1].1).read_to_end(&mut rows).unwrap();
        assert_eq!(rows, [&[0], &pixels.rgb[..9], &[0], &pixels.rgb[9..]].concat());
    }
}
