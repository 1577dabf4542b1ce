//! Names, hints and keys of commands: one table, so that the buttons' hints, the overlay of keys
//! and the keyboard itself can't disagree.

use egui::{Key, KeyboardShortcut, Modifiers};

use crate::commands::{Command, Cutting, Entering};
use crate::model::camera::Side;
use crate::model::page::SidePanel;
use crate::model::section::Across;
use crate::model::tool::Tool;
use crate::model::view_copy::{Size, To, ViewCopy};

/// Where a command stands in the overlay.
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
#[derive(Clone, Debug)]
pub struct Entry {
    /// What is done.
    pub command: Command,
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
    command: Command,
    group: Group,
    name: &'static str,
    keys: Option<KeyboardShortcut>,
    hint: &'static str,
) -> Entry {
    Entry {
        command,
        group,
        name,
        hint,
        keys,
    }
}

/// The table.
#[rustfmt::skip]
pub const ALL: &[Entry] = &[
    entry(Command::Open, Group::Files, "Open", ctrl(Key::O), "Open a plan or a mesh."),
    entry(Command::Save, Group::Files, "Save", ctrl(Key::S), "Save the plan."),
    entry(Command::SaveAs, Group::Files, "Save as", ctrl_shift(Key::S), "Save the plan under another name."),
    entry(Command::Prepare, Group::Files, "Prepare", ctrl(Key::Enter), "Write the schedule and the sheet for printing."),
    entry(Command::Mend, Group::Files, "Mend the mesh", None, "Weld, fill and unite the mesh, here \
                                                               and each time the plan is read."),
    entry(Command::OwnColours(None), Group::Files, "Regions of the model's own colours", None, "Make regions of the colours in the mesh's file, in place of all regions."),
    entry(Command::Bodies, Group::Files, "Bodies for several tools", ctrl_shift(Key::B), "Cut the part into solids, one for each stored blend."),
    entry(Command::AskViewCopy, Group::Files, "Picture of the view", ctrl_shift(Key::E), "Write the part as you see it, without the panels, to a PNG file or the clipboard."),
    entry(Command::CopyView(ViewCopy { size: Size::AsSeen, clear: false, to: To::Clipboard }), Group::Files, "Copy the view", ctrl_shift(Key::C), "Put a picture of the part as you see it on the clipboard."),
    entry(Command::Close, Group::Files, "Start page", ctrl(Key::W), "Close this part and go to the start page."),

    entry(Command::Undo, Group::Regions, "Undo", ctrl(Key::Z), "Undo the last change."),
    entry(Command::Redo, Group::Regions, "Redo", ctrl_shift(Key::Z), "Redo the change that you undid."),
    entry(Command::AddBand, Group::Regions, "Add a band", ctrl(Key::B), "Add a band around the layer cursor."),
    entry(Command::NewArea, Group::Regions, "Start a new area", ctrl(Key::N), "Start a new region with the next stroke."),
    entry(Command::AskPicture, Group::Regions, "Put a picture on the part", ctrl_shift(Key::P), "Make a region of a picture: its dark, its light or its greys."),
    entry(Command::PutLetters, Group::Regions, "Put letters on the part", ctrl_shift(Key::L), "Make a region of a line of text."),
    entry(Command::ChooseAbove, Group::Regions, "Select the region above", alt(Key::ArrowUp), "Select the next region up the list."),
    entry(Command::ChooseBelow, Group::Regions, "Select the region below", alt(Key::ArrowDown), "Select the next region down the list."),
    entry(Command::Raise, Group::Regions, "Move up", ctrl(Key::ArrowUp), "Move the selected region up: it then covers more."),
    entry(Command::Lower, Group::Regions, "Move down", ctrl(Key::ArrowDown), "Move the selected region down."),
    entry(Command::Rename, Group::Regions, "Rename", plain(Key::F2), "Rename the selected region."),
    entry(Command::Duplicate, Group::Regions, "Duplicate", ctrl(Key::D), "Copy the selected region."),
    entry(Command::Combine, Group::Regions, "Combine with the one below", ctrl(Key::J), "Combine the selected region's area with the region below it, which keeps its blend."),
    entry(Command::Hide, Group::Regions, "Leave out of the print, or print", plain(Key::H), "Leave the selected region out of the print, or take it back in."),
    entry(Command::Lock, Group::Regions, "Lock or unlock", plain(Key::K), "Protect the selected region from changes."),
    entry(Command::Invert, Group::Regions, "Invert the area", ctrl_shift(Key::I), "Have the selected region cover what it did not cover."),
    entry(Command::Grow(0.5), Group::Regions, "Grow the area by 0.5 mm", plain(Key::CloseBracket), "Move the edge of the selected region's area outwards."),
    entry(Command::Grow(-0.5), Group::Regions, "Shrink the area by 0.5 mm", plain(Key::OpenBracket), "Move the edge of the selected region's area inwards."),
    entry(Command::Smooth, Group::Regions, "Smooth the area's edge", plain(Key::Q), "Smooth the edge of the selected region's area by the length that its menu shows."),
    entry(Command::Delete, Group::Regions, "Delete", plain(Key::Delete), "Delete the selected regions."),

    entry(Command::Weave, Group::Toolpath, "Weave", ctrl_shift(Key::Enter), "Add the plan's blends to your own sliced toolpath."),
    entry(Command::Job, Group::Toolpath, "The whole job", ctrl_shift(Key::J), "Test prints, review, hand-off, and what to watch: each step in the job's order."),
    entry(Command::Photograph, Group::Toolpath, "Read a photograph", ctrl_shift(Key::R), "Read a test print from a photograph of it on the photograph card."),
    entry(Command::FinishedPart, Group::Toolpath, "Read a finished part", ctrl_shift(Key::F), "Read the colours of the finished part from photographs of it on the photograph card."),
    entry(Command::ReadBack, Group::Toolpath, "Check the woven file", plain(Key::V), "Check that the woven file is the same print, and in the plan's colours."),
    entry(Command::Follow, Group::Toolpath, "Follow the strand", plain(Key::W), "Step through the woven file layer by layer and move by move, in the colours that come out."),
    entry(Command::Moves(1), Group::Toolpath, "One move forward", alt(Key::ArrowRight), "Show the next move of the layer; after the last, go up to the next layer."),
    entry(Command::Moves(-1), Group::Toolpath, "One move back", alt(Key::ArrowLeft), "Hide the last move again; before the first, go down a layer."),
    entry(Command::Moves(50), Group::Toolpath, "Fifty moves forward", ctrl(Key::ArrowRight), "Show the next fifty moves of the layer."),
    entry(Command::Moves(-50), Group::Toolpath, "Fifty moves back", ctrl(Key::ArrowLeft), "Hide the last fifty moves again."),
    entry(Command::EnterLayer(Entering::First), Group::Toolpath, "First move of the layer", plain(Key::Home), "Show only the layer's first move."),
    entry(Command::EnterLayer(Entering::Last), Group::Toolpath, "Whole layer", plain(Key::End), "Show all moves of the layer."),

    entry(Command::Take(Tool::Turn), Group::Tools, "Turn", plain(Key::T), "Drag to turn the part; click to select the region under the pointer."),
    entry(Command::Take(Tool::Brush), Group::Tools, "Brush", plain(Key::B), "Paint on the part."),
    entry(Command::Take(Tool::Erase), Group::Tools, "Erase", plain(Key::E), "Erase paint from the selected region."),
    entry(Command::Take(Tool::Straight), Group::Tools, "Straight stroke", plain(Key::S), "Paint a straight stroke from one click to the next."),
    entry(Command::Take(Tool::Fill), Group::Tools, "Fill", plain(Key::G), "Fill from the place under the pointer: up to creases, over flat skin, or over one blend."),
    entry(Command::NextFill, Group::Tools, "What ends a fill", plain(Key::J), "Fill up to creases, by flatness or by blend."),
    entry(Command::Take(Tool::Box), Group::Tools, "Box", plain(Key::X), "Cover what lies in a box on the stage, as you see it now."),
    entry(Command::Take(Tool::Lasso), Group::Tools, "Lasso", plain(Key::O), "Cover what you draw round on the stage, as you see it now."),
    entry(Command::Through, Group::Tools, "Front only, or through the part", plain(Key::U), "Let box and lasso take only the skin in sight, or everything behind it too."),
    entry(Command::TakeOff, Group::Tools, "Add, or take off", plain(Key::Y), "Let box and lasso add to the region, or take off it."),
    entry(Command::Take(Tool::Measure), Group::Tools, "Measure", plain(Key::D), "Measure between two points of the part: their distance, and the difference in height."),
    entry(Command::Take(Tool::Band), Group::Tools, "Band", plain(Key::N), "Make a band between the heights of two clicks."),
    entry(Command::Take(Tool::Pick), Group::Tools, "Pick a blend", plain(Key::I), "Click the part \
                                                                                   or the ribbon \
                                                                                   to store the \
                                                                                   blend there \
                                                                                   under a name: \
                                                                                   as requested, \
                                                                                   or as printed \
                                                                                   if that is \
                                                                                   shown."),
    entry(Command::Take(Tool::Place), Group::Tools, "Place a picture", plain(Key::R), "Move, turn and size the selected region's picture or letters on the part."),
    entry(Command::NextMirror, Group::Tools, "Mirror", plain(Key::M), "Paint at several places at once: left and right, front and back, round the part, or not."),
    entry(Command::Brush(1.0 / 1.25), Group::Tools, "Smaller brush", plain(Key::Comma), "Make the brush smaller."),
    entry(Command::Brush(1.25), Group::Tools, "Larger brush", plain(Key::Period), "Make the brush larger."),
    entry(Command::DabAtMiddle, Group::Tools, "Use the tool at the middle", plain(Key::Enter), "Use the tool at the cross in the middle of the stage, to paint with the keys."),

    entry(Command::Level, Group::View, "Level", plain(Key::L), "Set the view level: the part lines up with the ribbon."),
    entry(Command::Fit, Group::View, "Fit", plain(Key::F), "Show the whole part."),
    entry(Command::Turn(-15, 0), Group::View, "Turn left", plain(Key::ArrowLeft), "Turn the part to the left."),
    entry(Command::Turn(15, 0), Group::View, "Turn right", plain(Key::ArrowRight), "Turn the part to the right."),
    entry(Command::Turn(0, 15), Group::View, "Tilt down", shift(Key::ArrowUp), "Look more from above."),
    entry(Command::Turn(0, -15), Group::View, "Tilt up", shift(Key::ArrowDown), "Look more from below."),
    entry(Command::Zoom(1.25), Group::View, "Zoom in", plain(Key::Plus), "Show the part larger."),
    entry(Command::Zoom(0.8), Group::View, "Zoom out", plain(Key::Minus), "Show the part smaller."),
    entry(Command::LookFrom(Side::Front), Group::View, "From the front", alt(Key::Num1), "Look at the front."),
    entry(Command::LookFrom(Side::Right), Group::View, "From the right", alt(Key::Num2), "Look at the right side."),
    entry(Command::LookFrom(Side::Back), Group::View, "From the back", alt(Key::Num3), "Look at the back."),
    entry(Command::LookFrom(Side::Left), Group::View, "From the left", alt(Key::Num4), "Look at the left side."),
    entry(Command::LookFrom(Side::Top), Group::View, "From above", alt(Key::Num5), "Look straight down."),
    entry(Command::LookFrom(Side::Under), Group::View, "From below", alt(Key::Num6), "Look straight up."),
    entry(Command::Lens, Group::View, "Parallel or perspective", plain(Key::P), "Switch between parallel and perspective views."),
    entry(Command::Cut, Group::View, "Look inside", plain(Key::C), "Cut the part open: at the layer cursor, or in another direction."),
    entry(Command::Section(Cutting::Next), Group::View, "Next direction of the cut", shift(Key::C), "Cut the part open at a height, across x, across y or facing the view."),
    entry(Command::Section(Cutting::Flip), Group::View, "Other side of the cut", shift(Key::X), "Show the other side of the cut."),
    entry(Command::Section(Cutting::Step(1)), Group::View, "Move the cut forward", shift(Key::PageUp), "Move the cut by a hundredth of the part."),
    entry(Command::Section(Cutting::Step(-1)), Group::View, "Move the cut back", shift(Key::PageDown), "Move the cut back by a hundredth of the part."),
    entry(Command::Section(Cutting::Across(Across::View)), Group::View, "Cut facing the view", None, "Cut the part open across your line of sight."),
    entry(Command::Section(Cutting::Across(Across::Facet)), Group::View, "Cut along a facet", None, "Cut the part open along the facet that you click next."),
    entry(Command::Layers(1), Group::View, "One layer up", plain(Key::ArrowUp), "Move the layer cursor up by a layer."),
    entry(Command::Layers(-1), Group::View, "One layer down", plain(Key::ArrowDown), "Move the layer cursor down by a layer."),
    entry(Command::Layers(10), Group::View, "Ten layers up", plain(Key::PageUp), "Move the layer cursor up by ten layers."),
    entry(Command::Layers(-10), Group::View, "Ten layers down", plain(Key::PageDown), "Move the layer cursor down by ten layers."),
    entry(Command::NextLook, Group::View, "Colours requested or as printed", plain(Key::A), "Switch between requested colours, colours as printed, and their difference."),

    entry(Command::Appearance, Group::Window, "Light or dark", ctrl(Key::L), "Switch between light and dark."),
    entry(Command::Fold(SidePanel::Drawer), Group::Window, "Fold or unfold the drawer", ctrl(Key::Num1), "Hide the drawer to leave the part more room, or show it again."),
    entry(Command::Fold(SidePanel::Ribbon), Group::Window, "Fold or unfold the ribbon", ctrl(Key::Num2), "Hide the ribbon of heights to leave the part more room, or show it again."),
    entry(Command::Larger, Group::Window, "Larger text", ctrl(Key::Plus), "Make text and controls larger."),
    entry(Command::Smaller, Group::Window, "Smaller text", ctrl(Key::Minus), "Make text and controls smaller."),
    entry(Command::PlainSize, Group::Window, "Default text size", ctrl(Key::Num0), "Set text and controls to their default size."),
    entry(Command::Help, Group::Window, "Help and cautions", plain(Key::F1), "How to use the window, and cautions."),
    entry(Command::Keys, Group::Window, "Keys", plain(Key::Questionmark), "All keys on one page."),
    entry(Command::Find, Group::Window, "Find a command", ctrl(Key::K), "Find a command by its name."),
    entry(Command::Dismiss, Group::Window, "Close or cancel", plain(Key::Escape), "Close what is open, or cancel the stroke."),
];

