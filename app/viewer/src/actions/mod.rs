//! Everything that can be done by a key, a button or the list of actions: one table, so that
//! the buttons' hints, the overlay of keys and the keyboard itself can't disagree.

use egui::{Key, KeyboardShortcut, Modifiers};

use crate::paint::Mirror;
use crate::state::camera::Side;
use crate::state::follow::Entering;
use crate::state::hand::Tool;
use crate::state::view::Look;

/// Something that can be done.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Action {
    /// Ask for a file and open it.
    Open,
    /// Save the plan where it came from.
    Save,
    /// Save the plan elsewhere.
    SaveAs,
    /// Write schedule and sheet.
    Prepare,
    /// Show the page of the person's own toolpath.
    Weave,
    /// Read the woven file back.
    ReadBack,
    /// Follow the strands of the woven file, or leave off.
    Follow,
    /// Step by moves while following.
    Moves(i32),
    /// Go to the first or the last move of the layer.
    EnterLayer(Entering),
    /// Go to the start page.
    Close,
    /// Take back the last change.
    Undo,
    /// Make the change again.
    Redo,
    /// Take a tool.
    Take(Tool),
    /// The next mirror plane.
    NextMirror,
    /// Set the mirror plane.
    Mirror(Mirror),
    /// Change the brush by a factor.
    Brush(f64),
    /// Add a band about the layer cursor.
    AddBand,
    /// Start a new painted area.
    NewArea,
    /// Choose the region above.
    ChooseAbove,
    /// Choose the region below.
    ChooseBelow,
    /// Give the chosen region a new name.
    Rename,
    /// Copy the chosen region.
    Duplicate,
    /// Delete the chosen region.
    Delete,
    /// Move the chosen region up.
    Raise,
    /// Move the chosen region down.
    Lower,
    /// Hide or show the chosen region.
    Hide,
    /// Lock or unlock the chosen region.
    Lock,
    /// Join the chosen region with the one below it.
    Combine,
    /// Level the view.
    Level,
    /// Show the whole part.
    Fit,
    /// Look along an axis.
    LookFrom(Side),
    /// Change between parallel and perspective.
    Lens,
    /// Turn the view by degrees about the vertical and up or down.
    Turn(i32, i32),
    /// Zoom by a factor.
    Zoom(f64),
    /// Cut the part open at the layer cursor, or close it.
    Cut,
    /// Move the layer cursor by layers.
    Layers(i32),
    /// What colours are shown.
    Show(Look),
    /// The next kind of colours.
    NextLook,
    /// Change between light and dark.
    Shade,
    /// Larger text and controls.
    Larger,
    /// Smaller text and controls.
    Smaller,
    /// The system's own size.
    PlainSize,
    /// Show or hide the help page.
    Help,
    /// Show or hide the keys.
    Keys,
    /// Find an action by name.
    Find,
    /// Leave off: close what is open, drop what is being drawn.
    LeaveOff,
    /// Paint at the middle of the stage, for those who steer by keys.
    DabAtMiddle,
}

/// Where an action stands in the overlay.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Group {
    /// Files.
    Files,
    /// Regions and changes.
    Regions,
    /// The person's own toolpath.
    Toolpath,
    /// Tools.
    Tools,
    /// The view.
    View,
    /// The window.
    Window,
}

impl Group {
    /// All of them, in order.
    pub const ALL: [Self; 6] = [
        Self::Files,
        Self::Regions,
        Self::Toolpath,
        Self::Tools,
        Self::View,
        Self::Window,
    ];

    /// In words.
    pub fn name(self) -> &'static str {
        match self {
            Self::Files => "Files",
            Self::Regions => "Regions",
            Self::Toolpath => "Toolpath",
            Self::Tools => "Tools",
            Self::View => "View",
            Self::Window => "Window",
        }
    }
}

/// One line of the table.
#[derive(Clone, Copy, Debug)]
pub struct Entry {
    /// What is done.
    pub action: Action,
    /// Its group.
    pub group: Group,
    /// Its name.
    pub name: &'static str,
    /// What it does, in a sentence.
    pub hint: &'static str,
    /// Its keys.
    pub keys: Option<KeyboardShortcut>,
}

