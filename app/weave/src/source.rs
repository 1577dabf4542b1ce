//! A toolpath that can be read several times, and must be the same each time.

use std::cell::RefCell;
use std::fs::{self, File};
use std::io::{self, Read};
use std::path::Path;
use std::rc::Rc;

use crate::WeaveError;
use crate::error::Changed;

/// Bytes between two marks by which a pass is held against those before it.
const BLOCK: u64 = 1 << 20;

/// A toolpath that can be read several times. A pass that finds other bytes than one before it,
/// or another length, fails with [`WeaveError::Changed`]: what the passes found out would not
/// fit together.
pub struct Source<'a> {
    open: &'a dyn Fn() -> io::Result<Box<dyn Read>>,
    size_bytes: u64,
    seen: Rc<RefCell<Seen>>,
}

impl<'a> Source<'a> {
    /// `open` opens it at its beginning; `size_bytes` tells how far a pass is, and may be 0 if
    /// nobody asks.
    pub fn new(open: &'a dyn Fn() -> io::Result<Box<dyn Read>>, size_bytes: u64) -> Self {
        Self {
            open,
            size_bytes,
            seen: Rc::default(),
        }
    }

    /// Does something with a file.
    ///
    /// # Errors
    /// [`WeaveError::Open`] when there is no such file.
    pub fn with_file<T>(path: &Path, work: impl FnOnce(&Source<'_>) -> T) -> Result<T, WeaveError> {
        let size_bytes = fs::metadata(path).map_err(WeaveError::Open)?.len();
        let open = || -> io::Result<Box<dyn Read>> { Ok(Box::new(File::open(path)?)) };
        Ok(work(&Source::new(&open, size_bytes)))
    }

    /// Its size as far as it is known, bytes.
    pub(crate) fn size_bytes(&self) -> u64 {
        self.size_bytes
    }

    /// Begins a pass.
    pub(crate) fn read(&self) -> Result<Box<dyn Read>, WeaveError> {
        Ok(Box::new(Pass {
            file: (self.open)().map_err(WeaveError::Open)?,
            seen: Rc::clone(&self.seen),
            bytes: 0,
            check: crc32fast::Hasher::new(),
        }))
    }
}

/// What passes have seen of a file.
#[derive(Default)]
struct Seen {
    /// The CRC-32 of everything before the end of each block.
    checks: Vec<u32>,
    /// Length and CRC-32 of the whole file.
    whole: Option<(u64, u32)>,
}

/// One pass over a file.
struct Pass {
    file: Box<dyn Read>,
    seen: Rc<RefCell<Seen>>,
    bytes: u64,
    /// Of everything read so far.
    check: crc32fast::Hasher,
}

impl Read for Pass {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if buffer.is_empty() {
            return Ok(0);
        }
        let count = self.file.read(buffer)?;
        let mut rest = buffer.get(..count).unwrap_or_default();
        let mut seen = self.seen.borrow_mut();
        if rest.is_empty() {
            let here = (self.bytes, self.check.clone().finalize());
            return same(*seen.whole.get_or_insert(here) == here).map(|()| 0);
        }
        while !rest.is_empty() {
            let room = BLOCK - self.bytes % BLOCK;
            let (now, later) = rest.split_at(rest.len().min(room as usize));
            self.check.update(now);
            self.bytes += now.len() as u64;
            rest = later;
            if self.bytes.is_multiple_of(BLOCK) {
                let check = self.check.clone().finalize();
                let block = (self.bytes / BLOCK - 1) as usize;
                match seen.checks.get(block) {
                    Some(&before) => same(before == check)?,
                    None => seen.checks.push(check),
                }
            }
        }
        same(seen.whole.is_none_or(|(bytes, _)| self.bytes <= bytes)).map(|()| count)
    }
}

fn same(same: bool) -> io::Result<()> {
    match same {
        true => Ok(()),
        false => Err(io::Error::other(Changed)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::error::is_change;
    use std::cell::Cell;

    /// What a second pass says of `later`, after a first one over `before`.
    fn second(before: &[u8], later: &[u8], first_bytes: usize) -> io::Result<Vec<u8>> {
        let (before, later) = (before.to_vec(), later.to_vec());
        let pass = Cell::new(0);
        let open = || -> io::Result<Box<dyn Read>> {
            let file = if pass.get() == 0 { &before } else { &later };
            pass.set(pass.get() + 1);
            Ok(Box::new(io::Cursor::new(file.clone())))
        };
        let source = Source::new(&open, 0);
        let mut first = source.read().expect("opened");
        let mut start = vec![0; first_bytes.min(before.len())];
        first.read_exact(&mut start).expect("read");
        if first_bytes >= before.len() {
            assert_eq!(first.read(&mut [0]).expect("read"), 0);
        }
        let mut all = Vec::new();
        let mut again = source.read().expect("opened");
        again.read_to_end(&mut all).map(|_| all)
    }

    #[test]
    fn a_file_that_changes_between_passes_is_noticed() {
        let whole = vec![b'1'; (BLOCK * 2 + 77) as usize];
        assert_eq!(second(&whole, &whole, usize::MAX).expect("the same"), whole);
        let told = |later: &[u8]| is_change(&second(&whole, later, usize::MAX).unwrap_err());
        for place in [0, BLOCK as usize, whole.len() - 1] {
            let mut other = whole.clone();
            other[place] = b'2';
            assert!(told(&other), "another byte at {place}");
        }
        assert!(told(&whole[..whole.len() - 1]), "cut off");
        assert!(told(&[&whole[..], b"1"].concat()), "grown");
        assert!(told(&[]), "emptied");
    }

    #[test]
    fn a_pass_that_stops_early_holds_for_what_it_read() {
        let whole = vec![b'1'; (BLOCK * 2) as usize];
        let mut other = whole.clone();
        other[BLOCK as usize + 5] = b'2';
        let early = BLOCK as usize + 1;
        assert_eq!(
            second(&whole, &other, early).expect("not read before"),
            other
        );
        other[5] = b'2';
        assert!(is_change(&second(&whole, &other, early).unwrap_err()));
    }
}