/// The table's line for a command.
pub fn find(command: &Command) -> Option<&'static Entry> {
    ALL.iter().find(|e| e.command == *command)
}

/// The commands that words may mean, the likeliest first: names that are just so, names that
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
        Key::OpenBracket => "[",
        Key::CloseBracket => "]",
        Key::Escape => "Esc",
        other => other.name(),
    };
    text.push_str(key);
    text
}

/// A button's hint: what it does and its keys.
pub fn hint(command: &Command) -> String {
    match find(command) {
        Some(entry) => match entry.keys {
            Some(keys) => format!("{}  ({})", entry.hint, keys_text(keys)),
            None => entry.hint.to_owned(),
        },
        None => String::new(),
    }
}

/// The commands whose keys were pressed. Keys without modifiers are left to a widget that has
/// the keyboard.
pub fn pressed(ctx: &egui::Context) -> Vec<Command> {
    // A menu or a colour picker that is open closes by Escape itself.
    let popup = egui::Popup::is_any_open(ctx);
    let busy = ctx.egui_wants_keyboard_input();
    let focused = ctx.memory(|m| m.focused().is_some());
    let may = |entry: &Entry, keys: KeyboardShortcut| {
        let bare = !keys.modifiers.command && !keys.modifiers.alt;
        let leaves = entry.command == Command::Dismiss;
        // A focused button needs Enter, and moves the focus by arrows.
        let steers = matches!(
            keys.logical_key,
            Key::Enter | Key::ArrowUp | Key::ArrowDown | Key::ArrowLeft | Key::ArrowRight
        );
        let taken = (busy && !leaves) || (focused && steers);
        let refused = (bare && taken) || (leaves && popup);
        !refused
    };
    let mut found = Vec::new();
    ctx.input_mut(|input| {
        // In the order in which they were pressed, each as often as it was.
        input.events.retain(|event| {
            let pressed = command_of(event).filter(|(entry, keys)| may(entry, *keys));
            found.extend(pressed.map(|(entry, _)| entry.command.clone()));
            pressed.is_none()
        });
    });
    found
}

