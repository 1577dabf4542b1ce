//! Fuzzes the reader of tables of a test bar's readings, up to the fit.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    tintfall_tests::readers::tables::read_measured(bytes);
});
