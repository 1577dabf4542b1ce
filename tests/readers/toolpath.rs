//! Toolpaths: what nobody touches leaves byte for byte, and moves that are cut add up.

use std::io::{self, Read};

use ::toolpath::{Pieces, Replay, Settings, Step, Writer, split};

use super::Answer;

/// Hands out a few bytes at a time.
struct Drip<'a>(&'a [u8], usize);

impl Read for Drip<'_> {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        let count = self.1.min(out.len());
        let (now, later) = self.0.split_at(count.min(self.0.len()));
        out.get_mut(..now.len())
            .unwrap_or_default()
            .copy_from_slice(now);
        self.0 = later;
        Ok(now.len())
    }
}

/// A toolpath, up to moves that are cut.
pub fn read_toolpath(bytes: &[u8]) -> Answer {
    let whole = copied(bytes);
    assert_eq!(copied(Drip(bytes, 7)), whole);
    cut(bytes);
    match whole {
        Some(copy) => {
            assert!(copy == bytes, "what nobody touched was changed");
            Answer::Read
        }
        None => {
            assert!(bytes.contains(&0) || bytes.len() > 1 << 20);
            Answer::Refused
        }
    }
}

/// All lines, read and written again; `None` if it can't be read.
fn copied(input: impl Read) -> Option<Vec<u8>> {
    let mut replay = Replay::new(input, Settings::default());
    let mut writer = Writer::new(Vec::new());
    while let Some(seen) = replay.advance().ok()? {
        writer.pass(&seen.line).expect("memory");
    }
    Some(writer.finish().expect("memory"))
}

/// Every move that lays plastic in three pieces; the whole ends where it ended before.
fn cut(bytes: &[u8]) {
    let mut replay = Replay::new(bytes, Settings::default());
    let mut writer = Writer::new(Vec::new());
    let mut pieces = Pieces::new();
    let mut cuts = 0;
    while let Ok(Some(seen)) = replay.advance() {
        let mut done = false;
        if let Step::Move(step) = seen.step {
            assert!(step.to.iter().chain(&step.from).all(|v| v.is_finite()));
            assert!(step.extruded_mm.is_finite() && step.fresh_mm >= 0.0);
            assert!(step.length_mm().is_finite() && step.length_mm() >= 0.0);
            let (before, after) = (seen.before, seen.after);
            if step.prints()
                && split(&seen.line, before, after, &step, &[0.3, 0.6], &mut pieces).is_ok()
            {
                writer.pass_pieces(&seen.line, &pieces).expect("memory");
                cuts += 1;
                done = true;
            }
        }
        if !done {
            writer.pass(&seen.line).expect("memory");
        }
    }
    if cuts == 0 {
        return;
    }
    let text = writer.finish().expect("memory");
    let mut again = Replay::new(&text[..], Settings::default());
    while let Ok(Some(_)) = again.advance() {}
    let (before, after) = (replay.state(), again.state());
    for (a, b) in before.place_mm().into_iter().zip(after.place_mm()) {
        assert!((a - b).abs() < 1e-3, "{:?}", String::from_utf8_lossy(&text));
    }
}
