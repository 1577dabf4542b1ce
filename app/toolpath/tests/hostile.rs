//! Files that are broken, foreign or mean no good: no panic, no wrong place, no growing memory.

use proptest::prelude::*;
use std::io::{self, Read};
use toolpath::{CautionKind, Pieces, ReadError, Replay, Settings, Step, Writer, split};

/// Runs a file, cutting every printing move, and gives the places passed.
fn run(input: impl Read) -> Result<(Vec<[f64; 3]>, Vec<CautionKind>), ReadError> {
    let mut replay = Replay::new(input, Settings::default());
    let mut writer = Writer::new(io::sink());
    let mut pieces = Pieces::new();
    let mut places = Vec::new();
    while let Some(seen) = replay.advance()? {
        if let Step::Move(m) = seen.step {
            assert!(m.to.iter().chain(&m.from).all(|v| v.abs() <= 10_000.0));
            assert!(m.extruded_mm.is_finite() && m.fresh_mm >= 0.0 && m.length_mm().is_finite());
            places.push(m.to);
            if split(
                &seen.line,
                seen.before,
                seen.after,
                &m,
                &[0.3, 0.6],
                &mut pieces,
            )
            .is_ok()
            {
                writer.pass_pieces(&seen.line, &pieces).expect("a sink");
                continue;
            }
        }
        writer.pass(&seen.line).expect("a sink");
    }
    let kinds = replay
        .cautions()
        .as_slice()
        .iter()
        .map(|c| c.kind)
        .collect();
    Ok((places, kinds))
}

#[test]
fn truncated_anywhere() {
    let file = b"G21\nM83\nN5 G1 X10.5 Y-3.25 E0.1234*83 (a) ; b\r\nG2 X1 I-3 J4 E1\nT0";
    for end in 0..=file.len() {
        run(&file[..end]).expect("text");
    }
}

#[test]
fn numbers_past_all_bounds() {
    let nines = "9".repeat(500);
    for text in [
        format!("G1 X{nines} E{nines}"),
        format!("G1 X1 E1\nG92 X-{nines} E{nines}\nG1 X2 E2"),
        format!("G{nines} M{nines} T{nines} N{nines}"),
        format!("N{nines} G1 X1*{nines}"),
        format!("G1 X0.{nines}e999"),
        format!("M200 D{nines}\nG1 X1 E1"),
        "M200 D0.000000000000000000000001\nG1 X1 E1".to_owned(),
        format!("G2 X1 R{nines}\nG2 X3 I{nines} J1 E1\nG3 X2 I0.00000000000000001 E1"),
        "G1 X1e999 Y-1e999".to_owned(),
        "G91\n".to_owned() + &"G1 X9000 E9000\n".repeat(50),
        "G1 F-5 X1 E-1e-999".to_owned(),
        "G1 Xnan Yinf E0x10".to_owned(),
    ] {
        run(text.as_bytes()).expect("text");
    }
}

#[test]
fn a_binary_file_is_refused() {
    let result = run(&b"PK\x03\x04\x14\x00\x00\x00G1 X1\n"[..]);
    assert!(matches!(result, Err(ReadError::Binary { line: 1, .. })));
}

#[test]
fn no_extrusion_and_extrusion_backwards() {
    let (places, kinds) = run(&b"G0 X1\nG0 X2\nM104 S200\n"[..]).expect("text");
    assert_eq!((places.len(), kinds.len()), (2, 0));
    let mut replay = Replay::new(
        &b"G1 X1 E-1\nG1 X2 E-2\nG1 X3 E-1.5\n"[..],
        Settings::default(),
    );
    while replay.advance().expect("text").is_some() {}
    assert_eq!(replay.state().most_fed_mm(), 0.0);
    assert_eq!(replay.state().fed_mm(), -1.5);
}

/// A stream of `left` comment bytes, in lines of a megabyte or none at all.
struct Comments {
    left: u64,
    line: u64,
}

impl Read for Comments {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        let n = self.left.min(out.len() as u64);
        for slot in &mut out[..n as usize] {
            self.left -= 1;
            *slot = if self.line > 0 && self.left.is_multiple_of(self.line) {
                b'\n'
            } else {
                b';'
            };
        }
        Ok(n as usize)
    }
}

#[test]
fn comments_without_end() {
    for line in [0, 100, 1 << 21] {
        let input = Comments {
            left: 20_000_000,
            line,
        };
        let (places, kinds) = run(input).expect("text");
        assert!(places.is_empty() && kinds.is_empty());
    }
}

#[test]
fn a_failing_disk_says_where() {
    struct Failing;
    impl Read for Failing {
        fn read(&mut self, _: &mut [u8]) -> io::Result<usize> {
            Err(io::Error::other("unplugged"))
        }
    }
    let error = run((&b"G1 X1\n"[..]).chain(Failing)).expect_err("it fails");
    assert_eq!(
        error.to_string(),
        "the toolpath can't be read at byte 6: unplugged"
    );
}

proptest! {
    #![proptest_config(ProptestConfig {
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn any_text_at_all(text in "[GMTNXYZEIJKRFPgxe0-9.\\-+*;()#% /\\n]{0,300}") {
        let seen = run(text.as_bytes());
        prop_assert!(seen.is_ok(), "{seen:?}");
    }

    #[test]
    fn any_bytes_at_all(bytes in proptest::collection::vec(any::<u8>(), 0..300)) {
        // A zero byte is the one thing that is refused.
        prop_assert_eq!(run(&bytes[..]).is_err(), bytes.contains(&0));
    }
}
