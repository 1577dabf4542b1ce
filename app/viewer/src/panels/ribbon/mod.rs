//! The height ribbon: millimetres, the blend, area and volume at each height, marks where
//! something changes or is wrong, and the heights of regions and stops, to be dragged.
//!
//! It stands beside the part in the part's own scale.

mod blends;
mod curves;
mod handles;
mod lanes;
mod readout;
mod ruler;
mod scale;
mod sheet;

use egui::{PointerButton, Pos2, Rect, Sense, Ui, UiBuilder, pos2, vec2};

pub use scale::Scale;
pub use sheet::View;

use sheet::{Columns, Sheet};

use crate::commands::{Command, Commands, Hover};
use crate::theme::Palette;

/// Width that the ribbon asks for, points.
pub const WIDTH: f32 = 284.0;

/// Height of the head, where the columns' names stand, points.
pub const HEADER: f32 = 26.0;
/// Height of the foot, where the numbers stand, points.
pub const FOOTER: f32 = 76.0;

/// The least distance that a drag across the blends must cover to make a band, points.
const LEAST_BAND: f32 = 4.0;

/// Draws the ribbon into what is left of a panel, and sends what was done on it. Gives the height
/// that the pointer is at, if it is on the ribbon.
pub fn show(ui: &mut Ui, view: &View<'_>, send: &mut Commands) -> Option<Hover> {
    let rect = ui.available_rect_before_wrap();
    ui.allocate_rect(rect, Sense::hover());
    let body = Rect::from_min_max(rect.min + vec2(0.0, HEADER), rect.max - vec2(0.0, FOOTER));
    if !body.is_positive() {
        return None;
    }
    let sheet = Sheet {
        view,
        scale: Scale::new(view.camera, view.stage, body),
        columns: Columns::of(body),
        palette: Palette::from_ui(ui),
    };
    let drag = sheet.ground(ui, send);
    let mut on_body = ui.new_child(UiBuilder::new().max_rect(body).id_salt("ribbon body"));
    on_body.shrink_clip_rect(body);
    blends::draw(&on_body, &sheet);
    curves::draw(&on_body, &sheet);
    ruler::draw(&on_body, &sheet);
    lanes::draw(&mut on_body, &sheet, send);
    if let Some((from, to)) = drag {
        handles::draw_new_band(&on_body, &sheet, from, to);
    }
    handles::hover_line(&on_body, &sheet);
    // The stops lie over the band's edges: those can be taken hold of all along.
    handles::band(&mut on_body, &sheet, send);
    handles::stops(&mut on_body, &sheet, send);
    handles::cursor(&mut on_body, &sheet, send);
    header(ui, rect, &sheet);
    readout::show(ui, rect.with_min_y(body.bottom()), &sheet);
    sheet.hover(ui)
}

