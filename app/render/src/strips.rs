//! PNG data of large pictures, filtered and compressed in strips of rows on all cores.
//!
//! Each strip is a run of deflate blocks that ends on a whole byte, so that the strips in a row are
//! one stream (ISO/IEC 15948, 9 and 10; RFC 1950 and 1951). The strips do not depend on how many
//! cores there are.

use std::io;

use flate2::{Compress, Compression, FlushCompress, Status};
use rayon::prelude::*;

/// Bytes of pixels in a strip, about. What a strip repeats of an earlier one is not found, so
/// smaller ones make larger files.
const STRIP: usize = 1 << 19;

/// Bytes of a pixel.
const PIXEL: usize = 4;

/// The stream's first two bytes: deflate, a window of 32 KiB, the usual effort (RFC 1950, 2.2).
const HEADER: [u8; 2] = [0x78, 0x9c];

/// The stream of a picture's rows, `row_bytes` long each, in pieces that follow each other; `None`
/// where the picture is too small to be worth it.
pub(super) fn stream(rgba: &[u8], row_bytes: usize) -> Option<io::Result<Vec<Vec<u8>>>> {
    let rows = (STRIP / row_bytes.max(1)).max(1);
    let strips = rgba.len().div_ceil(rows * row_bytes.max(1));
    (strips > 1).then(|| pieces(rgba, row_bytes, rows))
}

fn pieces(rgba: &[u8], row_bytes: usize, rows: usize) -> io::Result<Vec<Vec<u8>>> {
    let strips = rgba.par_chunks(rows * row_bytes).enumerate();
    let count = strips.len();
    let packed = strips.map(|(i, strip)| {
        let begin = i * rows * row_bytes;
        let above = begin
            .checked_sub(row_bytes)
            .map(|above| &rgba[above..begin]);
        let filtered = filtered(strip, row_bytes, above);
        let sum = Adler::of(&filtered);
        Ok((deflated(&filtered, i + 1 == count)?, sum))
    });
    let packed: Vec<(Vec<u8>, Adler)> = packed.collect::<io::Result<_>>()?;
    let mut sum = Adler::of(&[]);
    let mut pieces = Vec::with_capacity(count + 2);
    pieces.push(HEADER.to_vec());
    for (piece, of_piece) in packed {
        sum = sum.and(of_piece);
        pieces.push(piece);
    }
    pieces.push(sum.value().to_be_bytes().to_vec());
    Ok(pieces)
}

/// Rows, each by the filter after which its bytes are the least, as the standard advises (12.8).
fn filtered(strip: &[u8], row_bytes: usize, above: Option<&[u8]>) -> Vec<u8> {
    let nothing = vec![0; row_bytes];
    let mut above = above.unwrap_or(&nothing);
    let mut out = Vec::with_capacity(strip.len() + strip.len() / row_bytes);
    let mut tried = vec![0; row_bytes];
    for row in strip.chunks_exact(row_bytes) {
        let begin = out.len();
        let mut least = u64::MAX;
        for (number, filter) in FILTERS.iter().enumerate() {
            filter(row, above, &mut tried);
            let size = tried
                .iter()
                .map(|b| u64::from(b.cast_signed().unsigned_abs()));
            let size = size.sum();
            if size < least {
                least = size;
                out.truncate(begin);
                out.push(number as u8);
                out.extend_from_slice(&tried);
            }
        }
        above = row;
    }
    out
}

/// From a row and the one above to what is left of it.
type Filter = fn(&[u8], &[u8], &mut [u8]);

/// None, Sub, Up, Average and Paeth, by their numbers (9.2).
const FILTERS: [Filter; 5] = [
    |row, _, out| out.copy_from_slice(row),
    |row, above, out| predicted(row, above, out, |left, _, _| left),
    |row, above, out| predicted(row, above, out, |_, up, _| up),
    |row, above, out| {
        predicted(row, above, out, |left, up, _| left.midpoint(up));
    },
    |row, above, out| predicted(row, above, out, paeth),
];

/// Each byte less what is told from those to its left, above it, and above to its left.
#[inline(always)]
fn predicted(row: &[u8], above: &[u8], out: &mut [u8], tell: impl Fn(u8, u8, u8) -> u8) {
    let first = PIXEL.min(row.len());
    for i in 0..first {
        out[i] = row[i].wrapping_sub(tell(0, above[i], 0));
    }
    let left = row.iter().zip(&row[first..]);
    let up = above.iter().zip(&above[first..]);
    for (out, ((left, own), (corner, up))) in out[first..].iter_mut().zip(left.zip(up)) {
        *out = own.wrapping_sub(tell(*left, *up, *corner));
    }
}

