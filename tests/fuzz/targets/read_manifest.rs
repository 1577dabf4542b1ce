//! Fuzzes the reader of a hand-off's manifest.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    tintfall_tests::readers::texts::read_manifest(bytes);
});
