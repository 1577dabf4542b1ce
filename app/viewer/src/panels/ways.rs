//! Before weaving: the regions that would be lost, and ways to weave beside each other.

use egui::{Align2, Button, Color32, FontId, RichText, Sense, Stroke, Ui, pos2, vec2};
use weave::compare::{Comparison, Means, Way};
use weave::figures::Lost;

use super::icon::Icon;
use super::widgets::{area, cautions, grams, heading, line, note, percent, warning};
use crate::commands::{Command, Commands};
use crate::jobs::trying::Foreseen;
use crate::session::Session;
use crate::theme::{Palette, size};

/// Height of the curve, points.
const CURVE: f32 = 120.0;

/// Shows which regions the options would lose.
pub(super) fn lost(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let p = Palette::from_ui(ui);
    heading(ui, "Before you weave");
    if let Some(found) = session.foreseen_now() {
        ui.label(foreseen(found));
        cautions(ui, &found.cautions);
    }
    let mut lifted = None;
    match session.foreseen_lost() {
        None => {
            note(
                ui,
                "Not tried with these options: nobody knows yet which regions come out.",
            );
        }
        Some([]) => line(ui, Icon::Sound, p.text, "Every region comes out."),
        Some(lost) => {
            warning(ui, "These regions would be lost. Click one to see it.");
            for lost in lost {
                lifted = lifted.or(lost_row(ui, session, lost, send));
            }
        }
    }
    send.send(Command::LiftRegion(lifted));
    ui.horizontal(|ui| {
        for (name, command, hint) in [
            (
                "Try these options",
                Command::TryOptions,
                "Weave into a file that is thrown away, and read it back: what comes out, and \
                 what it costs.",
            ),
            (
                "Compare ways",
                Command::CompareWays,
                "Try several ways to weave, and list what each costs and loses.",
            ),
        ] {
            let button = ui.add_enabled(session.can(&command), Button::new(name));
            if button
                .on_hover_text(hint)
                .on_disabled_hover_text(hint)
                .clicked()
            {
                send.send(command);
            }
        }
    });
}

fn foreseen(found: &Foreseen) -> String {
    format!(
        "Woven into this toolpath: mean ΔE00 {:.2}, 95 % within {:.1}; {} purged beside the part, \
         {:.0} min.",
        found.mean_de00,
        found.p95_de00,
        grams(found.purged_g),
        found.purged_minutes
    )
}

/// A region that would be lost; gives it while it is to stand out on the part.
fn lost_row(ui: &mut Ui, session: &Session, lost: &Lost, send: &mut Commands) -> Option<usize> {
    let regions = &session.doc.as_ref()?.plan().regions;
    let region = regions.iter().position(|r| r.name == lost.name);
    let text = format!("{}, {}", lost.name, lost_figures(lost));
    let on = region.is_some() && session.chosen.region == region;
    let room = vec2(ui.available_width(), 0.0);
    let row = Button::new(text).wrap().selected(on).min_size(room);
    let response = ui.add(row);
    if let Some(region) = region.filter(|_| response.clicked()) {
        send.send(Command::ShowRegion(region));
    }
    region.filter(|_| on || response.hovered() || response.has_focus())
}

fn lost_figures(lost: &Lost) -> String {
    format!("{}: off by ΔE00 {:.0}", area(lost.area_mm2), lost.mean_de00)
}

/// Shows the ways that were compared.
pub(super) fn curve(ui: &mut Ui, session: &Session, send: &mut Commands) {
    let Some(found) = session.compared_now() else {
        return;
    };
    let found = &found.comparison;
    ui.add_space(8.0);
    heading(ui, "Ways to weave");
    note(
        ui,
        "The recommended one first. ΔE00 at the skin, as read back; purge beside the part.",
    );
    cautions(ui, &found.cautions);
    draw(ui, found);
    let arrange = session.toolpath.draft.arrange();
    for (i, way) in found.ways.iter().enumerate() {
        let on = way.means == Means::Options(arrange.clone());
        let text = RichText::new(way_text(i, way));
        let room = vec2(ui.available_width(), 0.0);
        let row = Button::new(text).wrap().selected(on).min_size(room);
        let hint = match way.means {
            Means::Options(_) => "Take these options.",
            Means::LayerMm(_) => "Set the plan's layers so; then slice the part again.",
            Means::OneBlend => "Set in the plan that each layer has one blend.",
        };
        if ui.add(row).on_hover_text(hint).clicked() {
            send.send(Command::TakeWay(Box::new(way.means.clone())));
        }
    }
    limits(ui, found);
}

