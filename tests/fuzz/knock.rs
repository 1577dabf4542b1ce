//! Knocks at the door that the variable `DOOR` names.
#![no_main]

use std::sync::OnceLock;

use libfuzzer_sys::fuzz_target;
use tintfall_tests::knocks::{DOORS, Door, named};

fn door() -> Door {
    let name = std::env::var("DOOR").unwrap_or_default();
    named(&name).unwrap_or_else(|| {
        let names: Vec<&str> = DOORS.iter().map(|d| d.name).collect();
        eprintln!("set DOOR to one of {}", names.join(", "));
        std::process::exit(2)
    })
}

fuzz_target!(|bytes: &[u8]| {
    static DOOR: OnceLock<Door> = OnceLock::new();
    (DOOR.get_or_init(door).knock)(bytes);
});
