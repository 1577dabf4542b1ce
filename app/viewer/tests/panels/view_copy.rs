//! Pictures of the view.

use egui::{Key, Modifiers};
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT, Queryable};
use tintfall_viewer::commands::Browse;
use tintfall_viewer::jobs::view_copy::Pixels;
use tintfall_viewer::model::page::Page;
use tintfall_viewer::model::view_copy::{Size, To, ViewCopy};
use tintfall_viewer::session::{Picked, Session};

use crate::bench::*;

/// What the scene would draw: a picture of one colour, half of it clear.
fn drawn(width: u32, height: u32) -> Pixels {
    let pixel = |i: u32| {
        if i.is_multiple_of(2) {
            [90, 120, 30, 255]
        } else {
            [0; 4]
        }
    };
    Pixels {
        width,
        height,
        rgba: (0..width * height).flat_map(pixel).collect(),
    }
}

fn page_of<'a>(harness: &'a Harness<'_, Session>) -> &'a tintfall_viewer::model::view_copy::Form {
    match &harness.state().page {
        Some(Page::ViewCopy(form)) => form,
        other => panic!("{other:?}"),
    }
}

fn opened<'a>() -> Harness<'a, Session> {
    let mut harness = bench(None);
    let both = Modifiers::COMMAND | Modifiers::SHIFT;
    harness.key_press_modifiers(both, Key::E);
    settle(&mut harness);
    harness
}

#[test]
fn a_picture_is_asked_for_by_keys_and_written_whole() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("seen.png");
    let mut harness = opened();
    let chosen = Picked::File(file.clone());
    let what = Browse::ViewCopy(file.clone());
    harness.state_mut().take_picked(what, chosen);
    settle(&mut harness);
    click(&mut harness, "Twice");
    click(&mut harness, "Transparent background");
    assert_eq!(page_of(&harness).size, Size::Double);
    click(&mut harness, "Write the picture");
    assert_eq!(harness.state().page, None);
    let wanted = ViewCopy {
        size: Size::Double,
        clear: true,
        to: To::File(file.clone()),
    };
    assert_eq!(harness.state().view_copy_wanted(), Some(&wanted));
    // While it is drawn, the pointer leaves nothing in it.
    let at = harness.state().view.stage.center();
    harness.event(egui::Event::PointerMoved(at));
    harness.run_ok();
    assert_eq!(harness.state().marked_height_mm(), None);
    harness.state_mut().take_view_pixels(Ok(drawn(6, 4)));
    settle(&mut harness);
    assert!(!harness.state().is_copying_view());
    let bytes = std::fs::read(&file).expect("written");
    assert!(bytes.starts_with(b"\x89PNG"));
    let there: Vec<_> = std::fs::read_dir(folder.path()).expect("listed").collect();
    assert_eq!(there.len(), 1, "{there:?}");
    harness.get_by_label_contains("Wrote seen.png");
    // Asked for again, it says that it replaces the file.
    harness.key_press_modifiers(Modifiers::COMMAND | Modifiers::SHIFT, Key::E);
    settle(&mut harness);
    let what = Browse::ViewCopy(file.clone());
    let session = harness.state_mut();
    session.take_picked(what, Picked::File(file.clone()));
    settle(&mut harness);
    harness.get_by_label("Replace the file");
}

#[test]
fn a_size_in_pixels_is_typed_and_one_too_large_is_refused() {
    let mut harness = opened();
    click(&mut harness, "In pixels");
    assert_eq!(page_of(&harness).size, Size::Pixels(1920, 1080));
    for (name, digits) in [
        ("Width of the picture", "8000"),
        ("Height of the picture", "7000"),
    ] {
        harness.get_by_label(name).click();
        harness.run_ok();
        harness.event(egui::Event::Text(digits.to_owned()));
        harness.run_ok();
        harness.key_press(Key::Enter);
        settle(&mut harness);
    }
    assert_eq!(page_of(&harness).size, Size::Pixels(8000, 7000));
    harness.get_by_label_contains("Choose a smaller size");
    let button = harness.get_by_label("Write the picture");
    assert!(button.accesskit_node().is_disabled());
}

#[test]
fn a_picture_goes_to_the_clipboard_or_it_is_said_that_there_is_none() {
    let mut harness = bench(None);
    harness.key_press_modifiers(Modifiers::COMMAND | Modifiers::SHIFT, Key::C);
    settle(&mut harness);
    let wanted = harness.state().view_copy_wanted().map(|w| w.to.clone());
    assert_eq!(wanted, Some(To::Clipboard));
    harness.state_mut().take_view_pixels(Ok(drawn(4, 4)));
    settle(&mut harness);
    // Whether the machine that tests has one is not known.
    let said = harness.state().notices.shown();
    assert!(
        said.iter().any(|n| n.text.contains("clipboard")),
        "{said:?}"
    );
    // A card that draws nothing is said, too.
    harness.key_press_modifiers(Modifiers::COMMAND | Modifiers::SHIFT, Key::C);
    settle(&mut harness);
    let none = Err("no picture came".to_owned());
    harness.state_mut().take_view_pixels(none);
    settle(&mut harness);
    assert!(harness.state().notices.has_errors());
    assert!(!harness.state().is_copying_view());
}