/// Of three bytes the one nearest to what they extrapolate to (9.4).
#[inline(always)]
fn paeth(left: u8, up: u8, corner: u8) -> u8 {
    let [a, b, c] = [left, up, corner].map(i16::from);
    let (to_left, to_up) = ((b - c).abs(), (a - c).abs());
    let to_corner = (a + b - 2 * c).abs();
    if to_left <= to_up && to_left <= to_corner {
        left
    } else if to_up <= to_corner {
        up
    } else {
        corner
    }
}

/// Deflate blocks without a frame; the last strip's end the stream.
fn deflated(bytes: &[u8], last: bool) -> io::Result<Vec<u8>> {
    let flush = match last {
        true => FlushCompress::Finish,
        false => FlushCompress::Sync,
    };
    let mut compress = Compress::new(Compression::default(), false);
    let mut out = Vec::with_capacity(bytes.len() / 8 + 64);
    loop {
        let rest = &bytes[compress.total_in() as usize..];
        let status = compress.compress_vec(rest, &mut out, flush)?;
        let all_read = compress.total_in() as usize == bytes.len();
        // With room left, nothing is held back.
        if all_read && (status == Status::StreamEnd || !last && out.len() < out.capacity()) {
            return Ok(out);
        }
        out.reserve(out.capacity());
    }
}

/// The check of a stream (RFC 1950, 8.2), by its two sums.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Adler {
    low: u32,
    high: u32,
    /// Bytes, below the sums' modulus.
    bytes: u32,
}

impl Adler {
    const MODULUS: u32 = 65_521;

    fn of(bytes: &[u8]) -> Self {
        // So many sums of bytes fit into 32 bits (RFC 1950, 9).
        const TOGETHER: usize = 5552;
        let (mut low, mut high) = (1u32, 0u32);
        for bytes in bytes.chunks(TOGETHER) {
            for byte in bytes {
                low += u32::from(*byte);
                high += low;
            }
            low %= Self::MODULUS;
            high %= Self::MODULUS;
        }
        let bytes = (bytes.len() % Self::MODULUS as usize) as u32;
        Self { low, high, bytes }
    }

    /// Of these bytes and others that follow.
    fn and(self, later: Self) -> Self {
        let modulus = u64::from(Self::MODULUS);
        let [low, high, bytes] = [self.low, self.high, self.bytes].map(u64::from);
        let [later_low, later_high, later_bytes] =
            [later.low, later.high, later.bytes].map(u64::from);
        // The later sums begin at 1, and are to begin at `low`.
        let before = low + modulus - 1;
        Self {
            low: ((before + later_low) % modulus) as u32,
            high: ((high + later_high + before % modulus * later_bytes) % modulus) as u32,
            bytes: ((bytes + later_bytes) % modulus) as u32,
        }
    }

    fn value(self) -> u32 {
        self.high << 16 | self.low
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Image;

    #[test]
    fn the_check_of_a_text_is_that_of_its_pieces() {
        // Worked out by hand as RFC 1950 says.
        assert_eq!(Adler::of(b"abc").value(), 0x024d_0127);
        let text: Vec<u8> = (0..200_000u32)
            .map(|i| (i.wrapping_mul(i) >> 7) as u8)
            .collect();
        for middle in [0, 1, 777, 65_521, 70_000, 200_000] {
            let (before, after) = text.split_at(middle);
            assert_eq!(Adler::of(before).and(Adler::of(after)), Adler::of(&text));
        }
    }

    /// Noise, flat colour, ramps and steps: something for each filter.
    fn busy(width: u32, height: u32) -> Image {
        let mut state = 7u32;
        let pixels = (0..width * height).flat_map(|i| {
            let (x, y) = (i % width, i / width);
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            match y / 40 % 4 {
                0 => state.to_be_bytes(),
                1 => [200, 10, 60, 255],
                2 => [x as u8, y as u8, (x + y) as u8, 255],
                _ => [(x / 9) as u8, 3, (y / 5) as u8, (x ^ y) as u8],
            }
        });
        Image::from_rgba(width, height, pixels.collect()).unwrap()
    }

    #[test]
    fn what_is_written_is_read_back_in_strips_or_not() {
        for (width, height) in [(700, 900), (1, 400_000), (300_000, 2), (3, 2), (512, 512)] {
            let image = busy(width, height);
            let mut file = Vec::new();
            image.write_png(&mut file).unwrap();
            let mut reader = png::Decoder::new(io::Cursor::new(file))
                .read_info()
                .unwrap();
            let mut read = vec![0; reader.output_buffer_size().unwrap()];
            reader.next_frame(&mut read).unwrap();
            reader.finish().unwrap();
            assert!(read == image.rgba(), "{width} × {height}");
        }
    }

    #[test]
    fn strips_are_as_many_whatever_the_cores() {
        let image = busy(700, 900);
        let written = |threads| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads);
            let mut file = Vec::new();
            let pool = pool.build().unwrap();
            pool.install(|| image.write_png(&mut file)).unwrap();
            file
        };
        assert!(written(1) == written(3));
    }
}
