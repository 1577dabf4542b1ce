//! Pages over the window: help, keys, finding a command, and the questions about files.

use std::path::PathBuf;

use egui::{
    Align, Button, Context, Frame, Grid, Id, Key, Layout, Margin, Modal, RichText, ScrollArea,
    TextEdit, Ui,
};

use super::actions::actions_row;
use super::paths::{PathField, Wants};
use super::shortcuts::{self, Group};
use super::widgets::{heading, main_button, note};
use super::{bodies, help, icon::Icon, job, photograph, steps, view_copy, widgets};
use crate::commands::{Browse, Command, Commands};
use crate::model::page::{After, Page};
use crate::session::Session;

/// Shows the page, if one is open.
pub(super) fn show(ctx: &Context, session: &Session, send: &mut Commands) {
    let fresh = is_fresh(ctx, session.page.as_ref());
    let Some(page) = &session.page else { return };
    let frame = Frame::popup(&ctx.global_style()).inner_margin(Margin::same(18));
    let modal = Modal::new(Id::new("page")).frame(frame);
    let shown = modal.show(ctx, |ui| {
        let room = ctx.viewport_rect().size() * 0.88 - egui::Vec2::splat(36.0);
        let wide = match page {
            Page::Keys | Page::Bodies { .. } => 840.0,
            Page::Photograph | Page::FinishedPart => 1180.0,
            Page::Steps => 520.0,
            _ => 660.0,
        };
        ui.set_max_size(room.min(egui::vec2(wide, f32::INFINITY)));
        contents(ui, session, page, fresh, send);
    });
    if shown.should_close() {
        send.send(Command::ClosePage);
    }
}

/// Whether the page has just been opened: then its first field takes the keyboard.
fn is_fresh(ctx: &Context, page: Option<&Page>) -> bool {
    let id = Id::new("page that was shown");
    let now = page.map(std::mem::discriminant);
    let before: Option<std::mem::Discriminant<Page>> = ctx.data(|d| d.get_temp(id)).flatten();
    ctx.data_mut(|d| d.insert_temp(id, now));
    now.is_some() && now != before
}

fn contents(ui: &mut Ui, session: &Session, page: &Page, fresh: bool, send: &mut Commands) {
    match page {
        Page::Help => closable(ui, send, "Help and cautions", help::show),
        Page::Keys => closable(ui, send, "Keys", keys),
        Page::Find { text } => find(ui, session, text, send),
        Page::Steps => {
            ui.horizontal(|ui| heading(ui, "Test print: predicted and measured"));
            ui.separator();
            steps::show(ui, session, send);
        }
        Page::Photograph => {
            closable(ui, send, "Read a photograph", |_| {});
            photograph::show(ui, session, photograph::Of::TestPrint, fresh, send);
        }
        Page::FinishedPart => {
            closable(ui, send, "Read a photograph", |_| {});
            photograph::show(ui, session, photograph::Of::FinishedPart, fresh, send);
        }
        Page::SpoolFile { path } => spool_file(ui, path, fresh, send),
        Page::OpenFile { path } => open_file(ui, session, path, fresh, send),
        Page::Picture { path } => picture_file(ui, path, fresh, send),
        Page::SaveAs { path, then } => save_as(ui, session, path, then.as_ref(), fresh, send),
        Page::ViewCopy(form) => view_copy::show(ui, session, form, fresh, send),
        Page::Prepare { folder } => prepare(ui, session, folder, fresh, send),
        Page::Bodies { folder, options } => {
            bodies::show(ui, session, (folder, *options), fresh, send);
        }
        Page::Overwrite {
            file,
            changed,
            then,
        } => {
            let question = Overwriting {
                file,
                changed: *changed,
                then: then.as_ref(),
            };
            overwrite(ui, &question, fresh, send);
        }
        Page::Unsaved { then } => unsaved(ui, session, then, fresh, send),
    }
}

