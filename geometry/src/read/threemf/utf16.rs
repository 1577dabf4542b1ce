//! XML in UTF-16, which packages may hold, as UTF-8.
//!
//! Source: Extensible Markup Language (XML) 1.0, fifth edition, 4.3.3 and appendix F:
//! UTF-16 text begins with a byte-order mark.

use std::io::{self, BufRead, BufReader, Cursor, Read};

/// Text that may be in UTF-16, as UTF-8. UTF-8 goes through as it is.
pub(super) fn decoded<'a>(mut source: impl BufRead + 'a) -> io::Result<Box<dyn BufRead + 'a>> {
    let is_big = match source.fill_buf()? {
        [0xfe, 0xff, ..] => true,
        [0xff, 0xfe, ..] => false,
        _ => return Ok(Box::new(source)),
    };
    source.consume(2);
    Ok(Box::new(BufReader::new(Decoder {
        source,
        is_big,
        held: None,
        text: Cursor::default(),
    })))
}

/// Code units read at a time.
const UNITS: u64 = 4096;

struct Decoder<R> {
    source: R,
    is_big: bool,
    /// The first half of a character of two units, whose second has not been read yet.
    held: Option<u16>,
    /// UTF-8 not handed out yet.
    text: Cursor<Vec<u8>>,
}

impl<R: BufRead> Decoder<R> {
    fn advance(&mut self) -> io::Result<()> {
        let mut bytes = Vec::new();
        self.source
            .by_ref()
            .take(2 * UNITS)
            .read_to_end(&mut bytes)?;
        let pairs = bytes.chunks_exact(2).map(|pair| match (pair, self.is_big) {
            (&[a, b], true) => u16::from_be_bytes([a, b]),
            (&[a, b], false) => u16::from_le_bytes([a, b]),
            _ => 0,
        });
        let mut units: Vec<u16> = self.held.take().into_iter().chain(pairs).collect();
        let more = bytes.len() as u64 == 2 * UNITS;
        if more && units.last().is_some_and(|u| (0xd800..0xdc00).contains(u)) {
            self.held = units.pop();
        }
        let letters = char::decode_utf16(units).map(|c| c.unwrap_or(char::REPLACEMENT_CHARACTER));
        self.text = Cursor::new(letters.collect::<String>().into_bytes());
        Ok(())
    }
}

impl<R: BufRead> Read for Decoder<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if self.text.position() >= self.text.get_ref().len() as u64 {
            self.advance()?;
        }
        self.text.read(buffer)
    }
}