/// The command whose keys an event presses: of several the one with the most modifiers, for
/// Ctrl+Shift+S is not Ctrl+S.
fn command_of(event: &egui::Event) -> Option<(&'static Entry, KeyboardShortcut)> {
    let egui::Event::Key {
        key,
        pressed: true,
        modifiers,
        ..
    } = event
    else {
        return None;
    };
    let all = ALL.iter().filter_map(|e| Some((e, e.keys?)));
    let fits = all.filter(|(_, keys)| {
        keys.logical_key == *key && modifiers.matches_logically(keys.modifiers)
    });
    fits.max_by_key(|(_, keys)| {
        let m = keys.modifiers;
        u8::from(m.shift) + u8::from(m.alt) + u8::from(m.command)
    })
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
    fn by_key(keys: KeyboardShortcut) -> Vec<Command> {
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
                assert_eq!(
                    by_key(keys),
                    std::slice::from_ref(&entry.command),
                    "{}",
                    entry.name
                );
            }
            let found = named_like(entry.name);
            let first = found.first().map(|e| e.command.clone());
            assert_eq!(first, Some(entry.command.clone()), "{}", entry.name);
        }
        let find = find(&Command::Find).and_then(|e| e.keys);
        assert!(find.is_some(), "the list itself opens by keys");
    }

    #[test]
    fn every_action_of_the_buttons_is_in_the_table() {
        use crate::model::mirror::Mirror;
        use crate::model::view::Look;
        // What stands in no line of its own is reached by one that steps through the choices.
        let stepped = |action: &Command| match action {
            Command::Show(_) => find(&Command::NextLook).is_some(),
            Command::Mirror(_) => find(&Command::NextMirror).is_some(),
            _ => false,
        };
        let mut on_buttons = vec![
            Command::Show(Look::Asked),
            Command::Show(Look::Printed),
            Command::Show(Look::Difference),
        ];
        on_buttons.extend(Mirror::ALL.map(Command::Mirror));
        on_buttons.extend(Side::ALL.map(Command::LookFrom));
        for action in on_buttons {
            assert!(find(&action).is_some() || stepped(&action), "{action:?}");
        }
    }

    #[test]
    fn every_action_says_what_it_does() {
        for entry in ALL {
            assert!(entry.hint.ends_with('.'), "{}", entry.name);
            assert!(!hint(&entry.command).is_empty());
        }
        assert_eq!(
            hint(&Command::SaveAs),
            "Save the plan under another name.  (Ctrl+Shift+S)"
        );
    }
}
