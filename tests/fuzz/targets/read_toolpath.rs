//! Fuzzes the reader of toolpaths, up to moves that are cut.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    tintfall_tests::readers::toolpath::read_toolpath(bytes);
});
