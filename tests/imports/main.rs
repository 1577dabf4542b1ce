//! Data flows one way, between crates and inside them.
//!
//! Crates may name only those that DEVELOPERS.md gives them, and each crate's files must not
//! lead back to themselves. What only tests name does not count.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "a test that cannot go on should stop"
)]

mod arrows;
mod modules;
mod planted;
mod workspace;

use std::collections::BTreeSet;

use arrows::{Arrows, arrows, circles};
use modules::Crate;

/// A circle in words: each arrow of it, with a path that makes it.
fn told(folder: &str, circle: &BTreeSet<String>, arrows: &Arrows) -> String {
    let mut text = format!("{folder}: a circle of {} files\n", circle.len());
    for from in circle {
        for (to, path) in arrows.get(from).into_iter().flatten() {
            if circle.contains(to) {
                text.push_str(&format!("    {from} -> {to}   by {path}\n"));
            }
        }
    }
    text
}

#[test]
fn no_file_leads_back_to_itself() {
    let mut text = String::new();
    for member in workspace::members() {
        let read = Crate::read(&member.files).expect("Rust");
        let arrows = arrows(&read);
        let found = circles(&arrows);
        for circle in &found {
            text.push_str(&told(&member.folder, circle, &arrows));
        }
    }
    assert!(text.is_empty(), "\n{text}");
}

#[test]
fn crates_name_those_of_the_map_and_no_others() {
    let mapped = workspace::map();
    let mut above: BTreeSet<&str> = BTreeSet::new();
    for (name, named) in &mapped {
        for other in named {
            assert!(
                above.contains(other.as_str()),
                "DEVELOPERS.md: {name} names {other}, which does not stand above it"
            );
        }
        above.insert(name);
    }
    let members = workspace::members();
    for member in &members {
        let drawn = mapped.iter().find(|(name, _)| *name == member.name);
        let (_, drawn) = drawn.unwrap_or_else(|| panic!("DEVELOPERS.md has no {}", member.name));
        assert_eq!(
            &member.dependencies, drawn,
            "{} and DEVELOPERS.md",
            member.name
        );
    }
    assert_eq!(mapped.len(), members.len(), "crates that are no more");
}
