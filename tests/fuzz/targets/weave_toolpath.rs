//! Fuzzes the reader of toolpaths, up to the check of what was woven.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    tintfall_tests::readers::weave::weave_toolpath(bytes);
});
