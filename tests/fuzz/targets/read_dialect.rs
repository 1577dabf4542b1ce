//! Fuzzes the reader of dialects, up to hearing what they say.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    tintfall_tests::readers::texts::read_dialect(bytes);
});
