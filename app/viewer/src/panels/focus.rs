//! Where the keyboard is: one ring for whatever has the focus, on any fill, unlike any other
//! state.

use egui::{Context, CornerRadius, Id, LayerId, Order, Stroke, StrokeKind};

use crate::theme::Palette;

/// Draws the ring over what has the keyboard.
pub(super) fn show(ctx: &Context, p: Palette) {
    let focused = ctx.memory(|m| m.focused());
    let Some(response) = focused.and_then(|id| ctx.read_response(id)) else {
        return;
    };
    let seen = response.interact_rect.expand(3.0);
    let layer = LayerId::new(Order::Tooltip, Id::new("focus ring"));
    let painter = ctx.layer_painter(layer).with_clip_rect(seen);
    let round = CornerRadius::same(6);
    for (by, stroke) in [
        (2.0, Stroke::new(3.0, p.panel)),
        (1.5, Stroke::new(1.8, p.text)),
    ] {
        painter.rect_stroke(response.rect.expand(by), round, stroke, StrokeKind::Middle);
    }
}
