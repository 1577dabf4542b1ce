//! The sliced toolpath: its file, its dialect, and where the part stands in it.

use egui::{Align, ComboBox, Layout, RichText, TextEdit, Ui, vec2};
use weave::dialect::{BUILT_IN, TO_FILL_IN};
use weave::register::Placement;

use super::widgets::{Number, heading, note, signed};
use crate::commands::{Browse, Command, Commands};
use crate::model::draft::Draft;

/// A field for a file with a button that opens the system's dialog; whether that was pressed.
pub(super) fn file_field(ui: &mut Ui, text: &mut String, name: &str, hint: &str) -> bool {
    fresh_file_field(ui, text, (name, hint), false)
}

/// The same; a fresh one takes the keyboard.
pub(super) fn fresh_file_field(
    ui: &mut Ui,
    text: &mut String,
    (name, hint): (&str, &str),
    fresh: bool,
) -> bool {
    let mut browse = false;
    let row = vec2(ui.available_width(), ui.spacing().interact_size.y);
    let from_right = Layout::right_to_left(Align::Center);
    ui.allocate_ui_with_layout(row, from_right, |ui| {
        browse = ui.button("Choose…").on_hover_text(hint).clicked();
        let field = TextEdit::singleline(text).desired_width(ui.available_width());
        let response = ui.add(field);
        response.widget_info(|| egui::WidgetInfo::labeled(egui::WidgetType::TextEdit, true, name));
        if fresh {
            response.request_focus();
        }
        let shown = text.trim();
        if !shown.is_empty() {
            response.on_hover_text(shown);
        }
    });
    browse
}

/// The toolpath, the dialect, and where the part stands.
pub(super) fn sliced(ui: &mut Ui, draft: &mut Draft, send: &mut Commands) {
    heading(ui, "Your toolpath");
    note(
        ui,
        "The same mesh, sliced for a single extruder. You can also drop its file on the window.",
    );
    let before = draft.sliced.clone();
    let hint = "Choose the sliced toolpath with the system's own dialog.";
    if file_field(ui, &mut draft.sliced, "Sliced toolpath", hint) {
        send.send(Command::Browse(Browse::Toolpath));
    }
    let named = draft.sliced_file();
    if named.as_ref().is_some_and(|f| !f.is_file()) {
        note(ui, "This file does not exist.");
    } else if let Some(file) = named.filter(|_| draft.sliced != before)
        && draft.woven.trim().is_empty()
    {
        draft.choose_sliced(&file);
    }
    dialect(ui, draft, send);
    let salt = "more about the toolpath";
    egui::CollapsingHeader::new(RichText::new("Place of the part, how E counts").small())
        .id_salt(salt)
        .show(ui, |ui| by_hand(ui, draft));
}

fn dialect(ui: &mut Ui, draft: &mut Draft, send: &mut Commands) {
    ui.horizontal(|ui| {
        let label = ui.label("Dialect");
        ComboBox::from_id_salt("dialect")
            .selected_text(draft.built_in.unwrap_or("from a file"))
            .width(150.0)
            .show_ui(ui, |ui| {
                for (name, _) in BUILT_IN.iter().chain([&TO_FILL_IN]) {
                    ui.selectable_value(&mut draft.built_in, Some(*name), *name);
                }
                ui.selectable_value(&mut draft.built_in, None, "from a file");
            })
            .response
            .labelled_by(label.id)
            .on_hover_text("The form of the blend commands for your firmware.");
    });
    match draft.built_in {
        Some(name) if name == TO_FILL_IN.0 => {
            own_line(ui, draft);
        }
        Some(_) => {
            signed(
                ui,
                "Written from memory: check its commands in your firmware's manual.",
            );
        }
        None => {
            let hint = "Choose a dialect file. docs/dialects.md shows the three forms.";
            if file_field(ui, &mut draft.dialect_file, "Dialect file", hint) {
                send.send(Command::Browse(Browse::Dialect));
            }
        }
    }
}

/// The form whose command only the firmware's manual knows.
fn own_line(ui: &mut Ui, draft: &mut Draft) {
    ui.horizontal(|ui| {
        let label = ui.label("Command");
        let field = TextEdit::singleline(&mut draft.line)
            .hint_text("CODE {shares}")
            .desired_width(ui.available_width());
        ui.add(field).labelled_by(label.id);
    });
    note(
        ui,
        "Your firmware's own command, from its manual under mixing or tools, with {shares} where \
         the shares go. It is not guessed: a wrong command may be ignored, and then the whole part \
         has one colour.",
    );
}

fn by_hand(ui: &mut Ui, draft: &mut Draft) {
    ui.checkbox(&mut draft.e_follows, "G90 and G91 set the E axis too")
        .on_hover_text("Firmwares differ. Files that repeat M82 or M83 mean the same to all.");
    ui.checkbox(&mut draft.by_hand, "Place the part by hand")
        .on_hover_text(
            "Otherwise its rotation and shift are found from its outlines, for each \
                        copy.",
        );
    if !draft.by_hand {
        return;
    }
    let copies = draft.stands.len();
    let mut gone = None;
    for (i, stand) in draft.stands.iter_mut().enumerate() {
        if copies > 1 {
            ui.horizontal(|ui| {
                ui.label(format!("Copy {}", i + 1));
                if ui.button(format!("Remove copy {}", i + 1)).clicked() {
                    gone = Some(i);
                }
            });
        }
        place(ui, i, stand);
    }
    if let Some(gone) = gone {
        draft.stands.remove(gone);
    }
    if ui
        .button("+ Copy")
        .on_hover_text("Another copy of the part on the plate.")
        .clicked()
    {
        draft.stands.push(Placement::default());
    }
}

/// Where a copy of the part stands.
fn place(ui: &mut Ui, copy: usize, stand: &mut Placement) {
    let [x_mm, y_mm] = &mut stand.shift_mm;
    egui::Grid::new(("stand", copy))
        .num_columns(4)
        .show(ui, |ui| {
            let field = |ui: &mut Ui, name: &str, value: &mut f64, unit| {
                ui.label(name);
                let named = match copy {
                    0 => format!("Part's {name}"),
                    copy => format!("Copy {}'s {name}", copy + 1),
                };
                let number = Number {
                    range: (-1e4, 1e4),
                    speed: 0.1,
                    decimals: 3,
                    unit,
                    width: None,
                };
                let turned = number.show(ui, &named, "", *value);
                *value = turned.to.unwrap_or(*value);
            };
            field(ui, "Turn", &mut stand.turn_deg, "°");
            field(ui, "Raft", &mut stand.lift_mm, " mm");
            ui.end_row();
            field(ui, "x", x_mm, " mm");
            field(ui, "y", y_mm, " mm");
            ui.end_row();
        });
}
