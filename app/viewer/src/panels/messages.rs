//! Messages, over the lower edge of the stage.

use egui::{Align2, Area, Context, Frame, Id, Margin, RichText, Stroke, vec2};

use super::icon::{self, Icon};
use super::widgets::small_icon;
use crate::commands::{Command, Commands};
use crate::model::notices::Weight;
use crate::session::Session;
use crate::theme::Palette;

/// Shows the messages.
pub(super) fn show(ctx: &Context, session: &Session, send: &mut Commands) {
    if session.notices.shown().is_empty() {
        return;
    }
    let anchor = session.view.stage;
    let at = match anchor.is_positive() {
        true => anchor.left_bottom() + vec2(14.0, -14.0),
        false => ctx.viewport_rect().left_bottom() + vec2(24.0, -24.0),
    };
    Area::new(Id::new("messages"))
        .fixed_pos(at)
        .pivot(Align2::LEFT_BOTTOM)
        .order(egui::Order::Foreground)
        .show(ctx, |ui| {
            let p = Palette::from_ui(ui);
            let width = if anchor.is_positive() {
                anchor.width() - 28.0
            } else {
                620.0
            };
            ui.set_max_width(width.min(620.0));
            for (index, notice) in session.notices.shown().iter().enumerate() {
                let (sign, ink) = match notice.weight {
                    Weight::Done => (Icon::Sound, p.text),
                    Weight::Warning => (Icon::Warning, p.warn),
                    Weight::Error => (Icon::Warning, p.error),
                };
                Frame::new()
                    .fill(p.raised)
                    .stroke(Stroke::new(
                        1.0,
                        if notice.weight == Weight::Done {
                            p.line
                        } else {
                            ink
                        },
                    ))
                    .corner_radius(7)
                    .inner_margin(Margin::symmetric(10, 7))
                    .shadow(ui.visuals().popup_shadow)
                    .show(ui, |ui| {
                        ui.horizontal_top(|ui| {
                            let (rect, _) =
                                ui.allocate_exact_size(vec2(16.0, 20.0), egui::Sense::hover());
                            icon::paint(ui.painter(), rect, sign, ink);
                            let room = (width.min(620.0) - 90.0).max(120.0);
                            ui.scope(|ui| {
                                ui.set_max_width(room);
                                ui.add(
                                    egui::Label::new(RichText::new(&notice.text).color(p.text))
                                        .wrap(),
                                );
                            });
                            if small_icon(ui, Icon::Close, "Close this message", "", false)
                                .clicked()
                            {
                                send.send(Command::CloseNotice(index));
                            }
                        });
                    });
            }
        });
}
