//! The only part that knows Bevy: it draws what the session says and passes nothing back but
//! the window's events, which the panels read through egui.

pub mod app;
mod camera;
mod desk;
mod input;
mod material;
pub mod measure;
pub mod picture;
pub mod places;
mod redraw;
mod strands;
mod upload;
mod view_copy;
mod window;

use desk::{Desk, PLATE_LAYER, StageCamera};

use bevy::asset::AssetEventSystems;
use bevy::camera::visibility::RenderLayers;
use bevy::camera::{CameraUpdateSystems, RenderTarget};
use bevy::prelude::*;
use bevy::transform::TransformSystems;
use bevy_egui::{EguiContexts, EguiPlugin, EguiPostUpdateSet, EguiPrimaryContextPass, egui};

use crate::frame;
use crate::theme::{self, Palette};

/// Draws the session.
pub struct ScenePlugin;

impl Plugin for ScenePlugin {
    fn build(&self, app: &mut App) {
        material::add_materials(app);
        strands::add_material(app);
        app.add_plugins(EguiPlugin::default())
            .init_resource::<upload::Uploads>()
            .init_resource::<strands::Strands>()
            .init_resource::<view_copy::Copying>()
            .add_systems(Update, view_copy::draw)
            .add_systems(Startup, (upload::set_up, strands::set_up))
            .add_systems(EguiPrimaryContextPass, draw_panels)
            .add_systems(
                PostUpdate,
                (
                    upload::take_updates,
                    upload::set_uniforms,
                    strands::take_updates,
                    strands::set_uniforms,
                    camera::follow,
                )
                    .chain()
                    .after(EguiPostUpdateSet::EndPass)
                    .before(TransformSystems::Propagate)
                    .before(CameraUpdateSystems)
                    .before(AssetEventSystems),
            );
    }
}

/// Spawns the camera that draws the part, with the panels over it.
pub fn spawn_camera(commands: &mut Commands, target: RenderTarget) -> Entity {
    commands
        .spawn((
            StageCamera,
            camera::eye(target),
            Camera::default(),
            Projection::custom(camera::StageProjection::default()),
            Transform::default(),
            RenderLayers::from_layers(&[0, PLATE_LAYER]),
        ))
        .id()
}

fn draw_panels(
    mut contexts: EguiContexts,
    mut desk: NonSendMut<Desk>,
    mut clear: ResMut<ClearColor>,
    mut shown: Local<Option<(crate::files::settings::Appearance, u32)>>,
) -> Result {
    let ctx = contexts.ctx_mut()?.clone();
    let session = &mut desk.session;
    let settings = (
        session.settings.appearance,
        session.settings.scale.to_bits(),
    );
    if *shown != Some(settings) {
        theme::apply(&ctx, settings.0);
        ctx.set_zoom_factor(session.settings.scale);
        *shown = Some(settings);
    }
    let mut root = egui::Ui::new(
        ctx.clone(),
        "root".into(),
        egui::UiBuilder::new()
            .layer_id(egui::LayerId::background())
            .max_rect(ctx.viewport_rect()),
    );
    frame::frame(&mut root, session);
    let stage = Palette::of(session.settings.appearance).stage;
    let wanted = Color::srgb_u8(stage.r(), stage.g(), stage.b());
    if clear.0 != wanted {
        clear.0 = wanted;
    }
    Ok(())
}
