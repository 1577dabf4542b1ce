//! Draws a picture of the view without the panels: a second camera looks once, into a picture of
//! its own.

use bevy::camera::visibility::RenderLayers;
use bevy::camera::{ClearColorConfig, ImageRenderTarget, RenderTarget};
use bevy::image::Image;
use bevy::prelude::*;
use bevy::render::render_resource::{TextureFormat, TextureUsages};
use bevy::render::renderer::RenderDevice;
use bevy::render::view::screenshot::{Screenshot, ScreenshotCaptured};
use bevy_egui::EguiContexts;

use super::camera::{StageProjection, eye, mat4};
use super::desk::{Compiling, Desk, PLATE_LAYER};
use crate::jobs::view_copy::Pixels;
use crate::model::view_copy::{ViewCopy, framed};
use crate::session::Session;

/// Frames until all that is seen has reached the card.
const SETTLED_FRAMES: u32 = 4;

/// The most frames waited for.
const MOST_FRAMES: u32 = 2000;

/// The picture that is being drawn.
#[derive(Resource, Default)]
pub(super) struct Copying {
    drawing: Option<Drawing>,
    drawn: Option<Result<Pixels, String>>,
}

struct Drawing {
    camera: Entity,
    target: RenderTarget,
    frames: u32,
    asked: bool,
}

/// Draws what the session wants, and hands it over.
pub(super) fn draw(
    mut commands: Commands,
    mut desk: NonSendMut<Desk>,
    mut copying: ResMut<Copying>,
    mut images: ResMut<Assets<Image>>,
    mut contexts: EguiContexts,
    compiling: Option<Res<Compiling>>,
    device: Option<Res<RenderDevice>>,
) -> Result {
    let session = &mut desk.session;
    if let Some(drawn) = copying.drawn.take() {
        end(&mut commands, &mut copying);
        session.take_view_pixels(drawn);
    }
    let Some(order) = session.view_copy_wanted().cloned() else {
        end(&mut commands, &mut copying);
        return Ok(());
    };
    let Some(drawing) = &mut copying.drawing else {
        let scale = contexts.ctx_mut()?.pixels_per_point();
        let most = device.map_or(u32::MAX, |d| d.limits().max_texture_dimension_2d);
        match begin(&mut commands, &mut images, session, &order, (scale, most)) {
            Ok(drawing) => copying.drawing = Some(drawing),
            Err(why) => session.take_view_pixels(Err(why)),
        }
        return Ok(());
    };
    drawing.frames += 1;
    let compiles = compiling.is_some_and(|c| c.any());
    if drawing.frames > MOST_FRAMES {
        copying.drawn = Some(Err("The graphics card gave no picture.".to_owned()));
    } else if !drawing.asked && drawing.frames > SETTLED_FRAMES && !compiles {
        drawing.asked = true;
        let look = Screenshot(drawing.target.clone());
        commands.spawn(look).observe(take);
    }
    Ok(())
}

fn begin(
    commands: &mut Commands,
    images: &mut Assets<Image>,
    session: &Session,
    order: &ViewCopy,
    (scale, most): (f32, u32),
) -> Result<Drawing, String> {
    let view = &session.view;
    let (width, height) = order.size.pixels(view.stage, scale)?;
    if width.max(height) > most {
        return Err(format!(
            "The graphics card draws at most {most} pixels a side. Choose a smaller size."
        ));
    }
    let (camera, picture, within) = framed(&view.camera, view.stage, (width, height));
    let reach = session.reach_mm();
    let projection = StageProjection::new(
        mat4(camera.clip_from_view(picture, within, reach)),
        2.0 * reach as f32,
    );
    let world = mat4(camera.view_from_world(within, reach)).inverse();
    let mut image = Image::new_target_texture(width, height, TextureFormat::Rgba8UnormSrgb, None);
    image.texture_descriptor.usage |= TextureUsages::COPY_SRC;
    let target = RenderTarget::Image(ImageRenderTarget {
        handle: images.add(image),
        scale_factor: 1.0,
    });
    let (clear_color, layers) = match order.clear {
        true => (
            ClearColorConfig::Custom(Color::NONE),
            RenderLayers::layer(0),
        ),
        false => (
            ClearColorConfig::Default,
            RenderLayers::from_layers(&[0, PLATE_LAYER]),
        ),
    };
    let seen = Camera {
        clear_color,
        // Before the window's own.
        order: -1,
        ..Camera::default()
    };
    let camera = commands
        .spawn((
            eye(target.clone()),
            seen,
            Projection::custom(projection),
            Transform::from_matrix(world),
            layers,
        ))
        .id();
    Ok(Drawing {
        camera,
        target,
        frames: 0,
        asked: false,
    })
}

fn take(captured: On<ScreenshotCaptured>, mut copying: ResMut<Copying>) {
    let image = &captured.image;
    let data = image.data.clone();
    copying.drawn = Some(match data {
        Some(rgba) => Ok(Pixels {
            width: image.width(),
            height: image.height(),
            rgba,
        }),
        None => Err("The picture came back empty.".to_owned()),
    });
}

fn end(commands: &mut Commands, copying: &mut Copying) {
    if let Some(drawing) = copying.drawing.take() {
        commands.entity(drawing.camera).despawn();
    }
}
