//! The main job from end to end on the demonstration parts: what must hold of any plan.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

mod demo_parts;
mod woven;
