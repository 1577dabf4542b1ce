//! One step a frame. On a slow frame a whole press, drag and release may arrive at once, and
//! Ctrl may be up again before the key that it was held for is looked at. Egui reads what it
//! is given against the frame's last state; so each frame gets no more than one such state.

use std::collections::VecDeque;

use egui::{Event, Modifiers};

/// Holds events back until the frame that they belong to.
#[derive(Debug, Default)]
pub struct Pacer {
    waiting: VecDeque<Event>,
    known: Modifiers,
}

impl Pacer {
    /// Takes what has arrived and gives the events of this frame: up to and with one press or
    /// release of a button, and no key after the modifiers have changed once more.
    pub fn pace(&mut self, arrived: impl IntoIterator<Item = Event>) -> Vec<Event> {
        self.waiting.extend(arrived);
        let mut now = Vec::new();
        while let Some(event) = self.waiting.pop_front() {
            match event {
                // The same again tells nothing new, and egui would draw another frame for it.
                Event::ModifiersChanged(to) if to == self.known => {}
                Event::ModifiersChanged(to) => {
                    if now.iter().any(hangs_on_modifiers) {
                        self.waiting.push_front(event);
                        break;
                    }
                    self.known = to;
                    now.push(event);
                }
                Event::PointerButton { .. } => {
                    now.push(event);
                    break;
                }
                event => now.push(event),
            }
        }
        now
    }

    /// Whether events wait for the next frame.
    pub fn waits(&self) -> bool {
        !self.waiting.is_empty()
    }
}

fn hangs_on_modifiers(event: &Event) -> bool {
    matches!(
        event,
        Event::Key { .. } | Event::PointerButton { .. } | Event::MouseWheel { .. }
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use egui::{Key, PointerButton, Pos2, pos2};

    fn key(key: Key, modifiers: Modifiers) -> Event {
        Event::Key {
            key,
            physical_key: None,
            pressed: true,
            repeat: false,
            modifiers,
        }
    }

    fn button(pos: Pos2, pressed: bool) -> Event {
        Event::PointerButton {
            pos,
            button: PointerButton::Primary,
            pressed,
            modifiers: Modifiers::NONE,
        }
    }

    #[test]
    fn keys_keep_the_modifiers_that_were_held_for_them() {
        let mut pacer = Pacer::default();
        let held = Modifiers::COMMAND;
        let all = vec![
            Event::ModifiersChanged(held),
            key(Key::S, held),
            Event::ModifiersChanged(Modifiers::NONE),
            key(Key::A, Modifiers::NONE),
        ];
        let first = pacer.pace(all.clone());
        assert_eq!(first, all[..2]);
        assert!(pacer.waits());
        assert_eq!(pacer.pace([]), all[2..]);
        assert!(!pacer.waits());
        assert_eq!(pacer.pace([Event::ModifiersChanged(Modifiers::NONE)]), []);
    }

    #[test]
    fn a_drag_that_arrives_at_once_is_still_a_drag() {
        let (from, to) = (pos2(1.0, 1.0), pos2(9.0, 90.0));
        let all = vec![
            Event::PointerMoved(from),
            button(from, true),
            Event::PointerMoved(to),
            button(to, false),
            Event::PointerMoved(from),
        ];
        let mut pacer = Pacer::default();
        assert_eq!(pacer.pace(all.clone()), all[..2]);
        assert_eq!(pacer.pace([]), all[2..4]);
        assert_eq!(pacer.pace([]), all[4..]);
        assert!(!pacer.waits());
    }
}
