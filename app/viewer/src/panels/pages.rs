//! Pages over the window: help, keys, finding an action, and the questions about files.

use egui::{
    Align, Button, Context, Frame, Grid, Id, Key, Layout, Margin, Modal, RichText, ScrollArea,
    TextEdit, Ui,
};

use super::widgets::{heading, note};
use super::{help, icon::Icon, steps, widgets};
use crate::actions::{self, Action, Group};
use crate::state::Session;
use crate::state::session::{After, Page};
use crate::theme::Palette;

/// Shows the page, if one is open.
pub fn show(ctx: &Context, session: &mut Session) {
    let Some(page) = session.page.clone() else {
        return;
    };
    let frame = Frame::popup(&ctx.global_style()).inner_margin(Margin::same(18));
    let modal = Modal::new(Id::new("page")).frame(frame);
    let shown = modal.show(ctx, |ui| {
        let room = ctx.viewport_rect().size() * 0.88 - egui::Vec2::splat(36.0);
        let wide = match page {
            Page::Keys => 840.0,
            Page::Steps => 520.0,
            _ => 660.0,
        };
        ui.set_max_size(room.min(egui::vec2(wide, f32::INFINITY)));
        match page {
            Page::Help => closable(ui, session, "Help and cautions", help::show),
            Page::Keys => closable(ui, session, "Keys", keys),
            Page::Find { text } => find(ui, session, text),
            Page::Steps => {
                ui.horizontal(|ui| heading(ui, "Test print: predicted and measured"));
                ui.separator();
                steps::show(ui, session);
            }
            Page::SpoolFile { path } => spool_file(ui, session, path),
            Page::OpenFile { path } => open_file(ui, session, path),
            Page::SaveAs { path, then } => save_as(ui, session, path, then),
            Page::Prepare { folder } => prepare(ui, session, folder),
            Page::Unsaved { then } => unsaved(ui, session, then),
        }
    });
    if shown.should_close() && session.page.is_some() {
        session.page = None;
    }
}

fn closable(ui: &mut Ui, session: &mut Session, title: &str, contents: impl FnOnce(&mut Ui)) {
    ui.horizontal(|ui| {
        heading(ui, title);
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            if widgets::icon_button(ui, Icon::Close, "Close", "Close this page.  (Esc)").clicked() {
                session.page = None;
            }
        });
    });
    ui.separator();
    contents(ui);
}

/// All keys, group by group, in three columns.
fn keys(ui: &mut Ui) {
    const COLUMNS: [&[Group]; 3] = [
        &[Group::Files, Group::Regions],
        &[Group::Tools, Group::Window],
        &[Group::Toolpath, Group::View],
    ];
    ScrollArea::vertical()
        .auto_shrink([false, true])
        .show(ui, |ui| {
            ui.horizontal_top(|ui| {
                ui.spacing_mut().item_spacing.x = 22.0;
                for groups in COLUMNS {
                    ui.vertical(|ui| {
                        for group in groups {
                            heading(ui, group.name());
                            group_keys(ui, *group);
                            ui.add_space(8.0);
                        }
                    });
                }
            });
            note(
                ui,
                "With the pointer: drag with the right button to turn, with the middle one to \
                 shift; the wheel zooms. Hold Alt while dragging on the ribbon to leave its marks.",
            );
        });
}

fn group_keys(ui: &mut Ui, group: Group) {
    Grid::new(group.name())
        .num_columns(2)
        .min_row_height(18.0)
        .spacing([14.0, 3.0])
        .show(ui, |ui| {
            for entry in actions::ALL.iter().filter(|e| e.group == group) {
                let keys = entry.keys.map(actions::keys_text).unwrap_or_default();
                ui.label(RichText::new(keys).monospace());
                ui.label(entry.name).on_hover_text(entry.hint);
                ui.end_row();
            }
        });
}

fn find(ui: &mut Ui, session: &mut Session, mut text: String) {
    ui.set_width(420.0);
    let field = TextEdit::singleline(&mut text)
        .hint_text("What do you want to do?")
        .desired_width(f32::INFINITY);
    let response = ui.add(field);
    if !response.has_focus() && !response.lost_focus() {
        response.request_focus();
    }
    let mut found = actions::named_like(&text);
    found.retain(|e| e.action != Action::Find && session.can(e.action));
    let mut wanted = None;
    if response.lost_focus() && ui.input(|i| i.key_pressed(Key::Enter)) {
        wanted = found.first().map(|e| e.action);
    }
    ScrollArea::vertical().max_height(320.0).show(ui, |ui| {
        ui.with_layout(Layout::top_down_justified(Align::Min), |ui| {
            for entry in found {
                let keys = entry.keys.map(actions::keys_text).unwrap_or_default();
                let button = Button::new(entry.name).shortcut_text(keys).frame(false);
                if ui.add(button).on_hover_text(entry.hint).clicked() {
                    wanted = Some(entry.action);
                }
            }
        });
    });
    session.page = Some(Page::Find { text });
    if let Some(action) = wanted {
        session.page = None;
        session.act(action);
    }
}

