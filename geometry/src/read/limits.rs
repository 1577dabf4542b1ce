//! Bounds on what a file may ask for, so that memory follows the file's real size.

use std::io::{self, Read};

/// A packed file may unpack to at most this many times its own size (and to
/// `FREE_BYTES` in any case). Meshes in XML pack by 5 to 30 times; a file that packs by
/// more holds no shape, only repetition.
pub const MOST_EXPANSION: u64 = 100;

/// What any packed file may unpack to, bytes, however small it is.
pub(super) const FREE_BYTES: u64 = 4 << 20;

/// The least that a facet or a vertex takes in an unpacked 3MF: `<vertex x="0" y="0" z="0"/>`.
const LEAST_BYTES: u64 = 28;

/// What a packed file may unpack to, bytes.
pub(super) fn unpacked_bytes(packed_bytes: u64) -> u64 {
    packed_bytes.saturating_mul(MOST_EXPANSION).max(FREE_BYTES)
}

/// How many facets or vertices a packed file may make by placing its objects again and again:
/// as many as it could have spelt out.
pub(super) fn placed(packed_bytes: u64) -> u64 {
    unpacked_bytes(packed_bytes) / LEAST_BYTES
}

/// A reader that refuses to hand out more than an allowance, which it shares with others.
pub(super) struct Capped<'a, R> {
    pub(super) inner: R,
    pub(super) left: &'a mut u64,
}

/// What [`Capped`] says, to be found inside the error of whoever reads through it.
pub(super) const OVER_ALLOWANCE: &str = "unpacks to more than is allowed";

impl<R: Read> Read for Capped<'_, R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let count = self.inner.read(buffer)?;
        match self.left.checked_sub(count as u64) {
            Some(left) => *self.left = left,
            None => return Err(io::Error::other(OVER_ALLOWANCE)),
        }
        Ok(count)
    }
}
