//! Fuzzes the weaving of toolpaths in another order, up to the laws of that.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    tintfall_tests::readers::weave::reorder_toolpath(bytes);
});