/// A field for a path with a button that opens the system's dialog.
fn path_field(ui: &mut Ui, path: &mut String, name: &str) -> (bool, bool) {
    let mut browse = false;
    let mut entered = false;
    ui.horizontal(|ui| {
        ui.label(name);
        let field = TextEdit::singleline(path).desired_width(420.0);
        let response = ui.add(field);
        entered = response.lost_focus() && ui.input(|i| i.key_pressed(Key::Enter));
        browse = ui
            .button("Browse…")
            .on_hover_text("Choose with the system's own dialog.")
            .clicked();
    });
    (browse, entered)
}

fn actions_row(ui: &mut Ui, session: &mut Session, name: &str, can: bool) -> bool {
    let p = Palette::from_ui(ui);
    let mut go = false;
    ui.add_space(8.0);
    ui.horizontal(|ui| {
        let text = RichText::new(name).color(p.on_accent).strong();
        go = ui
            .add_enabled(can, Button::new(text).fill(p.accent))
            .clicked();
        if ui.button("Cancel").clicked() {
            session.page = None;
        }
    });
    go
}

fn open_file(ui: &mut Ui, session: &mut Session, mut path: String) {
    heading(ui, "Open a mesh or a plan");
    let (browse, entered) = path_field(ui, &mut path, "File");
    let is_file = std::path::Path::new(path.trim()).is_file();
    session.page = Some(Page::OpenFile { path: path.clone() });
    let go = actions_row(ui, session, "Open the file", is_file);
    if browse {
        session.browse_to_open();
    } else if (go || entered) && is_file {
        session.page = None;
        session.open(path.trim().to_owned());
    }
}

fn spool_file(ui: &mut Ui, session: &mut Session, mut path: String) {
    heading(ui, "Take spools from a file");
    ui.label("A file of spools (.ron), or the readings of a test print (.csv), which are fitted.");
    let (browse, entered) = path_field(ui, &mut path, "File");
    let is_file = std::path::Path::new(path.trim()).is_file();
    session.page = Some(Page::SpoolFile { path: path.clone() });
    let go = actions_row(ui, session, "Read the file", is_file);
    if browse {
        session.browse_for_spools();
    } else if (go || entered) && is_file {
        session.take_spool_file(path.trim().into());
    }
}

fn save_as(ui: &mut Ui, session: &mut Session, mut path: String, then: Option<After>) {
    heading(ui, "Save the plan as");
    let (browse, entered) = path_field(ui, &mut path, "File");
    if session
        .doc
        .as_ref()
        .is_some_and(|d| d.origin.mesh_file.is_none())
    {
        note(ui, "The mesh is saved beside it.");
    }
    let named = !path.trim().is_empty();
    session.page = Some(Page::SaveAs {
        path: path.clone(),
        then: then.clone(),
    });
    let go = actions_row(ui, session, "Save the plan", named);
    if browse {
        session.browse_to_save(&path);
    } else if (go || entered) && named {
        session.save_to(std::path::Path::new(path.trim()), then);
    }
}

fn prepare(ui: &mut Ui, session: &mut Session, mut folder: String) {
    heading(ui, "Prepare for printing");
    ui.label("Writes the schedule (what each layer is fed), and a sheet with pictures of the part, into a folder.");
    let (browse, entered) = path_field(ui, &mut folder, "Folder");
    for text in session.warnings().iter().take(4) {
        widgets::warning(ui, text.as_str());
    }
    if let Some(prepared) = &session.prepared {
        ui.separator();
        ui.label(RichText::new(format!("Written to {}", prepared.folder.display())).strong());
        for (file, about) in &prepared.files {
            ui.horizontal(|ui| {
                ui.label(RichText::new(file).monospace());
                note(ui, about.as_str());
            });
        }
    }
    note(
        ui,
        "Read the cautions in the help page before you print, and watch the first layers.",
    );
    let named = !folder.trim().is_empty();
    session.page = Some(Page::Prepare {
        folder: folder.clone(),
    });
    let can = named && !session.is_preparing();
    let go = actions_row(ui, session, "Write the files", can);
    if let Some((_, stage, fraction)) = session.busy_with().filter(|_| session.is_preparing()) {
        note(ui, stage);
        let bar = egui::ProgressBar::new(fraction).desired_height(10.0);
        ui.add(bar.desired_width(520.0));
    }
    if browse {
        session.browse_for_folder();
    } else if (go || entered) && can {
        session.prepare(std::path::Path::new(folder.trim()));
    }
}

fn unsaved(ui: &mut Ui, session: &mut Session, then: After) {
    let p = Palette::from_ui(ui);
    let title = session.doc.as_ref().map(|d| d.title()).unwrap_or_default();
    heading(ui, &format!("Save the changes to {title}?"));
    ui.label("They are lost otherwise.");
    ui.add_space(8.0);
    ui.horizontal(|ui| {
        let text = RichText::new("Save").color(p.on_accent).strong();
        if ui.add(Button::new(text).fill(p.accent)).clicked() {
            session.save_then(Some(then.clone()));
        }
        if ui.button("Don't save").clicked() {
            session.drop_unsaved(then);
        }
        if ui.button("Cancel").clicked() {
            session.page = None;
        }
    });
}
