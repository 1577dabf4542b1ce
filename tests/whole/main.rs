//! The main job from end to end on the demonstration parts: what must hold of any plan.

mod demo_parts;