const fn plain(key: Key) -> Option<KeyboardShortcut> {
    Some(KeyboardShortcut::new(Modifiers::NONE, key))
}

const fn shift(key: Key) -> Option<KeyboardShortcut> {
    Some(KeyboardShortcut::new(Modifiers::SHIFT, key))
}

const fn alt(key: Key) -> Option<KeyboardShortcut> {
    Some(KeyboardShortcut::new(Modifiers::ALT, key))
}

const fn ctrl(key: Key) -> Option<KeyboardShortcut> {
    Some(KeyboardShortcut::new(Modifiers::COMMAND, key))
}

const fn ctrl_shift(key: Key) -> Option<KeyboardShortcut> {
    let both = Modifiers::COMMAND.plus(Modifiers::SHIFT);
    Some(KeyboardShortcut::new(both, key))
}

const fn entry(
    action: Action,
    group: Group,
    name: &'static str,
    keys: Option<KeyboardShortcut>,
    hint: &'static str,
) -> Entry {
    Entry {
        action,
        group,
        name,
        hint,
        keys,
    }
}

/// The table.
#[rustfmt::skip]
pub const ALL: &[Entry] = &[
    entry(Action::Open, Group::Files, "Open", ctrl(Key::O), "Open a plan or a mesh."),
    entry(Action::Save, Group::Files, "Save", ctrl(Key::S), "Save the plan."),
    entry(Action::SaveAs, Group::Files, "Save as", ctrl_shift(Key::S), "Save the plan under another name."),
    entry(Action::Prepare, Group::Files, "Prepare", ctrl(Key::Enter), "Write the schedule and the sheet for printing."),
    entry(Action::Close, Group::Files, "Start page", ctrl(Key::W), "Close this part and go to the start page."),

    entry(Action::Undo, Group::Regions, "Undo", ctrl(Key::Z), "Take back the last change."),
    entry(Action::Redo, Group::Regions, "Redo", ctrl_shift(Key::Z), "Make again the change that was taken back."),
    entry(Action::AddBand, Group::Regions, "Add a band", ctrl(Key::B), "Add a band about the layer cursor."),
    entry(Action::NewArea, Group::Regions, "Start a new area", ctrl(Key::N), "The next stroke begins a region of its own."),
    entry(Action::ChooseAbove, Group::Regions, "Choose the region above", alt(Key::ArrowUp), "Choose the next region up the list."),
    entry(Action::ChooseBelow, Group::Regions, "Choose the region below", alt(Key::ArrowDown), "Choose the next region down the list."),
    entry(Action::Raise, Group::Regions, "Move up", ctrl(Key::ArrowUp), "Move the chosen region up: it then covers more."),
    entry(Action::Lower, Group::Regions, "Move down", ctrl(Key::ArrowDown), "Move the chosen region down."),
    entry(Action::Rename, Group::Regions, "Rename", plain(Key::F2), "Give the chosen region another name."),
    entry(Action::Duplicate, Group::Regions, "Duplicate", ctrl(Key::D), "Copy the chosen region."),
    entry(Action::Combine, Group::Regions, "Combine with the one below", ctrl(Key::J), "Join the chosen region's area with that of the region below it, which keeps its blend."),
    entry(Action::Hide, Group::Regions, "Hide or show", plain(Key::H), "Leave the chosen region out, or take it in again."),
    entry(Action::Lock, Group::Regions, "Lock or unlock", plain(Key::K), "Guard the chosen region against changes."),
    entry(Action::Delete, Group::Regions, "Delete", plain(Key::Delete), "Delete the chosen region."),

    entry(Action::Weave, Group::Toolpath, "Weave", ctrl_shift(Key::Enter), "Put the plan's blends into your own sliced toolpath."),
    entry(Action::ReadBack, Group::Toolpath, "Check the woven file", plain(Key::V), "Read the woven file back, to see whether it is the same print and in the plan's colours."),
    entry(Action::Follow, Group::Toolpath, "Follow the strand", plain(Key::W), "Step through the woven file layer by layer and move by move, in the colours that come out."),
    entry(Action::Moves(1), Group::Toolpath, "One move on", alt(Key::ArrowRight), "Lay the next move of the layer; after its last, go up to the next layer."),
    entry(Action::Moves(-1), Group::Toolpath, "One move back", alt(Key::ArrowLeft), "Take the last move away again; before the first, go down a layer."),
    entry(Action::Moves(50), Group::Toolpath, "Fifty moves on", ctrl(Key::ArrowRight), "Lay the next fifty moves of the layer."),
    entry(Action::Moves(-50), Group::Toolpath, "Fifty moves back", ctrl(Key::ArrowLeft), "Take the last fifty moves away again."),
    entry(Action::EnterLayer(Entering::First), Group::Toolpath, "First move of the layer", plain(Key::Home), "Show only the layer's first move."),
    entry(Action::EnterLayer(Entering::Last), Group::Toolpath, "Whole layer", plain(Key::End), "Show all moves of the layer."),

    entry(Action::Take(Tool::Turn), Group::Tools, "Turn", plain(Key::T), "Turn the part by dragging; click to choose the region under the pointer."),
    entry(Action::Take(Tool::Brush), Group::Tools, "Brush", plain(Key::B), "Paint on the part."),
    entry(Action::Take(Tool::RubOut), Group::Tools, "Rub out", plain(Key::R), "Take paint off the chosen region."),
    entry(Action::Take(Tool::Straight), Group::Tools, "Straight stroke", plain(Key::S), "Paint a straight stroke from one click to the next."),
    entry(Action::Take(Tool::Grow), Group::Tools, "Grow to the creases", plain(Key::G), "Fill the face under the pointer up to its sharp edges."),
    entry(Action::Take(Tool::Band), Group::Tools, "Band", plain(Key::N), "Make a band between the heights of two clicks."),
    entry(Action::NextMirror, Group::Tools, "Mirror", plain(Key::M), "Paint on both sides of the part at once: left and right, front and back, or not."),
    entry(Action::Brush(1.0 / 1.25), Group::Tools, "Smaller brush", plain(Key::Comma), "Make the brush smaller."),
    entry(Action::Brush(1.25), Group::Tools, "Larger brush", plain(Key::Period), "Make the brush larger."),
    entry(Action::DabAtMiddle, Group::Tools, "Use the tool at the middle", plain(Key::Enter), "Use the tool at the middle of the stage, where the cross is: to paint by keys."),

    entry(Action::Level, Group::View, "Level", plain(Key::L), "Set the view level: the part lines up with the ribbon."),
    entry(Action::Fit, Group::View, "Fit", plain(Key::F), "Show the whole part."),
    entry(Action::Turn(-15, 0), Group::View, "Turn left", plain(Key::ArrowLeft), "Turn the part to the left."),
    entry(Action::Turn(15, 0), Group::View, "Turn right", plain(Key::ArrowRight), "Turn the part to the right."),
    entry(Action::Turn(0, 15), Group::View, "Tilt down", shift(Key::ArrowUp), "Look more from above."),
    entry(Action::Turn(0, -15), Group::View, "Tilt up", shift(Key::ArrowDown), "Look more from below."),
    entry(Action::Zoom(1.25), Group::View, "Zoom in", plain(Key::Plus), "Show the part larger."),
    entry(Action::Zoom(0.8), Group::View, "Zoom out", plain(Key::Minus), "Show the part smaller."),
    entry(Action::LookFrom(Side::Front), Group::View, "From the front", alt(Key::Num1), "Look at the front."),
    entry(Action::LookFrom(Side::Right), Group::View, "From the right", alt(Key::Num2), "Look at the right side."),
    entry(Action::LookFrom(Side::Back), Group::View, "From the back", alt(Key::Num3), "Look at the back."),
    entry(Action::LookFrom(Side::Left), Group::View, "From the left", alt(Key::Num4), "Look at the left side."),
    entry(Action::LookFrom(Side::Top), Group::View, "From above", alt(Key::Num5), "Look straight down."),
    entry(Action::LookFrom(Side::Under), Group::View, "From below", alt(Key::Num6), "Look straight up."),
    entry(Action::Lens, Group::View, "Parallel or perspective", plain(Key::P), "Show depth by size, or not."),
    entry(Action::Cut, Group::View, "Look inside", plain(Key::C), "Cut the part open at the layer cursor."),
    entry(Action::Layers(1), Group::View, "One layer up", plain(Key::ArrowUp), "Move the layer cursor up by a layer."),
    entry(Action::Layers(-1), Group::View, "One layer down", plain(Key::ArrowDown), "Move the layer cursor down by a layer."),
    entry(Action::Layers(10), Group::View, "Ten layers up", plain(Key::PageUp), "Move the layer cursor up by ten layers."),
    entry(Action::Layers(-10), Group::View, "Ten layers down", plain(Key::PageDown), "Move the layer cursor down by ten layers."),
    entry(Action::NextLook, Group::View, "Colours as asked or as printed", plain(Key::A), "Change between the colours asked for, those predicted from the machine, and their difference."),

    entry(Action::Shade, Group::Window, "Light or dark", ctrl(Key::L), "Change between light and dark."),
    entry(Action::Larger, Group::Window, "Larger text", ctrl(Key::Plus), "Make text and controls larger."),
    entry(Action::Smaller, Group::Window, "Smaller text", ctrl(Key::Minus), "Make text and controls smaller."),
    entry(Action::PlainSize, Group::Window, "Usual text size", ctrl(Key::Num0), "Set text and controls to their usual size."),
    entry(Action::Help, Group::Window, "Help and cautions", plain(Key::F1), "How the window is used, and what to be careful of."),
    entry(Action::Keys, Group::Window, "Keys", plain(Key::Questionmark), "All keys on one page."),
    entry(Action::Find, Group::Window, "Find an action", ctrl(Key::K), "Find an action by its name."),
    entry(Action::LeaveOff, Group::Window, "Leave off", plain(Key::Escape), "Close what is open; drop what is being drawn."),
];