impl Sheet<'_> {
    /// The ground beneath all handles: hovering, sliding, zooming, choosing, drawing a band.
    /// Gives the heights of a band that is being drawn.
    fn ground(&self, ui: &Ui, send: &mut Commands) -> Option<(f64, f64)> {
        let body = self.scale.rect;
        let id = ui.id().with("ribbon ground");
        let response = ui.interact(body, id, Sense::click_and_drag());
        response.widget_info(|| {
            egui::WidgetInfo::labeled(egui::WidgetType::Other, true, "Height ribbon")
        });
        if let Some(at) = response.hover_pos() {
            let turned = ui.input(|i| i.smooth_scroll_delta.y);
            if turned != 0.0 {
                let at = pos2(self.view.stage.center().x, at.y);
                send.send(Command::ZoomAt(at, f64::from(turned * 0.004).exp()));
            }
        }
        if response.clicked() {
            self.clicked(response.interact_pointer_pos(), send);
        }
        if response.dragged_by(PointerButton::Middle)
            || response.dragged_by(PointerButton::Secondary)
        {
            self.slide(&response, send);
        }
        self.primary_drag(ui, &response, send)
    }

    /// The height that the pointer is at, on the ground or on a handle.
    fn hover(&self, ui: &Ui) -> Option<Hover> {
        let body = self.scale.rect;
        let at = ui.input(|i| i.pointer.latest_pos())?;
        let on_it = ui.rect_contains_pointer(body);
        on_it.then(|| Hover::Ribbon(self.scale.height_mm(at.y)))
    }

    /// The heights follow the pointer.
    fn slide(&self, response: &egui::Response, send: &mut Commands) {
        let by = response.drag_delta().y;
        if by != 0.0 {
            send.send(Command::Slide(by));
        }
    }

    fn clicked(&self, at: Option<Pos2>, send: &mut Commands) {
        let Some(at) = at else { return };
        let height = self.scale.height_mm(at.y);
        let columns = &self.columns;
        if at.x < columns.ruler.1 {
            send.send(Command::CursorTo(height));
        } else if at.x < columns.blends.1 {
            let across = (at.x - columns.blends.0) / (columns.blends.1 - columns.blends.0);
            let Some(layer) = self.view.profile.layer_at(height) else {
                return;
            };
            let row = self.view.profile.rows.get(layer);
            let piece = row.and_then(|r| blends::piece_at(r, f64::from(across)));
            match piece {
                Some(piece) if self.view.picks => send.send(Command::PickOnRibbon {
                    layer,
                    dose: piece.dose,
                    height_mm: height,
                }),
                Some(piece) => send.send(Command::ChooseRegion(piece.region)),
                None => {}
            }
        }
    }

    fn primary_drag(
        &self,
        ui: &Ui,
        response: &egui::Response,
        send: &mut Commands,
    ) -> Option<(f64, f64)> {
        let id = response.id.with("start");
        if response.drag_started_by(PointerButton::Primary) {
            let start = ui.input(|i| i.pointer.press_origin());
            ui.data_mut(|d| d.insert_temp(id, start));
        }
        let dragged = response.dragged_by(PointerButton::Primary);
        let stopped = response.drag_stopped_by(PointerButton::Primary);
        if !dragged && !stopped {
            return None;
        }
        let start: Pos2 = ui.data(|d| d.get_temp::<Option<Pos2>>(id)).flatten()?;
        let now = response.interact_pointer_pos()?;
        let columns = &self.columns;
        if start.x < columns.ruler.1 {
            send.send(Command::CursorTo(self.scale.height_mm(now.y)));
            return None;
        }
        if start.x >= columns.blends.1 {
            self.slide(response, send);
            return None;
        }
        let ends = [start.y, now.y].map(|y| self.scale.snapped_mm(self.scale.height_mm(y)));
        let (from_mm, to_mm) = (ends[0].min(ends[1]), ends[0].max(ends[1]));
        if stopped {
            if (start.y - now.y).abs() >= LEAST_BAND && to_mm > from_mm {
                send.send(Command::AddBandBetween(from_mm, to_mm));
            }
            return None;
        }
        Some((from_mm, to_mm))
    }
}

fn header(ui: &Ui, rect: Rect, sheet: &Sheet<'_>) {
    let p = sheet.palette;
    let strip = rect.with_max_y(rect.top() + HEADER);
    let painter = ui.painter();
    let font = egui::FontId::proportional(crate::theme::size::SMALL);
    let columns = &sheet.columns;
    let title = |x: f32, align, text: &str| {
        painter.text(
            pos2(x, strip.center().y),
            align,
            text,
            font.clone(),
            p.quiet,
        );
    };
    use egui::Align2;
    title(columns.ruler.1 - 8.0, Align2::RIGHT_CENTER, "mm");
    title(columns.blends.0, Align2::LEFT_CENTER, "Blend");
    curves::legend(painter, pos2(columns.curves.0, strip.center().y), &font, p);
    // The colours stay as they are: a word says that others are on their way.
    let regions = match sheet.view.stale {
        true => "updating…",
        false => "Regions",
    };
    title(columns.lanes.1, Align2::RIGHT_CENTER, regions);
}