fn closable(ui: &mut Ui, send: &mut Commands, title: &str, contents: impl FnOnce(&mut Ui)) {
    ui.horizontal(|ui| {
        heading(ui, title);
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            if widgets::icon_button(ui, Icon::Close, "Close", "Close this page.  (Esc)").clicked() {
                send.send(Command::ClosePage);
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
                 shift; the wheel zooms. On the ribbon, hold Alt while you drag to ignore its \
                 marks.",
            );
        });
}

fn group_keys(ui: &mut Ui, group: Group) {
    Grid::new(group.name())
        .num_columns(2)
        .min_row_height(18.0)
        .spacing([14.0, 3.0])
        .show(ui, |ui| {
            for entry in shortcuts::ALL.iter().filter(|e| e.group == group) {
                let keys = entry.keys.map(shortcuts::keys_text).unwrap_or_default();
                ui.label(RichText::new(keys).monospace());
                ui.label(entry.name).on_hover_text(entry.hint);
                ui.end_row();
            }
        });
}

fn find(ui: &mut Ui, session: &Session, text: &str, send: &mut Commands) {
    ui.set_width(420.0);
    let mut typed = text.to_owned();
    let field = TextEdit::singleline(&mut typed)
        .hint_text("What do you want to do?")
        .desired_width(f32::INFINITY);
    let response = ui.add(field);
    widgets::named(&response, egui::WidgetType::TextEdit, "Command");
    if !response.has_focus() && !response.lost_focus() {
        response.request_focus();
    }
    let named = shortcuts::named_like(&typed);
    let now = |e: &&&shortcuts::Entry| e.command != Command::Find && session.can(&e.command);
    let found: Vec<_> = named.iter().filter(now).collect();
    let mut wanted = None;
    if response.lost_focus() && ui.input(|i| i.key_pressed(Key::Enter)) {
        wanted = found.first().map(|e| e.command.clone());
        if wanted.is_none() {
            response.request_focus();
        }
    }
    if found.is_empty() {
        note(
            ui,
            match named.first() {
                Some(entry) => format!("“{}” is not available now.", entry.name),
                None => "No command has this name.".to_owned(),
            },
        );
    }
    ScrollArea::vertical().max_height(320.0).show(ui, |ui| {
        ui.with_layout(Layout::top_down_justified(Align::Min), |ui| {
            for entry in found {
                let keys = entry.keys.map(shortcuts::keys_text).unwrap_or_default();
                let button = Button::new(entry.name).shortcut_text(keys).frame(false);
                if ui.add(button).on_hover_text(entry.hint).clicked() {
                    wanted = Some(entry.command.clone());
                }
            }
        });
    });
    if let Some(command) = wanted {
        send.send(Command::ClosePage);
        send.send(command);
    } else if typed != text {
        send.send(Command::ShowPage(Page::Find { text: typed }));
    }
}

fn open_file(ui: &mut Ui, session: &Session, path: &str, fresh: bool, send: &mut Commands) {
    heading(ui, "Open a mesh or a plan");
    let field = PathField {
        name: "File",
        wants: Wants::File,
        fresh,
    };
    let told = field.show(ui, path);
    let go = actions_row(ui, send, "Open the file", told.usable, "Cancel");
    recent(ui, session, send);
    if told.browse {
        send.send(Command::Browse(Browse::Open));
    } else if (go || told.entered) && told.usable {
        send.send(Command::ClosePage);
        send.send(Command::OpenFile(told.path()));
    } else if told.text != path {
        send.send(Command::ShowPage(Page::OpenFile { path: told.text }));
    }
}

