//! Fuzzes the reader of fonts.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    tintfall_tests::readers::picture::read_font(bytes);
});
