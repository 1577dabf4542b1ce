//! Fuzzes strokes on meshes of slivers.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    tintfall_tests::readers::strokes::draw_strokes(bytes);
});
