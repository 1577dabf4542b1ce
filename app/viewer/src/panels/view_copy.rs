//! The page for a picture of the view.

use egui::Ui;

use super::actions::actions_row;
use super::paths::{PathField, Wants};
use super::widgets::{Number, heading, note, warning};
use crate::commands::{Browse, Command, Commands};
use crate::model::page::Page;
use crate::model::view_copy::{Form, SIDE_RANGE, Size, To, ViewCopy};
use crate::session::Session;

/// Shows the page.
pub(super) fn show(ui: &mut Ui, session: &Session, form: &Form, fresh: bool, send: &mut Commands) {
    heading(ui, "Picture of the view");
    ui.label("Writes the part as you see it, without the panels.");
    let field = PathField {
        name: "PNG file",
        wants: Wants::NewFile,
        fresh,
    };
    let told = field.show(ui, &form.path);
    let mut now = Form {
        path: told.text.clone(),
        ..form.clone()
    };
    let scale = ui.ctx().pixels_per_point();
    let pixels = sizes(ui, session, &mut now, scale);
    ui.checkbox(&mut now.clear, "Transparent background")
        .on_hover_text("Leaves out the ground and the plate.");
    if let Err(why) = &pixels {
        warning(ui, why.as_str());
    }
    let order = |to| ViewCopy {
        size: now.size,
        clear: now.clear,
        to,
    };
    let usable = pixels.is_ok() && !session.is_copying_view();
    let clipboard = ui
        .add_enabled(usable, egui::Button::new("Copy to the clipboard"))
        .on_hover_text("Puts the picture on the clipboard instead of into a file.")
        .clicked();
    let name = match told.path().is_file() {
        true => "Replace the file",
        false => "Write the picture",
    };
    let go = actions_row(ui, send, name, told.usable && usable, "Cancel");
    if told.browse {
        send.send(Command::ShowPage(Page::ViewCopy(Box::new(now.clone()))));
        send.send(Command::Browse(Browse::ViewCopy(told.path())));
    } else if clipboard {
        send.send(Command::CopyView(order(To::Clipboard)));
    } else if (go || told.entered) && told.usable && usable {
        send.send(Command::CopyView(order(To::File(with_ending(
            &told.path(),
        )))));
    } else if now != *form {
        send.send(Command::ShowPage(Page::ViewCopy(Box::new(now))));
    }
}

/// The path with the ending of its format.
fn with_ending(path: &std::path::Path) -> std::path::PathBuf {
    let named = path
        .extension()
        .is_some_and(|ending| ending.eq_ignore_ascii_case("png"));
    match named {
        true => path.to_owned(),
        false => {
            let mut name = path.as_os_str().to_owned();
            name.push(".png");
            name.into()
        }
    }
}

/// The choice of size, and what it comes to.
fn sizes(ui: &mut Ui, session: &Session, now: &mut Form, scale: f32) -> Result<(u32, u32), String> {
    let stage = session.view.stage;
    ui.horizontal(|ui| {
        ui.label("Size");
        for (size, name) in [(Size::AsSeen, "As seen"), (Size::Double, "Twice")] {
            ui.radio_value(&mut now.size, size, name);
        }
        let (across, down) = now.typed;
        ui.radio_value(&mut now.size, Size::Pixels(across, down), "In pixels");
    });
    if let Size::Pixels(..) = now.size {
        let (low, high) = SIDE_RANGE;
        let field = Number {
            range: (f64::from(low), f64::from(high)),
            speed: 2.0,
            decimals: 0,
            unit: " px",
            width: Some(84.0),
        };
        ui.horizontal(|ui| {
            let (mut across, mut down) = now.typed;
            ui.label("Width");
            let width = field.show(ui, "Width of the picture", "", f64::from(across));
            ui.label("Height");
            let height = field.show(ui, "Height of the picture", "", f64::from(down));
            across = width.to.map_or(across, |px| px as u32);
            down = height.to.map_or(down, |px| px as u32);
            now.typed = (across, down);
            now.size = Size::Pixels(across, down);
        });
    }
    let pixels = now.size.pixels(stage, scale);
    if let Ok((width, height)) = pixels {
        note(ui, format!("{width} × {height} pixels"));
    }
    pixels
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;

    #[test]
    fn a_picture_has_the_ending_of_its_format() {
        assert_eq!(with_ending(Path::new("a/view")), Path::new("a/view.png"));
        assert_eq!(with_ending(Path::new("a/v.1")), Path::new("a/v.1.png"));
        assert_eq!(with_ending(Path::new("a/v.PNG")), Path::new("a/v.PNG"));
    }
}
