//! Fuzzes the reader of readings of a lag test, up to the fit.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    tintfall_tests::readers::tables::read_lag(bytes);
});
