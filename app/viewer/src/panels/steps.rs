//! The steps of a test print: what the fit predicts beside what was measured.

use blend::calibrate::{MeasuredSpools, StepResult};
use egui::{Color32, Grid, Rect, RichText, ScrollArea, Sense, Ui, vec2};

use super::widgets::{self, colour32, main_button, note};
use crate::commands::{Command, Commands};
use crate::session::Session;

/// Shows the steps of a fit that waits to be used, or else of the plan's spools.
pub(super) fn show(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let waiting = session.fitted.as_ref();
    let measured = match waiting {
        Some(fitted) => Some(&fitted.measured),
        None => session.measured_spools(),
    };
    let Some(measured) = measured else {
        ui.label("These spools have no measured steps.");
        return;
    };
    figures(ui, measured);
    ui.add_space(6.0);
    let room = ui.available_height() - 70.0;
    ScrollArea::vertical()
        .max_height(room.max(160.0))
        .show(ui, |ui| {
            steps(ui, measured);
            for warning in &measured.warnings {
                widgets::warning(ui, warning.to_string());
            }
        });
    ui.add_space(8.0);
    let Some(fitted) = waiting else {
        if ui.button("Close").clicked() {
            send.send(Command::ClosePage);
        }
        return;
    };
    ui.horizontal(|ui| {
        let hint = format!(
            "Writes {} and gives the plan these spools.",
            fitted.to_write.display()
        );
        let button = main_button(ui, "Use these spools", true);
        if button.on_hover_text(hint).clicked() {
            send.send(Command::UseFit);
        }
        if ui.button("Cancel").clicked() {
            send.send(Command::DropFit);
        }
    });
}

fn figures(ui: &mut Ui, measured: &MeasuredSpools) {
    let from = &measured.provenance;
    if !from.file.is_empty() {
        let mut text = format!("From {}", from.file);
        for more in [&from.measured_on, &from.instrument] {
            if !more.is_empty() {
                text.push_str(", ");
                text.push_str(more);
            }
        }
        note(ui, text);
    }
    let mut text = format!(
        "The fit is off the mixed steps by ΔE00 {:.1} (root mean square)",
        measured.rms_delta_e00
    );
    if let Some(rms) = measured.leave_one_out_rms_delta_e00 {
        text.push_str(&format!(
            "; each step predicted from the others: {rms:.1}. Expect that of a blend that was not \
             measured"
        ));
    }
    ui.add(egui::Label::new(text + ".").wrap());
    note(ui, format!("How the spools mix: {}.", measured.mixing));
    let each = measured.strengths.iter().zip(&measured.strength_errors);
    for (spool, (strength, error)) in measured.spools.iter().zip(each) {
        ui.horizontal(|ui| {
            widgets::swatch(ui, spool.xyz().to_srgb(), vec2(16.0, 16.0));
            ui.label(&spool.name);
            note(
                ui,
                format!("strength {strength:.2} ± {:.0} %", error * 100.0),
            );
        });
    }
}

fn steps(ui: &mut Ui, measured: &MeasuredSpools) {
    Grid::new("steps")
        .num_columns(6)
        .striped(true)
        .spacing([16.0, 4.0])
        .show(ui, |ui| {
            for title in [
                "Step",
                "Shares",
                "Predicted | measured",
                "ΔE00",
                "From the others",
                "",
            ] {
                note(ui, title);
            }
            ui.end_row();
            for (index, step) in measured.steps.iter().enumerate() {
                one(ui, index, step);
                ui.end_row();
            }
        });
}

fn one(ui: &mut Ui, index: usize, step: &StepResult) {
    ui.label(format!("{}", index + 1));
    ui.label(RichText::new(step.step.shares.to_string()).monospace());
    let of = |lab: blend::Lab| colour32(lab.to_xyz().to_srgb());
    halves(ui, of(step.predicted), of(step.measured));
    ui.label(format!("{:.1}", step.delta_e00));
    ui.label(match step.leave_one_out_delta_e00 {
        Some(delta) => format!("{delta:.1}"),
        None => "–".to_owned(),
    });
    note(
        ui,
        if step.left_out {
            "left out of the fit"
        } else {
            ""
        },
    );
}

/// Two colours edge to edge: so the eye sees the least difference.
fn halves(ui: &mut Ui, left: Color32, right: Color32) {
    let (rect, response) = ui.allocate_exact_size(vec2(120.0, 22.0), Sense::hover());
    let middle = rect.center().x;
    let painter = ui.painter();
    painter.rect_filled(rect.with_max_x(middle), 0.0, left);
    painter.rect_filled(
        Rect::from_min_max(egui::pos2(middle, rect.top()), rect.max),
        0.0,
        right,
    );
    response.on_hover_text("Left predicted, right measured.");
}