fn way_text(number: usize, way: &Way) -> String {
    let mut text = format!("{}. {}", number + 1, way.name);
    if number == 0 {
        text.push_str(" (recommended)");
    }
    if way.estimated {
        text.push_str(" (an estimate)");
    }
    text.push_str(&format!(
        "\nΔE00 mean {:.2}, 95 % within {:.1}; {}, {:.0} min",
        way.mean_de00,
        way.p95_de00,
        grams(way.purged_g),
        way.purged_minutes
    ));
    for lost in &way.lost {
        text.push_str(&format!("\nloses {}, {}", lost.name, lost_figures(lost)));
    }
    text
}

/// What to hold the ways against.
fn limits(ui: &mut Ui, found: &Comparison) {
    if found.least_g > 0.0 {
        note(
            ui,
            format!(
                "Lower bound: the changes of order and block need {}; the rest is for the block \
                 to stand. The same purge at each change would be {}. For two blends in each \
                 layer, twice the part's weight is usual: {} (common practice, no source).",
                grams(found.least_g),
                grams(found.fixed_g),
                grams(found.custom_g)
            ),
        );
    }
    if let Some(lighter) = &found.lighter {
        let shares = |shares: &blend::Shares| {
            let all: Vec<String> = shares.as_slice().iter().map(|s| percent(*s)).collect();
            all.join(" / ")
        };
        note(
            ui,
            format!(
                "Purest blends need the most purge. With {} in place of {} (ΔE00 {:.1} apart), its \
                 changes need a third: about {} less.",
                shares(&lighter.shares),
                shares(&lighter.instead_of),
                lighter.de00,
                grams(lighter.saves_g)
            ),
        );
    }
}

/// Plastic purged against mean ΔE00: a point for each way, with its number.
fn draw(ui: &mut Ui, found: &Comparison) {
    let p = Palette::from_ui(ui);
    let size = vec2(ui.available_width(), CURVE);
    let (rect, response) = ui.allocate_exact_size(size, Sense::hover());
    response.widget_info(|| {
        let name = "Plastic purged against mean ΔE00, a point for each way";
        egui::WidgetInfo::labeled(egui::WidgetType::Other, true, name)
    });
    let painter = ui.painter();
    painter.rect_filled(rect, 4.0, p.well);
    // Room for the name of the axis above the topmost point.
    let mut plot = rect.shrink2(vec2(34.0, 18.0));
    plot.min.y += 10.0;
    let most = |of: fn(&Way) -> f64| found.ways.iter().map(of).fold(0.0, f64::max).max(1e-3);
    let (most_g, most_de00) = (most(|w| w.purged_g), most(|w| w.mean_de00));
    let at = |way: &Way| {
        let x = plot.left() + plot.width() * (way.purged_g / most_g) as f32;
        let y = plot.bottom() - plot.height() * (way.mean_de00 / most_de00) as f32;
        pos2(x, y)
    };
    let axis = Stroke::new(1.0, p.edge);
    painter.hline(plot.x_range(), plot.bottom(), axis);
    painter.vline(plot.left(), plot.y_range(), axis);
    let font = FontId::proportional(size::SMALL);
    let text = |at, align, text: String| {
        painter.text(at, align, text, font.clone(), p.quiet);
    };
    let low = plot.left_bottom();
    text(low + vec2(-4.0, 0.0), Align2::RIGHT_CENTER, "0".to_owned());
    let high = plot.left_top() + vec2(-4.0, 0.0);
    text(high, Align2::RIGHT_CENTER, format!("{most_de00:.1}"));
    text(
        rect.left_top() + vec2(6.0, 2.0),
        Align2::LEFT_TOP,
        "mean ΔE00".to_owned(),
    );
    let end = plot.right_bottom() + vec2(0.0, 3.0);
    text(end, Align2::CENTER_TOP, grams(most_g));
    for (i, way) in found.ways.iter().enumerate() {
        let fill = if i == 0 { p.accent } else { p.raised };
        let ink = if i == 0 { p.on_accent } else { p.text };
        let edge = match way.lost.is_empty() {
            true => Stroke::new(1.0, p.text),
            false => Stroke::new(1.5, p.warn),
        };
        let dash: Color32 = if way.estimated { p.quiet } else { edge.color };
        painter.circle(at(way), 8.0, fill, Stroke::new(edge.width, dash));
        painter.text(
            at(way),
            Align2::CENTER_CENTER,
            (i + 1).to_string(),
            font.clone(),
            ink,
        );
    }
}
