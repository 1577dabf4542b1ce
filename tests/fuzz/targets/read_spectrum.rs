//! Fuzzes the reader of spectra.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    tintfall_tests::readers::tables::read_spectrum(bytes);
});
