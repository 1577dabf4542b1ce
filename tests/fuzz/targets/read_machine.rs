//! Fuzzes the reader of machine files.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    tintfall_tests::readers::texts::read_machine(bytes);
});
