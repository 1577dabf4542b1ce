//! Documents in RON: what is read can be written, and reading that gives the same.

use std::fmt::Debug;

use blend::Shares;
use calibrate::patches::Patches;
use package::bundle::Manifest;
use plan::ron_text::{self, Document};
use plan::{Machine, Plan, Schedule, SpoolSet, TextError};
use project::record::{Record, file_names};
use project::signoff::Signatures;
use weave::dialect::{Dialect, DialectError, Heard, Listener, Speaker};

use super::Answer;

/// Plans.
pub fn read_plan(bytes: &[u8]) -> Answer {
    document(bytes, Plan::from_ron, |plan| {
        plan.sha256().expect("a sound plan has a hash");
    })
}

/// Machine files.
pub fn read_machine(bytes: &[u8]) -> Answer {
    document(bytes, Machine::from_ron, |_| {})
}

/// Spools of which only the colours are known, and measured ones.
pub fn read_spools(bytes: &[u8]) -> Answer {
    let Some(set) = told(bytes, SpoolSet::from_ron) else {
        return Answer::Refused;
    };
    let text = match &set.measured {
        Some(measured) => ron_text::write(measured),
        None => set.to_ron(),
    };
    let text = text.expect("what was read can be written");
    assert_eq!(SpoolSet::from_ron(&text).expect("what was written"), set);
    Answer::Read
}

/// Schedules.
pub fn read_schedule(bytes: &[u8]) -> Answer {
    document(bytes, Schedule::from_ron, |_| {})
}

/// Signatures. A plan is only taken for the signed one if its own hash says so.
pub fn read_signatures(bytes: &[u8]) -> Answer {
    document(bytes, Signatures::from_ron, |signatures: &Signatures| {
        for signature in &signatures.list {
            if let Some(plan) = signature.signed_plan() {
                let hash = plan.sha256().expect("a sound plan has a hash");
                assert_eq!(hash, signature.seal.contents_sha256);
            }
        }
    })
}

/// A hand-off's manifest. Its list of sums has a line for each file, whatever they are named.
pub fn read_manifest(bytes: &[u8]) -> Answer {
    document(bytes, Manifest::from_ron, |manifest: &Manifest| {
        let sums = manifest.sums();
        let read_back = sums.split_terminator('\n').map(|l| l.split_once("  "));
        let files = manifest.files.iter();
        let named = files.map(|f| Some((f.sha256.as_str(), f.name.as_str())));
        assert!(read_back.eq(named), "{sums}");
    })
}

/// The record of a print. Its files are those that a record has, so none is outside of it, and a
/// page can look up what each row is of.
pub fn read_record(bytes: &[u8]) -> Answer {
    document(bytes, Record::from_ron, |record: &Record| {
        let names = record.files.iter().map(|file| file.name.as_str());
        assert!(names.eq(file_names(record.photographs.len())));
        assert!(record.rows.iter().all(|r| r.region < record.regions.len()));
        assert_eq!(record.summary.is_none(), record.rows.is_empty());
    })
}

/// Places of a photograph's patches.
pub fn read_patches(bytes: &[u8]) -> Answer {
    document(bytes, Patches::from_ron, |_| {})
}

/// Dialects. What one says, it understands: the blend that was said, as far as its decimals go.
pub fn read_dialect(bytes: &[u8]) -> Answer {
    document(bytes, Dialect::from_ron, |dialect: &Dialect| {
        let mut speaker = match Speaker::new(dialect, 2) {
            Ok(speaker) => speaker,
            Err(error) => return assert!(matches!(error, DialectError::Letters { .. }), "{error}"),
        };
        let mut listener = Listener::new(dialect, 2).expect("it speaks, so it listens");
        for weights in [[1.0, 2.0], [1.0, 0.0], [1.0, 2.0], [9.0, 1.0]] {
            let said = Shares::from_weights(&weights).expect("shares");
            let lines = speaker.change(&said).expect("another blend than before");
            let text = format!("{lines}\nG1 X1 E1{}\n", speaker.words());
            let heard = last_heard(&mut listener, &text).expect("a change");
            let rounded = dialect.rounded(&said);
            let mut pairs = heard.as_slice().iter().zip(rounded.as_slice());
            assert!(
                pairs.all(|(a, b)| (a - b).abs() < 1e-9),
                "{rounded:?} was said and {heard:?} heard in\n{text}"
            );
        }
    })
}

/// The last change of blend that is heard in a text.
fn last_heard(listener: &mut Listener, text: &str) -> Option<Shares> {
    let mut words = Vec::new();
    let heard = text.lines().map(|line| {
        let line = toolpath::Line::parse(line.as_bytes(), &mut words);
        listener.hear(&line)
    });
    let changes = heard.filter_map(|heard| match heard {
        Heard::Change(blend) => Some(blend),
        Heard::Unclear(what) => panic!("{what} in\n{text}"),
        Heard::Nothing | Heard::Noted => None,
    });
    changes.last()
}

fn document<D: Document + PartialEq + Debug>(
    bytes: &[u8],
    read: impl Fn(&str) -> Result<D, TextError>,
    look: impl Fn(&D),
) -> Answer {
    let Some(document) = told(bytes, &read) else {
        return Answer::Refused;
    };
    look(&document);
    let text = ron_text::write(&document).expect("what was read can be written");
    let again = read(&text).unwrap_or_else(|error| panic!("{error}\nin\n{text}"));
    assert_eq!(again, document, "{text}");
    Answer::Read
}

/// A value, or faults that each have a place in the text.
fn told<T>(bytes: &[u8], read: impl Fn(&str) -> Result<T, TextError>) -> Option<T> {
    let text = std::str::from_utf8(bytes).ok()?;
    match read(text) {
        Ok(value) => Some(value),
        Err(error) => {
            assert!(!error.faults.is_empty());
            let lines = text.matches('\n').count() + 1;
            for fault in &error.faults {
                assert!((1..=lines).contains(&fault.spot.line), "{fault}");
                assert!(fault.spot.column >= 1 && !fault.what.is_empty());
            }
            None
        }
    }
}
