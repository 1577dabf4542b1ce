//! Knowing the spools and the hotend before the first plan.

use egui::Ui;

use super::super::widgets::{note, signed};
use super::page::Page;
use crate::commands::Command;
use crate::model::errand::{Errand, FormFile};
use crate::model::page::Drawer;

/// Shows the steps.
pub(super) fn show(ui: &mut Ui, page: &mut Page<'_>) {
    page.step(ui, "Test print of the spools", &[Errand::Swatch], |ui, page| {
        note(
            ui,
            "Bars in steps of known blends, with a table to fill in. From your readings the spools \
             page fits how the spools mix.",
        );
        page.file(ui, FormFile::SwatchFolder);
        let hint = "Steps that mix each pair of spools: 2 to 20.";
        Page::count(ui, "Steps between two spools", hint, 20, &mut page.forms.between);
        let hint = "The tallest part that fits the printer.";
        let tallest = &mut page.forms.tallest_mm;
        Page::amount(ui, ("Tallest bar", " mm"), hint, (20.0, 2000.0), tallest);
        page.button(ui, "Write the test print", Errand::Swatch);
        if ui.button("Fit readings, or take spools from a file…").clicked() {
            page.send.send(Command::ShowDrawer(Drawer::Spools));
            page.send.send(Command::AskSpoolFile);
        }
    });
    let errands = [Errand::LagTest];
    page.step(ui, "Lag of the melt chamber", &errands, |ui, page| {
        note(
            ui,
            "A thin tower that shows how late a change of blend arrives.",
        );
        page.file(ui, FormFile::LagFolder);
        page.button(ui, "Write the lag test", Errand::LagTest);
        signed(ui, "Stay with the print: the tower is thin and tall.");
    });
    page.step(ui, "Photograph of a test print", &[], |ui, page| {
        note(
            ui,
            "Reads the colours of either test print from a photograph of it on the photograph \
             card, beside a grey card or another reference.",
        );
        if ui.button("Read a photograph…").clicked() {
            page.send.send(Command::Photograph);
        }
    });
    page.step(ui, "Fit the lag", &[Errand::LagFit], |ui, page| {
        note(
            ui,
            "From the printed plan and your readings: the machine file with the fitted chamber.",
        );
        page.file(ui, FormFile::LagPlan);
        page.file(ui, FormFile::LagReadings);
        page.file(ui, FormFile::MachineFile);
        page.button(ui, "Fit the chamber", Errand::LagFit);
    });
}
