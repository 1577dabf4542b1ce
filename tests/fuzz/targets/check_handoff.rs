//! Fuzzes the reader of hand-offs.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    tintfall_tests::readers::bundle::check_handoff(bytes);
});