/// The table's line for an action.
pub fn find(action: Action) -> Option<&'static Entry> {
    ALL.iter().find(|e| e.action == action)
}

/// The actions that words may mean, the likeliest first: names that are just so, names that
/// begin so, names that hold the words, and what only its hint tells.
pub fn named_like(text: &str) -> Vec<&'static Entry> {
    let text = text.trim().to_lowercase();
    let rank = |entry: &Entry| {
        let name = entry.name.to_lowercase();
        let whole = format!("{name} {}", entry.hint.to_lowercase());
        let holds = |all: &str| text.split_whitespace().all(|word| all.contains(word));
        match () {
            () if name == text => Some(0),
            () if name.starts_with(&text) => Some(1),
            () if holds(&name) => Some(2),
            () => holds(&whole).then_some(3),
        }
    };
    let mut found: Vec<(u8, &Entry)> = ALL.iter().filter_map(|e| Some((rank(e)?, e))).collect();
    found.sort_by_key(|(rank, _)| *rank);
    found.into_iter().map(|(_, entry)| entry).collect()
}

/// Keys as a person reads them.
pub fn keys_text(keys: KeyboardShortcut) -> String {
    let mut text = String::new();
    for (on, name) in [
        (keys.modifiers.command || keys.modifiers.ctrl, "Ctrl+"),
        (keys.modifiers.alt, "Alt+"),
        (keys.modifiers.shift, "Shift+"),
    ] {
        if on {
            text.push_str(name);
        }
    }
    let key = match keys.logical_key {
        Key::ArrowUp => "Up",
        Key::ArrowDown => "Down",
        Key::ArrowLeft => "Left",
        Key::ArrowRight => "Right",
        Key::PageUp => "Page up",
        Key::PageDown => "Page down",
        Key::Comma => ",",
        Key::Period => ".",
        Key::Plus => "+",
        Key::Minus => "−",
        Key::Questionmark => "?",
        Key::Escape => "Esc",
        other => other.name(),
    };
    text.push_str(key);
    text
}

