//! Documents in RON: what is read can be written, and reading that gives the same.

use std::fmt::Debug;

use calibrate::patches::Patches;
use package::bundle::Manifest;
use plan::ron_text::{self, Document};
use plan::{Machine, Plan, Schedule, SpoolSet, TextError};
use project::signoff::Signatures;
use weave::dialect::{Dialect, Listener, Speaker};

pub(super) fn plan(bytes: &[u8]) {
    document(bytes, Plan::from_ron, |plan| {
        plan.sha256().expect("a sound plan has a hash");
    });
}

pub(super) fn machine(bytes: &[u8]) {
    document(bytes, Machine::from_ron, |_| {});
}

/// Spools of which only the colours are known, and measured ones.
pub(super) fn spools(bytes: &[u8]) {
    let Some(set) = told(bytes, SpoolSet::from_ron) else {
        return;
    };
    let text = match &set.measured {
        Some(measured) => ron_text::write(measured),
        None => set.to_ron(),
    };
    let text = text.expect("what was read can be written");
    assert_eq!(SpoolSet::from_ron(&text).expect("what was written"), set);
}

pub(super) fn schedule(bytes: &[u8]) {
    document(bytes, Schedule::from_ron, |_| {});
}

pub(super) fn signatures(bytes: &[u8]) {
    document(bytes, Signatures::from_ron, |signatures: &Signatures| {
        for signature in &signatures.list {
            let _ = signature.signed_plan();
        }
    });
}

pub(super) fn manifest(bytes: &[u8]) {
    document(bytes, Manifest::from_ron, |manifest: &Manifest| {
        let _ = manifest.sums();
    });
}

pub(super) fn patches(bytes: &[u8]) {
    document(bytes, Patches::from_ron, |_| {});
}

/// What a dialect says, it understands.
pub(super) fn dialect(bytes: &[u8]) {
    document(bytes, Dialect::from_ron, |dialect: &Dialect| {
        let blend = blend::Shares::from_weights(&[1.0, 2.0]).expect("shares");
        if let Ok(mut speaker) = Speaker::new(dialect, 2) {
            let mut listener = Listener::new(dialect, 2).expect("it speaks, so it listens");
            let text = speaker.change(&blend).unwrap_or_default();
            for line in text.lines() {
                let mut words = Vec::new();
                let _ = listener.hear(&toolpath::Line::parse(line.as_bytes(), &mut words));
            }
        }
    });
}

fn document<D: Document + PartialEq + Debug>(
    bytes: &[u8],
    read: impl Fn(&str) -> Result<D, TextError>,
    look: impl Fn(&D),
) {
    let Some(document) = told(bytes, &read) else {
        return;
    };
    look(&document);
    let text = ron_text::write(&document).expect("what was read can be written");
    let again = read(&text).unwrap_or_else(|error| panic!("{error}\nin\n{text}"));
    assert_eq!(again, document, "{text}");
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