/// Files that were open lately, and the way to the start page.
fn recent(ui: &mut Ui, session: &Session, send: &mut Commands) {
    const MOST: usize = 8;
    let open = session.doc.as_ref().map(|d| &d.origin);
    let here = open.and_then(|o| o.plan_file.as_ref().or(o.mesh_file.as_ref()));
    let files = session.recent.files.iter().filter(|f| Some(*f) != here);
    let files: Vec<_> = files.take(MOST).collect();
    if !files.is_empty() {
        ui.add_space(8.0);
        heading(ui, "Recent");
    }
    for file in files {
        let name = file.display().to_string();
        if ui.add(Button::new(name).truncate()).clicked() {
            send.send(Command::ClosePage);
            send.send(Command::OpenFile(file.clone()));
        }
    }
    if session.doc.is_some() {
        ui.add_space(8.0);
        let start = ui.button("Go to the start page");
        if start
            .on_hover_text("Close this part. The start page has demonstrations to try.")
            .clicked()
        {
            send.send(Command::ClosePage);
            send.send(Command::Close);
        }
    }
}

fn spool_file(ui: &mut Ui, path: &str, fresh: bool, send: &mut Commands) {
    heading(ui, "Take spools from a file");
    ui.label("A file of spools (.ron), or the readings of a test print (.csv) to fit.");
    let page = |path| Page::SpoolFile { path };
    if let Some(file) = one_file(
        ui,
        (path, fresh),
        "Read the file",
        (Browse::Spools, page),
        send,
    ) {
        send.send(Command::TakeSpoolFile(file));
    }
}

fn picture_file(ui: &mut Ui, path: &str, fresh: bool, send: &mut Commands) {
    heading(ui, "Put a picture on the part");
    ui.label("A PNG, a JPEG or an SVG. You can drop the file on the part, too.");
    let page = |path| Page::Picture { path };
    let go = "Put it on the part";
    if let Some(file) = one_file(ui, (path, fresh), go, (Browse::Picture, page), send) {
        send.send(Command::PutPicture(file, None));
    }
}

/// Asks for a file that is there; gives it once the person has agreed to it. What is typed stays
/// on the page.
fn one_file(
    ui: &mut Ui,
    (path, fresh): (&str, bool),
    go: &str,
    (browse, page): (Browse, impl FnOnce(String) -> Page),
    send: &mut Commands,
) -> Option<PathBuf> {
    let field = PathField {
        name: "File",
        wants: Wants::File,
        fresh,
    };
    let told = field.show(ui, path);
    let go = actions_row(ui, send, go, told.usable, "Cancel");
    if told.browse {
        send.send(Command::Browse(browse));
    } else if (go || told.entered) && told.usable {
        return Some(told.path());
    } else if told.text != path {
        send.send(Command::ShowPage(page(told.text)));
    }
    None
}

fn save_as(
    ui: &mut Ui,
    session: &Session,
    path: &str,
    then: Option<&After>,
    fresh: bool,
    send: &mut Commands,
) {
    heading(ui, "Save the plan as");
    let field = PathField {
        name: "File",
        wants: Wants::NewFile,
        fresh,
    };
    let told = field.show(ui, path);
    let origin = session.doc.as_ref().map(|d| &d.origin);
    if origin.is_some_and(|o| o.mesh_file.is_none()) {
        note(ui, "The mesh is saved beside it.");
    }
    let go = actions_row(ui, send, "Save the plan", told.usable, "Cancel");
    if told.browse {
        send.send(Command::Browse(Browse::Save(told.path())));
    } else if (go || told.entered) && told.usable {
        send.send(Command::SaveTo(told.path(), then.cloned()));
    } else if told.text != path {
        send.send(Command::ShowPage(Page::SaveAs {
            path: told.text,
            then: then.cloned(),
        }));
    }
}

