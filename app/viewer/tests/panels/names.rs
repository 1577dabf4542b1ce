//! What a screen reader is told: each control of each page has a name.

use egui::accesskit::Role;
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT, Queryable};
use tintfall_viewer::commands::{Command, Cutting};
use tintfall_viewer::model::page::{Drawer, Page};
use tintfall_viewer::model::section::Across;
use tintfall_viewer::model::view_copy::{Form, Size};
use tintfall_viewer::session::Session;

use crate::bench::{bench, settle};

/// Roles of what a person can use.
const CONTROLS: [Role; 12] = [
    Role::Button,
    Role::DefaultButton,
    Role::CheckBox,
    Role::RadioButton,
    Role::ComboBox,
    Role::TextInput,
    Role::MultilineTextInput,
    Role::SpinButton,
    Role::Slider,
    Role::Link,
    Role::ColorWell,
    Role::Tab,
];

/// Controls on the window, and those without a name.
fn controls(harness: &Harness<'_, Session>) -> (usize, Vec<String>) {
    let mut count = 0;
    let mut nameless = Vec::new();
    for node in harness.root().children_recursive() {
        let node = node.accesskit_node();
        if !CONTROLS.contains(&node.role()) {
            continue;
        }
        count += 1;
        let name = node.label().unwrap_or_default();
        if name.trim().is_empty() {
            nameless.push(format!("{:?} at {:?}", node.role(), node.bounding_box()));
        }
    }
    (count, nameless)
}

fn check(harness: &Harness<'_, Session>, page: &str) {
    let (count, nameless) = controls(harness);
    assert!(count > 10, "{page}: {count} controls");
    assert!(nameless.is_empty(), "{page}: {nameless:#?}");
}

#[test]
fn each_control_of_the_drawer_has_a_name() {
    let mut harness = bench(None);
    harness.set_size(egui::vec2(1280.0, 2400.0));
    for drawer in Drawer::ALL {
        harness.state_mut().apply(Command::ShowDrawer(drawer));
        settle(&mut harness);
        check(&harness, drawer.name());
    }
    // A fade, with its stops and its blend; then a region's name being typed.
    harness
        .state_mut()
        .apply(Command::ShowDrawer(Drawer::Colour));
    harness.state_mut().apply(Command::MakeFade);
    harness.state_mut().apply(Command::ChooseStop(1));
    harness.state_mut().apply(Command::NameBlend);
    settle(&mut harness);
    check(&harness, "a fade");
    harness.state_mut().apply(Command::MakeFixed);
    harness.state_mut().apply(Command::NameBlend);
    harness.state_mut().apply(Command::Rename);
    settle(&mut harness);
    check(&harness, "a named blend");
}

#[test]
fn each_step_of_the_job_has_names_when_it_is_open() {
    let mut harness = bench(None);
    harness.set_size(egui::vec2(1280.0, 4000.0));
    harness.state_mut().apply(Command::Job);
    settle(&mut harness);
    let steps = [
        "Test print of the spools",
        "Lag of the melt chamber",
        "Photograph of a test print",
        "Fit the lag",
        "Compare with another plan",
        "Review page",
        "Sign, or send back",
        "Changes since it was signed",
        "Table to key in",
        "Write a hand-off",
        "Check a hand-off",
        "Watch list",
        "Photograph of the finished part",
        "Find the cause of a bad print",
    ];
    for step in steps {
        harness.get_by_label(step).click();
        settle(&mut harness);
    }
    check(&harness, "the whole job");
}

#[test]
fn each_control_of_the_cut_has_a_name() {
    let mut harness = bench(None);
    for across in Across::ALL {
        let section = Command::Section(Cutting::Across(across));
        harness.state_mut().apply(section);
        settle(&mut harness);
        check(&harness, across.name());
    }
}

#[test]
fn each_control_of_a_page_over_the_window_has_a_name() {
    let mut harness = bench(None);
    for page in [
        Page::Help,
        Page::Keys,
        Page::Find {
            text: "no such command".to_owned(),
        },
        Page::OpenFile {
            path: String::new(),
        },
        Page::Photograph,
        Page::FinishedPart,
        Page::SpoolFile {
            path: String::new(),
        },
        Page::SaveAs {
            path: String::new(),
            then: None,
        },
        Page::Prepare {
            folder: String::new(),
        },
        Page::ViewCopy(Box::new(Form {
            path: String::new(),
            size: Size::Pixels(640, 480),
            typed: (640, 480),
            clear: false,
        })),
    ] {
        harness.state_mut().apply(Command::ShowPage(page.clone()));
        settle(&mut harness);
        check(&harness, &format!("{page:?}"));
        harness.state_mut().apply(Command::ClosePage);
    }
}
