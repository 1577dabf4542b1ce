//! Fuzzes the reader of signatures.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    tintfall_tests::readers::texts::read_signatures(bytes);
});