fn prepare(ui: &mut Ui, session: &Session, folder: &str, fresh: bool, send: &mut Commands) {
    heading(ui, "Prepare for printing");
    ui.label(
        "Writes the schedule (the feed of each layer) and a sheet with pictures of the part \
              into a folder.",
    );
    let field = PathField {
        name: "Folder",
        wants: Wants::Folder,
        fresh,
    };
    let told = field.show(ui, folder);
    job::record(ui, session, send);
    for text in session.warnings().iter().take(4) {
        widgets::warning(ui, text.as_str());
    }
    let written = session.prepared.as_ref();
    if let Some(prepared) = written {
        ui.separator();
        ui.label(RichText::new(format!("Written to {}", prepared.folder.display())).strong());
        for (file, about) in &prepared.files {
            ui.horizontal(|ui| {
                ui.label(RichText::new(file).monospace());
                note(ui, about.as_str());
            });
        }
        if let Some(text) = &prepared.warning {
            widgets::warning(ui, text.as_str());
        }
    }
    if ui
        .link("The print step takes several tools? Cut the part into bodies instead.")
        .clicked()
    {
        send.send(Command::Bodies);
    }
    note(
        ui,
        "Read the cautions in the help page before you print, and watch the first layers.",
    );
    let can = told.usable && !session.is_preparing();
    // Once the files are there, nothing is left to cancel.
    let go = match written {
        Some(_) => done_row(ui, send, can),
        None => actions_row(ui, send, "Write the files", can, "Cancel"),
    };
    if let Some((_, stage, fraction)) = session.busy_with().filter(|_| session.is_preparing()) {
        note(ui, stage);
        let bar = egui::ProgressBar::new(fraction).desired_height(10.0);
        ui.add(bar.desired_width(520.0));
    }
    if told.browse {
        send.send(Command::Browse(Browse::Folder));
    } else if (go || told.entered) && can {
        send.send(Command::PrepareIn(told.path()));
    } else if told.text != folder {
        send.send(Command::ShowPage(Page::Prepare { folder: told.text }));
    }
}

/// The files are written: leave the page, or write them again.
fn done_row(ui: &mut Ui, send: &mut Commands, can: bool) -> bool {
    let mut again = false;
    ui.add_space(8.0);
    ui.horizontal(|ui| {
        if main_button(ui, "Done", true).clicked() {
            send.send(Command::ClosePage);
        }
        again = ui.add_enabled(can, Button::new("Write again")).clicked();
    });
    again
}

struct Overwriting<'a> {
    file: &'a std::path::Path,
    changed: bool,
    then: Option<&'a After>,
}

fn overwrite(ui: &mut Ui, question: &Overwriting<'_>, fresh: bool, send: &mut Commands) {
    let Overwriting {
        file,
        changed,
        then,
    } = *question;
    let name = file.display();
    if changed {
        heading(ui, "The plan was changed elsewhere");
        ui.label(format!(
            "{name} has changed since you opened it: another window or program has written it. If \
             you save here, those changes are lost."
        ));
    } else {
        heading(ui, "The file already exists");
        ui.label(format!("Saving replaces {name}."));
    }
    ui.add_space(8.0);
    ui.horizontal(|ui| {
        let other = main_button(ui, "Save under another name…", true);
        if fresh {
            other.request_focus();
        }
        if other.clicked() {
            send.send(Command::SaveAs);
        }
        let over = if changed {
            "Save mine over it"
        } else {
            "Replace it"
        };
        if ui.button(over).clicked() {
            send.send(Command::SaveOver(file.to_owned(), then.cloned()));
        }
        if changed && ui.button("Load theirs").clicked() {
            send.send(Command::DropUnsaved(After::Open(file.to_owned())));
        }
        if ui.button("Cancel").clicked() {
            send.send(Command::ClosePage);
        }
    });
}

fn unsaved(ui: &mut Ui, session: &Session, then: &After, fresh: bool, send: &mut Commands) {
    let title = session.doc.as_ref().map(|d| d.title()).unwrap_or_default();
    heading(ui, &format!("Save the changes to {title}?"));
    ui.label("Otherwise they are lost.");
    ui.add_space(8.0);
    ui.horizontal(|ui| {
        let save = main_button(ui, "Save", true);
        if fresh {
            save.request_focus();
        }
        if save.clicked() {
            send.send(Command::SaveThen(then.clone()));
        }
        if ui.button("Don't save").clicked() {
            send.send(Command::DropUnsaved(then.clone()));
        }
        if ui.button("Cancel").clicked() {
            send.send(Command::ClosePage);
        }
    });
}
