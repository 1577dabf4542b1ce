//! The keyboard and the pace of input. Each key keeps the modifiers that were down when it was
//! pressed: on a slow frame several keys arrive at once, and the egui plugin would give them
//! all the modifiers of the last.

use bevy::input::ButtonState;
use bevy::input::keyboard::{Key, KeyboardFocusLost, KeyboardInput};
use bevy::prelude::*;
use bevy_egui::helpers::{bevy_to_egui_key, bevy_to_egui_physical_key};
use bevy_egui::input::ModifierKeysState;
use bevy_egui::{EguiContextSettings, EguiInput, egui};

use crate::panels::pacing::Pacer;

/// Holds events back until their frame.
#[derive(Resource, Default)]
pub(super) struct Pacing(Pacer);

impl Pacing {
    /// Whether events wait for the next frame.
    pub(super) fn waits(&self) -> bool {
        self.0.waits()
    }
}

/// The plugin leaves the keyboard to this module.
pub(super) fn take_keyboard(
    mut contexts: Query<&mut EguiContextSettings, Added<EguiContextSettings>>,
) {
    for mut settings in &mut contexts {
        settings
            .input_system_settings
            .run_write_keyboard_input_messages_system = false;
    }
}

/// Adds the keys to a frame's events, and leaves in it only what belongs to it.
pub(super) fn pace(
    mut inputs: Query<&mut EguiInput>,
    mut pacing: ResMut<Pacing>,
    mut keys: MessageReader<KeyboardInput>,
    mut lost: MessageReader<KeyboardFocusLost>,
    mut held: Local<ModifierKeysState>,
) {
    if lost.read().count() > 0 {
        *held = ModifierKeysState::default();
    }
    let mut typed = Vec::new();
    for key in keys.read() {
        typed.extend(events_of(key, &mut held));
    }
    for mut input in &mut inputs {
        // The plugin's own word on the modifiers is that of the frame's end.
        let pointer = std::mem::take(&mut input.events)
            .into_iter()
            .filter(|event| !matches!(event, egui::Event::ModifiersChanged(_)));
        let arrived: Vec<egui::Event> = pointer.chain(typed.drain(..)).collect();
        input.events = pacing.0.pace(arrived);
    }
}

/// What a key means to egui, and what it does to the modifiers.
fn events_of(input: &KeyboardInput, held: &mut ModifierKeysState) -> Vec<egui::Event> {
    let down = input.state == ButtonState::Pressed;
    let modifier = match input.logical_key {
        Key::Shift => Some(&mut held.shift),
        Key::Control => Some(&mut held.ctrl),
        Key::Alt => Some(&mut held.alt),
        Key::Super | Key::Meta => Some(&mut held.win),
        _ => None,
    };
    if let Some(modifier) = modifier {
        *modifier = down;
        return vec![egui::Event::ModifiersChanged(held.to_egui_modifiers())];
    }
    let mut events = Vec::new();
    if down && held.text_input_is_allowed() {
        let text = match &input.logical_key {
            Key::Character(text) if !text.contains(char::is_control) => Some(text.to_string()),
            Key::Space => Some(" ".to_owned()),
            _ => None,
        };
        events.extend(text.map(egui::Event::Text));
    }
    let physical_key = bevy_to_egui_physical_key(&input.key_code);
    // Layouts without Latin letters go by the place of the key.
    let Some(key) = bevy_to_egui_key(&input.logical_key).or(physical_key) else {
        return events;
    };
    events.push(egui::Event::Key {
        key,
        physical_key,
        pressed: down,
        repeat: false,
        modifiers: held.to_egui_modifiers(),
    });
    events
}