/// A button's hint: what it does and its keys.
pub fn hint(action: Action) -> String {
    match find(action) {
        Some(entry) => match entry.keys {
            Some(keys) => format!("{}  ({})", entry.hint, keys_text(keys)),
            None => entry.hint.to_owned(),
        },
        None => String::new(),
    }
}

/// The actions whose keys were pressed. Keys without modifiers are left to a widget that has
/// the keyboard.
pub fn pressed(ctx: &egui::Context) -> Vec<Action> {
    let busy = ctx.egui_wants_keyboard_input();
    let focused = ctx.memory(|m| m.focused().is_some());
    let mut found = Vec::new();
    ctx.input_mut(|input| {
        // The most modifiers first: Ctrl+Shift+S must not count as Ctrl+S.
        let weight = |e: &&Entry| {
            let m = e.keys.map(|k| k.modifiers).unwrap_or_default();
            u8::from(m.shift) + u8::from(m.alt) + u8::from(m.command)
        };
        let mut entries: Vec<&Entry> = ALL.iter().filter(|e| e.keys.is_some()).collect();
        entries.sort_by_key(|e| std::cmp::Reverse(weight(e)));
        for entry in entries {
            let Some(keys) = entry.keys else { continue };
            let bare = !keys.modifiers.command && !keys.modifiers.alt;
            if bare && busy && entry.action != Action::LeaveOff {
                continue;
            }
            // A focused button needs Enter, and moves the focus by arrows.
            let steers = matches!(
                keys.logical_key,
                Key::Enter | Key::ArrowUp | Key::ArrowDown | Key::ArrowLeft | Key::ArrowRight
            );
            if bare && focused && steers {
                continue;
            }
            if input.consume_shortcut(&keys) {
                found.push(entry.action);
            }
        }
    });
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_two_actions_share_keys_or_a_name() {
        for (i, one) in ALL.iter().enumerate() {
            for other in &ALL[i + 1..] {
                assert_ne!(one.name, other.name);
                if let (Some(a), Some(b)) = (one.keys, other.keys) {
                    assert!(a != b, "{} and {}", one.name, other.name);
                }
            }
        }
    }

    /// What the table finds for a key as the keyboard sends it.
    fn by_key(keys: KeyboardShortcut) -> Vec<Action> {
        let mut modifiers = keys.modifiers;
        modifiers.ctrl |= modifiers.command;
        // On most keyboards these two take Shift.
        modifiers.shift |= matches!(keys.logical_key, Key::Questionmark | Key::Plus);
        let ctx = egui::Context::default();
        let key = egui::Event::Key {
            key: keys.logical_key,
            physical_key: None,
            pressed: true,
            repeat: false,
            modifiers,
        };
        ctx.begin_pass(egui::RawInput {
            events: vec![egui::Event::ModifiersChanged(modifiers), key],
            ..egui::RawInput::default()
        });
        let found = pressed(&ctx);
        ctx.end_pass().textures_delta.clear();
        found
    }

    #[test]
    fn every_action_can_be_reached_by_keys() {
        for entry in ALL {
            // Its own keys do it and nothing else; without any, its name in the list does.
            if let Some(keys) = entry.keys {
                assert_eq!(by_key(keys), [entry.action], "{}", entry.name);
            }
            let found = named_like(entry.name);
            let first = found.first().map(|e| e.action);
            assert_eq!(first, Some(entry.action), "{}", entry.name);
        }
        let find = find(Action::Find).and_then(|e| e.keys);
        assert!(find.is_some(), "the list itself opens by keys");
    }

    #[test]
    fn every_action_of_the_buttons_is_in_the_table() {
        use crate::state::view::Look;
        // What stands in no line of its own is reached by one that steps through the choices.
        let stepped = |action: &Action| match action {
            Action::Show(_) => find(Action::NextLook).is_some(),
            Action::Mirror(_) => find(Action::NextMirror).is_some(),
            _ => false,
        };
        let mut on_buttons = vec![
            Action::Show(Look::Asked),
            Action::Show(Look::Printed),
            Action::Show(Look::Difference),
        ];
        on_buttons.extend(Mirror::ALL.map(Action::Mirror));
        on_buttons.extend(Side::ALL.map(Action::LookFrom));
        for action in on_buttons {
            assert!(find(action).is_some() || stepped(&action), "{action:?}");
        }
    }

    #[test]
    fn every_action_says_what_it_does() {
        for entry in ALL {
            assert!(entry.hint.ends_with('.'), "{}", entry.name);
            assert!(!hint(entry.action).is_empty());
        }
        assert_eq!(
            hint(Action::SaveAs),
            "Save the plan under another name.  (Ctrl+Shift+S)"
        );
    }
}
